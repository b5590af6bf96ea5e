/* check_exact.c - tails against values worked out beforehand and by sums. */
#include "watch/exact.h"

#include "close.h"
#include "refcase.h"

#define MATHLIB_STANDALONE 1
#include <Rmath.h>

/* Worked out by an independent program; half a unit of the last digit. */
START_TEST(worked_values)
{
    ck_assert_double_eq_tol(exact_poisson_upper(4, 0.5), 0.001752, 5e-7);
    ck_assert_double_eq_tol(exact_poisson_upper(5, 1), 0.003660, 5e-7);
    ck_assert_double_eq_tol(exact_binomial_upper(5, 50, 0.02), 0.00320974,
                            5e-9);
    ck_assert_double_eq_tol(exact_hypergeometric_upper(5, 500, 12, 50),
                            0.00379223, 5e-9);
}
END_TEST

/* The tail is the sum of its terms, each by logarithms of factorials. */
START_TEST(poisson_is_its_sum)
{
    static const double means[] = {0.01, 0.5, 3, 20, 80};

    for (size_t m = 0; m < 5; m++)
        for (int k = 0; k < 120; k += 3) {
            double sum = 0;

            for (int j = k + 400; j >= k; j--)
                sum += exp(j * log(means[m]) - means[m] - lgamma(j + 1));
            CLOSE_OR(exact_poisson_upper(k, means[m]), sum, 1e-11, 1e-300);
        }
}
END_TEST

static double log_choose(int n, int k)
{
    return lgamma(n + 1) - lgamma(k + 1) - lgamma(n - k + 1);
}

START_TEST(hypergeometric_is_its_sum)
{
    uint64_t seed = 3;

    for (int i = 0; i < 300; i++) {
        int pots = 1 + (int)(close_next(&seed) % 300);
        int failed = (int)(close_next(&seed) % (unsigned)(pots + 1));
        int drawn = (int)(close_next(&seed) % (unsigned)(pots + 1));
        int k = (int)(close_next(&seed) % (unsigned)(drawn + 2));
        int most = failed < drawn ? failed : drawn;
        double sum = 0;

        for (int j = most; j >= k; j--)
            if (drawn - j <= pots - failed)
                sum += exp(log_choose(failed, j) +
                           log_choose(pots - failed, drawn - j) -
                           log_choose(pots, drawn));
        CLOSE_OR(exact_hypergeometric_upper(k, pots, failed, drawn), sum, 1e-9,
                 1e-300);
    }
}
END_TEST

/* Far out the tail keeps its digits: one minus the rest would be 0. */
START_TEST(far_tails)
{
    ck_assert_double_gt(exact_poisson_upper(150, 1), 0);
    ck_assert_double_lt(exact_poisson_upper(150, 1), 1e-262);
    CLOSE(exact_poisson_upper(40, 1), exp(-1 - lgamma(41)) * (1 + 1 / 41.0),
          1e-3);
}
END_TEST

/*
 * Garwood 1936, 95 %: 0 -> 0, 3.689; 10 -> 4.795, 18.390 (the table as it
 * stands in textbooks of epidemiology, from memory).
 */
START_TEST(garwood_interval)
{
    double low, high;

    exact_poisson_interval(0, 0.95, &low, &high);
    ck_assert_double_eq(low, 0);
    ck_assert_double_eq_tol(high, 3.689, 5e-4);
    exact_poisson_interval(10, 0.95, &low, &high);
    ck_assert_double_eq_tol(low, 4.795, 5e-4);
    ck_assert_double_eq_tol(high, 18.390, 5e-4);
    for (int k = 1; k < 200;
         k += 7) { /* its ends are where the tails are 5 % */
        exact_poisson_interval(k, 0.90, &low, &high);
        CLOSE(exact_poisson_upper(k, low), 0.05, 1e-9);
        CLOSE(1 - exact_poisson_upper(k + 1, high), 0.05, 1e-9);
    }
}
END_TEST

/* Phi at 1.959963984540054 is 0.975 (any table of the normal). */
START_TEST(below_a_limit)
{
    CLOSE(exact_below(0, 1, 1.959963984540054), 0.975, 1e-12);
    CLOSE(exact_below(1, 2, 1), 0.5, 1e-15);
    ck_assert_double_eq(exact_below(1, 0, 1.5), 1);
    ck_assert_double_eq(exact_below(1.5, 0, 1.5), 0);
    ck_assert_double_nan(exact_below(1, -1, 1));
    ck_assert_double_nan(exact_below(NAN, 1, 1));
}
END_TEST

/* p01: R's ppois, pnorm, pchisq and qgamma, where r-mathlib is used here. */
START_TEST(case_special_functions)
{
    struct refcase *c = refcase_open("p01_specfun");
    size_t n;
    const double *k = refcase_need(c, "in", "p_k", &n);
    const double *mean = refcase_need(c, "in", "p_lambda", &n);
    const double *want = refcase_need(c, "out", "pois_upper", &n), *z;

    for (size_t i = 0; i < n; i++)
        CLOSE(exact_poisson_upper((int64_t)k[i], mean[i]), want[i], 1e-10);
    z = refcase_need(c, "in", "z", &n);
    for (size_t i = 0; i < n; i++) {
        CLOSE(exact_below(0, 1, -z[i]),
              refcase_need(c, "out", "norm_upper", &n)[i], 1e-10);
        CLOSE(exact_chisq_upper(z[i] * z[i], 1, false),
              refcase_need(c, "out", "chisq1_upper", &n)[i], 1e-10);
    }
    refcase_free(c);
}
END_TEST

