/*
 * check_desk.c - texts into a real ledger: what is filed, asked, answered,
 * alerted, and what never is.
 */
#include "tests/desk_fixture.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/config.h"
#include "base/file.h"
#include "ledger/notebook.h"

/* ---- filed ---- */

START_TEST(crack_is_filed)
{
    SAYS(text(ANA, "%s crack", serials[0]), "do NOT drink from it");
    ck_assert_int_eq(got.outcome, READER_FILED);
    ck_assert(got.scan);
    ck_assert_int_ne(got.outbox_id, 0);
    ck_assert_int_eq(rows("reports"), 1);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM pots WHERE failed_s > 0"), 1);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM texts_in t JOIN outbox o ON "
                           "o.id = t.answer_id WHERE t.outcome = 'filed'"),
        1);
}
END_TEST

/* Whatever comes after, nobody is told to go on drinking from a cracked pot. */
START_TEST(cracked_pot_stays_unsafe)
{
    static const char *const later[] = {"slow 4f 10h", "good", "washed good",
                                        "slow 1f 10h", "washed"};

    SAYS(text(ANA, "%s crack", serials[0]), "do NOT drink from it");
    for (size_t i = 0; i < KW_COUNT(later); i++) {
        SAYS(text(ANA, "%s %s", serials[0], later[i]),
             "still do NOT drink from it");
        ck_assert_int_eq(got.outcome, READER_FILED);
    }
}
END_TEST

START_TEST(own_pot_is_meant)
{
    SAYS(text(ANA, "leak"), "Pot ");
    ck_assert_int_eq(got.outcome, READER_FILED);
    ck_assert_int_eq(rows("reports"), 1);
    SAYS(text(BINTA, "leak"), "which of your pots");
    ck_assert_int_eq(rows("reports"), 1);
    SAYS(text(NOBODY, "leak"), "which pot?");
    ck_assert_int_eq(rows("reports"), 1);
}
END_TEST

START_TEST(repeat_changes_nothing)
{
    static const char *const tables[] = {
        "phones", "texts_in", "arrivals", "reports", "observations", "flows",
        "alerts", "gathered", "outbox",   "marks",   "asking"};
    int64_t before[KW_COUNT(tables)];
    struct desk_text in = {.carrier = "test",
                           .ref = "id-1",
                           .from = ANA,
                           .text = "ill 2 blood slow 4f 10h crack",
                           .len = 29,
                           .at_s = START + 5};
    char first[LEDGER_BODY_CAP];
    int64_t id, out;

    send_text(&in);
    ck_assert(!got.repeat);
    SET(first, got.body);
    id = got.text_id, out = got.outbox_id;
    for (size_t i = 0; i < KW_COUNT(tables); i++)
        before[i] = rows(tables[i]);
    in.at_s += 3600;
    send_text(&in);
    ck_assert(got.repeat);
    ck_assert_str_eq(got.body, first);
    ck_assert_int_eq(got.text_id, id);
    ck_assert_int_eq(got.outbox_id, out);
    for (size_t i = 0; i < KW_COUNT(tables); i++)
        ck_assert_msg(rows(tables[i]) == before[i], "%s", tables[i]);
}
END_TEST

/* ---- never filed ---- */

static uint64_t seed = 88172645463325252u;

static uint64_t next_random(void)
{
    seed ^= seed << 13;
    seed ^= seed >> 7;
    seed ^= seed << 17;
    return seed;
}

START_TEST(wrong_serial_is_never_filed)
{
    ck_assert_int_eq(ledger_begin(lg), 0);
    for (int i = 0; i < 1000; i++) {
        const char *right = serials[next_random() % 6];
        char body[64], from[LEDGER_PHONE_CAP];
        size_t at = next_random() % 9;
        struct desk_text in = {.carrier = "test",
                               .from = from,
                               .text = body,
                               .at_s = START + 60 * i};

        snprintf(from, sizeof(from), "%s", next_random() % 2 ? ANA : NOBODY);
        snprintf(body, sizeof(body), "%s leak", right);
        body[at] =
            (char)('0' + (body[at] - '0' + 1 + (int)(next_random() % 9)) % 10);
        in.len = strlen(body);
        ck_assert_int_eq(desk_take(desk, lg, &in, &got), 0);
        ck_assert_int_eq(got.outcome, READER_ASKED);
        ck_assert_msg(strstr(got.body, "Not filed yet") != NULL, "%s",
                      got.body);
    }
    ck_assert_int_eq(ledger_commit(lg), 0);
    ck_assert_int_eq(rows("reports"), 0);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM pots WHERE failed_s > 0"), 0);
}
END_TEST

