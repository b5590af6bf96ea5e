#ifndef KW_PAGE_LIFE_H
#define KW_PAGE_LIFE_H
/*
 * life.h - how long the pots of a batch last against all others: Kaplan-
 * Meier, the log-rank test within places, failures by month, by place (on a
 * map) and by shelf against what the others say. As text, JSON, and an SVG
 * picture.
 */
#include "page/map.h"
#include "page/page.h"
#include "watch/wear.h"

struct life_curve {
    struct wear_row *rows; /* owned */
    size_t n;
    int64_t pots;
};
struct life_count { /* of a month, a place or a shelf of the kiln */
    char name[LEDGER_NAME_CAP];
    int64_t pots, failed; /* pots: not of a month */
    double expected;
    double lat_deg, lon_deg; /* of a place; NaN not known */
};
struct life {
    struct life_curve own, others;
    double p; /* log-rank, within places; NaN: cannot be told */
    struct life_count *months, *places, *shelves;
    size_t n_months, months_cap, n_places, places_cap, n_shelves, shelves_cap;
    struct map_spot *spots; /* all places that have one */
    size_t n_spots, spots_cap;
};

/* Released by the caller, after an error too. */
int life_gather(const struct page *p, struct ledger *lg, int64_t batch_id,
                struct life *out);
void life_release(struct life *l);
/* A cell: per cent whole with its interval. r: the last failure by that age,
 * NULL when there was none; watched: some pot was at that age. */
void life_put_whole(struct table *t, const struct wear_row *r, bool watched);
void life_text(const struct page *p, const struct life *l);
json_t *life_json(const struct life *l);
/* The places with most failures first, then those with most above what is
 * expected; n_places of them, the caller's to kw_free. */
struct life_count *life_worst_first(const struct life *l);
/* A picture by itself, SVG 1.1 (W3C): the curves. */
void life_svg(const struct page *p, const char *code, const struct life *l,
              struct kw_buf *out);
/* Likewise: the places on a map, with their failures. Under 14 KB. */
void life_map_svg(const struct page *p, const char *code, const struct life *l,
                  struct kw_buf *out);
#endif
