/* cluster.c - see cluster.h. */
#include "watch/cluster.h"

#include "watch/exact.h"

#include <math.h>
#include <stdlib.h>

#define MATHLIB_STANDALONE 1
#include <Rmath.h>

/* ---- arm A ---- */

double cluster_log_bf(const struct cluster_mix *mix, int64_t failures,
                      double expected)
{
    double a = mix->shape, b = mix->rate, o = (double)failures;

    if (failures < 0 || !(expected >= 0) || !isfinite(expected))
        return NAN;
    return lgammafn(a + o) - lgammafn(a) + a * log(b) -
           (a + o) * log(b + expected) + expected +
           pgamma(b + expected, a + o, 1, 0, 1) - pgamma(b, a, 1, 0, 1);
}

/* The Bayes factor falls as the expected grows: halving, in logarithms. */
double cluster_bf_bound(const struct cluster_mix *mix, int64_t n,
                        double threshold)
{
    double low = -30, high = log((double)n), want = log(threshold);

    if (n < 1 || cluster_log_bf(mix, n, exp(low)) < want)
        return 0;
    for (int i = 0; i < 200 && high - low > 1e-15 * fabs(low); i++) {
        double mid = (low + high) / 2;

        if (cluster_log_bf(mix, n, exp(mid)) >= want)
            low = mid;
        else
            high = mid;
    }
    return exp((low + high) / 2);
}

/* Counts grow by Poisson(gap); those that reach the edge have alarmed. */
static void spread(double *p, int64_t states, int64_t room, double gap)
{
    for (int64_t to = room - 1; to >= 0; to--) {
        double sum = 0;

        for (int64_t from = 0; from <= to && from < states; from++)
            sum += p[from] * dpois((double)(to - from), gap, 0);
        p[to] = sum;
    }
}

double cluster_crossing(cluster_bound_f *bound, const void *arg,
                        const struct cluster_look *look)
{
    int64_t n = look->least;
    double t = 0, alive = 0, *p = NULL;
    size_t cap = 0;

    kw_grow(&p, &cap, (size_t)n + 1, sizeof(*p));
    p[0] = 1;
    for (int64_t states = 1; t < look->horizon; n++) {
        double next = fmin(bound(look, n, arg), look->horizon);

        kw_grow(&p, &cap, (size_t)n + 1, sizeof(*p));
        spread(p, states, n, look->risk * (next - t));
        states = n;
        t = next;
    }
    for (int64_t i = 0; i < n - 1; i++)
        alive += p[i];
    kw_free(p);
    return 1 - alive;
}

static double bf_bound(const struct cluster_look *look, int64_t n,
                       const void *mix)
{
    return cluster_bf_bound(mix, n, look->threshold);
}

double cluster_bf_crossing(const struct cluster_mix *mix,
                           const struct cluster_look *look)
{
    return cluster_crossing(bf_bound, mix, look);
}

double cluster_llr(int64_t failures, double expected)
{
    double o = (double)failures;

    return o > expected ? expected - o + o * log(o / expected) : 0;
}

/* ---- arm B ---- */

double cluster_cusum(double c, double rho, double expected, int64_t failures)
{
    double fallen = c - (rho - 1) * expected;

    return (fallen > 0 ? fallen : 0) +
           (failures != 0 ? (double)failures * log(rho) : 0);
}

/* ---- what an alarm says ---- */

struct cluster_risk cluster_risk(int64_t failures, double expected)
{
    double shape = CLUSTER_RISK_PRIOR + (double)failures;
    double scale = 1 / (CLUSTER_RISK_PRIOR + expected);

    return (struct cluster_risk){.mean = shape * scale,
                                 .low = qgamma(0.05, shape, scale, 1, 0),
                                 .median = qgamma(0.5, shape, scale, 1, 0),
                                 .high = qgamma(0.05, shape, scale, 0, 0)};
}

double cluster_risk_above(int64_t failures, double expected, double over)
{
    return pgamma(over, CLUSTER_RISK_PRIOR + (double)failures,
                  1 / (CLUSTER_RISK_PRIOR + expected), 0, 0);
}

void cluster_spread_add(struct cluster_spread *s, double o, double e)
{
    s->excess += (o - e) * (o - e) - e;
    s->squares += e * e;
    s->noise += 2 * e * e + e; /* fourth moment of a Poisson count */
}

double cluster_spread_nu(const struct cluster_spread *s)
{
    double spread = s->squares > 0 ? s->excess / s->squares : 0;

    return 1 / fmax(CLUSTER_SPREAD_LEAST, spread);
}

bool cluster_spread_enough(const struct cluster_spread *s)
{
    return s->squares > 0 &&
           sqrt(s->noise) <= CLUSTER_SPREAD_ERROR * s->squares;
}

double cluster_mid_p(int64_t k, double mean)
{
    return exact_poisson_upper(k, mean) - dpois((double)k, mean, 0) / 2;
}

struct ranked {
    double p;
    size_t at;
};

static int by_p(const void *a, const void *b)
{
    double x = ((const struct ranked *)a)->p;
    double y = ((const struct ranked *)b)->p;

    return (x > y) - (x < y);
}

void cluster_bh(const double *p, size_t n, double *adjusted)
{
    struct ranked *r = kw_calloc(n + 1, sizeof(*r));
    double least = 1;

    for (size_t i = 0; i < n; i++)
        r[i] = (struct ranked){p[i], i};
    qsort(r, n, sizeof(*r), by_p);
    for (size_t i = n; i > 0; i--) {
        least = fmin(least, r[i - 1].p * (double)n / (double)i);
        adjusted[r[i - 1].at] = least;
    }
    kw_free(r);
}
