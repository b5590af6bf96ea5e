#ifndef KW_CSV_H
#define KW_CSV_H
/*
 * csv.h - comma-separated values, RFC 4180: quoted fields may hold commas,
 * quotes (doubled) and line ends. Lines end in LF or CR LF; a byte-order
 * mark at the start, blank lines and lines that begin with '#' are passed
 * over.
 */
#include "base/buf.h"

#define CSV_FIELDS_MOST 64

struct csv {
    const char *data; /* borrowed */
    size_t len, at;
    int line;      /* where the present record began, from 1 */
    int next_line; /* inner */
    char *store;   /* owned; the fields of the present record */
    size_t store_cap;
    const char *fields[CSV_FIELDS_MOST]; /* NUL-terminated, in store */
    size_t lens[CSV_FIELDS_MOST];
    size_t n_fields;
    const char *wrong; /* after a syntax error: what, static */
};

void csv_open(struct csv *c, const char *data, size_t len);
void csv_release(struct csv *c);
/* 1 a record is there, 0 the end, KW_ESYNTAX (c->wrong, c->line tell). */
int csv_next(struct csv *c);
/* Writes one field, quoted when it must be. */
void csv_put(struct kw_buf *out, const char *field, size_t len, bool first);
#endif
