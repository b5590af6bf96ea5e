/* ledger.c - what all parts of the ledger share: names, carriers, marks. */
#include "ledger/ledger.h"

#include "ledger/engine.h"

#include <string.h>

static const char *const role_names[LEDGER_ROLES] = {"household", "field",
                                                     "workshop", "coordinator"};
static const char *const alert_names[LEDGER_ALERT_KINDS] = {
    "danger", "fast", "breakage", "low flow"};

const char *ledger_role_name(enum ledger_role r)
{
    return (unsigned)r < LEDGER_ROLES ? role_names[r] : "";
}

int ledger_role_from_name(const char *name)
{
    for (int i = 0; i < LEDGER_ROLES; i++) {
        if (strcmp(name, role_names[i]) == 0)
            return i;
    }
    return KW_ENOENT;
}

const char *ledger_alert_kind_name(enum ledger_alert_kind k)
{
    return (unsigned)k < LEDGER_ALERT_KINDS ? alert_names[k] : "";
}

/* ---- carriers ---- */

static int find_carrier(struct ledger *lg, const char *name, int64_t *id)
{
    struct query q;
    int err;

    query_open(&q, lg, "SELECT id FROM carriers WHERE name = $1");
    query_text(&q, name);
    err = query_one(&q);
    if (err < 0)
        return err;
    *id = query_get_i64(&q, 0);
    query_close(&q);
    return 0;
}

static int add_carrier(struct ledger *lg, const char *name, int64_t *id)
{
    struct query q;

    query_open(&q, lg, "INSERT INTO carriers (name) VALUES ($1) RETURNING id");
    query_text(&q, name);
    return query_returning(&q, id);
}

int carrier_id(struct ledger *lg, const char *name, bool make, int64_t *id)
{
    size_t n = lg->n_carriers;
    int err;

    for (size_t i = 0; i < n; i++) {
        if (strcmp(lg->carriers[i].name, name) == 0) {
            *id = lg->carriers[i].id;
            return 0;
        }
    }
    err = find_carrier(lg, name, id);
    if (err == KW_ENOENT && make)
        err = add_carrier(lg, name, id);
    if (err == 0 && n < ENGINE_CARRIERS_MOST &&
        kw_copy(lg->carriers[n].name, LEDGER_NAME_CAP, name, strlen(name)) ==
            0) {
        lg->carriers[n].id = *id;
        lg->n_carriers++;
    }
    return err;
}

static int read_carrier_name(struct ledger *lg, int64_t id,
                             char dst[LEDGER_NAME_CAP])
{
    struct query q;
    int err;

    query_open(&q, lg, "SELECT name FROM carriers WHERE id = $1");
    query_i64(&q, id);
    if ((err = query_one(&q)) < 0)
        return err;
    query_copy(&q, 0, dst, LEDGER_NAME_CAP);
    query_close(&q);
    return 0;
}

int carrier_name(struct ledger *lg, int64_t id, char dst[LEDGER_NAME_CAP])
{
    size_t n = lg->n_carriers;
    int err;

    dst[0] = '\0';
    if (id == 0)
        return 0;
    for (size_t i = 0; i < n; i++) {
        if (lg->carriers[i].id == id)
            return kw_copy(dst, LEDGER_NAME_CAP, lg->carriers[i].name,
                           strlen(lg->carriers[i].name));
    }
    err = read_carrier_name(lg, id, dst);
    if (err < 0)
        return err;
    return carrier_id(lg, dst, false, &id); /* and keeps it */
}

/* ---- marks ---- */

int ledger_mark_get(struct ledger *lg, const char *key, int64_t *value)
{
    struct query q;
    int err;

    query_open(&q, lg, "SELECT value FROM marks WHERE key = $1");
    query_text(&q, key);
    err = query_one(&q);
    if (err < 0)
        return err;
    *value = query_get_i64(&q, 0);
    query_close(&q);
    return 0;
}

int ledger_mark_put(struct ledger *lg, const char *key, int64_t value)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO marks (key, value) VALUES ($1, $2) "
               "ON CONFLICT (key) DO UPDATE SET value = excluded.value");
    query_text(&q, key);
    query_i64(&q, value);
    return query_run(&q);
}
