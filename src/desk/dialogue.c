/*
 * dialogue.c - the next text completes what was asked before.
 *
 * The text that led to a question is kept with its words. What comes next is
 * first read alone: a whole report takes the question's place. Else both are
 * put together and read as one text: "10h" behind "… slow 6f". A serial that
 * was asked for again replaces the one that stood there. Only what the reader
 * then calls a whole report is taken, so nothing is filed that could not
 * have been filed from one text. "Yes" and "no" answer what was asked so.
 *
 * Who told of an illness was asked nothing, and yet what comes next may belong
 * to it: "there was blood today". It is taken when both together name a danger
 * sign that the first did not; anything else is read alone.
 */
#include "desk/inner.h"

#include "ledger/asking.h"

#include <ctype.h>
#include <string.h>

#define NEXT_MOST 80 /* a longer text is not the answer to a small question */

/* Questions that are answered by a serial. */
static bool wants_serial(const char *why)
{
    static const char *const whys[] = {"check",    "two_pots", "no_pot",
                                       "unknown",  "not_out",  "scrapped",
                                       "elsewhere"};

    for (size_t i = 0; i < KW_COUNT(whys); i++) {
        if (strcmp(why, whys[i]) == 0)
            return true;
    }
    return false;
}

static bool in_number(char c)
{
    return isdigit((unsigned char)c) || c == ' ' || c == '-' || c == '.';
}

/* Copies the text without its runs of six digits and more. */
static void put_without_serials(struct kw_buf *out, const char *s, size_t len)
{
    for (size_t i = 0; i < len;) {
        size_t end = i, digits = 0;

        while (end < len && in_number(s[end]))
            digits += isdigit((unsigned char)s[end++]) != 0;
        if (digits >= 6) {
            kw_buf_putc(out, ' ');
            i = end;
        } else {
            end = end > i ? end : i + 1;
            kw_buf_put(out, s + i, end - i);
            i = end;
        }
    }
}

/* Both texts read as one. True when they make a whole report. */
static bool read_both(const struct taking *t, const struct asking *a,
                      const struct reader_hint *hint,
                      struct reader_meaning *both)
{
    struct kw_buf text;
    bool serial = wants_serial(a->why);
    bool whole;

    kw_buf_init(&text, READER_TEXT_MOST);
    if (serial)
        put_without_serials(&text, a->body, a->len);
    else
        kw_buf_put(&text, a->body, a->len);
    kw_buf_putc(&text, ' ');
    kw_buf_put(&text, t->in->text, t->in->len);
    reader_read(t->d->reader, t->d->scratch, kw_buf_text(&text), text.len, hint,
                both);
    whole = text.err == 0 && both->outcome == READER_FILED && both->n_obs > 0 &&
            both->command == READER_NO_COMMAND &&
            (!serial || !both->serial_from_hint);
    kw_buf_release(&text);
    return whole;
}

static void complete(struct taking *t, const struct asking *a,
                     const struct reader_hint *hint)
{
    struct reader_meaning both;

    if (!read_both(t, a, hint, &both))
        return;
    both.danger |= t->m.danger;
    t->m = both;
}

/* ---- how many are ill ---- */

static bool is_ill(const struct reader_obs *o)
{
    return o->kind == READER_ILL;
}

/* "1", "2 u1" behind the question how many: read as on the card, the pot's
 * number and "i 2 u1". */
static bool read_counts(const struct taking *t, const char *serial,
                        const struct reader_hint *hint,
                        struct reader_obs *counted)
{
    struct reader_meaning m;
    struct kw_buf text;

    kw_buf_init(&text, READER_TEXT_MOST);
    kw_buf_printf(&text, "%s i ", serial);
    kw_buf_put(&text, t->in->text, t->in->len);
    reader_read(t->d->reader, t->d->scratch, kw_buf_text(&text), text.len, hint,
                &m);
    kw_buf_release(&text);
    if (m.outcome != READER_FILED || m.n_obs != 1 || !is_ill(&m.obs[0]) ||
        m.obs[0].people == 0)
        return false;
    *counted = m.obs[0];
    return true;
}

