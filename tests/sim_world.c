/* sim_world.c - see sim_world.h. */
#include "sim_world.h"

#include "close.h"

#include <string.h>

/* ---- random variables ---- */

/* Marsaglia & Tsang 2000, shape >= 1. */
static double gamma_of(uint64_t *seed, double shape)
{
    double d = shape - 1.0 / 3, c = 1 / sqrt(9 * d);

    for (;;) {
        double x = close_normal(seed), v = 1 + c * x;

        v = v * v * v;
        if (v > 0 &&
            log(close_unit(seed)) < 0.5 * x * x + d - d * v + d * log(v))
            return d * v;
    }
}

static int below(uint64_t *seed, int n)
{
    return (int)(close_next(seed) % (uint64_t)n);
}

/* ---- the world ---- */

bool is_bad(int batch, double risk)
{
    return risk > 1 && batch % (BATCHES / BAD) == 0;
}

static void make_cells(struct world *w, uint64_t *seed)
{
    for (int b = 0; b < BATCHES; b++) {
        int pots = 50 + below(seed, 151), n = 1 + below(seed, 5);
        int day = below(seed, 365) + 14;

        w->first[b] = day;
        for (int k = 0; k < n; k++) {
            int g = w->n_cells++;

            w->batch[g] = b;
            w->place[g] = (below(seed, PLACES / 5) * 5 + k) % PLACES;
            w->day[g] = day + (k > 0 ? below(seed, 30) : 0);
            w->pots[g] = pots / n;
        }
    }
}

/* Age at breakage: a rate that may be double at first, and turn bad late. */
static double life(const struct sim_kind *t, const struct world *w, int batch,
                   uint64_t *seed)
{
    double rate = 0.02 / 30.4375 * w->own[batch], left = -log(close_unit(seed));
    double risk = is_bad(batch, t->risk) ? t->risk : 1;
    double ends[] = {30, 180, 1e9};
    double rates[] = {rate * (t->kind != CLEAN ? 2 : 1), rate, rate};
    double from = 0;

    for (int i = 0; i < 3; i++) {
        double r = rates[i] * (t->kind == LATE && i < 2 ? 1 : risk);

        if (left < r * (ends[i] - from))
            return from + left / r;
        left -= r * (ends[i] - from);
        from = ends[i];
    }
    return from;
}

/* Of the reports in a month, those that are sent after all. */
static double wave(const struct sim_kind *t, const struct world *w, int day)
{
    return t->kind == WAVES ? w->wave[day / 30 % WAVES_MOST] : 1;
}

static void add_report(struct world *w, const struct sim_kind *t, int cell,
                       int broken, uint64_t *seed)
{
    double delay = fmin(90, 4 * exp(close_normal(seed)));
    int day = broken + 1 + (int)delay;

    if (close_unit(seed) > w->share[w->place[cell]] * wave(t, w, day))
        return;
    if (t->kind != CLEAN && close_unit(seed) < 0.02)
        cell = below(seed, w->n_cells);
    if (day > w->day[cell] && day <= w->first[w->batch[cell]] + FOLLOWED &&
        day < DAYS && w->n_reports < REPORTS)
        w->reports[w->n_reports++] = (struct report){day, cell};
}

/* The day of the next blow to each place; every pot there may break in it. */
static void make_blows(const struct sim_kind *t, uint64_t *seed,
                       bool blows[PLACES][DAYS])
{
    memset(blows, 0, sizeof(bool) * PLACES * DAYS);
    for (int p = 0; p < PLACES && t->kind == SHOCK; p++)
        for (double day = 0;;) {
            day += -log(close_unit(seed)) * 4 * 365.25;
            if (day >= DAYS)
                break;
            blows[p][(int)day] = true;
        }
}

static int by_day(const void *a, const void *b)
{
    const struct report *x = a, *y = b;

    return x->day != y->day ? (x->day > y->day) - (x->day < y->day)
                            : (x->cell > y->cell) - (x->cell < y->cell);
}

void make_world(struct world *w, const struct sim_kind *t, uint64_t seed)
{
    static bool blows[PLACES][DAYS];

    memset(w, 0, sizeof(*w));
    make_cells(w, &seed);
    make_blows(t, &seed, blows);
    for (int b = 0; b < BATCHES; b++)
        w->own[b] = t->kind == CLEAN || is_bad(b, t->risk)
                        ? 1
                        : gamma_of(&seed, 25) / 25;
    for (int m = 0; m < WAVES_MOST && t->kind == WAVES; m++)
        w->wave[m] = 0.3 + 0.7 * close_unit(&seed);
    for (int p = 0; p < PLACES; p++) {
        double x = gamma_of(&seed, 6), y = gamma_of(&seed, 4);

        w->share[p] = t->kind == CLEAN ? 0.6 : x / (x + y);
    }
    for (int g = 0; g < w->n_cells; g++)
        for (int pot = 0; pot < w->pots[g]; pot++) {
            double age = life(t, w, w->batch[g], &seed);
            int broken = w->day[g] + 1 + (int)fmin(age, 1e6);

            for (int day = w->day[g] + 1; day < broken && day < DAYS; day++)
                if (blows[w->place[g]][day] && close_unit(&seed) < 0.15)
                    broken = day;
            if (broken < DAYS)
                add_report(w, t, g, broken, &seed);
        }
    qsort(w->reports, (size_t)w->n_reports, sizeof(w->reports[0]), by_day);
}
