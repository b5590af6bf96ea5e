/* lasting.c - see lasting.h. */
#include "page/lasting.h"

#include "base/csv.h"
#include "ledger/batchstate.h"
#include "page/life.h"
#include "reader/serial.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LEVEL 0.9 /* of the intervals */

static const char *const names[LASTING_BYS] = {
    "batch", "mould", "clay", "place", "presser", "kiln", "shelf"};

const char *lasting_by_name(int by)
{
    return by >= 0 && by < LASTING_BYS ? names[by] : NULL;
}

int lasting_by_from_name(const char *name)
{
    for (int i = 0; i < LASTING_BYS; i++)
        if (strcmp(names[i], name) == 0)
            return i;
    return KW_ENOENT;
}

/* ---- gathering ---- */

struct of_pot { /* what is written down of one pot, not of its batch */
    int64_t key;
    int group;
};

struct gathering {
    const struct page *page;
    struct ledger *lg;
    struct lasting_page *out;
    int *batches; /* group of each batch and 1, by id; 0 not known */
    size_t n_batches, batches_cap;
    int *places; /* likewise */
    size_t n_places, places_cap;
    struct of_pot *pots; /* by key */
    size_t n_pots, pots_cap;
    struct wear_unit *units;
    size_t n, cap;
};

/* The number of the group of that name, made when it is met first. */
static int group_of(struct gathering *g, const char *name)
{
    struct lasting_page *out = g->out;

    if (name[0] == '\0')
        name = "-";
    for (size_t i = 0; i < out->n; i++)
        if (strcmp(out->groups[i].name, name) == 0)
            return (int)i;
    kw_grow(&out->groups, &out->cap, out->n + 1, sizeof(*out->groups));
    out->groups[out->n] = (struct lasting_group){.n = 0};
    kw_copy(out->groups[out->n].name, sizeof(out->groups[0].name), name,
            strlen(name));
    return (int)out->n++;
}

static int *number_at(int **all, size_t *n, size_t *cap, int64_t id)
{
    if ((size_t)id >= *n) {
        kw_grow(all, cap, (size_t)id + 1, sizeof(**all));
        memset(*all + *n, 0, ((size_t)id + 1 - *n) * sizeof(**all));
        *n = (size_t)id + 1;
    }
    return &(*all)[id];
}

static const char *word_of(enum lasting_by by, const struct ledger_batch *b)
{
    switch (by) {
    case LASTING_MOULD:
        return b->mould;
    case LASTING_CLAY:
        return b->clay_pit;
    case LASTING_PRESSER:
        return b->presser;
    case LASTING_KILN:
        return b->kiln;
    case LASTING_BATCH:
        return b->code;
    default: /* not of the batch */
        return "";
    }
}

static int add_batch(const struct ledger_batch *b, void *arg)
{
    struct gathering *g = arg;

    if (b->id <= 0 || b->id > INT32_MAX)
        return KW_ERANGE;
    if (b->pots_out > 0)
        *number_at(&g->batches, &g->n_batches, &g->batches_cap, b->id) =
            group_of(g, word_of(g->out->by, b)) + 1;
    return 0;
}

static void note_pot(struct gathering *g, int64_t key, const char *word)
{
    kw_grow(&g->pots, &g->pots_cap, g->n_pots + 1, sizeof(*g->pots));
    g->pots[g->n_pots++] = (struct of_pot){key, group_of(g, word)};
}

static int add_mould(const struct look_pot *p, void *arg)
{
    int64_t key;

    if (p->mould[0] != '\0' && p->outings > 0 &&
        serial_key(p->serial, &key) == 0)
        note_pot(arg, key, p->mould);
    return 0;
}

static int add_shelf(const struct look_shelf *s, void *arg)
{
    note_pot(arg, s->pot_key, s->shelf);
    return 0;
}

static int by_key(const void *a, const void *b)
{
    const struct of_pot *x = a, *y = b;

    return (x->key > y->key) - (x->key < y->key);
}

static int place_group(struct gathering *g, int64_t id, int *group)
{
    int *at;
    struct ledger_place place = {.name = "-"};
    int err = 0;

    if (id < 0 || id > INT32_MAX)
        return KW_ERANGE;
    at = number_at(&g->places, &g->n_places, &g->places_cap, id);
    if (*at == 0) {
        if (id != 0 && (err = ledger_place_get(g->lg, id, &place)) < 0)
            return err;
        *at = group_of(g, place.name) + 1;
    }
    *group = *at - 1;
    return 0;
}

