/*
 * pots.c - pots and their time in homes. A pot's row carries its latest
 * hand-over, so that a text and the scan of exposure need no other row.
 */
#include "ledger/engine.h"
#include "ledger/notebook.h"

#include <string.h>

static void read_flow(struct query *q, struct ledger_pot *p)
{
    p->last_flow_l = query_get_f64(q, 11);
    p->last_flow_log_se = query_get_f64(q, 12);
    p->last_flow_s = query_get_i64(q, 13);
    p->low_before = (int)query_get_i64(q, 14);
    p->last_low_s = query_get_i64(q, 15);
    p->last_scrub_s = query_get_i64(q, 16);
}

int ledger_pot_get(struct ledger *lg, int64_t key, struct ledger_pot *p)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT p.serial, p.batch_id, p.mould, p.test_l, p.failed_s, "
               "p.scrapped, p.home_id, h.phone_id, h.place_id, p.given_s, "
               "p.handover_id, p.last_flow_l, p.last_flow_log_se, "
               "p.last_flow_s, p.low_before, p.last_low_s, p.last_scrub_s, "
               "b.mould, (SELECT a.id FROM alerts a WHERE a.kind = $2 "
               "AND a.subject = $3 AND a.subject_id = p.key AND a.state < 2), "
               "b.recalled_s, p.shelf, b.test_mean_l, b.test_max_l, d.slope, "
               "d.gain, p.last_report_id "
               "FROM pots p JOIN batches b ON b.id = p.batch_id "
               "LEFT JOIN homes h ON h.id = p.home_id "
               "LEFT JOIN batch_drifts d ON d.batch_id = p.batch_id "
               "WHERE p.key = $1");
    query_i64(&q, key);
    query_i64(&q, LEDGER_ALERT_FAST);
    query_i64(&q, LEDGER_ON_POT);
    err = query_one(&q);
    if (err < 0)
        return err;
    memset(p, 0, sizeof(*p));
    p->key = key;
    query_copy(&q, 0, p->serial, sizeof(p->serial));
    p->batch_id = query_get_i64(&q, 1);
    query_copy(&q, 2, p->mould, sizeof(p->mould));
    p->test_l = query_get_f64(&q, 3);
    p->failed_s = query_get_i64(&q, 4);
    p->scrapped = query_get_i64(&q, 5) != 0;
    p->home_id = query_get_i64(&q, 6);
    if (p->home_id != 0) {
        p->phone_id = query_get_i64(&q, 7);
        p->place_id = query_get_i64(&q, 8);
        p->given_s = query_get_i64(&q, 9);
        p->handover_id = query_get_i64(&q, 10);
    }
    read_flow(&q, p);
    query_copy(&q, 17, p->batch_mould, sizeof(p->batch_mould));
    p->fast_alert_id = query_get_i64(&q, 18);
    p->recalled_s = query_get_i64(&q, 19);
    query_copy(&q, 20, p->shelf, sizeof(p->shelf));
    p->batch_mean_l = query_get_f64(&q, 21);
    p->batch_max_l = query_get_f64(&q, 22);
    p->batch_slope = query_get_f64(&q, 23);
    p->batch_gain = query_get_f64(&q, 24);
    if (engine_in_transaction(lg)) {
        lg->kept.head.key = key;
        lg->kept.head.last_report_id = query_get_i64(&q, 25);
        lg->kept.head.last_flow_s = p->last_flow_s;
    }
    query_close(&q);
    return 0;
}

int ledger_pots_of_phone(struct ledger *lg, int64_t phone_id, int64_t *keys,
                         int most)
{
    struct query q;
    int n = 0, err;

    query_open(&q, lg,
               "SELECT p.key FROM homes h JOIN pots p ON p.home_id = h.id "
               "WHERE h.phone_id = $1 ORDER BY p.key");
    query_i64(&q, phone_id);
    while ((err = query_next(&q)) == 1) {
        if (n < most)
            keys[n] = query_get_i64(&q, 0);
        n++;
    }
    query_close(&q);
    return err < 0 ? err : n;
}

/* ---- what is reported of it ---- */

static int count_failed(struct ledger *lg, int64_t batch_id)
{
    struct query q;

    query_open(&q, lg, "UPDATE batches SET failed = failed + 1 WHERE id = $1");
    query_i64(&q, batch_id);
    return query_run(&q);
}

int ledger_pot_fail(struct ledger *lg, int64_t key, int64_t at_s,
                    int64_t report_id)
{
    struct query q;
    int64_t batch_id;
    int err;

    query_open(&q, lg,
               "UPDATE pots SET failed_s = $2, failed_report_id = $3 "
               "WHERE key = $1 AND failed_s IS NULL RETURNING batch_id");
    query_i64(&q, key);
    query_i64(&q, at_s);
    query_id(&q, report_id);
    err = query_returning(&q, &batch_id);
    if (err == KW_ENOENT)
        return 0; /* it failed before, or is not known yet */
    return err < 0 ? err : count_failed(lg, batch_id);
}