/* What the first text said, with the numbers of this one. Both as one text
 * would have the wrong numbers in it still. */
static bool complete_counts(struct taking *t, const struct asking *a,
                            const struct reader_hint *hint)
{
    struct reader_meaning first;
    struct reader_obs counted;

    reader_read(t->d->reader, t->d->scratch, a->body, a->len, hint, &first);
    if (first.why != READER_WHY_COUNTS || first.serial[0] == '\0' ||
        !read_counts(t, first.serial, hint, &counted))
        return false;
    for (size_t i = 0; i < first.n_obs; i++) {
        if (!is_ill(&first.obs[i]))
            continue;
        first.obs[i].people = counted.people;
        first.obs[i].under5 = counted.under5;
        first.obs[i].signs |= counted.signs;
        first.danger |= counted.signs;
        first.outcome = READER_FILED;
    }
    if (first.outcome != READER_FILED)
        return false;
    first.why = READER_CLEAR;
    t->m = first;
    return true;
}

/* ---- is it so? ---- */

#define UNSURE "unsure"

/* Neither yes nor no but what it is, "only the lid", of the pot that the
 * question named. What the first text said no longer counts. */
static void correct(struct taking *t, const struct asking *a,
                    const struct reader_hint *hint)
{
    struct reader_meaning m;
    struct kw_buf text;

    kw_buf_init(&text, READER_TEXT_MOST);
    kw_buf_printf(&text, "%s ", a->about);
    kw_buf_put(&text, t->in->text, t->in->len);
    reader_read(t->d->reader, t->d->scratch, kw_buf_text(&text), text.len, hint,
                &m);
    kw_buf_release(&text);
    if (m.outcome == READER_FILED && m.n_obs > 0)
        t->m = m;
}

/* ---- more of an illness ---- */

#define TOLD "told" /* nothing was asked */

/* A sign that only the two texts together name. What else the first said is
 * filed already. */
static void add_sign(struct taking *t, const struct asking *a,
                     const struct reader_hint *hint)
{
    struct reader_meaning both, first;
    size_t n = 0;

    if (!read_both(t, a, hint, &both))
        return;
    reader_read(t->d->reader, t->d->scratch, a->body, a->len, hint, &first);
    if ((both.danger & ~(first.danger | t->m.danger)) == 0)
        return;
    for (size_t i = 0; i < both.n_obs; i++) {
        if (is_ill(&both.obs[i]))
            both.obs[n++] = both.obs[i];
    }
    both.n_obs = n;
    if (n == 0)
        return;
    t->m = both;
    t->told = true;
}

static bool tells_illness(const struct reader_meaning *m)
{
    for (size_t i = 0; i < m->n_obs; i++) {
        if (is_ill(&m->obs[i]))
            return true;
    }
    return false;
}

/* ---- yes and no ---- */

static int no_said(struct taking *t, const struct asking *a)
{
    bool unsure = strcmp(a->why, UNSURE) == 0;
    const char *key = unsure                          ? "ask-trouble"
                      : strcmp(a->why, "recall") == 0 ? "noted"
                                                      : "not-mine";
    char serial[SERIAL_CAP + 8];
    int err = asking_forget(t->lg, t->phone.id);

    if (err < 0 || (err = taking_choose_lang(t)) < 0)
        return err;
    serial_format(&t->d->layout, a->about, serial, sizeof(serial));
    return commands_say(
        t, key, unsure ? &(struct reply_slots){.serial = serial} : NULL);
}

static int yes_said(struct taking *t, const struct asking *a,
                    const struct reader_hint *hint)
{
    if (strcmp(a->why, "recall") == 0)
        return commands_recall(t, a->about);
    if (a->body == NULL)
        return 0;
    reader_read(t->d->reader, t->d->scratch, a->body, a->len, hint, &t->m);
    if (t->m.why == READER_WHY_UNSURE) {
        t->m.outcome = READER_FILED;
        t->m.why = READER_CLEAR;
    }
    t->confirmed = strcmp(a->why, "elsewhere") == 0;
    t->asked_text_id = a->text_id;
    return 0;
}

static bool has_report(const struct reader_meaning *m)
{
    return m->outcome == READER_FILED && m->n_obs > 0;
}

