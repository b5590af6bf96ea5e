#ifndef KW_PAGE_H
#define KW_PAGE_H
/*
 * page.h - what all pages share: the setting, short words for days, numbers
 * and phones, and lists that gather rows of look.h.
 */
#include "base/clock.h"
#include "base/config.h"
#include "ledger/look.h"
#include "page/screen.h"
#include "page/table.h"
#include "reader/serial.h"

#include <jansson.h>

struct page {
    struct screen screen;
    const struct config *conf;          /* borrowed */
    const struct serial_layout *layout; /* borrowed */
    bool phones;                        /* whole numbers are shown */
    int64_t now_s;
};

/* A few characters by value: page_day(x).s lasts for its expression. */
struct page_word {
    char s[96];
};
struct page_word page_day(int64_t at_s);  /* "2026-03-01", "-" for 0 */
struct page_word page_time(int64_t at_s); /* with hour and minute */
struct page_word page_serial(const struct page *p, const char *serial);
struct page_word page_phone(const struct page *p, const char *number);
struct page_word page_number(double v, int decimals); /* "-" for NaN */
/* "0.00015 (1 in 6,700)": two figures; "-" for NaN. */
struct page_word page_probability(double p);
/* The text, or "-" when it is empty. */
const char *page_or_dash(const char *s);
/* "1 pot", "3 pots" */
struct page_word page_count(int64_t n, const char *one, const char *many);

/* JSON: null for NaN, "" and the time 0. */
json_t *page_json_real(double v);
json_t *page_json_word(const char *s);
json_t *page_json_time(int64_t at_s);
json_t *page_json_signs(unsigned signs); /* an array of reader_sign_name */
json_t *page_json_phone(const struct page *p, const char *number);

struct page_handovers {
    struct look_handover *items;
    size_t n, cap;
};
struct page_reports {
    struct look_report *items;
    size_t n, cap;
};
struct page_alerts {
    struct ledger_alert *items;
    size_t n, cap;
};
/* Callbacks of look.h; arg is the list. Freed by kw_free(list.items). */
int page_add_handover(const struct look_handover *h, void *list);
int page_add_report(const struct look_report *r, void *list);
int page_add_alert(const struct ledger_alert *a, void *list);

/* What was seen, in words: "fell 4 fingers in 10 h, ill: 2 people". */
void page_obs(const struct look_report *r, struct kw_buf *out);
/* What was made of it: "filed; flow 0.8 L, scrub and measure again". */
void page_made(const struct look_report *r, struct kw_buf *out);
/* "fine", "scrub and measure again" … of a flow_verdict_name. */
const char *page_verdict(const char *verdict);
/* Signs of illness in words, comma between them. */
void page_signs(unsigned signs, struct kw_buf *out);
const char *page_alert_state(enum ledger_alert_state state);
/* "low flow" … of an alert. */
const char *page_alert_kind(enum ledger_alert_kind kind);

/* What someone wrote, with the phone numbers in it shortened like others. */
void page_put_words(const struct page *p, const char *words,
                    struct kw_buf *out);

/* Tables and JSON that stand on several pages. */
void page_put_reports(const struct page *p, const struct page_reports *list,
                      bool with_pot);
void page_put_alerts(const struct page *p, const struct page_alerts *list);
json_t *page_json_reports(const struct page *p,
                          const struct page_reports *list);
json_t *page_json_alerts(const struct page_alerts *list);
json_t *page_json_handovers(const struct page *p,
                            const struct page_handovers *list);
#endif
