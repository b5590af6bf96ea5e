/* look_rows.c - whole tables row by row, for exports. */
#include "ledger/look.h"

#include "ledger/look_row.h"
#include "ledger/phrases.h"

/* ---- texts that came in ---- */

struct text_call {
    int (*f)(const struct look_text *, void *);
    void *arg;
};

static int text_row(struct query *q, void *arg)
{
    struct text_call *call = arg;
    struct look_text t = {
        .id = query_get_i64(q, 0),
        .at_s = query_get_i64(q, 1),
        .sent_s = query_get_i64(q, 2),
        .danger = (unsigned)query_get_i64(q, 10),
    };

    query_copy(q, 3, t.carrier, sizeof(t.carrier));
    query_copy(q, 4, t.phone, sizeof(t.phone));
    query_copy(q, 5, t.outcome, sizeof(t.outcome));
    query_copy(q, 6, t.why, sizeof(t.why));
    query_copy(q, 7, t.command, sizeof(t.command));
    query_copy(q, 8, t.lang, sizeof(t.lang));
    query_copy(q, 9, t.serial, sizeof(t.serial));
    if (!query_is_null(q, 11))
        t.words = query_get_octets(q, 11, &t.len);
    return call->f(&t, call->arg);
}

int look_texts(struct ledger *lg, int (*f)(const struct look_text *, void *),
               void *arg)
{
    struct text_call call = {f, arg};
    struct query q;

    query_open(&q, lg,
               "SELECT t.id, t.at_s, t.sent_s, c.name, f.number, t.outcome,"
               " t.why, t.command, t.lang, p.serial, t.danger, t.body"
               " FROM texts_in t JOIN carriers c ON c.id = t.carrier_id"
               " JOIN phones f ON f.id = t.phone_id"
               " LEFT JOIN pots p ON p.key = t.pot_key ORDER BY t.id");
    return look_each(&q, text_row, &call);
}

/* ---- pots ---- */

struct pot_call {
    int (*f)(const struct look_pot *, void *);
    void *arg;
};

static int pot_row(struct query *q, void *arg)
{
    struct pot_call *call = arg;
    struct look_pot p = {
        .scrapped = query_get_i64(q, 3) != 0,
        .test_l = query_get_f64(q, 4),
        .outings = (int)query_get_i64(q, 5),
        .given_s = query_get_i64(q, 6),
        .ended_s = query_get_i64(q, 7),
        .failed_s = query_get_i64(q, 8),
        .flow_l = query_get_f64(q, 10),
        .flow_s = query_get_i64(q, 11),
    };

    query_copy(q, 12, p.shelf, sizeof(p.shelf));
    query_copy(q, 0, p.serial, sizeof(p.serial));
    query_copy(q, 1, p.batch, sizeof(p.batch));
    query_copy(q, 2, p.mould, sizeof(p.mould));
    query_copy(q, 9, p.home, sizeof(p.home));
    return call->f(&p, call->arg);
}

struct shelf_call {
    int (*f)(const struct look_shelf *, void *);
    void *arg;
};

static int shelf_row(struct query *q, void *arg)
{
    struct shelf_call *call = arg;
    struct look_shelf s = {query_get_i64(q, 0), query_get_text(q, 1)};

    return call->f(&s, call->arg);
}

int look_shelves(struct ledger *lg, int (*f)(const struct look_shelf *, void *),
                 void *arg)
{
    struct shelf_call call = {f, arg};
    struct query q;

    query_open(&q, lg,
               "SELECT key, shelf FROM pots WHERE shelf <> '' ORDER BY key");
    return look_each(&q, shelf_row, &call);
}

int look_pots(struct ledger *lg, int (*f)(const struct look_pot *, void *),
              void *arg)
{
    struct pot_call call = {f, arg};
    struct query q;

    query_open(&q, lg,
               "SELECT p.serial, b.code, p.mould, p.scrapped, p.test_l,"
               " p.outings, p.given_s, p.ended_s, p.failed_s, m.code,"
               " p.last_flow_l, p.last_flow_s, p.shelf"
               " FROM pots p JOIN batches b ON b.id = p.batch_id"
               " LEFT JOIN homes m ON m.id = p.home_id ORDER BY p.key");
    return look_each(&q, pot_row, &call);
}

/* ---- places ---- */

struct spot_call {
    int (*f)(const struct look_spot *, void *);
    void *arg;
};

