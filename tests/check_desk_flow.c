/*
 * check_desk_flow.c - texts about flow to a desk: what the ledger keeps of
 * the pot's state and of each decision, where the prior comes from, what a
 * batch teaches, and the picture of it.
 */
#include "tests/desk_fixture.h"

#include "base/clock.h"
#include "desk/flow.h"
#include "ledger/drift.h"
#include "ledger/notebook.h"
#include "page/pot.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define DAY_S ((double)CLOCK_DAY_S)

static int64_t key_of(int i)
{
    int64_t key;

    ck_assert_int_eq(serial_key(serials[i], &key), 0);
    return key;
}

static double number(const char *sql)
{
    return (double)fixture_number(lg, sql) / 1e9;
}

/* An INSERT or UPDATE that returns one number. Past the ledger, so that it has
 * to forget what it keeps in memory: a rollback does. */
static void change(const char *sql)
{
    ck_assert_int_eq(ledger_begin(lg), 0);
    fixture_number(lg, sql);
    ck_assert_int_eq(ledger_commit(lg), 0);
    ledger_rollback(lg);
}

static struct ledger_decision last_decision(void)
{
    struct ledger_decision d;
    int64_t id = fixture_number(
        lg, "SELECT max(report_id) FROM flows WHERE rule_id IS NOT NULL");

    ck_assert_int_eq(ledger_decision_get(lg, id, &d), 0);
    return d;
}

static const char *measure(const char *what)
{
    return text(ANA, "%s %s", serials[0], what);
}

static void later(int days)
{
    now_s += days * (int64_t)CLOCK_DAY_S;
}

/* A year of readings and scrubs, against the filter run through at once. */
START_TEST(state_is_that_of_the_filter)
{
    static const struct {
        int days;
        const char *text;
        bool scrub, reading;
    } year[] = {
        {0, "slow 9f 7h", false, true},       {40, "slow 8f 8h", false, true},
        {35, "slow 6f 8h", false, true},      {30, "slow 4f 8h", false, true},
        {3, "washed", true, false},           {2, "slow 8f 8h", false, true},
        {40, "washed slow 7f 8h", true, true}};
    struct potflow_rule rule;
    struct drift_prior prior = {log(conf->first_l), conf->first_sd,
                                conf->slope_day, conf->slope_sd};
    struct drift_state s;
    struct ledger_drift d;
    int reports = 0;

    potflow_rule_of(conf, &rule);
    drift_start(&s, &prior, (double)(START - 200 * CLOCK_DAY_S) / DAY_S);
    for (size_t i = 0; i < KW_COUNT(year); i++) {
        struct potflow_seen seen = {.age_days = 300};
        struct potflow_decision out;

        later(year[i].days);
        measure(year[i].text);
        reports++;
        seen.reading.at_days = (double)now_s / DAY_S;
        if (year[i].scrub)
            potflow_scrub(&s, &rule, seen.reading.at_days);
        if (!year[i].reading)
            continue;
        seen.reading.log_flow =
            log(number("SELECT CAST(round(1e9 * first_hour_l) AS INTEGER) "
                       "FROM flows ORDER BY report_id DESC LIMIT 1"));
        seen.reading.log_se =
            number("SELECT CAST(round(1e9 * log_se) AS INTEGER) FROM flows "
                   "ORDER BY report_id DESC LIMIT 1");
        potflow_read(&s, &rule, &seen, &out);
        ck_assert_int_eq(
            fixture_number(lg, "SELECT CASE verdict WHEN 'fine' THEN 0 WHEN "
                               "'scrub' THEN 1 WHEN 'replace' THEN 2 ELSE 3 "
                               "END FROM flows ORDER BY report_id DESC LIMIT "
                               "1"),
            out.verdict);
    }
    ck_assert_int_eq(ledger_drift_get(lg, key_of(0), &d), 0);
    ck_assert_double_eq_tol(d.level, s.level, 1e-7);
    ck_assert_double_eq_tol(d.slope, s.slope, 1e-9);
    ck_assert_double_eq_tol(d.p11, s.p11, 1e-7);
    ck_assert_double_eq_tol(d.p12, s.p12, 1e-9);
    ck_assert_double_eq_tol(d.p22, s.p22, 1e-12);
    ck_assert_int_eq(d.readings, 6);
    ck_assert_int_eq(d.scrubs_seen, 2);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(rule_id) FROM flows"), 6);
    ck_assert_int_eq(rows("flow_rules"), 1);
    ck_assert_int_eq(rows("reports"), reports);
}
END_TEST

