/* causes.c - see causes.h: gathered from the ledger, as text and JSON. */
#include "page/causes.h"

#include "ledger/batchstate.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define N CAUSES_PAGE_VARIABLES

static const struct {
    const char *key, *head, *more; /* more: what one step of a number is */
    double per;                    /* 0: a name */
} variables[N] = {
    {"sawdust_pct", "sawdust share", "5 % more", 5},
    {"sawdust_mesh", "sawdust mesh", "10 mesh finer", 10},
    {"drying_days", "drying", "1 day more", 1},
    {"peak_degc", "peak temperature", "10 °C more", 10},
    {"soak_min", "soak", "10 min more", 10},
    {"cooling_h", "cooling", "5 h more", 5},
    {"silver_mg", "silver", "10 mg more", 10},
    {"clay_pit", "clay pit", "", 0},
    {"presser", "presser", "", 0},
    {"kiln", "kiln", "", 0},
    {"cone", "cone", "", 0},
    {"mould", "mould", "", 0},
    {"season", "season of pressing", "", 0},
    {"shelf", "kiln shelf", "", 0}, /* of each pot */
};
#define FIRST_NAME 7
#define SHELF      (N - 1)

static const char *const seasons[] = {"January to March", "April to June",
                                      "July to September",
                                      "October to December"};

struct gathering {
    struct causes_page *out;
    int64_t until_s; /* failures after it are not all told yet */
    double *values;  /* batches x N, in the order of number */
    size_t n_batches, values_cap;
    int32_t *number; /* batch id -> place in values and 1 */
    size_t n_number, number_cap;
    struct cause_unit *units;
    double *own; /* the shelf of each */
    size_t n, cap, own_cap;
    struct on_shelf {
        int64_t pot_key;
        double level;
    } * shelves; /* by key */
    size_t n_shelves, shelves_cap;
};

/* The number of a name among the levels of a variable; NaN for "". */
static double level_of(struct causes_page *c, int v, const char *name)
{
    size_t n = c->n_levels[v], cap = n;

    if (name[0] == '\0')
        return NAN;
    for (size_t i = 0; i < n; i++)
        if (strcmp(c->levels[v][i], name) == 0)
            return (double)i;
    kw_grow(&c->levels[v], &cap, n + 1, sizeof(**c->levels));
    c->levels[v][c->n_levels[v]++] = kw_strdup(name);
    return (double)n;
}

static int add_batch(const struct ledger_batch *b, void *arg)
{
    struct gathering *g = arg;
    int64_t made_s = b->pressed_s != 0 ? b->pressed_s : b->fired_s;
    const char *season =
        made_s == 0 ? "" : seasons[(clock_month(made_s) - 1) / 3];
    const char *names[SHELF - FIRST_NAME] = {b->clay_pit, b->presser, b->kiln,
                                             b->cone,     b->mould,   season};
    const double numbers[FIRST_NAME] = {
        b->sawdust_pct, b->sawdust_mesh, b->drying_days, b->peak_degc,
        b->soak_min,    b->cooling_h,    b->silver_mg};
    double *v;

    if (b->id <= 0 || b->id > INT32_MAX)
        return KW_ERANGE;
    while (g->n_number <= (size_t)b->id) {
        kw_grow(&g->number, &g->number_cap, g->n_number + 1,
                sizeof(*g->number));
        g->number[g->n_number++] = 0;
    }
    kw_grow(&g->values, &g->values_cap, (g->n_batches + 1) * N,
            sizeof(*g->values));
    v = g->values + g->n_batches * N;
    memcpy(v, numbers, sizeof(numbers));
    v[SHELF] = NAN;
    for (int i = FIRST_NAME; i < SHELF; i++)
        v[i] = level_of(g->out, i, names[i - FIRST_NAME]);
    g->number[b->id] = (int32_t)++g->n_batches;
    return 0;
}

static int add_shelf(const struct look_shelf *s, void *arg)
{
    struct gathering *g = arg;

    kw_grow(&g->shelves, &g->shelves_cap, g->n_shelves + 1,
            sizeof(*g->shelves));
    g->shelves[g->n_shelves++] =
        (struct on_shelf){s->pot_key, level_of(g->out, SHELF, s->shelf)};
    return 0;
}

