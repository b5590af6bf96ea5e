/*
 * phones.c - anyone who texts or is texted. The digits of an E.164 number
 * are its id; short codes and names are counted down from -1.
 */
#include "base/number.h"
#include "ledger/engine.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#define COLUMNS                                                                \
    "SELECT p.id, p.number, p.lang, p.lang_seen, p.role, p.stopped, "          \
    "p.carrier_id, p.name, p.last_chat_reply_s, a.phone_id FROM phones p "     \
    "LEFT JOIN asking a ON a.phone_id = p.id "

static int take_row(struct query *q, struct ledger_phone *out)
{
    struct ledger *lg = q->lg;
    int64_t carrier;
    int err = query_one(q);

    if (err < 0)
        return err;
    memset(out, 0, sizeof(*out));
    out->id = query_get_i64(q, 0);
    query_copy(q, 1, out->number, sizeof(out->number));
    query_copy(q, 2, out->lang, sizeof(out->lang));
    query_copy(q, 3, out->lang_seen, sizeof(out->lang_seen));
    out->role = (enum ledger_role)query_get_i64(q, 4);
    out->stopped = query_get_i64(q, 5) != 0;
    carrier = query_get_i64(q, 6);
    query_copy(q, 7, out->name, sizeof(out->name));
    out->last_chat_reply_s = query_get_i64(q, 8);
    out->asked = !query_is_null(q, 9);
    query_close(q);
    if ((err = carrier_name(lg, carrier, out->carrier)) < 0)
        return err;
    lg->kept.phone = *out;
    return 0;
}

int ledger_phone_get(struct ledger *lg, int64_t id, struct ledger_phone *out)
{
    struct query q;

    query_open(&q, lg, COLUMNS "WHERE p.id = $1");
    query_i64(&q, id);
    return take_row(&q, out);
}

/* FNV-1a, so that two long names that begin alike stay apart. */
static uint32_t hash(const char *s)
{
    uint32_t h = 2166136261u;

    for (; *s != '\0'; s++)
        h = (h ^ (unsigned char)*s) * 16777619u;
    return h;
}

/* The number as it is kept; 0 E.164, 1 another sender, KW_EINVAL. */
static int canonical(const char *number, int64_t *id, char *dst)
{
    size_t len = strlen(number);

    if (len == 0)
        return KW_EINVAL;
    if (kw_parse_msisdn(number, len, id) == 0) {
        kw_format_msisdn(*id, dst, LEDGER_PHONE_CAP);
        return 0;
    }
    if (kw_copy(dst, LEDGER_PHONE_CAP, number, len) < 0)
        snprintf(dst, LEDGER_PHONE_CAP, "%.14s~%08" PRIx32, number,
                 hash(number));
    return 1;
}

static int find_other(struct ledger *lg, const char *number,
                      struct ledger_phone *out)
{
    struct query q;

    query_open(&q, lg, COLUMNS "WHERE p.number = $1 AND p.id < 0");
    query_text(&q, number);
    return take_row(&q, out);
}

int ledger_phone_find(struct ledger *lg, const char *number,
                      struct ledger_phone *out)
{
    char kept[LEDGER_PHONE_CAP];
    int64_t id;
    int other = canonical(number, &id, kept);

    if (other < 0)
        return other;
    return other ? find_other(lg, kept, out) : ledger_phone_get(lg, id, out);
}

static int next_other_id(struct ledger *lg, int64_t *id)
{
    struct query q;

    query_open(&q, lg,
               "SELECT coalesce(min(id), 0) - 1 FROM phones WHERE id < 0");
    return query_returning(&q, id);
}

int ledger_phone_take(struct ledger *lg, const char *number,
                      struct ledger_phone *out)
{
    char kept[LEDGER_PHONE_CAP];
    struct query q;
    int64_t id;
    int other = canonical(number, &id, kept);
    int err;

    if (other < 0)
        return other;
    err = other ? find_other(lg, kept, out) : ledger_phone_get(lg, id, out);
    if (err != KW_ENOENT)
        return err;
    if (other && (err = next_other_id(lg, &id)) < 0)
        return err;
    query_open(&q, lg, "INSERT INTO phones (id, number) VALUES ($1, $2)");
    query_i64(&q, id);
    query_text(&q, kept);
    if ((err = query_run(&q)) < 0)
        return err;
    memset(out, 0, sizeof(*out));
    out->id = id;
    return kw_copy(out->number, sizeof(out->number), kept, strlen(kept));
}

/* Touches the row only when something differs: most texts change nothing. */
int ledger_phone_put(struct ledger *lg, const struct ledger_phone *p)
{
    struct query q;
    int64_t carrier = 0;
    int err;

    if (lg->kept.phone.id == p->id &&
        memcmp(&lg->kept.phone, p, sizeof(*p)) == 0)
        return 0;
    lg->kept.phone.id = 0;
    if (p->carrier[0] != '\0' &&
        (err = carrier_id(lg, p->carrier, true, &carrier)) < 0)
        return err;
    query_open(&q, lg,
               "UPDATE phones SET lang = $2, lang_seen = $3, role = $4, "
               "stopped = $5, carrier_id = $6, name = $7, "
               "last_chat_reply_s = $8 WHERE id = $1 AND "
               "(lang, lang_seen, role, stopped, carrier_id, name, "
               "last_chat_reply_s) IS DISTINCT FROM "
               "($2, $3, $4, $5, $6, $7, $8)");
    query_i64(&q, p->id);
    query_text(&q, p->lang);
    query_text(&q, p->lang_seen);
    query_i64(&q, p->role);
    query_i64(&q, p->stopped);
    query_id(&q, carrier);
    query_text(&q, p->name);
    query_id(&q, p->last_chat_reply_s);
    return query_run(&q);
}
