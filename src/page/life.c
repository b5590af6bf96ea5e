/* life.c - see life.h. */
#include "page/life.h"

#include "ledger/batchstate.h"
#include "page/plot.h"
#include "watch/breakage.h"
#include "watch/detector.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

const int life_marks[LIFE_MARKS] = {30, 90, 180, 365, 730};

struct own_time { /* a time of the batch's pots */
    int64_t given_s, end_s, place_id;
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
        g->own[g->n_own++] =
            (struct own_time){t->given_s, end_s, t->place_id, failed};
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
        *m = (struct life_count){.failed = 0};
        snprintf(m->name, sizeof(m->name), "%.7s", page_day(from_s).s);
        for (size_t i = 0; i < g->n_own; i++) {
            m->failed += g->own[i].failed && g->own[i].end_s >= from_s &&
                         g->own[i].end_s < to_s;
            m->expected += expected_in(g, &g->own[i], from_s, to_s);
        }
    }
}

static int add_places(const struct gathering *g, struct ledger *lg,
                      struct life *out)
{
    int64_t *ids = kw_calloc(g->n_own + 1, sizeof(*ids));
    int err = 0;

    for (size_t i = 0; err == 0 && i < g->n_own; i++) {
        const struct own_time *t = &g->own[i];
        struct ledger_place place = {.name = "-"};
        size_t at = 0;

        while (at < out->n_places && ids[at] != t->place_id)
            at++;
        if (at == out->n_places) {
            if (t->place_id != 0 &&
                (err = ledger_place_get(lg, t->place_id, &place)) < 0)
                break;
            kw_grow(&out->places, &out->places_cap, out->n_places + 1,
                    sizeof(*out->places));
            out->places[out->n_places] = (struct life_count){.failed = 0};
            memcpy(out->places[out->n_places++].name, place.name,
                   sizeof(place.name));
            ids[at] = t->place_id;
        }
        out->places[at].pots++;
        out->places[at].failed += t->failed;
        out->places[at].expected += expected_in(g, t, 0, INT64_MAX);
    }
    kw_free(ids);
    return err;
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
    *l = (struct life){.p = NAN};
}

/* ---- text ---- */

/* The row that stands at an age; NULL before the first. */
static const struct wear_row *at_age(const struct life_curve *c, double age)
{
    const struct wear_row *r = NULL;

    for (size_t i = 0; i < c->n && c->rows[i].time <= age; i++)
        r = &c->rows[i];
    return r;
}

static int64_t watched_at(const struct life_curve *c, double age)
{
    for (size_t i = 0; i < c->n; i++)
        if (c->rows[i].time >= age)
            return c->rows[i].at_risk;
    return 0;
}

static void put_share(struct table *t, const struct life_curve *c, int age)
{
    const struct wear_row *r = at_age(c, age);

    table_cell(t, "%lld", (long long)watched_at(c, age));
    if (watched_at(c, age) == 0)
        table_cell(t, "-");
    else if (r == NULL || r->survival >= 1)
        table_cell(t, "100");
    else
        table_cell(t, "%.0f (%.0f-%.0f)", 100 * r->survival, 100 * r->low,
                   100 * r->high);
}

static void put_marks(const struct page *p, const struct life *l)
{
    static const struct table_column columns[] = {{"age, days", true, 0},
                                                  {"of it", true, 0},
                                                  {"whole, %", true, 0},
                                                  {"others", true, 0},
                                                  {"whole, %", true, 0}};
    struct table t;

    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (int i = 0; i < LIFE_MARKS; i++) {
        if (watched_at(&l->own, life_marks[i]) == 0)
            break;
        table_cell(&t, "%d", life_marks[i]);
        put_share(&t, &l->own, life_marks[i]);
        put_share(&t, &l->others, life_marks[i]);
    }
    table_put(&t, &p->screen, 2);
    table_release(&t);
}

