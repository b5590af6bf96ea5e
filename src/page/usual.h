#ifndef KW_PAGE_USUAL_H
#define KW_PAGE_USUAL_H
/*
 * usual.h - how a batch was made, next to what is usual of the others. The
 * usual range holds the middle eight in ten of them. How far out a number is
 * stands in robust standard deviations from their median (1.4826 times the
 * median absolute deviation), so that one odd batch among the others hides
 * nothing; from 3 on it stands out (Hampel 1974). Under USUAL_LEAST others
 * there is no telling: then what is below or above all of them stands out.
 */
#include "page/page.h"

#define USUAL_LEAST 5
#define USUAL_FAR   3

enum usual_what {
    USUAL_SAWDUST_PCT,
    USUAL_SAWDUST_MESH,
    USUAL_DRYING_DAYS,
    USUAL_PEAK_DEGC,
    USUAL_SOAK_MIN,
    USUAL_COOLING_H,
    USUAL_SILVER_MG,
    USUAL_TEST_MEAN_L,
    USUAL_TEST_MAX_L,
    USUAL_NUMBERS
};
enum usual_which {
    USUAL_WORKSHOP,
    USUAL_MOULD,
    USUAL_CLAY_PIT,
    USUAL_PRESSER,
    USUAL_KILN,
    USUAL_CONE,
    USUAL_NAMES
};

/* What is above USUAL_AS_OTHERS stands out. */
enum usual_flag {
    USUAL_UNKNOWN,
    USUAL_AS_OTHERS,
    USUAL_LOWER,
    USUAL_HIGHER,
    USUAL_ALONE /* no other batch has that name */
};

struct usual_number {
    double value;
    int known;        /* others with that number */
    double low, high; /* of all others, NaN none */
    double usual_low, usual_high;
    double far; /* robust standard deviations; NaN: not to be told */
    enum usual_flag flag;
};
struct usual_name {
    char value[LEDGER_NAME_CAP];
    int named, same; /* others with any such name, with the same */
    enum usual_flag flag;
};
struct usual {
    int batches; /* others in all */
    struct usual_number numbers[USUAL_NUMBERS];
    struct usual_name names[USUAL_NAMES];
    int others_values, others_far; /* the same rule held to the others */
};

int usual_gather(struct ledger *lg, const struct ledger_batch *b,
                 struct usual *out);
/* A table, the farthest out first; all: what does not stand out as well. */
size_t usual_put(const struct page *p, const struct usual *u, bool all);
/* One item for each that stands out; how many. */
size_t usual_put_items(const struct page *p, const struct usual *u);
json_t *usual_json(const struct usual *u);
#endif
