/*
 * alerts.c - one stands for each kind and subject:
 *
 *   OPEN --seen--> SEEN --closed--> CLOSED      (OPEN --closed--> CLOSED)
 *
 * What is raised again while it stands is gathered; after it is closed, a
 * new one is opened.
 */
#include "ledger/engine.h"

#include <string.h>

#define COLUMNS                                                                \
    "SELECT id, kind, subject, subject_id, state, opened_s, changed_s, "       \
    "seen_s, closed_s, seen_by, closed_by, reports, signs, observed, "         \
    "expected, p, words FROM alerts "

static void read_row(struct query *q, struct ledger_alert *a)
{
    memset(a, 0, sizeof(*a));
    a->id = query_get_i64(q, 0);
    a->kind = (enum ledger_alert_kind)query_get_i64(q, 1);
    a->on = (enum ledger_subject)query_get_i64(q, 2);
    a->subject_id = query_get_i64(q, 3);
    a->state = (enum ledger_alert_state)query_get_i64(q, 4);
    a->opened_s = query_get_i64(q, 5);
    a->changed_s = query_get_i64(q, 6);
    a->seen_s = query_get_i64(q, 7);
    a->closed_s = query_get_i64(q, 8);
    a->seen_by = query_get_i64(q, 9);
    a->closed_by = query_get_i64(q, 10);
    a->reports = (int)query_get_i64(q, 11);
    a->signs = (unsigned)query_get_i64(q, 12);
    a->observed = query_get_f64(q, 13);
    a->expected = query_get_f64(q, 14);
    a->p = query_get_f64(q, 15);
    query_copy(q, 16, a->words, sizeof(a->words));
}

int ledger_alert_get(struct ledger *lg, int64_t id, struct ledger_alert *out)
{
    struct query q;
    int err;

    query_open(&q, lg, COLUMNS "WHERE id = $1");
    query_i64(&q, id);
    err = query_one(&q);
    if (err < 0)
        return err;
    read_row(&q, out);
    query_close(&q);
    return 0;
}

int ledger_alert_standing(struct ledger *lg, const struct ledger_alert *a,
                          int64_t *id)
{
    struct query q;

    query_open(&q, lg,
               "SELECT id FROM alerts WHERE kind = $1 AND subject = $2 "
               "AND subject_id = $3 AND state < 2");
    query_i64(&q, a->kind);
    query_i64(&q, a->on);
    query_i64(&q, a->subject_id);
    return query_returning(&q, id);
}

static int open_new(struct ledger *lg, struct ledger_alert *a)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO alerts (kind, subject, subject_id, opened_s, "
               "changed_s) VALUES ($1, $2, $3, $4, $4) RETURNING id");
    query_i64(&q, a->kind);
    query_i64(&q, a->on);
    query_i64(&q, a->subject_id);
    query_i64(&q, a->changed_s);
    return query_returning(&q, &a->id);
}

static int has_gathered(struct ledger *lg, int64_t alert_id, int64_t report_id,
                        int64_t text_id)
{
    struct query q;

    query_open(&q, lg,
               "SELECT n FROM gathered WHERE alert_id = $1 "
               "AND report_id IS NOT DISTINCT FROM $2 "
               "AND text_id IS NOT DISTINCT FROM $3 LIMIT 1");
    query_i64(&q, alert_id);
    query_id(&q, report_id);
    query_id(&q, text_id);
    return query_returning(&q, NULL);
}

/* *more: one thing was added to what hangs on the alert. */
static int gather(struct ledger *lg, int64_t alert_id, int64_t report_id,
                  int64_t text_id, int *more)
{
    struct query q;
    int err;

    *more = 0;
    if (report_id == 0 && text_id == 0)
        return 0;
    err = has_gathered(lg, alert_id, report_id, text_id);
    if (err != KW_ENOENT)
        return err;
    query_open(&q, lg,
               "INSERT INTO gathered (alert_id, n, report_id, text_id) "
               "SELECT $1, coalesce(max(n), 0) + 1, $2, $3 FROM gathered "
               "WHERE alert_id = $1");
    query_i64(&q, alert_id);
    query_id(&q, report_id);
    query_id(&q, text_id);
    *more = 1;
    return query_run(&q);
}

static int add_to(struct ledger *lg, const struct ledger_alert *a, int more)
{
    struct query q;

    query_open(&q, lg,
               "UPDATE alerts SET changed_s = $2, reports = reports + $3, "
               "signs = signs | $4, observed = $5, expected = $6, p = $7, "
               "words = CASE $8 WHEN '' THEN words ELSE $8 END "
               "WHERE id = $1");
    query_i64(&q, a->id);
    query_i64(&q, a->changed_s);
    query_i64(&q, more);
    query_i64(&q, a->signs);
    query_f64(&q, a->observed);
    query_f64(&q, a->expected);
    query_f64(&q, a->p);
    query_text(&q, a->words);
    return query_run(&q);
}

