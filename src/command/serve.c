/* serve.c - runs the line: `kilnword serve`. */
#include "command/command.h"

#include "base/config.h"
#include "base/log.h"
#include "base/number.h"
#include "command/service.h"

#include <stdio.h>
#include <string.h>

static int run(int argc, char **argv);

const struct command command_serve = {
    .name = "serve",
    .usage = "serve [options]",
    .summary = "runs the line: takes texts, answers, alerts",
    .help =
        "Opens the ledger (and makes it when it is not there), listens for\n"
        "texts by every carrier of the configuration, answers them and sends\n"
        "alerts, until SIGTERM or SIGINT. Once ready it says on standard\n"
        "output: listening on http://ADDRESS:PORT\n"
        "What goes wrong is said on standard error.",
    .run = run,
};

static int set_log(const char *name)
{
    static const char *const names[] = {"debug", "info", "warning", "error"};

    for (size_t i = 0; i < KW_COUNT(names); i++) {
        if (strcmp(name, names[i]) == 0) {
            log_set_level((enum log_level)i);
            return 0;
        }
    }
    fprintf(stderr,
            "kilnword serve: '%s' is no level; write debug, info, warning "
            "or error\n",
            name);
    return COMMAND_USAGE;
}

static int set_port(const char *text, struct config *conf)
{
    int64_t port;

    if (kw_parse_i64(text, strlen(text), 0, 65535, &port) < 0) {
        fprintf(stderr,
                "kilnword serve: '%s' is no port; write a number from 0 (any "
                "that is free) to 65535\n",
                text);
        return COMMAND_USAGE;
    }
    conf->listen_port = (int)port;
    return 0;
}

static int run(int argc, char **argv)
{
    const char *config_path = NULL, *port = NULL, *level = "info";
    bool told_clock = false;
    const struct command_option options[] = {
        {"--config", "FILE", "the configuration", &config_path, NULL},
        {"--port", "NUMBER", "listen there instead; 0: any that is free", &port,
         NULL},
        {"--log", "LEVEL", "debug, info, warning or error", &level, NULL},
        {"--told-clock", NULL,
         "the time is told on standard input; for plays only", NULL,
         &told_clock},
    };
    struct config *conf = NULL;
    struct service *s;
    int err;

    err = command_options(&command_serve, options, KW_COUNT(options), argc,
                          argv, &argc, &argv);
    if (err != 0)
        return err;
    if (argc > 0) {
        fprintf(stderr, "kilnword serve: '%s' is one word too many\n", argv[0]);
        return COMMAND_USAGE;
    }
    if ((err = set_log(level)) != 0 ||
        (err = command_config(config_path, &conf)) != 0)
        return err;
    if (port != NULL)
        err = set_port(port, conf);
    if (err == 0 && (err = service_open(conf, told_clock, &s)) == 0) {
        service_run(s);
        service_close(s);
    }
    config_free(conf);
    return err;
}
