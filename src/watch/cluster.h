#ifndef KW_CLUSTER_H
#define KW_CLUSTER_H
/*
 * cluster.h - does breakage gather, looked at after every report? Two arms
 * over O counted failures and E (or U) expected ones:
 *   A  mixture Bayes factor: RR ~ Gamma(a, rate b) above 1 against RR = 1;
 *      with the true expectation P(ever >= B) <= 1/B however often one looks
 *      (Ville 1939; Robbins 1970);
 *   B  CUSUM in expected-failure time, for what begins late.
 * The bookkeeping of cells and days is in detector. Pure functions.
 */
#include "base/kw.h"

struct cluster_mix {
    double shape, rate; /* a, b of the relative risk above 1: 2, 1 */
};

/* ln of the Bayes factor. failures >= 0, expected > 0. */
double cluster_log_bf(const struct cluster_mix *mix, int64_t failures,
                      double expected);
/* The largest expected at which n failures reach a Bayes factor; 0: none. */
double cluster_bf_bound(const struct cluster_mix *mix, int64_t n,
                        double threshold);

struct cluster_look { /* a rule, and a world to try it in */
    double threshold; /* Bayes factor */
    int64_t least;    /* failures before the first test */
    double horizon;   /* expected failures in all */
    double risk;      /* true relative risk; 1: false alarms */
};
/* P(the rule ever alarms within the horizon), by exact recursion. */
double cluster_bf_crossing(const struct cluster_mix *mix,
                           const struct cluster_look *look);

/* Poisson log-likelihood ratio of an excess (MaxSPRT, scan); 0 without one. */
double cluster_llr(int64_t failures, double expected);

/*
 * The same for any rule "alarm when the n-th failure comes at or before
 * bound(n) expected ones", bound rising in n; look->threshold is its own.
 */
typedef double cluster_bound_f(const struct cluster_look *look, int64_t n,
                               const void *arg);
double cluster_crossing(cluster_bound_f *bound, const void *arg,
                        const struct cluster_look *look);

/* C <- max(0, C - (rho - 1) expected) + failures ln rho. */
double cluster_cusum(double c, double rho, double expected, int64_t failures);

struct cluster_chart {
    double rho;   /* designed for this relative risk: 2.5 */
    double limit; /* h: alarm at C >= h: 7 */
    double start; /* h0, 0 */
};
/*
 * Mean expected failures until the alarm at a true relative risk; risk 1:
 * between false alarms. Exact (Vardeman & Ray 1985, in continuous time). NaN
 * unless rho > 1, risk > 0, 0 <= start < limit < 64 ln rho.
 */
double cluster_chart_mean(const struct cluster_chart *chart, double risk);

/* The relative risk given O and E: Gamma(4 + O, rate 4 + E). */
struct cluster_risk {
    double mean, low, median, high; /* 5 %, 50 %, 95 % */
};
#define CLUSTER_RISK_PRIOR 4
struct cluster_risk cluster_risk(int64_t failures, double expected);
/* P(relative risk > over). */
double cluster_risk_above(int64_t failures, double expected, double over);

/*
 * How much places differ in what they tell: of each, O ~ Poisson(r E) with
 * r ~ Gamma(nu, rate nu). 1/nu by moments over all places,
 *   sum((O - E)^2 - E) / sum(E^2), at least CLUSTER_SPREAD_LEAST.
 */
#define CLUSTER_SPREAD_LEAST 0.02 /* so nu is 50 at most */
struct cluster_spread {
    double excess, squares, noise; /* noise: variance of excess if all alike */
};
void cluster_spread_add(struct cluster_spread *s, double o, double e);
double cluster_spread_nu(const struct cluster_spread *s);
/* Whether chance alone moves 1/nu by CLUSTER_SPREAD_ERROR at most (one
 * standard error where all places are alike). */
#define CLUSTER_SPREAD_ERROR 0.03
bool cluster_spread_enough(const struct cluster_spread *s);

/* P(X >= k) - P(X = k)/2, X ~ Poisson(mean). */
double cluster_mid_p(int64_t k, double mean);
/* Benjamini & Hochberg 1995: adjusted p-values, in the given order. */
void cluster_bh(const double *p, size_t n, double *adjusted);
#endif
