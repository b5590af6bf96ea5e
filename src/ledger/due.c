/* due.c - see due.h. */
#include "ledger/due.h"

#include "ledger/query.h"

#include <string.h>

int due_phones_of_role(struct ledger *lg, enum ledger_role role, int64_t *ids,
                       int most)
{
    struct query q;
    int n = 0, err;

    query_open(&q, lg, "SELECT id FROM phones WHERE role = $1 ORDER BY id");
    query_i64(&q, role);
    while ((err = query_next(&q)) == 1) {
        if (n < most)
            ids[n++] = query_get_i64(&q, 0);
    }
    query_close(&q);
    return err < 0 ? err : n;
}

/* ---- where pots were ---- */

int due_where_was(struct ledger *lg, int64_t pot_key, int64_t at_s,
                  struct due_where *out)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT v.home_id, h.phone_id, h.place_id, v.given_s, v.id "
               "FROM handovers v JOIN homes h ON h.id = v.home_id "
               "WHERE v.pot_key = $1 AND v.given_s <= $2 "
               "AND (v.ended_s IS NULL OR v.ended_s > $2)");
    query_i64(&q, pot_key);
    query_i64(&q, at_s);
    if ((err = query_one(&q)) < 0)
        return err;
    out->home_id = query_get_i64(&q, 0);
    out->phone_id = query_get_i64(&q, 1);
    out->place_id = query_get_i64(&q, 2);
    out->given_s = query_get_i64(&q, 3);
    out->handover_id = query_get_i64(&q, 4);
    query_close(&q);
    return 0;
}

static void take_home(struct query *q, struct ledger_home *h)
{
    h->id = query_get_i64(q, 0);
    query_copy(q, 1, h->code, sizeof(h->code));
    h->place_id = query_get_i64(q, 2);
    h->phone_id = query_get_i64(q, 3);
    query_copy(q, 4, h->lang, sizeof(h->lang));
    h->people = (int)query_get_i64(q, 5);
    h->consent = (int)query_get_i64(q, 6);
}

/* One statement, in the order of the indices: each text begins with it. */
int due_home_then(struct ledger *lg, int64_t phone_id, int64_t at_s,
                  struct due_home *out)
{
    struct query q;
    int err;

    memset(out, 0, sizeof(*out));
    query_open(&q, lg,
               "SELECT h.id, h.code, h.place_id, h.phone_id, h.lang, "
               "h.people, h.consent, v.pot_key FROM homes h "
               "LEFT JOIN handovers v ON v.home_id = h.id "
               "AND v.given_s <= $2 AND (v.ended_s IS NULL OR v.ended_s > $2) "
               "WHERE h.phone_id = $1 ORDER BY h.id, v.id");
    query_i64(&q, phone_id);
    query_i64(&q, at_s);
    while ((err = query_next(&q)) == 1) {
        if (out->home.id == 0)
            take_home(&q, &out->home);
        if (query_is_null(&q, 7))
            continue;
        if (out->n_keys < (int)KW_COUNT(out->keys))
            out->keys[out->n_keys] = query_get_i64(&q, 7);
        out->n_keys++;
    }
    query_close(&q);
    return err;
}

/* ---- lists of pots ---- */

#define POT_COLUMNS                                                            \
    "p.key, p.serial, h.id, h.phone_id, coalesce(f.stopped, 0) = 1 "           \
    "OR h.consent = 0, h.code, coalesce(w.name, ''), coalesce(f.number, '') "
#define POT_JOINS                                                              \
    "JOIN homes h ON h.id = p.home_id "                                        \
    "LEFT JOIN phones f ON f.id = h.phone_id "                                 \
    "LEFT JOIN places w ON w.id = h.place_id "

static int each_pot(struct query *q, due_pot_f *f, void *arg)
{
    int err;

    while ((err = query_next(q)) == 1) {
        struct due_pot p = {.since_s = query_get_i64(q, 0),
                            .key = query_get_i64(q, 1),
                            .home_id = query_get_i64(q, 3),
                            .phone_id = query_get_i64(q, 4),
                            .stopped = query_get_i64(q, 5) != 0};

        query_copy(q, 2, p.serial, sizeof(p.serial));
        query_copy(q, 6, p.home, sizeof(p.home));
        query_copy(q, 7, p.place, sizeof(p.place));
        query_copy(q, 8, p.phone, sizeof(p.phone));
        if ((err = f(&p, arg)) < 0)
            break;
    }
    query_close(q);
    return err < 0 ? err : 0;
}

