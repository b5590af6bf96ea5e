/* look_sums.c - counts, and names near to one that is not there. */
#include "ledger/look.h"

#include "ledger/query.h"

#include <ctype.h>
#include <string.h>

/* ---- a place ---- */

static int count_homes(struct ledger *lg, int64_t place_id,
                       struct look_place_counts *out)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT COUNT(*),"
               " COALESCE(SUM(f.stopped), 0),"
               " COALESCE(SUM((SELECT COUNT(*) FROM pots p"
               "  WHERE p.home_id = m.id)), 0)"
               " FROM homes m LEFT JOIN phones f ON f.id = m.phone_id"
               " WHERE m.place_id = $1");
    query_i64(&q, place_id);
    if ((err = query_one(&q)) < 0)
        return err;
    out->homes = (int)query_get_i64(&q, 0);
    out->stopped_phones = (int)query_get_i64(&q, 1);
    out->pots_now = (int)query_get_i64(&q, 2);
    query_close(&q);
    return 0;
}

static int count_pots(struct ledger *lg, int64_t place_id,
                      struct look_place_counts *out)
{
    struct query q;
    int err;

    query_open(&q, lg,
               "SELECT COUNT(DISTINCT h.pot_key), COUNT(DISTINCT CASE"
               " WHEN p.failed_s >= h.given_s AND"
               " (h.ended_s IS NULL OR p.failed_s <= h.ended_s)"
               " THEN h.pot_key END)"
               " FROM homes m JOIN handovers h ON h.home_id = m.id"
               " JOIN pots p ON p.key = h.pot_key WHERE m.place_id = $1");
    query_i64(&q, place_id);
    if ((err = query_one(&q)) < 0)
        return err;
    out->pots_ever = (int)query_get_i64(&q, 0);
    out->failed = (int)query_get_i64(&q, 1);
    query_close(&q);
    return 0;
}

int look_place_counts(struct ledger *lg, int64_t place_id, int64_t now_s,
                      struct look_place_counts *out)
{
    struct query q;
    int err;

    *out = (struct look_place_counts){0};
    if ((err = count_homes(lg, place_id, out)) < 0 ||
        (err = count_pots(lg, place_id, out)) < 0)
        return err;
    query_open(&q, lg,
               "SELECT COUNT(DISTINCT r.id),"
               " COALESCE(SUM(CASE WHEN o.kind = 'ill' THEN"
               "  CASE WHEN o.people > 0 THEN o.people ELSE 1 END END), 0),"
               " COALESCE(SUM(o.under5), 0)"
               " FROM reports r LEFT JOIN observations o"
               " ON o.report_id = r.id"
               " WHERE r.place_id = $1 AND r.at_s > $2 AND r.at_s <= $3");
    query_i64(&q, place_id);
    query_i64(&q, now_s - LOOK_PLACE_S);
    query_i64(&q, now_s);
    if ((err = query_one(&q)) < 0)
        return err;
    out->reports = (int)query_get_i64(&q, 0);
    out->ill = (int)query_get_i64(&q, 1);
    out->under5 = (int)query_get_i64(&q, 2);
    query_close(&q);
    return 0;
}

/* ---- the line ---- */

/* Anything else: not a report. */
static int outcome_index(const char *name)
{
    if (strcmp(name, "filed") == 0)
        return 0;
    if (strcmp(name, "asked") == 0)
        return 1;
    if (strcmp(name, "command") == 0)
        return 2;
    return name[0] == '\0' ? 4 : 3;
}

static int count_in(struct ledger *lg, int64_t since_s, int64_t into[])
{
    struct query q;
    int got;

    query_open(&q, lg,
               "SELECT CASE WHEN outcome = 'not-report' AND command IS NOT NULL"
               " THEN 'command' ELSE outcome END, COUNT(*) FROM texts_in"
               " WHERE at_s >= $1 GROUP BY 1");
    query_i64(&q, since_s);
    while ((got = query_next(&q)) == 1)
        into[outcome_index(query_get_text(&q, 0))] += query_get_i64(&q, 1);
    query_close(&q);
    return got;
}

/*
 * Texts out are numbered as they arise, so the newest are read backwards
 * until they are older than the week.
 */
static int count_out(struct ledger *lg, int64_t today_s, int64_t week_s,
                     struct look_line *out)
{
    struct query q;
    int got;

    query_open(&q, lg, "SELECT at_s, state, note FROM outbox ORDER BY id DESC");
    while ((got = query_next(&q)) == 1) {
        int64_t at_s = query_get_i64(&q, 0), state = query_get_i64(&q, 1);

        if (at_s < week_s - LOOK_SLACK_S)
            break;
        if (at_s < week_s || state < 0 || state > LEDGER_PERHAPS)
            continue;
        out->out_week[state]++;
        out->out_today[state] += at_s >= today_s;
        if (state == LEDGER_FAILED && out->last_error[0] == '\0')
            query_copy(&q, 2, out->last_error, sizeof(out->last_error));
    }
    query_close(&q);
    return got < 0 ? got : 0;
}

static int one_number(struct ledger *lg, const char *sql, int64_t *into)
{
    struct query q;
    int err;

    query_open(&q, lg, sql);
    if ((err = query_one(&q)) < 0)
        return err;
    *into = query_get_i64(&q, 0);
    query_close(&q);
    return 0;
}

