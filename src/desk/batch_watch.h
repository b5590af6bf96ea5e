#ifndef KW_BATCH_WATCH_H
#define KW_BATCH_WATCH_H
/*
 * batch_watch.h - watches batches and deliveries (place x day) for breakage
 * with watch/detector.h, from the ledger's history. A delivery is watched as
 * a batch is, with batch and place in each other's part: so a bad batch does
 * not make a road look bad, nor the other way round.
 *
 * The first look, and the first of each day, replays the whole history; other
 * looks take in what has come since, at the cost of the batches concerned.
 * The history and its order make the states, so that a restart, or a day's
 * reports in another order, comes to the same alarms on the same days. What
 * was written down late is taken in by a replay at once when a failure is
 * among it, else by that of the next day.
 *
 * A watch belongs to one thread, and to one ledger.
 */
#include "ledger/batchstate.h"

struct batch_watch;

struct batch_watch *batch_watch_new(void);
void batch_watch_free(struct batch_watch *w);

struct batch_findings { /* what is to be written down */
    struct batchstate *items;
    size_t n, cap;
};
struct batch_found {
    struct batch_findings batches, deliveries;
    struct batch_findings runs;        /* inside of batches, nightly */
    struct batchstate_firings firings; /* nightly; at_s 0: nothing */
    struct batchstate_weight weight;   /* day 0: none, or as it stands */
    struct batch_seen {                /* what had been taken in */
        int64_t upto_s, handover_id, failed;
    } seen;
};
void batch_found_release(struct batch_found *f);

/*
 * Takes in the history up to now_s and gives what stands otherwise than the
 * ledger says. Reads alone. What is found is released by the caller, after an
 * error too.
 */
int batch_watch_look(struct batch_watch *w, struct ledger *lg, int64_t now_s,
                     struct batch_found *out);
/* The same without the nightly scans for runs. */
int batch_watch_states(struct batch_watch *w, struct ledger *lg, int64_t now_s,
                       struct batch_found *out);
/*
 * Whether the states in the ledger are those of this day and nothing has
 * happened since they were written down: then a look would find the same.
 */
int batch_watch_current(struct ledger *lg, int64_t now_s, bool *current);
struct desk;
/* Writes it down and alerts; in a transaction. Adds to *raised. */
int batch_act(struct desk *d, struct ledger *lg, int64_t now_s,
              const struct batch_found *f, int *raised);
/* The next look begins anew: what was found could not be written down. */
void batch_watch_forget(struct batch_watch *w);
/* Whether the last look replayed the whole history. */
bool batch_watch_replayed(const struct batch_watch *w);
#endif
