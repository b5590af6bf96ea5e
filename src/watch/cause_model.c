/* cause_model.c - see cause_model.h. */
#include "watch/cause_model.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define P_MOST     CAUSE_COVARIATES_MOST
#define STEPS_MOST 200
#define CLOSE_STEP 1e-11
#define FAR        25.0 /* in standard deviations: it has run off */

/* ---- small matrices ---- */

/* a = l l' in the lower half. False: not positive definite. */
static bool factor(double *a, int p)
{
    for (int j = 0; j < p; j++) {
        double d = a[j * p + j], whole = d;

        for (int k = 0; k < j; k++)
            d -= a[j * p + k] * a[j * p + k];
        if (!(d > 1e-13 * fabs(whole)))
            return false;
        a[j * p + j] = sqrt(d);
        for (int i = j + 1; i < p; i++) {
            double s = a[i * p + j];

            for (int k = 0; k < j; k++)
                s -= a[i * p + k] * a[j * p + k];
            a[i * p + j] = s / a[j * p + j];
        }
    }
    return true;
}

static void solve(const double *l, int p, double *b)
{
    for (int i = 0; i < p; i++) {
        for (int k = 0; k < i; k++)
            b[i] -= l[i * p + k] * b[k];
        b[i] /= l[i * p + i];
    }
    for (int i = p; i-- > 0;) {
        for (int k = i + 1; k < p; k++)
            b[i] -= l[k * p + i] * b[k];
        b[i] /= l[i * p + i];
    }
}

bool cause_invert(const double *a, int p, double *inverse)
{
    double l[P_MOST * P_MOST];

    memcpy(l, a, sizeof(*a) * (size_t)(p * p));
    if (!factor(l, p))
        return false;
    memset(inverse, 0, sizeof(*inverse) * (size_t)(p * p));
    for (int j = 0; j < p; j++) {
        inverse[j * p + j] = 1; /* rows and columns are alike */
        solve(l, p, inverse + j * p);
    }
    return true;
}

/* ---- order ---- */

struct place_in { /* for sorting */
    int stratum;
    double age;
    size_t unit;
};

static int in_order(const void *a, const void *b)
{
    const struct place_in *x = a, *y = b;

    if (x->stratum != y->stratum)
        return x->stratum < y->stratum ? -1 : 1;
    if (x->age != y->age)
        return x->age > y->age ? -1 : 1;
    return (x->unit > y->unit) - (x->unit < y->unit);
}

static size_t *ordered(const struct cause_unit *units, size_t n, bool entry)
{
    struct place_in *all = kw_calloc(n + 1, sizeof(*all));
    size_t *order = kw_calloc(n + 1, sizeof(*order));
    bool is_so = true;

    for (size_t i = 0; i < n; i++) {
        all[i] = (struct place_in){units[i].stratum,
                                   entry ? units[i].entry : units[i].exit, i};
        is_so = is_so && (i == 0 || in_order(&all[i - 1], &all[i]) < 0);
    }
    if (!is_so)
        qsort(all, n, sizeof(*all), in_order);
    for (size_t i = 0; i < n; i++)
        order[i] = all[i].unit;
    kw_free(all);
    return order;
}

size_t *cause_order(const struct cause_unit *units, size_t n)
{
    return ordered(units, n, false);
}

/* Whether some come under watch when others have failed already. */
static bool some_late(const struct cause_unit *units, size_t n)
{
    double last = -INFINITY, first = INFINITY;

    for (size_t i = 0; i < n; i++) {
        last = fmax(last, units[i].entry);
        first = fmin(first, units[i].exit);
    }
    return last >= first;
}

