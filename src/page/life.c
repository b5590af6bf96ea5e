/* life.c - the life of a batch gathered from the ledger: see life.h. */
#include "page/life.h"

#include "ledger/batchstate.h"
#include "watch/breakage.h"
#include "watch/detector.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct own_time { /* a time of the batch's pots */
    int64_t pot_key, given_s, end_s, place_id;
    bool failed;
};

struct gathering {
    const struct page *page;
    int64_t batch_id;
    struct wear_unit *units;
    size_t n, cap;
    struct breakage_batch others;
    struct own_time *own;
    size_t n_own, own_cap;
    double rate[BREAKAGE_BINS];
};

static int add_time(const struct batchstate_time *t, void *arg)
{
    struct gathering *g = arg;
    int64_t now_s = g->page->now_s, end_s = now_s;
    bool failed = t->failed_s != 0 && t->failed_s <= now_s;
    struct wear_unit u = {.failed = failed};
    double age;

    if (t->given_s > now_s || t->place_id > INT32_MAX)
        return 0;
    if (failed)
        end_s = t->failed_s;
    else if (t->ended_s != 0 && t->ended_s < now_s)
        end_s = t->ended_s;
    age = (double)(end_s - t->given_s) / CLOCK_DAY_S;
    u.exit = fmax(0.5, floor(age));
    u.group = t->batch_id == g->batch_id;
    u.stratum = (int)t->place_id;
    kw_grow(&g->units, &g->cap, g->n + 1, sizeof(*g->units));
    g->units[g->n++] = u;
    if (u.group == 1) {
        kw_grow(&g->own, &g->own_cap, g->n_own + 1, sizeof(*g->own));
        g->own[g->n_own++] = (struct own_time){.pot_key = t->pot_key,
                                               .given_s = t->given_s,
                                               .end_s = end_s,
                                               .place_id = t->place_id,
                                               .failed = failed};
    } else {
        breakage_expose(&g->others, 0, age);
        g->others.failed_at[breakage_bin(age)] += failed;
    }
    return 0;
}

static void make_curve(const struct gathering *g, int group,
                       struct life_curve *out)
{
    struct wear_unit *some = kw_calloc(g->n + 1, sizeof(*some));
    size_t n = 0;

    for (size_t i = 0; i < g->n; i++)
        if (g->units[i].group == group)
            some[n++] = g->units[i];
    out->pots = (int64_t)n;
    out->rows = kw_calloc(n + 1, sizeof(*out->rows));
    out->n = wear_curve(some, n, 0.9, out->rows);
    kw_free(some);
}

static double expected_in(const struct gathering *g, const struct own_time *t,
                          int64_t from_s, int64_t to_s)
{
    struct breakage_batch b = {.batch_id = 0};
    int64_t from = t->given_s > from_s ? t->given_s : from_s;
    int64_t to = t->end_s < to_s ? t->end_s : to_s;
    double e = 0;

    if (to <= from)
        return 0;
    breakage_expose(&b, (double)(from - t->given_s) / CLOCK_DAY_S,
                    (double)(to - t->given_s) / CLOCK_DAY_S);
    for (int k = 0; k < BREAKAGE_BINS; k++)
        e += g->rate[k] * b.exposure_days[k];
    return e;
}

/* Midnight of the first of the month that at_s lies in. */
static int64_t month_of(int64_t at_s)
{
    int month = clock_month(at_s);
    int64_t s = clock_midnight(at_s);

    while (clock_month(s - 3600) == month)
        s = clock_midnight(s - 3600);
    return s;
}

static void add_months(const struct gathering *g, struct life *out)
{
    int64_t from_s = INT64_MAX, to_s;

    for (size_t i = 0; i < g->n_own; i++)
        if (g->own[i].given_s < from_s)
            from_s = g->own[i].given_s;
    for (from_s = g->n_own > 0 ? month_of(from_s) : INT64_MAX;
         from_s < g->page->now_s && out->n_months < 600; from_s = to_s) {
        struct life_count *m;

        to_s = month_of(from_s + 40 * CLOCK_DAY_S);
        kw_grow(&out->months, &out->months_cap, out->n_months + 1,
                sizeof(*out->months));
        m = &out->months[out->n_months++];
        *m = (struct life_count){.lat_deg = NAN, .lon_deg = NAN};
        snprintf(m->name, sizeof(m->name), "%.7s", page_day(from_s).s);
        for (size_t i = 0; i < g->n_own; i++) {
            m->failed += g->own[i].failed && g->own[i].end_s >= from_s &&
                         g->own[i].end_s < to_s;
            m->expected += expected_in(g, &g->own[i], from_s, to_s);
        }
    }
}

