/*
 * batch_history.c - the ledger's history as events in order: pots handed out,
 * failed, taken away; alerts closed. Those of one second stand in the order of
 * the enum, then by batch, place and pot, so that the order is one alone.
 */
#include "desk/batch_inner.h"

#include "base/log.h"

#include <stdlib.h>
#include <string.h>

#define DAYS_MOST 100000 /* that are sorted day by day */

enum happened { HANDED_OUT, FAILED, TAKEN_AWAY, CLOSED, PLACE_CLOSED };

struct event { /* small: there are two for each pot */
    int64_t at_s, pot_key;
    int32_t batch, place, day; /* its cell; below DETECTOR_NUMBER_MOST */
    uint8_t what;              /* enum happened */
};

struct history {
    struct batch_watch *w;
    struct event *events;
    size_t n, cap;
    int64_t now_s;
    bool handed_only; /* failures and ends are asked for by themselves */
    bool stale;
};

static void add(struct history *h, const struct batchstate_time *t,
                enum happened what, int64_t at_s)
{
    if (at_s > h->now_s)
        return;
    kw_grow(&h->events, &h->cap, h->n + 1, sizeof(*h->events));
    h->events[h->n++] = (struct event){at_s,
                                       t->pot_key,
                                       (int32_t)t->batch_id,
                                       (int32_t)t->place_id,
                                       watch_day(t->given_s),
                                       (uint8_t)what};
}

/* A failed pot counts as watched until its failure was told. */
static void add_end(struct history *h, const struct batchstate_time *t)
{
    if (t->failed_s != 0 && t->failed_s <= h->now_s)
        add(h, t, FAILED, t->failed_s);
    else if (t->ended_s != 0)
        add(h, t, TAKEN_AWAY, t->ended_s);
}

static int add_time(const struct batchstate_time *t, void *arg)
{
    struct history *h = arg;

    if (t->batch_id <= 0 || t->batch_id >= DETECTOR_NUMBER_MOST ||
        t->place_id < 0 || t->place_id >= DETECTOR_NUMBER_MOST)
        return KW_ERANGE;
    if (!h->handed_only && watch_sum_time(&h->w->sums, t) < 0)
        return KW_ERANGE;
    if (t->handover_id > h->w->handover_id)
        h->w->handover_id = t->handover_id;
    add(h, t, HANDED_OUT, t->given_s);
    if (!h->handed_only)
        add_end(h, t);
    else if (t->ended_s != 0 && t->ended_s <= h->w->upto_s)
        h->stale = true; /* over before it was written down */
    return 0;
}

static int add_change(const struct batchstate_time *t, void *arg)
{
    add_end(arg, t);
    return 0;
}

static int add_closing(const struct batchstate_closing *c, void *arg)
{
    struct batchstate_time t = {.batch_id = c->batch_id,
                                .place_id = c->place_id};

    add(arg, &t, c->batch_id != 0 ? CLOSED : PLACE_CLOSED, c->at_s);
    return 0;
}

static int by_number(int64_t a, int64_t b)
{
    return (a > b) - (a < b);
}

static int in_order(const void *a, const void *b)
{
    const struct event *x = a, *y = b;
    int c = by_number(x->at_s, y->at_s);

    if (c == 0)
        c = (int)x->what - (int)y->what;
    if (c == 0)
        c = by_number(x->batch, y->batch);
    if (c == 0)
        c = by_number(x->place, y->place);
    return c != 0 ? c : by_number(x->pot_key, y->pot_key);
}

/* Brings each event to its day, in place; at[d]: where day d begins. */
static void by_day(struct event *e, size_t n, int first, size_t *at,
                   size_t days)
{
    size_t *next = kw_calloc(days + 1, sizeof(*next));

    for (size_t i = 0; i < n; i++)
        at[watch_day(e[i].at_s) - first + 1]++;
    for (size_t d = 0; d < days; d++) {
        at[d + 1] += at[d];
        next[d] = at[d];
    }
    for (size_t d = 0; d < days; d++)
        while (next[d] < at[d + 1]) {
            struct event one = e[next[d]];
            size_t to = (size_t)(watch_day(one.at_s) - first);

            e[next[d]] = e[next[to]];
            e[next[to]++] = one;
        }
    kw_free(next);
}

