/* flow.c - see flow.h. */
#include "desk/flow.h"

#include "base/clock.h"
#include "base/log.h"

#include <math.h>
#include <string.h>

#define DAY_S           ((double)CLOCK_DAY_S)
#define SOUND_S         (30 * (int64_t)CLOCK_DAY_S) /* a look at a pot counts */
#define LEARN_S         (7 * (int64_t)CLOCK_DAY_S)
#define SAME_SCRUB_DAYS 7
#define LEARN_AT_ONE    50 /* batches in one tick */

enum flow_prior flow_prior_of(const struct config *conf,
                              const struct ledger_pot *pot,
                              struct drift_prior *out)
{
    *out = (struct drift_prior){.level = log(conf->first_l),
                                .level_sd = conf->first_sd,
                                .slope = conf->slope_day,
                                .slope_sd = conf->slope_sd};
    if (pot->test_l > 0) {
        out->level = log(pot->test_l);
        return FLOW_PRIOR_POT;
    }
    if (pot->batch_mean_l > 0) {
        out->level = log(pot->batch_mean_l);
        return FLOW_PRIOR_BATCH;
    }
    return FLOW_PRIOR_DEFAULT;
}

/* The rule of the pot, with what its batch has taught. */
static void pot_rule(const struct config *conf, const struct ledger_pot *pot,
                     struct potflow_rule *rule, double *slope_day)
{
    potflow_rule_of(conf, rule);
    *slope_day = conf->slope_day;
    if (pot->batch_max_l > 0)
        rule->drift.too_fast_l = conf->fast_factor * pot->batch_max_l;
    if (pot->key == 0 || isnan(pot->batch_slope))
        return;
    rule->drift.scrub_gain = pot->batch_gain;
    *slope_day = pot->batch_slope;
}

void flow_state_of(const struct ledger_drift *d, struct drift_state *s)
{
    *s = (struct drift_state){
        .level = d->level,
        .slope = d->slope,
        .p11 = d->p11,
        .p12 = d->p12,
        .p22 = d->p22,
        .at_days = d->at_days,
        .scrubbed_days = isnan(d->scrubbed_days) ? -INFINITY : d->scrubbed_days,
        .flagged = d->flagged,
        .fresh_scrub = d->fresh_scrub};
}

/* ---- begin ---- */

/*
 * A pot without a state: from its prior, as of the day it was handed over. A
 * reading or scrub that an older program kept without a state is taken in.
 */
static void start(struct flow_case *c, const struct ledger_pot *pot,
                  int64_t at_s)
{
    int64_t from_s =
        pot->given_s != 0 && pot->given_s < at_s ? pot->given_s : at_s;
    struct drift_step step;

    if (pot->last_flow_s != 0 && pot->last_flow_s < from_s)
        from_s = pot->last_flow_s;
    drift_start(&c->state, &c->begun, (double)from_s / DAY_S);
    if (pot->last_flow_s != 0 && pot->last_flow_s <= at_s &&
        pot->last_flow_l > 0) {
        struct drift_event e = {
            .at_days = (double)pot->last_flow_s / DAY_S,
            .log_flow = log(pot->last_flow_l),
            .log_se = isnan(pot->last_flow_log_se) ? 0 : pot->last_flow_log_se};

        drift_read(&c->state, &c->rule.drift, &e, &step);
        c->kept.readings++;
    }
    if (pot->last_scrub_s != 0 && pot->last_scrub_s < at_s)
        flow_scrubbed(c, pot->last_scrub_s);
}

int flow_begin(struct flow_case *c, const struct config *conf,
               struct ledger *lg, const struct ledger_pot *pot, int64_t at_s)
{
    double slope;
    int err;

    *c = (struct flow_case){.decided = false};
    pot_rule(conf, pot, &c->rule, &slope);
    c->prior = flow_prior_of(conf, pot, &c->begun);
    c->begun.slope = slope;
    err = ledger_drift_get(lg, pot->key, &c->kept);
    if (err == 0)
        flow_state_of(&c->kept, &c->state);
    else if (err == KW_ENOENT)
        start(c, pot, at_s);
    else
        return err;
    c->kept.pot_key = pot->key;
    return 0;
}

/* ---- a scrub, a reading ---- */

void flow_scrubbed(struct flow_case *c, int64_t at_s)
{
    double at = (double)at_s / DAY_S;
    double since = at - c->state.scrubbed_days;

    /* One scrub told of twice, before the reading and with it, counts once. */
    if (since < (c->state.fresh_scrub ? SAME_SCRUB_DAYS : 1))
        return;
    potflow_scrub(&c->state, &c->rule, at);
}

bool flow_is_late(const struct flow_case *c, int64_t at_s)
{
    return (double)at_s / DAY_S < c->state.at_days - 1;
}

void flow_restart(struct flow_case *c, int64_t from_s)
{
    c->kept.readings = c->kept.scrubs_seen = 0;
    c->kept.gain_sum = 0;
    drift_start(&c->state, &c->begun, (double)from_s / DAY_S);
}

/* Someone looked at the pot that ran fast, and closed the alert. */
static int looked_at(struct ledger *lg, int64_t pot_key, double at_days,
                     bool *sound)
{
    int64_t closed_s, at_s = (int64_t)(at_days * DAY_S);
    int err = ledger_fast_closed(lg, pot_key, &closed_s);

    *sound = err == 0 && closed_s <= at_s && at_s - closed_s < SOUND_S;
    return err == KW_ENOENT ? 0 : err;
}

