/* show.c - kilnword show: from a failure back to the kiln. */
#include "command/command.h"

#include "base/file.h"
#include "base/number.h"
#include "desk/batch_watch.h"
#include "page/alert.h"
#include "page/batches.h"
#include "page/causes.h"
#include "page/flowsvg.h"
#include "page/home.h"
#include "page/life.h"
#include "page/line.h"
#include "page/need.h"
#include "page/place.h"
#include "page/pot.h"
#include "page/recall.h"

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
        "                     causes | need  [options]",
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
        "Reads the ledger and changes nothing; the service may run meanwhile.\n"
        "Flow stands as litres of the first hour from a brim-full pot at\n"
        "25 degC. Phones are shortened unless --phones is given.\n"
        "Exit code 4: there is no such thing; near names are suggested.",
    .run = run,
};

struct show {
    struct page page;
    struct ledger *lg;
    struct kw_buf out;
    bool json, csv;
    struct need_setting need;
    json_t *tree;    /* with --json, owned */
    const char *svg; /* with --svg: the file */
};

/* ---- what is not there ---- */

static int not_there(struct show *s, enum look_by by, const char *kind,
                     const char *name)
{
    struct look_near near;

    fprintf(stderr, "kilnword: there is no %s '%s'", kind, name);
    if (look_near(s->lg, by, name, &near) == 0 && near.n > 0) {
        fprintf(stderr, "; near it: ");
        for (int i = 0; i < near.n; i++)
            fprintf(stderr, "%s%s", i > 0 ? ", " : "", near.names[i]);
    }
    fputc('\n', stderr);
    return COMMAND_NONE;
}

/* Says the serial as stamped when there is a pot of it. */
static void offer_pot(struct show *s, const char *serial, int *offered)
{
    struct ledger_pot pot;
    int64_t key;

    if (*offered >= LOOK_NEAR_MOST || serial_key(serial, &key) < 0 ||
        serial_verify(s->page.layout, serial, strlen(serial)) < 0 ||
        ledger_pot_get(s->lg, key, &pot) < 0)
        return;
    fprintf(stderr, "%s%s", *offered > 0 ? ", " : "; near it: ",
            page_serial(&s->page, serial).s);
    ++*offered;
}

/* Serials one wrong digit or one swap away, and one without check digits. */
static void offer_pots(struct show *s, const char *serial)
{
    size_t len = strlen(serial), batch = (size_t)s->page.layout->batch_chars;
    char other[SERIAL_CAP], left[SERIAL_CAP];
    int offered = 0;

    if (len == batch + (size_t)s->page.layout->pot_chars) {
        memcpy(left, serial, batch);
        left[batch] = '\0';
        if (serial_make(s->page.layout, left, serial + batch, other) == 0)
            offer_pot(s, other, &offered);
    }
    for (size_t i = 0; i < len; i++) {
        memcpy(other, serial, len + 1);
        for (char c = '0'; c <= '9'; c++) {
            other[i] = c;
            if (c != serial[i])
                offer_pot(s, other, &offered);
        }
        memcpy(other, serial, len + 1);
        if (i + 1 < len && serial[i] != serial[i + 1]) {
            other[i] = serial[i + 1];
            other[i + 1] = serial[i];
            offer_pot(s, other, &offered);
        }
    }
}

static int no_pot(struct show *s, const char *name, const char *serial)
{
    bool good = serial_verify(s->page.layout, serial, strlen(serial)) == 0;

    fprintf(stderr,
            good ? "kilnword: no pot '%s' is written down"
                 : "kilnword: '%s' is not a serial: its length or its check "
                   "does not fit",
            name);
    offer_pots(s, serial);
    fputc('\n', stderr);
    return COMMAND_NONE;
}

/* ---- one function a kind: 0, an exit code, or a KW_E code ---- */

/* The picture into its file. */
static int put_file(struct show *s, struct kw_buf *svg)
{
    int err = svg->err;

    if (err == 0 && file_write_whole(s->svg, kw_buf_text(svg), svg->len) < 0) {
        fprintf(stderr, "kilnword: writing '%s' failed: %s\n", s->svg,
                strerror(errno));
        err = COMMAND_FAILED;
    }
    return err;
}

static int put_svg(struct show *s, const struct pot_page *t)
{
    struct kw_buf svg;
    int err;

    kw_buf_init(&svg, FLOWSVG_OCTETS_MOST);
    pot_page_svg(&s->page, t, &svg);
    err = put_file(s, &svg);
    kw_buf_release(&svg);
    return err;
}

