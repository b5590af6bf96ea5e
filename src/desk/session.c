/*
 * session.c - menus under way.
 *
 *   OPEN --last press--> OVER          its words are a text, taken and answered
 *     |--cancel--> OVER                nothing is taken
 *     |--another call--> GONE_ON       the new session begins with its presses
 *     +--menu_keep_s--> LEFT           its words are a text that is asked about
 */
#include "desk/inner.h"

#include "base/septet.h"
#include "desk/menu.h"
#include "desk/session.h"

#include <stdio.h>
#include <string.h>

#define ALL_MOST     (2 * SESSION_PRESSES_CAP) /* presses, with those undone */
#define LEFT_AT_ONCE 50
#define FORGET_S     (7 * 86400)

struct step {
    struct desk *d;
    struct ledger *lg;
    const struct menu_press *p;
    struct session s;
    struct ledger_phone phone;
    struct menu_shown *out;
};

/* ---- the text that a session makes ---- */

/* Known by session and presses, so that the same words come once. */
static void make_ref(const struct session *s, char *dst, size_t cap)
{
    snprintf(dst, cap, "menu:%s:%s", s->name, s->presses);
}

static const char *sender(const struct desk *d, const char *carrier)
{
    bool stays = strcmp(carrier, LEDGER_CONSOLE) == 0 ||
                 d->conf->default_carrier[0] == '\0' ||
                 config_can_send(d->conf, carrier);

    return stays ? carrier : d->conf->default_carrier;
}

static int take_words(struct desk *d, struct ledger *lg, struct desk_text *text,
                      const struct session *s, struct desk_answer *a)
{
    char ref[SESSION_NAME_CAP + SESSION_PRESSES_CAP + 8];

    make_ref(s, ref, sizeof(ref));
    text->carrier = s->carrier;
    text->ref = ref;
    text->answer_by = sender(d, s->carrier);
    return desk_take(d, lg, text, a);
}

static bool fits(const char *body)
{
    struct septet_size z = septet_measure(body, strlen(body));

    return z.units <= (z.gsm7 ? MENU_SEPTETS : MENU_UCS2_UNITS);
}

static int show(struct step *st, const char *body)
{
    return kw_copy(st->out->body, sizeof(st->out->body), body, strlen(body));
}

static int show_key(struct step *st, const char *key)
{
    struct kw_buf body;
    int err;

    kw_buf_init(&body, SESSION_SHOWN_CAP - 1);
    err = reply_write(st->d->replies, st->s.lang, key, &(struct reply_slots){0},
                      &body);
    if (err == 0)
        err = show(st, kw_buf_text(&body));
    kw_buf_release(&body);
    return err;
}

/* The last press: the answer is shown, or comes by text when it is too long
 * for a screen or there is danger, which is better kept in the phone. */
static int finish(struct step *st, const char *words)
{
    struct desk_text text = {.from = st->p->from,
                             .text = words,
                             .len = strlen(words),
                             .at_s = st->p->at_s};
    bool terminal = strcmp(st->p->carrier, LEDGER_CONSOLE) == 0;
    struct desk_answer a;
    int err = take_words(st->d, st->lg, &text, &st->s, &a);

    if (err < 0)
        return err;
    st->s.state = SESSION_OVER;
    st->out->over = true;
    st->out->scan = a.scan;
    if (a.body[0] == '\0' || (!terminal && !fits(a.body)))
        return show_key(st, "noted");
    if (a.outbox_id != 0 && !a.repeat && (terminal || !a.danger) &&
        !st->p->unseen) {
        err = ledger_out_settle(st->lg, a.outbox_id, LEDGER_SENT, st->p->at_s,
                                "shown in the menu");
        if (err < 0)
            return err;
        st->out->outbox_id = a.outbox_id;
    }
    return show(st, a.body);
}

