/*
 * check_cluster.c - the two arms: reference cases p13, p14 (tails, Bayes
 * factor, posterior), p17 (crossing), p21, p22 (CUSUM), p25 (false-discovery
 * rate) with the tolerance of their files, then laws.
 */
#include "watch/cluster.h"
#include "watch/exact.h"
#include "watch/wear.h"

#include "close.h"
#include "refcase.h"

#define CASE_CLOSE(got, want) CLOSE_OR(got, want, 1e-8, 1e-10)

static const struct cluster_mix mix = {2, 1};

static double out(const struct refcase *c, const char *name, size_t i)
{
    size_t n;

    return refcase_need(c, "out", name, &n)[i];
}

START_TEST(case_bayes_factor)
{
    struct refcase *c = refcase_open("p17_mixture_bf");
    size_t n;
    const double *o = refcase_need(c, "in", "O", &n);
    const double *e = refcase_need(c, "in", "E", &n);

    for (size_t i = 0; i < n; i++) {
        CASE_CLOSE(cluster_log_bf(&mix, (int64_t)o[i], e[i]),
                   out(c, "log_bf", i));
        CASE_CLOSE(cluster_llr((int64_t)o[i], e[i]), out(c, "llr", i));
    }
    refcase_free(c);
}
END_TEST

START_TEST(case_crossing)
{
    struct refcase *c = refcase_open("p17_mixture_bf");
    size_t n;
    const double *count = refcase_need(c, "in", "n", &n);
    const double *horizon, *rr;

    for (size_t i = 0; i < n; i++)
        CASE_CLOSE(cluster_bf_bound(&mix, (int64_t)count[i], 50),
                   out(c, "bound", i));
    horizon = refcase_need(c, "in", "T", &n);
    rr = refcase_need(c, "in", "rr", &n);
    for (size_t i = 0; i < n; i++) {
        struct cluster_look look = {50, 3, horizon[i], rr[i]};
        double p = cluster_bf_crossing(&mix, &look);

        CASE_CLOSE(p, out(c, "p_cross", i));
        if (rr[i] == 1)
            ck_assert_double_le(p, 1 / 50.0); /* Ville */
    }
    refcase_free(c);
}
END_TEST

/*
 * For four rows (steep charts, high risk) the case itself has lost its digits
 * to cancellation, up to 71 % of the value. Worked out with 60 digits from
 * the same closed form:
 */
static const struct {
    double rho, h, mu, h0, mean;
} sixty_digits[] = {
    {2, 7, 3, 0, 6.34757312647192},
    {2, 5, 5, 0, 2.05741111299884},
    {2, 7, 5, 0, 2.86829683177243},
    {2.5, 7, 5, 0, 2.28637987555704},
};

static double better(const struct cluster_chart *chart, double mu, double want)
{
    for (size_t i = 0; i < KW_COUNT(sixty_digits); i++)
        if (sixty_digits[i].rho == chart->rho &&
            sixty_digits[i].h == chart->limit && sixty_digits[i].mu == mu &&
            sixty_digits[i].h0 == chart->start)
            return sixty_digits[i].mean;
    return want;
}

START_TEST(case_chart_mean)
{
    struct refcase *c = refcase_open("p21_ctcusum_arl");
    size_t n;
    const double *rho = refcase_need(c, "in", "rho", &n);
    const double *h = refcase_need(c, "in", "h", &n);
    const double *mu = refcase_need(c, "in", "mu", &n);
    const double *h0 = refcase_need(c, "in", "h0", &n);

    for (size_t i = 0; i < n; i++) {
        struct cluster_chart chart = {rho[i], h[i], h0[i]};

        CASE_CLOSE(cluster_chart_mean(&chart, mu[i]),
                   better(&chart, mu[i], out(c, "arl_expected_events", i)));
    }
    refcase_free(c);
}
END_TEST

/* Both ways of reckoning meet where one takes over from the other. */
START_TEST(law_chart_ways_meet)
{
    struct cluster_chart chart = {2.5, 7, 0};
    double per = 1.5 / log(2.5);

    for (int i = 0; i < 7; i++) {
        chart.limit = 0.5 + i;
        CLOSE(cluster_chart_mean(&chart, per * (1 - 1e-12)),
              cluster_chart_mean(&chart, per * (1 + 1e-12)), 1e-8);
    }
    chart.start = 7;
    ck_assert_double_nan(cluster_chart_mean(&chart, 1));
}
END_TEST

