/* flowrule.c - see flowrule.h. */
#include "watch/flowrule.h"

#include "watch/exact.h"

#include <math.h>

/* A scrub raises ln flow by about 0.25, give or take 0.2 (docs/science.md). */
#define SCRUB_RISE     0.25
#define SCRUB_RISE_VAR 0.04

const char *flow_verdict_name(enum flow_verdict v)
{
    static const char *const names[FLOW_VERDICTS] = {"fine", "scrub", "replace",
                                                     "stop"};

    return v >= 0 && v < FLOW_VERDICTS ? names[v] : "unknown";
}

/* Too fast for the batch, whatever the pot did before. */
static bool too_fast(const struct flow_rule *rule, const struct flow_past *past,
                     double l)
{
    double most =
        past->batch_max_l > 0 ? past->batch_max_l : rule->accept_max_l;

    return l > rule->fast_factor * most;
}

/*
 * Risen too far for the pot itself: by more than the factor, and by more
 * than one standard error of the rise, lest rough readings stop a household.
 */
static bool risen(const struct flow_rule *rule, const struct flow_past *past,
                  double l, double log_se)
{
    double rise, allowed, var;

    if (!(past->last_l > 0))
        return false;
    rise = log(l / past->last_l);
    allowed = log(past->age_days < rule->settle_days ? rule->rise_early
                                                     : rule->rise_factor);
    var = log_se * log_se + past->last_log_se * past->last_log_se;
    if (past->scrubbed_since) {
        allowed += SCRUB_RISE;
        var += SCRUB_RISE_VAR;
    }
    return rise > allowed && rise > sqrt(var);
}

enum flow_verdict flow_judge(const struct flow_rule *rule,
                             const struct flow_past *past, double first_hour_l,
                             double log_se, double *p_below)
{
    double limit = rule->replace_below_l;

    *p_below = exact_below(log(first_hour_l), log_se, log(limit));
    if (!(first_hour_l > 0) || !isfinite(first_hour_l) || !(log_se >= 0))
        return FLOW_SCRUB; /* no reading: measure again */
    if (too_fast(rule, past, first_hour_l) ||
        risen(rule, past, first_hour_l, log_se))
        return FLOW_STOP;
    if (first_hour_l >= limit)
        return FLOW_FINE;
    if (past->scrubbed_since &&
        (first_hour_l < limit / 2 ||
         (*p_below >= rule->sure && past->low_before >= 2)))
        return FLOW_REPLACE;
    return FLOW_SCRUB;
}
