/* texts.c - what came in, once. */
#include "ledger/engine.h"
#include "ledger/phrases.h"

#include <string.h>

#define DAY_S          86400
#define WEEK_S         (7 * DAY_S)
#define OUTBOX_DROPPED "words dropped up to outbox"

/* The week of a time, rounded down for times before 1970 too. */
static int64_t week_of(int64_t at_s)
{
    return at_s / WEEK_S - (at_s % WEEK_S < 0);
}

struct repeat {
    int64_t carrier;
    const char *ref;
    int64_t text_id, at_s; /* written: of the earlier text */
};

static int when_taken(struct ledger *lg, struct repeat *r)
{
    struct query q;
    int err;

    query_open(&q, lg, "SELECT at_s FROM texts_in WHERE id = $1");
    query_i64(&q, r->text_id);
    if ((err = query_one(&q)) < 0)
        return err;
    r->at_s = query_get_i64(&q, 0);
    query_close(&q);
    return 0;
}

static int find_in_week(struct ledger *lg, int64_t week, struct repeat *r)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT text_id FROM arrivals "
               "WHERE week = $1 AND carrier_id = $2 AND ref = $3");
    query_i64(&q, week);
    query_i64(&q, r->carrier);
    query_text(&q, r->ref);
    if ((err = query_one(&q)) < 0)
        return err;
    r->text_id = query_get_i64(&q, 0);
    query_close(&q);
    return when_taken(lg, r);
}

/*
 * The text that came with this id up to seven days before, but in another
 * week; or after, within a day: the clock may have been put back since.
 */
static int find_repeat(struct ledger *lg, int64_t at_s, struct repeat *r)
{
    int64_t now = week_of(at_s), last = week_of(at_s + DAY_S);

    for (int64_t week = week_of(at_s - WEEK_S); week <= last; week++) {
        int err = week == now ? KW_ENOENT : find_in_week(lg, week, r);

        if (err < 0 && err != KW_ENOENT)
            return err;
        if (err == 0 && r->at_s >= at_s - WEEK_S)
            return 0;
    }
    return KW_ENOENT;
}

/* KW_EDUP when the id came before in this week: the key itself tells. */
static int note_arrival(struct ledger *lg, const struct repeat *r,
                        const struct ledger_text_in *t)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "INSERT INTO arrivals (week, carrier_id, ref, text_id) "
               "VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING");
    query_i64(&q, week_of(t->at_s));
    query_i64(&q, r->carrier);
    query_text(&q, r->ref);
    query_i64(&q, t->id);
    err = query_update(&q);
    return err == KW_ENOENT ? KW_EDUP : err;
}

static int take_back(struct ledger *lg, const struct repeat *r, int64_t at_s)
{
    struct query q;

    query_open(&q, lg,
               "DELETE FROM arrivals WHERE week = $1 AND carrier_id = $2 "
               "AND ref = $3");
    query_i64(&q, week_of(at_s));
    query_i64(&q, r->carrier);
    query_text(&q, r->ref);
    return query_run(&q);
}

/* The ids it is known by, its own not yet given: 0 when none came before. */
static int note_arrivals(struct ledger *lg, struct ledger_text_in *t,
                         int64_t carrier)
{
    struct repeat ref = {.carrier = carrier, .ref = t->ref};
    struct repeat twin = {.carrier = carrier, .ref = t->twin};
    bool two =
        t->twin != NULL && (t->ref == NULL || strcmp(t->ref, t->twin) != 0);
    int err = ref.ref == NULL ? 0 : note_arrival(lg, &ref, t);

    if (err == KW_EDUP && find_in_week(lg, week_of(t->at_s), &ref) == 0)
        t->id = ref.text_id;
    if (err < 0 || !two)
        return err;
    err = note_arrival(lg, &twin, t);
    if (err == KW_EDUP && find_in_week(lg, week_of(t->at_s), &twin) == 0) {
        t->id = twin.text_id;
        err = ref.ref == NULL ? 0 : take_back(lg, &ref, t->at_s);
        err = err < 0 ? err : KW_EDUP;
    }
    return err;
}

static int earlier_weeks(struct ledger *lg, struct ledger_text_in *t,
                         int64_t carrier)
{
    const char *const refs[] = {t->ref, t->twin};
    struct repeat r = {.carrier = carrier};

    for (size_t i = 0; i < KW_COUNT(refs); i++) {
        int err;

        if ((r.ref = refs[i]) == NULL)
            continue;
        err = find_repeat(lg, t->at_s, &r);
        if (err == 0)
            t->id = r.text_id;
        if (err != KW_ENOENT)
            return err == 0 ? KW_EDUP : err;
    }
    return 0;
}

/* The id that the next text gets. */
static int next_id(struct ledger *lg, int64_t *id)
{
    struct query q;
    int err;

    if (lg->kept.text_id != 0) {
        *id = lg->kept.text_id + 1;
        return 0;
    }
    query_open(&q, lg, "SELECT coalesce(max(id), 0) + 1 FROM texts_in");
    if ((err = query_one(&q)) < 0)
        return err;
    *id = query_get_i64(&q, 0);
    query_close(&q);
    return 0;
}

