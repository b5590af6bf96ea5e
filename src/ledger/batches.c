/* batches.c - batches with mix, firing, silver and the sums beside them. */
#include "ledger/engine.h"
#include "ledger/notebook.h"

#include <string.h>

#define COLUMNS                                                                \
    "SELECT b.id, b.code, b.pressed_s, f.fired_s, s.silvered_s, b.workshop, "  \
    "b.mould, m.clay_pit, m.presser, m.sawdust_pct, m.sawdust_mesh, "          \
    "m.drying_days, f.kiln, f.cone, f.peak_degc, f.soak_min, f.cooling_h, "    \
    "s.silver_mg, b.tested, b.accepted, b.test_mean_l, b.test_min_l, "         \
    "b.test_max_l, b.pots, b.pots_out, b.failed, b.recalled_s FROM batches b " \
    "LEFT JOIN mixes m ON m.batch_id = b.id "                                  \
    "LEFT JOIN firings f ON f.batch_id = b.id "                                \
    "LEFT JOIN silver s ON s.batch_id = b.id "

static void read_makings(struct query *q, struct ledger_batch *b)
{
    query_copy(q, 5, b->workshop, sizeof(b->workshop));
    query_copy(q, 6, b->mould, sizeof(b->mould));
    query_copy(q, 7, b->clay_pit, sizeof(b->clay_pit));
    query_copy(q, 8, b->presser, sizeof(b->presser));
    b->sawdust_pct = query_get_f64(q, 9);
    b->sawdust_mesh = query_get_f64(q, 10);
    b->drying_days = query_get_f64(q, 11);
    query_copy(q, 12, b->kiln, sizeof(b->kiln));
    query_copy(q, 13, b->cone, sizeof(b->cone));
    b->peak_degc = query_get_f64(q, 14);
    b->soak_min = query_get_f64(q, 15);
    b->cooling_h = query_get_f64(q, 16);
    b->silver_mg = query_get_f64(q, 17);
}

static int take_row(struct query *q, struct ledger_batch *b)
{
    int err = query_one(q);

    if (err < 0)
        return err;
    memset(b, 0, sizeof(*b));
    b->id = query_get_i64(q, 0);
    query_copy(q, 1, b->code, sizeof(b->code));
    b->pressed_s = query_get_i64(q, 2);
    b->fired_s = query_get_i64(q, 3);
    b->silvered_s = query_get_i64(q, 4);
    read_makings(q, b);
    b->tested = (int)query_get_i64(q, 18);
    b->accepted = (int)query_get_i64(q, 19);
    b->test_mean_l = query_get_f64(q, 20);
    b->test_min_l = query_get_f64(q, 21);
    b->test_max_l = query_get_f64(q, 22);
    b->pots = (int)query_get_i64(q, 23);
    b->pots_out = (int)query_get_i64(q, 24);
    b->failed = (int)query_get_i64(q, 25);
    b->recalled_s = query_get_i64(q, 26);
    query_close(q);
    return 0;
}

int ledger_batch_get(struct ledger *lg, int64_t id, struct ledger_batch *out)
{
    struct query q;

    query_open(&q, lg, COLUMNS "WHERE b.id = $1");
    query_i64(&q, id);
    return take_row(&q, out);
}

int ledger_batch_find(struct ledger *lg, const char *code,
                      struct ledger_batch *out)
{
    struct query q;

    query_open(&q, lg, COLUMNS "WHERE b.code = $1");
    query_text(&q, code);
    return take_row(&q, out);
}

int ledger_batch_recall(struct ledger *lg, int64_t id, int64_t at_s)
{
    struct query q;

    query_open(&q, lg,
               "UPDATE batches SET recalled_s = $2 WHERE id = $1 "
               "AND recalled_s IS NULL");
    query_i64(&q, id);
    query_i64(&q, at_s);
    return query_run(&q);
}

/* ---- putting ---- */

/* Runs an upsert that returns a row only when it wrote one. */
static int wrote(struct query *q, bool *changed, int64_t *id)
{
    int err = query_returning(q, id);

    if (err == 0)
        *changed = true;
    return err == KW_ENOENT ? 0 : err;
}

static int put_row(struct ledger *lg, struct ledger_batch *b, bool *changed)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO batches (code, workshop, mould, pressed_s, "
               "recalled_s) VALUES ($1, $2, $3, $4, $5) ON CONFLICT (code) "
               "DO UPDATE SET workshop = excluded.workshop, "
               "mould = excluded.mould, pressed_s = excluded.pressed_s, "
               "recalled_s = excluded.recalled_s "
               "WHERE (batches.workshop, batches.mould, batches.pressed_s, "
               "batches.recalled_s) IS DISTINCT FROM "
               "(excluded.workshop, excluded.mould, excluded.pressed_s, "
               "excluded.recalled_s) "
               "RETURNING id");
    query_text(&q, b->code);
    query_text(&q, b->workshop);
    query_text(&q, b->mould);
    query_id(&q, b->pressed_s);
    query_id(&q, b->recalled_s);
    return wrote(&q, changed, b->id == 0 ? &b->id : NULL);
}

