/* work_table.c - reads a method's table, runs it, writes what came out. */
#include "command/work.h"

#include "base/csv.h"
#include "base/file.h"
#include "base/number.h"
#include "command/command.h"

#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define OUTPUT_MOST (1u << 30)

/* ---- help ---- */

static const char *or_dash(const char *unit)
{
    return unit[0] != '\0' ? unit : "-";
}

static void help_column(struct kw_buf *b, const struct work_column *c)
{
    kw_buf_printf(b, "  %-16s %-7s %s", c->name, or_dash(c->unit), c->help);
    if (c->needed)
        kw_buf_puts(b, " (needed)");
    else if (c->kind != WORK_TEXT && isfinite(c->otherwise))
        kw_buf_printf(b, " (else %g)", c->otherwise);
    kw_buf_putc(b, '\n');
}

static void help_text(struct kw_buf *b, const struct work_method *m)
{
    kw_buf_puts(b, m->help);
    kw_buf_puts(b, "\n\ncolumns read, in any order; an empty cell is one that "
                   "was not given:\n");
    for (size_t i = 0; i < m->n_columns; i++)
        help_column(b, &m->columns[i]);
    kw_buf_puts(b, "\ncolumns written:\n");
    for (size_t i = 0; i < m->n_results; i++) {
        const struct work_result *r = &m->results[i];

        kw_buf_printf(b, "  %-16s %-7s %s\n", r->name, or_dash(r->unit),
                      r->help);
    }
    kw_buf_puts(b, "\nexit codes: 0 done, 1 the file could not be read, 2 the "
                   "command line is not\nright, 3 the table is not right and "
                   "nothing was written");
}

/* ---- options ---- */

struct settings {
    struct command_option options[WORK_SETTINGS_MOST];
    struct kw_buf help[WORK_SETTINGS_MOST];
    const char *text[WORK_SETTINGS_MOST];
};

static void describe_settings(struct settings *s, const struct work_method *m)
{
    for (size_t i = 0; i < m->n_settings; i++) {
        const struct work_setting *w = &m->settings[i];

        kw_buf_init(&s->help[i], 1024);
        kw_buf_printf(&s->help[i], "%s%s%s (else %g)", w->help,
                      w->unit[0] != '\0' ? ", " : "", w->unit, w->otherwise);
        s->options[i] =
            (struct command_option){.name = w->name,
                                    .value = "NUMBER",
                                    .help = kw_buf_text(&s->help[i]),
                                    .text = &s->text[i]};
    }
}

static int read_settings(struct work_table *t, const struct settings *s)
{
    const struct work_method *m = t->method;

    for (size_t i = 0; i < m->n_settings; i++) {
        const struct work_setting *w = &m->settings[i];

        t->set[i] = w->otherwise;
        if (s->text[i] == NULL)
            continue;
        if (kw_parse_double(s->text[i], strlen(s->text[i]), w->least, w->most,
                            &t->set[i]) < 0) {
            fprintf(stderr,
                    "kilnword work %s: %s takes a number from %g to %g, not "
                    "'%s'\n",
                    m->name, w->name, w->least, w->most, s->text[i]);
            return COMMAND_USAGE;
        }
    }
    return 0;
}

/* ---- reading ---- */

const struct work_cell *work_at(const struct work_table *t, size_t row,
                                int column)
{
    return &t->cells[row * t->method->n_columns + (size_t)column];
}

void work_fault(struct work_table *t, size_t row, const char *fmt, ...)
{
    struct kw_buf text;
    va_list ap;

    kw_buf_init(&text, 4096);
    va_start(ap, fmt);
    kw_buf_vprintf(&text, fmt, ap);
    va_end(ap);
    fault_add(&t->faults, t->file, t->lines[row], "%s", kw_buf_text(&text));
    kw_buf_release(&text);
}

static int column_named(const struct work_method *m, const char *name)
{
    for (size_t i = 0; i < m->n_columns; i++)
        if (strcmp(m->columns[i].name, name) == 0)
            return (int)i;
    return -1;
}

static void list_columns(struct kw_buf *b, const struct work_method *m)
{
    for (size_t i = 0; i < m->n_columns; i++)
        kw_buf_printf(b, "%s%s", i > 0 ? ", " : "", m->columns[i].name);
}

