/*
 * check_batch_watch.c - the watch over batches and deliveries, over a ledger:
 * the same alarms on the same days after restarts and in another order within
 * a day; a hold that only a closing lifts; a bad road is not a bad firing.
 * The history is made up, from a seed.
 */
#include "desk/batch_inner.h"

#include "base/clock.h"
#include "close.h"
#include "desk_fixture.h"
#include "ledger/batchstate.h"
#include "ledger/notebook.h"
#include "watch/detector.h"

#include <stdio.h>
#include <string.h>

enum { BATCHES = 10, PLACES = 4, POTS = 32, DAYS = 100, BAD = 7 };
#define FIRST (START / CLOCK_DAY_S * CLOCK_DAY_S) /* a midnight, UTC */

static int64_t keys[BATCHES][POTS], batch_ids[BATCHES], homes[PLACES];
static int fails_on[BATCHES][POTS]; /* day, -1 never */
static struct batch_watch *watch;

/* Each batch goes to all places, the pots of a place on one day. */
static int given_on(int b, int pot)
{
    return 3 * b + 7 * (pot % PLACES);
}

static void furnish(void)
{
    enum ledger_change change;

    ck_assert_int_eq(ledger_begin(lg), 0);
    for (int i = 0; i < PLACES; i++) {
        struct ledger_place p = {.lat_deg = NAN, .lon_deg = NAN};
        char home[8];

        snprintf(p.name, sizeof(p.name), "Place %d", i);
        for (int m = 0; m < 12; m++)
            p.water_degc[m] = NAN;
        ck_assert_int_ge(ledger_place_put(lg, &p, &change), 0);
        snprintf(home, sizeof(home), "W%d", i);
        homes[i] = put_home(home, NULL, p.id);
    }
    for (int b = 0; b < BATCHES; b++) {
        struct ledger_batch x = {
            .peak_degc = NAN, .pressed_s = FIRST + (3 * b - 60) * CLOCK_DAY_S};

        snprintf(x.code, sizeof(x.code), "%04d", 500 + b);
        ck_assert_int_eq(ledger_batch_put(lg, &x, &change), 0);
        batch_ids[b] = x.id;
        for (int i = 0; i < POTS; i++) {
            keys[b][i] = put_pot(-1, x.code, x.id, i + 1);
            give(keys[b][i], homes[i % PLACES],
                 FIRST + given_on(b, i) * CLOCK_DAY_S + 3600);
        }
    }
    ck_assert_int_eq(ledger_commit(lg), 0);
}

/* Batch BAD breaks several times as often. */
static void draw(uint64_t seed, double risk)
{
    for (int b = 0; b < BATCHES; b++) {
        for (int i = 0; i < POTS; i++) {
            double rate = 0.0008 * (b == BAD ? risk : 1);
            double age = -log(close_unit(&seed)) / rate;

            fails_on[b][i] = age < DAYS ? given_on(b, i) + 1 + (int)age : -1;
        }
    }
}

static int look(int64_t at_s)
{
    struct desk_findings *f;
    int raised;

    ck_assert_int_eq(desk_watch_look(watch, conf, lg, at_s, &f), 0);
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_scan_act(desk, lg, at_s, f, &raised), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    desk_findings_free(f);
    return raised;
}

static void break_pot(int64_t key, int64_t at_s)
{
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_pot_fail(lg, key, at_s, 0), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
}

struct way {           /* of living through the days */
    bool backwards;    /* order within a day */
    int restart_every; /* looks until the watch is made anew; 0 never */
};

static void one_day(int day, const struct way *way, int *looks)
{
    int64_t at_s = FIRST + day * CLOCK_DAY_S + 6 * 3600;

    for (int n = 0; n < BATCHES * POTS; n++) {
        int at = way->backwards ? BATCHES * POTS - 1 - n : n;
        int b = at / POTS, i = at % POTS;

        if (fails_on[b][i] != day)
            continue;
        at_s += 60;
        break_pot(keys[b][i], at_s);
        look(at_s);
        if (way->restart_every > 0 && ++*looks % way->restart_every == 0) {
            batch_watch_free(watch);
            watch = batch_watch_new();
        }
    }
    look(FIRST + day * CLOCK_DAY_S + 80000);
}

struct end {
    struct batchstate s[BATCHES];
};

static void live(const struct way *way, struct end *end)
{
    int looks = 0;

    open_all();
    conf->breakage_p = 1e-12; /* the second opinion keeps silent */
    watch = batch_watch_new();
    furnish();
    for (int day = 0; day < DAYS; day++)
        one_day(day, way, &looks);
    for (int b = 0; b < BATCHES; b++)
        ck_assert_int_eq(batchstate_get(lg, batch_ids[b], &end->s[b]), 0);
    batch_watch_free(watch);
}

