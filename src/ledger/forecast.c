/* forecast.c - see forecast.h. */
#include "ledger/forecast.h"

#include "ledger/engine.h"

#define DAY_S 86400
#define ROW                                                                    \
    "made_s, days, pots, last_handover, mean, var, broken, low, high, "        \
    "widened, checked_s, failed, slow, came"

int ledger_forecast_put(struct ledger *lg, const struct ledger_forecast *f)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO forecasts (made_s, days, pots, last_handover, "
               "mean, var, broken, low, high, widened) VALUES ($1, $2, $3, "
               "$4, $5, $6, $7, $8, $9, $10) "
               "ON CONFLICT (made_s, days) DO NOTHING");
    query_i64(&q, f->made_s);
    query_i64(&q, f->days);
    query_i64(&q, f->pots);
    query_i64(&q, f->last_handover);
    query_f64(&q, f->mean);
    query_f64(&q, f->var);
    query_f64(&q, f->broken);
    query_f64(&q, f->low);
    query_f64(&q, f->high);
    query_f64(&q, f->widened);
    return query_run(&q);
}

static int one_number(struct query *q, int64_t *value)
{
    int err = query_one(q);

    if (err < 0)
        return err;
    *value = query_get_i64(q, 0);
    query_close(q);
    return 0;
}

int ledger_forecast_newest(struct ledger *lg, int64_t *made_s)
{
    struct query q;

    query_open(&q, lg,
               "SELECT made_s FROM forecasts ORDER BY made_s DESC LIMIT 1");
    return one_number(&q, made_s);
}

int ledger_forecast_handover(struct ledger *lg, int64_t *id)
{
    struct query q;

    query_open(&q, lg, "SELECT coalesce(max(id), 0) FROM handovers");
    return one_number(&q, id);
}

static int stream(struct query *q, ledger_forecast_f *f, void *arg)
{
    int err;

    while ((err = query_next(q)) == 1) {
        struct ledger_forecast row = {.made_s = query_get_i64(q, 0),
                                      .days = (int)query_get_i64(q, 1),
                                      .pots = query_get_i64(q, 2),
                                      .last_handover = query_get_i64(q, 3),
                                      .mean = query_get_f64(q, 4),
                                      .var = query_get_f64(q, 5),
                                      .broken = query_get_f64(q, 6),
                                      .low = query_get_f64(q, 7),
                                      .high = query_get_f64(q, 8),
                                      .widened = query_get_f64(q, 9),
                                      .checked_s = query_get_i64(q, 10),
                                      .failed = query_get_i64(q, 11),
                                      .slow = query_get_i64(q, 12),
                                      .came = query_get_f64(q, 13)};

        if ((err = f(&row, arg)) < 0)
            break;
    }
    query_close(q);
    return err < 0 ? err : 0;
}

int ledger_forecast_due(struct ledger *lg, int64_t now_s, ledger_forecast_f *f,
                        void *arg)
{
    struct query q;

    query_open(&q, lg,
               "SELECT " ROW " FROM forecasts WHERE checked_s IS NULL "
               "AND made_s + days * 86400 <= $1 ORDER BY made_s, days");
    query_i64(&q, now_s);
    return stream(&q, f, arg);
}

/* In a home at $1, as page/need.h counts them, and written down by $3. */
#define IN_HOMES                                                               \
    " handovers h JOIN pots p ON p.key = h.pot_key "                           \
    "WHERE h.id <= $3 AND h.given_s <= $1 "                                    \
    "AND (h.ended_s IS NULL OR h.ended_s > $1) "

static void bind(struct query *q, const struct ledger_forecast *f)
{
    query_i64(q, f->made_s);
    query_i64(q, f->made_s + (int64_t)f->days * DAY_S);
    query_i64(q, f->last_handover);
}

static int count_failed(struct ledger *lg, struct ledger_forecast *f)
{
    struct query q;

    query_open(&q, lg,
               "SELECT count(*) FROM" IN_HOMES
               "AND p.failed_s > $1 AND p.failed_s <= $2 "
               "AND NOT EXISTS (SELECT 1 FROM handovers n "
               "WHERE n.pot_key = p.key AND n.given_s > h.given_s "
               "AND n.given_s <= p.failed_s)");
    bind(&q, f);
    return one_number(&q, &f->failed);
}

/* A reading that was too fast says nothing of a pot's clogging. */
static int count_slow(struct ledger *lg, struct ledger_forecast *f)
{
    struct query q;

    query_open(&q, lg,
               "WITH readings AS (SELECT r.pot_key, f.verdict, "
               "row_number() OVER (PARTITION BY r.pot_key "
               "ORDER BY r.at_s DESC, r.id DESC) AS n "
               "FROM flows f JOIN reports r ON r.id = f.report_id "
               "WHERE r.at_s <= $2 AND r.test = 0 AND r.pot_key IS NOT NULL "
               "AND f.verdict <> 'stop') "
               "SELECT count(*) FROM readings x," IN_HOMES
               "AND x.pot_key = p.key AND x.n = 1 AND x.verdict = 'replace' "
               "AND (p.failed_s IS NULL OR p.failed_s > $2)");
    bind(&q, f);
    return one_number(&q, &f->slow);
}

int ledger_forecast_count(struct ledger *lg, struct ledger_forecast *f)
{
    int err = count_failed(lg, f);

    return err < 0 ? err : count_slow(lg, f);
}

int ledger_forecast_check(struct ledger *lg, const struct ledger_forecast *f)
{
    struct query q;

    query_open(&q, lg,
               "UPDATE forecasts SET checked_s = $3, failed = $4, slow = $5, "
               "came = $6 WHERE made_s = $1 AND days = $2");
    query_i64(&q, f->made_s);
    query_i64(&q, f->days);
    query_i64(&q, f->checked_s);
    query_i64(&q, f->failed);
    query_i64(&q, f->slow);
    query_f64(&q, f->came);
    return query_run(&q);
}

int ledger_forecast_last(struct ledger *lg, const struct ledger_forecast_of *of,
                         ledger_forecast_f *f, void *arg)
{
    struct query q;

    query_open(&q, lg,
               "SELECT " ROW " FROM forecasts WHERE days = $1 "
               "AND checked_s IS NOT NULL AND made_s + days * 86400 <= $2 "
               "ORDER BY made_s DESC LIMIT $3");
    query_i64(&q, of->days);
    query_i64(&q, of->by_s);
    query_i64(&q, of->most);
    return stream(&q, f, arg);
}

int ledger_forecast_widened(struct ledger *lg, int days, int64_t by_s,
                            bool *ever)
{
    struct query q;
    int64_t n = 0;
    int err;

    query_open(&q, lg,
               "SELECT count(*) FROM forecasts WHERE days = $1 "
               "AND widened > 1 AND made_s <= $2");
    query_i64(&q, days);
    query_i64(&q, by_s);
    err = one_number(&q, &n);
    *ever = n > 0;
    return err;
}
