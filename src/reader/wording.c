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

/* So many digits; false when there are fewer. */
static bool take_digits(const char *s, int n, char *to)
{
    for (int i = 0; i < n; i++) {
        if (!fold_is_digit(s[i]))
            return false;
        to[i] = s[i];
    }
    return true;
}

/* May it stand between the groups of a serial? */
static bool is_part_mark(char c)
{
    return c == '-' || c == ' ' || c == '.';
}

/*
 * The octets of what looks like a serial and begins at s, in one group or in
 * those of the card; 0 for none. The text ends in a NUL.
 */
static size_t serial_at(const struct serial_layout *l, const char *s,
                        char serial[SERIAL_CAP])
{
    int want = serial_chars(l), check = l->batch_chars + l->pot_chars;
    const char *at = s + l->batch_chars;
    bool parted;

    if (!take_digits(s, l->batch_chars, serial))
        return 0;
    parted = is_part_mark(*at);
    at += parted;
    if (!take_digits(at, l->pot_chars, serial + l->batch_chars))
        return 0;
    at += l->pot_chars;
    if (parted && !is_part_mark(*at++))
        return 0;
    if (!take_digits(at, want - check, serial + check))
        return 0;
    at += want - check;
    serial[want] = '\0';
    return fold_is_alnum(*at) ? 0 : (size_t)(at - s);
}

/*
 * Takes out what looks like the first serial; its marks stay. Only where no
 * other digits can be taken for a part of it: cut_digits.c tries groups as on
 * the card, of three and three, and all of a run together. With pots of four
 * digits, "123 456" before a batch would be tried with it.
 */
static void take_serial(struct wording *w, const struct fold *f,
                        const struct serial_layout *l)
{
    char *text = (char *)w->text;
    size_t len;

    if (l->check != SERIAL_MOD_97_10 || l->batch_chars < 3 ||
        l->pot_chars != 3 || serial_chars(l) > SERIAL_CHARS_MAX)
        return;
    for (size_t at = 0; at < f->len; at++) {
        if (!fold_is_digit(f->text[at]) ||
            (at > 0 && f->text[at - 1] != ' ') || /* "<5" is no number */
            (len = serial_at(l, f->text + at, w->serial)) == 0)
            continue;
        w->has_serial = true;
        for (; len > 0; len--, at++)
            text[at] = fold_is_digit(text[at]) ? NO_DIGIT : text[at];
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
                    const struct serial_layout *layout, const char *pot,
                    struct reader_meaning *out)
{
    const struct kept *k = memo->kept[place_of(w)];

    if (!is_same(k, w) && !is_same(++k, w))
        return false;
    if (w->has_serial &&
        serial_verify(layout, w->serial, strlen(w->serial)) != 0)
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
