#ifndef KW_CAUSE_MODEL_H
#define KW_CAUSE_MODEL_H
/*
 * cause_model.h - Cox's likelihood of a set of units, its slope and its
 * information, and the way up to its greatest value. Inner to cause.
 * Covariates are centred and scaled inside, so that sums of squares do not
 * cancel. Units are walked from the highest age down, those at risk kept as
 * sums: O(n log n) once and O(n p^2) a step of Newton (p^3 with the penalty).
 */
#include "watch/cause.h"

/* Sums over the units at risk of w, w x, w x x', w x x' x_k. */
struct cause_sums {
    double s0, s1[CAUSE_COVARIATES_MOST],
        s2[CAUSE_COVARIATES_MOST * CAUSE_COVARIATES_MOST];
    double *s3; /* NULL without the penalty */
};

struct cause_event { /* an age at which units failed, in one stratum */
    double time;
    double a, b[CAUSE_COVARIATES_MOST]; /* cumulative: of 1/S, of mean/S */
    double c, d[CAUSE_COVARIATES_MOST]; /* of it j/d of each, what the failed
                                           are spared */
    double mean[CAUSE_COVARIATES_MOST]; /* average of the means of this age */
};

struct cause_model {
    const struct cause_data *data;
    int p;
    bool firth;
    double centre[CAUSE_COVARIATES_MOST], scale[CAUSE_COVARIATES_MOST];
    /* Stratum by stratum, the highest age at exit first: */
    struct cause_unit *units;
    double *x;        /* standardised */
    double *w;        /* exp(x b) */
    size_t *by_exit;  /* of each its place in the data */
    size_t *by_entry; /* places in units, the highest age at entry first; NULL
                         when nobody comes when others have failed already */
    double product;   /* of denominators, not in loglik yet */
    double told[CAUSE_COVARIATES_MOST]; /* sum of x of those that failed */
    double u[CAUSE_COVARIATES_MOST],
        info[CAUSE_COVARIATES_MOST * CAUSE_COVARIATES_MOST],
        third[CAUSE_COVARIATES_MOST * CAUSE_COVARIATES_MOST *
              CAUSE_COVARIATES_MOST];
    double loglik; /* of the last evaluation, penalised with firth */
    double gradient[CAUSE_COVARIATES_MOST];
    struct cause_sums risk, tied;
    struct cause_event *events; /* kept when asked for */
    size_t n_events;
};

/* The order of the units in a model, indices; the caller frees it. */
size_t *cause_order(const struct cause_unit *units, size_t n);
/* The model borrows the data. KW_ERANGE for data that cannot be. */
int cause_open(const struct cause_data *d, bool firth,
               struct cause_model **out);
void cause_release(struct cause_model *m);
/* Likelihood, its slope and information at beta (standardised). */
bool cause_evaluate(struct cause_model *m, const double *beta);
/* From beta upwards, coefficient `fixed` (or -1) held; beta and the model
 * stand at the end of it. */
bool cause_climb(struct cause_model *m, int fixed, double *beta);
/* Of a symmetric positive definite p x p. */
bool cause_invert(const double *a, int p, double *inverse);
#endif
