#ifndef KW_EXACT_H
#define KW_EXACT_H
/*
 * exact.h - exact upper tails, from r-mathlib, never as 1 - p.
 * NaN for arguments out of range.
 */
#include "base/kw.h"

/* P(X >= k), X ~ Poisson(mean). mean >= 0. */
double exact_poisson_upper(int64_t k, double mean);
/* P(X >= k), X ~ Binomial(n, p). */
double exact_binomial_upper(int64_t k, int64_t n, double p);
/* P(X >= k): sample of `drawn` from `pots` of which `failed` are failed. */
double exact_hypergeometric_upper(int64_t k, int64_t pots, int64_t failed,
                                  int64_t drawn);
/* Exact interval of a Poisson mean seen as k, level 0.9 for 90 %
 * (Garwood 1936). NaN in both for arguments out of range. */
void exact_poisson_interval(int64_t k, double level, double *low, double *high);
/* P(X < limit), X normal; se 0: 1 below the limit, else 0. */
double exact_below(double mean, double se, double limit);
/* P(X > x), X chi-square with df degrees; its logarithm when asked. */
double exact_chisq_upper(double x, double df, bool log_p);
/* z with P(|X| < z) = level, X standard normal: 0.95 -> 1.96. */
double exact_normal_quantile(double level);
#endif
