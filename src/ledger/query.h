#ifndef KW_QUERY_H
#define KW_QUERY_H
/*
 * query.h - inside the ledger only: one prepared statement, bound, stepped
 * and read. Statements are prepared once for each handle and kept under the
 * address of their text, so sql must be a string literal. Parameters are
 * written $1, $2 … in any order and bound one after the other from $1 on.
 * An error sticks in the query and is logged once.
 *
 *   query_open(&q, lg, "SELECT name FROM places WHERE id = $1");
 *   query_i64(&q, id);
 *   if ((err = query_one(&q)) < 0)
 *       return err;
 *   query_copy(&q, 0, name, sizeof(name));
 *   query_close(&q);
 */
#include "ledger/ledger.h"

#include <sqlite3.h>

#define QUERY_PARAMS_MOST 40

struct prepared {    /* a kept statement */
    const char *sql; /* its key; NULL: the slot is free */
    sqlite3_stmt *stmt;
    uint8_t place[QUERY_PARAMS_MOST + 1]; /* of $n in the statement, 0 none */
    unsigned drops;                       /* kept_drops() */
};

struct query {
    struct ledger *lg;
    const char *sql;
    sqlite3_stmt *stmt;
    const uint8_t *place;
    struct prepared own; /* when the kept one is in use further up */
    int bound;           /* parameters so far */
    int err;             /* 0 or a KW_E code */
};

void query_open(struct query *q, struct ledger *lg, const char *sql);
/* Binds the next parameter. Texts and octets are borrowed until the close. */
void query_i64(struct query *q, int64_t v);
void query_id(struct query *q, int64_t id);      /* 0 becomes NULL */
void query_f64(struct query *q, double v);       /* NaN becomes NULL */
void query_text(struct query *q, const char *s); /* NULL stays NULL */
void query_octets(struct query *q, const void *data, size_t len);

/* 1: a row is there; 0: no more; else a KW_E code. Not closed by it. */
int query_next(struct query *q);
/* The first row: 0 (close it afterwards), KW_ENOENT or an error (closed). */
int query_one(struct query *q);
/* Runs to the end and closes. */
int query_run(struct query *q);
/* The same for … RETURNING: the first column of the first row, NULL as 0.
 * KW_ENOENT when no row came. */
int query_returning(struct query *q, int64_t *value);
/*
 * On the way of every text these stand for … RETURNING, which SQLite leads
 * through a table of its own (a third of the cost of a text): an INSERT gives
 * the id it made; an UPDATE of a row by its key KW_ENOENT when it is not there.
 */
int query_insert(struct query *q, int64_t *id);
int query_update(struct query *q);
void query_close(struct query *q); /* twice is harmless */

/* Columns of the present row, from 0. */
int64_t query_get_i64(struct query *q, int col);      /* NULL as 0 */
double query_get_f64(struct query *q, int col);       /* NULL as NaN */
const char *query_get_text(struct query *q, int col); /* NULL as "" */
const void *query_get_octets(struct query *q, int col, size_t *len);
bool query_is_null(struct query *q, int col);
void query_copy(struct query *q, int col, char *dst, size_t cap);
#endif
