/*
 * check_ledger_open.c - opening: new, old, newer, foreign, broken, read-only
 * ledgers; and the copy of a live one.
 */
#include "ledger/drift.h"
#include "ledger/engine.h"
#include "ledger/schema.h"
#include "ledger/writer.h"
#include "tests/ledger_fixture.h"

#include "base/file.h"

#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static void tear_down(void)
{
    fixture_remove();
}

static int try_open(bool read_only, struct ledger **lg, char **why)
{
    struct ledger_settings set = {
        .file = fixture_file(), .read_only = read_only, .create = !read_only};

    return ledger_open(&set, lg, why);
}

/*
 * A second handle in this process, opened and closed, drops no lock: another
 * process that reads and ends does not take itself for the last one and
 * remove the log that is still written to. sqlite.org/howtocorrupt.html, 2.2.
 */
START_TEST(another_process_leaves_the_log)
{
    char wal[4200];
    struct ledger *writing, *reading;
    pid_t child;
    int status;

    ck_assert_int_eq(try_open(false, &writing, NULL), 0);
    ck_assert_int_eq(ledger_begin(writing), 0);
    ck_assert_int_eq(ledger_mark_put(writing, "a", 1), 0);
    ck_assert_int_eq(ledger_commit(writing), 0);
    ck_assert_int_eq(try_open(true, &reading, NULL), 0);
    ledger_close(reading);
    child = fork();
    if (child == 0) {
        execlp("sqlite3", "sqlite3", fixture_file(),
               "SELECT count(*) FROM marks", (char *)NULL);
        _exit(127);
    }
    ck_assert_int_eq(waitpid(child, &status, 0), child);
    ck_assert_int_eq(status, 0);
    snprintf(wal, sizeof(wal), "%s-wal", fixture_file());
    ck_assert_msg(access(wal, F_OK) == 0, "the log was removed");
    ledger_close(writing);
}
END_TEST

/* Opening fails with err and a sentence that says word. */
static void refused(bool read_only, int err, const char *word)
{
    struct ledger *lg;
    char *why;

    ck_assert_int_eq(try_open(read_only, &lg, &why), err);
    ck_assert_ptr_null(lg);
    ck_assert_ptr_nonnull(why);
    ck_assert_msg(strstr(why, word) != NULL, "'%s' does not say '%s'", why,
                  word);
    ck_assert_ptr_nonnull(strstr(why, fixture_file()));
    kw_free(why);
}

static void write_file(const char *data, size_t len)
{
    ck_assert_int_eq(file_write_whole(fixture_file(), data, len), 0);
}

static void read_file(char **data, size_t *len)
{
    ck_assert_int_eq(file_read(fixture_file(), 1 << 26, data, len), 0);
}

static bool beside(const char *end)
{
    char path[512];

    snprintf(path, sizeof(path), "%s%s", fixture_file(), end);
    return access(path, F_OK) == 0;
}

/* ---- new and old ---- */

START_TEST(made_once)
{
    struct ledger *lg;

    if (_i == 1)
        write_file("", 0);
    for (int i = 0; i < 2; i++) {
        lg = fixture_open();
        ck_assert_int_eq(fixture_number(lg, "PRAGMA user_version"),
                         schema_latest());
        ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM migrations"),
                         schema_latest());
        ck_assert_int_eq(fixture_number(lg, "PRAGMA foreign_keys"), 1);
        ck_assert_int_eq(fixture_number(lg, "PRAGMA synchronous"), 2);
        ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM "
                                            "pragma_table_list "
                                            "WHERE strict = 0 AND "
                                            "schema = 'main' AND "
                                            "name NOT LIKE 'sqlite%'"),
                         0);
        fixture_check(lg);
        ledger_close(lg);
    }
}
END_TEST

START_TEST(not_made_when_not_asked)
{
    struct ledger_settings set = {.file = fixture_file()};
    struct ledger *lg;
    char *why;

    refused(true, KW_ENOENT, "load");
    ck_assert_int_eq(ledger_open(&set, &lg, &why), KW_ENOENT);
    kw_free(why);
    ck_assert(!beside(""));
    set.file = "/proc/no/such/folder/ledger";
    set.create = true;
    ck_assert_int_eq(ledger_open(&set, &lg, &why), KW_EIO);
    ck_assert_ptr_nonnull(strstr(why, "/proc/no/such/folder/ledger"));
    kw_free(why);
}
END_TEST