/* P(below) of a decision follows from the numbers kept with it. */
START_TEST(decision_keeps_its_numbers)
{
    struct ledger_decision d;

    measure("slow 5f 7h");
    d = last_decision();
    ck_assert_double_eq_tol(
        d.p_below, 0.5 * erfc(-(log(d.limit_l) - d.level) / sqrt(2 * d.p11)),
        1e-12);
    ck_assert_double_eq(d.limit_l, 1);
    ck_assert_double_eq(d.too_fast_l, 3.75);
    ck_assert_double_eq(d.ask_scrub, 0.5);
    ck_assert_double_eq(d.sure, 0.75);
    ck_assert_double_eq_tol(d.rise_log, log(1.5), 1e-12);
    ck_assert_int_eq(d.prior, FLOW_PRIOR_DEFAULT);
}
END_TEST

/* The pot's own test, else its batch's, else the default. */
START_TEST(prior_of_the_nearest_test)
{
    struct drift_prior prior;
    struct ledger_pot pot;

    change("UPDATE batches SET test_mean_l = 1.5, test_max_l = 2.0 "
           "RETURNING id");
    measure("slow 6f 8h");
    ck_assert_int_eq(last_decision().prior, FLOW_PRIOR_BATCH);
    ck_assert_double_eq_tol(last_decision().too_fast_l, 2.5, 1e-12);
    change("UPDATE pots SET test_l = 2.4 RETURNING key");
    text(BINTA, "%s slow 6f 8h", serials[1]);
    ck_assert_int_eq(last_decision().prior, FLOW_PRIOR_POT);
    ck_assert_int_eq(ledger_pot_get(lg, key_of(1), &pot), 0);
    ck_assert_int_eq(flow_prior_of(conf, &pot, &prior), FLOW_PRIOR_POT);
    ck_assert_double_eq_tol(prior.level, log(2.4), 1e-12);
    pot.test_l = NAN;
    flow_prior_of(conf, &pot, &prior);
    ck_assert_double_eq_tol(prior.level, log(1.5), 1e-12);
    pot.batch_mean_l = NAN;
    flow_prior_of(conf, &pot, &prior);
    ck_assert_double_eq_tol(prior.level, log(2.2), 1e-12);
}
END_TEST

/* A batch that is fast by its tests is not too fast at that speed. */
START_TEST(too_fast_is_of_the_batch)
{
    change("UPDATE batches SET test_mean_l = 4, test_max_l = 5 RETURNING id");
    ck_assert_ptr_nonnull(strstr(measure("fast 4l 1h"), "as it should"));
    change("UPDATE batches SET test_mean_l = 2, test_max_l = 2.5 RETURNING id");
    ck_assert_ptr_nonnull(strstr(measure("fast 4l 1h"), "too fast"));
}
END_TEST

/* Water of 10 degC passes 0.68333 as fast (IAPWS SR6-08(2011)); so the same
 * fall is of a pot 1/0.68333 as permeable. */
