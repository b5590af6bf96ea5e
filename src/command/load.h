#ifndef KW_LOAD_H
#define KW_LOAD_H
/*
 * load.h - inside of `kilnword load`: notebooks as CSV into the ledger. A kind
 * of file is one struct load_form: its columns make the reading, the
 * checking and the help; row() puts one line.
 */
#include "base/config.h"
#include "base/csv.h"
#include "base/fault.h"
#include "ledger/notebook.h"
#include "reader/serial.h"

#define LOAD_COLUMNS_MOST 20
#define LOAD_FILE_MOST    (256u << 20) /* octets */
#define LOAD_TEXT_MOST    4096         /* octets of one text */

enum load_kind { /* in the order in which they build on each other */
                 LOAD_PLACES,
                 LOAD_BATCHES,
                 LOAD_POTS,
                 LOAD_TESTS,
                 LOAD_HOMES,
                 LOAD_HANDOVERS,
                 LOAD_TEXTS,
                 LOAD_KINDS
};

enum load_type {
    LOAD_NAME, /* up to 63 octets, no control characters */
    LOAD_TIME, /* a day or a moment, not in the future */
    LOAD_NUMBER,
    LOAD_WHOLE,
    LOAD_YES,  /* yes or no */
    LOAD_LANG, /* a BCP 47 tag */
    LOAD_WORDS /* as it stands */
};

struct load_column {
    const char *name;
    enum load_type type;
    bool needed;        /* a column and a value in every line */
    double least, most; /* of a number */
    const char *help;   /* unit first where there is one */
    size_t field;       /* batches: where it goes in struct ledger_batch */
};

struct load_cell {
    bool given;       /* not empty; then one of the below */
    bool erase;       /* "-": what is known is taken back */
    const char *text; /* trimmed; borrowed for the line; "" when not given */
    size_t len;
    double num;   /* NUMBER, WHOLE; YES: 1 or 0 */
    int64_t at_s; /* TIME */
};

/* From a text to a number, 0 at first: lines already seen, counts. */
struct load_map {
    struct load_entry *slots;
    size_t n, cap;
};
int *load_map_at(struct load_map *m, const char *key, size_t len);
void load_map_release(struct load_map *m);

struct load_sheet {
    const struct load_form *form;
    const char *file; /* borrowed */
    char *data;       /* owned: the whole file */
    size_t len;
    struct csv csv;
    size_t n_columns;               /* fields of the header line */
    int column_of[CSV_FIELDS_MOST]; /* field -> column */
    struct load_cell cells[LOAD_COLUMNS_MOST];
    int64_t counts[3]; /* by enum ledger_change */
    int listed;        /* dry run: lines of it told so far */
};

struct load_text { /* of texts.csv, until all can be put in order */
    int64_t at_s;
    size_t order;
    char *from, *text, *ref; /* owned */
    size_t len;
    struct load_sheet *sheet;
    int line;
};

struct load_touched { /* a pot whose hand-overs changed */
    int64_t pot_key;
    struct load_sheet *sheet;
    int line;
};

struct load {
    const struct config *conf;
    struct serial_layout layout;
    struct ledger *lg;
    struct fault_list faults;
    struct load_map same; /* faults by file and text: how many lines */
    bool dry_run, json;
    bool scan; /* a text told of a failure: a breakage scan is due */
    int64_t now_s;
    struct load_sheet *sheets;
    size_t n_sheets, sheets_cap;
    struct load_map seen[LOAD_KINDS];
    struct load_map batches; /* touched: to be summed; key "id" */
    int64_t *batch_ids;
    size_t n_batches, batches_cap;
    struct load_touched *touched;
    size_t n_touched, touched_cap;
    struct load_text *texts;
    size_t n_texts, texts_cap;
    int64_t shown_us; /* progress was last shown */
};

struct load_form {
    enum load_kind kind;
    const char *name; /* "batches" */
    const char *help;
    const struct load_column *columns;
    size_t n_columns;
    /* Whether these columns make a file of this kind; NULL: the needed ones. */
    bool (*enough)(const bool *there);
    /*
     * Puts the line: 0 and *what; KW_ESYNTAX after faults were added; else a
     * failure of the ledger, which ends all.
     */
    int (*row)(struct load *l, struct load_sheet *s, enum ledger_change *what);
};
extern const struct load_form load_forms[LOAD_KINDS];

/* A fault in the present line: what is wrong; what would be right. The same
 * one again in a file is counted only. Gives KW_ESYNTAX. */
int load_fault(struct load *l, const struct load_sheet *s, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));
/* Tells all faults, with how many more lines have the same. */
void load_faults_print(struct load *l);
/* A line that says the same thing as an earlier one is a fault. */
int load_once(struct load *l, struct load_sheet *s, const char *key);

/* Reads the file and its header line. kind: a name of load_forms or NULL.
 * 0, KW_ESYNTAX (faults added) or KW_EIO (said). */
int load_sheet_open(struct load *l, const char *file, const char *kind);
/* 1: a line is there and its cells are right; 0 the end; KW_ESYNTAX. */
int load_sheet_next(struct load *l, struct load_sheet *s);
void load_sheet_release(struct load_sheet *s);
void load_sheet_help(struct kw_buf *out);

/* "0214-073-19" in any writing to its canonical form, or a fault. */
int load_serial(struct load *l, struct load_sheet *s, const char *text,
                char serial[SERIAL_CAP]);
/* "214" to "0214", or a fault. */
int load_batch_code(struct load *l, struct load_sheet *s, const char *text,
                    char code[SERIAL_CAP]);
/* The batch has to be summed at the end. */
void load_touch_batch(struct load *l, int64_t batch_id);

/* A mould that is given has to be in the configuration. */
int load_check_mould(struct load *l, struct load_sheet *s,
                     const struct load_cell *cell);

int load_row_pot(struct load *l, struct load_sheet *s,
                 enum ledger_change *what);
int load_row_test(struct load *l, struct load_sheet *s,
                  enum ledger_change *what);
int load_row_text(struct load *l, struct load_sheet *s,
                  enum ledger_change *what);
bool load_pot_enough(const bool *there);
bool load_test_enough(const bool *there);

/* After all lines: hand-overs and sums; then texts in the order of time. */
int load_settle(struct load *l);
int load_texts_file(struct load *l);
void load_texts_release(struct load *l);

/* A line was put; in a dry run it is listed, named by key. */
void load_count(struct load *l, struct load_sheet *s, int line,
                enum ledger_change what, const char *key);
/* Shown on a terminal a few times a second. */
void load_progress(struct load *l, const char *doing, int64_t n);
#endif
