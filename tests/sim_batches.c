/*
 * sim_batches.c - the detector in the made-up worlds of sim_world.h, from a
 * cold start: how often does it call a sound batch failing, how many bad ones
 * does it find, and when? Next to it, rules that count reports. Prints a
 * table with what is required; fails outside of that.
 */
#include "watch/detector.h"

#include "close.h"
#include "sim_world.h"

#include <stdio.h>
#include <string.h>

static const struct trial {
    const char *name;
    struct sim_kind world;
    int worlds;
    /* required; 0: nothing is */
    double false_most, found_least, median_most, reports_most;
    double nu_least, nu_most; /* of nu, estimated as the service does; 0: nu
                               * is that of the setting */
} trials[] = {
    {"clean, no bad batch", {CLEAN, 1}, 200, 0.008, 0, 0, 0, 0, 0},
    {"real, no bad batch", {REAL, 1}, 200, 0.025, 0, 0, 0, 0, 0},
    {"shock, no bad batch", {SHOCK, 1}, 200, 0.030, 0, 0, 0, 0, 0},
    {"clean, risk 3", {CLEAN, 3}, 100, 0, 0, 0, 0, 0, 0},
    {"real, risk 2", {REAL, 2}, 100, 0, 0, 0, 0, 0, 0},
    {"real, risk 3", {REAL, 3}, 100, 0, 0.88, 125, 18, 0, 0},
    {"real, risk 5", {REAL, 5}, 100, 0, 0.97, 60, 12, 0, 0},
    {"shock, risk 3", {SHOCK, 3}, 100, 0, 0, 0, 0, 0, 0},
    {"late, risk 5 (from 180 days on)", {LATE, 5}, 100, 0, 0, 115, 0, 0, 0},
    /* No place differs: the floor of 1/nu, 1/50, and the noise above it. */
    {"clean, no bad batch, nu estimated",
     {CLEAN, 1},
     60,
     0.008,
     0,
     0,
     0,
     30,
     50},
    /* Beta(6, 4) over its mean: variance 2/33, nu 16.5; less what the
     * batches' own differences add to it. */
    {"real, no bad batch, nu estimated", {REAL, 1}, 60, 0.025, 0, 0, 0, 10, 24},
    {"shock, no bad batch, nu estimated",
     {SHOCK, 1},
     60,
     0.030,
     0,
     0,
     0,
     8,
     24},
    {"real, risk 3, nu estimated", {REAL, 3}, 60, 0, 0.88, 125, 18, 8, 24},
};

/* ---- the detector in it ---- */

/* The naive rules: so many reports of a batch in 30 days, or so large a share
 * of its pots (in percent). */
enum { NAIVE = 4, COUNT_MOST = 12 };
static const struct {
    int count, percent;
} naive[NAIVE] = {{3, 0}, {5, 0}, {8, 0}, {0, 5}};

struct tally {
    int naive_wrong[NAIVE], naive_found[NAIVE];
    int wrong, sound, bad, found, within_180;
    int suspect_wrong, suspect_found;
    double days[BATCHES * 100], reports[BATCHES * 100];
    double suspect_days[BATCHES * 100];
    double nu[200];
    int n_nu;
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
    int days[COUNT_MOST] = {0}, n = 0;

    for (int i = 0; i < w->n_reports; i++) {
        int day = w->reports[i].day;

        if (w->batch[w->reports[i].cell] != batch)
            continue;
        if (n >= most - 1 && day - days[(n - most + 1) % COUNT_MOST] < 30)
            return day;
        days[n++ % COUNT_MOST] = day;
    }
    return 0;
}

static void count_naive(struct tally *t, const struct world *w, int b, bool bad)
{
    int pots = 0;

    for (int g = 0; g < w->n_cells; g++)
        pots += w->batch[g] == b ? w->pots[g] : 0;
    for (int i = 0; i < NAIVE; i++) {
        int most = naive[i].percent > 0 ? (pots * naive[i].percent + 99) / 100
                                        : naive[i].count;
        int day = naive_day(w, b, most);

        t->naive_found[i] += bad && day > 0;
        t->naive_wrong[i] += !bad && day > 0;
    }
}

static void count_bad(struct tally *t, const struct trial *trial,
                      const struct world *w, int b, int alarm, int suspect)
{
    int onset = w->first[b] + (trial->world.kind == LATE ? 180 : 0);
    int reports = 0;

    for (int i = 0; i < w->n_reports; i++)
        reports +=
            w->batch[w->reports[i].cell] == b && w->reports[i].day <= alarm;
    t->days[t->bad] = alarm > 0 ? alarm - onset : INFINITY;
    t->suspect_days[t->bad] = suspect > 0 ? suspect - onset : INFINITY;
    t->reports[t->bad++] = alarm > 0 ? reports : INFINITY;
    t->found += alarm > 0;
    t->suspect_found += suspect > 0;
    t->within_180 += alarm > 0 && alarm - onset <= 180;
}

