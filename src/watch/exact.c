/* exact.c - see exact.h. Arguments are checked before r-mathlib sees them:
 * it would print a warning. */
#include "watch/exact.h"

#include <math.h>

#define MATHLIB_STANDALONE 1
#include <Rmath.h>

double exact_poisson_upper(int64_t k, double mean)
{
    if (!(mean >= 0) || !isfinite(mean))
        return NAN;
    if (k <= 0)
        return 1;
    return mean > 0 ? ppois((double)k - 1, mean, 0, 0) : 0;
}

double exact_binomial_upper(int64_t k, int64_t n, double p)
{
    if (n < 0 || !(p >= 0 && p <= 1))
        return NAN;
    if (k <= 0)
        return 1;
    return k > n ? 0 : pbinom((double)k - 1, (double)n, p, 0, 0);
}

double exact_hypergeometric_upper(int64_t k, int64_t pots, int64_t failed,
                                  int64_t drawn)
{
    if (pots < 0 || failed < 0 || drawn < 0 || failed > pots || drawn > pots)
        return NAN;
    if (k <= 0)
        return 1;
    if (k > failed || k > drawn)
        return 0;
    return phyper((double)k - 1, (double)failed, (double)(pots - failed),
                  (double)drawn, 0, 0);
}

void exact_poisson_interval(int64_t k, double level, double *low, double *high)
{
    double tail = (1 - level) / 2;

    *low = *high = NAN;
    if (k < 0 || !(level > 0 && level < 1))
        return;
    *low = k > 0 ? qgamma(tail, (double)k, 1, 1, 0) : 0;
    *high = qgamma(tail, (double)k + 1, 1, 0, 0);
}

double exact_below(double mean, double se, double limit)
{
    if (isnan(mean) || isnan(limit) || !(se >= 0))
        return NAN;
    if (se == 0)
        return mean < limit ? 1 : 0;
    return pnorm(limit, mean, se, 1, 0);
}

double exact_chisq_upper(double x, double df, bool log_p)
{
    if (!(x >= 0 && df > 0))
        return NAN;
    return pchisq(x, df, 0, log_p);
}

double exact_normal_quantile(double level)
{
    if (!(level > 0 && level < 1))
        return NAN;
    return qnorm((1 - level) / 2, 0, 1, 0, 0);
}
