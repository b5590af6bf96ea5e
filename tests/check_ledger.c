/* check_ledger.c - the ledger through its public functions. */
#include "ledger/ledger.h"

#include "ledger/exposure.h"
#include "ledger/notebook.h"
#include "ledger/phrases.h"
#include "tests/ledger_fixture.h"

#include <math.h>
#include <string.h>

static struct ledger *lg;

static void open_it(void)
{
    lg = fixture_open();
    ck_assert_int_eq(ledger_begin(lg), 0);
}

static void close_it(void)
{
    ck_assert_int_eq(ledger_commit(lg), 0);
    fixture_check(lg);
    ledger_close(lg);
    fixture_remove();
}

/* ---- phones ---- */

START_TEST(phone_is_found_again)
{
    struct ledger_phone a, b;

    ck_assert_int_eq(ledger_phone_find(lg, "+99970012345", &a), KW_ENOENT);
    ck_assert_int_eq(ledger_phone_take(lg, "+99970012345", &a), 0);
    ck_assert_int_eq(a.id, 99970012345);
    ck_assert_int_eq(ledger_phone_take(lg, "+999 70-01 23.45", &b), 0);
    ck_assert_int_eq(b.id, a.id);
    ck_assert_str_eq(b.number, "+99970012345");
    a.role = LEDGER_COORDINATOR;
    a.stopped = true;
    a.last_chat_reply_s = 7;
    memcpy(a.lang, "sw", 3);
    memcpy(a.carrier, "modem", 6);
    memcpy(a.name, "Ana", 4);
    ck_assert_int_eq(ledger_phone_put(lg, &a), 0);
    ck_assert_int_eq(ledger_phone_get(lg, a.id, &b), 0);
    ck_assert_mem_eq(&a, &b, sizeof(a));
    ck_assert_int_eq(ledger_phone_take(lg, "", &b), KW_EINVAL);
}
END_TEST

START_TEST(phone_of_other_senders)
{
    static const char *const names[] = {"4321",
                                        "InfoLine",
                                        "InfoLineInfoLineInfoLineInfoLine1",
                                        "InfoLineInfoLineInfoLineInfoLine2",
                                        "+12",
                                        "caf\xc3\xa9",
                                        "\xff\xfe"};
    int64_t ids[KW_COUNT(names)];
    struct ledger_phone p;

    for (size_t i = 0; i < KW_COUNT(names); i++) {
        ck_assert_int_eq(ledger_phone_take(lg, names[i], &p), 0);
        ck_assert_int_lt(p.id, 0);
        ids[i] = p.id;
        for (size_t k = 0; k < i; k++)
            ck_assert_int_ne(ids[k], p.id);
    }
    for (size_t i = 0; i < KW_COUNT(names); i++) {
        ck_assert_int_eq(ledger_phone_find(lg, names[i], &p), 0);
        ck_assert_int_eq(p.id, ids[i]);
    }
}
END_TEST

/* ---- texts ---- */

static int put_text(const char *ref, int64_t at_s, int64_t *id)
{
    struct ledger_phone p;
    struct ledger_text_in t = {.carrier = "http",
                               .ref = ref,
                               .at_s = at_s,
                               .body = "021407319 c",
                               .len = 11};
    int err;

    ck_assert_int_eq(ledger_phone_take(lg, "+99970012345", &p), 0);
    t.phone_id = p.id;
    err = ledger_text_in_put(lg, &t);
    *id = t.id;
    return err;
}

