/* batches.c - see batches.h. */
#include "page/batches.h"

#include "base/csv.h"
#include "watch/cluster.h"
#include "watch/detector.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct gathering {
    struct batches_page *out;
    struct batchstate *states; /* by batch id */
    size_t n_states, cap;
};

static void put_state(struct gathering *g, const struct batchstate *s)
{
    size_t id = (size_t)s->batch_id;

    if (id >= g->n_states) {
        kw_grow(&g->states, &g->cap, id + 1, sizeof(*g->states));
        memset(g->states + g->n_states, 0,
               (id + 1 - g->n_states) * sizeof(*g->states));
        g->n_states = id + 1;
    }
    g->states[id] = *s;
}

static int add_state(const struct batchstate *s, void *arg)
{
    if (s->batch_id <= 0 || s->batch_id > INT32_MAX)
        return KW_ERANGE;
    put_state(arg, s);
    return 0;
}

static int add_batch(const struct ledger_batch *b, void *arg)
{
    struct gathering *g = arg;
    struct batches_row *r;

    if (b->id <= 0 || (size_t)b->id >= g->n_states ||
        g->states[b->id].batch_id == 0)
        return 0;
    kw_grow(&g->out->rows, &g->out->cap, g->out->n + 1, sizeof(*g->out->rows));
    r = &g->out->rows[g->out->n++];
    *r = (struct batches_row){.s = g->states[b->id],
                              .fired_s =
                                  b->fired_s != 0 ? b->fired_s : b->pressed_s,
                              .pots_out = b->pots_out};
    memcpy(r->code, b->code, sizeof(r->code));
    if (r->s.at_s > g->out->as_of_s)
        g->out->as_of_s = r->s.at_s;
    return 0;
}

static void adjust(struct batches_page *b)
{
    double *p = kw_calloc(b->n + 1, sizeof(*p));
    double *q = kw_calloc(b->n + 1, sizeof(*q));

    for (size_t i = 0; i < b->n; i++)
        p[i] = cluster_mid_p(b->rows[i].s.counted, b->rows[i].s.expected);
    cluster_bh(p, b->n, q);
    for (size_t i = 0; i < b->n; i++) {
        b->rows[i].p = p[i];
        b->rows[i].q = q[i];
    }
    kw_free(p);
    kw_free(q);
}

static int by_firing(const void *a, const void *b)
{
    const struct batches_row *x = a, *y = b;

    if (x->fired_s != y->fired_s)
        return x->fired_s < y->fired_s ? -1 : 1;
    return strcmp(x->code, y->code);
}

static int by_risk(const void *a, const void *b)
{
    const struct batches_row *x = a, *y = b;

    if (x->s.risk_low != y->s.risk_low)
        return x->s.risk_low > y->s.risk_low ? -1 : 1;
    return strcmp(x->code, y->code);
}

/* Rows stand in order of firing; those without a date are first, left out. */
static void scan_firings(struct batches_page *b)
{
    int64_t *failed = kw_calloc(b->n + 1, sizeof(*failed));
    double *expected = kw_calloc(b->n + 1, sizeof(*expected));
    struct scan_line line = {failed, expected, 0, SCAN_FIRINGS};
    struct scan_chance chance = {BATCHES_SCAN_SEED, 999, 10};
    struct scan_found found;
    size_t first = 0;

    while (first < b->n && b->rows[first].fired_s == 0)
        first++;
    for (size_t i = first; i < b->n; i++) {
        failed[line.n] = b->rows[i].s.counted;
        expected[line.n++] = fmax(b->rows[i].s.expected, 1e-9);
    }
    if (scan_run(&line, &chance, &found) == 0) {
        const struct batches_row *from = &b->rows[first + found.window.from];
        const struct batches_row *to = &b->rows[first + found.window.to];

        memcpy(b->run_from, from->code, sizeof(b->run_from));
        memcpy(b->run_to, to->code, sizeof(b->run_to));
        b->run_from_s = from->fired_s;
        b->run_to_s = to->fired_s;
    }
    b->run = found.window;
    b->run_p = found.p;
    kw_free(failed);
    kw_free(expected);
}