int flow_read(struct flow_case *c, struct ledger *lg,
              const struct ledger_pot *pot, const struct drift_event *reading)
{
    struct potflow_seen seen = {.reading = *reading, .age_days = INFINITY};
    struct drift_state before = c->state;
    int err;

    if (pot->given_s != 0)
        seen.age_days = reading->at_days - (double)pot->given_s / DAY_S;
    potflow_read(&c->state, &c->rule, &seen, &c->decision);
    if (c->decision.verdict == FLOW_STOP) { /* rare: then the alerts count */
        err = looked_at(lg, pot->key, reading->at_days, &seen.sound);
        if (err < 0)
            return err;
        c->state = before;
        potflow_read(&c->state, &c->rule, &seen, &c->decision);
    }
    c->decided = true;
    if (c->decision.verdict == FLOW_STOP || (c->decision.why & POTFLOW_OLD))
        return 0;
    c->kept.readings++;
    if (!isnan(c->decision.step.scrub_gain)) {
        c->kept.scrubs_seen++;
        c->kept.gain_sum += c->decision.step.scrub_gain;
    }
    return 0;
}

/* ---- keeping ---- */

bool flow_decision(const struct flow_case *c, struct ledger_decision *out)
{
    const struct potflow_decision *d = &c->decision;

    if (c->kept.pot_key == 0 || !c->decided)
        return false;
    *out = (struct ledger_decision){.pot_key = c->kept.pot_key,
                                    .level = d->state.level,
                                    .slope = d->state.slope,
                                    .p11 = d->state.p11,
                                    .p12 = d->state.p12,
                                    .p22 = d->state.p22,
                                    .innovation = d->step.innovation,
                                    .variance = d->step.variance,
                                    .p_below = d->step.p_below,
                                    .limit_l = c->rule.drift.limit_l,
                                    .too_fast_l = c->rule.drift.too_fast_l,
                                    .ask_scrub = c->rule.drift.ask_scrub,
                                    .sure = c->rule.drift.sure,
                                    .rise_log = d->rise_log,
                                    .why = d->why,
                                    .prior = (int)c->prior};
    return true;
}

int flow_put(const struct flow_case *c, struct ledger *lg)
{
    struct ledger_drift d = c->kept;

    if (c->kept.pot_key == 0)
        return 0;
    d.level = c->state.level;
    d.slope = c->state.slope;
    d.p11 = c->state.p11;
    d.p12 = c->state.p12;
    d.p22 = c->state.p22;
    d.at_days = c->state.at_days;
    d.scrubbed_days =
        isfinite(c->state.scrubbed_days) ? c->state.scrubbed_days : NAN;
    d.flagged = c->state.flagged;
    d.fresh_scrub = c->state.fresh_scrub;
    return ledger_drift_put(lg, &d);
}

/* ---- what a batch teaches ---- */

struct learning {
    struct ledger *lg;
    struct drift_rates programme;
    int64_t now_s, batch_id; /* 0 none yet */
    struct drift_learn sums;
};

static int learn_batch(struct learning *l)
{
    struct drift_rates r = drift_learnt(&l->sums, &l->programme);

    if (l->batch_id == 0 || l->sums.slope_n == 0)
        return 0;
    return ledger_batch_drift_put(
        l->lg, &(struct ledger_batch_drift){.batch_id = l->batch_id,
                                            .slope = r.slope,
                                            .gain = r.gain,
                                            .slope_pots = l->sums.slope_n,
                                            .gain_pots = l->sums.gain_n,
                                            .learnt_s = l->now_s});
}

static int learn_pot(int64_t batch_id, const struct ledger_drift *d, void *arg)
{
    struct learning *l = arg;
    struct drift_state s;
    struct drift_summary sum = {.readings = d->readings,
                                .scrubs_seen = d->scrubs_seen,
                                .gain_sum = d->gain_sum};
    int err;

    if (batch_id != l->batch_id) {
        if ((err = learn_batch(l)) < 0)
            return err;
        l->batch_id = batch_id;
        l->sums = (struct drift_learn){0};
    }
    flow_state_of(d, &s);
    drift_learn_pot(&l->sums, &s, &sum);
    return 0;
}

/* Marks: how far this week's round has come, and when the next one begins. */
static const char at_mark[] = "flow rates learnt up to batch";
static const char week_mark[] = "flow rates: next round";

static int mark(struct ledger *lg, const char *key, int64_t *value)
{
    int err = ledger_mark_get(lg, key, value);

    if (err == KW_ENOENT)
        *value = 0;
    return err == KW_ENOENT ? 0 : err;
}

int flow_learn(const struct config *conf, struct ledger *lg, int64_t now_s,
               int64_t *next_s)
{
    struct learning l = {.lg = lg,
                         .programme = {conf->slope_day, conf->scrub_gain},
                         .now_s = now_s};
    int64_t batch, due, again;
    int err, n;

    if ((err = mark(lg, at_mark, &batch)) < 0 ||
        (err = mark(lg, week_mark, &due)) < 0)
        return err;
    if (now_s < due) {
        *next_s = due < *next_s ? due : *next_s;
        return 0;
    }
    n = ledger_drifts_each(lg, &batch, LEARN_AT_ONE, learn_pot, &l);
    if (n < 0 || (err = learn_batch(&l)) < 0)
        return n < 0 ? n : err;
    again = now_s + 1;
    if (n < LEARN_AT_ONE) { /* the round is done */
        batch = 0;
        again = now_s + LEARN_S;
        if ((err = ledger_mark_put(lg, week_mark, again)) < 0)
            return err;
    }
    *next_s = again < *next_s ? again : *next_s;
    return ledger_mark_put(lg, at_mark, batch);
}
