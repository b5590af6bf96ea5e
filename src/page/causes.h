#ifndef KW_PAGE_CAUSES_H
#define KW_PAGE_CAUSES_H
/*
 * causes.h - what failing pots have in common: the workshop's notebook
 * against the pots' times in homes, by watch/causes.h.
 */
#include "page/page.h"
#include "watch/causes.h"

#define CAUSES_PAGE_VARIABLES 14
#define CAUSES_SETTLE_S                                                        \
    (30 * 86400) /* told so late as a rule: not yet seen                       \
                  */

struct causes_page {
    struct causes_report report;
    bool studied;
    struct causes_variable variables[CAUSES_PAGE_VARIABLES];
    char **levels[CAUSES_PAGE_VARIABLES]; /* names of a factor, owned */
    size_t n_levels[CAUSES_PAGE_VARIABLES];
    int places;
};

/* Released by the caller, after an error too. */
int causes_page_gather(const struct page *p, struct ledger *lg,
                       struct causes_page *out);
void causes_page_release(struct causes_page *c);
void causes_page_text(const struct page *p, const struct causes_page *c);
json_t *causes_page_json(const struct page *p, const struct causes_page *c);
#endif
