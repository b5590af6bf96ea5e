/* query.c - prepared statements: kept, bound, stepped, read. */
#include "ledger/query.h"

#include "ledger/engine.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static size_t slot_of(const struct ledger *lg, const char *sql)
{
    uint64_t h = (uint64_t)(uintptr_t)sql * UINT64_C(0x9e3779b97f4a7c15);
    size_t i = (size_t)(h >> 32) & (lg->n_slots - 1);

    while (lg->slots[i].sql != NULL && lg->slots[i].sql != sql)
        i = (i + 1) & (lg->n_slots - 1);
    return i;
}

static void more_slots(struct ledger *lg)
{
    struct prepared *old = lg->slots;
    size_t n = lg->n_slots;

    lg->n_slots = n ? n * 2 : 128;
    lg->slots = kw_calloc(lg->n_slots, sizeof(*lg->slots));
    for (size_t i = 0; i < n; i++) {
        if (old[i].sql != NULL)
            lg->slots[slot_of(lg, old[i].sql)] = old[i];
    }
    kw_free(old);
}

/* Where $1, $2 … stand: SQLite numbers names as they first appear. */
static void place_params(struct prepared *p)
{
    int n = sqlite3_bind_parameter_count(p->stmt);

    assert(n <= QUERY_PARAMS_MOST);
    for (int i = 1; i <= n; i++) {
        char name[8];

        snprintf(name, sizeof(name), "$%d", i);
        p->place[i] = (uint8_t)sqlite3_bind_parameter_index(p->stmt, name);
        assert(p->place[i] != 0);
    }
}

static int prepare(struct ledger *lg, const char *sql, unsigned flags,
                   struct prepared *out)
{
    int rc = sqlite3_prepare_v3(lg->db, sql, -1, flags, &out->stmt, NULL);

    if (rc != SQLITE_OK)
        return engine_fail(lg, rc, sql);
    out->sql = sql;
    out->drops = kept_drops(sql, sqlite3_stmt_readonly(out->stmt) != 0);
    place_params(out);
    return 0;
}

static struct prepared *kept(struct ledger *lg, const char *sql, int *err)
{
    size_t i;

    if (lg->n_used * 2 >= lg->n_slots)
        more_slots(lg);
    i = slot_of(lg, sql);
    if (lg->slots[i].sql == NULL) {
        *err = prepare(lg, sql, SQLITE_PREPARE_PERSISTENT, &lg->slots[i]);
        if (*err < 0)
            return NULL;
        lg->n_used++;
    }
    return &lg->slots[i];
}

void query_open(struct query *q, struct ledger *lg, const char *sql)
{
    struct prepared *p;

    memset(q, 0, sizeof(*q));
    q->lg = lg;
    q->sql = sql;
    p = kept(lg, sql, &q->err);
    if (p == NULL)
        return;
    if (p->drops != 0)
        kept_drop(&lg->kept, p->drops);
    if (sqlite3_stmt_busy(p->stmt)) {
        q->err = prepare(lg, sql, 0, &q->own);
        if (q->err < 0)
            return;
        q->stmt = q->own.stmt;
        q->place = q->own.place;
        return;
    }
    q->stmt = p->stmt;
    memcpy(q->own.place, p->place, sizeof(p->place)); /* slots may move */
    q->place = q->own.place;
}

static int next_place(struct query *q)
{
    if (q->err < 0)
        return 0;
    q->bound++;
    assert(q->bound <= QUERY_PARAMS_MOST && q->place[q->bound] != 0);
    return q->place[q->bound];
}

static void bound(struct query *q, int rc)
{
    if (rc != SQLITE_OK)
        q->err = engine_fail(q->lg, rc, q->sql);
}

void query_i64(struct query *q, int64_t v)
{
    int at = next_place(q);

    if (at > 0)
        bound(q, sqlite3_bind_int64(q->stmt, at, v));
}

void query_id(struct query *q, int64_t id)
{
    int at = next_place(q);

    if (at > 0)
        bound(q, id == 0 ? sqlite3_bind_null(q->stmt, at)
                         : sqlite3_bind_int64(q->stmt, at, id));
}

void query_f64(struct query *q, double v)
{
    int at = next_place(q);

    if (at > 0)
        bound(q, isnan(v) ? sqlite3_bind_null(q->stmt, at)
                          : sqlite3_bind_double(q->stmt, at, v));
}

void query_text(struct query *q, const char *s)
{
    int at = next_place(q);

    if (at > 0)
        bound(q, s == NULL
                     ? sqlite3_bind_null(q->stmt, at)
                     : sqlite3_bind_text(q->stmt, at, s, -1, SQLITE_STATIC));
}

void query_octets(struct query *q, const void *data, size_t len)
{
    int at = next_place(q);

    if (at > 0)
        bound(q, sqlite3_bind_blob64(q->stmt, at, len ? data : "", len,
                                     SQLITE_STATIC));
}

int query_next(struct query *q)
{
    int rc;

    if (q->err < 0)
        return q->err;
    rc = sqlite3_step(q->stmt);
    if (rc == SQLITE_ROW)
        return 1;
    if (rc == SQLITE_DONE)
        return 0;
    q->err = engine_fail(q->lg, rc, q->sql);
    return q->err;
}

void query_close(struct query *q)
{
    if (q->own.stmt != NULL) {
        sqlite3_finalize(q->own.stmt);
    } else if (q->stmt != NULL) {
        sqlite3_reset(q->stmt);
        sqlite3_clear_bindings(q->stmt);
    }
    q->stmt = q->own.stmt = NULL;
}

int query_one(struct query *q)
{
    int err = query_next(q);

    if (err == 1)
        return 0;
    query_close(q);
    return err < 0 ? err : KW_ENOENT;
}

int query_run(struct query *q)
{
    int err;

    do
        err = query_next(q);
    while (err == 1);
    query_close(q);
    return err;
}

int query_returning(struct query *q, int64_t *value)
{
    int err = query_one(q);

    if (err < 0)
        return err;
    if (value != NULL)
        *value = query_get_i64(q, 0);
    return query_run(q);
}

int query_insert(struct query *q, int64_t *id)
{
    struct ledger *lg = q->lg;
    int err = query_run(q);

    if (err == 0)
        *id = sqlite3_last_insert_rowid(lg->db);
    return err;
}

int query_update(struct query *q)
{
    struct ledger *lg = q->lg;
    int err = query_run(q);

    if (err < 0)
        return err;
    return sqlite3_changes64(lg->db) > 0 ? 0 : KW_ENOENT;
}

int64_t query_get_i64(struct query *q, int col)
{
    return sqlite3_column_int64(q->stmt, col);
}

double query_get_f64(struct query *q, int col)
{
    return query_is_null(q, col) ? (double)NAN
                                 : sqlite3_column_double(q->stmt, col);
}

const char *query_get_text(struct query *q, int col)
{
    const char *s = (const char *)sqlite3_column_text(q->stmt, col);

    return s != NULL ? s : "";
}

const void *query_get_octets(struct query *q, int col, size_t *len)
{
    const void *data = sqlite3_column_blob(q->stmt, col);

    *len = (size_t)sqlite3_column_bytes(q->stmt, col);
    return data != NULL ? data : "";
}

bool query_is_null(struct query *q, int col)
{
    return sqlite3_column_type(q->stmt, col) == SQLITE_NULL;
}

void query_copy(struct query *q, int col, char *dst, size_t cap)
{
    const char *s = query_get_text(q, col);
    size_t len = strlen(s);

    kw_copy(dst, cap, s, len < cap ? len : cap - 1);
}
