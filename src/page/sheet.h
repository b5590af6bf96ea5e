#ifndef KW_SHEET_H
#define KW_SHEET_H
/*
 * sheet.h - the ledger's tables as CSV (RFC 4180, lines end in CR LF): a
 * line of column names, then a line a row. Times are UTC, ISO 8601; pots
 * stand as stamped; what is not known is empty. Phones are pseudonyms unless
 * asked otherwise; words of texts stand only where asked for.
 */
#include "ledger/look.h"
#include "page/pseudonym.h"
#include "reader/serial.h"

struct sheet {
    const struct serial_layout *layout; /* borrowed */
    const char *key; /* of pseudonyms, borrowed; NULL only with phones */
    bool phones, words;
    /* Takes a whole line with its end; negative stops. */
    int (*put)(const char *line, size_t len, void *arg);
    void *arg;
    struct kw_buf line; /* inner */
    bool begun;         /* inner: the line has a field */
    int err;            /* inner */
};

struct sheet_kind {
    const char *name;
    const char *columns;      /* with commas */
    const char *word_columns; /* more of them with words, or "" */
    int (*write)(struct sheet *s, struct ledger *lg);
};
extern const struct sheet_kind sheet_kinds[];
extern const size_t sheet_n_kinds;
const struct sheet_kind *sheet_find(const char *name); /* or NULL */

/* Head and rows. 0, what put() returned, or a KW_E code. */
int sheet_write(struct sheet *s, const struct sheet_kind *kind,
                struct ledger *lg);
#endif
