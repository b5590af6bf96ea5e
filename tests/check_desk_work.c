/*
 * check_desk_work.c - those who work for the line, and what is due by the
 * clock: coordinators, field workers, the breakage scan, digest, reminders.
 */
#include "tests/desk_fixture.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/config.h"
#include "desk/digest.h"
#include "ledger/look.h"
#include "ledger/notebook.h"

/* A reading of Ana's pot, eight days after the last. */
static const char *flow(const char *measure)
{
    now_s += 8 * CLOCK_DAY_S;
    return text(ANA, "%s %s", serials[0], measure);
}

/* ---- coordinators ---- */

START_TEST(coordinator_asks)
{
    text(ANA, "ill blood");
    SAYS(text(CHIEF, "why 1"), "blood");
    SAYS(text(CHIEF, "why 0214"), "Batch 0214");
    SAYS(text(CHIEF, "why Lunde"), "3 pots in homes");
    SAYS(text(CHIEF, "why Garo"), "Nothing is known");
    SAYS(text(CHIEF, "why %s", serials[0]), "Lunde");
    SAYS(text(CHIEF, "digest"), "Open alerts 1");
}
END_TEST

START_TEST(recall_tells_every_home_after_yes)
{
    SAYS(text(CHIEF, "recall 0214"), "2 homes");
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 1"), 0);
    text(BINTA, "stop");
    SAYS(text(CHIEF, "yes"), "told 1 homes. 1 more");
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 1"), 1);
    text(CHIEF, "yes");
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 1"), 1);
    SAYS(text(CHIEF, "recall 9999"), "no batch");
}
END_TEST

START_TEST(field_worker_visits)
{
    SAYS(text(FIELD, "visit %s crack", serials[0]), "do NOT drink");
    ck_assert_int_eq(rows("reports"), 1);
    ck_assert_int_eq(fixture_number(lg, "SELECT home_id FROM reports"),
                     fixture_number(lg, "SELECT id FROM homes "
                                        "WHERE code = 'H1'"));
    SAYS(text(FIELD, "visit %s", serials[1]), "What is wrong with pot");
    ck_assert_int_eq(rows("reports"), 1);
    SAYS(text(FIELD, "moved %s Garo", serials[0]), "is not known");
    SAYS(text(FIELD, "moved %s Lunde", serials[0]), "now in Lunde");
    SAYS(text(FIELD, "list"), "1 to see");
}
END_TEST

START_TEST(field_worker_hands_over)
{
    SAYS(text(FIELD, "gave %s +99970077777 Lunde", serials[3]),
         "handed out in Lunde");
    ck_assert_int_eq(rows("homes"), 3);
    SAYS(text("+99970077777", "leak"), "do NOT drink");
    SAYS(text(FIELD, "list"), "1 to see");
    SAYS(text(FIELD, "swapped %s %s", serials[0], serials[3]), "give another");
    SAYS(text(FIELD, "gave %s +99970077778 Lunde", serials[3]), "give another");
    SAYS(text(FIELD, "swapped %s %s", serials[0], serials[1]), "stands where");
    SAYS(text(ANA, "%s good", serials[1]), "is well");
    SAYS(text(ANA, "%s good", serials[0]), "Not filed yet");
    SAYS(text(FIELD, "gave %s +99970077777 Garo", serials[0]), "is not known");
    SAYS(text(FIELD, "gave %s +99970077777 Lunde", serials[4]),
         "Not filed yet");
}
END_TEST

/* A slip in a command is told, each time, and what could be written. */
START_TEST(worker_is_not_left_without_a_word)
{
    SAYS(text(CHIEF, "seen"), "closed 3");
    SAYS(text(CHIEF, "seen the alert"), "closed 3");
    SAYS(text(FIELD, "gave"), "gave POT PHONE PLACE");
    SAYS(text(FIELD, "visit"), "gave POT PHONE PLACE");
    SAYS(text(FIELD, "help"), "gave POT PHONE PLACE");
    SAYS(text(FIELD, "moved %s nowhere", serials[0]), "nowhere is not known");
    SAYS(text(ANA, "help"), "crack leak");
    text(ANA, "crack");
    SAYS(text(CHIEF, "why %s", serials[0]), "failed 2026-");
}
END_TEST

