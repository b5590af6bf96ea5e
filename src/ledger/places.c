/* places.c - places with the temperature of their water, and homes. */
#include "ledger/engine.h"
#include "ledger/notebook.h"

#include <math.h>
#include <string.h>

/* ---- places ---- */

static int read_water(struct ledger *lg, struct ledger_place *p)
{
    struct query q;
    int err;

    for (int m = 0; m < 12; m++)
        p->water_degc[m] = (double)NAN;
    query_open(&q, lg,
               "SELECT month, degc FROM place_water WHERE place_id = $1");
    query_i64(&q, p->id);
    while ((err = query_next(&q)) == 1)
        p->water_degc[query_get_i64(&q, 0) - 1] = query_get_f64(&q, 1);
    query_close(&q);
    return err;
}

static int take_place(struct query *q, struct ledger_place *out)
{
    struct ledger *lg = q->lg;
    int err = query_one(q);

    if (err < 0)
        return err;
    memset(out, 0, sizeof(*out));
    out->id = query_get_i64(q, 0);
    query_copy(q, 1, out->name, sizeof(out->name));
    query_copy(q, 2, out->lang, sizeof(out->lang));
    out->lat_deg = query_get_f64(q, 3);
    out->lon_deg = query_get_f64(q, 4);
    out->reported_share = query_get_f64(q, 5);
    query_close(q);
    return read_water(lg, out);
}

int ledger_place_get(struct ledger *lg, int64_t id, struct ledger_place *out)
{
    struct query q;

    query_open(&q, lg,
               "SELECT id, name, lang, lat_deg, lon_deg, "
               "reported_share FROM places "
               "WHERE id = $1");
    query_i64(&q, id);
    return take_place(&q, out);
}

int ledger_place_find(struct ledger *lg, const char *name,
                      struct ledger_place *out)
{
    struct query q;

    query_open(&q, lg,
               "SELECT id, name, lang, lat_deg, lon_deg, "
               "reported_share FROM places "
               "WHERE name = $1");
    query_text(&q, name);
    return take_place(&q, out);
}

static int read_month(struct ledger *lg, int64_t id, int month, double *degc)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT degc FROM place_water "
               "WHERE place_id = $1 AND month = $2");
    query_i64(&q, id);
    query_i64(&q, month);
    if ((err = query_one(&q)) < 0)
        return err;
    *degc = query_get_f64(&q, 0);
    query_close(&q);
    return 0;
}

int ledger_place_water(struct ledger *lg, int64_t id, int month, double *degc)
{
    struct kept_water *w = kept_water(&lg->kept, id, month);
    bool keep = engine_in_transaction(lg) && id != 0;
    int err;

    if (!keep)
        return read_month(lg, id, month, degc);
    if (w->place_id != id || w->month != month) {
        err = read_month(lg, id, month, degc);
        if (err < 0 && err != KW_ENOENT)
            return err;
        *w = (struct kept_water){id, month, err == 0 ? *degc : (double)NAN};
    }
    *degc = w->degc;
    return isnan(w->degc) ? KW_ENOENT : 0;
}

static int put_month(struct ledger *lg, const struct ledger_place *p, int m,
                     bool *changed)
{
    struct query q;
    bool none = isnan(p->water_degc[m]);
    int err;

    if (none)
        query_open(&q, lg,
                   "DELETE FROM place_water WHERE place_id = $1 AND month = $2"
                   " RETURNING month");
    else
        query_open(&q, lg,
                   "INSERT INTO place_water (place_id, month, degc) "
                   "VALUES ($1, $2, $3) ON CONFLICT (place_id, month) "
                   "DO UPDATE SET degc = excluded.degc "
                   "WHERE place_water.degc <> excluded.degc RETURNING month");
    query_i64(&q, p->id);
    query_i64(&q, m + 1);
    if (!none)
        query_f64(&q, p->water_degc[m]);
    err = query_returning(&q, NULL);
    if (err == 0)
        *changed = true;
    return err == KW_ENOENT ? 0 : err;
}

int ledger_place_put(struct ledger *lg, struct ledger_place *p,
                     enum ledger_change *what)
{
    struct query q;
    bool known = p->id != 0, changed;
    int err;