int due_remeasure_each(struct ledger *lg, const struct due_period *p,
                       due_pot_f *f, void *arg)
{
    struct query q;

    query_open(
        &q, lg,
        "SELECT p.last_low_s, " POT_COLUMNS "FROM pots p " POT_JOINS
        "WHERE p.last_low_s >= $1 AND p.last_low_s < $2 "
        "AND p.last_flow_s = p.last_low_s AND p.failed_s IS NULL "
        "AND NOT EXISTS (SELECT 1 FROM batches b WHERE b.id = p.batch_id "
        "AND b.recalled_s IS NOT NULL) "
        "AND p.last_low_s >= p.given_s "
        "AND NOT EXISTS (SELECT 1 FROM alerts a WHERE a.kind IN ($3, $4) "
        "AND a.subject = $5 AND a.subject_id = p.key AND a.state < 2) "
        "AND NOT EXISTS (SELECT 1 FROM reports r "
        "JOIN flows f ON f.report_id = r.id "
        "WHERE r.at_s = p.last_low_s AND r.pot_key = p.key "
        "AND f.verdict = 'replace') ORDER BY p.last_low_s, p.key");
    query_i64(&q, p->from_s);
    query_i64(&q, p->to_s);
    query_i64(&q, LEDGER_ALERT_LOW_FLOW);
    query_i64(&q, LEDGER_ALERT_FAST);
    query_i64(&q, LEDGER_ON_POT);
    return each_pot(&q, f, arg);
}

int due_replace_each(struct ledger *lg, due_pot_f *f, void *arg)
{
    struct query q;

    query_open(&q, lg,
               "SELECT coalesce(p.failed_s, b.recalled_s, a.opened_s) AS "
               "since_s, " POT_COLUMNS
               "FROM pots p JOIN batches b ON b.id = p.batch_id " POT_JOINS
               "LEFT JOIN (SELECT subject_id, min(opened_s) AS opened_s "
               "FROM alerts WHERE state < 2 AND subject = $1 "
               "AND kind IN ($2, $3) GROUP BY subject_id) a "
               "ON a.subject_id = p.key "
               "WHERE p.key IN (SELECT key FROM pots "
               "WHERE failed_s IS NOT NULL UNION SELECT r.key FROM batches c "
               "JOIN pots r ON r.batch_id = c.id "
               "WHERE c.recalled_s IS NOT NULL UNION SELECT subject_id "
               "FROM alerts WHERE state < 2 AND subject = $1 "
               "AND kind IN ($2, $3)) "
               "ORDER BY since_s, p.key");
    query_i64(&q, LEDGER_ON_POT);
    query_i64(&q, LEDGER_ALERT_LOW_FLOW);
    query_i64(&q, LEDGER_ALERT_FAST);
    return each_pot(&q, f, arg);
}

int due_holders_each(struct ledger *lg, int64_t batch_id, due_pot_f *f,
                     void *arg)
{
    struct query q;

    query_open(&q, lg,
               "SELECT coalesce(p.failed_s, 0), " POT_COLUMNS
               "FROM pots p " POT_JOINS "WHERE p.batch_id = $1 "
               "ORDER BY w.name, h.code, p.key");
    query_i64(&q, batch_id);
    return each_pot(&q, f, arg);
}

/* ---- counts ---- */

#define TEXTS                                                                  \
    "SELECT CASE WHEN outcome = 'not-report' AND command IS NOT NULL "         \
    "THEN 'command' ELSE coalesce(outcome, '') END, count(*), "                \
    "sum(CASE WHEN danger <> 0 THEN 1 ELSE 0 END) "                            \
    "FROM texts_in WHERE at_s >= $1 AND at_s < $2 "