int ledger_pot_scrubbed(struct ledger *lg, int64_t key, int64_t at_s)
{
    struct query q;

    query_open(&q, lg,
               "UPDATE pots SET last_scrub_s = $2 WHERE key = $1 "
               "AND coalesce(last_scrub_s, 0) < $2");
    query_i64(&q, key);
    query_i64(&q, at_s);
    return query_run(&q);
}

/* ---- hand-overs ---- */

static int close_handover(struct ledger *lg, int64_t id, int64_t at_s,
                          const char *reason)
{
    struct query q;

    query_open(&q, lg,
               "UPDATE handovers SET ended_s = $2, reason = $3 "
               "WHERE id = $1");
    query_i64(&q, id);
    query_i64(&q, at_s);
    query_text(&q, reason);
    return query_run(&q);
}

static int add_handover(struct ledger *lg, int64_t pot_key, int64_t home_id,
                        int64_t at_s, int64_t *id)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO handovers (pot_key, home_id, given_s) "
               "VALUES ($1, $2, $3) RETURNING id");
    query_i64(&q, pot_key);
    query_i64(&q, home_id);
    query_i64(&q, at_s);
    return query_returning(&q, id);
}

/* The pot goes out: its row follows, and its batch when it is the first. */
static int pot_goes(struct ledger *lg, int64_t pot_key, int64_t home_id,
                    int64_t at_s, int64_t handover_id)
{
    struct query q;
    int64_t outings;
    int err;

    query_open(&q, lg,
               "UPDATE pots SET home_id = $2, given_s = $3, ended_s = NULL, "
               "handover_id = $4, outings = outings + 1 WHERE key = $1 "
               "RETURNING outings");
    query_i64(&q, pot_key);
    query_i64(&q, home_id);
    query_i64(&q, at_s);
    query_i64(&q, handover_id);
    err = query_returning(&q, &outings);
    if (err < 0 || outings > 1)
        return err;
    query_open(&q, lg,
               "UPDATE batches SET pots_out = pots_out + 1 WHERE id = "
               "(SELECT batch_id FROM pots WHERE key = $1)");
    query_i64(&q, pot_key);
    return query_run(&q);
}

/* When the latest hand-over began and ended, 0 none. */
static int latest(struct ledger *lg, int64_t pot_key, int64_t *given_s,
                  int64_t *ended_s)
{
    struct query q;
    int err;

    query_open(&q, lg, "SELECT given_s, ended_s FROM pots WHERE key = $1");
    query_i64(&q, pot_key);
    err = query_one(&q);
    if (err < 0)
        return err;
    *given_s = query_get_i64(&q, 0);
    *ended_s = query_get_i64(&q, 1);
    query_close(&q);
    return 0;
}

int ledger_handover_put(struct ledger *lg, int64_t pot_key, int64_t home_id,
                        int64_t at_s, int64_t *id)
{
    struct ledger_pot pot;
    int64_t given_s = 0, ended_s = 0, handover_id = 0;
    int err = ledger_pot_get(lg, pot_key, &pot);

    if (err == 0)
        err = latest(lg, pot_key, &given_s, &ended_s);
    if (err < 0)
        return err;
    if (pot.home_id == home_id) {
        *id = pot.handover_id;
        return 0;
    }
    if (given_s != 0 && (at_s <= given_s || at_s < ended_s))
        return KW_EINVAL;
    if (pot.home_id != 0)
        err = close_handover(lg, pot.handover_id, at_s, "handed on");
    if (err == 0)
        err = add_handover(lg, pot_key, home_id, at_s, &handover_id);
    if (err == 0)
        err = pot_goes(lg, pot_key, home_id, at_s, handover_id);
    if (err == 0)
        *id = handover_id;
    return err;
}

int ledger_handover_end(struct ledger *lg, int64_t pot_key, int64_t at_s,
                        const char *reason)
{
    struct ledger_pot pot;
    struct query q;
    int err = ledger_pot_get(lg, pot_key, &pot);

    if (err < 0)
        return err;
    if (pot.home_id == 0)
        return KW_ENOENT;
    if (at_s < pot.given_s)
        return KW_EINVAL;
    err = close_handover(lg, pot.handover_id, at_s, reason);
    if (err < 0)
        return err;
    query_open(&q, lg,
               "UPDATE pots SET home_id = NULL, ended_s = $2 WHERE key = $1");
    query_i64(&q, pot_key);
    query_i64(&q, at_s);
    return query_run(&q);
}