START_TEST(danger_alert_names_all_signs)
{
    struct ledger_alert a;

    text(ANA, "ill blood");
    text(ANA, "ill dead");
    text(ANA, "child cannot drink");
    ck_assert_int_eq(ledger_alert_get(lg, 1, &a), 0);
    SAYS(a.words, "blood");
    SAYS(a.words, "very weak");
    SAYS(a.words, "dead");
    ck_assert_int_eq(rows("alerts"), 1);
}
END_TEST

/* ---- scan ---- */

static int scan(void)
{
    struct desk_findings *f;
    int raised;

    ck_assert_int_eq(desk_scan_look(conf, lg, now_s, &f), 0);
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_scan_act(desk, lg, now_s, f, &raised), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    desk_findings_free(f);
    return raised;
}

/* A second batch of 60 sound pots and 20 more of the first. */
static void many_pots(void)
{
    struct ledger_batch b = {.code = "0300", .peak_degc = NAN};
    struct ledger_batch a;
    enum ledger_change change;
    int64_t home;

    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_batch_put(lg, &b, &change), 0);
    ck_assert_int_eq(ledger_batch_find(lg, "0214", &a), 0);
    home = put_home("H9", NULL, 1);
    for (int i = 0; i < 60; i++)
        give(put_pot(-1, "0300", b.id, 100 + i), home,
             START - 300 * CLOCK_DAY_S);
    for (int i = 0; i < 20; i++)
        give(put_pot(-1, "0214", a.id, 100 + i), home,
             START - 200 * CLOCK_DAY_S);
    ck_assert_int_eq(ledger_commit(lg), 0);
}

START_TEST(breakage_of_a_batch_alerts_once)
{
    char serial[SERIAL_CAP], pot[8];

    many_pots();
    ck_assert_int_eq(scan(), 0);
    for (int i = 0; i < 8; i++) {
        snprintf(pot, sizeof(pot), "%d", 100 + i);
        serial_make(desk_layout(desk), "0214", pot, serial);
        text(FIELD, "%s crack", serial);
        ck_assert(got.scan);
    }
    ck_assert_int_eq(scan(), 1);
    ck_assert_int_eq(scan(), 0);
    ck_assert_int_eq(told("%batch 0214: 8 of 23 broke, expected%"), 1);
    serial_make(desk_layout(desk), "0214", "109", serial);
    text(FIELD, "%s crack", serial);
    ck_assert_int_eq(scan(), 0); /* one alert stands, its numbers follow */
    ck_assert_int_eq(
        fixture_number(lg, "SELECT observed FROM alerts WHERE kind = 2"), 9);
    /* and the reports of the failures stand behind it, each once */
    ck_assert_int_eq(
        fixture_number(lg, "SELECT reports FROM alerts WHERE kind = 2"), 9);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(DISTINCT g.report_id) FROM gathered g "
                           "JOIN pots p ON p.failed_report_id = g.report_id "
                           "WHERE g.n BETWEEN 1 AND 9"),
        9);
    ck_assert_int_eq(told("%batch%"), 1);
}
END_TEST

START_TEST(few_breakages_do_not_alert)
{
    many_pots();
    text(FIELD, "%s crack", serials[0]);
    text(FIELD, "%s crack", serials[1]);
    ck_assert_int_eq(scan(), 0);
}
END_TEST

/* ---- tick ---- */

static int64_t tick(int64_t at_s)
{
    int64_t next;

    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_tick(desk, lg, at_s, &next), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    ck_assert_int_gt(next, at_s);
    return next;
}

