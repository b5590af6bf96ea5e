/* country.c - see country.h. */
#include "tests/bench/country.h"

#include "base/clock.h"
#include "ledger/ledger.h"
#include "reader/serial.h"

#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SPAN_DAYS 2190
#define MONTHLY   0.012 /* risk of a pot that breaks and is reported */

static const struct serial_layout layout = {
    .check = SERIAL_MOD_97_10, .batch_chars = 4, .pot_chars = 3};

static sqlite3 *db;
static uint64_t state = 2026;

static void must(int rc, int want, const char *what)
{
    if (rc == want)
        return;
    fprintf(stderr, "bench: %s: %s\n", what, sqlite3_errmsg(db));
    exit(1);
}

/* splitmix64 (Steele, Lea & Flood 2014), a number in [0, 1). */
static double unit(void)
{
    uint64_t z = (state += 0x9e3779b97f4a7c15u);

    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}

static int below(int n)
{
    return (int)(unit() * n);
}

static void run(const char *sql)
{
    must(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK, sql);
}

enum { PHONE, HOME, POT, HANDOVER, DRIFT, BATCH, MIX, FIRING, STATEMENTS };

static sqlite3_stmt *statement(int which)
{
    static const char *const sql[STATEMENTS] = {
        [PHONE] = "INSERT INTO phones (id, number) VALUES (?1, '+' || ?1)",
        [HOME] = "INSERT INTO homes (id, code, place_id, phone_id, people) "
                 "VALUES (?1, 'H' || ?1, ?2, ?3, 5)",
        [POT] = "INSERT INTO pots (key, serial, batch_id, shelf, outings, "
                "home_id, handover_id, given_s, ended_s, failed_s) "
                "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        [HANDOVER] = "INSERT INTO handovers (id, pot_key, home_id, given_s, "
                     "ended_s) VALUES (?1, ?2, ?3, ?4, ?5)",
        [DRIFT] = "INSERT INTO drifts (pot_key, level, slope, p11, p12, p22, "
                  "at_days, readings) VALUES (?1, ?2, ?3, 0.01, 0, 1e-6, ?4, "
                  "3)",
        [BATCH] = "INSERT INTO batches (id, code, pressed_s, mould) "
                  "VALUES (?1, ?2, ?3, 'M' || ?4)",
        [MIX] = "INSERT INTO mixes (batch_id, clay_pit, presser, sawdust_pct, "
                "sawdust_mesh, drying_days) VALUES (?1, 'pit ' || ?2, "
                "'presser ' || ?3, ?4, 30, ?5)",
        [FIRING] = "INSERT INTO firings (batch_id, fired_s, kiln, cone, "
                   "peak_degc, soak_min, cooling_h) VALUES (?1, ?2, "
                   "'kiln ' || ?3, '012', ?4, 30, 20)",
    };
    static sqlite3_stmt *kept[STATEMENTS];

    if (kept[which] == NULL)
        must(sqlite3_prepare_v2(db, sql[which], -1, &kept[which], NULL),
             SQLITE_OK, sql[which]);
    return kept[which];
}

/* Numbers of a row; a NaN is nothing. */
static void insert(int which, int n, const double *v, const char *text)
{
    sqlite3_stmt *s = statement(which);

    for (int i = 0; i < n; i++) {
        if (isnan(v[i]))
            sqlite3_bind_null(s, i + 1);
        else if (v[i] == floor(v[i]))
            sqlite3_bind_int64(s, i + 1, (int64_t)v[i]);
        else
            sqlite3_bind_double(s, i + 1, v[i]);
    }
    if (text != NULL)
        sqlite3_bind_text(s, 2, text, -1, SQLITE_STATIC);
    must(sqlite3_step(s), SQLITE_DONE, "insert");
    sqlite3_reset(s);
}

struct pot { /* the home's number is the pot's */
    int number, batch, place;
    double given_s, ended_s, failed_s;
    int outings;
    char serial[SERIAL_CAP];
    int64_t key;
};

static void put_home(int number, int place)
{
    double phone = 99970000000.0 + number;

    insert(PHONE, 1, (double[]){phone}, NULL);
    insert(HOME, 3, (double[]){number, place, phone}, NULL);
}

/* What becomes of a pot in a home. */
static void live(struct pot *p)
{
    double fails_s =
        p->given_s - log(1 - unit()) / MONTHLY * 30.4375 * CLOCK_DAY_S;
    double lost_s = p->given_s - log(1 - unit()) * 3000 * CLOCK_DAY_S;

    p->failed_s = p->ended_s = NAN;
    if (fails_s < lost_s && fails_s < COUNTRY_NOW_S) {
        p->failed_s = floor(fails_s);
        if (unit() < 0.7) /* taken back */
            p->ended_s = fmin(floor(fails_s) + 86400, COUNTRY_NOW_S);
    } else if (lost_s < COUNTRY_NOW_S) {
        p->ended_s = floor(lost_s);
    }
}

static void put_pot(struct pot *p, int *handovers)
{
    static const char *const shelves[] = {"top", "middle", "bottom"};
    sqlite3_stmt *s = statement(POT);
    double home = isnan(p->ended_s) ? p->number : NAN;

    put_home(p->number, p->place);
    sqlite3_bind_text(s, 4, unit() < 0.3 ? shelves[below(3)] : "", -1,
                      SQLITE_STATIC);
    sqlite3_bind_int(s, 5, p->outings);
    for (int i = 6; i <= 10; i++) {
        const double v[] = {home, *handovers + p->outings, p->given_s,
                            p->ended_s, p->failed_s};

        if (isnan(v[i - 6]))
            sqlite3_bind_null(s, i);
        else
            sqlite3_bind_int64(s, i, (int64_t)v[i - 6]);
    }
    insert(POT, 3, (double[]){(double)p->key, 0, p->batch}, p->serial);
}

/* One of fifty was with somebody else for a while before. */
static void put_with_handovers(struct pot *p, int *handovers)
{
    bool again = unit() < 0.02;
    double first_s = p->given_s;

    p->outings = again ? 2 : 1;
    if (again)
        p->given_s += 90 * CLOCK_DAY_S;
    if (p->given_s >= COUNTRY_NOW_S) {
        p->given_s = first_s;
        p->outings = 1;
    }
    live(p);
    put_pot(p, handovers);
    if (p->outings == 2)
        insert(HANDOVER, 5,
               (double[]){++*handovers, (double)p->key, p->number, first_s,
                          first_s + 60 * CLOCK_DAY_S},
               NULL);
    insert(HANDOVER, 5,
           (double[]){++*handovers, (double)p->key, p->number, p->given_s,
                      p->ended_s},
           NULL);
    if (unit() < 0.33)
        insert(DRIFT, 4,
               (double[]){(double)p->key, log(2) - 0.3 * unit(),
                          -0.002 * unit(),
                          p->given_s / CLOCK_DAY_S + 60 * unit()},
               NULL);
}

static void put_batch(int batch, double fired_s)
{
    char code[16];

    snprintf(code, sizeof(code), "%04d", batch);
    insert(BATCH, 4,
           (double[]){batch, 0, fired_s - 20 * CLOCK_DAY_S, 1 + below(2)},
           code);
    insert(MIX, 5,
           (double[]){batch, 1 + below(3), 1 + below(12), 25 + below(10),
                      8 + below(8)},
           NULL);
    insert(FIRING, 4,
           (double[]){batch, fired_s, 1 + below(4), 850 + 5 * below(20)}, NULL);
}

/* Pots of a batch go to five places, half of each place a week later. */
static int put_pots(int batch, double fired_s, int first, int *handovers)
{
    int n = 50 + below(2 * (COUNTRY_POTS - 50) + 1), places[5];

    for (int k = 0; k < 5; k++)
        places[k] = 1 + below(COUNTRY_PLACES);
    for (int i = 0; i < n; i++) {
        struct pot p = {.number = first + i, .batch = batch};
        char b[16], number[16];
        int k = i * 10 / n;

        snprintf(b, sizeof(b), "%04d", batch);
        snprintf(number, sizeof(number), "%03d", i + 1);
        if (serial_make(&layout, b, number, p.serial) < 0 ||
            serial_key(p.serial, &p.key) < 0)
            exit(1);
        p.place = places[k / 2];
        p.given_s = fired_s + (14 + 7 * (k / 2) + 7 * (k % 2)) * CLOCK_DAY_S +
                    below(8 * 3600);
        put_with_handovers(&p, handovers);
    }
    return n;
}

int country_fill(const char *file, int pots)
{
    struct ledger_settings set = {.file = file, .create = true};
    int batches = pots / COUNTRY_POTS, handovers = 0, all = 0;
    struct ledger *lg;

    if (ledger_open(&set, &lg, NULL) < 0)
        exit(1);
    ledger_close(lg);
    must(sqlite3_open(file, &db), SQLITE_OK, file);
    run("PRAGMA synchronous = OFF; PRAGMA cache_size = -262144; BEGIN");
    for (int i = 1; i <= COUNTRY_PLACES; i++) {
        char sql[100];

        snprintf(sql, sizeof(sql),
                 "INSERT INTO places (id, name) VALUES (%d, 'Place %d')", i, i);
        run(sql);
    }
    for (int b = 1; b <= batches; b++) {
        double fired_s =
            COUNTRY_NOW_S - 60 * CLOCK_DAY_S -
            floor((double)(batches - b) / batches * SPAN_DAYS) * CLOCK_DAY_S;

        put_batch(b, fired_s);
        all += put_pots(b, fired_s, all + 1, &handovers);
    }
    run("UPDATE batches SET (pots, pots_out, failed) = (SELECT count(*), "
        "count(*), count(failed_s) FROM pots WHERE batch_id = batches.id)");
    run("COMMIT; PRAGMA optimize");
    for (int i = 0; i < STATEMENTS; i++)
        sqlite3_finalize(statement(i));
    sqlite3_close(db);
    return all;
}

void country_fail_one(const char *file, int64_t at_s)
{
    char sql[600];

    must(sqlite3_open(file, &db), SQLITE_OK, file);
    snprintf(sql, sizeof(sql),
             "UPDATE pots SET failed_s = %lld WHERE key = (SELECT key FROM "
             "pots WHERE failed_s IS NULL AND outings = 1 AND home_id IS NOT "
             "NULL LIMIT 1 OFFSET 1000); UPDATE batches SET failed = (SELECT "
             "count(failed_s) FROM pots WHERE batch_id = batches.id) WHERE id "
             "IN (SELECT batch_id FROM pots WHERE failed_s = %lld)",
             (long long)at_s, (long long)at_s);
    run(sql);
    sqlite3_close(db);
}
