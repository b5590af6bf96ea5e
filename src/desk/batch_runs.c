/*
 * batch_runs.c - the nightly scans: along the serials of each batch, where a
 * shelf of the kiln or a day's mix shows as a run of neighbours that fail;
 * and along the firing dates.
 */
#include "desk/batch_inner.h"

#include "ledger/look.h"
#include "watch/scan.h"

#include <math.h>
#include <stdlib.h>

#define RUN_LEAST 5    /* failures that count, before a batch is scanned */
#define RUN_SEED  2026 /* every night the same: the same history, the same p */

struct unit {                        /* a time of a pot of the batch */
    int64_t key, place_id, failed_s; /* failed_s 0: not */
    double expected;
    bool counts; /* a failure that is not co-located with others */
};

struct line { /* a batch's pots in order of their serials */
    const struct batch_watch *w;
    struct unit *units;
    size_t n_units, units_cap;
    int64_t *keys, *failed;
    double *expected;
    size_t n, keys_cap, failed_cap, expected_cap;
    int64_t now_s;
    double rate[BREAKAGE_BINS];
};

/* What is expected of a stay: by the rates of all pots, and by how eagerly
 * its place tells. */
static double expected_of(const struct line *l, const struct batchstate_time *t)
{
    struct breakage_batch own = {.batch_id = 0};
    double e = 0;

    breakage_add_stay(&own,
                      &(struct breakage_stay){.given_s = t->given_s,
                                              .ended_s = t->ended_s,
                                              .failed_s = t->failed_s},
                      l->now_s);
    for (int k = 0; k < BREAKAGE_BINS; k++)
        e += l->rate[k] * own.exposure_days[k];
    return e * detector_eager(l->w->batches, (int)t->batch_id, t->place_id);
}

static int add_unit(const struct batchstate_time *t, void *arg)
{
    struct line *l = arg;
    bool failed = t->failed_s != 0 && t->failed_s <= l->now_s;

    if (t->given_s >= l->now_s)
        return 0;
    kw_grow(&l->units, &l->units_cap, l->n_units + 1, sizeof(*l->units));
    l->units[l->n_units++] = (struct unit){.key = t->pot_key,
                                           .place_id = t->place_id,
                                           .failed_s = failed ? t->failed_s : 0,
                                           .expected = expected_of(l, t)};
    return 0;
}

static int by_place(const void *a, const void *b)
{
    const struct unit *x = *(struct unit *const *)a;
    const struct unit *y = *(struct unit *const *)b;

    if (x->place_id != y->place_id)
        return x->place_id < y->place_id ? -1 : 1;
    if (x->failed_s != y->failed_s)
        return x->failed_s < y->failed_s ? -1 : 1;
    return (x->key > y->key) - (x->key < y->key);
}

/*
 * As the detector counts: at most so many in a place within days. A flood
 * there, among pots that were handed out in the order of their serials, would
 * look like a shelf of the kiln.
 */
static void thin(struct line *l)
{
    const int cap = detector_defaults.cap;
    struct unit **failed = kw_calloc(l->n_units + 1, sizeof(struct unit *));
    int64_t days[DETECTOR_CAP_MOST] = {0};
    size_t n = 0;
    int counted = 0;

    for (size_t i = 0; i < l->n_units; i++)
        if (l->units[i].failed_s != 0)
            failed[n++] = &l->units[i];
    if (n > 0)
        qsort(failed, n, sizeof(struct unit *), by_place);
    for (size_t i = 0; i < n; i++) {
        int64_t day = watch_day(failed[i]->failed_s);

        if (i == 0 || failed[i]->place_id != failed[i - 1]->place_id)
            counted = 0;
        failed[i]->counts =
            counted < cap || day - days[(counted - cap) % DETECTOR_CAP_MOST] >=
                                 detector_defaults.window_days;
        if (failed[i]->counts)
            days[counted++ % DETECTOR_CAP_MOST] = day;
    }
    kw_free(failed);
}

static void add_pot(struct line *l, const struct unit *u)
{
    if (l->n == 0 || l->keys[l->n - 1] != u->key) {
        kw_grow(&l->keys, &l->keys_cap, l->n + 1, sizeof(*l->keys));
        kw_grow(&l->failed, &l->failed_cap, l->n + 1, sizeof(*l->failed));
        kw_grow(&l->expected, &l->expected_cap, l->n + 1, sizeof(*l->expected));
        l->keys[l->n] = u->key;
        l->failed[l->n] = 0;
        l->expected[l->n++] = 1e-9; /* above zero, whatever its age */
    }
    l->expected[l->n - 1] += u->expected;
    l->failed[l->n - 1] += u->counts;
}

