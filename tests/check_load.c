/*
 * check_load.c - `kilnword load` and `kilnword backup`, the program itself
 * on files of a made-up programme.
 */
#include "tests/ledger_fixture.h"

#include "base/file.h"

#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

static char *out, *err; /* what the last run said */

/* ---- running the program ---- */

static const char *in_folder(const char *name)
{
    static char path[4][512];
    static int turn;
    char *p = path[turn++ % 4];

    snprintf(p, 512, "%s/%s", fixture_folder(), name);
    return p;
}

static void file(const char *name, const char *text)
{
    ck_assert_int_eq(file_write_whole(in_folder(name), text, strlen(text)), 0);
}

static void set_up(void)
{
    const char *source = getenv("KW_SOURCE");
    char conf[2048];

    ck_assert_msg(source != NULL, "KW_SOURCE is not set: run by make check");
    snprintf(conf, sizeof(conf),
             "programme = { zone = \"UTC\"; country_code = \"999\"; "
             "national_prefix = \"0\"; };\n"
             "ledger = { file = \"ledger.db\"; };\n"
             "grammar = { folder = \"%s/grammar\"; };\n"
             "moulds = ( { name = \"round\"; shape = \"frustum\"; "
             "base_radius_mm = 95.0; rim_radius_mm = 120.0; "
             "depth_mm = 220.0; wall_mm = 12.0; base_mm = 15.0; } );\n",
             source);
    file("kilnword.conf", conf);
}

static void tear_down(void)
{
    kw_free(out);
    kw_free(err);
    out = err = NULL;
    fixture_remove();
}

static void in_child(const char *const *words, rlim_t most)
{
    struct rlimit r = {most, most};
    char program[512];
    const char *build = getenv("KW_BUILD");
    char *argv[24] = {program};

    snprintf(program, sizeof(program), "%s/src/kilnword",
             build != NULL ? build : ".");
    for (int i = 0; words[i] != NULL; i++)
        argv[i + 1] = (char *)words[i];
    if (chdir(fixture_folder()) < 0 ||
        dup2(open("out", O_CREAT | O_TRUNC | O_WRONLY, 0600), 1) < 0 ||
        dup2(open("err", O_CREAT | O_TRUNC | O_WRONLY, 0600), 2) < 0)
        _exit(99);
    signal(SIGXFSZ, SIG_IGN);
    if (most > 0)
        setrlimit(RLIMIT_FSIZE, &r);
    execv(program, argv);
    _exit(99);
}

static int run_limited(rlim_t most, const char *const *words)
{
    pid_t pid = fork();
    size_t len;
    int status;

    if (pid == 0)
        in_child(words, most);
    ck_assert_int_eq(waitpid(pid, &status, 0), pid);
    ck_assert(WIFEXITED(status));
    kw_free(out);
    kw_free(err);
    ck_assert_int_eq(file_read(in_folder("out"), 1 << 24, &out, &len), 0);
    ck_assert_int_eq(file_read(in_folder("err"), 1 << 24, &err, &len), 0);
    return WEXITSTATUS(status);
}

#define RUN(...)  run_limited(0, (const char *const[]){__VA_ARGS__, NULL})
#define LOAD(...) RUN("load", "--config", "kilnword.conf", __VA_ARGS__)

static void must_say(const char *text, const char *part)
{
    ck_assert_msg(strstr(text, part) != NULL, "'%s' does not say '%s'", text,
                  part);
}

static int64_t number(const char *sql)
{
    struct ledger *lg = fixture_open();
    int64_t n = fixture_number(lg, sql);

    ledger_close(lg);
    return n;
}

/* ---- a small programme ---- */

static const char places[] =
    "place,language,water_c_jan,water_c_jul\nUpper Sele,es,19.5,24\n"
    "\"Ford, the\",en,,\n";
static const char batches[] =
    "batch,pressed,mould,clay_pit,sawdust_pct,fired,kiln,peak_c,silver_mg\n"
    "0214,2026-01-05,round,river,50,2026-01-20,A,866,64\n"
    "215,2026-01-12,round,hill,51.5,2026-01-27,B,902,\n";
