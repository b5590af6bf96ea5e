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
/* Exact 90 % interval of a Poisson mean seen as k (Garwood 1936). */
void exact_poisson_interval(int64_t k, double level, double *low,
                            double *high);
#endif