/* The count of that name among n, made when it is met first. */
static struct life_count *count_of(struct life_count **all, size_t *n,
                                   size_t *cap, const char *name)
{
    struct life_count *c;

    for (size_t i = 0; i < *n; i++)
        if (strcmp((*all)[i].name, name) == 0)
            return &(*all)[i];
    kw_grow(all, cap, *n + 1, sizeof(**all));
    c = &(*all)[(*n)++];
    *c = (struct life_count){.lat_deg = NAN, .lon_deg = NAN};
    kw_copy(c->name, sizeof(c->name), name, strlen(name));
    return c;
}

static void count(const struct gathering *g, const struct own_time *t,
                  struct life_count *c)
{
    c->pots++;
    c->failed += t->failed;
    c->expected += expected_in(g, t, 0, INT64_MAX);
}

static int add_places(const struct gathering *g, struct ledger *lg,
                      struct life *out)
{
    int err = 0;

    for (size_t i = 0; err == 0 && i < g->n_own; i++) {
        const struct own_time *t = &g->own[i];
        struct ledger_place place = {
            .name = "-", .lat_deg = NAN, .lon_deg = NAN};
        struct life_count *c;

        if (t->place_id != 0)
            err = ledger_place_get(lg, t->place_id, &place);
        if (err < 0)
            break;
        c = count_of(&out->places, &out->n_places, &out->places_cap,
                     place.name);
        c->lat_deg = place.lat_deg;
        c->lon_deg = place.lon_deg;
        count(g, t, c);
    }
    return err;
}

static int by_key(const void *a, const void *b)
{
    const struct own_time *x = a, *y = b;

    return x->pot_key != y->pot_key
               ? (x->pot_key > y->pot_key) - (x->pot_key < y->pot_key)
               : (x->given_s > y->given_s) - (x->given_s < y->given_s);
}

struct shelving {
    const struct gathering *g;
    struct life *out;
    size_t next; /* of the batch's times by pot; shelves come so too */
};

static int add_shelf(const struct look_shelf *s, void *arg)
{
    struct shelving *a = arg;
    const struct gathering *g = a->g;

    while (a->next < g->n_own && g->own[a->next].pot_key < s->pot_key)
        a->next++;
    for (; a->next < g->n_own && g->own[a->next].pot_key == s->pot_key;
         a->next++)
        count(g, &g->own[a->next],
              count_of(&a->out->shelves, &a->out->n_shelves,
                       &a->out->shelves_cap, s->shelf));
    return 0;
}

static int add_shelves(const struct gathering *g, struct ledger *lg,
                       struct life *out)
{
    struct shelving a = {g, out, 0};

    if (g->n_own == 0)
        return 0;
    qsort(g->own, g->n_own, sizeof(*g->own), by_key);
    return look_shelves(lg, add_shelf, &a);
}

static int add_spot(const struct look_spot *s, void *arg)
{
    struct life *out = arg;

    kw_grow(&out->spots, &out->spots_cap, out->n_spots + 1,
            sizeof(*out->spots));
    out->spots[out->n_spots++] =
        (struct map_spot){s->lat_deg, s->lon_deg, '.', 0};
    return 0;
}

int life_gather(const struct page *p, struct ledger *lg, int64_t batch_id,
                struct life *out)
{
    struct gathering g = {.page = p, .batch_id = batch_id};
    const struct breakage_prior *prior = &detector_defaults.prior;
    struct wear_logrank r;
    int err;

    *out = (struct life){.p = NAN};
    err = batchstate_times(lg, add_time, &g);
    for (int k = 0; k < BREAKAGE_BINS; k++)
        g.rate[k] =
            (prior->events + (double)g.others.failed_at[k]) /
            (prior->events / prior->rate_per_day + g.others.exposure_days[k]);
    if (err == 0) {
        make_curve(&g, 1, &out->own);
        make_curve(&g, 0, &out->others);
        if (wear_logrank(g.units, g.n, &r) == 0 && r.df > 0)
            out->p = r.p;
        wear_logrank_release(&r);
        add_months(&g, out);
        err = add_places(&g, lg, out);
    }
    if (err == 0)
        err = add_shelves(&g, lg, out);
    if (err == 0)
        err = look_spots(lg, add_spot, out);
    kw_free(g.units);
    kw_free(g.own);
    return err;
}

void life_release(struct life *l)
{
    kw_free(l->own.rows);
    kw_free(l->others.rows);
    kw_free(l->months);
    kw_free(l->places);
    kw_free(l->shelves);
    kw_free(l->spots);
    *l = (struct life){.p = NAN};
}
