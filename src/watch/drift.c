/* drift.c - see drift.h. */
#include "watch/drift.h"

#include "watch/exact.h"

#include <math.h>
#include <stdlib.h>

#define LN_2PI 1.8378770664093454836

const struct drift_setting drift_defaults = DRIFT_DEFAULTS;

const struct drift_prior drift_prior_default = {.level = 0.78845736036427016,
                                                .level_sd = 0.25,
                                                .slope = -0.0022,
                                                .slope_sd = 0.001};

void drift_start(struct drift_state *s, const struct drift_prior *prior,
                 double at_days)
{
    *s = (struct drift_state){.level = prior->level,
                              .slope = prior->slope,
                              .p11 = prior->level_sd * prior->level_sd,
                              .p22 = prior->slope_sd * prior->slope_sd,
                              .at_days = at_days,
                              .scrubbed_days = -INFINITY};
}

void drift_propagate_by(struct drift_state *s, double dt, const double q[3])
{
    s->level += s->slope * dt;
    s->p11 += dt * (2 * s->p12 + dt * s->p22) + q[0];
    s->p12 += dt * s->p22 + q[1];
    s->p22 += q[2];
    s->at_days += dt;
}

void drift_propagate(struct drift_state *s, const struct drift_setting *set,
                     double at_days)
{
    double dt = at_days - s->at_days, qs = set->slope_var_day;

    double q[3];

    if (!(dt > 0))
        return;
    q[0] = set->level_var_day * dt + qs * dt * dt * dt / 3;
    q[1] = qs * dt * dt / 2;
    q[2] = qs * dt;
    drift_propagate_by(s, dt, q);
    s->at_days = at_days; /* not the sum: no rounding to gather */
}

void drift_scrub(struct drift_state *s, const struct drift_setting *set,
                 double at_days)
{
    drift_propagate(s, set, at_days);
    s->level += set->scrub_gain;
    s->p11 += set->scrub_var;
    s->scrubbed_days = s->at_days;
    s->fresh_scrub = true;
    s->flagged = 0; /* what comes is not like what was */
}

/* The gain of a scrub as its first reading shows it, outliers held back. */
static double gain_seen(const struct drift_state *s,
                        const struct drift_setting *set, double e, double r)
{
    double most = set->cap * sqrt(s->p11 + r);

    return set->scrub_gain + fmax(-most, fmin(most, e));
}

/* Capped: an innovation weighs as much as one of kh deviations. */
static double capped_var(const struct drift_state *s,
                         const struct drift_setting *set, double e, double r)
{
    return fmax(r, e * e / (set->cap * set->cap) - s->p11);
}

static void update(struct drift_state *s, double e, double r)
{
    double f = s->p11 + r, k2 = s->p12 / f;

    s->level += s->p11 / f * e;
    s->slope += k2 * e;
    s->p22 -= k2 * s->p12;
    s->p12 *= r / f; /* (1 - k1), without cancellation */
    s->p11 *= r / f;
}

void drift_read(struct drift_state *s, const struct drift_setting *set,
                const struct drift_event *reading, struct drift_step *step)
{
    double r = fmax(set->reading_var, reading->log_se * reading->log_se);
    double e;
    int sign;

    drift_propagate(s, set, reading->at_days);
    e = reading->log_flow - s->level;
    sign = e > 0 ? 1 : -1;
    *step = (struct drift_step){
        .log_flow = reading->log_flow,
        .innovation = e,
        .flagged = fabs(e) > set->cap * sqrt(s->p11 + r),
        .crack = set->service && e > set->crack_rise,
        .scrub_gain = s->fresh_scrub ? gain_seen(s, set, e, r) : NAN};
    step->jumped =
        set->service && step->flagged && s->flagged == sign && !step->crack;
    if (step->jumped)
        s->p11 += e * e / 2;
    r = capped_var(s, set, e, r);
    step->variance = s->p11 + r;
    step->log_lik =
        -0.5 * (LN_2PI + log(step->variance) + e * e / step->variance);
    s->flagged = step->flagged && !step->jumped ? sign : 0;
    s->fresh_scrub = false;
    if (!step->crack)
        update(s, e, r);
    step->p_below = drift_p_below(s, set);
}

double drift_p_below(const struct drift_state *s,
                     const struct drift_setting *set)
{
    return exact_below(s->level, sqrt(s->p11), log(set->limit_l));
}

struct drift_outlook drift_ahead(const struct drift_state *s,
                                 const struct drift_setting *set, double days)
{
    struct drift_outlook o;

    o.mean = s->level + days * s->slope;
    o.var = s->p11 + 2 * days * s->p12 + days * days * s->p22 +
            set->level_var_day * days +
            set->slope_var_day * days * days * days / 3;
    return o;
}

