/*
 * phone.c - a little handset for trying the line by hand: `kilnword phone`.
 * What is typed is a text; it and its answer are drawn as bubbles, with what
 * they cost on the air. Without a terminal it reads lines and draws the same.
 */
#include "command/talk.h"

#include "base/clock.h"
#include "base/septet.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <utf8proc.h>

#define BUBBLE_COLUMNS 44 /* inside */
#define SCREEN_COLUMNS 76
#define LINE_MOST      4096

static int run(int argc, char **argv);

const struct command command_phone = {
    .name = "phone",
    .usage = "phone --from NUMBER [options]",
    .summary = "a little handset in the terminal, to try the line",
    .help = "Each line typed is a text from that number; the answer comes at\n"
            "once, with characters, septets and segments of both. The texts "
            "go\ninto the ledger of the configuration like any others.\n"
            "  :from NUMBER   another phone\n"
            "  :menu          dials the menu; each line is then a press\n"
            "  :hang          hangs up; :menu goes on where that was\n"
            "  :help          the same again\n"
            "  :quit          ends, as does the end of the input",
    .run = run,
};

struct phone {
    struct talk *talk;
    char *from;
    bool tty;
    char call[40]; /* names the menu's session; "" in no call */
    int n_calls;
};

/* ---- drawing ---- */

/*
 * One code point at s: its octets, and its columns. Control characters and
 * what is no UTF-8 show as one replacement sign (*shown).
 */
static size_t next_glyph(const char *s, size_t len, int *columns,
                         const char **shown)
{
    utf8proc_int32_t cp;
    utf8proc_ssize_t n = utf8proc_iterate((const utf8proc_uint8_t *)s,
                                          (utf8proc_ssize_t)len, &cp);

    *shown = NULL;
    *columns = 1;
    if (n <= 0 || cp < 0x20 || (cp >= 0x7f && cp < 0xa0)) {
        *shown = "\xef\xbf\xbd";
        return n <= 0 ? 1 : (size_t)n;
    }
    *columns = utf8proc_charwidth(cp);
    return (size_t)n;
}

/* Octets of the first line of s that fits; breaks at a space if it can. */
static size_t line_fit(const char *s, size_t len)
{
    size_t at = 0, space = 0;
    int used = 0, columns;
    const char *shown;

    while (at < len && s[at] != '\n') {
        size_t n = next_glyph(s + at, len - at, &columns, &shown);

        if (used + columns > BUBBLE_COLUMNS)
            return space > 0 ? space : at;
        if (s[at] == ' ')
            space = at + 1;
        used += columns;
        at += n;
    }
    return at;
}

static int put_line(const char *s, size_t len)
{
    int used = 0;

    for (size_t at = 0; at < len;) {
        int columns;
        const char *shown;
        size_t n = next_glyph(s + at, len - at, &columns, &shown);

        if (shown != NULL)
            fputs(shown, stdout);
        else
            fwrite(s + at, 1, n, stdout);
        used += columns;
        at += n;
    }
    return used;
}

static void spaces(int n)
{
    printf("%*s", n, "");
}

static void dashes(int n)
{
    while (n-- > 0)
        putchar('-');
}

static void draw_rows(const char *text, size_t len, int indent)
{
    do {
        size_t n = line_fit(text, len);

        spaces(indent);
        fputs("| ", stdout);
        spaces(BUBBLE_COLUMNS - put_line(text, n));
        fputs(" |\n", stdout);
        if (n < len && text[n] == '\n')
            n++;
        text += n;
        len -= n;
    } while (len > 0);
}

static size_t count_characters(const char *s, size_t len)
{
    size_t count = 0;

    for (size_t at = 0; at < len; count++) {
        int columns;
        const char *shown;

        at += next_glyph(s + at, len - at, &columns, &shown);
    }
    return count;
}

/* What the text costs on the air, under its bubble. */
static void draw_size(const char *text, size_t len, int indent)
{
    struct septet_size z = septet_measure(text, len);
    size_t characters = count_characters(text, len);

    spaces(indent + 2);
    printf("%zu character%s, %zu %s%s, %zu segment%s\n", characters,
           characters == 1 ? "" : "s", z.units,
           z.gsm7 ? "septet" : "UCS-2 unit", z.units == 1 ? "" : "s",
           z.segments, z.segments == 1 ? "" : "s");
}

/* Their corners point to whose text it is: the phone's right, the line's left.
 */
static void draw_bubble(const char *text, size_t len, bool own)
{
    int indent = own ? SCREEN_COLUMNS - BUBBLE_COLUMNS - 4 : 2;

    spaces(indent);
    putchar('.');
    dashes(BUBBLE_COLUMNS + 2);
    puts(".");
    draw_rows(text, len, indent);
    spaces(indent);
    putchar(own ? '\'' : '<');
    dashes(BUBBLE_COLUMNS + 2);
    puts(own ? ">" : "'");
    draw_size(text, len, indent);
}

static void draw_prompt(const struct phone *p)
{
    if (!p->tty)
        return;
    printf("\n[%s] ", p->from);
    fflush(stdout);
}

