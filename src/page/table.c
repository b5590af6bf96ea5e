/* table.c - column widths are found first, then each row is put. */
#include "page/table.h"

#include <assert.h>
#include <string.h>

#define GAP      2
#define CELL_CAP 4096

void table_init(struct table *t, const struct screen *s,
                const struct table_column *columns, size_t n_columns)
{
    assert(n_columns > 0 && n_columns <= TABLE_COLUMNS_MOST);
    *t = (struct table){
        .columns = columns, .n_columns = n_columns, .plain = s->plain};
}

void table_release(struct table *t)
{
    for (size_t i = 0; i < t->n_cells; i++)
        kw_free(t->cells[i]);
    kw_free(t->cells);
    *t = (struct table){0};
}

void table_cell(struct table *t, const char *fmt, ...)
{
    struct kw_buf raw, clean;
    va_list ap;

    kw_buf_init(&raw, CELL_CAP);
    kw_buf_init(&clean, 4 * CELL_CAP);
    va_start(ap, fmt);
    kw_buf_vprintf(&raw, fmt, ap);
    va_end(ap);
    screen_clean(kw_buf_text(&raw), raw.len, t->plain, &clean);
    kw_grow(&t->cells, &t->cap, t->n_cells + 1, sizeof(*t->cells));
    t->cells[t->n_cells++] = kw_buf_take(&clean);
    kw_buf_release(&raw);
}

size_t table_rows(const struct table *t)
{
    return t->n_cells / t->n_columns;
}

/* The natural width of each column; returns the width of all with gaps. */
static int measure(const struct table *t, int widths[])
{
    int sum = -GAP;

    for (size_t c = 0; c < t->n_columns; c++) {
        const char *head = t->columns[c].head;

        widths[c] = screen_columns(head, strlen(head));
        for (size_t i = c; i < t->n_cells; i += t->n_columns) {
            int w = screen_columns(t->cells[i], strlen(t->cells[i]));

            widths[c] = w > widths[c] ? w : widths[c];
        }
        sum += widths[c] + GAP;
    }
    return sum;
}

/* Takes columns from the widest that may shrink; false when all cannot fit. */
static bool shrink(const struct table *t, int widths[], int sum, int room)
{
    for (; sum > room; sum--) {
        size_t widest = t->n_columns;

        for (size_t c = 0; c < t->n_columns; c++) {
            int least = t->columns[c].least;

            if (least > 0 && widths[c] > least &&
                (widest == t->n_columns || widths[c] > widths[widest]))
                widest = c;
        }
        if (widest == t->n_columns)
            return false;
        widths[widest]--;
    }
    return true;
}

static void put_spaces(struct kw_buf *out, int n)
{
    for (; n > 0; n--)
        kw_buf_putc(out, ' ');
}

/* Takes trailing spaces off the line that is being put. */
static void trim(struct kw_buf *out)
{
    while (out->err == 0 && out->len > 0 && out->data[out->len - 1] == ' ')
        out->data[--out->len] = '\0';
}

/* One line of a row; moves each cell on. True when something is left. */
static bool put_line(const struct table *t, const int widths[],
                     const char *left[], struct kw_buf *out)
{
    bool more = false;

    for (size_t c = 0; c < t->n_columns; c++) {
        size_t len = strlen(left[c]);
        size_t n = screen_fit(left[c], len, widths[c]);
        size_t shown = n;
        int pad;

        while (shown > 0 && left[c][shown - 1] == ' ')
            shown--;
        pad = widths[c] - screen_columns(left[c], shown);
        if (t->columns[c].right)
            put_spaces(out, pad);
        kw_buf_put(out, left[c], shown);
        if (!t->columns[c].right)
            put_spaces(out, pad);
        if (c + 1 < t->n_columns)
            put_spaces(out, GAP);
        while (n < len && left[c][n] == ' ')
            n++;
        left[c] += n;
        more = more || *left[c] != '\0';
    }
    trim(out);
    kw_buf_putc(out, '\n');
    return more;
}

static void put_row(const struct table *t, const struct screen *s, int indent,
                    const int widths[], const char *const cells[])
{
    const char *left[TABLE_COLUMNS_MOST];
    bool more = true;

    memcpy(left, cells, t->n_columns * sizeof(*left));
    while (more) {
        put_spaces(s->out, indent);
        more = put_line(t, widths, left, s->out);
    }
}

/* On a screen too narrow for columns: "- cell: head cell; head cell …". */
static void put_records(const struct table *t, const struct screen *s,
                        int indent)
{
    for (size_t i = 0; i < t->n_cells; i += t->n_columns) {
        struct kw_buf line;
        const char *between = ": ";

        kw_buf_init(&line, TABLE_COLUMNS_MOST * 4 * CELL_CAP);
        kw_buf_puts(&line, t->cells[i]);
        for (size_t c = 1; c < t->n_columns; c++) {
            const char *head = t->columns[c].head, *cell = t->cells[i + c];

            if (cell[0] == '\0' || strcmp(cell, "-") == 0)
                continue;
            kw_buf_printf(&line, "%s%s%s%s", between, head,
                          head[0] != '\0' ? " " : "", cell);
            between = "; ";
        }
        screen_item(s, indent, "%s", kw_buf_text(&line));
        kw_buf_release(&line);
    }
}

void table_put(const struct table *t, const struct screen *s, int indent)
{
    const char *heads[TABLE_COLUMNS_MOST];
    int widths[TABLE_COLUMNS_MOST];

    if (t->n_cells == 0)
        return;
    assert(t->n_cells % t->n_columns == 0);
    if (!shrink(t, widths, measure(t, widths), s->width - indent)) {
        put_records(t, s, indent);
        return;
    }
    for (size_t c = 0; c < t->n_columns; c++)
        heads[c] = t->columns[c].head;
    put_row(t, s, indent, widths, heads);
    for (size_t i = 0; i < t->n_cells; i += t->n_columns)
        put_row(t, s, indent, widths, (const char *const *)&t->cells[i]);
}
