/*
 * check_ledger_model.c - long random sequences of operations on the ledger
 * beside a model in plain arrays. Now and then a part of them is undone, in
 * the ledger by its savepoint and in the model by a copy.
 */
#include "ledger/exposure.h"
#include "ledger/notebook.h"
#include "tests/ledger_fixture.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define POTS    12
#define BATCHES 3
#define HOMES   5
#define OUTS    400
#define STEPS   4000
#define TIMES   64 /* hand-overs of one pot */

struct model_pot {
    int64_t failed_s, scrub_s, low_s, flow_s, last_report;
    int home, low, reports, times;
    int64_t given[TIMES], ended[TIMES];
    double flow;
};
struct model_out {
    int state, priority, tries;
    int64_t due_s, expires_s;
};
struct model_alert {
    int64_t id; /* of the standing one, 0 none */
    int state, gathered, opened;
    unsigned signs;
};
struct model {
    struct model_pot pots[POTS];
    struct model_out outs[OUTS];
    struct model_alert alerts[POTS];
    int n_outs;
    int64_t now_s;
};

static struct ledger *lg;
static struct model m;
static unsigned seed;
static int64_t home_ids[HOMES], batch_ids[BATCHES];

static int upto(int n)
{
    return (int)(rand_r(&seed) % (unsigned)n);
}

static int64_t key_of(int pot)
{
    return 1000 + pot;
}

/* ---- the world ---- */

static void make_world(void)
{
    enum ledger_change what;
    struct ledger_phone p;

    ck_assert_int_eq(ledger_phone_take(lg, "+99970012345", &p), 0);
    for (int i = 0; i < BATCHES; i++) {
        struct ledger_batch b = {.id = 0};

        snprintf(b.code, sizeof(b.code), "%04d", i);
        ck_assert_int_eq(ledger_batch_put(lg, &b, &what), 0);
        ck_assert_int_eq(what, LEDGER_NEW);
        batch_ids[i] = b.id;
    }
    for (int i = 0; i < HOMES; i++) {
        struct ledger_home h = {.phone_id = i == 0 ? p.id : 0};

        snprintf(h.code, sizeof(h.code), "home %d", i);
        ck_assert_int_eq(ledger_home_put(lg, &h, &what), 0);
        home_ids[i] = h.id;
    }
    for (int i = 0; i < POTS; i++) {
        struct ledger_pot pot = {.key = key_of(i)};

        pot.batch_id = batch_ids[i % BATCHES];
        snprintf(pot.serial, sizeof(pot.serial), "%09d", i);
        ck_assert_int_eq(ledger_pot_put(lg, &pot, false, &what), 0);
    }
    for (int i = 0; i < BATCHES; i++)
        ck_assert_int_eq(ledger_batch_sum(lg, batch_ids[i]), 0);
    m = (struct model){.now_s = 1000000};
    for (int i = 0; i < POTS; i++) {
        m.pots[i].home = -1;
        m.pots[i].flow = (double)NAN;
    }
}

/* ---- operations, each on both sides ---- */

static void give(void)
{
    int i = upto(POTS), home = upto(HOMES);
    struct model_pot *p = &m.pots[i];
    int64_t id, id_again;

    if (p->times == TIMES)
        return;
    ck_assert_int_eq(
        ledger_handover_put(lg, key_of(i), home_ids[home], m.now_s, &id), 0);
    ck_assert_int_eq(ledger_handover_put(lg, key_of(i), home_ids[home],
                                         m.now_s + 5, &id_again),
                     0);
    ck_assert_int_eq(id, id_again);
    if (p->home == home)
        return;
    if (p->home >= 0)
        p->ended[p->times - 1] = m.now_s;
    p->home = home;
    p->given[p->times] = m.now_s;
    p->ended[p->times++] = 0;
}

static void come_back(void)
{
    int i = upto(POTS);
    struct model_pot *p = &m.pots[i];
    int err = ledger_handover_end(lg, key_of(i), m.now_s, "swapped");

    ck_assert_int_eq(err, p->home < 0 ? KW_ENOENT : 0);
    if (err == 0) {
        p->home = -1;
        p->ended[p->times - 1] = m.now_s;
    }
}

