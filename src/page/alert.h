#ifndef KW_PAGE_ALERT_H
#define KW_PAGE_ALERT_H
/* alert.h - an alert: what it is about, what it gathered, the batch behind. */
#include "page/batch.h"

struct alert_text { /* one thing that it gathered */
    int64_t at_s, text_id, report_id;
    char serial[LEDGER_SERIAL_CAP];
    char home[LEDGER_NAME_CAP], place[LEDGER_NAME_CAP];
    char phone[LEDGER_PHONE_CAP];
    char outcome[LOOK_WORD_CAP];
    char *words; /* owned; NULL once dropped */
};

struct alert_page {
    struct ledger_alert alert;
    char subject[LEDGER_NAME_CAP];
    char seen_by[LEDGER_PHONE_CAP], closed_by[LEDGER_PHONE_CAP];
    struct alert_text *texts;
    size_t n_texts, texts_cap;
    bool has_batch; /* it is on a batch or on a pot of one */
    struct batch_page batch;
};

int alert_page_gather(const struct page *p, struct ledger *lg, int64_t id,
                      struct alert_page *out);
void alert_page_release(struct alert_page *a);
void alert_page_text(const struct page *p, const struct alert_page *a);
json_t *alert_page_json(const struct page *p, const struct alert_page *a);
#endif
