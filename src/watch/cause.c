/* cause.c - see cause.h: what is told of a fitted model. */
#include "watch/cause.h"

#include "watch/cause_model.h"
#include "watch/exact.h"

#include <math.h>
#include <string.h>

#define P_MOST CAUSE_COVARIATES_MOST

/* ---- residuals, for the robust variance ---- */

/* Events of the stratum at ages not above t, oldest first in [from, to). */
static size_t events_upto(const struct cause_event *e, size_t n, double t)
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
static void add_up(struct cause_event *e, size_t n, int p)
{
    for (size_t i = 0; i < n / 2; i++) {
        struct cause_event swap = e[i];

        e[i] = e[n - 1 - i];
        e[n - 1 - i] = swap;
    }
    for (size_t i = 1; i < n; i++) {
        e[i].a += e[i - 1].a;
        for (int k = 0; k < p; k++)
            e[i].b[k] += e[i - 1].b[k];
    }
}

/* What the model's unit i adds to the slope, and to the failures not expected.
 */
static double residual(const struct cause_model *m, size_t i,
                       const struct cause_event *e, size_t n, double *score)
{
    const struct cause_unit *u = &m->units[i];
    const double *x = m->x + i * (size_t)m->p;
    size_t to = events_upto(e, n, u->exit), from = events_upto(e, n, u->entry);
    const struct cause_event *last = to > 0 ? &e[to - 1] : NULL;
    const struct cause_event *before = from > 0 ? &e[from - 1] : NULL;
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
static void residuals(struct cause_model *m, const double *beta, double *each,
                      double *by_cluster)
{
    const struct cause_data *d = m->data;
    size_t at = 0;

    m->events = kw_calloc(d->n, sizeof(*m->events));
    cause_evaluate(m, beta);
    for (size_t from = 0, to = 0; from < d->n; from = to) {
        int s = m->units[from].stratum;
        double before = INFINITY;
        size_t n = at;

        for (; to < d->n && m->units[to].stratum == s; to++) {
            const struct cause_unit *u = &m->units[to];

            n += u->failed && u->exit < before;
            before = u->failed ? u->exit : before;
        }
        add_up(m->events + at, n - at, m->p);
        for (size_t i = from; i < to; i++) {
            double score[P_MOST], r;

            r = residual(m, i, m->events + at, n - at, score);
            if (each != NULL)
                each[m->by_exit[i]] = r;
            for (int k = 0; by_cluster != NULL && k < m->p; k++)
                by_cluster[m->units[i].cluster * m->p + k] += score[k];
        }
        at = n;
    }
}

static void robust(struct cause_model *m, const double *beta,
                   const double *inverse, struct cause_fit *out)
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

static double log_scales(const struct cause_model *m)
{
    double sum = 0;

    for (int i = 0; m->firth && i < m->p; i++)
        sum += log(m->scale[i]); /* half of ln |I| in the caller's units */
    return sum;
}

int cause_fit(const struct cause_data *data, bool firth, struct cause_fit *out)
{
    double beta[P_MOST] = {0}, inverse[P_MOST * P_MOST];
    struct cause_model *m;
    int err = cause_open(data, firth, &m), p = data->p;

    *out = (struct cause_fit){.p = p, .firth = firth};
    if (err < 0)
        return err;
    for (size_t i = 0; i < data->n; i++)
        out->events += data->units[i].failed;
    if (out->events > 0 && cause_evaluate(m, beta) &&
        cause_invert(m->info, p, inverse)) {
        out->loglik_null = m->loglik + log_scales(m);
        out->score = quadratic(inverse, p, m->u);
        out->converged = cause_climb(m, -1, beta);
        out->loglik = m->loglik + log_scales(m);
    }
    if (out->converged && cause_invert(m->info, p, inverse)) {
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
    cause_release(m);
    return 0;
}

/* How far the likelihood has fallen at a value, over what is allowed. */
static double fallen(struct cause_model *m, double *beta, int j, double at,
                     double floor)
{
    beta[j] = at;
    if (!cause_climb(m, j, beta))
        return NAN;
    return floor - m->loglik;
}

/* The end on one side, by steps outward and then halving. */
static double profile_end(struct cause_model *m, const double *best, int j,
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
    struct cause_model *m;

    *low = -INFINITY;
    *high = INFINITY;
    if (!fit->converged || cause_open(data, fit->firth, &m) < 0)
        return;
    for (int i = 0; i < m->p; i++)
        best[i] = fit->beta[i] * m->scale[i];
    if (cause_evaluate(m, best)) {
        floor = m->loglik - z * z / 2;
        step = z * m->scale[j] * sqrt(fit->var[j * m->p + j]);
        *low = profile_end(m, best, j, -step, floor) / m->scale[j];
        *high = profile_end(m, best, j, step, floor) / m->scale[j];
    }
    cause_release(m);
}

size_t cause_baseline(const struct cause_data *data, const double *beta,
                      int stratum, struct cause_step *steps)
{
    double scaled[P_MOST], shift = 0;
    struct cause_model *m;
    size_t n = 0, before = 0;

    if (cause_open(data, false, &m) < 0)
        return 0;
    for (int i = 0; i < m->p; i++) {
        scaled[i] = beta[i] * m->scale[i];
        shift += beta[i] * m->centre[i];
    }
    m->events = kw_calloc(data->n, sizeof(*m->events));
    cause_evaluate(m, scaled);
    /* strata come one after the other, each from the highest age down */
    for (size_t i = 0; i < data->n; i++) {
        const struct cause_unit *u = &m->units[i];
        bool first = i == 0 || m->units[i - 1].stratum != u->stratum;

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
    cause_release(m);
    return n;
}

void cause_martingale(const struct cause_data *data, const double *beta,
                      double *each)
{
    double scaled[P_MOST];
    struct cause_model *m;

    if (cause_open(data, false, &m) < 0)
        return;
    for (int i = 0; i < m->p; i++)
        scaled[i] = beta[i] * m->scale[i];
    residuals(m, scaled, each, NULL);
    cause_release(m);
}

double cause_wald(const struct cause_fit *fit, const double *var, int from,
                  int to)
{
    double part[P_MOST * P_MOST], inverse[P_MOST * P_MOST];
    int n = to - from;

    for (int i = 0; i < n; i++)
        for (int k = 0; k < n; k++)
            part[i * n + k] = var[(from + i) * fit->p + from + k];
    if (!cause_invert(part, n, inverse))
        return NAN;
    return quadratic(inverse, n, fit->beta + from);
}
