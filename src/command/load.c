/*
 * load.c - `kilnword load`: what a workshop and a programme wrote down, as
 * CSV, into the ledger. One transaction over all files: all or nothing.
 */
#include "command/load.h"

#include "base/clock.h"
#include "base/file.h"
#include "command/command.h"

#include <errno.h>
#include <inttypes.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define LISTED_MOST 40 /* lines of a file in a dry run */

static int run(int argc, char **argv);

static const char help_before[] =
    "Takes notebooks, CSV files (RFC 4180, UTF-8) with a line of column names, "
    "into\nthe ledger, which is made when it is not there. The columns tell "
    "what kind of\nfile it is. All files or nothing: one wrong line anywhere "
    "and nothing is kept;\nall that is wrong is told at once. The order of "
    "the files does not matter.\nWithout a FILE the ledger is made or brought "
    "up to date.\n\n"
    "A line is known again by its place, batch, serial, home, or serial and "
    "time: the\nsame file again changes nothing. An empty field says nothing "
    "and leaves what is\nknown; '-' takes it back. Lines that begin with # "
    "are passed over. Days are in\nthe programme's zone: 2026-03-01, "
    "2026-03-01 08:00, or 2026-03-01T08:00:00Z.\n\nkinds of files and their "
    "columns:\n";
static const char help_after[] =
    "\nexample:\n  kilnword load --dry-run places.csv homes.csv\n\n"
    "exit codes: 0 done, 1 the ledger or disk refused, 2 the command line is "
    "not right,\n3 a file is not right: nothing was kept";

static bool dry_run, as_json;
static const char *config_file, *kind;
static const struct command_option options[] = {
    {"--config", "FILE", "the configuration (else $KILNWORD_CONF)",
     &config_file, NULL},
    {"--dry-run", NULL, "do all but keep it; tell what would change", NULL,
     &dry_run},
    {"--kind", "KIND", "all files are of this kind, whatever their columns",
     &kind, NULL},
    {"--json", NULL, "the counts as JSON", NULL, &as_json},
};

const struct command command_load = {
    .name = "load",
    .usage = "load [--config FILE] [--dry-run] [--kind KIND] FILE...",
    .summary = "take the workshop's and the programme's notebooks, as CSV",
    .help = "",
    .run = run,
};

/* ---- telling ---- */

void load_progress(struct load *l, const char *doing, int64_t n)
{
    int64_t now = clock_monotonic_us();

    if (l->shown_us == 0)
        l->shown_us = now; /* nothing is shown in the first moment */
    if (now - l->shown_us < 200000 || !isatty(STDERR_FILENO))
        return;
    l->shown_us = now;
    fprintf(stderr, "\r%s: %" PRId64 " lines\033[K", doing, n);
}

static void progress_over(const struct load *l)
{
    if (l->shown_us != 0 && isatty(STDERR_FILENO))
        fputs("\r\033[K", stderr);
}

void load_count(struct load *l, struct load_sheet *s, int line,
                enum ledger_change what, const char *key)
{
    s->counts[what]++;
    if (!l->dry_run || l->json || what == LEDGER_SAME)
        return;
    if (s->listed++ < LISTED_MOST)
        printf("%s:%d: %s %s\n", s->file, line,
               what == LEDGER_NEW ? "new" : "changed", key);
    else if (s->listed == LISTED_MOST + 1)
        printf("%s: and more\n", s->file);
}

static void tell_counts(const struct load *l)
{
    for (size_t i = 0; i < l->n_sheets; i++) {
        const struct load_sheet *s = &l->sheets[i];

        printf("%s: %s, %" PRId64 " new, %" PRId64 " changed, %" PRId64
               " same\n",
               s->file, s->form->name, s->counts[LEDGER_NEW],
               s->counts[LEDGER_CHANGED], s->counts[LEDGER_SAME]);
    }
    if (l->dry_run)
        puts("a dry run: nothing was kept");
    else if (l->scan)
        puts("pots failed: 'kilnword serve' looks for breakage of batches when "
             "it starts, and every hour");
}