/* A ledger as each earlier version of the program left it, and more. */
static void make_version(int version, const char *more)
{
    struct ledger lg = {.file = kw_strdup("old")};
    char sql[64];

    ck_assert_int_eq(sqlite3_open(fixture_file(), &lg.db), SQLITE_OK);
    snprintf(sql, sizeof(sql), "PRAGMA application_id = %d",
             ENGINE_APPLICATION_ID);
    ck_assert_int_eq(engine_run(&lg, sql), 0);
    ck_assert_int_eq(schema_migrate(&lg, version), 0);
    ck_assert_int_eq(engine_run(&lg, "PRAGMA journal_mode = WAL"), 0);
    ck_assert_int_eq(engine_run(&lg, "INSERT INTO places (name) "
                                     "VALUES ('Sele')"),
                     0);
    ck_assert_int_eq(engine_run(&lg, more), 0);
    for (size_t i = 0; i < lg.n_slots; i++)
        sqlite3_finalize(lg.slots[i].stmt);
    kw_free(lg.slots);
    sqlite3_close(lg.db);
    kw_free(lg.file);
}

START_TEST(brought_up_to_date)
{
    for (int version = 1; version <= schema_latest(); version++) {
        struct ledger_place p;
        struct ledger *lg;

        make_version(version, "");
        if (version < schema_latest())
            refused(true, KW_EVERSION, "older version");
        lg = fixture_open();
        ck_assert_int_eq(ledger_place_find(lg, "Sele", &p), 0);
        ck_assert_int_eq(fixture_number(lg, "PRAGMA user_version"),
                         schema_latest());
        fixture_check(lg);
        ledger_close(lg);
        fixture_remove();
    }
}
END_TEST

/* Three readings of two pots as version 10 kept them, and what was said. */
static const char kept_of_old[] =
    "INSERT INTO carriers VALUES (1, 'gate');"
    "INSERT INTO phones (id, number) VALUES (99970012345, '+99970012345');"
    "INSERT INTO texts_in (id, carrier_id, phone_id, at_s, body, answer_id) "
    "VALUES (5, 1, 99970012345, 1000, CAST('ok' AS BLOB), 1);"
    "INSERT INTO reports (id, text_id, pot_key, at_s) "
    "VALUES (1, 5, 77, 1000), (2, NULL, 77, 2000), (3, NULL, 78, 3000), "
    "(4, NULL, 78, 4000);"
    "INSERT INTO flows (report_id, first_hour_l, log_se, p_below, verdict) "
    "VALUES (1, 1.5, 0.2, 0.11, 'fine'), (2, 1.25, 0.2, 0.12, 'fine'), "
    "(3, 0.5, 0.2, 0.93, 'scrub'), (4, 2, 0.2, NULL, 'fine');"
    "INSERT INTO decisions VALUES "
    "(1, 77, 0.41, -0.001, 0.02, 0.0001, 1e-6, 0.03, 0.05, 0.11, 1, 3.75, "
    "0.5, 0.75, 0.405, 0, 0), "
    "(2, 77, 0.31, -0.002, 0.03, 0.0002, 2e-6, 0.04, 0.06, 0.12, 1, 3.75, "
    "0.5, 0.75, 0.405, 64, 2), "
    "(3, 78, -0.6, -0.003, 0.04, 0.0003, 3e-6, 0.05, 0.07, 0.93, 1, 2.5, "
    "0.5, 0.75, 0.405, 2, 1);"
    "INSERT INTO outbox (id, phone_id, carrier_id, kind, priority, at_s, "
    "due_s, text_id, body) VALUES (1, 99970012345, 1, 0, 2, 1000, 1000, 5, "
    "'Pot 0214-073-19: 1.2 L, call #100')";

