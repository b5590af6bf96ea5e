/*
 * check_cause.c - Cox regression against R's survival package (reference
 * cases p07 to p12, p40, data and versions in their heads) within their
 * tolerance, then laws.
 */
#include "watch/cause.h"
#include "watch/exact.h"

#include "close.h"
#include "refcase.h"

#include <string.h>

#define COX_CLOSE(got, want)   CLOSE_OR(got, want, 1e-7, 1e-10)
#define FIRTH_CLOSE(got, want) CLOSE_OR(got, want, 1e-6, 1e-10)

static struct cause_unit *units_of(const struct refcase *c,
                                   struct cause_data *d)
{
    size_t n, m;
    const double *time = refcase_need(c, "in", "time", &n);
    const double *status = refcase_need(c, "in", "status", &m);
    const double *start = refcase_vector(c, "in", "start", &m);
    const double *stratum = refcase_vector(c, "in", "stratum", &m);
    const double *cluster = refcase_vector(c, "in", "cluster", &m);
    struct cause_unit *u = calloc(n, sizeof(*u));

    for (size_t i = 0; i < n; i++)
        u[i] = (struct cause_unit){
            .entry = start != NULL ? start[i] : 0,
            .exit = time[i],
            .failed = status[i] > 0,
            .stratum = stratum != NULL ? (int)stratum[i] : 0,
            .cluster = cluster != NULL ? (int)cluster[i] - 1 : (int)i};
    *d = (struct cause_data){.units = u,
                             .x = refcase_need(c, "in", "X", &m),
                             .n = n,
                             .p = (int)refcase_one(c, "par", "X_ncol")};
    ck_assert_uint_eq(m, n * (size_t)d->p);
    return u;
}

static void close_vector(const struct refcase *c, const char *name,
                         const double *got, int step)
{
    size_t n;
    const double *want = refcase_need(c, "out", name, &n);

    for (size_t i = 0; i < n; i++)
        COX_CLOSE(got[i * (size_t)step], want[i]);
}

static bool has(const struct refcase *c, const char *name)
{
    size_t n;

    return refcase_vector(c, "out", name, &n) != NULL;
}

static void check_baseline(const struct refcase *c, const struct cause_data *d,
                           const struct cause_fit *f)
{
    struct cause_step *steps = calloc(d->n, sizeof(*steps));
    size_t n = cause_baseline(d, f->beta, 0, steps), m, at = 0;
    const double *time = refcase_need(c, "out", "base_time", &m);
    const double *hazard = refcase_need(c, "out", "base_cumhaz", &m);

    for (size_t i = 0; i < m; i++) {
        while (at < n && steps[at].time <= time[i])
            at++;
        COX_CLOSE(at > 0 ? steps[at - 1].hazard : 0, hazard[i]);
    }
    ck_assert_uint_eq(at, n);
    free(steps);
}

static void check_martingale(const struct refcase *c,
                             const struct cause_data *d,
                             const struct cause_fit *f)
{
    double *r = calloc(d->n, sizeof(*r)), sum = 0, sum_abs = 0;

    cause_martingale(d, f->beta, r);
    close_vector(c, "martingale_first10", r, 1);
    for (size_t i = 0; i < d->n; i++) {
        sum += r[i];
        sum_abs += fabs(r[i]);
    }
    COX_CLOSE(sum_abs, refcase_one(c, "out", "martingale_sum_abs"));
    CLOSE_OR(sum, 0, 0, 1e-7);
    free(r);
}

static const char *const cox_cases[] = {
    "p07_cox_lung", "p08_cox_veteran", "p09_cox_cluster_rats",
    "p10_cox_start_stop_heart", "p40_cox_strata_lung"};

START_TEST(case_cox)
{
    struct refcase *c = refcase_open(cox_cases[_i]);
    struct cause_data d;
    struct cause_unit *u = units_of(c, &d);
    struct cause_fit f;

    ck_assert_int_eq(cause_fit(&d, false, &f), 0);
    ck_assert(f.converged);
    close_vector(c, "beta", f.beta, 1);
    close_vector(c, "var", f.var, 1);
    COX_CLOSE(sqrt(f.var[0]), refcase_vector(c, "out", "se", &d.n)[0]);
    d.n = (size_t)refcase_one(c, "par", "X_nrow");
    if (has(c, "loglik_null"))
        COX_CLOSE(f.loglik_null, refcase_one(c, "out", "loglik_null"));
    COX_CLOSE(f.loglik, refcase_one(c, "out", "loglik"));
    COX_CLOSE(f.score, refcase_one(c, "out", "score_test"));
    if (has(c, "wald_test"))
        COX_CLOSE(f.wald, refcase_one(c, "out", "wald_test"));
    if (has(c, "robust_var"))
        close_vector(c, "robust_var", f.robust, 1);
    if (has(c, "base_time"))
        check_baseline(c, &d, &f);
    if (has(c, "martingale_first10"))
        check_martingale(c, &d, &f);
    free(u);
    refcase_free(c);
}
END_TEST

static const char *const firth_cases[] = {"p11_firth_aml", "p12_firth_lung40"};

