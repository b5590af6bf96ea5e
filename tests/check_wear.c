/*
 * check_wear.c - survival: reference cases p02 to p06 and p15 (R's survival
 * package on its published data sets) with the tolerance their files state,
 * then laws by generated cases.
 */
#include "watch/wear.h"

#include "close.h"
#include "refcase.h"

#include <stdio.h>

#define CASE_CLOSE(got, want) CLOSE_OR(got, want, 1e-8, 1e-10)
#define UNITS_MOST            600

static size_t read_units(const struct refcase *c, struct wear_unit *u)
{
    size_t n, m, n_group, n_start;
    const double *time = refcase_need(c, "in", "time", &n);
    const double *status = refcase_need(c, "in", "status", &m);
    const double *group = refcase_vector(c, "in", "group", &n_group);
    const double *start = refcase_vector(c, "in", "start", &n_start);

    ck_assert_uint_le(n, UNITS_MOST);
    for (size_t i = 0; i < n; i++)
        u[i] =
            (struct wear_unit){.entry = start != NULL ? start[i] : 0,
                               .exit = time[i],
                               .failed = status[i] > 0,
                               .group = group != NULL ? (int)group[i] - 1 : 0};
    return n;
}

static size_t of_group(const struct wear_unit *u, size_t n, int group,
                       struct wear_unit *out)
{
    size_t m = 0;

    for (size_t i = 0; i < n; i++)
        if (u[i].group == group)
            out[m++] = u[i];
    return m;
}

static void check_column(const struct refcase *c, int group, const char *name,
                         const double *got, size_t n)
{
    char full[40];
    size_t m;
    const double *want;

    snprintf(full, sizeof(full), "g%d_%s", group + 1, name);
    want = refcase_need(c, "out", full, &m);
    ck_assert_uint_eq(m, n);
    for (size_t i = 0; i < n; i++)
        CASE_CLOSE(got[i], want[i]);
}

static void check_rows(const struct refcase *c, int group,
                       const struct wear_row *rows, size_t n)
{
    static double v[7][UNITS_MOST];
    static const char *const names[] = {"time",     "n_risk", "n_event", "km",
                                        "se_logkm", "na",     "se_na"};

    for (size_t i = 0; i < n; i++) {
        v[0][i] = rows[i].time;
        v[1][i] = (double)rows[i].at_risk;
        v[2][i] = (double)rows[i].failed;
        v[3][i] = rows[i].survival;
        v[4][i] = rows[i].log_se;
        v[5][i] = rows[i].hazard;
        v[6][i] = rows[i].hazard_se;
    }
    for (int k = 0; k < 7; k++)
        check_column(c, group, names[k], v[k], n);
}

START_TEST(case_curves)
{
    static const char *const names[] = {"p02_km_na_aml", "p03_km_na_lung",
                                        "p04_na_left_truncation"};
    static struct wear_unit u[UNITS_MOST], g[UNITS_MOST];
    static struct wear_row rows[UNITS_MOST];
    struct refcase *c = refcase_open(names[_i]);
    size_t n = read_units(c, u);

    for (int group = 0; group < 2; group++) {
        size_t m = of_group(u, n, group, g);

        check_rows(c, group, rows, wear_curve(g, m, 0.95, rows));
    }
    refcase_free(c);
}
END_TEST

START_TEST(case_logrank)
{
    static struct wear_unit u[UNITS_MOST];
    struct refcase *c =
        refcase_open(_i == 0 ? "p05_logrank_aml" : "p06_logrank_veteran");
    size_t n = read_units(c, u), k, m;
    const double *observed = refcase_need(c, "out", "observed", &k);
    const double *expected = refcase_need(c, "out", "expected", &k);
    const double *var = refcase_need(c, "out", "var", &m);
    struct wear_logrank r;

    ck_assert_int_eq(wear_logrank(u, n, &r), 0);
    ck_assert_uint_eq((size_t)r.groups, k);
    for (size_t i = 0; i < k; i++) {
        CASE_CLOSE(r.observed[i], observed[i]);
        CASE_CLOSE(r.expected[i], expected[i]);
    }
    for (size_t i = 0; i < m; i++)
        CASE_CLOSE(r.variance[i], var[i]);
    CASE_CLOSE(r.chisq, refcase_one(c, "out", "chisq"));
    CASE_CLOSE(r.df, refcase_one(c, "out", "df"));
    CASE_CLOSE(r.p, refcase_one(c, "out", "p"));
    CASE_CLOSE(r.log_p, refcase_one(c, "out", "p_log"));
    wear_logrank_release(&r);
    refcase_free(c);
}
END_TEST