static double failed_share(const struct life_curve *c, double age)
{
    const struct wear_row *r = at_age(c, age);

    return r != NULL ? 100 * (1 - r->survival) : 0;
}

static void put_plot(const struct page *p, const struct life *l)
{
    enum { SPOTS = 60 };
    struct plot_point points[2 * (SPOTS + 1)];
    double last = l->own.n > 0 ? l->own.rows[l->own.n - 1].time : 0, top = 5;
    char right[32];
    struct plot plot = {.points = points,
                        .threshold = NAN,
                        .rows = 10,
                        .x_left = "0 days",
                        .x_right = right};

    if (l->own.n == 0 || last < 2)
        return;
    for (int i = 0; i <= SPOTS; i++) {
        double age = last * i / SPOTS;
        double own = failed_share(&l->own, age);
        double others = failed_share(&l->others, age);

        points[plot.n_points++] = (struct plot_point){age, others, 'o', 0};
        points[plot.n_points++] = (struct plot_point){age, own, 'B', 1};
        top = fmax(top, fmax(own, others));
    }
    snprintf(right, sizeof(right), "%.0f days", last);
    plot.y_top = 10 * ceil(top / 10);
    plot_put(&plot, &p->screen);
    screen_text(&p->screen, 2,
                "Share failed by age, in percent. B this batch, o all others.");
}

static void put_counts(const struct page *p, const char *what,
                       const struct life_count *c, size_t n, bool pots)
{
    const struct table_column columns[] = {{what, false, 8},
                                           {"failed", true, 0},
                                           {"expected", true, 0},
                                           {"pots", true, 0}};
    struct table t;

    table_init(&t, &p->screen, columns, pots ? 4 : 3);
    for (size_t i = 0; i < n; i++) {
        table_cell(&t, "%s", c[i].name);
        table_cell(&t, "%lld", (long long)c[i].failed);
        table_cell(&t, "%s", page_number(c[i].expected, 2).s);
        if (pots)
            table_cell(&t, "%lld", (long long)c[i].pots);
    }
    table_put(&t, &p->screen, 2);
    table_release(&t);
}

void life_text(const struct page *p, const struct life *l)
{
    if (l->own.pots == 0)
        return;
    screen_section(&p->screen, "How long its pots last",
                   "Whole: neither crack, leak nor broken was told "
                   "(Kaplan-Meier; 90 % interval), of the pots under watch at "
                   "that age.");
    put_marks(p, l);
    put_plot(p, l);
    screen_text(&p->screen, 2,
                "So far apart by chance, within places (log-rank): %s. One "
                "look; the watch above is what alarms.",
                page_probability(l->p).s);
    screen_section(&p->screen, "Failures against what is expected, by month",
                   NULL);
    put_counts(p, "month", l->months, l->n_months, false);
    screen_section(&p->screen, "Where they are",
                   "All in one place may be the place, not the batch.");
    put_counts(p, "place", l->places, l->n_places, true);
}

/* ---- JSON ---- */

static json_t *json_curve(const struct life_curve *c)
{
    json_t *all = json_array();

    for (size_t i = 0; i < c->n; i++) {
        const struct wear_row *r = &c->rows[i];

        if (r->failed > 0)
            json_array_append_new(
                all, json_pack("{s:f, s:I, s:I, s:f, s:o, s:o}", "age_days",
                               r->time, "at_risk", (json_int_t)r->at_risk,
                               "failed", (json_int_t)r->failed, "whole",
                               r->survival, "low", page_json_real(r->low),
                               "high", page_json_real(r->high)));
    }
    return all;
}

static json_t *json_counts(const char *what, const struct life_count *c,
                           size_t n)
{
    json_t *all = json_array();

    for (size_t i = 0; i < n; i++)
        json_array_append_new(all, json_pack("{s:s, s:I, s:f}", what, c[i].name,
                                             "failed", (json_int_t)c[i].failed,
                                             "expected", c[i].expected));
    return all;
}

