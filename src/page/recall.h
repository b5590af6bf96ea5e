#ifndef KW_PAGE_RECALL_H
#define KW_PAGE_RECALL_H
/*
 * recall.h - the recall list of a batch: each pot, where it is, how it is,
 * whom to call, who has reported what of it.
 */
#include "page/page.h"

struct recall_row {
    struct look_handover h; /* home "" when it is in none */
    const char *state;      /* static: "failed", "in use" … */
    int reports;
    int64_t reported_s; /* of the newest, 0 none */
    char *words;        /* what the newest ones told, owned */
};

struct recall_page {
    char batch[LEDGER_NAME_CAP];
    int64_t recalled_s;      /* 0 not */
    struct recall_row *rows; /* by place and home, then stock */
    size_t n, cap;
    int in_use, failed, stock, back;
};

/* Released by the caller, after an error too. */
int recall_page_gather(const struct page *p, struct ledger *lg,
                       const struct ledger_batch *batch,
                       struct recall_page *out);
void recall_page_release(struct recall_page *r);
void recall_page_text(const struct page *p, const struct recall_page *r);
json_t *recall_page_json(const struct page *p, const struct recall_page *r);
void recall_page_csv(const struct page *p, const struct recall_page *r);
#endif