START_TEST(case_chart_path)
{
    struct refcase *c = refcase_open("p22_cusum_path_coal");
    double rho = refcase_one(c, "par", "rho"), h = refcase_one(c, "par", "h");
    size_t n;
    const double *o = refcase_need(c, "in", "O", &n);
    const double *e = refcase_need(c, "in", "E", &n);
    double at = 0;

    for (size_t i = 0; i < n; i++) {
        at = cluster_cusum(at, rho, e[i], (int64_t)o[i]);
        CASE_CLOSE(at, out(c, "cusum", i));
        ck_assert_double_eq(at >= h, out(c, "alarm", i));
        if (at >= h)
            at = 0;
    }
    refcase_free(c);
}
END_TEST

/* The expected count by the cumulative hazard of all the other batches. */
static double others_expect(const struct wear_unit *u, size_t n, int group,
                            struct wear_unit *rest, struct wear_row *rows)
{
    size_t m = 0, n_rows;
    double sum = 0;

    for (size_t i = 0; i < n; i++)
        if (u[i].group != group)
            rest[m++] = u[i];
    n_rows = wear_curve(rest, m, 0.95, rows);
    for (size_t i = 0; i < n; i++)
        for (size_t r = n_rows; u[i].group == group && r > 0; r--)
            if (rows[r - 1].time <= u[i].exit) {
                sum += rows[r - 1].hazard;
                break;
            }
    return sum;
}

enum { UNITS_MOST = 400, BATCHES_MOST = 40 };

static void check_batch(const struct refcase *c, size_t j, int64_t o, double e)
{
    struct cluster_risk risk = cluster_risk(o, e);
    double low, high;

    CASE_CLOSE((double)o, out(c, "O", j));
    CASE_CLOSE(e, out(c, "E", j));
    CASE_CLOSE(exact_poisson_upper(o, e), out(c, "p_upper", j));
    CASE_CLOSE(cluster_mid_p(o, e), out(c, "p_mid", j));
    CASE_CLOSE(cluster_llr(o, e), out(c, "llr", j));
    CASE_CLOSE(cluster_log_bf(&mix, o, e), out(c, "log_bf", j));
    CASE_CLOSE(risk.mean, out(c, "rr_mean", j));
    CASE_CLOSE(risk.low, out(c, "rr_q05", j));
    CASE_CLOSE(risk.median, out(c, "rr_q50", j));
    CASE_CLOSE(risk.high, out(c, "rr_q95", j));
    CASE_CLOSE(cluster_risk_above(o, e, 1.5), out(c, "p_rr_gt_1.5", j));
    exact_poisson_interval(o, 0.95, &low, &high);
    CASE_CLOSE(low / e, out(c, "garwood_lo", j));
    CASE_CLOSE(high / e, out(c, "garwood_hi", j));
}

START_TEST(case_batches)
{
    static struct wear_unit u[UNITS_MOST], rest[UNITS_MOST];
    static struct wear_row rows[UNITS_MOST];
    struct refcase *c =
        refcase_open(_i == 0 ? "p13_oe_veteran" : "p14_oe_lung_inst");
    size_t n, m, groups;
    const double *time = refcase_need(c, "in", "time", &n);
    const double *status = refcase_need(c, "in", "status", &m);
    const double *group = refcase_need(c, "in", "group", &m);
    double p[BATCHES_MOST], q[BATCHES_MOST];

    refcase_need(c, "out", "O", &groups);
    ck_assert(n <= UNITS_MOST && groups <= BATCHES_MOST);
    for (size_t i = 0; i < n; i++)
        u[i] = (struct wear_unit){
            .exit = time[i], .failed = status[i] > 0, .group = (int)group[i]};
    for (size_t j = 0; j < groups; j++) {
        int64_t o = 0;
        double e = others_expect(u, n, (int)j + 1, rest, rows);

        for (size_t i = 0; i < n; i++)
            o += u[i].group == (int)j + 1 && u[i].failed;
        check_batch(c, j, o, e);
        p[j] = cluster_mid_p(o, e);
    }
    cluster_bh(p, groups, q);
    for (size_t j = 0; j < groups; j++)
        CASE_CLOSE(q[j], out(c, "p_bh", j));
    refcase_free(c);
}
END_TEST

