/* work_scan.c - `kilnword work scan`: a run of neighbours on a line. */
#include "command/work.h"

#include "watch/scan.h"

enum { CELL, FAILED, EXPECTED, N_COLUMNS };

static const struct work_column columns[N_COLUMNS] = {
    [CELL] = {"cell", "", "yours, in the order of the line: serial, firing",
              WORK_TEXT, false, 0, 0, 0},
    [FAILED] = {"failed", "", "failures of it", WORK_WHOLE, true, 0, 1e6, 0},
    [EXPECTED] = {"expected", "", "any measure of its share", WORK_NUMBER,
                  false, 1e-12, 1e12, 1},
};

enum { LONGEST, REPLICAS, SEED, N_SETTINGS };

static const struct work_setting settings[N_SETTINGS] = {
    [LONGEST] = {"--longest", "cells", "of a window; 0 is half the line", 0,
                 1e6, 0},
    [REPLICAS] = {"--replicas", "", "thrown by chance", 1, 1e6, 999},
    [SEED] = {"--seed", "", "of the generator", 0, 1e15, 1},
};

static const struct work_result results[] = {
    {"from", "", "first cell of the window"},
    {"to", "", "last cell"},
    {"failed", "", "in it"},
    {"expected", "", "in it, of the total"},
    {"llr", "", "log-likelihood ratio; 0 when no window has an excess"},
    {"p", "", "P(a window as great by chance)"},
};

static void run(struct work_table *t)
{
    int64_t *failed = kw_calloc(t->n + 1, sizeof(*failed));
    double *expected = kw_calloc(t->n + 1, sizeof(*expected));
    struct scan_line line = {.failed = failed,
                             .expected = expected,
                             .n = t->n,
                             .longest = (size_t)t->set[LONGEST]};
    struct scan_chance chance = {.seed = (uint64_t)t->set[SEED],
                                 .most = (int)t->set[REPLICAS]};
    struct scan_window w;

    for (size_t row = 0; row < t->n; row++) {
        failed[row] = (int64_t)work_at(t, row, FAILED)->num;
        expected[row] = work_at(t, row, EXPECTED)->num;
    }
    scan_best(&line, &w);
    if (t->n > 0 && w.llr > 0) {
        work_put_id(t, w.from, CELL);
        work_put_id(t, w.to, CELL);
        work_put_number(t, (double)w.failed);
        work_put_number(t, w.expected);
        work_put_number(t, w.llr);
        work_put_number(t, scan_p(&line, &w, &chance));
    }
    kw_free(failed);
    kw_free(expected);
}

const struct work_method work_scan = {
    .name = "scan",
    .summary = "failures along a line -> the run that stands out most",
    .help = "Kulldorff's scan along serials in the order of the kiln, or "
            "batches in the order of\nfiring. One line out, or none when no "
            "window has an excess.\n\nexample:\n  cell,failed\n  1,0\n  2,2\n"
            "  3,1\n  4,0\n  5,0\n  6,0",
    .columns = columns,
    .n_columns = N_COLUMNS,
    .settings = settings,
    .n_settings = N_SETTINGS,
    .results = results,
    .n_results = KW_COUNT(results),
    .run = run,
};
