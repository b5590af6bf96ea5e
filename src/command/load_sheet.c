/* load_sheet.c - a notebook's file: its kind, its columns, its cells. */
#include "command/load.h"

#include "base/clock.h"
#include "base/file.h"
#include "base/number.h"

#include <ctype.h>
#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>
#include <utf8proc.h>

/* ---- the map ---- */

struct load_entry {
    char *key;
    int value;
};

static size_t entry_of(const struct load_map *m, const char *key, size_t len)
{
    uint64_t h = UINT64_C(14695981039346656037); /* FNV-1a */
    size_t i;

    for (size_t k = 0; k < len; k++)
        h = (h ^ (unsigned char)key[k]) * UINT64_C(1099511628211);
    for (i = (size_t)h & (m->cap - 1); m->slots[i].key != NULL;
         i = (i + 1) & (m->cap - 1)) {
        if (strlen(m->slots[i].key) == len &&
            memcmp(m->slots[i].key, key, len) == 0)
            break;
    }
    return i;
}

static void map_grow(struct load_map *m)
{
    struct load_map old = *m;

    m->cap = old.cap ? old.cap * 2 : 64;
    m->slots = kw_calloc(m->cap, sizeof(*m->slots));
    for (size_t i = 0; i < old.cap; i++) {
        const char *key = old.slots[i].key;

        if (key != NULL)
            m->slots[entry_of(m, key, strlen(key))] = old.slots[i];
    }
    kw_free(old.slots);
}

int *load_map_at(struct load_map *m, const char *key, size_t len)
{
    size_t i;

    if (m->n * 2 >= m->cap)
        map_grow(m);
    i = entry_of(m, key, len);
    if (m->slots[i].key == NULL) {
        m->slots[i].key = kw_strndup(key, len);
        m->n++;
    }
    return &m->slots[i].value;
}

void load_map_release(struct load_map *m)
{
    for (size_t i = 0; i < m->cap; i++)
        kw_free(m->slots[i].key);
    kw_free(m->slots);
    *m = (struct load_map){0};
}

/* ---- faults ---- */

/* How often this file has had this fault. */
static int *times_told(struct load *l, const char *file, const char *text)
{
    struct kw_buf key;
    int *times;

    kw_buf_init(&key, 8192);
    kw_buf_printf(&key, "%s\n%s", file, text);
    times = load_map_at(&l->same, kw_buf_text(&key), key.len);
    kw_buf_release(&key);
    return times;
}

int load_fault(struct load *l, const struct load_sheet *s, const char *fmt, ...)
{
    struct kw_buf text;
    va_list ap;

    kw_buf_init(&text, 2048);
    va_start(ap, fmt);
    kw_buf_vprintf(&text, fmt, ap);
    va_end(ap);
    if (text.err != 0) {
        kw_buf_clear(&text);
        kw_buf_puts(&text, "is wrong in a way too long to tell");
    }
    if (++*times_told(l, s->file, kw_buf_text(&text)) == 1)
        fault_add(&l->faults, s->file, s->csv.line, "%s", kw_buf_text(&text));
    kw_buf_release(&text);
    return KW_ESYNTAX;
}

void load_faults_print(struct load *l)
{
    for (size_t i = 0; i < l->faults.n; i++) {
        struct fault *f = &l->faults.items[i];
        int more = *times_told(l, f->file, f->text) - 1;
        struct kw_buf text;

        if (more <= 0)
            continue;
        kw_buf_init(&text, 4096);
        kw_buf_printf(&text, "%s (and so on %d more line%s)", f->text, more,
                      more > 1 ? "s" : "");
        kw_free(f->text);
        f->text = kw_buf_take(&text);
    }
    fault_print(&l->faults, stderr);
}

int load_once(struct load *l, struct load_sheet *s, const char *key)
{
    int *line = load_map_at(&l->seen[s->form->kind], key, strlen(key));

    if (*line != 0)
        return load_fault(l, s,
                          "the same as line %d says already; leave one of "
                          "the two",
                          *line);
    *line = s->csv.line;
    return 0;
}

/* ---- the kind of a file ---- */

static int column_named(const struct load_form *f, const char *name)
{
    for (size_t i = 0; i < f->n_columns; i++) {
        if (strcmp(f->columns[i].name, name) == 0)
            return (int)i;
    }
    return KW_ENOENT;
}