/* The rest of p01: the library that all of it is built on, as we link it. */
START_TEST(case_library)
{
    struct refcase *c = refcase_open("p01_specfun");
    size_t n;
    const double *a = refcase_need(c, "in", "g_shape", &n);
    const double *x = refcase_need(c, "in", "g_x", &n), *mu, *size;

    for (size_t i = 0; i < n; i++) {
        CLOSE(pgamma(x[i], a[i], 1, 1, 0),
              refcase_need(c, "out", "gamma_lower", &n)[i], 1e-10);
        CLOSE(pgamma(x[i], a[i], 1, 0, 0),
              refcase_need(c, "out", "gamma_upper", &n)[i], 1e-10);
        CLOSE_OR(pgamma(x[i], a[i], 1, 0, 1),
                 refcase_need(c, "out", "gamma_upper_log", &n)[i], 1e-10,
                 1e-10);
    }
    a = refcase_need(c, "in", "q_p", &n);
    x = refcase_need(c, "in", "q_shape", &n);
    for (size_t i = 0; i < n; i++)
        CLOSE(qgamma(a[i], x[i], 1, 1, 0),
              refcase_need(c, "out", "gamma_quantile", &n)[i], 1e-10);
    x = refcase_need(c, "in", "lg_x", &n);
    for (size_t i = 0; i < n; i++) {
        CLOSE(lgammafn(x[i]), refcase_need(c, "out", "lgamma", &n)[i], 1e-10);
        CLOSE(digamma(x[i]), refcase_need(c, "out", "digamma", &n)[i], 1e-10);
    }
    x = refcase_need(c, "in", "z", &n);
    for (size_t i = 0; i < n; i++) {
        CLOSE_OR(pnorm(x[i], 0, 1, 0, 1),
                 refcase_need(c, "out", "norm_upper_log", &n)[i], 1e-10, 1e-10);
        /* of the upper tail: near 1 the lower one has lost the digits */
        CLOSE(qnorm(pnorm(x[i], 0, 1, 0, 1), 0, 1, 0, 1), x[i], 1e-10);
    }
    x = refcase_need(c, "in", "n_k", &n);
    mu = refcase_need(c, "in", "n_mu", &n);
    size = refcase_need(c, "in", "n_size", &n);
    for (size_t i = 0; i < n; i++) {
        CLOSE_OR(dnbinom_mu(x[i], size[i], mu[i], 1),
                 refcase_need(c, "out", "nbinom_pmf_log", &n)[i], 1e-10, 1e-10);
        CLOSE(pnbinom_mu(x[i] - 1, size[i], mu[i], 0, 0),
              refcase_need(c, "out", "nbinom_upper", &n)[i], 1e-10);
    }
    refcase_free(c);
}
END_TEST

/* Garwood's lower end for k is the gamma quantile of shape k. */
START_TEST(case_gamma_quantile)
{
    struct refcase *c = refcase_open("p01_specfun");
    size_t n;
    const double *p = refcase_need(c, "in", "q_p", &n);
    const double *shape = refcase_need(c, "in", "q_shape", &n);
    const double *want = refcase_need(c, "out", "gamma_quantile", &n);
    int checked = 0;

    for (size_t i = 0; i < n; i++) {
        double low, high;

        if (shape[i] != floor(shape[i]) || p[i] < 1e-3 || p[i] > 0.05)
            continue;
        exact_poisson_interval((int64_t)shape[i], 1 - 2 * p[i], &low, &high);
        CLOSE(low, want[i], 1e-10);
        checked++;
    }
    ck_assert_int_ge(checked, 12);
    refcase_free(c);
}
END_TEST

START_TEST(edges)
{
    double low, high;

    ck_assert_double_eq(exact_poisson_upper(0, 0), 1);
    ck_assert_double_eq(exact_poisson_upper(1, 0), 0);
    ck_assert_double_eq(exact_poisson_upper(-5, 2), 1);
    ck_assert_double_eq(exact_binomial_upper(6, 5, 0.3), 0);
    ck_assert_double_eq(exact_binomial_upper(5, 5, 1), 1);
    ck_assert_double_eq(exact_binomial_upper(1, 5, 0), 0);
    ck_assert_double_eq(exact_hypergeometric_upper(3, 10, 2, 5), 0);
    ck_assert_double_eq(exact_hypergeometric_upper(0, 0, 0, 0), 1);
    ck_assert_double_nan(exact_poisson_upper(1, -1));
    ck_assert_double_nan(exact_poisson_upper(1, NAN));
    ck_assert_double_nan(exact_poisson_upper(1, INFINITY));
    ck_assert_double_nan(exact_binomial_upper(1, -1, 0.5));
    ck_assert_double_nan(exact_binomial_upper(1, 5, 1.5));
    ck_assert_double_nan(exact_hypergeometric_upper(1, 10, 11, 5));
    ck_assert_double_nan(exact_hypergeometric_upper(1, 10, 5, 11));
    exact_poisson_interval(-1, 0.9, &low, &high);
    ck_assert_double_nan(low);
    exact_poisson_interval(3, 1, &low, &high);
    ck_assert_double_nan(high);
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("exact");

    tcase_add_test(tc, worked_values);
    tcase_add_test(tc, poisson_is_its_sum);
    tcase_add_test(tc, hypergeometric_is_its_sum);
    tcase_add_test(tc, far_tails);
    tcase_add_test(tc, garwood_interval);
    tcase_add_test(tc, below_a_limit);
    tcase_add_test(tc, case_special_functions);
    tcase_add_test(tc, case_library);
    tcase_add_test(tc, case_gamma_quantile);
    tcase_add_test(tc, edges);
    return close_run("exact", tc);
}
