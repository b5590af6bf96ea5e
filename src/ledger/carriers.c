#include "ledger/carriers.h"

#include "ledger/engine.h"

const char *carriers_state_name(enum carriers_state s)
{
    static const char *const names[] = {"not known", "up", "down", "failing",
                                        "stopped"};

    return s >= 0 && s < CARRIERS_STATES ? names[s] : names[0];
}

int carriers_put(struct ledger *lg, const struct carriers_row *c)
{
    struct query q;
    int64_t id;
    int err = carrier_id(lg, c->name, true, &id);

    if (err < 0)
        return err;
    query_open(&q, lg,
               "INSERT INTO carrier_states (carrier_id, state, words, since_s, "
               "at_s, signal, used, total, credit, credit_s, credit_low) "
               "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11) "
               "ON CONFLICT (carrier_id) DO UPDATE SET state = excluded.state, "
               "words = excluded.words, since_s = excluded.since_s, "
               "at_s = excluded.at_s, signal = excluded.signal, "
               "used = excluded.used, total = excluded.total, "
               "credit = excluded.credit, credit_s = excluded.credit_s, "
               "credit_low = excluded.credit_low");
    query_i64(&q, id);
    query_i64(&q, c->state);
    query_text(&q, c->words);
    query_i64(&q, c->since_s);
    query_i64(&q, c->at_s);
    query_i64(&q, c->signal);
    query_i64(&q, c->used);
    query_i64(&q, c->total);
    query_text(&q, c->credit);
    query_id(&q, c->credit_s);
    query_i64(&q, c->credit_low);
    return query_run(&q);
}

static void read_row(struct query *q, struct carriers_row *c)
{
    int64_t state = query_get_i64(q, 1);

    *c = (struct carriers_row){.signal = -1};
    query_copy(q, 0, c->name, sizeof(c->name));
    c->waiting = query_get_i64(q, 10);
    c->waiting_since_s = query_get_i64(q, 11);
    c->flying = query_get_i64(q, 12);
    c->at_s = query_get_i64(q, 4);
    if (c->at_s == 0)
        return;
    if (state > 0 && state < CARRIERS_STATES)
        c->state = (enum carriers_state)state;
    query_copy(q, 2, c->words, sizeof(c->words));
    c->since_s = query_get_i64(q, 3);
    c->signal = (int)query_get_i64(q, 5);
    c->used = (int)query_get_i64(q, 6);
    c->total = (int)query_get_i64(q, 7);
    query_copy(q, 8, c->credit, sizeof(c->credit));
    c->credit_s = query_get_i64(q, 9);
    c->credit_low = query_get_i64(q, 13) != 0;
}

int carriers_each(struct ledger *lg,
                  int (*f)(const struct carriers_row *, void *), void *arg)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT c.name, s.state, s.words, s.since_s, s.at_s, s.signal, "
               "s.used, s.total, s.credit, s.credit_s, COALESCE(o.waiting, 0), "
               "o.since_s, COALESCE(o.flying, 0), s.credit_low FROM carriers c "
               "LEFT JOIN carrier_states s ON s.carrier_id = c.id "
               "LEFT JOIN (SELECT carrier_id, "
               "SUM(CASE WHEN state = 0 THEN 1 ELSE 0 END) AS waiting, "
               "MIN(CASE WHEN state = 0 THEN at_s END) AS since_s, "
               "SUM(state) AS flying FROM outbox WHERE state < 2 "
               "GROUP BY carrier_id) o ON o.carrier_id = c.id "
               "WHERE s.at_s IS NOT NULL OR o.carrier_id IS NOT NULL "
               "ORDER BY c.name");
    while ((err = query_next(&q)) == 1) {
        struct carriers_row c;

        read_row(&q, &c);
        if ((err = f(&c, arg)) < 0)
            break;
    }
    query_close(&q);
    return err < 0 ? err : 0;
}
