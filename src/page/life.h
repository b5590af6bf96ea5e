#ifndef KW_PAGE_LIFE_H
#define KW_PAGE_LIFE_H
/*
 * life.h - how long the pots of a batch last against all others: Kaplan-
 * Meier, the log-rank test within places, failures by month and by place
 * against what the others say. As text, JSON, and an SVG picture.
 */
#include "page/page.h"
#include "watch/wear.h"

#define LIFE_MARKS 5
extern const int life_marks[LIFE_MARKS]; /* ages in days */

struct life_curve {
    struct wear_row *rows; /* owned */
    size_t n;
    int64_t pots;
};
struct life_count { /* of a month or a place */
    char name[LEDGER_NAME_CAP];
    int64_t pots, failed; /* pots: of a place */
    double expected;
};
struct life {
    struct life_curve own, others;
    double p; /* log-rank, within places; NaN: cannot be told */
    struct life_count *months, *places;
    size_t n_months, months_cap, n_places, places_cap;
};

/* Released by the caller, after an error too. */
int life_gather(const struct page *p, struct ledger *lg, int64_t batch_id,
                struct life *out);
void life_release(struct life *l);
void life_text(const struct page *p, const struct life *l);
json_t *life_json(const struct life *l);
/* A picture by itself, SVG 1.1 (W3C). */
void life_svg(const struct page *p, const char *code, const struct life *l,
              struct kw_buf *out);
#endif