/* The units in their order, so that a walk goes through memory as it lies. */
static void take_units(struct cause_model *m)
{
    const struct cause_data *d = m->data;
    size_t p = (size_t)m->p;

    m->by_exit = cause_order(d->units, d->n);
    m->units = kw_calloc(d->n, sizeof(*m->units));
    m->x = kw_calloc(d->n * p, sizeof(*m->x));
    for (size_t j = 0; j < d->n; j++) {
        m->units[j] = d->units[m->by_exit[j]];
        for (size_t k = 0; k < p; k++)
            m->x[j * p + k] = d->x[m->by_exit[j] * p + k];
    }
    if (some_late(m->units, d->n))
        m->by_entry = ordered(m->units, d->n, true);
}

/* ---- the sums ---- */

static void clear(struct cause_sums *s, int p)
{
    s->s0 = 0;
    memset(s->s1, 0, sizeof(*s->s1) * (size_t)p);
    memset(s->s2, 0, sizeof(*s->s2) * (size_t)(p * p));
    if (s->s3 != NULL)
        memset(s->s3, 0, sizeof(*s->s3) * (size_t)(p * p * p));
}

static void put(struct cause_sums *s, int p, const double *x, double w)
{
    s->s0 += w;
    for (int i = 0; i < p; i++) {
        s->s1[i] += w * x[i];
        for (int j = 0; j < p; j++) {
            double wxx = w * x[i] * x[j];

            s->s2[i * p + j] += wxx;
            for (int k = 0; s->s3 != NULL && k < p; k++)
                s->s3[(i * p + j) * p + k] += wxx * x[k];
        }
    }
}

/* Third central moments of what is at risk, the tied ones weighing less. */
static void put_third(struct cause_model *m, double f, double den,
                      const double *mean)
{
    int p = m->p;

    for (int i = 0; i < p; i++) {
        for (int j = 0; j < p; j++) {
            double ij =
                (m->risk.s2[i * p + j] - f * m->tied.s2[i * p + j]) / den;

            for (int k = 0; k < p; k++) {
                double ik =
                    (m->risk.s2[i * p + k] - f * m->tied.s2[i * p + k]) / den;
                double jk =
                    (m->risk.s2[j * p + k] - f * m->tied.s2[j * p + k]) / den;
                size_t at = (size_t)((i * p + j) * p + k);

                m->third[at] += (m->risk.s3[at] - f * m->tied.s3[at]) / den -
                                mean[i] * jk - mean[j] * ik - mean[k] * ij +
                                2 * mean[i] * mean[j] * mean[k];
            }
        }
    }
}

/* A factor of the likelihood's denominator: many of them a logarithm. */
static void divide(struct cause_model *m, double den)
{
    m->product *= den;
    if (m->product > 1e250 || m->product < 1e-250) {
        m->loglik -= log(m->product);
        m->product = 1;
    }
}

/* What residuals want to know of the j-th of d failures of an age. */
static void add_to_event(struct cause_event *e, int p, double f, double den,
                         const double *mean, double d)
{
    e->a += 1 / den;
    e->c += f / den;
    for (int i = 0; i < p; i++) {
        e->b[i] += mean[i] / den;
        e->d[i] += f * mean[i] / den;
        e->mean[i] += mean[i] / d;
    }
}

/* One age of d failures: Efron takes them out one after the other. */
static void put_event(struct cause_model *m, double time, int64_t d)
{
    struct cause_event *e = NULL;
    int p = m->p;
    double mean[P_MOST];

    if (m->events != NULL) {
        e = &m->events[m->n_events++];
        *e = (struct cause_event){.time = time};
    }
    for (int64_t j = 0; j < d; j++) {
        double f = (double)j / (double)d;
        double den = m->risk.s0 - f * m->tied.s0, part = 1 / den;

        divide(m, den);
        for (int i = 0; i < p; i++) {
            mean[i] = (m->risk.s1[i] - f * m->tied.s1[i]) * part;
            m->u[i] -= mean[i];
        }
        for (int i = 0; i < p; i++)
            for (int k = 0; k < p; k++)
                m->info[i * p + k] +=
                    (m->risk.s2[i * p + k] - f * m->tied.s2[i * p + k]) * part -
                    mean[i] * mean[k];
        if (e != NULL)
            add_to_event(e, p, f, den, mean, (double)d);
        if (m->firth)
            put_third(m, f, den, mean);
    }
}

