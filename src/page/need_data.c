/* need_data.c - the forecast gathered from the ledger: see need.h. */
#include "page/need.h"

#include "ledger/batchstate.h"
#include "ledger/drift.h"
#include "watch/breakage.h"
#include "watch/detector.h"
#include "watch/drift.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct need_setting need_setting_of(const struct config *conf)
{
    return (struct need_setting){.share = conf->need_share,
                                 .lead_days = conf->need_lead_days,
                                 .kiln_pots = conf->need_kiln_pots,
                                 .press_pots = 60 * conf->need_press_hours /
                                               conf->need_press_minutes,
                                 .passed = conf->need_passed,
                                 .replaced = conf->need_slow_replaced};
}

const double need_days[NEED_TIMES] = {30, 90};

struct in_service {
    int64_t pot_key, place_id;
    struct need_unit unit;
};

struct flow_of {
    int64_t pot_key;
    double p[NEED_TIMES];
};

/* Pots of a batch in a place: their time at risk. */
struct pair {
    int64_t place_id;
    size_t next; /* of the batch, and 1; 0 none */
    struct need_sums sums;
};

struct gathering {
    struct need_page *out;
    const struct page *page;
    struct breakage_batch all;
    struct need_sums *batches, *places;
    size_t n_batches, batches_cap, n_places, places_cap;
    struct pair *pairs;
    size_t n_pairs, pairs_cap;
    size_t *first; /* by batch: its pair met last, and 1; 0 none */
    size_t n_first, first_cap;
    struct in_service *pots;
    size_t n, cap;
    struct flow_of *flows;
    size_t n_flows, flows_cap;
    bool *failing; /* by batch id */
    size_t n_failing, failing_cap;
    struct ledger_batch *named; /* for stock: code to batch, in code order */
    size_t n_named, named_cap;
    double place_weight; /* nu, estimated; 0 never */
    double *shares;      /* reported, by place; 0 not known */
    size_t n_shares, shares_cap;
};

static struct need_sums *sums_at(struct need_sums **all, size_t *n, size_t *cap,
                                 int64_t id)
{
    if ((size_t)id >= *n) {
        kw_grow(all, cap, (size_t)id + 1, sizeof(**all));
        memset(*all + *n, 0, ((size_t)id + 1 - *n) * sizeof(**all));
        *n = (size_t)id + 1;
    }
    return *all + id;
}

/* Those of a batch hang on a chain; few, and met often in a row. */
static struct need_sums *pair_at(struct gathering *g, int64_t batch_id,
                                 int64_t place_id)
{
    size_t b = (size_t)batch_id, at, before = 0;

    if (b >= g->n_first) {
        kw_grow(&g->first, &g->first_cap, b + 1, sizeof(*g->first));
        memset(g->first + g->n_first, 0, (b + 1 - g->n_first) * sizeof(at));
        g->n_first = b + 1;
    }
    for (at = g->first[b]; at != 0; before = at, at = g->pairs[at - 1].next)
        if (g->pairs[at - 1].place_id == place_id)
            break;
    if (at == 0) {
        kw_grow(&g->pairs, &g->pairs_cap, g->n_pairs + 1, sizeof(*g->pairs));
        g->pairs[g->n_pairs] = (struct pair){.place_id = place_id};
        at = ++g->n_pairs;
    } else if (before != 0) {
        g->pairs[before - 1].next = g->pairs[at - 1].next;
    }
    if (g->first[b] != at) { /* to the front */
        g->pairs[at - 1].next = g->first[b];
        g->first[b] = at;
    }
    return &g->pairs[at - 1].sums;
}