START_TEST(decisions_and_answers_move_along)
{
    static const double p22[] = {1e-6, 2e-6, 3e-6}, fast[] = {3.75, 3.75, 2.5};
    static const double below[] = {0.11, 0.12, 0.93};
    struct ledger_decision d;
    struct ledger_out out[2];
    struct kw_buf answer;
    struct ledger *lg;

    make_version(10, kept_of_old);
    lg = fixture_open();
    for (int i = 0; i < 3; i++) {
        ck_assert_int_eq(ledger_decision_get(lg, i + 1, &d), 0);
        ck_assert_int_eq(d.pot_key, i < 2 ? 77 : 78);
        ck_assert_double_eq(d.slope, -0.001 * (i + 1));
        ck_assert_double_eq(d.p22, p22[i]);
        ck_assert_double_eq_tol(d.variance, 0.05 + 0.01 * i, 1e-12);
        ck_assert_double_eq(d.p_below, below[i]);
        ck_assert_double_eq(d.limit_l, 1);
        ck_assert_double_eq(d.too_fast_l, fast[i]);
        ck_assert_double_eq(d.rise_log, 0.405);
        ck_assert_int_eq(d.prior, i == 0 ? 0 : 3 - i);
        ck_assert_uint_eq(d.why, i == 0 ? 0 : i == 1 ? 64 : 2);
    }
    ck_assert_int_eq(ledger_decision_get(lg, 4, &d), KW_ENOENT);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM flow_rules"), 2);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM flows"), 4);
    kw_buf_init(&answer, LEDGER_BODY_CAP);
    ck_assert_int_eq(ledger_answer_of(lg, 5, &answer, NULL), 0);
    ck_assert_str_eq(kw_buf_text(&answer), "Pot 0214-073-19: 1.2 L, call #100");
    kw_buf_release(&answer);
    ck_assert_int_eq(ledger_out_claim(lg, "gate", 1000, out, 2), 1);
    ck_assert_str_eq(out[0].body, "Pot 0214-073-19: 1.2 L, call #100");
    fixture_check(lg);
    ledger_close(lg);
}
END_TEST

/* The tables are the same, whether made at once or step by step. */
START_TEST(same_tables_either_way)
{
    static const char shape[] =
        "SELECT group_concat(sql, ';') FROM "
        "(SELECT sql FROM sqlite_schema WHERE name <> 'x' ORDER BY name)";
    char *sql[2];

    for (int i = 0; i < 2; i++) {
        sqlite3_stmt *stmt;
        struct ledger *lg;

        if (i == 1)
            make_version(1, "");
        lg = fixture_open();
        ck_assert_int_eq(sqlite3_prepare_v2(lg->db, shape, -1, &stmt, NULL),
                         SQLITE_OK);
        ck_assert_int_eq(sqlite3_step(stmt), SQLITE_ROW);
        sql[i] = kw_strdup((const char *)sqlite3_column_text(stmt, 0));
        sqlite3_finalize(stmt);
        ledger_close(lg);
        fixture_remove();
    }
    ck_assert_str_eq(sql[0], sql[1]);
    kw_free(sql[0]);
    kw_free(sql[1]);
}
END_TEST

/* ---- newer, foreign, broken ---- */

START_TEST(newer_is_not_touched)
{
    struct ledger *lg = fixture_open();
    char *before, *after;
    size_t len, len_after;

    ck_assert_int_eq(engine_set_version(lg, schema_latest() + 1), 0);
    ledger_close(lg);
    read_file(&before, &len);
    refused(false, KW_EVERSION, "newer version");
    refused(true, KW_EVERSION, "nothing was touched");
    read_file(&after, &len_after);
    ck_assert_uint_eq(len, len_after);
    ck_assert_mem_eq(before, after, len);
    ck_assert(!beside("-wal") && !beside("-shm") && !beside("-journal"));
    kw_free(before);
    kw_free(after);
}
END_TEST

/* The newer program still runs: its mark stands in the log alone. */
START_TEST(newer_while_it_runs)
{
    struct ledger *lg = fixture_open();
    char *before, *after;
    size_t len, len_after;

    read_file(&before, &len);
    ck_assert_int_eq(engine_set_version(lg, schema_latest() + 1), 0);
    refused(false, KW_EVERSION, "newer version");
    read_file(&after, &len_after);
    ck_assert_mem_eq(before, after, len);
    ledger_close(lg);
    kw_free(before);
    kw_free(after);
}
END_TEST

