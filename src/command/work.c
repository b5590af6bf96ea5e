/* work.c - `kilnword work`: finds the method. See work.h. */
#include "command/work.h"

#include "command/command.h"

#include <stdio.h>
#include <string.h>

/* All methods, in the order of the help. A later one is a line here. */
static const struct work_method *const methods[] = {
    &work_seep,     &work_flow, &work_drift,   &work_exact,
    &work_breakage, &work_wear, &work_logrank, &work_rates,
    &work_cluster,  &work_scan, &work_need,    &work_cause,
};

static int run(int argc, char **argv);

const struct command command_work = {
    .name = "work",
    .usage = "work METHOD [options] [FILE]",
    .summary = "one method of the watch by hand: CSV in, CSV out",
    .help = "",
    .run = run,
};

static void print_methods(FILE *out)
{
    fprintf(out,
            "usage: kilnword %s\n\n"
            "Works out one method on a table of comma-separated values, the "
            "same code\nthat judges reports, so that anyone can hold it "
            "against a spreadsheet or a\nstatistics package. Reads FILE, or "
            "standard input; the first line names the\ncolumns. Writes a "
            "table to standard output. A table with a mistake in it gives\n"
            "nothing but the list of its mistakes, with line numbers.\n\n"
            "methods:\n",
            command_work.usage);
    for (size_t i = 0; i < KW_COUNT(methods); i++)
        fprintf(out, "  %-10s %s\n", methods[i]->name, methods[i]->summary);
    fputs("\n`kilnword work METHOD --help` tells columns and units.\n", out);
}

static int run(int argc, char **argv)
{
    if (argc < 2) {
        print_methods(stderr);
        return COMMAND_USAGE;
    }
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0) {
        print_methods(stdout);
        return COMMAND_OK;
    }
    for (size_t i = 0; i < KW_COUNT(methods); i++) {
        if (strcmp(argv[1], methods[i]->name) == 0)
            return work_method_run(methods[i], argc - 1, argv + 1);
    }
    fprintf(stderr,
            "kilnword work: '%s' is not a method; `kilnword work --help` "
            "lists them\n",
            argv[1]);
    return COMMAND_USAGE;
}