/* Day by day: a history of millions needs no second room as large. */
static void sort_events(struct history *h)
{
    int first = INT32_MAX, last = INT32_MIN;
    size_t days, *at;

    for (size_t i = 0; i < h->n; i++) {
        int day = watch_day(h->events[i].at_s);

        first = day < first ? day : first;
        last = day > last ? day : last;
    }
    if (h->n == 0)
        return;
    days = (size_t)((int64_t)last - first) + 1;
    if (days > DAYS_MOST) { /* some clock was wrong */
        qsort(h->events, h->n, sizeof(*h->events), in_order);
        return;
    }
    at = kw_calloc(days + 2, sizeof(*at));
    by_day(h->events, h->n, first, at, days);
    for (size_t d = 0; d < days; d++)
        if (at[d + 1] - at[d] > 1)
            qsort(h->events + at[d], at[d + 1] - at[d], sizeof(*h->events),
                  in_order);
    kw_free(at);
}

/* ---- taking an event in: false when it does not fit ---- */

static struct watch_key key_of(const struct event *e)
{
    return (struct watch_key){e->batch, e->place, e->day};
}

static void touch(struct batch_watch *w, int64_t batch, uint8_t how)
{
    size_t b = (size_t)batch;

    if (b >= w->n_touched) {
        kw_grow(&w->touched, &w->touched_cap, b + 1, sizeof(*w->touched));
        memset(w->touched + w->n_touched, 0, b + 1 - w->n_touched);
        w->n_touched = b + 1;
    }
    if ((how & WATCH_NEW) && !(w->touched[b] & WATCH_NEW)) {
        kw_grow(&w->news, &w->news_cap, w->n_news + 1, sizeof(*w->news));
        w->news[w->n_news++] = batch;
    }
    w->touched[b] |= how;
}

/* Some stand there more than once. */
static void touch_unit(struct batch_watch *w, int unit)
{
    kw_grow(&w->unit_news, &w->unit_news_cap, w->n_unit_news + 1,
            sizeof(*w->unit_news));
    w->unit_news[w->n_unit_news++] = unit;
}

static int unit_of(struct batch_watch *w, const struct watch_key *key)
{
    struct watch_key k = {.place = key->place, .day = key->day};
    struct watch_cell *c = watch_find(&w->units, &k);

    if (c == NULL) {
        c = watch_add(&w->units, &k);
        c->batch_cell = (int)w->n_units;
        kw_grow(&w->unit_keys, &w->units_cap, w->n_units + 1,
                sizeof(*w->unit_keys));
        w->unit_keys[w->n_units++] = k;
    }
    return c->batch_cell;
}

static bool hand_out(struct batch_watch *w, const struct event *e)
{
    struct watch_key key = key_of(e);
    struct watch_cell *c = watch_find(&w->cells, &key);

    touch(w, e->batch, WATCH_OUT);
    if (c != NULL)
        return detector_add(w->batches, c->batch_cell, 1) == 0 &&
               detector_add(w->deliveries, c->delivery_cell, 1) == 0;
    c = watch_add(&w->cells, &key);
    c->batch_cell = detector_deliver(w->batches, e->batch, e->place, e->day, 1);
    c->delivery_cell =
        detector_deliver(w->deliveries, unit_of(w, &key), e->batch, e->day, 1);
    return c->batch_cell >= 0 && c->delivery_cell >= 0;
}

static bool lose(struct batch_watch *w, const struct event *e)
{
    struct watch_key key = key_of(e);
    const struct watch_cell *c = watch_find(&w->cells, &key);
    int day = watch_day(e->at_s);

    if (c == NULL)
        return false;
    if (e->what == TAKEN_AWAY)
        return detector_withdraw(w->batches, c->batch_cell, day, 1) >= 0 &&
               detector_withdraw(w->deliveries, c->delivery_cell, day, 1) >= 0;
    w->failed++;
    touch_unit(w, unit_of(w, &key));
    return detector_fail(w->batches, c->batch_cell, day) >= 0 &&
           detector_fail(w->deliveries, c->delivery_cell, day) >= 0;
}

