#ifndef KW_PAGE_CARRIERS_H
#define KW_PAGE_CARRIERS_H
/* carriers.h - how each carrier does: a part of the page of the line. */
#include "ledger/carriers.h"
#include "page/page.h"

struct page_carriers {
    struct carriers_row *items;
    size_t n, cap;
};
int page_carriers_gather(struct ledger *lg, struct page_carriers *out);
void page_put_carriers(const struct page *p, const struct page_carriers *list);
json_t *page_json_carriers(const struct page *p,
                           const struct page_carriers *list);
#endif