static int by_key(const void *a, const void *b)
{
    const struct on_shelf *x = a, *y = b;

    return (x->pot_key > y->pot_key) - (x->pot_key < y->pot_key);
}

static double shelf_of(const struct gathering *g, int64_t pot_key)
{
    struct on_shelf key = {.pot_key = pot_key};
    const struct on_shelf *s = g->n_shelves > 0
                                   ? bsearch(&key, g->shelves, g->n_shelves,
                                             sizeof(*g->shelves), by_key)
                                   : NULL;

    return s != NULL ? s->level : NAN;
}

static int add_time(const struct batchstate_time *t, void *arg)
{
    struct gathering *g = arg;
    struct cause_unit u = {.stratum = (int)t->place_id};
    int64_t end_s = g->until_s;

    if ((size_t)t->batch_id >= g->n_number || g->number[t->batch_id] == 0 ||
        t->place_id > INT32_MAX)
        return 0;
    if (t->failed_s != 0 && t->failed_s <= end_s) {
        end_s = t->failed_s;
        u.failed = true;
    } else if (t->ended_s != 0 && t->ended_s < end_s) {
        end_s = t->ended_s;
    }
    /* in whole days, and half a day for one of its first day */
    u.exit = fmax(0.5, floor((double)(end_s - t->given_s) / CLOCK_DAY_S));
    u.cluster = g->number[t->batch_id] - 1;
    if (end_s < t->given_s)
        return 0;
    kw_grow(&g->units, &g->cap, g->n + 1, sizeof(*g->units));
    kw_grow(&g->own, &g->own_cap, g->n + 1, sizeof(*g->own));
    g->own[g->n] = shelf_of(g, t->pot_key);
    g->units[g->n++] = u;
    if (u.stratum > g->out->places)
        g->out->places = u.stratum;
    return 0;
}

static void study(struct gathering *g)
{
    struct causes_study s = {.units = g->units,
                             .n = g->n,
                             .variables = g->out->variables,
                             .n_variables = N,
                             .values = g->values,
                             .own = g->own,
                             .n_batches = g->n_batches,
                             .level = 0.9,
                             .fdr = 0.1};

    g->out->studied = g->n > 0 && causes_study(&s, &g->out->report) == 0;
}

int causes_page_gather(const struct page *p, struct ledger *lg,
                       struct causes_page *out)
{
    struct gathering g = {.out = out, .until_s = p->now_s - CAUSES_SETTLE_S};
    int err;

    *out = (struct causes_page){.studied = false};
    for (int v = 0; v < N; v++)
        out->variables[v] = (struct causes_variable){
            variables[v].key, v >= FIRST_NAME, v == SHELF,
            v >= FIRST_NAME ? 1 : variables[v].per};
    err = look_batches(lg, add_batch, &g);
    if (err == 0)
        err = look_shelves(lg, add_shelf, &g);
    if (err == 0)
        err = batchstate_times(lg, add_time, &g);
    if (err == 0)
        study(&g);
    kw_free(g.values);
    kw_free(g.number);
    kw_free(g.units);
    kw_free(g.own);
    kw_free(g.shelves);
    return err;
}

void causes_page_release(struct causes_page *c)
{
    for (int v = 0; v < N; v++) {
        for (size_t i = 0; i < c->n_levels[v]; i++)
            kw_free(c->levels[v][i]);
        kw_free(c->levels[v]);
    }
    *c = (struct causes_page){.studied = false};
}

/* ---- text ---- */

#define WITH_Q 7 /* columns of the table */

static const char *level_name(const struct causes_page *c, int v, int level)
{
    return level == CAUSES_OTHERS ? "all others" : c->levels[v][level];
}

static void put_row(struct table *t, const struct causes_page *c, int v,
                    const struct causes_finding *f, int k)
{
    const struct causes_level *l = &f->levels[k];

    table_cell(t, "%s", k == 0 ? variables[v].head : "");
    if (v < FIRST_NAME)
        table_cell(t, "%s", variables[v].more);
    else
        table_cell(t, "%s against %s", level_name(c, v, l->level),
                   level_name(c, v, f->reference));
    table_cell(t, "%s", page_number(l->ratio, 2).s);
    table_cell(t, "%s to %s", page_number(l->low, 2).s,
               page_number(l->high, 2).s);
    table_cell(t, "%d", f->batches);
    table_cell(t, "%s", k > 0 ? "" : page_number(f->p, 4).s);
    if (t->n_columns == WITH_Q)
        table_cell(t, "%s", k > 0 ? "" : page_number(f->q, 3).s);
}

