/*
 * lifemap.c - where the failures of a batch are, as a picture: see life.h. A
 * badge with a letter for each place that has pots of it, full where some
 * failed and open where none did, so that print and those who see no colours
 * lose nothing; and below each letter's place with its numbers. Badges never
 * lie on each other: one that would is put beside, with a line to its place.
 */
#include "page/life.h"
#include "page/svg.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum {
    BADGES_MOST = 16, /* places with a letter, the worst */
    DOTS_MOST = 120,  /* other places */
    LEFT = 10,
    RIGHT = SVG_WIDE - 10,
    TOP = 40,
    TALL_MOST = 340, /* of the map */
    TALL_LEAST = 120,
    RADIUS = 15, /* of a badge */
    APART = 2 * RADIUS + 4,
    EDGE = RADIUS + 4, /* badges stay so far inside */
    ROW = 58,
    COLUMNS = 30 /* of a name */
};
#define KM_A_DEGREE 111.2 /* of latitude: 40,030 km around (mean radius) */
#define LEAST_DEG   0.04  /* a map of one place shows so much around it */

struct spot {
    double x, y;   /* where the place is */
    double bx, by; /* where its badge is */
    bool there;    /* it has coordinates */
};

struct lifemap {
    struct kw_buf *out;
    const struct life_count *places; /* the worst first */
    size_t n;                        /* of them with a badge */
    struct spot spots[BADGES_MOST];
    double west, north, turn; /* degrees; see east_of */
    double scale;             /* cosine of the middle latitude */
    double units;             /* to a degree of latitude */
    double high;              /* of the map */
};

/* ---- the frame ---- */

/* Longitudes below turn lie east of the date line. */
static double east_of(const struct lifemap *m, double lon_deg)
{
    return m->scale * (lon_deg < m->turn ? lon_deg + 360 : lon_deg);
}

static double x_of(const struct lifemap *m, double lon_deg)
{
    return LEFT + EDGE + (east_of(m, lon_deg) - m->west) * m->units;
}

static double y_of(const struct lifemap *m, double lat_deg)
{
    return TOP + EDGE + (m->north - lat_deg) * m->units;
}

/* Around all places with pots of the batch. False: none has coordinates. */
static bool make_frame(struct lifemap *m, size_t n)
{
    double south = INFINITY, low = INFINITY, high = -INFINITY, east = -INFINITY;
    double wide = RIGHT - LEFT - 2 * EDGE, tall = TALL_MOST - 2 * EDGE, h;

    m->north = -INFINITY;
    m->west = INFINITY;
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(m->places[i].lat_deg))
            continue;
        m->north = fmax(m->north, m->places[i].lat_deg);
        south = fmin(south, m->places[i].lat_deg);
        low = fmin(low, m->places[i].lon_deg);
        high = fmax(high, m->places[i].lon_deg);
    }
    if (!isfinite(south))
        return false;
    m->turn = high - low > 180 ? 0 : -INFINITY;
    m->scale = fmax(0.01, cos((m->north + south) / 2 * M_PI / 180));
    for (size_t i = 0; i < n; i++)
        if (isfinite(m->places[i].lat_deg)) {
            m->west = fmin(m->west, east_of(m, m->places[i].lon_deg));
            east = fmax(east, east_of(m, m->places[i].lon_deg));
        }
    h = fmax(m->north - south, LEAST_DEG);
    m->north += (h - (m->north - south)) / 2;
    low = fmax(east - m->west, LEAST_DEG);
    m->units = fmin(wide / low, tall / h);
    m->west -= (wide / m->units - (east - m->west)) / 2; /* in the middle */
    tall = fmax(h * m->units, TALL_LEAST - 2 * EDGE);
    m->north += (tall / m->units - h) / 2;
    m->high = tall + 2 * EDGE;
    return true;
}

/* ---- badges that do not lie on each other ---- */

static bool is_free(const struct lifemap *m, size_t upto, double x, double y)
{
    if (x < LEFT + EDGE - 1 || x > RIGHT - EDGE + 1 || y < TOP + EDGE - 1 ||
        y > TOP + m->high - EDGE + 1)
        return false;
    for (size_t i = 0; i < upto; i++)
        if (m->spots[i].there &&
            hypot(m->spots[i].bx - x, m->spots[i].by - y) < APART)
            return false;
    return true;
}

