#ifndef KW_PLOT_H
#define KW_PLOT_H
/*
 * plot.h - a small picture of readings over time in characters: a band that
 * is fine, a threshold, and one letter a reading. Pure.
 */
#include "page/screen.h"

struct plot_point {
    double x, y; /* finite */
    char mark;   /* a letter of one column */
    int rank;    /* where two fall on one spot the higher rank is shown */
};

struct plot_level { /* a line with a band about it, at one x */
    double x, low, middle, high;
};

struct plot {
    const struct plot_point *points; /* borrowed */
    size_t n_points;
    const struct plot_level *levels; /* by x, borrowed; behind the points */
    size_t n_levels;
    double y_top;                 /* what is higher stands in the top row */
    double band_low, band_high;   /* shaded; equal: no band */
    double threshold;             /* a line; NaN none */
    int rows;                     /* 3 and up */
    const char *x_left, *x_right; /* words under the ends, or NULL */
};

/*
 * Draws at most s->width columns. Each row holds a step of y_top / rows and is
 * labelled with its lower edge. The ends are those of points and levels. No
 * points: draws nothing.
 */
void plot_put(const struct plot *p, const struct screen *s);
#endif
