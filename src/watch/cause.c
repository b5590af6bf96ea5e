/*
 * cause.c - see cause.h. Covariates are centred and scaled inside, so that
 * sums of squares do not cancel; what is given out is in the caller's units.
 * Units are walked from the highest age down, those at risk kept as sums:
 * O(n log n) once and O(n p^2) a step of Newton (p^3 with the penalty).
 */
#include "watch/cause.h"

#include "watch/exact.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define P_MOST     CAUSE_COVARIATES_MOST
#define STEPS_MOST 200
#define CLOSE_STEP 1e-11
#define FAR        25.0 /* in standard deviations: it has run off */

/* Sums over the units at risk of w, w x, w x x', w x x' x_k. */
struct sums {
    double s0, s1[P_MOST], s2[P_MOST * P_MOST];
    double *s3; /* NULL without the penalty */
};

struct at_event { /* an age at which units failed, in one stratum */
    double time;
    double a, b[P_MOST]; /* cumulative: of 1/S, of mean/S */
    double c, d[P_MOST]; /* of it j/d of each, what the failed are spared */
    double mean[P_MOST]; /* average of the means of this age */
};

struct model {
    const struct cause_data *data;
    int p;
    bool firth;
    double centre[P_MOST], scale[P_MOST];
    double *x;                  /* standardised */
    size_t *by_exit, *by_entry; /* stratum by stratum, highest age first */
    double *w;                  /* exp(x b) */
    double u[P_MOST], info[P_MOST * P_MOST], third[P_MOST * P_MOST * P_MOST];
    double loglik; /* of the last evaluation, penalised with firth */
    double gradient[P_MOST];
    struct sums risk, tied;
    struct at_event *events; /* kept when asked for */
    size_t n_events;
};

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

static bool invert(const double *a, int p, double *inverse)
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

static size_t *ordered(const struct cause_data *d, bool entry)
{
    struct place_in *all = kw_calloc(d->n, sizeof(*all));
    size_t *order = kw_calloc(d->n, sizeof(*order));

    for (size_t i = 0; i < d->n; i++)
        all[i] =
            (struct place_in){d->units[i].stratum,
                              entry ? d->units[i].entry : d->units[i].exit, i};
    qsort(all, d->n, sizeof(*all), in_order);
    for (size_t i = 0; i < d->n; i++)
        order[i] = all[i].unit;
    kw_free(all);
    return order;
}

/* ---- the sums ---- */

static void clear(struct sums *s, int p)
{
    s->s0 = 0;
    memset(s->s1, 0, sizeof(*s->s1) * (size_t)p);
    memset(s->s2, 0, sizeof(*s->s2) * (size_t)(p * p));
    if (s->s3 != NULL)
        memset(s->s3, 0, sizeof(*s->s3) * (size_t)(p * p * p));
}

static void put(struct sums *s, int p, const double *x, double w)
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
static void put_third(struct model *m, double f, double den, const double *mean)
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

/* One age of d failures: Efron takes them out one after the other. */
static void put_event(struct model *m, int64_t d, struct at_event *e)
{
    int p = m->p;
    double mean[P_MOST];

    for (int64_t j = 0; j < d; j++) {
        double f = (double)j / (double)d;
        double den = m->risk.s0 - f * m->tied.s0;

        m->loglik -= log(den);
        e->a += 1 / den;
        e->c += f / den;
        for (int i = 0; i < p; i++) {
            mean[i] = (m->risk.s1[i] - f * m->tied.s1[i]) / den;
            m->u[i] -= mean[i];
            e->b[i] += mean[i] / den;
            e->d[i] += f * mean[i] / den;
            e->mean[i] += mean[i] / (double)d;
        }
        for (int i = 0; i < p; i++)
            for (int k = 0; k < p; k++)
                m->info[i * p + k] +=
                    (m->risk.s2[i * p + k] - f * m->tied.s2[i * p + k]) / den -
                    mean[i] * mean[k];
        if (m->firth)
            put_third(m, f, den, mean);
    }
}

