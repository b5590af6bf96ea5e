/*
 * bench_watch.c - what the numbers cost: seep, drift and breakage, beside a
 * bare yardstick taken in turns with them in the same run: Ym, one exp and
 * one log of the C library on fresh arguments. Medians.
 */
#include "watch/breakage.h"
#include "watch/detector.h"
#include "watch/drift.h"
#include "watch/scan.h"
#include "watch/seep.h"
#include "watch/wear.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { REPEATS = 9, BATCHES = 1000, POTS = 1000000 };

static volatile double sink; /* keeps the work from being dropped */
static struct breakage_batch batches[BATCHES];
static struct breakage_verdict verdicts[BATCHES];
static const struct breakage_prior prior = {3, 0.012 / 30.4375};

static double now_us(void)
{
    struct timespec t;

    /* our own time: others may run on the machine */
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return 1e6 * (double)t.tv_sec + 1e-3 * (double)t.tv_nsec;
}

/* ---- what is measured: each does n calls ---- */

static void yardstick(int n)
{
    double sum = 0;

    for (int i = 0; i < n; i++)
        sum += log(1.5 + exp(-1e-3 * (i & 1023)));
    sink = sum;
}

static struct seep_pot pot_of(enum seep_shape shape)
{
    struct seep_pot p = {.shape = shape,
                         .base_radius_m = 0.095,
                         .rim_radius_m = 0.120,
                         .depth_m = 0.220,
                         .wall_m = 0.012,
                         .base_m = 0.015};

    p.n_profile = 12;
    for (size_t i = 0; i < p.n_profile; i++)
        p.profile[i] = (struct seep_point){0.02 * (double)i,
                                           0.09 + 0.003 * (double)i, 0.012};
    if (shape == SEEP_PROFILE)
        p.depth_m = 0;
    return p;
}

static void seep(int n, enum seep_shape shape)
{
    struct seep_pot p = pot_of(shape);
    struct seep_reading r = {
        .seen = SEEP_DROP, .elapsed_s = 36000, .water_degc = 18};
    struct seep_flow flow;
    double sum = 0;

    for (int i = 0; i < n; i++) {
        r.drop_m = 0.05 + 1e-5 * (i & 1023);
        if (seep_solve(&p, &r, &flow) == 0)
            sum += flow.first_hour_l;
    }
    sink = sum;
}

static void seep_frustum(int n)
{
    seep(n, SEEP_FRUSTUM);
}

static void seep_paraboloid(int n)
{
    seep(n, SEEP_PARABOLOID);
}

static void seep_profile(int n)
{
    seep(n, SEEP_PROFILE);
}

static void drift(int n)
{
    struct drift_state s;
    struct drift_step step;

    drift_start(&s, &drift_prior_default, 0);
    for (int i = 0; i < n; i++) {
        struct drift_event e = {.at_days = 40.0 * i,
                                .log_flow = 0.3 + 1e-4 * (i & 1023),
                                .log_se = 0.1};

        drift_read(&s, &drift_defaults, &e, &step);
    }
    sink = s.level;
}

static void drift_falls(int n)
{
    struct drift_state s;
    struct drift_fall fall;

    drift_start(&s, &drift_prior_default, 0);
    for (int i = 0; i < n; i++) {
        s.level = 0.3 + 1e-4 * (i & 1023);
        drift_fall(&s, &drift_defaults, &fall);
        sink = fall.expected_days;
    }
}

static void breakage_all(int n)
{
    for (int i = 0; i < n; i++)
        breakage_judge(batches, BATCHES, &prior, verdicts);
    sink = verdicts[0].p_poisson;
}

static void breakage_one(int n)
{
    for (int i = 0; i < n; i++)
        breakage_judge_one(batches, BATCHES, (size_t)i % BATCHES, &prior,
                           &verdicts[0]);
    sink = verdicts[0].p_poisson;
}

/* A year of eight readings and a scrub, replayed, for each pot of a batch. */
static void learning(int n)
{
    struct drift_event e[9];
    struct drift_learn l = {0};
    struct drift_rates programme = {-0.0022, 0.25};
    struct drift_history h = {.events = e, .n = 9};

    for (int i = 0; i < 9; i++)
        e[i] = (struct drift_event){.at_days = 45 * (i + 1),
                                    .scrub = i == 4,
                                    .log_flow = 0.8 - 0.1 * i};
    for (int i = 0; i < n; i++) {
        struct drift_state s;
        struct drift_summary sum;

        e[0].log_flow = 0.7 + 1e-4 * (i & 1023);
        sum = drift_replay(&s, &drift_defaults, &drift_prior_default, &h);
        drift_learn_pot(&l, &s, &sum);
    }
    sink = drift_learnt(&l, &programme).slope;
}