static int add_time(const struct batchstate_time *t, void *arg)
{
    struct gathering *g = arg;
    int64_t now_s = g->page->now_s, end_s = now_s;
    bool failed = t->failed_s != 0 && t->failed_s <= now_s;
    struct breakage_batch own = {.batch_id = t->batch_id};
    struct need_sums *b, *c, *both;
    double age;

    if (t->given_s > now_s)
        return 0;
    if (t->batch_id <= 0 || t->batch_id > DETECTOR_NUMBER_MOST ||
        t->place_id < 0 || t->place_id > DETECTOR_NUMBER_MOST)
        return KW_ERANGE;
    if (failed)
        end_s = t->failed_s;
    else if (t->ended_s != 0 && t->ended_s < end_s)
        end_s = t->ended_s;
    age = (double)(end_s - t->given_s) / CLOCK_DAY_S;
    breakage_expose(&own, 0, age);
    b = sums_at(&g->batches, &g->n_batches, &g->batches_cap, t->batch_id);
    c = sums_at(&g->places, &g->n_places, &g->places_cap, t->place_id);
    both = pair_at(g, t->batch_id, t->place_id);
    for (int k = 0; k < BREAKAGE_BINS; k++) {
        g->all.exposure_days[k] += own.exposure_days[k];
        both->x[k] += own.exposure_days[k];
        c->x[k] += own.exposure_days[k];
    }
    if (failed) {
        g->all.failed_at[breakage_bin(age)]++;
        b->failed++;
        c->failed++;
    }
    g->out->waiting += failed && (t->ended_s == 0 || t->ended_s > now_s);
    if (failed || end_s < now_s)
        return 0;
    kw_grow(&g->pots, &g->cap, g->n + 1, sizeof(*g->pots));
    g->pots[g->n++] = (struct in_service){
        t->pot_key,
        t->place_id,
        {.age_days = age, .batch = (int)t->batch_id, .eager = 1}};
    return 0;
}

/* ---- falling flow ---- */

/*
 * A pot that runs too slow is scrubbed before it is exchanged: what counts is
 * that it will be below after a scrub, unless one was made not long ago.
 */
static double p_slow(const struct gathering *g, const struct ledger_drift *d,
                     double days)
{
    const struct config *conf = g->page->conf;
    struct drift_setting set = drift_defaults;
    double now = (double)g->page->now_s / CLOCK_DAY_S;
    struct drift_state s = {.level = d->level,
                            .slope = d->slope,
                            .p11 = d->p11,
                            .p12 = d->p12,
                            .p22 = d->p22,
                            .at_days = d->at_days};

    set.limit_l = conf->replace_below_l;
    set.scrub_gain = conf->scrub_gain;
    set.scrub_var = conf->scrub_sd * conf->scrub_sd;
    set.level_var_day = conf->level_wander;
    set.slope_var_day = conf->slope_wander;
    if (isnan(d->scrubbed_days) || now - d->scrubbed_days > conf->scrub_days)
        drift_scrub(&s, &set, now);
    drift_propagate(&s, &set, now + days);
    return g->out->set.replaced * drift_p_below(&s, &set);
}

static int add_flow(int64_t batch_id, const struct ledger_drift *d, void *arg)
{
    struct gathering *g = arg;
    struct flow_of f = {.pot_key = d->pot_key};

    (void)batch_id;
    if (d->readings == 0)
        return 0;
    for (int w = 0; w < NEED_TIMES; w++)
        f.p[w] = p_slow(g, d, need_days[w]);
    kw_grow(&g->flows, &g->flows_cap, g->n_flows + 1, sizeof(*g->flows));
    g->flows[g->n_flows++] = f;
    return 0;
}

static int by_pot(const void *a, const void *b)
{
    const struct flow_of *x = a, *y = b;

    return (x->pot_key > y->pot_key) - (x->pot_key < y->pot_key);
}

static int gather_flows(struct gathering *g, struct ledger *lg)
{
    int64_t after = 0;
    int n;

    while ((n = ledger_drifts_each(lg, &after, 256, add_flow, g)) > 0)
        ;
    if (n == 0 && g->n_flows > 0)
        qsort(g->flows, g->n_flows, sizeof(*g->flows), by_pot);
    return n;
}

static double p_flow(const struct gathering *g, int64_t pot_key, int w)
{
    struct flow_of key = {.pot_key = pot_key};
    const struct flow_of *f =
        g->n_flows > 0
            ? bsearch(&key, g->flows, g->n_flows, sizeof(*g->flows), by_pot)
            : NULL;

    return f != NULL ? f->p[w] : 0;
}

/* ---- stock ---- */

static int add_state(const struct batchstate *s, void *arg)
{
    struct gathering *g = arg;
    size_t id = (size_t)s->batch_id;

    if (s->state != DETECTOR_FAILING || s->batch_id <= 0)
        return 0;
    if (id >= g->n_failing) {
        kw_grow(&g->failing, &g->failing_cap, id + 1, sizeof(*g->failing));
        memset(g->failing + g->n_failing, 0, id + 1 - g->n_failing);
        g->n_failing = id + 1;
    }
    g->failing[id] = true;
    return 0;
}

static int add_batch(const struct ledger_batch *b, void *arg)
{
    struct gathering *g = arg;

    kw_grow(&g->named, &g->named_cap, g->n_named + 1, sizeof(*g->named));
    g->named[g->n_named++] = *b;
    return 0;
}