static int find_group(struct gathering *g, const struct batchstate_time *t,
                      int *group)
{
    struct of_pot key = {t->pot_key, 0};
    const struct of_pot *own = g->n_pots > 0 ? bsearch(&key, g->pots, g->n_pots,
                                                       sizeof(*g->pots), by_key)
                                             : NULL;

    if (g->out->by == LASTING_PLACE)
        return place_group(g, t->place_id, group);
    if (own != NULL)
        *group = own->group;
    else if ((size_t)t->batch_id < g->n_batches && g->batches[t->batch_id] > 0)
        *group = g->batches[t->batch_id] - 1;
    else
        *group = group_of(g, "");
    return 0;
}

static int add_time(const struct batchstate_time *t, void *arg)
{
    struct gathering *g = arg;
    int64_t now_s = g->page->now_s, end_s = now_s;
    bool failed = t->failed_s != 0 && t->failed_s <= now_s;
    struct wear_unit u = {.failed = failed};
    int err;

    if (t->given_s > now_s || t->place_id > INT32_MAX)
        return 0;
    if ((err = find_group(g, t, &u.group)) < 0)
        return err;
    if (failed)
        end_s = t->failed_s;
    else if (t->ended_s != 0 && t->ended_s < now_s)
        end_s = t->ended_s;
    u.exit = fmax(0.5, floor((double)(end_s - t->given_s) / CLOCK_DAY_S));
    u.stratum = g->out->by == LASTING_PLACE ? 0 : (int)t->place_id;
    kw_grow(&g->units, &g->cap, g->n + 1, sizeof(*g->units));
    g->units[g->n++] = u;
    g->out->groups[u.group].pots++;
    g->out->groups[u.group].failed += failed;
    return 0;
}

/* ---- curves ---- */

static int by_group(const void *a, const void *b)
{
    const struct wear_unit *x = a, *y = b;

    return (x->group > y->group) - (x->group < y->group);
}

static int by_name(const void *a, const void *b)
{
    return strcmp(((const struct lasting_group *)a)->name,
                  ((const struct lasting_group *)b)->name);
}

static void make_curves(struct gathering *g)
{
    if (g->n > 0)
        qsort(g->units, g->n, sizeof(*g->units), by_group);
    for (size_t from = 0, to = 0; from < g->n; from = to) {
        struct lasting_group *out = &g->out->groups[g->units[from].group];

        while (to < g->n && g->units[to].group == g->units[from].group)
            to++;
        out->rows = kw_calloc(to - from, sizeof(*out->rows));
        out->n = wear_curve(g->units + from, to - from, LEVEL, out->rows);
    }
}

static void test_all(struct gathering *g)
{
    struct wear_logrank r;

    if (wear_logrank(g->units, g->n, &r) == 0 && r.df > 0) {
        g->out->p = r.p;
        g->out->chisq = r.chisq;
        g->out->df = r.df;
    }
    wear_logrank_release(&r);
}

/* Groups of which no pot was handed out are left out. */
static void finish(struct lasting_page *out)
{
    size_t n = 0;

    for (size_t i = 0; i < out->n; i++)
        if (out->groups[i].pots > 0)
            out->groups[n++] = out->groups[i];
    out->n = n;
    if (n > 0)
        qsort(out->groups, n, sizeof(*out->groups), by_name);
}

int lasting_page_gather(const struct page *p, struct ledger *lg,
                        enum lasting_by by, struct lasting_page *out)
{
    struct gathering g = {.page = p, .lg = lg, .out = out};
    int err = 0;

    *out = (struct lasting_page){.by = by, .p = NAN, .chisq = NAN, .df = NAN};
    if (by != LASTING_PLACE && by != LASTING_SHELF)
        err = look_batches(lg, add_batch, &g);
    if (err == 0 && by == LASTING_MOULD)
        err = look_pots(lg, add_mould, &g);
    if (err == 0 && by == LASTING_SHELF)
        err = look_shelves(lg, add_shelf, &g);
    if (err == 0 && g.n_pots > 0)
        qsort(g.pots, g.n_pots, sizeof(*g.pots), by_key);
    if (err == 0)
        err = batchstate_times(lg, add_time, &g);
    if (err == 0) {
        make_curves(&g);
        test_all(&g);
        finish(out);
    }
    kw_free(g.batches);
    kw_free(g.places);
    kw_free(g.pots);
    kw_free(g.units);
    return err;
}

void lasting_page_release(struct lasting_page *l)
{
    for (size_t i = 0; i < l->n; i++)
        kw_free(l->groups[i].rows);
    kw_free(l->groups);
    *l = (struct lasting_page){.n = 0};
}

/* ---- what is said ---- */

static const int marks[] = {90, 180, 365, 730}; /* ages in days */

static void put_whole(struct table *t, const struct lasting_group *g, int age)
{
    const struct wear_row *r = NULL;
    int64_t watched = 0;

    for (size_t i = 0; i < g->n && g->rows[i].time <= age; i++)
        r = &g->rows[i];
    for (size_t i = 0; i < g->n && watched == 0; i++)
        if (g->rows[i].time >= age)
            watched = g->rows[i].at_risk;
    life_put_whole(t, r, watched > 0);
}