static const char pots[] = "serial\n0214-073-19\n0214 074 16\n21500148\n";
static const char tests[] = "serial,tested,litres,minutes,water_c,accepted\n"
                            "0214-073-19,2026-01-22,2.0,60,,yes\n"
                            "0214-074-16,2026-01-22,2.0,60,15,yes\n"
                            "021500148,2026-01-29,1.0,30,25,no\n";
static const char homes[] = "home,place,phone,language,people,consent\n"
                            "S-1,Upper Sele,070012345,es,5,yes\n"
                            "S-2,\"Ford, the\",+99970012346,,4,no\nS-3,,,,,\n";
static const char handovers[] =
    "serial,home,given,ended,reason\n"
    "021407319,S-1,2026-02-01,,\n021407416,S-2,2026-02-02,2026-02-20,cracked\n"
    "021407416,S-3,2026-02-25 09:30,,\n";
static const char texts[] =
    "at,from,text,id\n2026-02-10 08:00,+99970012345,021407319 crack,a1\n"
    "2026-02-09 08:00,+99970012346,\"hello, how are you\",\n"
    "2026-02-09 08:00,+99970012346,\"hello, how are you\",\n";

static void files(void)
{
    file("places.csv", places);
    file("batches.csv", batches);
    file("pots.csv", pots);
    file("tests.csv", tests);
    file("homes.csv", homes);
    file("handovers.csv", handovers);
    file("texts.csv", texts);
}

#define ALL                                                                    \
    "texts.csv", "handovers.csv", "homes.csv", "tests.csv", "pots.csv",        \
        "batches.csv", "places.csv"

static void load_all(void)
{
    files();
    ck_assert_msg(LOAD(ALL) == 0, "%s", err);
}

START_TEST(in_any_order_and_twice)
{
    struct ledger *lg;

    load_all();
    must_say(out, "places.csv: places, 2 new, 0 changed, 0 same\n");
    must_say(out, "pots.csv: pots, 3 new, 0 changed, 0 same\n");
    must_say(out, "handovers.csv: handovers, 3 new, 0 changed, 0 same\n");
    must_say(out, "texts.csv: texts, 3 new, 0 changed, 0 same\n");
    must_say(out, "looks for breakage of batches when it starts");
    lg = fixture_open();
    fixture_check(lg);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM outbox"), 0);
    ck_assert_int_eq(fixture_number(lg, "SELECT failed_s FROM pots "
                                        "WHERE serial = '021407319'"),
                     1770710400); /* 2026-02-10 08:00 UTC */
    ledger_close(lg);
    ck_assert_int_eq(LOAD(ALL), 0);
    ck_assert_ptr_null(strstr(out, " 1 new"));
    must_say(out, "places.csv: places, 0 new, 0 changed, 2 same\n");
    must_say(out, "batches.csv: batches, 0 new, 0 changed, 2 same\n");
    must_say(out, "pots.csv: pots, 0 new, 0 changed, 3 same\n");
    must_say(out, "tests.csv: tests, 0 new, 0 changed, 3 same\n");
    must_say(out, "homes.csv: homes, 0 new, 0 changed, 3 same\n");
    must_say(out, "handovers.csv: handovers, 0 new, 0 changed, 3 same\n");
    must_say(out, "texts.csv: texts, 0 new, 0 changed, 3 same\n");
    ck_assert_ptr_null(strstr(out, "breakage"));
}
END_TEST

START_TEST(changes_are_told_and_kept)
{
    load_all();
    file("homes.csv", "home,people,phone\nS-1,6,\nS-2,,-\n");
    ck_assert_int_eq(LOAD("homes.csv"), 0);
    must_say(out, "0 new, 2 changed, 0 same");
    ck_assert_int_eq(number("SELECT people FROM homes WHERE code = 'S-1'"), 6);
    /* Empty says nothing, "-" takes back. */
    ck_assert_int_eq(number("SELECT phone_id FROM homes WHERE code = 'S-1'"),
                     99970012345);
    ck_assert_int_eq(number("SELECT phone_id IS NULL FROM homes "
                            "WHERE code = 'S-2'"),
                     1);
    file("handovers.csv",
         "serial,home,given,ended,reason\n021407319,S-1,2026-02-01,"
         "2026-03-01,moved\n");
    ck_assert_int_eq(LOAD("handovers.csv"), 0);
    must_say(out, "0 new, 1 changed, 0 same");
    ck_assert_int_eq(number("SELECT home_id IS NULL FROM pots "
                            "WHERE serial = '021407319'"),
                     1);
}
END_TEST

