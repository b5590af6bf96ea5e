/*
 * sim_need.c - do the forecasts hold? In the made-up worlds of sim_world.h
 * with five bad batches, what is known on five days of each goes through the
 * code of the service (watch/need.h); what came in 30 and 90 days is held
 * against the interval. Prints the coverage of nominal 80 % and 95 %, all
 * batches together, beside a plain Poisson-binomial; fails when the 80 %
 * interval holds less often than 0.75 or more often than 0.87. Then month by
 * month, with the interval widened by how the last twelve did: where nothing
 * is amiss, and where all places tell more or less from month to month.
 */
#include "watch/need.h"

#include "close.h"
#include "sim_world.h"

#include <stdio.h>
#include <string.h>

enum { WORLDS = 100, TIMES = 5, SPANS = 2, POTS_MOST = BATCHES * 200 };
static const int days_at[TIMES] = {240, 330, 420, 510, 600};
static const int spans[SPANS] = {30, 90};

struct known { /* on a day */
    struct breakage_batch all;
    struct need_sums batches[BATCHES], places[PLACES];
    struct need_sums cells[CELLS]; /* exposure alone */
    int left[CELLS];               /* pots in service */
};

struct past_forecast {
    struct need_past f;
    int over_on; /* day */
};

struct checked {
    int n, plain, held, widened;
    double by;
};

struct tally {
    int n, in_80, in_95, plain_80;
    double came, mean;
    /* of places taken to tell 0.8 times as much or less, 1.2 or more */
    double some_came[2], some_mean[2];
};

static void add_stay(struct known *k, const struct world *w, int g, double age,
                     bool failed, double pots)
{
    struct breakage_batch own = {.batch_id = 0};

    breakage_expose(&own, 0, age);
    for (int i = 0; i < BREAKAGE_BINS; i++) {
        double x = pots * own.exposure_days[i];

        k->all.exposure_days[i] += x;
        k->batches[w->batch[g]].x[i] += x;
        k->places[w->place[g]].x[i] += x;
        k->cells[g].x[i] += x;
    }
    if (!failed)
        return;
    k->all.failed_at[breakage_bin(age)]++;
    k->batches[w->batch[g]].failed++;
    k->places[w->place[g]].failed++;
}

static void know(struct known *k, const struct world *w, int day)
{
    memset(k, 0, sizeof(*k));
    for (int g = 0; g < w->n_cells; g++)
        k->left[g] = w->day[g] < day ? w->pots[g] : 0;
    for (int i = 0; i < w->n_reports && w->reports[i].day <= day; i++) {
        int g = w->reports[i].cell;

        if (k->left[g] == 0)
            continue; /* more wrong serials than pots */
        k->left[g]--;
        add_stay(k, w, g, w->reports[i].day - w->day[g], true, 1);
    }
    for (int g = 0; g < w->n_cells; g++)
        if (k->left[g] > 0)
            add_stay(k, w, g, day - w->day[g], false, k->left[g]);
}

/* Which places: all (NULL), or by how eagerly they were taken to tell. */
struct which {
    double eager[PLACES], from, to;
};

static bool is_of(const struct world *w, int cell, const struct which *which)
{
    double eager;

    if (which == NULL)
        return true;
    eager = which->eager[w->place[cell]];
    return eager >= which->from && eager <= which->to;
}

static int came(const struct known *k, const struct world *w, int day, int span,
                const struct which *which)
{
    int left[CELLS], n = 0;

    memcpy(left, k->left, sizeof(left));
    for (int i = 0; i < w->n_reports; i++) {
        const struct report *r = &w->reports[i];

        if (r->day > day && r->day <= day + span && left[r->cell] > 0) {
            left[r->cell]--;
            n += is_of(w, r->cell, which);
        }
    }
    return n;
}

