#ifndef KW_TESTS_SIM_WORLD_H
#define KW_TESTS_SIM_WORLD_H
/*
 * sim_world.h - 100 made-up batches over three years, for the simulations.
 *
 * Batches of 50 to 200 pots, fired over one year, in 1 to 5 of 40 places, 2 %
 * a month breakage, 60 % of it reported, delay ln-normal about 4 days (at
 * most 90), each batch followed 730 days from its first delivery; 5 bad
 * batches break `risk` times as fast.
 * clean: nothing else. real: each place reports its own share, Beta(6, 4);
 * sound batches differ (gamma, CV 0.2); twice the risk in the first 30 days;
 * 2 % of the reports carry a wrong, but valid, serial. shock: real, and once
 * in four years a place loses 15 % of its pots in a day. late: real, and bad
 * batches turn bad at 180 days of age. waves: real, and from month to month
 * all places tell of more or fewer, between 0.3 times their share and all of
 * it, as with campaigns, rains and dear air time.
 */
#include <stdbool.h>
#include <stdint.h>

enum {
    BATCHES = 100,
    PLACES = 40,
    BAD = 5,
    FOLLOWED = 730,
    DAYS = 1200,
    PER_BATCH = 5,
    CELLS = BATCHES * PER_BATCH,
    REPORTS = 40000,
    WAVES_MOST = 64
};

enum kind { CLEAN, REAL, SHOCK, LATE, WAVES };

struct sim_kind {
    enum kind kind;
    double risk; /* of the bad; 1: none */
};

struct report {
    int day, cell;
};

struct world {
    int n_cells, batch[CELLS], place[CELLS], day[CELLS], pots[CELLS];
    int first[BATCHES]; /* delivery */
    double own[BATCHES], share[PLACES];
    double wave[WAVES_MOST]; /* by month of the report */
    int n_reports;
    struct report reports[REPORTS];
};

/* Reports by day, then by cell. */
void make_world(struct world *w, const struct sim_kind *t, uint64_t seed);
bool is_bad(int batch, double risk);
#endif
