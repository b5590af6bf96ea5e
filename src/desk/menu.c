/* menu.c - walks through the screens. */
#include "desk/menu_parts.h"

#include "base/number.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static const struct way *way_of(const struct screen *s, const char *press,
                                size_t len)
{
    int64_t n;

    for (size_t k = 0; k < s->n; k++) {
        if (s->ways[k].kind == WAY_DIGIT && len == 1 &&
            s->ways[k].digit == press[0])
            return &s->ways[k];
    }
    for (size_t k = 0; k < s->n; k++) {
        const struct way *w = &s->ways[k];

        if (w->kind == WAY_NUMBER && press[0] != '+' && press[0] != '-' &&
            kw_parse_i64(press, len, w->least, w->most, &n) == 0)
            return w;
        if (w->kind == WAY_SERIAL && len >= SERIAL_LEAST &&
            len <= SERIAL_MOST && strspn(press, "0123456789") >= len)
            return w;
    }
    return NULL;
}

struct press {
    const char *typed;
    size_t len;
};

static void write_words(const struct way *w, size_t lang, struct press typed,
                        struct kw_buf *text)
{
    const char *words = w->words[lang] ? w->words[lang] : w->writes;
    const char *slot = strstr(words, "{n}");

    if (words[0] == '\0')
        return;
    if (text->len > 0)
        kw_buf_putc(text, ' ');
    if (slot == NULL) {
        kw_buf_puts(text, words);
        return;
    }
    kw_buf_put(text, words, (size_t)(slot - words));
    kw_buf_put(text, typed.typed, typed.len);
    kw_buf_puts(text, slot + 3);
}

static size_t lang_of(const struct menu *m, const char *lang)
{
    for (size_t i = 0; lang != NULL && i < m->n_langs; i++) {
        if (strcmp(m->langs[i], lang) == 0)
            return i;
    }
    return 0;
}

struct standing { /* of a session */
    size_t lang;
    int at;             /* the screen */
    struct kw_buf text; /* what was composed */
};

/* The step after the presses. */
static int follow(const struct menu *m, const char *presses,
                  struct standing *st)
{
    while (*presses != '\0') {
        size_t len = strcspn(presses, "*");
        const struct way *w = way_of(&m->screens[st->at], presses, len);
        bool last = presses[len] == '\0';

        if (w == NULL)
            return last ? MENU_AGAIN : KW_EINVAL;
        write_words(w, st->lang, (struct press){presses, len}, &st->text);
        if (w->to < 0)
            return last ? MENU_TEXT : KW_EINVAL;
        st->at = w->to;
        presses += len + !last;
    }
    return MENU_SCREEN;
}

int menu_next(const struct menu *m, const char *lang, const char *presses,
              struct kw_buf *out)
{
    struct standing st = {.lang = lang_of(m, lang)};
    int step;

    kw_buf_init(&st.text, MENU_WORDS_CAP - 1);
    step = follow(m, presses, &st);
    if (step == MENU_TEXT)
        kw_buf_put(out, kw_buf_text(&st.text), st.text.len);
    else if (step >= 0)
        menu_show(m, (size_t)st.at, st.lang, out);
    if (step >= 0 && (st.text.err != 0 || out->err != 0))
        step = KW_EFULL;
    kw_buf_release(&st.text);
    return step;
}

int menu_words(const struct menu *m, const char *lang, const char *presses,
               struct kw_buf *out)
{
    struct standing st = {.lang = lang_of(m, lang)};
    int err;

    kw_buf_init(&st.text, MENU_WORDS_CAP - 1);
    err = follow(m, presses, &st);
    if (err >= 0)
        kw_buf_put(out, kw_buf_text(&st.text), st.text.len);
    if (err >= 0)
        err = st.text.err != 0 || out->err != 0 ? KW_EFULL : 0;
    kw_buf_release(&st.text);
    return err;
}

/* ---- what counts of all presses ---- */

#define DEEP_MOST (MENU_PRESSES + 2)

struct path {
    struct press presses[DEEP_MOST];
    int at[DEEP_MOST + 1]; /* the screen before each press, and the last */
    size_t n;
};

static bool is_key(const struct press_key *k, struct press p)
{
    return k->press[0] != '\0' && strlen(k->press) == p.len &&
           memcmp(k->press, p.typed, p.len) == 0;
}

static int take_press(const struct menu *m, struct path *path, struct press p)
{
    const struct way *w;

    if (is_key(&m->cancel, p))
        return MENU_CANCELLED;
    if (is_key(&m->back, p)) {
        path->n -= path->n > 0;
        return MENU_SCREEN;
    }
    w = way_of(&m->screens[path->at[path->n]], p.typed, p.len);
    if (w == NULL || path->n == DEEP_MOST)
        return MENU_AGAIN;
    path->presses[path->n++] = p;
    path->at[path->n] = w->to;
    return w->to < 0 ? MENU_TEXT : MENU_SCREEN;
}

int menu_settle(const struct menu *m, const char *presses, struct kw_buf *out)
{
    struct path path = {.n = 0};
    int step = MENU_SCREEN;

    while (*presses != '\0' && step != MENU_TEXT && step != MENU_CANCELLED) {
        size_t len = strcspn(presses, "*");

        step = take_press(m, &path, (struct press){presses, len});
        presses += len + (presses[len] != '\0');
    }
    for (size_t i = 0; i < path.n; i++) {
        if (i > 0)
            kw_buf_putc(out, '*');
        kw_buf_put(out, path.presses[i].typed, path.presses[i].len);
    }
    return out->err != 0 ? KW_EFULL : step;
}

/* ---- every session ---- */

struct every {
    const struct menu *m;
    const char *lang, *serial;
    int (*f)(const char *presses, const char *text, void *arg);
    void *arg;
};

static int from_screen(const struct every *e, int at, const char *presses);

static int press(const struct every *e, const struct way *w,
                 const char *presses, const char *typed)
{
    char all[160];
    struct kw_buf text;
    int err, n = snprintf(all, sizeof(all), "%s%s%s", presses,
                          presses[0] ? "*" : "", typed);

    if (n < 0 || n >= (int)sizeof(all))
        return KW_EFULL;
    if (w->to >= 0)
        return from_screen(e, w->to, all);
    kw_buf_init(&text, MENU_WORDS_CAP - 1);
    err = menu_next(e->m, e->lang, all, &text);
    err = err == MENU_TEXT ? e->f(all, kw_buf_text(&text), e->arg) : KW_EINVAL;
    kw_buf_release(&text);
    return err < 0 ? err : 0;
}

static int from_screen(const struct every *e, int at, const char *presses)
{
    const struct screen *s = &e->m->screens[at];
    int err = 0;

    for (size_t k = 0; err == 0 && k < s->n; k++) {
        const struct way *w = &s->ways[k];
        char typed[24];

        if (w->kind == WAY_SERIAL) {
            err = press(e, w, presses, e->serial);
            continue;
        }
        if (w->kind == WAY_DIGIT)
            snprintf(typed, sizeof(typed), "%c", w->digit);
        else
            snprintf(typed, sizeof(typed), "%" PRId64, w->least);
        err = press(e, w, presses, typed);
        if (err == 0 && w->kind == WAY_NUMBER) {
            snprintf(typed, sizeof(typed), "%" PRId64, w->most);
            err = press(e, w, presses, typed);
        }
    }
    return err;
}

int menu_each_session(
    const struct menu *m, const char *lang, const char *serial,
    int (*f)(const char *presses, const char *text, void *arg), void *arg)
{
    struct every e = {m, lang, serial, f, arg};

    return from_screen(&e, 0, "");
}
