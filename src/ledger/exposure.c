/*
 * exposure.c - one pass over the pots: those that went out once carry their
 * times themselves; the few that went out again have each of theirs read.
 * Plain columns only, what they mean is found out here: of millions of rows
 * every step of SQLite's machine counts.
 */
#include "ledger/exposure.h"

#include "ledger/engine.h"

typedef int exposure_f(const struct ledger_exposure *, void *);

static int each_once(struct query *q, exposure_f *f, void *arg)
{
    int err;

    while ((err = query_next(q)) == 1) {
        struct ledger_exposure e = {.batch_id = query_get_i64(q, 0),
                                    .pot_key = query_get_i64(q, 1),
                                    .given_s = query_get_i64(q, 2),
                                    .ended_s = query_get_i64(q, 3),
                                    .failed_s = query_get_i64(q, 4),
                                    .first = true};

        if (e.failed_s != 0 && e.failed_s < e.given_s)
            e.failed_s = e.given_s;
        if ((err = f(&e, arg)) < 0)
            break;
    }
    query_close(q);
    return err < 0 ? err : 0;
}

/* A failure is that of the last time that had begun when it was reported. */
static int give(struct ledger_exposure *e, bool last, exposure_f *f, void *arg)
{
    if (!last || e->failed_s < e->given_s)
        e->failed_s = 0;
    return e->given_s != 0 ? f(e, arg) : 0;
}

/* Times of a pot come one after the other, the earliest first. */
static int each_again(struct query *q, exposure_f *f, void *arg)
{
    struct ledger_exposure e = {.given_s = 0};
    int err;

    while ((err = query_next(q)) == 1) {
        struct ledger_exposure next = {.batch_id = query_get_i64(q, 0),
                                       .pot_key = query_get_i64(q, 1),
                                       .given_s = query_get_i64(q, 2),
                                       .ended_s = query_get_i64(q, 3),
                                       .failed_s = query_get_i64(q, 4)};

        next.first = next.pot_key != e.pot_key;
        if ((err = give(&e, next.first, f, arg)) < 0)
            break;
        e = next;
    }
    query_close(q);
    return err < 0 ? err : give(&e, true, f, arg);
}

int ledger_exposure_each(struct ledger *lg, exposure_f *f, void *arg)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT batch_id, key, given_s, ended_s, failed_s FROM pots "
               "WHERE outings = 1");
    err = each_once(&q, f, arg);
    if (err < 0)
        return err;
    query_open(&q, lg,
               "SELECT p.batch_id, p.key, h.given_s, h.ended_s, p.failed_s "
               "FROM pots p CROSS JOIN handovers h " /* the few pots first */
               "WHERE h.pot_key = p.key AND p.outings > 1 "
               "AND (p.failed_s IS NULL OR h.given_s <= p.failed_s) "
               "ORDER BY p.key, h.given_s");
    return each_again(&q, f, arg);
}
