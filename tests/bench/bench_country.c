/*
 * bench_country.c - a million pots in 8,000 batches: what the scan over all
 * of them costs, and each page that looks at all of them, in time of the
 * processor and in memory. The yardstick, Yp, is taken in turns with each: the
 * rows of all pots stepped through in bare SQLite, four numbers read of each.
 * A folder in BENCH_DIR (or TMPDIR, /tmp) is filled with 300 MB and removed.
 */
#include "tests/bench/country.h"

#include "base/clock.h"
#include "base/config.h"
#include "desk/batch_watch.h"
#include "desk/desk.h"
#include "ledger/exposure.h"
#include "ledger/ledger.h"
#include "watch/wear.h"

#include <fcntl.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#define NOW "2026-09-21T14:13:20Z" /* COUNTRY_NOW_S */

static char folder[200], file[256], conf_file[256];
static volatile int64_t sink;
static int pots;

/* Ends the bench. */
static void fail(const char *what)
{
    fprintf(stderr, "bench: %s\n", what);
    exit(1);
}

struct cost {
    double s;       /* of the processor */
    double mib;     /* resident at most */
    int64_t octets; /* printed */
};

/* What a child of our own cost. */
static struct cost cost_of(pid_t pid, int out)
{
    struct cost c = {.s = 0};
    struct rusage use;
    char buf[4096];
    ssize_t n;
    int status;

    while ((n = read(out, buf, sizeof(buf))) > 0)
        c.octets += n;
    close(out);
    if (wait4(pid, &status, 0, &use) < 0 || status != 0)
        fail("a command failed");
    c.s = (double)(use.ru_utime.tv_sec + use.ru_stime.tv_sec) +
          1e-6 * (double)(use.ru_utime.tv_usec + use.ru_stime.tv_usec);
    c.mib = (double)use.ru_maxrss / 1024;
    return c;
}

/* Either a function of ours or a page of the command, in a child. */
static struct cost run(void (*f)(void), const char *page)
{
    int ends[2];
    pid_t pid = -1;

    fflush(stdout);
    if (pipe(ends) < 0 || (pid = fork()) < 0)
        fail("no child");
    if (pid == 0) {
        dup2(ends[1], STDOUT_FILENO);
        close(ends[0]);
        close(ends[1]);
        if (f != NULL) {
            f();
            exit(0);
        }
        if (strcmp(page, "life") == 0)
            execl(getenv("KW_COMMAND"), "kilnword", "show", "life", "kiln",
                  "--config", conf_file, "--at", NOW, (char *)NULL);
        execl(getenv("KW_COMMAND"), "kilnword", "show", page, "--config",
              conf_file, "--at", NOW, (char *)NULL);
        _exit(1);
    }
    close(ends[1]);
    return cost_of(pid, ends[0]);
}

static void yardstick(void)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *s = NULL;

    if (sqlite3_open(file, &db) != SQLITE_OK ||
        sqlite3_prepare_v2(db,
                           "SELECT batch_id, given_s, ended_s, failed_s FROM "
                           "pots",
                           -1, &s, NULL) != SQLITE_OK)
        fail("the yardstick");
    while (sqlite3_step(s) == SQLITE_ROW)
        for (int i = 0; i < 4; i++)
            sink += sqlite3_column_int64(s, i);
    sqlite3_finalize(s);
    sqlite3_close(db);
}

static struct ledger *open_ledger(void)
{
    struct ledger_settings set = {
        .file = file, .read_only = true, .cache_mib = 4};
    struct ledger *lg;

    if (ledger_open(&set, &lg, NULL) < 0)
        fail("cannot open the ledger");
    return lg;
}

static double own_s(void)
{
    struct rusage use;

    getrusage(RUSAGE_SELF, &use);
    return (double)(use.ru_utime.tv_sec + use.ru_stime.tv_sec) +
           1e-6 * (double)(use.ru_utime.tv_usec + use.ru_stime.tv_usec);
}

/* The scanner's first look, one without news, and one after a report; what
 * each took is written to a file. */
static void looks(void)
{
    struct batch_watch *w = batch_watch_new();
    struct config *conf = NULL;
    struct ledger *lg = open_ledger();
    struct fault_list faults = {0};
    char name[300];
    double from;
    FILE *out;

    if (config_load(conf_file, &faults, &conf) < 0)
        fail("the configuration does not load");
    snprintf(name, sizeof(name), "%s/looks", folder);
    if ((out = fopen(name, "w")) == NULL)
        fail("no file");
    for (int look = 0; look < 3; look++) {
        struct desk_findings *f;
        int64_t now_s = COUNTRY_NOW_S + 60 * look;

        if (look == 2)
            country_fail_one(file, now_s - 30);
        from = own_s();
        if (desk_watch_look(w, conf, lg, now_s, &f) < 0)
            fail("a look failed");
        fprintf(out, "%.6f\n", own_s() - from);
        desk_findings_free(f);
    }
    fclose(out);
    ledger_close(lg);
    config_free(conf);
    batch_watch_free(w);
}