START_TEST(repeat_changes_nothing)
{
    const int64_t day = 86400, at = 20000 * day + 5;
    struct ledger_out o = {.carrier = "http",
                           .kind = LEDGER_REPLY,
                           .priority = LEDGER_PRIORITY_REPLY,
                           .at_s = at,
                           .due_s = at};
    struct ledger_reading reading = {.outcome = "filed"};
    int64_t first, again, out_id;
    struct kw_buf answer;

    ck_assert_int_eq(put_text("a", at, &first), 0);
    memcpy(o.body, "Do not drink from it.", 22);
    o.text_id = first;
    o.phone_id = 99970012345;
    ck_assert_int_eq(ledger_out_put(lg, &o), 0);
    reading.answer_id = o.id;
    ck_assert_int_eq(ledger_text_in_read(lg, first, &reading), 0);
    for (int64_t after = -1; after <= 7; after++) {
        ck_assert_int_eq(put_text("a", at + after * day, &again), KW_EDUP);
        ck_assert_int_eq(again, first);
    }
    kw_buf_init(&answer, LEDGER_BODY_CAP);
    ck_assert_int_eq(ledger_answer_of(lg, again, &answer, &out_id), 0);
    ck_assert_str_eq(kw_buf_text(&answer), "Do not drink from it.");
    ck_assert_int_eq(out_id, o.id);
    kw_buf_release(&answer);
    /* Ids are used again by carriers after a time; other carriers differ. */
    ck_assert_int_eq(put_text("a", at + 8 * day, &again), 0);
    ck_assert_int_ne(again, first);
    ck_assert_int_eq(put_text("b", at, &again), 0);
    ck_assert_int_eq(put_text(NULL, at, &again), 0);
    ck_assert_int_eq(put_text(NULL, at, &first), 0);
    ck_assert_int_ne(again, first);
}
END_TEST

/* A carrier's id in the same week, told of an earlier time: a repeat. */
START_TEST(repeat_when_the_clock_was_put_back)
{
    const int64_t week = 7 * 86400, at = 3000 * week + 6 * 86400;
    int64_t first, again;

    ck_assert_int_eq(put_text("a", at, &first), 0);
    ck_assert_int_eq(put_text("a", at - 5 * 86400, &again), KW_EDUP);
    ck_assert_int_eq(again, first);
    /* Over the turn of a week, and at times before 1970. */
    ck_assert_int_eq(put_text("b", 3001 * week + 10, &first), 0);
    ck_assert_int_eq(put_text("b", 3001 * week - 10, &again), KW_EDUP);
    ck_assert_int_eq(put_text("c", -10, &first), 0);
    ck_assert_int_eq(put_text("c", 10, &again), KW_EDUP);
}
END_TEST

static int note_ref(const char *ref, void *arg)
{
    struct kw_buf *all = arg;

    kw_buf_puts(all, ref);
    return 0;
}

START_TEST(refs_since)
{
    struct kw_buf all;
    int64_t id;

    kw_buf_init(&all, 64);
    ck_assert_int_eq(put_text("a", 1000 * 86400, &id), 0);
    ck_assert_int_eq(put_text("b", 1009 * 86400, &id), 0);
    ck_assert_int_eq(put_text("c", 1009 * 86400 + 9, &id), 0);
    ck_assert_int_eq(ledger_refs_each(lg, "http", 1009 * 86400, note_ref, &all),
                     0);
    ck_assert_str_eq(kw_buf_text(&all), "bc");
    ck_assert_int_eq(ledger_refs_each(lg, "none", 0, note_ref, &all), 0);
    kw_buf_release(&all);
}
END_TEST

START_TEST(words_are_dropped)
{
    const int64_t day = 86400;
    struct ledger_out o = {.carrier = "http",
                           .kind = LEDGER_REPLY,
                           .phone_id = 99970012345,
                           .phrase = true,
                           .body = "words"};
    int64_t id[3];

    for (int i = 0; i < 3; i++) {
        ck_assert_int_eq(put_text(NULL, (1000 + i) * day, &id[i]), 0);
        o.text_id = id[i];
        o.at_s = o.due_s = (1000 + i) * day;
        ck_assert_int_eq(ledger_out_put(lg, &o), 0);
        ck_assert_int_eq(ledger_out_settle(lg, o.id, LEDGER_SENT, o.at_s, NULL),
                         0);
    }
    ck_assert_int_eq(ledger_words_drop(lg, 1002 * day, 1), 2);
    ck_assert_int_eq(ledger_words_drop(lg, 1002 * day, 10), 2);
    ck_assert_int_eq(ledger_words_drop(lg, 1002 * day, 10), 0);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(body) FROM texts_in"), 1);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(body) FROM outbox"), 1);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(phrase_id) FROM outbox"),
                     1);
    /* A text of old times that is loaded later is dropped as well. */
    ck_assert_int_eq(put_text(NULL, 900 * day, &id[0]), 0);
    ck_assert_int_eq(ledger_words_drop(lg, 1002 * day, 10), 1);
}
END_TEST