START_TEST(case_rates)
{
    static struct wear_unit u[UNITS_MOST];
    struct refcase *c = refcase_open("p15_pwexp_lung");
    size_t n = read_units(c, u), bins, m;
    const double *edges = refcase_need(c, "par", "edges", &bins);
    const double *cum = refcase_need(c, "out", "cumhaz_at_edges", &m);
    struct wear_prior prior = {refcase_one(c, "par", "A0"),
                               refcase_one(c, "par", "lambda0"),
                               refcase_one(c, "par", "cinf")};
    struct wear_rate rates[8];

    bins--; /* the last edge is Inf */
    wear_rates(u, n, edges, bins, &prior, rates);
    for (size_t k = 0; k < bins; k++) {
        CASE_CLOSE(rates[k].exposure,
                   refcase_need(c, "out", "exposure", &m)[k]);
        CASE_CLOSE((double)rates[k].failed,
                   refcase_need(c, "out", "events", &m)[k]);
        CASE_CLOSE(rates[k].raw, refcase_need(c, "out", "rate_raw", &m)[k]);
        CASE_CLOSE(rates[k].rate, refcase_need(c, "out", "rate", &m)[k]);
        CASE_CLOSE(rates[k].upper, refcase_need(c, "out", "rate_upper", &m)[k]);
        CASE_CLOSE(wear_cumulative(rates, edges, bins, edges[k]), cum[k]);
    }
    refcase_free(c);
}
END_TEST

/* ---- laws ---- */

static size_t generate(uint64_t *seed, struct wear_unit *u, size_t n, bool late)
{
    for (size_t i = 0; i < n; i++) {
        int entry = late ? (int)close_between(seed, 0, 60) : 0;

        u[i] = (struct wear_unit){.entry = entry,
                                  .exit = entry + 1 +
                                          (int)(-120 * log(close_unit(seed))),
                                  .failed = close_unit(seed) < 0.6,
                                  .group = (int)(close_next(seed) % 3),
                                  .stratum = (int)(close_next(seed) % 4)};
    }
    return n;
}

/* Without censoring the curve is the share still there, to the last. */
START_TEST(law_empirical)
{
    static struct wear_unit u[500];
    static struct wear_row rows[500];
    uint64_t seed = 1;
    size_t n = generate(&seed, u, 500, false), n_rows;

    for (size_t i = 0; i < n; i++)
        u[i].failed = true;
    n_rows = wear_curve(u, n, 0.95, rows);
    for (size_t r = 0; r < n_rows; r++) {
        int over = 0;

        for (size_t i = 0; i < n; i++)
            over += u[i].exit > rows[r].time;
        CLOSE_OR(rows[r].survival, over / 500.0, 1e-12, 1e-14);
        ck_assert(rows[r].low <= rows[r].survival &&
                  rows[r].survival <= rows[r].high && rows[r].low >= 0 &&
                  rows[r].high <= 1);
    }
    ck_assert_double_eq(rows[n_rows - 1].survival, 0);
    ck_assert(isinf(rows[n_rows - 1].log_se));
}
END_TEST

/* Whole days and sorted times are the same curve, late entries and all. */
START_TEST(law_days_are_the_same)
{
    static struct wear_unit u[2000];
    static struct wear_row a[2000], b[3000];
    uint64_t seed = 2 + (uint64_t)_i;
    size_t n = generate(&seed, u, 2000, _i > 0), n_a, n_b;
    struct wear_days days;

    wear_days_init(&days, 3000);
    for (size_t i = 0; i < n; i++)
        wear_days_add(&days, (int)u[i].entry, (int)u[i].exit, u[i].failed);
    n_a = wear_curve(u, n, 0.9, a);
    n_b = wear_days_curve(&days, 0.9, b);
    ck_assert_uint_eq(n_a, n_b);
    for (size_t i = 0; i < n_a; i++) {
        ck_assert_double_eq(a[i].time, b[i].time);
        ck_assert_int_eq(a[i].at_risk, b[i].at_risk);
        ck_assert_double_eq(a[i].survival, b[i].survival);
        ck_assert_double_eq(a[i].low, b[i].low);
        ck_assert_double_eq(a[i].hazard_se, b[i].hazard_se);
    }
    wear_days_release(&days);
}
END_TEST

