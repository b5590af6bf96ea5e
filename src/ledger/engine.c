/*
 * engine.c - what only SQLite does, so that another engine would touch this
 * file alone: opening, pragmas, transactions, error codes.
 * Source: sqlite.org/wal.html, sqlite.org/fileformat2.html (header, 1.3).
 */
#include "ledger/engine.h"

#include "base/log.h"
#include "ledger/header.h"
#include "ledger/schema.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <pthread.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define CACHE_MIB_DEFAULT        8
#define CHECKPOINT_PAGES_DEFAULT 1000
#define WAL_KEEP_OCTETS          (64 << 20) /* a longer one is cut back */

/* ---- errors ---- */

static bool no_room(struct ledger *lg, int rc)
{
    int e = sqlite3_system_errno(lg->db);

    if ((rc & 0xff) == SQLITE_FULL)
        return true;
    return (rc & 0xff) == SQLITE_IOERR &&
           (e == ENOSPC || e == EDQUOT || e == EFBIG);
}

int engine_fail(struct ledger *lg, int rc, const char *sql)
{
    rc = sqlite3_extended_errcode(lg->db) ? sqlite3_extended_errcode(lg->db)
                                          : rc;
    lg->disk_full = no_room(lg, rc);
    if (rc != lg->complained) /* once, not for each text that waits */
        log_error("ledger '%s': %s%s (%d) in \"%.60s\"", lg->file,
                  sqlite3_errmsg(lg->db),
                  lg->disk_full ? "; make room on its disk" : "", rc, sql);
    lg->complained = rc;
    if ((rc & 0xff) == SQLITE_BUSY || (rc & 0xff) == SQLITE_LOCKED)
        return KW_EAGAIN;
    return KW_ELEDGER;
}

bool ledger_disk_full(const struct ledger *lg)
{
    return lg->disk_full;
}

int engine_run(struct ledger *lg, const char *sql)
{
    int rc = sqlite3_exec(lg->db, sql, NULL, NULL, NULL);

    kept_drop(&lg->kept, ~0u);
    return rc == SQLITE_OK ? 0 : engine_fail(lg, rc, sql);
}

/* ---- transactions ---- */

int ledger_begin(struct ledger *lg)
{
    struct query q;
    int64_t version;
    int err;

    query_open(&q, lg, "BEGIN IMMEDIATE");
    if ((err = query_run(&q)) < 0)
        return err;
    if ((err = ledger_data_version(lg, &version)) < 0) {
        ledger_rollback(lg);
        return err;
    }
    kept_begin(&lg->kept, version); /* others may have written since */
    return 0;
}

int ledger_commit(struct ledger *lg)
{
    struct query q;
    int err = segments_write(lg);

    if (err < 0)
        return err;
    query_open(&q, lg, "COMMIT");
    err = query_run(&q);
    if (err == 0)
        lg->complained = 0;
    return err;
}

bool engine_in_transaction(const struct ledger *lg)
{
    return sqlite3_get_autocommit(lg->db) == 0;
}

void ledger_rollback(struct ledger *lg)
{
    struct query q;

    lg->n_carriers = 0;
    kept_rollback(&lg->kept);
    if (!engine_in_transaction(lg))
        return;
    query_open(&q, lg, "ROLLBACK");
    query_run(&q);
}

int ledger_savepoint(struct ledger *lg)
{
    struct query q;

    kept_savepoint(&lg->kept);
    query_open(&q, lg, "SAVEPOINT job");
    return query_run(&q);
}

int ledger_release(struct ledger *lg)
{
    struct query q;

    query_open(&q, lg, "RELEASE job");
    return query_run(&q);
}

void ledger_undo(struct ledger *lg)
{
    struct query q;

    lg->n_carriers = 0;
    kept_undo(&lg->kept);
    if (!engine_in_transaction(lg))
        return; /* a failure of the disk has undone all of it already */
    query_open(&q, lg, "ROLLBACK TO job");
    query_run(&q);
    ledger_release(lg);
}

/* ---- pragmas ---- */

static int pragma_get(struct ledger *lg, const char *sql, int64_t *value)
{
    struct query q;
    int err;

    query_open(&q, lg, sql);
    err = query_one(&q);
    if (err < 0)
        return err;
    *value = query_get_i64(&q, 0);
    query_close(&q);
    return 0;
}

int ledger_data_version(struct ledger *lg, int64_t *version)
{
    return pragma_get(lg, "PRAGMA data_version", version);
}

int engine_version(struct ledger *lg, int64_t *version)
{
    return pragma_get(lg, "PRAGMA user_version", version);
}

int engine_set_version(struct ledger *lg, int version)
{
    char sql[64];

    snprintf(sql, sizeof(sql), "PRAGMA user_version = %d", version);
    return engine_run(lg, sql);
}

