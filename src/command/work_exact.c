/* work_exact.c - `kilnword work exact`: exact upper tails of counts. */
#include "command/work.h"

#include "watch/exact.h"

#include <math.h>
#include <string.h>

#define COUNT_MOST 1e9

enum { ID, LAW, K, MEAN, N, P, POTS, FAILED, DRAWN, LEVEL, N_COLUMNS };

#define WHOLE(name, help)                                                      \
    {                                                                          \
        name, "", help, WORK_WHOLE, false, 0, COUNT_MOST, NAN                  \
    }

static const struct work_column columns[N_COLUMNS] = {
    [ID] = {"id", "", "yours, given back; else the line number", WORK_TEXT,
            false, 0, 0, 0},
    [LAW] = {"law", "", "poisson, binomial or hypergeometric", WORK_TEXT, true,
             0, 0, 0},
    [K] = {"k", "", "the count", WORK_WHOLE, true, 0, COUNT_MOST, 0},
    [MEAN] = {"mean", "", "poisson: expected", WORK_NUMBER, false, 0,
              COUNT_MOST, NAN},
    [N] = WHOLE("n", "binomial: trials"),
    [P] = {"p", "", "binomial: probability of each", WORK_NUMBER, false, 0, 1,
           NAN},
    [POTS] = WHOLE("pots", "hypergeometric: pots in all"),
    [FAILED] = WHOLE("failed", "hypergeometric: failed in all"),
    [DRAWN] = WHOLE("drawn", "hypergeometric: pots of the batch"),
    [LEVEL] = {"level", "", "poisson: of the interval of the mean", WORK_NUMBER,
               false, 0.01, 0.9999, 0.9},
};

static const struct work_result results[] = {
    {"id", "", "as given"},
    {"p_upper", "", "P(X >= k)"},
    {"mean_low", "", "poisson: exact interval of the mean seen as k"},
    {"mean_high", "", "its upper end"},
};

/* The columns that each law needs besides k. */
static const struct {
    const char *name;
    int needs[3];
} laws[] = {{"poisson", {MEAN, -1, -1}},
            {"binomial", {N, P, -1}},
            {"hypergeometric", {POTS, FAILED, DRAWN}}};

static int find_law(struct work_table *t, size_t row)
{
    const char *name = work_at(t, row, LAW)->text;

    for (size_t i = 0; i < KW_COUNT(laws); i++) {
        if (strcmp(laws[i].name, name) != 0)
            continue;
        for (int j = 0; j < 3; j++)
            if (laws[i].needs[j] >= 0 &&
                !work_at(t, row, laws[i].needs[j])->given) {
                work_fault(t, row, "%s needs %s", name,
                           columns[laws[i].needs[j]].name);
                return -1;
            }
        return (int)i;
    }
    work_fault(t, row,
               "law is '%.40s'; it is poisson, binomial or "
               "hypergeometric",
               name);
    return -1;
}

static void run(struct work_table *t)
{
    for (size_t row = 0; row < t->n; row++) {
        int law = find_law(t, row);
        int64_t k = (int64_t)work_at(t, row, K)->num;
        double tail, low = NAN, high = NAN;

        if (law < 0)
            continue;
        if (law == 0) {
            tail = exact_poisson_upper(k, work_at(t, row, MEAN)->num);
            exact_poisson_interval(k, work_at(t, row, LEVEL)->num, &low, &high);
        } else if (law == 1) {
            tail = exact_binomial_upper(k, (int64_t)work_at(t, row, N)->num,
                                        work_at(t, row, P)->num);
        } else {
            tail = exact_hypergeometric_upper(
                k, (int64_t)work_at(t, row, POTS)->num,
                (int64_t)work_at(t, row, FAILED)->num,
                (int64_t)work_at(t, row, DRAWN)->num);
        }
        if (isnan(tail)) {
            work_fault(t, row, "failed and drawn cannot be more than pots");
            continue;
        }
        work_put_id(t, row, ID);
        work_put_number(t, tail);
        work_put_number(t, low);
        work_put_number(t, high);
    }
}

const struct work_method work_exact = {
    .name = "exact",
    .summary = "exact upper tails: Poisson, binomial, hypergeometric",
    .help = "How rare is a count this high or higher, exactly.\n\nexample:\n"
            "  id,law,k,mean,pots,failed,drawn\n"
            "  age,poisson,5,1.2,,,\n"
            "  pots,hypergeometric,5,,500,12,50",
    .columns = columns,
    .n_columns = N_COLUMNS,
    .results = results,
    .n_results = KW_COUNT(results),
    .run = run,
};