/* Those of an age [in, …): at risk from here on down. How many failed. */
static int64_t walk_age(struct cause_model *m, size_t *in, size_t to)
{
    double t = m->units[*in].exit;
    int64_t d = 0;

    for (; *in < to && m->units[*in].exit == t; ++*in) {
        const double *x = m->x + *in * (size_t)m->p;

        put(&m->risk, m->p, x, m->w[*in]);
        if (!m->units[*in].failed)
            continue;
        if (d++ == 0)
            clear(&m->tied, m->p);
        put(&m->tied, m->p, x, m->w[*in]);
        for (int k = 0; k < m->p; k++) {
            m->u[k] += x[k];
            m->told[k] += x[k];
        }
    }
    return d;
}

/* One stratum: units [from, to) of both orders. */
static void walk(struct cause_model *m, size_t from, size_t to)
{
    size_t in = from, out = m->by_entry != NULL ? from : to;

    clear(&m->risk, m->p);
    while (in < to) {
        double t = m->units[in].exit;
        int64_t d = walk_age(m, &in, to);

        for (; d > 0 && out < to && m->units[m->by_entry[out]].entry >= t;
             out++) {
            size_t i = m->by_entry[out];

            put(&m->risk, m->p, m->x + i * (size_t)m->p, -m->w[i]);
        }
        if (d > 0)
            put_event(m, t, d);
    }
}

static void weigh(struct cause_model *m, const double *beta)
{
    size_t p = (size_t)m->p;

    for (size_t i = 0; i < m->data->n; i++) {
        double eta = 0;

        for (size_t k = 0; k < p; k++)
            eta += m->x[i * p + k] * beta[k];
        m->w[i] = exp(eta);
    }
}

/* The penalty: half of ln |I| and its slope. */
static bool put_penalty(struct cause_model *m)
{
    int p = m->p;
    double l[P_MOST * P_MOST], inverse[P_MOST * P_MOST];

    memcpy(l, m->info, sizeof(*l) * (size_t)(p * p));
    if (!factor(l, p) || !cause_invert(m->info, p, inverse))
        return false;
    for (int i = 0; i < p; i++)
        m->loglik += log(l[i * p + i]);
    for (int k = 0; k < p; k++)
        for (int i = 0; i < p; i++)
            for (int j = 0; j < p; j++)
                m->gradient[k] +=
                    0.5 * inverse[i * p + j] * m->third[(i * p + j) * p + k];
    return true;
}

/* Likelihood, its slope and information at beta (standardised). */
bool cause_evaluate(struct cause_model *m, const double *beta)
{
    size_t n = m->data->n;

    m->loglik = 0;
    m->product = 1;
    m->n_events = 0;
    memset(m->u, 0, sizeof(m->u));
    memset(m->told, 0, sizeof(m->told));
    memset(m->info, 0, sizeof(m->info));
    if (m->firth)
        memset(m->third, 0, sizeof(m->third));
    weigh(m, beta);
    for (size_t from = 0, to = 0; from < n; from = to) {
        while (to < n && m->units[to].stratum == m->units[from].stratum)
            to++;
        walk(m, from, to);
    }
    m->loglik -= log(m->product);
    for (int k = 0; k < m->p; k++)
        m->loglik += beta[k] * m->told[k];
    memcpy(m->gradient, m->u, sizeof(m->u));
    if (m->firth && !put_penalty(m))
        return false;
    return isfinite(m->loglik);
}

/* ---- the greatest likelihood ---- */

