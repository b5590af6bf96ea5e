/* show.c - kilnword show: from a failure back to the kiln. */
#include "command/show.h"
#include "command/command.h"

#include "base/number.h"
#include "page/need.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#define OUTPUT_CAP (256u << 20) /* octets of one page */

static int run(int argc, char **argv);

const struct command command_show = {
    .name = "show",
    .usage =
        "show batch CODE | pot SERIAL | place NAME | home CODE |\n"
        "                     alert NUMBER | line | batches | recall CODE |\n"
        "                     causes | need | life BY  [options]",
    .summary = "a batch, pot, place, home or alert, or how the line does",
    .help =
        "Shows what is known, from a failure back to the kiln it came from.\n"
        "  batch   failures against what is expected, how it was made, what\n"
        "          differs from other batches, who holds pots of it\n"
        "  pot     its life, flow as a picture, reports, and its batch\n"
        "  place   its homes, pots, newest reports and alerts\n"
        "  home    its phone, pots now and before, reports and alerts; found\n"
        "          by its code or by a phone number that begins with +\n"
        "  alert   what it gathered, and the batch behind it\n"
        "  line    texts in and out, what waits, how each carrier does, "
        "costs,\n"
        "          alerts that stand\n"
        "  batches all batches against the others, the worst first\n"
        "  recall  the pots of a batch: homes, phones, state, who told what\n"
        "  need    pots that will be needed in 30 and 90 days, what to press\n"
        "  causes  what failing pots have in common, from the notebook\n"
        "  life    how long pots last, by batch, mould, clay, place, presser,\n"
        "          kiln or shelf\n"
        "Reads the ledger and changes nothing; the service may run meanwhile.\n"
        "Flow stands as litres of the first hour from a brim-full pot at\n"
        "25 degC. Phones are shortened unless --phones is given.\n"
        "Exit code 4: there is no such thing; near names are suggested.",
    .run = run,
};

/* ---- the command line ---- */

struct options {
    const char *config, *width, *at, *svg, *map;
    bool json, plain, phones, csv;
    const char *need[5]; /* as the fields of need_setting */
};

/* Options may stand before, between and after the words. */
static int read_words(int argc, char **argv, struct options *o,
                      struct kw_buf *kind, struct kw_buf *name)
{
    const struct command_option options[] = {
        {"--config", "FILE", "the configuration", &o->config, NULL},
        {"--json", NULL, "one JSON object, for programs", NULL, &o->json},
        {"--plain", NULL, "ASCII alone, for terminals without UTF-8", NULL,
         &o->plain},
        {"--phones", NULL, "whole phone numbers", NULL, &o->phones},
        {"--svg", "FILE",
         "of a pot: its flow, of a batch: how long its pots\n"
         "                         last; a picture, into that file",
         &o->svg, NULL},
        {"--map", "FILE", "of a batch: where its failures are, likewise",
         &o->map, NULL},
        {"--width", "COLUMNS", "40 to 200; else the terminal's, 80 at most",
         &o->width, NULL},
        {"--at", "TIME",
         "reckon ages as of then, not now: 2026-03-01 or\n"
         "                         2026-03-01T08:00:00Z",
         &o->at, NULL},
        {"--csv", NULL, "a table, of batches, recall, need and life", NULL,
         &o->csv},
        {"--share", "NUMBER",
         "of need: share of failures reported; as all\n"
         "                         these, else as the configuration says",
         &o->need[0], NULL},
        {"--lead-days", "NUMBER", "of need: from pressing to ready",
         &o->need[1], NULL},
        {"--kiln-pots", "NUMBER", "of need: pots of a firing", &o->need[2],
         NULL},
        {"--press-pots", "NUMBER", "of need: pots of a press-day", &o->need[3],
         NULL},
        {"--passed", "NUMBER", "of need: share that passes the tests",
         &o->need[4], NULL},
    };
    int left = argc, err;
    char **words = argv;

    while (left > 0) {
        err = command_options(&command_show, options, KW_COUNT(options), left,
                              words, &left, &words);
        if (err != 0)
            return err;
        if (left == 0)
            break;
        if (kind->len > 0 && name->len > 0)
            kw_buf_putc(name, ' ');
        kw_buf_puts(kind->len == 0 ? kind : name, words[0]);
    }
    if (kind->err < 0 || name->err < 0)
        kw_buf_clear(kind);
    return 0;
}

static int columns(const struct options *o, int *width)
{
    struct winsize size;
    int64_t n = SCREEN_WIDTH;

    if (o->width != NULL) {
        if (kw_parse_i64(o->width, strlen(o->width), SCREEN_LEAST, 200, &n) <
            0) {
            fprintf(stderr,
                    "kilnword show: --width '%s' is not a number from %d to "
                    "200\n",
                    o->width, SCREEN_LEAST);
            return COMMAND_USAGE;
        }
    } else if (isatty(STDOUT_FILENO) &&
               ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 &&
               size.ws_col > 0 && size.ws_col < SCREEN_WIDTH) {
        n = size.ws_col < SCREEN_LEAST ? SCREEN_LEAST : size.ws_col;
    }
    *width = (int)n;
    return 0;
}

/* The options over what the configuration says. */
static int need_settings(const struct options *o, struct need_setting *set)
{
    const struct {
        const char *name;
        double least, most, *to;
    } numbers[] = {{"--share", 0.05, 1, &set->share},
                   {"--lead-days", 0, 365, &set->lead_days},
                   {"--kiln-pots", 1, 10000, &set->kiln_pots},
                   {"--press-pots", 1, 10000, &set->press_pots},
                   {"--passed", 0.05, 1, &set->passed}};

    for (size_t i = 0; i < KW_COUNT(numbers); i++) {
        if (o->need[i] == NULL ||
            kw_parse_double(o->need[i], strlen(o->need[i]), numbers[i].least,
                            numbers[i].most, numbers[i].to) == 0)
            continue;
        fprintf(stderr,
                "kilnword show: %s '%s' is not a number from %g to %g\n",
                numbers[i].name, o->need[i], numbers[i].least, numbers[i].most);
        return COMMAND_USAGE;
    }
    return 0;
}

