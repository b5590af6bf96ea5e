/* menufile.c - reads grammar/menu and proves it. */
#include "desk/menu_parts.h"

#include "base/file.h"
#include "base/number.h"
#include "base/septet.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

struct parse {
    const char *path;
    struct fault_list *faults;
    struct menu *m;
    struct way *way; /* labels go here, else to the key, else the screen */
    struct press_key *key;
    int line;
};

#define SAY(p, ...) fault_add((p)->faults, (p)->path, (p)->line, __VA_ARGS__)

/* ---- reading ---- */

/* The next word of *s, NUL-terminated in place; "" at the end. */
static char *take_word(char **s)
{
    char *word = *s + strspn(*s, " \t"), *end = word + strcspn(word, " \t");

    *s = end + (*end != '\0');
    *end = '\0';
    return word;
}

static void read_languages(struct parse *p, char *s)
{
    char *tag;

    while (*(tag = take_word(&s)) != '\0') {
        if (p->m->n_langs == LANGS_MOST ||
            kw_copy(p->m->langs[p->m->n_langs], 12, tag, strlen(tag)) < 0) {
            SAY(p, "'%s' is one language too many, or no tag", tag);
            return;
        }
        p->m->n_langs++;
    }
}

/* back 00, cancel 000 */
static void read_key(struct parse *p, char *s, struct press_key *key)
{
    char *press = take_word(&s);

    p->way = NULL;
    p->key = key;
    if (key->line != 0)
        SAY(p, "it stands in line %d already", key->line);
    else if (strlen(press) < 2 ||
             strspn(press, "0123456789#") != strlen(press) ||
             kw_copy(key->press, sizeof(key->press), press, strlen(press)) < 0)
        SAY(p, "it is pressed as two to seven digits or #, such as 00");
    key->line = p->line;
}

static void read_screen(struct parse *p, char *s)
{
    struct menu *m = p->m;
    char *name = take_word(&s);

    p->way = NULL;
    p->key = NULL;
    for (size_t i = 0; i < m->n; i++) {
        if (strcmp(m->screens[i].name, name) == 0)
            SAY(p, "screen '%s' stands in line %d already", name,
                m->screens[i].line);
    }
    if (m->n == SCREENS_MOST) {
        SAY(p, "more than %d screens", SCREENS_MOST);
        return;
    }
    kw_grow(&m->screens, &m->cap, m->n + 1, sizeof(*m->screens));
    m->screens[m->n] = (struct screen){.line = p->line};
    if (*name == '\0' ||
        kw_copy(m->screens[m->n].name, NAME_CAP, name, strlen(name)) < 0)
        SAY(p, "a screen has a name of up to %d letters: screen start",
            NAME_CAP - 1);
    m->n++;
}

/* "WORDS" in quotes. */
static bool take_quoted(char **s, char *dst, size_t cap)
{
    char *open = *s + strspn(*s, " \t"), *close;

    if (*open != '"' || (close = strchr(open + 1, '"')) == NULL)
        return false;
    *s = close + 1;
    return kw_copy(dst, cap, open + 1, (size_t)(close - open - 1)) == 0;
}

/* writes "WORDS" goes SCREEN, or ends */
static bool read_rest(struct parse *p, char *s, struct way *w)
{
    char *word;

    if (strcmp(take_word(&s), "writes") != 0 ||
        !take_quoted(&s, w->writes, sizeof(w->writes))) {
        SAY(p, "after the digit comes: writes \"WORDS\" goes SCREEN");
        return false;
    }
    word = take_word(&s);
    if (strcmp(word, "goes") == 0) {
        word = take_word(&s);
        if (*word != '\0' &&
            kw_copy(w->goes, sizeof(w->goes), word, strlen(word)) == 0)
            return true;
    } else if (strcmp(word, "ends") == 0) {
        return true;
    }
    SAY(p, "the line ends with: goes SCREEN, or: ends");
    return false;
}

