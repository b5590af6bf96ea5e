/* life_text.c - the life of a batch as text, JSON and SVG: see life.h. */
#include "page/life.h"

#include "page/plot.h"
#include "page/svg.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- text ---- */

static const int marks[] = {30, 90, 180, 365, 730}; /* ages in days */

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

void life_put_whole(struct table *t, const struct wear_row *r, bool watched)
{
    if (!watched)
        table_cell(t, "-");
    else if (r == NULL || r->survival >= 1)
        table_cell(t, "100");
    else
        table_cell(t, "%.0f (%.0f-%.0f)", 100 * r->survival, 100 * r->low,
                   100 * r->high);
}

static void put_share(struct table *t, const struct life_curve *c, int age)
{
    const struct wear_row *r = at_age(c, age);

    table_cell(t, "%lld", (long long)watched_at(c, age));
    life_put_whole(t, r, watched_at(c, age) > 0);
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
    for (int i = 0; i < (int)KW_COUNT(marks); i++) {
        if (watched_at(&l->own, marks[i]) == 0)
            break;
        table_cell(&t, "%d", marks[i]);
        put_share(&t, &l->own, marks[i]);
        put_share(&t, &l->others, marks[i]);
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
    enum { SPOTS = 160 };
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

/* The worst first: most failures, then most above what is expected. */
static int by_failures(const void *a, const void *b)
{
    const struct life_count *x = a, *y = b;
    double d = x->expected - y->expected;

    if (x->failed != y->failed)
        return x->failed > y->failed ? -1 : 1;
    return d != 0 ? (d > 0) - (d < 0) : strcmp(x->name, y->name);
}

struct life_count *life_worst_first(const struct life *l)
{
    struct life_count *c = kw_calloc(l->n_places + 1, sizeof(*c));

    for (size_t i = 0; i < l->n_places; i++)
        c[i] = l->places[i];
    qsort(c, l->n_places, sizeof(*c), by_failures);
    return c;
}

/* Letters a to z, capitals where some failed; the rest are dots. */
static void put_map(const struct page *p, const struct life *l,
                    const struct life_count *places)
{
    size_t n = 0;
    struct map_spot *spots =
        kw_calloc(l->n_spots + l->n_places + 1, sizeof(*spots));
    double km;

    for (size_t i = 0; i < l->n_places; i++) {
        const struct life_count *c = &places[i];

        if (isfinite(c->lat_deg) && i < 26)
            spots[n++] =
                (struct map_spot){c->lat_deg, c->lon_deg,
                                  (char)((c->failed > 0 ? 'A' : 'a') + (int)i),
                                  c->failed > 0 ? 2 : 1};
    }
    for (size_t i = 0; n > 0 && i < l->n_spots; i++) {
        bool lettered = false;

        for (size_t k = 0; k < n; k++)
            lettered |= spots[k].rank > 0 &&
                        spots[k].lat_deg == l->spots[i].lat_deg &&
                        spots[k].lon_deg == l->spots[i].lon_deg;
        if (!lettered)
            spots[n++] = l->spots[i];
    }
    km = map_put(&p->screen, spots, n);
    if (km > 0)
        screen_text(&p->screen, 2,
                    "%.0f km from west to east, north is up. Letters: places "
                    "with pots of it, capitals where some failed; dots: the "
                    "others.",
                    km);
    kw_free(spots);
}

static void put_places(const struct page *p, const struct life *l)
{
    static const struct table_column columns[] = {{"", false, 0},
                                                  {"place", false, 8},
                                                  {"failed", true, 0},
                                                  {"expected", true, 0},
                                                  {"pots", true, 0}};
    struct life_count *c = life_worst_first(l);
    struct table t;

    put_map(p, l, c);
    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (size_t i = 0; i < l->n_places; i++) {
        table_cell(&t, "%c",
                   i < 26 ? (char)((c[i].failed > 0 ? 'A' : 'a') + (int)i)
                          : ' ');
        table_cell(&t, "%s", c[i].name);
        table_cell(&t, "%lld", (long long)c[i].failed);
        table_cell(&t, "%s", page_number(c[i].expected, 2).s);
        table_cell(&t, "%lld", (long long)c[i].pots);
    }
    table_put(&t, &p->screen, 2);
    table_release(&t);
    kw_free(c);
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
    put_places(p, l);
    if (l->n_shelves == 0)
        return;
    screen_section(&p->screen, "Where they stood in the kiln", NULL);
    put_counts(p, "shelf", l->shelves, l->n_shelves, true);
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

    for (size_t i = 0; i < n; i++) {
        json_t *j =
            json_pack("{s:s, s:I, s:f}", what, c[i].name, "failed",
                      (json_int_t)c[i].failed, "expected", c[i].expected);

        if (c[i].pots > 0)
            json_object_set_new(j, "pots", json_integer(c[i].pots));
        if (isfinite(c[i].lat_deg) && c[i].pots > 0) {
            json_object_set_new(j, "latitude", json_real(c[i].lat_deg));
            json_object_set_new(j, "longitude", json_real(c[i].lon_deg));
        }
        json_array_append_new(all, j);
    }
    return all;
}

json_t *life_json(const struct life *l)
{
    return json_pack("{s:o, s:o, s:o, s:o, s:o, s:o}", "curve",
                     json_curve(&l->own), "curve_of_others",
                     json_curve(&l->others), "logrank_p", page_json_real(l->p),
                     "months", json_counts("month", l->months, l->n_months),
                     "places", json_counts("place", l->places, l->n_places),
                     "shelves", json_counts("shelf", l->shelves, l->n_shelves));
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
    svg_words(&name, code, 0);
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