static int show_pot(struct show *s, const char *name)
{
    struct pot_page t;
    char serial[SERIAL_CAP];
    int64_t key;
    int err;

    if (serial_bare(name, serial) < 0 ||
        serial_verify(s->page.layout, serial, strlen(serial)) < 0 ||
        serial_key(serial, &key) < 0)
        return no_pot(s, name, serial);
    err = pot_page_gather(&s->page, s->lg, key, &t);
    if (err == KW_ENOENT)
        err = no_pot(s, name, serial);
    else if (err == 0 && s->json)
        s->tree = pot_page_json(&s->page, &t);
    else if (err == 0)
        pot_page_text(&s->page, &t);
    if (err == 0 && s->svg != NULL)
        err = put_svg(s, &t);
    pot_page_release(&t);
    return err;
}

static int put_life_svg(struct show *s, const struct batch_page *b)
{
    struct kw_buf svg;
    int err;

    kw_buf_init(&svg, 16u << 20);
    life_svg(&s->page, b->batch.code, &b->life, &svg);
    err = put_file(s, &svg);
    kw_buf_release(&svg);
    return err;
}

static int show_batch(struct show *s, const char *name)
{
    struct ledger_batch batch;
    struct batch_page b;
    int err = ledger_batch_find(s->lg, name, &batch);

    if (err == KW_ENOENT)
        return not_there(s, LOOK_BATCH, "batch", name);
    if (err < 0)
        return err;
    err = batch_page_gather(&s->page, s->lg, batch.id, true, &b);
    if (err == 0 && s->svg != NULL)
        err = put_life_svg(s, &b);
    if (err == 0 && s->json)
        s->tree = batch_page_json(&s->page, &b, true);
    else if (err == 0)
        batch_page_text(&s->page, &b);
    batch_page_release(&b);
    return err;
}

static int show_place(struct show *s, const char *name)
{
    struct ledger_place place;
    struct place_page l;
    int err = ledger_place_find(s->lg, name, &place);

    if (err == KW_ENOENT)
        return not_there(s, LOOK_PLACE, "place", name);
    if (err < 0)
        return err;
    err = place_page_gather(&s->page, s->lg, place.id, &l);
    if (err == 0 && s->json)
        s->tree = place_page_json(&s->page, &l);
    else if (err == 0)
        place_page_text(&s->page, &l);
    place_page_release(&l);
    return err;
}

/* By its code, or by a phone number. */
static int find_home(struct show *s, const char *name, struct ledger_home *home)
{
    struct ledger_phone phone;
    int err = ledger_home_find(s->lg, name, home);

    if (err != KW_ENOENT || name[0] != '+')
        return err;
    err = ledger_phone_find(s->lg, name, &phone);
    return err < 0 ? err : ledger_home_of_phone(s->lg, phone.id, home);
}

static int show_home(struct show *s, const char *name)
{
    struct ledger_home home;
    struct home_page h;
    int err = find_home(s, name, &home);

    if (err == KW_ENOENT)
        return not_there(s, LOOK_HOME, "home", name);
    if (err < 0)
        return err;
    err = home_page_gather(&s->page, s->lg, home.id, &h);
    if (err == 0 && s->json)
        s->tree = home_page_json(&s->page, &h);
    else if (err == 0)
        home_page_text(&s->page, &h);
    home_page_release(&h);
    return err;
}

/* The alerts that stand, for one whose number was not right. */
static int say_alert(const struct ledger_alert *a, void *arg)
{
    int *n = arg;

    if (*n < 8)
        fprintf(stderr, "%s%lld",
                *n > 0 ? ", " : "; those that stand: ", (long long)a->id);
    ++*n;
    return 0;
}

static int show_alert(struct show *s, const char *name)
{
    struct alert_page a = {.n_texts = 0};
    int64_t id;
    int n = 0, err = KW_ENOENT;

    if (kw_parse_i64(name, strlen(name), 1, INT64_MAX, &id) == 0)
        err = alert_page_gather(&s->page, s->lg, id, &a);
    if (err == KW_ENOENT) {
        fprintf(stderr, "kilnword: there is no alert '%s'", name);
        ledger_alerts_each(s->lg, true, 0, say_alert, &n);
        fputc('\n', stderr);
        err = COMMAND_NONE;
    } else if (err == 0 && s->json) {
        s->tree = alert_page_json(&s->page, &a);
    } else if (err == 0) {
        alert_page_text(&s->page, &a);
    }
    alert_page_release(&a);
    return err;
}

static int show_line(struct show *s, const char *name)
{
    struct line_page l;
    int err = line_page_gather(&s->page, s->lg, &l);

    (void)name;
    if (err == 0 && s->json)
        s->tree = line_page_json(&s->page, &l);
    else if (err == 0)
        line_page_text(&s->page, &l);
    line_page_release(&l);
    return err;
}