static int spot_row(struct query *q, void *arg)
{
    struct spot_call *call = arg;
    struct look_spot s = {query_get_i64(q, 0), query_get_text(q, 1),
                          query_get_f64(q, 2), query_get_f64(q, 3)};

    return call->f(&s, call->arg);
}

int look_spots(struct ledger *lg, int (*f)(const struct look_spot *, void *),
               void *arg)
{
    struct spot_call call = {f, arg};
    struct query q;

    query_open(&q, lg,
               "SELECT id, name, lat_deg, lon_deg FROM places "
               "WHERE lat_deg IS NOT NULL AND lon_deg IS NOT NULL "
               "ORDER BY name");
    return look_each(&q, spot_row, &call);
}

/* ---- homes ---- */

struct home_call {
    int (*f)(const struct look_home *, void *);
    void *arg;
};

static int home_row(struct query *q, void *arg)
{
    struct home_call *call = arg;
    struct look_home h = {
        .people = (int)query_get_i64(q, 4),
        .consent = (int)query_get_i64(q, 5),
        .stopped = query_get_i64(q, 6) != 0,
    };

    query_copy(q, 0, h.code, sizeof(h.code));
    query_copy(q, 1, h.place, sizeof(h.place));
    query_copy(q, 2, h.phone, sizeof(h.phone));
    query_copy(q, 3, h.lang, sizeof(h.lang));
    return call->f(&h, call->arg);
}

int look_homes(struct ledger *lg, int (*f)(const struct look_home *, void *),
               void *arg)
{
    struct home_call call = {f, arg};
    struct query q;

    query_open(&q, lg,
               "SELECT m.code, l.name, f.number, m.lang, m.people, m.consent,"
               " f.stopped FROM homes m"
               " LEFT JOIN places l ON l.id = m.place_id"
               " LEFT JOIN phones f ON f.id = m.phone_id ORDER BY m.id");
    return look_each(&q, home_row, &call);
}

/* ---- texts that go out ---- */

struct out_call {
    int (*f)(const struct look_out *, void *);
    void *arg;
};

static int out_row(struct query *q, void *arg)
{
    struct out_call *call = arg;
    char words[LEDGER_BODY_CAP];
    struct look_out o = {
        .id = query_get_i64(q, 0),
        .at_s = query_get_i64(q, 1),
        .due_s = query_get_i64(q, 2),
        .expires_s = query_get_i64(q, 3),
        .settled_s = query_get_i64(q, 4),
        .text_id = query_get_i64(q, 5),
        .alert_id = query_get_i64(q, 6),
        .kind = (enum ledger_out_kind)query_get_i64(q, 9),
        .state = (enum ledger_send)query_get_i64(q, 10),
        .priority = (int)query_get_i64(q, 11),
        .tries = (int)query_get_i64(q, 12),
    };

    query_copy(q, 7, o.phone, sizeof(o.phone));
    query_copy(q, 8, o.carrier, sizeof(o.carrier));
    o.note = query_get_text(q, 13);
    phrase_say(q, 15, 14, words, sizeof(words));
    o.words = words;
    return call->f(&o, call->arg);
}

int look_outbox(struct ledger *lg, int (*f)(const struct look_out *, void *),
                void *arg)
{
    struct out_call call = {f, arg};
    struct query q;

    query_open(&q, lg,
               "SELECT o.id, o.at_s, o.due_s, o.expires_s, o.settled_s,"
               " o.text_id, o.alert_id, f.number, c.name, o.kind, o.state,"
               " o.priority, o.tries, o.note, o.body, h.words"
               " FROM outbox o JOIN phones f ON f.id = o.phone_id"
               " JOIN carriers c ON c.id = o.carrier_id"
               " LEFT JOIN phrases h ON h.id = o.phrase_id ORDER BY o.id");
    return look_each(&q, out_row, &call);
}

/* ---- batches ---- */

struct batch_call {
    int (*f)(const struct ledger_batch *, void *);
    void *arg;
};

static int batch_row(struct query *q, void *arg)
{
    struct batch_call *call = arg;
    struct ledger_batch b;
    int err = ledger_batch_get(q->lg, query_get_i64(q, 0), &b);

    return err < 0 ? err : call->f(&b, call->arg);
}

int look_batches(struct ledger *lg,
                 int (*f)(const struct ledger_batch *, void *), void *arg)
{
    struct batch_call call = {f, arg};
    struct query q;

    query_open(&q, lg, "SELECT id FROM batches ORDER BY id");
    return look_each(&q, batch_row, &call);
}
