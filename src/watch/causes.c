/* causes.c - see causes.h. */
#include "watch/causes.h"

#include "watch/cause_model.h"
#include "watch/cluster.h"
#include "watch/exact.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MATHLIB_STANDALONE 1
#include <Rmath.h>

#define FAILURES_LEAST 5
#define LEVEL_NUMBER_MOST                                                      \
    1000           /* more are no levels but names of single pots              \
                    */
#define FAR_LOG 10 /* |ln ratio| of a standardised covariate */

struct coding { /* a variable as columns */
    int variable;
    int n; /* columns: levels beside the reference, or 1 */
    int reference;
    int levels[CAUSES_LEVELS_MOST], batches[CAUSES_LEVELS_MOST];
    bool others_in; /* levels of few batches are a column of their own */
};

struct table { /* the units of which all variables are known */
    struct cause_unit *units;
    double *x;
    size_t n;
    int p;
    int batches;
    int64_t failures;
};

/* Of unit i; what is not of the pot is that of its batch. */
static double value_of(const struct causes_study *s, size_t i, int variable)
{
    if (s->variables[variable].of_pot)
        return s->own != NULL ? s->own[i] : NAN;
    return s->values[(size_t)s->units[i].cluster * (size_t)s->n_variables +
                     (size_t)variable];
}

/* ---- which levels ---- */

/* The batches in which it is known, and from what to what. */
static int known_at(const struct causes_study *s, int variable, double *low,
                    double *high)
{
    bool *seen = kw_calloc(s->n_batches + 1, sizeof(*seen));
    int n = 0;

    *low = INFINITY;
    *high = -INFINITY;
    for (size_t i = 0; i < s->n; i++) {
        double v = value_of(s, i, variable);
        int b = s->units[i].cluster;

        if (isnan(v))
            continue;
        n += !seen[b];
        seen[b] = true;
        *low = fmin(*low, v);
        *high = fmax(*high, v);
    }
    kw_free(seen);
    return n;
}

/* How many batches have pots at each level up to the highest. */
static int *count_levels(const struct causes_study *s, int variable,
                         int highest)
{
    size_t levels = (size_t)highest + 1;
    int *counts = kw_calloc(levels, sizeof(*counts));
    bool *seen = kw_calloc(levels * (s->n_batches + 1), sizeof(*seen));

    for (size_t i = 0; i < s->n; i++) {
        double v = value_of(s, i, variable);
        size_t at;

        if (isnan(v))
            continue;
        at = (size_t)s->units[i].cluster * levels + (size_t)v;
        counts[(size_t)v] += !seen[at];
        seen[at] = true;
    }
    kw_free(seen);
    return counts;
}

/* The levels of a factor: the commonest is the reference. */
static void code_levels(const struct causes_study *s, int highest,
                        struct coding *c)
{
    int *counts = count_levels(s, c->variable, highest), few = 0;

    for (int l = 0; l <= highest; l++)
        if (counts[l] > counts[c->reference])
            c->reference = l;
    for (int l = 0; l <= highest; l++) {
        int n = counts[l];

        if (l == c->reference || n == 0)
            continue;
        if (n >= CAUSES_LEVEL_BATCHES && c->n + 1 < CAUSES_LEVELS_MOST) {
            c->levels[c->n] = l;
            c->batches[c->n++] = n;
        } else {
            few += n;
        }
    }
    c->others_in = few >= CAUSES_LEVEL_BATCHES;
    if (c->others_in) {
        c->levels[c->n] = CAUSES_OTHERS;
        c->batches[c->n++] = few;
    }
    kw_free(counts);
}

static enum causes_why code(const struct causes_study *s, struct coding *c)
{
    double low, high;
    int known = known_at(s, c->variable, &low, &high);

    if (known < CAUSES_BATCHES_LEAST)
        return CAUSES_FEW_BATCHES;
    if (!(low < high))
        return CAUSES_ALL_ALIKE;
    if (s->variables[c->variable].factor && high >= LEVEL_NUMBER_MOST)
        return CAUSES_RAN_OFF;
    if (!s->variables[c->variable].factor) {
        c->n = 1;
        c->batches[0] = known;
    } else {
        code_levels(s, (int)high, c);
    }
    return c->n > 0 ? CAUSES_TOLD : CAUSES_ALL_ALIKE;
}

/* The columns of a unit; false: it is not known, or of too rare a level. */
static bool columns_of(const struct causes_study *s, const struct coding *c,
                       size_t unit, double *x)
{
    double v = value_of(s, unit, c->variable);
    bool found;

    if (isnan(v))
        return false;
    if (!s->variables[c->variable].factor) {
        x[0] = v / s->variables[c->variable].per;
        return true;
    }
    found = (int)v == c->reference;
    for (int k = 0; k < c->n; k++) {
        x[k] = c->levels[k] == (int)v;
        found |= c->levels[k] == (int)v;
    }
    if (!found && c->others_in)
        x[c->n - 1] = 1;
    return found || c->others_in;
}

