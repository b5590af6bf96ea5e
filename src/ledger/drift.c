/* drift.c - see drift.h. */
#include "ledger/drift.h"

#include "ledger/engine.h"

#include <string.h>

#define STATE "level, slope, p11, p12, p22"

static void read_state(struct query *q, int from, struct ledger_drift *d)
{
    d->level = query_get_f64(q, from);
    d->slope = query_get_f64(q, from + 1);
    d->p11 = query_get_f64(q, from + 2);
    d->p12 = query_get_f64(q, from + 3);
    d->p22 = query_get_f64(q, from + 4);
    d->at_days = query_get_f64(q, from + 5);
    d->scrubbed_days = query_get_f64(q, from + 6);
    d->flagged = (int)query_get_i64(q, from + 7);
    d->fresh_scrub = query_get_i64(q, from + 8) != 0;
    d->readings = (int)query_get_i64(q, from + 9);
    d->scrubs_seen = (int)query_get_i64(q, from + 10);
    d->gain_sum = query_get_f64(q, from + 11);
}

int ledger_drift_get(struct ledger *lg, int64_t pot_key,
                     struct ledger_drift *out)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT " STATE ", at_days, scrubbed_days, flagged, "
               "fresh_scrub, readings, scrubs_seen, gain_sum "
               "FROM drifts WHERE pot_key = $1");
    query_i64(&q, pot_key);
    err = query_one(&q);
    if (err < 0)
        return err;
    *out = (struct ledger_drift){.pot_key = pot_key, .known = true};
    read_state(&q, 0, out);
    query_close(&q);
    return 0;
}

int ledger_drift_put(struct ledger *lg, const struct ledger_drift *d)
{
    struct query q;

    if (d->known)
        query_open(&q, lg,
                   "UPDATE drifts SET level = $2, slope = $3, p11 = $4, "
                   "p12 = $5, p22 = $6, at_days = $7, scrubbed_days = $8, "
                   "flagged = $9, fresh_scrub = $10, readings = $11, "
                   "scrubs_seen = $12, gain_sum = $13 WHERE pot_key = $1");
    else
        query_open(&q, lg,
                   "INSERT INTO drifts (pot_key, " STATE ", at_days, "
                   "scrubbed_days, flagged, fresh_scrub, readings, "
                   "scrubs_seen, gain_sum) VALUES ($1, $2, $3, $4, $5, $6, "
                   "$7, $8, $9, $10, $11, $12, $13) "
                   "ON CONFLICT (pot_key) DO UPDATE SET "
                   "level = $2, slope = $3, p11 = $4, p12 = $5, p22 = $6, "
                   "at_days = $7, scrubbed_days = $8, flagged = $9, "
                   "fresh_scrub = $10, readings = $11, scrubs_seen = $12, "
                   "gain_sum = $13");
    query_i64(&q, d->pot_key);
    query_f64(&q, d->level);
    query_f64(&q, d->slope);
    query_f64(&q, d->p11);
    query_f64(&q, d->p12);
    query_f64(&q, d->p22);
    query_f64(&q, d->at_days);
    query_f64(&q, d->scrubbed_days);
    query_i64(&q, d->flagged);
    query_i64(&q, d->fresh_scrub);
    query_i64(&q, d->readings);
    query_i64(&q, d->scrubs_seen);
    query_f64(&q, d->gain_sum);
    return query_run(&q);
}

/* ---- decisions ---- */

#define RULE "limit_l, too_fast_l, ask_scrub, sure, rise_log"

static int find_rule(struct ledger *lg, const double *numbers, int64_t *id)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT id FROM flow_rules WHERE limit_l = $1 AND "
               "too_fast_l = $2 AND ask_scrub = $3 AND sure = $4 AND "
               "rise_log = $5");
    for (int i = 0; i < KEPT_NUMBERS; i++)
        query_f64(&q, numbers[i]);
    if ((err = query_one(&q)) < 0)
        return err;
    *id = query_get_i64(&q, 0);
    query_close(&q);
    return 0;
}

static int add_rule(struct ledger *lg, const double *numbers, int64_t *id)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO flow_rules (" RULE ") "
               "VALUES ($1, $2, $3, $4, $5)");
    for (int i = 0; i < KEPT_NUMBERS; i++)
        query_f64(&q, numbers[i]);
    return query_insert(&q, id);
}

int ledger_rule_take(struct ledger *lg, const struct ledger_decision *d,
                     int64_t *id)
{
    const double numbers[KEPT_NUMBERS] = {d->limit_l, d->too_fast_l,
                                          d->ask_scrub, d->sure, d->rise_log};
    struct kept_rule *kept = kept_rule(&lg->kept, numbers);
    int err;

    if (kept->id != 0 && memcmp(kept->numbers, numbers, sizeof(numbers)) == 0) {
        *id = kept->id;
        return 0;
    }
    err = find_rule(lg, numbers, id);
    if (err == KW_ENOENT)
        err = add_rule(lg, numbers, id);
    if (err == 0 && engine_in_transaction(lg)) {
        memcpy(kept->numbers, numbers, sizeof(numbers));
        kept->id = *id;
    }
    return err;
}

int ledger_decision_get(struct ledger *lg, int64_t report_id,
                        struct ledger_decision *out)
{
    struct query q;
    int err;

