/* backup.c - `kilnword backup`: a checked copy of the live ledger. */
#include "command/command.h"

#include "base/clock.h"
#include "base/config.h"
#include "ledger/ledger.h"

#include <inttypes.h>
#include <jansson.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static int run(int argc, char **argv);

static bool replace, as_json;
static const char *config_file;
static const struct command_option options[] = {
    {"--config", "FILE", "the configuration (else $KILNWORD_CONF)",
     &config_file, NULL},
    {"--replace", NULL, "take the place of a FILE that is there", NULL,
     &replace},
    {"--json", NULL, "what was written, as JSON", NULL, &as_json},
};

const struct command command_backup = {
    .name = "backup",
    .usage = "backup [--config FILE] [--replace] FILE",
    .summary = "copy the ledger, checked, while the line goes on",
    .help =
        "Copies the ledger as it stands at this moment into FILE while the "
        "line goes on\ntaking texts. The copy is checked (its pages, its "
        "references, the rows of every\ntable against the ledger) and only "
        "then gets its name: FILE is whole or not there.\nIt holds phone "
        "numbers and what households wrote: keep it as safe as the ledger.\n"
        "\nTo restore, stop the line, and copy FILE over the ledger's file "
        "(ledger.file in\nthe configuration); take away the two files beside "
        "it that end in -wal and -shm\nif they are there, since they belong "
        "to the old one. Then start the line.\n\n"
        "exit codes: 0 done, 1 the ledger, disk or copy is not right, 2 the "
        "command line is\nnot right, 3 FILE is there already and --replace "
        "was not given",
    .run = run,
};

/* When progress was last shown. */
struct shown {
    int64_t at_us;
};

static void show(int left, int pages, void *arg)
{
    struct shown *s = arg;
    int64_t now = clock_monotonic_us();

    if (now - s->at_us < 200000 || pages <= 0 || !isatty(STDERR_FILENO))
        return;
    s->at_us = now;
    fprintf(stderr, "\rcopied %d of 100\033[K",
            (int)(100 * (int64_t)(pages - left) / pages));
}

static void tell(const struct ledger_backup *b)
{
    json_int_t rows = b->rows, octets = b->octets;
    json_t *all;

    if (!as_json) {
        printf("%s: %" PRId64 " rows, %" PRId64 " octets, checked\n", b->file,
               b->rows, b->octets);
        return;
    }
    all = json_pack("{s:s, s:I, s:I}", "file", b->file, "rows", rows, "octets",
                    octets);
    json_dumpf(all, stdout, JSON_INDENT(2));
    putchar('\n');
    json_decref(all);
}

static int copy(struct ledger *lg, const char *file)
{
    struct shown shown = {.at_us = clock_monotonic_us()};
    struct ledger_backup b = {
        .file = file, .replace = replace, .progress = show, .arg = &shown};
    char *why;
    int err = ledger_backup(lg, &b, &why);

    if (isatty(STDERR_FILENO))
        fputs("\r\033[K", stderr);
    if (err == 0) {
        tell(&b);
        return COMMAND_OK;
    }
    fprintf(stderr, "kilnword backup: %s%s\n",
            why != NULL ? why : kw_err_text(err),
            err == KW_EDUP ? "; name another file, or say --replace" : "");
    kw_free(why);
    return err == KW_EDUP ? COMMAND_INPUT : COMMAND_FAILED;
}

static int backup_to(const struct config *conf, const char *file)
{
    struct ledger_settings set = {
        .file = conf->ledger_file, .read_only = true, .older_too = true};
    struct ledger *lg;
    char *why;
    int code;

    if (ledger_open(&set, &lg, &why) < 0) {
        fprintf(stderr, "kilnword backup: %s\n", why);
        kw_free(why);
        return COMMAND_FAILED;
    }
    code = copy(lg, file);
    ledger_close(lg);
    return code;
}

static int run(int argc, char **argv)
{
    struct config *conf;
    char **words;
    int n, code = command_options(&command_backup, options, KW_COUNT(options),
                                  argc, argv, &n, &words);

    if (code != 0)
        return code;
    if (n != 1) {
        fputs("kilnword backup: name one FILE to write; `kilnword backup "
              "--help` tells the rest\n",
              stderr);
        return COMMAND_USAGE;
    }
    code = command_config(config_file, &conf);
    if (code != 0)
        return code;
    code = backup_to(conf, words[0]);
    config_free(conf);
    return code;
}
