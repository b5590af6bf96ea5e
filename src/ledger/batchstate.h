#ifndef KW_BATCHSTATE_H
#define KW_BATCHSTATE_H
/*
 * batchstate.h - how each batch and each delivery (place x day) stands:
 * sound, suspect or failing, with the numbers behind it; and the history that
 * these are worked out from, so that a restart comes to the same.
 */
#include "ledger/ledger.h"

struct batchstate {
    int64_t batch_id;
    int64_t place_id, day; /* of a delivery instead; days since 1970, UTC */
    int state;             /* enum detector_state */
    int64_t since_s;       /* in that state */
    int64_t at_s;          /* when the numbers were last written */
    int64_t reported, counted;
    double expected, upper, log_bf, cusum; /* log_bf NaN: too few */
    double risk, risk_low, risk_high;      /* 90 % */
    int places;                            /* with a counted failure */
    bool bound; /* cannot be told apart from the place (or the batch) */
    /* nightly: the run of serials that stands out most; keys 0 none */
    int64_t run_from, run_to, run_failed, run_seed;
    double run_expected, run_p;
};
typedef int batchstate_f(const struct batchstate *, void *);

/* Of a batch; KW_ENOENT: never judged. */
int batchstate_get(struct ledger *lg, int64_t batch_id, struct batchstate *out);
int batchstate_put(struct ledger *lg, const struct batchstate *s);
int batchstate_each(struct ledger *lg, batchstate_f *f, void *arg);
/* Only the run of serials of a batch that has a row. */
int batchstate_put_run(struct ledger *lg, const struct batchstate *s);
/* Neighbouring firings with more failures than their share, the strongest. */
struct batchstate_firings {
    int64_t at_s, from_batch, to_batch, failed, seed;
    double expected, p;
};
int batchstate_get_firings(struct ledger *lg, struct batchstate_firings *out);
int batchstate_put_firings(struct ledger *lg,
                           const struct batchstate_firings *f);
/*
 * nu, by how much places differ in what they tell: estimated anew every 90
 * days from the history. The newest by then; KW_ENOENT: none, it is the
 * default.
 */
struct batchstate_weight {
    int64_t day; /* of the estimate, since 1970, UTC; 0 none */
    double nu;
    int64_t places, counted; /* what it rests on */
    int64_t at_s;            /* when it was written down */
};
int batchstate_get_weight(struct ledger *lg, int64_t by_s,
                          struct batchstate_weight *out);
int batchstate_put_weight(struct ledger *lg, const struct batchstate_weight *w);
/* Of deliveries, by place_id and day. KW_ENOENT: never judged. */
int batchstate_get_delivery(struct ledger *lg, int64_t place_id, int64_t day,
                            struct batchstate *out);
int batchstate_put_delivery(struct ledger *lg, const struct batchstate *s);
int batchstate_each_delivery(struct ledger *lg, batchstate_f *f, void *arg);

/*
 * Where the failures of a batch gather: the place with most of them, or the
 * delivery with most among those that stand as failing. KW_ENOENT: none.
 */
struct batchstate_where {
    int64_t place_id, day; /* day 0 of a place */
    int64_t failed;        /* of this batch, there */
};
int batchstate_worst_place(struct ledger *lg, int64_t batch_id,
                           struct batchstate_where *out);
int batchstate_worst_delivery(struct ledger *lg, int64_t batch_id,
                              struct batchstate_where *out);

/* ---- the history ---- */

/* A pot's time in a home. A failure is that of the last time that had begun. */
struct batchstate_time {
    int64_t handover_id, batch_id, pot_key, place_id; /* place 0 not known */
    int64_t given_s, ended_s, failed_s; /* 0: not; failed_s >= given_s */
    bool first;                         /* of that pot */
};
typedef int batchstate_time_f(const struct batchstate_time *, void *);
int batchstate_times(struct ledger *lg, batchstate_time_f *f, void *arg);
/* The hand-overs written down after that one, by id. */
int batchstate_times_after(struct ledger *lg, int64_t handover_id,
                           batchstate_time_f *f, void *arg);
/* Times of which the pot failed, or that ended, in (from_s, to_s]. */
int batchstate_changes(struct ledger *lg, int64_t from_s, int64_t to_s,
                       batchstate_time_f *f, void *arg);
/* Of one batch, by key of the pot. */
int batchstate_times_of(struct ledger *lg, int64_t batch_id,
                        batchstate_time_f *f, void *arg);

/* Somebody closed an alert of breakage, on a batch or on a place (of its
 * deliveries), in (from_s, to_s]. */
struct batchstate_closing {
    int64_t batch_id, place_id; /* the other is 0 */
    int64_t at_s;
};
int batchstate_closings(struct ledger *lg, int64_t from_s, int64_t to_s,
                        int (*f)(const struct batchstate_closing *, void *),
                        void *arg);

/*
 * Failures of all batches: whoever has kept up with the changes finds by it
 * that one was written down late.
 */
int batchstate_failed(struct ledger *lg, int64_t *failed);
#endif
