/*
 * check_detector.c - the watch over batches, end to end: reference case p39
 * (event log in, expectations, evidence and alarm days out; two independent
 * programs agreed on it), then the data rules.
 */
#include "watch/detector.h"

#include "close.h"
#include "refcase.h"

#include <string.h>

#define CASE_CLOSE(got, want) CLOSE_OR(got, want, 1e-8, 1e-10)

static struct detector_setting case_setting(const struct refcase *c)
{
    struct detector_setting set = detector_defaults;

    set.prior.events = refcase_one(c, "par", "A0");
    set.prior.rate_per_day = refcase_one(c, "par", "lambda0");
    set.place_weight = refcase_one(c, "par", "nu");
    set.caution = refcase_one(c, "par", "cinf");
    set.cap = (int)refcase_one(c, "par", "cap");
    set.window_days = (int)refcase_one(c, "par", "win");
    set.mix.shape = refcase_one(c, "par", "a");
    set.mix.rate = refcase_one(c, "par", "b");
    set.chart.rho = refcase_one(c, "par", "rho");
    set.chart.limit = refcase_one(c, "par", "h_red");
    set.failing = refcase_one(c, "par", "bf_red");
    set.sweeps = (int)refcase_one(c, "par", "sweeps");
    return set;
}

/* Cells are all told at the start, or each on its day. */
static size_t deliver(struct detector *d, const struct refcase *c, size_t from,
                      double until)
{
    size_t n;
    const double *batch = refcase_need(c, "in", "cell_batch", &n);
    const double *place = refcase_need(c, "in", "cell_community", &n);
    const double *day = refcase_need(c, "in", "cell_deploy", &n);
    const double *pots = refcase_need(c, "in", "cell_n", &n);

    for (; from < n && day[from] <= until; from++)
        ck_assert_int_eq(detector_deliver(d, (int)batch[from] - 1,
                                          (int)place[from] - 1, (int)day[from],
                                          (int64_t)pots[from]),
                         (int)from);
    return from;
}

static void check_verdict(struct detector *d, const struct refcase *c, size_t i)
{
    static const char *const names[] = {
        "Oraw",    "O",        "E",       "U",     "logBF", "cusum",
        "alarmed", "alarmday", "rr_mean", "rr_lo", "rr_hi"};
    struct detector_verdict v;
    size_t n;

    detector_verdict(d, (int)refcase_need(c, "out", "batch", &n)[i] - 1, &v);
    for (size_t k = 0; k < KW_COUNT(names); k++) {
        double got[] = {(double)v.reported,
                        (double)v.counted,
                        v.expected,
                        v.upper,
                        isnan(v.log_bf) ? -9 : v.log_bf,
                        v.cusum,
                        v.state == DETECTOR_FAILING,
                        v.alarm_day,
                        v.risk.mean,
                        v.risk.low,
                        v.risk.high};

        CASE_CLOSE(got[k], refcase_need(c, "out", names[k], &n)[i]);
    }
}

START_TEST(case_end_to_end)
{
    struct refcase *c = refcase_open("p39_batch_end_to_end");
    struct detector_setting set = case_setting(c);
    struct detector *d = detector_new(&set);
    size_t n, rows, next = 0;
    const double *cell = refcase_need(c, "in", "event_cell", &n);
    const double *day = refcase_need(c, "in", "event_day", &n);
    const double *report = refcase_need(c, "out", "day", &rows);

    deliver(d, c, 0, INFINITY);
    for (size_t i = 0; i < rows; i++) {
        for (; next < n && day[next] <= report[i]; next++)
            ck_assert_int_ge(
                detector_fail(d, (int)cell[next] - 1, (int)day[next]), 0);
        ck_assert_int_ge(detector_advance(d, (int)report[i]), 0);
        check_verdict(d, c, i);
    }
    detector_free(d);
    refcase_free(c);
}
END_TEST

/* ---- a made-up programme, to hold the rules against each other ---- */

enum { BATCHES = 30, PLACES = 8, EVENTS_MOST = 5000, HORIZON = 500 };

struct log_event {
    int day, cell;
};

struct world {
    int cells, events;
    int batch[BATCHES * 3], place[BATCHES * 3], day[BATCHES * 3];
    struct log_event log[EVENTS_MOST];
};

static int by_day(const void *a, const void *b)
{
    const struct log_event *x = a, *y = b;

    return x->day != y->day ? (x->day > y->day) - (x->day < y->day)
                            : (x->cell > y->cell) - (x->cell < y->cell);
}