static int by_code(const void *a, const void *b)
{
    return strcmp(((const struct ledger_batch *)a)->code,
                  ((const struct ledger_batch *)b)->code);
}

static int add_stock(const struct look_pot *p, void *arg)
{
    struct gathering *g = arg;
    struct ledger_batch key = {.id = 0};
    const struct ledger_batch *b;

    if (p->outings > 0 || p->scrapped || p->failed_s != 0)
        return 0;
    memcpy(key.code, p->batch, sizeof(key.code));
    b = bsearch(&key, g->named, g->n_named, sizeof(*g->named), by_code);
    if (b == NULL)
        return 0;
    if (b->fired_s == 0 || b->fired_s > g->page->now_s)
        g->out->in_works++;
    else if (b->recalled_s != 0 ||
             ((size_t)b->id < g->n_failing && g->failing[b->id]))
        g->out->on_hold++;
    else
        g->out->ready++;
    return 0;
}

static int gather_stock(struct gathering *g, struct ledger *lg)
{
    int err = batchstate_each(lg, add_state, g);

    if (err == 0)
        err = look_batches(lg, add_batch, g);
    if (err < 0 || g->n_named == 0)
        return err;
    qsort(g->named, g->n_named, sizeof(*g->named), by_code);
    return look_pots(lg, add_stock, g);
}

/* ---- the forecast ---- */

static int gather_weight(struct gathering *g, struct ledger *lg)
{
    struct batchstate_weight w;
    int err = batchstate_get_weight(lg, g->page->now_s, &w);

    if (err == 0)
        g->place_weight = w.nu;
    return err == KW_ENOENT ? 0 : err;
}

/* Of a batch, by how eagerly each of its places tells. */
static double expected_of(const struct gathering *g, const struct need_model *m,
                          size_t batch)
{
    double e = 0;

    if (batch >= g->n_first)
        return 0;
    for (size_t at = g->first[batch]; at != 0; at = g->pairs[at - 1].next) {
        const struct pair *p = &g->pairs[at - 1];

        e +=
            need_eager(m, &g->places[p->place_id]) * need_expected(m, &p->sums);
    }
    return e;
}

/* Rates of all by age; each batch's own risk; how eagerly places report. */
static struct need_batch *make_model(struct gathering *g, struct need_model *m)
{
    struct need_batch *batches = kw_calloc(g->n_batches + 1, sizeof(*batches));

    *m = (struct need_model){.batches = batches, .n_batches = g->n_batches};
    need_rates(&g->all, m);
    if (g->place_weight > 0)
        m->place_weight = g->place_weight;
    for (size_t b = 0; b < g->n_batches; b++)
        batches[b] =
            (struct need_batch){g->batches[b].failed, expected_of(g, m, b)};
    for (size_t i = 0; i < g->n; i++)
        g->pots[i].unit.eager = need_eager(m, &g->places[g->pots[i].place_id]);
    return batches;
}

static int by_place(const void *a, const void *b)
{
    const struct in_service *x = a, *y = b;

    if (x->place_id != y->place_id)
        return x->place_id < y->place_id ? -1 : 1;
    return (x->pot_key > y->pot_key) - (x->pot_key < y->pot_key);
}

enum what { REPORTED, TRULY, BROKEN, WHATS };

static double share_of(const struct gathering *g, int64_t place_id)
{
    size_t id = (size_t)place_id;

    return id < g->n_shares && g->shares[id] > 0 ? g->shares[id]
                                                 : g->out->set.share;
}

/* Breakage over the share that is told; by itself, without falling flow. */
static void take_units(const struct gathering *g, const struct in_service *pots,
                       size_t n, int w, enum what what, struct need_unit *units)
{
    for (size_t i = 0; i < n; i++) {
        units[i] = pots[i].unit;
        units[i].p_flow = what == BROKEN ? 0 : p_flow(g, pots[i].pot_key, w);
        if (what == TRULY)
            units[i].eager /= share_of(g, pots[i].place_id);
    }
}

