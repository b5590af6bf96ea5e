/* check_ledger.c - the ledger through its public functions. */
#include "ledger/ledger.h"

#include "ledger/exposure.h"
#include "ledger/notebook.h"
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
    int64_t first, again, out_id;
    struct kw_buf answer;

    ck_assert_int_eq(put_text("a", at, &first), 0);
    memcpy(o.body, "Do not drink from it.", 22);
    o.text_id = first;
    o.phone_id = 99970012345;
    ck_assert_int_eq(ledger_out_put(lg, &o), 0);
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

static Suite *suite(void)
{
    Suite *s = suite_create("ledger");
    TCase *t = tcase_create("parts");

    suite_add_tcase(s, t);
    tcase_add_checked_fixture(t, open_it, close_it);
    tcase_add_test(t, phone_is_found_again);
    tcase_add_test(t, phone_of_other_senders);
    tcase_add_test(t, repeat_changes_nothing);
    return s;
}

int main(void)
{
    return fixture_run(suite());
}