/* ---- answers: phrases and figures ---- */

static const char *const bodies[] = {
    "Pot 0214-073-19: slow, 1.2 L in the first hour.",
    "Pot 0214-074-00: slow, 0.85 L in the first hour.",
    "No figure at all.",
    "7",
    "1. 2.5- 3:4 /5/ 6",
    "12 at the front, at the end 34",
    "call #100 now",
    "caf\xc3\xa9 9",
    "",
};

/* What is put together is what was said, whether kept whole or not. */
START_TEST(answers_come_back_as_they_were)
{
    struct ledger_out o = {.carrier = "http",
                           .kind = LEDGER_REPLY,
                           .priority = LEDGER_PRIORITY_REPLY,
                           .phone_id = 99970012345,
                           .phrase = true};
    static struct ledger_out out[KW_COUNT(bodies)];
    struct ledger_phone p;

    ck_assert_int_eq(ledger_phone_take(lg, "+99970012345", &p), 0);
    for (int again = 0; again < 2; again++) {
        ck_assert_int_eq(ledger_savepoint(lg), 0);
        for (size_t i = 0; i < KW_COUNT(bodies); i++) {
            memcpy(o.body, bodies[i], strlen(bodies[i]) + 1);
            ck_assert_int_eq(ledger_out_put(lg, &o), 0);
        }
        if (again == 0) /* phrases made by what is undone are no more */
            ledger_undo(lg);
        else
            ck_assert_int_eq(ledger_release(lg), 0);
    }
    ck_assert_int_eq(
        ledger_out_claim(lg, "http", 1, out, (int)KW_COUNT(bodies)),
        (int)KW_COUNT(bodies));
    for (size_t i = 0; i < KW_COUNT(bodies); i++)
        ck_assert_str_eq(out[i].body, bodies[i]);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox o JOIN phrases h "
                           "ON h.id = o.phrase_id WHERE h.words = "
                           "'Pot #: slow, # L in the first hour.' AND "
                           "o.body IN ('0214-073-19 1.2', '0214-074-00 0.85')"),
        2);
    /* With a mark of its own it is kept whole. */
    ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM outbox WHERE "
                                        "phrase_id IS NULL"),
                     1);
}
END_TEST

/* A run-away kind of answer does not fill the table. */
START_TEST(phrases_are_bounded)
{
    struct ledger_out o = {.carrier = "http",
                           .kind = LEDGER_REPLY,
                           .priority = LEDGER_PRIORITY_REPLY,
                           .phone_id = 99970012345,
                           .phrase = true};
    struct ledger_out out[2];
    struct ledger_phone p;

    ck_assert_int_eq(ledger_phone_take(lg, "+99970012345", &p), 0);
    for (int i = 0; i < PHRASES_MOST + 10; i++) {
        int n = 0;

        for (int k = i; k > 0; k /= 26)
            o.body[n++] = (char)('a' + k % 26);
        memcpy(o.body + n, " 5", 3);
        ck_assert_int_eq(ledger_out_put(lg, &o), 0);
    }
    ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM phrases"),
                     PHRASES_MOST);
    ck_assert_int_eq(fixture_number(lg,
                                    "SELECT count(*) FROM outbox WHERE "
                                    "phrase_id IS NULL AND body LIKE '% 5'"),
                     10);
    ck_assert_int_eq(ledger_out_claim(lg, "http", 1, out, 2), 2);
    ck_assert_str_eq(out[1].body, "b 5");
}
END_TEST

/* ---- pots that come to be known after they were reported ---- */

