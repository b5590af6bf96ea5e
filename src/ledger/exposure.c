/*
 * exposure.c - one pass over the pots: those that went out once carry their
 * times themselves; the few that went out again have each of theirs read.
 */
#include "ledger/exposure.h"

#include "ledger/engine.h"

typedef int exposure_f(const struct ledger_exposure *, void *);

static int stream(struct query *q, exposure_f *f, void *arg)
{
    int err;

    while ((err = query_next(q)) == 1) {
        struct ledger_exposure e = {
            .batch_id = query_get_i64(q, 0),
            .pot_key = query_get_i64(q, 1),
            .given_s = query_get_i64(q, 2),
            .ended_s = query_get_i64(q, 3),
            .failed_s = query_get_i64(q, 4),
            .first = query_get_i64(q, 5) != 0,
        };

        if ((err = f(&e, arg)) < 0)
            break;
    }
    query_close(q);
    return err < 0 ? err : 0;
}

/* A failure belongs to the last time that had begun when it was reported. */
#define AGAIN                                                                  \
    "SELECT p.batch_id, p.key, h.given_s, h.ended_s, "                         \
    "CASE WHEN p.failed_s >= h.given_s AND NOT EXISTS ("                       \
    "SELECT 1 FROM handovers n WHERE n.pot_key = p.key "                       \
    "AND n.given_s > h.given_s AND n.given_s <= p.failed_s) "                  \
    "THEN p.failed_s END, NOT EXISTS ("                                        \
    "SELECT 1 FROM handovers b WHERE b.pot_key = p.key "                       \
    "AND b.given_s < h.given_s) "                                              \
    "FROM pots p CROSS JOIN handovers h " /* walk the few pots, then theirs */ \
    "WHERE h.pot_key = p.key AND p.outings > 1 "                               \
    "AND (p.failed_s IS NULL OR h.given_s <= p.failed_s)"

int ledger_exposure_each(struct ledger *lg, exposure_f *f, void *arg)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT batch_id, key, given_s, ended_s, CASE WHEN "
               "failed_s < given_s THEN given_s ELSE failed_s END, 1 "
               "FROM pots WHERE outings = 1");
    err = stream(&q, f, arg);
    if (err < 0)
        return err;
    query_open(&q, lg, AGAIN);
    return stream(&q, f, arg);
}