static bool read_range(struct parse *p, char **s, struct way *w)
{
    char *least = take_word(s), *most = take_word(s);

    if (kw_parse_i64(least, strlen(least), 0, 1000000, &w->least) == 0 &&
        kw_parse_i64(most, strlen(most), 0, 1000000, &w->most) == 0 &&
        w->least <= w->most)
        return true;
    SAY(p, "a typed number has its bounds: number 1 48 writes \"{n}h\" …");
    return false;
}

static void add_way(struct parse *p, const struct way *w)
{
    struct screen *s;

    if (p->m->n == 0) {
        SAY(p, "a choice before the first screen");
        return;
    }
    s = &p->m->screens[p->m->n - 1];
    for (size_t i = 0; i < s->n; i++) {
        if (s->ways[i].kind == w->kind && s->ways[i].digit == w->digit)
            SAY(p, "the same choice stands in line %d already",
                s->ways[i].line);
        else if (s->ways[i].kind != WAY_DIGIT && w->kind != WAY_DIGIT)
            SAY(p, "a screen takes one typed number, not two");
    }
    if (s->n == WAYS_MOST) {
        SAY(p, "more than %d choices", WAYS_MOST);
        return;
    }
    s->ways[s->n] = *w;
    p->way = &s->ways[s->n++];
}

static void read_way(struct parse *p, const char *word, char *s)
{
    struct way w = {.line = p->line, .to = -1};

    if (strcmp(word, "number") == 0) {
        w.kind = WAY_NUMBER;
        if (!read_range(p, &s, &w))
            return;
    } else if (strcmp(word, "serial") == 0) {
        w.kind = WAY_SERIAL;
    } else {
        w.digit = word[0];
    }
    if (read_rest(p, s, &w))
        add_way(p, &w);
}

/* Crack "crack": the words in quotes at the end come off the label. */
static void cut_words(char *text, char **words)
{
    size_t len = strlen(text);
    char *open = strchr(text, '"');

    if (open == NULL || open == text || len < 2 || text[len - 1] != '"' ||
        open == text + len - 1 || *words != NULL)
        return;
    text[len - 1] = '\0';
    *words = kw_strdup(open + 1);
    while (open > text && open[-1] == ' ')
        open--;
    *open = '\0';
}

static void read_label(struct parse *p, size_t lang, char *s)
{
    char **labels, *text = s + strspn(s, " \t");

    if (p->m->n == 0 && p->key == NULL) {
        SAY(p, "a label before the first screen");
        return;
    }
    labels = p->way != NULL   ? p->way->labels
             : p->key != NULL ? p->key->labels
                              : p->m->screens[p->m->n - 1].labels;
    if (p->way != NULL)
        cut_words(text, &p->way->words[lang]);
    if (labels[lang] != NULL)
        SAY(p, "a second label in '%s'", p->m->langs[lang]);
    else if (*text == '\0')
        SAY(p, "an empty label");
    else
        labels[lang] = kw_strdup(text);
}

static void read_line(struct parse *p, char *s)
{
    size_t len = strlen(s);
    char *word;

    while (len > 0 && strchr(" \t\r", s[len - 1]) != NULL)
        s[--len] = '\0';
    word = take_word(&s);
    if (*word == '\0' || *word == '#')
        return;
    if (strcmp(word, "languages") == 0) {
        read_languages(p, s);
        return;
    }
    if (strcmp(word, "screen") == 0) {
        read_screen(p, s);
        return;
    }
    if (strcmp(word, "back") == 0 || strcmp(word, "cancel") == 0) {
        read_key(p, s, word[0] == 'b' ? &p->m->back : &p->m->cancel);
        return;
    }
    for (size_t i = 0; i < p->m->n_langs; i++) {
        if (strcmp(word, p->m->langs[i]) == 0) {
            read_label(p, i, s);
            return;
        }
    }
    if ((word[0] >= '0' && word[0] <= '9' && word[1] == '\0') ||
        strcmp(word, "number") == 0 || strcmp(word, "serial") == 0)
        read_way(p, word, s);
    else
        SAY(p,
            "'%s' begins no line here; a line begins with languages, "
            "back, cancel, screen, a digit, number, serial or a language's tag",
            word);
}

