#ifndef KW_LEDGER_DRIFT_H
#define KW_LEDGER_DRIFT_H
/*
 * drift.h - a pot's flow over its life as the ledger keeps it: the filter's
 * state, what each decision rested on, and what a batch has taught. Returns
 * as in ledger.h.
 */
#include "ledger/ledger.h"

struct ledger_drift { /* one row a pot that was ever read */
    int64_t pot_key;
    double level, slope;  /* of ln first-hour litres; a day */
    double p11, p12, p22; /* their covariance */
    double at_days;       /* that they stand for: UTC seconds / 86400 */
    double scrubbed_days; /* of the last scrub, NaN never */
    int flagged;          /* sign of an outlier that was the last reading */
    bool fresh_scrub;     /* no reading since the last scrub */
    /* for the batch's rates */
    int readings, scrubs_seen;
    double gain_sum; /* ln, of the scrubs seen */
    bool known;      /* read from the ledger, so that a row is there */
};
int ledger_drift_get(struct ledger *lg, int64_t pot_key,
                     struct ledger_drift *out); /* KW_ENOENT */
int ledger_drift_put(struct ledger *lg, const struct ledger_drift *d);

struct ledger_decision { /* what one reading led to, and on which numbers */
    int64_t report_id, pot_key;
    double level, slope, p11, p12, p22; /* the state after it */
    double innovation, variance;        /* reading less prediction; ln */
    double p_below;
    double limit_l, too_fast_l;       /* that it was held against */
    double ask_scrub, sure, rise_log; /* likewise: P, P, ln */
    unsigned why;                     /* POTFLOW_… */
    int prior; /* what was thought before the first reading: 0 the default,
                * 1 the batch's test, 2 the pot's own */
};
/* The id of the limits in it; those of few rules stand in all decisions. */
int ledger_rule_take(struct ledger *lg, const struct ledger_decision *d,
                     int64_t *id);
/* Put with its flow: struct ledger_flow. */
int ledger_decision_get(struct ledger *lg, int64_t report_id,
                        struct ledger_decision *out); /* KW_ENOENT */
/* When the pot's last alert of too fast was closed, while none stands;
 * KW_ENOENT otherwise. */
int ledger_fast_closed(struct ledger *lg, int64_t pot_key, int64_t *closed_s);

struct ledger_batch_drift { /* learnt once a week */
    int64_t batch_id;
    double slope, gain;            /* shrunk to the programme's */
    int64_t slope_pots, gain_pots; /* that they were learnt from */
    int64_t learnt_s;
};
int ledger_batch_drift_get(struct ledger *lg, int64_t batch_id,
                           struct ledger_batch_drift *out); /* KW_ENOENT */
int ledger_batch_drift_put(struct ledger *lg,
                           const struct ledger_batch_drift *d);

/*
 * The pots with a state of the next batches after *batch_id, by batch, at
 * most so many batches; *batch_id moves to the last one looked at. Returns
 * how many batches there were, 0 at the end. batch_id is given with each.
 */
int ledger_drifts_each(struct ledger *lg, int64_t *batch_id, int batches,
                       int (*f)(int64_t batch_id, const struct ledger_drift *,
                                void *arg),
                       void *arg);
#endif
