/*
 * bench_ledger.c - what filing a text costs, beside two bare yardsticks taken
 * in turns with it in the same run. Medians of the rounds.
 *   Ys  4 KiB appended to a file and fdatasync: p50
 *   Yt  the least transaction that files a text, in bare SQLite: look up a
 *       phone and a pot, insert text, repeat key, report and reply, update
 *       the pot; the same settings, keys in the order of arrival, 64 texts
 *       in one commit
 * Usage: bench_ledger [--short]
 */
#include "ledger/due.h"
#include "ledger/engine.h"
#include "ledger/writer.h"
#include "tests/bench/yt.h"

#include <fcntl.h>
#include <inttypes.h>
#include <math.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define GROUP  YT_GROUP
#define ROUNDS 7

static int n_pots = 1000000, per_round = 20000;
static char folder[256];

static double now_us(void)
{
    struct timespec t;

    clock_gettime(CLOCK_MONOTONIC, &t);
    return 1e6 * (double)t.tv_sec + 1e-3 * (double)t.tv_nsec;
}

static void fail(const char *what)
{
    fprintf(stderr, "bench_ledger: %s failed\n", what);
    exit(1);
}

static void must(int err, const char *what)
{
    if (err < 0)
        fail(what);
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

static double median(double *v, int n)
{
    qsort(v, (size_t)n, sizeof(*v), by_value);
    return v[n / 2];
}

static const char *path(const char *name)
{
    static char p[512];

    snprintf(p, sizeof(p), "%s/%s", folder, name);
    return p;
}

static void result(const char *name, double figure, const char *unit,
                   const char *remark)
{
    printf("%s\t%.4g\t%s\t%s\n", name, figure, unit, remark);
    fflush(stdout);
}

static double bare_round(struct yt *y)
{
    double t = now_us();

    for (int i = 0; i < per_round; i += GROUP)
        yt_group(y, per_round - i < GROUP ? per_round - i : GROUP);
    return (now_us() - t) / per_round;
}

/* ---- the ledger ---- */

/* Pots that were read before, here as in Yt: their rows keep their length. */
static const char world[] =
    "INSERT INTO carriers (id, name) VALUES (1, 'gate');"
    "INSERT INTO places (id, name) VALUES (1, 'Upper Sele');"
    "INSERT INTO place_water VALUES (1, 3, 22);"
    "INSERT INTO batches (id, code) SELECT i, printf('%04d', i) FROM n_ "
    "WHERE i <= 1 + (SELECT max(i) FROM n_) / 500;"
    "INSERT INTO phones (id, number, lang_seen, carrier_id) SELECT "
    "99969999999 + i, "
    "'+' || (99969999999 + i), 'en', 1 FROM n_;"
    "INSERT INTO homes (id, code, place_id, phone_id, lang, people) "
    "SELECT i, 'H' || i, 1, 99969999999 + i, 'en', 5 FROM n_;"
    "INSERT INTO pots (key, serial, batch_id, outings, home_id, handover_id, "
    "given_s, last_report_id, last_flow_l, last_flow_log_se, last_flow_s) "
    "SELECT i, printf('%09d', i), 1 + i / 500, 1, i, i, 1740000000, "
    "4000000 + i, 1.9, 0.21, 1750000000 "
    "FROM n_;"
    "INSERT INTO handovers (id, pot_key, home_id, given_s) "
    "SELECT i, i, i, 1740000000 FROM n_;"
    "DROP TABLE n_; COMMIT";

static struct ledger *world_open(void)
{
    struct ledger_settings set = {.create = true};
    struct ledger *lg;
    char sql[256];

    set.file = path("ledger");
    must(ledger_open(&set, &lg, NULL), "opening");
    snprintf(sql, sizeof(sql),
             "BEGIN; CREATE TABLE n_ (i INTEGER PRIMARY KEY); WITH RECURSIVE "
             "n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < %d) "
             "INSERT INTO n_ SELECT i FROM n",
             n_pots);
    must(engine_run(lg, sql), "counting");
    must(engine_run(lg, world), "the world");
    ledger_close(lg);
    set.create = false;
    must(ledger_open(&set, &lg, NULL), "opening again");
    return lg;
}

/* What a text with a measure leads to, without reading and judging. */
static int file_text(struct ledger *lg, void *arg)
{
    const struct yt_text *t = arg;
    struct ledger_text_in in = {.carrier = "gate",
                                .ref = t->ref,
                                .at_s = t->at_s,
                                .body = YT_BODY,
                                .len = sizeof(YT_BODY) - 1};
    struct ledger_obs obs = {.kind = "slow",
                             .measure = "drop",
                             .unit = "finger",
                             .value = 4,
                             .minutes = 600};
    struct ledger_flow f = {.first_hour_l = 1.2,
                            .log_se = 0.2,
                            .k_m_s = 1e-8,
                            .water_degc = 24,
                            .p_below = 0.1,
                            .verdict = "fine"};
    struct ledger_report r = {.at_s = t->at_s, .flow = &f};
    struct ledger_reading reading = {
        .outcome = "filed", .lang = "en", .pot_key = t->pot_key};
    struct ledger_out o = {.carrier = "gate",
                           .kind = LEDGER_REPLY,
                           .priority = LEDGER_PRIORITY_REPLY,
                           .phrase = true, /* as the desk has it */
                           .body = YT_REPLY};
    struct ledger_phone phone;
    struct due_home then;
    struct ledger_pot pot;
    double degc;
    char number[24];

    snprintf(number, sizeof(number), "+%" PRId64, t->phone_id);
    must(ledger_phone_take(lg, number, &phone), "the phone");
    must(due_home_then(lg, phone.id, t->at_s, &then), "its home and pots");
    in.phone_id = phone.id;
    must(ledger_text_in_put(lg, &in), "the text");
    must(ledger_pot_get(lg, t->pot_key, &pot), "the pot");
    must(ledger_place_water(lg, then.home.place_id, 3, &degc), "the water");
    r.text_id = in.id;
    r.phone_id = phone.id;
    r.pot_key = t->pot_key;
    r.home_id = then.home.id;
    r.place_id = then.home.place_id;
    must(ledger_report_put(lg, &r, &obs, 1), "the report");
    o.phone_id = phone.id;
    o.text_id = in.id;
    o.at_s = o.due_s = t->at_s;
    o.expires_s = t->at_s + 86400;
    must(ledger_out_put(lg, &o), "the reply");
    reading.answer_id = o.id;
    must(ledger_text_in_read(lg, in.id, &reading), "the reading");
    memcpy(phone.carrier, "gate", 5);
    must(ledger_phone_put(lg, &phone), "the phone again");
    return 0;
}

static double plain_round(struct ledger *lg)
{
    double t = now_us();

    for (int i = 0; i < per_round; i++) {
        struct yt_text x;

        if (i % GROUP == 0)
            must(ledger_begin(lg), "begin");
        yt_next(&x, n_pots);
        file_text(lg, &x);
        if (i % GROUP == GROUP - 1 || i == per_round - 1)
            must(ledger_commit(lg), "commit");
    }
    return (now_us() - t) / per_round;
}

/* ---- through the writer ---- */

static int finished;

static void done(void *arg, int err)
{
    (void)arg;
    must(err, "a job");
    finished++;
}

/* window: texts under way at once. */
static double writer_round(struct writer *w, int window, int n)
{
    struct yt_text *texts = kw_calloc((size_t)window, sizeof(*texts));
    double t = now_us();

    finished = 0;
    for (int i = 0; finished < n;) {
        struct pollfd p = {.fd = writer_fd(w), .events = POLLIN};

        for (; i < n && i - finished < window; i++) {
            struct yt_text *x = &texts[i % window];
            struct writer_job job = {.run = file_text, .done = done, .arg = x};

            yt_next(x, n_pots);
            must(writer_submit(w, &job), "submitting");
        }
        poll(&p, 1, -1);
        writer_deliver(w);
    }
    t = now_us() - t;
    kw_free(texts);
    return t / n;
}

/* One text now and then: p50 from submission to being told. */
static double one_by_one_us(struct writer *w, int n)
{
    double *took = kw_malloc(sizeof(*took) * (size_t)n), p50;

    for (int i = 0; i < n; i++)
        took[i] = writer_round(w, 1, 1);
    p50 = median(took, n);
    kw_free(took);
    return p50;
}

/* ---- pages and space ---- */

static double pages_written(sqlite3 *db)
{
    int now, high;

    sqlite3_db_status(db, SQLITE_DBSTATUS_CACHE_WRITE, &now, &high, 0);
    return now;
}

static double octets(const char *name)
{
    struct stat st;

    return stat(path(name), &st) == 0 ? (double)st.st_size : 0;
}

/* ---- the rounds ---- */

/* Tells the figure beside its goal; a goal is told, never a failed test. */
static void bound(const char *name, double figure, double limit, bool least,
                  const char *remark)
{
    bool kept = least ? figure >= limit : figure <= limit;
    char text[128];

    snprintf(text, sizeof(text), "%s %.3g: %s%s%s", least ? ">=" : "<=", limit,
             kept ? "kept" : "NOT KEPT", remark[0] ? "; " : "", remark);
    result(name, figure, least ? "x" : "", text);
}

static void run(void)
{
    double ys[ROUNDS], yt[ROUNDS], plain[ROUNDS], wide[ROUNDS], narrow[ROUNDS];
    struct yt *bare;
    struct ledger *lg;
    struct writer *w;
    double pages, bare_pages, before;

    lg = world_open(); /* first: it sets the engine up for both */
    bare = yt_open(path("bare"), n_pots);
    must(engine_run(lg, "PRAGMA wal_checkpoint(TRUNCATE)"), "checkpoint");
    before = octets("ledger");
    pages = pages_written(lg->db);
    bare_pages = yt_pages(bare);
    for (int i = 0; i < ROUNDS; i++) {
        yt[i] = bare_round(bare);
        plain[i] = plain_round(lg);
    }
    pages = (pages_written(lg->db) - pages) / (ROUNDS * (double)per_round);
    bare_pages = (yt_pages(bare) - bare_pages) / (ROUNDS * (double)per_round);
    must(engine_run(lg, "PRAGMA wal_checkpoint(TRUNCATE)"), "checkpoint");
    before = (octets("ledger") - before) / (ROUNDS * (double)per_round);
    must(writer_open(lg, 256, &w), "the writer");
    for (int i = 0; i < ROUNDS; i++) {
        double again = bare_round(bare);

        yt[i] = again < yt[i] ? again : yt[i];
        wide[i] = writer_round(w, GROUP, per_round);
        ys[i] = ys_us(path("appended"), 200);
        narrow[i] = one_by_one_us(w, 200);
    }
    yt_close(bare);
    writer_close(w);
    result("pots", n_pots, "", "");
    result("Ys 4 KiB and fdatasync", median(ys, ROUNDS), "us", "p50");
    result("Yt bare transaction", median(yt, ROUNDS), "us", "64 in a commit");
    result("text filed by ledger calls", median(plain, ROUNDS), "us",
           "64 in a commit");
    result("text filed through the writer", median(wide, ROUNDS), "us",
           "64 under way");
    result("texts a second through the writer", 1e6 / median(wide, ROUNDS),
           "1/s", "");
    result("one text through the writer", median(narrow, ROUNDS), "us",
           "p50, submitted to told");
    bound("ledger calls against Yt", median(yt, ROUNDS) / median(plain, ROUNDS),
          0.7, true, "");
    bound("writer against Yt", median(yt, ROUNDS) / median(wide, ROUNDS), 0.7,
          true, "");
    bound("one text against Ys", median(narrow, ROUNDS) / median(ys, ROUNDS), 4,
          false, "");
    result("pages dirtied by Yt", bare_pages, "", "");
    bound("pages dirtied a text", pages, 2.5, false, "written to the log");
    bound("MiB for a million texts", before * 1e6 / (1 << 20), 400, false,
          "with report, flow and reply");
}

static void remove_all(void)
{
    static const char *const names[] = {"appended",  "bare",   "bare-wal",
                                        "bare-shm",  "ledger", "ledger-wal",
                                        "ledger-shm"};

    for (size_t i = 0; i < KW_COUNT(names); i++)
        unlink(path(names[i]));
    rmdir(folder);
}

int main(int argc, char **argv)
{
    const char *tmp = getenv("TMPDIR");

    if (argc > 1 && strcmp(argv[1], "--short") == 0) {
        n_pots = 10000;
        per_round = 2000;
    }
    snprintf(folder, sizeof(folder), "%s/kw-bench-XXXXXX",
             tmp != NULL ? tmp : "/tmp");
    if (mkdtemp(folder) == NULL)
        fail("making a folder");
    run();
    remove_all();
    return 0;
}
