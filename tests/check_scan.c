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

/* Against every window, looked at one by one. */
START_TEST(law_all_windows)
{
    uint64_t seed = 6;

    for (int round = 0; round < 300; round++) {
        size_t n = 2 + close_next(&seed) % 60, longest;
        int64_t failed[64];
        double expected[64], sum = 0, total = 0, best = 0;
        struct scan_line line = {.failed = failed,
                                 .expected = expected,
                                 .n = n,
                                 .longest = close_next(&seed) % n};
        struct scan_window w;

        for (size_t i = 0; i < n; i++) {
            failed[i] = close_unit(&seed) < 0.3
                            ? 1 + (int64_t)(close_next(&seed) % 3)
                            : 0;
            expected[i] = close_between(&seed, 0.1, 2);
            sum += expected[i];
            total += (double)failed[i];
        }
        longest = line.longest > 0 ? line.longest : n / 2;
        for (size_t i = 0; i < n; i++) {
            double o = 0, e = 0;

            for (size_t j = i; j < n && j - i < longest; j++) {
                o += (double)failed[j];
                e += expected[j] * total / sum;
                if (o > e)
                    best = fmax(best,
                                o * log(o / e) +
                                    (total > o ? (total - o) * log((total - o) /
                                                                   (total - e))
                                               : 0));
            }
        }
        scan_best(&line, &w);
        CLOSE_OR(w.llr, best, 1e-9, 1e-11);
    }
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
    tcase_add_test(tc, law_level);
    tcase_add_test(tc, finds_a_shelf);
    tcase_add_test(tc, edges);
    return close_run("scan", tc);
}