/* ---- a model of some variables ---- */

struct study { /* order: of the units as a model takes them */
    const struct causes_study *s;
    size_t *order;
};

static void make_table(const struct study *study, const struct coding *c,
                       int n_codings, struct table *t)
{
    const struct causes_study *s = study->s;
    bool *seen = kw_calloc(s->n_batches + 1, sizeof(*seen));

    *t = (struct table){.n = 0};
    for (int i = 0; i < n_codings; i++)
        t->p += c[i].n;
    t->units = kw_calloc(s->n + 1, sizeof(*t->units));
    t->x = kw_calloc((s->n + 1) * (size_t)t->p, sizeof(*t->x));
    for (size_t j = 0; j < s->n; j++) {
        size_t i = study->order[j];
        double *x = t->x + t->n * (size_t)t->p;
        bool known = true;

        for (int k = 0; known && k < n_codings; k++) {
            known = columns_of(s, &c[k], i, x);
            x += c[k].n;
        }
        if (!known)
            continue;
        t->units[t->n] = s->units[i];
        t->failures += s->units[i].failed;
        t->batches += !seen[s->units[i].cluster];
        seen[s->units[i].cluster] = true;
        t->n++;
    }
    kw_free(seen);
}

/* Clusters count from 0 below the number of units: renumbered. */
static void number_batches(struct table *t, size_t n_batches)
{
    int *number = kw_calloc(n_batches + 1, sizeof(*number)), n = 0;

    for (size_t i = 0; i < t->n; i++) {
        int b = t->units[i].cluster;

        if (number[b] == 0)
            number[b] = ++n;
        t->units[i].cluster = number[b] - 1;
    }
    kw_free(number);
}

static void free_table(struct table *t)
{
    kw_free(t->units);
    kw_free(t->x);
}

/* Plain where failures carry it, else with the penalty. */
static int fit(const struct table *t, struct cause_data *d, struct cause_fit *f)
{
    int err;

    *d = (struct cause_data){t->units, t->x, t->n, t->p};
    if (t->failures >= (int64_t)CAUSES_EVENTS_EACH * t->p) {
        bool far = false;

        if ((err = cause_fit(d, false, f)) < 0)
            return err;
        for (int k = 0; k < t->p; k++)
            far |= fabs(f->beta[k]) > FAR_LOG;
        if (f->converged && !far)
            return 0;
    }
    return cause_fit(d, true, f);
}

/* Batches are few: Wald's statistic against F, and G/(G - 1). */
static double robust_p(const struct cause_fit *f, int from, int to)
{
    double g = f->clusters;
    double w = cause_wald(f, f->robust, from, to) * (g - 1) / g;

    return isfinite(w) ? pf(w / (to - from), to - from, g - 1, 0, 0) : NAN;
}

/* The penalised likelihood ratio; no smaller than the robust one says. */
static double firth_p(const struct cause_fit *f, int from, int to)
{
    double robust = robust_p(f, from, to), lr;

    if (from != 0 || to != f->p)
        lr = exact_chisq_upper(cause_wald(f, f->var, from, to), to - from,
                               false);
    else
        lr = exact_chisq_upper(fmax(0, 2 * (f->loglik - f->loglik_null)), f->p,
                               false);
    return robust > lr ? robust : lr;
}

static void put_levels(const struct causes_study *s, const struct coding *c,
                       const struct cause_data *d, const struct cause_fit *f,
                       int from, struct causes_finding *out)
{
    double g = f->clusters;
    double t = qt((1 + s->level) / 2, g - 1, 1, 0);

    out->reference = c->reference;
    out->n_levels = c->n;
    for (int k = 0; k < c->n; k++) {
        int at = from + k;
        double b = f->beta[at], low, high;
        double se = sqrt(f->robust[at * f->p + at] * g / (g - 1));

        low = b - t * se;
        high = b + t * se;
        if (f->firth) { /* the wider of both, on each side */
            double profile_low, profile_high;

            cause_profile(d, f, at, s->level, &profile_low, &profile_high);
            low = fmin(low, profile_low);
            high = fmax(high, profile_high);
        }
        out->levels[k] = (struct causes_level){c->levels[k], c->batches[k],
                                               exp(b), exp(low), exp(high)};
    }
}