/* The first record: which column stands where. place[field] = column. */
static void read_header(struct work_table *t, const struct csv *c, int *place)
{
    const struct work_method *m = t->method;
    bool seen[WORK_COLUMNS_MOST] = {false};

    for (size_t i = 0; i < c->n_fields; i++) {
        place[i] = column_named(m, c->fields[i]);
        if (place[i] < 0) {
            struct kw_buf all;

            kw_buf_init(&all, 4096);
            list_columns(&all, m);
            fault_add(&t->faults, t->file, c->line,
                      "'%.40s' is not a column here; the columns are %s",
                      c->fields[i], kw_buf_text(&all));
            kw_buf_release(&all);
        } else if (seen[place[i]]) {
            fault_add(&t->faults, t->file, c->line,
                      "the column %s stands here twice; keep one",
                      c->fields[i]);
        } else {
            seen[place[i]] = true;
        }
    }
    for (size_t i = 0; i < m->n_columns; i++)
        if (m->columns[i].needed && !seen[i])
            fault_add(&t->faults, t->file, c->line,
                      "there is no column %s; name it in the first line",
                      m->columns[i].name);
}

static void read_cell(struct work_table *t, const struct work_column *col,
                      struct work_cell *cell, const char *text, size_t len)
{
    int line = t->lines[t->n];
    int64_t whole;
    int err;

    if (len == 0)
        return;
    cell->given = true;
    if (col->kind == WORK_TEXT) {
        cell->text = kw_strndup(text, len);
        return;
    }
    if (col->kind == WORK_WHOLE) {
        err = kw_parse_i64(text, len, (int64_t)col->least, (int64_t)col->most,
                           &whole);
        if (err == 0)
            cell->num = (double)whole;
    } else {
        err = kw_parse_double(text, len, col->least, col->most, &cell->num);
    }
    if (err == KW_ERANGE)
        fault_add(&t->faults, t->file, line,
                  "%s is %.40s; it goes from %g to %g", col->name, text,
                  col->least, col->most);
    else if (err < 0)
        fault_add(&t->faults, t->file, line,
                  "%s is '%.40s'; write a %snumber such as %s", col->name, text,
                  col->kind == WORK_WHOLE ? "whole " : "",
                  col->kind == WORK_WHOLE ? "3" : "2.5");
}

static void read_row(struct work_table *t, const struct csv *c,
                     const int *place, size_t n_places)
{
    const struct work_method *m = t->method;
    struct work_cell *cells;

    kw_grow(&t->lines, &t->lines_cap, t->n + 1, sizeof(*t->lines));
    kw_grow(&t->cells, &t->cells_cap, (t->n + 1) * m->n_columns,
            sizeof(*t->cells));
    t->lines[t->n] = c->line;
    cells = &t->cells[t->n * m->n_columns];
    for (size_t i = 0; i < m->n_columns; i++)
        cells[i] = (struct work_cell){.num = m->columns[i].otherwise};
    if (c->n_fields != n_places) {
        fault_add(&t->faults, t->file, c->line,
                  "%zu fields where the first line has %zu; check the commas",
                  c->n_fields, n_places);
        return;
    }
    for (size_t i = 0; i < n_places; i++)
        read_cell(t, &m->columns[place[i]], &cells[place[i]], c->fields[i],
                  c->lens[i]);
    for (size_t i = 0; i < m->n_columns; i++)
        if (m->columns[i].needed && !cells[i].given)
            fault_add(&t->faults, t->file, c->line, "%s is not given",
                      m->columns[i].name);
    t->n++;
}

static void read_table(struct work_table *t, const char *data, size_t len)
{
    struct csv c;
    int place[CSV_FIELDS_MOST];
    size_t n_places = 0;
    int got;

    csv_open(&c, data, len);
    if ((got = csv_next(&c)) > 0) {
        n_places = c.n_fields;
        read_header(t, &c, place);
        if (t->faults.n > 0)
            got = 0; /* the rows would only repeat it */
    } else if (got == 0) {
        fault_add(&t->faults, t->file, 0,
                  "it is empty; the first line names the columns");
    }
    while (got > 0 && (got = csv_next(&c)) > 0) {
        if (t->n < WORK_ROWS_MOST) {
            read_row(t, &c, place, n_places);
            continue;
        }
        fault_add(&t->faults, t->file, c.line,
                  "more than %d rows; cut the table", WORK_ROWS_MOST);
        break;
    }
    if (got < 0)
        fault_add(&t->faults, t->file, c.line, "%s", c.wrong);
    csv_release(&c);
}

/* Standard input has no size beforehand. */
static int read_input(FILE *in, struct kw_buf *data)
{
    char part[65536];
    size_t got;

    while ((got = fread(part, 1, sizeof(part), in)) > 0)
        kw_buf_put(data, part, got);
    return ferror(in) ? KW_EIO : data->err;
}

static int open_input(struct work_table *t, const char *path)
{
    struct kw_buf in;
    char *data = NULL;
    size_t len = 0;
    int err;

    if (path != NULL && strcmp(path, "-") != 0) {
        t->file = path;
        err = file_read(path, WORK_INPUT_MOST, &data, &len);
    } else {
        t->file = "standard input";
        kw_buf_init(&in, WORK_INPUT_MOST);
        err = read_input(stdin, &in);
        len = in.len;
        data = kw_buf_take(&in);
    }
    if (err < 0)
        fprintf(stderr, "kilnword work: cannot read '%s': %s\n", t->file,
                err == KW_EFULL    ? "it is too large"
                : err == KW_ENOENT ? "there is no such file"
                                   : strerror(errno));
    else
        read_table(t, data, len);
    kw_free(data);
    return err;
}