/* A danger sign is told though the session goes on. */
static int tell_danger(struct step *st, const char *words)
{
    struct reader_hint hint = {.lang = st->s.lang};
    struct reader_meaning m;
    struct desk_text text = {.from = st->p->from,
                             .text = words,
                             .len = strlen(words),
                             .at_s = st->p->at_s,
                             .unfinished = true};
    struct desk_answer a;

    reader_read(st->d->reader, st->d->scratch, words, strlen(words), &hint, &m);
    if (m.danger == 0)
        return 0;
    return take_words(st->d, st->lg, &text, &st->s, &a);
}

/* ---- a step ---- */

static int begin(struct step *st)
{
    const struct menu_press *p = st->p;
    struct session before;
    char number[LEDGER_PHONE_CAP];
    const char *lang;
    int err;

    desk_number(st->d->conf, p->from, number, sizeof(number));
    if ((err = ledger_phone_take(st->lg, number, &st->phone)) < 0)
        return err;
    st->s.phone_id = st->phone.id;
    if (kw_copy(st->s.carrier, sizeof(st->s.carrier), p->carrier,
                strlen(p->carrier)) < 0)
        return KW_EINVAL;
    snprintf(st->s.name, sizeof(st->s.name), "%s", p->session);
    lang = desk_lang(
        st->d, (const char *const[]){st->phone.lang, st->phone.lang_seen}, 2);
    kw_copy(st->s.lang, sizeof(st->s.lang), lang, strlen(lang));
    err = session_of_phone(st->lg, st->phone.id,
                           p->at_s - st->d->conf->menu_keep_s, &before);
    if (err < 0)
        return err == KW_ENOENT ? 0 : err;
    memcpy(st->s.lang, before.lang, sizeof(st->s.lang));
    memcpy(st->s.presses, before.presses, sizeof(st->s.presses));
    memcpy(st->s.base, before.presses, sizeof(st->s.base));
    before.state = SESSION_GONE_ON;
    return session_put(st->lg, &before);
}

/* The one that is open still, for a press whose session is not known. */
static int find_open(struct step *st)
{
    const struct menu_press *p = st->p;
    char number[LEDGER_PHONE_CAP];
    int err;

    desk_number(st->d->conf, p->from, number, sizeof(number));
    err = ledger_phone_take(st->lg, number, &st->phone);
    if (err == 0)
        err = session_of_phone(st->lg, st->phone.id,
                               p->at_s - st->d->conf->menu_keep_s, &st->s);
    if (err == 0 && strcmp(st->s.carrier, p->carrier) == 0)
        return 0;
    st->s = (struct session){0};
    return err < 0 ? err : KW_ENOENT;
}

static bool is_repeat(const struct step *st)
{
    const char *step = st->p->step;

    return st->s.state != SESSION_OPEN ||
           (step != NULL && step[0] != '\0' &&
            strncmp(step, st->s.step, SESSION_NAME_CAP - 1) == 0);
}

static int show_again(struct step *st)
{
    st->out->over = st->s.state != SESSION_OPEN;
    return show(st, st->s.shown);
}

/* All presses there were; a session's first step brings none of its own
 * unless it brings them all. */
static void all_presses(const struct step *st, bool first, struct kw_buf *all)
{
    const char *before = st->p->whole ? st->s.base : st->s.presses;
    const char *input = first && !st->p->whole ? "" : st->p->input;

    kw_buf_puts(all, before);
    if (before[0] != '\0' && input[0] != '\0')
        kw_buf_putc(all, '*');
    kw_buf_puts(all, input);
}

static int go_on(struct step *st, int step)
{
    struct desk *d = st->d;
    struct kw_buf out;
    int err;

    kw_buf_init(&out, SESSION_SHOWN_CAP - 1);
    if (step == MENU_TEXT) {
        err = menu_next(d->menu, st->s.lang, st->s.presses, &out);
        err = err < 0 ? err : finish(st, kw_buf_text(&out));
    } else if (step == MENU_CANCELLED) {
        st->s.state = SESSION_OVER;
        st->out->over = true;
        err = show_key(st, "not-taken");
    } else {
        err = menu_words(d->menu, st->s.lang, st->s.presses, &out);
        err = err < 0 ? err : tell_danger(st, kw_buf_text(&out));
        kw_buf_clear(&out);
        if (err == 0)
            err = menu_next(d->menu, st->s.lang, st->s.presses, &out);
        err = err < 0 ? err : show(st, kw_buf_text(&out));
    }
    kw_buf_release(&out);
    return err;
}