/* Batch `bad` breaks `times` as fast; -1: none. Cells come in order of day. */
static void make_world(struct world *w, uint64_t seed, int bad, double times)
{
    double hazard = 0.012 / 30.4375;

    memset(w, 0, sizeof(*w));
    for (int b = 0; b < BATCHES; b++)
        for (int k = 0; k < 3; k++) {
            int g = w->cells++;
            double by = b == bad ? times : 1;

            w->batch[g] = b;
            w->place[g] = (int)(close_next(&seed) % PLACES);
            w->day[g] = 5 * b + k;
            for (int pot = 0; pot < 25; pot++) {
                double life = -log(close_unit(&seed)) / (hazard * by);
                int day = w->day[g] + 1 + (int)fmin(life, 1e6);

                if (day <= HORIZON && w->events < EVENTS_MOST)
                    w->log[w->events++] = (struct log_event){day, g};
            }
        }
    qsort(w->log, (size_t)w->events, sizeof(w->log[0]), by_day);
}

/* Cells told when they come, or beforehand; days asked about or not. */
static struct detector *replay(const struct world *w, bool beforehand,
                               int every)
{
    struct detector *d = detector_new(&detector_defaults);
    int g = 0, e = 0;

    for (int day = 0; day <= HORIZON; day++) {
        for (; g < w->cells && (beforehand || w->day[g] == day); g++)
            ck_assert_int_eq(
                detector_deliver(d, w->batch[g], w->place[g], w->day[g], 25),
                g);
        for (; e < w->events && w->log[e].day == day; e++)
            ck_assert_int_ge(detector_fail(d, w->log[e].cell, day), 0);
        if (every > 0 && day % every == 0)
            ck_assert_int_ge(detector_advance(d, day), 0);
    }
    ck_assert_int_ge(detector_advance(d, HORIZON), 0);
    return d;
}

static void check_same(struct detector *a, struct detector *b, double rel)
{
    for (int i = 0; i < BATCHES; i++) {
        struct detector_verdict x, y;

        detector_verdict(a, i, &x);
        detector_verdict(b, i, &y);
        CLOSE(x.expected, y.expected, rel);
        CLOSE(x.upper, y.upper, rel);
        CLOSE_OR(x.cusum, y.cusum, rel, 1e-12);
        ck_assert_int_eq(x.alarm_day, y.alarm_day);
        ck_assert_int_eq(x.state, y.state);
    }
}

/* When cells are told, and how often anybody looks, changes nothing. */
START_TEST(law_lazy_is_the_same)
{
    static struct world w;
    struct detector *a, *b;

    make_world(&w, 11 + (uint64_t)_i, 3, 4);
    a = replay(&w, true, 0);
    b = replay(&w, false, 1);
    check_same(a, b, 1e-9);
    detector_free(b);
    b = replay(&w, true, 0); /* the same again: bit for bit */
    check_same(a, b, 0);
    detector_free(a);
    detector_free(b);
}
END_TEST

/* The order of reports within a day changes no alarm day. */
START_TEST(law_order_within_a_day)
{
    static struct world w;
    struct detector *a, *b;

    make_world(&w, 31 + (uint64_t)_i, 5, 5);
    a = replay(&w, true, 0);
    for (int i = 0; i < w.events;) {
        int j = i;

        while (j < w.events && w.log[j].day == w.log[i].day)
            j++;
        for (int k = 0; k < (j - i) / 2; k++) {
            struct log_event keep = w.log[i + k];

            w.log[i + k] = w.log[j - 1 - k];
            w.log[j - 1 - k] = keep;
        }
        i = j;
    }
    b = replay(&w, true, 0);
    check_same(a, b, 1e-9);
    detector_free(a);
    detector_free(b);
}
END_TEST

/* A batch that breaks five times as fast is found; sound ones hardly ever. */
START_TEST(finds_the_bad_one)
{
    static struct world w;
    int found = 0, wrong = 0, worlds = 40;

    for (int i = 0; i < worlds; i++) {
        struct detector *d;

        make_world(&w, 1000 + (uint64_t)i, 7, 5);
        d = replay(&w, true, 0);
        for (int b = 0; b < BATCHES; b++) {
            struct detector_verdict v;

            detector_verdict(d, b, &v);
            if (v.state == DETECTOR_FAILING && b == 7)
                found++;
            else if (v.state == DETECTOR_FAILING)
                wrong++;
        }
        detector_free(d);
    }
    ck_assert_int_ge(found, 38);
    ck_assert_int_le(wrong, worlds * BATCHES / 50);
}
END_TEST