START_TEST(pots_that_are_not_the_senders)
{
    SAYS(text(ANA, "%s crack", serials[5]), "we do not know pot");
    SAYS(text(ANA, "%s crack", serials[4]), "Until then do not drink");
    SAYS(text(ANA, "%s crack", serials[3]), "Not filed yet");
    SAYS(text(ANA, "%s crack", serials[1]), "noted for another home");
    SAYS(text(NOBODY, "%s crack", serials[1]), "noted for another home");
    ck_assert_int_eq(got.outcome, READER_ASKED);
    ck_assert_int_eq(rows("reports"), 0);
    SAYS(text(FIELD, "%s crack", serials[1]), "do NOT drink");
    ck_assert_int_eq(rows("reports"), 1);
}
END_TEST

START_TEST(impossible_measure_is_asked)
{
    SAYS(text(ANA, "%s slow 60f 10h", serials[0]), "cannot be");
    ck_assert_int_eq(got.outcome, READER_ASKED);
    ck_assert_int_eq(rows("reports"), 0);
    ck_assert_int_eq(rows("flows"), 0);
}
END_TEST

/* What is filed afterwards belongs to the home and pot of that day. */
START_TEST(texts_of_the_past)
{
    struct desk_text in = {.carrier = "test",
                           .from = ANA,
                           .text = "leak",
                           .len = 4,
                           .at_s = START - 30 * CLOCK_DAY_S,
                           .quiet = true};
    int64_t old, fresh, home, id;

    ck_assert_int_eq(serial_key(serials[0], &old), 0);
    ck_assert_int_eq(serial_key(serials[3], &fresh), 0);
    ck_assert_int_eq(ledger_begin(lg), 0);
    home = fixture_number(lg, "SELECT id FROM homes WHERE code = 'H1'");
    ck_assert_int_eq(
        ledger_handover_end(lg, old, START - 10 * CLOCK_DAY_S, "swapped"), 0);
    ck_assert_int_eq(
        ledger_handover_put(lg, fresh, home, START - 10 * CLOCK_DAY_S, &id), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    send_text(&in);
    ck_assert_int_eq(got.outcome, READER_FILED);
    ck_assert_int_eq(fixture_number(lg, "SELECT pot_key FROM reports"), old);
    ck_assert_int_eq(fixture_number(lg, "SELECT home_id FROM reports"), home);
    ck_assert_int_eq(fixture_number(lg, "SELECT key FROM pots WHERE "
                                        "failed_s IS NOT NULL"),
                     old);
    in.at_s = START - 400 * CLOCK_DAY_S; /* before it was handed out */
    send_text(&in);
    ck_assert_int_eq(got.outcome, READER_ASKED);
    SAYS(text(ANA, "%s leak", serials[0]), "noted in no home");
    SAYS(text(ANA, "leak"), "do NOT drink");
    ck_assert_int_eq(rows("reports"), 2);
}
END_TEST

/* ---- danger ---- */

START_TEST(danger_always_alerts)
{
    static const char *const texts[] = {
        "ill 2 blood", "021407318 ill blood", "ill blood crack good",
        "111111111 ill blood", "ill blood slow 4f"};

    for (size_t i = 0; i < KW_COUNT(texts); i++) {
        char from[LEDGER_PHONE_CAP];
        int64_t before = rows("alerts");

        snprintf(from, sizeof(from), "+9997005%04zu", i);
        SAYS(text(from, "%s", texts[i]), "DANGER SIGN");
        ck_assert_int_eq(rows("alerts"), before + 1);
        ck_assert_int_eq(
            fixture_number(lg, "SELECT priority FROM outbox ORDER BY id DESC "
                               "LIMIT 1"),
            LEDGER_PRIORITY_DANGER);
    }
    ck_assert_int_eq(told("%blood%"), (int64_t)KW_COUNT(texts));
}
END_TEST

START_TEST(one_alert_stands_and_gathers)
{
    text(ANA, "ill 1 blood");
    text(ANA, "ill 2 blood");
    text(ANA, "ill 2 blood");
    ck_assert_int_eq(rows("alerts"), 1);
    ck_assert_int_eq(fixture_number(lg, "SELECT reports FROM alerts"), 3);
    ck_assert_int_eq(told("%"), 1);
    now_s += 7 * 3600; /* it stirs after hours of quiet */
    text(ANA, "ill 3 blood");
    ck_assert_int_eq(told("%"), 2);
    SAYS(text(CHIEF, "seen 1"), "Alert 1");
    SAYS(text(CHIEF, "seen 1"), "already");
    SAYS(text(CHIEF, "closed 1"), "closed");
    SAYS(text(CHIEF, "closed 9"), "no alert 9");
    text(ANA, "ill 1 blood");
    ck_assert_int_eq(rows("alerts"), 2);
    ck_assert_int_eq(told("%"), 3);
}
END_TEST

START_TEST(field_worker_reports_danger_of_a_home)
{
    text(FIELD, "%s ill 2 blood", serials[0]);
    ck_assert_int_eq(fixture_number(lg, "SELECT subject FROM alerts"),
                     LEDGER_ON_HOME);
    ck_assert_int_eq(told("%" ANA "%Lunde%"), 1);
}
END_TEST

/* ---- flow ---- */

static const char *flow(const char *measure)
{
    now_s += 8 * CLOCK_DAY_S;
    return text(ANA, "%s %s", serials[0], measure);
}

START_TEST(slow_scrub_replace)
{
    SAYS(flow("slow 1f 10h"), "Scrub it inside");
    ck_assert_int_eq(rows("alerts"), 0);
    SAYS(flow("washed"), "Thank you for washing");
    SAYS(flow("slow 1f 10h"), "due for replacement");
    ck_assert_int_eq(told("%slow after washing%"), 1);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM alerts WHERE kind = 3"), 1);
}
END_TEST

/*
 * Derived for the frustum 95/120/220/12/15 mm, by closed form and by
 * quadrature: 22 -> 18 cm in 2 h is K = 1.66739292e-7 m/s and 0.949158 L in
 * the first hour.
 */
START_TEST(flow_of_a_known_pot)
{
    SAYS(flow("slow 4cm 2h"), "gives 0.95 L in the first hour: slow");
    ck_assert_int_eq(rows("alerts"), 0);
    ck_assert_int_eq(fixture_number(lg, "SELECT verdict = 'scrub' FROM flows"),
                     1);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT round(1e6 * first_hour_l) FROM flows"),
        949158);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT round(1e14 * k_m_s) FROM flows"), 16673929);
}
END_TEST

