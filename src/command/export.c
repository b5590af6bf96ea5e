/* export.c - kilnword export: tables as CSV, without phones and words. */
#include "command/command.h"

#include "base/clock.h"
#include "base/config.h"
#include "page/sheet.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define PATH_CAP      4096
#define PROGRESS_US   500000 /* a line on the terminal at most so often */
#define PROGRESS_ROWS 4096   /* the clock is asked only after so many */

static int run(int argc, char **argv);

/* The columns are those of sheet_kinds; a test holds the two together. */
const struct command command_export = {
    .name = "export",
    .usage = "export KIND [--to FILE] [--phones] [--words]",
    .summary = "a table as CSV; phones as keyed pseudonyms",
    .help =
        "Writes one table of the ledger as CSV (RFC 4180) with a line of\n"
        "column names. The service may run meanwhile. KIND and its columns:\n"
        "  texts         text carrier phone at sent outcome why command lang\n"
        "                pot danger [words]\n"
        "  reports       report text at pot home place phone test kinds\n"
        "                first_hour_l verdict\n"
        "  observations  report n at pot kind measure value unit minutes\n"
        "                people under5 signs part start_cm water_degc\n"
        "  flow          report pot batch at first_hour_l log_se k_m_s\n"
        "                water_degc p_below verdict\n"
        "  pots          pot batch mould scrapped shelf test_l outings given\n"
        "                ended failed home flow_l flow_at\n"
        "  handovers     handover pot batch home place phone given ended\n"
        "                reason failed\n"
        "  homes         home place phone lang people consent stopped\n"
        "  batches       batch workshop mould pressed fired silvered clay_pit\n"
        "                presser sawdust_pct sawdust_mesh drying_days kiln\n"
        "                cone peak_degc soak_min cooling_h silver_mg tested\n"
        "                accepted test_mean_l test_min_l test_max_l pots\n"
        "                pots_out failed recalled\n"
        "  alerts        alert kind on subject state opened changed seen\n"
        "                closed reports signs observed expected p\n"
        "  outbox        out phone carrier kind priority state at due expires\n"
        "                settled tries text alert [note words]\n"
        "Units: *_l litres (flow: first hour from brim-full at 25 degC),\n"
        "log_se the standard error of its natural logarithm, k_m_s m/s at\n"
        "the water's temperature, *_degc degrees Celsius, minutes; times are\n"
        "UTC. Empty: not known. Phones are HMAC-SHA256 with the key\n"
        "privacy.pseudonym_key_file, 16 hexadecimal digits: the same phone\n"
        "is the same word in every export made with that key. Codes of homes\n"
        "and names of places are the programme's own and stay as they are:\n"
        "illness with a place and a day can still point to a family, so\n"
        "pass exports on with care.",
    .run = run,
};

struct options {
    const char *config, *to;
    bool phones, words;
};

struct target {
    FILE *file;
    int64_t rows, next_us;
    bool progress;
};

static void say_progress(struct target *t, const char *end)
{
    fprintf(stderr, "\rkilnword: %lld rows%s", (long long)t->rows, end);
    fflush(stderr);
}

static int put_line(const char *line, size_t len, void *arg)
{
    struct target *t = arg;

    if (fwrite(line, 1, len, t->file) != len)
        return KW_EIO;
    t->rows++;
    if (t->progress && t->rows % PROGRESS_ROWS == 0 &&
        clock_monotonic_us() >= t->next_us) {
        say_progress(t, "");
        t->next_us = clock_monotonic_us() + PROGRESS_US;
    }
    return 0;
}

static int write_all(struct sheet *s, const struct sheet_kind *kind,
                     struct ledger *lg, FILE *file)
{
    struct target t = {.file = file,
                       .rows = -1, /* the heads are no row */
                       .next_us = clock_monotonic_us() + PROGRESS_US,
                       .progress = isatty(STDERR_FILENO) != 0};
    int err;

    s->put = put_line;
    s->arg = &t;
    err = sheet_write(s, kind, lg);
    if (t.progress && t.rows >= PROGRESS_ROWS)
        say_progress(&t, "\n");
    if (err == 0 && fflush(file) != 0)
        err = KW_EIO;
    return err;
}

static int fail(const char *what, int err)
{
    fprintf(stderr, "kilnword: '%s' was not written: %s\n", what,
            err == KW_EIO ? strerror(errno) : kw_err_text(err));
    return COMMAND_FAILED;
}

/* Whole or not at all: written beside it and then renamed. */
static int write_file(struct sheet *s, const struct sheet_kind *kind,
                      struct ledger *lg, const char *path)
{
    char part[PATH_CAP];
    FILE *file;
    int fd, err;

