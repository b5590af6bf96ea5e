/*
 * flowsvg.c - see flowsvg.h. Text stands at 22 of 480 units, so that it is
 * eleven pixels high where the picture is 240 wide. Shapes tell apart what
 * colours do, for those who do not see them and for print.
 */
#include "page/flowsvg.h"
#include "page/svg.h"

#include <math.h>
#include <string.h>

enum { WIDE = 480, HIGH = 400, LEFT = 52, RIGHT = 472, TOP = 44, FOOT = 318 };

struct view {
    struct kw_buf *out;
    double from_s, to_s, top_l;
    struct track_spot spots[FLOWSVG_SPOTS_MOST + 2]; /* thinned */
    size_t n_spots;
};

static double x_of(const struct view *v, double at_s)
{
    return LEFT + (RIGHT - LEFT) * (at_s - v->from_s) / (v->to_s - v->from_s);
}

static double y_of(const struct view *v, double litres)
{
    double l = litres < 0 ? 0 : litres > v->top_l ? v->top_l : litres;

    return FOOT - (FOOT - TOP) * l / v->top_l;
}

static void head(const struct view *v, const struct page *p, const char *serial)
{
    kw_buf_printf(v->out,
                  "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d "
                  "%d\" font-family=\"sans-serif\" font-size=\"22\" "
                  "fill=\"#222\">\n<title>Pot ",
                  WIDE, HIGH);
    svg_words(v->out, serial, 0);
    kw_buf_printf(v->out,
                  ": litres in the first hour at 25 \xc2\xb0"
                  "C, as of %s</title>\n"
                  "<rect width=\"%d\" height=\"%d\" fill=\"#fff\"/>\n"
                  "<text x=\"8\" y=\"26\" font-weight=\"bold\">",
                  page_day(p->now_s).s, WIDE, HIGH);
    svg_words(v->out, serial, 0);
    kw_buf_printf(v->out,
                  "</text>\n<text x=\"%d\" y=\"26\" text-anchor=\"end\">L in "
                  "the first hour</text>\n",
                  RIGHT);
}

static void scale(const struct view *v, const struct config *conf)
{
    double low = y_of(v, conf->accept_min_l),
           high = y_of(v, conf->accept_max_l);
    double limit = y_of(v, conf->replace_below_l);

    kw_buf_printf(v->out,
                  "<rect x=\"%d\" y=\"%.1f\" width=\"%d\" height=\"%.1f\" "
                  "fill=\"#e4f1e4\"/>\n",
                  LEFT, high, RIGHT - LEFT, low - high);
    for (int l = 0; l <= (int)v->top_l; l += v->top_l > 8 ? 4 : 1)
        kw_buf_printf(v->out,
                      "<path d=\"M%d %.1fH%d\" stroke=\"#ccc\"/><text "
                      "x=\"%d\" y=\"%.1f\" text-anchor=\"end\">%d</text>\n",
                      LEFT, y_of(v, l), RIGHT, LEFT - 8, y_of(v, l) + 7, l);
    kw_buf_printf(v->out,
                  "<path d=\"M%d %.1fH%d\" stroke=\"#b00020\" "
                  "stroke-width=\"3\"/>\n",
                  LEFT, limit, RIGHT);
    kw_buf_printf(v->out,
                  "<text x=\"%d\" y=\"%d\">%s</text>\n"
                  "<text x=\"%d\" y=\"%d\" text-anchor=\"end\">%s</text>\n",
                  LEFT, FOOT + 24, page_day((int64_t)v->from_s).s, RIGHT,
                  FOOT + 24, page_day((int64_t)v->to_s).s);
}

static double bound(const struct track_spot *s, double by)
{
    return exp(s->level + by * s->sd);
}

