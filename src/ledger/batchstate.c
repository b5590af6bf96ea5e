/* batchstate.c - see batchstate.h. */
#include "ledger/batchstate.h"

#include "ledger/engine.h"

/* ---- states ---- */

#define NUMBERS                                                                \
    "state, since_s, at_s, reported, counted, expected, upper, log_bf, "       \
    "cusum, risk, risk_low, risk_high, places, bound"

static void read_numbers(struct query *q, int col, struct batchstate *s)
{
    s->state = (int)query_get_i64(q, col);
    s->since_s = query_get_i64(q, col + 1);
    s->at_s = query_get_i64(q, col + 2);
    s->reported = query_get_i64(q, col + 3);
    s->counted = query_get_i64(q, col + 4);
    s->expected = query_get_f64(q, col + 5);
    s->upper = query_get_f64(q, col + 6);
    s->log_bf = query_get_f64(q, col + 7);
    s->cusum = query_get_f64(q, col + 8);
    s->risk = query_get_f64(q, col + 9);
    s->risk_low = query_get_f64(q, col + 10);
    s->risk_high = query_get_f64(q, col + 11);
    s->places = (int)query_get_i64(q, col + 12);
    s->bound = query_get_i64(q, col + 13) != 0;
}

static void bind_numbers(struct query *q, const struct batchstate *s)
{
    query_i64(q, s->state);
    query_i64(q, s->since_s);
    query_i64(q, s->at_s);
    query_i64(q, s->reported);
    query_i64(q, s->counted);
    query_f64(q, s->expected);
    query_f64(q, s->upper);
    query_f64(q, s->log_bf);
    query_f64(q, s->cusum);
    query_f64(q, s->risk);
    query_f64(q, s->risk_low);
    query_f64(q, s->risk_high);
    query_i64(q, s->places);
    query_i64(q, s->bound);
}

#define SET_NUMBERS                                                            \
    "state = excluded.state, since_s = excluded.since_s, "                     \
    "at_s = excluded.at_s, reported = excluded.reported, "                     \
    "counted = excluded.counted, expected = excluded.expected, "               \
    "upper = excluded.upper, log_bf = excluded.log_bf, "                       \
    "cusum = excluded.cusum, risk = excluded.risk, "                           \
    "risk_low = excluded.risk_low, risk_high = excluded.risk_high, "           \
    "places = excluded.places, bound = excluded.bound"

int batchstate_put(struct ledger *lg, const struct batchstate *s)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO batch_states (batch_id, " NUMBERS ") VALUES "
               "($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, "
               "$15) ON CONFLICT (batch_id) DO UPDATE SET " SET_NUMBERS);
    query_i64(&q, s->batch_id);
    bind_numbers(&q, s);
    return query_run(&q);
}

int batchstate_put_run(struct ledger *lg, const struct batchstate *s)
{
    struct query q;

    query_open(&q, lg,
               "UPDATE batch_states SET run_from = $2, run_to = $3, "
               "run_failed = $4, run_expected = $5, run_p = $6, run_seed = $7 "
               "WHERE batch_id = $1");
    query_i64(&q, s->batch_id);
    query_id(&q, s->run_from);
    query_id(&q, s->run_to);
    query_i64(&q, s->run_failed);
    query_f64(&q, s->run_expected);
    query_f64(&q, s->run_p);
    query_i64(&q, s->run_seed);
    return query_run(&q);
}

int batchstate_get_firings(struct ledger *lg, struct batchstate_firings *out)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT at_s, from_batch, to_batch, failed, seed, expected, p "
               "FROM firing_runs");
    if ((err = query_one(&q)) < 0)
        return err;
    *out = (struct batchstate_firings){
        query_get_i64(&q, 0), query_get_i64(&q, 1), query_get_i64(&q, 2),
        query_get_i64(&q, 3), query_get_i64(&q, 4), query_get_f64(&q, 5),
        query_get_f64(&q, 6)};
    query_close(&q);
    return 0;
}