static int64_t digests(void)
{
    return fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 2");
}

START_TEST(digest_once_a_day)
{
    int64_t day = clock_midnight(START);

    conf->digest_minute = 420;
    ck_assert_int_le(tick(day + 6 * 3600), day + 7 * 3600);
    ck_assert_int_eq(digests(), 0);
    text(ANA, "ill 2 blood");
    tick(day + 7 * 3600);
    ck_assert_int_eq(digests(), 1);
    for (int h = 8; h < 31; h++)
        tick(day + h * 3600);
    ck_assert_int_eq(digests(), 1);
    tick(day + 31 * 3600);
    ck_assert_int_eq(digests(), 2);
    tick(day + 5 * CLOCK_DAY_S + 20 * 3600); /* after days of standing */
    tick(day + 5 * CLOCK_DAY_S + 21 * 3600);
    ck_assert_int_eq(digests(), 3);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 2 AND "
                           "body LIKE '%Open alerts 1%'"),
        3);
}
END_TEST

/* The zone's day and its summer time count, not UTC's. */
START_TEST(digest_keeps_the_local_hour)
{
    int64_t at = 0, last = 0, next;

    ck_assert_int_eq(clock_set_zone("Europe/Lisbon"), 0);
    conf->digest_minute = 420;
    ck_assert_int_eq(clock_parse("2026-03-27 00:00", 16, &at), 0);
    for (int i = 0; i < 400; i++) {
        int64_t before = digests();

        next = tick(at);
        if (digests() > before) {
            ck_assert_int_eq(clock_second_of_day(at), 7 * 3600);
            last++;
        }
        at = next;
        if (last == 4)
            break;
    }
    ck_assert_int_eq(last, 4); /* the clock went on on 29 March 2026 */
    clock_set_zone("UTC");
}
END_TEST

START_TEST(reminder_once_when_nothing_came)
{
    int64_t day;

    flow("slow 2f 10h");
    day = clock_midnight(now_s);
    tick(now_s);
    for (int h = 24; h < 14 * 24; h++)
        tick(day + h * 3600);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 3"), 1);
    ck_assert_int_ge(
        fixture_number(lg, "SELECT at_s FROM outbox WHERE kind = 3") - now_s,
        conf->remeasure_days * CLOCK_DAY_S);
}
END_TEST

START_TEST(no_reminder_when_it_was_measured)
{
    int64_t day;

    flow("slow 4cm 2h");
    tick(now_s);
    text(ANA, "%s slow 2.6cm 1h", serials[0]);
    day = clock_midnight(now_s);
    for (int h = 24; h < 14 * 24; h++)
        tick(day + h * 3600);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 3"), 0);
}
END_TEST

static int64_t reminders_in_two_weeks(void)
{
    int64_t day = clock_midnight(now_s);

    tick(now_s);
    for (int h = 24; h < 14 * 24; h++)
        tick(day + h * 3600);
    return fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 3");
}

START_TEST(no_reminder_of_a_pot_to_replace)
{
    flow("slow 4f 10h");
    flow("washed slow 2f 11h");
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM flows WHERE verdict = "
                           "'replace'"),
        1);
    if (_i == 1) /* seen, or closed before the new pot came: still not */
        text(CHIEF, "closed 1");
    ck_assert_int_eq(reminders_in_two_weeks(), 0);
}
END_TEST

START_TEST(no_reminder_of_a_pot_that_is_unsafe)
{
    flow("slow 2f 10h");
    text(_i == 0 ? ANA : FIELD, "%s %s", serials[0], _i == 0 ? "leak" : "fast");
    ck_assert_int_eq(reminders_in_two_weeks(), 0);
}
END_TEST

