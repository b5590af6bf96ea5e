#include "tests/ledger_fixture.h"

#include "ledger/engine.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char folder[256], file[320];

const char *fixture_folder(void)
{
    if (folder[0] == '\0') {
        const char *tmp = getenv("TMPDIR");

        snprintf(folder, sizeof(folder), "%s/kw-ledger-XXXXXX",
                 tmp != NULL ? tmp : "/tmp");
        ck_assert_ptr_nonnull(mkdtemp(folder));
    }
    return folder;
}

const char *fixture_file(void)
{
    snprintf(file, sizeof(file), "%s/ledger.db", fixture_folder());
    return file;
}

void fixture_remove(void)
{
    DIR *d = opendir(folder);
    struct dirent *e;

    if (d == NULL)
        return;
    while ((e = readdir(d)) != NULL) {
        char path[1024];

        if (e->d_name[0] == '.')
            continue;
        snprintf(path, sizeof(path), "%s/%s", folder, e->d_name);
        unlink(path);
    }
    closedir(d);
    rmdir(folder);
    folder[0] = '\0';
}

struct ledger *fixture_open(void)
{
    struct ledger_settings set = {.file = fixture_file(), .create = true};
    struct ledger *lg;
    char *why;
    int err = ledger_open(&set, &lg, &why);

    ck_assert_msg(err == 0, "%d: %s", err, why != NULL ? why : "");
    return lg;
}

int64_t fixture_number(struct ledger *lg, const char *sql)
{
    sqlite3_stmt *stmt;
    int64_t value;

    ck_assert_msg(sqlite3_prepare_v2(lg->db, sql, -1, &stmt, NULL) == SQLITE_OK,
                  "%s: %s", sqlite3_errmsg(lg->db), sql);
    ck_assert_int_eq(sqlite3_step(stmt), SQLITE_ROW);
    value = sqlite3_column_int64(stmt, 0);
    sqlite3_finalize(stmt);
    return value;
}

static const char *const nothing_found[] = {
    "SELECT count(*) FROM pragma_foreign_key_check",
    "SELECT count(*) FROM batches b WHERE "
    "(pots, pots_out, failed) IS DISTINCT FROM (SELECT count(*), "
    "coalesce(sum(outings > 0), 0), count(failed_s) FROM pots p "
    "WHERE p.batch_id = b.id)",
    "SELECT count(*) FROM pots p WHERE outings <> "
    "(SELECT count(*) FROM handovers h WHERE h.pot_key = p.key)",
    "SELECT count(*) FROM pots p WHERE outings > 0 AND "
    "(handover_id, given_s, ended_s, home_id) IS DISTINCT FROM "
    "(SELECT id, given_s, ended_s, "
    "CASE WHEN ended_s IS NULL THEN home_id END FROM handovers h "
    "WHERE h.pot_key = p.key ORDER BY given_s DESC LIMIT 1)",
    "SELECT count(*) FROM handovers a JOIN handovers b "
    "ON a.pot_key = b.pot_key AND a.given_s < b.given_s "
    "AND (a.ended_s IS NULL OR a.ended_s > b.given_s)",
    "SELECT count(*) FROM alerts a WHERE reports <> "
    "(SELECT count(*) FROM gathered g WHERE g.alert_id = a.id)",
    "SELECT count(*) FROM arrivals r LEFT JOIN texts_in t "
    "ON t.id = r.text_id WHERE t.id IS NULL",
};

void fixture_check(struct ledger *lg)
{
    sqlite3_stmt *stmt;

    ck_assert_int_eq(
        sqlite3_prepare_v2(lg->db, "PRAGMA integrity_check", -1, &stmt, NULL),
        SQLITE_OK);
    ck_assert_int_eq(sqlite3_step(stmt), SQLITE_ROW);
    ck_assert_str_eq((const char *)sqlite3_column_text(stmt, 0), "ok");
    sqlite3_finalize(stmt);
    for (size_t i = 0; i < KW_COUNT(nothing_found); i++)
        ck_assert_msg(fixture_number(lg, nothing_found[i]) == 0, "%s",
                      nothing_found[i]);
}

int fixture_run(Suite *s)
{
    SRunner *r = srunner_create(s);
    int failed;

    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
