/*
 * check_traffic.c - what holds texts back, what they cost, what the far side
 * tells of them, and one carrier standing in for another.
 */
#include "base/clock.h"
#include "ledger/traffic.h"
#include "tests/ledger_fixture.h"

#include <stdio.h>
#include <string.h>

#define NOW 1772524800 /* 2026-03-03 08:00 UTC */

static struct ledger *lg;
static int64_t phone;

static void open_one(void)
{
    struct ledger_phone p;

    lg = fixture_open();
    ck_assert_int_eq(ledger_phone_take(lg, "+99970012345", &p), 0);
    phone = p.id;
}

static void close_one(void)
{
    fixture_check(lg);
    ledger_close(lg);
    fixture_remove();
}

static int64_t put(enum ledger_out_kind kind, int priority, size_t len)
{
    struct ledger_out o = {.kind = kind,
                           .priority = priority,
                           .phone_id = phone,
                           .carrier = "gate",
                           .at_s = NOW,
                           .due_s = NOW};

    memset(o.body, 'a', len);
    ck_assert_int_eq(ledger_out_put(lg, &o), 0);
    return o.id;
}

START_TEST(danger_before_digest)
{
    static const int order[] = {LEDGER_PRIORITY_DIGEST, LEDGER_PRIORITY_REPLY,
                                LEDGER_PRIORITY_ALERT, LEDGER_PRIORITY_DANGER};
    struct ledger_out out[4];

    for (size_t i = 0; i < 4; i++)
        put(LEDGER_REPLY, order[i], 10);
    ck_assert_int_eq(ledger_out_claim(lg, "gate", NOW, out, 4), 4);
    for (int i = 0; i < 4; i++)
        ck_assert_int_eq(out[i].priority, i);
    ck_assert_int_eq(ledger_out_claim(lg, "gate", NOW, out, 4), 0);
}
END_TEST

START_TEST(quiet_hours_hold_what_nobody_asked_for)
{
    struct ledger_claim c = {
        .carrier = "gate", .now_s = NOW, .quiet_until_s = NOW + 3600};
    struct ledger_out out[4];
    int64_t due_s;

    put(LEDGER_REMINDER, LEDGER_PRIORITY_REPLY, 10);
    put(LEDGER_DIGEST, LEDGER_PRIORITY_DIGEST, 10);
    put(LEDGER_REMINDER, LEDGER_PRIORITY_DANGER, 10);
    put(LEDGER_REPLY, LEDGER_PRIORITY_REPLY, 10);
    ck_assert_int_eq(ledger_out_claim_within(lg, &c, out, 4), 2);
    ck_assert_int_eq(out[0].id, 3);
    ck_assert_int_eq(out[1].id, 4);
    ck_assert_int_eq(ledger_out_next_due(lg, "gate", &due_s), 0);
    ck_assert_int_eq(due_s, NOW + 3600);
    ck_assert_int_eq(ledger_out_claim(lg, "gate", NOW + 3600, out, 4), 2);
}
END_TEST

/* 3GPP TS 23.040, 9.2.3.24.1: 160 septets in one segment, 153 in each of
 * several. */
START_TEST(the_ceiling_spares_danger)
{
    struct ledger_claim c = {.carrier = "gate",
                             .now_s = NOW,
                             .spent_until_s = NOW + 7200,
                             .segments_left = 3};
    struct ledger_out out[4];
    struct traffic_day day;

    put(LEDGER_REPLY, LEDGER_PRIORITY_DANGER, 161); /* two segments */
    put(LEDGER_REPLY, LEDGER_PRIORITY_REPLY, 161);  /* too many */
    put(LEDGER_REPLY, LEDGER_PRIORITY_REPLY, 160);
    put(LEDGER_REPLY, LEDGER_PRIORITY_DIGEST, 1);
    ck_assert_int_eq(ledger_out_claim_within(lg, &c, out, 4), 2);
    ck_assert_int_eq(out[0].id, 1);
    ck_assert_int_eq(out[1].id, 3);
    ck_assert_int_eq(ledger_out_settle(lg, 1, LEDGER_SENT, NOW, ""), 0);
    ck_assert_int_eq(ledger_out_settle(lg, 3, LEDGER_PERHAPS, NOW, ""), 0);
    ck_assert_int_eq(traffic_of_day(lg, clock_midnight(NOW), &day), 0);
    ck_assert_int_eq(day.sent[LEDGER_HOUSEHOLD], 3);
    ck_assert_int_eq(traffic_sum(day.sent), 3);
    c.segments_left = 0;
    put(LEDGER_REPLY, LEDGER_PRIORITY_DANGER, 10);
    ck_assert_int_eq(ledger_out_claim_within(lg, &c, out, 4), 1);
    ck_assert_int_eq(out[0].id, 5);
    ck_assert_int_eq(ledger_out_claim(lg, "gate", NOW + 7200, out, 4), 2);
}
END_TEST