int ledger_text_in_put(struct ledger *lg, struct ledger_text_in *t)
{
    struct query q;
    int64_t carrier;
    int err = carrier_id(lg, t->carrier, true, &carrier);

    if (err < 0 || (err = earlier_weeks(lg, t, carrier)) < 0 ||
        (err = next_id(lg, &t->id)) < 0 ||
        (err = note_arrivals(lg, t, carrier)) < 0)
        return err;
    query_open(&q, lg,
               "INSERT INTO texts_in (id, carrier_id, phone_id, at_s, sent_s, "
               "body) VALUES ($1, $2, $3, $4, $5, $6)");
    query_i64(&q, t->id);
    query_i64(&q, carrier);
    query_i64(&q, t->phone_id);
    query_i64(&q, t->at_s);
    query_id(&q, t->sent_s);
    query_octets(&q, t->body, t->len);
    if ((err = query_run(&q)) == 0 && engine_in_transaction(lg))
        lg->kept.text_id = t->id;
    return err;
}

int ledger_refs_each(struct ledger *lg, const char *carrier, int64_t since_s,
                     int (*f)(const char *ref, void *arg), void *arg)
{
    struct query q;
    int64_t id;
    int err = carrier_id(lg, carrier, false, &id);

    if (err < 0)
        return err == KW_ENOENT ? 0 : err;
    query_open(&q, lg,
               "SELECT a.ref FROM arrivals a JOIN texts_in t "
               "ON t.id = a.text_id WHERE a.week >= $1 AND a.carrier_id = $2 "
               "AND t.at_s >= $3 ORDER BY t.at_s, t.id");
    query_i64(&q, week_of(since_s));
    query_i64(&q, id);
    query_i64(&q, since_s);
    while ((err = query_next(&q)) == 1) {
        err = f(query_get_text(&q, 0), arg);
        if (err < 0)
            break;
    }
    query_close(&q);
    return err;
}

int ledger_text_in_read(struct ledger *lg, int64_t id,
                        const struct ledger_reading *r)
{
    struct query q;

    query_open(&q, lg,
               "UPDATE texts_in SET outcome = $2, why = $3, command = $4, "
               "lang = $5, pot_key = $6, danger = $7, answer_id = $8 "
               "WHERE id = $1");
    query_i64(&q, id);
    query_text(&q, r->outcome);
    query_text(&q, r->why);
    query_text(&q, r->command);
    query_text(&q, r->lang);
    query_id(&q, r->pot_key);
    query_i64(&q, r->danger);
    query_id(&q, r->answer_id);
    return query_update(&q);
}

int ledger_answer_of(struct ledger *lg, int64_t text_id, struct kw_buf *out,
                     int64_t *outbox_id)
{
    char words[LEDGER_BODY_CAP];
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT o.id, o.body, h.words FROM texts_in t "
               "LEFT JOIN outbox o ON o.id = t.answer_id "
               "LEFT JOIN phrases h ON h.id = o.phrase_id WHERE t.id = $1");
    query_i64(&q, text_id);
    err = query_one(&q);
    if (err < 0)
        return err;
    if (outbox_id != NULL)
        *outbox_id = query_get_i64(&q, 0);
    phrase_say(&q, 2, 1, words, sizeof(words));
    kw_buf_puts(out, words);
    query_close(&q);
    return out->err;
}

/* ---- words are dropped after a time ---- */

static int drop_in(struct ledger *lg, int64_t before_s, int most)
{
    struct query q;
    int n = 0, err;

    query_open(&q, lg,
               "UPDATE texts_in SET body = NULL WHERE id IN "
               "(SELECT id FROM texts_in WHERE at_s < $1 "
               "AND body IS NOT NULL ORDER BY at_s LIMIT $2) RETURNING id");
    query_i64(&q, before_s);
    query_i64(&q, most);
    while ((err = query_next(&q)) == 1)
        n++;
    query_close(&q);
    return err < 0 ? err : n;
}

/* The outbox is in the order of time, so a mark tells how far it was done. */
static int old_out(struct ledger *lg, int64_t before_s, int64_t *upto, int most)
{
    struct query q;
    int n = 0, err;

    query_open(&q, lg,
               "SELECT id, at_s FROM outbox WHERE id > $1 ORDER BY id "
               "LIMIT $2");
    query_i64(&q, *upto);
    query_i64(&q, most);
    while ((err = query_next(&q)) == 1 && query_get_i64(&q, 1) < before_s) {
        *upto = query_get_i64(&q, 0);
        n++;
    }
    query_close(&q);
    return err < 0 ? err : n;
}

static int drop_out(struct ledger *lg, int64_t before_s, int most)
{
    struct query q;
    int64_t from = 0, upto;
    int n, err = ledger_mark_get(lg, OUTBOX_DROPPED, &from);

    if (err < 0 && err != KW_ENOENT)
        return err;
    upto = from;
    n = old_out(lg, before_s, &upto, most);
    if (n <= 0)
        return n;
    query_open(&q, lg,
               "UPDATE outbox SET body = NULL, phrase_id = NULL WHERE id > $1 "
               "AND id <= $2 "
               "AND state > 1");
    query_i64(&q, from);
    query_i64(&q, upto);
    err = query_run(&q);
    if (err == 0)
        err = ledger_mark_put(lg, OUTBOX_DROPPED, upto);
    return err < 0 ? err : n;
}

int ledger_words_drop(struct ledger *lg, int64_t before_s, int most)
{
    int in = drop_in(lg, before_s, most), out;

    if (in < 0)
        return in;
    out = drop_out(lg, before_s, most);
    return out < 0 ? out : in + out;
}