static void tell_json(const struct load *l)
{
    json_t *files = json_array();
    json_t *all;

    for (size_t i = 0; i < l->n_sheets; i++) {
        const struct load_sheet *s = &l->sheets[i];
        json_int_t is_new = s->counts[LEDGER_NEW],
                   changed = s->counts[LEDGER_CHANGED],
                   same = s->counts[LEDGER_SAME];

        json_array_append_new(
            files, json_pack("{s:s, s:s, s:I, s:I, s:I}", "file", s->file,
                             "kind", s->form->name, "new", is_new, "changed",
                             changed, "same", same));
    }
    all = json_pack("{s:o, s:b, s:b}", "files", files, "kept", !l->dry_run,
                    "scan", l->scan && !l->dry_run);
    json_dumpf(all, stdout, JSON_INDENT(2));
    putchar('\n');
    json_decref(all);
}

/* ---- lines ---- */

/* checked: its cells are looked at, but it is not put. */
static int put_lines(struct load *l, struct load_sheet *s, bool checked)
{
    int got, err;

    while ((got = load_sheet_next(l, s)) != 0) {
        enum ledger_change what = LEDGER_SAME;

        load_progress(l, s->file, s->csv.line);
        if (got < 0 || checked)
            continue;
        err = s->form->row(l, s, &what);
        if (err < 0 && err != KW_ESYNTAX)
            return err;
        if (err == 0 && s->form->kind != LOAD_TEXTS)
            load_count(l, s, s->csv.line, what, s->csv.fields[0]);
    }
    return 0;
}

/*
 * Each kind builds on those before it: after a fault in one, a batch or home
 * may only seem to be unknown, so that later kinds are no more than checked.
 */
static int put_sheets(struct load *l)
{
    bool faulty = false;
    int err = 0;

    for (size_t i = 0; i < l->n_sheets && err == 0; i++) {
        struct load_sheet *s = &l->sheets[i];

        if (i > 0 && s->form != l->sheets[i - 1].form)
            faulty = l->faults.n > 0;
        err = put_lines(l, s, faulty);
    }
    return err;
}

static int settle_one(struct load *l, const struct load_touched *t)
{
    char day[CLOCK_TEXT_CAP];
    int64_t clash_s;
    int err = ledger_pot_settle(l->lg, t->pot_key, &clash_s);

    if (err != KW_EINVAL)
        return err;
    clock_format_local(clash_s, day, sizeof(day));
    fault_add(&l->faults, t->sheet->file, t->line,
              "this pot's times in homes overlap at %s; one has to end before "
              "the next begins",
              day);
    return 0;
}

int load_settle(struct load *l)
{
    int err = 0;

    for (size_t i = 0; i < l->n_touched && err == 0; i++)
        err = settle_one(l, &l->touched[i]);
    for (size_t i = 0; i < l->n_batches && err == 0; i++)
        err = ledger_batch_sum(l->lg, l->batch_ids[i]);
    return err;
}

static int by_kind(const void *a, const void *b)
{
    const struct load_sheet *x = a, *y = b;
    int kinds = (int)x->form->kind - (int)y->form->kind;

    return kinds != 0 ? kinds : strcmp(x->file, y->file);
}

/* 0, KW_ESYNTAX when there are faults, or a failure of the ledger. */
static int put_all(struct load *l)
{
    int err = put_sheets(l);

    if (err == 0)
        err = load_settle(l);
    if (err == 0 && l->faults.n == 0)
        err = load_texts_file(l);
    return err == 0 && l->faults.n > 0 ? KW_ESYNTAX : err;
}

static int put_and_keep(struct load *l)
{
    int err = ledger_begin(l->lg);

    if (err < 0)
        return err;
    err = put_all(l);
    if (err == 0 && !l->dry_run)
        return ledger_commit(l->lg);
    ledger_rollback(l->lg);
    return err;
}

/* ---- the ledger ---- */

/* A dry run leaves no ledger where there was none: it has one of its own. */
struct beside {
    char folder[256], file[300];
};

static int make_beside(struct beside *b)
{
    const char *tmp = getenv("TMPDIR");

    snprintf(b->folder, sizeof(b->folder), "%s/kilnword-XXXXXX",
             tmp != NULL ? tmp : "/tmp");
    if (mkdtemp(b->folder) == NULL) {
        fprintf(stderr, "kilnword load: cannot make '%s': %s\n", b->folder,
                strerror(errno));
        return COMMAND_FAILED;
    }
    snprintf(b->file, sizeof(b->file), "%s/ledger", b->folder);
    return 0;
}