START_TEST(a_crash_marks_danger_as_perhaps_twice)
{
    struct ledger_out out[4];
    int64_t twice;

    put(LEDGER_REPLY, LEDGER_PRIORITY_DANGER, 10);
    put(LEDGER_REPLY, LEDGER_PRIORITY_REPLY, 10);
    ck_assert_int_eq(ledger_out_claim(lg, "gate", NOW, out, 4), 2);
    ck_assert_int_eq(ledger_out_recover(lg, "gate", false), 2);
    ck_assert_int_eq(traffic_twice(lg, NOW, &twice), 0);
    ck_assert_int_eq(twice, 1);
    ck_assert_int_eq(ledger_out_claim(lg, "gate", NOW, out, 4), 1);
    ck_assert_int_eq(out[0].id, 1);
    /* a carrier whose far side knows repeats sends nothing twice */
    ck_assert_int_eq(ledger_out_recover(lg, "gate", true), 1);
    ck_assert_int_eq(traffic_twice(lg, NOW, &twice), 0);
    ck_assert_int_eq(twice, 1);
}
END_TEST

START_TEST(another_takes_over_what_waits)
{
    struct traffic_move move = {.from = "gate", .to = "folder", .now_s = NOW};
    struct ledger_out out[4];

    put(LEDGER_REPLY, LEDGER_PRIORITY_REPLY, 10); /* tried in vain */
    put(LEDGER_REPLY, LEDGER_PRIORITY_REPLY, 10); /* on its way */
    put(LEDGER_REPLY, LEDGER_PRIORITY_REPLY, 10); /* not tried yet */
    ck_assert_int_eq(ledger_out_claim(lg, "gate", NOW, out, 2), 2);
    ck_assert_int_eq(ledger_out_again(lg, 1, NOW + 900, "no"), 0);
    ck_assert_int_eq(traffic_take_over(lg, &move), 1);
    ck_assert_int_eq(ledger_out_claim(lg, "folder", NOW, out, 4), 1);
    ck_assert_int_eq(out[0].id, 1);
    ck_assert_int_eq(out[0].tries, 1);
    move.untried_too = true;
    ck_assert_int_eq(traffic_take_over(lg, &move), 1);
    ck_assert_int_eq(ledger_out_claim(lg, "folder", NOW, out, 4), 1);
    ck_assert_int_eq(out[0].id, 3);
    ck_assert_int_eq(ledger_out_claim(lg, "gate", NOW + 900, out, 4), 0);
}
END_TEST

static int receipt(const char *far_id, enum traffic_receipt state)
{
    return traffic_receipt_put(lg, &(struct traffic_far){.carrier = "gate",
                                                         .far_id = far_id,
                                                         .state = state,
                                                         .at_s = NOW});
}

static void far_id(const char *id, int64_t out_id)
{
    struct traffic_far f = {
        .carrier = "gate", .far_id = id, .out_id = out_id, .at_s = NOW};

    ck_assert_int_eq(traffic_far_put(lg, &f), 0);
}

static enum traffic_receipt state_of(int64_t out_id)
{
    enum traffic_receipt state;

    ck_assert_int_eq(traffic_receipt_of(lg, out_id, &state), 0);
    return state;
}

static int64_t put_sent(size_t len, enum ledger_send state)
{
    int64_t id = put(LEDGER_REPLY, LEDGER_PRIORITY_REPLY, len);

    ck_assert_int_eq(ledger_out_settle(lg, id, state, NOW, "sent"), 0);
    return id;
}

static int refuse(const char *id, const char *why)
{
    return traffic_receipt_put(
        lg, &(struct traffic_far){.carrier = "gate",
                                  .far_id = id,
                                  .state = TRAFFIC_NOT_DELIVERED,
                                  .why = why,
                                  .at_s = NOW});
}

static void expect(int64_t id, enum ledger_send state, const char *note)
{
    char sql[200];

    snprintf(sql, sizeof(sql),
             "SELECT count(*) FROM outbox WHERE id = %lld AND state = %d "
             "AND coalesce(note, '') = '%s'",
             (long long)id, (int)state, note);
    ck_assert_msg(fixture_number(lg, sql) == 1, "%s", sql);
}