static void keep_event(struct model *m, const struct at_event *e)
{
    if (m->events != NULL)
        m->events[m->n_events++] = *e;
}

/* One stratum: units [from, to) of both orders. */
static void walk(struct model *m, size_t from, size_t to)
{
    const struct cause_unit *units = m->data->units;
    size_t in = from, out = from;

    clear(&m->risk, m->p);
    while (in < to) {
        double t = units[m->by_exit[in]].exit;
        struct at_event e = {.time = t};
        int64_t d = 0;

        clear(&m->tied, m->p);
        for (; in < to && units[m->by_exit[in]].exit == t; in++) {
            size_t i = m->by_exit[in];
            const double *x = m->x + i * (size_t)m->p;

            put(&m->risk, m->p, x, m->w[i]);
            if (!units[i].failed)
                continue;
            d++;
            put(&m->tied, m->p, x, m->w[i]);
            m->loglik += log(m->w[i]);
            for (int k = 0; k < m->p; k++)
                m->u[k] += x[k];
        }
        for (; d > 0 && out < to && units[m->by_entry[out]].entry >= t; out++) {
            size_t i = m->by_entry[out];

            put(&m->risk, m->p, m->x + i * (size_t)m->p, -m->w[i]);
        }
        if (d > 0) {
            put_event(m, d, &e);
            keep_event(m, &e);
        }
    }
}

/* Likelihood, its slope and information at beta (standardised). */
static bool evaluate(struct model *m, const double *beta)
{
    const struct cause_data *d = m->data;
    int p = m->p;
    double l[P_MOST * P_MOST], inverse[P_MOST * P_MOST];

    m->loglik = 0;
    m->n_events = 0;
    memset(m->u, 0, sizeof(m->u));
    memset(m->info, 0, sizeof(m->info));
    if (m->firth)
        memset(m->third, 0, sizeof(m->third));
    for (size_t i = 0; i < d->n; i++) {
        double eta = 0;

        for (int k = 0; k < p; k++)
            eta += m->x[i * (size_t)p + (size_t)k] * beta[k];
        m->w[i] = exp(eta);
    }
    for (size_t from = 0, to = 0; from < d->n; from = to) {
        int s = d->units[m->by_exit[from]].stratum;

        while (to < d->n && d->units[m->by_exit[to]].stratum == s)
            to++;
        walk(m, from, to);
    }
    memcpy(m->gradient, m->u, sizeof(m->u));
    if (!m->firth)
        return isfinite(m->loglik);
    memcpy(l, m->info, sizeof(*l) * (size_t)(p * p));
    if (!factor(l, p) || !invert(m->info, p, inverse))
        return false;
    for (int i = 0; i < p; i++)
        m->loglik += log(l[i * p + i]); /* half of ln |I| */
    for (int k = 0; k < p; k++)
        for (int i = 0; i < p; i++)
            for (int j = 0; j < p; j++)
                m->gradient[k] +=
                    0.5 * inverse[i * p + j] * m->third[(i * p + j) * p + k];
    return isfinite(m->loglik);
}

/* ---- the greatest likelihood ---- */

/* A step of Newton with coefficient `fixed` (or -1) held. */
static bool newton_step(const struct model *m, int fixed, double *step)
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
static bool climb(struct model *m, int fixed, double *beta)
{
    int p = m->p;

    if (!evaluate(m, beta))
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
            good =
                evaluate(m, next) && m->loglik >= was - 1e-12 * (1 + fabs(was));
        }
        if (!good)
            return evaluate(m, beta) && most < 1e-6;
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