static void report(void)
{
    int i = upto(POTS);
    struct model_pot *p = &m.pots[i];
    struct ledger_obs o[2] = {{.kind = "crack"}, {.kind = "ill", .people = 2}};
    struct ledger_report r = {.pot_key = key_of(i), .at_s = m.now_s};

    ck_assert_int_eq(ledger_report_put(lg, &r, o, (size_t)upto(3)), 0);
    p->reports++;
    p->last_report = r.id;
    if (upto(4) == 0) {
        ck_assert_int_eq(ledger_pot_fail(lg, key_of(i), m.now_s, r.id), 0);
        if (p->failed_s == 0)
            p->failed_s = m.now_s;
    }
}

static void flow(void)
{
    static const char *const verdicts[] = {"fine", "scrub", "replace", "stop"};
    int i = upto(POTS), v = upto(4);
    struct model_pot *p = &m.pots[i];
    struct ledger_flow f = {.log_se = 0.25, .verdict = verdicts[v]};
    struct ledger_report r = {
        .pot_key = key_of(i), .at_s = m.now_s, .flow = &f};

    f.first_hour_l = 0.5 + upto(100) / 50.0;
    ck_assert_int_eq(ledger_report_put(lg, &r, NULL, 0), 0);
    p->reports++;
    p->last_report = r.id;
    if (v == 3)
        return;
    p->flow = f.first_hour_l;
    p->flow_s = m.now_s;
    p->low = v == 0 ? 0 : p->low + 1;
    if (v != 0)
        p->low_s = m.now_s;
}

static void scrub(void)
{
    int i = upto(POTS);

    ck_assert_int_eq(ledger_pot_scrubbed(lg, key_of(i), m.now_s), 0);
    ck_assert_int_eq(ledger_pot_scrubbed(lg, key_of(i), m.now_s - 9), 0);
    m.pots[i].scrub_s = m.now_s;
}

static void raise_alert(void)
{
    int i = upto(POTS);
    struct model_alert *a = &m.alerts[i];
    struct ledger_alert x = {.kind = LEDGER_ALERT_FAST,
                             .on = LEDGER_ON_POT,
                             .subject_id = key_of(i),
                             .opened_s = m.now_s};
    int64_t report_id = m.pots[i].last_report;
    bool fresh, again;

    x.signs = 1u << upto(4);
    ck_assert_int_eq(ledger_alert_raise(lg, &x, report_id, 0, &fresh), 0);
    ck_assert_int_eq(ledger_alert_raise(lg, &x, report_id, 0, &again), 0);
    ck_assert(!again);
    ck_assert_int_eq(fresh, a->id == 0);
    if (fresh)
        *a = (struct model_alert){.id = x.id, .opened = a->opened + 1};
    ck_assert_int_eq(x.id, a->id);
    a->signs |= x.signs;
}

static void mark_alert(void)
{
    int i = upto(POTS), to = LEDGER_SEEN + upto(2);
    struct model_alert *a = &m.alerts[i];
    int err = ledger_alert_mark(lg, a->id, to, m.now_s, 0);

    if (a->id == 0) {
        ck_assert_int_eq(err, KW_ENOENT);
        return;
    }
    ck_assert_int_eq(err, a->state >= to ? KW_EDUP : 0);
    if (err == 0 && to == LEDGER_CLOSED)
        a->id = a->state = 0, a->signs = 0;
    else if (err == 0)
        a->state = to;
}

static void send(void)
{
    struct model_out *x = &m.outs[m.n_outs];
    struct ledger_out o = {.phone_id = 99970012345,
                           .carrier = "modem",
                           .kind = LEDGER_ALERT,
                           .at_s = m.now_s,
                           .body = "words"};

    if (m.n_outs == OUTS)
        return;
    o.priority = upto(4);
    o.due_s = m.now_s + upto(60) - 30;
    o.expires_s = upto(2) ? m.now_s + upto(90) : 0;
    ck_assert_int_eq(ledger_out_put(lg, &o), 0);
    ck_assert_int_eq(o.id, m.n_outs + 1); /* ids that were undone come again */
    *x =
        (struct model_out){LEDGER_WAITING, o.priority, 0, o.due_s, o.expires_s};
    m.n_outs++;
}

/* The due one that goes first, or -1. */
static int first_due(void)
{
    int best = -1;

    for (int i = 0; i < m.n_outs; i++) {
        const struct model_out *x = &m.outs[i];
        const struct model_out *b = &m.outs[best < 0 ? 0 : best];

        if (x->state != LEDGER_WAITING || x->due_s > m.now_s)
            continue;
        if (best < 0 || x->priority < b->priority ||
            (x->priority == b->priority && x->due_s < b->due_s))
            best = i;
    }
    return best;
}