START_TEST(receipts_settle_the_text)
{
    int64_t two = put_sent(161, LEDGER_SENT), one, early, perhaps, half;
    struct traffic_day day;

    far_id("a", two);
    far_id("b", two);
    ck_assert_int_eq(receipt("a", TRAFFIC_DELIVERED), 0);
    expect(two, LEDGER_SENT, "sent");
    ck_assert_int_eq(receipt("b", TRAFFIC_DELIVERED), 0);
    expect(two, LEDGER_SENT, "delivered");
    one = put_sent(10, LEDGER_SENT);
    far_id("c", one);
    ck_assert_int_eq(receipt("c", TRAFFIC_UNDER_WAY), 0);
    ck_assert_int_eq(refuse("c", "expired"), 0);
    expect(one, LEDGER_FAILED, "not delivered: expired");
    ck_assert_int_eq(receipt("c", TRAFFIC_DELIVERED), 0); /* the first stands */
    expect(one, LEDGER_FAILED, "not delivered: expired");
    /* Faster than the settlement: nothing before it, then at once. */
    early = put(LEDGER_REPLY, LEDGER_PRIORITY_REPLY, 10);
    far_id("d", early);
    ck_assert_int_eq(receipt("d", TRAFFIC_DELIVERED), 0);
    expect(early, LEDGER_WAITING, "");
    ck_assert_int_eq(ledger_out_settle(lg, early, LEDGER_SENT, NOW, "sent"), 0);
    ck_assert_int_eq(traffic_conclude(lg, early, NOW), 0);
    expect(early, LEDGER_SENT, "delivered");
    /* Perhaps sent, and the receipt says that it was. */
    perhaps = put_sent(10, LEDGER_PERHAPS);
    far_id("e", perhaps);
    ck_assert_int_eq(receipt("e", TRAFFIC_DELIVERED), 0);
    expect(perhaps, LEDGER_SENT, "delivered");
    half = put_sent(161, LEDGER_PERHAPS);
    far_id("f", half);
    ck_assert_int_eq(receipt("f", TRAFFIC_DELIVERED), 0);
    expect(half, LEDGER_PERHAPS, "sent");
    /* It cost what it cost when it went, once. */
    ck_assert_int_eq(traffic_of_day(lg, clock_midnight(NOW), &day), 0);
    ck_assert_int_eq(day.sent[LEDGER_HOUSEHOLD], 2 + 1 + 1 + 1 + 2);
}
END_TEST

START_TEST(receipts_of_no_text)
{
    int64_t id = put_sent(10, LEDGER_SENT), n;

    ck_assert_int_eq(receipt("old", TRAFFIC_NOT_DELIVERED), KW_ENOENT);
    ck_assert_int_eq(receipt("new", TRAFFIC_DELIVERED), KW_ENOENT);
    ck_assert_int_eq(traffic_unmatched(lg, NOW, &n), 0);
    ck_assert_int_eq(n, 2);
    /* Too old to be of the text that has the id now. */
    ck_assert_int_eq(
        traffic_far_put(
            lg, &(struct traffic_far){.carrier = "gate",
                                      .far_id = "old",
                                      .out_id = id,
                                      .at_s = NOW + TRAFFIC_EARLY_S + 1}),
        0);
    expect(id, LEDGER_SENT, "sent");
    ck_assert_int_eq(traffic_unmatched(lg, NOW, &n), 0);
    ck_assert_int_eq(n, 1);
}
END_TEST

START_TEST(receipts_by_part)
{
    int64_t two = put(LEDGER_REPLY, LEDGER_PRIORITY_REPLY, 161);
    int64_t one = put(LEDGER_REPLY, LEDGER_PRIORITY_REPLY, 10);
    int64_t counts[TRAFFIC_RECEIPTS];

    far_id("a", two);
    far_id("b", two);
    ck_assert_int_eq(state_of(two), TRAFFIC_NO_RECEIPT);
    ck_assert_int_eq(receipt("a", TRAFFIC_DELIVERED), 0);
    ck_assert_int_eq(state_of(two), TRAFFIC_UNDER_WAY);
    ck_assert_int_eq(receipt("a", TRAFFIC_NOT_DELIVERED), 0); /* too late */
    ck_assert_int_eq(receipt("b", TRAFFIC_DELIVERED), 0);
    ck_assert_int_eq(state_of(two), TRAFFIC_DELIVERED);
    /* faster than the answer that gave the id */
    ck_assert_int_eq(receipt("c", TRAFFIC_NOT_DELIVERED), KW_ENOENT);
    far_id("c", one);
    ck_assert_int_eq(state_of(one), TRAFFIC_NOT_DELIVERED);
    ck_assert_int_eq(traffic_receipts(lg, NOW, counts), 0);
    ck_assert_int_eq(counts[TRAFFIC_DELIVERED], 2);
    ck_assert_int_eq(counts[TRAFFIC_NOT_DELIVERED], 1);
    /* an id that is given again is the newer text's */
    far_id("a", one);
    ck_assert_int_eq(receipt("a", TRAFFIC_UNDER_WAY), 0);
    ck_assert_int_eq(state_of(two), TRAFFIC_DELIVERED);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("traffic");
    TCase *t = tcase_create("traffic");

    tcase_add_checked_fixture(t, open_one, close_one);
    tcase_add_test(t, danger_before_digest);
    tcase_add_test(t, quiet_hours_hold_what_nobody_asked_for);
    tcase_add_test(t, the_ceiling_spares_danger);
    tcase_add_test(t, a_crash_marks_danger_as_perhaps_twice);
    tcase_add_test(t, another_takes_over_what_waits);
    tcase_add_test(t, receipts_by_part);
    tcase_add_test(t, receipts_settle_the_text);
    tcase_add_test(t, receipts_of_no_text);
    suite_add_tcase(s, t);
    return fixture_run(s);
}