/* What was forecast of places taken to tell little, and of eager ones. */
static void by_eager(const struct known *k, const struct world *w, int day,
                     int s, const double *q, struct which *which,
                     struct tally *t)
{
    for (int e = 0; e < 2; e++) {
        const double *one = q;

        which->from = e == 0 ? 0 : 1.2;
        which->to = e == 0 ? 0.8 : 9;
        t->some_came[e] += came(k, w, day, spans[s], which);
        for (int g = 0; g < w->n_cells; one += k->left[g++])
            for (int i = 0; i < k->left[g]; i++)
                t->some_mean[e] += is_of(w, g, which) ? one[i] : 0;
    }
}

/* past: the forecasts themselves, of SPANS, or NULL. */
static void forecast(const struct known *k, const struct world *w, int day,
                     struct tally *tallies, struct past_forecast *past)
{
    static struct need_unit units[POTS_MOST];
    struct need_batch batches[BATCHES];
    struct need_model m = {.batches = batches, .n_batches = BATCHES};
    static double q[POTS_MOST];
    struct which which;
    size_t n = 0;

    need_rates(&k->all, &m);
    for (int b = 0; b < BATCHES; b++)
        batches[b] = (struct need_batch){k->batches[b].failed, 0};
    for (int p = 0; p < PLACES; p++)
        which.eager[p] = need_eager(&m, &k->places[p]);
    for (int g = 0; g < w->n_cells; g++)
        batches[w->batch[g]].expected +=
            which.eager[w->place[g]] * need_expected(&m, &k->cells[g]);
    for (int g = 0; g < w->n_cells; g++)
        for (int i = 0; i < k->left[g]; i++)
            units[n++] = (struct need_unit){.age_days = day - w->day[g],
                                            .batch = w->batch[g],
                                            .eager = which.eager[w->place[g]]};
    for (int s = 0; s < SPANS; s++) {
        struct tally *t = &tallies[s];
        struct need_forecast f;
        double y = came(k, w, day, spans[s], NULL), off;

        if (need_forecast(&m, units, n, spans[s], q, &f) < 0)
            continue;
        by_eager(k, w, day, s, q, &which, t);
        if (past != NULL)
            past[s] =
                (struct past_forecast){{f.mean, f.var, y}, day + spans[s]};
        t->n++;
        t->came += y;
        t->mean += f.mean;
        t->in_80 += y >= need_quantile(&f, NULL, 0, 0.1) &&
                    y <= need_quantile(&f, NULL, 0, 0.9);
        t->in_95 += y >= need_quantile(&f, NULL, 0, 0.025) &&
                    y <= need_quantile(&f, NULL, 0, 0.975);
        off = 1.2816 * sqrt(f.mean) + 0.5; /* near enough for the yardstick */
        t->plain_80 += fabs(y - f.mean) <= off;
    }
}

static void by_worlds(struct tally *tallies)
{
    static struct world w;
    static struct known k;
    const struct sim_kind kind = {REAL, 3};

    for (int i = 0; i < WORLDS; i++) {
        make_world(&w, &kind, 104729u * (unsigned)i + 17);
        for (int t = 0; t < TIMES; t++) {
            know(&k, &w, days_at[t]);
            forecast(&k, &w, days_at[t], tallies, NULL);
        }
    }
}

static bool say_worlds(const struct tally *t, int span, int number)
{
    double held = (double)t->in_80 / t->n;
    double reluctant = t->some_came[0] / t->some_mean[0];
    double eager = t->some_came[1] / t->some_mean[1];
    bool ok = held >= 0.75 && held <= 0.87 && fabs(reluctant - 1) < 0.1 &&
              fabs(eager - 1) < 0.1;

    printf("# %d days, %d forecasts: 80 %% interval held %.3f (0.75 to "
           "0.87), 95 %% %.3f; a plain Poisson one would %.3f; came/mean "
           "%.3f; of places taken to tell little %.3f, of eager ones "
           "%.3f\n%sok %d "
           "- %d days\n",
           span, t->n, held, (double)t->in_95 / t->n,
           (double)t->plain_80 / t->n, t->came / t->mean, reluctant, eager,
           ok ? "" : "not ", number, span);
    return ok;
}

/* ---- a forecast each month, compared, and the interval widened ---- */