static void put_test(const struct page *p, const struct lasting_page *l)
{
    if (isnan(l->p))
        screen_text(&p->screen, 0,
                    l->n > WEAR_GROUPS_MOST
                        ? "Too many groups to test whether they differ."
                        : "Nothing to hold against each other.");
    else
        screen_text(&p->screen, 0,
                    "So far apart by chance%s (log-rank, chi-square %.1f on "
                    "%.0f): %s. One look. That groups differ does not say why: "
                    "what was made together differs together.",
                    l->by == LASTING_PLACE ? "" : ", within places", l->chisq,
                    l->df, page_probability(l->p).s);
    if (l->by == LASTING_PLACE)
        screen_text(&p->screen, 0,
                    "A place that tells more eagerly looks worse.");
}

void lasting_page_text(const struct page *p, const struct lasting_page *l)
{
    const struct table_column columns[] = {
        {names[l->by], false, 8}, {"pots", true, 0}, {"failed", true, 0},
        {"90 days", true, 7},     {"180", true, 7},  {"365", true, 7},
        {"730", true, 7}};
    struct table t;

    screen_title(&p->screen, "How long pots last, by %s", names[l->by]);
    if (l->n == 0) {
        screen_text(&p->screen, 0, "No pot was handed out yet.");
        return;
    }
    screen_text(&p->screen, 0,
                "Of 100 pots, those of which neither crack, leak nor broken "
                "was told by that many days in a home, as of %s (Kaplan-Meier; "
                "90 %% interval); - where none was watched so long.",
                page_day(p->now_s).s);
    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (size_t i = 0; i < l->n; i++) {
        const struct lasting_group *g = &l->groups[i];

        table_cell(&t, "%s", g->name);
        table_cell(&t, "%lld", (long long)g->pots);
        table_cell(&t, "%lld", (long long)g->failed);
        for (size_t k = 0; k < KW_COUNT(marks); k++)
            put_whole(&t, g, marks[k]);
    }
    table_put(&t, &p->screen, 0);
    table_release(&t);
    put_test(p, l);
}

json_t *lasting_page_json(const struct page *p, const struct lasting_page *l)
{
    json_t *all = json_array();

    for (size_t i = 0; i < l->n; i++) {
        const struct lasting_group *g = &l->groups[i];
        json_t *curve = json_array();

        for (size_t k = 0; k < g->n; k++) {
            const struct wear_row *r = &g->rows[k];

            if (r->failed > 0)
                json_array_append_new(
                    curve,
                    json_pack("{s:f, s:I, s:I, s:f, s:o, s:o, s:f}", "age_days",
                              r->time, "at_risk", (json_int_t)r->at_risk,
                              "failed", (json_int_t)r->failed, "whole",
                              r->survival, "low", page_json_real(r->low),
                              "high", page_json_real(r->high), "hazard",
                              r->hazard));
        }
        json_array_append_new(
            all, json_pack("{s:o, s:I, s:I, s:o}", "name",
                           page_json_word(g->name), "pots", (json_int_t)g->pots,
                           "failed", (json_int_t)g->failed, "curve", curve));
    }
    return json_pack("{s:s, s:o, s:o, s:o, s:o, s:o}", "by", names[l->by],
                     "as_of", page_json_time(p->now_s), "logrank_p",
                     page_json_real(l->p), "chisq", page_json_real(l->chisq),
                     "df", page_json_real(l->df), "groups", all);
}

static void put_number(struct kw_buf *out, double v)
{
    if (isfinite(v))
        kw_buf_printf(out, ",%.12g", v);
    else
        kw_buf_putc(out, ',');
}

void lasting_page_csv(const struct page *p, const struct lasting_page *l)
{
    struct kw_buf *out = p->screen.out;

    kw_buf_puts(out, "group,time,at_risk,failed,survival,low,high,log_se,"
                     "hazard,hazard_se\n");
    for (size_t i = 0; i < l->n; i++)
        for (size_t k = 0; k < l->groups[i].n; k++) {
            const struct wear_row *r = &l->groups[i].rows[k];

            csv_put(out, l->groups[i].name, strlen(l->groups[i].name), true);
            kw_buf_printf(out, ",%.12g,%lld,%lld", r->time,
                          (long long)r->at_risk, (long long)r->failed);
            put_number(out, r->survival);
            put_number(out, r->low);
            put_number(out, r->high);
            put_number(out, r->log_se);
            put_number(out, r->hazard);
            put_number(out, r->hazard_se);
            kw_buf_putc(out, '\n');
        }
}