/* A heading without the blanks around it, in lower case. */
static void heading(const struct csv *c, size_t i, char dst[32])
{
    const char *s = c->fields[i];
    size_t n = 0;

    s += strspn(s, " \t");
    for (; s[n] != '\0' && n < 31; n++)
        dst[n] = (char)tolower((unsigned char)s[n]);
    while (n > 0 && (dst[n - 1] == ' ' || dst[n - 1] == '\t'))
        n--;
    dst[n] = '\0';
}

static bool is_form(const struct load_form *f, const struct csv *c,
                    size_t *known)
{
    bool there[LOAD_COLUMNS_MOST] = {false};
    bool all = true;

    *known = 0;
    for (size_t i = 0; i < c->n_fields; i++) {
        char name[32];
        int at;

        heading(c, i, name);
        at = column_named(f, name);
        if (at < 0)
            continue;
        *known += !there[at];
        there[at] = true;
    }
    for (size_t i = 0; i < f->n_columns; i++)
        all = all && (there[i] || !f->columns[i].needed);
    return all && *known == c->n_fields &&
           (f->enough == NULL || f->enough(there));
}

static void list_columns(const struct load_form *f, struct kw_buf *out)
{
    for (size_t i = 0; i < f->n_columns; i++)
        kw_buf_printf(out, "%s%s", i > 0 ? "," : "", f->columns[i].name);
}

/* What is wrong with the header line, against the kind that is nearest. */
static int wrong_header(struct load *l, struct load_sheet *s,
                        const struct load_form *near)
{
    struct kw_buf columns;
    int err = 0;

    kw_buf_init(&columns, 4096);
    list_columns(near, &columns);
    for (size_t i = 0; i < s->csv.n_fields; i++) {
        char name[32];

        heading(&s->csv, i, name);
        if (column_named(near, name) < 0)
            err = load_fault(l, s, "'%s' is not a column of %s; these are: %s",
                             name, near->name, kw_buf_text(&columns));
    }
    if (err == 0)
        err =
            load_fault(l, s, "columns are missing or stand there twice; %s: %s",
                       near->help, kw_buf_text(&columns));
    kw_buf_release(&columns);
    return err;
}

static int unknown_header(struct load *l, struct load_sheet *s)
{
    return load_fault(l, s,
                      "the first line does not name the columns of a "
                      "notebook; `kilnword load --help` lists them");
}

static int find_form(struct load *l, struct load_sheet *s, const char *kind)
{
    const struct load_form *near = NULL;
    size_t most = 0;

    for (int i = 0; i < LOAD_KINDS; i++) {
        const struct load_form *f = &load_forms[i];
        size_t known;

        if (kind != NULL && strcmp(kind, f->name) != 0)
            continue;
        if (is_form(f, &s->csv, &known)) {
            s->form = f;
            return 0;
        }
        if (known > most || kind != NULL) {
            most = known;
            near = f;
        }
    }
    return near != NULL ? wrong_header(l, s, near) : unknown_header(l, s);
}

static int read_header(struct load *l, struct load_sheet *s, const char *kind)
{
    int err = csv_next(&s->csv);

    if (err == 0)
        return unknown_header(l, s);
    if (err < 0)
        return load_fault(l, s, "%s", s->csv.wrong);
    err = find_form(l, s, kind);
    s->n_columns = s->csv.n_fields;
    for (size_t i = 0; err == 0 && i < s->csv.n_fields; i++) {
        char name[32];

        heading(&s->csv, i, name);
        s->column_of[i] = column_named(s->form, name);
    }
    return err;
}

int load_sheet_open(struct load *l, const char *file, const char *kind)
{
    struct load_sheet *s;
    int err;

    kw_grow(&l->sheets, &l->sheets_cap, l->n_sheets + 1, sizeof(*l->sheets));
    s = &l->sheets[l->n_sheets];
    *s = (struct load_sheet){.file = file};
    err = file_read(file, LOAD_FILE_MOST, &s->data, &s->len);
    if (err < 0) {
        fault_add(&l->faults, file, 0, "cannot be read: %s",
                  err == KW_EFULL ? "larger than 256 MiB; cut it in parts"
                                  : strerror(errno));
        return KW_ESYNTAX;
    }
    csv_open(&s->csv, s->data, s->len);
    l->n_sheets++;
    return read_header(l, s, kind);
}

