#ifndef KW_SCAN_INNER_H
#define KW_SCAN_INNER_H
/*
 * scan_inner.h - between scan.c and scan_chance.c: the line as what only its
 * cells with failures say. A window that begins or ends with a cell that has
 * none is beaten by the one without that cell, so that no other ends matter
 * and the cost goes with the failures and not with the cells.
 */
#include "watch/scan.h"

/* The line's expectation up to each cell, scaled to its failures. */
struct scan_sums {
    size_t n, longest;
    int64_t total;
    double *expected; /* n + 1; owned */
};
void scan_sums_init(struct scan_sums *s, const struct scan_line *line);
void scan_sums_release(struct scan_sums *s);

/* Cells with failures, in order. Owned, room for that many and one. */
struct scan_hits {
    size_t n;
    size_t *cell;
    int64_t *before; /* failures in the cells before; [n]: all */
    double *lower;   /* expected up to the cell */
    double *upper;   /* and with it */
};
void scan_hits_init(struct scan_hits *h, size_t room);
void scan_hits_release(struct scan_hits *h);
/* A cell behind all others. */
void scan_hits_add(struct scan_hits *h, const struct scan_sums *s, size_t cell,
                   int64_t failed);

/* Of o failures where e were expected, all told: 0 without an excess. It
 * falls as e grows. */
double scan_llr(double o, double e, double all);
#endif
