/*
 * check_kept.c - what a handle keeps in memory is never other than what the
 * file holds: after what it writes itself, what is undone, and what another
 * writes.
 */
#include "base/clock.h"
#include "ledger/notebook.h"
#include "ledger/traffic.h"
#include "tests/ledger_fixture.h"

#include <math.h>
#include <string.h>

#define NOW   1772524800 /* 2026-03-03 08:00 UTC */
#define PHONE "+99970012345"

static struct ledger *lg, *other; /* two processes on one file */

static void open_both(void)
{
    lg = fixture_open();
    other = fixture_open();
}

static void close_both(void)
{
    fixture_check(lg);
    ledger_close(lg);
    ledger_close(other);
    fixture_remove();
}

/* ---- the water of a place ---- */

static void put_water(struct ledger *by, double degc)
{
    struct ledger_place p = {.name = "Harlo Ford"};
    enum ledger_change what;

    ledger_place_find(by, "Harlo Ford", &p);
    for (int m = 0; m < 12; m++)
        p.water_degc[m] = degc;
    p.lat_deg = p.lon_deg = NAN;
    ck_assert_int_eq(ledger_place_put(by, &p, &what), 0);
}

/* What lg says of March; NaN none. */
static double water(void)
{
    double degc = NAN;
    int err = ledger_place_water(lg, 1, 3, &degc);

    ck_assert(err == 0 || err == KW_ENOENT);
    return err == 0 ? degc : (double)NAN;
}

START_TEST(water_is_that_of_the_file)
{
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert(isnan(water()));
    put_water(lg, 20); /* its own change */
    ck_assert_double_eq(water(), 20);
    ck_assert_int_eq(ledger_savepoint(lg), 0);
    put_water(lg, 21);
    ck_assert_double_eq(water(), 21);
    ledger_undo(lg); /* undone */
    ck_assert_double_eq(water(), 20);
    ck_assert_int_eq(ledger_commit(lg), 0);
    ck_assert_int_eq(ledger_begin(lg), 0);
    put_water(lg, 22);
    ck_assert_double_eq(water(), 22);
    ledger_rollback(lg);
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_double_eq(water(), 20);
    ck_assert_int_eq(ledger_commit(lg), 0);
    put_water(other, 23); /* another's */
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_double_eq(water(), 23);
    put_water(lg, NAN); /* taken away */
    ck_assert(isnan(water()));
    ck_assert_int_eq(ledger_commit(lg), 0);
    put_water(other, 24);
    ck_assert_double_eq(water(), 24); /* outside of a transaction, too */
}
END_TEST

/* ---- ids of texts ---- */

static int put(struct ledger *by, const char *ref, const char *twin,
               int64_t *id)
{
    struct ledger_phone p;
    struct ledger_text_in t = {.carrier = "gate",
                               .ref = ref,
                               .twin = twin,
                               .at_s = NOW,
                               .body = "ok",
                               .len = 2};
    int err;

    ck_assert_int_eq(ledger_phone_take(by, PHONE, &p), 0);
    t.phone_id = p.id;
    err = ledger_text_in_put(by, &t);
    *id = t.id;
    return err;
}

START_TEST(no_text_gets_the_id_of_another)
{
    int64_t a, b, c, d;

    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(put(lg, "a", NULL, &a), 0);
    ck_assert_int_eq(put(lg, "b", NULL, &b), 0);
    ck_assert_int_eq(b, a + 1);
    ck_assert_int_eq(ledger_savepoint(lg), 0);
    ck_assert_int_eq(put(lg, "c", NULL, &c), 0);
    ledger_undo(lg);
    ck_assert_int_eq(put(lg, "d", NULL, &d), 0);
    ck_assert_int_eq(d, c); /* it is free again */
    ck_assert_int_eq(ledger_commit(lg), 0);
    ck_assert_int_eq(ledger_begin(other), 0);
    ck_assert_int_eq(put(other, "e", NULL, &a), 0);
    ck_assert_int_eq(ledger_commit(other), 0);
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(put(lg, "f", NULL, &b), 0);
    ck_assert_int_eq(b, a + 1);
    ledger_rollback(lg);
    ck_assert_int_eq(put(lg, "g", NULL, &b), 0);
    ck_assert_int_eq(b, a + 1);
}
END_TEST

/* Known by its second id, it leaves nothing of its first behind. */
START_TEST(repeat_by_the_twin)
{
    int64_t first, again;

    ck_assert_int_eq(put(lg, "a", "sha-1", &first), 0);
    ck_assert_int_eq(put(lg, "b", "sha-1", &again), KW_EDUP);
    ck_assert_int_eq(again, first);
    ck_assert_int_eq(put(lg, "a", "sha-2", &again), KW_EDUP);
    ck_assert_int_eq(again, first);
    ck_assert_int_eq(put(lg, NULL, "sha-1", &again), KW_EDUP);
    ck_assert_int_eq(put(lg, "b", "sha-2", &again), 0);
    ck_assert_int_eq(put(lg, "c", "c", &again), 0); /* both are one */
    ck_assert_int_eq(put(lg, "c", "c", &first), KW_EDUP);
    ck_assert_int_eq(again, first);
}
END_TEST