void load_sheet_release(struct load_sheet *s)
{
    csv_release(&s->csv);
    kw_free(s->data);
}

/* ---- cells ---- */

static int bad_cell(struct load *l, struct load_sheet *s,
                    const struct load_column *c, const char *text,
                    const char *right)
{
    return load_fault(l, s, "%s '%.60s' %s", c->name, text, right);
}

static int check_time(struct load *l, struct load_sheet *s,
                      const struct load_column *c, struct load_cell *cell)
{
    if (clock_parse(cell->text, cell->len, &cell->at_s) < 0)
        return bad_cell(l, s, c, cell->text,
                        "is not a day or moment; write it like 2026-03-01 or "
                        "2026-03-01 08:00");
    if (cell->at_s > l->now_s + CLOCK_DAY_S)
        return bad_cell(l, s, c, cell->text,
                        "is still to come; look at the year");
    if (cell->at_s == 0)
        cell->at_s = 1; /* 0 stands for not known */
    return 0;
}

static int check_number(struct load *l, struct load_sheet *s,
                        const struct load_column *c, struct load_cell *cell)
{
    char right[96];
    int64_t whole = 0;
    int err;

    if (c->type == LOAD_WHOLE) {
        err = kw_parse_i64(cell->text, cell->len, (int64_t)c->least,
                           (int64_t)c->most, &whole);
        cell->num = (double)whole;
    } else {
        err = kw_parse_double(cell->text, cell->len, c->least, c->most,
                              &cell->num);
    }
    if (err == 0)
        return 0;
    snprintf(
        right, sizeof(right), "is not a %s from %g to %g%s",
        c->type == LOAD_WHOLE ? "whole number" : "number", c->least, c->most,
        strchr(cell->text, ',') != NULL ? "; write a point, no comma" : "");
    return bad_cell(l, s, c, cell->text, right);
}

static int check_yes(struct load *l, struct load_sheet *s,
                     const struct load_column *c, struct load_cell *cell)
{
    static const char *const words[] = {"no", "yes", "n", "y", "0", "1"};

    for (size_t i = 0; i < KW_COUNT(words); i++) {
        if (strcasecmp(cell->text, words[i]) == 0) {
            cell->num = (double)(i % 2);
            return 0;
        }
    }
    return bad_cell(l, s, c, cell->text, "is neither yes nor no");
}

/* The shape of a tag of RFC 5646, 2.1: language, then subtags. */
static int check_lang(struct load *l, struct load_sheet *s,
                      const struct load_column *c, struct load_cell *cell)
{
    size_t run = 0, first = 0;
    bool good = cell->len < LEDGER_LANG_CAP;

    for (size_t i = 0; i <= cell->len; i++) {
        char ch = cell->text[i];

        if (isalnum((unsigned char)ch)) {
            run++;
            continue;
        }
        good = good && (ch == '-' || ch == '\0') && run >= 2 && run <= 8;
        first = first == 0 ? run : first;
        run = 0;
    }
    if (good && first <= 3)
        return 0;
    return bad_cell(l, s, c, cell->text,
                    "is not a language tag; write it like en, es or pt-MZ");
}

/* Spreadsheets like to write Latin-1, which would be kept as it is. */
static bool is_utf8(const char *text, size_t len)
{
    utf8proc_int32_t code;

    for (size_t at = 0; at < len;) {
        utf8proc_ssize_t n =
            utf8proc_iterate((const utf8proc_uint8_t *)text + at,
                             (utf8proc_ssize_t)(len - at), &code);

        if (n <= 0)
            return false;
        at += (size_t)n;
    }
    return true;
}

static int check_name(struct load *l, struct load_sheet *s,
                      const struct load_column *c, struct load_cell *cell)
{
    if (cell->len >= LEDGER_NAME_CAP)
        return bad_cell(l, s, c, cell->text, "is longer than 63 octets");
    if (!is_utf8(cell->text, cell->len))
        return load_fault(
            l, s, "%s is not UTF-8; save the file as CSV in UTF-8", c->name);
    for (size_t i = 0; i < cell->len; i++) {
        if ((unsigned char)cell->text[i] < ' ' || cell->text[i] == 127)
            return bad_cell(l, s, c, cell->text,
                            "has a control character in it");
    }
    return 0;
}

