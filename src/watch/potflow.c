/* potflow.c - see potflow.h. */
#include "watch/potflow.h"

#include "base/config.h"

#include <math.h>

const struct potflow_rule potflow_defaults = {
    .drift = DRIFT_DEFAULTS,
    .rise = 0.40546510810816438,       /* ln 1.5 */
    .rise_early = 0.58778666490211901, /* ln 1.8 */
    .settle_days = 28};

static double square(double x)
{
    return x * x;
}

void potflow_rule_of(const struct config *conf, struct potflow_rule *rule)
{
    *rule = (struct potflow_rule){
        .drift = {.reading_var = square(conf->reading_sd),
                  .level_var_day = conf->level_wander,
                  .slope_var_day = conf->slope_wander,
                  .scrub_gain = conf->scrub_gain,
                  .scrub_var = square(conf->scrub_sd),
                  .cap = conf->outlier_sd,
                  .limit_l = conf->replace_below_l,
                  .ask_scrub = conf->ask_scrub_p,
                  .sure = conf->replace_p,
                  .scrub_days = conf->scrub_days,
                  .crack_rise = log(conf->crack_factor),
                  .too_fast_l = conf->fast_factor * conf->accept_max_l,
                  .service = true},
        .rise = log(conf->rise_factor),
        .rise_early = log(conf->rise_early_factor),
        .settle_days = conf->settle_days};
}

void potflow_scrub(struct drift_state *s, const struct potflow_rule *rule,
                   double at_days)
{
    int was = s->flagged;

    drift_scrub(s, &rule->drift, at_days);
    if (was < 0)
        s->flagged = was;
}

static unsigned why(const struct drift_state *s,
                    const struct potflow_rule *rule,
                    const struct potflow_seen *seen,
                    const struct potflow_decision *d)
{
    const struct drift_step *step = &d->step;
    unsigned w = 0;

    if (step->flagged)
        w |= POTFLOW_OUTLIER;
    if (step->jumped)
        w |= POTFLOW_JUMP;
    if (step->log_flow > log(rule->drift.too_fast_l))
        w |= POTFLOW_TOO_FAST;
    if (!seen->sound &&
        (step->crack || (step->flagged && step->innovation > d->rise_log)))
        w |= POTFLOW_RISE;
    if (s->at_days - s->scrubbed_days <= rule->drift.scrub_days)
        w |= POTFLOW_SCRUBBED;
    if (step->log_flow < log(rule->drift.limit_l))
        w |= POTFLOW_LOW;
    return w;
}

/* p_before, p_below: before and after the reading. An outlier downwards of a
 * pot that was held low already is no surprise to wait for. */
static enum flow_verdict judge(const struct potflow_rule *rule, unsigned w,
                               double p_before, double p_below)
{
    bool believed = !(w & POTFLOW_OUTLIER) || (w & POTFLOW_JUMP) ||
                    ((w & POTFLOW_LOW) && p_before >= rule->drift.ask_scrub);

    if (w & (POTFLOW_TOO_FAST | POTFLOW_RISE))
        return FLOW_STOP;
    if (p_below >= rule->drift.sure && believed && (w & POTFLOW_SCRUBBED))
        return FLOW_REPLACE;
    /* A reading below the limit needs half as much to ask for a scrub, and an
     * outlier nothing more; neither is a reason to replace. */
    if (p_below >= rule->drift.ask_scrub ||
        ((w & POTFLOW_LOW) &&
         (!believed || p_below >= rule->drift.ask_scrub / 2)))
        return FLOW_SCRUB;
    return FLOW_FINE;
}

/*
 * "Cracked?" is asked of a pot whose own flow is known. The first reading of
 * one that went unread for years says little against so wide a guess.
 */
static double crack_rise(const struct drift_state *s,
                         const struct potflow_rule *rule,
                         const struct potflow_seen *seen)
{
    double sd = sqrt(s->p11 + rule->drift.reading_var);

    return seen->sound ? INFINITY : fmax(rule->drift.crack_rise, 2 * sd);
}

void potflow_read(struct drift_state *s, const struct potflow_rule *rule,
                  const struct potflow_seen *seen, struct potflow_decision *out)
{
    struct drift_setting set = rule->drift;
    struct drift_state before;
    bool old = seen->reading.at_days < s->at_days - 1;

    drift_propagate(s, &set, seen->reading.at_days);
    before = out->state = *s;
    set.crack_rise = crack_rise(s, rule, seen);
    if (seen->sound && seen->reading.log_flow > s->level)
        out->state.flagged = 1; /* so that an outlier is a jump */
    /* Over a scrub, which lifts the flow, only a very low reading is like. */
    if (s->fresh_scrub && s->flagged < 0 &&
        seen->reading.log_flow >= log(set.limit_l / 2))
        out->state.flagged = 0;
    drift_read(&out->state, &set, &seen->reading, &out->step);
    out->rise_log =
        seen->age_days < rule->settle_days ? rule->rise_early : rule->rise;
    out->why =
        why(&out->state, rule, seen, out) | (old ? (unsigned)POTFLOW_OLD : 0u);
    out->verdict =
        judge(rule, out->why, drift_p_below(&before, &set), out->step.p_below);
    if (out->verdict == FLOW_STOP || old)
        out->state = before;
    if (out->verdict == FLOW_STOP)
        out->step.p_below = drift_p_below(&before, &set);
    *s = out->state;
}