static void claim(void)
{
    struct ledger_out out[5];
    int most = 1 + upto(5);
    int n = ledger_out_claim(lg, "modem", m.now_s, out, most);

    ck_assert_int_ge(n, 0);
    for (int k = 0; k < most; k++) {
        int i = first_due();

        while (i >= 0 && m.outs[i].expires_s != 0 &&
               m.outs[i].expires_s <= m.now_s) {
            m.outs[i].state = LEDGER_EXPIRED;
            i = first_due();
        }
        if (k >= n) {
            ck_assert_int_eq(i, -1);
            break;
        }
        ck_assert_int_eq(out[k].id, i + 1);
        ck_assert_int_eq(out[k].tries, ++m.outs[i].tries);
        ck_assert_str_eq(out[k].to, "+99970012345");
        ck_assert_str_eq(out[k].body, "words");
        m.outs[i].state = LEDGER_FLYING;
    }
}

static void land(void)
{
    int i = m.n_outs > 0 ? upto(m.n_outs) : 0;
    struct model_out *x = &m.outs[i];

    if (m.n_outs == 0 || x->state != LEDGER_FLYING)
        return;
    if (upto(3) == 0) {
        x->due_s = m.now_s + upto(40);
        x->state = LEDGER_WAITING;
        ck_assert_int_eq(ledger_out_again(lg, i + 1, x->due_s, "busy"), 0);
        return;
    }
    x->state = upto(2) ? LEDGER_SENT : LEDGER_FAILED;
    ck_assert_int_eq(
        ledger_out_settle(lg, i + 1, x->state, m.now_s, "so it is"), 0);
}

static void recover(void)
{
    bool safe = upto(2);
    int flying = 0;

    if (upto(10) != 0)
        return;
    for (int i = 0; i < m.n_outs; i++) {
        if (m.outs[i].state == LEDGER_FLYING) {
            bool again = safe || m.outs[i].priority == LEDGER_PRIORITY_DANGER;

            m.outs[i].state = again ? LEDGER_WAITING : LEDGER_PERHAPS;
            flying++;
        }
    }
    ck_assert_int_eq(ledger_out_recover(lg, "modem", safe), flying);
    ck_assert_int_eq(ledger_out_recover(lg, "no such carrier", safe), 0);
}

static void pass_time(void)
{
    m.now_s += 1 + upto(30);
}

static void (*const operations[])(void) = {
    give, come_back, report, flow, scrub, raise_alert, mark_alert,
    send, send,      claim,  land, land,  recover};

/* ---- comparing ---- */

static void compare_pot(int i)
{
    const struct model_pot *p = &m.pots[i];
    struct ledger_pot x;
    int64_t ids[STEPS];
    int n;

    ck_assert_int_eq(ledger_pot_get(lg, key_of(i), &x), 0);
    ck_assert_int_eq(x.home_id, p->home < 0 ? 0 : home_ids[p->home]);
    ck_assert_int_eq(x.given_s, p->home < 0 ? 0 : p->given[p->times - 1]);
    ck_assert_int_eq(x.failed_s, p->failed_s);
    ck_assert_int_eq(x.last_scrub_s, p->scrub_s);
    ck_assert_int_eq(x.low_before, p->low);
    ck_assert_int_eq(x.last_low_s, p->low_s);
    ck_assert_int_eq(x.last_flow_s, p->flow_s);
    ck_assert(isnan(p->flow) ? isnan(x.last_flow_l) : x.last_flow_l == p->flow);
    n = ledger_pot_reports(lg, key_of(i), ids, STEPS);
    ck_assert_int_eq(n, p->reports);
    if (n > 0)
        ck_assert_int_eq(ids[0], p->last_report);
    for (int k = 1; k < n; k++)
        ck_assert_int_lt(ids[k], ids[k - 1]);
}

