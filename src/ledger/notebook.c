/* notebook.c - pots and hand-overs as they stand in the notebooks. */
#include "ledger/notebook.h"

#include "ledger/engine.h"
#include "ledger/orphans.h"

#include <string.h>

/* ---- pots ---- */

static int add_pot(struct ledger *lg, const struct ledger_pot *p)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "INSERT INTO pots (key, serial, batch_id, mould, scrapped, "
               "shelf) VALUES ($1, $2, $3, $4, $5, $6)");
    query_i64(&q, p->key);
    query_text(&q, p->serial);
    query_i64(&q, p->batch_id);
    query_text(&q, p->mould);
    query_i64(&q, p->scrapped);
    query_text(&q, p->shelf);
    err = query_run(&q);
    return err < 0 ? err : orphans_adopt(lg, p->key);
}

int ledger_pot_put(struct ledger *lg, const struct ledger_pot *p, bool known,
                   enum ledger_change *what)
{
    struct query q;
    int err;

    *what = LEDGER_NEW;
    if (!known)
        return add_pot(lg, p);
    query_open(&q, lg,
               "UPDATE pots SET mould = $2, scrapped = $3, shelf = $4 "
               "WHERE key = $1 AND (mould, scrapped, shelf) "
               "IS DISTINCT FROM ($2, $3, $4) RETURNING key");
    query_i64(&q, p->key);
    query_text(&q, p->mould);
    query_i64(&q, p->scrapped);
    query_text(&q, p->shelf);
    err = query_returning(&q, NULL);
    *what = err == 0 ? LEDGER_CHANGED : LEDGER_SAME;
    return err == KW_ENOENT ? 0 : err;
}

/* ---- hand-overs ---- */

static void read_handover(struct query *q, struct ledger_handover *h)
{
    memset(h, 0, sizeof(*h));
    h->id = query_get_i64(q, 0);
    h->pot_key = query_get_i64(q, 1);
    h->home_id = query_get_i64(q, 2);
    h->given_s = query_get_i64(q, 3);
    h->ended_s = query_get_i64(q, 4);
    query_copy(q, 5, h->reason, sizeof(h->reason));
}

int ledger_handover_find(struct ledger *lg, int64_t pot_key, int64_t given_s,
                         struct ledger_handover *out)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT id, pot_key, home_id, given_s, ended_s, reason "
               "FROM handovers WHERE pot_key = $1 AND given_s = $2");
    query_i64(&q, pot_key);
    query_i64(&q, given_s);
    err = query_one(&q);
    if (err < 0)
        return err;
    read_handover(&q, out);
    query_close(&q);
    return 0;
}

int ledger_handover_note(struct ledger *lg, struct ledger_handover *h,
                         enum ledger_change *what)
{
    struct query q;
    bool known = h->id != 0;
    int err;

    query_open(
        &q, lg,
        "INSERT INTO handovers (pot_key, home_id, given_s, ended_s, reason) "
        "VALUES ($1, $2, $3, $4, $5) ON CONFLICT (pot_key, given_s) "
        "DO UPDATE SET home_id = excluded.home_id, "
        "ended_s = excluded.ended_s, reason = excluded.reason "
        "WHERE (handovers.home_id, handovers.ended_s, handovers.reason) "
        "IS DISTINCT FROM "
        "(excluded.home_id, excluded.ended_s, excluded.reason) "
        "RETURNING id");
    query_i64(&q, h->pot_key);
    query_i64(&q, h->home_id);
    query_i64(&q, h->given_s);
    query_id(&q, h->ended_s);
    query_text(&q, h->reason);
    err = query_returning(&q, known ? NULL : &h->id);
    if (err < 0 && !(err == KW_ENOENT && known))
        return err;
    *what = !known ? LEDGER_NEW : err == 0 ? LEDGER_CHANGED : LEDGER_SAME;
    return 0;
}

/* The pot's hand-over that began after that time. KW_ENOENT: none. */
static int next_handover(struct ledger *lg, int64_t pot_key, int64_t after_s,
                         struct ledger_handover *out)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT id, pot_key, home_id, given_s, ended_s, reason "
               "FROM handovers WHERE pot_key = $1 AND given_s > $2 "
               "ORDER BY given_s LIMIT 1");
    query_i64(&q, pot_key);
    query_i64(&q, after_s);
    err = query_one(&q);
    if (err < 0)
        return err;
    read_handover(&q, out);
    query_close(&q);
    return 0;
}

static int end_where_next_begins(struct ledger *lg, struct ledger_handover *h,
                                 int64_t next_s)
{
    enum ledger_change what;

    h->ended_s = next_s;
    if (h->reason[0] == '\0')
        memcpy(h->reason, "handed on", sizeof("handed on"));
    return ledger_handover_note(lg, h, &what);
}

static int follow_latest(struct ledger *lg, const struct ledger_handover *h,
                         int outings)
{
    struct query q;

    query_open(&q, lg,
               "UPDATE pots SET handover_id = $2, given_s = $3, "
               "ended_s = $4, home_id = $5, outings = $6 WHERE key = $1");
    query_i64(&q, h->pot_key);
    query_i64(&q, h->id);
    query_i64(&q, h->given_s);
    query_id(&q, h->ended_s);
    query_id(&q, h->ended_s == 0 ? h->home_id : 0);
    query_i64(&q, outings);
    return query_run(&q);
}

int ledger_pot_settle(struct ledger *lg, int64_t pot_key, int64_t *clash_s)
{
    struct ledger_handover h, next;
    int outings = 0;
    int err = next_handover(lg, pot_key, INT64_MIN, &h);

    if (err < 0)
        return err == KW_ENOENT ? 0 : err;
    for (;;) {
        outings++;
        err = next_handover(lg, pot_key, h.given_s, &next);
        if (err == KW_ENOENT)
            return follow_latest(lg, &h, outings);
        if (err == 0 && h.ended_s == 0)
            err = end_where_next_begins(lg, &h, next.given_s);
        if (err < 0)
            return err;
        if (h.ended_s > next.given_s) {
            *clash_s = next.given_s;
            return KW_EINVAL;
        }
        h = next;
    }
}