static int put_mix(struct ledger *lg, const struct ledger_batch *b,
                   bool *changed)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO mixes (batch_id, clay_pit, presser, sawdust_pct, "
               "sawdust_mesh, drying_days) VALUES ($1, $2, $3, $4, $5, $6) "
               "ON CONFLICT (batch_id) DO UPDATE SET "
               "clay_pit = excluded.clay_pit, presser = excluded.presser, "
               "sawdust_pct = excluded.sawdust_pct, "
               "sawdust_mesh = excluded.sawdust_mesh, "
               "drying_days = excluded.drying_days "
               "WHERE (mixes.clay_pit, mixes.presser, mixes.sawdust_pct, "
               "mixes.sawdust_mesh, mixes.drying_days) IS DISTINCT FROM "
               "(excluded.clay_pit, excluded.presser, excluded.sawdust_pct, "
               "excluded.sawdust_mesh, excluded.drying_days) "
               "RETURNING batch_id");
    query_i64(&q, b->id);
    query_text(&q, b->clay_pit);
    query_text(&q, b->presser);
    query_f64(&q, b->sawdust_pct);
    query_f64(&q, b->sawdust_mesh);
    query_f64(&q, b->drying_days);
    return wrote(&q, changed, NULL);
}

static int put_firing(struct ledger *lg, const struct ledger_batch *b,
                      bool *changed)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO firings (batch_id, fired_s, kiln, cone, "
               "peak_degc, soak_min, cooling_h) "
               "VALUES ($1, $2, $3, $4, $5, $6, $7) "
               "ON CONFLICT (batch_id) DO UPDATE SET "
               "fired_s = excluded.fired_s, kiln = excluded.kiln, "
               "cone = excluded.cone, peak_degc = excluded.peak_degc, "
               "soak_min = excluded.soak_min, "
               "cooling_h = excluded.cooling_h "
               "WHERE (firings.fired_s, firings.kiln, firings.cone, "
               "firings.peak_degc, firings.soak_min, firings.cooling_h) "
               "IS DISTINCT FROM (excluded.fired_s, excluded.kiln, "
               "excluded.cone, excluded.peak_degc, excluded.soak_min, "
               "excluded.cooling_h) RETURNING batch_id");
    query_i64(&q, b->id);
    query_id(&q, b->fired_s);
    query_text(&q, b->kiln);
    query_text(&q, b->cone);
    query_f64(&q, b->peak_degc);
    query_f64(&q, b->soak_min);
    query_f64(&q, b->cooling_h);
    return wrote(&q, changed, NULL);
}

static int put_silver(struct ledger *lg, const struct ledger_batch *b,
                      bool *changed)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO silver (batch_id, silvered_s, silver_mg) "
               "VALUES ($1, $2, $3) ON CONFLICT (batch_id) DO UPDATE SET "
               "silvered_s = excluded.silvered_s, "
               "silver_mg = excluded.silver_mg "
               "WHERE (silver.silvered_s, silver.silver_mg) "
               "IS DISTINCT FROM (excluded.silvered_s, excluded.silver_mg) "
               "RETURNING batch_id");
    query_i64(&q, b->id);
    query_id(&q, b->silvered_s);
    query_f64(&q, b->silver_mg);
    return wrote(&q, changed, NULL);
}

int ledger_batch_put(struct ledger *lg, struct ledger_batch *b,
                     enum ledger_change *what)
{
    bool known = b->id != 0, changed = false;
    int err = put_row(lg, b, &changed);

    if (err == 0)
        err = put_mix(lg, b, &changed);
    if (err == 0)
        err = put_firing(lg, b, &changed);
    if (err == 0)
        err = put_silver(lg, b, &changed);
    *what = !known ? LEDGER_NEW : changed ? LEDGER_CHANGED : LEDGER_SAME;
    return err;
}

/* ---- flow tests and sums ---- */

static int same_test(struct ledger *lg, const struct ledger_test *t)
{
    struct query q;

    query_open(&q, lg,
               "SELECT id FROM flow_tests WHERE batch_id = $1 "
               "AND pot_key IS NULL AND nth = $2 AND "
               "(tested_s, litres, minutes, water_degc, accepted) "
               "IS NOT DISTINCT FROM ($3, $4, $5, $6, $7)");
    query_i64(&q, t->batch_id);
    query_i64(&q, t->nth);
    query_id(&q, t->tested_s);
    query_f64(&q, t->litres);
    query_f64(&q, t->minutes);
    query_f64(&q, t->water_degc);
    query_i64(&q, t->accepted);
    return query_returning(&q, NULL);
}