/* A pot that is handed on ends its time in the home before. */
START_TEST(handed_on)
{
    load_all();
    file("handovers.csv", "serial,home,given\n021407319,S-3,2026-02-15\n");
    ck_assert_int_eq(LOAD("handovers.csv"), 0);
    ck_assert_int_eq(number("SELECT ended_s FROM handovers WHERE id = "
                            "(SELECT min(id) FROM handovers)"),
                     1771113600); /* 2026-02-15 */
    ck_assert_int_eq(number("SELECT outings FROM pots "
                            "WHERE serial = '021407319'"),
                     2);
    file("handovers.csv", "serial,home,given\n021407416,S-1,2026-02-10\n");
    ck_assert_int_eq(LOAD("handovers.csv"), 3);
    must_say(err, "handovers.csv:2: this pot's times in homes overlap at "
                  "2026-02-10");
}
END_TEST

/* First-hour litres at 25 degC: by the model, so only its plain laws here. */
START_TEST(tests_are_brought_to_25_degc)
{
    struct ledger *lg;
    struct ledger_batch b;

    load_all();
    lg = fixture_open();
    ck_assert_int_eq(ledger_batch_find(lg, "0214", &b), 0);
    ck_assert_int_eq(b.tested, 2);
    ck_assert_int_eq(b.accepted, 2);
    ck_assert_double_eq_tol(b.test_min_l, 2.0, 1e-12); /* as it was read */
    /* Colder water is thicker: viscosity 1.1375 at 15, 0.8900 mPa s at 25
     * (IAPWS SR6-08(2011)); a little less than in proportion, since the
     * level falls. */
    ck_assert_double_gt(b.test_max_l, 2.0 * 1.20);
    ck_assert_double_lt(b.test_max_l, 2.0 * 1.1375 / 0.8900);
    ck_assert_int_eq(ledger_batch_find(lg, "0215", &b), 0);
    ck_assert_int_eq(b.tested, 1);
    ck_assert_int_eq(b.accepted, 0);
    ck_assert_double_nan(b.test_mean_l);
    ledger_close(lg);
    /* Half an hour's litre is less than two in the hour: the level falls. */
    ck_assert_int_eq(number("SELECT first_hour_l > 1.8 AND first_hour_l < 2 "
                            "FROM flow_tests WHERE minutes = 30"),
                     1);
}
END_TEST

/* Like readings of a batch are each a test, and the same when loaded again. */
START_TEST(tests_without_serial)
{
    load_all();
    file("more.csv", "batch,tested,litres\n215,2026-01-29,2.1\n"
                     "215,2026-01-29,2.1\n0215,2026-01-29,2.3\n");
    ck_assert_int_eq(LOAD("more.csv"), 0);
    must_say(out, "3 new");
    ck_assert_int_eq(LOAD("more.csv"), 0);
    must_say(out, "0 new, 0 changed, 3 same");
    ck_assert_int_eq(number("SELECT accepted FROM batches "
                            "WHERE code = '0215'"),
                     3);
}
END_TEST

/* Source of the check digits: ISO/IEC 7064 MOD 97-10, 0214073 -> 19. */
START_TEST(serials_are_made_and_shown)
{
    load_all();
    file("made.csv", "batch,pot,scrapped\n0214,75,\n214,76,yes\n");
    ck_assert_int_eq(LOAD("made.csv"), 0);
    must_say(out, "made serial 0214-075-");
    must_say(out, "made serial 0214-076-");
    ck_assert_int_eq(number("SELECT count(*) FROM pots WHERE "
                            "CAST(serial AS INTEGER) % 97 = 1 "
                            "AND length(serial) = 9"),
                     5);
    ck_assert_int_eq(number("SELECT pots FROM batches WHERE code = '0214'"), 4);
    ck_assert_int_eq(LOAD("made.csv"), 0);
    ck_assert_ptr_null(strstr(out, "made serial"));
}
END_TEST