int batchstate_put_firings(struct ledger *lg,
                           const struct batchstate_firings *f)
{
    struct query q;

    query_open(
        &q, lg,
        "INSERT INTO firing_runs (id, at_s, from_batch, to_batch, "
        "failed, seed, expected, p) VALUES (1, $1, $2, $3, $4, $5, $6, "
        "$7) ON CONFLICT (id) DO UPDATE SET at_s = excluded.at_s, "
        "from_batch = excluded.from_batch, to_batch = excluded.to_batch, "
        "failed = excluded.failed, seed = excluded.seed, "
        "expected = excluded.expected, p = excluded.p");
    query_i64(&q, f->at_s);
    query_i64(&q, f->from_batch);
    query_i64(&q, f->to_batch);
    query_i64(&q, f->failed);
    query_i64(&q, f->seed);
    query_f64(&q, f->expected);
    query_f64(&q, f->p);
    return query_run(&q);
}

int batchstate_get_weight(struct ledger *lg, int64_t by_s,
                          struct batchstate_weight *out)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT day, nu, places, counted, at_s FROM place_weights "
               "WHERE day * 86400 <= $1 ORDER BY day DESC LIMIT 1");
    query_i64(&q, by_s);
    if ((err = query_one(&q)) < 0)
        return err;
    *out = (struct batchstate_weight){
        query_get_i64(&q, 0), query_get_f64(&q, 1), query_get_i64(&q, 2),
        query_get_i64(&q, 3), query_get_i64(&q, 4)};
    query_close(&q);
    return 0;
}

int batchstate_put_weight(struct ledger *lg, const struct batchstate_weight *w)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO place_weights (day, nu, places, counted, at_s) "
               "VALUES ($1, $2, $3, $4, $5) ON CONFLICT (day) DO UPDATE SET "
               "nu = excluded.nu, places = excluded.places, "
               "counted = excluded.counted, at_s = excluded.at_s");
    query_i64(&q, w->day);
    query_f64(&q, w->nu);
    query_i64(&q, w->places);
    query_i64(&q, w->counted);
    query_i64(&q, w->at_s);
    return query_run(&q);
}

int batchstate_put_delivery(struct ledger *lg, const struct batchstate *s)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO delivery_states (place_id, day, " NUMBERS ") "
               "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, "
               "$13, $14, $15, $16) "
               "ON CONFLICT (place_id, day) DO UPDATE SET " SET_NUMBERS);
    query_i64(&q, s->place_id);
    query_i64(&q, s->day);
    bind_numbers(&q, s);
    return query_run(&q);
}

#define BATCH_ROW                                                              \
    "SELECT batch_id, run_from, run_to, run_failed, run_expected, "            \
    "run_p, run_seed, " NUMBERS " FROM batch_states "

static void read_batch(struct query *q, struct batchstate *s)
{
    *s = (struct batchstate){.batch_id = query_get_i64(q, 0),
                             .run_from = query_get_i64(q, 1),
                             .run_to = query_get_i64(q, 2),
                             .run_failed = query_get_i64(q, 3),
                             .run_expected = query_get_f64(q, 4),
                             .run_p = query_get_f64(q, 5),
                             .run_seed = query_get_i64(q, 6)};
    read_numbers(q, 7, s);
}

int batchstate_get(struct ledger *lg, int64_t batch_id, struct batchstate *out)
{
    struct query q;
    int err;

    query_open(&q, lg, BATCH_ROW "WHERE batch_id = $1");
    query_i64(&q, batch_id);
    if ((err = query_one(&q)) < 0)
        return err;
    read_batch(&q, out);
    query_close(&q);
    return 0;
}

int batchstate_each(struct ledger *lg, batchstate_f *f, void *arg)
{
    struct query q;
    int err;

    query_open(&q, lg, BATCH_ROW "ORDER BY batch_id");
    while ((err = query_next(&q)) == 1) {
        struct batchstate s;

        read_batch(&q, &s);
        if ((err = f(&s, arg)) < 0)
            break;
    }
    query_close(&q);
    return err < 0 ? err : 0;
}

