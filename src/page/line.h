#ifndef KW_PAGE_LINE_H
#define KW_PAGE_LINE_H
/* line.h - the line itself: texts in and out, what waits, how big it is. */
#include "ledger/traffic.h"
#include "page/carriers.h"

struct line_page {
    struct look_line line;
    struct traffic_day day; /* segments of today */
    int64_t receipts[TRAFFIC_RECEIPTS], twice, unmatched; /* of seven days */
    int64_t file_bytes;        /* the ledger with its write-ahead log */
    struct page_alerts alerts; /* open or seen */
    struct page_carriers carriers;
};

int line_page_gather(const struct page *p, struct ledger *lg,
                     struct line_page *out);
void line_page_release(struct line_page *l);
void line_page_text(const struct page *p, const struct line_page *l);
json_t *line_page_json(const struct page *p, const struct line_page *l);
#endif