/* Where pots stood in the kiln, and where places are. */
START_TEST(shelves_and_places)
{
    load_all();
    file("made.csv", "batch,pot,shelf\n0214,75,top left\n0214,76,\n");
    file("spots.csv", "place,latitude,longitude\nSpot,-0.5,0.25\nMore,,\n");
    ck_assert_int_eq(LOAD("spots.csv", "made.csv"), 0);
    ck_assert_int_eq(
        number("SELECT count(*) FROM pots WHERE shelf = 'top left'"), 1);
    ck_assert_int_eq(number("SELECT count(*) FROM places WHERE name = 'Spot' "
                            "AND lat_deg = -0.5 AND lon_deg = 0.25"),
                     1);
    ck_assert_int_eq(number("SELECT count(*) FROM places WHERE name = 'More' "
                            "AND lat_deg IS NULL"),
                     1);
    ck_assert_int_eq(LOAD("spots.csv", "made.csv"), 0);
    must_say(out, "0 new, 0 changed, 2 same");
    file("made.csv", "batch,pot,shelf\n0214,75,-\n");
    ck_assert_int_eq(LOAD("made.csv"), 0);
    ck_assert_int_eq(number("SELECT count(*) FROM pots WHERE shelf <> ''"), 0);
}
END_TEST

/* ---- mistakes ---- */

static const struct {
    const char *text;
    const char *says[4]; /* parts of what is said */
} mistakes[] = {
    {"place,latitude,longitude\nSpot,0.5,\n",
     {":2: latitude and longitude belong together"}},
    {"place,latitude,longitude\nSpot,95,0\n", {":2: latitude"}},
    {"home,place\nS-9,Nowhere\n",
     {":2: place 'Nowhere' is not known; add it to places.csv"}},
    {"home,people\n,5\nS-9,-1\nS-9,three\n",
     {":2: home is empty", ":3: people '-1' is not a whole number from 0",
      ":4: people 'three'"}},
    {"home,phone,language\nS-9,hello,es\nS-8,+99970012345,e_s\n",
     {":2: phone 'hello'", ":3: language 'e_s' is not a language tag"}},
    {"home,consent\nS-9,maybe\n", {"is neither yes nor no"}},
    {"home,people\nS-9,5\nS-9,6\n", {":3: the same as line 2"}},
    {"home,people\nS-9\n", {":2: 1 fields where the first line has 2"}},
    {"home,peeple\nS-9,1\n",
     {":1: 'peeple' is not a column of homes; these are: home,place,phone"}},
    {"home,people,people\nS-9,1,1\n", {"stand there twice"}},
    {"serial,home,given\n021407319,S-7,2026-02-01\n",
     {":2: home 'S-7' is not known; add it to homes.csv"}},
    {"serial,home,given\n021407320,S-1,2026-02-01\n",
     {":2: serial '021407320' is not right", "0214-073-19"}},
    {"serial,home,given\n021499954,S-1,2026-02-30\n",
     {":2: given '2026-02-30' is not a day"}},
    {"serial,home,given\n021407319,S-1,2150-02-01\n", {"is still to come"}},
    {"serial,home,given,ended\n021407319,S-1,2026-02-03,2026-02-02\n",
     {"ended '2026-02-02' is before given"}},
    {"serial\n9999-001-52\n", {"serial '9999-001-52' is not right"}},
    {"batch,pot\n0300,1\n",
     {":2: batch '0300' is not known; add it to batches.csv"}},
    {"batch,pot\nX1,1\n", {"batch 'X1' cannot stand in a serial"}},
    {"batch,pot\n0214,1234\n", {"pot '1234' cannot stand"}},
    {"batch,mould\n0300,square\n",
     {"mould 'square' is not in the configuration; it has 'round'"}},
    {"batch,peak_c\n0300,9000\n",
     {":2: peak_c '9000' is not a number from 400 to 1400"}},
    {"batch,peak_c\n0300,\"900,5\"\n", {"write a point, no comma"}},
    {"batch,litres,minutes\n0214,40,30\n",
     {"40 litres in 30 minutes cannot come from a pot"}},
    {"place,water_c_jan\nUpper Sele,60\n", {"from 0 to 45"}},
    {"place\n\"Upper\n", {"a quoted field is not closed"}},
    {"at,from,text\n2026-01-01,,hello\n", {":2: from is empty"}},
    {"what,is,this\n1,2,3\n", {"does not name the columns"}},
    {"", {"does not name the columns"}},
};