    query_open(&q, lg,
               "INSERT INTO places (name, lang, lat_deg, lon_deg, "
               "reported_share) VALUES ($1, $2, $3, $4, $5) "
               "ON CONFLICT (name) DO UPDATE SET lang = excluded.lang, "
               "lat_deg = excluded.lat_deg, lon_deg = excluded.lon_deg, "
               "reported_share = excluded.reported_share "
               "WHERE (places.lang, places.lat_deg, places.lon_deg, "
               "places.reported_share) IS DISTINCT FROM (excluded.lang, "
               "excluded.lat_deg, excluded.lon_deg, excluded.reported_share) "
               "RETURNING id");
    query_text(&q, p->name);
    query_text(&q, p->lang);
    query_f64(&q, p->lat_deg);
    query_f64(&q, p->lon_deg);
    query_f64(&q, p->reported_share > 0 ? p->reported_share : (double)NAN);
    err = query_returning(&q, known ? NULL : &p->id);
    if (err < 0 && !(err == KW_ENOENT && known))
        return err;
    changed = err == 0;
    for (int m = 0; m < 12; m++) {
        if ((err = put_month(lg, p, m, &changed)) < 0)
            return err;
    }
    *what = !known ? LEDGER_NEW : changed ? LEDGER_CHANGED : LEDGER_SAME;
    return 0;
}

/* ---- homes ---- */

#define HOME                                                                   \
    "SELECT id, code, place_id, phone_id, lang, people, consent "              \
    "FROM homes "

static int take_home(struct query *q, struct ledger_home *out)
{
    int err = query_one(q);

    if (err < 0)
        return err;
    memset(out, 0, sizeof(*out));
    out->id = query_get_i64(q, 0);
    query_copy(q, 1, out->code, sizeof(out->code));
    out->place_id = query_get_i64(q, 2);
    out->phone_id = query_get_i64(q, 3);
    query_copy(q, 4, out->lang, sizeof(out->lang));
    out->people = (int)query_get_i64(q, 5);
    out->consent = (int)query_get_i64(q, 6);
    query_close(q);
    return 0;
}

int ledger_home_get(struct ledger *lg, int64_t id, struct ledger_home *out)
{
    struct query q;

    query_open(&q, lg, HOME "WHERE id = $1");
    query_i64(&q, id);
    return take_home(&q, out);
}

int ledger_home_find(struct ledger *lg, const char *code,
                     struct ledger_home *out)
{
    struct query q;

    query_open(&q, lg, HOME "WHERE code = $1");
    query_text(&q, code);
    return take_home(&q, out);
}

int ledger_home_of_phone(struct ledger *lg, int64_t phone_id,
                         struct ledger_home *out)
{
    struct query q;

    query_open(&q, lg, HOME "WHERE phone_id = $1 ORDER BY id LIMIT 1");
    query_i64(&q, phone_id);
    return take_home(&q, out);
}

int ledger_home_put(struct ledger *lg, struct ledger_home *h,
                    enum ledger_change *what)
{
    struct query q;
    bool known = h->id != 0;
    int err;

    query_open(&q, lg,
               "INSERT INTO homes "
               "(code, place_id, phone_id, lang, people, consent) "
               "VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT (code) "
               "DO UPDATE SET place_id = excluded.place_id, "
               "phone_id = excluded.phone_id, lang = excluded.lang, "
               "people = excluded.people, consent = excluded.consent "
               "WHERE (homes.place_id, homes.phone_id, homes.lang, "
               "homes.people, homes.consent) IS DISTINCT FROM "
               "(excluded.place_id, excluded.phone_id, excluded.lang, "
               "excluded.people, excluded.consent) RETURNING id");
    query_text(&q, h->code);
    query_id(&q, h->place_id);
    query_id(&q, h->phone_id);
    query_text(&q, h->lang);
    query_i64(&q, h->people);
    query_i64(&q, h->consent);
    err = query_returning(&q, known ? NULL : &h->id);
    if (err < 0 && !(err == KW_ENOENT && known))
        return err;
    *what = !known ? LEDGER_NEW : err == 0 ? LEDGER_CHANGED : LEDGER_SAME;
    return 0;
}
