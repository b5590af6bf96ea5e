/* say.c - one text to the line from the command line, and its answer. */
#include "command/talk.h"

#include "base/clock.h"
#include "base/config.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define TEXT_MOST (1 << 20) /* as the largest a carrier may hand over */

static int run(int argc, char **argv);

const struct command command_say = {
    .name = "say",
    .usage = "say --from NUMBER [options] TEXT...",
    .summary = "text the line from here and see the answer",
    .help = "Hands the text to the line as if that number had sent it, and "
            "prints the\nanswer. The text is kept, read, filed and alerted on "
            "as any other; alerts to\ncoordinators wait in the outbox for a "
            "running service. The words are joined\nwith spaces; '-' reads "
            "the text from standard input.\n\n"
            "  kilnword say --from +99970012345 '021407319 slow 4f 10h'",
    .run = run,
};

struct options {
    const char *config, *from, *at, *lang, *ref;
    bool json, scan, quiet;
};

static int parse(int argc, char **argv, struct options *o, int *left,
                 char ***words)
{
    const struct command_option options[] = {
        {"--from", "NUMBER", "who texts; a number or a name", &o->from, NULL},
        {"--at", "TIME",
         "when: 2026-03-01 08:00 in the programme's zone, or\n"
         "                         2026-03-01T08:00:00Z; else now",
         &o->at, NULL},
        {"--lang", "TAG", "the language this phone has chosen before", &o->lang,
         NULL},
        {"--id", "ID", "the text's own id: a repeat changes nothing", &o->ref,
         NULL},
        {"--scan", NULL, "look for breakage of batches afterwards", NULL,
         &o->scan},
        {"--quiet", NULL, "file it and tell nobody, as from a notebook", NULL,
         &o->quiet},
        {"--json", NULL, "one JSON object instead of the answer", NULL,
         &o->json},
        {"--config", "FILE", "the configuration", &o->config, NULL},
    };

    return command_options(&command_say, options, KW_COUNT(options), argc, argv,
                           left, words);
}

static int usage(const char *what)
{
    fprintf(stderr, "kilnword say: %s; `kilnword say --help` tells the rest\n",
            what);
    return COMMAND_USAGE;
}

static int read_standard_input(struct kw_buf *text)
{
    char piece[4096];
    size_t n;

    while ((n = fread(piece, 1, sizeof(piece), stdin)) > 0)
        kw_buf_put(text, piece, n);
    if (ferror(stdin)) {
        fprintf(stderr, "kilnword say: standard input cannot be read\n");
        return COMMAND_FAILED;
    }
    return 0;
}

static int take_text(int n, char **words, struct kw_buf *text)
{
    int err = 0;

    if (n == 1 && strcmp(words[0], "-") == 0) {
        err = read_standard_input(text);
    } else {
        for (int i = 0; i < n; i++) {
            if (i > 0)
                kw_buf_putc(text, ' ');
            kw_buf_puts(text, words[i]);
        }
    }
    if (err == 0 && text->err != 0) {
        fprintf(stderr, "kilnword say: the text is longer than 1 MiB\n");
        return COMMAND_INPUT;
    }
    return err;
}

/* The phone has said `language TAG` before. */
static int set_lang(struct talk *t, const char *from, const char *lang)
{
    struct ledger *lg = talk_ledger(t);
    struct ledger_phone p;
    char number[LEDGER_PHONE_CAP];
    int err;

    if (!replies_has_lang(desk_replies(talk_desk(t)), lang)) {
        fprintf(stderr, "kilnword say: there are no replies in '%s'\n", lang);
        return COMMAND_INPUT;
    }
    desk_number(talk_config(t), from, number, sizeof(number));
    if ((err = ledger_begin(lg)) == 0 &&
        (err = ledger_phone_take(lg, number, &p)) == 0 &&
        (err = kw_copy(p.lang, sizeof(p.lang), lang, strlen(lang))) == 0 &&
        (err = ledger_phone_put(lg, &p)) == 0)
        err = ledger_commit(lg);
    if (err == 0)
        return 0;
    ledger_rollback(lg);
    fprintf(stderr, "kilnword say: the language was not kept: %s\n",
            kw_err_text(err));
    return COMMAND_FAILED;
}

static void print_json(const struct desk_answer *a)
{
    json_t *o =
        json_pack("{s:I,s:s,s:b,s:s,s:b}", "text", (json_int_t)a->text_id,
                  "outcome", reader_outcome_name(a->outcome), "repeat",
                  (int)a->repeat, "answer", a->body, "scan", (int)a->scan);
    char *text = o != NULL ? json_dumps(o, JSON_COMPACT) : NULL;

    puts(text != NULL ? text : "{}");
    free(text);
    json_decref(o);
}

static void print_answer(const struct options *o, const struct desk_answer *a)
{
    if (o->json) {
        print_json(a);
        return;
    }
    if (a->body[0] != '\0')
        puts(a->body);
    else
        fprintf(stderr, "(no answer: talk is answered once a day, stop is "
                        "confirmed once, --quiet tells nobody)\n");
    if (a->repeat)
        fprintf(stderr, "(a repeat: nothing was changed)\n");
}

static int say(struct talk *t, const struct options *o, struct kw_buf *text)
{
    struct talk_text in = {.from = o->from,
                           .ref = o->ref,
                           .text = kw_buf_text(text),
                           .len = text->len,
                           .quiet = o->quiet};
    struct desk_answer answer;
    int64_t at_s;
    int err;

    if (o->at != NULL) {
        if (clock_parse(o->at, strlen(o->at), &at_s) < 0)
            return usage("--at is a time such as '2026-03-01 08:00'");
        clock_tell(at_s); /* of the scan and all that is noted as well */
        in.at_s = at_s;
    }
    if (o->lang != NULL && (err = set_lang(t, o->from, o->lang)) != 0)
        return err;
    err = talk_say(t, &in, &answer);
    if (err == 0 && o->scan)
        err = talk_scan(t);
    if (err < 0) {
        fprintf(stderr, "kilnword say: nothing was kept: %s\n",
                kw_err_text(err));
        return COMMAND_FAILED;
    }
    print_answer(o, &answer);
    return COMMAND_OK;
}

static int run(int argc, char **argv)
{
    struct options o = {0};
    struct talk *t;
    struct kw_buf text;
    char **words;
    int left, err = parse(argc, argv, &o, &left, &words);

    if (err != 0)
        return err;
    if (o.from == NULL || o.from[0] == '\0')
        return usage("--from NUMBER is missing");
    if (left == 0)
        return usage("the text is missing");
    kw_buf_init(&text, TEXT_MOST);
    err = take_text(left, words, &text);
    if (err == 0 && (err = talk_open(o.config, &t)) == 0) {
        err = say(t, &o, &text);
        talk_close(t);
    }
    kw_buf_release(&text);
    return err;
}
