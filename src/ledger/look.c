/*
 * look.c - lists for pages: hand-overs, reports, alerts and what they
 * gathered. A pot's reports hang on a chain from its row (schema.c), so that
 * they are found without an index over all reports.
 */
#include "ledger/look.h"

#include "ledger/look_row.h"

#include <string.h>

int look_each(struct query *q, int (*row)(struct query *, void *), void *arg)
{
    int got, err = 0;

    while (err >= 0 && (got = query_next(q)) != 0)
        err = got < 0 ? got : row(q, arg);
    query_close(q);
    return err < 0 ? err : 0;
}

/* ---- hand-overs ---- */

#define HANDOVERS                                                              \
    "SELECT h.id, h.pot_key, h.home_id, m.place_id, p.serial, b.code, m.code," \
    " l.name, f.number, h.given_s, h.ended_s, h.reason, p.failed_s,"           \
    " p.last_flow_l, p.last_flow_s"                                            \
    " FROM handovers h JOIN pots p ON p.key = h.pot_key"                       \
    " JOIN batches b ON b.id = p.batch_id"                                     \
    " JOIN homes m ON m.id = h.home_id"                                        \
    " LEFT JOIN places l ON l.id = m.place_id"                                 \
    " LEFT JOIN phones f ON f.id = m.phone_id"                                 \
    " WHERE ($2 = 0 OR h.ended_s IS NULL) AND "

static const char *const handover_sql[] = {
    [LOOK_POT] = HANDOVERS "h.pot_key = $1 ORDER BY h.given_s",
    [LOOK_BATCH] = HANDOVERS "p.batch_id = $1 ORDER BY p.serial, h.given_s",
    [LOOK_HOME] = HANDOVERS "h.home_id = $1 ORDER BY h.given_s",
    [LOOK_PLACE] = HANDOVERS "m.place_id = $1 ORDER BY m.code, h.given_s",
    [LOOK_ALL] = HANDOVERS "$1 = 0 ORDER BY h.id",
};

struct handover_call {
    int (*f)(const struct look_handover *, void *);
    void *arg;
};

static int handover_row(struct query *q, void *arg)
{
    struct handover_call *call = arg;
    struct look_handover h = {
        .id = query_get_i64(q, 0),
        .pot_key = query_get_i64(q, 1),
        .home_id = query_get_i64(q, 2),
        .place_id = query_get_i64(q, 3),
        .given_s = query_get_i64(q, 9),
        .ended_s = query_get_i64(q, 10),
        .failed_s = query_get_i64(q, 12),
        .flow_l = query_get_f64(q, 13),
        .flow_s = query_get_i64(q, 14),
    };

    query_copy(q, 4, h.serial, sizeof(h.serial));
    query_copy(q, 5, h.batch, sizeof(h.batch));
    query_copy(q, 6, h.home, sizeof(h.home));
    query_copy(q, 7, h.place, sizeof(h.place));
    query_copy(q, 8, h.phone, sizeof(h.phone));
    query_copy(q, 11, h.reason, sizeof(h.reason));
    return call->f(&h, call->arg);
}

int look_handovers(struct ledger *lg, const struct look_of *of,
                   int (*f)(const struct look_handover *, void *), void *arg)
{
    struct handover_call call = {f, arg};
    struct query q;

    query_open(&q, lg, handover_sql[of->by]);
    query_i64(&q, of->by == LOOK_ALL ? 0 : of->id);
    query_i64(&q, of->now_only);
    return look_each(&q, handover_row, &call);
}

/* ---- reports ---- */

#define REPORT_COLUMNS                                                         \
    "SELECT r.id, r.text_id, r.at_s, r.pot_key, r.test, p.serial, m.code,"     \
    " l.name, f.number, t.outcome, t.why, w.first_hour_l, w.log_se,"           \
    " w.p_below, w.verdict"
#define REPORT_JOINS                                                           \
    " LEFT JOIN texts_in t ON t.id = r.text_id"                                \
    " LEFT JOIN pots p ON p.key = r.pot_key"                                   \
    " LEFT JOIN homes m ON m.id = r.home_id"                                   \
    " LEFT JOIN places l ON l.id = r.place_id"                                 \
    " LEFT JOIN phones f ON f.id = r.phone_id"                                 \
    " LEFT JOIN flows w ON w.report_id = r.id"
