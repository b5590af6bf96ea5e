#ifndef KW_COMMAND_H
#define KW_COMMAND_H
/*
 * command.h - the command line; one file a command, a table of options for
 * each. Exit codes, the same for all commands:
 */
#include "base/kw.h"

enum {
    COMMAND_OK = 0,
    COMMAND_FAILED = 1, /* the surroundings: ledger, disk, port, network */
    COMMAND_USAGE = 2,  /* the command line is not right */
    COMMAND_INPUT = 3,  /* a file or text given is not right; nothing done */
    COMMAND_NONE = 4    /* what was asked for is not there */
};

struct command_option {
    const char *name;  /* "--port" */
    const char *value; /* "NUMBER", or NULL for a switch */
    const char *help;  /* one or more lines */
    const char **text; /* where the value goes, or NULL */
    bool *flag;        /* where the switch goes, or NULL */
};

struct command {
    const char *name;
    const char *usage;   /* "say --from NUMBER [options] TEXT" */
    const char *summary; /* one line for `kilnword --help` */
    const char *help;    /* what it does, what it reads and writes */
    int (*run)(int argc, char **argv); /* argv[0] is the command's name */
};

/*
 * Reads options, which end at "--" or the first word without a dash. --help
 * prints and exits 0. Writes the number of words left at *argc_left and moves
 * *argv_left to them. Returns 0 or COMMAND_USAGE after saying what is wrong.
 */
int command_options(const struct command *c,
                    const struct command_option *options, size_t n_options,
                    int argc, char **argv, int *argc_left, char ***argv_left);

extern const struct command command_serve, command_load, command_say,
    command_phone, command_read, command_show, command_digest, command_check,
    command_work, command_backup, command_export;

struct config;
struct ledger;
/* --config FILE, else $KILNWORD_CONF, else ./kilnword.conf, else the
 * defaults. Prints faults. 0 or an exit code. */
int command_config(const char *path, struct config **out);
/* Opens the ledger of the configuration, or says why not. */
int command_ledger(const struct config *conf, bool read_only, bool create,
                   struct ledger **out);
/* The same, for ledger_data_version() alone. */
int command_ledger_watch(const struct config *conf, struct ledger **out);
#endif