static void note_closed(int64_t **all, size_t *n, size_t *cap, int64_t id,
                        int64_t at_s)
{
    size_t i = (size_t)id;

    if (i >= *n) {
        kw_grow(all, cap, i + 1, sizeof(**all));
        memset(*all + *n, 0, (i + 1 - *n) * sizeof(**all));
        *n = i + 1;
    }
    (*all)[i] = at_s;
}

static bool close_batch(struct batch_watch *w, const struct event *e)
{
    note_closed(&w->closed_s, &w->n_closed, &w->closed_cap, e->batch, e->at_s);
    if (detector_advance(w->batches, watch_day(e->at_s)) < 0)
        return false;
    detector_close(w->batches, e->batch);
    return true;
}

/* Somebody looked into the deliveries of the place, all up to then. */
static bool close_place(struct batch_watch *w, const struct event *e)
{
    note_closed(&w->place_closed_s, &w->n_place_closed, &w->place_closed_cap,
                e->place, e->at_s);
    if (detector_advance(w->deliveries, watch_day(e->at_s)) < 0)
        return false;
    for (size_t u = 0; u < w->n_units; u++) {
        if (w->unit_keys[u].place != e->place)
            continue;
        detector_close(w->deliveries, (int)u);
        touch_unit(w, (int)u);
    }
    return true;
}

static bool take(struct batch_watch *w, const struct event *e)
{
    switch (e->what) {
    case HANDED_OUT:
        return hand_out(w, e);
    case CLOSED:
        return close_batch(w, e);
    case PLACE_CLOSED:
        return close_place(w, e);
    default:
        return lose(w, e);
    }
}

/* To the end of the day, the rest of which may still tell more. */
static void finish(struct batch_watch *w, int64_t now_s)
{
    detector_advance(w->batches, watch_day(now_s));
    detector_advance(w->deliveries, watch_day(now_s));
    w->upto_s = now_s;
}

int watch_take_all(struct batch_watch *w, struct ledger *lg, int64_t now_s)
{
    struct history h = {.w = w, .now_s = now_s};
    int64_t failed = 0;
    size_t misfits = 0;
    int err = batchstate_failed(lg, &failed);

    w->sums.at_s = now_s;
    if (err == 0)
        err = batchstate_times(lg, add_time, &h);
    if (err == 0)
        err = batchstate_closings(lg, 0, now_s, add_closing, &h);
    if (err == 0)
        sort_events(&h);
    for (size_t i = 0; err == 0 && i < h.n; i++)
        misfits += !take(w, &h.events[i]);
    if (misfits > 0)
        log_warn("%zu events of the breakage history do not fit the others",
                 misfits);
    if (err == 0)
        finish(w, now_s);
    w->failed_else = failed - w->failed;
    kw_free(h.events);
    return err;
}

int watch_take_news(struct batch_watch *w, struct ledger *lg, int64_t now_s,
                    bool *stale)
{
    struct history h = {.w = w, .now_s = now_s, .handed_only = true};
    int64_t failed = 0;
    int err = now_s < w->upto_s ? KW_EINVAL : 0;

    if (err == 0)
        err = batchstate_times_after(lg, w->handover_id, add_time, &h);
    if (err == 0)
        err = batchstate_changes(lg, w->upto_s, now_s, add_change, &h);
    if (err == 0)
        err = batchstate_closings(lg, w->upto_s, now_s, add_closing, &h);
    if (err == 0)
        err = batchstate_failed(lg, &failed);
    if (err == 0)
        sort_events(&h);
    for (size_t i = 0; err == 0 && !h.stale && i < h.n; i++) {
        if (h.events[i].what != PLACE_CLOSED)
            touch(w, h.events[i].batch, WATCH_NEW);
        h.stale = !take(w, &h.events[i]);
    }
    for (size_t i = 0; i < w->n_news; i++)
        w->touched[w->news[i]] &= (uint8_t)~WATCH_NEW;
    *stale =
        err == KW_EINVAL || h.stale || failed - w->failed != w->failed_else;
    if (err == 0)
        w->upto_s = now_s;
    kw_free(h.events);
    return err == KW_EINVAL ? 0 : err;
}