#define CHAIN                                                                  \
    "WITH RECURSIVE chain (id) AS ("                                           \
    " SELECT last_report_id FROM pots WHERE key = $1"                          \
    " UNION ALL SELECT c.before_id FROM chain JOIN reports c"                  \
    " ON c.id = chain.id WHERE c.before_id IS NOT NULL) "

static const char *const report_sql[] = {
    [LOOK_POT] = CHAIN REPORT_COLUMNS
    " FROM chain JOIN reports r ON r.id = chain.id" REPORT_JOINS
    " ORDER BY r.at_s, r.id LIMIT $2",
    [LOOK_BATCH] = NULL,
    [LOOK_HOME] =
        REPORT_COLUMNS " FROM reports r" REPORT_JOINS
                       " WHERE r.home_id = $1 ORDER BY r.id DESC LIMIT $2",
    [LOOK_PLACE] =
        REPORT_COLUMNS " FROM reports r" REPORT_JOINS
                       " WHERE r.place_id = $1 ORDER BY r.id DESC LIMIT $2",
    [LOOK_ALL] = REPORT_COLUMNS " FROM reports r" REPORT_JOINS
                                " WHERE $1 = 0 ORDER BY r.id LIMIT $2",
};

struct report_call {
    int (*f)(const struct look_report *, void *);
    void *arg;
};

static int obs_row(struct query *q, void *arg)
{
    struct look_report *r = arg;
    struct look_obs *o;

    if (r->n_obs == LOOK_OBS_MOST)
        return 0;
    o = &r->obs[r->n_obs++];
    query_copy(q, 0, o->kind, sizeof(o->kind));
    query_copy(q, 1, o->measure, sizeof(o->measure));
    query_copy(q, 2, o->unit, sizeof(o->unit));
    o->value = query_get_f64(q, 3);
    o->minutes = query_get_f64(q, 4);
    o->people = (int)query_get_i64(q, 5);
    o->under5 = (int)query_get_i64(q, 6);
    o->signs = (unsigned)query_get_i64(q, 7);
    query_copy(q, 8, o->part, sizeof(o->part));
    o->start_cm = query_get_f64(q, 9);
    o->water_degc = query_get_f64(q, 10);
    return 0;
}

static int read_obs(struct ledger *lg, struct look_report *r)
{
    struct query q;

    query_open(&q, lg,
               "SELECT kind, measure, unit, value, minutes, people, under5,"
               " signs, part, start_cm, water_degc FROM observations WHERE "
               "report_id = $1"
               " ORDER BY n");
    query_i64(&q, r->id);
    return look_each(&q, obs_row, r);
}

static int report_row(struct query *q, void *arg)
{
    struct report_call *call = arg;
    struct look_report r = {
        .id = query_get_i64(q, 0),
        .text_id = query_get_i64(q, 1),
        .at_s = query_get_i64(q, 2),
        .pot_key = query_get_i64(q, 3),
        .test = query_get_i64(q, 4) != 0,
        .first_hour_l = query_get_f64(q, 11),
        .log_se = query_get_f64(q, 12),
        .p_below = query_get_f64(q, 13),
    };
    int err;

    query_copy(q, 5, r.serial, sizeof(r.serial));
    query_copy(q, 6, r.home, sizeof(r.home));
    query_copy(q, 7, r.place, sizeof(r.place));
    query_copy(q, 8, r.phone, sizeof(r.phone));
    query_copy(q, 9, r.outcome, sizeof(r.outcome));
    query_copy(q, 10, r.why, sizeof(r.why));
    query_copy(q, 14, r.verdict, sizeof(r.verdict));
    if (r.id != 0 && (err = read_obs(q->lg, &r)) < 0)
        return err;
    return call->f(&r, call->arg);
}

int look_reports(struct ledger *lg, const struct look_of *of,
                 int (*f)(const struct look_report *, void *), void *arg)
{
    struct report_call call = {f, arg};
    struct query q;

    if (report_sql[of->by] == NULL)
        return KW_EINVAL;
    query_open(&q, lg, report_sql[of->by]);
    query_i64(&q, of->by == LOOK_ALL ? 0 : of->id);
    query_i64(&q, of->most > 0 ? of->most : INT32_MAX);
    return look_each(&q, report_row, &call);
}

