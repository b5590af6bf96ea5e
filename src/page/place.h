#ifndef KW_PAGE_PLACE_H
#define KW_PAGE_PLACE_H
/* place.h - a place: its homes and pots, recent reports, alerts. */
#include "page/page.h"

#define PLACE_REPORTS 20 /* newest shown */

struct place_page {
    struct ledger_place place;
    struct look_place_counts counts;
    struct page_handovers pots; /* there now */
    struct page_reports reports;
    struct page_alerts alerts;
};

int place_page_gather(const struct page *p, struct ledger *lg, int64_t place_id,
                      struct place_page *out);
void place_page_release(struct place_page *l);
void place_page_text(const struct page *p, const struct place_page *l);
json_t *place_page_json(const struct page *p, const struct place_page *l);
#endif
