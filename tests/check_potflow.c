/*
 * check_potflow.c - the rules of service around drift's filter: what each
 * reading leads to, and that "too fast" is never entered.
 */
#include "watch/potflow.h"

#include "close.h"

#include <math.h>

static const struct potflow_rule *const rule = &potflow_defaults;

/* A pot of two litres, read monthly without noise and slope. */
static struct drift_state settled(double litres)
{
    struct drift_prior prior = {.level = log(litres), .level_sd = 0.25};
    struct drift_state s;

    drift_start(&s, &prior, 0);
    for (int i = 1; i <= 5; i++) {
        struct drift_event e = {.at_days = 30 * i, .log_flow = log(litres)};
        struct potflow_decision d;

        potflow_read(&s, rule, &(struct potflow_seen){e, 400, false}, &d);
    }
    return s;
}

static struct potflow_decision read_at(struct drift_state *s, double day,
                                       double litres)
{
    struct potflow_seen seen = {
        .reading = {.at_days = day, .log_flow = log(litres)}, .age_days = 400};
    struct potflow_decision d;

    potflow_read(s, rule, &seen, &d);
    return d;
}

START_TEST(defaults_are_those_of_drift)
{
    const struct drift_setting *a = &rule->drift, *b = &drift_defaults;

    ck_assert_double_eq(a->reading_var, b->reading_var);
    ck_assert_double_eq(a->level_var_day, b->level_var_day);
    ck_assert_double_eq(a->slope_var_day, b->slope_var_day);
    ck_assert_double_eq(a->scrub_gain, b->scrub_gain);
    ck_assert_double_eq(a->scrub_var, b->scrub_var);
    ck_assert_double_eq(a->cap, b->cap);
    ck_assert_double_eq(a->limit_l, b->limit_l);
    ck_assert_double_eq(a->ask_scrub, b->ask_scrub);
    ck_assert_double_eq(a->sure, b->sure);
    ck_assert_double_eq(a->scrub_days, b->scrub_days);
    ck_assert_double_eq(a->crack_rise, b->crack_rise);
    ck_assert_double_eq(a->too_fast_l, b->too_fast_l);
    ck_assert(a->service);
    ck_assert_double_eq_tol(rule->rise, log(1.5), 1e-15);
    ck_assert_double_eq_tol(rule->rise_early, log(1.8), 1e-15);
}
END_TEST

START_TEST(one_gross_error_replaces_nothing)
{
    struct drift_state s = settled(2);
    struct potflow_decision d = read_at(&s, 180, 0.4);

    ck_assert_int_eq(d.verdict, FLOW_SCRUB);
    ck_assert_uint_eq(d.why, POTFLOW_OUTLIER | POTFLOW_LOW);
    potflow_scrub(&s, rule, 183);
    d = read_at(&s, 183, 2.3);
    ck_assert_int_eq(d.verdict, FLOW_FINE);
    ck_assert_double_gt(exp(s.level), 1.7);
}
END_TEST

START_TEST(low_before_and_after_a_scrub_is_believed)
{
    struct drift_state s = settled(2);
    struct potflow_decision d = read_at(&s, 180, 0.4);

    ck_assert_int_eq(d.verdict, FLOW_SCRUB);
    potflow_scrub(&s, rule, 183);
    d = read_at(&s, 183, 0.42);
    ck_assert_int_eq(d.verdict, FLOW_REPLACE);
    ck_assert(d.why & POTFLOW_JUMP);
    ck_assert_double_gt(d.step.p_below, 0.95);
}
END_TEST

/* Half the limit after a scrub, of a pot held low before: replace. */
START_TEST(lower_than_low_is_believed)
{
    struct drift_state s = settled(0.75);

    potflow_scrub(&s, rule, 160);
    ck_assert_double_gt(drift_p_below(&s, &rule->drift), 0.5);
    ck_assert_int_eq(read_at(&s, 161, 0.3).verdict, FLOW_REPLACE);
}
END_TEST

