/* batch_watch.c - see batch_watch.h; the history is in batch_history.c. */
#include "desk/batch_inner.h"

#include "base/log.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define REWEIGH_DAYS 90 /* docs/science.md, 6 */

/* ---- cells by batch, place and day ---- */

static size_t hash_of(const struct watch_key *k)
{
    uint64_t h = (uint64_t)k->batch * 0x9e3779b97f4a7c15u;

    h = (h ^ (h >> 29) ^ (uint64_t)k->place) * 0xbf58476d1ce4e5b9u;
    h = (h ^ (h >> 32) ^ (uint64_t)(uint32_t)k->day) * 0x94d049bb133111ebu;
    return (size_t)(h ^ (h >> 31));
}

static struct watch_cell *slot_of(struct watch_map *m,
                                  const struct watch_key *k)
{
    size_t i = hash_of(k) & (m->room - 1);

    while (m->cells[i].used &&
           (m->cells[i].key.batch != k->batch ||
            m->cells[i].key.place != k->place || m->cells[i].key.day != k->day))
        i = (i + 1) & (m->room - 1);
    return &m->cells[i];
}

struct watch_cell *watch_find(struct watch_map *m, const struct watch_key *k)
{
    struct watch_cell *c = m->room > 0 ? slot_of(m, k) : NULL;

    return c != NULL && c->used ? c : NULL;
}

struct watch_cell *watch_add(struct watch_map *m, const struct watch_key *k)
{
    struct watch_cell *c;

    if (2 * (m->n + 1) > m->room) {
        struct watch_map old = *m;

        m->room = old.room > 0 ? 2 * old.room : 256;
        m->cells = kw_calloc(m->room, sizeof(*m->cells));
        for (size_t i = 0; i < old.room; i++)
            if (old.cells[i].used)
                *slot_of(m, &old.cells[i].key) = old.cells[i];
        kw_free(old.cells);
    }
    c = slot_of(m, k);
    *c = (struct watch_cell){.key = *k, .used = true};
    m->n++;
    return c;
}

/* ---- a watch ---- */

static void empty(struct batch_watch *w)
{
    detector_free(w->batches);
    detector_free(w->deliveries);
    kw_free(w->cells.cells);
    kw_free(w->units.cells);
    kw_free(w->unit_keys);
    kw_free(w->closed_s);
    kw_free(w->place_closed_s);
    kw_free(w->unit_news);
    kw_free(w->touched);
    kw_free(w->news);
    kw_free(w->sums.items);
    *w = (struct batch_watch){.replayed = w->replayed};
}

struct batch_watch *batch_watch_new(void)
{
    return kw_calloc(1, sizeof(struct batch_watch));
}

void batch_watch_free(struct batch_watch *w)
{
    if (w == NULL)
        return;
    empty(w);
    kw_free(w);
}

void batch_watch_forget(struct batch_watch *w)
{
    empty(w);
}

bool batch_watch_replayed(const struct batch_watch *w)
{
    return w->replayed;
}

void batch_found_release(struct batch_found *f)
{
    kw_free(f->batches.items);
    kw_free(f->deliveries.items);
    kw_free(f->runs.items);
    *f = (struct batch_found){.runs = {NULL, 0, 0}};
}

static void replay(struct batch_watch *w)
{
    struct detector_setting set = detector_defaults;

    empty(w);
    set.reweigh_days = REWEIGH_DAYS;
    w->batches = detector_new(&set);
    set.reweigh_days = 0; /* of a delivery: how batches differ, not places */
    w->deliveries = detector_new(&set);
    w->replayed = true;
}

/* ---- what stands otherwise ---- */

static struct batchstate row_of(const struct detector_verdict *v, int64_t now_s)
{
    return (struct batchstate){.state = (int)v->state,
                               .since_s = now_s,
                               .at_s = now_s,
                               .reported = v->reported,
                               .counted = v->counted,
                               .expected = v->expected,
                               .upper = v->upper,
                               .log_bf = v->log_bf,
                               .cusum = v->cusum,
                               .risk = v->risk.mean,
                               .risk_low = v->risk.low,
                               .risk_high = v->risk.high,
                               .places = v->places,
                               .bound = v->place_bound};
}

static void keep(struct batch_findings *f, const struct batchstate *s)
{
    kw_grow(&f->items, &f->cap, f->n + 1, sizeof(*f->items));
    f->items[f->n++] = *s;
}

/*
 * Against what the ledger says. Only somebody who closes the alert ends
 * failing: a history that was put right later does not lift a hold.
 */
