/*
 * reports.c - what was said of a pot or a home. The reports of a pot hang on
 * a chain: pots.last_report_id, then reports.before_id. Those of a pot that
 * is not known yet are orphans until it is.
 */
#include "ledger/drift.h"
#include "ledger/engine.h"
#include "ledger/orphans.h"

#include <math.h>
#include <string.h>

/* What a new report changes in its pot's row. */
struct head {
    bool known;        /* the pot is in the ledger */
    int64_t before_id; /* the newest report so far */
    int64_t flow_s;    /* of the newest flow */
};

static int head_of(struct ledger *lg, int64_t pot_key, struct head *h)
{
    struct query q;
    int err;

    *h = (struct head){.known = false};
    if (pot_key == 0)
        return 0;
    if (lg->kept.head.key == pot_key) { /* read a moment ago */
        *h = (struct head){true, lg->kept.head.last_report_id,
                           lg->kept.head.last_flow_s};
        return 0;
    }
    query_open(&q, lg,
               "SELECT last_report_id, last_flow_s FROM pots WHERE key = $1");
    query_i64(&q, pot_key);
    err = query_one(&q);
    if (err < 0)
        return err == KW_ENOENT ? 0 : err;
    h->known = true;
    h->before_id = query_get_i64(&q, 0);
    h->flow_s = query_get_i64(&q, 1);
    query_close(&q);
    return 0;
}

/* Puts the report at the head of its pot's chain. */
static int hang_on(struct ledger *lg, int64_t pot_key, int64_t report_id)
{
    struct query q;

    query_open(&q, lg, "UPDATE pots SET last_report_id = $2 WHERE key = $1");
    query_i64(&q, pot_key);
    query_i64(&q, report_id);
    return query_run(&q);
}

static bool is_low(const struct ledger_flow *f)
{
    return strcmp(f->verdict, "scrub") == 0 ||
           strcmp(f->verdict, "replace") == 0;
}

/* The same, and the flow is the pot's newest. A low one alone touches the
 * column that whom to remind is found by, and its index. */
static int hang_flow_on(struct ledger *lg, const struct ledger_report *r)
{
    struct query q;
    const struct ledger_flow *f = r->flow;

    if (is_low(f))
        query_open(&q, lg,
                   "UPDATE pots SET last_report_id = $2, last_flow_l = $3, "
                   "last_flow_log_se = $4, last_flow_s = $5, "
                   "low_before = low_before + 1, last_low_s = $5 "
                   "WHERE key = $1");
    else
        query_open(&q, lg,
                   "UPDATE pots SET last_report_id = $2, last_flow_l = $3, "
                   "last_flow_log_se = $4, last_flow_s = $5, low_before = 0 "
                   "WHERE key = $1");
    query_i64(&q, r->pot_key);
    query_i64(&q, r->id);
    query_f64(&q, f->first_hour_l);
    query_f64(&q, f->log_se);
    query_i64(&q, r->at_s);
    return query_run(&q);
}

/* It comes before the head of its pot's chain, or is an orphan. */
static int put_row(struct ledger *lg, struct ledger_report *r,
                   const struct head *h)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO reports (text_id, phone_id, pot_key, home_id, "
               "place_id, at_s, test, before_id, orphan) "
               "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)");
    query_id(&q, r->text_id);
    query_id(&q, r->phone_id);
    query_id(&q, r->pot_key);
    query_id(&q, r->home_id);
    query_id(&q, r->place_id);
    query_i64(&q, r->at_s);
    query_i64(&q, r->test);
    query_id(&q, h->before_id);
    query_i64(&q, r->pot_key != 0 && !h->known);
    return query_insert(&q, &r->id);
}

static int put_obs(struct ledger *lg, int64_t report_id, size_t n,
                   const struct ledger_obs *o)
{
    struct query q;
    bool measured = o->measure != NULL;

    query_open(&q, lg,
               "INSERT INTO observations (report_id, n, kind, measure, unit, "
               "value, minutes, people, under5, signs, part, start_cm, "
               "water_degc) "
               "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, "
               "$13)");
    query_i64(&q, report_id);
    query_i64(&q, (int64_t)n);
    query_text(&q, o->kind);
    query_text(&q, o->measure);
    query_text(&q, measured ? o->unit : NULL);
    if (measured)
        query_f64(&q, o->value);
    else
        query_id(&q, 0);
    if (measured)
        query_f64(&q, o->minutes);
    else
        query_id(&q, 0);
    query_i64(&q, o->people);
    query_i64(&q, o->under5);
    query_i64(&q, o->signs);
    query_text(&q, o->part);
    query_f64(&q, o->start_cm > 0 ? o->start_cm : (double)NAN);
    query_f64(&q, o->warm ? o->water_degc : (double)NAN);
    return query_run(&q);
}

static void bind_decision(struct query *q, const struct ledger_decision *d)
{
    const double numbers[] = {d->level, d->slope,      d->p11,     d->p12,
                              d->p22,   d->innovation, d->variance};

    query_i64(q, d->why);
    query_i64(q, d->prior);
    for (size_t i = 0; i < KW_COUNT(numbers); i++)
        query_f64(q, numbers[i]);
}