/* A step of Newton with coefficient `fixed` (or -1) held. */
static bool newton_step(const struct cause_model *m, int fixed, double *step)
{
    int p = m->p;
    double l[P_MOST * P_MOST];

    memcpy(l, m->info, sizeof(*l) * (size_t)(p * p));
    memcpy(step, m->gradient, sizeof(*step) * (size_t)p);
    for (int i = 0; fixed >= 0 && i < p; i++)
        l[i * p + fixed] = l[fixed * p + i] = i == fixed;
    if (fixed >= 0)
        step[fixed] = 0;
    if (!factor(l, p))
        return false;
    solve(l, p, step);
    return true;
}

/* From beta upwards; beta and the model stand at the end of it. */
bool cause_climb(struct cause_model *m, int fixed, double *beta)
{
    int p = m->p;

    if (!cause_evaluate(m, beta))
        return false;
    for (int n = 0; n < STEPS_MOST; n++) {
        double was = m->loglik, step[P_MOST], next[P_MOST], most = 0, part = 1;
        bool good = false;

        if (!newton_step(m, fixed, step))
            return false;
        for (int i = 0; i < p; i++)
            most = fmax(most, fabs(step[i]));
        if (most > 2)
            part = 2 / most;
        for (int half = 0; !good && half < 30; half++, part /= 2) {
            for (int i = 0; i < p; i++)
                next[i] = beta[i] + part * step[i];
            good = cause_evaluate(m, next) &&
                   m->loglik >= was - 1e-12 * (1 + fabs(was));
        }
        if (!good)
            return cause_evaluate(m, beta) && most < 1e-6;
        memcpy(beta, next, sizeof(*beta) * (size_t)p);
        if (most < CLOSE_STEP)
            return true;
        for (int i = 0; i < p; i++)
            if (i != fixed && fabs(beta[i]) > FAR)
                return false;
    }
    return false;
}

/* ---- a model ---- */

static int standardise(struct cause_model *m)
{
    const struct cause_data *d = m->data;
    size_t p = (size_t)m->p;

    for (size_t k = 0; k < p; k++) {
        double mean = 0, var = 0;

        for (size_t i = 0; i < d->n; i++)
            mean += m->x[i * p + k] / (double)d->n;
        for (size_t i = 0; i < d->n; i++) {
            double e = m->x[i * p + k] - mean;

            var += e * e / (double)d->n;
        }
        if (!isfinite(var))
            return KW_ERANGE;
        m->centre[k] = mean;
        m->scale[k] = var > 0 ? sqrt(var) : 1;
        for (size_t i = 0; i < d->n; i++)
            m->x[i * p + k] = (m->x[i * p + k] - mean) / m->scale[k];
    }
    return 0;
}

void cause_release(struct cause_model *m)
{
    kw_free(m->units);
    kw_free(m->x);
    kw_free(m->w);
    kw_free(m->by_exit);
    kw_free(m->by_entry);
    kw_free(m->events);
    kw_free(m->risk.s3);
    kw_free(m->tied.s3);
    kw_free(m);
}

int cause_open(const struct cause_data *d, bool firth, struct cause_model **out)
{
    struct cause_model *m;
    size_t cubes;
    int err;

    *out = NULL;
    if (d->p < 1 || d->p > P_MOST || d->n == 0)
        return KW_ERANGE;
    for (size_t i = 0; i < d->n; i++)
        if (!(d->units[i].entry < d->units[i].exit) ||
            d->units[i].stratum < 0 || d->units[i].cluster < 0 ||
            (size_t)d->units[i].cluster >= d->n)
            return KW_ERANGE;
    m = kw_calloc(1, sizeof(*m));
    m->data = d;
    m->p = d->p;
    m->firth = firth;
    m->w = kw_calloc(d->n, sizeof(*m->w));
    take_units(m);
    cubes = (size_t)(d->p * d->p * d->p);
    if (firth) {
        m->risk.s3 = kw_calloc(cubes, sizeof(double));
        m->tied.s3 = kw_calloc(cubes, sizeof(double));
    }
    if ((err = standardise(m)) < 0) {
        cause_release(m);
        return err;
    }
    *out = m;
    return 0;
}
