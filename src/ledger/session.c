/* session.c - menus under way. */
#include "ledger/session.h"

#include "ledger/engine.h"

#include <string.h>

#define COLUMNS                                                                \
    "SELECT c.name, s.session, s.phone_id, s.at_s, s.lang, s.presses, "        \
    "s.step, s.shown, s.state, s.base FROM menu_sessions s "                   \
    "JOIN carriers c ON c.id = s.carrier_id "

/* Takes the one row, and closes. */
static int take_row(struct query *q, struct session *out)
{
    int err = query_one(q);

    if (err < 0)
        return err;
    memset(out, 0, sizeof(*out));
    query_copy(q, 0, out->carrier, sizeof(out->carrier));
    query_copy(q, 1, out->name, sizeof(out->name));
    out->phone_id = query_get_i64(q, 2);
    out->at_s = query_get_i64(q, 3);
    query_copy(q, 4, out->lang, sizeof(out->lang));
    query_copy(q, 5, out->presses, sizeof(out->presses));
    query_copy(q, 6, out->step, sizeof(out->step));
    query_copy(q, 7, out->shown, sizeof(out->shown));
    out->state = (enum session_state)query_get_i64(q, 8);
    query_copy(q, 9, out->base, sizeof(out->base));
    query_close(q);
    return 0;
}

int session_get(struct ledger *lg, const char *carrier, const char *name,
                struct session *out)
{
    struct query q;
    int64_t id;
    int err = carrier_id(lg, carrier, false, &id);

    if (err < 0)
        return err;
    query_open(&q, lg, COLUMNS "WHERE s.carrier_id = $1 AND s.session = $2");
    query_i64(&q, id);
    query_text(&q, name);
    return take_row(&q, out);
}

int session_put(struct ledger *lg, const struct session *s)
{
    struct query q;
    int64_t id;
    int err = carrier_id(lg, s->carrier, true, &id);

    if (err < 0)
        return err;
    query_open(&q, lg,
               "INSERT INTO menu_sessions (carrier_id, session, phone_id, "
               "at_s, lang, presses, step, shown, state, base) "
               "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) "
               "ON CONFLICT (carrier_id, session) DO UPDATE SET "
               "at_s = excluded.at_s, lang = excluded.lang, "
               "presses = excluded.presses, step = excluded.step, "
               "shown = excluded.shown, state = excluded.state");
    query_i64(&q, id);
    query_text(&q, s->name);
    query_i64(&q, s->phone_id);
    query_i64(&q, s->at_s);
    query_text(&q, s->lang);
    query_text(&q, s->presses);
    query_text(&q, s->step);
    query_text(&q, s->shown);
    query_i64(&q, s->state);
    query_text(&q, s->base);
    return query_run(&q);
}

int session_of_phone(struct ledger *lg, int64_t phone_id, int64_t since_s,
                     struct session *out)
{
    struct query q;

    query_open(&q, lg,
               COLUMNS "WHERE s.state = 0 AND s.phone_id = $1 "
                       "AND s.at_s >= $2 ORDER BY s.at_s DESC LIMIT 1");
    query_i64(&q, phone_id);
    query_i64(&q, since_s);
    return take_row(&q, out);
}

int session_stale(struct ledger *lg, int64_t before_s, struct session *out)
{
    struct query q;

    query_open(&q, lg,
               COLUMNS "WHERE s.state = 0 AND s.at_s < $1 "
                       "ORDER BY s.at_s LIMIT 1");
    query_i64(&q, before_s);
    return take_row(&q, out);
}

int session_oldest(struct ledger *lg, int64_t *at_s)
{
    struct query q;
    int err;

    query_open(&q, lg, "SELECT MIN(at_s) FROM menu_sessions WHERE state = 0");
    if ((err = query_one(&q)) < 0)
        return err;
    *at_s = query_get_i64(&q, 0);
    err = query_is_null(&q, 0) ? KW_ENOENT : 0;
    query_close(&q);
    return err;
}

int session_drop(struct ledger *lg, int64_t before_s)
{
    struct query q;

    query_open(&q, lg,
               "DELETE FROM menu_sessions WHERE state > 0 AND at_s < $1");
    query_i64(&q, before_s);
    return query_run(&q);
}
