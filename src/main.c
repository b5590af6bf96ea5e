/* main.c - finds the command and runs it. */
#include "command/command.h"

#include <signal.h>
#include <stdio.h>
#include <string.h>

static const struct command *const commands[] = {
    &command_serve, &command_load,   &command_say,    &command_phone,
    &command_read,  &command_show,   &command_digest, &command_check,
    &command_work,  &command_backup, &command_export,
};

static void print_help(void)
{
    puts("kilnword - the text line between the kitchens where ceramic pot\n"
         "water filters drip and the kiln they came from\n\n"
         "usage: kilnword COMMAND [options] …\n");
    for (size_t i = 0; i < KW_COUNT(commands); i++)
        printf("  %-8s %s\n", commands[i]->name, commands[i]->summary);
    puts("\n`kilnword COMMAND --help` tells the rest. All commands take\n"
         "  --config FILE   else $KILNWORD_CONF, else ./kilnword.conf\n\n"
         "exit codes: 0 done, 1 the surroundings failed (ledger, disk, port),\n"
         "2 the command line is not right, 3 what was given to read is not\n"
         "right and nothing was done, 4 what was asked for is not there");
}

int main(int argc, char **argv)
{
    signal(SIGPIPE, SIG_IGN);
    if (argc < 2) {
        print_help();
        return COMMAND_USAGE;
    }
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0) {
        print_help();
        return COMMAND_OK;
    }
    if (strcmp(argv[1], "--version") == 0) {
        puts("kilnword " PACKAGE_VERSION);
        return COMMAND_OK;
    }
    for (size_t i = 0; i < KW_COUNT(commands); i++) {
        if (strcmp(argv[1], commands[i]->name) == 0)
            return commands[i]->run(argc - 1, argv + 1);
    }
    fprintf(stderr,
            "kilnword: there is no command '%s'; `kilnword --help` lists "
            "them\n",
            argv[1]);
    return COMMAND_USAGE;
}