static void draw_help(void)
{
    puts("  type a text and press Enter\n"
         "  :from NUMBER   text from another phone\n"
         "  :menu          dial the menu; each line is then a press\n"
         "  :hang          hang up\n"
         "  :help          this\n"
         "  :quit          end");
}

/* ---- texting ---- */

static int send_text(struct phone *p, const char *text, size_t len)
{
    struct talk_text in = {.from = p->from, .text = text, .len = len};
    struct desk_answer a;
    int err = talk_say(p->talk, &in, &a);

    if (err < 0) {
        fprintf(stderr,
                "kilnword phone: the text could not be kept: %s; nothing was "
                "changed\n",
                kw_err_text(err));
        return err;
    }
    draw_bubble(text, len, true);
    if (a.body[0] != '\0')
        draw_bubble(a.body, strlen(a.body), false);
    else
        puts("  (nothing is said)");
    if (a.scan && talk_scan(p->talk) < 0)
        fputs("kilnword phone: the scan for breakage failed; the text is "
              "kept\n",
              stderr);
    return 0;
}

static void change_from(struct phone *p, const char *from)
{
    from += strspn(from, " ");
    if (from[0] == '\0') {
        fputs("kilnword phone: write a number after :from\n", stderr);
        return;
    }
    kw_free(p->from);
    p->from = kw_strdup(from);
    p->call[0] = '\0';
    printf("  now texting from %s\n", p->from);
}

/* ---- the menu ---- */

static int press(struct phone *p, const char *keys)
{
    struct menu_press in = {.session = p->call, .from = p->from, .input = keys};
    struct menu_shown shown;
    int err = talk_press(p->talk, &in, &shown);

    if (err < 0) {
        fprintf(stderr, "kilnword phone: the menu failed: %s\n",
                kw_err_text(err));
        p->call[0] = '\0';
        return err;
    }
    draw_bubble(shown.body, strlen(shown.body), false);
    if (shown.over) {
        puts("  (the call is over)");
        p->call[0] = '\0';
    }
    if (shown.scan && talk_scan(p->talk) < 0)
        fputs("kilnword phone: the scan for breakage failed; the text is "
              "kept\n",
              stderr);
    return 0;
}

static void dial(struct phone *p)
{
    snprintf(p->call, sizeof(p->call), "%lld-%d-%d", (long long)clock_now_ms(),
             (int)getpid(), ++p->n_calls);
    press(p, "");
}

static void hang_up(struct phone *p)
{
    puts(p->call[0] != '\0' ? "  (hung up)" : "  (there is no call)");
    p->call[0] = '\0';
}

/* False to end. */
static bool obey(struct phone *p, const char *line)
{
    if (strcmp(line, ":quit") == 0)
        return false;
    if (strncmp(line, ":from", 5) == 0 && (line[5] == ' ' || line[5] == '\0'))
        change_from(p, line + 5);
    else if (strcmp(line, ":menu") == 0)
        dial(p);
    else if (strcmp(line, ":hang") == 0)
        hang_up(p);
    else if (strcmp(line, ":help") == 0)
        draw_help();
    else
        fprintf(stderr,
                "kilnword phone: there is no '%.40s'; :help lists "
                "what there is\n",
                line);
    return true;
}

static int converse(struct phone *p)
{
    char *line = NULL;
    size_t room = 0;
    ssize_t n;
    int failed = 0;

    for (draw_prompt(p); (n = getline(&line, &room, stdin)) >= 0;
         draw_prompt(p)) {
        while (n > 0 && (line[n - 1] == '\n' || line[n - 1] == '\r'))
            line[--n] = '\0';
        if (n == 0)
            continue;
        if (n > LINE_MOST)
            fputs("kilnword phone: a line has 4096 octets at most\n", stderr);
        else if (line[0] == ':' && !obey(p, line))
            break;
        else if (line[0] != ':' && p->call[0] != '\0')
            failed = press(p, line) < 0 ? COMMAND_FAILED : failed;
        else if (line[0] != ':' && send_text(p, line, (size_t)n) < 0)
            failed = COMMAND_FAILED;
    }
    free(line);
    return failed;
}

static int run(int argc, char **argv)
{
    const char *config_path = NULL, *from = NULL;
    const struct command_option options[] = {
        {"--from", "NUMBER", "the phone's number, for example +99970012345",
         &from, NULL},
        {"--config", "FILE", "the configuration", &config_path, NULL},
    };
    struct phone p = {.tty = isatty(STDIN_FILENO) && isatty(STDOUT_FILENO)};
    int err = command_options(&command_phone, options, KW_COUNT(options), argc,
                              argv, &argc, &argv);

    if (err != 0)
        return err;
    if (from == NULL || from[0] == '\0' || argc > 0) {
        fputs("kilnword phone: say whose phone it is: --from +99970012345\n",
              stderr);
        return COMMAND_USAGE;
    }
    if ((err = talk_open(config_path, &p.talk)) != 0)
        return err;
    p.from = kw_strdup(from);
    if (p.tty)
        draw_help();
    err = converse(&p);
    kw_free(p.from);
    talk_close(p.talk);
    return err;
}
