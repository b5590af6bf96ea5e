/*
 * check_scan.c - runs along a line: reference cases p23 (coal mining
 * disasters, Jarrett 1979) and p24 (every outcome enumerated), then laws.
 */
#include "watch/scan.h"

#include "close.h"
#include "refcase.h"

#include <string.h>

#define CELLS_MOST 200

static size_t read_line(const struct refcase *c, int64_t *failed,
                        struct scan_line *line)
{
    size_t n;
    const double *o = refcase_need(c, "in", "O", &n);

    ck_assert_uint_le(n, CELLS_MOST);
    for (size_t i = 0; i < n; i++)
        failed[i] = (int64_t)o[i];
    *line =
        (struct scan_line){.failed = failed,
                           .expected = refcase_need(c, "in", "E", &n),
                           .n = n,
                           .longest = (size_t)refcase_one(c, "par", "maxlen")};
    return n;
}

START_TEST(case_windows)
{
    struct refcase *c =
        refcase_open(_i == 0 ? "p23_scan_coal" : "p24_scan_tiny");
    int64_t failed[CELLS_MOST];
    struct scan_line line;
    struct scan_window w;

    read_line(c, failed, &line);
    scan_best(&line, &w);
    CLOSE(w.llr, refcase_one(c, "out", "llr"), 1e-8);
    ck_assert_double_eq((double)w.from + 1, refcase_one(c, "out", "from"));
    ck_assert_double_eq((double)w.to + 1, refcase_one(c, "out", "to"));
    ck_assert_double_eq((double)w.failed, refcase_one(c, "out", "obs"));
    CLOSE(w.expected, refcase_one(c, "out", "exp"), 1e-8);
    refcase_free(c);
}
END_TEST

/* Every outcome of six failures in five cells was enumerated: 0.18208. */
START_TEST(case_exact_p)
{
    struct refcase *c = refcase_open("p24_scan_tiny");
    struct scan_chance chance = {.seed = 4, .most = 40000, .enough = 0};
    int64_t failed[CELLS_MOST];
    struct scan_line line;
    struct scan_window w;
    double p = refcase_one(c, "out", "p_exact");

    read_line(c, failed, &line);
    scan_best(&line, &w);
    ck_assert_double_eq_tol(scan_p(&line, &w, &chance), p,
                            3 * sqrt(p * (1 - p) / chance.most));
    refcase_free(c);
}
END_TEST

/* The coal mines: p is the least that 999 replicas can show. */
START_TEST(case_monte_carlo)
{
    struct refcase *c = refcase_open("p23_scan_coal");
    struct scan_chance chance = {.seed = 5, .most = 999, .enough = 10};
    int64_t failed[CELLS_MOST];
    struct scan_line line;
    struct scan_window w;

    read_line(c, failed, &line);
    scan_best(&line, &w);
    CLOSE(scan_p(&line, &w, &chance), refcase_one(c, "out", "p_mc"), 1e-12);
    w.llr = refcase_one(c, "out", "crit05"); /* its 5 % point */
    chance.enough = 0;
    ck_assert_double_eq_tol(scan_p(&line, &w, &chance), 0.05, 0.021);
    refcase_free(c);
}
END_TEST

/* ---- every window looked at, one by one ---- */

#define PLAIN_MOST 200

struct plain { /* a line's expectation up to each cell, scaled */
    double expected[PLAIN_MOST + 1], total;
    size_t n, longest;
};

static void plain_init(struct plain *p, const struct scan_line *line)
{
    double all = 0;

    *p = (struct plain){.n = line->n};
    p->longest = line->longest > 0 ? line->longest : line->n / 2;
    for (size_t i = 0; i < line->n; i++) {
        all += line->expected[i];
        p->expected[i + 1] = p->expected[i] + line->expected[i];
        p->total += (double)line->failed[i];
    }
    for (size_t i = 0; i < line->n; i++)
        p->expected[i + 1] *= p->total / all;
}

static double plain_llr(double o, double e, double total)
{
    if (o <= e)
        return 0;
    return o * log(o / e) +
           (total > o ? (total - o) * log((total - o) / (total - e)) : 0);
}

static double plain_greatest(const struct plain *p, const int64_t *failed)
{
    double best = 0;

    for (size_t i = 0; i < p->n; i++) {
        double o = 0;

        for (size_t j = i; j < p->n && j - i < p->longest; j++) {
            o += (double)failed[j];
            best = fmax(best, plain_llr(o, p->expected[j + 1] - p->expected[i],
                                        p->total));
        }
    }
    return best;
}

/* The generator of scan.h: a cell for each failure. */
static void plain_throw(const struct plain *p, uint64_t *state, int64_t *failed)
{
    memset(failed, 0, p->n * sizeof(*failed));
    for (double i = 0; i < p->total; i++) {
        double point = (double)(close_next(state) >> 11) * 0x1p-53 * p->total;
        size_t cell = 0;

        while (cell + 1 < p->n && p->expected[cell + 1] <= point)
            cell++;
        failed[cell]++;
    }
}

/* Cells alike, a little different, or of very different expectation; some
 * failures in a heap, many in a cell or few. */
static void any_line(struct scan_line *line, int64_t *failed, double *expected,
                     uint64_t *seed)
{
    size_t n = 2 + close_next(seed) % (PLAIN_MOST - 2);
    size_t heap = close_next(seed) % n, kind = close_next(seed) % 3;
    int many = (int)(close_next(seed) % 300);

    memset(failed, 0, n * sizeof(*failed));
    for (size_t i = 0; i < n; i++)
        expected[i] = kind == 0   ? 0.02
                      : kind == 1 ? close_between(seed, 0.1, 2)
                                  : exp(close_between(seed, -12, 0));
    for (int i = 0; i < many; i++) {
        size_t at = close_next(seed) % n;

        failed[i % 9 == 0 ? (heap + at % 7) % n : at]++;
    }
    *line = (struct scan_line){failed, expected, n, 0};
    if (close_next(seed) % 2 == 0)
        line->longest = 1 + close_next(seed) % n;
}