json_t *life_json(const struct life *l)
{
    return json_pack("{s:o, s:o, s:o, s:o, s:o}", "curve", json_curve(&l->own),
                     "curve_of_others", json_curve(&l->others), "logrank_p",
                     page_json_real(l->p), "months",
                     json_counts("month", l->months, l->n_months), "places",
                     json_counts("place", l->places, l->n_places));
}

/* ---- SVG ---- */

enum { WIDE = 480, HIGH = 400, LEFT = 60, RIGHT = 472, TOP = 44, FOOT = 330 };

static void put_line(struct kw_buf *out, const struct life_curve *c,
                     double last, double top, const char *style)
{
    kw_buf_printf(out, "<path fill=\"none\" %s d=\"M%d %d", style, LEFT, FOOT);
    for (size_t i = 0; i < c->n && c->rows[i].time <= last; i++) {
        if (c->rows[i].failed == 0)
            continue;
        kw_buf_printf(
            out, "H%.1fV%.1f", LEFT + (RIGHT - LEFT) * c->rows[i].time / last,
            FOOT - (FOOT - TOP) * 100 * (1 - c->rows[i].survival) / top);
    }
    kw_buf_printf(out, "H%d\"/>\n", RIGHT);
}

void life_svg(const struct page *p, const char *code, const struct life *l,
              struct kw_buf *out)
{
    double last = l->own.n > 0 ? fmax(1, l->own.rows[l->own.n - 1].time) : 1;
    double top = fmax(
        5, fmax(failed_share(&l->own, last), failed_share(&l->others, last)));
    struct kw_buf name;

    top = 10 * ceil(top / 10);
    kw_buf_init(&name, 1024);
    for (; *code != '\0'; code++)
        kw_buf_putc(&name, *code == '<' || *code == '&' ? '?' : *code);
    kw_buf_printf(out,
                  "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d "
                  "%d\" font-family=\"sans-serif\" font-size=\"22\" "
                  "fill=\"#222\">\n<title>Batch %s: share of its pots failed "
                  "by age, against all others, as of %s</title>\n<rect "
                  "width=\"%d\" height=\"%d\" fill=\"#fff\"/>\n<text x=\"8\" "
                  "y=\"26\" font-weight=\"bold\">Batch %s</text>\n<text "
                  "x=\"%d\" y=\"26\" text-anchor=\"end\">%% failed</text>\n",
                  WIDE, HIGH, kw_buf_text(&name), page_day(p->now_s).s, WIDE,
                  HIGH, kw_buf_text(&name), RIGHT);
    for (int i = 0; i <= 5; i++) {
        double y = FOOT - (FOOT - TOP) * i / 5.0;

        kw_buf_printf(out,
                      "<path d=\"M%d %.1fH%d\" stroke=\"#ccc\"/><text x=\"%d\" "
                      "y=\"%.1f\" text-anchor=\"end\">%.0f</text>\n",
                      LEFT, y, RIGHT, LEFT - 8, y + 7, top * i / 5);
    }
    put_line(out, &l->others, last, top,
             "stroke=\"#555\" stroke-width=\"2\" stroke-dasharray=\"6 5\"");
    put_line(out, &l->own, last, top, "stroke=\"#a30\" stroke-width=\"4\"");
    kw_buf_printf(out,
                  "<text x=\"%d\" y=\"%d\">0 days</text><text x=\"%d\" "
                  "y=\"%d\" text-anchor=\"end\">%.0f days</text>\n<text "
                  "x=\"%d\" y=\"%d\" fill=\"#a30\">— this batch</text><text "
                  "x=\"%d\" y=\"%d\" text-anchor=\"end\">- - all "
                  "others</text>\n</svg>\n",
                  LEFT, FOOT + 28, RIGHT, FOOT + 28, last, LEFT, HIGH - 10,
                  RIGHT, HIGH - 10);
    kw_buf_release(&name);
}
