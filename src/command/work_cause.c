/* work_cause.c - `kilnword work cause`: what failing pots have in common. */
#include "command/work.h"

#include "watch/causes.h"

#include <math.h>
#include <string.h>

enum {
    BATCH,
    ENTRY,
    EXIT,
    FAILED,
    STRATUM,
    FIRST_NUMBER,
    SAWDUST = FIRST_NUMBER,
    MESH,
    DRYING,
    PEAK,
    SOAK,
    COOLING,
    SILVER,
    FIRST_NAME,
    CLAY = FIRST_NAME,
    PRESSER,
    KILN,
    CONE,
    MOULD,
    SEASON,
    SHELF,
    N_COLUMNS
};

#define NUMBER(at, n, u, h) [at] = {n, u, h, WORK_NUMBER, false, -1e9, 1e9, NAN}
#define NAME(at, n, h)      [at] = {n, "", h, WORK_TEXT, false, 0, 0, 0}

static const struct work_column columns[N_COLUMNS] = {
    [BATCH] = {"batch", "", "of the pot", WORK_TEXT, true, 0, 0, 0},
    [ENTRY] = {"entry", "days", "age when it came under watch", WORK_NUMBER,
               false, 0, 1e6, 0},
    [EXIT] = {"exit", "days", "age when it failed or was last seen",
              WORK_NUMBER, true, 0, 1e6, 0},
    [FAILED] = {"failed", "", "1 failed then, 0 last seen sound", WORK_WHOLE,
                true, 0, 1, 0},
    NAME(STRATUM, "stratum", "compared within these only, as places"),
    NUMBER(SAWDUST, "sawdust_pct", "%", "of the batch, from its first row"),
    NUMBER(MESH, "sawdust_mesh", "mesh", "likewise, as all that follow"),
    NUMBER(DRYING, "drying_days", "days", ""),
    NUMBER(PEAK, "peak_degc", "degC", ""),
    NUMBER(SOAK, "soak_min", "min", ""),
    NUMBER(COOLING, "cooling_h", "h", ""),
    NUMBER(SILVER, "silver_mg", "mg", ""),
    NAME(CLAY, "clay_pit", ""),
    NAME(PRESSER, "presser", ""),
    NAME(KILN, "kiln", ""),
    NAME(CONE, "cone", ""),
    NAME(MOULD, "mould", ""),
    NAME(SEASON, "season", ""),
    NAME(SHELF, "shelf", "of the kiln; of each pot, so pots of a batch differ"),
};

enum { LEVEL, FDR, N_SETTINGS };
static const struct work_setting settings[N_SETTINGS] = {
    [LEVEL] = {"--level", "", "of the interval", 0.5, 0.9999, 0.9},
    [FDR] = {"--fdr", "", "q up to which a variable goes into the joint model",
             0.001, 1, 0.1},
};

static const struct work_result results[] = {
    {"model", "", "alone or joint"},
    {"variable", "", "a column that was given"},
    {"level", "", "of a name; empty for a number"},
    {"against", "", "what it is compared with: a level, or one more of it"},
    {"batches", "", "in which it is known"},
    {"pots", "", "of them"},
    {"failures", "", "of these"},
    {"ratio", "", "of the hazard: associated with, not caused by"},
    {"low", "", "its interval"},
    {"high", "", "likewise"},
    {"p", "", "of the variable, batches as units"},
    {"q", "", "adjusted over the variables (Benjamini-Hochberg)"},
    {"method", "", "cox or firth"},
    {"note", "", "why nothing is told"},
};

#define N_VARIABLES (N_COLUMNS - FIRST_NUMBER)

struct study {
    struct causes_study s;
    struct cause_unit *units;
    struct causes_variable variables[N_VARIABLES];
    double *values, *own;
    int *batch;
    const char **names[N_VARIABLES]; /* of the levels */
};

static const char *const notes[] = {
    [CAUSES_TOLD] = "",
    [CAUSES_FEW_BATCHES] = "fewer than 8 batches: refused",
    [CAUSES_ALL_ALIKE] = "all batches are alike",
    [CAUSES_FEW_FAILURES] = "fewer than 5 failures",
    [CAUSES_RAN_OFF] = "no estimate",
};

static void read_units(struct work_table *t, struct study *st)
{
    int *strata = kw_calloc(t->n + 1, sizeof(*strata));
    const char **names;

    work_names(t, STRATUM, strata, &names);
    for (size_t i = 0; i < t->n; i++) {
        struct cause_unit *u = &st->units[i];

        *u = (struct cause_unit){.entry = work_at(t, i, ENTRY)->num,
                                 .exit = work_at(t, i, EXIT)->num,
                                 .failed = work_at(t, i, FAILED)->num > 0,
                                 .stratum = strata[i],
                                 .cluster = st->batch[i]};
        if (!(u->entry < u->exit))
            work_fault(t, i,
                       "entry %g is not before exit %g; a pot needs some time "
                       "under watch",
                       u->entry, u->exit);
    }
    kw_free(strata);
    kw_free(names);
}

