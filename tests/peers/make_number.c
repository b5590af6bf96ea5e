/*
 * make_number.c - for tests/peers/numbers: each line "CODE PREFIX LEAST MOST
 * NUMBER" (PREFIX "-" none) gives the number as the ledger would keep it.
 */
#include "base/config.h"
#include "desk/desk.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int main(void)
{
    char line[300];

    while (fgets(line, sizeof(line), stdin) != NULL) {
        char code[8], prefix[8], got[LEDGER_PHONE_CAP];
        struct config conf = {.country_code = code, .national_prefix = prefix};
        int at = 0;

        line[strcspn(line, "\n")] = '\0';
        if (sscanf(line, "%7s %7s %d %d %n", code, prefix, &conf.national_least,
                   &conf.national_most, &at) < 4 ||
            at == 0)
            return EXIT_FAILURE;
        if (strcmp(prefix, "-") == 0)
            prefix[0] = '\0';
        desk_number(&conf, line + at, got, sizeof(got));
        puts(got);
    }
    return EXIT_SUCCESS;
}
