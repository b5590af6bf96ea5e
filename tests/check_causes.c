/*
 * check_causes.c - what goes with failing: found when it is there, seldom
 * when it is not, refused when batches are few. Made-up batches from a seed.
 */
#include "watch/causes.h"

#include "close.h"

#include <string.h>

enum { BATCHES = 40, POTS = 30, VARIABLES = 4 };
static struct cause_unit units[BATCHES * POTS];
static double values[BATCHES * VARIABLES];
static const struct causes_variable variables[VARIABLES] = {
    {"peak", false, false, 10},
    {"pit", true, false, 1},
    {"noise", false, false, 1},
    {"kiln", true, false, 1}};

/* The hazard goes with peak and pit; batches differ besides. */
static struct causes_study make(uint64_t seed, double effect, int batches)
{
    size_t n = 0;

    for (int b = 0; b < batches; b++) {
        double *v = &values[b * VARIABLES], rate;

        v[0] = 865 + 12 * close_normal(&seed);
        v[1] = b % 3 == 0; /* a pit of one batch in three */
        v[2] = close_normal(&seed);
        v[3] = b; /* each a kiln of its own: nothing to compare */
        rate = 0.002 * exp(effect * ((v[0] - 865) / 12 + 2 * v[1]) +
                           0.2 * close_normal(&seed));
        for (int i = 0; i < POTS; i++) {
            double age = -log(close_unit(&seed)) / rate;
            double seen = close_between(&seed, 50, 400);

            units[n++] = (struct cause_unit){.exit = fmin(age, seen),
                                             .failed = age < seen,
                                             .stratum = i % 3,
                                             .cluster = b};
        }
    }
    return (struct causes_study){.units = units,
                                 .n = n,
                                 .variables = variables,
                                 .n_variables = VARIABLES,
                                 .values = values,
                                 .n_batches = (size_t)batches,
                                 .level = 0.9,
                                 .fdr = 0.1};
}

/* On which shelf of the kiln each pot stood: pots of a batch differ in it. */
static double own[BATCHES * POTS];
static const struct causes_variable with_shelf[2] = {{"noise", false, false, 1},
                                                     {"shelf", true, true, 1}};

/* Four shelves; the hazard on the last is `risk` times that of the others. */
static struct causes_study make_shelves(uint64_t seed, double risk)
{
    struct causes_study s = make(seed, 0, BATCHES);

    for (int b = 0; b < BATCHES; b++)
        values[b * 2] = close_normal(&seed);
    for (size_t i = 0; i < s.n; i++) {
        double age = -log(close_unit(&seed)) / 0.002;
        double seen = close_between(&seed, 50, 400);

        own[i] = (double)(i % POTS * 4 / POTS);
        if (own[i] == 3)
            age /= risk;
        units[i].exit = fmin(age, seen);
        units[i].failed = age < seen;
    }
    s.variables = with_shelf;
    s.n_variables = 2;
    s.own = own;
    return s;
}

START_TEST(shelf_is_found)
{
    struct causes_study s = make_shelves(40 + (uint64_t)_i, 2.5);
    struct causes_finding *f;
    struct causes_report r;
    int last = 3;

    ck_assert_int_eq(causes_study(&s, &r), 0);
    f = &r.alone[1];
    ck_assert_int_eq(f->why, CAUSES_TOLD);
    ck_assert_int_eq(f->batches, BATCHES);
    ck_assert_int_eq(f->reference, 0);
    ck_assert_int_eq(f->n_levels, 3);
    for (int k = 0; k < 3; k++)
        last = f->levels[k].level == 3 ? k : last;
    ck_assert_int_lt(last, 3);
    ck_assert_int_eq(f->levels[last].batches, BATCHES);
    ck_assert(f->levels[last].low > 1 && f->levels[last].low < 2.5 &&
              f->levels[last].high > 2);
    ck_assert_double_le(f->q, 0.1);
}
END_TEST

/* Where no shelf was noted, it is told so, and the rest goes on. */
START_TEST(shelf_not_noted)
{
    struct causes_study s = make_shelves(50, 1);
    struct causes_report r;

    s.own = NULL;
    ck_assert_int_eq(causes_study(&s, &r), 0);
    ck_assert_int_eq(r.alone[0].why, CAUSES_TOLD);
    ck_assert_int_eq(r.alone[1].why, CAUSES_FEW_BATCHES);
    ck_assert_int_eq(r.alone[1].batches, 0);
}
END_TEST