/* One overturned cart: twenty reports of one cell in a day count twice. */
START_TEST(co_located_are_thinned)
{
    struct detector *d = detector_new(&detector_defaults);
    struct detector_verdict v;

    ck_assert_int_eq(detector_deliver(d, 0, 0, 0, 50), 0);
    ck_assert_int_eq(detector_deliver(d, 1, 1, 0, 50), 1);
    for (int i = 0; i < 20; i++)
        ck_assert_int_eq(detector_fail(d, 0, 40), 0);
    detector_verdict(d, 0, &v);
    ck_assert_int_eq(v.reported, 20);
    ck_assert_int_eq(v.counted, 2);
    ck_assert_int_eq(detector_fail(d, 0, 46), 0);
    detector_verdict(d, 0, &v);
    ck_assert_int_eq(v.counted, 2); /* six days: still the same window */
    ck_assert_int_eq(detector_fail(d, 0, 47), 0);
    detector_verdict(d, 0, &v);
    ck_assert_int_eq(v.counted, 3);
    ck_assert_int_eq(v.places, 1);
    ck_assert(v.place_bound); /* no other batch went there */
    detector_free(d);
}
END_TEST

/* The same flood, though each pot was handed out on a day of its own. */
START_TEST(co_located_though_delivered_apart)
{
    struct detector *d = detector_new(&detector_defaults);
    struct detector_verdict v;

    for (int i = 0; i < 10; i++)
        ck_assert_int_eq(detector_deliver(d, 0, i < 8 ? 0 : 1, i, 1), i);
    for (int i = 0; i < 10; i++)
        ck_assert_int_ge(detector_fail(d, i, 40), 0);
    detector_verdict(d, 0, &v);
    ck_assert_int_eq(v.reported, 10);
    ck_assert_int_eq(v.counted, 4); /* two of each place */
    ck_assert_int_eq(v.places, 2);
    detector_free(d);
}
END_TEST

/*
 * Places that tell of gamma(nu) times as much: nu comes out again, from 60
 * places with some 20 failures each; where all are alike it stays high.
 */
static double nu_of_world(double nu, uint64_t seed)
{
    struct detector_setting set = detector_defaults;
    struct detector *d;
    struct detector_weight w;
    enum { WIDE = 60, OVER = 20, POTS_EACH = 25, LAST = 420 };
    static int fails[WIDE * OVER][LAST + 1];
    double hazard = 0.012 / 30.4375;

    set.reweigh_days = 90;
    d = detector_new(&set);
    memset(fails, 0, sizeof(fails));
    for (int p = 0; p < WIDE; p++) {
        double r = 1;

        if (nu > 0) { /* the sum of nu exponentials: nu is whole here */
            r = 0;
            for (int i = 0; i < (int)nu; i++)
                r -= log(close_unit(&seed)) / nu;
        }
        for (int b = 0; b < OVER; b++)
            for (int pot = 0; pot < POTS_EACH; pot++) {
                double life = -log(close_unit(&seed)) / (hazard * r);

                if (life < LAST)
                    fails[p * OVER + b][1 + (int)life]++;
            }
    }
    for (int p = 0; p < WIDE; p++)
        for (int b = 0; b < OVER; b++)
            ck_assert_int_eq(detector_deliver(d, b, p, 0, POTS_EACH),
                             p * OVER + b);
    for (int day = 1; day <= LAST; day++) {
        for (int c = 0; c < WIDE * OVER; c++)
            for (int k = 0; k < fails[c][day]; k++)
                ck_assert_int_ge(detector_fail(d, c, day), 0);
        ck_assert_int_ge(detector_advance(d, day), 0);
        w = detector_weight(d);
        if (day < 90)
            ck_assert_int_eq(w.day, 0);
    }
    ck_assert_int_eq(w.day, 364); /* the week that begins the fifth span */
    ck_assert_int_eq(w.places, WIDE);
    detector_free(d);
    return w.nu;
}

START_TEST(nu_comes_out_again)
{
    static const double truth[] = {4, 12};

    for (size_t i = 0; i < 2; i++) {
        double sum = 0;

        for (uint64_t s = 0; s < 10; s++)
            sum += 1 / nu_of_world(truth[i], 70 + s);
        CLOSE(10 / sum, truth[i], 0.25);
    }
    ck_assert_double_ge(nu_of_world(0, 5), 30);
}
END_TEST

/* With few failures nothing is estimated; without being asked to, never. */
START_TEST(nu_stays)
{
    struct detector_setting set = detector_defaults;
    struct detector *d;

    set.reweigh_days = 90;
    for (int i = 0; i < 2; i++) {
        d = detector_new(&set);
        for (int p = 0; p < 6; p++)
            detector_deliver(d, p, p, 0, i == 0 ? 10 : 4000);
        for (int day = 20; day < 300; day += 30)
            for (int p = 0; p < 3; p++)
                detector_fail(d, p, day);
        ck_assert_int_ge(detector_advance(d, 400), 0);
        ck_assert_double_eq(detector_weight(d).nu, set.place_weight);
        ck_assert_int_eq(detector_weight(d).day, 0);
        detector_free(d);
        set.reweigh_days = 0;
    }
}
END_TEST