static int check_cell(struct load *l, struct load_sheet *s,
                      const struct load_column *c, struct load_cell *cell)
{
    switch (c->type) {
    case LOAD_NAME:
        return check_name(l, s, c, cell);
    case LOAD_TIME:
        return check_time(l, s, c, cell);
    case LOAD_NUMBER:
    case LOAD_WHOLE:
        return check_number(l, s, c, cell);
    case LOAD_YES:
        return check_yes(l, s, c, cell);
    case LOAD_LANG:
        return check_lang(l, s, c, cell);
    case LOAD_WORDS:
        break;
    }
    return 0;
}

/* The field without the blanks around it; in the store of the csv. */
static void trim(const struct csv *c, size_t i, struct load_cell *cell)
{
    char *s = c->store + (c->fields[i] - c->store);
    size_t len = c->lens[i];

    while (len > 0 && isspace((unsigned char)s[len - 1]))
        s[--len] = '\0';
    while (len > 0 && isspace((unsigned char)*s))
        s++, len--;
    cell->text = s;
    cell->len = len;
}

static int read_cell(struct load *l, struct load_sheet *s, size_t i)
{
    const struct load_column *c = &s->form->columns[s->column_of[i]];
    struct load_cell *cell = &s->cells[s->column_of[i]];

    if (c->type == LOAD_WORDS) {
        cell->text = s->csv.fields[i];
        cell->len = s->csv.lens[i];
        cell->given = true;
        return 0;
    }
    trim(&s->csv, i, cell);
    if (cell->len == 0)
        return 0;
    if (strcmp(cell->text, "-") == 0 && !c->needed) {
        cell->erase = true;
        return 0;
    }
    cell->given = true;
    return check_cell(l, s, c, cell);
}

static int check_needed(struct load *l, struct load_sheet *s)
{
    int err = 0;

    for (size_t i = 0; i < s->form->n_columns; i++) {
        const struct load_column *c = &s->form->columns[i];

        if (c->needed && !s->cells[i].given)
            err = load_fault(l, s, "%s is empty; it has to be there", c->name);
    }
    return err;
}

static int read_line(struct load *l, struct load_sheet *s)
{
    int err = 1;

    for (int i = 0; i < LOAD_COLUMNS_MOST; i++)
        s->cells[i] = (struct load_cell){.text = ""};
    if (s->csv.n_fields != s->n_columns)
        return load_fault(l, s,
                          "%zu fields where the first line has %zu; a comma "
                          "inside a field needs quotes around it",
                          s->csv.n_fields, s->n_columns);
    for (size_t i = 0; i < s->n_columns; i++) {
        if (read_cell(l, s, i) < 0)
            err = KW_ESYNTAX;
    }
    return check_needed(l, s) < 0 ? KW_ESYNTAX : err;
}

int load_sheet_next(struct load *l, struct load_sheet *s)
{
    int err = csv_next(&s->csv);

    if (err < 0)
        load_fault(l, s, "%s; the rest of the file was not read", s->csv.wrong);
    return err == 1 ? read_line(l, s) : 0;
}

/* ---- help ---- */

static void help_column(struct kw_buf *out, const struct load_column *c)
{
    kw_buf_printf(out, "    %-13s %s", c->name, c->help);
    if (c->type == LOAD_NUMBER || c->type == LOAD_WHOLE)
        kw_buf_printf(out, ", %g to %g", c->least, c->most);
    if (c->type == LOAD_YES)
        kw_buf_puts(out, ", yes or no");
    if (c->needed)
        kw_buf_puts(out, " (needed)");
    kw_buf_putc(out, '\n');
}

void load_sheet_help(struct kw_buf *out)
{
    for (int i = 0; i < LOAD_KINDS; i++) {
        const struct load_form *f = &load_forms[i];

        kw_buf_printf(out, "\n  %s - %s\n", f->name, f->help);
        for (size_t k = 0; k < f->n_columns; k++)
            help_column(out, &f->columns[k]);
    }
}