static const char other_database[] =
    "CREATE TABLE shopping (item TEXT); INSERT INTO shopping VALUES ('clay')";

START_TEST(foreign_is_not_touched)
{
    static const char words[] = "home,place,phone\nS1,Sele,+99970012345\n";
    char *before, *after;
    size_t len, len_after;

    if (_i == 0) {
        write_file(words, sizeof(words) - 1);
    } else {
        sqlite3 *db;

        ck_assert_int_eq(sqlite3_open(fixture_file(), &db), SQLITE_OK);
        sqlite3_exec(db, other_database, NULL, NULL, NULL);
        sqlite3_close(db);
    }
    read_file(&before, &len);
    refused(false, KW_EINVAL, "not a ledger");
    refused(true, KW_EINVAL, "not a ledger");
    read_file(&after, &len_after);
    ck_assert_uint_eq(len, len_after);
    ck_assert_mem_eq(before, after, len);
    kw_free(before);
    kw_free(after);
}
END_TEST

/* Cut short, or with any page overwritten: an error or a good ledger, and
 * whatever happens no crash. */
START_TEST(broken_is_told)
{
    char *data;
    size_t len;

    ledger_close(fixture_open());
    read_file(&data, &len);
    for (size_t cut = 100; cut < len; cut += 4096) {
        struct ledger *lg;
        char *why;
        int err;

        write_file(data, cut);
        err = try_open(false, &lg, &why);
        ck_assert(err < 0 || cut + 4096 > len); /* its last page in part */
        ck_assert_int_eq(why != NULL, err < 0);
        kw_free(why);
        ledger_close(lg);
    }
    for (size_t at = 4096; at < len; at += 4096) {
        struct ledger_place p;
        struct ledger *lg;
        char *why, saved[4096];

        memcpy(saved, data + at, 4096);
        memset(data + at, 0xa5, 4096);
        write_file(data, len);
        if (try_open(false, &lg, &why) == 0) {
            ledger_place_find(lg, "Sele", &p);
            ledger_close(lg);
        }
        kw_free(why);
        memcpy(data + at, saved, 4096);
    }
    kw_free(data);
}
END_TEST

/* ---- read only ---- */

/* In a child that is not root: root may write anywhere. */
static void in_read_only_folder(void (*f)(void))
{
    pid_t pid = fork();
    int status;

    if (pid == 0) {
        /* _exit: what is checked here reaches the parent by the status. */
        if (geteuid() == 0 && seteuid(65534) < 0)
            _exit(1);
        f();
        _exit(0);
    }
    ck_assert_int_eq(waitpid(pid, &status, 0), pid);
    ck_assert_msg(WIFEXITED(status) && WEXITSTATUS(status) == 0,
                  "the child failed: %d", status);
}

static void only_reading_works(void)
{
    struct ledger_place p;
    struct ledger *lg;
    char *why;

    if (try_open(false, &lg, &why) != KW_EIO || why == NULL)
        _exit(2);
    fprintf(stderr, "# %s\n", why);
    kw_free(why);
    if (try_open(true, &lg, &why) != 0)
        _exit(3);
    if (ledger_place_find(lg, "Sele", &p) != KW_ENOENT)
        _exit(4);
    if (ledger_mark_put(lg, "x", 1) != KW_ELEDGER)
        _exit(5);
    ledger_close(lg);
}

static void cannot_be_made(void)
{
    struct ledger *lg;
    char *why;

    if (try_open(false, &lg, &why) != KW_EIO || why == NULL)
        _exit(2);
    fprintf(stderr, "# %s\n", why);
    kw_free(why);
}

START_TEST(read_only_folder)
{
    const char *folder = fixture_folder();

    ck_assert_int_eq(chmod(folder, 0555), 0);
    in_read_only_folder(cannot_be_made);
    ck_assert_int_eq(chmod(folder, 0755), 0);
    ledger_close(fixture_open());
    ck_assert_int_eq(chmod(fixture_file(), 0444), 0);
    ck_assert_int_eq(chmod(folder, 0555), 0);
    in_read_only_folder(only_reading_works);
    ck_assert_int_eq(chmod(folder, 0755), 0);
}
END_TEST