static void same(const struct end *a, const struct end *b)
{
    for (int i = 0; i < BATCHES; i++) {
        ck_assert_int_eq(a->s[i].state, b->s[i].state);
        ck_assert_int_eq(a->s[i].since_s / CLOCK_DAY_S,
                         b->s[i].since_s / CLOCK_DAY_S);
        ck_assert_int_eq(a->s[i].reported, b->s[i].reported);
        ck_assert_int_eq(a->s[i].counted, b->s[i].counted);
        CLOSE_OR(a->s[i].expected, b->s[i].expected, 1e-9, 1e-12);
        CLOSE_OR(a->s[i].cusum, b->s[i].cusum, 1e-9, 1e-12);
    }
}

/* What the increments come to is what a replay of the whole comes to. */
static void replay_finds_nothing_new(void)
{
    struct batch_found f;

    watch = batch_watch_new();
    ck_assert_int_eq(batch_watch_look(watch, lg,
                                      FIRST + (DAYS - 1) * CLOCK_DAY_S + 80000,
                                      &f),
                     0);
    ck_assert(batch_watch_replayed(watch));
    ck_assert_uint_eq(f.batches.n, 0); /* nothing stands otherwise */
    ck_assert_uint_eq(f.deliveries.n, 0);
    batch_found_release(&f);
    batch_watch_free(watch);
}

/* Nightly, by the service's own clock: kept with its seed. */
static void firings_were_scanned(void)
{
    struct batchstate_firings f;

    ck_assert_int_eq(batchstate_get_firings(lg, &f), 0);
    ck_assert_int_ge(f.at_s, FIRST + (DAYS - 1) * CLOCK_DAY_S);
    ck_assert(f.from_batch <= batch_ids[BAD] && f.to_batch >= batch_ids[BAD]);
    ck_assert(f.p > 0 && f.p <= 1);
    ck_assert_int_ne(f.seed, 0);
    ck_assert_double_gt((double)f.failed, f.expected);
}

static void closing_counts_afresh(void)
{
    struct batchstate s;
    int64_t at_s = FIRST + DAYS * CLOCK_DAY_S;
    int64_t id = fixture_number(lg, "SELECT id FROM alerts WHERE kind = 2 AND "
                                    "subject = 1 AND state < 2");

    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_alert_mark(lg, id, LEDGER_CLOSED, at_s + 10, 0), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    watch = batch_watch_new();
    look(at_s + 20);
    ck_assert_int_eq(batchstate_get(lg, batch_ids[BAD], &s), 0);
    ck_assert_int_eq(s.state, DETECTOR_SOUND);
    ck_assert_int_eq(s.counted, 0);
    batch_watch_free(watch);
}

/* A worker who hands out one of it hears that it is on hold. */
static void hand_out_is_warned(void)
{
    char serial[SERIAL_CAP];

    ck_assert_int_eq(ledger_begin(lg), 0);
    put_pot(-1, "0507", batch_ids[BAD], 300);
    put_pot(-1, "0501", batch_ids[1], 300);
    ck_assert_int_eq(ledger_commit(lg), 0);
    now_s = FIRST + DAYS * CLOCK_DAY_S;
    serial_make(desk_layout(desk), "0507", "300", serial);
    SAYS(text(FIELD, "gave %s +99970077771 Lunde", serial), "ON HOLD");
    serial_make(desk_layout(desk), "0501", "300", serial);
    SAYS(text(FIELD, "gave %s +99970077772 Lunde", serial), "handed out in");
}

START_TEST(same_alarms_however_it_is_lived)
{
    struct end plain, restarted, turned;

    draw(2026, 6);
    live(&(struct way){false, 0}, &plain);
    ck_assert_int_eq(plain.s[BAD].state, DETECTOR_FAILING);
    ck_assert_int_eq(told("%batch 0507 fails%"), 1);
    close_all();
    live(&(struct way){false, 3}, &restarted);
    same(&plain, &restarted);
    close_all();
    live(&(struct way){true, 0}, &turned);
    same(&plain, &turned);
    replay_finds_nothing_new();
    hand_out_is_warned();
    firings_were_scanned();
    closing_counts_afresh();
    close_all();
}
END_TEST

