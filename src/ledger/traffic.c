/* traffic.c - segments, receipts, and texts handed to another carrier. */
#include "ledger/traffic.h"

#include "base/clock.h"
#include "ledger/engine.h"

#include <stdio.h>
#include <string.h>

/* ---- segments ---- */

/* A local day is never so short. */
#define DAY_LEAST_S (20 * 3600)

static int write_role(struct ledger *lg, const struct kept_segments *s,
                      int role)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO segments (day_s, role, received, sent) "
               "VALUES ($1, $2, $3, $4) ON CONFLICT (day_s, role) "
               "DO UPDATE SET received = received + excluded.received, "
               "sent = sent + excluded.sent");
    query_i64(&q, s->day_s);
    query_i64(&q, role);
    query_i64(&q, s->received[role]);
    query_i64(&q, s->sent[role]);
    return query_run(&q);
}

int segments_write(struct ledger *lg)
{
    struct kept_segments *s = &lg->kept.segments;
    int err = 0;

    for (int i = 0; s->any && i < LEDGER_ROLES && err == 0; i++) {
        if (s->received[i] != 0 || s->sent[i] != 0)
            err = write_role(lg, s, i);
    }
    if (err == 0)
        *s = (struct kept_segments){.day_s = s->day_s};
    return err;
}

/* One row of a day and role for all texts of a commit. */
int segments_add(struct ledger *lg, int64_t at_s, enum ledger_role role,
                 int64_t received, int64_t sent)
{
    struct kept_segments *s = &lg->kept.segments;
    int64_t day_s = s->day_s;
    int err;

    if (day_s == 0 || at_s < day_s || at_s >= day_s + DAY_LEAST_S)
        day_s = clock_midnight(at_s);
    if (s->any && s->day_s != day_s && (err = segments_write(lg)) < 0)
        return err;
    s->any = true;
    s->day_s = day_s;
    s->received[role] += received;
    s->sent[role] += sent;
    return engine_in_transaction(lg) ? 0 : segments_write(lg);
}

int traffic_received(struct ledger *lg, int64_t at_s, enum ledger_role role,
                     size_t segments)
{
    return segments == 0 ? 0
                         : segments_add(lg, at_s, role, (int64_t)segments, 0);
}

int traffic_of_day(struct ledger *lg, int64_t midnight_s,
                   struct traffic_day *out)
{
    struct query q;
    int got;

    *out = (struct traffic_day){0};
    if ((got = segments_write(lg)) < 0)
        return got;
    query_open(&q, lg,
               "SELECT role, received, sent FROM segments WHERE day_s = $1");
    query_i64(&q, midnight_s);
    while ((got = query_next(&q)) == 1) {
        int64_t role = query_get_i64(&q, 0);

        if (role < 0 || role >= LEDGER_ROLES)
            continue;
        out->received[role] = query_get_i64(&q, 1);
        out->sent[role] = query_get_i64(&q, 2);
    }
    query_close(&q);
    return got;
}

int64_t traffic_sum(const int64_t of_roles[LEDGER_ROLES])
{
    int64_t sum = 0;

    for (int i = 0; i < LEDGER_ROLES; i++)
        sum += of_roles[i];
    return sum;
}

/* ---- receipts ---- */

int traffic_far_put(struct ledger *lg, const struct traffic_far *f)
{
    struct query q;
    int64_t carrier;
    int err = carrier_id(lg, f->carrier, true, &carrier);

    if (err < 0)
        return err;
    /* Without a text: its receipt was faster. With one: an old text's id. */
    query_open(&q, lg,
               "INSERT INTO far_ids (carrier_id, far_id, out_id, state, at_s) "
               "VALUES ($1, $2, $3, 0, $4) "
               "ON CONFLICT (carrier_id, far_id) DO UPDATE SET "
               "state = CASE WHEN out_id IS NULL AND at_s >= $5 THEN state "
               "ELSE 0 END, "
               "out_id = excluded.out_id, at_s = excluded.at_s");
    query_i64(&q, carrier);
    query_text(&q, f->far_id);
    query_i64(&q, f->out_id);
    query_i64(&q, f->at_s);
    query_i64(&q, f->at_s - TRAFFIC_EARLY_S);
    err = query_run(&q);
    return err < 0 ? err : traffic_conclude(lg, f->out_id, f->at_s);
}

/* ---- what the parts say of the text ---- */

struct parts { /* of one text, by the ids that they have */
    int64_t n, delivered, failed;
    char why[80];
};

static int gather(struct ledger *lg, int64_t out_id, struct parts *p)
{
    struct query q;
    int got;

    *p = (struct parts){0};
    query_open(&q, lg, "SELECT state, why FROM far_ids WHERE out_id = $1");
    query_i64(&q, out_id);
    while ((got = query_next(&q)) == 1) {
        enum traffic_receipt one = (enum traffic_receipt)query_get_i64(&q, 0);

        p->n++;
        p->delivered += one == TRAFFIC_DELIVERED;
        p->failed += one == TRAFFIC_NOT_DELIVERED;
        if (one == TRAFFIC_NOT_DELIVERED)
            query_copy(&q, 1, p->why, sizeof(p->why));
    }
    query_close(&q);
    return got;
}

/* Its cost was counted when it went. */
static int conclude(struct ledger *lg, int64_t out_id, int64_t at_s,
                    const struct parts *p)
{
    char note[120] = "delivered";
    struct query q;

    if (p->failed > 0)
        snprintf(note, sizeof(note), "not delivered%s%s",
                 p->why[0] != '\0' ? ": " : "", p->why);
    query_open(&q, lg,
               "UPDATE outbox SET state = $2, settled_s = $3, note = $4 "
               "WHERE id = $1");
    query_i64(&q, out_id);
    query_i64(&q, p->failed > 0 ? LEDGER_FAILED : LEDGER_SENT);
    query_i64(&q, at_s);
    query_text(&q, note);
    return query_run(&q);
}