START_TEST(law_all_windows)
{
    uint64_t seed = 6;

    for (int round = 0; round < 300; round++) {
        int64_t failed[PLAIN_MOST];
        double expected[PLAIN_MOST];
        struct scan_line line;
        struct scan_window w;
        struct plain p;

        any_line(&line, failed, expected, &seed);
        plain_init(&p, &line);
        scan_best(&line, &w);
        CLOSE_OR(w.llr, plain_greatest(&p, failed), 1e-9, 1e-10);
        if (w.llr == 0)
            continue;
        for (size_t i = w.from; i <= w.to; i++)
            w.failed -= failed[i];
        ck_assert_int_eq(w.failed, 0);
        CLOSE(w.expected, p.expected[w.to + 1] - p.expected[w.from], 1e-9);
        ck_assert_uint_lt(w.to - w.from, p.longest);
    }
}
END_TEST

/* The same count of replicas that reach a limit as by looking at every window
 * of each; limits that replicas just reach and just miss among them. */
START_TEST(law_replicas)
{
    uint64_t seed = 11;
    int great = 0, missed = 0;

    for (int round = 0; round < 100; round++) {
        struct scan_chance chance = {close_next(&seed), 9, 0};
        uint64_t state = chance.seed;
        int64_t failed[PLAIN_MOST];
        double expected[PLAIN_MOST], most[9];
        struct scan_line line;
        struct plain p;

        any_line(&line, failed, expected, &seed);
        plain_init(&p, &line);
        for (int r = 0; r < 9; r++) {
            int64_t thrown[PLAIN_MOST];

            plain_throw(&p, &state, thrown);
            most[r] = plain_greatest(&p, thrown);
        }
        for (int r = -9; r < 9; r++) {
            struct scan_window w = {.llr = r < 0 ? most[r + 9] + 1e-7
                                                 : most[r] - 1e-12};
            int reach = 0;

            for (int k = 0; k < 9; k++)
                reach += most[k] >= w.llr - 1e-9;
            ck_assert_double_eq(scan_p(&line, &w, &chance), (1.0 + reach) / 10);
            great += reach;
            missed += 9 - reach;
        }
    }
    ck_assert_int_gt(great, 1000);
    ck_assert_int_gt(missed, 1000);
}
END_TEST

/* Without a run, p <= 0.05 in one of twenty lines. */
START_TEST(law_level)
{
    struct scan_chance chance = {.seed = 7, .most = 199, .enough = 0};
    uint64_t seed = 8;
    double expected[100];
    int low = 0, lines = 600;

    for (int i = 0; i < 100; i++)
        expected[i] = 1 + i % 3;
    for (int k = 0; k < lines; k++) {
        int64_t failed[100] = {0};
        struct scan_line line = {
            .failed = failed, .expected = expected, .n = 100};
        struct scan_window w;

        for (int i = 0; i < 15; i++) {
            double at = close_unit(&seed) * 199; /* of 33 x 6 + 1 */
            int cell = 0;

            while (cell < 99 && at >= expected[cell])
                at -= expected[cell++];
            failed[cell]++;
        }
        scan_best(&line, &w);
        chance.seed += 1000;
        low += scan_p(&line, &w, &chance) <= 0.05;
    }
    ck_assert_double_eq_tol(low / (double)lines, 0.05, 0.03);
}
END_TEST

/* A shelf of the kiln: nine of twelve failures in eight of sixty serials. */
START_TEST(finds_a_shelf)
{
    int64_t failed[60] = {[3] = 1,  [50] = 1, [20] = 1, [21] = 1, [22] = 2,
                          [23] = 1, [25] = 2, [26] = 1, [27] = 1, [40] = 1};
    double expected[60];
    struct scan_line line = {.failed = failed, .expected = expected, .n = 60};
    struct scan_chance chance = {.seed = 9, .most = 999, .enough = 10};
    struct scan_window w;
    double p;

    for (int i = 0; i < 60; i++)
        expected[i] = 0.2;
    scan_best(&line, &w);
    ck_assert_uint_eq(w.from, 20);
    ck_assert_uint_eq(w.to, 27);
    p = scan_p(&line, &w, &chance);
    ck_assert_double_le(p, 0.01);
    ck_assert_double_eq(scan_p(&line, &w, &chance), p); /* the seed's answer */
}
END_TEST

START_TEST(edges)
{
    int64_t none[3] = {0};
    double expected[3] = {1, 1, 1};
    struct scan_line line = {.failed = none, .expected = expected, .n = 3};
    struct scan_chance chance = {.seed = 1, .most = 99, .enough = 10};
    struct scan_window w;

    scan_best(&line, &w);
    ck_assert_double_eq(w.llr, 0);
    ck_assert_double_eq(scan_p(&line, &w, &chance), 1);
    line.n = 0;
    scan_best(&line, &w);
    ck_assert_double_eq(w.llr, 0);
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("scan");

    tcase_add_loop_test(tc, case_windows, 0, 2);
    tcase_add_test(tc, case_exact_p);
    tcase_add_test(tc, case_monte_carlo);
    tcase_add_test(tc, law_all_windows);
    tcase_add_test(tc, law_replicas);
    tcase_add_test(tc, law_level);
    tcase_add_test(tc, finds_a_shelf);
    tcase_add_test(tc, edges);
    return close_run("scan", tc);
}