struct name {
    const char *text;
    size_t row;
};

static int by_text(const void *a, const void *b)
{
    return strcmp(((const struct name *)a)->text,
                  ((const struct name *)b)->text);
}

size_t work_names(const struct work_table *t, int column, int *numbers,
                  const char ***names)
{
    struct name *all = kw_calloc(t->n + 1, sizeof(*all));
    size_t n = 0;

    *names = kw_calloc(t->n + 1, sizeof(**names));
    for (size_t i = 0; i < t->n; i++) {
        const struct work_cell *cell = work_at(t, i, column);

        all[i] = (struct name){cell->given ? cell->text : "", i};
    }
    qsort(all, t->n, sizeof(*all), by_text);
    for (size_t i = 0; i < t->n; i++) {
        if (i == 0 || strcmp(all[i].text, all[i - 1].text) != 0)
            (*names)[n++] = all[i].text;
        numbers[all[i].row] = (int)n - 1;
    }
    kw_free(all);
    return n;
}

/* ---- writing ---- */

static void next_field(struct work_table *t, const char *text, size_t len)
{
    csv_put(&t->out, text, len, t->column == 0);
    if (++t->column == t->method->n_results) {
        kw_buf_putc(&t->out, '\n');
        t->column = 0;
    }
}

void work_put_text(struct work_table *t, const char *text)
{
    next_field(t, text, strlen(text));
}

void work_put_number(struct work_table *t, double v)
{
    char text[40];

    if (isnan(v))
        text[0] = '\0';
    else
        snprintf(text, sizeof(text), "%.12g", v);
    work_put_text(t, text);
}

void work_put_id(struct work_table *t, size_t row, int column)
{
    const struct work_cell *cell = work_at(t, row, column);

    if (cell->given)
        work_put_text(t, cell->text);
    else
        work_put_number(t, t->lines[row]);
}

static int finish(struct work_table *t)
{
    if (t->faults.n > 0) {
        fault_print(&t->faults, stderr);
        fprintf(stderr, "kilnword work: nothing was written\n");
        return COMMAND_INPUT;
    }
    if (t->out.err != 0) {
        fprintf(stderr, "kilnword work: the answer is too large; cut the "
                        "table\n");
        return COMMAND_INPUT;
    }
    if (fwrite(kw_buf_text(&t->out), 1, t->out.len, stdout) != t->out.len ||
        fflush(stdout) != 0) {
        fprintf(stderr, "kilnword work: cannot write: %s\n", strerror(errno));
        return COMMAND_FAILED;
    }
    return COMMAND_OK;
}

static void release(struct work_table *t)
{
    for (size_t i = 0; i < t->n * t->method->n_columns; i++)
        kw_free(t->cells[i].text);
    kw_free(t->cells);
    kw_free(t->lines);
    fault_release(&t->faults);
    kw_buf_release(&t->out);
}

static int work_file(struct work_table *t, const char *path)
{
    const struct work_method *m = t->method;

    if (open_input(t, path) < 0)
        return COMMAND_FAILED;
    for (size_t i = 0; i < m->n_results; i++)
        work_put_text(t, m->results[i].name);
    if (t->faults.n == 0)
        m->run(t);
    return finish(t);
}

int work_method_run(const struct work_method *m, int argc, char **argv)
{
    struct work_table t = {.method = m};
    struct settings s = {.text = {NULL}};
    struct kw_buf help, usage;
    struct command c = {.name = "work", .summary = m->summary};
    int code;

    kw_buf_init(&help, 16384);
    kw_buf_init(&usage, 256);
    help_text(&help, m);
    kw_buf_printf(&usage, "work %s [options] [FILE]", m->name);
    c.help = kw_buf_text(&help);
    c.usage = kw_buf_text(&usage);
    kw_buf_init(&t.out, OUTPUT_MOST);
    describe_settings(&s, m);
    code =
        command_options(&c, s.options, m->n_settings, argc, argv, &argc, &argv);
    if (code == 0)
        code = read_settings(&t, &s);
    if (code == 0 && argc > 1) {
        fprintf(stderr, "kilnword work %s: one file at a time, not '%s'\n",
                m->name, argv[1]);
        code = COMMAND_USAGE;
    }
    if (code == 0)
        code = work_file(&t, argc > 0 ? argv[0] : NULL);
    for (size_t i = 0; i < m->n_settings; i++)
        kw_buf_release(&s.help[i]);
    kw_buf_release(&help);
    kw_buf_release(&usage);
    release(&t);
    return code;
}