/* The sums for the test of one look, kept up, are those of a replay. */
static void sums_are_those_of_a_replay(int64_t at_s)
{
    struct batch_watch *fresh = batch_watch_new();
    struct batch_found f;

    ck_assert(!batch_watch_replayed(watch));
    ck_assert_int_eq(batch_watch_look(fresh, lg, at_s, &f), 0);
    ck_assert_uint_eq(watch->sums.n, fresh->sums.n);
    for (size_t i = 0; i < fresh->sums.n; i++) {
        const struct breakage_batch *a = &watch->sums.items[i].b;
        const struct breakage_batch *b = &fresh->sums.items[i].b;

        ck_assert_int_eq(a->pots_out, b->pots_out);
        ck_assert_int_eq(a->failed, b->failed);
        for (int k = 0; k < BREAKAGE_BINS; k++) {
            ck_assert_int_eq(a->failed_at[k], b->failed_at[k]);
            CLOSE_OR(a->exposure_days[k], b->exposure_days[k], 1e-9, 1e-9);
        }
    }
    batch_found_release(&f);
    batch_watch_free(fresh);
}

/* What was written down says whether there is anything to look for. */
static bool current(int64_t at_s)
{
    bool so;

    ck_assert_int_eq(batch_watch_current(lg, at_s, &so), 0);
    return so;
}

START_TEST(current_until_something_happens)
{
    int64_t at_s = FIRST + 100 * CLOCK_DAY_S + 40000;
    struct batch_found f;

    open_all();
    furnish();
    ck_assert(!current(at_s)); /* nobody has looked */
    watch = batch_watch_new();
    look(at_s);
    ck_assert(current(at_s));
    ck_assert(current(at_s + 600));
    ck_assert(!current(at_s - 600));
    ck_assert(!current(at_s + CLOCK_DAY_S)); /* another day */
    break_pot(keys[2][5], at_s + 60);
    ck_assert(!current(at_s + 61));
    look(at_s + 61);
    ck_assert(current(at_s + 62));
    break_pot(keys[2][6], at_s - 20 * CLOCK_DAY_S); /* told late */
    ck_assert(!current(at_s + 63));
    look(at_s + 64);
    ck_assert(current(at_s + 65));
    ck_assert_int_eq(ledger_begin(lg), 0);
    give(put_pot(-1, "0504", batch_ids[4], 400), homes[1], at_s - 9 * 86400);
    ck_assert_int_eq(ledger_commit(lg), 0);
    ck_assert(!current(at_s + 66)); /* written down late */
    look(at_s + 67);
    ck_assert(current(at_s + 68));
    /* and a look finds nothing that stands otherwise, the runs aside */
    ck_assert_int_eq(batch_watch_states(watch, lg, at_s + 68, &f), 0);
    ck_assert_uint_eq(f.batches.n, 0);
    ck_assert_uint_eq(f.runs.n, 0);
    batch_found_release(&f);
    batch_watch_free(watch);
    close_all();
}
END_TEST

/* A report is taken in without a replay, one written down late with one. */
START_TEST(late_ones_are_not_lost)
{
    int64_t at_s = FIRST + 100 * CLOCK_DAY_S + 40000;
    struct batch_found f;

    open_all();
    watch = batch_watch_new();
    furnish();
    look(at_s);
    break_pot(keys[2][5], at_s + 60);
    ck_assert_int_eq(batch_watch_look(watch, lg, at_s + 61, &f), 0);
    ck_assert(!batch_watch_replayed(watch));
    ck_assert_uint_eq(f.batches.n, 1);
    ck_assert_int_eq(f.batches.items[0].reported, 1);
    batch_found_release(&f);
    sums_are_those_of_a_replay(at_s + 61);
    ck_assert_int_eq(ledger_begin(lg), 0);
    give(put_pot(-1, "0504", batch_ids[4], 400), homes[1], at_s + 62);
    ck_assert_int_eq(ledger_commit(lg), 0);
    ck_assert_int_eq(batch_watch_look(watch, lg, at_s + 90, &f), 0);
    batch_found_release(&f);
    sums_are_those_of_a_replay(at_s + 90);
    break_pot(keys[2][6], at_s - 20 * CLOCK_DAY_S);
    ck_assert_int_eq(batch_watch_look(watch, lg, at_s + 120, &f), 0);
    ck_assert(batch_watch_replayed(watch));
    for (size_t i = 0; i < f.batches.n; i++)
        if (f.batches.items[i].batch_id == batch_ids[2])
            ck_assert_int_eq(f.batches.items[i].reported, 2);
    batch_found_release(&f);
    batch_watch_free(watch);
    close_all();
}
END_TEST

/* A quarter of 1,320 pots breaks in 400 days: enough to say how much places
 * differ in what they tell. */
