#ifndef KW_ENGINE_H
#define KW_ENGINE_H
/*
 * engine.h - inside the ledger only: the handle, and what only SQLite does
 * (engine.c): opening, pragmas, error codes, copying a live file.
 */
#include "ledger/kept.h"
#include "ledger/query.h"

#define ENGINE_APPLICATION_ID 0x4b694c6e /* "KiLn", in the file's header */
#define ENGINE_BUSY_MS        10000      /* waiting for another writer */
#define ENGINE_CARRIERS_MOST  32

struct ledger {
    sqlite3 *db;
    char *file;
    bool read_only, disk_full;
    bool watch;             /* no more than ledger_data_version() */
    int complained;         /* the failure last logged, 0 after a good commit */
    struct prepared *slots; /* a hash table, a power of two of them */
    size_t n_slots, n_used;
    struct { /* names of carriers already looked up */
        char name[LEDGER_NAME_CAP];
        int64_t id;
    } carriers[ENGINE_CARRIERS_MOST];
    size_t n_carriers;
    struct kept kept;
};

/* Logs the failure of sql and gives the KW_E code for it. */
int engine_fail(struct ledger *lg, int rc, const char *sql);
/* Runs statements that have no parameters. */
int engine_run(struct ledger *lg, const char *sql);
/* The transaction is still there: some failures end it by themselves. */
bool engine_in_transaction(const struct ledger *lg);
int engine_version(struct ledger *lg, int64_t *version);
int engine_set_version(struct ledger *lg, int version);

/* Writes the sentence to *why (unless NULL) and gives err. */
int engine_tell(char **why, int err, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));
/* All of the ledger at one moment into a file that is there, and checked. */
int engine_copy(struct ledger *lg, struct ledger_backup *b, const char *file,
                char **why);

/* The id of a carrier's name; made when it is not there and make is set. */
int carrier_id(struct ledger *lg, const char *name, bool make, int64_t *id);
/* The name of one, "" for id 0. */
int carrier_name(struct ledger *lg, int64_t id, char dst[LEDGER_NAME_CAP]);
/* Writes the segments that were counted and are kept in memory. */
int segments_write(struct ledger *lg);
/* Counts them, on the local day of at_s. */
int segments_add(struct ledger *lg, int64_t at_s, enum ledger_role role,
                 int64_t received, int64_t sent);
#endif