int traffic_conclude(struct ledger *lg, int64_t out_id, int64_t at_s)
{
    struct query q;
    struct parts p;
    int64_t state, segments;
    int err = gather(lg, out_id, &p);

    if (err < 0 || (p.failed == 0 && (p.n == 0 || p.delivered < p.n)))
        return err;
    query_open(&q, lg, "SELECT state, segments FROM outbox WHERE id = $1");
    query_i64(&q, out_id);
    if ((err = query_one(&q)) < 0)
        return err == KW_ENOENT ? 0 : err;
    state = query_get_i64(&q, 0);
    segments = query_get_i64(&q, 1);
    query_close(&q);
    if (state == LEDGER_SENT ||
        (state == LEDGER_PERHAPS && (p.failed > 0 || p.n >= segments)))
        return conclude(lg, out_id, at_s, &p);
    return 0;
}

int traffic_receipt_put(struct ledger *lg, const struct traffic_far *f)
{
    struct query q;
    int64_t carrier, out_id;
    int err = carrier_id(lg, f->carrier, true, &carrier);

    if (err < 0)
        return err;
    query_open(&q, lg,
               "INSERT INTO far_ids (carrier_id, far_id, state, at_s, why) "
               "VALUES ($1, $2, $3, $4, $5) "
               "ON CONFLICT (carrier_id, far_id) DO UPDATE SET "
               "at_s = CASE WHEN state > 1 THEN at_s ELSE excluded.at_s END, "
               "why = CASE WHEN state > 1 THEN why ELSE excluded.why END, "
               "state = CASE WHEN state > 1 THEN state ELSE excluded.state END "
               "RETURNING out_id");
    query_i64(&q, carrier);
    query_text(&q, f->far_id);
    query_i64(&q, f->state);
    query_i64(&q, f->at_s);
    query_text(&q, f->why != NULL ? f->why : "");
    err = query_returning(&q, &out_id);
    if (err < 0)
        return err;
    if (out_id == 0)
        return KW_ENOENT;
    return traffic_conclude(lg, out_id, f->at_s);
}

int traffic_unmatched(struct ledger *lg, int64_t since_s, int64_t *count)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT COUNT(*) FROM far_ids "
               "WHERE at_s >= $1 AND out_id IS NULL");
    query_i64(&q, since_s);
    if ((err = query_one(&q)) < 0)
        return err;
    *count = query_get_i64(&q, 0);
    query_close(&q);
    return 0;
}

int traffic_receipts(struct ledger *lg, int64_t since_s,
                     int64_t counts[TRAFFIC_RECEIPTS])
{
    struct query q;
    int got;

    memset(counts, 0, TRAFFIC_RECEIPTS * sizeof(*counts));
    query_open(&q, lg,
               "SELECT state, COUNT(*) FROM far_ids WHERE at_s >= $1 "
               "AND out_id IS NOT NULL GROUP BY state");
    query_i64(&q, since_s);
    while ((got = query_next(&q)) == 1) {
        int64_t state = query_get_i64(&q, 0);

        if (state >= 0 && state < TRAFFIC_RECEIPTS)
            counts[state] = query_get_i64(&q, 1);
    }
    query_close(&q);
    return got;
}

int traffic_receipt_of(struct ledger *lg, int64_t out_id,
                       enum traffic_receipt *state)
{
    struct query q;
    bool waits = false;
    int got;

    *state = TRAFFIC_NO_RECEIPT;
    query_open(&q, lg, "SELECT state FROM far_ids WHERE out_id = $1");
    query_i64(&q, out_id);
    while ((got = query_next(&q)) == 1) {
        enum traffic_receipt one = (enum traffic_receipt)query_get_i64(&q, 0);

        waits |= one == TRAFFIC_NO_RECEIPT || one == TRAFFIC_UNDER_WAY;
        *state = one > *state ? one : *state;
    }
    query_close(&q);
    if (*state == TRAFFIC_DELIVERED && waits)
        *state = TRAFFIC_UNDER_WAY; /* not all of it */
    return got;
}

/* ---- one carrier for another ---- */

int traffic_take_over(struct ledger *lg, const struct traffic_move *m)
{
    struct query q;
    int64_t from, to;
    int n = 0, err = carrier_id(lg, m->from, false, &from);

    if (err == KW_ENOENT)
        return 0;
    if (err < 0 || (err = carrier_id(lg, m->to, true, &to)) < 0)
        return err;
    query_open(&q, lg,
               "UPDATE outbox SET carrier_id = $2, tries = 0, "
               "due_s = CASE WHEN tries > 0 AND due_s > $3 THEN $3 "
               "ELSE due_s END, note = 'taken over from another carrier' "
               "WHERE id IN (SELECT id FROM outbox WHERE carrier_id = $1 "
               "AND state = 0 AND state < 2 "
               "AND (tries > 0 OR ($4 = 1 AND due_s <= $3))) RETURNING id");
    query_i64(&q, from);
    query_i64(&q, to);
    query_i64(&q, m->now_s);
    query_i64(&q, m->untried_too);
    while ((err = query_next(&q)) == 1)
        n++;
    query_close(&q);
    return err < 0 ? err : n;
}

int traffic_twice(struct ledger *lg, int64_t since_s, int64_t *count)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT COUNT(*) FROM outbox WHERE twice > 0 AND at_s >= $1");
    query_i64(&q, since_s);
    if ((err = query_one(&q)) < 0)
        return err;
    *count = query_get_i64(&q, 0);
    query_close(&q);
    return 0;
}