int batchstate_get_delivery(struct ledger *lg, int64_t place_id, int64_t day,
                            struct batchstate *out)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT " NUMBERS " FROM delivery_states "
               "WHERE place_id = $1 AND day = $2");
    query_i64(&q, place_id);
    query_i64(&q, day);
    if ((err = query_one(&q)) < 0)
        return err;
    *out = (struct batchstate){.place_id = place_id, .day = day};
    read_numbers(&q, 0, out);
    query_close(&q);
    return 0;
}

/* Of each pot of the batch that failed, the time in which it did. */
#define FAILED_TIMES                                                           \
    " FROM pots p JOIN handovers h ON h.pot_key = p.key "                      \
    "AND p.failed_s >= h.given_s "                                             \
    "AND (h.ended_s IS NULL OR p.failed_s <= h.ended_s) "                      \
    "JOIN homes m ON m.id = h.home_id "
#define WORST "GROUP BY 1, 2 ORDER BY 3 DESC, 1, 2 LIMIT 1"

static int worst(struct query *q, int64_t batch_id,
                 struct batchstate_where *out)
{
    int err;

    query_i64(q, batch_id);
    if ((err = query_one(q)) < 0)
        return err;
    *out = (struct batchstate_where){query_get_i64(q, 0), query_get_i64(q, 1),
                                     query_get_i64(q, 2)};
    query_close(q);
    return 0;
}

int batchstate_worst_place(struct ledger *lg, int64_t batch_id,
                           struct batchstate_where *out)
{
    struct query q;

    query_open(&q, lg,
               "SELECT m.place_id, 0, count(*)" FAILED_TIMES
               "WHERE p.batch_id = $1 AND m.place_id IS NOT NULL " WORST);
    return worst(&q, batch_id, out);
}

int batchstate_worst_delivery(struct ledger *lg, int64_t batch_id,
                              struct batchstate_where *out)
{
    struct query q;

    query_open(&q, lg,
               "SELECT d.place_id, d.day, count(*)" FAILED_TIMES
               "JOIN delivery_states d ON d.place_id = m.place_id "
               "AND d.day = h.given_s / 86400 "
               "WHERE d.state = 2 AND p.batch_id = $1 " WORST);
    return worst(&q, batch_id, out);
}

int batchstate_each_delivery(struct ledger *lg, batchstate_f *f, void *arg)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT place_id, day, " NUMBERS " FROM delivery_states "
               "ORDER BY place_id, day");
    while ((err = query_next(&q)) == 1) {
        struct batchstate s = {.place_id = query_get_i64(&q, 0),
                               .day = query_get_i64(&q, 1)};

        read_numbers(&q, 2, &s);
        if ((err = f(&s, arg)) < 0)
            break;
    }
    query_close(&q);
    return err < 0 ? err : 0;
}

/* ---- the history ---- */

#define TIME                                                                   \
    "SELECT h.id, p.batch_id, p.key, m.place_id, h.given_s, h.ended_s, "       \
    "CASE WHEN p.failed_s < h.given_s AND p.outings = 1 THEN h.given_s "       \
    "WHEN p.failed_s >= h.given_s AND (p.outings = 1 OR NOT EXISTS ("          \
    "SELECT 1 FROM handovers n WHERE n.pot_key = p.key "                       \
    "AND n.given_s > h.given_s AND n.given_s <= p.failed_s)) "                 \
    "THEN p.failed_s END, p.outings = 1 OR NOT EXISTS ("                       \
    "SELECT 1 FROM handovers b WHERE b.pot_key = p.key "                       \
    "AND b.given_s < h.given_s) "                                              \
    "FROM handovers h JOIN pots p ON p.key = h.pot_key "                       \
    "JOIN homes m ON m.id = h.home_id "
/* A pot that failed and was handed out again later is not watched twice. */
#define WATCHED                                                                \
    "(p.failed_s IS NULL OR p.outings = 1 OR h.given_s <= p.failed_s)"

