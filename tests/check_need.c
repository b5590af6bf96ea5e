/*
 * check_need.c - the forecast: reference cases p37 (Poisson-binomial) and p38
 * (conditional hazards, intervals) with their tolerance, then laws.
 */
#include "watch/need.h"
#include "watch/wear.h"

#include "close.h"
#include "refcase.h"

#define CASE_CLOSE(got, want) CLOSE_OR(got, want, 1e-8, 1e-10)
enum { UNITS_MOST = 200, BATCHES_MOST = 10 };

START_TEST(case_poisson_binomial)
{
    struct refcase *c = refcase_open("p37_poisbin");
    size_t n, m;
    const double *q = refcase_need(c, "in", "q", &n);
    const double *want = refcase_need(c, "out", "pmf", &m);
    const double *probs = refcase_need(c, "par", "probs", &m);
    double pmf[UNITS_MOST + 1], mean = 0, var = 0;
    struct need_forecast f;

    ck_assert_uint_le(n, UNITS_MOST);
    need_poisson_binomial(q, n, pmf);
    for (size_t i = 0; i <= n; i++)
        CASE_CLOSE(pmf[i], want[i]);
    for (size_t i = 0; i < n; i++) {
        mean += q[i];
        var += q[i] * (1 - q[i]);
    }
    CASE_CLOSE(mean, refcase_one(c, "out", "mean"));
    CASE_CLOSE(var, refcase_one(c, "out", "var"));
    f = (struct need_forecast){mean, var};
    want = refcase_need(c, "out", "quantile", &m);
    for (size_t i = 0; i < m; i++)
        CASE_CLOSE(need_quantile(&f, q, n, probs[i]), want[i]);
    refcase_free(c);
}
END_TEST

/* The history of the case: rates by age, and each batch's O and E. */
static void learn(const struct refcase *c, struct need_model *m,
                  struct need_batch *batches)
{
    static struct wear_unit u[UNITS_MOST];
    struct wear_rate rates[NEED_BINS_MOST];
    struct wear_prior prior = {refcase_one(c, "par", "A0"),
                               refcase_one(c, "par", "lambda0"), 0};
    size_t n, k;
    const double *time = refcase_need(c, "in", "time", &n);
    const double *status = refcase_need(c, "in", "status", &n);
    const double *batch = refcase_need(c, "in", "batch", &n);
    const double *edges = refcase_need(c, "par", "edges", &k);

    m->bins = k - 1;
    for (size_t i = 0; i < n; i++)
        u[i] = (struct wear_unit){.exit = time[i], .failed = status[i] > 0};
    wear_rates(u, n, edges, m->bins, &prior, rates);
    for (size_t i = 0; i < m->bins; i++) {
        m->edges[i] = edges[i];
        m->rate[i] = rates[i].rate;
        m->events[i] = prior.events + (double)rates[i].failed;
        CASE_CLOSE(m->rate[i], refcase_need(c, "out", "rate", &k)[i]);
    }
    for (size_t i = 0; i < n; i++) {
        struct need_batch *b = &batches[(int)batch[i] - 1];

        b->failed += status[i] > 0;
        b->expected += wear_cumulative(rates, m->edges, m->bins, time[i]);
    }
}

START_TEST(case_forecast)
{
    struct refcase *c = refcase_open("p38_forecast_veteran");
    struct need_batch batches[BATCHES_MOST] = {{0, 0}};
    struct need_model m = {.batches = batches};
    struct need_unit units[UNITS_MOST];
    struct need_forecast f;
    size_t n, k;
    const double *age = refcase_need(c, "in", "unit_age", &n);
    const double *batch = refcase_need(c, "in", "unit_batch", &n);
    const double *probs = refcase_need(c, "par", "probs", &k), *want;
    double q[UNITS_MOST];

    learn(c, &m, batches);
    refcase_need(c, "out", "O", &m.n_batches);
    for (size_t b = 0; b < m.n_batches; b++) {
        CASE_CLOSE((double)batches[b].failed,
                   refcase_need(c, "out", "O", &k)[b]);
        CASE_CLOSE(batches[b].expected, refcase_need(c, "out", "E", &k)[b]);
        CASE_CLOSE(need_batch_risk(&batches[b]),
                   refcase_need(c, "out", "multiplier", &k)[b]);
    }
    for (size_t i = 0; i < n; i++)
        units[i] = (struct need_unit){.age_days = age[i],
                                      .batch = (int)batch[i] - 1,
                                      .eager = 1,
                                      .p_flow = refcase_one(c, "par", "pflow")};
    ck_assert_int_eq(
        need_forecast(&m, units, n, refcase_one(c, "par", "horizon"), q, &f),
        0);
    for (size_t i = 0; i < n; i++)
        CASE_CLOSE(q[i], refcase_need(c, "out", "q", &k)[i]);
    CASE_CLOSE(f.mean, refcase_one(c, "out", "mean"));
    CASE_CLOSE(f.var, refcase_one(c, "out", "var"));
    want = refcase_need(c, "out", "quantile", &k);
    for (size_t i = 0; i < k; i++)
        CASE_CLOSE(need_quantile(&f, q, n, probs[i]), want[i]);
    refcase_free(c);
}
END_TEST

/* ---- laws ---- */

static struct need_model plain(const struct need_batch *batches, size_t n)
{
    return (struct need_model){.bins = 2,
                               .edges = {0, 90},
                               .rate = {0.002, 0.001},
                               .events = {20, 40},
                               .batches = batches,
                               .n_batches = n};
}