START_TEST(orphans_are_adopted)
{
    struct ledger_obs ill = {.kind = "ill"}, leak = {.kind = "leak"};
    struct ledger_report r = {.pot_key = 77, .at_s = 500};
    struct ledger_batch b = {.code = "0300"};
    struct ledger_pot pot = {.key = 77, .serial = "030000101"};
    enum ledger_change what;
    int64_t first, ids[4];

    ck_assert_int_eq(ledger_report_put(lg, &r, &ill, 1), 0);
    first = r.id;
    r.at_s = 600;
    ck_assert_int_eq(ledger_report_put(lg, &r, &leak, 1), 0);
    ck_assert_int_eq(ledger_pot_fail(lg, 77, 600, r.id), 0);
    ck_assert_int_eq(ledger_pot_get(lg, 77, &pot), KW_ENOENT);
    ck_assert_int_eq(ledger_pot_reports(lg, 77, ids, 4), 0);
    ck_assert_int_eq(ledger_batch_put(lg, &b, &what), 0);
    pot.batch_id = b.id;
    ck_assert_int_eq(ledger_pot_put(lg, &pot, false, &what), 0);
    ck_assert_int_eq(ledger_batch_sum(lg, b.id), 0);
    ck_assert_int_eq(ledger_pot_get(lg, 77, &pot), 0);
    ck_assert_int_eq(pot.failed_s, 600);
    ck_assert_int_eq(ledger_pot_reports(lg, 77, ids, 4), 2);
    ck_assert_int_eq(ids[0], r.id);
    ck_assert_int_eq(ids[1], first);
}
END_TEST

START_TEST(places_and_their_water)
{
    struct ledger_place p = {.name = "Ford, the", .lang = "en"}, q;
    enum ledger_change what;

    for (int m = 0; m < 12; m++)
        p.water_degc[m] = m % 3 ? 20 + m / 2.0 : (double)NAN;
    ck_assert_int_eq(ledger_place_put(lg, &p, &what), 0);
    ck_assert_int_eq(what, LEDGER_NEW);
    ck_assert_int_eq(ledger_place_find(lg, "Ford, the", &q), 0);
    for (int m = 0; m < 12; m++)
        ck_assert(isnan(p.water_degc[m]) ? isnan(q.water_degc[m])
                                         : p.water_degc[m] == q.water_degc[m]);
    ck_assert_int_eq(ledger_place_put(lg, &q, &what), 0);
    ck_assert_int_eq(what, LEDGER_SAME);
    q.water_degc[1] = (double)NAN;
    ck_assert_int_eq(ledger_place_put(lg, &q, &what), 0);
    ck_assert_int_eq(what, LEDGER_CHANGED);
    ck_assert_int_eq(ledger_place_get(lg, q.id, &p), 0);
    ck_assert_double_nan(p.water_degc[1]);
}
END_TEST

/* References are kept: nothing hangs on what is not there. */
START_TEST(references_hold)
{
    struct ledger_report r = {.text_id = 4711, .at_s = 1};
    struct ledger_text_in t = {.carrier = "http", .phone_id = 5, .body = "x"};
    struct ledger_reading reading = {.outcome = "filed"};
    int64_t id;

    ck_assert_int_eq(ledger_report_put(lg, &r, NULL, 0), KW_ELEDGER);
    ck_assert_int_eq(ledger_text_in_put(lg, &t), KW_ELEDGER);
    ck_assert_int_eq(ledger_handover_put(lg, 1, 1, 1, &id), KW_ENOENT);
    ck_assert_int_eq(ledger_text_in_read(lg, 4711, &reading), KW_ENOENT);
    ck_assert_int_eq(ledger_out_settle(lg, 1, LEDGER_SENT, 1, NULL), KW_ENOENT);
}
END_TEST

static Suite *suite(void)
{
    Suite *s = suite_create("ledger");
    TCase *t = tcase_create("parts");

    suite_add_tcase(s, t);
    tcase_add_checked_fixture(t, open_it, close_it);
    tcase_add_test(t, phone_is_found_again);
    tcase_add_test(t, phone_of_other_senders);
    tcase_add_test(t, repeat_changes_nothing);
    tcase_add_test(t, repeat_when_the_clock_was_put_back);
    tcase_add_test(t, refs_since);
    tcase_add_test(t, words_are_dropped);
    tcase_add_test(t, answers_come_back_as_they_were);
    tcase_add_test(t, phrases_are_bounded);
    tcase_add_test(t, orphans_are_adopted);
    tcase_add_test(t, places_and_their_water);
    tcase_add_test(t, references_hold);
    return s;
}

int main(void)
{
    return fixture_run(suite());
}
