/*
 * outbox.c - texts that go out.
 *
 *   WAITING --claim--> FLYING --settle--> SENT, FAILED, PERHAPS
 *      | ^----- again, recover ----|
 *      +--claim, too late--> EXPIRED
 *
 * A claim puts off what has to wait: it stays WAITING and is due later.
 */
#include "base/clock.h"
#include "base/septet.h"
#include "ledger/engine.h"
#include "ledger/phrases.h"

#include <assert.h>
#include <string.h>

#define PRIORITIES 4 /* LEDGER_PRIORITY_DANGER … LEDGER_PRIORITY_DIGEST */

static int64_t segments_of(const struct ledger_out *o)
{
    return (int64_t)septet_measure(o->body, strlen(o->body)).segments;
}

/* What goes out with the commit is counted here. */
static int count_gone(struct ledger *lg, const struct ledger_out *o,
                      int64_t segments)
{
    struct ledger_phone p;
    int err;

    if (o->gone == NULL || segments == 0)
        return 0;
    if (lg->kept.phone.id == o->phone_id)
        return segments_add(lg, o->at_s, lg->kept.phone.role, 0, segments);
    if ((err = ledger_phone_get(lg, o->phone_id, &p)) < 0)
        return err;
    return segments_add(lg, o->at_s, p.role, 0, segments);
}

int ledger_out_put(struct ledger *lg, struct ledger_out *o)
{
    struct query q;
    struct phrase p = {.id = 0};
    int64_t carrier, segments = 0;
    int err = carrier_id(lg, o->carrier, true, &carrier);

    if (err < 0)
        return err;
    assert(o->priority >= 0 && o->priority < PRIORITIES);
    if (strcmp(o->carrier, LEDGER_CONSOLE) != 0)
        segments = segments_of(o);
    if ((err = count_gone(lg, o, segments)) < 0 ||
        (o->phrase && (err = phrase_take(lg, o->body, &p)) < 0))
        return err;
    query_open(&q, lg,
               "INSERT INTO outbox (phone_id, carrier_id, kind, priority, "
               "at_s, due_s, expires_s, text_id, alert_id, body, segments, "
               "state, settled_s, note, phrase_id) VALUES ($1, $2, $3, $4, $5, "
               "$6, $7, $8, $9, $10, $11, $12, $13, $14, $15)");
    query_i64(&q, o->phone_id);
    query_i64(&q, carrier);
    query_i64(&q, o->kind);
    query_i64(&q, o->priority);
    query_i64(&q, o->at_s);
    query_i64(&q, o->due_s);
    query_id(&q, o->expires_s);
    query_id(&q, o->text_id);
    query_id(&q, o->alert_id);
    query_text(&q, o->phrase ? p.figures : o->body);
    query_i64(&q, segments);
    query_i64(&q, o->gone != NULL ? LEDGER_SENT : LEDGER_WAITING);
    query_id(&q, o->gone != NULL ? o->at_s : 0);
    query_text(&q, o->gone);
    query_id(&q, p.id);
    return query_insert(&q, &o->id);
}

/* ---- claiming ---- */

static void read_row(struct query *q, struct ledger_out *o)
{
    memset(o, 0, sizeof(*o));
    o->id = query_get_i64(q, 0);
    o->phone_id = query_get_i64(q, 1);
    query_copy(q, 2, o->to, sizeof(o->to));
    o->kind = (enum ledger_out_kind)query_get_i64(q, 3);
    o->priority = (int)query_get_i64(q, 4);
    o->at_s = query_get_i64(q, 5);
    o->due_s = query_get_i64(q, 6);
    o->expires_s = query_get_i64(q, 7);
    o->text_id = query_get_i64(q, 8);
    o->alert_id = query_get_i64(q, 9);
    o->tries = (int)query_get_i64(q, 10);
    phrase_say(q, 12, 11, o->body, sizeof(o->body));
}

struct due {
    int64_t carrier;
    int priority;
    int64_t now_s;
};

struct claiming {
    struct ledger_claim left; /* the ceiling shrinks */
    int64_t ids[1 + LEDGER_GROUP_MOST];
    int n_ids;
};

static int find_due(struct ledger *lg, const struct due *d,
                    struct ledger_out *out, int most)
{
    struct query q;
    int n = 0, err;

