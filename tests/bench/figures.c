/* figures.c - see figures.h. */
#include "tests/bench/figures.h"

#include "base/kw.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void figures_die(const char *what)
{
    fprintf(stderr, "%s: %s: %s\n", program_invocation_short_name, what,
            strerror(errno));
    exit(1);
}

void figures_must(int err, const char *what)
{
    if (err >= 0)
        return;
    fprintf(stderr, "%s: %s: %s\n", program_invocation_short_name, what,
            kw_err_text(err));
    exit(1);
}

void figures_row(const char *what, double figure, const char *unit,
                 const char *remark)
{
    printf("%s\t%.*f\t%s\t%s\n", what, figure < 10 ? 2 : 0, figure, unit,
           remark);
    fflush(stdout);
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

double figures_quantile(double *v, size_t n, double q)
{
    qsort(v, n, sizeof(*v), by_size);
    return n > 0 ? v[(size_t)(q * (double)(n - 1) + 0.5)] : NAN;
}