/* ---- showing ---- */

static size_t room_of(const struct kw_buf *text, size_t *most)
{
    struct septet_size size = septet_measure(kw_buf_text(text), text->len);

    *most = size.gsm7 ? MENU_SEPTETS : MENU_UCS2_UNITS;
    return size.units;
}

static void show_key(const struct press_key *k, size_t lang, struct kw_buf *out)
{
    if (k->press[0] != '\0')
        kw_buf_printf(out, "\n%s %s", k->press,
                      k->labels[lang] ? k->labels[lang] : "");
}

void menu_show(const struct menu *m, size_t at, size_t lang, struct kw_buf *out)
{
    const struct screen *s = &m->screens[at];
    size_t before, most;

    kw_buf_puts(out, s->labels[lang] ? s->labels[lang] : "");
    for (size_t i = 0; i < s->n; i++) {
        if (s->ways[i].kind == WAY_DIGIT)
            kw_buf_printf(out, "\n%c %s", s->ways[i].digit,
                          s->ways[i].labels[lang] ? s->ways[i].labels[lang]
                                                  : "");
    }
    if (at > 0)
        show_key(&m->back, lang, out);
    before = out->len;
    show_key(&m->cancel, lang, out);
    if (out->err == 0 && room_of(out, &most) > most)
        out->data[out->len = before] = '\0';
}

/* ---- proofs ---- */

static int find_screen(const struct menu *m, const char *name)
{
    for (size_t i = 0; i < m->n; i++) {
        if (strcmp(m->screens[i].name, name) == 0)
            return (int)i;
    }
    return -1;
}

static void link_screens(struct parse *p)
{
    for (size_t i = 0; i < p->m->n; i++) {
        struct screen *s = &p->m->screens[i];

        for (size_t k = 0; k < s->n; k++) {
            struct way *w = &s->ways[k];

            p->line = w->line;
            if (w->goes[0] != '\0' && (w->to = find_screen(p->m, w->goes)) < 0)
                SAY(p, "there is no screen '%s'", w->goes);
            if (w->kind == WAY_DIGIT && strchr(w->writes, '{') != NULL)
                SAY(p, "only a typed number has {n}");
            if (w->kind != WAY_DIGIT && strstr(w->writes, "{n}") == NULL)
                SAY(p, "what was typed is lost; write it as {n}");
        }
    }
}

/* Marks what can be reached; the longest way on from here, in presses. */
static int walk(struct parse *p, int at, int presses)
{
    struct screen *s = &p->m->screens[at];
    int longest = presses;

    s->reached = true;
    if (presses > MENU_PRESSES + 1)
        return presses; /* in a circle, or far too long */
    for (size_t k = 0; k < s->n; k++) {
        int n = s->ways[k].to < 0 ? presses + 1
                                  : walk(p, s->ways[k].to, presses + 1);

        longest = n > longest ? n : longest;
    }
    return longest;
}

static void check_ways(struct parse *p)
{
    for (size_t i = 0; i < p->m->n; i++) {
        struct screen *s = &p->m->screens[i];

        p->line = s->line;
        if (s->n == 0)
            SAY(p, "screen '%s' leads nowhere; give it a choice", s->name);
        if (!s->reached)
            SAY(p, "screen '%s' cannot be reached; let a choice go to it",
                s->name);
    }
}

static void check_labels(struct parse *p, char *const *labels, int line,
                         const char *what)
{
    p->line = line;
    for (size_t l = 0; l < p->m->n_langs; l++) {
        if (labels[l] == NULL)
            SAY(p, "%s has no label in '%s'", what, p->m->langs[l]);
    }
}

