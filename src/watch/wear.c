/* wear.c - see wear.h. */
#include "watch/wear.h"

#include "watch/exact.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- the estimators, fed with one age at a time ---- */

struct estimate {
    double survival, greenwood, hazard, hazard_var, z;
    bool gone; /* the survival has reached 0 */
};

static struct estimate begin(double level)
{
    return (struct estimate){.survival = 1, .z = exact_normal_quantile(level)};
}

/* exp(-exp(ln(-ln S) -+ z se/|ln S|)): stays between 0 and 1. */
static void interval(const struct estimate *e, struct wear_row *row)
{
    double ln_s = log(e->survival), by, up;

    row->low = row->high = row->survival;
    if (!(e->survival > 0 && e->survival < 1))
        return;
    by = e->z * row->log_se / fabs(ln_s);
    up = exp(by);
    row->low = exp(ln_s * up);
    row->high = exp(ln_s / up);
}

static void advance(struct estimate *e, double time, int64_t at_risk,
                    int64_t failed, struct wear_row *row)
{
    double n = (double)at_risk, d = (double)failed;

    if (at_risk > 0 && failed > 0) {
        e->survival *= (n - d) / n;
        e->gone = e->gone || failed == at_risk;
        e->greenwood += failed < at_risk ? d / (n * (n - d)) : 0;
        e->hazard += d / n;
        e->hazard_var += d / (n * n);
    }
    *row = (struct wear_row){.time = time,
                             .at_risk = at_risk,
                             .failed = failed,
                             .survival = e->gone ? 0 : e->survival,
                             .log_se = e->gone ? INFINITY : sqrt(e->greenwood),
                             .hazard = e->hazard,
                             .hazard_se = sqrt(e->hazard_var)};
    interval(e, row);
}

/* ---- units in order of time ---- */

struct mark { /* a pot comes under watch, or leaves */
    double time;
    int stratum, group;
    bool failed;
};

static int by_time(const void *a, const void *b)
{
    const struct mark *x = a, *y = b;

    if (x->stratum != y->stratum)
        return x->stratum < y->stratum ? -1 : 1;
    return (x->time > y->time) - (x->time < y->time);
}

static struct mark *marks_of(const struct wear_unit *units, size_t n,
                             bool exits, bool strata)
{
    struct mark *m = kw_calloc(n + 1, sizeof(*m));

    for (size_t i = 0; i < n; i++)
        m[i] = (struct mark){.time = exits ? units[i].exit : units[i].entry,
                             .stratum = strata ? units[i].stratum : 0,
                             .group = units[i].group,
                             .failed = units[i].failed};
    qsort(m, n, sizeof(*m), by_time);
    return m;
}

size_t wear_curve(const struct wear_unit *units, size_t n, double level,
                  struct wear_row *rows)
{
    struct mark *in = marks_of(units, n, false, false);
    struct mark *out = marks_of(units, n, true, false);
    struct estimate e = begin(level);
    size_t entered = 0, left = 0, n_rows = 0;

    while (left < n) {
        double time = out[left].time;
        size_t first = left;
        int64_t failed = 0, at_risk;

        while (entered < n && in[entered].time < time)
            entered++;
        at_risk = (int64_t)(entered - left);
        for (; left < n && out[left].time == time; left++)
            failed += out[left].failed;
        if (left > first)
            advance(&e, time, at_risk, failed, &rows[n_rows++]);
    }
    kw_free(in);
    kw_free(out);
    return n_rows;
}

/* ---- whole days ---- */

void wear_days_init(struct wear_days *w, int days)
{
    w->days = days < 1 ? 1 : days > WEAR_DAYS_MOST ? WEAR_DAYS_MOST : days;
    w->at = kw_calloc((size_t)w->days + 1, sizeof(*w->at));
}

void wear_days_release(struct wear_days *w)
{
    kw_free(w->at);
    *w = (struct wear_days){0};
}

void wear_days_add(struct wear_days *w, int entry, int exit, bool failed)
{
    if (exit > w->days) { /* still there at the last day of the table */
        exit = w->days;
        failed = false;
    }
    if (entry < 0 || entry >= exit)
        return;
    w->at[entry].entered++;
    w->at[exit].left++;
    w->at[exit].failed += failed;
}

#define STRATA 65536 /* what a stay can name */
#define BLOCK  (1u << 21)

