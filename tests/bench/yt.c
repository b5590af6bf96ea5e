/* yt.c - see yt.h. */
#include "tests/bench/yt.h"

#include <fcntl.h>
#include <inttypes.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static void fail(const char *what)
{
    fprintf(stderr, "bench: yardstick: %s failed\n", what);
    exit(1);
}

static double now_us(void)
{
    struct timespec t;

    clock_gettime(CLOCK_MONOTONIC, &t);
    return 1e6 * (double)t.tv_sec + 1e-3 * (double)t.tv_nsec;
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

double ys_us(const char *file, int n)
{
    double *took = kw_malloc(sizeof(*took) * (size_t)n), p50;
    static char page[4096];
    int fd = open(file, O_WRONLY | O_CREAT | O_TRUNC, 0600);

    if (fd < 0)
        fail("the file of Ys");
    for (int i = 0; i < n; i++) {
        double t = now_us();

        if (write(fd, page, sizeof(page)) < 0 || fdatasync(fd) < 0)
            fail("fdatasync");
        took[i] = now_us() - t;
    }
    close(fd);
    unlink(file);
    qsort(took, (size_t)n, sizeof(*took), by_value);
    p50 = took[n / 2];
    kw_free(took);
    return p50;
}

/* ---- the texts, the same for all ---- */

static uint64_t random64(void)
{
    static uint64_t x = 88172645463325252u; /* xorshift64 */

    x ^= x << 13;
    x ^= x >> 7;
    x ^= x << 17;
    return x;
}

void yt_next(struct yt_text *t, int pots)
{
    static int64_t n;
    int64_t pot = (int64_t)(random64() % (uint64_t)pots);

    t->at_s = YT_FIRST_S + n++;
    t->phone_id = YT_FIRST_MSISDN + pot;
    t->pot_key = pot + 1;
    snprintf(t->ref, sizeof(t->ref), "%016" PRIx64 "%016" PRIx64, random64(),
             random64());
}

/* ---- Yt ---- */

static const char bare_tables[] =
    "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;"
    "PRAGMA cache_size = -8192; PRAGMA wal_autocheckpoint = 1000;"
    "CREATE TABLE phone (id INTEGER PRIMARY KEY, lang TEXT, name TEXT);"
    "CREATE TABLE pot (key INTEGER PRIMARY KEY, serial TEXT, batch INTEGER,"
    " home INTEGER, flow REAL, flow_s INTEGER, low INTEGER, report INTEGER);"
    "CREATE TABLE inbound (id INTEGER PRIMARY KEY, phone INTEGER,"
    " at_s INTEGER, body BLOB, outcome TEXT);"
    "CREATE TABLE arrival (day INTEGER, carrier INTEGER, ref TEXT,"
    " inbound INTEGER, PRIMARY KEY (day, carrier, ref)) WITHOUT ROWID;"
    "CREATE TABLE report (id INTEGER PRIMARY KEY, inbound INTEGER,"
    " pot INTEGER, at_s INTEGER, kind TEXT, value REAL, minutes REAL,"
    " litres REAL, before INTEGER);"
    "CREATE TABLE outbox (id INTEGER PRIMARY KEY, phone INTEGER,"
    " state INTEGER, due_s INTEGER, inbound INTEGER, body TEXT);"
    "CREATE INDEX queue ON outbox (state, due_s) WHERE state < 2;";

enum {
    Q_PHONE,
    Q_POT,
    Q_IN,
    Q_REPEAT,
    Q_REPORT,
    Q_UPDATE,
    Q_OUT,
    Q_BEGIN,
    Q_COMMIT,
    QS
};
static const char *const bare_sql[QS] = {
    "SELECT lang, name FROM phone WHERE id = ?1",
    "SELECT batch, home, flow, report FROM pot WHERE key = ?1",
    "INSERT INTO inbound (phone, at_s, body, outcome) "
    "VALUES (?1, ?2, ?3, 'filed')",
    "INSERT INTO arrival VALUES (?1, 1, ?2, ?3)",
    "INSERT INTO report (inbound, pot, at_s, kind, value, minutes, litres, "
    "before) VALUES (?1, ?2, ?3, 'slow', 4, 600, 1.2, ?4)",
    "UPDATE pot SET flow = 1.2, flow_s = ?2, low = low + 1, report = ?3 "
    "WHERE key = ?1",
    "INSERT INTO outbox (phone, state, due_s, inbound, body) "
    "VALUES (?1, 0, ?2, ?3, ?4)",
    "BEGIN IMMEDIATE",
    "COMMIT"};

struct yt {
    sqlite3 *db;
    int pots;
    sqlite3_stmt *q[QS];
};

static void bare_run(struct yt *b, int q)
{
    int rc = sqlite3_step(b->q[q]);

    if (rc != SQLITE_DONE && rc != SQLITE_ROW)
        fail(bare_sql[q]);
    sqlite3_reset(b->q[q]);
}

static void bare_fill(struct yt *b)
{
    char sql[512];

    snprintf(sql, sizeof(sql),
             "WITH RECURSIVE n (i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n "
             "WHERE i + 1 < %d) INSERT INTO phone SELECT %lld + i, 'en', "
             "'name' FROM n",
             b->pots, (long long)YT_FIRST_MSISDN);
    if (sqlite3_exec(b->db, bare_tables, NULL, NULL, NULL) != SQLITE_OK ||
        sqlite3_exec(b->db, sql, NULL, NULL, NULL) != SQLITE_OK)
        fail("the tables of Yt");
    if (sqlite3_exec(b->db,
                     "INSERT INTO pot SELECT rowid, '021407319', 1, rowid, "
                     "1.5, 1750000000, 0, 4000000 + rowid FROM (SELECT "
                     "row_number() OVER () AS rowid "
                     "FROM phone)",
                     NULL, NULL, NULL) != SQLITE_OK)
        fail("the pots of Yt");
    for (int i = 0; i < QS; i++) {
        if (sqlite3_prepare_v2(b->db, bare_sql[i], -1, &b->q[i], NULL) !=
            SQLITE_OK)
            fail(bare_sql[i]);
    }
}

struct yt *yt_open(const char *file, int pots)
{
    struct yt *b = kw_calloc(1, sizeof(*b));

    b->pots = pots;
    if (sqlite3_open(file, &b->db) != SQLITE_OK)
        fail("opening Yt");
    bare_fill(b);
    return b;
}

void yt_close(struct yt *b)
{
    for (int i = 0; i < QS; i++)
        sqlite3_finalize(b->q[i]);
    sqlite3_close(b->db);
    kw_free(b);
}

static void bare_text(struct yt *b, const struct yt_text *t)
{
    int64_t in, report;

    sqlite3_bind_int64(b->q[Q_PHONE], 1, t->phone_id);
    bare_run(b, Q_PHONE);
    sqlite3_bind_int64(b->q[Q_POT], 1, t->pot_key);
    bare_run(b, Q_POT);
    sqlite3_bind_int64(b->q[Q_IN], 1, t->phone_id);
    sqlite3_bind_int64(b->q[Q_IN], 2, t->at_s);
    sqlite3_bind_blob(b->q[Q_IN], 3, YT_BODY, sizeof(YT_BODY) - 1,
                      SQLITE_STATIC);
    bare_run(b, Q_IN);
    in = sqlite3_last_insert_rowid(b->db);
    sqlite3_bind_int64(b->q[Q_REPEAT], 1, t->at_s / 86400);
    sqlite3_bind_text(b->q[Q_REPEAT], 2, t->ref, 32, SQLITE_STATIC);
    sqlite3_bind_int64(b->q[Q_REPEAT], 3, in);
    bare_run(b, Q_REPEAT);
    sqlite3_bind_int64(b->q[Q_REPORT], 1, in);
    sqlite3_bind_int64(b->q[Q_REPORT], 2, t->pot_key);
    sqlite3_bind_int64(b->q[Q_REPORT], 3, t->at_s);
    bare_run(b, Q_REPORT);
    report = sqlite3_last_insert_rowid(b->db);
    sqlite3_bind_int64(b->q[Q_UPDATE], 1, t->pot_key);
    sqlite3_bind_int64(b->q[Q_UPDATE], 2, t->at_s);
    sqlite3_bind_int64(b->q[Q_UPDATE], 3, report);
    bare_run(b, Q_UPDATE);
    sqlite3_bind_int64(b->q[Q_OUT], 1, t->phone_id);
    sqlite3_bind_int64(b->q[Q_OUT], 2, t->at_s);
    sqlite3_bind_int64(b->q[Q_OUT], 3, in);
    sqlite3_bind_text(b->q[Q_OUT], 4, YT_REPLY, -1, SQLITE_STATIC);
    bare_run(b, Q_OUT);
}

void yt_group(struct yt *b, int n)
{
    bare_run(b, Q_BEGIN);
    for (int i = 0; i < n; i++) {
        struct yt_text x;

        yt_next(&x, b->pots);
        bare_text(b, &x);
    }
    bare_run(b, Q_COMMIT);
}

double yt_pages(struct yt *b)
{
    int now, high;

    sqlite3_db_status(b->db, SQLITE_DBSTATUS_CACHE_WRITE, &now, &high, 0);
    return now;
}