static void compare_out(void)
{
    int64_t due = INT64_MAX, got;
    int err = ledger_out_next_due(lg, "modem", &got);
    char sql[96];

    for (int i = 0; i < m.n_outs; i++) {
        if (m.outs[i].state == LEDGER_WAITING && m.outs[i].due_s < due)
            due = m.outs[i].due_s;
        snprintf(sql, sizeof(sql), "SELECT state FROM outbox WHERE id = %d",
                 i + 1);
        ck_assert_int_eq(fixture_number(lg, sql), m.outs[i].state);
    }
    ck_assert_int_eq(err, due == INT64_MAX ? KW_ENOENT : 0);
    if (err == 0)
        ck_assert_int_eq(got, due);
}

static int count_open(const struct ledger_alert *a, void *arg)
{
    int i = (int)(a->subject_id - 1000);

    ck_assert_int_eq(a->id, m.alerts[i].id);
    ck_assert_uint_eq(a->signs, m.alerts[i].signs);
    ck_assert_int_eq(a->state, m.alerts[i].state);
    ++*(int *)arg;
    return 0;
}

static int seen_exposure(const struct ledger_exposure *e, void *arg)
{
    int *left = arg, i = (int)(e->pot_key - 1000);
    const struct model_pot *p = &m.pots[i];
    int at = 0;

    while (at < p->times && p->given[at] != e->given_s)
        at++;
    ck_assert_int_lt(at, p->times);
    ck_assert_int_eq(e->ended_s, p->ended[at]);
    ck_assert_int_eq(e->batch_id, batch_ids[i % BATCHES]);
    ck_assert_int_eq(e->first, at == 0);
    left[i] += 1;
    left[POTS + i] += e->failed_s != 0;
    if (e->failed_s != 0)
        ck_assert_int_ge(e->failed_s, e->given_s);
    return 0;
}

static void compare_exposure(void)
{
    int seen[2 * POTS] = {0};

    ck_assert_int_eq(ledger_exposure_each(lg, seen_exposure, seen), 0);
    for (int i = 0; i < POTS; i++) {
        const struct model_pot *p = &m.pots[i];
        int began = 0;

        for (int k = 0; k < p->times; k++)
            began +=
                p->failed_s == 0 || p->times == 1 || p->given[k] <= p->failed_s;
        ck_assert_int_eq(seen[i], began);
        ck_assert_int_eq(seen[POTS + i], p->failed_s != 0 && began > 0);
    }
}

static void compare(void)
{
    int64_t keys[POTS];
    int open = 0, standing = 0, mine = 0;

    for (int i = 0; i < POTS; i++) {
        compare_pot(i);
        standing += m.alerts[i].id != 0;
        mine += m.pots[i].home == 0;
    }
    ck_assert_int_eq(ledger_pots_of_phone(lg, 99970012345, keys, POTS), mine);
    ck_assert_int_eq(ledger_alerts_each(lg, true, 0, count_open, &open), 0);
    ck_assert_int_eq(open, standing);
    compare_out();
    compare_exposure();
    fixture_check(lg);
}

/* ---- the run ---- */

static void some_steps(int n)
{
    for (int i = 0; i < n; i++) {
        operations[upto((int)KW_COUNT(operations))]();
        pass_time();
    }
}

/* A stretch that is taken back. */
static void undone(int n)
{
    struct model *kept = kw_malloc(sizeof(m));

    *kept = m;
    ck_assert_int_eq(ledger_savepoint(lg), 0);
    some_steps(n);
    ledger_undo(lg);
    m = *kept;
    kw_free(kept);
}

START_TEST(random_operations)
{
    seed = 100u + (unsigned)_i;
    lg = fixture_open();
    ck_assert_int_eq(ledger_begin(lg), 0);
    make_world();
    for (int done = 0; done < STEPS; done += 100) {
        some_steps(100);
        undone(upto(30));
        if (done % 1000 == 0) {
            ck_assert_int_eq(ledger_commit(lg), 0);
            compare();
            ledger_close(lg);
            lg = fixture_open(); /* what is kept is on the disk */
            ck_assert_int_eq(ledger_begin(lg), 0);
        }
        compare();
    }
    ck_assert_int_eq(ledger_commit(lg), 0);
    compare();
    ledger_close(lg);
    fixture_remove();
}
END_TEST

static Suite *suite(void)
{
    Suite *s = suite_create("ledger_model");
    TCase *t = tcase_create("model");

    suite_add_tcase(s, t);
    tcase_set_timeout(t, 60);
    tcase_add_loop_test(t, random_operations, 0, 4);
    return s;
}

int main(void)
{
    return fixture_run(suite());
}