START_TEST(too_fast_is_told)
{
    SAYS(flow("fast 19cm 2h"), "NOT drink");
    ck_assert_int_eq(told("%too fast%"), 1);
    SAYS(flow("fast"), "NOT drink");
    ck_assert_int_eq(rows("alerts"), 1);
    SAYS(text(BINTA, "%s fast", serials[1]), "NOT drink");
    ck_assert_int_eq(told("%said to run too fast%"), 1);
}
END_TEST

/* ---- language, stop, talk ---- */

START_TEST(language_of_the_answer)
{
    SAYS(text(ANA, "fuga"), "NO beba");
    SAYS(text(ANA, "%s leak", serials[0]), "do NOT drink");
    SAYS(text(ANA, "language es"), "Espa\xc3\xb1ol");
    SAYS(text(ANA, "%s leak", serials[0]), "NO beba");
    SAYS(text(ANA, "language"), "en es");
    SAYS(text(ANA, "help"), "Mande el numero");
}
END_TEST

/* Sends one way of saying stop from a phone of its own. */
static void say_stop(const char *word, size_t len)
{
    static int phones;
    char from[LEDGER_PHONE_CAP], sql[120];

    while (len > 0 && (*word == ' ' || *word == '*' || *word == '\n'))
        word++, len--;
    if (len == 0)
        return;
    snprintf(from, sizeof(from), "+9997007%04d", ++phones);
    text(from, "%.*s", (int)len, word);
    snprintf(sql, sizeof(sql), "SELECT stopped FROM phones WHERE number = '%s'",
             from);
    ck_assert_msg(fixture_number(lg, sql) == 1, "'%.*s' did not stop: %s",
                  (int)len, word, got.body);
    ck_assert_uint_gt(strlen(got.body), 20);
}

START_TEST(language_is_named_when_asked)
{
    SAYS(text(ANA, "language"), "en es");
    SAYS(text(ANA, "es"), "Espa\xc3\xb1ol");
    SAYS(text(ANA, "crack"), "NO beba");
    SAYS(text(ANA, "language"), "en es");
    SAYS(text(ANA, "lento"), "SIN beber");
    SAYS(text(ANA, "slow 4f"), "horas"); /* what is open on a pot stays so */
    SAYS(text(ANA, "language"), "en es");
    SAYS(text(ANA, "10h"), "SIN beber");
}
END_TEST