START_TEST(a_mistake_is_told_and_nothing_kept)
{
    int64_t before;

    load_all();
    before = number("SELECT (SELECT count(*) FROM homes) + (SELECT count(*) "
                    "FROM pots) + (SELECT count(*) FROM handovers)");
    file("wrong.csv", mistakes[_i].text);
    file("right.csv", "home,people\nS-100,3\n");
    ck_assert_int_eq(LOAD("right.csv", "wrong.csv"), 3);
    for (int k = 0; k < 4 && mistakes[_i].says[k] != NULL; k++)
        must_say(err, mistakes[_i].says[k]);
    must_say(err, "wrong.csv:");
    must_say(err, "nothing was kept");
    ck_assert_str_eq(out, "");
    ck_assert_int_eq(
        number("SELECT (SELECT count(*) FROM homes) + (SELECT count(*) "
               "FROM pots) + (SELECT count(*) FROM handovers)"),
        before);
}
END_TEST

/* Bytes of any kind end in a fault, never in a crash. */
START_TEST(noise_is_refused)
{
    unsigned seed = 5u + (unsigned)_i;
    char noise[4000];
    size_t head = 0;

    if (_i % 2) {
        memcpy(noise, "home,people\n", 12);
        head = 12;
    }
    for (size_t i = head; i < sizeof(noise); i++)
        noise[i] = (char)(rand_r(&seed) % 256);
    ck_assert_int_eq(
        file_write_whole(in_folder("noise.csv"), noise, sizeof(noise)), 0);
    ck_assert_int_eq(LOAD("noise.csv"), 3);
    must_say(err, "nothing was kept");
}
END_TEST

START_TEST(many_lines_with_one_mistake)
{
    struct kw_buf text;

    kw_buf_init(&text, 1 << 20);
    kw_buf_puts(&text, "home,place\n");
    for (int i = 0; i < 500; i++)
        kw_buf_printf(&text, "S-%d,Nowhere\n", i);
    file("homes.csv", kw_buf_text(&text));
    kw_buf_release(&text);
    ck_assert_int_eq(LOAD("homes.csv"), 3);
    must_say(err, "homes.csv:2: place 'Nowhere'");
    must_say(err, "(and so on 499 more lines)");
    ck_assert_ptr_null(strstr(err, "homes.csv:3:"));
}
END_TEST

/* ---- dry runs, options, surroundings ---- */

START_TEST(dry_run_keeps_nothing)
{
    files();
    ck_assert_int_eq(LOAD("--dry-run", ALL), 0);
    must_say(out, "places.csv:2: new Upper Sele\n");
    must_say(out, "pots.csv: pots, 3 new, 0 changed, 0 same\n");
    must_say(out, "nothing was kept");
    ck_assert_int_lt(access(in_folder("ledger.db"), F_OK), 0);
    load_all();
    file("homes.csv", "home,people\nS-1,9\n");
    ck_assert_int_eq(LOAD("--dry-run", "homes.csv"), 0);
    must_say(out, "homes.csv:2: changed S-1\n");
    ck_assert_int_eq(number("SELECT people FROM homes WHERE code = 'S-1'"), 5);
}
END_TEST

START_TEST(counts_as_json)
{
    files();
    ck_assert_int_eq(LOAD("--json", ALL), 0);
    must_say(out, "\"kept\": true");
    must_say(out, "\"kind\": \"handovers\"");
    must_say(out, "\"new\": 3");
    ck_assert_str_eq(err, "");
}
END_TEST

START_TEST(options_are_checked)
{
    files();
    ck_assert_int_eq(LOAD("--kind", "poems", "places.csv"), 2);
    must_say(err, "'poems' is no kind of notebook");
    ck_assert_int_eq(LOAD("--kind", "homes", "places.csv"), 3);
    must_say(err, "is not a column of homes");
    ck_assert_int_eq(LOAD("--frobnicate"), 2);
    ck_assert_int_eq(LOAD("no-such.csv"), 3);
    must_say(err, "no-such.csv: cannot be read");
    ck_assert_int_eq(RUN("load", "--help"), 0);
    must_say(out, "water_c_dec");
    must_say(out, "exit codes");
    ck_assert_int_eq(LOAD(NULL), 0); /* makes it, or brings it up to date */
    ck_assert_int_eq(access(in_folder("ledger.db"), F_OK), 0);
}
END_TEST