START_TEST(private_to_its_owner)
{
    struct stat st;

    ledger_close(fixture_open());
    ck_assert_int_eq(stat(fixture_file(), &st), 0);
    ck_assert_int_eq(st.st_mode & 0007, 0);
}
END_TEST

/* ---- two at once ---- */

START_TEST(one_writes_at_a_time)
{
    struct ledger *a = fixture_open(), *b = fixture_open();
    int64_t before, after, value;

    sqlite3_busy_timeout(b->db, 20);
    ck_assert_int_eq(ledger_data_version(b, &before), 0);
    ck_assert_int_eq(ledger_begin(a), 0);
    ck_assert_int_eq(ledger_mark_put(a, "x", 5), 0);
    ck_assert_int_eq(ledger_begin(b), KW_EAGAIN);
    ck_assert_int_eq(ledger_mark_get(b, "x", &value), KW_ENOENT);
    ck_assert_int_eq(ledger_data_version(b, &after), 0);
    ck_assert_int_eq(before, after);
    ck_assert_int_eq(ledger_commit(a), 0);
    ck_assert_int_eq(ledger_data_version(b, &after), 0);
    ck_assert_int_ne(before, after);
    ck_assert_int_eq(ledger_mark_get(b, "x", &value), 0);
    ck_assert_int_eq(value, 5);
    ledger_close(a);
    ledger_close(b);
}
END_TEST

/* ---- copies ---- */

static int n_done;

static int put_pair(struct ledger *lg, void *arg)
{
    static int n;
    char name[24];
    int err;

    (void)arg;
    n++;
    snprintf(name, sizeof(name), "left %d", n);
    if ((err = ledger_mark_put(lg, name, n)) < 0)
        return err;
    snprintf(name, sizeof(name), "right %d", n);
    return ledger_mark_put(lg, name, n);
}

static void pair_done(void *arg, int err)
{
    (void)arg;
    ck_assert_int_eq(err, 0);
    n_done++;
}

static void keep_busy(struct writer *w, int upto)
{
    static const struct writer_job job = {.run = put_pair, .done = pair_done};

    while (n_done < upto) {
        struct pollfd p = {.fd = writer_fd(w), .events = POLLIN};

        for (int i = 0; i < 20; i++)
            ck_assert_int_eq(writer_submit(w, &job), 0);
        ck_assert_int_eq(poll(&p, 1, 10000), 1);
        writer_deliver(w);
    }
}

struct busy {
    struct writer *w;
    int calls;
};

static void meanwhile(int left, int pages, void *arg)
{
    struct busy *b = arg;

    ck_assert_int_ge(left, 0);
    ck_assert_int_le(left, pages);
    b->calls++;
    keep_busy(b->w, n_done + 20); /* commits in the middle of the copy */
}

static struct ledger *open_reading(const char *file)
{
    struct ledger_settings set = {.file = file, .read_only = true};
    struct ledger *lg;

    ck_assert_int_eq(ledger_open(&set, &lg, NULL), 0);
    return lg;
}

START_TEST(copied_while_written)
{
    struct writer *w;
    struct busy busy = {0};
    char name[512];
    struct ledger_backup b = {
        .file = name, .progress = meanwhile, .arg = &busy};
    struct ledger *reading, *copy;
    int before;
    char *why;

    n_done = 0;
    ck_assert_int_eq(writer_open(fixture_open(), 64, &w), 0);
    busy.w = w;
    keep_busy(w, 40000);
    snprintf(name, sizeof(name), "%s/copy", fixture_folder());
    reading = open_reading(fixture_file());
    before = n_done;
    ck_assert_int_eq(ledger_backup(reading, &b, &why), 0);
    ck_assert_int_gt(busy.calls, 1);
    ck_assert_int_gt(n_done, before);
    copy = open_reading(name);
    fixture_check(copy);
    ck_assert_int_ge(fixture_number(copy, "SELECT count(*) FROM marks"),
                     2 * before);
    ck_assert_int_eq(fixture_number(copy,
                                    "SELECT sum(CASE WHEN key LIKE 'left%' "
                                    "THEN value ELSE -value END) FROM marks"),
                     0);
    ledger_close(copy);
    ledger_close(reading);
    writer_close(w);
}
END_TEST