static int advance(struct step *st, bool first)
{
    struct kw_buf all, settled;
    int step;

    kw_buf_init(&all, ALL_MOST);
    kw_buf_init(&settled, SESSION_PRESSES_CAP - 1);
    all_presses(st, first, &all);
    step = all.err != 0 ? KW_EINVAL
                        : menu_settle(st->d->menu, kw_buf_text(&all), &settled);
    if (step >= 0)
        snprintf(st->s.presses, sizeof(st->s.presses), "%s",
                 kw_buf_text(&settled));
    kw_buf_release(&all);
    kw_buf_release(&settled);
    return step < 0 ? step : go_on(st, step);
}

int desk_press(struct desk *d, struct ledger *lg, const struct menu_press *p,
               struct menu_shown *out)
{
    struct step st = {.d = d, .lg = lg, .p = p, .out = out};
    bool first;
    int err;

    *out = (struct menu_shown){.over = p->gone};
    if (d->menu == NULL)
        return KW_ENOENT;
    if (p->session[0] == '\0' || p->from[0] == '\0')
        return KW_EINVAL;
    err = session_get(lg, p->carrier, p->session, &st.s);
    if (err == KW_ENOENT && p->answers && !p->gone)
        err = find_open(&st);
    if (p->gone || (err < 0 && err != KW_ENOENT))
        return err == KW_ENOENT ? 0 : err;
    first = err == KW_ENOENT;
    if (!first && is_repeat(&st))
        return show_again(&st);
    if (first && (err = begin(&st)) < 0)
        return err;
    if ((err = advance(&st, first)) < 0)
        return err;
    st.s.at_s = p->at_s;
    snprintf(st.s.step, sizeof(st.s.step), "%s", p->step ? p->step : "");
    snprintf(st.s.shown, sizeof(st.s.shown), "%s", out->body);
    return session_put(lg, &st.s);
}

/* ---- those who did not call again ---- */

static int leave(struct desk *d, struct ledger *lg, struct session *s,
                 int64_t now_s)
{
    struct desk_text text = {.at_s = now_s, .unfinished = true};
    struct ledger_phone phone;
    struct desk_answer a;
    struct kw_buf words;
    int err = ledger_phone_get(lg, s->phone_id, &phone);

    s->state = SESSION_LEFT;
    if (err < 0)
        return err == KW_ENOENT ? session_put(lg, s) : err;
    kw_buf_init(&words, MENU_WORDS_CAP);
    text.from = phone.number;
    err = menu_words(d->menu, s->lang, s->presses, &words);
    if (err == KW_EINVAL) /* the menu was changed meanwhile */
        kw_buf_clear(&words);
    text.text = kw_buf_text(&words);
    text.len = words.len;
    err = words.len == 0 ? 0 : take_words(d, lg, &text, s, &a);
    kw_buf_release(&words);
    return err < 0 ? err : session_put(lg, s);
}

int desk_sessions_left(struct desk *d, struct ledger *lg, int64_t now_s,
                       int64_t *next_s)
{
    int64_t keep_s = d->conf->menu_keep_s, at_s;
    struct session s;
    int err = 0;

    if (d->menu == NULL)
        return 0;
    for (int n = 0; n < LEFT_AT_ONCE && err == 0; n++) {
        err = session_stale(lg, now_s - keep_s, &s);
        if (err == 0)
            err = leave(d, lg, &s, now_s);
    }
    if (err < 0 && err != KW_ENOENT)
        return err;
    err = session_oldest(lg, &at_s);
    if (err == 0 && at_s + keep_s + 1 < *next_s)
        *next_s = at_s + keep_s + 1 > now_s ? at_s + keep_s + 1 : now_s + 1;
    if (err < 0 && err != KW_ENOENT)
        return err;
    return session_drop(lg, now_s - FORGET_S);
}
