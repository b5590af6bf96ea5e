#ifndef KW_POTFLOW_H
#define KW_POTFLOW_H
/*
 * potflow.h - what the service makes of one reading of one pot: drift's
 * filter with the rules that people live by around it. A reading that says
 * "too fast" is never entered: a crack must not become the new normal. A low
 * outlier asks for a scrub; after the scrub a like one is believed.
 * Source: classes of docs/science.md; each number is a setting.
 */
#include "watch/drift.h"

struct potflow_rule {
    struct drift_setting drift;
    double rise;       /* ln of the rise over the pot's own flow that stops */
    double rise_early; /* ln, in the first weeks while a pot washes in */
    double settle_days;
};
extern const struct potflow_rule potflow_defaults;
/* The programme's rule; a pot's own differs in limits and scrub gain. */
struct config;
void potflow_rule_of(const struct config *conf, struct potflow_rule *rule);

struct potflow_seen {
    struct drift_event reading; /* scrub is not looked at */
    double age_days;            /* since the pot was handed over */
    bool sound; /* someone looked at it after the last "too fast" and closed
                 * the alert: a rise within the band is believed */
};

enum {                        /* why, or-ed */
       POTFLOW_OUTLIER = 1,   /* beyond the cap */
       POTFLOW_JUMP = 2,      /* the second of two like outliers: believed */
       POTFLOW_TOO_FAST = 4,  /* over the batch's accepted band */
       POTFLOW_RISE = 8,      /* risen too far for the pot itself */
       POTFLOW_SCRUBBED = 16, /* read within scrub_days of a scrub */
       POTFLOW_LOW = 32,      /* the reading itself is below the limit */
       POTFLOW_OLD = 64       /* filed late: older than what was known */
};

struct potflow_decision {
    enum flow_verdict verdict;
    unsigned why;
    struct drift_state state; /* that it rests on; after the reading */
    struct drift_step step;
    double rise_log; /* ln of the rise that was allowed */
};

/* A scrub. A low outlier before it is remembered over it. */
void potflow_scrub(struct drift_state *s, const struct potflow_rule *rule,
                   double at_days);
/* A reading older by a day than the state is judged and leaves it alone. */
void potflow_read(struct drift_state *s, const struct potflow_rule *rule,
                  const struct potflow_seen *seen,
                  struct potflow_decision *out);
#endif