static void remove_beside(const struct beside *b)
{
    static const char *const ends[] = {"", "-wal", "-shm", "-journal"};
    char path[320];

    if (b->folder[0] == '\0')
        return;
    for (size_t i = 0; i < KW_COUNT(ends); i++) {
        snprintf(path, sizeof(path), "%s%s", b->file, ends[i]);
        unlink(path);
    }
    rmdir(b->folder);
}

static int open_ledger(struct load *l, struct beside *b)
{
    struct ledger_settings set = {.file = b->file, .create = true};
    char *why;
    int code;

    if (!l->dry_run || access(l->conf->ledger_file, F_OK) == 0)
        return command_ledger(l->conf, false, !l->dry_run, &l->lg);
    code = make_beside(b);
    if (code != 0)
        return code;
    if (ledger_open(&set, &l->lg, &why) == 0)
        return 0;
    fprintf(stderr, "kilnword load: %s\n", why);
    kw_free(why);
    return COMMAND_FAILED;
}

/* ---- all of it ---- */

static int exit_code(struct load *l, int err)
{
    progress_over(l);
    if (l->faults.n > 0) {
        load_faults_print(l);
        fputs("kilnword load: nothing was kept; put it right and load again\n",
              stderr);
        return COMMAND_INPUT;
    }
    if (err < 0) {
        fprintf(stderr, "kilnword load: nothing was kept: %s%s\n",
                kw_err_text(err),
                err == KW_EAGAIN ? "; another load or the line is writing"
                : ledger_disk_full(l->lg) ? "; its disk is full: make room"
                                          : "; the line above tells why");
        return COMMAND_FAILED;
    }
    if (l->json)
        tell_json(l);
    else
        tell_counts(l);
    return COMMAND_OK;
}

static int load_files(struct load *l, int n, char **files)
{
    struct beside beside = {.folder = ""};
    int err = 0, code;

    for (int i = 0; i < n; i++) {
        if (load_sheet_open(l, files[i], kind) < 0)
            err = KW_ESYNTAX;
    }
    if (err < 0)
        return exit_code(l, err);
    if (l->n_sheets > 0)
        qsort(l->sheets, l->n_sheets, sizeof(*l->sheets), by_kind);
    code = open_ledger(l, &beside);
    if (code == 0)
        code = exit_code(l, put_and_keep(l));
    ledger_close(l->lg);
    remove_beside(&beside);
    return code;
}

static void release(struct load *l)
{
    for (size_t i = 0; i < l->n_sheets; i++)
        load_sheet_release(&l->sheets[i]);
    for (int i = 0; i < LOAD_KINDS; i++)
        load_map_release(&l->seen[i]);
    load_map_release(&l->batches);
    load_map_release(&l->same);
    load_texts_release(l);
    kw_free(l->sheets);
    kw_free(l->batch_ids);
    kw_free(l->touched);
    fault_release(&l->faults);
}

static int load_with(const struct config *conf, int n, char **files)
{
    struct load l = {.conf = conf,
                     .dry_run = dry_run,
                     .json = as_json,
                     .now_s = clock_now_s()};
    int code;

    l.layout = (struct serial_layout){.batch_chars = conf->serial_batch,
                                      .pot_chars = conf->serial_pot};
    serial_check_from_name(conf->serial_check, &l.layout.check);
    code = load_files(&l, n, files);
    release(&l);
    return code;
}

static int check_kind(void)
{
    if (kind == NULL)
        return 0;
    for (int i = 0; i < LOAD_KINDS; i++) {
        if (strcmp(kind, load_forms[i].name) == 0)
            return 0;
    }
    fprintf(stderr,
            "kilnword load: '%s' is no kind of notebook; these are: places, "
            "batches, pots, tests, homes, handovers, texts\n",
            kind);
    return COMMAND_USAGE;
}

static int run(int argc, char **argv)
{
    struct command me = command_load;
    struct config *conf;
    struct kw_buf text;
    int code, n;
    char **files;

    kw_buf_init(&text, 32768);
    kw_buf_puts(&text, help_before);
    load_sheet_help(&text);
    kw_buf_puts(&text, help_after);
    me.help = kw_buf_text(&text);
    code = command_options(&me, options, KW_COUNT(options), argc, argv, &n,
                           &files);
    if (code == 0)
        code = check_kind();
    if (code == 0)
        code = command_config(config_file, &conf);
    kw_buf_release(&text);
    if (code != 0)
        return code;
    code = load_with(conf, n, files);
    config_free(conf);
    return code;
}
