/* command.c - what all commands share: options, configuration, ledger. */
#include "command/command.h"

#include "base/clock.h"
#include "base/config.h"
#include "ledger/ledger.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void print_help(const struct command *c,
                       const struct command_option *options, size_t n)
{
    printf("usage: kilnword %s\n\n%s\n", c->usage, c->help);
    if (n > 0)
        puts("\noptions:");
    for (size_t i = 0; i < n; i++) {
        const struct command_option *o = &options[i];
        char left[64];

        snprintf(left, sizeof(left), "%s%s%s", o->name, o->value ? " " : "",
                 o->value ? o->value : "");
        printf("  %-22s %s\n", left, o->help);
    }
    printf("  %-22s %s\n", "--help, -h", "this text");
}

static const struct command_option *find_option(
    const struct command_option *options, size_t n, const char *word,
    const char **inline_value)
{
    size_t len = strcspn(word, "=");

    *inline_value = word[len] == '=' ? word + len + 1 : NULL;
    for (size_t i = 0; i < n; i++) {
        if (strlen(options[i].name) == len &&
            memcmp(options[i].name, word, len) == 0)
            return &options[i];
    }
    return NULL;
}

static int usage_error(const struct command *c, const char *word,
                       const char *what)
{
    fprintf(stderr,
            "kilnword %s: '%s' %s; `kilnword %s --help` tells the rest\n",
            c->name, word, what, c->name);
    return COMMAND_USAGE;
}

int command_options(const struct command *c,
                    const struct command_option *options, size_t n_options,
                    int argc, char **argv, int *argc_left, char ***argv_left)
{
    int i = 1;

    for (; i < argc && argv[i][0] == '-' && argv[i][1] != '\0'; i++) {
        const struct command_option *o;
        const char *value;

        if (strcmp(argv[i], "--") == 0) {
            i++;
            break;
        }
        if (strcmp(argv[i], "--help") == 0 || strcmp(argv[i], "-h") == 0) {
            print_help(c, options, n_options);
            exit(COMMAND_OK);
        }
        o = find_option(options, n_options, argv[i], &value);
        if (o == NULL)
            return usage_error(c, argv[i], "is not an option here");
        if (o->value == NULL) {
            if (value != NULL)
                return usage_error(c, argv[i], "takes no value");
            *o->flag = true;
            continue;
        }
        if (value == NULL && i + 1 < argc)
            value = argv[++i];
        if (value == NULL)
            return usage_error(c, argv[i], "needs a value");
        *o->text = value;
    }
    *argc_left = argc - i;
    *argv_left = argv + i;
    return 0;
}

int command_config(const char *path, struct config **out)
{
    struct fault_list faults = {0};
    int err;

    if (path == NULL)
        path = getenv("KILNWORD_CONF");
    if (path == NULL) {
        FILE *f = fopen("kilnword.conf", "r");

        if (f != NULL) {
            fclose(f);
            path = "kilnword.conf";
        }
    }
    err = config_load(path, &faults, out);
    if (err == 0)
        clock_set_zone((*out)->zone); /* a known one, by the loading */
    fault_print(&faults, stderr);
    fault_release(&faults);
    if (err == 0)
        return 0;
    return err == KW_EIO ? COMMAND_FAILED : COMMAND_INPUT;
}

static int open_ledger(const struct ledger_settings *set, struct ledger **out)
{
    char *why = NULL;
    int err = ledger_open(set, out, &why);

    if (err == 0)
        return 0;
    fprintf(stderr, "kilnword: %s\n",
            why != NULL ? why : "the ledger cannot be opened");
    kw_free(why);
    return COMMAND_FAILED;
}

int command_ledger(const struct config *conf, bool read_only, bool create,
                   struct ledger **out)
{
    struct ledger_settings set = {.file = conf->ledger_file,
                                  .read_only = read_only,
                                  .create = create,
                                  .cache_mib = conf->cache_mib,
                                  .checkpoint_pages = conf->checkpoint_pages};

    return open_ledger(&set, out);
}

int command_ledger_watch(const struct config *conf, struct ledger **out)
{
    struct ledger_settings set = {
        .file = conf->ledger_file, .read_only = true, .watch = true};

    return open_ledger(&set, out);
}