static int show_causes(struct show *s, const char *name)
{
    struct causes_page c;
    int err = causes_page_gather(&s->page, s->lg, &c);

    (void)name;
    if (err == 0 && s->json)
        s->tree = causes_page_json(&s->page, &c);
    else if (err == 0)
        causes_page_text(&s->page, &c);
    causes_page_release(&c);
    return err;
}

/* What the watch says now: the states in the ledger, and what has changed. */
static int show_batches(struct show *s, const char *name)
{
    struct batch_watch *w = batch_watch_new();
    struct batch_found found;
    struct batches_page b;
    int err = batch_watch_look(w, s->lg, s->page.now_s, &found);

    (void)name;
    if (err == 0)
        err = batches_page_gather(&s->page, s->lg, found.batches.items,
                                  found.batches.n, &b);
    else
        b = (struct batches_page){.n = 0};
    if (err == 0 && s->csv)
        batches_page_csv(&s->page, &b);
    else if (err == 0 && s->json)
        s->tree = batches_page_json(&s->page, &b);
    else if (err == 0)
        batches_page_text(&s->page, &b);
    batches_page_release(&b);
    batch_found_release(&found);
    batch_watch_free(w);
    return err;
}

static int show_recall(struct show *s, const char *name)
{
    struct ledger_batch batch;
    struct recall_page r;
    int err = ledger_batch_find(s->lg, name, &batch);

    if (err == KW_ENOENT)
        return not_there(s, LOOK_BATCH, "batch", name);
    if (err < 0)
        return err;
    err = recall_page_gather(&s->page, s->lg, &batch, &r);
    if (err == 0 && s->csv)
        recall_page_csv(&s->page, &r);
    else if (err == 0 && s->json)
        s->tree = recall_page_json(&s->page, &r);
    else if (err == 0)
        recall_page_text(&s->page, &r);
    recall_page_release(&r);
    return err;
}

static int show_need(struct show *s, const char *name)
{
    struct need_page n;
    int err = need_page_gather(&s->page, s->lg, &s->need, &n);

    (void)name;
    if (err == 0 && s->csv)
        need_page_csv(&s->page, &n);
    else if (err == 0 && s->json)
        s->tree = need_page_json(&s->page, &n);
    else if (err == 0)
        need_page_text(&s->page, &n);
    need_page_release(&n);
    return err;
}

static const struct {
    const char *kind;
    const char *name; /* of what must be given, NULL nothing */
    int (*show)(struct show *s, const char *name);
} kinds[] = {
    {"batch", "CODE", show_batch},   {"pot", "SERIAL", show_pot},
    {"place", "NAME", show_place},   {"home", "CODE", show_home},
    {"alert", "NUMBER", show_alert}, {"line", NULL, show_line},
    {"causes", NULL, show_causes},   {"batches", NULL, show_batches},
    {"recall", "CODE", show_recall}, {"need", NULL, show_need},
};

/* ---- the command line ---- */

struct options {
    const char *config, *width, *at, *svg;
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
        {"--width", "COLUMNS", "40 to 200; else the terminal's, 80 at most",
         &o->width, NULL},
        {"--at", "TIME",
         "reckon ages as of then, not now: 2026-03-01 or\n"
         "                         2026-03-01T08:00:00Z",
         &o->at, NULL},
        {"--csv", NULL, "a table, of batches, recall and need", NULL, &o->csv},
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

static int show_one(struct show *s, size_t kind, const char *name)
{
    int err = command_ledger(s->page.conf, true, false, &s->lg);

    if (err != 0)
        return err;
    kw_buf_init(&s->out, OUTPUT_CAP);
    err = kinds[kind].show(s, name);
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
    for (size_t i = 0; i < KW_COUNT(kinds); i++) {
        if (strcmp(kinds[i].kind, kind) != 0)
            continue;
        *out = i;
        if ((kinds[i].name != NULL) == (name[0] != '\0'))
            return 0;
        fprintf(stderr, "kilnword show: '%s' %s%s\n", kind,
                kinds[i].name != NULL ? "needs its " : "takes no name",
                kinds[i].name != NULL ? kinds[i].name : "");
        return COMMAND_USAGE;
    }
    fprintf(stderr,
            kind[0] != '\0' ? "kilnword show: '%s' is none of"
                            : "kilnword show: say which of",
            kind);
    fputs(" batch, pot, place, home, alert, line, causes, batches, recall, "
          "need; `kilnword show --help` "
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
    if (err == 0 && o.svg != NULL && kinds[which].show != show_pot &&
        kinds[which].show != show_batch) {
        fprintf(stderr, "kilnword show: --svg is for a pot or a batch\n");
        err = COMMAND_USAGE;
    }
    if (err == 0)
        err = with_config(&o, which, kw_buf_text(&name));
    kw_buf_release(&kind);
    kw_buf_release(&name);
    return err;
}