static int set_pragmas(struct ledger *lg, const struct ledger_settings *set)
{
    int cache = set->cache_mib > 0 ? set->cache_mib : CACHE_MIB_DEFAULT;
    int pages = set->checkpoint_pages > 0 ? set->checkpoint_pages
                                          : CHECKPOINT_PAGES_DEFAULT;
    char sql[256];

    snprintf(sql, sizeof(sql),
             "PRAGMA foreign_keys = ON; PRAGMA synchronous = FULL;"
             "PRAGMA cache_size = %d;"
             "PRAGMA wal_autocheckpoint = %d;"
             "PRAGMA journal_size_limit = %d",
             -1024 * cache, pages, WAL_KEEP_OCTETS);
    return engine_run(lg, sql);
}

/* ---- opening ---- */

int engine_tell(char **why, int err, const char *fmt, ...)
{
    struct kw_buf text;
    va_list ap;

    if (why == NULL)
        return err;
    kw_buf_init(&text, 8192);
    va_start(ap, fmt);
    kw_buf_vprintf(&text, fmt, ap);
    va_end(ap);
    *why = kw_buf_take(&text);
    return err;
}

static int newer(const char *file, int64_t version, char **why)
{
    return engine_tell(
        why, KW_EVERSION,
        "the ledger '%s' was made by a newer version of kilnword "
        "(form %" PRId64 ", this one knows %d); nothing was touched: "
        "use the newer version, or a backup from before",
        file, version, schema_latest());
}

static int judge(const struct ledger_settings *set, const struct header *h,
                 char **why)
{
    bool fresh = h->looks == LOOKS_ABSENT || h->looks == LOOKS_EMPTY;

    if (fresh && (!set->create || set->read_only))
        return engine_tell(why, KW_ENOENT,
                           "there is no ledger in '%s'; `kilnword load` or "
                           "`kilnword serve` makes one",
                           set->file);
    if (h->looks == LOOKS_FOREIGN)
        return engine_tell(
            why, KW_EINVAL,
            "'%s' is not a ledger of kilnword; name another file in "
            "ledger.file, or move this one away",
            set->file);
    if (h->version > schema_latest())
        return newer(set->file, h->version, why);
    if (set->read_only && !set->older_too && h->version < schema_latest())
        return engine_tell(
            why, KW_EVERSION,
            "the ledger '%s' was made by an older version of kilnword "
            "(form %" PRId64 "); `kilnword load` with no file brings "
            "it up to date",
            set->file, h->version);
    return 0;
}

static int cannot(struct ledger *lg, const char *doing, char **why)
{
    int e = lg->db != NULL ? sqlite3_system_errno(lg->db) : errno;

    return engine_tell(
        why, KW_EIO,
        "cannot %s the ledger '%s': %s%s%s; its folder must be there, with "
        "room and leave to write",
        doing, lg->file, lg->db != NULL ? sqlite3_errmsg(lg->db) : "",
        lg->db != NULL && e != 0 ? ", " : "", e != 0 ? strerror(e) : "");
}

/* Made by us, so that no one else may read what people text. */
static int make_file(struct ledger *lg, char **why)
{
    int fd = open(lg->file, O_RDWR | O_CREAT | O_CLOEXEC | O_NOCTTY, 0640);

    if (fd < 0)
        return cannot(lg, "make", why);
    close(fd);
    return 0;
}

static int open_db(struct ledger *lg, const char *name, int flags)
{
    int rc;

    sqlite3_close_v2(lg->db);
    rc = sqlite3_open_v2(name, &lg->db, flags | SQLITE_OPEN_NOMUTEX, NULL);
    if (rc != SQLITE_OK)
        return KW_EIO;
    sqlite3_db_config(lg->db, SQLITE_DBCONFIG_LOOKASIDE, NULL, 1200, 200);
    sqlite3_extended_result_codes(lg->db, 1);
    sqlite3_busy_timeout(lg->db, ENGINE_BUSY_MS);
    /* A first read: WAL needs its helper files, or leave to make them. That of
     * the tables takes them all in, which who watches has no use for. */
    return sqlite3_exec(lg->db,
                        lg->watch ? "PRAGMA user_version"
                                  : "SELECT 1 FROM sqlite_schema",
                        NULL, NULL, NULL) == SQLITE_OK
               ? 0
               : KW_EIO;
}