START_TEST(closing_counts_afresh)
{
    struct detector *d = detector_new(&detector_defaults);
    struct detector_verdict v;
    int day = 10, hit = 0;

    for (int b = 0; b < 4; b++)
        for (int p = 0; p < 3; p++)
            detector_deliver(d, b, p, 0, 30);
    while (hit == 0 && day < 200) {
        hit = detector_fail(d, day % 3, day);
        day += 4;
    }
    ck_assert_int_eq(hit, 1);
    detector_verdict(d, 0, &v);
    ck_assert_int_eq(v.state, DETECTOR_FAILING);
    ck_assert_int_eq(v.alarm_day, day - 4);
    ck_assert(!v.place_bound);
    detector_close(d, 0);
    detector_verdict(d, 0, &v);
    ck_assert_int_eq(v.state, DETECTOR_SOUND);
    ck_assert_int_eq(v.counted, 0);
    ck_assert_double_eq(v.expected, 0);
    ck_assert_double_eq(v.cusum, 0);
    ck_assert_int_eq(v.places, 0);
    ck_assert_int_eq(detector_advance(d, day + 100), 0);
    detector_verdict(d, 0, &v);
    ck_assert_double_gt(v.expected, 0); /* of what came since */
    ck_assert_double_lt(v.expected, 6);
    for (hit = 0, day += 100; hit == 0 && day < 500; day += 4)
        hit = detector_fail(d, day % 3, day);
    ck_assert_int_eq(hit, 1); /* and is found again */
    detector_free(d);
}
END_TEST

START_TEST(refuses)
{
    struct detector *d = detector_new(&detector_defaults);
    struct detector_verdict v;

    ck_assert_int_eq(detector_deliver(d, -1, 0, 0, 5), KW_ERANGE);
    ck_assert_int_eq(detector_deliver(d, 0, -1, 0, 5), KW_ERANGE);
    ck_assert_int_eq(detector_deliver(d, 0, 0, 0, 0), KW_ERANGE);
    ck_assert_int_eq(detector_deliver(d, 0, 0, 3, 1), 0);
    ck_assert_int_eq(detector_deliver(d, 0, 0, 3, 5), 1);
    ck_assert_int_eq(detector_fail(d, 9, 5), KW_ENOENT);
    ck_assert_int_eq(detector_withdraw(d, 0, 5, 2), KW_ERANGE);
    ck_assert_int_eq(detector_fail(d, 0, 5), 0);
    ck_assert_int_eq(detector_fail(d, 0, 6), KW_ENOENT); /* none left */
    ck_assert_int_eq(detector_fail(d, 1, 2), KW_EINVAL); /* gone by */
    ck_assert_int_eq(detector_advance(d, 2), KW_EINVAL);
    ck_assert_int_eq(detector_deliver(d, 0, 0, 2, 5), KW_ERANGE);
    detector_verdict(d, 99, &v);
    ck_assert_int_eq(v.state, DETECTOR_SOUND);
    ck_assert_str_eq(detector_state_name(DETECTOR_FAILING), "failing");
    detector_free(d);
    detector_free(NULL);
}
END_TEST

/* Withdrawn pots are no longer at risk. */
START_TEST(withdrawn_leave_the_risk_set)
{
    struct detector *d = detector_new(&detector_defaults);
    struct detector_verdict a, b;

    detector_deliver(d, 0, 0, 0, 20);
    detector_deliver(d, 1, 0, 0, 20);
    ck_assert_int_eq(detector_withdraw(d, 1, 0, 10), 0);
    ck_assert_int_eq(detector_advance(d, 6), 0);
    detector_verdict(d, 0, &a);
    detector_verdict(d, 1, &b);
    CLOSE(a.expected, 20 * 6 * 0.012 / 30.4375, 1e-12);
    CLOSE(b.expected, a.expected / 2, 1e-12);
    detector_free(d);
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("detector");

    tcase_add_test(tc, case_end_to_end);
    tcase_add_loop_test(tc, law_lazy_is_the_same, 0, 3);
    tcase_add_loop_test(tc, law_order_within_a_day, 0, 3);
    tcase_add_test(tc, finds_the_bad_one);
    tcase_add_test(tc, co_located_are_thinned);
    tcase_add_test(tc, co_located_though_delivered_apart);
    tcase_add_test(tc, nu_comes_out_again);
    tcase_add_test(tc, nu_stays);
    tcase_add_test(tc, closing_counts_afresh);
    tcase_add_test(tc, refuses);
    tcase_add_test(tc, withdrawn_leave_the_risk_set);
    return close_run("detector", tc);
}