/* A crack does not heal: nothing said later makes its water good. */
START_TEST(failed_pot_is_never_well)
{
    static const char *const later[] = {
        "good",       "washed",          "slow",
        "fast",       "slow got 2l 1h",  "slow 1f 10h",
        "fast 1l 1h", "washed and good", "part lid"};

    text(ANA, "%s crack", serials[0]);
    for (size_t i = 0; i < KW_COUNT(later); i++) {
        now_s += 8 * CLOCK_DAY_S;
        SAYS(text(ANA, "%s %s", serials[0], later[i]), "NOT");
        ck_assert_int_eq(got.outcome, READER_FILED);
    }
    SAYS(text(ANA, "%s ill blood", serials[0]), "do NOT drink");
    SAYS(text(ANA, "%s crack good", serials[0]), "do not drink");
    SAYS(text(BINTA, "%s good", serials[1]), "is well");
}
END_TEST

/* It may be a slip; left alone it could be a crack. */
START_TEST(lone_letter_is_asked_about)
{
    SAYS(text(ANA, "c"), "do not drink");
    ck_assert_int_eq(got.outcome, READER_ASKED);
    ck_assert_int_eq(rows("reports"), 0);
    SAYS(text(ANA, "crack"), "do NOT drink");
    ck_assert_int_eq(rows("reports"), 1);
    SAYS(text(ANA, "lid"), "What is wrong");
    SAYS(text(ANA, "%s c", serials[0]), "do NOT drink");
    ck_assert_int_eq(got.outcome, READER_FILED);
    SAYS(text(NOBODY, "c"), "water filter pots"); /* no pot: talk */
}
END_TEST

/* Every word for it that stands in the words files, in every language. */
START_TEST(stop_in_every_language)
{
    int said = 0;

    for (size_t i = 0; i < reader_languages(desk_reader(desk)); i++) {
        char path[4096], *data, *at;
        size_t len;

        snprintf(path, sizeof(path), "%s/grammar/%s.words", getenv("KW_SOURCE"),
                 reader_language(desk_reader(desk), i));
        ck_assert_int_eq(file_read(path, 1 << 20, &data, &len), 0);
        at = strstr(data, "\nstop:");
        for (at = at ? at + 6 : NULL; at != NULL;) {
            size_t n = strcspn(at, ",\n");

            say_stop(at, n);
            said++;
            at += n;
            if (*at == '\0' || (*at == '\n' && at[1] != ' '))
                break;
            at++;
        }
        kw_free(data);
    }
    ck_assert_int_gt(said, 20);
}
END_TEST

START_TEST(stop_is_honoured)
{
    static const char *const words[] = {"stop", "parar"};

    for (size_t i = 0; i < KW_COUNT(words); i++) {
        char from[LEDGER_PHONE_CAP];

        snprintf(from, sizeof(from), "+9997006%04zu", i);
        ck_assert_int_gt((int)strlen(text(from, "%s", words[i])), 20);
        ck_assert_str_eq(text(from, "%s", words[i]), "");
        ck_assert_str_eq(text(from, "hello how are you"), "");
        SAYS(text(from, "%s leak", serials[0]), "another home");
        SAYS(text(from, "ill blood"), "NOW");
        SAYS(text(from, "start"), "ack");
    }
}
END_TEST

START_TEST(stopped_phone_is_not_reminded)
{
    int64_t next;

    flow("slow 2f 10h");
    text(ANA, "stop");
    now_s = clock_midnight(now_s + 9 * CLOCK_DAY_S) + 11 * 3600;
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_tick(desk, lg, now_s - CLOCK_DAY_S, &next), 0);
    ck_assert_int_eq(desk_tick(desk, lg, now_s, &next), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 3"), 0);
}
END_TEST

START_TEST(talk_is_answered_once_a_day)
{
    SAYS(text(ANA, "hello how are you"), "water filter pots");
    ck_assert_int_eq(got.outcome, READER_NOT_REPORT);
    ck_assert_str_eq(text(ANA, "are you there"), "");
    ck_assert_int_eq(got.outbox_id, 0);
    now_s += CLOCK_DAY_S;
    SAYS(text(ANA, "hello how are you"), "water filter pots");
    ck_assert_int_eq(rows("reports"), 0);
    ck_assert_int_eq(rows("texts_in"), 3);
    ck_assert_str_eq(text("7070", "hello how are you"), "");
    ck_assert_str_eq(text("BANK", "hello how are you"), "");
}
END_TEST