/* The test of a pot at that time: 0 found, *same when nothing differs. */
static int pot_test(struct ledger *lg, const struct ledger_test *t, int64_t *id,
                    bool *same)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT id, (litres, minutes, water_degc, first_hour_l, "
               "accepted) IS NOT DISTINCT FROM ($4, $5, $6, $7, $8) "
               "FROM flow_tests WHERE batch_id = $1 AND pot_key = $2 "
               "AND tested_s IS NOT DISTINCT FROM $3");
    query_i64(&q, t->batch_id);
    query_i64(&q, t->pot_key);
    query_id(&q, t->tested_s);
    query_f64(&q, t->litres);
    query_f64(&q, t->minutes);
    query_f64(&q, t->water_degc);
    query_f64(&q, t->first_hour_l);
    query_i64(&q, t->accepted);
    err = query_one(&q);
    if (err < 0)
        return err;
    *id = query_get_i64(&q, 0);
    *same = query_get_i64(&q, 1) != 0;
    query_close(&q);
    return 0;
}

static int write_test(struct ledger *lg, const struct ledger_test *t,
                      int64_t id)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO flow_tests (id, batch_id, pot_key, tested_s, "
               "litres, minutes, water_degc, first_hour_l, accepted, nth) "
               "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) "
               "ON CONFLICT (id) DO UPDATE SET litres = excluded.litres, "
               "minutes = excluded.minutes, "
               "water_degc = excluded.water_degc, "
               "first_hour_l = excluded.first_hour_l, "
               "accepted = excluded.accepted");
    query_id(&q, id);
    query_i64(&q, t->batch_id);
    query_id(&q, t->pot_key);
    query_id(&q, t->tested_s);
    query_f64(&q, t->litres);
    query_f64(&q, t->minutes);
    query_f64(&q, t->water_degc);
    query_f64(&q, t->first_hour_l);
    query_i64(&q, t->accepted);
    query_i64(&q, t->nth);
    return query_run(&q);
}

/* The pot's own test is its latest. */
static int test_to_pot(struct ledger *lg, int64_t pot_key)
{
    struct query q;

    query_open(&q, lg,
               "UPDATE pots SET test_l = (SELECT first_hour_l "
               "FROM flow_tests t WHERE t.batch_id = pots.batch_id "
               "AND t.pot_key = pots.key "
               "ORDER BY coalesce(tested_s, 0) DESC, id DESC LIMIT 1) "
               "WHERE key = $1");
    query_i64(&q, pot_key);
    return query_run(&q);
}

int ledger_test_kept_back(struct ledger *lg, const struct ledger_pot *pot,
                          bool *kept_back, double *first_hour_l)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT accepted = 0, first_hour_l FROM flow_tests "
               "WHERE batch_id = $1 AND pot_key = $2 "
               "ORDER BY coalesce(tested_s, 0) DESC, id DESC LIMIT 1");
    query_i64(&q, pot->batch_id);
    query_i64(&q, pot->key);
    if ((err = query_one(&q)) < 0)
        return err;
    *kept_back = query_get_i64(&q, 0) != 0;
    *first_hour_l = query_get_f64(&q, 1);
    query_close(&q);
    return 0;
}

int ledger_test_put(struct ledger *lg, const struct ledger_test *t,
                    enum ledger_change *what)
{
    int64_t id = 0;
    bool same = true;
    int err = t->pot_key != 0 ? pot_test(lg, t, &id, &same) : same_test(lg, t);

    if (err < 0 && err != KW_ENOENT)
        return err;
    *what = err == KW_ENOENT ? LEDGER_NEW : same ? LEDGER_SAME : LEDGER_CHANGED;
    if (*what == LEDGER_SAME)
        return 0;
    err = write_test(lg, t, id);
    if (err == 0 && t->pot_key != 0)
        err = test_to_pot(lg, t->pot_key);
    return err;
}

static int sum_tests(struct ledger *lg, int64_t batch_id)
{
    struct query q;

    query_open(&q, lg,
               "UPDATE batches SET (tested, accepted, test_mean_l, test_min_l, "
               "test_max_l) = (SELECT count(*), coalesce(sum(accepted), 0), "
               "avg(CASE accepted WHEN 1 THEN first_hour_l END), "
               "min(CASE accepted WHEN 1 THEN first_hour_l END), "
               "max(CASE accepted WHEN 1 THEN first_hour_l END) "
               "FROM flow_tests WHERE batch_id = $1) WHERE id = $1");
    query_i64(&q, batch_id);
    return query_run(&q);
}

int ledger_batch_sum(struct ledger *lg, int64_t batch_id)
{
    struct query q;
    int err = sum_tests(lg, batch_id);

    if (err < 0)
        return err;
    query_open(&q, lg,
               "UPDATE batches SET (pots, pots_out, failed) = "
               "(SELECT count(*), coalesce(sum(outings > 0), 0), "
               "count(failed_s) FROM pots WHERE batch_id = $1) "
               "WHERE id = $1");
    query_i64(&q, batch_id);
    return query_run(&q);
}