    query_open(
        &q, lg,
        "SELECT r.pot_key, " STATE ", innovation, variance, p_below, " RULE
        ", why, prior FROM flows f JOIN flow_rules u ON u.id = f.rule_id "
        "JOIN reports r ON r.id = f.report_id WHERE f.report_id = $1");
    query_i64(&q, report_id);
    err = query_one(&q);
    if (err < 0)
        return err;
    *out = (struct ledger_decision){.report_id = report_id,
                                    .pot_key = query_get_i64(&q, 0),
                                    .level = query_get_f64(&q, 1),
                                    .slope = query_get_f64(&q, 2),
                                    .p11 = query_get_f64(&q, 3),
                                    .p12 = query_get_f64(&q, 4),
                                    .p22 = query_get_f64(&q, 5),
                                    .innovation = query_get_f64(&q, 6),
                                    .variance = query_get_f64(&q, 7),
                                    .p_below = query_get_f64(&q, 8),
                                    .limit_l = query_get_f64(&q, 9),
                                    .too_fast_l = query_get_f64(&q, 10),
                                    .ask_scrub = query_get_f64(&q, 11),
                                    .sure = query_get_f64(&q, 12),
                                    .rise_log = query_get_f64(&q, 13),
                                    .why = (unsigned)query_get_i64(&q, 14),
                                    .prior = (int)query_get_i64(&q, 15)};
    query_close(&q);
    return 0;
}

int ledger_fast_closed(struct ledger *lg, int64_t pot_key, int64_t *closed_s)
{
    struct query q;
    int64_t standing;
    int err;

    query_open(&q, lg,
               "SELECT max(closed_s), sum(state < $3) FROM alerts "
               "WHERE kind = $1 AND subject = $4 AND subject_id = $2");
    query_i64(&q, LEDGER_ALERT_FAST);
    query_i64(&q, pot_key);
    query_i64(&q, LEDGER_CLOSED);
    query_i64(&q, LEDGER_ON_POT);
    if ((err = query_one(&q)) < 0)
        return err;
    *closed_s = query_get_i64(&q, 0);
    standing = query_get_i64(&q, 1);
    query_close(&q);
    return *closed_s == 0 || standing > 0 ? KW_ENOENT : 0;
}

/* ---- what a batch has taught ---- */

int ledger_batch_drift_get(struct ledger *lg, int64_t batch_id,
                           struct ledger_batch_drift *out)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT slope, gain, slope_pots, gain_pots, learnt_s "
               "FROM batch_drifts WHERE batch_id = $1");
    query_i64(&q, batch_id);
    err = query_one(&q);
    if (err < 0)
        return err;
    *out = (struct ledger_batch_drift){.batch_id = batch_id,
                                       .slope = query_get_f64(&q, 0),
                                       .gain = query_get_f64(&q, 1),
                                       .slope_pots = query_get_i64(&q, 2),
                                       .gain_pots = query_get_i64(&q, 3),
                                       .learnt_s = query_get_i64(&q, 4)};
    query_close(&q);
    return 0;
}

int ledger_batch_drift_put(struct ledger *lg,
                           const struct ledger_batch_drift *d)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO batch_drifts (batch_id, slope, gain, slope_pots, "
               "gain_pots, learnt_s) VALUES ($1, $2, $3, $4, $5, $6) "
               "ON CONFLICT (batch_id) DO UPDATE SET slope = $2, gain = $3, "
               "slope_pots = $4, gain_pots = $5, learnt_s = $6");
    query_i64(&q, d->batch_id);
    query_f64(&q, d->slope);
    query_f64(&q, d->gain);
    query_i64(&q, d->slope_pots);
    query_i64(&q, d->gain_pots);
    query_i64(&q, d->learnt_s);
    return query_run(&q);
}

/* The id of the last of the next batches; how many they are. */
static int next_batches(struct ledger *lg, int64_t after, int batches,
                        int64_t *last)
{
    struct query q;
    int err, n;

    query_open(&q, lg,
               "SELECT max(id), count(*) FROM (SELECT id FROM batches "
               "WHERE id > $1 ORDER BY id LIMIT $2) AS next");
    query_i64(&q, after);
    query_i64(&q, batches);
    if ((err = query_one(&q)) < 0)
        return err;
    *last = query_get_i64(&q, 0);
    n = (int)query_get_i64(&q, 1);
    query_close(&q);
    return n;
}

int ledger_drifts_each(struct ledger *lg, int64_t *batch_id, int batches,
                       int (*f)(int64_t batch_id, const struct ledger_drift *,
                                void *arg),
                       void *arg)
{
    int64_t last = 0;
    struct query q;
    int err, n = next_batches(lg, *batch_id, batches, &last);

    if (n <= 0)
        return n;
    query_open(&q, lg,
               "SELECT p.batch_id, d.pot_key, d.level, d.slope, d.p11, "
               "d.p12, d.p22, d.at_days, d.scrubbed_days, d.flagged, "
               "d.fresh_scrub, d.readings, d.scrubs_seen, d.gain_sum "
               "FROM pots p JOIN drifts d ON d.pot_key = p.key "
               "WHERE p.batch_id > $1 AND p.batch_id <= $2 "
               "ORDER BY p.batch_id");
    query_i64(&q, *batch_id);
    query_i64(&q, last);
    while ((err = query_next(&q)) == 1) {
        struct ledger_drift d = {.pot_key = query_get_i64(&q, 1)};

        read_state(&q, 2, &d);
        if ((err = f(query_get_i64(&q, 0), &d, arg)) < 0)
            break;
    }
    query_close(&q);
    if (err < 0)
        return err;
    *batch_id = last;
    return n;
}
