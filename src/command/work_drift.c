/* work_drift.c - `kilnword work drift`: readings of pots, in order of time. */
#include "command/work.h"

#include "watch/drift.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { POT, DAY, LITRES, LOG_FLOW, LOG_SE, SCRUB, N_COLUMNS };

static const struct work_column columns[N_COLUMNS] = {
    [POT] = {"pot", "", "its name; rows of one pot in order of days", WORK_TEXT,
             true, 0, 0, 0},
    [DAY] = {"day", "days", "any count of days", WORK_NUMBER, true, -1e7, 1e7,
             0},
    [LITRES] = {"first_hour_l", "L", "a reading, as seep gives it", WORK_NUMBER,
                false, 1e-6, 1e6, NAN},
    [LOG_FLOW] = {"log_flow", "", "or its natural logarithm", WORK_NUMBER,
                  false, -1e9, 1e9, NAN},
    [LOG_SE] = {"log_se", "", "standard error of its logarithm", WORK_NUMBER,
                false, 0, 10, 0},
    [SCRUB] = {"scrub", "", "1: scrubbed that day, before the reading",
               WORK_WHOLE, false, 0, 1, 0},
};

enum {
    READING_VAR,
    LEVEL_VAR,
    SLOPE_VAR,
    SCRUB_GAIN,
    SCRUB_VAR,
    CAP,
    LIMIT,
    PRIOR_LEVEL,
    PRIOR_SD,
    PRIOR_SLOPE,
    PRIOR_SLOPE_SD,
    START,
    TOO_FAST,
    SERVICE,
    N_SETTINGS
};

static const struct work_setting settings[N_SETTINGS] = {
    [READING_VAR] = {"--reading-var", "", "variance of ln of one reading", 0,
                     1e12, 0.04},
    [LEVEL_VAR] = {"--level-var", "a day", "wander of the level", 0, 1e12,
                   1e-4},
    [SLOPE_VAR] = {"--slope-var", "a day", "wander of the slope", 0, 1e12,
                   1e-9},
    [SCRUB_GAIN] = {"--scrub-gain", "ln", "what a scrub adds", -10, 10, 0.25},
    [SCRUB_VAR] = {"--scrub-var", "", "its variance", 0, 1e6, 0.04},
    [CAP] = {"--cap", "sd", "innovations are capped there; 0 not at all", 0,
             1e6, 2.5},
    [LIMIT] = {"--limit", "L", "replacement threshold", 1e-6, 1e6, 1.0},
    [PRIOR_LEVEL] = {"--prior-level", "ln L", "of a pot before its readings",
                     -1e9, 1e9, 0.7884573603642703},
    [PRIOR_SD] = {"--prior-sd", "ln", "its standard deviation", 0, 1e9, 0.25},
    [PRIOR_SLOPE] = {"--prior-slope", "ln a day", "of its fall", -10, 10,
                     -0.0022},
    [PRIOR_SLOPE_SD] = {"--prior-slope-sd", "ln a day",
                        "its standard deviation", 0, 1e6, 0.001},
    [START] = {"--start", "days", "day that the prior stands for", -1e7, 1e7,
               0},
    [TOO_FAST] = {"--too-fast", "L", "a reading above it is too fast", 1e-6,
                  1e9, 3.75},
    [SERVICE] = {"--service", "", "0: without jumps and \"cracked?\"", 0, 1, 1},
};

static const struct work_result results[] = {
    {"pot", "", "as given"},
    {"day", "days", "of the reading"},
    {"level", "ln L", "of the pot after it"},
    {"slope", "ln/day", "likewise"},
    {"p11", "", "variance of the level"},
    {"p12", "/day", "covariance of level and slope"},
    {"p22", "/day^2", "variance of the slope"},
    {"innovation", "ln", "reading less prediction"},
    {"variance", "", "of the innovation, as capped"},
    {"log_lik", "", "log-likelihood of the reading"},
    {"remark", "", "outlier, jump or cracked?, else empty"},
    {"p_below", "", "P(flow < limit)"},
    {"verdict", "", "fine, scrub, replace or stop"},
    {"fall_early", "days", "until P(below) is 0.1, from this day on"},
    {"fall_days", "days",
     "until it is 0.5: the day to expect; inf: not "
     "within ten years"},
    {"fall_late", "days", "until it is 0.9"},
    {"robust_slope", "ln/day",
     "Theil-Sen since the last scrub, from six "
     "readings on"},
};

struct pass { /* over the rows of one pot */
    struct drift_setting set;
    struct drift_prior prior;
    double start;
    struct drift_state state;
    double *days, *flows; /* readings since the last scrub */
    size_t n;
};

static void read_settings(const struct work_table *t, struct pass *p)
{
    const double *v = t->set;

    p->set = drift_defaults;
    p->set.reading_var = v[READING_VAR];
    p->set.level_var_day = v[LEVEL_VAR];
    p->set.slope_var_day = v[SLOPE_VAR];
    p->set.scrub_gain = v[SCRUB_GAIN];
    p->set.scrub_var = v[SCRUB_VAR];
    p->set.cap = v[CAP] > 0 ? v[CAP] : INFINITY;
    p->set.limit_l = v[LIMIT];
    p->set.service = v[SERVICE] > 0;
    p->prior = (struct drift_prior){v[PRIOR_LEVEL], v[PRIOR_SD], v[PRIOR_SLOPE],
                                    v[PRIOR_SLOPE_SD]};
    p->start = v[START];
    p->set.too_fast_l = v[TOO_FAST];
}

