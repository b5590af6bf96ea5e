/* config_find.c - see config_find.h. */
#include "base/config_find.h"

#include "base/file.h"
#include "base/setting.h"

#include <libgen.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

void config_find_grammar(struct config *c)
{
    static const char *const near[] = {
        "../share/kilnword/grammar", "../grammar", "../../grammar",
        "../../../grammar", "../../../../grammar"};
    char self[2048], folder[4096], file[4200];
    ssize_t n = readlink("/proc/self/exe", self, sizeof(self) - 1);
    const char *home;

    if (access(c->grammar_folder, R_OK | X_OK) == 0 || n <= 0)
        return;
    self[n] = '\0';
    home = dirname(self);
    for (size_t i = 0; i < KW_COUNT(near); i++) {
        snprintf(folder, sizeof(folder), "%s/%s", home, near[i]);
        if (file_join(file, sizeof(file), folder, "report.abnf") < 0 ||
            access(file, R_OK) != 0)
            continue;
        setting_put_text(c, offsetof(struct config, grammar_folder),
                         kw_strdup(folder));
        return;
    }
}

void config_find_image(struct config *c)
{
    char self[2048], file[4200];
    ssize_t n = readlink("/proc/self/exe", self, sizeof(self) - 1);
    const char *home;

    if (c->grammar_image != NULL || n <= 0)
        return;
    self[n] = '\0';
    home = dirname(self);
    n = (ssize_t)strlen(home);
    snprintf(file, sizeof(file), "%s/../grammar/words.image", home);
    if (strncmp(c->grammar_folder, home, (size_t)n) == 0 &&
        strncmp(c->grammar_folder + n, "/../", 4) == 0 &&
        access(file, R_OK) == 0)
        setting_put_text(c, offsetof(struct config, grammar_image),
                         kw_strdup(file));
}