START_TEST(never_replaced_unscrubbed)
{
    struct drift_state s = settled(1.1);

    for (int i = 0; i < 12; i++)
        ck_assert_int_eq(read_at(&s, 180 + 30 * i, 0.6).verdict, FLOW_SCRUB);
    potflow_scrub(&s, rule, 600);
    ck_assert_int_eq(read_at(&s, 600, 0.62).verdict, FLOW_REPLACE);
}
END_TEST

/* Each factor over what the pot is expected to give, and what is said. */
static const struct {
    double factor, age_days;
    enum flow_verdict want;
} rises[] = {{1.3, 400, FLOW_FINE}, {1.8, 400, FLOW_STOP},
             {1.9, 400, FLOW_STOP}, {1.7, 10, FLOW_FINE},
             {2.0, 10, FLOW_STOP},  {3.0, 10, FLOW_STOP}};

START_TEST(rise)
{
    struct drift_state s = settled(1.2), before = s;
    struct potflow_seen seen = {
        .reading = {.at_days = 151, .log_flow = log(1.2 * rises[_i].factor)},
        .age_days = rises[_i].age_days};
    struct potflow_decision d;

    potflow_read(&s, rule, &seen, &d);
    ck_assert_int_eq(d.verdict, rises[_i].want);
    if (d.verdict != FLOW_STOP)
        return;
    drift_propagate(&before, &rule->drift, 151);
    ck_assert_double_eq(s.level, before.level); /* not entered */
    ck_assert_double_eq(s.p11, before.p11);
}
END_TEST

START_TEST(a_rise_again_is_no_better_news)
{
    struct drift_state s = settled(0.8);

    for (int i = 0; i < 6; i++)
        ck_assert_int_eq(read_at(&s, 151 + i, 1.9).verdict, FLOW_STOP);
    ck_assert_double_lt(exp(s.level), 0.85);
}
END_TEST

/* Looked at and found sound, the pot goes on from where it is. */
START_TEST(sound_after_a_look)
{
    struct drift_state s = settled(0.8);
    struct potflow_seen seen = {
        .reading = {.at_days = 160, .log_flow = log(2.6)},
        .age_days = 400,
        .sound = true};
    struct potflow_decision d;

    ck_assert_int_eq(read_at(&s, 155, 2.6).verdict, FLOW_STOP);
    potflow_read(&s, rule, &seen, &d);
    ck_assert_int_eq(d.verdict, FLOW_FINE);
    ck_assert_double_gt(exp(s.level), 2.0);
    seen.reading.log_flow = log(3.8); /* over the band it is never sound */
    potflow_read(&s, rule, &seen, &d);
    ck_assert_int_eq(d.verdict, FLOW_STOP);
}
END_TEST

/* Nobody read it for three years: the guess is wide, and says so. */
START_TEST(first_reading_after_years)
{
    struct drift_state s;

    drift_start(&s, &drift_prior_default, 0);
    ck_assert_int_eq(read_at(&s, 1100, 1.4).verdict, FLOW_FINE);
}
END_TEST

START_TEST(older_than_known_changes_nothing)
{
    struct drift_state s = settled(2), before = s;
    struct potflow_decision d = read_at(&s, 100, 0.5);

    ck_assert(d.why & POTFLOW_OLD);
    ck_assert_double_eq(s.level, before.level);
    ck_assert_double_eq(s.p11, before.p11);
    ck_assert_double_eq(s.at_days, before.at_days);
}
END_TEST

int main(void)
{
    TCase *t = tcase_create("potflow");

    tcase_add_test(t, defaults_are_those_of_drift);
    tcase_add_test(t, one_gross_error_replaces_nothing);
    tcase_add_test(t, low_before_and_after_a_scrub_is_believed);
    tcase_add_test(t, lower_than_low_is_believed);
    tcase_add_test(t, never_replaced_unscrubbed);
    tcase_add_loop_test(t, rise, 0, (int)KW_COUNT(rises));
    tcase_add_test(t, a_rise_again_is_no_better_news);
    tcase_add_test(t, sound_after_a_look);
    tcase_add_test(t, first_reading_after_years);
    tcase_add_test(t, older_than_known_changes_nothing);
    return close_run("potflow", t);
}