static void count(struct tally *t, const struct trial *trial,
                  const struct world *w, struct detector *d, const int *suspect)
{
    for (int b = 0; b < BATCHES; b++) {
        bool bad = is_bad(b, trial->world.risk);
        struct detector_verdict v;

        detector_verdict(d, b, &v);
        count_naive(t, w, b, bad);
        if (bad) {
            count_bad(t, trial, w, b, v.alarm_day, suspect[b]);
            continue;
        }
        t->sound++;
        t->wrong += v.alarm_day > 0;
        t->suspect_wrong += suspect[b] > 0;
    }
}

/* The first day on which a batch is more than sound. */
static void look(struct detector *d, int batch, int day, int *suspect)
{
    struct detector_verdict v;

    if (suspect[batch] > 0)
        return;
    detector_verdict(d, batch, &v);
    if (v.state != DETECTOR_SOUND)
        suspect[batch] = day;
}

static void run_world(struct tally *tally, const struct trial *t, uint64_t seed)
{
    static struct world w;
    struct detector_setting set = detector_defaults;
    struct detector *d;
    int next = 0, left[CELLS], suspect[BATCHES] = {0};

    set.reweigh_days = t->nu_most > 0 ? 90 : 0;
    d = detector_new(&set);
    make_world(&w, &t->world, seed);
    for (int g = 0; g < w.n_cells; g++) {
        detector_deliver(d, w.batch[g], w.place[g], w.day[g], w.pots[g]);
        left[g] = w.pots[g];
    }
    for (int day = 1; day < DAYS; day++) {
        for (; next < w.n_reports && w.reports[next].day == day; next++)
            if (detector_fail(d, w.reports[next].cell, day) >= 0) {
                left[w.reports[next].cell]--;
                look(d, w.batch[w.reports[next].cell], day, suspect);
            }
        end_batches(d, &w, left, day);
    }
    detector_advance(d, DAYS);
    count(tally, t, &w, d, suspect);
    tally->nu[tally->n_nu++] = detector_weight(d).nu;
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

static void print_naive(const struct tally *t, double years)
{
    for (int i = 0; i < NAIVE; i++) {
        if (naive[i].percent > 0)
            printf("#   %d %% of a batch in 30 days: ", naive[i].percent);
        else
            printf("#   %d reports in 30 days: ", naive[i].count);
        printf("false %.3f", t->naive_wrong[i] / years);
        if (t->bad > 0)
            printf(", found %.2f", t->naive_found[i] / (double)t->bad);
        printf("\n");
    }
}

/* "0.016 (required: at most 0.025)" */
static bool told(const char *what, double got, double most, bool least)
{
    bool held = most == 0 || (least ? got >= most : got <= most);

    printf("; %s %.4g", what, got);
    if (most > 0)
        printf(" (%s %g%s)", least ? "at least" : "at most", most,
               held ? "" : ": MISSED");
    return held;
}

static bool run_trial(const struct trial *t, int number)
{
    static struct tally tally;
    double years, bad;
    bool held;

    memset(&tally, 0, sizeof(tally));
    for (int i = 0; i < t->worlds; i++)
        run_world(&tally, t, 7919u * (unsigned)i + 1000003u * (unsigned)number);
    years = tally.sound * FOLLOWED / 365.25;
    bad = tally.bad;
    printf("# %s, %d worlds\n#   failing", t->name, t->worlds);
    held =
        told("false a batch-year", tally.wrong / years, t->false_most, false);
    if (tally.bad > 0) {
        held &= told("found", tally.found / bad, t->found_least, true);
        told("in 180 days", tally.within_180 / bad, 0, false);
        held &= told("median days", quantile(tally.days, tally.bad, 0.5),
                     t->median_most, false);
        held &= told("reports", quantile(tally.reports, tally.bad, 0.5),
                     t->reports_most, false);
    }
    printf("\n#   suspect; false a batch-year %.4f",
           tally.suspect_wrong / years);
    if (tally.bad > 0)
        printf("; found %.2f; median days %.0f", tally.suspect_found / bad,
               quantile(tally.suspect_days, tally.bad, 0.5));
    printf("\n");
    if (t->nu_most > 0) {
        double low = quantile(tally.nu, tally.n_nu, 0.1);
        double high = quantile(tally.nu, tally.n_nu, 0.9);
        double nu = quantile(tally.nu, tally.n_nu, 0.5);

        held &= nu >= t->nu_least && nu <= t->nu_most;
        printf("#   nu at the end: median %.1f (%.0f to %.0f), eight of ten "
               "worlds %.1f to %.1f\n",
               nu, t->nu_least, t->nu_most, low, high);
    }
    print_naive(&tally, years);
    printf("%sok %d - %s\n", held ? "" : "not ", number, t->name);
    return held;
}

int main(int argc, char **argv)
{
    int n = (int)(sizeof(trials) / sizeof(trials[0])), failed = 0;

    for (int i = argc > 1 ? atoi(argv[1]) - 1 : 0; i < n; i++)
        failed += !run_trial(&trials[i], i + 1);
    printf("1..%d\n", n);
    return failed > 0 ? EXIT_FAILURE : EXIT_SUCCESS;
}