    query_open(&q, lg,
               "SELECT o.id, o.phone_id, p.number, o.kind, o.priority, "
               "o.at_s, o.due_s, o.expires_s, o.text_id, o.alert_id, "
               "o.tries, o.body, h.words FROM outbox o "
               "JOIN phones p ON p.id = o.phone_id "
               "LEFT JOIN phrases h ON h.id = o.phrase_id "
               "WHERE o.carrier_id = $1 AND o.state = 0 AND o.state < 2 "
               "AND o.priority = $2 AND o.due_s <= $3 "
               "ORDER BY o.due_s, o.id LIMIT $4");
    query_i64(&q, d->carrier);
    query_i64(&q, d->priority);
    query_i64(&q, d->now_s);
    query_i64(&q, most);
    while (n < most && (err = query_next(&q)) == 1)
        read_row(&q, &out[n++]);
    query_close(&q);
    return n < most && err < 0 ? err : n;
}

static int mark_flying(struct ledger *lg, struct ledger_out *o, int64_t carrier)
{
    struct query q;

    query_open(&q, lg,
               "UPDATE outbox SET state = 1, tries = tries + 1, "
               "carrier_id = $2 WHERE id = $1");
    query_i64(&q, o->id);
    query_i64(&q, carrier);
    o->tries++;
    return query_run(&q);
}

static int put_off(struct ledger *lg, int64_t id, int64_t until_s,
                   const char *note)
{
    struct query q;

    query_open(&q, lg, "UPDATE outbox SET due_s = $2, note = $3 WHERE id = $1");
    query_i64(&q, id);
    query_i64(&q, until_s);
    query_text(&q, note);
    return query_run(&q);
}

/* 1: it may go; 0: it was put off, or is too late. */
static int may_go(struct ledger *lg, struct ledger_claim *c,
                  const struct ledger_out *o)
{
    bool unasked = o->kind == LEDGER_REMINDER || o->kind == LEDGER_DIGEST;
    bool danger = o->priority == LEDGER_PRIORITY_DANGER;

    if (o->expires_s != 0 && o->expires_s <= c->now_s)
        return ledger_out_settle(lg, o->id, LEDGER_EXPIRED, c->now_s,
                                 "too late to be of use");
    if (unasked && !danger && c->quiet_until_s > c->now_s)
        return put_off(lg, o->id, c->quiet_until_s, "quiet hours");
    if (c->spent_until_s <= c->now_s)
        return 1;
    if (!danger && segments_of(o) > c->segments_left)
        return put_off(lg, o->id, c->spent_until_s, "the day's ceiling");
    c->segments_left -= segments_of(o);
    return 1;
}

/* Of the n found, those that may go move to the front. */
static int take_off(struct ledger *lg, struct claiming *c,
                    struct ledger_out *out, int n)
{
    int kept = 0, go;

    for (int i = 0; i < n; i++) {
        int err = 0;

        if ((go = may_go(lg, &c->left, &out[i])) < 0)
            return go;
        if (go == 0)
            continue;
        if (kept != i)
            out[kept] = out[i];
        if ((err = mark_flying(lg, &out[kept++], c->ids[0])) < 0)
            return err;
    }
    return kept;
}

/* Those of one priority, its own first; the most there is room for. */
static int claim_priority(struct ledger *lg, struct claiming *c, int priority,
                          struct ledger_out *out, int most)
{
    int n = 0, from = 0;

    while (n < most && from < c->n_ids) {
        struct due d = {.carrier = c->ids[from],
                        .priority = priority,
                        .now_s =
                            from == 0 ? c->left.now_s : c->left.others_due_s};
        int asked = most - n;
        int found = find_due(lg, &d, out + n, asked);
        int kept = found < 0 ? found : take_off(lg, c, out + n, found);

        if (kept < 0)
            return kept;
        n += kept;
        if (found < asked)
            from++;
    }
    return n;
}

int ledger_out_claim_within(struct ledger *lg, const struct ledger_claim *c,
                            struct ledger_out *out, int most)
{
    struct claiming all = {.left = *c, .n_ids = 1};
    int n = 0, err = carrier_id(lg, c->carrier, c->n_others > 0, &all.ids[0]);

    if (err < 0)
        return err == KW_ENOENT ? 0 : err;
    for (int i = 0; i < c->n_others; i++) {
        err = carrier_id(lg, c->others[i], false, &all.ids[all.n_ids]);
        if (err < 0 && err != KW_ENOENT)
            return err;
        all.n_ids += err == 0;
    }
    for (int priority = 0; priority < PRIORITIES && n < most; priority++) {
        int got = claim_priority(lg, &all, priority, out + n, most - n);

        if (got < 0)
            return got;
        n += got;
    }
    return n;
}

int ledger_out_claim(struct ledger *lg, const char *carrier, int64_t now_s,
                     struct ledger_out *out, int most)
{
    struct ledger_claim c = {.carrier = carrier, .now_s = now_s};

    return ledger_out_claim_within(lg, &c, out, most);
}

/* ---- what became of it ---- */

/* What went over the air, or perhaps did, costs: once, until it is sent
 * again. */
