#ifndef KW_PAGE_HOME_H
#define KW_PAGE_HOME_H
/* home.h - a home: its phone, its pots now and before, reports, alerts. */
#include "page/page.h"

#define HOME_REPORTS 30 /* newest shown */

struct home_page {
    struct ledger_home home;
    struct ledger_place place; /* name "" when none */
    struct ledger_phone phone; /* number "" when none */
    struct page_handovers pots;
    struct page_reports reports;
    struct page_alerts alerts;
};

int home_page_gather(const struct page *p, struct ledger *lg, int64_t home_id,
                     struct home_page *out);
void home_page_release(struct home_page *h);
void home_page_text(const struct page *p, const struct home_page *h);
json_t *home_page_json(const struct page *p, const struct home_page *h);
#endif
