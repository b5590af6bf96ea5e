#ifndef KW_VECTORS_H
#define KW_VECTORS_H
/* vectors.h - rows of tests/reference, for the tests. Ends the test itself
 * when a file or a row is not as it should be. */
#include "base/csv.h"

struct vectors {
    struct csv csv;
    char *data;
    size_t len;
    char *names[CSV_FIELDS_MOST]; /* of the columns */
    size_t n_names;
    size_t rows;
};

/* name such as "protocol/gsm7.csv", below tests/reference. */
void vectors_open(struct vectors *v, const char *name);
bool vectors_next(struct vectors *v);
void vectors_close(struct vectors *v);
/* The field of the column; "" when empty. Borrowed until the next row. */
const char *vectors_get(const struct vectors *v, const char *column);
long vectors_int(const struct vectors *v, const char *column);
/* The field with its JSON escapes read; the caller frees with kw_free. */
char *vectors_text(const struct vectors *v, const char *column, size_t *len);
/* Hexadecimal digits to octets; how many. Asserts that they fit. */
size_t vectors_hex(const char *hex, uint8_t *dst, size_t cap);
#endif