static int standardise(struct model *m)
{
    const struct cause_data *d = m->data;
    size_t p = (size_t)m->p;

    for (size_t k = 0; k < p; k++) {
        double mean = 0, var = 0;

        for (size_t i = 0; i < d->n; i++)
            mean += d->x[i * p + k] / (double)d->n;
        for (size_t i = 0; i < d->n; i++) {
            double e = d->x[i * p + k] - mean;

            var += e * e / (double)d->n;
        }
        if (!isfinite(var))
            return KW_ERANGE;
        m->centre[k] = mean;
        m->scale[k] = var > 0 ? sqrt(var) : 1;
        for (size_t i = 0; i < d->n; i++)
            m->x[i * p + k] = (d->x[i * p + k] - mean) / m->scale[k];
    }
    return 0;
}

static void release(struct model *m)
{
    kw_free(m->x);
    kw_free(m->w);
    kw_free(m->by_exit);
    kw_free(m->by_entry);
    kw_free(m->events);
    kw_free(m->risk.s3);
    kw_free(m->tied.s3);
    kw_free(m);
}

static int open_model(const struct cause_data *d, bool firth,
                      struct model **out)
{
    struct model *m;
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
    m->x = kw_calloc(d->n * (size_t)d->p, sizeof(*m->x));
    m->w = kw_calloc(d->n, sizeof(*m->w));
    m->by_exit = ordered(d, false);
    m->by_entry = ordered(d, true);
    cubes = (size_t)(d->p * d->p * d->p);
    if (firth) {
        m->risk.s3 = kw_calloc(cubes, sizeof(double));
        m->tied.s3 = kw_calloc(cubes, sizeof(double));
    }
    if ((err = standardise(m)) < 0) {
        release(m);
        return err;
    }
    *out = m;
    return 0;
}

/* ---- residuals, for the robust variance ---- */

/* Events of the stratum at ages not above t, oldest first in [from, to). */
static size_t events_upto(const struct at_event *e, size_t n, double t)
{
    size_t low = 0, high = n;

    while (low < high) {
        size_t mid = (low + high) / 2;

        if (e[mid].time <= t)
            low = mid + 1;
        else
            high = mid;
    }
    return low;
}

/* Turns the events of a stratum to rising ages and adds up. */
static void add_up(struct at_event *e, size_t n, int p)
{
    for (size_t i = 0; i < n / 2; i++) {
        struct at_event swap = e[i];

        e[i] = e[n - 1 - i];
        e[n - 1 - i] = swap;
    }
    for (size_t i = 1; i < n; i++) {
        e[i].a += e[i - 1].a;
        for (int k = 0; k < p; k++)
            e[i].b[k] += e[i - 1].b[k];
    }
}

/* What unit i adds to the slope, and to the failures not expected. */
static double residual(const struct model *m, size_t i,
                       const struct at_event *e, size_t n, double *score)
{
    const struct cause_unit *u = &m->data->units[i];
    const double *x = m->x + i * (size_t)m->p;
    size_t to = events_upto(e, n, u->exit), from = events_upto(e, n, u->entry);
    const struct at_event *last = to > 0 ? &e[to - 1] : NULL;
    const struct at_event *before = from > 0 ? &e[from - 1] : NULL;
    double a = (last ? last->a : 0) - (before ? before->a : 0);

    if (u->failed)
        a -= last->c;
    for (int k = 0; score != NULL && k < m->p; k++) {
        double b = (last ? last->b[k] : 0) - (before ? before->b[k] : 0);

        if (u->failed)
            b -= last->d[k];
        score[k] = m->w[i] * (b - x[k] * a);
        if (u->failed)
            score[k] += x[k] - last->mean[k];
    }
    return (u->failed ? 1 : 0) - m->w[i] * a;
}

/*
 * At the model's present beta: residuals of all units (NULL), and scores
 * summed by cluster (NULL), clusters x p.
 */
