/* work_flow.c - `kilnword work flow`: one reading -> what to do. */
#include "command/work.h"

#include "watch/flowrule.h"

enum {
    ID,
    LITRES,
    LOG_SE,
    LAST,
    LAST_SE,
    BATCH_MAX,
    AGE,
    LOW_BEFORE,
    SCRUBBED,
    N_COLUMNS
};

static const struct work_column columns[N_COLUMNS] = {
    [ID] = {"id", "", "yours, given back; else the line number", WORK_TEXT,
            false, 0, 0, 0},
    [LITRES] = {"first_hour_l", "L", "the reading, as seep gives it",
                WORK_NUMBER, true, 0.001, 200, 0},
    [LOG_SE] = {"log_se", "", "standard error of its logarithm", WORK_NUMBER,
                false, 0, 10, 0.2},
    [LAST] = {"last_l", "L", "the pot's flow before; 0 not known", WORK_NUMBER,
              false, 0, 200, 0},
    [LAST_SE] = {"last_log_se", "", "standard error of its logarithm",
                 WORK_NUMBER, false, 0, 10, 0.2},
    [BATCH_MAX] = {"batch_max_l", "L",
                   "accepted maximum of its batch; 0 the "
                   "setting",
                   WORK_NUMBER, false, 0, 200, 0},
    [AGE] = {"age_days", "days", "since the pot was handed over", WORK_NUMBER,
             false, 0, 36500, 365},
    [LOW_BEFORE] = {"low_before", "", "readings below the threshold in a row",
                    WORK_WHOLE, false, 0, 1000, 0},
    [SCRUBBED] = {"scrubbed", "", "1: scrubbed after the last low reading",
                  WORK_WHOLE, false, 0, 1, 0},
};

enum { BELOW, ACCEPT, FAST, RISE, SETTLE, EARLY, SURE, N_SETTINGS };

static const struct work_setting settings[N_SETTINGS] = {
    [BELOW] = {"--replace-below", "L", "threshold of the first hour", 0.01, 50,
               1.0},
    [ACCEPT] = {"--accept-max", "L", "upper end of the accepted band", 0.01, 50,
                3.0},
    [FAST] = {"--fast-factor", "", "times that is too fast", 1, 100, 1.25},
    [RISE] = {"--rise-factor", "", "times the pot's own last is too fast", 1,
              100, 1.5},
    [SETTLE] = {"--settle-days", "days",
                "a rise in the first days is no "
                "crack",
                0, 1000, 28},
    [EARLY] = {"--rise-early", "", "times then allowed", 1, 100, 1.8},
    [SURE] = {"--sure", "", "P(below) needed to say replace", 0.5, 1, 0.75},
};

static const struct work_result results[] = {
    {"id", "", "as given"},
    {"verdict", "", "fine, scrub, replace or stop"},
    {"p_below", "", "P(the true flow is below the threshold)"},
};

static void run(struct work_table *t)
{
    struct flow_rule rule = {.replace_below_l = t->set[BELOW],
                             .accept_max_l = t->set[ACCEPT],
                             .fast_factor = t->set[FAST],
                             .rise_factor = t->set[RISE],
                             .settle_days = t->set[SETTLE],
                             .rise_early = t->set[EARLY],
                             .sure = t->set[SURE]};

    for (size_t row = 0; row < t->n; row++) {
        struct flow_past past = {
            .last_l = work_at(t, row, LAST)->num,
            .last_log_se = work_at(t, row, LAST_SE)->num,
            .batch_max_l = work_at(t, row, BATCH_MAX)->num,
            .age_days = work_at(t, row, AGE)->num,
            .low_before = (int)work_at(t, row, LOW_BEFORE)->num,
            .scrubbed_since = work_at(t, row, SCRUBBED)->num > 0};
        double p;
        enum flow_verdict v =
            flow_judge(&rule, &past, work_at(t, row, LITRES)->num,
                       work_at(t, row, LOG_SE)->num, &p);

        work_put_id(t, row, ID);
        work_put_text(t, flow_verdict_name(v));
        work_put_number(t, p);
    }
}

const struct work_method work_flow = {
    .name = "flow",
    .summary = "one reading of a pot's flow -> fine, scrub, replace or stop",
    .help = "The threshold rule with scrubbing, on one reading at a time. "
            "stop: stop drinking,\nsuspected crack, whatever else is good "
            "about the reading.\n\nexample:\n"
            "  id,first_hour_l,log_se,low_before,scrubbed\n"
            "  0214-073-19,0.8,0.2,2,1",
    .columns = columns,
    .n_columns = N_COLUMNS,
    .settings = settings,
    .n_settings = N_SETTINGS,
    .results = results,
    .n_results = KW_COUNT(results),
    .run = run,
};