START_TEST(full_disk_keeps_nothing)
{
    struct kw_buf text;
    static const char *const words[] = {"load", "--config", "kilnword.conf",
                                        "homes.csv", NULL};

    kw_buf_init(&text, 1 << 22);
    kw_buf_puts(&text, "home\n");
    for (int i = 0; i < 30000; i++)
        kw_buf_printf(&text, "S-%d\n", i);
    file("homes.csv", kw_buf_text(&text));
    kw_buf_release(&text);
    ck_assert_int_eq(LOAD(NULL), 0);
    ck_assert_int_eq(run_limited(500000, words), 1);
    must_say(err, "nothing was kept");
    ck_assert_int_eq(number("SELECT count(*) FROM homes"), 0);
    ck_assert_int_eq(LOAD("homes.csv"), 0); /* someone made room */
    ck_assert_int_eq(number("SELECT count(*) FROM homes"), 30000);
}
END_TEST

/* ---- backup ---- */

#define BACKUP(...) RUN("backup", "--config", "kilnword.conf", __VA_ARGS__)

START_TEST(backup_and_restore)
{
    int64_t reports;

    load_all();
    reports = number("SELECT count(*) FROM reports");
    ck_assert_int_eq(reports, 1);
    ck_assert_int_eq(BACKUP("copy.db"), 0);
    must_say(out, "checked");
    ck_assert_int_eq(BACKUP("copy.db"), 3);
    must_say(err, "is there already");
    ck_assert_int_eq(BACKUP("--replace", "--json", "copy.db"), 0);
    must_say(out, "\"rows\"");
    ck_assert_int_eq(BACKUP("--replace", "ledger.db"), 1);
    must_say(err, "is the ledger itself");
    ck_assert_int_eq(BACKUP("no/such/folder/copy.db"), 1);
    ck_assert_int_eq(BACKUP(NULL), 2);
    ck_assert_int_eq(RUN("backup", "--help"), 0);
    must_say(out, "To restore");
    /* As the help says. */
    unlink(in_folder("ledger.db"));
    unlink(in_folder("ledger.db-wal"));
    unlink(in_folder("ledger.db-shm"));
    ck_assert_int_eq(rename(in_folder("copy.db"), in_folder("ledger.db")), 0);
    ck_assert_int_eq(number("SELECT count(*) FROM reports"), reports);
    ck_assert_int_eq(LOAD(ALL), 0);
    must_say(out, "texts.csv: texts, 0 new, 0 changed, 3 same\n");
}
END_TEST

static Suite *suite(void)
{
    Suite *s = suite_create("load");
    TCase *t = tcase_create("load");

    suite_add_tcase(s, t);
    tcase_set_timeout(t, 60);
    tcase_add_checked_fixture(t, set_up, tear_down);
    tcase_add_test(t, in_any_order_and_twice);
    tcase_add_test(t, changes_are_told_and_kept);
    tcase_add_test(t, handed_on);
    tcase_add_test(t, tests_are_brought_to_25_degc);
    tcase_add_test(t, tests_without_serial);
    tcase_add_test(t, serials_are_made_and_shown);
    tcase_add_test(t, shelves_and_places);
    tcase_add_loop_test(t, a_mistake_is_told_and_nothing_kept, 0,
                        (int)KW_COUNT(mistakes));
    tcase_add_loop_test(t, noise_is_refused, 0, 6);
    tcase_add_test(t, many_lines_with_one_mistake);
    tcase_add_test(t, dry_run_keeps_nothing);
    tcase_add_test(t, counts_as_json);
    tcase_add_test(t, options_are_checked);
    tcase_add_test(t, full_disk_keeps_nothing);
    tcase_add_test(t, backup_and_restore);
    return s;
}

int main(void)
{
    return fixture_run(suite());
}