    if (snprintf(part, sizeof(part), "%s.part", path) >= (int)sizeof(part)) {
        fprintf(stderr, "kilnword: the path '%s' is too long\n", path);
        return COMMAND_USAGE;
    }
    fd = open(part, O_WRONLY | O_CREAT | O_TRUNC, 0600); /* for its owner */
    file = fd < 0 ? NULL : fdopen(fd, "wb");
    if (file == NULL)
        return fail(part, KW_EIO);
    err = write_all(s, kind, lg, file);
    if (err == 0 && fsync(fileno(file)) != 0)
        err = KW_EIO;
    if (fclose(file) != 0 && err == 0)
        err = KW_EIO;
    if (err == 0 && rename(part, path) != 0)
        err = KW_EIO;
    if (err == 0)
        return COMMAND_OK;
    err = fail(path, err);
    remove(part);
    return err;
}

static int no_key(const struct config *conf)
{
    fprintf(stderr,
            "kilnword: no key for pseudonyms (16 characters at least) stands "
            "in %s;\nmake one, once, and keep it:\n"
            "  openssl rand -hex 32 > pseudonym.key && chmod 600 "
            "pseudonym.key\n"
            "and name it in the configuration:\n"
            "  privacy = { pseudonym_key_file = \"pseudonym.key\"; };\n"
            "or give --phones for whole numbers\n",
            conf->file != NULL ? conf->file : "the configuration");
    return COMMAND_INPUT;
}

static int with_ledger(const struct options *o, const struct config *conf,
                       const struct sheet_kind *kind)
{
    struct serial_layout layout = {.batch_chars = conf->serial_batch,
                                   .pot_chars = conf->serial_pot};
    struct sheet s = {.layout = &layout,
                      .key = conf->pseudonym_key,
                      .phones = o->phones,
                      .words = o->words};
    struct ledger *lg;
    int err;

    if (serial_check_from_name(conf->serial_check, &layout.check) < 0) {
        fprintf(stderr, "kilnword: the serial check '%s' is not known\n",
                conf->serial_check);
        return COMMAND_INPUT;
    }
    if (!o->phones && (conf->pseudonym_key == NULL ||
                       strlen(conf->pseudonym_key) < PSEUDONYM_KEY_LEAST))
        return no_key(conf);
    err = command_ledger(conf, true, false, &lg);
    if (err != 0)
        return err;
    if (o->words)
        fputs("kilnword: words may hold names, numbers and illness; keep "
              "them where you keep the ledger\n",
              stderr);
    if (o->to != NULL)
        err = write_file(&s, kind, lg, o->to);
    else if ((err = write_all(&s, kind, lg, stdout)) < 0)
        err = fail("standard output", err);
    ledger_close(lg);
    return err;
}

static int unknown_kind(const char *name)
{
    fprintf(stderr,
            name != NULL ? "kilnword export: '%s' is none of"
                         : "kilnword export: say which of",
            name);
    for (size_t i = 0; i < sheet_n_kinds; i++)
        fprintf(stderr, "%s %s", i > 0 ? "," : "", sheet_kinds[i].name);
    fputs("; `kilnword export --help` tells their columns\n", stderr);
    return COMMAND_USAGE;
}

/* Options may stand before and after the kind. */
static int read_words(int argc, char **argv, struct options *o,
                      const char **kind)
{
    const struct command_option options[] = {
        {"--config", "FILE", "the configuration", &o->config, NULL},
        {"--to", "FILE",
         "write there, whole or not at all; else to\n"
         "                         standard output",
         &o->to, NULL},
        {"--phones", NULL, "whole phone numbers instead of pseudonyms", NULL,
         &o->phones},
        {"--words", NULL, "the words of texts too, where they were kept", NULL,
         &o->words},
    };
    int left = argc;
    char **words = argv;

    for (;;) {
        int err = command_options(&command_export, options, KW_COUNT(options),
                                  left, words, &left, &words);

        if (err != 0)
            return err;
        if (left == 0)
            return 0;
        if (*kind != NULL) {
            fprintf(stderr,
                    "kilnword export: one kind at a time, not '%s' "
                    "as well\n",
                    words[0]);
            return COMMAND_USAGE;
        }
        *kind = words[0];
    }
}

static int run(int argc, char **argv)
{
    struct options o = {NULL, NULL, false, false};
    const struct sheet_kind *kind;
    const char *name = NULL;
    struct config *conf;
    int err = read_words(argc, argv, &o, &name);

    if (err != 0)
        return err;
    kind = name != NULL ? sheet_find(name) : NULL;
    if (kind == NULL)
        return unknown_kind(name);
    err = command_config(o.config, &conf);
    if (err != 0)
        return err;
    err = with_ledger(&o, conf, kind);
    config_free(conf);
    return err;
}