static size_t put_table(const struct page *p, const struct causes_page *c,
                        const struct causes_finding *f, bool joint)
{
    static const struct table_column columns[] = {
        {"what", false, 8}, {"compared", false, 12}, {"ratio", true, 0},
        {"90 %", false, 0}, {"batches", true, 0},    {"p", true, 0},
        {"q", true, 0}};
    bool put[N] = {false};
    struct table t;
    size_t n;

    table_init(&t, &p->screen, columns, joint ? WITH_Q - 1 : WITH_Q);
    for (;;) { /* the surest first */
        int best = -1;

        for (int v = 0; v < N; v++)
            if (!put[v] && f[v].why == CAUSES_TOLD &&
                (best < 0 || f[v].p < f[best].p))
                best = v;
        if (best < 0)
            break;
        put[best] = true;
        for (int k = 0; k < f[best].n_levels; k++) {
            put_row(&t, c, best, &f[best], k);
        }
    }
    n = table_rows(&t);
    table_put(&t, &p->screen, 2);
    table_release(&t);
    return n;
}

static void put_best(const struct page *p, const struct causes_page *c)
{
    int told = 0;

    for (int v = 0; v < N; v++) {
        const struct causes_finding *f = &c->report.alone[v];

        if (f->why != CAUSES_TOLD || !(f->q <= 0.1))
            continue;
        told++;
        for (int k = 0; k < f->n_levels; k++) {
            const struct causes_level *l = &f->levels[k];

            if (f->n_levels > 1 && l->low < 1 && l->high > 1)
                continue;
            screen_item(&p->screen, 2,
                        "%s: %s%s%s is associated with %s times the failures "
                        "(%s to %s), over %d batches.",
                        variables[v].head,
                        v < FIRST_NAME ? variables[v].more
                                       : level_name(c, v, l->level),
                        v < FIRST_NAME ? "" : " against ",
                        v < FIRST_NAME ? "" : level_name(c, v, f->reference),
                        page_number(l->ratio, 2).s, page_number(l->low, 2).s,
                        page_number(l->high, 2).s, f->batches);
        }
    }
    if (told == 0)
        screen_text(&p->screen, 2,
                    "Nothing that was written down stands out: with all "
                    "compared, chance explains what differs (q above 0.10).");
}

static void put_refused(const struct page *p, const struct causes_page *c)
{
    static const char *const whys[] = {
        [CAUSES_FEW_BATCHES] = "known of fewer than 8 batches: refused",
        [CAUSES_ALL_ALIKE] = "no two groups of batches to compare",
        [CAUSES_FEW_FAILURES] = "fewer than 5 failures",
        [CAUSES_RAN_OFF] = "no estimate could be made",
    };
    bool any = false;

    for (int v = 0; v < N; v++) {
        const struct causes_finding *f = &c->report.alone[v];

        if (f->why == CAUSES_TOLD)
            continue;
        if (!any)
            screen_section(&p->screen, "Not compared", NULL);
        any = true;
        screen_item(&p->screen, 2, "%s: %s (known of %s)", variables[v].head,
                    whys[f->why], page_count(f->batches, "batch", "batches").s);
    }
}

static void put_joint(const struct page *p, const struct causes_page *c)
{
    const struct causes_report *r = &c->report;

    if (r->n_joint == 0)
        return;
    screen_section(&p->screen, "Together",
                   "Those with q up to 0.10 in one model, one coefficient for "
                   "each ten failures: what stays is not only the shadow of "
                   "another.");
    put_table(p, c, r->joint, true);
}