int batches_page_gather(const struct page *p, struct ledger *lg,
                        const struct batches_newer *newer,
                        struct batches_page *out)
{
    struct gathering g = {.out = out};
    int err;

    *out = (struct batches_page){.run_p = NAN};
    err = batchstate_each(lg, add_state, &g);
    for (size_t i = 0; err == 0 && i < newer->n; i++)
        err = add_state(&newer->states[i], &g);
    if (err == 0)
        err = look_batches(lg, add_batch, &g);
    if (err == 0 && out->n > 0) {
        adjust(out);
        qsort(out->rows, out->n, sizeof(*out->rows), by_firing);
        scan_firings(out);
        qsort(out->rows, out->n, sizeof(*out->rows), by_risk);
    }
    if (err == 0)
        err = batchstate_get_weight(lg, p->now_s, &out->weight);
    if (err == KW_ENOENT)
        err = 0;
    if (newer->weight.day != 0)
        out->weight = newer->weight;
    kw_free(g.states);
    return err;
}

void batches_page_release(struct batches_page *b)
{
    kw_free(b->rows);
    *b = (struct batches_page){.run_p = NAN};
}

static const char *state_of(const struct batches_row *r)
{
    return detector_state_name((enum detector_state)r->s.state);
}

static void put_run(const struct page *p, const struct batches_page *b)
{
    screen_section(&p->screen, "Along the firing dates",
                   "Neighbouring firings share a mix, a stack of wood, a "
                   "season.");
    if (isnan(b->run_p))
        screen_text(&p->screen, 2,
                    "Too few firings or failures to look for a run.");
    else
        screen_text(
            &p->screen, 2,
            "%s From %s (%s) to %s (%s): %lld failures, %.1f expected; "
            "a run as strong somewhere by chance: p %s (%d tries at "
            "most, seed %d).",
            b->run_p <= SCAN_TOLD_P ? "A run stands out."
                                    : "No run stands out; the strongest:",
            b->run_from, page_day(b->run_from_s).s, b->run_to,
            page_day(b->run_to_s).s, (long long)b->run.failed, b->run.expected,
            page_number(b->run_p, 4).s, 999, BATCHES_SCAN_SEED);
}

/* How eagerly places tell, and how far that is believed. */
static void put_weight(const struct page *p, const struct batches_page *b)
{
    const struct batchstate_weight *w = &b->weight;

    screen_section(&p->screen, "How much places differ in what they tell",
                   NULL);
    if (w->day == 0)
        screen_text(&p->screen, 2,
                    "Too few failures to say: a place's own telling counts "
                    "half from %.0f expected failures on.",
                    detector_defaults.place_weight);
    else
        screen_text(&p->screen, 2,
                    "By %.0f %% or so (one standard deviation), from %s in %s "
                    "on %s; so a place's own telling counts half from %.0f "
                    "expected failures on. Estimated anew every 90 days.",
                    100 / sqrt(w->nu),
                    page_count(w->counted, "failure", "failures").s,
                    page_count(w->places, "place", "places").s,
                    page_day(w->day * CLOCK_DAY_S).s, w->nu);
}

void batches_page_text(const struct page *p, const struct batches_page *b)
{
    static const struct table_column columns[] = {
        {"batch", false, 0}, {"state", false, 0}, {"out", true, 0},
        {"told", true, 0},   {"count", true, 0},  {"expect", true, 0},
        {"ratio", true, 0},  {"90 %", false, 0},  {"q", true, 0},
        {"fired", false, 0}};
    struct table t;

    screen_title(&p->screen, "All batches");
    if (b->n == 0) {
        screen_text(&p->screen, 0, "No pot was handed out yet.");
        return;
    }
    screen_text(&p->screen, 0,
                "%s as of %s, the worst first. told: pots reported failed; "
                "count: without those of one place within days; expect: "
                "what is expected. ratio: to the other batches, for "
                "pots of the same age, by how eagerly each place reports. q up "
                "to %.2f is worth a look: the share of false ones to be "
                "expected among them. The state alone alarms.",
                page_count((int64_t)b->n, "batch", "batches").s,
                page_day(b->as_of_s).s, BATCHES_SHOWN_Q);
    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (size_t i = 0; i < b->n; i++) {
        const struct batches_row *r = &b->rows[i];

        table_cell(&t, "%s", r->code);
        table_cell(&t, "%s", state_of(r));
        table_cell(&t, "%d", r->pots_out);
        table_cell(&t, "%lld", (long long)r->s.reported);
        table_cell(&t, "%lld", (long long)r->s.counted);
        table_cell(&t, "%s", page_number(r->s.expected, 1).s);
        table_cell(&t, "%s", page_number(r->s.risk, 1).s);
        table_cell(&t, "%s-%s", page_number(r->s.risk_low, 1).s,
                   page_number(r->s.risk_high, 1).s);
        table_cell(&t, "%s%s", page_number(r->q, 2).s,
                   r->q <= BATCHES_SHOWN_Q ? "*" : "");
        table_cell(&t, "%s", page_day(r->fired_s).s);
    }
    table_put(&t, &p->screen, 0);
    table_release(&t);
    put_run(p, b);
    put_weight(p, b);
}