/* Once judged too fast, a pot is no good by a later word of its home. */
START_TEST(too_fast_stays_until_found_good)
{
    SAYS(flow("fast 5l 1h"), "runs too fast");
    SAYS(text(ANA, "%s good", serials[0]), "still do NOT");
    SAYS(text(ANA, "washed"), "still do NOT");
    SAYS(text(ANA, "slow 8f 8h"), "still do NOT");
    SAYS(text(ANA, "fast"), "runs too fast");
    SAYS(text(CHIEF, "seen 1"), "marked as seen");
    SAYS(text(ANA, "%s good", serials[0]), "still do NOT");
    text(FIELD, "%s good leak", serials[0]);
    text(FIELD, "%s washed", serials[0]);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM alerts WHERE state < 2"), 1);
    if (_i == 0)
        SAYS(text(FIELD, "%s good", serials[0]), "is well");
    else
        text(CHIEF, "closed 1");
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM alerts WHERE state < 2"), 0);
    SAYS(text(ANA, "%s good", serials[0]), "is well");
}
END_TEST

START_TEST(too_fast_goes_with_its_pot)
{
    text(ANA, "%s fast", serials[0]);
    SAYS(text(ANA, "%s good", serials[0]), "still do NOT");
    text(FIELD, "swapped %s %s", serials[0], serials[3]);
    SAYS(text(FIELD, "gave %s " NOBODY " Lunde", serials[0]), "Do not hand");
    SAYS(text(ANA, "%s good", serials[3]), "is well");
}
END_TEST

/* Danger first, then the newest: what is cut off is the least. */
START_TEST(digest_tells_the_worst_first)
{
    const char *said, *danger, *late;

    text(BINTA, "%s fast", serials[1]);
    now_s += CLOCK_DAY_S;
    text(ANA, "ill blood");
    now_s += CLOCK_DAY_S;
    text(BINTA, "%s fast", serials[2]);
    now_s += 2 * CLOCK_DAY_S;
    text(CHIEF, "why 0214");
    text(NOBODY, "hello there my friend");
    said = text(CHIEF, "digest");
    SAYS(said, "texts 2, reports 0");
    danger = strstr(said, "2 Lunde");
    late = strstr(said, "; 3 Lunde");
    ck_assert_ptr_nonnull(danger);
    ck_assert_ptr_nonnull(late);
    ck_assert(danger < late);
    ck_assert_ptr_null(strstr(said, "; 1 Lunde"));
}
END_TEST

START_TEST(commands_are_counted_as_such)
{
    struct digest_of of = {conf, desk_layout(desk), now_s, now_s + 7200, NULL};
    struct look_line line;
    struct kw_buf out;

    text(CHIEF, "why 0214");
    text(FIELD, "list");
    text(ANA, "help");
    text(ANA, "hello there my friend");
    text(ANA, "leak");
    kw_buf_init(&out, 1 << 16);
    ck_assert_int_eq(digest_page(&of, lg, &out), 0);
    SAYS(out.data, "filed 1, asked 0, commands 3, not a report 1");
    kw_buf_clear(&out);
    ck_assert_int_eq(digest_json(&of, lg, &out), 0);
    SAYS(out.data, "\"commands\":3,\"not_report\":1");
    kw_buf_release(&out);
    ck_assert_int_eq(look_line(lg, START, START, &line), 0);
    ck_assert_int_eq(line.in_week[2], 3);
    ck_assert_int_eq(line.in_week[3], 1);
    ck_assert_int_eq(line.in_week[4], 0);
}
END_TEST

/* Facts of a batch in the language of the one who asks. */
START_TEST(facts_are_put_into_the_language)
{
    static const char *const says[][2] = {{"en", "peak 1050 C, sawdust"},
                                          {"es", "pico 1050 C, serrin"},
                                          {"fr", "maximum 1050 C, sciure"},
                                          {"hindi", "\u0905\u0927\u093f\u0915"
                                                    "\u0924\u092e 1050 C"},
                                          {"pt", "pico 1050 C, serradura"},
                                          {"sw", "kilele 1050 C, vumbi mbao"}};

    struct ledger_batch batch;
    enum ledger_change change;

    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_batch_find(lg, "0214", &batch), 0);
    batch.peak_degc = 1050;
    batch.sawdust_pct = 20;
    ck_assert_int_eq(ledger_batch_put(lg, &batch, &change), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    text(CHIEF, "language %s", says[_i][0]);
    SAYS(text(CHIEF, "why 0214"), says[_i][1]);
}
END_TEST