/* Of each batch as its first row says; another row may not say otherwise. */
static void read_values(struct work_table *t, struct study *st)
{
    int *levels = kw_calloc(t->n + 1, sizeof(*levels));

    for (int v = 0; v < N_VARIABLES; v++) {
        int column = FIRST_NUMBER + v;
        bool named = column >= FIRST_NAME;

        st->variables[v] = (struct causes_variable){columns[column].name, named,
                                                    column == SHELF, 1};
        if (named)
            work_names(t, column, levels, &st->names[v]);
        for (size_t i = t->n; i-- > 0;) {
            const struct work_cell *c = work_at(t, i, column);
            double *value = &st->values[st->batch[i] * N_VARIABLES + v];
            double now = !c->given ? NAN : named ? levels[i] : c->num;

            if (column == SHELF) {
                st->own[i] = now;
                continue;
            }
            if (!isnan(*value) && !isnan(now) && *value != now)
                work_fault(t, i, "%s differs from another row of batch %.40s",
                           columns[column].name, work_at(t, i, BATCH)->text);
            if (!isnan(now))
                *value = now;
        }
    }
    kw_free(levels);
}

static void put_finding(struct work_table *t, const struct study *st, int v,
                        const struct causes_finding *f, bool joint)
{
    int lines = f->why == CAUSES_TOLD ? f->n_levels : 1;
    bool told = f->why == CAUSES_TOLD, factor = st->variables[v].factor;

    for (int k = 0; k < lines; k++) {
        const struct causes_level *l = &f->levels[k];

        work_put_text(t, joint ? "joint" : "alone");
        work_put_text(t, st->variables[v].name);
        work_put_text(t, !told || !factor            ? ""
                         : l->level == CAUSES_OTHERS ? "others"
                                                     : st->names[v][l->level]);
        work_put_text(t, !told    ? ""
                         : factor ? st->names[v][f->reference]
                                  : "one more");
        work_put_number(t, f->batches);
        work_put_number(t, told ? (double)f->pots : NAN);
        work_put_number(t, told ? (double)f->failures : NAN);
        work_put_number(t, told ? l->ratio : NAN);
        work_put_number(t, told ? l->low : NAN);
        work_put_number(t, told ? l->high : NAN);
        work_put_number(t, f->p);
        work_put_number(t, joint ? NAN : f->q);
        work_put_text(t, !told ? "" : f->firth ? "firth" : "cox");
        work_put_text(t, notes[f->why]);
    }
}

static void run(struct work_table *t)
{
    struct study st = {.s = {.level = t->set[LEVEL], .fdr = t->set[FDR]}};
    struct causes_report *r = kw_calloc(1, sizeof(*r));
    const char **batches;

    st.units = kw_calloc(t->n + 1, sizeof(*st.units));
    st.own = kw_calloc(t->n + 1, sizeof(*st.own));
    st.batch = kw_calloc(t->n + 1, sizeof(*st.batch));
    st.s.n_batches = work_names(t, BATCH, st.batch, &batches);
    st.values = kw_calloc(st.s.n_batches * N_VARIABLES + 1, sizeof(double));
    for (size_t i = 0; i < st.s.n_batches * N_VARIABLES; i++)
        st.values[i] = NAN;
    read_units(t, &st);
    read_values(t, &st);
    st.s.units = st.units;
    st.s.n = t->n;
    st.s.variables = st.variables;
    st.s.n_variables = N_VARIABLES;
    st.s.values = st.values;
    st.s.own = st.own;
    if (t->faults.n == 0 && t->n > 0 && causes_study(&st.s, r) == 0) {
        for (int v = 0; v < N_VARIABLES; v++)
            put_finding(t, &st, v, &r->alone[v], false);
        for (int v = 0; r->n_joint > 0 && v < N_VARIABLES; v++)
            if (r->joint[v].why == CAUSES_TOLD)
                put_finding(t, &st, v, &r->joint[v], true);
    }
    for (int v = 0; v < N_VARIABLES; v++)
        kw_free(st.names[v]);
    kw_free(st.values);
    kw_free(st.own);
    kw_free(st.units);
    kw_free(st.batch);
    kw_free(batches);
    kw_free(r);
}

const struct work_method work_cause = {
    .name = "cause",
    .summary = "pots and how their batches were made -> what goes with failing",
    .help =
        "Cox regression (Efron), each variable alone with false-discovery "
        "control, then together\nas far as failures allow (one variable for "
        "ten). Robust by batch; with few failures\nFirth's penalty and profile "
        "intervals. Fewer than 8 batches are refused. What comes out\nis "
        "associated with failing; that is not yet a cause.\n\nexample:\n"
        "  batch,stratum,exit,failed,peak_degc,clay_pit\n"
        "  0213,Bora,400,0,865,river\n  0214,Bora,35,1,902,hill",
    .columns = columns,
    .n_columns = N_COLUMNS,
    .settings = settings,
    .n_settings = N_SETTINGS,
    .results = results,
    .n_results = KW_COUNT(results),
    .run = run,
};
