/* work_wear.c - `kilnword work wear`, `logrank` and `rates`: survival of pots.
 */
#include "command/work.h"

#include "watch/breakage.h"
#include "watch/wear.h"

#include <math.h>
#include <stdlib.h>

enum { GROUP, ENTRY, EXIT, FAILED, N_COLUMNS, STRATUM = N_COLUMNS, N_LOGRANK };

#define UNIT_COLUMNS                                                           \
    [GROUP] = {"group",   "",    "a curve for each: batch, clay, place …",     \
               WORK_TEXT, false, 0,                                            \
               0,         0},                                                  \
    [ENTRY] = {"entry",     "days", "age when it came under watch",            \
               WORK_NUMBER, false,  0,                                         \
               1e6,         0},                                                \
    [EXIT] = {"exit",      "days", "age when it failed or was last seen",      \
              WORK_NUMBER, true,   0,                                          \
              1e6,         0},                                                 \
    [FAILED] = {"failed",   "",   "1 failed then, 0 last seen sound",          \
                WORK_WHOLE, true, 0,                                           \
                1,          0}

static const struct work_column curve_columns[N_COLUMNS] = {UNIT_COLUMNS};
static const struct work_column logrank_columns[N_LOGRANK] = {
    UNIT_COLUMNS,
    [STRATUM] = {"stratum", "", "compared within these only", WORK_TEXT, false,
                 0, 0, 0},
};

static const struct work_setting settings[] = {
    {"--level", "", "of the interval", 0.5, 0.9999, 0.95},
};

static const struct work_result curve_results[] = {
    {"group", "", "as given"},
    {"time", "days", "an age at which a pot left"},
    {"at_risk", "", "pots under watch just before"},
    {"failed", "", "of them at that age"},
    {"survival", "", "Kaplan-Meier"},
    {"low", "", "its interval, log-log"},
    {"high", "", "likewise"},
    {"log_se", "", "Greenwood, of ln survival"},
    {"hazard", "", "Nelson-Aalen, cumulative"},
    {"hazard_se", "", "its standard error"},
};

static const struct work_result logrank_results[] = {
    {"group", "", "as given"},
    {"observed", "", "failures"},
    {"expected", "", "if all groups failed alike"},
    {"chisq", "", "of the test over all groups"},
    {"df", "", "its degrees of freedom"},
    {"p", "", "P(as far or farther apart) if they do"},
};

static void read_units(struct work_table *t, struct wear_unit *units)
{
    for (size_t i = 0; i < t->n; i++) {
        units[i].entry = work_at(t, i, ENTRY)->num;
        units[i].exit = work_at(t, i, EXIT)->num;
        units[i].failed = work_at(t, i, FAILED)->num > 0;
        if (!(units[i].entry < units[i].exit))
            work_fault(t, i,
                       "entry %g is not before exit %g; a pot needs "
                       "some time under watch",
                       units[i].entry, units[i].exit);
    }
}

static int by_group(const void *a, const void *b)
{
    const struct wear_unit *x = a, *y = b;

    return (x->group > y->group) - (x->group < y->group);
}

static void put_curve(struct work_table *t, const char *name,
                      const struct wear_row *rows, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        work_put_text(t, name);
        work_put_number(t, rows[i].time);
        work_put_number(t, (double)rows[i].at_risk);
        work_put_number(t, (double)rows[i].failed);
        work_put_number(t, rows[i].survival);
        work_put_number(t, rows[i].low);
        work_put_number(t, rows[i].high);
        work_put_number(t, rows[i].log_se);
        work_put_number(t, rows[i].hazard);
        work_put_number(t, rows[i].hazard_se);
    }
}

static struct wear_unit *units_of(struct work_table *t, const char ***names)
{
    struct wear_unit *units = kw_calloc(t->n + 1, sizeof(*units));
    int *numbers = kw_calloc(t->n + 1, sizeof(*numbers));

    read_units(t, units);
    work_names(t, GROUP, numbers, names);
    for (size_t i = 0; i < t->n; i++)
        units[i].group = numbers[i];
    kw_free(numbers);
    return units;
}

static void run_curves(struct work_table *t)
{
    const char **names;
    struct wear_unit *units = units_of(t, &names);
    struct wear_row *rows = kw_calloc(t->n + 1, sizeof(*rows));

    qsort(units, t->n, sizeof(*units), by_group);
    for (size_t from = 0, to = 0; t->faults.n == 0 && from < t->n; from = to) {
        while (to < t->n && units[to].group == units[from].group)
            to++;
        put_curve(t, names[units[from].group], rows,
                  wear_curve(units + from, to - from, t->set[0], rows));
    }
    kw_free(rows);
    kw_free(units);
    kw_free(names);
}

static void put_logrank(struct work_table *t, const char **names,
                        const struct wear_unit *units)
{
    struct wear_logrank r;

    if (wear_logrank(units, t->n, &r) < 0)
        work_fault(t, 0, "more than %d groups; compare fewer",
                   WEAR_GROUPS_MOST);
    for (int g = 0; t->faults.n == 0 && g < r.groups; g++) {
        work_put_text(t, names[g]);
        work_put_number(t, r.observed[g]);
        work_put_number(t, r.expected[g]);
        work_put_number(t, r.chisq);
        work_put_number(t, r.df);
        work_put_number(t, r.p);
    }
    wear_logrank_release(&r);
}