static enum causes_why judge(const struct study *study, const struct coding *c,
                             int n_codings, struct causes_finding *const *out)
{
    struct table t;
    struct cause_data d;
    struct cause_fit f;
    enum causes_why why = CAUSES_TOLD;

    make_table(study, c, n_codings, &t);
    number_batches(&t, study->s->n_batches);
    if (t.batches < CAUSES_BATCHES_LEAST)
        why = CAUSES_FEW_BATCHES;
    else if (t.failures < FAILURES_LEAST)
        why = CAUSES_FEW_FAILURES;
    else if (fit(&t, &d, &f) < 0 || !f.converged)
        why = CAUSES_RAN_OFF;
    for (int i = 0, from = 0; i < n_codings; from += c[i++].n) {
        struct causes_finding *o = out[i];

        *o = (struct causes_finding){.why = why,
                                     .batches = t.batches,
                                     .pots = (int64_t)t.n,
                                     .failures = t.failures,
                                     .p = NAN,
                                     .q = NAN};
        if (why != CAUSES_TOLD)
            continue;
        o->firth = f.firth;
        put_levels(study->s, &c[i], &d, &f, from, o);
        o->p = f.firth ? firth_p(&f, from, from + c[i].n)
                       : robust_p(&f, from, from + c[i].n);
    }
    free_table(&t);
    return why;
}

/* ---- the procedure ---- */

static void adjust(struct causes_report *r, int n)
{
    double p[CAUSES_VARIABLES_MOST], q[CAUSES_VARIABLES_MOST];
    size_t m = 0;

    for (int v = 0; v < n; v++)
        if (r->alone[v].why == CAUSES_TOLD && isfinite(r->alone[v].p))
            p[m++] = r->alone[v].p;
    cluster_bh(p, m, q);
    m = 0;
    for (int v = 0; v < n; v++)
        if (r->alone[v].why == CAUSES_TOLD && isfinite(r->alone[v].p))
            r->alone[v].q = q[m++];
}

/* The one of smallest p that is not in yet, or -1. */
static int next_best(const struct causes_study *s,
                     const struct causes_report *r, const bool *in)
{
    int best = -1;

    for (int v = 0; v < s->n_variables; v++) {
        if (!in[v] && r->alone[v].why == CAUSES_TOLD &&
            r->alone[v].q <= s->fdr &&
            (best < 0 || r->alone[v].p < r->alone[best].p))
            best = v;
    }
    return best;
}

static void fit_together(const struct study *study,
                         const struct coding *codings, struct causes_report *r)
{
    const struct causes_study *s = study->s;
    struct coding chosen[CAUSES_VARIABLES_MOST];
    struct causes_finding *out[CAUSES_VARIABLES_MOST];
    bool in[CAUSES_VARIABLES_MOST] = {false};
    int n = 0, columns = 0, v;

    while ((v = next_best(s, r, in)) >= 0) {
        in[v] = true;
        if ((columns + codings[v].n) * (int64_t)CAUSES_EVENTS_EACH >
                r->failures ||
            columns + codings[v].n > CAUSE_COVARIATES_MOST)
            continue;
        columns += codings[v].n;
        chosen[n] = codings[v];
        out[n++] = &r->joint[v];
    }
    if (n < 2)
        return; /* one alone was told already */
    if (judge(study, chosen, n, out) == CAUSES_TOLD) {
        r->n_joint = n;
        r->joint_batches = out[0]->batches;
        r->joint_firth = out[0]->firth;
    }
}

int causes_study(const struct causes_study *s, struct causes_report *out)
{
    struct coding codings[CAUSES_VARIABLES_MOST];
    struct study study = {.s = s};
    bool *seen; /* batches */

    *out = (struct causes_report){.pots = (int64_t)s->n};
    if (s->n_variables < 0 || s->n_variables > CAUSES_VARIABLES_MOST)
        return KW_ERANGE;
    for (size_t i = 0; i < s->n; i++) {
        if (s->units[i].cluster < 0 ||
            (size_t)s->units[i].cluster >= s->n_batches)
            return KW_ERANGE;
        out->failures += s->units[i].failed;
    }
    seen = kw_calloc(s->n_batches + 1, sizeof(*seen));
    for (size_t i = 0; i < s->n; i++) {
        out->n_batches += !seen[s->units[i].cluster];
        seen[s->units[i].cluster] = true;
    }
    kw_free(seen);
    study.order = cause_order(s->units, s->n);
    for (int v = 0; v < s->n_variables; v++) {
        struct causes_finding *one = &out->alone[v];
        double low, high;

        codings[v] = (struct coding){.variable = v};
        *one = (struct causes_finding){.p = NAN, .q = NAN};
        out->joint[v].why = CAUSES_FEW_FAILURES;
        one->why = code(s, &codings[v]);
        if (one->why == CAUSES_TOLD)
            judge(&study, &codings[v], 1, &one);
        else
            one->batches = known_at(s, v, &low, &high);
    }
    adjust(out, s->n_variables);
    fit_together(&study, codings, out);
    kw_free(study.order);
    return 0;
}