static int put_flow(struct ledger *lg, int64_t report_id,
                    const struct ledger_flow *f)
{
    struct query q;
    int64_t rule = 0;
    int err = f->decision ? ledger_rule_take(lg, f->decision, &rule) : 0;

    if (err < 0)
        return err;
    query_open(&q, lg,
               "INSERT INTO flows (report_id, first_hour_l, log_se, k_m_s, "
               "water_degc, p_below, verdict, rule_id, why, prior, level, "
               "slope, p11, p12, p22, innovation, variance) "
               "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, "
               "$13, $14, $15, $16, $17)");
    query_i64(&q, report_id);
    query_f64(&q, f->first_hour_l);
    query_f64(&q, f->log_se);
    query_f64(&q, f->k_m_s);
    query_f64(&q, f->water_degc);
    query_f64(&q, f->p_below);
    query_text(&q, f->verdict);
    query_id(&q, rule);
    if (f->decision != NULL)
        bind_decision(&q, f->decision);
    return query_run(&q);
}

int ledger_report_put(struct ledger *lg, struct ledger_report *r,
                      const struct ledger_obs *obs, size_t n_obs)
{
    struct head h;
    bool newest_flow;
    int err = head_of(lg, r->pot_key, &h);

    if (err < 0 || (err = put_row(lg, r, &h)) < 0)
        return err;
    for (size_t i = 0; i < n_obs && err == 0; i++)
        err = put_obs(lg, r->id, i, &obs[i]);
    if (err == 0 && r->flow != NULL)
        err = put_flow(lg, r->id, r->flow);
    if (err < 0 || !h.known)
        return err;
    newest_flow = r->flow != NULL && strcmp(r->flow->verdict, "stop") != 0 &&
                  r->at_s >= h.flow_s;
    return newest_flow ? hang_flow_on(lg, r) : hang_on(lg, r->pot_key, r->id);
}

int ledger_pot_reports(struct ledger *lg, int64_t key, int64_t *ids, int most)
{
    struct query q;
    int n = 0, err;

    query_open(&q, lg,
               "WITH RECURSIVE chain (id) AS ("
               "SELECT last_report_id FROM pots WHERE key = $1 "
               "UNION ALL SELECT r.before_id FROM chain "
               "JOIN reports r ON r.id = chain.id "
               "WHERE r.before_id IS NOT NULL) "
               "SELECT id FROM chain WHERE id IS NOT NULL LIMIT $2");
    query_i64(&q, key);
    query_i64(&q, most);
    while ((err = query_next(&q)) == 1)
        ids[n++] = query_get_i64(&q, 0);
    query_close(&q);
    return err < 0 ? err : n;
}

/* ---- orphans ---- */

/* The oldest orphan of the pot joins the chain. KW_ENOENT: no more. */
static int adopt_one(struct ledger *lg, int64_t key)
{
    struct query q;
    struct head head;
    int64_t id;
    int err = head_of(lg, key, &head);

    if (err == 0 && !head.known)
        err = KW_ENOENT;
    if (err < 0)
        return err;
    query_open(&q, lg,
               "UPDATE reports SET orphan = 0, before_id = $2 WHERE id = "
               "(SELECT min(id) FROM reports WHERE pot_key = $1 "
               "AND orphan = 1) RETURNING id");
    query_i64(&q, key);
    query_id(&q, head.before_id);
    err = query_returning(&q, &id);
    return err < 0 ? err : hang_on(lg, key, id);
}

/* The first of the pot's reports that says it failed. */
static int first_failure(struct ledger *lg, int64_t key, int64_t *report_id,
                         int64_t *at_s)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "WITH RECURSIVE chain (id) AS ("
               "SELECT last_report_id FROM pots WHERE key = $1 "
               "UNION ALL SELECT r.before_id FROM chain "
               "JOIN reports r ON r.id = chain.id "
               "WHERE r.before_id IS NOT NULL) "
               "SELECT r.id, r.at_s FROM chain "
               "JOIN reports r ON r.id = chain.id "
               "WHERE EXISTS (SELECT 1 FROM observations o "
               "WHERE o.report_id = r.id "
               "AND o.kind IN ('crack', 'leak', 'broken')) "
               "ORDER BY r.at_s, r.id LIMIT 1");
    query_i64(&q, key);
    err = query_one(&q);
    if (err < 0)
        return err;
    *report_id = query_get_i64(&q, 0);
    *at_s = query_get_i64(&q, 1);
    query_close(&q);
    return 0;
}

int orphans_adopt(struct ledger *lg, int64_t key)
{
    int64_t report_id, at_s;
    int n = 0, err;

    while ((err = adopt_one(lg, key)) == 0)
        n++;
    if (err != KW_ENOENT || n == 0)
        return err == KW_ENOENT ? 0 : err;
    err = first_failure(lg, key, &report_id, &at_s);
    if (err < 0)
        return err == KW_ENOENT ? 0 : err;
    return ledger_pot_fail(lg, key, at_s, report_id);
}