static void forecast(const struct gathering *g, struct need_model *m,
                     size_t from, size_t n, struct need_place *out)
{
    struct need_unit *units = kw_calloc(n + 1, sizeof(*units));
    double *q = kw_calloc(n + 1, sizeof(*q));

    out->pots = (int)n;
    for (int w = 0; w < NEED_TIMES; w++) {
        for (int what = 0; n > 0 && what < WHATS; what++) {
            struct need_forecast f;
            struct need_outcome o;

            take_units(g, g->pots + from, n, w, (enum what)what, units);
            if (need_forecast(m, units, n, need_days[w], q, &f) < 0)
                continue;
            out->broken[w] = f.mean;
            if (what == BROKEN)
                continue;
            o = (struct need_outcome){.mean = f.mean, .var = f.var};
            f.var *= g->out->checked[w].widened;
            o.low = need_quantile(&f, q, n, 0.1);
            o.high = need_quantile(&f, q, n, 0.9);
            *(what == TRULY ? &out->truly[w] : &out->reported[w]) = o;
        }
    }
    kw_free(units);
    kw_free(q);
}

/* Of each place that pots are in; the pots stand by place. */
static int gather_shares(struct gathering *g, struct ledger *lg)
{
    int64_t last = -1;
    int err = 0;

    for (size_t i = 0; err == 0 && i < g->n; i++) {
        int64_t id = g->pots[i].place_id;
        struct ledger_place place;

        if (id == last || id == 0)
            continue;
        last = id;
        if ((err = ledger_place_get(lg, id, &place)) < 0)
            break;
        kw_grow(&g->shares, &g->shares_cap, (size_t)id + 1, sizeof(*g->shares));
        while (g->n_shares <= (size_t)id)
            g->shares[g->n_shares++] = 0;
        if (place.reported_share > 0)
            g->shares[id] = place.reported_share;
    }
    return err;
}

static int forecast_places(struct gathering *g, struct ledger *lg,
                           struct need_model *m)
{
    struct need_page *out = g->out;
    int err = 0;

    if (g->n > 0)
        qsort(g->pots, g->n, sizeof(*g->pots), by_place);
    if ((err = gather_shares(g, lg)) < 0)
        return err;
    forecast(g, m, 0, g->n, &out->all);
    for (size_t from = 0, to = 0; err == 0 && from < g->n; from = to) {
        int64_t id = g->pots[from].place_id;
        struct ledger_place place = {.name = "-", .reported_share = NAN};
        struct need_place *p;

        while (to < g->n && g->pots[to].place_id == id)
            to++;
        if (id != 0 && (err = ledger_place_get(lg, id, &place)) < 0)
            break;
        kw_grow(&out->places, &out->cap, out->n + 1, sizeof(*out->places));
        p = &out->places[out->n++];
        *p = (struct need_place){.id = id, .share = share_of(g, id)};
        p->surveyed = place.reported_share > 0;
        memcpy(p->name, place.name, sizeof(p->name));
        forecast(g, m, from, to - from, p);
    }
    return err;
}

/* The high end of the true need and those who wait, less what there is. */
static void plan(struct need_page *n)
{
    double have = n->ready + n->in_works, used = n->waiting, last = 0;

    n->lasts_days = have < used ? 0 : INFINITY;
    for (int w = 0; w < NEED_TIMES; w++) {
        double need = n->waiting + n->all.truly[w].mean;

        n->press[w] = fmax(0, ceil((n->waiting + n->all.truly[w].high - have) /
                                   n->set.passed));
        if (isinf(n->lasts_days) && need > have)
            n->lasts_days =
                last + (need_days[w] - last) * (have - used) / (need - used);
        used = need;
        last = need_days[w];
    }
}

int need_page_gather(const struct page *p, struct ledger *lg,
                     const struct need_setting *set, struct need_page *out)
{
    struct gathering g = {.out = out, .page = p};
    int err;

    *out = (struct need_page){.set = *set, .all = {.share = NAN}};
    if ((err = need_check_gather(lg, p->now_s, out->checked)) < 0)
        return err;
    err = batchstate_times(lg, add_time, &g);
    if (err == 0)
        err = gather_flows(&g, lg);
    if (err == 0)
        err = gather_stock(&g, lg);
    if (err == 0)
        err = gather_weight(&g, lg);
    if (err == 0) {
        struct need_model m;
        struct need_batch *batches = make_model(&g, &m);

        err = forecast_places(&g, lg, &m);
        plan(out);
        kw_free(batches);
    }
    kw_free(g.batches);
    kw_free(g.places);
    kw_free(g.pairs);
    kw_free(g.first);
    kw_free(g.pots);
    kw_free(g.flows);
    kw_free(g.failing);
    kw_free(g.named);
    kw_free(g.shares);
    return err;
}

void need_page_release(struct need_page *n)
{
    kw_free(n->places);
    *n = (struct need_page){.waiting = 0};
}
