/* need.c - see need.h. */
#include "watch/need.h"

#include "watch/detector.h"

#include <math.h>
#include <string.h>

#define MATHLIB_STANDALONE 1
#include <Rmath.h>

void need_rates(const struct breakage_batch *all, struct need_model *m)
{
    const struct breakage_prior *prior = &detector_defaults.prior;

    m->bins = BREAKAGE_BINS;
    m->place_weight = detector_defaults.place_weight;
    for (int k = 0; k < BREAKAGE_BINS; k++) {
        m->edges[k] = breakage_edges_days[k];
        m->events[k] = prior->events + (double)all->failed_at[k];
        m->rate[k] = m->events[k] / (prior->events / prior->rate_per_day +
                                     all->exposure_days[k]);
    }
}

double need_expected(const struct need_model *m, const struct need_sums *s)
{
    double e = 0;

    for (int k = 0; k < BREAKAGE_BINS; k++)
        e += m->rate[k] * s->x[k];
    return e;
}

double need_eager(const struct need_model *m, const struct need_sums *place)
{
    return (m->place_weight + (double)place->failed) /
           (m->place_weight + need_expected(m, place));
}

double need_batch_risk(const struct need_batch *b)
{
    return (NEED_BATCH_PRIOR + (double)b->failed) /
           (NEED_BATCH_PRIOR + b->expected);
}

/* The cumulative hazard of a unit in each bin within the days to come. */
static double hazards(const struct need_model *m, const struct need_unit *u,
                      double days, double *by_bin)
{
    double risk = need_batch_risk(&m->batches[u->batch]) * u->eager, sum = 0;

    for (size_t k = 0; k < m->bins; k++) {
        double high = k + 1 < m->bins ? m->edges[k + 1] : INFINITY;
        double from = fmax(u->age_days, m->edges[k]);
        double to = fmin(u->age_days + days, high);

        by_bin[k] = to > from ? risk * m->rate[k] * (to - from) : 0;
        sum += by_bin[k];
    }
    return sum;
}

/* What the batches' and the bins' own uncertainty adds: all move together. */
static double shared_var(const struct need_model *m, const double *by_batch,
                         const double *by_bin)
{
    double sum = 0;

    for (size_t b = 0; b < m->n_batches; b++)
        sum += by_batch[b] * by_batch[b] /
               (NEED_BATCH_PRIOR + (double)m->batches[b].failed);
    for (size_t k = 0; k < m->bins; k++)
        if (m->events[k] > 0)
            sum += by_bin[k] * by_bin[k] / m->events[k];
    return sum;
}

int need_forecast(const struct need_model *m, const struct need_unit *units,
                  size_t n, double days, double *q, struct need_forecast *out)
{
    double *by_batch, by_bin[NEED_BINS_MOST] = {0}, each[NEED_BINS_MOST];

    *out = (struct need_forecast){0, 0};
    if (m->bins < 1 || m->bins > NEED_BINS_MOST)
        return KW_ERANGE;
    for (size_t i = 0; i < n; i++)
        if (units[i].batch < 0 || (size_t)units[i].batch >= m->n_batches)
            return KW_ERANGE;
    by_batch = kw_calloc(m->n_batches + 1, sizeof(*by_batch));
    for (size_t i = 0; i < n; i++) {
        double sum = hazards(m, &units[i], days, each);
        double stays = 1 - units[i].p_flow;
        double fails = units[i].p_flow - expm1(-sum) * stays;
        double weight = stays * exp(-sum);

        out->mean += fails;
        out->var += fails * (1 - fails);
        by_batch[units[i].batch] += weight * sum;
        for (size_t k = 0; k < m->bins; k++)
            by_bin[k] += weight * each[k];
        if (q != NULL)
            q[i] = fails;
    }
    out->var += shared_var(m, by_batch, by_bin);
    kw_free(by_batch);
    return 0;
}

double need_misfit(const struct need_past *past, size_t n)
{
    double sum = 0;

    for (size_t i = 0; i < n; i++) {
        double off = past[i].came - past[i].mean;

        sum += off * off / past[i].var;
    }
    return n > 0 ? sum / (double)n : NAN;
}

double need_widening(double misfit, size_t n, bool before)
{
    if (n < NEED_PAST || !(misfit > (before ? 1 : NEED_MISFIT_MOST)))
        return 1;
    return misfit;
}

void need_poisson_binomial(const double *q, size_t n, double *pmf)
{
    pmf[0] = 1;
    for (size_t i = 0; i < n; i++) {
        pmf[i + 1] = pmf[i] * q[i];
        for (size_t k = i; k > 0; k--)
            pmf[k] = pmf[k] * (1 - q[i]) + pmf[k - 1] * q[i];
        pmf[0] *= 1 - q[i];
    }
}

/*
 * The same quantile for very many, where the exact one costs too much: normal
 * with the skewness (Cornish & Fisher 1938), which is within one by then.
 */
#define EXACT_MOST 20000

static double quantile_of_many(const double *q, size_t n, double p)
{
    double mean = 0, var = 0, third = 0, z = qnorm(p, 0, 1, 1, 0), sd;

    for (size_t i = 0; i < n; i++) {
        mean += q[i];
        var += q[i] * (1 - q[i]);
        third += q[i] * (1 - q[i]) * (1 - 2 * q[i]);
    }
    if (!(var > 0))
        return mean;
    sd = sqrt(var);
    return fmax(0, ceil(mean + sd * z + third / var * (z * z - 1) / 6 - 0.5));
}

static double exact_quantile(const double *q, size_t n, double p)
{
    double *pmf = kw_calloc(n + 1, sizeof(*pmf)), sum = 0;
    size_t k = 0;

    need_poisson_binomial(q, n, pmf);
    for (; k < n; k++) {
        sum += pmf[k];
        if (sum >= p - 1e-12)
            break;
    }
    kw_free(pmf);
    return (double)k;
}

double need_quantile(const struct need_forecast *f, const double *q, size_t n,
                     double p)
{
    if (!(p > 0 && p < 1))
        return NAN;
    if (!(f->mean > 0))
        return 0;
    if (f->var > f->mean) {
        double size = f->mean * f->mean / (f->var - f->mean);
        double k = qnbinom_mu(p, size, f->mean, 1, 0);

        return k > 0 ? k : 0; /* never -0 */
    }
    return n > EXACT_MOST ? quantile_of_many(q, n, p) : exact_quantile(q, n, p);
}