START_TEST(cold_water_is_reckoned_with)
{
    char sql[200];

    snprintf(sql, sizeof(sql),
             "UPDATE place_water SET degc = 10 WHERE month = %d "
             "RETURNING place_id",
             clock_month(now_s));
    measure("slow 6f 8h");
    change(sql);
    text(BINTA, "%s slow 6f 8h", serials[1]);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT round(water_degc) FROM flows ORDER BY "
                           "report_id DESC LIMIT 1"),
        10);
    ck_assert_int_gt(
        fixture_number(lg, "SELECT CAST(round(1e6 * max(first_hour_l) / "
                           "min(first_hour_l)) AS INTEGER) FROM flows"),
        1300000);
    ck_assert_int_lt(
        fixture_number(lg, "SELECT CAST(round(1e6 * max(first_hour_l) / "
                           "min(first_hour_l)) AS INTEGER) FROM flows"),
        1463422);
}
END_TEST

START_TEST(threshold_is_a_setting)
{
    conf->replace_below_l = 1.6;
    ck_assert_ptr_nonnull(strstr(measure("slow 8f 8h"), "slow"));
    ck_assert_double_eq(last_decision().limit_l, 1.6);
}
END_TEST

/* Low, scrubbed, low again: replace; the alert carries P. */
START_TEST(replace_tells_how_sure)
{
    measure("slow 4f 8h");
    later(2);
    measure("washed");
    later(1);
    ck_assert_ptr_nonnull(strstr(measure("slow 3f 8h"), "replace"));
    ck_assert_int_eq(told("%slow after washing%"), 1);
    ck_assert_int_eq(fixture_number(lg, "SELECT p >= 0.75 AND p <= 1 FROM "
                                        "alerts"),
                     1);
}
END_TEST

/* ---- what a batch teaches ---- */

