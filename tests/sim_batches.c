/*
 * sim_batches.c - 100 made-up batches over three years: how often does the
 * detector call a sound batch failing, how many bad ones does it find, and
 * when? Prints a table; fails outside what docs/science.md promises.
 *
 * The world: batches of 50 to 200 pots, fired over one year, in 1 to 5 of 40
 * places, 2 % a month breakage, 60 % of it reported, delay ln-normal about 4
 * days (at most 90), each batch followed 730 days from its first delivery,
 * cold start; 5 bad batches break `risk` times as fast.
 * clean: nothing else. real: each place reports its own share, Beta(6, 4);
 * sound batches differ (gamma, CV 0.2); twice the risk in the first 30 days;
 * 2 % of the reports carry a wrong, but valid, serial. shock: real, and once
 * in four years a place loses 15 % of its pots in a day. late: real, and bad
 * batches turn bad at 180 days of age.
 */
#include "watch/detector.h"

#include "close.h"

#include <stdio.h>
#include <string.h>

enum {
    BATCHES = 100,
    PLACES = 40,
    BAD = 5,
    FOLLOWED = 730,
    DAYS = 1200,
    PER_BATCH = 5,
    CELLS = BATCHES * PER_BATCH,
    REPORTS = 40000
};

enum kind { CLEAN, REAL, SHOCK, LATE };

static const struct trial {
    const char *name;
    enum kind kind;
    double risk; /* of the bad; 1: none */
    int worlds;
    double false_most, found_least, median_most; /* 0: nothing promised */
} trials[] = {
    {"clean, no bad batch", CLEAN, 1, 100, 0.008, 0, 0},
    {"real, no bad batch", REAL, 1, 100, 0.025, 0, 0},
    {"shock, no bad batch", SHOCK, 1, 100, 0.030, 0, 0},
    {"clean, risk 3", CLEAN, 3, 60, 0, 0, 0},
    {"real, risk 2", REAL, 2, 60, 0, 0, 0},
    {"real, risk 3", REAL, 3, 60, 0, 0.88, 125},
    {"real, risk 5", REAL, 5, 60, 0, 0.97, 60},
    {"shock, risk 3", SHOCK, 3, 60, 0, 0, 0},
    {"late, risk 5 (from 180 days on)", LATE, 5, 60, 0, 0, 115},
};

struct report {
    int day, cell;
};

struct world {
    int n_cells, batch[CELLS], place[CELLS], day[CELLS], pots[CELLS];
    int first[BATCHES]; /* delivery */
    double own[BATCHES], share[PLACES];
    int n_reports;
    struct report reports[REPORTS];
};

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