/* In a folder nobody may write to, and with no writer: read as it stands. */
static int open_frozen(struct ledger *lg)
{
    struct kw_buf uri;
    char wal[4096];
    int err;

    snprintf(wal, sizeof(wal), "%s-wal", lg->file);
    if (access(wal, F_OK) == 0)
        return KW_EIO;
    kw_buf_init(&uri, 16384);
    kw_buf_puts(&uri, "file:");
    for (const char *p = lg->file; *p != '\0'; p++) {
        if (strchr("%?#", *p) != NULL)
            kw_buf_printf(&uri, "%%%02x", (unsigned char)*p);
        else
            kw_buf_putc(&uri, *p);
    }
    kw_buf_puts(&uri, "?immutable=1");
    err = uri.err < 0 ? KW_EIO
                      : open_db(lg, kw_buf_text(&uri),
                                SQLITE_OPEN_READONLY | SQLITE_OPEN_URI);
    kw_buf_release(&uri);
    return err;
}

static int start_reading(struct ledger *lg, char **why)
{
    if (open_db(lg, lg->file, SQLITE_OPEN_READONLY) == 0 ||
        open_frozen(lg) == 0)
        return 0;
    return cannot(lg, "open", why);
}

static int start_writing(struct ledger *lg, bool fresh, char **why)
{
    char sql[64];
    int err;

    if (fresh && make_file(lg, why) < 0)
        return KW_EIO;
    err = open_db(lg, lg->file, SQLITE_OPEN_READWRITE);
    if (lg->db != NULL && sqlite3_db_readonly(lg->db, "main") == 1)
        return engine_tell(why, KW_EIO,
                           "the ledger '%s' may only be read; give this user "
                           "leave to write to it and to its folder",
                           lg->file);
    if (err < 0)
        return cannot(lg, "open", why);
    if (!fresh)
        return 0;
    /* Before WAL: the header tells from the first commit on what it is. */
    snprintf(sql, sizeof(sql), "PRAGMA application_id = %d",
             ENGINE_APPLICATION_ID);
    return engine_run(lg, sql) == 0 ? 0 : cannot(lg, "make", why);
}

static int bring_up_to_date(struct ledger *lg, char **why)
{
    int64_t version;

    if (engine_version(lg, &version) < 0)
        return cannot(lg, "read", why);
    if (version > schema_latest()) { /* what the header did not tell yet */
        sqlite3_db_config(lg->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
        return newer(lg->file, version, why);
    }
    if (lg->read_only)
        return 0;
    if (version < schema_latest() && schema_migrate(lg, schema_latest()) < 0)
        return cannot(lg, "bring up to date", why);
    if (engine_run(lg, "PRAGMA journal_mode = WAL") < 0)
        return cannot(lg, "write to", why);
    if (version < schema_latest())
        engine_run(lg, "PRAGMA wal_checkpoint(TRUNCATE)");
    return 0;
}

static int start(struct ledger *lg, const struct ledger_settings *set,
                 bool fresh, char **why)
{
    int err =
        set->read_only ? start_reading(lg, why) : start_writing(lg, fresh, why);

    if (err == 0 && !set->watch && set_pragmas(lg, set) < 0)
        err = cannot(lg, "open", why);
    if (err == 0)
        err = bring_up_to_date(lg, why);
    return err;
}

/*
 * Before the engine starts: its own count of memory costs a lock each, and
 * what a savepoint may take back is kept in memory, where a text's few pages
 * would else be written to a file.
 */
static void set_up_engine(void)
{
    sqlite3_config(SQLITE_CONFIG_MEMSTATUS, 0);
    sqlite3_config(SQLITE_CONFIG_STMTJRNL_SPILL, -1);
}

int ledger_open(const struct ledger_settings *set, struct ledger **out,
                char **why)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    struct header head;
    struct ledger *lg;
    int err;

    *out = NULL;
    if (why != NULL)
        *why = NULL;
    pthread_once(&once, set_up_engine);
    if (set->file == NULL || set->file[0] == '\0')
        return engine_tell(why, KW_EINVAL,
                           "no ledger is named; set ledger.file");
    if (header_read(set->file, &head) < 0)
        return engine_tell(why, KW_EIO, "cannot read the ledger '%s': %s",
                           set->file, strerror(errno));
    err = judge(set, &head, why);
    if (err < 0)
        return err;
    lg = kw_calloc(1, sizeof(*lg));
    lg->file = kw_strdup(set->file);
    lg->read_only = set->read_only;
    lg->watch = set->watch;
    err = start(lg, set, head.looks != LOOKS_LEDGER, why);
    if (err < 0) {
        ledger_close(lg);
        return err;
    }
    *out = lg;
    return 0;
}

void ledger_close(struct ledger *lg)
{
    if (lg == NULL)
        return;
    for (size_t i = 0; i < lg->n_slots; i++)
        sqlite3_finalize(lg->slots[i].stmt);
    kw_free(lg->slots);
    kept_release(&lg->kept);
    sqlite3_close_v2(lg->db);
    kw_free(lg->file);
    kw_free(lg);
}

/* ---- a copy while others write ---- */

#define BACKUP_STEP_PAGES 128

