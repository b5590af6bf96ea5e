#ifndef KW_NEED_H
#define KW_NEED_H
/*
 * need.h - how many pots of those in service will be reported failed within
 * so many days: breakage by age and batch, and falling flow, with an interval
 * that holds because batches and rates are not known exactly either.
 * Formulas and measured coverage: docs/science.md.
 */
#include "watch/breakage.h"

struct need_unit { /* a pot in service */
    double age_days;
    int batch;     /* number in need_model.batches */
    double eager;  /* its place's reporting factor; 1 when not known */
    double p_flow; /* P(flow below the limit by then, and replaced); 0 */
};

struct need_batch {
    int64_t failed;  /* O */
    double expected; /* E */
};

#define NEED_BINS_MOST 16
struct need_model {
    size_t bins;
    double edges[NEED_BINS_MOST];     /* lower, in days of age, from 0 */
    double rate[NEED_BINS_MOST];      /* a day, all batches alike */
    double events[NEED_BINS_MOST];    /* A0 + D: what each rate rests on */
    const struct need_batch *batches; /* borrowed */
    size_t n_batches;
    double place_weight; /* nu: failures that a place must outweigh */
};
/* Time at risk and failures told, of a batch or of a place. */
struct need_sums {
    int64_t failed;
    double x[BREAKAGE_BINS]; /* pot-days by age */
};
/* Bins, rates and what they rest on, from the sums of all pots; nu as it is
 * where nothing was estimated. */
void need_rates(const struct breakage_batch *all, struct need_model *m);
double need_expected(const struct need_model *m, const struct need_sums *s);
/* How eagerly a place reports. */
double need_eager(const struct need_model *m, const struct need_sums *place);

/* A batch's own risk is (4 + O)/(4 + E). */
#define NEED_BATCH_PRIOR 4.0
double need_batch_risk(const struct need_batch *b);

struct need_forecast {
    double mean, var;
};
/*
 * Within days from now. q: P(fails) of each of the n units, room for n, or
 * NULL. KW_ERANGE for a batch or a number of bins that is not there.
 */
int need_forecast(const struct need_model *model, const struct need_unit *units,
                  size_t n, double days, double *q, struct need_forecast *out);

/*
 * Did forecasts hold? Of so many that are over, what came held against mean
 * and variance as reckoned then, before any widening.
 */
#define NEED_PAST        12  /* the last so many are looked at */
#define NEED_MISFIT_MOST 1.5 /* above, the interval is widened */
struct need_past {
    double mean, var, came;
};
/* The mean of (came - mean)^2/var; NaN of none. About 1 when they hold. */
double need_misfit(const struct need_past *past, size_t n);
/*
 * By what var is to be multiplied: 1 with fewer than NEED_PAST; the misfit
 * when it is above NEED_MISFIT_MOST, and once it was (before), down to 1.
 */
double need_widening(double misfit, size_t n, bool before);

/*
 * A quantile of the count: negative binomial with that mean and variance
 * where the variance is the greater, else Poisson-binomial from q: exactly up
 * to 20,000 units, by a normal with skewness beyond.
 */
double need_quantile(const struct need_forecast *f, const double *q, size_t n,
                     double p);

/* P(count = 0 … n) of n independent ones; pmf has room for n + 1. O(n^2). */
void need_poisson_binomial(const double *q, size_t n, double *pmf);
#endif
