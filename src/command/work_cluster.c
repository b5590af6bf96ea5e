/* work_cluster.c - `kilnword work cluster`: an event log in, alarms out. */
#include "command/work.h"

#include "watch/detector.h"

#include <math.h>
#include <string.h>

enum { DAY, EVENT, BATCH, PLACE, POTS, DELIVERED, N_COLUMNS };

static const struct work_column columns[N_COLUMNS] = {
    [DAY] = {"day", "days", "of receipt; never goes back", WORK_WHOLE, true, 0,
             1e7, 0},
    [EVENT] = {"event", "", "delivered, failed, withdrawn, closed or report",
               WORK_TEXT, true, 0, 0, 0},
    [BATCH] = {"batch", "", "of the pots; not for report", WORK_TEXT, false, 0,
               0, 0},
    [PLACE] = {"place", "", "where they are", WORK_TEXT, false, 0, 0, 0},
    [POTS] = {"pots", "", "how many, of delivered, failed and withdrawn",
              WORK_WHOLE, false, 1, 1e7, 1},
    [DELIVERED] = {"delivered", "days",
                   "which delivery, of failed and "
                   "withdrawn; else the first with pots "
                   "left",
                   WORK_WHOLE, false, 0, 1e7, 0},
};

enum {
    CAP,
    WINDOW,
    SUSPECT,
    FAILING,
    LIMIT,
    PLACE_WEIGHT,
    REWEIGH,
    EVENTS,
    MONTHLY,
    N_SETTINGS
};

static const struct work_setting settings[N_SETTINGS] = {
    [CAP] = {"--cap", "",
             "failures of a batch in a place that count in a window", 1,
             DETECTOR_CAP_MOST, 2},
    [WINDOW] = {"--window", "days", "of the window", 1, 365, 7},
    [SUSPECT] = {"--suspect", "", "Bayes factor from which: suspect", 1, 1e9,
                 10},
    [FAILING] = {"--failing", "", "Bayes factor from which: failing", 1, 1e9,
                 50},
    [LIMIT] = {"--limit", "", "CUSUM from which: failing", 0.1, 1e3, 7},
    [PLACE_WEIGHT] = {"--place-weight", "",
                      "failures that a place's own "
                      "reporting must outweigh",
                      0.1, 1e6, 15},
    [REWEIGH] = {"--reweigh-days", "days",
                 "after which that is estimated anew from "
                 "the places; 0 never (the service: 90)",
                 0, 1e4, 0},
    [EVENTS] = {"--prior-events", "", "failures that the prior is worth", 0.1,
                1e6, 3},
    [MONTHLY] = {"--prior-monthly", "a pot and month", "its rate", 1e-6, 1,
                 0.012},
};

static const struct work_result results[] = {
    {"day", "days", "of the report row, and of the last row"},
    {"batch", "", "as given"},
    {"state", "", "sound, suspect or failing"},
    {"alarm_day", "days", "when it was found failing"},
    {"reported", "", "failures"},
    {"counted", "", "of them, co-located ones left out"},
    {"expected", "", "by the other batches"},
    {"upper", "", "the same, cautious: what is tested against"},
    {"log_bf", "", "ln Bayes factor; empty under three failures"},
    {"cusum", "", "of the late-onset chart"},
    {"risk", "", "relative to the others"},
    {"risk_low", "", "its 5 % quantile"},
    {"risk_high", "", "its 95 % quantile"},
    {"places", "", "with a failure that counts"},
    {"place_bound", "", "1: cannot be told apart from the place"},
};

/* A delivery told to the detector. */
struct delivery {
    int batch, place, day, cell;
    int64_t left;
};

struct pass {
    struct detector *d;
    int *batch, *place; /* numbers of each row's */
    const char **batches, **places;
    size_t n_batches;
    struct delivery *deliveries;
    size_t n;
};

static struct detector_setting read_settings(const struct work_table *t)
{
    struct detector_setting set = detector_defaults;

    set.cap = (int)t->set[CAP];
    set.window_days = (int)t->set[WINDOW];
    set.suspect = t->set[SUSPECT];
    set.failing = t->set[FAILING];
    set.chart.limit = t->set[LIMIT];
    set.place_weight = t->set[PLACE_WEIGHT];
    set.reweigh_days = (int)t->set[REWEIGH];
    set.prior.events = t->set[EVENTS];
    set.prior.rate_per_day = t->set[MONTHLY] / 30.4375;
    return set;
}

static void put_report(struct work_table *t, const struct pass *p, int day)
{
    for (size_t b = 0; b < p->n_batches; b++) {
        struct detector_verdict v;

        if (p->batches[b][0] == '\0')
            continue; /* the report rows' */
        detector_verdict(p->d, (int)b, &v);
        work_put_number(t, day);
        work_put_text(t, p->batches[b]);
        work_put_text(t, detector_state_name(v.state));
        work_put_number(t, v.alarm_day > 0 ? v.alarm_day : NAN);
        work_put_number(t, (double)v.reported);
        work_put_number(t, (double)v.counted);
        work_put_number(t, v.expected);
        work_put_number(t, v.upper);
        work_put_number(t, v.log_bf);
        work_put_number(t, v.cusum);
        work_put_number(t, v.risk.mean);
        work_put_number(t, v.risk.low);
        work_put_number(t, v.risk.high);
        work_put_number(t, v.places);
        work_put_number(t, v.place_bound);
    }
}

