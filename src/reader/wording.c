/* wording.c - see wording.h. */
#include "reader/wording.h"

#include <string.h>

#define MEMO_BITS 11
#define OBS_MOST  2 /* more are not kept */
#define NO_DIGIT                                                               \
    '\x01' /* in place of those of the serial: in no folded text               \
            */

struct kept {
    uint64_t text[WORDING_WORDS];
    uint32_t len; /* 0 nothing yet */
    int8_t lang;
    uint8_t pot;
    bool of_pot; /* the meaning names the serial of the text */
    struct {     /* of the meaning; all else of it is nothing */
        enum reader_outcome outcome;
        enum reader_why why;
        enum reader_command command;
        char lang[READER_LANG_CAP];
        unsigned danger;
        bool serial_from_hint, unsafe_said, courtesy;
        uint8_t n_obs;
        struct reader_obs obs[OBS_MOST];
    } said;
};

struct wording_memo {
    struct kept kept[1u << MEMO_BITS][2]; /* the newest of a place first */
};

struct wording_memo *wording_memo_new(void)
{
    return kw_calloc(1, sizeof(struct wording_memo));
}

void wording_memo_free(struct wording_memo *memo)
{
    kw_free(memo);
}

/*
 * The octets of a serial that begins at s, in one group or with the marks of
 * the card; 0 when there is none that passes. The text ends in a NUL.
 */
static size_t serial_at(const struct serial_layout *l, const char *s,
                        char serial[SERIAL_CAP])
{
    size_t batch = (size_t)l->batch_chars, check = batch + (size_t)l->pot_chars,
           n = 0, at = 0, want = (size_t)serial_chars(l);
    bool dashed = false;

    for (; n < want; n++) {
        if (n == batch)
            dashed = s[at] == '-';
        if (dashed && (n == batch || n == check) && s[at++] != '-')
            return 0;
        if (!fold_is_digit(s[at]))
            return 0;
        serial[n] = s[at++];
    }
    serial[n] = '\0';
    return (s[at] == ' ' || s[at] == '\0') && serial_verify(l, serial, n) == 0
               ? at
               : 0;
}

/* Takes the first serial out; its marks stay. */
static void take_serial(struct wording *w, const struct fold *f,
                        const struct serial_layout *l)
{
    char *text = (char *)w->text;
    size_t at = 0, len;

    /* Groups of one digit or two may be numbers, letters look like digits */
    if (l->check != SERIAL_MOD_97_10 || l->batch_chars < 3 || l->pot_chars < 3)
        return;
    for (; at < f->len; at++) {
        if (!fold_is_digit(f->text[at]) || (at > 0 && f->text[at - 1] != ' ') ||
            (len = serial_at(l, f->text + at, w->serial)) == 0)
            continue;
        w->has_serial = true;
        for (size_t end = at + len; at < end; at++)
            text[at] = text[at] == '-' ? '-' : NO_DIGIT;
        return;
    }
}

bool wording_take(struct wording *w, const struct fold *f,
                  const struct serial_layout *layout, int lang, const char *pot)
{
    if (f->len == 0 || f->len > WORDING_OCTETS || f->cut)
        return false;
    *w = (struct wording){.len = (uint32_t)f->len, .lang = (int8_t)lang};
    memcpy(w->text, f->text, f->len);
    take_serial(w, f, layout);
    if (pot != NULL)
        w->pot = w->has_serial && strcmp(pot, w->serial) == 0
                     ? WORDING_SAME_POT
                     : WORDING_OTHER_POT;
    return true;
}

static size_t place_of(const struct wording *w)
{
    uint64_t sum =
        (uint64_t)w->len << 16 | (uint64_t)(uint8_t)w->lang << 8 | w->pot;

    for (size_t i = 0; i * 8 < w->len; i++)
        sum = (sum ^ sum >> 29 ^ w->text[i]) * UINT64_C(0x9E3779B97F4A7C15);
    return (size_t)((sum ^ sum >> 29) * UINT64_C(0x9E3779B97F4A7C15) >>
                    (64 - MEMO_BITS));
}

static bool is_same(const struct kept *k, const struct wording *w)
{
    uint64_t other = 0;

    if (k->len != w->len || k->lang != w->lang || k->pot != w->pot)
        return false;
    for (size_t i = 0; i * 8 < w->len; i++)
        other |= k->text[i] ^ w->text[i];
    return other == 0;
}

bool wording_recall(const struct wording_memo *memo, const struct wording *w,
                    const char *pot, struct reader_meaning *out)
{
    const struct kept *k = memo->kept[place_of(w)];

    if (!is_same(k, w) && !is_same(++k, w))
        return false;
    memset(out, 0, sizeof(*out));
    out->outcome = k->said.outcome;
    out->why = k->said.why;
    out->command = k->said.command;
    memcpy(out->lang, k->said.lang, sizeof(out->lang));
    out->danger = k->said.danger;
    out->unsafe_said = k->said.unsafe_said;
    out->courtesy = k->said.courtesy;
    out->n_obs = k->said.n_obs;
    for (size_t i = 0; i < out->n_obs; i++)
        out->obs[i] = k->said.obs[i];
    out->serial_from_hint = k->said.serial_from_hint;
    if (k->of_pot)
        memcpy(out->serial, w->serial, sizeof(out->serial));
    else if (out->serial_from_hint)
        kw_copy(out->serial, sizeof(out->serial), pot, strlen(pot));
    return true;
}

/* Is nothing in the meaning but what `kept` has room for? */
static bool is_plain(const struct reader_meaning *m)
{
    return m->n_obs <= OBS_MOST && m->n_numbers == 0 && m->word[0] == '\0' &&
           m->phone[0] == '\0' && m->serial_other[0] == '\0' &&
           m->serial_wrong[0] == '\0' && m->command != READER_TESTED;
}

/* Would it be the same of any pot, but for the serial? */
static bool is_of_any_pot(const struct wording *w, const struct cut *c,
                          const struct reader_meaning *m)
{
    if (!w->has_serial)
        return c->n_held == 0;
    return c->n_held == 1 && strcmp(c->held[0].digits, w->serial) == 0 &&
           !concept_set_has(&c->any, CONCEPT_WRONG) &&
           !concept_set_has(&c->any, CONCEPT_PHONE) && !c->keypad &&
           m->command == READER_NO_COMMAND && !m->serial_from_hint &&
           (m->serial[0] == '\0' || strcmp(m->serial, w->serial) == 0);
}

void wording_keep(struct wording_memo *memo, const struct wording *w,
                  const struct cut *c, const struct reader_meaning *m)
{
    struct kept *k = memo->kept[place_of(w)];

    if (!is_plain(m) || !is_of_any_pot(w, c, m))
        return;
    k[1] = k[0];
    memcpy(k->text, w->text, sizeof(k->text));
    k->len = w->len;
    k->lang = w->lang;
    k->pot = w->pot;
    k->of_pot = w->has_serial && m->serial[0] != '\0';
    k->said.outcome = m->outcome;
    k->said.why = m->why;
    k->said.command = m->command;
    memcpy(k->said.lang, m->lang, sizeof(k->said.lang));
    k->said.danger = m->danger;
    k->said.unsafe_said = m->unsafe_said;
    k->said.courtesy = m->courtesy;
    k->said.serial_from_hint = m->serial_from_hint;
    k->said.n_obs = (uint8_t)m->n_obs;
    for (size_t i = 0; i < m->n_obs; i++)
        k->said.obs[i] = m->obs[i];
}