static void compare(struct batch_findings *f, struct batchstate *now,
                    const struct batchstate *was, int64_t closed_s)
{
    if (was != NULL && was->state == DETECTOR_FAILING &&
        closed_s <= was->since_s)
        now->state = DETECTOR_FAILING;
    if (was != NULL && was->state == now->state)
        now->since_s = was->since_s;
    if (was == NULL || was->state != now->state ||
        was->reported != now->reported || was->counted != now->counted ||
        was->bound != now->bound ||
        fabs(was->expected - now->expected) > 1e-9 * (1 + now->expected))
        keep(f, now);
}

static void judge_batch(struct batch_watch *w, int64_t batch, int64_t now_s,
                        const struct batchstate *was, struct batch_found *out)
{
    struct detector_verdict v;
    struct batchstate now;

    detector_verdict(w->batches, (int)batch, &v);
    now = row_of(&v, now_s);
    now.batch_id = batch;
    compare(&out->batches, &now, was,
            (size_t)batch < w->n_closed ? w->closed_s[batch] : 0);
}

struct comparing {
    struct batch_watch *w;
    int64_t now_s;
    struct batch_found *out;
    bool *seen;
};

static int judge_known(const struct batchstate *was, void *arg)
{
    struct comparing *c = arg;

    if (was->batch_id >= detector_batches(c->w->batches))
        return 0;
    c->seen[was->batch_id] = true;
    judge_batch(c->w, was->batch_id, c->now_s, was, c->out);
    return 0;
}

static bool was_out(const struct batch_watch *w, size_t batch)
{
    return batch < w->n_touched && (w->touched[batch] & WATCH_OUT) != 0;
}

static void judge_delivery(struct comparing *c, size_t unit,
                           const struct batchstate *was)
{
    const struct watch_key *k = &c->w->unit_keys[unit];
    struct detector_verdict v;
    struct batchstate now;

    detector_verdict(c->w->deliveries, (int)unit, &v);
    if (v.reported == 0 && was == NULL)
        return; /* most never have anything to tell */
    now = row_of(&v, c->now_s);
    now.place_id = k->place;
    now.day = k->day;
    compare(&c->out->deliveries, &now, was,
            (size_t)k->place < c->w->n_place_closed
                ? c->w->place_closed_s[k->place]
                : 0);
}

static int judge_known_delivery(const struct batchstate *was, void *arg)
{
    struct comparing *c = arg;
    struct watch_key k = {.place = was->place_id, .day = (int)was->day};
    const struct watch_cell *cell = watch_find(&c->w->units, &k);

    if (cell == NULL)
        return 0;
    c->seen[cell->batch_cell] = true;
    judge_delivery(c, (size_t)cell->batch_cell, was);
    return 0;
}

static int judge_all(struct batch_watch *w, struct ledger *lg, int64_t now_s,
                     struct batch_found *out)
{
    struct comparing c = {w, now_s, out, NULL};
    size_t n = (size_t)detector_batches(w->batches);
    int err;

    c.seen = kw_calloc(n + 1, sizeof(*c.seen));
    err = batchstate_each(lg, judge_known, &c);
    for (size_t b = 0; err == 0 && b < n; b++)
        if (was_out(w, b) && !c.seen[b])
            judge_batch(w, (int64_t)b, now_s, NULL, out);
    kw_free(c.seen);
    c.seen = kw_calloc(w->n_units + 1, sizeof(*c.seen));
    if (err == 0)
        err = batchstate_each_delivery(lg, judge_known_delivery, &c);
    for (size_t u = 0; err == 0 && u < w->n_units; u++)
        if (!c.seen[u])
            judge_delivery(&c, u, NULL);
    kw_free(c.seen);
    return err;
}

static int by_unit(const void *a, const void *b)
{
    const int *x = a, *y = b;

    return (*x > *y) - (*x < *y);
}

static int judge_touched_deliveries(struct batch_watch *w, struct ledger *lg,
                                    int64_t now_s, struct batch_found *out)
{
    struct comparing c = {w, now_s, out, NULL};

    if (w->n_unit_news > 0)
        qsort(w->unit_news, w->n_unit_news, sizeof(*w->unit_news), by_unit);
    for (size_t i = 0; i < w->n_unit_news; i++) {
        const struct watch_key *k = &w->unit_keys[w->unit_news[i]];
        struct batchstate was;
        int err;

        if (i > 0 && w->unit_news[i] == w->unit_news[i - 1])
            continue;
        err = batchstate_get_delivery(lg, k->place, k->day, &was);

        if (err < 0 && err != KW_ENOENT)
            return err;
        judge_delivery(&c, (size_t)w->unit_news[i], err == 0 ? &was : NULL);
    }
    return 0;
}