static void furnish_more(void)
{
    furnish();
    ck_assert_int_eq(ledger_begin(lg), 0);
    for (int n = 0; n < BATCHES * 100; n++) {
        int b = n % BATCHES, i = n / BATCHES;
        char code[8];
        int64_t key, given_s = FIRST + given_on(b, i) * CLOCK_DAY_S + 3600;

        snprintf(code, sizeof(code), "%04d", 500 + b);
        key = put_pot(-1, code, batch_ids[b], 200 + i);
        give(key, homes[i % PLACES], given_s);
        if (i / PLACES % 3 == 0)
            ck_assert_int_eq(
                ledger_pot_fail(lg, key,
                                given_s + (1 + n * 61 % 397) * CLOCK_DAY_S, 0),
                0);
    }
    ck_assert_int_eq(ledger_commit(lg), 0);
}

START_TEST(place_weight_is_kept)
{
    int64_t at_s = FIRST + 440 * CLOCK_DAY_S;
    struct batchstate_weight w, again;
    struct batch_found f;

    open_all();
    conf->breakage_p = 1e-12;
    watch = batch_watch_new();
    furnish_more();
    ck_assert_int_eq(batchstate_get_weight(lg, at_s, &w), KW_ENOENT);
    look(at_s);
    ck_assert_int_eq(batchstate_get_weight(lg, at_s, &w), 0);
    ck_assert_int_eq(w.day % 7, 0); /* a day of refresh, in the last 90 days */
    ck_assert_int_gt(w.day, at_s / CLOCK_DAY_S - 90);
    ck_assert_int_lt(w.day % 90, 7);
    ck_assert_int_ge(w.places, PLACES);
    ck_assert_int_gt(w.counted, 100);
    ck_assert(w.nu >= 1 && w.nu <= 50);
    ck_assert_int_eq(w.at_s, at_s);
    batch_watch_free(watch); /* a restart comes to the same, bit for bit */
    watch = batch_watch_new();
    ck_assert_int_eq(batch_watch_look(watch, lg, at_s + 60, &f), 0);
    ck_assert_int_eq(f.weight.day, 0);
    batch_found_release(&f);
    ck_assert_int_eq(batchstate_get_weight(lg, at_s, &again), 0);
    ck_assert_double_eq(again.nu, w.nu);
    batch_watch_free(watch);
    close_all();
}
END_TEST

/*
 * Twelve neighbours of one batch fail: a shelf of the kiln, when they stand in
 * all places and fail in as many weeks; no run at all, when it was one flood in
 * one place, where pots had been handed out in the order of their serials.
 */
START_TEST(a_flood_is_no_shelf)
{
    for (int flood = 0; flood < 2; flood++) {
        int64_t at_s = FIRST + 140 * CLOCK_DAY_S;
        struct batchstate s;
        char code[8];

        open_all();
        conf->breakage_p = 1e-12;
        watch = batch_watch_new();
        furnish();
        ck_assert_int_eq(ledger_begin(lg), 0);
        snprintf(code, sizeof(code), "%04d", 500 + BAD);
        for (int i = 0; i < 40; i++) {
            int64_t key = put_pot(-1, code, batch_ids[BAD], 200 + i);
            int day = flood ? 60 + i % 3 : 30 + 7 * (i - 14);

            give(key, homes[flood ? i / 20 : i % PLACES],
                 FIRST + 20 * CLOCK_DAY_S + 3600);
            if (i >= 14 && i < 26 - 6 * flood)
                ck_assert_int_eq(
                    ledger_pot_fail(lg, key, FIRST + day * CLOCK_DAY_S, 0), 0);
        }
        for (int i = 0; i < 4; i++) /* and four elsewhere, now and then */
            ck_assert_int_eq(
                ledger_pot_fail(lg, keys[BAD][9 * i],
                                FIRST + (50 + 20 * i) * CLOCK_DAY_S, 0),
                0);
        ck_assert_int_eq(ledger_commit(lg), 0);
        look(at_s);
        ck_assert_int_eq(batchstate_get(lg, batch_ids[BAD], &s), 0);
        ck_assert_int_eq(s.reported, flood ? 10 : 16);
        ck_assert_int_eq(s.counted, flood ? 6 : 16);
        if (flood) {
            ck_assert_double_gt(s.run_p, 0.01);
        } else {
            ck_assert_double_le(s.run_p, 0.01);
            ck_assert_int_eq(s.run_failed, 12);
        }
        batch_watch_free(watch);
        close_all();
    }
}
END_TEST

