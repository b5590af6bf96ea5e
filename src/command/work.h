#ifndef KW_WORK_H
#define KW_WORK_H
/*
 * work.h - the methods of the watch by hand: CSV in, CSV out. A method is
 * one struct: its columns, settings and results make the reading, the
 * checking, the help and the header line; run() does the numbers.
 * Inside of `kilnword work`; a new method is one entry in work.c.
 */
#include "base/buf.h"
#include "base/fault.h"

#define WORK_COLUMNS_MOST  24
#define WORK_SETTINGS_MOST 16
#define WORK_ROWS_MOST     1000000
#define WORK_INPUT_MOST    (256u << 20) /* octets */

enum work_kind { WORK_NUMBER, WORK_WHOLE, WORK_TEXT };

struct work_column {
    const char *name, *unit, *help; /* unit "" when it has none */
    enum work_kind kind;
    bool needed;        /* there in every row */
    double least, most; /* of a number */
    double otherwise;   /* of a number that is not given */
};

struct work_setting { /* an option that is a number */
    const char *name, *unit, *help;
    double least, most, otherwise;
};

struct work_result {
    const char *name, *unit, *help;
};

struct work_cell {
    bool given;
    double num;
    char *text; /* owned by the table; "" when not given */
};

struct work_method;

struct work_table {
    const struct work_method *method;
    const char *file;
    double set[WORK_SETTINGS_MOST];
    struct work_cell *cells; /* rows of method->n_columns */
    int *lines;              /* of each row, for faults */
    size_t n, cells_cap, lines_cap;
    struct fault_list faults;
    struct kw_buf out;
    size_t column; /* the next to be put in this line */
};

struct work_method {
    const char *name, *summary;
    const char *help; /* what it does, with an example */
    const struct work_column *columns;
    size_t n_columns;
    const struct work_setting *settings;
    size_t n_settings;
    const struct work_result *results;
    size_t n_results;
    /* Puts results, or faults: with a fault nothing is written at all. */
    void (*run)(struct work_table *t);
};

extern const struct work_method work_seep, work_flow, work_drift, work_exact,
    work_breakage, work_wear, work_logrank, work_rates, work_cluster, work_scan,
    work_need, work_cause;

const struct work_cell *work_at(const struct work_table *t, size_t row,
                                int column);
/* A fault in a row: what is wrong; what would be right. */
void work_fault(struct work_table *t, size_t row, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));

/*
 * The texts of a column as numbers from 0 in order of the texts (not given:
 * ""). numbers has room for each row; *names is the caller's to kw_free, the
 * texts are the table's. Returns how many there are.
 */
size_t work_names(const struct work_table *t, int column, int *numbers,
                  const char ***names);

/* The results of a line, in the order of method->results. */
void work_put_text(struct work_table *t, const char *text);
void work_put_number(struct work_table *t, double v); /* NaN: left empty */
/* The id of a row, or its line number. */
void work_put_id(struct work_table *t, size_t row, int column);

/* `kilnword work METHOD`: words from the method's name on. An exit code. */
int work_method_run(const struct work_method *method, int argc, char **argv);
#endif
