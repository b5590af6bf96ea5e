#ifndef KW_CAUSE_H
#define KW_CAUSE_H
/*
 * cause.h - what failing pots have in common: Cox's proportional hazards with
 * Efron's ties, strata, delayed entry, variance robust against pots of one
 * batch failing together; Firth's penalty when failures are few. What comes
 * out is an association, not a cause. Pure functions.
 * Sources: Cox 1972; Efron 1977; Lin & Wei 1989 (robust variance); Firth
 * 1993, Heinze & Schemper 2001 (penalty, profile intervals).
 */
#include "base/kw.h"

#define CAUSE_COVARIATES_MOST 24

struct cause_unit { /* at risk at age t when entry < t <= exit */
    double entry, exit;
    bool failed; /* at exit */
    int stratum; /* compared within these only; 0 when there is but one */
    int cluster; /* batch: 0 … below the number of units */
};

struct cause_data {
    const struct cause_unit *units;
    const double *x; /* n rows of p covariates */
    size_t n;
    int p; /* 1 to CAUSE_COVARIATES_MOST */
};

struct cause_fit {
    int p;
    bool firth;
    bool converged; /* else an estimate has run off, or nothing failed */
    int64_t events;
    int clusters;
    double beta[CAUSE_COVARIATES_MOST];
    /* p x p, row by row: inverse information, and robust by cluster */
    double var[CAUSE_COVARIATES_MOST * CAUSE_COVARIATES_MOST];
    double robust[CAUSE_COVARIATES_MOST * CAUSE_COVARIATES_MOST];
    double loglik_null, loglik; /* partial; penalised with firth */
    double score, wald;         /* chi-square of p degrees, not robust */
};

/* 0; KW_ERANGE for p, a unit or covariate that cannot be. */
int cause_fit(const struct cause_data *data, bool firth, struct cause_fit *out);

/*
 * Where the (penalised) likelihood, the best over all other coefficients, has
 * fallen so far that the interval of that level for coefficient j ends.
 * -INFINITY or INFINITY where it never does.
 */
void cause_profile(const struct cause_data *data, const struct cause_fit *fit,
                   int j, double level, double *low, double *high);

/* The cumulative hazard of a unit whose covariates are all 0, in a stratum. */
struct cause_step {
    double time, hazard; /* from time on */
};
/* steps has room for n; their number is returned. */
size_t cause_baseline(const struct cause_data *data, const double *beta,
                      int stratum, struct cause_step *steps);
/* Failures less what the model expects; residuals has room for n. */
void cause_martingale(const struct cause_data *data, const double *beta,
                      double *residuals);

/* b' V^-1 b over the coefficients [from, to); NaN when V is singular. */
double cause_wald(const struct cause_fit *fit, const double *var, int from,
                  int to);
#endif