int look_unfiled(struct ledger *lg, const struct look_of *of,
                 int (*f)(const struct look_report *, void *), void *arg)
{
    struct report_call call = {f, arg};
    struct query q;

    query_open(&q, lg,
               "SELECT 0, t.id, t.at_s, t.pot_key, 0, p.serial, NULL, NULL,"
               " f.number, t.outcome, t.why, NULL, NULL, NULL, NULL"
               " FROM texts_in t LEFT JOIN pots p ON p.key = t.pot_key"
               " LEFT JOIN phones f ON f.id = t.phone_id"
               " WHERE t.at_s >= $1 AND t.pot_key = $2"
               " AND t.outcome <> 'filed' ORDER BY t.at_s, t.id");
    query_i64(&q, of->since_s);
    query_i64(&q, of->id);
    return look_each(&q, report_row, &call);
}

/* ---- flows ---- */

#define FLOWS                                                                  \
    "SELECT w.report_id, r.pot_key, r.at_s, p.serial, b.code, w.first_hour_l," \
    " w.log_se, w.k_m_s, w.water_degc, w.p_below, w.verdict"                   \
    " FROM flows w JOIN reports r ON r.id = w.report_id"                       \
    " LEFT JOIN pots p ON p.key = r.pot_key"                                   \
    " LEFT JOIN batches b ON b.id = p.batch_id ORDER BY w.report_id"

struct flow_call {
    int (*f)(const struct look_flow *, void *);
    void *arg;
};

static int flow_row(struct query *q, void *arg)
{
    struct flow_call *call = arg;
    struct look_flow w = {
        .report_id = query_get_i64(q, 0),
        .pot_key = query_get_i64(q, 1),
        .at_s = query_get_i64(q, 2),
        .first_hour_l = query_get_f64(q, 5),
        .log_se = query_get_f64(q, 6),
        .k_m_s = query_get_f64(q, 7),
        .water_degc = query_get_f64(q, 8),
        .p_below = query_get_f64(q, 9),
    };

    query_copy(q, 3, w.serial, sizeof(w.serial));
    query_copy(q, 4, w.batch, sizeof(w.batch));
    query_copy(q, 10, w.verdict, sizeof(w.verdict));
    return call->f(&w, call->arg);
}

int look_flows(struct ledger *lg, int (*f)(const struct look_flow *, void *),
               void *arg)
{
    struct flow_call call = {f, arg};
    struct query q;

    query_open(&q, lg, FLOWS);
    return look_each(&q, flow_row, &call);
}

/* ---- alerts ---- */

/* The numbers of enum ledger_subject, as they stand in the statements. */
_Static_assert(LEDGER_ON_POT == 0 && LEDGER_ON_BATCH == 1 &&
                   LEDGER_ON_HOME == 2 && LEDGER_ON_PHONE == 3 &&
                   LEDGER_ON_PLACE == 4,
               "subjects");
static const char *const alert_sql[] = {
    [LOOK_POT] =
        "SELECT a.id FROM alerts a WHERE (a.subject = 0 AND a.subject_id = $1)"
        " OR (a.subject = 1 AND a.subject_id ="
        "  (SELECT batch_id FROM pots WHERE key = $1))"
        " OR (a.subject = 2 AND a.subject_id IN"
        "  (SELECT home_id FROM handovers WHERE pot_key = $1))"
        " OR (a.subject = 3 AND a.subject_id IN"
        "  (SELECT m.phone_id FROM handovers h JOIN homes m"
        "   ON m.id = h.home_id WHERE h.pot_key = $1))"
        " ORDER BY a.id",
    [LOOK_BATCH] =
        "SELECT a.id FROM alerts a WHERE (a.subject = 1 AND a.subject_id = $1)"
        " OR (a.subject = 0 AND a.subject_id IN"
        "  (SELECT key FROM pots WHERE batch_id = $1)) ORDER BY a.id",
    [LOOK_HOME] =
        "SELECT a.id FROM alerts a WHERE (a.subject = 2 AND a.subject_id = $1)"
        " OR (a.subject = 3 AND a.subject_id ="
        "  (SELECT phone_id FROM homes WHERE id = $1))"
        " OR (a.subject = 0 AND a.subject_id IN"
        "  (SELECT pot_key FROM handovers WHERE home_id = $1))"
        " ORDER BY a.id",
    [LOOK_PLACE] =
        "SELECT a.id FROM alerts a WHERE (a.subject = 4 AND a.subject_id = $1)"
        " OR (a.subject = 2 AND a.subject_id IN"
        "  (SELECT id FROM homes WHERE place_id = $1))"
        " OR (a.subject = 3 AND a.subject_id IN"
        "  (SELECT phone_id FROM homes WHERE place_id = $1))"
        " OR (a.subject = 0 AND a.subject_id IN"
        "  (SELECT p.key FROM homes m JOIN pots p ON p.home_id = m.id"
        "   WHERE m.place_id = $1)) ORDER BY a.id",
    [LOOK_ALL] = "SELECT a.id FROM alerts a WHERE $1 = 0 ORDER BY a.id",
};