START_TEST(case_firth)
{
    struct refcase *c = refcase_open(firth_cases[_i]);
    struct cause_data d;
    struct cause_unit *u = units_of(c, &d);
    struct cause_fit f;
    size_t n;
    const double *beta = refcase_need(c, "out", "beta", &n);
    const double *se = refcase_need(c, "out", "se", &n);

    ck_assert_int_eq(cause_fit(&d, true, &f), 0);
    ck_assert(f.converged);
    for (size_t i = 0; i < n; i++) {
        double low, high;

        FIRTH_CLOSE(f.beta[i], beta[i]);
        FIRTH_CLOSE(sqrt(f.var[i * n + i]), se[i]);
        cause_profile(&d, &f, (int)i, 0.95, &low, &high);
        ck_assert(low < f.beta[i] && f.beta[i] < high);
    }
    FIRTH_CLOSE(f.loglik, refcase_one(c, "out", "penalised_loglik"));
    FIRTH_CLOSE(f.loglik_null, refcase_one(c, "out", "penalised_loglik_at_0"));
    FIRTH_CLOSE(2 * (f.loglik - f.loglik_null),
                refcase_one(c, "out", "penalised_lr"));
    free(u);
    refcase_free(c);
}
END_TEST

/* Where an end of the profile is refitted with the coefficient put in as an
 * offset by hand, the likelihood has fallen by half of chi-square's quantile:
 * for one coefficient that is the likelihood itself. */
START_TEST(profile_ends)
{
    struct refcase *c = refcase_open("p11_firth_aml");
    struct cause_data d;
    struct cause_unit *u = units_of(c, &d);
    struct cause_fit f;
    double ends[2], at[2];

    ck_assert_int_eq(cause_fit(&d, false, &f), 0);
    cause_profile(&d, &f, 0, 0.95, &ends[0], &ends[1]);
    for (int e = 0; e < 2; e++) {
        at[e] = 0;
        for (size_t i = 0; i < d.n; i++) { /* Efron's likelihood, plainly */
            int ties = 0, before = 0;
            double s = 0, sd = 0;

            if (!u[i].failed)
                continue;
            for (size_t k = 0; k < d.n; k++) {
                double w = exp(ends[e] * d.x[k]);

                s += u[k].exit >= u[i].exit ? w : 0;
                if (u[k].failed && u[k].exit == u[i].exit) {
                    sd += w;
                    ties++;
                    before += k < i;
                }
            }
            at[e] += ends[e] * d.x[i] - log(s - sd * before / ties);
        }
        CLOSE(f.loglik - at[e], 1.959963984540054 * 1.959963984540054 / 2,
              1e-6);
    }
    free(u);
    refcase_free(c);
}
END_TEST

/* Units of a covariate are free, and so is the order of the pots. */
START_TEST(laws)
{
    enum { N = 120 };
    static struct cause_unit u[N], v[N];
    static double x[2 * N], y[2 * N];
    struct cause_data d = {u, x, N, 2}, e = {v, y, N, 2};
    struct cause_fit f, g;
    uint64_t seed = 11 + (uint64_t)_i;

    for (int i = 0; i < N; i++) {
        x[2 * i] = close_normal(&seed);
        x[2 * i + 1] = close_unit(&seed) < 0.4;
        u[i] = (struct cause_unit){.entry = floor(close_between(&seed, 0, 20)),
                                   .stratum = i % 3,
                                   .cluster = i / 10,
                                   .failed = close_unit(&seed) < 0.6};
        u[i].exit = u[i].entry + 1 +
                    floor(close_between(&seed, 0, 60) * exp(-0.5 * x[2 * i]));
        v[N - 1 - i] = u[i];
        y[2 * (N - 1 - i)] = 840 + 12 * x[2 * i];
        y[2 * (N - 1 - i) + 1] = x[2 * i + 1];
    }
    for (int firth = 0; firth < 2; firth++) {
        double low, high, low2, high2;

        ck_assert_int_eq(cause_fit(&d, firth, &f), 0);
        ck_assert_int_eq(cause_fit(&e, firth, &g), 0);
        ck_assert(f.converged && g.converged);
        CLOSE(g.beta[0] * 12, f.beta[0], 1e-8);
        CLOSE(g.beta[1], f.beta[1], 1e-8);
        CLOSE(g.robust[0] * 144, f.robust[0], 1e-7);
        CLOSE(g.loglik - g.loglik_null, f.loglik - f.loglik_null, 1e-8);
        ck_assert_int_eq(f.clusters, 12);
        cause_profile(&d, &f, 0, 0.9, &low, &high);
        cause_profile(&e, &g, 0, 0.9, &low2, &high2);
        CLOSE(low2 * 12, low, 1e-6);
        CLOSE(high2 * 12, high, 1e-6);
        CLOSE(cause_wald(&f, f.var, 0, 2), f.wald, 1e-8);
    }
}
END_TEST

/* Only those with it fail: plain Cox runs off, the penalty holds it. */
START_TEST(separation)
{
    enum { N = 20 };
    struct cause_unit u[N];
    double x[N], low, high;
    struct cause_data d = {u, x, N, 1};
    struct cause_fit f;

    for (int i = 0; i < N; i++) {
        x[i] = i < 8;
        u[i] = (struct cause_unit){0, 10 + i, i < 4, 0, i};
    }
    ck_assert_int_eq(cause_fit(&d, false, &f), 0);
    ck_assert(!f.converged);
    ck_assert_int_eq(cause_fit(&d, true, &f), 0);
    ck_assert(f.converged);
    ck_assert(f.beta[0] > 0 && f.beta[0] < 6);
    cause_profile(&d, &f, 0, 0.95, &low, &high);
    ck_assert(low < f.beta[0] && high > f.beta[0]);
    u[3].exit = 0;
    ck_assert_int_eq(cause_fit(&d, true, &f), KW_ERANGE);
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("cause");

    tcase_add_loop_test(tc, case_cox, 0, 5);
    tcase_add_loop_test(tc, case_firth, 0, 2);
    tcase_add_test(tc, profile_ends);
    tcase_add_loop_test(tc, laws, 0, 5);
    tcase_add_test(tc, separation);
    return close_run("cause", tc);
}