/* "es" alone, when the languages were asked for: read as "language es". */
static int language_said(struct taking *t, const struct reader_hint *hint)
{
    struct reader_meaning said;
    struct kw_buf text;
    bool named;

    if (t->m.command != READER_NO_COMMAND || t->in->len > NEXT_MOST)
        return 0;
    kw_buf_init(&text, READER_TEXT_MOST);
    kw_buf_puts(&text, "language ");
    kw_buf_put(&text, t->in->text, t->in->len);
    reader_read(t->d->reader, t->d->scratch, kw_buf_text(&text), text.len, hint,
                &said);
    named = text.err == 0 && said.command == READER_LANGUAGE &&
            replies_has_lang(t->d->replies, said.word);
    kw_buf_release(&text);
    if (!named)
        return 0;
    t->m = said;
    return asking_forget(t->lg, t->phone.id);
}

static int answer(struct taking *t, const struct asking *a,
                  const struct reader_hint *hint)
{
    bool yes_no =
        strcmp(a->why, "elsewhere") == 0 || strcmp(a->why, "recall") == 0 ||
        strcmp(a->why, UNSURE) == 0 || strcmp(a->why, "unfinished") == 0;

    if (has_report(&t->m))
        return 0;
    if (strcmp(a->why, TOLD) == 0) {
        if (a->body != NULL && t->in->len <= NEXT_MOST &&
            (t->m.command == READER_NO_COMMAND || t->m.command == READER_YES))
            add_sign(t, a, hint);
        return 0;
    }
    if (strcmp(a->why, "language") == 0)
        return language_said(t, hint);
    if (yes_no && t->m.command == READER_YES)
        return yes_said(t, a, hint);
    if (yes_no && t->m.command == READER_NO)
        return no_said(t, a);
    if (t->m.command != READER_NO_COMMAND || a->body == NULL ||
        t->in->len > NEXT_MOST)
        return 0;
    if (strcmp(a->why, UNSURE) == 0)
        correct(t, a, hint);
    else if (strcmp(a->why, "counts") != 0 || !complete_counts(t, a, hint))
        complete(t, a, hint);
    return 0;
}

int dialogue_before(struct taking *t, const struct reader_hint *hint)
{
    struct asking a;
    int err;

    if (!t->phone.asked)
        return 0;
    err = asking_get(t->lg, t->phone.id, &a);
    if (err < 0)
        return err == KW_ENOENT ? 0 : err;
    t->asked_before = true;
    if (a.at_s >= t->at_s - DESK_ASK_KEEPS_S)
        err = answer(t, &a, hint);
    kw_free(a.body);
    return err;
}

int dialogue_after(struct taking *t)
{
    struct asking a = {.phone_id = t->phone.id,
                       .text_id = t->asked_text_id != 0 ? t->asked_text_id
                                                        : t->text_id,
                       .at_s = t->at_s};
    const char *why = t->why != NULL ? t->why : reader_why_name(t->m.why);

    if (!taking_asks(t)) {
        if (!has_report(&t->m) || t->told)
            return 0;
        if (!tells_illness(&t->m))
            return t->asked_before ? asking_forget(t->lg, t->phone.id) : 0;
        why = TOLD;
    }
    kw_copy(a.why, sizeof(a.why), why, strlen(why));
    kw_copy(a.about, sizeof(a.about), t->m.serial, strlen(t->m.serial));
    return asking_put(t->lg, &a);
}

int dialogue_ask_language(struct taking *t)
{
    struct asking a = {.phone_id = t->phone.id,
                       .text_id = t->text_id,
                       .at_s = t->at_s,
                       .why = "language"};
    struct asking open = {.body = NULL};
    int err = asking_get(t->lg, t->phone.id, &open);

    kw_free(open.body);
    if (err < 0 && err != KW_ENOENT)
        return err;
    if (err == 0 && open.at_s >= t->at_s - DESK_ASK_KEEPS_S &&
        strcmp(open.why, "language") != 0 && strcmp(open.why, TOLD) != 0)
        return 0;
    return asking_put(t->lg, &a);
}