static double p_below_in(const struct drift_state *s,
                         const struct drift_setting *set, double days)
{
    struct drift_outlook o = drift_ahead(s, set, days);

    return exact_below(o.mean, sqrt(o.var), log(set->limit_l));
}

/* The first day at which P(below) reaches p: a coarse walk, then halving. */
static double reaches(const struct drift_state *s,
                      const struct drift_setting *set, double p)
{
    double low = 0, high = 0, step = 1;

    if (p_below_in(s, set, 0) >= p)
        return 0;
    while (p_below_in(s, set, high) < p) {
        low = high;
        high += step;
        step *= 1.1;
        if (high > DRIFT_AHEAD_MOST_DAYS)
            return INFINITY;
    }
    while (high - low > 0.01) {
        double mid = (low + high) / 2;

        if (p_below_in(s, set, mid) >= p)
            high = mid;
        else
            low = mid;
    }
    return high;
}

void drift_fall(const struct drift_state *s, const struct drift_setting *set,
                struct drift_fall *out)
{
    out->early_days = reaches(s, set, 0.1);
    out->expected_days = reaches(s, set, 0.5);
    out->late_days = reaches(s, set, 0.9);
}

enum flow_verdict drift_judge(const struct drift_state *s,
                              const struct drift_setting *set,
                              const struct drift_step *step)
{
    if (step->crack || step->log_flow > log(set->too_fast_l))
        return FLOW_STOP;
    if (step->p_below >= set->sure && !step->flagged &&
        s->at_days - s->scrubbed_days <= set->scrub_days)
        return FLOW_REPLACE;
    return step->p_below >= set->ask_scrub ? FLOW_SCRUB : FLOW_FINE;
}

struct drift_summary drift_replay(struct drift_state *s,
                                  const struct drift_setting *set,
                                  const struct drift_prior *prior,
                                  const struct drift_history *h)
{
    struct drift_summary sum = {.readings = 0};

    drift_start(s, prior, h->start_days);
    for (size_t i = 0; i < h->n; i++) {
        const struct drift_event *e = &h->events[i];
        struct drift_step step;

        if (e->scrub) {
            drift_scrub(s, set, e->at_days);
            continue;
        }
        drift_read(s, set, e, &step);
        sum.readings++;
        if (!isnan(step.scrub_gain)) {
            sum.scrubs_seen++;
            sum.gain_sum += step.scrub_gain;
        }
    }
    return sum;
}

void drift_learn_pot(struct drift_learn *l, const struct drift_state *s,
                     const struct drift_summary *sum)
{
    if (sum->readings < DRIFT_LEARN_READINGS)
        return;
    l->slope_sum += s->slope;
    l->slope_n++;
    if (sum->scrubs_seen > 0) {
        l->gain_sum += sum->gain_sum / sum->scrubs_seen;
        l->gain_n++;
    }
}

struct drift_rates drift_learnt(const struct drift_learn *l,
                                const struct drift_rates *programme)
{
    const double w = DRIFT_WEIGHT_POTS;

    return (struct drift_rates){
        .slope =
            (w * programme->slope + l->slope_sum) / (w + (double)l->slope_n),
        .gain = (w * programme->gain + l->gain_sum) / (w + (double)l->gain_n)};
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

/* Sorts v. */
static double median(double *v, size_t n)
{
    qsort(v, n, sizeof(*v), by_size);
    return n % 2 == 1 ? v[n / 2] : (v[n / 2 - 1] + v[n / 2]) / 2;
}

static double median_of(const double *v, size_t n)
{
    double *copy = kw_malloc(n * sizeof(*copy)), m;

    for (size_t i = 0; i < n; i++)
        copy[i] = v[i];
    m = median(copy, n);
    kw_free(copy);
    return m;
}

int drift_theil_sen(const double *days, const double *y, size_t n,
                    struct drift_line *out)
{
    double *slopes;
    size_t pairs = 0;

    if (n < 2)
        return KW_EINVAL;
    if (n > DRIFT_THEIL_SEN_MOST)
        return KW_EFULL;
    slopes = kw_malloc(n * (n - 1) / 2 * sizeof(*slopes));
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < i; j++)
            if (days[i] != days[j])
                slopes[pairs++] = (y[i] - y[j]) / (days[i] - days[j]);
    if (pairs > 0) {
        out->slope = median(slopes, pairs);
        out->intercept = median_of(y, n) - out->slope * median_of(days, n);
        out->pairs = (int64_t)pairs;
    }
    kw_free(slopes);
    return pairs > 0 ? 0 : KW_EINVAL;
}