static void put_reading(struct work_table *t, size_t row, struct pass *p,
                        double y)
{
    const struct drift_state *s = &p->state;
    struct drift_event reading = {.at_days = work_at(t, row, DAY)->num,
                                  .log_flow = y,
                                  .log_se = work_at(t, row, LOG_SE)->num};
    struct drift_line line = {.slope = NAN};
    struct drift_step step;
    struct drift_fall fall;

    drift_read(&p->state, &p->set, &reading, &step);
    drift_fall(s, &p->set, &fall);
    p->days[p->n] = work_at(t, row, DAY)->num;
    p->flows[p->n++] = y;
    if (p->n >= 6)
        drift_theil_sen(p->days, p->flows, p->n, &line);
    work_put_id(t, row, POT);
    work_put_number(t, work_at(t, row, DAY)->num);
    work_put_number(t, s->level);
    work_put_number(t, s->slope);
    work_put_number(t, s->p11);
    work_put_number(t, s->p12);
    work_put_number(t, s->p22);
    work_put_number(t, step.innovation);
    work_put_number(t, step.variance);
    work_put_number(t, step.log_lik);
    work_put_text(t, step.crack     ? "cracked?"
                     : step.jumped  ? "jump"
                     : step.flagged ? "outlier"
                                    : "");
    work_put_number(t, step.p_below);
    work_put_text(t, flow_verdict_name(drift_judge(s, &p->set, &step)));
    work_put_number(t, fall.early_days);
    work_put_number(t, fall.expected_days);
    work_put_number(t, fall.late_days);
    work_put_number(t, line.slope);
}

static void take_row(struct work_table *t, size_t row, struct pass *p)
{
    const struct work_cell *litres = work_at(t, row, LITRES);
    const struct work_cell *log_flow = work_at(t, row, LOG_FLOW);
    bool scrub = work_at(t, row, SCRUB)->num > 0;

    if (scrub) {
        drift_scrub(&p->state, &p->set, work_at(t, row, DAY)->num);
        p->n = 0;
    }
    if (litres->given && log_flow->given)
        work_fault(t, row, "give first_hour_l or log_flow, not both");
    else if (litres->given || log_flow->given)
        put_reading(t, row, p,
                    litres->given ? log(litres->num) : log_flow->num);
    else if (!scrub)
        work_fault(t, row, "neither a reading nor a scrub");
}

/* Rows of a pot together, in the order of the table. */
struct place {
    const char *pot;
    size_t row;
};

static int by_pot(const void *a, const void *b)
{
    const struct place *x = a, *y = b;
    int c = strcmp(x->pot, y->pot);

    return c != 0 ? c : (x->row > y->row) - (x->row < y->row);
}

static void walk(struct work_table *t, struct pass *p,
                 const struct place *order)
{
    for (size_t i = 0; i < t->n; i++) {
        size_t row = order[i].row;
        bool same = i > 0 && strcmp(order[i].pot, order[i - 1].pot) == 0;

        if (!same) {
            drift_start(&p->state, &p->prior, p->start);
            p->n = 0;
        } else if (work_at(t, row, DAY)->num <
                   work_at(t, order[i - 1].row, DAY)->num) {
            work_fault(t, row,
                       "day %g of pot %.40s comes after a later one; "
                       "put them in order",
                       work_at(t, row, DAY)->num, order[i].pot);
            continue;
        }
        take_row(t, row, p);
    }
}

static void run(struct work_table *t)
{
    struct place *order = kw_calloc(t->n + 1, sizeof(*order));
    struct pass p = {.n = 0};

    read_settings(t, &p);
    p.days = kw_calloc(t->n + 1, sizeof(*p.days));
    p.flows = kw_calloc(t->n + 1, sizeof(*p.flows));
    for (size_t row = 0; row < t->n; row++)
        order[row] = (struct place){work_at(t, row, POT)->text, row};
    qsort(order, t->n, sizeof(*order), by_pot);
    if (t->faults.n == 0)
        walk(t, &p, order);
    kw_free(order);
    kw_free(p.days);
    kw_free(p.flows);
}

const struct work_method work_drift = {
    .name = "drift",
    .summary = "readings over a pot's life -> level, slope, what to do, when",
    .help = "The Kalman filter of ln flow: level and slope of each pot, a "
            "jump at each scrub,\ncapped innovations. One line for each "
            "reading, pots in order of their names.\n\nexample:\n"
            "  pot,day,first_hour_l,scrub\n  0214-073-19,0,2.1,\n"
            "  0214-073-19,90,1.6,\n  0214-073-19,240,0.9,\n"
            "  0214-073-19,244,1.0,1",
    .columns = columns,
    .n_columns = N_COLUMNS,
    .settings = settings,
    .n_settings = N_SETTINGS,
    .results = results,
    .n_results = KW_COUNT(results),
    .run = run,
};