static bool is_bad(int batch, double risk)
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
static double life(const struct trial *t, const struct world *w, int batch,
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

static void add_report(struct world *w, const struct trial *t, int cell,
                       int broken, uint64_t *seed)
{
    double delay = fmin(90, 4 * exp(close_normal(seed)));
    int day = broken + 1 + (int)delay;

    if (close_unit(seed) > w->share[w->place[cell]])
        return;
    if (t->kind != CLEAN && close_unit(seed) < 0.02)
        cell = below(seed, w->n_cells);
    if (day > w->day[cell] && day <= w->first[w->batch[cell]] + FOLLOWED &&
        day < DAYS && w->n_reports < REPORTS)
        w->reports[w->n_reports++] = (struct report){day, cell};
}

/* The day of the next blow to each place; every pot there may break in it. */
static void make_blows(const struct trial *t, uint64_t *seed,
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

static void make_world(struct world *w, const struct trial *t, uint64_t seed)
{
    static bool blows[PLACES][DAYS];

    memset(w, 0, sizeof(*w));
    make_cells(w, &seed);
    make_blows(t, &seed, blows);
    for (int b = 0; b < BATCHES; b++)
        w->own[b] = t->kind == CLEAN || is_bad(b, t->risk)
                        ? 1
                        : gamma_of(&seed, 25) / 25;
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

/* ---- the detector in it ---- */

/* The naive rules: so many reports of a batch in 30 days. */
enum { NAIVE = 3 };
static const int naive_counts[NAIVE] = {3, 5, 8};

struct tally {
    int naive_wrong[NAIVE], naive_found[NAIVE];
    int wrong, sound, bad, found, within_180;
    double days[BATCHES * 100], reports[BATCHES * 100];
};

/* Watching ends for each batch two years after its first delivery. */
static void end_batches(struct detector *d, const struct world *w, int *left,
                        int day)
{
    for (int g = 0; g < w->n_cells; g++)
        if (day == w->first[w->batch[g]] + FOLLOWED && left[g] > 0) {
            detector_withdraw(d, g, day, left[g]);
            left[g] = 0;
        }
}

/* The day on which a batch had `most` reports within 30 days; 0: never. */
static int naive_day(const struct world *w, int batch, int most)
{
    int days[8] = {0}, n = 0;

    for (int i = 0; i < w->n_reports; i++) {
        int day = w->reports[i].day;

        if (w->batch[w->reports[i].cell] != batch)
            continue;
        if (n >= most - 1 && day - days[(n - most + 1) % 8] < 30)
            return day;
        days[n++ % 8] = day;
    }
    return 0;
}

static void count_naive(struct tally *t, const struct world *w, int b, bool bad)
{
    for (int i = 0; i < NAIVE; i++) {
        int day = naive_day(w, b, naive_counts[i]);

        t->naive_found[i] += bad && day > 0;
        t->naive_wrong[i] += !bad && day > 0;
    }
}

static void count(struct tally *t, const struct trial *trial,
                  const struct world *w, struct detector *d)
{
    for (int b = 0; b < BATCHES; b++) {
        struct detector_verdict v;
        bool bad = is_bad(b, trial->risk);
        int onset = w->first[b] + (trial->kind == LATE ? 180 : 0), reports = 0;

        detector_verdict(d, b, &v);
        count_naive(t, w, b, bad);
        if (!bad) {
            t->sound++;
            t->wrong += v.alarm_day > 0;
            continue;
        }
        for (int i = 0; i < w->n_reports; i++)
            reports += w->batch[w->reports[i].cell] == b &&
                       w->reports[i].day <= v.alarm_day;
        t->days[t->bad] = v.alarm_day > 0 ? v.alarm_day - onset : INFINITY;
        t->reports[t->bad++] = v.alarm_day > 0 ? reports : INFINITY;
        t->found += v.alarm_day > 0;
        t->within_180 += v.alarm_day > 0 && v.alarm_day - onset <= 180;
    }
}

static void run_world(struct tally *tally, const struct trial *t, uint64_t seed)
{
    static struct world w;
    struct detector *d = detector_new(&detector_defaults);
    int next = 0, left[CELLS];

    make_world(&w, t, seed);
    for (int g = 0; g < w.n_cells; g++) {
        detector_deliver(d, w.batch[g], w.place[g], w.day[g], w.pots[g]);
        left[g] = w.pots[g];
    }
    for (int day = 1; day < DAYS; day++) {
        for (; next < w.n_reports && w.reports[next].day == day; next++)
            if (detector_fail(d, w.reports[next].cell, day) >= 0)
                left[w.reports[next].cell]--;
        end_batches(d, &w, left, day);
    }
    detector_advance(d, DAYS);
    count(tally, t, &w, d);
    detector_free(d);
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

static double quantile(double *v, int n, double p)
{
    qsort(v, (size_t)n, sizeof(*v), by_size);
    return n > 0 ? v[(int)(p * (n - 1))] : NAN;
}

static bool run_trial(const struct trial *t, int number)
{
    static struct tally tally;
    double wrong, found, median;
    bool held;

    memset(&tally, 0, sizeof(tally));
    for (int i = 0; i < t->worlds; i++)
        run_world(&tally, t, 7919u * (unsigned)i + 1000003u * (unsigned)number);
    wrong = tally.wrong / (tally.sound * FOLLOWED / 365.25);
    found = tally.bad > 0 ? tally.found / (double)tally.bad : 0;
    median = quantile(tally.days, tally.bad, 0.5);
    printf("# %-32s false %.4f a batch-year", t->name, wrong);
    if (tally.bad > 0)
        printf("; found %.2f, in 180 days %.2f; median %.0f days, %.0f reports",
               found, tally.within_180 / (double)tally.bad, median,
               quantile(tally.reports, tally.bad, 0.5));
    for (int i = 0; i < NAIVE; i++) {
        printf("\n#   %d reports in 30 days: false %.3f", naive_counts[i],
               tally.naive_wrong[i] / (tally.sound * FOLLOWED / 365.25));
        if (tally.bad > 0)
            printf(", found %.2f", tally.naive_found[i] / (double)tally.bad);
    }
    held = (t->false_most == 0 || wrong <= t->false_most) &&
           found >= t->found_least &&
           (t->median_most == 0 || median <= t->median_most);
    printf("\n%sok %d - %s\n", held ? "" : "not ", number, t->name);
    return held;
}

int main(void)
{
    int n = (int)(sizeof(trials) / sizeof(trials[0])), failed = 0;

    for (int i = 0; i < n; i++)
        failed += !run_trial(&trials[i], i + 1);
    printf("1..%d\n", n);
    return failed > 0 ? EXIT_FAILURE : EXIT_SUCCESS;
}
