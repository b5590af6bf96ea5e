#ifndef KW_BENCH_FIGURES_H
#define KW_BENCH_FIGURES_H
/* figures.h - what the benches of carriers share: an end with words, rows. */
#include <stddef.h>

/* Ends the bench: what failed, and errno or the code of ours. */
_Noreturn void figures_die(const char *what);
void figures_must(int err, const char *what); /* err < 0 ends it */
/* A row for tests/bench/run: fields with tabs between. */
void figures_row(const char *what, double figure, const char *unit,
                 const char *remark);
/* Sorts v. q 0 to 1, the nearest rank; NAN of none. */
double figures_quantile(double *v, size_t n, double q);
#endif
