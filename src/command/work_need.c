/* work_need.c - `kilnword work need`: pots that will fail, by batch. */
#include "command/work.h"

#include "watch/breakage.h"
#include "watch/need.h"
#include "watch/wear.h"

#include <math.h>
#include <string.h>

enum { BATCH, ENTRY, AGE, STATE, P_FLOW, N_COLUMNS };

static const struct work_column columns[N_COLUMNS] = {
    [BATCH] = {"batch", "", "of the pot", WORK_TEXT, true, 0, 0, 0},
    [ENTRY] = {"entry", "days", "age when it came under watch", WORK_NUMBER,
               false, 0, 1e5, 0},
    [AGE] = {"age", "days", "now, or when it failed or went", WORK_NUMBER, true,
             0, 1e5, 0},
    [STATE] = {"state", "", "service, failed or gone", WORK_TEXT, true, 0, 0,
               0},
    [P_FLOW] = {"p_flow", "", "of one in service: P(too slow by then)",
                WORK_NUMBER, false, 0, 1, 0},
};

enum { DAYS, SHARE, REPLACED, EVENTS, MONTHLY, N_SETTINGS };

static const struct work_setting settings[N_SETTINGS] = {
    [DAYS] = {"--days", "days", "ahead", 1, 3650, 30},
    [SHARE] = {"--share", "", "of failures that are reported", 0.01, 1, 0.6},
    [REPLACED] = {"--replaced", "", "of slow pots that are replaced", 0, 1, 1},
    [EVENTS] = {"--prior-events", "", "failures that the prior is worth", 0.1,
                1e6, 3},
    [MONTHLY] = {"--prior-monthly", "a pot and month", "its rate", 1e-6, 1,
                 0.012},
};

static const struct work_result results[] = {
    {"batch", "", "as given; the last line is all of them"},
    {"in_service", "", "pots"},
    {"failed", "", "so far"},
    {"risk", "", "of the batch, relative to all"},
    {"mean", "", "will be reported failed in the days ahead"},
    {"low_80", "", "80 % interval of that count"},
    {"high_80", "", "likewise"},
    {"low_95", "", "95 % interval"},
    {"high_95", "", "likewise"},
    {"pots", "", "that will fail, reported or not: mean over the share"},
};

struct pass {
    struct need_model model;
    struct need_batch *batches;
    struct wear_unit *units;
    struct need_unit *service;
    double *q;
    int *batch;
    const char **names;
};

/* Rates by age of all batches, and each batch's observed and expected. */
static void learn(const struct work_table *t, struct pass *p)
{
    struct wear_rate rates[BREAKAGE_BINS];
    struct wear_prior prior = {t->set[EVENTS], t->set[MONTHLY] / 30.4375, 0};
    struct need_model *m = &p->model;

    m->bins = BREAKAGE_BINS;
    memcpy(m->edges, breakage_edges_days, sizeof(breakage_edges_days));
    wear_rates(p->units, t->n, m->edges, m->bins, &prior, rates);
    for (size_t k = 0; k < m->bins; k++) {
        m->rate[k] = rates[k].rate;
        m->events[k] = prior.events + (double)rates[k].failed;
    }
    for (size_t i = 0; i < t->n; i++) {
        struct need_batch *b = &p->batches[p->batch[i]];
        const struct wear_unit *u = &p->units[i];

        b->failed += u->failed;
        b->expected += wear_cumulative(rates, m->edges, m->bins, u->exit) -
                       wear_cumulative(rates, m->edges, m->bins, u->entry);
    }
}

static void read_rows(struct work_table *t, struct pass *p)
{
    for (size_t i = 0; i < t->n; i++) {
        const char *state = work_at(t, i, STATE)->text;
        double entry = work_at(t, i, ENTRY)->num, age = work_at(t, i, AGE)->num;
        bool service = strcmp(state, "service") == 0;

        p->units[i] =
            (struct wear_unit){.entry = entry,
                               .exit = age,
                               .failed = strcmp(state, "failed") == 0};
        if (!service && !p->units[i].failed && strcmp(state, "gone") != 0)
            work_fault(t, i, "state is '%.40s'; it is service, failed or gone",
                       state);
        if (age < entry)
            work_fault(t, i, "entry %g comes after age %g", entry, age);
    }
}

/* The pots in service of one batch, or of all (-1). */
static size_t in_service(const struct work_table *t, struct pass *p, int batch)
{
    size_t n = 0;

    for (size_t i = 0; i < t->n; i++)
        if (strcmp(work_at(t, i, STATE)->text, "service") == 0 &&
            (batch < 0 || p->batch[i] == batch))
            p->service[n++] = (struct need_unit){
                .age_days = work_at(t, i, AGE)->num,
                .batch = p->batch[i],
                .eager = 1,
                .p_flow = work_at(t, i, P_FLOW)->num * t->set[REPLACED]};
    return n;
}

static void put_line(struct work_table *t, struct pass *p, int batch)
{
    static const double probs[] = {0.1, 0.9, 0.025, 0.975};
    size_t n = in_service(t, p, batch);
    struct need_forecast f;
    int64_t failed = 0;

    need_forecast(&p->model, p->service, n, t->set[DAYS], p->q, &f);
    for (size_t b = 0; b < p->model.n_batches; b++)
        failed += batch < 0 || batch == (int)b ? p->batches[b].failed : 0;
    work_put_text(t, batch < 0 ? "all" : p->names[batch]);
    work_put_number(t, (double)n);
    work_put_number(t, (double)failed);
    work_put_number(t, batch < 0 ? NAN : need_batch_risk(&p->batches[batch]));
    work_put_number(t, f.mean);
    for (int i = 0; i < 4; i++)
        work_put_number(t, need_quantile(&f, p->q, n, probs[i]));
    work_put_number(t, f.mean / t->set[SHARE]);
}

static void run(struct work_table *t)
{
    struct pass p = {.batches = NULL};

    p.units = kw_calloc(t->n + 1, sizeof(*p.units));
    p.service = kw_calloc(t->n + 1, sizeof(*p.service));
    p.q = kw_calloc(t->n + 1, sizeof(*p.q));
    p.batch = kw_calloc(t->n + 1, sizeof(*p.batch));
    p.model.n_batches = work_names(t, BATCH, p.batch, &p.names);
    p.batches = kw_calloc(p.model.n_batches + 1, sizeof(*p.batches));
    p.model.batches = p.batches;
    read_rows(t, &p);
    if (t->faults.n == 0) {
        learn(t, &p);
        for (size_t b = 0; b < p.model.n_batches; b++)
            put_line(t, &p, (int)b);
        put_line(t, &p, -1);
    }
    kw_free(p.units);
    kw_free(p.service);
    kw_free(p.q);
    kw_free(p.batch);
    kw_free(p.names);
    kw_free(p.batches);
}

const struct work_method work_need = {
    .name = "need",
    .summary = "pots in service and past -> how many will fail, by batch",
    .help = "From what failed so far, by age and batch, how many of those in "
            "service will be\nreported failed in the days ahead, with "
            "intervals.\n\nexample:\n  batch,age,state\n  0213,200,service\n"
            "  0213,90,failed\n  0214,31,service",
    .columns = columns,
    .n_columns = N_COLUMNS,
    .settings = settings,
    .n_settings = N_SETTINGS,
    .results = results,
    .n_results = KW_COUNT(results),
    .run = run,
};