/* Closed by somebody: sound, counting from then; a restart knows it too. */
static void closed_road_counts_afresh(int64_t at_s)
{
    static const char standing[] =
        "SELECT count(*) FROM delivery_states WHERE state = 2";
    int64_t id = fixture_number(lg, "SELECT id FROM alerts WHERE kind = 2 AND "
                                    "subject = 4 AND state < 2");

    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_alert_mark(lg, id, LEDGER_CLOSED, at_s, 0), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    look(at_s + 60);
    ck_assert_int_eq(fixture_number(lg, standing), 0);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT max(counted) FROM delivery_states WHERE "
                           "place_id = (SELECT id FROM places WHERE "
                           "name = 'Place 2')"),
        0);
    batch_watch_free(watch);
    watch = batch_watch_new();
    ck_assert_int_eq(look(at_s + 2 * CLOCK_DAY_S), 0);
    ck_assert_int_eq(fixture_number(lg, standing), 0);
}

/* One cart to Place 2 of several batches: the delivery fails, no batch does. */
START_TEST(bad_road)
{
    int day = 60;

    open_all();
    conf->breakage_p = 1e-12;
    watch = batch_watch_new();
    draw(5, 1);
    furnish();
    ck_assert_int_eq(ledger_begin(lg), 0);
    for (int b = 0; b < BATCHES; b++) {
        char code[8];

        snprintf(code, sizeof(code), "%04d", 500 + b);
        for (int i = 0; i < 6; i++) {
            int64_t key = put_pot(-1, code, batch_ids[b], 200 + i);

            give(key, homes[2], FIRST + day * CLOCK_DAY_S + 3600);
            if (i < 2)
                keys[b][i] = key;
        }
    }
    ck_assert_int_eq(ledger_commit(lg), 0);
    look(FIRST + (day + 1) * CLOCK_DAY_S);
    for (int b = 0; b < BATCHES; b++) {
        int64_t at_s = FIRST + (day + 2 + b) * CLOCK_DAY_S + 20000;

        break_pot(keys[b][0], at_s);
        break_pot(keys[b][1], at_s + 60);
        look(at_s + 120);
    }
    ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM batch_states "
                                        "WHERE state = 2"),
                     0);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM delivery_states "
                                        "WHERE state = 2"),
                     1);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM alerts WHERE "
                                        "kind = 2 AND subject = 4"),
                     1);
    ck_assert_int_eq(told("%batch%"), 0);
    /* on the very report that makes it fail, not at the next day's replay */
    ck_assert_int_eq(told("%Place 2%A bad road?%"), 1);
    closed_road_counts_afresh(FIRST + (day + 2 + BATCHES) * CLOCK_DAY_S);
    batch_watch_free(watch);
    close_all();
}
END_TEST

/* Half a batch went in one cart: it fails, and the cart is named with it. */
START_TEST(one_cart_of_a_batch)
{
    int64_t at_s = FIRST + 61 * CLOCK_DAY_S;
    int64_t mine[12];

    open_all();
    conf->breakage_p = 1e-12;
    watch = batch_watch_new();
    draw(5, 1);
    furnish();
    ck_assert_int_eq(ledger_begin(lg), 0);
    for (int i = 0; i < 12; i++) {
        mine[i] = put_pot(-1, "0503", batch_ids[3], 200 + i);
        give(mine[i], homes[1], FIRST + 60 * CLOCK_DAY_S + 3600);
    }
    ck_assert_int_eq(ledger_commit(lg), 0);
    look(at_s);
    for (int i = 0; i < 8; i++) {
        at_s += 4 * CLOCK_DAY_S;
        break_pot(mine[i], at_s);
        look(at_s + 60);
    }
    ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM delivery_states "
                                        "WHERE state = 2"),
                     1);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM batch_states "
                                        "WHERE state = 2"),
                     1);
    ck_assert_int_eq(told("%batch 0503%but most in Place 1: place, road%"), 1);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM alerts WHERE "
                           "words LIKE 'batch 0503 %in the failing delivery "
                           "of 20__-__-__ to Place 1'"),
        1);
    batch_watch_free(watch);
    close_all();
}
END_TEST

int main(void)
{
    Suite *s = suite_create("batch_watch");
    TCase *tc = tcase_create("watch");

    tcase_set_timeout(tc, 120);
    tcase_add_test(tc, same_alarms_however_it_is_lived);
    tcase_add_test(tc, late_ones_are_not_lost);
    tcase_add_test(tc, place_weight_is_kept);
    tcase_add_test(tc, a_flood_is_no_shelf);
    tcase_add_test(tc, current_until_something_happens);
    tcase_add_test(tc, bad_road);
    tcase_add_test(tc, one_cart_of_a_batch);
    suite_add_tcase(s, tc);
    return fixture_run(s);
}
