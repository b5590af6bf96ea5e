#include "base/csv.h"

#include <string.h>

void csv_open(struct csv *c, const char *data, size_t len)
{
    *c = (struct csv){.data = data, .len = len, .next_line = 1};
    if (len >= 3 && memcmp(data, "\xef\xbb\xbf", 3) == 0)
        c->at = 3;
}

void csv_release(struct csv *c)
{
    kw_free(c->store);
    *c = (struct csv){0};
}

/* Passes over blank and comment lines. */
static void skip_idle_lines(struct csv *c)
{
    while (c->at < c->len) {
        char ch = c->data[c->at];
        const char *end;

        if (ch != '#' && ch != '\n' && ch != '\r')
            return;
        end = memchr(c->data + c->at, '\n', c->len - c->at);
        c->at = end == NULL ? c->len : (size_t)(end - c->data) + 1;
        c->next_line++;
    }
}

static int fail(struct csv *c, const char *wrong)
{
    c->wrong = wrong;
    return KW_ESYNTAX;
}

/* One quoted field into store at *out; c->at stands behind its quote. */
static int take_quoted(struct csv *c, size_t *out)
{
    c->at++;
    for (; c->at < c->len; c->at++) {
        char ch = c->data[c->at];

        if (ch == '"') {
            if (c->at + 1 >= c->len || c->data[c->at + 1] != '"') {
                c->at++;
                return 0;
            }
            c->at++;
        } else if (ch == '\n') {
            c->next_line++;
        } else if (ch == '\0') {
            return fail(c, "a NUL octet; write plain text");
        }
        c->store[(*out)++] = ch;
    }
    return fail(c, "a quoted field is not closed; put \" at its end");
}

static int take_plain(struct csv *c, size_t *out)
{
    for (; c->at < c->len; c->at++) {
        char ch = c->data[c->at];

        if (ch == ',' || ch == '\n' || ch == '\r')
            return 0;
        if (ch == '"')
            return fail(c, "a quote inside a field that does not begin with "
                           "one; quote the whole field and double the quote");
        if (ch == '\0')
            return fail(c, "a NUL octet; write plain text");
        c->store[(*out)++] = ch;
    }
    return 0;
}

int csv_next(struct csv *c)
{
    size_t out = 0;

    skip_idle_lines(c);
    c->n_fields = 0;
    c->line = c->next_line;
    if (c->at >= c->len)
        return 0;
    /* No record is longer than what is left and a NUL for each field. */
    kw_grow(&c->store, &c->store_cap, c->len - c->at + CSV_FIELDS_MOST + 1, 1);
    for (;;) {
        size_t start = out;
        int err;

        if (c->n_fields == CSV_FIELDS_MOST)
            return fail(c, "more than 64 fields in one line");
        err = c->at < c->len && c->data[c->at] == '"' ? take_quoted(c, &out)
                                                      : take_plain(c, &out);
        if (err < 0)
            return err;
        c->fields[c->n_fields] = c->store + start;
        c->lens[c->n_fields++] = out - start;
        c->store[out++] = '\0';
        if (c->at < c->len && c->data[c->at] == ',') {
            c->at++;
            continue;
        }
        break;
    }
    if (c->at < c->len && c->data[c->at] == '\r')
        c->at++;
    if (c->at < c->len) {
        if (c->data[c->at] != '\n')
            return fail(c, "text behind a closing quote; put a comma there");
        c->at++;
        c->next_line++;
    }
    return 1;
}

void csv_put(struct kw_buf *out, const char *field, size_t len, bool first)
{
    bool quote = len > 0 && (field[0] == '#' || field[0] == ' ');

    for (size_t i = 0; i < len && !quote; i++)
        quote = memchr(",\"\r\n", field[i], 4) != NULL;
    if (!first)
        kw_buf_putc(out, ',');
    if (!quote) {
        kw_buf_put(out, field, len);
        return;
    }
    kw_buf_putc(out, '"');
    for (size_t i = 0; i < len; i++) {
        if (field[i] == '"')
            kw_buf_putc(out, '"');
        kw_buf_putc(out, field[i]);
    }
    kw_buf_putc(out, '"');
}