static void residuals(struct model *m, const double *beta, double *each,
                      double *by_cluster)
{
    const struct cause_data *d = m->data;
    size_t at = 0;

    m->events = kw_calloc(d->n, sizeof(*m->events));
    evaluate(m, beta);
    for (size_t from = 0, to = 0; from < d->n; from = to) {
        int s = d->units[m->by_exit[from]].stratum;
        double before = INFINITY;
        size_t n = at;

        for (; to < d->n && d->units[m->by_exit[to]].stratum == s; to++) {
            const struct cause_unit *u = &d->units[m->by_exit[to]];

            n += u->failed && u->exit < before;
            before = u->failed ? u->exit : before;
        }
        add_up(m->events + at, n - at, m->p);
        for (size_t j = from; j < to; j++) {
            size_t i = m->by_exit[j];
            double score[P_MOST], r;

            r = residual(m, i, m->events + at, n - at, score);
            if (each != NULL)
                each[i] = r;
            for (int k = 0; by_cluster != NULL && k < m->p; k++)
                by_cluster[d->units[i].cluster * m->p + k] += score[k];
        }
        at = n;
    }
}

static void robust(struct model *m, const double *beta, const double *inverse,
                   struct cause_fit *out)
{
    const struct cause_data *d = m->data;
    int p = m->p;
    double *by = kw_calloc(d->n * (size_t)p, sizeof(*by));
    bool *there = kw_calloc(d->n, sizeof(*there));

    residuals(m, beta, NULL, by);
    for (size_t i = 0; i < d->n; i++) {
        out->clusters += !there[d->units[i].cluster];
        there[d->units[i].cluster] = true;
    }
    for (size_t c = 0; c < d->n; c++) {
        double db[P_MOST] = {0};

        for (int i = 0; there[c] && i < p; i++)
            for (int k = 0; k < p; k++)
                db[i] += inverse[i * p + k] * by[c * (size_t)p + (size_t)k];
        for (int i = 0; there[c] && i < p; i++)
            for (int k = 0; k < p; k++)
                out->robust[i * p + k] += db[i] * db[k];
    }
    kw_free(by);
    kw_free(there);
}

/* ---- what is given out ---- */

static double quadratic(const double *inverse, int p, const double *v)
{
    double sum = 0;

    for (int i = 0; i < p; i++)
        for (int k = 0; k < p; k++)
            sum += v[i] * inverse[i * p + k] * v[k];
    return sum;
}

static double log_scales(const struct model *m)
{
    double sum = 0;

    for (int i = 0; m->firth && i < m->p; i++)
        sum += log(m->scale[i]); /* half of ln |I| in the caller's units */
    return sum;
}

int cause_fit(const struct cause_data *data, bool firth, struct cause_fit *out)
{
    double beta[P_MOST] = {0}, inverse[P_MOST * P_MOST];
    struct model *m;
    int err = open_model(data, firth, &m), p = data->p;

    *out = (struct cause_fit){.p = p, .firth = firth};
    if (err < 0)
        return err;
    for (size_t i = 0; i < data->n; i++)
        out->events += data->units[i].failed;
    if (out->events > 0 && evaluate(m, beta) && invert(m->info, p, inverse)) {
        out->loglik_null = m->loglik + log_scales(m);
        out->score = quadratic(inverse, p, m->u);
        out->converged = climb(m, -1, beta);
        out->loglik = m->loglik + log_scales(m);
    }
    if (out->converged && invert(m->info, p, inverse)) {
        double info[P_MOST * P_MOST];

        memcpy(info, m->info, sizeof(info));
        robust(m, beta, inverse, out);
        out->wald = quadratic(info, p, beta);
        for (int i = 0; i < p; i++) {
            out->beta[i] = beta[i] / m->scale[i];
            for (int k = 0; k < p; k++) {
                double by = m->scale[i] * m->scale[k];

                out->var[i * p + k] = inverse[i * p + k] / by;
                out->robust[i * p + k] /= by;
            }
        }
    }
    release(m);
    return 0;
}

/* How far the likelihood has fallen at a value, over what is allowed. */
static double fallen(struct model *m, double *beta, int j, double at,
                     double floor)
{
    beta[j] = at;
    if (!climb(m, j, beta))
        return NAN;
    return floor - m->loglik;
}

