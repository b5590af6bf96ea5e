/*
 * check_design.c - the tables that the rules of the watch were chosen by,
 * with the tolerance of their files: p18 MaxSPRT (printed critical values of
 * Kulldorff et al. 2011 and Kulldorff & Silva 2017), by the recursion that
 * the watch's own false-alarm rate comes from; p19, p20 the CUSUM over equal
 * periods (Lucas 1985; Brook & Evans 1972), which the continuous one comes
 * near to as periods shrink; p16 the prior that a set of rates itself gives
 * (pumps of Gaver & O'Muircheartaigh 1987), of which cluster_risk is the
 * case of a and b being 4.
 */
#include "watch/cluster.h"

#include "close.h"
#include "refcase.h"

#include <string.h>

#define MATHLIB_STANDALONE 1
#include <Rmath.h>

#define CASE_CLOSE(got, want) CLOSE_OR(got, want, 1e-8, 1e-10)

/* ---- p18: alarm when the likelihood ratio reaches a critical value ---- */

/* The largest expected at which n failures have that ratio. */
static double sprt_bound(const struct cluster_look *look, int64_t n,
                         const void *arg)
{
    double low = log((double)n) - look->threshold / (double)n - 2,
           high = log((double)n);

    (void)arg;
    for (int i = 0; i < 200 && high - low > 1e-15 * fabs(high + 1); i++) {
        double mid = (low + high) / 2;

        if (cluster_llr(n, exp(mid)) >= look->threshold)
            low = mid;
        else
            high = mid;
    }
    return exp((low + high) / 2);
}

static double critical(struct cluster_look look, double alpha)
{
    double low = 0.05, high = 12;

    while (high - low > 1e-13) {
        look.threshold = (low + high) / 2;
        if (cluster_crossing(sprt_bound, NULL, &look) > alpha)
            low = look.threshold;
        else
            high = look.threshold;
    }
    return (low + high) / 2;
}

START_TEST(case_maxsprt)
{
    struct refcase *c = refcase_open("p18_maxsprt");
    size_t n, n_rr;
    const double *horizon = refcase_need(c, "in", "T", &n);
    const double *alpha = refcase_need(c, "in", "alpha", &n);
    const double *least = refcase_need(c, "in", "M", &n);
    const double *rr = refcase_need(c, "in", "rr", &n_rr), *power, *want;
    struct cluster_look look = {0, (int64_t)least[_i], horizon[_i], 1};

    ck_assert_uint_eq(n, 10);
    look.threshold = critical(look, alpha[_i]);
    want = refcase_need(c, "out", "critical_value", &n);
    CASE_CLOSE(look.threshold, want[_i]);
    want = refcase_need(c, "out", "published", &n);
    ck_assert(fabs(look.threshold - want[_i]) < 1.5e-6); /* as printed */
    power = refcase_need(c, "out", "power", &n);
    for (size_t k = 0; k < n_rr; k++) {
        look.risk = rr[k];
        CASE_CLOSE(cluster_crossing(sprt_bound, NULL, &look),
                   power[(size_t)_i * n_rr + k]);
    }
    refcase_free(c);
}
END_TEST

/* ---- p19, p20: S <- max(0, S + X - k), alarm at h, on a lattice of 0.1 ----
 */

enum { DEN = 10, STATES_MOST = 100 };

struct periods {
    double mean, k, h;
};

/* (I - P) run = 1, by elimination: the mean periods from each state. */
static void mean_runs(const struct periods *d, double *run)
{
    static double a[STATES_MOST][STATES_MOST];
    int n = (int)lround(d->h * DEN), k = (int)lround(d->k * DEN);

    memset(a, 0, sizeof(a));
    for (int i = 0; i < n; i++) {
        a[i][i] = run[i] = 1;
        for (int x = 0; i + x * DEN - k < n; x++) {
            int to = i + x * DEN - k > 0 ? i + x * DEN - k : 0;

            a[i][to] -= dpois(x, d->mean, 0);
        }
    }
    for (int i = 0; i < n; i++) /* an M-matrix needs no pivots */
        for (int r = i + 1; r < n; r++) {
            double f = a[r][i] / a[i][i];

            for (int j = i; f != 0 && j < n; j++)
                a[r][j] -= f * a[i][j];
            run[r] -= f * run[i];
        }
    for (int i = n; i-- > 0;) {
        for (int j = i + 1; j < n; j++)
            run[i] -= a[i][j] * run[j];
        run[i] /= a[i][i];
    }
}