static void tick(void)
{
    int64_t next_s = now_s + CLOCK_DAY_S;

    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(flow_learn(conf, lg, now_s, &next_s), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    ck_assert_int_gt(next_s, now_s);
}

static void put_drift(int i, double slope, int readings, double gain)
{
    struct ledger_drift d = {.pot_key = key_of(i),
                             .slope = slope,
                             .p11 = 0.02,
                             .p22 = 1e-6,
                             .at_days = 20000,
                             .scrubbed_days = NAN,
                             .readings = readings,
                             .scrubs_seen = isnan(gain) ? 0 : 2,
                             .gain_sum = isnan(gain) ? 0 : 2 * gain};

    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_drift_put(lg, &d), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
}

/* By hand: (10 * programme + sum) / (10 + pots); three readings teach none. */
START_TEST(batch_teaches_once_a_week)
{
    struct ledger_batch_drift b;
    int64_t batch = fixture_number(lg, "SELECT id FROM batches");
    double slope, gain;

    put_drift(0, -0.005, 4, 0.4);
    put_drift(1, -0.006, 9, NAN);
    put_drift(2, -0.5, 3, 3);
    tick();
    ck_assert_int_eq(ledger_batch_drift_get(lg, batch, &b), 0);
    ck_assert_double_eq_tol(b.slope, (10 * -0.0022 - 0.011) / 12, 1e-15);
    ck_assert_double_eq_tol(b.gain, (10 * 0.25 + 0.4) / 11, 1e-15);
    ck_assert_int_eq(b.slope_pots, 2);
    ck_assert_int_eq(b.gain_pots, 1);
    slope = b.slope;
    gain = b.gain;
    put_drift(2, -0.007, 4, 0.1);
    later(6);
    tick();
    ck_assert_int_eq(ledger_batch_drift_get(lg, batch, &b), 0);
    ck_assert_double_eq(b.slope, slope);
    ck_assert_double_eq(b.gain, gain);
    later(1);
    tick();
    ck_assert_int_eq(ledger_batch_drift_get(lg, batch, &b), 0);
    ck_assert_double_eq_tol(b.slope, (10 * -0.0022 - 0.018) / 13, 1e-15);
    ck_assert_double_eq_tol(b.gain, (10 * 0.25 + 0.5) / 12, 1e-15);
}
END_TEST

/* A few batches a tick, all in the end. */
START_TEST(learning_goes_on_where_it_stopped)
{
    enum { BATCHES = 120 };
    struct ledger_drift d = {.slope = -0.004,
                             .p11 = 0.02,
                             .p22 = 1e-6,
                             .scrubbed_days = NAN,
                             .readings = 5};
    int ticks = 0;

    ck_assert_int_eq(ledger_begin(lg), 0);
    for (int i = 0; i < BATCHES; i++) {
        struct ledger_batch b = {.sawdust_pct = NAN};
        enum ledger_change c;

        snprintf(b.code, sizeof(b.code), "%04d", 3000 + i);
        ck_assert_int_eq(ledger_batch_put(lg, &b, &c), 0);
        d.pot_key = put_pot(-1, b.code, b.id, 1);
        ck_assert_int_eq(ledger_drift_put(lg, &d), 0);
    }
    ck_assert_int_eq(ledger_commit(lg), 0);
    for (; rows("batch_drifts") < BATCHES && ticks < 20; ticks++) {
        tick();
        now_s++;
    }
    ck_assert_int_eq(rows("batch_drifts"), BATCHES);
    ck_assert_int_gt(ticks, 1);
}
END_TEST

/* What was learnt begins the next pot of the batch. */
START_TEST(learnt_rates_are_used)
{
    struct ledger_batch_drift b = {
        .batch_id = fixture_number(lg, "SELECT id FROM batches"),
        .slope = -0.004,
        .gain = 0.6};
    struct ledger_drift before, after;

    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_batch_drift_put(lg, &b), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    measure("slow 4f 8h");
    ck_assert_int_eq(ledger_drift_get(lg, key_of(0), &before), 0);
    ck_assert_double_lt(before.slope, -0.0035);
    measure("washed");
    ck_assert_int_eq(ledger_drift_get(lg, key_of(0), &after), 0);
    ck_assert_double_eq_tol(after.level - before.level, 0.6, 1e-4);
}
END_TEST

/* ---- the picture ---- */

static int count_of(const char *in, const char *what)
{
    int n = 0;

    for (; (in = strstr(in, what)) != NULL; in += strlen(what))
        n++;
    return n;
}

START_TEST(picture_shows_each_reading)
{
    static const char *const says[] = {"slow 8f 8h", "slow 4f 8h", "washed",
                                       "slow 3f 8h"};
    struct kw_buf svg, words;
    struct page page = {.conf = conf, .layout = desk_layout(desk)};
    struct pot_page t;

    for (size_t i = 0; i < KW_COUNT(says); i++) {
        measure(says[i]);
        later(3);
    }
    kw_buf_init(&svg, 1 << 20);
    kw_buf_init(&words, 1 << 20);
    page.now_s = now_s;
    page.screen = (struct screen){.out = &words, .width = 80};
    ck_assert_int_eq(pot_page_gather(&page, lg, key_of(0), &t), 0);
    ck_assert_uint_eq(t.track.n_reads, 3);
    ck_assert_uint_eq(t.track.n_scrubs, 1);
    pot_page_svg(&page, &t, &svg);
    pot_page_text(&page, &t);
    ck_assert_uint_lt(svg.len, 14 * 1024);
    ck_assert_int_eq(count_of(kw_buf_text(&svg), "stroke=\"#555\""), 3);
    ck_assert_int_eq(count_of(kw_buf_text(&svg), "<script"), 0);
    ck_assert_int_eq(count_of(kw_buf_text(&svg), "nan"), 0);
    ck_assert_ptr_nonnull(strstr(kw_buf_text(&words), "replace (like the one"));
    pot_page_release(&t);
    kw_buf_release(&svg);
    kw_buf_release(&words);
}
END_TEST

/* Four years of weekly readings and scrubs still make a small picture. */
START_TEST(picture_stays_small)
{
    struct kw_buf svg;
    struct page page = {.conf = conf, .layout = desk_layout(desk)};
    struct pot_page t;

    for (int i = 0; i < 200; i++) {
        measure(i % 3 == 0 ? "washed slow 7f 8h" : "slow 8f 8h");
        later(7);
    }
    kw_buf_init(&svg, 1 << 20);
    page.now_s = now_s;
    ck_assert_int_eq(pot_page_gather(&page, lg, key_of(0), &t), 0);
    ck_assert_uint_eq(t.track.n_reads, 200);
    pot_page_svg(&page, &t, &svg);
    ck_assert_uint_gt(svg.len, 1000);
    ck_assert_uint_lt(svg.len, 14 * 1024);
    pot_page_release(&t);
    kw_buf_release(&svg);
}
END_TEST

/* Texts in the order of their days and in another one: the same state. */
START_TEST(late_texts_find_their_place)
{
    static const struct {
        int day;
        const char *said;
    } life[] = {{0, "slow 9f 7h"},   {40, "slow 8f 8h"}, {75, "slow 6f 8h"},
                {105, "slow 4f 8h"}, {108, "washed"},    {110, "slow 8f 8h"},
                {150, "fast 6l 1h"}, {190, "slow 7f 8h"}};
    static const size_t order[] = {0, 1, 3, 5, 7, 2, 6, 4};
    int64_t from_s = now_s;
    struct ledger_drift a, b;

    for (size_t i = 0; i < KW_COUNT(life); i++) {
        now_s = from_s + life[i].day * (int64_t)CLOCK_DAY_S;
        text(ANA, "%s %s", serials[0], life[i].said);
    }
    for (size_t i = 0; i < KW_COUNT(order); i++) {
        now_s = from_s + life[order[i]].day * (int64_t)CLOCK_DAY_S;
        text(BINTA, "%s %s", serials[1], life[order[i]].said);
    }
    ck_assert_int_eq(ledger_drift_get(lg, key_of(0), &a), 0);
    ck_assert_int_eq(ledger_drift_get(lg, key_of(1), &b), 0);
    ck_assert_double_eq_tol(a.at_days, b.at_days, 1e-2);
    ck_assert_double_eq_tol(a.level, b.level, 1e-4);
    ck_assert_double_eq_tol(a.slope, b.slope, 1e-6);
    ck_assert_double_eq_tol(a.p11, b.p11, 1e-4);
    ck_assert_int_eq(a.readings, b.readings);
    ck_assert_int_eq(a.readings, 6);
    ck_assert_int_eq(a.scrubs_seen, b.scrubs_seen);
    ck_assert_int_eq(a.scrubs_seen, 1);
    ck_assert_double_eq_tol(a.gain_sum, b.gain_sum, 1e-4);
    /* The late reading is judged by what was known of the pot on its day. */
    ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM flows WHERE "
                                        "why & 64 <> 0"),
                     2);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(DISTINCT f.verdict) FROM flows f "
                           "JOIN reports r ON r.id = f.report_id "
                           "WHERE f.first_hour_l > 5"),
        1);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("desk_flow");
    TCase *t = tcase_create("flow");
    SRunner *r;
    int failed;

    tcase_add_checked_fixture(t, open_all, close_all);
    tcase_set_timeout(t, 60);
    tcase_add_test(t, state_is_that_of_the_filter);
    tcase_add_test(t, late_texts_find_their_place);
    tcase_add_test(t, decision_keeps_its_numbers);
    tcase_add_test(t, prior_of_the_nearest_test);
    tcase_add_test(t, too_fast_is_of_the_batch);
    tcase_add_test(t, cold_water_is_reckoned_with);
    tcase_add_test(t, threshold_is_a_setting);
    tcase_add_test(t, replace_tells_how_sure);
    tcase_add_test(t, batch_teaches_once_a_week);
    tcase_add_test(t, learning_goes_on_where_it_stopped);
    tcase_add_test(t, learnt_rates_are_used);
    tcase_add_test(t, picture_shows_each_reading);
    tcase_add_test(t, picture_stays_small);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed ? 1 : 0;
}