static int count_sent(struct ledger *lg, int64_t id, int64_t at_s)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO segments (day_s, role, received, sent) "
               "SELECT $2, p.role, 0, o.segments FROM outbox o "
               "JOIN phones p ON p.id = o.phone_id "
               "WHERE o.id = $1 AND o.segments > 0 "
               "AND o.state <> 2 AND o.state <> 5 "
               "ON CONFLICT (day_s, role) "
               "DO UPDATE SET sent = sent + excluded.sent");
    query_i64(&q, id);
    query_i64(&q, clock_midnight(at_s));
    return query_run(&q);
}

int ledger_out_settle(struct ledger *lg, int64_t id, enum ledger_send state,
                      int64_t at_s, const char *note)
{
    struct query q;
    int err;

    if ((state == LEDGER_SENT || state == LEDGER_PERHAPS) &&
        (err = count_sent(lg, id, at_s)) < 0)
        return err;
    query_open(&q, lg,
               "UPDATE outbox SET state = $2, settled_s = $3, note = $4 "
               "WHERE id = $1");
    query_i64(&q, id);
    query_i64(&q, state);
    query_i64(&q, at_s);
    query_text(&q, note);
    return query_update(&q);
}

int ledger_out_again(struct ledger *lg, int64_t id, int64_t due_s,
                     const char *note)
{
    struct query q;

    query_open(&q, lg,
               "UPDATE outbox SET state = 0, due_s = $2, note = $3 "
               "WHERE id = $1");
    query_i64(&q, id);
    query_i64(&q, due_s);
    query_text(&q, note);
    return query_update(&q);
}

int ledger_out_hand_on(struct ledger *lg, int64_t id, const char *carrier)
{
    struct query q;
    int64_t to;
    int err = carrier_id(lg, carrier, true, &to);

    if (err < 0)
        return err;
    query_open(&q, lg, "UPDATE outbox SET carrier_id = $2 WHERE id = $1");
    query_i64(&q, id);
    query_i64(&q, to);
    return query_update(&q);
}

/* All that was on its way by a carrier perhaps went, and costs. */
static int count_flying(struct ledger *lg, int64_t carrier)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO segments (day_s, role, received, sent) "
               "SELECT $2, p.role, 0, SUM(o.segments) FROM outbox o "
               "JOIN phones p ON p.id = o.phone_id "
               "WHERE o.carrier_id = $1 AND o.state = 1 AND o.state < 2 "
               "GROUP BY p.role ON CONFLICT (day_s, role) "
               "DO UPDATE SET sent = sent + excluded.sent");
    query_i64(&q, carrier);
    query_i64(&q, clock_midnight(clock_now_s()));
    return query_run(&q);
}

int ledger_out_recover(struct ledger *lg, const char *carrier, bool repeat_safe)
{
    struct query q;
    int64_t id;
    int n = 0, err = carrier_id(lg, carrier, false, &id);

    if (err < 0)
        return err == KW_ENOENT ? 0 : err;
    if (!repeat_safe && (err = count_flying(lg, id)) < 0)
        return err;
    query_open(&q, lg,
               "UPDATE outbox SET "
               "state = CASE WHEN $2 = 1 OR priority = 0 THEN 0 ELSE 5 END, "
               "twice = twice + CASE WHEN $2 = 1 THEN 0 "
               "WHEN priority = 0 THEN 1 ELSE 0 END WHERE id IN "
               "(SELECT id FROM outbox WHERE carrier_id = $1 "
               "AND state = 1 AND state < 2) RETURNING id");
    query_i64(&q, id);
    query_i64(&q, repeat_safe);
    while ((err = query_next(&q)) == 1)
        n++;
    query_close(&q);
    return err < 0 ? err : n;
}

static int first_due(struct ledger *lg, const struct due *d, int64_t *due_s)
{
    struct query q;

    query_open(&q, lg,
               "SELECT due_s FROM outbox WHERE carrier_id = $1 "
               "AND state = 0 AND state < 2 AND priority = $2 "
               "ORDER BY due_s LIMIT 1");
    query_i64(&q, d->carrier);
    query_i64(&q, d->priority);
    return query_returning(&q, due_s);
}

int ledger_out_next_due(struct ledger *lg, const char *carrier, int64_t *due_s)
{
    struct due d = {0};
    bool any = false;
    int err = carrier_id(lg, carrier, false, &d.carrier);

    if (err < 0)
        return err;
    for (; d.priority < PRIORITIES; d.priority++) {
        int64_t at;

        err = first_due(lg, &d, &at);
        if (err < 0 && err != KW_ENOENT)
            return err;
        if (err == 0 && (!any || at < *due_s)) {
            *due_s = at;
            any = true;
        }
    }
    return any ? 0 : KW_ENOENT;
}