/* On its place, or in the nearest gap around it. */
static void put_badge_near(struct lifemap *m, size_t i)
{
    struct spot *s = &m->spots[i];

    s->bx = s->x;
    s->by = s->y;
    if (is_free(m, i, s->x, s->y))
        return;
    for (double r = APART / 2.0; r < SVG_WIDE; r += 4)
        for (int k = 0; k < 24; k++) {
            double x = s->x + r * cos(k * M_PI / 12);
            double y = s->y - r * sin(k * M_PI / 12);

            if (!is_free(m, i, x, y))
                continue;
            s->bx = x;
            s->by = y;
            return;
        }
    s->there = false; /* no room: it stands in the list alone */
}

static void put_badges(struct lifemap *m)
{
    for (size_t i = 0; i < m->n; i++) {
        const struct life_count *c = &m->places[i];
        struct spot *s = &m->spots[i];

        s->there = isfinite(c->lat_deg);
        if (!s->there)
            continue;
        s->x = x_of(m, c->lon_deg);
        s->y = y_of(m, c->lat_deg);
        put_badge_near(m, i);
    }
}

/* ---- drawing ---- */

static char letter_of(const struct lifemap *m, size_t i)
{
    return (char)((m->places[i].failed > 0 ? 'A' : 'a') + (int)i);
}

static void draw_badge(const struct lifemap *m, size_t i, double x, double y)
{
    bool failed = m->places[i].failed > 0;

    kw_buf_printf(m->out,
                  "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"%d\" fill=\"%s\" "
                  "stroke=\"#7a2e0e\" stroke-width=\"%d\"/><text x=\"%.1f\" "
                  "y=\"%.1f\" text-anchor=\"middle\" font-size=\"20\" "
                  "font-weight=\"bold\"%s>%c</text>\n",
                  x, y, RADIUS, failed ? "#7a2e0e" : "#fff", 2, x, y + 7,
                  failed ? " fill=\"#fff\"" : "", letter_of(m, i));
}

/* Places without a letter that lie in the frame. */
static void draw_dots(const struct lifemap *m, const struct life *l)
{
    int dots = 0;

    for (size_t i = 0; i < l->n_spots && dots < DOTS_MOST; i++) {
        double x = x_of(m, l->spots[i].lon_deg);
        double y = y_of(m, l->spots[i].lat_deg);
        bool lettered = false;

        for (size_t k = 0; k < m->n; k++)
            lettered |= m->spots[k].there && fabs(m->spots[k].x - x) < 0.05 &&
                        fabs(m->spots[k].y - y) < 0.05;
        if (lettered || !(x > LEFT + 4 && x < RIGHT - 4 && y > TOP + 4 &&
                          y < TOP + m->high - 4))
            continue;
        kw_buf_printf(m->out,
                      "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"4\" "
                      "fill=\"#999\"/>\n",
                      x, y);
        dots++;
    }
}

/* A length of 1, 2 or 5 times a power of ten, a third of the map at most. */
static double bar_km(const struct lifemap *m)
{
    double most = (RIGHT - LEFT) / 3.0 / m->units * KM_A_DEGREE;
    double km = pow(10, floor(log10(most)));

    return km * (most >= 5 * km ? 5 : most >= 2 * km ? 2 : 1);
}

/* The bar, and an arrow to the north. */
static void draw_scale(const struct lifemap *m)
{
    double y = TOP + m->high + 24, km = bar_km(m);
    double wide = km / KM_A_DEGREE * m->units;

    kw_buf_printf(m->out,
                  "<path fill=\"none\" stroke=\"#222\" stroke-width=\"2\" "
                  "d=\"M%d %.1fv6h%.1fv-6\"/><text x=\"%.1f\" "
                  "y=\"%.1f\">%g km</text>\n",
                  LEFT + 2, y - 10, wide, LEFT + wide + 12, y, km);
    kw_buf_printf(m->out,
                  "<path d=\"M%d %.1fl-8 20l8-5l8 5z\"/><text x=\"%d\" "
                  "y=\"%.1f\" text-anchor=\"end\">north</text>\n",
                  RIGHT - 12, y - 17, RIGHT - 28, y);
}

