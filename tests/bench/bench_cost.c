/*
 * bench_cost.c - what a text costs in counts that do not depend on the load
 * of the machine: statements run, steps of SQLite's machine, pages written
 * to the log, octets left on the disk. The whole desk, 64 texts in a commit,
 * each kind of text on a ledger of its own.
 *
 * Usage: bench_cost [--short] [KIND]
 * With a KIND only that one and uncounted, so that valgrind can count its
 * instructions:
 *   valgrind --tool=callgrind --toggle-collect=desk_take bench_cost … KIND
 */
#include "tests/bench/world.h"

#include "base/file.h"
#include "desk/desk.h"
#include "ledger/engine.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define GROUP 64
#define NOW_S 1772352000 /* 2026-03-01T08:00:00Z */

static char folder[] = "/tmp/kw-cost-XXXXXX";
static int pots = 10000, texts = 20000;
static bool bare; /* nothing is counted: the counting costs, too */

static const struct kind {
    const char *name, *words;
    enum reader_outcome outcome;
    double most; /* statements; some more than when this was written */
} kinds[] = {
    {"measured", "s 4f 10h", READER_FILED, 16},
    {"fine", "ok", READER_FILED, 12},
    {"asked", "s 4f", READER_ASKED, 10},
    {"talk", "-good morning to all of you", READER_NOT_REPORT, 8},
};

struct counts {
    double statements, steps, pages, octets;
};

static void die(const char *what)
{
    fprintf(stderr, "bench_cost: %s\n", what);
    exit(1);
}

static void must(int err, const char *what)
{
    if (err < 0)
        die(what);
}

static const char *path(const char *name)
{
    static char p[200];

    snprintf(p, sizeof(p), "%s/%s", folder, name);
    return p;
}

/* ---- counting ---- */

/* SQLite tells of each statement as it ends. */
static int ended(unsigned what, void *arg, void *stmt, void *ns)
{
    struct counts *c = arg;

    (void)what, (void)ns;
    c->statements++;
    c->steps += sqlite3_stmt_status(stmt, SQLITE_STMTSTATUS_VM_STEP, 1);
    return 0;
}

static double pages(struct ledger *lg)
{
    int now, high;

    sqlite3_db_status(lg->db, SQLITE_DBSTATUS_CACHE_WRITE, &now, &high, 0);
    return now;
}

static double octets(struct ledger *lg)
{
    struct stat st;

    must(engine_run(lg, "PRAGMA wal_checkpoint(TRUNCATE)"), "checkpoint");
    return stat(path("ledger"), &st) == 0 ? (double)st.st_size : 0;
}

/* ---- the texts ---- */

static void take(struct desk *d, struct ledger *lg, const struct kind *k, int i)
{
    struct world_text t;
    struct desk_text in = {.carrier = "gate", .at_s = NOW_S + i};
    struct desk_answer out;

    world_text(&t, (int)((uint64_t)(i + 1) * 7919 % (uint64_t)pots), i,
               k->words);
    in.ref = t.ref;
    in.from = t.from;
    in.text = t.text;
    in.len = strlen(t.text);
    must(desk_take(d, lg, &in, &out), "a text");
    if (out.outcome != k->outcome)
        die(t.text);
}

static void take_all(struct desk *d, struct ledger *lg, const struct kind *k)
{
    for (int i = 0; i < texts; i++) {
        if (i % GROUP == 0)
            must(ledger_begin(lg), "begin");
        take(d, lg, k, i);
        if (i % GROUP == GROUP - 1 || i == texts - 1)
            must(ledger_commit(lg), "commit");
    }
}

static struct ledger *open_world(void)
{
    struct ledger_settings set = {.create = true};
    struct ledger *lg;

    set.file = path("ledger");
    must(ledger_open(&set, &lg, NULL), "opening");
    world_fill(lg, pots, NOW_S);
    ledger_close(lg);
    must(ledger_open(&set, &lg, NULL), "opening again");
    return lg;
}

static void remove_world(void)
{
    unlink(path("ledger"));
    unlink(path("ledger-wal"));
    unlink(path("ledger-shm"));
}

static void row(const struct kind *k, const char *what, double figure,
                const char *remark)
{
    printf("%s: %s\t%.2f\t\t%s\n", k->name, what, figure, remark);
}

static int count_kind(struct desk *d, const struct kind *k)
{
    struct counts c = {0};
    char remark[40];
    struct ledger *lg = open_world();
    double before = octets(lg), pages_before = pages(lg);

    if (!bare)
        sqlite3_trace_v2(lg->db, SQLITE_TRACE_PROFILE, ended, &c);
    take_all(d, lg, k);
    sqlite3_trace_v2(lg->db, 0, NULL, NULL);
    c.pages = pages(lg) - pages_before;
    c.octets = octets(lg) - before;
    ledger_close(lg);
    remove_world();
    snprintf(remark, sizeof(remark), "<= %g: %s", k->most,
             c.statements / texts <= k->most ? "kept" : "NOT KEPT");
    if (bare)
        return 0;
    row(k, "statements a text", c.statements / texts, remark);
    row(k, "steps of SQLite a text", c.steps / texts, "");
    row(k, "pages written a text", c.pages / texts, "");
    row(k, "octets on disk a text", c.octets / texts, "");
    return c.statements / texts > k->most;
}

/* ---- the bench ---- */

static struct desk *open_desk(struct config **conf)
{
    struct fault_list faults = {0};
    struct desk *d = NULL;
    char text[1000], file[200];

    snprintf(text, sizeof(text),
             "programme = { zone = \"UTC\"; country_code = \"999\"; };\n"
             "grammar = { folder = \"%s/grammar\"; };\n"
             "carriers = ( { name = \"gate\"; kind = \"http\";\n"
             "  in = { path = \"/in\"; reply_in_body = true; }; } );\n",
             getenv("KW_SOURCE") ? getenv("KW_SOURCE") : ".");
    snprintf(file, sizeof(file), "%s/kilnword.conf", folder);
    must(file_write_whole(file, text, strlen(text)), "configuration");
    if (config_load(file, &faults, conf) < 0 ||
        desk_open(*conf, &faults, &d) < 0) {
        fault_print(&faults, stderr);
        exit(1);
    }
    unlink(file);
    return d;
}

int main(int argc, char **argv)
{
    struct config *conf;
    struct desk *d;
    const char *only = NULL;
    int worst = 0;

    for (int i = 1; i < argc; i++) {
        if (strcmp(argv[i], "--short") == 0) {
            pots = 2000;
            texts = 3200;
        } else {
            only = argv[i];
            bare = true;
        }
    }
    if (mkdtemp(folder) == NULL)
        die(folder);
    d = open_desk(&conf);
    for (size_t i = 0; i < KW_COUNT(kinds); i++) {
        if (only == NULL || strcmp(only, kinds[i].name) == 0)
            worst |= count_kind(d, &kinds[i]);
    }
    desk_close(d);
    config_free(conf);
    rmdir(folder);
    return worst;
}
