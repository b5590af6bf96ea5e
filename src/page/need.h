#ifndef KW_PAGE_NEED_H
#define KW_PAGE_NEED_H
/*
 * need.h - how many pots will be asked for: those in homes that will be
 * reported failed, from breakage and falling flow, by watch/need.h; those
 * that will truly fail; less what stands ready; what to press by when.
 */
#include "page/page.h"
#include "watch/need.h"

struct need_setting {
    double share;      /* of failures that are reported: 0.6 */
    double lead_days;  /* from pressing to a pot ready to go: 30 */
    double kiln_pots;  /* of one firing: 50 */
    double press_pots; /* of one press-day: 48, ten minutes a pot (common
                          practice: one person, eight hours) */
    double passed;     /* share of pressed pots that pass the tests: 0.8 */
    double replaced;   /* share of slow pots that are exchanged: 1 */
};
/* As the configuration's group `need` says. */
struct need_setting need_setting_of(const struct config *conf);

enum { NEED_30, NEED_90, NEED_TIMES };
extern const double need_days[NEED_TIMES];

struct need_outcome {
    double mean, low, high; /* 80 % */
};
struct need_place {
    char name[LEDGER_NAME_CAP]; /* "" all, "-" not known */
    int64_t id;
    int pots; /* in homes and sound as far as is known */
    struct need_outcome reported[NEED_TIMES], truly[NEED_TIMES];
    double broken[NEED_TIMES]; /* of the mean reported; the rest is slow */
};

struct need_page {
    struct need_setting set;
    struct need_place all;
    struct need_place *places; /* by name */
    size_t n, cap;
    int waiting;       /* homes that hold a failed pot now */
    int ready;         /* in stock, of batches that are not failing */
    int on_hold;       /* in stock, of failing ones */
    int in_works;      /* of batches that are not yet fired */
    double lasts_days; /* until what is ready and in work is used up by the
                          true need; INFINITY: beyond the longest time */
    double press[NEED_TIMES]; /* pots to press for that time */
};

/* Released by the caller, after an error too. */
int need_page_gather(const struct page *p, struct ledger *lg,
                     const struct need_setting *set, struct need_page *out);
void need_page_release(struct need_page *n);
void need_page_text(const struct page *p, const struct need_page *n);
json_t *need_page_json(const struct page *p, const struct need_page *n);
void need_page_csv(const struct page *p, const struct need_page *n);
#endif