static void draw_map(struct lifemap *m, const struct life *l)
{
    kw_buf_printf(m->out,
                  "<rect x=\"%d\" y=\"%d\" width=\"%d\" height=\"%.1f\" "
                  "fill=\"#f4f1ea\" stroke=\"#999\"/>\n",
                  LEFT, TOP, RIGHT - LEFT, m->high);
    draw_dots(m, l);
    for (size_t i = 0; i < m->n; i++) {
        const struct spot *s = &m->spots[i];

        if (s->there && (s->bx != s->x || s->by != s->y))
            kw_buf_printf(m->out,
                          "<path d=\"M%.1f %.1fL%.1f %.1f\" "
                          "stroke=\"#7a2e0e\" stroke-width=\"2\"/><circle "
                          "cx=\"%.1f\" cy=\"%.1f\" r=\"3\" "
                          "fill=\"#7a2e0e\"/>\n",
                          s->x, s->y, s->bx, s->by, s->x, s->y);
    }
    for (size_t i = 0; i < m->n; i++)
        if (m->spots[i].there)
            draw_badge(m, i, m->spots[i].bx, m->spots[i].by);
    draw_scale(m);
}

/* ---- the list ---- */

static void put_row(const struct lifemap *m, size_t i, double y)
{
    const struct life_count *c = &m->places[i];

    draw_badge(m, i, LEFT + RADIUS + 2, y + 4);
    kw_buf_printf(m->out, "<text x=\"%d\" y=\"%.1f\" font-weight=\"bold\">",
                  LEFT + 2 * RADIUS + 14, y);
    svg_words(m->out, c->name, COLUMNS);
    kw_buf_printf(m->out,
                  "</text><text x=\"%d\" y=\"%.1f\">%lld of %lld failed, %s "
                  "expected%s</text>\n",
                  LEFT + 2 * RADIUS + 14, y + 25, (long long)c->failed,
                  (long long)c->pots, page_number(c->expected, 1).s,
                  m->spots[i].there ? "" : "; not on the map");
}

/* Those without a letter, in one line. */
static void put_rest(const struct lifemap *m, size_t n, double y)
{
    struct life_count sum = {.failed = 0};

    for (size_t i = m->n; i < n; i++) {
        sum.pots += m->places[i].pots;
        sum.failed += m->places[i].failed;
        sum.expected += m->places[i].expected;
    }
    kw_buf_printf(m->out,
                  "<text x=\"%d\" y=\"%.1f\">%zu more: %lld of %lld failed, %s "
                  "expected</text>\n",
                  LEFT, y, n - m->n, (long long)sum.failed, (long long)sum.pots,
                  page_number(sum.expected, 1).s);
}

static void put_head(const struct page *p, struct kw_buf *out, const char *code,
                     double high)
{
    kw_buf_printf(out,
                  "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d "
                  "%.0f\" font-family=\"sans-serif\" font-size=\"%d\" "
                  "fill=\"#222\">\n<title>Batch ",
                  SVG_WIDE, high, SVG_TEXT);
    svg_words(out, code, 0);
    kw_buf_printf(out,
                  ": pots that failed, by place, as of %s</title>\n<rect "
                  "width=\"%d\" height=\"%.0f\" fill=\"#fff\"/>\n<text "
                  "x=\"%d\" y=\"28\" font-weight=\"bold\">Batch ",
                  page_day(p->now_s).s, SVG_WIDE, high, LEFT);
    svg_words(out, code, 12);
    kw_buf_printf(out,
                  "</text>\n<text x=\"%d\" y=\"28\" text-anchor=\"end\">%s"
                  "</text>\n",
                  RIGHT, page_day(p->now_s).s);
}

void life_map_svg(const struct page *p, const char *code, const struct life *l,
                  struct kw_buf *out)
{
    struct life_count *places = life_worst_first(l);
    struct lifemap m = {.out = out, .places = places};
    bool mapped = make_frame(&m, l->n_places);
    double y = mapped ? TOP + m.high + 70 : TOP + 40;

    m.n = l->n_places < BADGES_MOST ? l->n_places : BADGES_MOST;
    if (mapped)
        put_badges(&m);
    put_head(p, out, code,
             y + ROW * (double)m.n + (m.n < l->n_places ? ROW : 0) +
                 (mapped ? 34 : 0));
    if (mapped)
        draw_map(&m, l);
    else
        kw_buf_printf(out, "<text x=\"%d\" y=\"%d\">%s</text>\n", LEFT,
                      TOP + 20,
                      l->n_places > 0 ? "No place of it is on the map."
                                      : "No pot of it was handed out.");
    for (size_t i = 0; i < m.n; i++, y += ROW)
        put_row(&m, i, y);
    if (m.n < l->n_places) {
        put_rest(&m, l->n_places, y);
        y += ROW;
    }
    if (mapped)
        kw_buf_printf(out,
                      "<text x=\"%d\" y=\"%.1f\" font-size=\"20\">Full: some "
                      "failed. Dots: other places.</text>\n",
                      LEFT, y);
    kw_buf_puts(out, "</svg>\n");
    kw_free(places);
}