/* A block's stays, stratum by stratum; at[s]: where those of s begin. */
static void gather(const struct wear_stay *stays, size_t n, uint32_t *at,
                   uint32_t *by_stratum, size_t strata)
{
    memset(at, 0, (strata + 1) * sizeof(*at));
    for (size_t i = 0; i < n; i++)
        at[stays[i].stratum + 1]++;
    for (size_t s = 1; s <= strata; s++)
        at[s] += at[s - 1];
    for (size_t i = 0; i < n; i++) {
        const struct wear_stay *s = &stays[i];
        bool over = s->exit >= WEAR_STAY_MOST;
        uint32_t exit = over ? WEAR_STAY_MOST : s->exit;

        by_stratum[at[s->stratum]++] =
            (uint32_t)s->entry << 16 | exit << 1 | (s->failed && !over);
    }
}

void wear_days_add_all(struct wear_days *tables, const struct wear_stay *stays,
                       size_t n)
{
    uint32_t *at = kw_calloc(STRATA + 1, sizeof(*at));
    uint32_t *by_stratum =
        kw_calloc(n < BLOCK ? n + 1 : BLOCK, sizeof(*by_stratum));
    size_t strata = 0;

    for (size_t i = 0; i < n; i++)
        strata = stays[i].stratum >= strata ? stays[i].stratum + 1u : strata;
    for (size_t from = 0; from < n; from += BLOCK) {
        size_t many = n - from < BLOCK ? n - from : BLOCK, i = 0;

        gather(stays + from, many, at, by_stratum, strata);
        for (size_t s = 0; s < strata; s++)
            for (; i < at[s]; i++)
                wear_days_add(&tables[s], (int)(by_stratum[i] >> 16),
                              (int)(by_stratum[i] >> 1 & WEAR_STAY_MOST),
                              by_stratum[i] & 1);
    }
    kw_free(at);
    kw_free(by_stratum);
}

size_t wear_days_curve(const struct wear_days *w, double level,
                       struct wear_row *rows)
{
    struct estimate e = begin(level);
    int64_t at_risk = 0;
    size_t n = 0;

    for (int day = 1; day <= w->days; day++) {
        const struct wear_day *d = &w->at[day];

        at_risk += w->at[day - 1].entered;
        if (d->left > 0)
            advance(&e, day, at_risk, d->failed, &rows[n++]);
        at_risk -= d->left;
    }
    return n;
}

/* ---- log-rank ---- */

struct risk { /* at one age of one stratum, by group */
    int64_t at_risk[WEAR_GROUPS_MOST], failed[WEAR_GROUPS_MOST];
    int64_t all_at_risk, all_failed;
};

/* Adds observed, expected and the hypergeometric covariance of this age. */
static void add_age(struct wear_logrank *r, const struct risk *at)
{
    double n = (double)at->all_at_risk, d = (double)at->all_failed;
    double scale = n > 1 ? d * (n - d) / (n - 1) : 0;

    for (int i = 0; i < r->groups; i++) {
        double share = (double)at->at_risk[i] / n;

        if (at->at_risk[i] == 0)
            continue;
        r->observed[i] += (double)at->failed[i];
        r->expected[i] += d * share;
        for (int j = 0; j < r->groups; j++)
            r->variance[i * r->groups + j] +=
                scale * share * ((i == j ? 1 : 0) - (double)at->at_risk[j] / n);
    }
}

static void sweep_stratum(struct wear_logrank *r, const struct mark *in,
                          const struct mark *out, size_t n)
{
    static const struct risk none = {.all_at_risk = 0};
    struct risk at = none;
    size_t entered = 0, left = 0;

    while (left < n) {
        double time = out[left].time;
        size_t from = left;

        for (; entered < n && in[entered].time < time; entered++) {
            at.at_risk[in[entered].group]++;
            at.all_at_risk++;
        }
        memset(at.failed, 0, sizeof(at.failed));
        at.all_failed = 0;
        for (; left < n && out[left].time == time; left++) {
            at.failed[out[left].group] += out[left].failed;
            at.all_failed += out[left].failed;
        }
        if (at.all_failed > 0)
            add_age(r, &at);
        for (size_t i = from; i < left; i++) {
            at.at_risk[out[i].group]--;
            at.all_at_risk--;
        }
    }
}