START_TEST(copy_does_not_overwrite)
{
    struct ledger *lg = fixture_open(), *copy;
    char name[512], *why, *data;
    struct ledger_backup b = {.file = name};
    size_t len;

    snprintf(name, sizeof(name), "%s/copy", fixture_folder());
    ck_assert_int_eq(file_write_whole(name, "precious", 8), 0);
    ck_assert_int_eq(ledger_backup(lg, &b, &why), KW_EDUP);
    ck_assert_ptr_nonnull(why);
    kw_free(why);
    ck_assert_int_eq(file_read(name, 100, &data, &len), 0);
    ck_assert_str_eq(data, "precious");
    kw_free(data);
    b.replace = true;
    b.file = fixture_file();
    ck_assert_int_eq(ledger_backup(lg, &b, NULL), KW_EINVAL);
    b.file = name;
    ck_assert_int_eq(ledger_backup(lg, &b, NULL), 0);
    copy = open_reading(name);
    fixture_check(copy);
    ledger_close(copy);
    ledger_close(lg);
}
END_TEST

/* No room for the copy: what was there before is still there. */
START_TEST(copy_on_a_full_disk)
{
    struct ledger *lg = fixture_open();
    struct rlimit r;
    char name[512], *why, *data;
    struct ledger_backup b = {.file = name, .replace = true};
    size_t len;

    snprintf(name, sizeof(name), "%s/copy", fixture_folder());
    ck_assert_int_eq(file_write_whole(name, "precious", 8), 0);
    signal(SIGXFSZ, SIG_IGN);
    ck_assert_int_eq(getrlimit(RLIMIT_FSIZE, &r), 0);
    r.rlim_cur = 16384;
    ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &r), 0);
    ck_assert_int_lt(ledger_backup(lg, &b, &why), 0);
    ck_assert_ptr_nonnull(why);
    kw_free(why);
    r.rlim_cur = RLIM_INFINITY;
    ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &r), 0);
    ck_assert_int_eq(file_read(name, 100, &data, &len), 0);
    ck_assert_str_eq(data, "precious");
    kw_free(data);
    snprintf(name, sizeof(name), "%s/copy.new", fixture_folder());
    ck_assert_int_lt(access(name, F_OK), 0);
    ledger_close(lg);
}
END_TEST

static Suite *suite(void)
{
    Suite *s = suite_create("ledger_open");
    TCase *t = tcase_create("open"), *c = tcase_create("copy");

    suite_add_tcase(s, t);
    tcase_add_checked_fixture(t, NULL, tear_down);
    tcase_add_loop_test(t, made_once, 0, 2);
    tcase_add_test(t, not_made_when_not_asked);
    tcase_set_timeout(t, 60); /* each migration is synced to the disk */
    tcase_add_test(t, brought_up_to_date);
    tcase_add_test(t, decisions_and_answers_move_along);
    tcase_add_test(t, same_tables_either_way);
    tcase_add_test(t, newer_is_not_touched);
    tcase_add_test(t, newer_while_it_runs);
    tcase_add_loop_test(t, foreign_is_not_touched, 0, 2);
    tcase_add_test(t, broken_is_told);
    tcase_add_test(t, read_only_folder);
    tcase_add_test(t, private_to_its_owner);
    tcase_add_test(t, one_writes_at_a_time);
    suite_add_tcase(s, c);
    tcase_add_checked_fixture(c, NULL, tear_down);
    tcase_set_timeout(c, 60);
    tcase_add_test(c, copied_while_written);
    tcase_add_test(c, copy_does_not_overwrite);
    tcase_add_test(c, copy_on_a_full_disk);
    tcase_add_test(c, another_process_leaves_the_log);
    return s;
}

int main(void)
{
    return fixture_run(suite());
}