/* Up to when the first batches are no longer followed. */
enum { CHECKED = 100, FIRST_MONTH = 2, LAST_MONTH = 22 };
static const struct {
    const char *name;
    struct sim_kind world;
    /* Of the widened 80 % intervals; and of the plain ones at most, so that
     * there is something to mend. */
    double least[SPANS], most, plain_most;
} checkings[] = {{"real", {REAL, 3}, {0.75, 0.72}, 0.92, 1},
                 {"waves", {WAVES, 3}, {0.68, 0.58}, 0.90, 0.45}};

/* Those that were over by then, the last NEED_PAST of them. */
static double widening(const struct past_forecast *all, size_t n, int day,
                       bool *ever)
{
    struct need_past past[NEED_PAST];
    size_t over = 0;
    double by;

    while (over < n && all[over].over_on <= day)
        over++;
    n = over < NEED_PAST ? over : NEED_PAST;
    for (size_t i = 0; i < n; i++)
        past[i] = all[over - n + i].f;
    by = need_widening(need_misfit(past, n), n, *ever);
    *ever |= by > 1;
    return n < NEED_PAST ? 0 : by; /* 0: not to be judged yet */
}

static void check_world(const struct sim_kind *kind, unsigned seed,
                        struct checked *c)
{
    static struct world w;
    static struct known k;
    struct past_forecast past[SPANS][LAST_MONTH];
    size_t n = 0;
    bool ever[SPANS] = {false};

    make_world(&w, kind, seed);
    for (int month = FIRST_MONTH; month < LAST_MONTH; month++, n++) {
        struct tally none[SPANS] = {{.n = 0}};
        struct past_forecast now[SPANS];

        know(&k, &w, 30 * month);
        forecast(&k, &w, 30 * month, none, now);
        for (int s = 0; s < SPANS; s++) {
            double by = widening(past[s], n, 30 * month, &ever[s]);
            struct need_forecast f = {now[s].f.mean, now[s].f.var};
            double y = now[s].f.came;

            past[s][n] = now[s];
            if (!(by > 0))
                continue;
            c[s].n++;
            c[s].plain += none[s].in_80;
            f.var *= by;
            c[s].widened += by > 1;
            c[s].by += by;
            c[s].held += y >= need_quantile(&f, NULL, 0, 0.1) &&
                         y <= need_quantile(&f, NULL, 0, 0.9);
        }
    }
}

static bool by_months(int which, int number)
{
    struct checked c[SPANS] = {{.n = 0}};
    bool good = true;

    for (int i = 0; i < CHECKED; i++)
        check_world(&checkings[which].world, 7919u * (unsigned)i + 5, c);
    for (int s = 0; s < SPANS; s++) {
        double held = (double)c[s].held / c[s].n;
        double plain = (double)c[s].plain / c[s].n;
        bool ok = held >= checkings[which].least[s] &&
                  held <= checkings[which].most &&
                  plain <= checkings[which].plain_most;

        printf("# %s, %d days, %d forecasts after the first %d: 80 %% "
               "interval held %.3f as reckoned, %.3f with what earlier ones "
               "taught (%.2f to %.2f); widened %.2f of the times, variance "
               "times %.2f in the mean\n%sok %d - %s, %d days\n",
               checkings[which].name, spans[s], c[s].n, NEED_PAST, plain, held,
               checkings[which].least[s], checkings[which].most,
               (double)c[s].widened / c[s].n, c[s].by / c[s].n,
               ok ? "" : "not ", number + s, checkings[which].name, spans[s]);
        good &= ok;
    }
    return good;
}

int main(void)
{
    struct tally tallies[SPANS] = {{.n = 0}};
    int failed = 0, number = 1;

    by_worlds(tallies);
    for (int s = 0; s < SPANS; s++)
        failed += !say_worlds(&tallies[s], spans[s], number++);
    for (size_t i = 0; i < sizeof(checkings) / sizeof(checkings[0]); i++) {
        failed += !by_months((int)i, number);
        number += SPANS;
    }
    printf("1..%d\n", number - 1);
    return failed > 0 ? EXIT_FAILURE : EXIT_SUCCESS;
}
