/* check.c - every mistake in what people write, at once. */
#include "command/command.h"

#include "base/clock.h"
#include "base/config.h"
#include "base/file.h"
#include "desk/desk.h"
#include "desk/menu.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int run(int argc, char **argv);

const struct command command_check = {
    .name = "check",
    .usage = "check [options]",
    .summary = "all mistakes in configuration, grammar, words and replies",
    .help = "Reads the configuration and all files of the grammar folder as "
            "the service would,\nand prints every mistake with its file and "
            "line, what is wrong and what would be\nright. Proves that every "
            "reply fits one text with the longest values, that every\nscreen "
            "of the menu fits and can be reached, and that what the menu "
            "composes is\nread as a report. Exit 0: nothing wrong; 3: "
            "something is.",
    .run = run,
};

/* ---- configuration ---- */

static const char *default_path(const char *path)
{
    if (path == NULL)
        path = getenv("KILNWORD_CONF");
    if (path == NULL && access("kilnword.conf", R_OK) == 0)
        path = "kilnword.conf";
    return path;
}

/* After its faults what could be read of the configuration, and the defaults
 * when it cannot be opened, so that the rest can be looked at all the same. */
static struct config *load(const char *path, struct fault_list *faults,
                           int *err)
{
    struct config *conf = NULL;

    *err = config_load_part(path, faults, &conf);
    if (conf == NULL && config_load(NULL, faults, &conf) < 0)
        return NULL;
    clock_set_zone(conf->zone);
    return conf;
}

static void use_path(char **to, const char *path)
{
    if (path == NULL)
        return;
    kw_free(*to);
    *to = kw_strdup(path);
}

/* ---- languages have both halves ---- */

static bool reads(const struct reader *r, const char *tag)
{
    for (size_t i = 0; i < reader_languages(r); i++) {
        if (strcmp(reader_language(r, i), tag) == 0)
            return true;
    }
    return false;
}

static void check_halves(const struct desk *d, const char *folder,
                         struct fault_list *faults)
{
    const struct reader *r = desk_reader(d);

    for (size_t i = 0; i < reader_languages(r); i++) {
        if (strcmp(reader_language(r, i), "mul") != 0 && /* words of all */
            !replies_has_lang(desk_replies(d), reader_language(r, i)))
            fault_add(faults, folder, 0,
                      "'%s' has words and no replies; add %s.replies",
                      reader_language(r, i), reader_language(r, i));
    }
}

/* ---- the menu's texts are read as what they are ---- */

struct reading {
    const struct desk *desk;
    struct reader_scratch *scratch;
    struct fault_list *faults;
    char path[4096];
    char own[SERIAL_CAP];
    int n;
};

static int read_session(const char *presses, const char *text, void *arg)
{
    struct reading *rd = arg;
    struct reader_hint hint = {.pot = rd->own};
    struct reader_meaning m;

    rd->n++;
    reader_read(desk_reader(rd->desk), rd->scratch, text, strlen(text), &hint,
                &m);
    if ((m.outcome == READER_FILED && m.n_obs > 0) ||
        (m.command != READER_NO_COMMAND && m.n_obs == 0) ||
        (m.outcome == READER_ASKED && m.why == READER_WHY_IMPOSSIBLE))
        return 0;
    fault_add(rd->faults, rd->path, 0,
              "the presses %s compose '%s', which is no whole report (%s); "
              "change what the screens write, or the words",
              presses, text, reader_why_name(m.why));
    return 0;
}

static int check_menu(const struct desk *d, const char *folder,
                      struct fault_list *faults, struct menu **out)
{
    struct reading rd = {.desk = d, .faults = faults};
    const struct serial_layout *l;
    char batch[SERIAL_CAP], pot[SERIAL_CAP];
    int err = menu_open(folder, faults, out);

    if (err < 0 || d == NULL)
        return err;
    l = desk_layout(d);
    if (file_join(rd.path, sizeof(rd.path), folder, "menu") < 0)
        return KW_EFULL;
    snprintf(batch, sizeof(batch), "%0*d", l->batch_chars, 7);
    snprintf(pot, sizeof(pot), "%0*d", l->pot_chars, 7);
    if (serial_make(l, batch, pot, rd.own) < 0)
        return 0; /* marks that the reader takes as they are */
    rd.scratch = reader_scratch_new(desk_reader(d));
    for (size_t i = 0; err == 0 && i < menu_langs(*out); i++) {
        if (reads(desk_reader(d), menu_lang(*out, i)))
            err = menu_each_session(*out, menu_lang(*out, i), rd.own,
                                    read_session, &rd);
    }
    reader_scratch_free(rd.scratch);
    return err;
}

/* ---- the image of the words ---- */

