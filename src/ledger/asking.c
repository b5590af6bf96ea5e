/* asking.c - see asking.h. */
#include "ledger/asking.h"

#include "ledger/query.h"

#include <string.h>

int asking_put(struct ledger *lg, const struct asking *a)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO asking (phone_id, text_id, at_s, why, about) "
               "VALUES ($1, $2, $3, $4, $5) ON CONFLICT (phone_id) DO UPDATE "
               "SET text_id = excluded.text_id, at_s = excluded.at_s, "
               "why = excluded.why, about = excluded.about");
    query_i64(&q, a->phone_id);
    query_i64(&q, a->text_id);
    query_i64(&q, a->at_s);
    query_text(&q, a->why);
    query_text(&q, a->about);
    return query_run(&q);
}

int asking_get(struct ledger *lg, int64_t phone_id, struct asking *a)
{
    struct query q;
    const void *body;
    int err;

    query_open(&q, lg,
               "SELECT a.text_id, a.at_s, a.why, a.about, t.body "
               "FROM asking a JOIN texts_in t ON t.id = a.text_id "
               "WHERE a.phone_id = $1");
    query_i64(&q, phone_id);
    if ((err = query_one(&q)) < 0)
        return err;
    memset(a, 0, sizeof(*a));
    a->phone_id = phone_id;
    a->text_id = query_get_i64(&q, 0);
    a->at_s = query_get_i64(&q, 1);
    query_copy(&q, 2, a->why, sizeof(a->why));
    query_copy(&q, 3, a->about, sizeof(a->about));
    body = query_get_octets(&q, 4, &a->len);
    if (!query_is_null(&q, 4))
        a->body = kw_strndup(body != NULL ? body : "", a->len);
    query_close(&q);
    return 0;
}

int asking_forget(struct ledger *lg, int64_t phone_id)
{
    struct query q;

    query_open(&q, lg, "DELETE FROM asking WHERE phone_id = $1");
    query_i64(&q, phone_id);
    return query_run(&q);
}