static void run_logrank(struct work_table *t)
{
    const char **names, **strata;
    struct wear_unit *units = units_of(t, &names);
    int *numbers = kw_calloc(t->n + 1, sizeof(*numbers));

    work_names(t, STRATUM, numbers, &strata);
    for (size_t i = 0; i < t->n; i++)
        units[i].stratum = numbers[i];
    if (t->faults.n == 0)
        put_logrank(t, names, units);
    kw_free(numbers);
    kw_free(strata);
    kw_free(units);
    kw_free(names);
}

const struct work_method work_wear = {
    .name = "wear",
    .summary = "ages at failure -> survival and hazard, a curve a group",
    .help = "Kaplan-Meier with Greenwood's variance, and Nelson-Aalen. A pot "
            "is at risk at age t\nwhen entry < t <= exit.\n\nexample:\n"
            "  group,entry,exit,failed\n  0213,0,400,0\n  0214,0,35,1\n"
            "  0214,20,180,1",
    .columns = curve_columns,
    .n_columns = N_COLUMNS,
    .settings = settings,
    .n_settings = KW_COUNT(settings),
    .results = curve_results,
    .n_results = KW_COUNT(curve_results),
    .run = run_curves,
};

const struct work_method work_logrank = {
    .name = "logrank",
    .summary = "do groups of pots last alike? The log-rank test",
    .help = "The log-rank test over all groups, within strata where they are "
            "given.\n\nexample:\n  group,stratum,exit,failed\n"
            "  0213,upper,400,0\n  0214,upper,35,1\n  0214,lower,180,1",
    .columns = logrank_columns,
    .n_columns = N_LOGRANK,
    .results = logrank_results,
    .n_results = KW_COUNT(logrank_results),
    .run = run_logrank,
};

/* ---- rates by age ---- */

enum { EVENTS, MONTHLY, CAUTION, N_RATES };

static const struct work_setting rates_settings[N_RATES] = {
    [EVENTS] = {"--prior-events", "", "failures that the prior is worth", 0,
                1e6, 3},
    [MONTHLY] = {"--prior-monthly", "a pot and month", "its rate", 1e-6, 10,
                 0.012},
    [CAUTION] = {"--caution", "", "upper is rate (1 + this/sqrt(events))", 0,
                 10, 1},
};

static const struct work_result rates_results[] = {
    {"group", "", "as given"},
    {"from", "days", "of age, above"},
    {"to", "days", "of age, up to; empty: no end"},
    {"exposure", "pot-days", "under watch"},
    {"failed", "", "of them"},
    {"raw", "a pot and day", "failed / exposure"},
    {"rate", "a pot and day", "with the prior"},
    {"upper", "a pot and day", "cautious, while little is known"},
    {"hazard", "", "cumulative, from 0 to the end of the span"},
};

static void put_rates(struct work_table *t, const char *name,
                      const struct wear_unit *units, size_t n)
{
    struct wear_rate rates[BREAKAGE_BINS];
    struct wear_prior prior = {t->set[EVENTS], t->set[MONTHLY] / 30.4375,
                               t->set[CAUTION]};
    const double *edges = breakage_edges_days;

    wear_rates(units, n, edges, BREAKAGE_BINS, &prior, rates);
    for (int k = 0; k < BREAKAGE_BINS; k++) {
        double to = k + 1 < BREAKAGE_BINS ? edges[k + 1] : NAN;

        work_put_text(t, name);
        work_put_number(t, edges[k]);
        work_put_number(t, to);
        work_put_number(t, rates[k].exposure);
        work_put_number(t, (double)rates[k].failed);
        work_put_number(t, rates[k].raw);
        work_put_number(t, rates[k].rate);
        work_put_number(t, rates[k].upper);
        work_put_number(
            t,
            isnan(to) ? NAN : wear_cumulative(rates, edges, BREAKAGE_BINS, to));
    }
}

static void run_rates(struct work_table *t)
{
    const char **names;
    struct wear_unit *units = units_of(t, &names);

    qsort(units, t->n, sizeof(*units), by_group);
    for (size_t from = 0, to = 0; t->faults.n == 0 && from < t->n; from = to) {
        while (to < t->n && units[to].group == units[from].group)
            to++;
        put_rates(t, names[units[from].group], units + from, to - from);
    }
    kw_free(units);
    kw_free(names);
}

const struct work_method work_rates = {
    .name = "rates",
    .summary = "ages at failure -> failures a pot and day, by spans of age",
    .help =
        "The piecewise-exponential baseline: one rate for each span of age, "
        "drawn to a prior\nwhile little is known; what `show need` and the "
        "watch over batches rest on.\n\nexample:\n"
        "  group,entry,exit,failed\n  all,0,400,0\n  all,0,35,1\n"
        "  all,20,180,1",
    .columns = curve_columns,
    .n_columns = N_COLUMNS,
    .settings = rates_settings,
    .n_settings = N_RATES,
    .results = rates_results,
    .n_results = KW_COUNT(rates_results),
    .run = run_rates,
};