/* ---- survival, the rows stepped into tables of days ---- */

enum { STRATA = 500, DAYS = 2200 };
static struct wear_days tables[STRATA];

static int add_stay(const struct ledger_exposure *e, void *arg)
{
    int64_t end_s = e->failed_s != 0  ? e->failed_s
                    : e->ended_s != 0 ? e->ended_s
                                      : COUNTRY_NOW_S;
    int64_t batches = pots / COUNTRY_POTS + 1;

    ++*(int64_t *)arg;
    wear_days_add(&tables[e->batch_id * STRATA / (batches + 1)], 0,
                  (int)((end_s - e->given_s) / CLOCK_DAY_S) + 1,
                  e->failed_s != 0);
    return 0;
}

/* Curves with intervals of all stays, from the ledger. */
static void survival(void)
{
    static struct wear_row rows[DAYS];
    struct ledger *lg = open_ledger();
    int64_t stays = 0;

    for (int g = 0; g < STRATA; g++)
        wear_days_init(&tables[g], DAYS);
    if (ledger_exposure_each(lg, add_stay, &stays) < 0)
        fail("the ledger");
    for (int g = 0; g < STRATA; g++) {
        sink += (int64_t)wear_days_curve(&tables[g], 0.95, rows);
        wear_days_release(&tables[g]);
    }
    ledger_close(lg);
}

static void put(const char *what, double s, double yp, double mib)
{
    printf("%s\t%.3f\ts\t%.2f Yp", what, s, s / yp);
    if (mib > 0)
        printf(", %.0f MiB at most", mib);
    putchar('\n');
}

static void watch(double yp)
{
    static const char *const names[] = {
        "scan, all of the history", "scan, nothing new", "scan, one report"};
    struct cost c = run(looks, NULL);
    char name[300], line[100];
    FILE *in;

    snprintf(name, sizeof(name), "%s/looks", folder);
    if ((in = fopen(name, "r")) == NULL)
        fail("no file");
    for (int i = 0; i < 3 && fgets(line, sizeof(line), in) != NULL; i++)
        put(names[i], strtod(line, NULL), yp, i == 0 ? c.mib : 0);
    fclose(in);
}

/* In a child, too: its memory is not taken for that of what comes after. */
static void fill(void)
{
    printf("%d\n", country_fill(file, pots));
}

static void prepare(void)
{
    const char *dir = getenv("BENCH_DIR");
    FILE *out;

    if (dir == NULL && (dir = getenv("TMPDIR")) == NULL)
        dir = "/tmp";
    snprintf(folder, sizeof(folder), "%s/kilnword-bench-XXXXXX", dir);
    if (mkdtemp(folder) == NULL)
        fail("no folder");
    snprintf(file, sizeof(file), "%s/ledger", folder);
    snprintf(conf_file, sizeof(conf_file), "%s/conf", folder);
    if ((out = fopen(conf_file, "w")) == NULL)
        fail("no configuration");
    fprintf(out,
            "programme = { name = \"Bench\"; zone = \"UTC\"; language = "
            "\"en\"; country_code = \"999\"; };\n"
            "ledger = { file = \"%s\"; };\n"
            "grammar = { folder = \"%s/grammar\"; };\n",
            file, getenv("KW_SOURCE"));
    fclose(out);
    run(fill, NULL);
    printf("pots\t%d\t\tabout, in batches of 50 to 200, 5 places each\n", pots);
}

int main(int argc, char **argv)
{
    static const char *const pages[] = {"batches", "causes", "need", "life",
                                        "line"};
    bool brief = argc > 1 && strcmp(argv[1], "--short") == 0;
    bool alone = argc > 1 && strcmp(argv[1], "--survival") == 0;
    struct cost cold;
    char command[300];
    double yp;

    if (getenv("KW_BUILD") == NULL || getenv("KW_SOURCE") == NULL)
        fail("run by tests/bench/run");
    snprintf(command, sizeof(command), "%s/src/kilnword", getenv("KW_BUILD"));
    if (getenv("KW_COMMAND") == NULL)
        setenv("KW_COMMAND", command, 1);
    pots = brief ? 20000 : 1000000;
    prepare();
    run(yardstick, NULL); /* the file is in memory now */
    yp = run(yardstick, NULL).s;
    put("Yp, all pots stepped through", yp, yp, 0);
    cold = run(survival, NULL);
    put("survival of all stays in 500 strata, from the ledger", cold.s, yp,
        cold.mib);
    if (!alone)
        watch(yp);
    for (size_t i = 0; !alone && i < KW_COUNT(pages); i++) {
        char what[60];
        struct cost c;

        yp = run(yardstick, NULL).s;
        c = run(NULL, pages[i]);
        snprintf(what, sizeof(what), "show %s", pages[i]);
        put(what, c.s, yp, c.mib);
    }
    snprintf(command, sizeof(command), "rm -rf '%s'", folder);
    return system(command) == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
