#ifndef KW_TABLE_H
#define KW_TABLE_H
/*
 * table.h - rows under headings, as wide as a screen at most. Columns that
 * may shrink wrap their words instead of losing them; where all of them do
 * not fit side by side, each row becomes a paragraph.
 */
#include "page/screen.h"

#define TABLE_COLUMNS_MOST 10

struct table_column {
    const char *head; /* static */
    bool right;       /* numbers stand at the right */
    int least;        /* may shrink to this many columns; 0 never shrinks */
};

struct table {
    const struct table_column *columns; /* borrowed until release */
    size_t n_columns;
    bool plain;
    char **cells; /* row by row, cleaned, owned */
    size_t n_cells, cap;
};

/* n_columns 1 to TABLE_COLUMNS_MOST. */
void table_init(struct table *t, const struct screen *s,
                const struct table_column *columns, size_t n_columns);
void table_release(struct table *t);
/* The next cell, from left to right and on to the next row. */
void table_cell(struct table *t, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));
size_t table_rows(const struct table *t);
/* Heads and rows behind an indent; nothing when there is no row. */
void table_put(const struct table *t, const struct screen *s, int indent);
#endif
