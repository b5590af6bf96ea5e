#ifndef KW_FLOWRULE_H
#define KW_FLOWRULE_H
/*
 * flowrule.h - one reading of a pot's flow -> what to do. The threshold rule
 * with scrubbing; drift (docs/science.md) gives it a better state later.
 * Source: classes of reference/trade.md, proposals every workshop may change.
 */
#include "base/kw.h"

enum flow_verdict {
    FLOW_FINE,    /* in the band, or nothing to say */
    FLOW_SCRUB,   /* below the threshold: scrub, measure again */
    FLOW_REPLACE, /* low after scrubbing */
    FLOW_STOP,    /* too fast: suspected crack */
    FLOW_VERDICTS
};
const char *flow_verdict_name(enum flow_verdict v); /* "fine" … */

struct flow_rule {
    double replace_below_l; /* 1.0 */
    double accept_max_l;    /* of the workshop's test; 3.0 */
    double fast_factor;     /* 1.25 x accept_max_l is too fast */
    double rise_factor;     /* 1.5 x the pot's own last flow is too fast */
    double settle_days;     /* a rise in the first days is no crack: 28 */
    double rise_early;      /* factor then allowed: 1.44 x 1.25 */
    double sure;            /* P needed to say replace: 0.75 */
};

struct flow_past { /* what is known of the pot before this reading */
    double last_l, last_log_se; /* 0 when none; the workshop's test counts */
    double batch_max_l;  /* accepted maximum of the batch, 0: rule's own */
    double age_days;     /* since it was handed over */
    int low_before;      /* readings below the threshold in a row */
    bool scrubbed_since; /* scrubbed after the last low reading */
};

/* first_hour_l > 0, log_se >= 0. p_below: P(true flow < threshold). */
enum flow_verdict flow_judge(const struct flow_rule *rule,
                             const struct flow_past *past, double first_hour_l,
                             double log_se, double *p_below);
#endif
