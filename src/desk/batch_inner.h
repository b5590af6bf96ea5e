#ifndef KW_BATCH_INNER_H
#define KW_BATCH_INNER_H
/* batch_inner.h - what the files of the watch over batches share. */
#include "desk/batch_watch.h"

#include "base/clock.h"
#include "watch/breakage.h"
#include "watch/detector.h"

struct watch_key {
    int64_t batch, place;
    int day;
};
struct watch_cell {
    struct watch_key key;
    int batch_cell, delivery_cell; /* in each detector; of a unit: its number */
    bool used;
};
struct watch_map { /* open addressing, a power of two of cells */
    struct watch_cell *cells;
    size_t n, room;
};
/* NULL: not there. Borrowed until the next add. */
struct watch_cell *watch_find(struct watch_map *m, const struct watch_key *k);
struct watch_cell *watch_add(struct watch_map *m, const struct watch_key *k);

#define WATCH_OUT 1 /* some pot of the batch was handed out */
#define WATCH_NEW 2 /* among the news */

/*
 * For the test of one look: of each batch, by id, its pots' time at risk and
 * failures up to at_s, and how many pots were then in homes, by age bin.
 */
struct watch_sum {
    struct breakage_batch b; /* batch_id 0: no pot of it was handed out */
    int64_t standing[BREAKAGE_BINS];
};
struct watch_sums {
    struct watch_sum *items;
    size_t n, cap;
    int64_t at_s;
};

/* Marks of the ledger: what had been taken in when states were written. */
#define WATCH_UPTO     "watch-upto"
#define WATCH_HANDOVER "watch-handover"
#define WATCH_FAILED   "watch-failed"

struct batch_watch {
    struct detector *batches, *deliveries; /* NULL: nothing taken in yet */
    struct watch_map cells;                /* batch x place x day */
    struct watch_map units; /* place x day -> number of the delivery */
    struct watch_key *unit_keys;
    size_t n_units, units_cap;
    int *unit_news; /* deliveries with something new */
    size_t n_unit_news, unit_news_cap;
    int64_t *place_closed_s; /* by place: last closed, 0 never */
    size_t n_place_closed, place_closed_cap;
    int64_t *closed_s; /* by batch: last closed, 0 never */
    size_t n_closed, closed_cap;
    uint8_t *touched; /* by batch */
    size_t n_touched, touched_cap;
    int64_t *news; /* batches with something new */
    size_t n_news, news_cap;
    int64_t handover_id; /* the last that was taken in */
    int64_t upto_s;
    int64_t failed;      /* taken in */
    int64_t failed_else; /* of the batches' own sums, not of pots in homes */
    struct watch_sums sums;
    int day;
    bool replayed;
};

static inline int watch_day(int64_t at_s)
{
    return (int)(at_s / CLOCK_DAY_S);
}

/* The whole history up to now_s into an empty watch. */
int watch_take_all(struct batch_watch *w, struct ledger *lg, int64_t now_s);
/* What came since; *stale: something does not fit, all has to be replayed. */
int watch_take_news(struct batch_watch *w, struct ledger *lg, int64_t now_s,
                    bool *stale);
/*
 * All batches' sums, those of a replay being exact. Later ones let the pots
 * that stood in homes stand on in their bins, up to the end of the day, and
 * read afresh only the batches with news.
 */
int watch_sum_time(struct watch_sums *s, const struct batchstate_time *t);
int watch_sums_news(struct batch_watch *w, struct ledger *lg, int64_t now_s);
/* The scan along the firing dates (at_s 0: too little to scan), and that along
 * the serials of each batch with failures enough. */
int watch_firings(struct batch_watch *w, struct ledger *lg, int64_t now_s,
                  struct batchstate_firings *out);
int watch_runs(const struct batch_watch *w, struct ledger *lg, int64_t now_s,
               struct batch_found *out);
#endif