static int settings(const struct options *o, struct show *s)
{
    struct page *p = &s->page;
    int err = columns(o, &p->screen.width);

    if (err != 0)
        return err;
    p->screen.out = &s->out;
    p->screen.plain = o->plain;
    p->phones = o->phones;
    s->json = o->json;
    s->svg = o->svg;
    s->map = o->map;
    s->csv = o->csv;
    s->need = need_setting_of(p->conf);
    if ((err = need_settings(o, &s->need)) != 0)
        return err;
    p->now_s = clock_now_s();
    if (o->at != NULL && clock_parse(o->at, strlen(o->at), &p->now_s) < 0) {
        fprintf(stderr,
                "kilnword show: --at '%s' is not a time such as 2026-03-01 or "
                "2026-03-01T08:00:00Z\n",
                o->at);
        return COMMAND_USAGE;
    }
    return 0;
}

static int put_out(struct show *s)
{
    bool good = true;

    if (s->tree != NULL) {
        good = json_dumpf(s->tree, stdout,
                          JSON_INDENT(2) | JSON_REAL_PRECISION(12)) == 0;
        good = putchar('\n') != EOF && good;
    } else if (s->out.err < 0) {
        fprintf(stderr, "kilnword: this page is too long to show\n");
        return COMMAND_FAILED;
    } else {
        good =
            fwrite(kw_buf_text(&s->out), 1, s->out.len, stdout) == s->out.len;
    }
    if (fflush(stdout) != 0 || !good) {
        if (errno != EPIPE) /* whoever read it has seen enough */
            perror("kilnword: writing what was asked for");
        return COMMAND_FAILED;
    }
    return COMMAND_OK;
}

/* In a large programme some pages take a while: says so at a terminal. */
static void say_wait(size_t kind, bool begin)
{
    if (show_kinds[kind].all && isatty(STDERR_FILENO))
        fputs(begin ? "looking at all pots; a minute for each million at most"
                    : "\r\033[K",
              stderr);
}

static int show_one(struct show *s, size_t kind, const char *name)
{
    int err = command_ledger(s->page.conf, true, false, &s->lg);

    if (err != 0)
        return err;
    kw_buf_init(&s->out, OUTPUT_CAP);
    say_wait(kind, true);
    err = show_kinds[kind].show(s, name);
    say_wait(kind, false);
    if (err == 0)
        err = put_out(s);
    else if (err < 0)
        fprintf(stderr, "kilnword: reading the ledger failed: %s\n",
                kw_err_text(err));
    json_decref(s->tree);
    kw_buf_release(&s->out);
    ledger_close(s->lg);
    return err < 0 ? COMMAND_FAILED : err;
}

static int find_kind(const char *kind, const char *name, size_t *out)
{
    for (size_t i = 0; i < SHOW_KINDS; i++) {
        if (strcmp(show_kinds[i].kind, kind) != 0)
            continue;
        *out = i;
        if ((show_kinds[i].name != NULL) == (name[0] != '\0'))
            return 0;
        fprintf(stderr, "kilnword show: '%s' %s%s\n", kind,
                show_kinds[i].name != NULL ? "needs its " : "takes no name",
                show_kinds[i].name != NULL ? show_kinds[i].name : "");
        return COMMAND_USAGE;
    }
    fprintf(stderr,
            kind[0] != '\0' ? "kilnword show: '%s' is none of"
                            : "kilnword show: say which of",
            kind);
    fputs(" batch, pot, place, home, alert, line, causes, batches, recall, "
          "need, life; `kilnword show --help` "
          "tells the rest\n",
          stderr);
    return COMMAND_USAGE;
}

static int with_config(const struct options *o, size_t kind, const char *name)
{
    struct show s = {.json = false};
    struct config *conf;
    struct serial_layout layout;
    int err = command_config(o->config, &conf);

    if (err != 0)
        return err;
    layout = (struct serial_layout){.batch_chars = conf->serial_batch,
                                    .pot_chars = conf->serial_pot};
    s.page.conf = conf;
    s.page.layout = &layout;
    if (serial_check_from_name(conf->serial_check, &layout.check) < 0) {
        fprintf(stderr, "kilnword: the serial check '%s' is not known\n",
                conf->serial_check);
        err = COMMAND_INPUT;
    } else {
        err = settings(o, &s);
    }
    if (err == 0)
        err = show_one(&s, kind, name);
    config_free(conf);
    return err;
}

static int run(int argc, char **argv)
{
    struct options o = {.config = NULL};
    struct kw_buf kind, name;
    size_t which;
    int err;

    kw_buf_init(&kind, 64);
    kw_buf_init(&name, 512);
    err = read_words(argc, argv, &o, &kind, &name);
    if (err == 0)
        err = find_kind(kw_buf_text(&kind), kw_buf_text(&name), &which);
    if (err == 0 && o.svg != NULL && !show_kinds[which].svg) {
        fprintf(stderr, "kilnword show: --svg is for a pot or a batch\n");
        err = COMMAND_USAGE;
    }
    if (err == 0 && o.map != NULL && !show_kinds[which].map) {
        fprintf(stderr, "kilnword show: --map is for a batch\n");
        err = COMMAND_USAGE;
    }
    if (err == 0)
        err = with_config(&o, which, kw_buf_text(&name));
    kw_buf_release(&kind);
    kw_buf_release(&name);
    return err;
}