int ledger_alert_raise(struct ledger *lg, struct ledger_alert *a,
                       int64_t report_id, int64_t text_id, bool *fresh)
{
    int more, err;

    if (a->changed_s == 0)
        a->changed_s = a->opened_s;
    err = ledger_alert_standing(lg, a, &a->id);
    *fresh = err == KW_ENOENT;
    if (*fresh)
        err = open_new(lg, a);
    if (err == 0)
        err = gather(lg, a->id, report_id, text_id, &more);
    if (err == 0)
        err = add_to(lg, a, more);
    return err;
}

static int mark(struct query *q, int64_t id, int64_t at_s, int64_t by)
{
    int64_t found;

    query_i64(q, id);
    query_i64(q, at_s);
    query_id(q, by);
    return query_returning(q, &found);
}

int ledger_alert_mark(struct ledger *lg, int64_t id,
                      enum ledger_alert_state state, int64_t at_s,
                      int64_t by_phone_id)
{
    struct query q;
    struct ledger_alert a;
    int err;

    if (state != LEDGER_SEEN && state != LEDGER_CLOSED)
        return KW_EINVAL;
    if (state == LEDGER_SEEN)
        query_open(&q, lg,
                   "UPDATE alerts SET state = 1, seen_s = $2, seen_by = $3 "
                   "WHERE id = $1 AND state = 0 RETURNING id");
    else
        query_open(&q, lg,
                   "UPDATE alerts SET state = 2, closed_s = $2, "
                   "closed_by = $3 WHERE id = $1 AND state < 2 RETURNING id");
    err = mark(&q, id, at_s, by_phone_id);
    if (err != KW_ENOENT)
        return err;
    err = ledger_alert_get(lg, id, &a);
    return err < 0 ? err : KW_EDUP;
}

int ledger_alerts_each(struct ledger *lg, bool open_only, int64_t since_s,
                       int (*f)(const struct ledger_alert *, void *), void *arg)
{
    struct query q;
    int err;

    query_open(&q, lg,
               COLUMNS "WHERE changed_s >= $1 AND state < $2 "
                       "ORDER BY opened_s, id");
    query_i64(&q, since_s);
    query_i64(&q, open_only ? LEDGER_CLOSED : LEDGER_CLOSED + 1);
    while ((err = query_next(&q)) == 1) {
        struct ledger_alert a;

        read_row(&q, &a);
        if ((err = f(&a, arg)) < 0)
            break;
    }
    query_close(&q);
    return err < 0 ? err : 0;
}

/* ---- the failures behind a count ---- */

static int count_gathered(struct ledger *lg, int64_t alert_id)
{
    struct query q;

    query_open(&q, lg,
               "UPDATE alerts SET reports = (SELECT count(*) FROM gathered "
               "WHERE alert_id = $1) WHERE id = $1");
    query_i64(&q, alert_id);
    return query_run(&q);
}

/* Those that it has not yet, by the day of the failure; pots p are given. */
#define GATHER_FAILED                                                          \
    "INSERT INTO gathered (alert_id, n, report_id) SELECT $1, "                \
    "(SELECT coalesce(max(n), 0) FROM gathered WHERE alert_id = $1) + "        \
    "row_number() OVER (ORDER BY p.failed_s, p.key), p.failed_report_id "
#define NOT_YET                                                                \
    "AND p.failed_report_id IS NOT NULL AND NOT EXISTS (SELECT 1 "             \
    "FROM gathered g WHERE g.alert_id = $1 "                                   \
    "AND g.report_id = p.failed_report_id)"

int ledger_alert_gather_batch(struct ledger *lg, int64_t alert_id,
                              int64_t batch_id)
{
    struct query q;
    int err;

    query_open(&q, lg,
               GATHER_FAILED "FROM pots p WHERE p.batch_id = $2 " NOT_YET);
    query_i64(&q, alert_id);
    query_i64(&q, batch_id);
    err = query_run(&q);
    return err < 0 ? err : count_gathered(lg, alert_id);
}

int ledger_alert_gather_delivery(struct ledger *lg, int64_t alert_id,
                                 int64_t place_id, int64_t day_s)
{
    struct query q;
    int err;

    query_open(&q, lg,
               GATHER_FAILED "FROM homes h "
                             "JOIN handovers v ON v.home_id = h.id "
                             "JOIN pots p ON p.key = v.pot_key "
                             "WHERE h.place_id = $2 AND v.given_s >= $3 "
                             "AND v.given_s < $3 + 86400 "
                             "AND p.failed_s >= v.given_s "
                             "AND (v.ended_s IS NULL "
                             "OR p.failed_s <= v.ended_s) " NOT_YET);
    query_i64(&q, alert_id);
    query_i64(&q, place_id);
    query_i64(&q, day_s);
    err = query_run(&q);
    return err < 0 ? err : count_gathered(lg, alert_id);
}