static int count_all(struct ledger *lg, struct look_line *out)
{
    const struct {
        const char *sql;
        int64_t *into;
    } counts[] = {
        {"SELECT COUNT(*) FROM outbox WHERE state < 1", &out->waiting},
        {"SELECT COUNT(*) FROM outbox WHERE state < 2 AND state > 0",
         &out->flying},
        {"SELECT MIN(at_s) FROM outbox WHERE state < 1", &out->waiting_since_s},
        {"SELECT MAX(at_s) FROM texts_in", &out->last_text_s},
        {"SELECT COUNT(*) FROM alerts WHERE state = 0", &out->open_alerts},
        {"SELECT COUNT(*) FROM alerts WHERE state = 1", &out->seen_alerts},
        {"SELECT SUM(pots) FROM batches", &out->pots},
        {"SELECT SUM(pots_out) FROM batches", &out->pots_out},
        {"SELECT COUNT(*) FROM homes", &out->homes},
        {"SELECT COUNT(*) FROM batches", &out->batches},
        {"SELECT COUNT(*) FROM places", &out->places},
        {"SELECT MAX(id) FROM texts_in", &out->texts},
        {"SELECT MAX(id) FROM reports", &out->reports},
    };
    int err = 0;

    for (size_t i = 0; err == 0 && i < KW_COUNT(counts); i++)
        err = one_number(lg, counts[i].sql, counts[i].into);
    return err;
}

int look_line(struct ledger *lg, int64_t today_s, int64_t week_s,
              struct look_line *out)
{
    int err;

    *out = (struct look_line){0};
    if ((err = count_in(lg, today_s, out->in_today)) < 0 ||
        (err = count_in(lg, week_s, out->in_week)) < 0 ||
        (err = count_out(lg, today_s, week_s, out)) < 0)
        return err;
    return count_all(lg, out);
}

/* ---- names near to one that is not there ---- */

#define NEAR_COLUMNS 48 /* characters compared */

/* Lower case of ASCII; octets of other letters are compared as they are. */
static size_t lower(const char *s, char dst[NEAR_COLUMNS])
{
    size_t n = 0;

    for (; s[n] != '\0' && n < NEAR_COLUMNS; n++)
        dst[n] = (char)tolower((unsigned char)s[n]);
    return n;
}

static int least(int a, int b, int c)
{
    int m = a < b ? a : b;

    return m < c ? m : c;
}

/*
 * Edits of one character and swaps of neighbours between two names (optimal
 * string alignment, Boytsov 2011).
 */
static int distance(const char *a, size_t n, const char *b, size_t m)
{
    int row[3][NEAR_COLUMNS + 1];

    for (size_t j = 0; j <= m; j++)
        row[0][j] = (int)j;
    for (size_t i = 1; i <= n; i++) {
        int *now = row[i % 3], *last = row[(i + 2) % 3];
        const int *before = row[(i + 1) % 3];

        now[0] = (int)i;
        for (size_t j = 1; j <= m; j++) {
            int same = a[i - 1] == b[j - 1];

            now[j] = least(last[j] + 1, now[j - 1] + 1, last[j - 1] + !same);
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] &&
                a[i - 2] == b[j - 1] && before[j - 2] + 1 < now[j])
                now[j] = before[j - 2] + 1;
        }
    }
    return row[n % 3][m];
}

struct near_search {
    char name[NEAR_COLUMNS];
    size_t len;
    int far[LOOK_NEAR_MOST];
    struct look_near *out;
};

/* How far a candidate is; a name that begins with what was asked is near. */
static int how_far(const struct near_search *s, const char *candidate)
{
    char other[NEAR_COLUMNS];
    size_t len = lower(candidate, other);

    if (s->len >= 3 && len > s->len && memcmp(other, s->name, s->len) == 0)
        return 1;
    return distance(s->name, s->len, other, len);
}

static void near_offer(struct near_search *s, const char *candidate)
{
    struct look_near *o = s->out;
    int far = how_far(s, candidate), at = o->n;

    if (far > 1 + (int)s->len / 4)
        return;
    while (at > 0 && s->far[at - 1] > far)
        at--;
    if (at == LOOK_NEAR_MOST)
        return;
    if (o->n < LOOK_NEAR_MOST)
        o->n++;
    for (int i = o->n - 1; i > at; i--) {
        s->far[i] = s->far[i - 1];
        memcpy(o->names[i], o->names[i - 1], sizeof(o->names[i]));
    }
    s->far[at] = far;
    if (kw_copy(o->names[at], sizeof(o->names[at]), candidate,
                strlen(candidate)) < 0)
        o->names[at][0] = '\0';
}

int look_near(struct ledger *lg, enum look_by by, const char *name,
              struct look_near *out)
{
    static const char *const sql[] = {
        [LOOK_BATCH] = "SELECT code FROM batches ORDER BY code",
        [LOOK_HOME] = "SELECT code FROM homes ORDER BY code",
        [LOOK_PLACE] = "SELECT name FROM places ORDER BY name",
    };
    struct near_search s = {.out = out};
    struct query q;
    int got;

    *out = (struct look_near){.n = 0};
    if (by != LOOK_BATCH && by != LOOK_HOME && by != LOOK_PLACE)
        return KW_EINVAL;
    s.len = lower(name, s.name);
    query_open(&q, lg, sql[by]);
    while ((got = query_next(&q)) == 1)
        near_offer(&s, query_get_text(&q, 0));
    query_close(&q);
    return got;
}
