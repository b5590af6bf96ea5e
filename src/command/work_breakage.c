/* work_breakage.c - `kilnword work breakage`: batches against the others. */
#include "command/work.h"

#include "watch/breakage.h"

#define DAYS_PER_MONTH 30.4375

enum {
    BATCH,
    POTS_OUT,
    DAYS_0,
    FAILED_0 = DAYS_0 + BREAKAGE_BINS,
    N_COLUMNS = FAILED_0 + BREAKAGE_BINS
};

#define DAYS(edge, help)                                                       \
    {                                                                          \
        "days_" edge, "days", help, WORK_NUMBER, false, 0, 1e12, 0             \
    }
#define FAILED(edge, help)                                                     \
    {                                                                          \
        "failed_" edge, "", help, WORK_WHOLE, false, 0, 1e9, 0                 \
    }

static const struct work_column columns[N_COLUMNS] = {
    {"batch", "", "its name", WORK_TEXT, true, 0, 0, 0},
    {"pots_out", "", "pots ever handed out", WORK_WHOLE, true, 0, 1e9, 0},
    DAYS("0", "pot-days at risk at age 0 to 30 days"),
    DAYS("30", "at 30 to 90"),
    DAYS("90", "at 90 to 180"),
    DAYS("180", "at 180 to 365"),
    DAYS("365", "at 365 and more"),
    FAILED("0", "pots reported failed at age 0 to 30 days"),
    FAILED("30", "at 30 to 90"),
    FAILED("90", "at 90 to 180"),
    FAILED("180", "at 180 to 365"),
    FAILED("365", "at 365 and more"),
};

enum { EVENTS, MONTHLY, N_SETTINGS };

static const struct work_setting settings[N_SETTINGS] = {
    [EVENTS] = {"--prior-events", "", "failures that the prior is worth", 0,
                1e6, 3},
    [MONTHLY] = {"--prior-monthly", "a pot and month", "its rate", 0, 1, 0.012},
};

static const struct work_result results[] = {
    {"batch", "", "as given"},
    {"observed", "", "failures"},
    {"expected", "", "by the others' rates at the same ages"},
    {"ratio", "", "observed over expected"},
    {"ratio_low", "", "exact 90 % interval of the ratio"},
    {"ratio_high", "", "its upper end"},
    {"p_poisson", "", "P(as many or more) at the expected"},
    {"p_hypergeometric", "", "the same by pots alone, ages left out"},
};

static void read_batch(const struct work_table *t, size_t row,
                       struct breakage_batch *b)
{
    *b = (struct breakage_batch){.batch_id = (int64_t)row,
                                 .pots_out =
                                     (int64_t)work_at(t, row, POTS_OUT)->num};
    for (int k = 0; k < BREAKAGE_BINS; k++) {
        b->exposure_days[k] = work_at(t, row, DAYS_0 + k)->num;
        b->failed_at[k] = (int64_t)work_at(t, row, FAILED_0 + k)->num;
        b->failed += b->failed_at[k];
    }
}

static void run(struct work_table *t)
{
    struct breakage_prior prior = {t->set[EVENTS],
                                   t->set[MONTHLY] / DAYS_PER_MONTH};
    struct breakage_batch *batches = kw_calloc(t->n + 1, sizeof(*batches));
    struct breakage_verdict *v = kw_calloc(t->n + 1, sizeof(*v));

    for (size_t row = 0; row < t->n; row++) {
        read_batch(t, row, &batches[row]);
        if (batches[row].failed > batches[row].pots_out)
            work_fault(t, row,
                       "%lld failed of %lld handed out; a pot fails "
                       "once",
                       (long long)batches[row].failed,
                       (long long)batches[row].pots_out);
    }
    breakage_judge(batches, t->n, &prior, v);
    for (size_t row = 0; row < t->n; row++) {
        work_put_id(t, row, BATCH);
        work_put_number(t, (double)v[row].observed);
        work_put_number(t, v[row].expected);
        work_put_number(t, v[row].ratio);
        work_put_number(t, v[row].ratio_low);
        work_put_number(t, v[row].ratio_high);
        work_put_number(t, v[row].p_poisson);
        work_put_number(t, v[row].p_hypergeometric);
    }
    kw_free(batches);
    kw_free(v);
}

const struct work_method work_breakage = {
    .name = "breakage",
    .summary = "failures of each batch against what the others say",
    .help = "Indirect standardisation by age, the batch left out of its own "
            "expectation, with\nexact tails: one look at all batches.\n\n"
            "example:\n  batch,pots_out,days_0,days_30,failed_0,failed_30\n"
            "  0213,60,1800,3400,1,1\n  0214,60,1750,3100,6,2",
    .columns = columns,
    .n_columns = N_COLUMNS,
    .settings = settings,
    .n_settings = N_SETTINGS,
    .results = results,
    .n_results = KW_COUNT(results),
    .run = run,
};
