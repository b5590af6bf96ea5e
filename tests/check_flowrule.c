/* check_flowrule.c - one reading, one verdict: a table and its laws. */
#include "watch/flowrule.h"

#include "close.h"

static const struct flow_rule rule = {.replace_below_l = 1.0,
                                      .accept_max_l = 3.0,
                                      .fast_factor = 1.25,
                                      .rise_factor = 1.5,
                                      .settle_days = 28,
                                      .rise_early = 1.8,
                                      .sure = 0.75};

static const struct {
    const char *what;
    double last_l, last_se, batch_max_l, age;
    int low_before;
    bool scrubbed;
    double l, se;
    enum flow_verdict want;
} table[] = {
    {"in the band", 0, 0, 0, 100, 0, false, 1.8, 0.2, FLOW_FINE},
    {"at the threshold", 0, 0, 0, 100, 0, false, 1.0, 0.2, FLOW_FINE},
    {"below", 0, 0, 0, 100, 0, false, 0.9, 0.2, FLOW_SCRUB},
    {"far below, never scrubbed", 0, 0, 0, 400, 3, false, 0.2, 0.1, FLOW_SCRUB},
    {"low once after scrubbing", 0.8, 0.2, 0, 400, 1, true, 0.8, 0.2,
     FLOW_SCRUB},
    {"low twice after scrubbing", 0.8, 0.2, 0, 400, 2, true, 0.8, 0.2,
     FLOW_REPLACE},
    {"low twice, not sure", 0.9, 0.2, 0, 400, 2, true, 0.95, 0.2, FLOW_SCRUB},
    {"below half after one scrub", 0.6, 0.2, 0, 400, 1, true, 0.49, 0.3,
     FLOW_REPLACE},
    {"at half after one scrub", 0.6, 0.2, 0, 400, 1, true, 0.5, 0.3,
     FLOW_SCRUB},
    {"over the band", 0, 0, 0, 100, 0, false, 3.76, 0.2, FLOW_STOP},
    {"at the limit of the band", 0, 0, 0, 100, 0, false, 3.75, 0.2, FLOW_FINE},
    {"over its own batch", 0, 0, 2.0, 100, 0, false, 2.6, 0.2, FLOW_STOP},
    {"a fast batch", 0, 0, 5.0, 100, 0, false, 6.0, 0.2, FLOW_FINE},
    {"risen by half and more", 1.5, 0.1, 0, 100, 0, false, 2.3, 0.1, FLOW_STOP},
    {"risen by less", 1.5, 0.1, 0, 100, 0, false, 2.2, 0.1, FLOW_FINE},
    {"risen in the first weeks", 1.5, 0.1, 0, 10, 0, false, 2.6, 0.1,
     FLOW_FINE},
    {"risen too far even then", 1.5, 0.1, 0, 10, 0, false, 2.8, 0.1, FLOW_STOP},
    {"risen, but who could tell", 1.5, 0.5, 0, 100, 0, false, 2.3, 0.5,
     FLOW_FINE},
    {"risen after a scrub", 0.8, 0.1, 0, 100, 1, true, 1.5, 0.1, FLOW_FINE},
    {"risen after a scrub, too far", 0.8, 0.1, 0, 100, 1, true, 1.7, 0.1,
     FLOW_STOP},
    {"a low pot that leaps is not cured", 0.4, 0.1, 0, 300, 2, false, 0.9, 0.1,
     FLOW_STOP},
};

START_TEST(verdicts)
{
    struct flow_past past = {.last_l = table[_i].last_l,
                             .last_log_se = table[_i].last_se,
                             .batch_max_l = table[_i].batch_max_l,
                             .age_days = table[_i].age,
                             .low_before = table[_i].low_before,
                             .scrubbed_since = table[_i].scrubbed};
    double p;
    enum flow_verdict got =
        flow_judge(&rule, &past, table[_i].l, table[_i].se, &p);

    ck_assert_msg(got == table[_i].want, "%s: %s", table[_i].what,
                  flow_verdict_name(got));
    CLOSE(p, 0.5 * erfc(log(table[_i].l) / table[_i].se / sqrt(2)), 1e-10);
}
END_TEST

/* A crack is never good news, nor is a slow pot, whatever came before. */
START_TEST(never_fine_outside)
{
    uint64_t seed = 5;

    for (int i = 0; i < 20000; i++) {
        struct flow_past past = {
            .last_l =
                close_unit(&seed) < 0.2 ? 0 : close_between(&seed, 0.2, 5),
            .last_log_se = close_between(&seed, 0, 0.6),
            .batch_max_l =
                close_unit(&seed) < 0.5 ? 0 : close_between(&seed, 1, 5),
            .age_days = close_between(&seed, 0, 900),
            .low_before = (int)(close_next(&seed) % 4),
            .scrubbed_since = close_unit(&seed) < 0.5};
        double l = exp(close_between(&seed, log(0.05), log(20))), p;
        double most = past.batch_max_l > 0 ? past.batch_max_l : 3.0;
        enum flow_verdict v =
            flow_judge(&rule, &past, l, close_between(&seed, 0, 0.5), &p);

        ck_assert(p >= 0 && p <= 1);
        if (l > 1.25 * most)
            ck_assert_int_eq(v, FLOW_STOP);
        if (l < 1.0)
            ck_assert_int_ne(v, FLOW_FINE);
        if (v == FLOW_REPLACE)
            ck_assert(past.scrubbed_since && l < 1.0);
        if (past.last_l == 0 && v == FLOW_STOP)
            ck_assert_double_gt(l, 1.25 * most);
    }
}
END_TEST

START_TEST(not_a_reading)
{
    static const double bad[] = {0, -1, NAN, INFINITY};
    struct flow_past past = {.age_days = 1};
    double p;

    for (size_t i = 0; i < 4; i++)
        ck_assert_int_eq(flow_judge(&rule, &past, bad[i], 0.1, &p), FLOW_SCRUB);
}
END_TEST

START_TEST(names)
{
    ck_assert_str_eq(flow_verdict_name(FLOW_FINE), "fine");
    ck_assert_str_eq(flow_verdict_name(FLOW_STOP), "stop");
    ck_assert_str_eq(flow_verdict_name((enum flow_verdict)99), "unknown");
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("flowrule");

    tcase_add_loop_test(tc, verdicts, 0, sizeof(table) / sizeof(table[0]));
    tcase_add_test(tc, never_fine_outside);
    tcase_add_test(tc, not_a_reading);
    tcase_add_test(tc, names);
    return close_run("flowrule", tc);
}