void causes_page_text(const struct page *p, const struct causes_page *c)
{
    const struct causes_report *r = &c->report;
    const struct screen *s = &p->screen;
    bool firth = false;

    screen_title(s, "What failing pots have in common");
    if (!c->studied) {
        screen_text(s, 0, "No pot was handed out yet: nothing to compare.");
        return;
    }
    screen_text(s, 0,
                "%s of %zu batches, of which %lld were reported cracked, "
                "leaking or broken up to %s. An association, not a cause: what "
                "was made differently may have differed in other ways, too. "
                "Before the recipe is changed, make some batches both ways.",
                page_count(r->pots, "pot", "pots").s, r->n_batches,
                (long long)r->failures, page_day(p->now_s - CAUSES_SETTLE_S).s);
    if (r->n_batches < CAUSES_BATCHES_LEAST) {
        screen_text(s, 0,
                    "Fewer than %d batches: refused. The batch is what was "
                    "made differently, however many pots it has.",
                    CAUSES_BATCHES_LEAST);
        return;
    }
    screen_section(s, "What stands out", NULL);
    put_best(p, c);
    screen_section(s, "Each alone",
                   "ratio: failures for each day in a home, against what it "
                   "is compared with. q: the share of false ones to be "
                   "expected among all that have a q up to this.");
    if (put_table(p, c, r->alone, false) == 0)
        screen_text(s, 2, "Nothing could be compared.");
    put_joint(p, c);
    put_refused(p, c);
    for (int v = 0; v < N; v++)
        firth |= r->alone[v].why == CAUSES_TOLD && r->alone[v].firth;
    screen_section(s, "How it was worked out", NULL);
    screen_text(s, 2,
                "Cox regression of the age at the report, within places, so "
                "that a place that reports more eagerly does not count; "
                "batches, not pots, make the intervals (t, batches - 1). "
                "Failures of the last 30 days are left out, as not all of "
                "them are told yet.%s",
                firth ? " Where failures are few (under ten for each "
                        "coefficient), Firth's penalty and profile intervals."
                      : "");
}

/* ---- JSON ---- */

static json_t *json_levels(const struct causes_page *c, int v,
                           const struct causes_finding *f)
{
    json_t *all = json_array();

    for (int k = 0; k < f->n_levels; k++) {
        const struct causes_level *l = &f->levels[k];
        json_t *j = json_pack(
            "{s:o, s:o, s:o}", "ratio", page_json_real(l->ratio), "low",
            page_json_real(l->low), "high", page_json_real(l->high));

        if (v >= FIRST_NAME) {
            json_object_set_new(j, "level",
                                json_string(level_name(c, v, l->level)));
            json_object_set_new(j, "batches", json_integer(l->batches));
        }
        json_array_append_new(all, j);
    }
    return all;
}

static json_t *json_finding(const struct causes_page *c, int v,
                            const struct causes_finding *f)
{
    static const char *const whys[] = {
        [CAUSES_TOLD] = "told",
        [CAUSES_FEW_BATCHES] = "few_batches",
        [CAUSES_ALL_ALIKE] = "all_alike",
        [CAUSES_FEW_FAILURES] = "few_failures",
        [CAUSES_RAN_OFF] = "no_estimate",
    };
    json_t *j = json_pack("{s:s, s:s, s:i}", "variable", variables[v].key,
                          "outcome", whys[f->why], "batches", f->batches);

    if (f->why != CAUSES_TOLD)
        return j;
    json_object_set_new(j, "pots", json_integer(f->pots));
    json_object_set_new(j, "failures", json_integer(f->failures));
    json_object_set_new(j, "method", json_string(f->firth ? "firth" : "cox"));
    json_object_set_new(j, "p", page_json_real(f->p));
    json_object_set_new(j, "q", page_json_real(f->q));
    if (v < FIRST_NAME)
        json_object_set_new(j, "per", json_real(variables[v].per));
    else
        json_object_set_new(j, "against",
                            json_string(level_name(c, v, f->reference)));
    json_object_set_new(j, "levels", json_levels(c, v, f));
    return j;
}

json_t *causes_page_json(const struct page *p, const struct causes_page *c)
{
    const struct causes_report *r = &c->report;
    json_t *alone = json_array(), *joint = json_array();

    for (int v = 0; c->studied && v < N; v++) {
        json_array_append_new(alone, json_finding(c, v, &r->alone[v]));
        if (r->n_joint > 0 && r->joint[v].why == CAUSES_TOLD)
            json_array_append_new(joint, json_finding(c, v, &r->joint[v]));
    }
    return json_pack("{s:s, s:o, s:I, s:I, s:I, s:o, s:o}", "says",
                     "associated with, not caused by", "until",
                     page_json_time(p->now_s - CAUSES_SETTLE_S), "batches",
                     (json_int_t)r->n_batches, "pots", (json_int_t)r->pots,
                     "failures", (json_int_t)r->failures, "alone", alone,
                     "together", joint);
}