static void check_screen(struct parse *p, const struct screen *s)
{
    check_labels(p, s->labels, s->line, "the screen");
    for (size_t k = 0; k < s->n; k++) {
        if (s->ways[k].kind == WAY_DIGIT)
            check_labels(p, s->ways[k].labels, s->ways[k].line, "the choice");
    }
    p->line = s->line;
    for (size_t l = 0; l < p->m->n_langs; l++) {
        struct kw_buf text;
        size_t units, most;

        kw_buf_init(&text, FILE_MOST);
        menu_show(p->m, (size_t)(s - p->m->screens), l, &text);
        units = room_of(&text, &most);
        if (units > most)
            SAY(p, "screen '%s' in '%s' has %zu %s; %zu is the most", s->name,
                p->m->langs[l], units,
                most == MENU_SEPTETS ? "septets" : "UCS-2 units", most);
        kw_buf_release(&text);
    }
}

static void prove(struct parse *p)
{
    int longest;

    p->line = 0;
    if (p->m->n_langs == 0)
        SAY(p, "the file names no languages; begin with: languages en");
    if (p->m->n == 0) {
        SAY(p, "the file has no screen; begin with: screen start");
        return;
    }
    link_screens(p);
    longest = walk(p, 0, 0);
    if (longest > MENU_PRESSES) {
        p->line = p->m->screens[0].line;
        SAY(p, "a way through takes more than %d presses, or goes in a circle",
            MENU_PRESSES);
    }
    check_ways(p);
    if (p->m->back.press[0] != '\0')
        check_labels(p, p->m->back.labels, p->m->back.line, "'back'");
    if (p->m->cancel.press[0] != '\0')
        check_labels(p, p->m->cancel.labels, p->m->cancel.line, "'cancel'");
    for (size_t i = 0; i < p->m->n; i++)
        check_screen(p, &p->m->screens[i]);
}

int menu_open(const char *folder, struct fault_list *faults, struct menu **out)
{
    char path[4096], *data, *at, *next;
    size_t len, before = faults->n + faults->dropped;
    struct parse p = {.path = path, .faults = faults};
    int err = file_join(path, sizeof(path), folder, "menu");

    *out = NULL;
    if (err == 0)
        err = file_read(path, FILE_MOST, &data, &len);
    if (err < 0) {
        fault_add(faults, path, 0, "cannot be read: %s", kw_err_text(err));
        return KW_EIO;
    }
    p.m = kw_calloc(1, sizeof(*p.m));
    for (at = data; at != NULL; at = next) {
        next = strchr(at, '\n');
        if (next != NULL)
            *next++ = '\0';
        p.line++;
        read_line(&p, at);
    }
    kw_free(data);
    prove(&p);
    if (faults->n + faults->dropped > before) {
        menu_close(p.m);
        return KW_ESYNTAX;
    }
    *out = p.m;
    return 0;
}

void menu_close(struct menu *m)
{
    if (m == NULL)
        return;
    for (size_t l = 0; l < LANGS_MOST; l++) {
        kw_free(m->back.labels[l]);
        kw_free(m->cancel.labels[l]);
    }
    for (size_t i = 0; i < m->n; i++) {
        struct screen *s = &m->screens[i];

        for (size_t l = 0; l < LANGS_MOST; l++) {
            kw_free(s->labels[l]);
            for (size_t k = 0; k < s->n; k++) {
                kw_free(s->ways[k].labels[l]);
                kw_free(s->ways[k].words[l]);
            }
        }
    }
    kw_free(m->screens);
    kw_free(m);
}

size_t menu_screens(const struct menu *m)
{
    return m->n;
}

size_t menu_langs(const struct menu *m)
{
    return m->n_langs;
}

const char *menu_lang(const struct menu *m, size_t i)
{
    return m->langs[i];
}