/* Benjamini & Hochberg 1995: their 15 p-values, four rejected at 0.05. */
START_TEST(case_discovery)
{
    struct refcase *c = refcase_open("p25_bh");
    size_t n;
    const double *p = refcase_need(c, "in", "p", &n);
    double q[64];
    int rejected = 0;

    cluster_bh(p, n, q);
    for (size_t i = 0; i < n; i++) {
        CASE_CLOSE(q[i], out(c, "bh", i));
        rejected += q[i] <= 0.05;
    }
    ck_assert_int_eq(rejected, 4);
    refcase_free(c);
}
END_TEST

/* ---- laws ---- */

/* More failures are more evidence, more expected are less. */
START_TEST(law_monotone)
{
    uint64_t seed = 1;

    for (int i = 0; i < 2000; i++) {
        int64_t o = 1 + (int64_t)(close_next(&seed) % 200);
        double e = exp(close_between(&seed, log(0.01), log(100)));

        ck_assert_double_lt(cluster_log_bf(&mix, o - 1, e),
                            cluster_log_bf(&mix, o, e));
        ck_assert_double_gt(cluster_log_bf(&mix, o, e),
                            cluster_log_bf(&mix, o, e * 1.01));
    }
}
END_TEST

/* Very many, or none: still a number. */
/* By hand: ((1 - 4)^2 - 4 + (9 - 4)^2 - 4)/(16 + 16) = 26/32. */
START_TEST(spread_of_places)
{
    struct cluster_spread s = {0};

    cluster_spread_add(&s, 1, 4);
    cluster_spread_add(&s, 9, 4);
    CLOSE(cluster_spread_nu(&s), 32.0 / 26, 1e-14);
    ck_assert(!cluster_spread_enough(&s));
    s = (struct cluster_spread){0};
    ck_assert(!cluster_spread_enough(&s));
    for (int i = 0; i < 40; i++)
        cluster_spread_add(&s, 20, 20); /* more alike than chance: the floor */
    CLOSE(cluster_spread_nu(&s), 1 / CLUSTER_SPREAD_LEAST, 1e-14);
    ck_assert(cluster_spread_enough(&s)); /* sqrt(40 * 820)/16000 = 0.011 */
}
END_TEST

START_TEST(law_far_out)
{
    ck_assert(isfinite(cluster_log_bf(&mix, 0, 700)));
    ck_assert(isfinite(cluster_log_bf(&mix, 5000, 100)));
    ck_assert(isfinite(cluster_log_bf(&mix, 3, 600)));
    ck_assert_double_nan(cluster_log_bf(&mix, 3, NAN));
    ck_assert_double_nan(cluster_log_bf(&mix, -1, 1));
}
END_TEST

/* The exact mean of the chart against charts run. */
START_TEST(law_chart_against_runs)
{
    struct cluster_chart chart = {2.5, 3, 0};
    uint64_t seed = 3;
    double sum = 0;
    int runs = 4000;

    for (int i = 0; i < runs; i++) {
        double c = 0;

        while (c < chart.limit) {
            double gap = -log(close_unit(&seed)) / 3; /* relative risk 3 */

            c = cluster_cusum(c, chart.rho, gap, 1);
            sum += gap;
        }
    }
    CLOSE(sum / runs, cluster_chart_mean(&chart, 3), 0.03);
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("cluster");

    tcase_add_test(tc, case_bayes_factor);
    tcase_add_test(tc, case_crossing);
    tcase_add_test(tc, case_chart_mean);
    tcase_add_test(tc, law_chart_ways_meet);
    tcase_add_test(tc, case_chart_path);
    tcase_add_loop_test(tc, case_batches, 0, 2);
    tcase_add_test(tc, case_discovery);
    tcase_add_test(tc, law_monotone);
    tcase_add_test(tc, spread_of_places);
    tcase_add_test(tc, law_far_out);
    tcase_add_test(tc, law_chart_against_runs);
    return close_run("cluster", tc);
}