/* The end on one side, by steps outward and then halving. */
static double profile_end(struct model *m, const double *best, int j,
                          double step, double floor)
{
    double beta[P_MOST], near = best[j], far = near + step, f;
    int n = 0;

    memcpy(beta, best, sizeof(beta));
    while (!((f = fallen(m, beta, j, far, floor)) > 0)) {
        if (isnan(f) || ++n > 40)
            return step > 0 ? INFINITY : -INFINITY;
        near = far;
        far += step * (1 << (n < 6 ? n : 6));
    }
    for (n = 0; n < 60 && fabs(far - near) > 1e-9 * (1 + fabs(far)); n++) {
        double mid = (near + far) / 2;

        if (fallen(m, beta, j, mid, floor) > 0)
            far = mid;
        else
            near = mid;
    }
    return (near + far) / 2;
}

void cause_profile(const struct cause_data *data, const struct cause_fit *fit,
                   int j, double level, double *low, double *high)
{
    double z = exact_normal_quantile(level), best[P_MOST] = {0}, floor, step;
    struct model *m;

    *low = -INFINITY;
    *high = INFINITY;
    if (!fit->converged || open_model(data, fit->firth, &m) < 0)
        return;
    for (int i = 0; i < m->p; i++)
        best[i] = fit->beta[i] * m->scale[i];
    if (evaluate(m, best)) {
        floor = m->loglik - z * z / 2;
        step = z * m->scale[j] * sqrt(fit->var[j * m->p + j]);
        *low = profile_end(m, best, j, -step, floor) / m->scale[j];
        *high = profile_end(m, best, j, step, floor) / m->scale[j];
    }
    release(m);
}

size_t cause_baseline(const struct cause_data *data, const double *beta,
                      int stratum, struct cause_step *steps)
{
    double scaled[P_MOST], shift = 0;
    struct model *m;
    size_t n = 0, before = 0;

    if (open_model(data, false, &m) < 0)
        return 0;
    for (int i = 0; i < m->p; i++) {
        scaled[i] = beta[i] * m->scale[i];
        shift += beta[i] * m->centre[i];
    }
    m->events = kw_calloc(data->n, sizeof(*m->events));
    evaluate(m, scaled);
    /* strata come one after the other, each from the highest age down */
    for (size_t i = 0; i < data->n; i++) {
        const struct cause_unit *u = &data->units[m->by_exit[i]];
        bool first =
            i == 0 || data->units[m->by_exit[i - 1]].stratum != u->stratum;

        if (u->stratum < stratum && u->failed &&
            (first || before == 0 || m->events[before - 1].time != u->exit))
            before++;
    }
    while (
        before + n < m->n_events &&
        (n == 0 || m->events[before + n].time < m->events[before + n - 1].time))
        n++;
    add_up(m->events + before, n, m->p);
    for (size_t i = 0; i < n; i++)
        steps[i] = (struct cause_step){m->events[before + i].time,
                                       m->events[before + i].a * exp(-shift)};
    release(m);
    return n;
}

void cause_martingale(const struct cause_data *data, const double *beta,
                      double *each)
{
    double scaled[P_MOST];
    struct model *m;

    if (open_model(data, false, &m) < 0)
        return;
    for (int i = 0; i < m->p; i++)
        scaled[i] = beta[i] * m->scale[i];
    residuals(m, scaled, each, NULL);
    release(m);
}

double cause_wald(const struct cause_fit *fit, const double *var, int from,
                  int to)
{
    double part[P_MOST * P_MOST], inverse[P_MOST * P_MOST];
    int n = to - from;

    for (int i = 0; i < n; i++)
        for (int k = 0; k < n; k++)
            part[i * n + k] = var[(from + i) * fit->p + from + k];
    if (!invert(part, n, inverse))
        return NAN;
    return quadratic(inverse, n, fit->beta + from);
}