static int judge_touched(struct batch_watch *w, struct ledger *lg,
                         int64_t now_s, struct batch_found *out)
{
    for (size_t i = 0; i < w->n_news; i++) {
        int64_t b = w->news[i];
        struct batchstate was;
        int err = batchstate_get(lg, b, &was);

        if (err < 0 && err != KW_ENOENT)
            return err;
        judge_batch(w, b, now_s, err == 0 ? &was : NULL, out);
    }
    return judge_touched_deliveries(w, lg, now_s, out);
}

/* nu, when the ledger has another. */
static int weigh(struct batch_watch *w, struct ledger *lg, int64_t now_s,
                 struct batchstate_weight *out)
{
    struct detector_weight d = detector_weight(w->batches);
    struct batchstate_weight was = {.day = 0};
    int err = batchstate_get_weight(lg, now_s, &was);

    *out = (struct batchstate_weight){.day = 0};
    if (err < 0 && err != KW_ENOENT)
        return err;
    if (d.day > was.day || (d.day == was.day && d.nu != was.nu))
        *out =
            (struct batchstate_weight){d.day, d.nu, d.places, d.counted, now_s};
    return 0;
}

static int look(struct batch_watch *w, struct ledger *lg, int64_t now_s,
                bool nightly, struct batch_found *out)
{
    int day = watch_day(now_s);
    bool whole = w->batches == NULL || day != w->day;
    int err = 0;

    *out = (struct batch_found){.runs = {NULL, 0, 0}};
    w->replayed = false;
    w->n_news = w->n_unit_news = 0;
    if (!whole)
        err = watch_take_news(w, lg, now_s, &whole);
    if (err == 0 && whole) {
        replay(w);
        err = watch_take_all(w, lg, now_s);
    }
    if (err == 0) {
        w->day = day;
        err = w->replayed ? judge_all(w, lg, now_s, out)
                          : judge_touched(w, lg, now_s, out);
    }
    if (err == 0 && !w->replayed)
        err = watch_sums_news(w, lg, now_s);
    if (err == 0 && w->replayed && nightly)
        err = watch_runs(w, lg, now_s, out);
    if (err == 0 && w->replayed && nightly)
        err = watch_firings(w, lg, now_s, &out->firings);
    if (err == 0)
        err = weigh(w, lg, now_s, &out->weight);
    out->seen =
        (struct batch_seen){now_s, w->handover_id, w->failed + w->failed_else};
    if (err < 0)
        empty(w); /* the next look begins anew */
    return err;
}

int batch_watch_look(struct batch_watch *w, struct ledger *lg, int64_t now_s,
                     struct batch_found *out)
{
    return look(w, lg, now_s, true, out);
}

int batch_watch_states(struct batch_watch *w, struct ledger *lg, int64_t now_s,
                       struct batch_found *out)
{
    return look(w, lg, now_s, false, out);
}

/* ---- whether there is anything to look for ---- */

static int time_seen(const struct batchstate_time *t, void *arg)
{
    (void)t;
    *(bool *)arg = true;
    return 0;
}

static int closing_seen(const struct batchstate_closing *c, void *arg)
{
    (void)c;
    *(bool *)arg = true;
    return 0;
}

static int mark(struct ledger *lg, const char *key, int64_t *value)
{
    int err = ledger_mark_get(lg, key, value);

    if (err == KW_ENOENT)
        *value = -1;
    return err == KW_ENOENT ? 0 : err;
}

int batch_watch_current(struct ledger *lg, int64_t now_s, bool *current)
{
    struct batch_seen seen;
    int64_t failed;
    bool news = false;
    int err;

    *current = false;
    if ((err = mark(lg, WATCH_UPTO, &seen.upto_s)) < 0 ||
        (err = mark(lg, WATCH_HANDOVER, &seen.handover_id)) < 0 ||
        (err = mark(lg, WATCH_FAILED, &seen.failed)) < 0 ||
        (err = batchstate_failed(lg, &failed)) < 0)
        return err;
    if (watch_day(seen.upto_s) != watch_day(now_s) || seen.upto_s > now_s ||
        seen.failed != failed)
        return 0;
    err = batchstate_times_after(lg, seen.handover_id, time_seen, &news);
    if (err == 0)
        err = batchstate_changes(lg, seen.upto_s, now_s, time_seen, &news);
    if (err == 0)
        err = batchstate_closings(lg, seen.upto_s, now_s, closing_seen, &news);
    *current = err == 0 && !news;
    return err;
}