/* Very many at once and in any order: the tables of one by one. */
START_TEST(law_all_at_once)
{
    enum { STRATA = 7, DAYS = 300 };
    size_t n = ((size_t)1 << 21) + 1000; /* more than a block */
    struct wear_stay *stays = malloc(n * sizeof(*stays));
    struct wear_days one[STRATA], all[STRATA];
    uint64_t seed = 77;

    ck_assert_ptr_nonnull(stays);
    for (int s = 0; s < STRATA; s++) {
        wear_days_init(&one[s], DAYS);
        wear_days_init(&all[s], DAYS);
    }
    for (size_t i = 0; i < n; i++) {
        uint64_t x = close_next(&seed);

        stays[i] = (struct wear_stay){
            .stratum = (uint16_t)(x % STRATA),
            .entry = (uint16_t)(x >> 8 & 63),
            .exit = i % 1000 == 0 ? 65535 : (uint16_t)((x >> 16) % 400),
            .failed = x >> 40 & 1};
        wear_days_add(&one[stays[i].stratum], stays[i].entry, stays[i].exit,
                      stays[i].failed);
    }
    wear_days_add_all(all, stays, n);
    for (int s = 0; s < STRATA; s++) {
        ck_assert_mem_eq(one[s].at, all[s].at, (DAYS + 1) * sizeof(*one[s].at));
        wear_days_release(&one[s]);
        wear_days_release(&all[s]);
    }
    free(stays);
}
END_TEST

/* A table that ends early says the same up to its end. */
START_TEST(law_days_cut_off)
{
    struct wear_days w;
    struct wear_row rows[11];

    wear_days_init(&w, 10);
    wear_days_add(&w, 0, 5, true);
    wear_days_add(&w, 0, 50, true);  /* still there at 10 */
    wear_days_add(&w, 20, 30, true); /* never seen by this table */
    wear_days_add(&w, 7, 7, true);   /* no time at risk */
    ck_assert_uint_eq(wear_days_curve(&w, 0.95, rows), 2);
    ck_assert_int_eq(rows[0].at_risk, 2);
    CLOSE(rows[0].survival, 0.5, 1e-15);
    ck_assert_int_eq(rows[1].failed, 0);
    wear_days_release(&w);
}
END_TEST

/* The interval holds the truth about as often as it says. */
START_TEST(law_interval_covers)
{
    static struct wear_unit u[120];
    static struct wear_row rows[120];
    uint64_t seed = 5;
    int held = 0, worlds = 2000;

    for (int w = 0; w < worlds; w++) {
        size_t n_rows, r = 0;

        for (int i = 0; i < 120; i++) {
            double life = -300 * log(close_unit(&seed));
            double seen = close_between(&seed, 50, 600);

            u[i] = (struct wear_unit){.exit = fmin(life, seen),
                                      .failed = life <= seen};
        }
        n_rows = wear_curve(u, 120, 0.90, rows);
        while (r + 1 < n_rows && rows[r + 1].time <= 200)
            r++;
        held += rows[r].low <= exp(-200 / 300.0) &&
                exp(-200 / 300.0) <= rows[r].high;
    }
    ck_assert_double_eq_tol(held / (double)worlds, 0.90, 0.02);
}
END_TEST

/* Order and names of groups change nothing; groups cancel. */
START_TEST(law_logrank)
{
    static struct wear_unit u[300], v[300];
    uint64_t seed = 6;

    for (int i = 0; i < 20; i++) {
        size_t n = generate(&seed, u, 300, true);
        struct wear_logrank a, b;
        double sum = 0;

        for (size_t j = 0; j < n; j++) {
            v[j] = u[n - 1 - j];
            v[j].group = (v[j].group + 1) % 3;
        }
        ck_assert_int_eq(wear_logrank(u, n, &a), 0);
        ck_assert_int_eq(wear_logrank(v, n, &b), 0);
        CLOSE(b.chisq, a.chisq, 1e-9);
        for (int g = 0; g < 3; g++)
            sum += a.observed[g] - a.expected[g];
        ck_assert_double_eq_tol(sum, 0, 1e-10);
        ck_assert(a.p >= 0 && a.p <= 1);
        CLOSE(exp(a.log_p), a.p, 1e-10);
        wear_logrank_release(&a);
        wear_logrank_release(&b);
    }
}
END_TEST