START_TEST(what_is_there_is_found)
{
    struct causes_study s = make(100 + (uint64_t)_i, 0.6, BATCHES);
    struct causes_report r;

    ck_assert_int_eq(causes_study(&s, &r), 0);
    ck_assert_int_eq(r.alone[0].why, CAUSES_TOLD);
    ck_assert_int_eq(r.alone[0].batches, BATCHES);
    ck_assert(!r.alone[0].firth);
    ck_assert_double_le(r.alone[0].q, 0.1);
    ck_assert_double_gt(r.alone[0].levels[0].low, 1);
    ck_assert_int_eq(r.alone[1].reference, 0);
    ck_assert_int_eq(r.alone[1].levels[0].level, 1);
    ck_assert_int_eq(r.alone[3].levels[0].level, CAUSES_OTHERS);
    ck_assert_int_ge(r.n_joint, 2);
    ck_assert_int_eq(r.joint[0].why, CAUSES_TOLD);
    /* exp(0.6 x 10/12) of it, widely */
    ck_assert_double_gt(r.joint[0].levels[0].ratio, 1.3);
    ck_assert_double_lt(r.joint[0].levels[0].ratio, 2.1);
    for (int v = 0; v < VARIABLES; v++)
        if (r.alone[v].why == CAUSES_TOLD)
            ck_assert_double_ge(r.alone[v].q, r.alone[v].p);
}
END_TEST

/* With nothing there, p below 0.1 comes in about a tenth of 60 studies. */
START_TEST(nothing_is_seldom_found)
{
    int low = 0, n = 0;

    for (uint64_t seed = 1; seed <= 60; seed++) {
        struct causes_study s = make(seed, 0, BATCHES);
        struct causes_report r;

        ck_assert_int_eq(causes_study(&s, &r), 0);
        for (int v = 0; v < 3; v++) {
            ck_assert_int_eq(r.alone[v].why, CAUSES_TOLD);
            n++;
            low += r.alone[v].p < 0.1;
        }
    }
    ck_assert_msg(low >= n / 50 && low <= n / 5, "%d of %d", low, n);
}
END_TEST

START_TEST(few_batches_are_refused)
{
    struct causes_study s = make(3, 0.6, 7);
    struct causes_report r;

    ck_assert_int_eq(causes_study(&s, &r), 0);
    for (int v = 0; v < VARIABLES; v++) {
        ck_assert_int_eq(r.alone[v].why, CAUSES_FEW_BATCHES);
        ck_assert(isnan(r.alone[v].p));
    }
    ck_assert_int_eq(r.n_joint, 0);
    s = make(3, 0.6, 8);
    for (int b = 0; b < 8; b++)
        values[b * VARIABLES + 2] = NAN; /* not written down */
    ck_assert_int_eq(causes_study(&s, &r), 0);
    ck_assert_int_eq(r.alone[0].why, CAUSES_TOLD);
    ck_assert_int_eq(r.alone[2].why, CAUSES_FEW_BATCHES);
    units[0].cluster = 8;
    ck_assert_int_eq(causes_study(&s, &r), KW_ERANGE);
}
END_TEST

/* Six failures for one coefficient: the penalty, and wide intervals. */
START_TEST(few_failures)
{
    struct causes_study s = make(9, 0.6, 10);
    struct causes_report r;
    int left = 6;

    for (size_t i = 0; i < s.n; i++) {
        units[i].failed = units[i].failed && left > 0;
        left -= units[i].failed;
    }
    ck_assert_int_eq(causes_study(&s, &r), 0);
    ck_assert_int_eq(r.failures, 6);
    ck_assert_int_eq(r.alone[0].why, CAUSES_TOLD);
    ck_assert(r.alone[0].firth);
    ck_assert_double_gt(r.alone[0].levels[0].high / r.alone[0].levels[0].low,
                        2);
    for (size_t i = 0; i < s.n; i++)
        units[i].failed = false;
    ck_assert_int_eq(causes_study(&s, &r), 0);
    ck_assert_int_eq(r.alone[0].why, CAUSES_FEW_FAILURES);
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("causes");

    tcase_add_loop_test(tc, shelf_is_found, 0, 5);
    tcase_add_test(tc, shelf_not_noted);
    tcase_set_timeout(tc, 60);
    tcase_add_loop_test(tc, what_is_there_is_found, 0, 10);
    tcase_add_test(tc, nothing_is_seldom_found);
    tcase_add_test(tc, few_batches_are_refused);
    tcase_add_test(tc, few_failures);
    return close_run("causes", tc);
}