json_t *batches_page_json(const struct page *p, const struct batches_page *b)
{
    json_t *all = json_array(), *j;

    (void)p;
    for (size_t i = 0; i < b->n; i++) {
        const struct batches_row *r = &b->rows[i];

        j = json_pack(
            "{s:s, s:s, s:o, s:o, s:i, s:I, s:I, s:o, s:o}", "batch", r->code,
            "state", state_of(r), "since", page_json_time(r->s.since_s),
            "fired", page_json_time(r->fired_s), "pots_out", r->pots_out,
            "reported", (json_int_t)r->s.reported, "counted",
            (json_int_t)r->s.counted, "expected", page_json_real(r->s.expected),
            "upper", page_json_real(r->s.upper));
        json_object_set_new(j, "risk", page_json_real(r->s.risk));
        json_object_set_new(j, "risk_low", page_json_real(r->s.risk_low));
        json_object_set_new(j, "risk_high", page_json_real(r->s.risk_high));
        json_object_set_new(j, "places", json_integer(r->s.places));
        json_object_set_new(j, "place_bound", json_boolean(r->s.bound));
        json_object_set_new(j, "mid_p", page_json_real(r->p));
        json_object_set_new(j, "q", page_json_real(r->q));
        json_array_append_new(all, j);
    }
    j = json_pack("{s:o, s:o}", "as_of", page_json_time(b->as_of_s), "batches",
                  all);
    if (!isnan(b->run_p))
        json_object_set_new(
            j, "firing_run",
            json_pack("{s:s, s:s, s:I, s:o, s:o, s:i}", "from", b->run_from,
                      "to", b->run_to, "failed", (json_int_t)b->run.failed,
                      "expected", page_json_real(b->run.expected), "p",
                      page_json_real(b->run_p), "seed", BATCHES_SCAN_SEED));
    json_object_set_new(
        j, "place_weight",
        json_pack("{s:f, s:o, s:I, s:I}", "nu",
                  b->weight.day != 0 ? b->weight.nu
                                     : detector_defaults.place_weight,
                  "estimated", page_json_time(b->weight.day * CLOCK_DAY_S),
                  "places", (json_int_t)b->weight.places, "counted",
                  (json_int_t)b->weight.counted));
    return j;
}

void batches_page_csv(const struct page *p, const struct batches_page *b)
{
    struct kw_buf *out = p->screen.out;

    kw_buf_puts(out, "batch,state,fired,pots_out,reported,counted,expected,"
                     "risk,risk_low,risk_high,places,place_bound,mid_p,q\n");
    for (size_t i = 0; i < b->n; i++) {
        const struct batches_row *r = &b->rows[i];

        csv_put(out, r->code, strlen(r->code), true);
        kw_buf_printf(out, ",%s,%s,%d,%lld,%lld,%.12g,%.12g,%.12g,%.12g,%d,%d",
                      state_of(r), r->fired_s ? page_day(r->fired_s).s : "",
                      r->pots_out, (long long)r->s.reported,
                      (long long)r->s.counted, r->s.expected, r->s.risk,
                      r->s.risk_low, r->s.risk_high, r->s.places, r->s.bound);
        kw_buf_printf(out, ",%.12g,%.12g\n", r->p, r->q);
    }
}