static int add_home(const struct look_gathered *g, void *arg)
{
    int *n = arg;

    ck_assert_str_eq(g->home, "H1");
    ck_assert_str_eq(g->place, "Lunde");
    ++*n;
    return 0;
}

/* A danger sign in a text that is asked about has no report, and a home. */
START_TEST(gathered_texts_tell_their_home)
{
    int n = 0;

    text(ANA, "ill blood slow 4f");
    text(ANA, "ill 2 blood");
    ck_assert_int_eq(look_gathered(lg, 1, add_home, &n), 0);
    ck_assert_int_eq(n, 2);
}
END_TEST

START_TEST(words_are_dropped)
{
    text(ANA, "leak");
    tick(now_s + (int64_t)(conf->text_keep_days - 1) * CLOCK_DAY_S);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(body) FROM texts_in"), 1);
    tick(now_s + (int64_t)(conf->text_keep_days + 1) * CLOCK_DAY_S);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(body) FROM texts_in"), 0);
    ck_assert_int_eq(rows("reports"), 1);
}
END_TEST

START_TEST(long_digest_keeps_its_width)
{
    struct digest_of of = {conf, desk_layout(desk), now_s, now_s + 7200, NULL};
    struct kw_buf out;
    const char *at;

    text(ANA, "ill 3 blood crack");
    text(BINTA, "%s fast", serials[1]);
    kw_buf_init(&out, 1 << 16);
    ck_assert_int_eq(digest_page(&of, lg, &out), 0);
    SAYS(out.data, "texts 2: filed 2");
    SAYS(out.data, "Alerts that stand: 2");
    SAYS(out.data, "Pots to replace: 2");
    ck_assert_ptr_null(strstr(out.data, "+999"));
    for (at = out.data; *at != '\0'; at += strcspn(at, "\n") + 1)
        ck_assert_uint_le(strcspn(at, "\n"), 80);
    kw_buf_clear(&out);
    ck_assert_int_eq(digest_json(&of, lg, &out), 0);
    SAYS(out.data, "\"filed\":2");
    kw_buf_release(&out);
}
END_TEST

static void add_tests(TCase *t)
{
    const TTest *const tests[] = {coordinator_asks,
                                  recall_tells_every_home_after_yes,
                                  field_worker_hands_over,
                                  field_worker_visits,
                                  worker_is_not_left_without_a_word,
                                  danger_alert_names_all_signs,
                                  breakage_of_a_batch_alerts_once,
                                  few_breakages_do_not_alert,
                                  digest_once_a_day,
                                  digest_keeps_the_local_hour,
                                  reminder_once_when_nothing_came,
                                  no_reminder_when_it_was_measured,
                                  too_fast_goes_with_its_pot,
                                  digest_tells_the_worst_first,
                                  commands_are_counted_as_such,
                                  gathered_texts_tell_their_home,
                                  words_are_dropped,
                                  long_digest_keeps_its_width};

    for (size_t i = 0; i < KW_COUNT(tests); i++)
        tcase_add_test(t, tests[i]);
    tcase_add_loop_test(t, no_reminder_of_a_pot_to_replace, 0, 2);
    tcase_add_loop_test(t, no_reminder_of_a_pot_that_is_unsafe, 0, 2);
    tcase_add_loop_test(t, facts_are_put_into_the_language, 0, 6);
    tcase_add_loop_test(t, too_fast_stays_until_found_good, 0, 2);
}

int main(void)
{
    return fixture_texts("desk work", add_tests);
}