/* Those in view, so many at most; today and the end are among them. */
static void thin(struct view *v, const struct flow_track *t)
{
    size_t first = 0, stride;

    while (first + 1 < t->n_spots &&
           (double)t->spots[first + 1].at_s <= v->from_s)
        first++;
    stride = (t->n_spots - first) / (FLOWSVG_SPOTS_MOST - 1) + 1;
    for (size_t i = first; i < t->n_spots; i++) {
        bool today =
            i + 1 < t->n_spots && !t->spots[i].ahead && t->spots[i + 1].ahead;

        if ((i - first) % stride == 0 || today || i + 1 == t->n_spots)
            v->spots[v->n_spots++] = t->spots[i];
    }
}

static void band(const struct view *v)
{
    kw_buf_puts(v->out, "<path fill=\"#2b6cb0\" fill-opacity=\".22\" d=\"");
    for (size_t i = 0; i < v->n_spots; i++)
        kw_buf_printf(v->out, "%c%.1f %.1f", i == 0 ? 'M' : 'L',
                      x_of(v, (double)v->spots[i].at_s),
                      y_of(v, bound(&v->spots[i], 1)));
    for (size_t i = v->n_spots; i-- > 0;)
        kw_buf_printf(v->out, "L%.1f %.1f", x_of(v, (double)v->spots[i].at_s),
                      y_of(v, bound(&v->spots[i], -1)));
    kw_buf_puts(v->out, "Z\"/>\n");
}

/* The line to today, or from there on dashed. */
static void line(const struct view *v, bool ahead)
{
    char pen = 'M';

    kw_buf_printf(v->out,
                  "<path fill=\"none\" stroke=\"#2b6cb0\" stroke-width=\"3\"%s "
                  "d=\"",
                  ahead ? " stroke-dasharray=\"7 6\"" : "");
    for (size_t i = 0; i < v->n_spots; i++) {
        bool last = i + 1 < v->n_spots && v->spots[i + 1].ahead;

        if (ahead ? !v->spots[i].ahead && !last : v->spots[i].ahead)
            continue;
        kw_buf_printf(v->out, "%c%.1f %.1f", pen,
                      x_of(v, (double)v->spots[i].at_s),
                      y_of(v, bound(&v->spots[i], 0)));
        pen = 'L';
    }
    kw_buf_puts(v->out, "\"/>\n");
}

static void scrubs(const struct view *v, const struct flow_track *t)
{
    size_t from =
        t->n_scrubs > FLOWSVG_READS_MOST ? t->n_scrubs - FLOWSVG_READS_MOST : 0;

    for (size_t i = from; i < t->n_scrubs; i++) {
        double x = x_of(v, (double)t->scrubs[i]);

        if ((double)t->scrubs[i] >= v->from_s)
            kw_buf_printf(v->out,
                          "<path d=\"M%.1f %dl7 14h-14z\" fill=\"#7a4f01\"/>\n",
                          x, FOOT - 15);
    }
}

/* Filled round: fine; hollow square: scrub; full square: replace; cross. */
static void mark(const struct view *v, double x, double y, const char *verdict)
{
    if (strcmp(verdict, "stop") == 0)
        kw_buf_printf(v->out,
                      "<path d=\"M%.1f %.1fl14 14m0-14l-14 14\" "
                      "stroke=\"#b00020\" stroke-width=\"4\"/>\n",
                      x - 7, y - 7);
    else if (strcmp(verdict, "fine") == 0)
        kw_buf_printf(v->out,
                      "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"6\" "
                      "fill=\"#1b5e20\"/>\n",
                      x, y);
    else
        kw_buf_printf(v->out,
                      "<rect x=\"%.1f\" y=\"%.1f\" width=\"13\" "
                      "height=\"13\" fill=\"%s\" stroke=\"#b00020\" "
                      "stroke-width=\"3\"/>\n",
                      x - 6.5, y - 6.5,
                      strcmp(verdict, "scrub") == 0 ? "#fff" : "#b00020");
}

