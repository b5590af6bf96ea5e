#ifndef KW_SCAN_H
#define KW_SCAN_H
/*
 * scan.h - is there a run of neighbours (serials in the order of the kiln,
 * batches in the order of firing) with more failures than its share?
 * Kulldorff's Poisson scan along a line, conditioned on the total; p by
 * Monte Carlo with a generator of our own, so that a seed gives the same
 * answer everywhere. Source: Kulldorff 1997.
 */
#include "base/kw.h"

struct scan_line {
    const int64_t *failed;  /* of each cell in order */
    const double *expected; /* > 0; scaled to the total here */
    size_t n;
    size_t longest; /* cells of a window at most; 0: half the line */
};

struct scan_window {
    double llr;      /* 0 when no window has an excess */
    size_t from, to; /* first and last cell, from 0 */
    int64_t failed;
    double expected; /* scaled */
};

/* The first greatest, in order of from, then of to. O(n + f^2) for f cells
 * with failures, a difference and a comparison each. */
void scan_best(const struct scan_line *line, struct scan_window *out);

struct scan_chance {
    uint64_t seed;
    int most;   /* replicas, 999 */
    int enough; /* stop after so many at least as great, 10; 0: never */
};
/*
 * P(a window as great by chance): each replica throws the failures on the
 * line by its expectation and is asked whether it has a window as great. About
 * O(failures) a replica. With an early stop p = enough / replicas done, else
 * (1 + as great)/(1 + replicas).
 */
double scan_p(const struct scan_line *line, const struct scan_window *best,
              const struct scan_chance *chance);

/*
 * Both, when there is enough to look at: KW_ENOENT for fewer than four cells
 * or five failures. p is 1 when no window has an excess.
 */
#define SCAN_TOLD_P  0.01 /* up to which a run is told of */
#define SCAN_FIRINGS 10   /* batches of a window along the firing dates */
struct scan_found {
    struct scan_window window;
    double p;
};
int scan_run(const struct scan_line *line, const struct scan_chance *chance,
             struct scan_found *out);
#endif