START_TEST(case_periods)
{
    struct refcase *c =
        refcase_open(_i == 0 ? "p19_cusum_arl_a" : "p20_cusum_arl_b");
    struct periods d = {0, refcase_one(c, "par", "k"),
                        refcase_one(c, "par", "h")};
    size_t n;
    const double *mean = refcase_need(c, "in", "lambda", &n);
    const double *markov = refcase_need(c, "out", "arl_markov", &n);
    const double *spc = refcase_need(c, "out", "arl_spc", &n);
    const double *ready = refcase_need(c, "out", "arl_fir_surveillance", &n);

    for (size_t i = 0; i < n; i++) {
        double run[STATES_MOST];

        d.mean = mean[i];
        mean_runs(&d, run);
        CASE_CLOSE(run[0], markov[i]);
        CASE_CLOSE(run[0], spc[i]);
        CASE_CLOSE(run[(int)lround(d.h / 2 * DEN)], ready[i]);
    }
    refcase_free(c);
}
END_TEST

/*
 * Periods of a hundredth of an expected failure: the chart of the watch, told
 * only at the end of each, so a little later.
 */
START_TEST(law_short_periods)
{
    struct cluster_chart chart = {exp(0.5), 2, 0}; /* rises by 0.5 */
    double per = chart.rho - 1, period = 0.5 / DEN / per, run[STATES_MOST];
    struct periods d = {2 * period, 1.0 / DEN, 4};
    double mean = cluster_chart_mean(&chart, 2);

    mean_runs(&d, run);
    ck_assert_double_gt(run[0] * period, mean);
    CLOSE(run[0] * period, mean, 0.08);
}
END_TEST

/* ---- p16: O ~ Poisson(E t), t ~ Gamma(a, rate b), by the likelihood ---- */

struct prior {
    double a, b;
};

static double likelihood(const struct prior *p, const double *o,
                         const double *e, size_t n)
{
    double sum = 0;

    for (size_t i = 0; i < n; i++)
        sum += dnbinom(o[i], p->a, p->b / (p->b + e[i]), 1);
    return sum;
}

static struct prior newton(struct prior p, const double *o, const double *e,
                           size_t n)
{
    double ga = 0, gb = 0, haa = 0, hab = 0, hbb = 0, det;

    for (size_t i = 0; i < n; i++) {
        double t = p.b + e[i];

        ga += digamma(p.a + o[i]) - digamma(p.a) + log(p.b / t);
        gb += p.a / p.b - (p.a + o[i]) / t;
        haa += trigamma(p.a + o[i]) - trigamma(p.a);
        hab += 1 / p.b - 1 / t;
        hbb += (p.a + o[i]) / (t * t) - p.a / (p.b * p.b);
    }
    det = haa * hbb - hab * hab;
    p.a -= (hbb * ga - hab * gb) / det;
    p.b -= (haa * gb - hab * ga) / det;
    return p;
}

START_TEST(case_prior)
{
    struct refcase *c = refcase_open("p16_eb_pumps");
    size_t n, n_q;
    const double *o = refcase_need(c, "in", "O", &n);
    const double *e = refcase_need(c, "in", "E", &n);
    const double *probs = refcase_need(c, "par", "probs", &n_q);
    const double *mean = refcase_need(c, "out", "post_mean", &n), *q;
    struct prior p = {0.7, 1};

    for (int i = 0; i < 50; i++)
        p = newton(p, o, e, n);
    CLOSE(p.a, refcase_one(c, "out", "a"), 1e-7);
    CLOSE(p.b, refcase_one(c, "out", "b"), 1e-7);
    CLOSE(likelihood(&p, o, e, n), refcase_one(c, "out", "loglik"), 1e-7);
    q = refcase_need(c, "out", "post_q", &n_q);
    n_q /= n;
    for (size_t i = 0; i < n; i++) {
        CLOSE((p.a + o[i]) / (p.b + e[i]), mean[i], 1e-7);
        for (size_t k = 0; k < n_q; k++)
            CLOSE(qgamma(probs[k], p.a + o[i], 1 / (p.b + e[i]), 1, 0),
                  q[i * n_q + k], 1e-7);
    }
    refcase_free(c);
}
END_TEST

/* The same posterior with the prior that the watch tells risks by. */
START_TEST(law_prior_of_the_watch)
{
    struct cluster_risk r = cluster_risk(7, 2.5);

    CLOSE(r.mean, 11 / 6.5, 1e-14);
    CLOSE(pgamma(r.low, 11, 1 / 6.5, 1, 0), 0.05, 1e-10);
    CLOSE(pgamma(r.high, 11, 1 / 6.5, 0, 0), 0.05, 1e-10);
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("design");

    tcase_add_loop_test(tc, case_maxsprt, 0, 10);
    tcase_add_loop_test(tc, case_periods, 0, 2);
    tcase_add_test(tc, law_short_periods);
    tcase_add_test(tc, case_prior);
    tcase_add_test(tc, law_prior_of_the_watch);
    return close_run("design", tc);
}