static int run_of(struct ledger *lg, struct line *l, struct batchstate *s)
{
    const struct scan_chance chance = {RUN_SEED, 999, 10};
    struct scan_found found;
    const struct scan_window *best = &found.window;
    int err;

    l->n = l->n_units = 0;
    if ((err = batchstate_times_of(lg, s->batch_id, add_unit, l)) < 0)
        return err;
    thin(l);
    for (size_t i = 0; i < l->n_units; i++)
        add_pot(l, &l->units[i]);
    err = scan_run(&(struct scan_line){l->failed, l->expected, l->n, 0},
                   &chance, &found);
    s->run_from = s->run_to = 0;
    if (err == 0 && best->llr > 0) {
        s->run_from = l->keys[best->from];
        s->run_to = l->keys[best->to];
    }
    s->run_failed = best->failed;
    s->run_expected = best->expected;
    s->run_p = found.p;
    s->run_seed = RUN_SEED;
    return 0;
}

/* ---- along the firing dates ---- */

struct firing {
    int64_t batch_id, fired_s;
};
struct firings {
    const struct batch_watch *w;
    struct firing *items;
    size_t n, cap;
};

static int add_firing(const struct ledger_batch *b, void *arg)
{
    struct firings *f = arg;
    int64_t fired_s = b->fired_s != 0 ? b->fired_s : b->pressed_s;

    if (fired_s == 0 || (size_t)b->id >= f->w->n_touched ||
        (f->w->touched[b->id] & WATCH_OUT) == 0)
        return 0;
    kw_grow(&f->items, &f->cap, f->n + 1, sizeof(*f->items));
    f->items[f->n++] = (struct firing){b->id, fired_s};
    return 0;
}

static int by_firing(const void *a, const void *b)
{
    const struct firing *x = a, *y = b;

    if (x->fired_s != y->fired_s)
        return x->fired_s < y->fired_s ? -1 : 1;
    return (x->batch_id > y->batch_id) - (x->batch_id < y->batch_id);
}

int watch_firings(struct batch_watch *w, struct ledger *lg, int64_t now_s,
                  struct batchstate_firings *out)
{
    const struct scan_chance chance = {RUN_SEED, 999, 10};
    struct firings f = {.w = w};
    struct scan_found found;
    int64_t *failed;
    double *expected;
    int err = look_batches(lg, add_firing, &f);

    *out = (struct batchstate_firings){.at_s = 0};
    if (err == 0 && f.n > 0)
        qsort(f.items, f.n, sizeof(*f.items), by_firing);
    failed = kw_calloc(f.n + 1, sizeof(*failed));
    expected = kw_calloc(f.n + 1, sizeof(*expected));
    for (size_t i = 0; err == 0 && i < f.n; i++) {
        struct detector_verdict v;

        detector_verdict(w->batches, (int)f.items[i].batch_id, &v);
        failed[i] = v.counted;
        expected[i] = fmax(v.expected, 1e-9);
    }
    if (err == 0 &&
        scan_run(&(struct scan_line){failed, expected, f.n, SCAN_FIRINGS},
                 &chance, &found) == 0)
        *out = (struct batchstate_firings){
            .at_s = now_s,
            .from_batch = f.items[found.window.from].batch_id,
            .to_batch = f.items[found.window.to].batch_id,
            .failed = found.window.failed,
            .expected = found.window.expected,
            .p = found.p,
            .seed = RUN_SEED};
    kw_free(f.items);
    kw_free(failed);
    kw_free(expected);
    return err;
}

/* ---- along the serials of each batch ---- */

/* Rates of all pots by age. */
static void find_rates(const struct watch_sums *sums, double *rate)
{
    for (int k = 0; k < BREAKAGE_BINS; k++) {
        double failed = 3, days = 3 / (0.012 / 30.4375);

        for (size_t i = 0; i < sums->n; i++) {
            failed += (double)sums->items[i].b.failed_at[k];
            days += sums->items[i].b.exposure_days[k];
        }
        rate[k] = failed / days;
    }
}

int watch_runs(const struct batch_watch *w, struct ledger *lg, int64_t now_s,
               struct batch_found *out)
{
    struct line l = {.w = w, .now_s = now_s};
    int err = 0;

    find_rates(&w->sums, l.rate);
    for (size_t i = 0; err == 0 && i < out->batches.n; i++) {
        struct batchstate s = out->batches.items[i];

        if (s.counted < RUN_LEAST)
            continue;
        err = run_of(lg, &l, &s);
        kw_grow(&out->runs.items, &out->runs.cap, out->runs.n + 1,
                sizeof(*out->runs.items));
        out->runs.items[out->runs.n++] = s;
    }
    kw_free(l.units);
    kw_free(l.keys);
    kw_free(l.failed);
    kw_free(l.expected);
    return err;
}