static const struct {
    const char *name;
    void (*run)(int n);
    int n;
    double most_us; /* floor of the machine kind; 0: none stated */
    const char *remark;
} bars[] = {
    {"yardstick Ym: one exp and one log", yardstick, 100000, 0, ""},
    {"seep, frustum", seep_frustum, 10000, 5, "a report"},
    {"seep, paraboloid", seep_paraboloid, 10000, 5, "a report"},
    {"seep, profile of 12 points", seep_profile, 5000, 0, "a report"},
    {"drift", drift, 100000, 5, "a report"},
    {"drift, expected day of falling", drift_falls, 2000, 0, "when shown"},
    {"breakage, one of 1,000 batches", breakage_one, 1000, 20, "a report"},
    {"breakage, all of 1,000 batches", breakage_all, 3, 0, "a scan"},
    {"re-estimation, a pot of 8 readings", learning, 10000, 0, "a week"},
};

enum { BARS = sizeof(bars) / sizeof(bars[0]) };

static void make_batches(void)
{
    for (int i = 0; i < BATCHES; i++) {
        batches[i].pots_out = 50;
        for (int k = 0; k < BREAKAGE_BINS; k++) {
            batches[i].exposure_days[k] = 1500 + 10 * (i % 17);
            batches[i].failed_at[k] = (i * 7 + k) % 5 == 0;
            batches[i].failed += batches[i].failed_at[k];
        }
    }
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

static double median(double *v)
{
    qsort(v, REPEATS, sizeof(*v), by_size);
    return v[REPEATS / 2];
}

static void million(void)
{
    double from = now_us();

    learning(POTS);
    printf("re-estimation over %d pots\t%.2f\ts\t8 readings each\n", POTS,
           (now_us() - from) / 1e6);
}

/* A year of 1,000 batches in 10,000 cells, with and without reports. */
/* A year of that many batches in ten cells each; microseconds. */
static double detector_year(int many, int reports)
{
    struct detector *d = detector_new(&detector_defaults);
    int cells = 10 * many;
    double from;

    for (int g = 0; g < cells; g++)
        detector_deliver(d, g / 10, g % 97, 0, 50);
    from = now_us();
    for (int i = 0; i < reports; i++)
        detector_fail(d, (int)((int64_t)i * 7919 % cells),
                      1 + (int)((int64_t)365 * i / reports));
    detector_advance(d, 371); /* 53 refreshes in all */
    from = now_us() - from;
    detector_free(d);
    return from;
}

static void watching(bool brief)
{
    for (int many = 1000; many <= 10000; many *= 10) {
        int reports = brief ? 1000 : 50 * many;
        double bare = detector_year(many, 0);
        double busy = detector_year(many, reports);

        printf("detector, weekly refresh\t%.2f\tms\t%d batches, %d cells\n",
               bare / 53e3, many, 10 * many);
        if (!brief)
            printf("detector, a report\t%.2f\tus\t%d batches\n",
                   (busy - bare) / reports, many);
    }
}

/* The nightly scan of one batch of 200 pots, all 999 replicas. */
static void scanning(void)
{
    int64_t failed[200];
    double expected[200];
    struct scan_line line = {failed, expected, 200, 0};
    struct scan_chance chance = {1, 999, 0};
    struct scan_window best;
    double from;

    for (int i = 0; i < 200; i++) {
        failed[i] = i % 17 == 0;
        expected[i] = 0.05 + 0.0001 * i;
    }
    from = now_us();
    scan_best(&line, &best);
    sink = scan_p(&line, &best, &chance);
    printf("scan of a batch\t%.1f\tms\t200 pots, 999 replicas\n",
           (now_us() - from) / 1e3);
}

/* Every window from a failure to a failure up to half the line, each with its
 * logarithms. */
static double plain_scan(const size_t *cells, int n, double each, size_t half)
{
    double best = 0, all = n;

    for (int a = 0; a < n; a++)
        for (int b = a; b < n && cells[b] - cells[a] < half; b++) {
            double o = b - a + 1, e = each * (double)(cells[b] - cells[a] + 1);

            if (o > e && o < all)
                best = fmax(best, o * log(o / e) +
                                      (all - o) * log((all - o) / (all - e)));
        }
    return best;
}

/*
 * Exact scan of 10^5 serials with 2,000 failures, all 999 replicas, beside
 * 1,000 times the double loop over its failures, in turns. What is asked of a
 * replica is whether it reaches the line's own greatest, so the time depends
 * on how great that is: nothing to see, a run at the edge of chance, a run.
 */
enum { CELLS = 100000, EVENTS = 2000 };
static int64_t far_failed[CELLS];
static double far_expected[CELLS];

/* that many more than their share among the 2,000 cells in the middle */
static size_t far_line(int extra, size_t *cells)
{
    uint64_t x = 2026;
    size_t n = 0;

    memset(far_failed, 0, sizeof(far_failed));
    for (int i = 0; i < EVENTS; i++) {
        size_t cell;

        do {
            x = x * 6364136223846793005u + 1442695040888963407u;
            cell = (size_t)(x >> 33) % (i < extra ? 2000 : CELLS);
            cell += i < extra ? CELLS / 2 : 0;
        } while (far_failed[cell] > 0);
        far_failed[cell] = 1;
    }
    for (size_t i = 0; i < CELLS; i++)
        if (far_failed[i] > 0)
            cells[n++] = i;
    return n;
}

static bool scanning_far(bool brief)
{
    static const struct {
        const char *name;
        int extra;
    } lines[] = {{"nothing to see", 0}, {"at the edge", 27}, {"a run", 60}};
    static size_t cells[EVENTS];
    struct scan_line line = {far_failed, far_expected, CELLS, 0};
    struct scan_chance chance = {1, brief ? 19 : 999, 0};
    bool met = true;

    for (int i = 0; i < CELLS; i++)
        far_expected[i] = (double)EVENTS / CELLS;
    for (size_t k = 0; k < KW_COUNT(lines); k++) {
        double ours[REPEATS], plain[REPEATS], times, p = 0;
        int n = (int)far_line(lines[k].extra, cells);

        for (int r = 0; r < REPEATS; r++) {
            struct scan_window best;
            double from = now_us();

            scan_best(&line, &best);
            p = scan_p(&line, &best, &chance);
            ours[r] = now_us() - from;
            from = now_us();
            sink = plain_scan(cells, n, (double)EVENTS / CELLS, CELLS / 2);
            plain[r] = (now_us() - from) * (chance.most + 1);
        }
        times = median(plain) / median(ours);
        met = met && times >= 200;
        printf("exact scan of 10^5 serials, %s\t%.1f\tms\t2,000 failures, %d "
               "replicas, p %.3f; 1/%.0f of the double loop (goal 1/200)\n",
               lines[k].name, median(ours) / 1e3, chance.most, p, times);
    }
    return met || brief;
}

/* Survival of ten million pots in 500 batches, curves with intervals: one
 * batch after the other, or as they come. */
static void survival(int pots, bool mixed)
{
    enum { GROUPS = 500, DAYS = 1500 };
    static struct wear_days tables[GROUPS];
    static struct wear_row rows[DAYS];
    struct wear_stay *stays = malloc((size_t)pots * sizeof(*stays));
    uint64_t x = 12345;
    size_t n_rows = 0;
    double from;

    if (stays == NULL)
        return;
    for (int i = 0; i < pots; i++) {
        x = x * 6364136223846793005u + 1442695040888963407u;
        stays[i] = (struct wear_stay){
            .stratum =
                (uint16_t)(mixed ? (x >> 20) % GROUPS
                                 : (uint64_t)i * GROUPS / (uint64_t)pots),
            .exit = (uint16_t)(1 + (x >> 40) % 1400),
            .failed = x >> 60 & 1};
    }
    from = now_us();
    for (int g = 0; g < GROUPS; g++)
        wear_days_init(&tables[g], DAYS);
    wear_days_add_all(tables, stays, (size_t)pots);
    for (int g = 0; g < GROUPS; g++) {
        n_rows += wear_days_curve(&tables[g], 0.95, rows);
        sink = rows[0].low;
        wear_days_release(&tables[g]);
    }
    printf("survival of %d pots, 500 batches, %s\t%.0f\tms\t%zu rows with "
           "intervals, from a column in memory\n",
           pots, mixed ? "mixed" : "in order", (now_us() - from) / 1e3, n_rows);
    free(stays);
}

int main(int argc, char **argv)
{
    bool brief = argc > 1 && strcmp(argv[1], "--short") == 0;
    static double us[BARS][REPEATS];
    double ym = 0;
    int code = EXIT_SUCCESS;

    if (argc > 1 && strcmp(argv[1], "--survival") == 0) {
        survival(10000000, argc > 2);
        return EXIT_SUCCESS;
    }
    if (argc > 1 && strcmp(argv[1], "--scan") == 0) {
        scanning();
        return scanning_far(false) ? EXIT_SUCCESS : EXIT_FAILURE;
    }
    make_batches();
    for (int repeat = 0; repeat < REPEATS; repeat++)
        for (int b = 0; b < BARS; b++) { /* in turns */
            int n = brief ? bars[b].n / 10 + 1 : bars[b].n;
            double from = now_us();

            bars[b].run(n);
            us[b][repeat] = (now_us() - from) / n;
        }
    for (int b = 0; b < BARS; b++) {
        double m = median(us[b]);

        if (b == 0)
            ym = m;
        printf("%s\t%.3f\tus\t%.0f Ym%s%s\n", bars[b].name, m, m / ym,
               bars[b].remark[0] != '\0' ? ", " : "", bars[b].remark);
        if (bars[b].most_us > 0 && m > bars[b].most_us && !brief) {
            printf("%s: over %.0f us\n", bars[b].name, bars[b].most_us);
            code = EXIT_FAILURE;
        }
    }
    if (!brief)
        million();
    watching(brief);
    scanning();
    if (!scanning_far(brief))
        code = EXIT_FAILURE;
    survival(brief ? 100000 : 10000000, false);
    survival(brief ? 100000 : 10000000, true);
    return code;
}