static void deliver(struct work_table *t, size_t row, struct pass *p, int day)
{
    int64_t pots = (int64_t)work_at(t, row, POTS)->num;
    int cell = detector_deliver(p->d, p->batch[row], p->place[row], day, pots);

    if (cell < 0)
        work_fault(t, row, "this delivery cannot be");
    else
        p->deliveries[p->n++] =
            (struct delivery){p->batch[row], p->place[row], day, cell, pots};
}

static struct delivery *delivery_of(const struct work_table *t, size_t row,
                                    const struct pass *p)
{
    const struct work_cell *day = work_at(t, row, DELIVERED);

    for (size_t i = 0; i < p->n; i++) {
        struct delivery *v = &p->deliveries[i];

        if (v->batch == p->batch[row] && v->place == p->place[row] &&
            (day->given ? v->day == (int)day->num : v->left > 0))
            return v;
    }
    return NULL;
}

static void lose(struct work_table *t, size_t row, struct pass *p, bool failed)
{
    struct delivery *v = delivery_of(t, row, p);
    int64_t pots = (int64_t)work_at(t, row, POTS)->num;
    int day = (int)work_at(t, row, DAY)->num;

    if (v == NULL || v->left < pots) {
        work_fault(t, row,
                   "batch %.40s has no %lld pots left of that "
                   "delivery at %.40s",
                   p->batches[p->batch[row]], (long long)pots,
                   p->places[p->place[row]]);
        return;
    }
    for (int64_t i = 0; failed && i < pots; i++)
        detector_fail(p->d, v->cell, day);
    if (!failed)
        detector_withdraw(p->d, v->cell, day, pots);
    v->left -= pots;
}

static void take_row(struct work_table *t, size_t row, struct pass *p)
{
    const char *event = work_at(t, row, EVENT)->text;
    int day = (int)work_at(t, row, DAY)->num;

    if (strcmp(event, "report") == 0) {
        detector_advance(p->d, day);
        put_report(t, p, day);
    } else if (!work_at(t, row, BATCH)->given) {
        work_fault(t, row, "batch is not given");
    } else if (strcmp(event, "closed") == 0) {
        detector_advance(p->d, day);
        detector_close(p->d, p->batch[row]);
    } else if (strcmp(event, "delivered") == 0) {
        deliver(t, row, p, day);
    } else if (strcmp(event, "failed") == 0) {
        lose(t, row, p, true);
    } else if (strcmp(event, "withdrawn") == 0) {
        lose(t, row, p, false);
    } else {
        work_fault(t, row,
                   "event is '%.40s'; it is delivered, failed, "
                   "withdrawn, closed or report",
                   event);
    }
}

static void walk(struct work_table *t, struct pass *p)
{
    double last = 0;

    for (size_t row = 0; row < t->n; row++) {
        double day = work_at(t, row, DAY)->num;

        if (day < last) {
            work_fault(t, row,
                       "day %g comes after day %g; put the rows in "
                       "order",
                       day, last);
            continue;
        }
        last = day;
        if (t->faults.n == 0 ||
            strcmp(work_at(t, row, EVENT)->text, "report") != 0)
            take_row(t, row, p);
    }
    if (t->faults.n == 0 && t->n > 0) {
        detector_advance(p->d, (int)last);
        put_report(t, p, (int)last);
    }
}

static void run(struct work_table *t)
{
    struct detector_setting set = read_settings(t);
    struct pass p = {.d = detector_new(&set)};

    p.batch = kw_calloc(t->n + 1, sizeof(*p.batch));
    p.place = kw_calloc(t->n + 1, sizeof(*p.place));
    p.deliveries = kw_calloc(t->n + 1, sizeof(*p.deliveries));
    p.n_batches = work_names(t, BATCH, p.batch, &p.batches);
    work_names(t, PLACE, p.place, &p.places);
    walk(t, &p);
    detector_free(p.d);
    kw_free(p.batch);
    kw_free(p.place);
    kw_free(p.deliveries);
    kw_free(p.batches);
    kw_free(p.places);
}

const struct work_method work_cluster = {
    .name = "cluster",
    .summary = "an event log -> which batches are sound, suspect, failing",
    .help = "Watches batches report by report: evidence from the first day "
            "and of a late onset,\nagainst what the other batches say, with a "
            "factor for how eagerly places report.\nOne line a batch for each "
            "report row, and at the end.\n\nexample:\n"
            "  day,event,batch,place,pots\n  0,delivered,0213,Bora,40\n"
            "  3,delivered,0214,Bora,40\n  30,failed,0214,Bora,\n"
            "  90,report,,,",
    .columns = columns,
    .n_columns = N_COLUMNS,
    .settings = settings,
    .n_settings = N_SETTINGS,
    .results = results,
    .n_results = KW_COUNT(results),
    .run = run,
};
