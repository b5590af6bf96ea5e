/* plot.c - a grid of cells, filled from the back to the front. */
#include "page/plot.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define ROWS_MOST    40
#define COLUMNS_MOST 160
#define LEFT         9 /* columns of the scale at the left */

enum { CELL_NONE = ' ', CELL_BAND = 1, CELL_THRESHOLD = 2 };

struct span { /* of x */
    double low, high;
};

struct grid {
    int rows, columns;
    char cell[ROWS_MOST][COLUMNS_MOST];
    int rank[ROWS_MOST][COLUMNS_MOST];
};

/* Row of a height; 0 is the top. Each row holds a step of y_top / rows. */
static int row_of(const struct plot *p, int rows, double y)
{
    double from_below = floor(y / p->y_top * rows);

    if (!(from_below > 0))
        return rows - 1;
    return from_below >= rows ? 0 : rows - 1 - (int)from_below;
}

static void fill_back(const struct plot *p, struct grid *g)
{
    double step = p->y_top / g->rows;

    memset(g->cell, CELL_NONE, sizeof(g->cell));
    for (int r = 0; r < g->rows; r++) {
        double middle = (g->rows - r - 0.5) * step;

        if (middle >= p->band_low && middle < p->band_high)
            memset(g->cell[r], CELL_BAND, (size_t)g->columns);
    }
    if (isfinite(p->threshold))
        memset(g->cell[row_of(p, g->rows, p->threshold)], CELL_THRESHOLD,
               (size_t)g->columns);
}

static struct span span_of(const struct plot *p)
{
    struct span s = {p->points[0].x, p->points[0].x};

    for (size_t i = 0; i < p->n_points; i++) {
        s.low = fmin(s.low, p->points[i].x);
        s.high = fmax(s.high, p->points[i].x);
    }
    for (size_t i = 0; i < p->n_levels; i++) {
        s.low = fmin(s.low, p->levels[i].x);
        s.high = fmax(s.high, p->levels[i].x);
    }
    return s;
}

static int column_of(const struct grid *g, const struct span *s, double x)
{
    return s->high > s->low
               ? (int)((x - s->low) / (s->high - s->low) * (g->columns - 1) +
                       0.5)
               : 0;
}

/* The line at x, between its neighbours; false outside of it. */
static bool level_at(const struct plot *p, double x, struct plot_level *out)
{
    for (size_t i = 1; i < p->n_levels; i++) {
        const struct plot_level *a = &p->levels[i - 1], *b = a + 1;
        double w;

        if (x < a->x || x > b->x || !(b->x > a->x))
            continue;
        w = (x - a->x) / (b->x - a->x);
        *out = (struct plot_level){x, a->low + w * (b->low - a->low),
                                   a->middle + w * (b->middle - a->middle),
                                   a->high + w * (b->high - a->high)};
        return true;
    }
    return false;
}

static void fill_levels(const struct plot *p, const struct span *s,
                        struct grid *g)
{
    for (int c = 0; c < g->columns; c++) {
        double x = s->low + (s->high - s->low) * c / (g->columns - 1);
        struct plot_level at;

        if (!level_at(p, x, &at))
            continue;
        for (int r = row_of(p, g->rows, at.high);
             r <= row_of(p, g->rows, at.low); r++)
            if (g->cell[r][c] != CELL_THRESHOLD)
                g->cell[r][c] = ':';
        g->cell[row_of(p, g->rows, at.middle)][c] = '=';
    }
}

static void fill_points(const struct plot *p, const struct span *s,
                        struct grid *g)
{
    for (size_t i = 0; i < p->n_points; i++) {
        const struct plot_point *q = &p->points[i];
        int r = row_of(p, g->rows, q->y), c = column_of(g, s, q->x);

        if (g->rank[r][c] <= q->rank) {
            g->rank[r][c] = q->rank;
            g->cell[r][c] = q->mark;
        }
    }
}

static void put_cell(const struct screen *s, char cell)
{
    if (cell == CELL_BAND)
        kw_buf_puts(s->out, s->plain ? "." : "·");
    else if (cell == CELL_THRESHOLD)
        kw_buf_puts(s->out, s->plain ? "-" : "─");
    else
        kw_buf_putc(s->out, cell);
}

static void put_rows(const struct plot *p, const struct grid *g,
                     const struct screen *s)
{
    for (int r = 0; r < g->rows; r++) {
        int last = g->columns;

        while (last > 0 && g->cell[r][last - 1] == CELL_NONE)
            last--;
        kw_buf_printf(s->out, "%6.2f %s",
                      (g->rows - r - 1) * p->y_top / g->rows,
                      s->plain ? "|" : "│");
        if (last > 0)
            kw_buf_putc(s->out, ' ');
        for (int c = 0; c < last; c++)
            put_cell(s, g->cell[r][c]);
        kw_buf_putc(s->out, '\n');
    }
}

static void put_foot(const struct plot *p, const struct grid *g,
                     const struct screen *s)
{
    kw_buf_printf(s->out, "%7s%s", "", s->plain ? "+" : "└");
    for (int c = 0; c <= g->columns; c++)
        kw_buf_puts(s->out, s->plain ? "-" : "─");
    kw_buf_putc(s->out, '\n');
    if (p->x_left != NULL && p->x_right != NULL) {
        int gap = g->columns - (int)strlen(p->x_left) - (int)strlen(p->x_right);

        kw_buf_printf(s->out, "%*s%s%*s%s\n", LEFT, "", p->x_left,
                      gap > 1 ? gap : 1, "", p->x_right);
    }
}

void plot_put(const struct plot *p, const struct screen *s)
{
    struct grid *g;
    struct span span;

    if (p->n_points == 0 || !(p->y_top > 0))
        return;
    g = kw_calloc(1, sizeof(*g));
    g->rows = p->rows < 3 ? 3 : p->rows > ROWS_MOST ? ROWS_MOST : p->rows;
    g->columns =
        s->width - LEFT < COLUMNS_MOST ? s->width - LEFT : COLUMNS_MOST;
    fill_back(p, g);
    span = span_of(p);
    fill_levels(p, &span, g);
    fill_points(p, &span, g);
    put_rows(p, g, s);
    put_foot(p, g, s);
    kw_free(g);
}