/* The index on time holds those whose words are kept; old days need a scan. */
static int count_texts(struct ledger *lg, const struct due_period *p,
                       bool dropped, struct due_counts *c)
{
    struct query q;
    int err;

    if (dropped)
        query_open(&q, lg, TEXTS "GROUP BY 1");
    else
        query_open(&q, lg, TEXTS "AND body IS NOT NULL GROUP BY 1");
    query_i64(&q, p->from_s);
    query_i64(&q, p->to_s);
    while ((err = query_next(&q)) == 1) {
        const char *outcome = query_get_text(&q, 0);
        int64_t n = query_get_i64(&q, 1);

        c->texts += n;
        c->danger += query_get_i64(&q, 2);
        if (strcmp(outcome, "filed") == 0)
            c->filed = n;
        else if (strcmp(outcome, "asked") == 0)
            c->asked = n;
        else if (strcmp(outcome, "command") == 0)
            c->commands = n;
        else if (strcmp(outcome, "not-report") == 0)
            c->not_report = n;
        else
            c->unread += n;
    }
    query_close(&q);
    return err < 0 ? err : 0;
}

static int count_kinds(struct ledger *lg, const struct due_period *p,
                       struct due_counts *c)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT o.kind, count(*), sum(CASE WHEN o.people > 0 "
               "THEN o.people ELSE 1 END), sum(o.under5) "
               "FROM reports r JOIN observations o ON o.report_id = r.id "
               "WHERE r.at_s >= $1 AND r.at_s < $2 AND r.test = 0 "
               "GROUP BY o.kind");
    query_i64(&q, p->from_s);
    query_i64(&q, p->to_s);
    while ((err = query_next(&q)) == 1) {
        const char *kind = query_get_text(&q, 0);

        for (size_t i = 0; i < p->n_kinds && i < KW_COUNT(c->kinds); i++) {
            if (strcmp(kind, p->kinds[i]) == 0)
                c->kinds[i] = query_get_i64(&q, 1);
        }
        if (strcmp(kind, "ill") == 0) {
            c->ill = query_get_i64(&q, 2);
            c->under5 = query_get_i64(&q, 3);
        }
    }
    query_close(&q);
    return err < 0 ? err : 0;
}

/* By the reports, whose index is in the order of time. */
#define FLOWS                                                                  \
    "FROM reports r JOIN flows f ON f.report_id = r.id "                       \
    "WHERE r.at_s >= $1 AND r.at_s < $2 "

static int count_rest(struct ledger *lg, const struct due_period *p,
                      struct due_counts *c)
{
    struct query q;
    int err;

    query_open(
        &q, lg,
        "SELECT (SELECT count(*) FROM reports WHERE at_s >= $1 AND at_s < $2 "
        "AND test = 0), "
        "(SELECT count(*) FROM pots WHERE failed_s >= $1 AND failed_s < $2), "
        "(SELECT count(*) " FLOWS "), "
        "(SELECT count(*) " FLOWS "AND f.verdict IN ('scrub', 'replace')), "
        "(SELECT count(*) " FLOWS "AND f.verdict = 'stop'), "
        "(SELECT count(*) FROM alerts WHERE state = 0), "
        "(SELECT count(*) FROM alerts WHERE state = 1), "
        "(SELECT count(*) FROM outbox WHERE state < 2), "
        "(SELECT count(*) FROM outbox WHERE state > 2 AND at_s >= $1 "
        "AND at_s < $2)");
    query_i64(&q, p->from_s);
    query_i64(&q, p->to_s);
    if ((err = query_one(&q)) < 0)
        return err;
    c->reports = query_get_i64(&q, 0);
    c->failed = query_get_i64(&q, 1);
    c->measured = query_get_i64(&q, 2);
    c->low = query_get_i64(&q, 3);
    c->fast = query_get_i64(&q, 4);
    c->open = query_get_i64(&q, 5);
    c->seen = query_get_i64(&q, 6);
    c->waiting = query_get_i64(&q, 7);
    c->lost = query_get_i64(&q, 8);
    query_close(&q);
    return 0;
}

static int one_more(const struct due_pot *p, void *arg)
{
    (void)p;
    ++*(int64_t *)arg;
    return 0;
}

int due_count(struct ledger *lg, const struct due_period *p,
              struct due_counts *out)
{
    int err;

    memset(out, 0, sizeof(*out));
    err = count_texts(lg, p, false, out);
    if (err == 0 && out->texts == 0)
        err = count_texts(lg, p, true, out);
    if (err < 0 || (err = count_kinds(lg, p, out)) < 0 ||
        (err = count_rest(lg, p, out)) < 0)
        return err;
    return due_replace_each(lg, one_more, &out->replace);
}