/* In place; false when the matrix is not positive definite. */
static bool cholesky(double *a, int n)
{
    for (int j = 0; j < n; j++) {
        for (int i = j; i < n; i++) {
            double sum = a[i * n + j];

            for (int k = 0; k < j; k++)
                sum -= a[i * n + k] * a[j * n + k];
            if (i == j && !(sum > 0))
                return false;
            a[i * n + j] = i == j ? sqrt(sum) : sum / a[j * n + j];
        }
    }
    return true;
}

/* x' A^-1 x by the Cholesky factor: the square of the forward solution. */
static double form(const double *factor, double *x, int n)
{
    double sum = 0;

    for (int i = 0; i < n; i++) {
        for (int k = 0; k < i; k++)
            x[i] -= factor[i * n + k] * x[k];
        x[i] /= factor[i * n + i];
        sum += x[i] * x[i];
    }
    return sum;
}

/* Groups never at risk fall away; one more is determined by the rest. */
static void test(struct wear_logrank *r)
{
    int kept[WEAR_GROUPS_MOST], n = 0;
    double x[WEAR_GROUPS_MOST], *a;

    for (int i = 0; i < r->groups; i++)
        if (r->expected[i] > 0)
            kept[n++] = i;
    n = n > 0 ? n - 1 : 0;
    r->df = n;
    r->chisq = 0;
    r->p = 1;
    r->log_p = 0;
    a = kw_calloc((size_t)(n * n) + 1, sizeof(*a));
    for (int i = 0; i < n; i++) {
        x[i] = r->observed[kept[i]] - r->expected[kept[i]];
        for (int j = 0; j < n; j++)
            a[i * n + j] = r->variance[kept[i] * r->groups + kept[j]];
    }
    if (n > 0 && cholesky(a, n)) {
        r->chisq = form(a, x, n);
        r->p = exact_chisq_upper(r->chisq, n, false);
        r->log_p = exact_chisq_upper(r->chisq, n, true);
    } else if (n > 0) {
        r->chisq = r->p = r->log_p = NAN; /* no two groups at one age */
    }
    kw_free(a);
}

int wear_logrank(const struct wear_unit *units, size_t n,
                 struct wear_logrank *out)
{
    struct mark *in, *left;

    *out = (struct wear_logrank){.groups = 0};
    for (size_t i = 0; i < n; i++) {
        if (units[i].group < 0 || units[i].group >= WEAR_GROUPS_MOST)
            return KW_ERANGE;
        if (units[i].group >= out->groups)
            out->groups = units[i].group + 1;
    }
    out->variance = kw_calloc((size_t)(out->groups * out->groups) + 1,
                              sizeof(*out->variance));
    in = marks_of(units, n, false, true);
    left = marks_of(units, n, true, true);
    for (size_t from = 0, to = 0; from < n; from = to) {
        while (to < n && left[to].stratum == left[from].stratum)
            to++;
        sweep_stratum(out, in + from, left + from, to - from);
    }
    test(out);
    kw_free(in);
    kw_free(left);
    return 0;
}

void wear_logrank_release(struct wear_logrank *r)
{
    kw_free(r->variance);
    r->variance = NULL;
}

/* ---- rates by age ---- */

static double within(double from, double to, double low, double high)
{
    double span = fmin(to, high) - fmax(from, low);

    return span > 0 ? span : 0;
}

static double upper_edge(const double *edges, size_t bins, size_t k)
{
    return k + 1 < bins ? edges[k + 1] : INFINITY;
}

void wear_rates(const struct wear_unit *units, size_t n, const double *edges,
                size_t bins, const struct wear_prior *prior,
                struct wear_rate *out)
{
    for (size_t k = 0; k < bins; k++) {
        double high = upper_edge(edges, bins, k), events;
        struct wear_rate r = {.failed = 0};

        for (size_t i = 0; i < n; i++) {
            const struct wear_unit *u = &units[i];

            r.exposure += within(u->entry, u->exit, edges[k], high);
            r.failed += u->failed && u->exit > edges[k] && u->exit <= high;
        }
        events = prior->events + (double)r.failed;
        r.raw = r.exposure > 0 ? (double)r.failed / r.exposure : NAN;
        r.rate = events / (prior->events / prior->rate + r.exposure);
        r.upper = r.rate * (1 + prior->cinf / sqrt(events));
        out[k] = r;
    }
}

double wear_cumulative(const struct wear_rate *rates, const double *edges,
                       size_t bins, double age)
{
    double sum = 0;

    for (size_t k = 0; k < bins; k++)
        sum += rates[k].rate *
               within(0, age, edges[k], upper_edge(edges, bins, k));
    return sum;
}