START_TEST(flood_is_held_back)
{
    int64_t answered = 0, busy = 0;

    for (int i = 0; i < 400; i++) {
        now_s -= 60;
        text(ANA, "help");
        answered += got.body[0] != '\0';
        busy += strstr(got.body, "Many texts") != NULL;
    }
    ck_assert_int_eq(answered, 241);
    ck_assert_int_eq(busy, 1);
    ck_assert_int_eq(rows("texts_in"), 400);
    text(ANA, "leak");
    ck_assert_str_eq(got.body, "");
    ck_assert_int_eq(rows("reports"), 1);
    SAYS(text(ANA, "ill blood"), "NOW");
    now_s += 3600;
    SAYS(text(ANA, "help"), "Text the pot's number");
}
END_TEST

START_TEST(quiet_texts_nobody)
{
    struct desk_text in = {.carrier = "test",
                           .from = ANA,
                           .text = "ill 2 blood crack",
                           .len = 17,
                           .at_s = START,
                           .quiet = true};

    send_text(&in);
    ck_assert_int_eq(rows("outbox"), 0);
    ck_assert_int_eq(rows("alerts"), 1);
    ck_assert_int_eq(rows("reports"), 1);
    ck_assert_str_eq(got.body, "");
}
END_TEST

START_TEST(household_commands_nothing)
{
    text(ANA, "ill blood");
    SAYS(text(ANA, "closed 1"), "coordinators");
    SAYS(text(ANA, "recall 0214"), "coordinators");
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM alerts WHERE state = 0"), 1);
    /* one who has left the configuration is a household again */
    kw_free(conf->people[0].phone);
    conf->people[0].phone = kw_strdup("+99970000003");
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_people(desk, lg), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    SAYS(text(CHIEF, "closed 1"), "coordinators");
    SAYS(text("+99970000003", "closed 1"), "closed");
}
END_TEST

/* ---- numbers ---- */

static const struct {
    const char *raw, *kept;
} numbers[] = {
    {"+999 70 01 23 45", "+99970012345"},
    {"0099970012345", "+99970012345"},
    {"070012345", "+99970012345"},
    {"70012345", "+99970012345"},
    {"99970012345", "+99970012345"},
    {"(070) 012-345", "+99970012345"},
    {"7070", "7070"}, /* a short code stays one */
    {"KILNWORD", "KILNWORD"},
    {"+\xd9\xa9\xd9\xa9\xd9\xa9\xd9\xa7\xd9\xa0\xd9\xa0\xd9\xa1\xd9\xa2\xd9"
     "\xa3\xd9\xa4\xd9\xa5",
     "+99970012345"}, /* Arabic-Indic digits */
    {"\xef\xbc\x8b\xef\xbc\x99\xef\xbc\x99\xef\xbc\x99\xef\xbc\x97\xef\xbc\x90"
     "\xef\xbc\x90\xef\xbc\x91\xef\xbc\x92\xef\xbc\x93\xef\xbc\x94\xef\xbc\x95",
     "+99970012345"},             /* full width */
    {"\xff\xfe 7001", "?? 7001"}, /* shown everywhere, so it must be text */
};

START_TEST(number_is_kept)
{
    char kept[LEDGER_PHONE_CAP];

    desk_number(conf, numbers[_i].raw, kept, sizeof(kept));
    ck_assert_str_eq(kept, numbers[_i].kept);
}
END_TEST

static void add_tests(TCase *t)
{
    const TTest *const tests[] = {crack_is_filed,
                                  cracked_pot_stays_unsafe,
                                  own_pot_is_meant,
                                  repeat_changes_nothing,
                                  wrong_serial_is_never_filed,
                                  pots_that_are_not_the_senders,
                                  impossible_measure_is_asked,
                                  texts_of_the_past,
                                  danger_always_alerts,
                                  one_alert_stands_and_gathers,
                                  field_worker_reports_danger_of_a_home,
                                  slow_scrub_replace,
                                  flow_of_a_known_pot,
                                  too_fast_is_told,
                                  language_of_the_answer,
                                  language_is_named_when_asked,
                                  failed_pot_is_never_well,
                                  lone_letter_is_asked_about,
                                  stop_is_honoured,
                                  stop_in_every_language,
                                  stopped_phone_is_not_reminded,
                                  talk_is_answered_once_a_day,
                                  flood_is_held_back,
                                  quiet_texts_nobody,
                                  household_commands_nothing};

    for (size_t i = 0; i < KW_COUNT(tests); i++)
        tcase_add_test(t, tests[i]);
    tcase_add_loop_test(t, number_is_kept, 0, (int)KW_COUNT(numbers));
}

int main(void)
{
    return fixture_texts("desk", add_tests);
}