/* A stratum is its own comparison: sums over strata apart are the whole. */
START_TEST(law_strata_add_up)
{
    static struct wear_unit u[400], part[400];
    uint64_t seed = 7;
    size_t n = generate(&seed, u, 400, true);
    struct wear_logrank whole, one;
    double expected[3] = {0}, var = 0;

    ck_assert_int_eq(wear_logrank(u, n, &whole), 0);
    for (int s = 0; s < 4; s++) {
        size_t m = 0;

        for (size_t i = 0; i < n; i++)
            if (u[i].stratum == s)
                part[m++] = u[i];
        ck_assert_int_eq(wear_logrank(part, m, &one), 0);
        for (int g = 0; g < 3; g++)
            expected[g] += one.expected[g];
        var += one.variance[1];
        wear_logrank_release(&one);
    }
    for (int g = 0; g < 3; g++)
        CLOSE(expected[g], whole.expected[g], 1e-12);
    CLOSE(var, whole.variance[1], 1e-12);
    wear_logrank_release(&whole);
}
END_TEST

/* Equal groups: p below 0.05 in about one of twenty worlds. */
START_TEST(law_logrank_level)
{
    static struct wear_unit u[150];
    uint64_t seed = 8;
    int low = 0, worlds = 2000;

    for (int w = 0; w < worlds; w++) {
        struct wear_logrank r;

        for (int i = 0; i < 150; i++)
            u[i] = (struct wear_unit){.exit = -log(close_unit(&seed)),
                                      .failed = close_unit(&seed) < 0.7,
                                      .group = i % 3};
        ck_assert_int_eq(wear_logrank(u, 150, &r), 0);
        low += r.p < 0.05;
        wear_logrank_release(&r);
    }
    ck_assert_double_eq_tol(low / (double)worlds, 0.05, 0.015);
}
END_TEST

START_TEST(edges)
{
    struct wear_unit u[3] = {
        {0, 5, true, 0, 0}, {0, 5, false, 2, 0}, {0, 3, false, 2, 1}};
    struct wear_row rows[3];
    struct wear_logrank r;

    ck_assert_uint_eq(wear_curve(u, 0, 0.95, rows), 0);
    ck_assert_uint_eq(wear_curve(u, 3, 0.95, rows), 2);
    ck_assert_int_eq(rows[1].at_risk, 2);
    ck_assert_int_eq(wear_logrank(u, 0, &r), 0);
    ck_assert_double_eq(r.p, 1);
    wear_logrank_release(&r);
    ck_assert_int_eq(wear_logrank(u, 3, &r), 0); /* group 1 has nobody */
    ck_assert_double_eq(r.df, 1);
    wear_logrank_release(&r);
    u[0].group = WEAR_GROUPS_MOST;
    ck_assert_int_eq(wear_logrank(u, 3, &r), KW_ERANGE);
    wear_logrank_release(&r);
    u[0].group = -1;
    ck_assert_int_eq(wear_logrank(u, 3, &r), KW_ERANGE);
    wear_logrank_release(&r);
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("wear");

    tcase_add_loop_test(tc, case_curves, 0, 3);
    tcase_add_loop_test(tc, case_logrank, 0, 2);
    tcase_add_test(tc, case_rates);
    tcase_add_test(tc, law_empirical);
    tcase_add_loop_test(tc, law_days_are_the_same, 0, 4);
    tcase_add_test(tc, law_all_at_once);
    tcase_add_test(tc, law_days_cut_off);
    tcase_add_test(tc, law_interval_covers);
    tcase_add_test(tc, law_logrank);
    tcase_add_test(tc, law_strata_add_up);
    tcase_add_test(tc, law_logrank_level);
    tcase_add_test(tc, edges);
    return close_run("wear", tc);
}
