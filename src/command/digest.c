/* digest.c - the day in numbers, what stands open, what waits. */
#include "command/command.h"

#include "base/clock.h"
#include "base/config.h"
#include "desk/digest.h"

#include <stdio.h>
#include <string.h>

#define DIGEST_MOST (4 << 20)

static int run(int argc, char **argv);

const struct command command_digest = {
    .name = "digest",
    .usage = "digest [options]",
    .summary = "the day in numbers, open alerts, pots to replace",
    .help = "Prints what the line took in, the alerts that stand, the pots to "
            "replace and\nwhat waits to be sent: for the last 24 hours, or "
            "for one day. Alerts, pots and\nwhat waits are as they stand now.",
    .run = run,
};

struct options {
    const char *config, *day, *at, *text;
    bool json;
};

static int parse(int argc, char **argv, struct options *o)
{
    const struct command_option options[] = {
        {"--day", "DAY",
         "a whole day of the programme's zone: 2026-03-01, or\n"
         "                         today",
         &o->day, NULL},
        {"--at", "TIME", "take this for now", &o->at, NULL},
        {"--text", "TAG",
         "the short form that coordinators get, in that\n"
         "                         language",
         &o->text, NULL},
        {"--json", NULL, "one JSON object", NULL, &o->json},
        {"--config", "FILE", "the configuration", &o->config, NULL},
    };
    char **words;
    int left, err = command_options(&command_digest, options, KW_COUNT(options),
                                    argc, argv, &left, &words);

    if (err == 0 && left > 0) {
        fprintf(stderr, "kilnword digest: '%s' is one word too many\n",
                words[0]);
        err = COMMAND_USAGE;
    }
    return err;
}

/* 0 or COMMAND_USAGE. */
static int take_times(const struct options *o, struct digest_of *of)
{
    int64_t now_s = clock_now_s(), day;

    if (o->at != NULL && clock_parse(o->at, strlen(o->at), &now_s) < 0) {
        fprintf(stderr, "kilnword digest: --at is a time such as "
                        "'2026-03-01 08:00'\n");
        return COMMAND_USAGE;
    }
    of->to_s = now_s + 1; /* what came this very second counts */
    of->from_s = of->to_s - CLOCK_DAY_S;
    if (o->day == NULL)
        return 0;
    if (strcmp(o->day, "today") == 0) {
        day = now_s;
    } else if (clock_parse(o->day, strlen(o->day), &day) < 0) {
        fprintf(stderr, "kilnword digest: --day is a day such as "
                        "2026-03-01\n");
        return COMMAND_USAGE;
    }
    of->from_s = clock_midnight(day);
    of->to_s = clock_midnight(of->from_s + 36 * 3600);
    return 0;
}

static int short_form(const struct digest_of *of, struct ledger *lg,
                      struct kw_buf *out)
{
    struct fault_list faults = {0};
    struct desk *d;
    int err = desk_open(of->conf, &faults, &d);

    fault_print(&faults, stderr);
    fault_release(&faults);
    if (err < 0)
        return err;
    err = digest_text(of, desk_replies(d), lg, out);
    kw_buf_putc(out, '\n');
    desk_close(d);
    return err;
}

static int print(const struct options *o, const struct digest_of *of,
                 struct ledger *lg)
{
    struct kw_buf out;
    int err;

    kw_buf_init(&out, DIGEST_MOST);
    if (o->text != NULL)
        err = short_form(of, lg, &out);
    else
        err = o->json ? digest_json(of, lg, &out) : digest_page(of, lg, &out);
    if (err == 0)
        fputs(kw_buf_text(&out), stdout);
    else
        fprintf(stderr, "kilnword digest: %s\n", kw_err_text(err));
    kw_buf_release(&out);
    if (err == KW_ESYNTAX)
        return COMMAND_INPUT;
    return err < 0 ? COMMAND_FAILED : COMMAND_OK;
}

static int run(int argc, char **argv)
{
    struct options o = {0};
    struct serial_layout layout = {0};
    struct digest_of of = {.layout = &layout};
    struct config *conf;
    struct ledger *lg;
    int err = parse(argc, argv, &o);

    if (err != 0 || (err = command_config(o.config, &conf)) != 0)
        return err;
    serial_check_from_name(conf->serial_check, &layout.check);
    layout.batch_chars = conf->serial_batch;
    layout.pot_chars = conf->serial_pot;
    of.conf = conf;
    of.lang = o.text;
    if ((err = take_times(&o, &of)) == 0 &&
        (err = command_ledger(conf, true, false, &lg)) == 0) {
        err = print(&o, &of, lg);
        ledger_close(lg);
    }
    config_free(conf);
    return err;
}