static void reads(const struct view *v, const struct flow_track *t, size_t from)
{
    for (size_t i = from; i < t->n_reads; i++) {
        const struct look_report *r = t->reads[i].report;
        double x = x_of(v, (double)r->at_s);

        kw_buf_printf(v->out, "<path d=\"M%.1f %.1fV%.1f\" stroke=\"#555\"/>",
                      x, y_of(v, r->first_hour_l * exp(-r->log_se)),
                      y_of(v, r->first_hour_l * exp(r->log_se)));
        mark(v, x, y_of(v, r->first_hour_l), r->verdict);
    }
}

static void legend(const struct view *v)
{
    static const struct {
        const char *verdict, *words;
        int x;
    } marks[] = {{"fine", "fine", 14},
                 {"scrub", "scrub", 86},
                 {"replace", "replace", 174},
                 {"stop", "stop", 282}};

    for (size_t i = 0; i < KW_COUNT(marks); i++) {
        mark(v, marks[i].x, FOOT + 47, marks[i].verdict);
        kw_buf_printf(v->out, "<text x=\"%d\" y=\"%d\">%s</text>\n",
                      marks[i].x + 12, FOOT + 54, marks[i].words);
    }
    kw_buf_printf(v->out,
                  "<path d=\"M360 %dl7 14h-14z\" fill=\"#7a4f01\"/><text "
                  "x=\"371\" y=\"%d\">scrubbed</text>\n",
                  FOOT + 39, FOOT + 54);
}

/* A day as far as `len` characters of it: 7 are year and month. */
static struct page_word day_after(const struct flow_track *t, double days,
                                  size_t len)
{
    struct page_word w = {"later"};

    if (isfinite(days))
        w = page_day((int64_t)((t->now.at_days + days) * CLOCK_DAY_S));
    if (strlen(w.s) > len)
        w.s[len] = '\0';
    return w;
}

static void foretell(const struct view *v, const struct flow_track *t,
                     double limit_l)
{
    const struct drift_fall *f = &t->fall;

    kw_buf_printf(v->out,
                  "<text x=\"8\" y=\"%d\" font-size=\"20\" "
                  "fill=\"#b00020\">below %.2g L: ",
                  FOOT + 78, limit_l);
    if (f->expected_days <= 0)
        kw_buf_puts(v->out, "now");
    else if (!isfinite(f->expected_days))
        kw_buf_puts(v->out, "not within ten years");
    else
        kw_buf_printf(
            v->out, "%s (%s to %s)", day_after(t, f->expected_days, 10).s,
            day_after(t, f->early_days, 7).s, day_after(t, f->late_days, 7).s);
    kw_buf_puts(v->out, "</text>\n");
}

static double top_of(const struct config *conf, const struct flow_track *t)
{
    double top = conf->accept_max_l + 0.3, most = 2.5 * conf->accept_max_l;

    for (size_t i = 0; i < t->n_reads; i++)
        top = fmax(top, fmin(t->reads[i].report->first_hour_l + 0.3, most));
    return top;
}

void flowsvg_put(const struct page *p, const char *serial,
                 const struct flow_track *t, struct kw_buf *out)
{
    struct view v = {.out = out};
    size_t from =
        t->n_reads > FLOWSVG_READS_MOST ? t->n_reads - FLOWSVG_READS_MOST : 0;

    head(&v, p, serial);
    if (t->n_reads == 0) {
        kw_buf_puts(out, "<text x=\"240\" y=\"200\" text-anchor=\"middle\">No "
                         "reading yet</text>\n</svg>\n");
        return;
    }
    v.from_s = (double)t->reads[from].report->at_s;
    v.to_s = (double)t->spots[t->n_spots - 1].at_s;
    v.top_l = top_of(p->conf, t);
    scale(&v, p->conf);
    kw_buf_puts(out, "<svg x=\"52\" y=\"0\" width=\"420\" height=\"400\" "
                     "viewBox=\"52 0 420 400\">\n");
    thin(&v, t);
    band(&v);
    line(&v, false);
    line(&v, true);
    kw_buf_puts(out, "</svg>\n");
    scrubs(&v, t);
    reads(&v, t, from);
    legend(&v);
    foretell(&v, t, p->conf->replace_below_l);
    kw_buf_puts(out, "</svg>\n");
}
