#ifndef KW_PAGE_LASTING_H
#define KW_PAGE_LASTING_H
/*
 * lasting.h - how long pots last, by what they have in common: Kaplan-Meier
 * with intervals, Nelson-Aalen, and the log-rank test over all groups, pots
 * compared within their place. What `kilnword work wear` does from a CSV, from
 * the ledger.
 */
#include "page/page.h"
#include "watch/wear.h"

enum lasting_by {
    LASTING_BATCH,
    LASTING_MOULD,
    LASTING_CLAY,
    LASTING_PLACE,
    LASTING_PRESSER,
    LASTING_KILN,
    LASTING_SHELF,
    LASTING_BYS
};
/* "batch" …, NULL for another number. */
const char *lasting_by_name(int by);
/* KW_ENOENT: none of them. */
int lasting_by_from_name(const char *name);

struct lasting_group {
    char name[LEDGER_NAME_CAP]; /* "-" not written down */
    int64_t pots, failed;
    struct wear_row *rows; /* owned */
    size_t n;
};
struct lasting_page {
    enum lasting_by by;
    struct lasting_group *groups; /* by name */
    size_t n, cap;
    double p, chisq, df; /* log-rank; NaN: fewer than two groups, or too many */
};

/* Released by the caller, after an error too. */
int lasting_page_gather(const struct page *p, struct ledger *lg,
                        enum lasting_by by, struct lasting_page *out);
void lasting_page_release(struct lasting_page *l);
void lasting_page_text(const struct page *p, const struct lasting_page *l);
json_t *lasting_page_json(const struct page *p, const struct lasting_page *l);
/* The rows of `work wear`. */
void lasting_page_csv(const struct page *p, const struct lasting_page *l);
#endif
