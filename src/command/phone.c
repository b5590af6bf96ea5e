#include "command/command.h"

#include <stdio.h>

static int run(int argc, char **argv);

const struct command command_phone = {
    .name = "phone",
    .usage = "phone [options]",
    .summary = "",
    .help = "",
    .run = run,
};

static int run(int argc, char **argv)
{
    (void)argc;
    fprintf(stderr, "kilnword: '%s' is being built\n", argv[0]);
    return COMMAND_FAILED;
}