static void image_path(const struct config *conf, char path[4096])
{
    if (conf->grammar_image != NULL)
        kw_copy(path, 4096, conf->grammar_image, strlen(conf->grammar_image));
    else
        file_join(path, 4096, conf->grammar_folder, READER_IMAGE);
}

/* 0 or an exit code. */
static int write_image(const struct config *conf)
{
    struct fault_list faults = {0};
    char path[4096] = "";
    int err =
        reader_image_make(conf->grammar_folder, conf->grammar_image, &faults);
    const char *why = err == KW_EIO ? strerror(errno) : kw_err_text(err);

    image_path(conf, path);
    fault_release(&faults); /* they were told */
    if (err == 0) {
        printf("image of the words '%s': written\n", path);
        return COMMAND_OK;
    }
    if (err == KW_EAGAIN)
        why = "the files changed while they were read; try again";
    fprintf(stderr, "kilnword check: the image '%s' cannot be written: %s\n",
            path, why);
    return COMMAND_FAILED;
}

static void tell_image(const struct config *conf)
{
    const char *wrong =
        reader_image_wrong(conf->grammar_folder, conf->grammar_image);
    char path[4096] = "";

    image_path(conf, path);
    if (wrong == NULL)
        printf("image of the words '%s': serves\n", path);
    else
        printf("image of the words '%s' %s: --write-image makes it\n", path,
               wrong);
}

/* ---- all ---- */

static void print_config(const struct config *conf, int err)
{
    if (conf->file == NULL)
        printf("configuration: %s\n",
               err == 0 ? "none, the defaults"
                        : "cannot be read; the rest is checked with the "
                          "defaults");
    else if (err != 0)
        printf("configuration %s: not usable; the rest is checked with what "
               "is right in it\n",
               conf->file);
    else
        printf("configuration %s: read\n", conf->file);
}

static void print_counts(const struct desk *d, const struct menu *m)
{
    if (d != NULL) {
        const struct replies *r = desk_replies(d);

        printf("words: %zu languages\n", reader_languages(desk_reader(d)));
        printf("replies: %zu languages, %zu keys each\n", replies_langs(r),
               replies_keys());
        for (size_t i = 0; i < replies_langs(r); i++)
            printf("  %-6s %s%s%s%s\n", replies_tag(r, i), replies_name(r, i),
                   reads(desk_reader(d), replies_tag(r, i))
                       ? ""
                       : ", answered in but not read: no words",
                   replies_draft(r, i) ? ", draft by a non-native hand" : "",
                   replies_signed(r, i)
                       ? ""
                       : ", health wording not signed off yet");
    }
    if (m != NULL)
        printf("menu: %zu screens in %zu languages\n", menu_screens(m),
               menu_langs(m));
}

static int check(struct config *conf, int err, bool write,
                 struct fault_list *faults)
{
    struct desk *d = NULL;
    struct menu *m = NULL;
    size_t n;
    int code = COMMAND_OK;

    desk_open_files(conf, faults, &d);
    if (d != NULL)
        check_halves(d, conf->grammar_folder, faults);
    check_menu(d, conf->grammar_folder, faults, &m);
    print_config(conf, err);
    print_counts(d, m);
    n = fault_print(faults, stderr);
    if (n > 0)
        printf("%zu mistake%s\n", n, n == 1 ? "" : "s");
    else
        printf("nothing wrong\n");
    if (n == 0 && write)
        code = write_image(conf);
    else
        tell_image(conf);
    menu_close(m);
    desk_close(d);
    return n > 0 ? COMMAND_INPUT : code;
}

static int run(int argc, char **argv)
{
    const char *config = NULL, *folder = NULL, *image = NULL;
    bool write = false;
    const struct command_option options[] = {
        {"--config", "FILE", "the configuration", &config, NULL},
        {"--grammar", "FOLDER", "this folder instead of the configured one",
         &folder, NULL},
        {"--image", "FILE", "this image of the words instead", &image, NULL},
        {"--write-image", NULL,
         "when nothing is wrong, writes the image of the words, with which "
         "the\nservice starts in no time",
         NULL, &write},
    };
    struct fault_list faults = {0};
    struct config *conf;
    char **words;
    int left, code,
        err = command_options(&command_check, options, KW_COUNT(options), argc,
                              argv, &left, &words);

    if (err != 0)
        return err;
    if (left > 0) {
        fprintf(stderr, "kilnword check: '%s' is one word too many\n",
                words[0]);
        return COMMAND_USAGE;
    }
    conf = load(default_path(config), &faults, &code);
    if (conf == NULL)
        return COMMAND_FAILED;
    use_path(&conf->grammar_folder, folder);
    use_path(&conf->grammar_image, image);
    err = check(conf, code, write, &faults);
    fault_release(&faults);
    config_free(conf);
    return err;
}