static int stream(struct query *q, batchstate_time_f *f, void *arg)
{
    int err;

    while ((err = query_next(q)) == 1) {
        struct batchstate_time t = {.handover_id = query_get_i64(q, 0),
                                    .batch_id = query_get_i64(q, 1),
                                    .pot_key = query_get_i64(q, 2),
                                    .place_id = query_get_i64(q, 3),
                                    .given_s = query_get_i64(q, 4),
                                    .ended_s = query_get_i64(q, 5),
                                    .failed_s = query_get_i64(q, 6),
                                    .first = query_get_i64(q, 7) != 0};

        if ((err = f(&t, arg)) < 0)
            break;
    }
    query_close(q);
    return err < 0 ? err : 0;
}

int batchstate_times(struct ledger *lg, batchstate_time_f *f, void *arg)
{
    struct query q;

    query_open(&q, lg, TIME "WHERE " WATCHED);
    return stream(&q, f, arg);
}

int batchstate_times_after(struct ledger *lg, int64_t handover_id,
                           batchstate_time_f *f, void *arg)
{
    struct query q;

    query_open(&q, lg, TIME "WHERE h.id > $1 AND " WATCHED " ORDER BY h.id");
    query_i64(&q, handover_id);
    return stream(&q, f, arg);
}

int batchstate_changes(struct ledger *lg, int64_t from_s, int64_t to_s,
                       batchstate_time_f *f, void *arg)
{
    struct query q;
    int err;

    query_open(&q, lg,
               TIME "WHERE p.failed_s > $1 AND p.failed_s <= $2 AND " WATCHED);
    query_i64(&q, from_s);
    query_i64(&q, to_s);
    if ((err = stream(&q, f, arg)) < 0)
        return err;
    query_open(&q, lg,
               TIME "WHERE h.ended_s > $1 AND h.ended_s <= $2 "
                    "AND p.failed_s IS NULL");
    query_i64(&q, from_s);
    query_i64(&q, to_s);
    return stream(&q, f, arg);
}

int batchstate_times_of(struct ledger *lg, int64_t batch_id,
                        batchstate_time_f *f, void *arg)
{
    struct query q;

    query_open(&q, lg,
               TIME "WHERE p.batch_id = $1 AND " WATCHED
                    " ORDER BY p.key, h.given_s");
    query_i64(&q, batch_id);
    return stream(&q, f, arg);
}

int batchstate_closings(struct ledger *lg, int64_t from_s, int64_t to_s,
                        int (*f)(const struct batchstate_closing *, void *),
                        void *arg)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT subject, subject_id, closed_s FROM alerts "
               "WHERE state = $3 AND kind = $4 AND subject IN ($5, $6) "
               "AND closed_s > $1 AND closed_s <= $2 ORDER BY closed_s, id");
    query_i64(&q, from_s);
    query_i64(&q, to_s);
    query_i64(&q, LEDGER_CLOSED);
    query_i64(&q, LEDGER_ALERT_BREAKAGE);
    query_i64(&q, LEDGER_ON_BATCH);
    query_i64(&q, LEDGER_ON_PLACE);
    while ((err = query_next(&q)) == 1) {
        bool batch = query_get_i64(&q, 0) == LEDGER_ON_BATCH;
        int64_t id = query_get_i64(&q, 1);
        struct batchstate_closing c = {batch ? id : 0, batch ? 0 : id,
                                       query_get_i64(&q, 2)};

        if ((err = f(&c, arg)) < 0)
            break;
    }
    query_close(&q);
    return err < 0 ? err : 0;
}

int batchstate_failed(struct ledger *lg, int64_t *failed)
{
    struct query q;
    int err;

    query_open(&q, lg, "SELECT coalesce(sum(failed), 0) FROM batches");
    if ((err = query_one(&q)) < 0)
        return err;
    *failed = query_get_i64(&q, 0);
    query_close(&q);
    return 0;
}
