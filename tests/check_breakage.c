/* check_breakage.c - the one-look test of batches. */
#include "watch/breakage.h"
#include "watch/exact.h"

#include "close.h"

#include <string.h>

#define PRIOR_RATE (0.012 / 30.4375)
static const struct breakage_prior prior = {3, PRIOR_RATE};
static const struct breakage_prior no_prior = {0, 0};

START_TEST(exposure_goes_to_its_bins)
{
    struct breakage_batch b = {0};

    breakage_expose(&b, 0, 400);
    breakage_expose(&b, 20, 40);
    breakage_expose(&b, 50, 50);  /* nothing */
    breakage_expose(&b, -3, 10);  /* refused */
    breakage_expose(&b, 10, NAN); /* refused */
    ck_assert_double_eq(b.exposure_days[0], 30 + 10);
    ck_assert_double_eq(b.exposure_days[1], 60 + 10);
    ck_assert_double_eq(b.exposure_days[2], 90);
    ck_assert_double_eq(b.exposure_days[3], 185);
    ck_assert_double_eq(b.exposure_days[4], 35);
    ck_assert_int_eq(breakage_bin(0), 0);
    ck_assert_int_eq(breakage_bin(30), 0);
    ck_assert_int_eq(breakage_bin(30.1), 1);
    ck_assert_int_eq(breakage_bin(365), 3);
    ck_assert_int_eq(breakage_bin(5000), 4);
}
END_TEST

/* Two batches, no prior, worked by hand: each is held against the other. */
START_TEST(two_batches_by_hand)
{
    struct breakage_batch b[2] = {{.pots_out = 50,
                                   .failed = 5,
                                   .exposure_days = {1000, 500},
                                   .failed_at = {4, 1}},
                                  {.pots_out = 450,
                                   .failed = 7,
                                   .exposure_days = {9000, 4000},
                                   .failed_at = {3, 4}}};
    struct breakage_verdict v[2];

    breakage_judge(b, 2, &no_prior, v);
    /* 1000 x 3/9000 + 500 x 4/4000 and 9000 x 4/1000 + 4000 x 1/500 */
    CLOSE(v[0].expected, 1.0 / 3 + 0.5, 1e-14);
    CLOSE(v[1].expected, 36 + 8, 1e-14);
    CLOSE(v[0].ratio, 6, 1e-14);
    CLOSE(v[0].p_poisson, exact_poisson_upper(5, 5.0 / 6), 1e-14);
    /* 500 pots, 12 broken, 50 in the batch, 5 of them (worked beforehand) */
    ck_assert_double_eq_tol(v[0].p_hypergeometric, 0.00379223, 5e-9);
}
END_TEST

/* Its own failures never hide a batch: they are not in what is expected. */
START_TEST(leaves_itself_out)
{
    struct breakage_batch b[3] = {
        {.pots_out = 50, .exposure_days = {1500, 3000}},
        {.pots_out = 50,
         .failed = 2,
         .exposure_days = {1500, 3000},
         .failed_at = {1, 1}},
        {.pots_out = 50,
         .failed = 1,
         .exposure_days = {1500, 3000},
         .failed_at = {1, 0}}};
    struct breakage_verdict before[3], after[3];

    breakage_judge(b, 3, &prior, before);
    b[0].failed = 20, b[0].failed_at[0] = 20;
    breakage_judge(b, 3, &prior, after);
    CLOSE(after[0].expected, before[0].expected, 1e-14);
    ck_assert_double_gt(after[1].expected, before[1].expected);
    ck_assert_double_lt(after[0].p_poisson, 1e-12);
}
END_TEST

/* The first batch ever has only the prior: 1.2 % a month reported failed. */
START_TEST(first_batch_has_the_prior)
{
    struct breakage_batch b = {.pots_out = 100, .failed = 1};
    struct breakage_verdict v;

    breakage_expose(&b, 0, 30.4375);
    for (int k = 0; k < BREAKAGE_BINS; k++)
        b.exposure_days[k] *= 100;
    breakage_judge(&b, 1, &prior, &v);
    CLOSE(v.expected, 1.2, 1e-12);
    CLOSE(v.p_poisson, 1 - exp(-1.2), 1e-12);
    CLOSE(v.p_hypergeometric, 1, 1e-15);
}
END_TEST