/* ---- segments ---- */

static void expect_segments(int64_t received, int64_t sent)
{
    struct traffic_day day;

    ck_assert_int_eq(traffic_of_day(lg, clock_midnight(NOW), &day), 0);
    ck_assert_int_eq(traffic_sum(day.received), received);
    ck_assert_int_eq(traffic_sum(day.sent), sent);
}

static void receive(int64_t at_s, size_t n)
{
    ck_assert_int_eq(traffic_received(lg, at_s, LEDGER_HOUSEHOLD, n), 0);
}

START_TEST(segments_are_counted_once)
{
    ck_assert_int_eq(ledger_begin(lg), 0);
    receive(NOW, 1);
    ck_assert_int_eq(ledger_savepoint(lg), 0);
    receive(NOW, 10);
    ledger_undo(lg);
    receive(NOW + 5, 2);
    receive(NOW + 2 * CLOCK_DAY_S, 40); /* another day */
    receive(NOW, 3);
    ck_assert_int_eq(ledger_commit(lg), 0);
    expect_segments(6, 0);
    ck_assert_int_eq(ledger_begin(lg), 0);
    receive(NOW, 100);
    expect_segments(106, 0); /* before the commit as well */
    receive(NOW, 100);
    ledger_rollback(lg);
    expect_segments(6, 0);
    receive(NOW, 1); /* outside of a transaction */
    expect_segments(7, 0);
    ck_assert_int_eq(fixture_number(other, "SELECT sum(received) FROM segments"
                                           " WHERE day_s > 1772600000"),
                     40);
}
END_TEST

START_TEST(what_goes_with_the_commit_is_sent)
{
    struct ledger_out o = {.carrier = "gate",
                           .kind = LEDGER_REPLY,
                           .priority = LEDGER_PRIORITY_REPLY,
                           .at_s = NOW,
                           .due_s = NOW,
                           .gone = "in the response",
                           .body = "Thank you."};
    struct ledger_out due[2];
    struct ledger_phone p;

    ck_assert_int_eq(ledger_phone_take(lg, PHONE, &p), 0);
    o.phone_id = p.id;
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_out_put(lg, &o), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    expect_segments(0, 1);
    ck_assert_int_eq(ledger_out_claim(lg, "gate", NOW, due, 2), 0);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM outbox WHERE "
                                        "state = 2 AND settled_s = at_s AND "
                                        "note = 'in the response'"),
                     1);
    /* It did not get through after all: then it goes, and costs once. */
    ck_assert_int_eq(ledger_out_settle(lg, o.id, LEDGER_PERHAPS, NOW, "lost"),
                     0);
    expect_segments(0, 1);
}
END_TEST

/* ---- the head of a pot's reports ---- */

START_TEST(reports_hang_in_a_row)
{
    struct ledger_obs obs = {.kind = "fine"};
    struct ledger_batch b = {.code = "0214"};
    struct ledger_pot pot = {.key = 77, .serial = "021400777"};
    struct ledger_report r = {.pot_key = 77, .at_s = NOW};
    enum ledger_change what;
    int64_t ids[4];

    ck_assert_int_eq(ledger_batch_put(lg, &b, &what), 0);
    pot.batch_id = b.id;
    ck_assert_int_eq(ledger_pot_put(lg, &pot, false, &what), 0);
    ck_assert_int_eq(ledger_batch_sum(lg, b.id), 0);
    for (int i = 0; i < 2; i++) { /* two in each transaction */
        ck_assert_int_eq(ledger_begin(lg), 0);
        for (int k = 0; k < 2; k++) {
            ck_assert_int_eq(ledger_pot_get(lg, 77, &pot), 0);
            ck_assert_int_eq(ledger_report_put(lg, &r, &obs, 1), 0);
        }
        ck_assert_int_eq(ledger_commit(lg), 0);
        ck_assert_int_eq(ledger_pot_reports(lg, 77, ids, 4), 2 * (i + 1));
        ck_assert_int_eq(ids[0], r.id);
    }
}
END_TEST

int main(void)
{
    Suite *s = suite_create("kept");
    TCase *t = tcase_create("kept");

    tcase_add_checked_fixture(t, open_both, close_both);
    tcase_add_test(t, water_is_that_of_the_file);
    tcase_add_test(t, no_text_gets_the_id_of_another);
    tcase_add_test(t, repeat_by_the_twin);
    tcase_add_test(t, segments_are_counted_once);
    tcase_add_test(t, what_goes_with_the_commit_is_sent);
    tcase_add_test(t, reports_hang_in_a_row);
    suite_add_tcase(s, t);
    return fixture_run(s);
}