/* Longer ahead is never fewer; a worse batch, an eager place: more. */
START_TEST(law_monotone)
{
    struct need_batch b[2] = {{10, 10}, {30, 10}};
    struct need_model m = plain(b, 2);
    uint64_t seed = 1;

    for (int i = 0; i < 500; i++) {
        struct need_unit u = {close_between(&seed, 0, 800), 0, 1,
                              close_between(&seed, 0, 0.5)};
        struct need_forecast f, g;
        double days = close_between(&seed, 1, 100);

        ck_assert_int_eq(need_forecast(&m, &u, 1, days, NULL, &f), 0);
        ck_assert_int_eq(need_forecast(&m, &u, 1, days + 1, NULL, &g), 0);
        ck_assert_double_gt(g.mean, f.mean);
        ck_assert(f.mean > u.p_flow && f.mean < 1);
        u.batch = 1;
        ck_assert_int_eq(need_forecast(&m, &u, 1, days, NULL, &g), 0);
        ck_assert_double_gt(g.mean, f.mean);
        u.batch = 0, u.eager = 1.5;
        ck_assert_int_eq(need_forecast(&m, &u, 1, days, NULL, &g), 0);
        ck_assert_double_gt(g.mean, f.mean);
    }
}
END_TEST

/* Many pots of one batch move together: the interval does not shrink away. */
START_TEST(law_shared_uncertainty_stays)
{
    static struct need_unit u[20000];
    struct need_batch b = {16, 16};
    struct need_model m = plain(&b, 1);
    struct need_forecast f;

    for (size_t i = 0; i < 20000; i++)
        u[i] = (struct need_unit){100, 0, 1, 0};
    ck_assert_int_eq(need_forecast(&m, u, 20000, 30, NULL, &f), 0);
    /* 1/(4 + 16) of the batch and 1/40 of the bin, as variances of ratios */
    CLOSE(sqrt(f.var) / f.mean, sqrt(1 / 20.0 + 1 / 40.0), 0.05);
}
END_TEST

START_TEST(law_quantiles)
{
    struct need_forecast f = {12, 30};
    double last = 0;

    for (double p = 0.01; p < 1; p += 0.01) {
        double q = need_quantile(&f, NULL, 0, p);

        ck_assert_double_ge(q, last);
        ck_assert_double_eq(q, floor(q));
        last = q;
    }
    f = (struct need_forecast){0, 0};
    ck_assert_double_eq(need_quantile(&f, NULL, 0, 0.9), 0);
    ck_assert_double_nan(need_quantile(&f, NULL, 0, 1));
}
END_TEST

/* Beyond 20,000 units: within one of the exact, which holds up to there. */
START_TEST(law_many_units)
{
    static double q[20001];
    struct need_forecast f = {0, 0};
    double levels[] = {0.025, 0.1, 0.5, 0.9, 0.975};

    for (int i = 0; i < 20000; i++) {
        q[i] = 0.001 + 0.04 * (i % 11);
        f.mean += q[i];
    }
    f.var = f.mean / 2; /* not greater than the mean */
    for (size_t i = 0; i < 5; i++) {
        double exact = need_quantile(&f, q, 20000, levels[i]);
        double many = need_quantile(&f, q, 20001, levels[i]); /* the last: 0 */

        ck_assert_double_le(fabs(exact - many), 1);
    }
}
END_TEST

/* By hand: (2^2/4 + 3^2/3 + 0)/3 = 4/3. */
START_TEST(misfit_by_hand)
{
    struct need_past past[] = {{10, 4, 12}, {5, 3, 2}, {7, 9, 7}};

    CLOSE(need_misfit(past, 3), 4.0 / 3, 1e-14);
    ck_assert_double_nan(need_misfit(past, 0));
}
END_TEST

START_TEST(widening_rule)
{
    /* Too few of them: never. */
    ck_assert_double_eq(need_widening(9, NEED_PAST - 1, true), 1);
    ck_assert_double_eq(need_widening(NAN, 0, false), 1);
    /* Up to 1.5: not, unless it was before; then down to 1, not below. */
    ck_assert_double_eq(need_widening(1.5, NEED_PAST, false), 1);
    ck_assert_double_eq(need_widening(1.51, NEED_PAST, false), 1.51);
    ck_assert_double_eq(need_widening(1.2, NEED_PAST, true), 1.2);
    ck_assert_double_eq(need_widening(0.4, NEED_PAST, true), 1);
}
END_TEST

START_TEST(refuses)
{
    struct need_batch b = {0, 0};
    struct need_model m = plain(&b, 1);
    struct need_unit u = {10, 1, 1, 0};
    struct need_forecast f;

    ck_assert_int_eq(need_forecast(&m, &u, 1, 30, NULL, &f), KW_ERANGE);
    u.batch = -1;
    ck_assert_int_eq(need_forecast(&m, &u, 1, 30, NULL, &f), KW_ERANGE);
    m.bins = NEED_BINS_MOST + 1;
    ck_assert_int_eq(need_forecast(&m, &u, 0, 30, NULL, &f), KW_ERANGE);
    m.bins = 2;
    ck_assert_int_eq(need_forecast(&m, &u, 0, 30, NULL, &f), 0);
    ck_assert_double_eq(f.mean, 0);
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("need");

    tcase_add_test(tc, case_poisson_binomial);
    tcase_add_test(tc, case_forecast);
    tcase_add_test(tc, law_monotone);
    tcase_add_test(tc, law_shared_uncertainty_stays);
    tcase_add_test(tc, law_quantiles);
    tcase_set_timeout(tc, 60);
    tcase_add_test(tc, law_many_units);
    tcase_add_test(tc, misfit_by_hand);
    tcase_add_test(tc, widening_rule);
    tcase_add_test(tc, refuses);
    return close_run("need", tc);
}