/* Against a plain double loop over the definition. */
START_TEST(same_as_the_definition)
{
    enum { N = 40 };
    struct breakage_batch b[N] = {{0}};
    struct breakage_verdict v[N], one;
    uint64_t seed = 7;

    for (int i = 0; i < N; i++) {
        b[i].pots_out = 30 + (int64_t)(close_next(&seed) % 70);
        for (int k = 0; k < BREAKAGE_BINS; k++) {
            b[i].exposure_days[k] = close_between(&seed, 0, 20000);
            b[i].failed_at[k] = (int64_t)(close_next(&seed) % 4);
            b[i].failed += b[i].failed_at[k];
        }
    }
    breakage_judge(b, N, &prior, v);
    for (int i = 0; i < N; i++) {
        double e = 0;

        for (int k = 0; k < BREAKAGE_BINS; k++) {
            double events = prior.events, days = 3 / PRIOR_RATE;

            for (int j = 0; j < N; j++)
                if (j != i) {
                    events += (double)b[j].failed_at[k];
                    days += b[j].exposure_days[k];
                }
            e += b[i].exposure_days[k] * events / days;
        }
        CLOSE(v[i].expected, e, 1e-12);
        CLOSE(v[i].ratio, (double)b[i].failed / e, 1e-12);
        ck_assert_double_le(v[i].ratio_low, v[i].ratio);
        ck_assert_double_ge(v[i].ratio_high, v[i].ratio);
        breakage_judge_one(b, N, (size_t)i, &prior, &one);
        ck_assert_double_eq(one.p_poisson, v[i].p_poisson);
        ck_assert_double_eq(one.ratio_high, v[i].ratio_high);
    }
}
END_TEST

/* With equal batches the test says p <= 0.01 no oftener than it should. */
START_TEST(false_alarms_are_held)
{
    enum { N = 100, WORLDS = 200 };
    static struct breakage_batch b[N];
    static struct breakage_verdict v[N];
    uint64_t seed = 9;
    int alarms = 0;

    for (int w = 0; w < WORLDS; w++) {
        memset(b, 0, sizeof(b));
        for (int i = 0; i < N; i++) {
            b[i].pots_out = 50;
            for (int pot = 0; pot < 50; pot++) {
                double life = -log(close_unit(&seed)) / PRIOR_RATE;
                double seen = close_between(&seed, 30, 400);

                breakage_expose(&b[i], 0, fmin(life, seen));
                if (life < seen) {
                    b[i].failed++;
                    b[i].failed_at[breakage_bin(life)]++;
                }
            }
        }
        breakage_judge(b, N, &prior, v);
        for (int i = 0; i < N; i++)
            alarms += v[i].p_poisson <= 0.01;
    }
    ck_assert_int_gt(alarms, 20);               /* it can fire */
    ck_assert_int_le(alarms, N * WORLDS / 100); /* and not oftener */
}
END_TEST

START_TEST(edges)
{
    struct breakage_batch b[2] = {{.pots_out = 3, .failed = 4},
                                  {.pots_out = 10,
                                   .failed = 1,
                                   .exposure_days = {100},
                                   .failed_at = {1}}};
    struct breakage_verdict v[2];

    breakage_judge(b, 0, &prior, v);
    breakage_judge(b, 2, &prior, v);
    ck_assert_double_eq(v[0].expected, 0);
    ck_assert_double_eq(v[0].p_poisson, 1);
    ck_assert(isinf(v[0].ratio_high));
    ck_assert_double_gt(v[0].p_hypergeometric, 0);
    breakage_judge(b, 2, &no_prior, v);
    ck_assert_double_eq(v[1].expected, 0); /* no other batch at that age */
}
END_TEST

/* What comes after now, or after the pot went, is not yet seen. */
START_TEST(stay_counts_what_was_seen)
{
    const int64_t day = 86400, now = 100 * day;
    const struct breakage_stay stays[] = {
        {.given_s = 60 * day, .first = true},        /* 40 days */
        {.given_s = 60 * day, .ended_s = 70 * day},  /* 10 */
        {.given_s = 60 * day, .failed_s = 95 * day}, /* 35, failed */
        {.given_s = 60 * day, .failed_s = 101 * day} /* 40 */
    };
    struct breakage_batch b = {.batch_id = 1};

    for (size_t i = 0; i < KW_COUNT(stays); i++)
        breakage_add_stay(&b, &stays[i], now);
    ck_assert_int_eq(b.pots_out, 1);
    ck_assert_int_eq(b.failed, 1);
    ck_assert_int_eq(b.failed_at[1], 1);
    ck_assert_double_eq_tol(b.exposure_days[0], 30 + 10 + 30 + 30, 1e-9);
    ck_assert_double_eq_tol(b.exposure_days[1], 10 + 5 + 10, 1e-9);
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("breakage");

    tcase_add_test(tc, exposure_goes_to_its_bins);
    tcase_add_test(tc, two_batches_by_hand);
    tcase_add_test(tc, leaves_itself_out);
    tcase_add_test(tc, first_batch_has_the_prior);
    tcase_add_test(tc, same_as_the_definition);
    tcase_add_test(tc, false_alarms_are_held);
    tcase_add_test(tc, stay_counts_what_was_seen);
    tcase_add_test(tc, edges);
    return close_run("breakage", tc);
}