struct alert_call {
    int (*f)(const struct ledger_alert *, void *);
    void *arg;
};

static int alert_row(struct query *q, void *arg)
{
    struct alert_call *call = arg;
    struct ledger_alert a;
    int err = ledger_alert_get(q->lg, query_get_i64(q, 0), &a);

    return err < 0 ? err : call->f(&a, call->arg);
}

int look_alerts(struct ledger *lg, const struct look_of *of,
                int (*f)(const struct ledger_alert *, void *), void *arg)
{
    struct alert_call call = {f, arg};
    struct query q;

    query_open(&q, lg, alert_sql[of->by]);
    query_i64(&q, of->by == LOOK_ALL ? 0 : of->id);
    return look_each(&q, alert_row, &call);
}

struct gathered_call {
    int (*f)(const struct look_gathered *, void *);
    void *arg;
};

static int gathered_row(struct query *q, void *arg)
{
    struct gathered_call *call = arg;
    struct look_gathered g = {
        .text_id = query_get_i64(q, 0),
        .report_id = query_get_i64(q, 1),
        .at_s = query_get_i64(q, 2),
        .pot_key = query_get_i64(q, 3),
    };

    query_copy(q, 4, g.serial, sizeof(g.serial));
    query_copy(q, 5, g.home, sizeof(g.home));
    query_copy(q, 6, g.place, sizeof(g.place));
    query_copy(q, 7, g.phone, sizeof(g.phone));
    query_copy(q, 8, g.outcome, sizeof(g.outcome));
    if (!query_is_null(q, 9))
        g.words = query_get_octets(q, 9, &g.len);
    return call->f(&g, call->arg);
}

int look_gathered(struct ledger *lg, int64_t alert_id,
                  int (*f)(const struct look_gathered *, void *), void *arg)
{
    struct gathered_call call = {f, arg};
    struct query q;

    query_open(&q, lg,
               "SELECT t.id, r.id, COALESCE(t.at_s, r.at_s),"
               " COALESCE(r.pot_key, t.pot_key), p.serial, m.code, l.name,"
               " f.number, t.outcome, t.body FROM gathered g"
               " LEFT JOIN reports r ON r.id = g.report_id"
               " LEFT JOIN texts_in t ON t.id = COALESCE(g.text_id, r.text_id)"
               " LEFT JOIN pots p ON p.key = COALESCE(r.pot_key, t.pot_key)"
               " LEFT JOIN homes m ON m.id = COALESCE(r.home_id,"
               "  (SELECT MIN(h.id) FROM homes h"
               "   WHERE h.phone_id = t.phone_id), p.home_id)"
               " LEFT JOIN places l ON l.id = COALESCE(r.place_id, m.place_id)"
               " LEFT JOIN phones f"
               " ON f.id = COALESCE(t.phone_id, r.phone_id)"
               " WHERE g.alert_id = $1 ORDER BY g.n");
    query_i64(&q, alert_id);
    return look_each(&q, gathered_row, &call);
}

static const char *const subject_sql[] = {
    [LEDGER_ON_POT] = "SELECT serial FROM pots WHERE key = $1",
    [LEDGER_ON_BATCH] = "SELECT code FROM batches WHERE id = $1",
    [LEDGER_ON_HOME] = "SELECT code FROM homes WHERE id = $1",
    [LEDGER_ON_PHONE] = "SELECT number FROM phones WHERE id = $1",
    [LEDGER_ON_PLACE] = "SELECT name FROM places WHERE id = $1",
};

int look_subject(struct ledger *lg, const struct ledger_alert *a, char *dst,
                 size_t cap)
{
    struct query q;
    int err;

    dst[0] = '\0';
    if ((size_t)a->on >= KW_COUNT(subject_sql))
        return KW_ENOENT;
    query_open(&q, lg, subject_sql[a->on]);
    query_i64(&q, a->subject_id);
    if ((err = query_one(&q)) < 0)
        return err;
    query_copy(&q, 0, dst, cap);
    query_close(&q);
    return 0;
}