/* All rows of all tables, table by table into counts. */
static int count_rows(sqlite3 *db, struct kw_buf *counts, int64_t *rows)
{
    sqlite3_stmt *tables, *count;
    int rc = sqlite3_prepare_v2(db,
                                "SELECT name, 'SELECT count(*) FROM ' || name "
                                "FROM sqlite_schema WHERE type = 'table' "
                                "ORDER BY name",
                                -1, &tables, NULL);

    *rows = 0;
    while (rc == SQLITE_OK && (rc = sqlite3_step(tables)) == SQLITE_ROW) {
        const char *sql = (const char *)sqlite3_column_text(tables, 1);

        rc = sqlite3_prepare_v2(db, sql, -1, &count, NULL);
        if (rc == SQLITE_OK && sqlite3_step(count) == SQLITE_ROW) {
            int64_t n = sqlite3_column_int64(count, 0);

            *rows += n;
            kw_buf_printf(counts, "%s %" PRId64 "\n",
                          sqlite3_column_text(tables, 0), n);
        }
        if (rc == SQLITE_OK)
            rc = sqlite3_finalize(count);
    }
    sqlite3_finalize(tables);
    return rc == SQLITE_DONE && counts->err == 0 ? 0 : KW_ELEDGER;
}

static int copy_pages(struct ledger *lg, sqlite3 *to, struct ledger_backup *b)
{
    sqlite3_backup *copy = sqlite3_backup_init(to, "main", lg->db, "main");
    int rc = SQLITE_ERROR;

    if (copy == NULL)
        return KW_ELEDGER;
    do {
        rc = sqlite3_backup_step(copy, BACKUP_STEP_PAGES);
        if (b->progress != NULL)
            b->progress(sqlite3_backup_remaining(copy),
                        sqlite3_backup_pagecount(copy), b->arg);
    } while (rc == SQLITE_OK);
    return sqlite3_backup_finish(copy) == SQLITE_OK && rc == SQLITE_DONE
               ? 0
               : KW_ELEDGER;
}

/* One row that says ok, and none. */
static bool says(sqlite3 *db, const char *sql, const char *right)
{
    sqlite3_stmt *stmt;
    bool good = false;

    if (sqlite3_prepare_v2(db, sql, -1, &stmt, NULL) != SQLITE_OK)
        return false;
    if (sqlite3_step(stmt) == SQLITE_ROW)
        good = right != NULL &&
               strcmp((const char *)sqlite3_column_text(stmt, 0), right) == 0;
    else
        good = right == NULL;
    return sqlite3_finalize(stmt) == SQLITE_OK && good;
}

/* The copy alone holds all: no helper files beside it, nothing broken. */
static int check_copy(sqlite3 *db, const char *counts, char **why)
{
    struct kw_buf mine;
    int64_t rows;
    bool same;

    if (!says(db, "PRAGMA journal_mode = DELETE", "delete") ||
        !says(db, "PRAGMA integrity_check", "ok") ||
        !says(db, "PRAGMA foreign_key_check", NULL))
        return engine_tell(
            why, KW_ELEDGER,
            "the copy is not sound; the ledger itself may not be: "
            "keep it as it is and look at its disk");
    kw_buf_init(&mine, 65536);
    same = count_rows(db, &mine, &rows) == 0 &&
           strcmp(kw_buf_text(&mine), counts) == 0;
    kw_buf_release(&mine);
    return same ? 0
                : engine_tell(
                      why, KW_ELEDGER,
                      "the copy does not hold the same rows as the ledger");
}

/* In one reading transaction, so that copy and counts are of one moment. */
static int copy_now(struct ledger *lg, sqlite3 *to, struct ledger_backup *b,
                    struct kw_buf *counts)
{
    int err = engine_run(lg, "BEGIN");

    if (err < 0)
        return err;
    err = count_rows(lg->db, counts, &b->rows);
    if (err == 0)
        err = copy_pages(lg, to, b);
    engine_run(lg, "COMMIT");
    return err;
}

int engine_copy(struct ledger *lg, struct ledger_backup *b, const char *file,
                char **why)
{
    sqlite3 *to = NULL;
    struct kw_buf counts;
    int err = KW_ELEDGER;

    kw_buf_init(&counts, 65536);
    if (sqlite3_open_v2(file, &to, SQLITE_OPEN_READWRITE, NULL) == SQLITE_OK)
        err = copy_now(lg, to, b, &counts);
    if (err < 0)
        engine_tell(why, err, "cannot copy to '%s': %s", file,
                    to != NULL && sqlite3_errcode(to) != SQLITE_OK
                        ? sqlite3_errmsg(to)
                        : sqlite3_errmsg(lg->db));
    if (err == 0)
        err = check_copy(to, kw_buf_text(&counts), why);
    sqlite3_close_v2(to);
    kw_buf_release(&counts);
    return err;
}
