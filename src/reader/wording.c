/* wording.c - see wording.h. */
#include "reader/wording.h"

#include <string.h>

#define MEMO_BITS 12
#define OBS_MOST  2 /* more are not kept */
#define NO_DIGIT                                                               \
    '\x01' /* in place of those of the serial: in no folded text               \
            */

/* Of the meaning and of an observation, in bits. */
enum { KEPT_OF_POT = 1, KEPT_HINT = 2, KEPT_UNSAFE = 4, KEPT_COURTESY = 8 };
enum { KEPT_INFERRED = 1, KEPT_BRIM = 2, KEPT_WARM = 4, KEPT_MEASURE = 8 };

/*
 * Small, since the places are many and most of them far from the processor.
 * What does not fit is not kept.
 */
struct kept {
    uint8_t len; /* 0 nothing yet */
    int8_t lang;
    uint8_t pot;
    uint8_t flags; /* KEPT_OF_POT: the meaning names the serial of the text */
    uint8_t outcome, why, command, danger; /* all else of it is nothing */
    uint64_t text[WORDING_WORDS];
    double value, minutes, start_cm, degc; /* of the one measure */
    char lang_said[READER_LANG_CAP - 1];   /* the NUL behind it is not kept */
    uint8_t n_obs : 2, type : 2, unit : 4; /* of the measure, too */
    struct kept_obs {
        uint8_t kind, part, signs, people, under5, flags;
    } obs[OBS_MOST];
};

_Static_assert(sizeof(struct kept) == 128, "no more than that");
_Static_assert(WORDING_OCTETS <= UINT8_MAX && READER_SIGNS <= 8 &&
                   OBS_MOST <= 3 && READER_YIELD <= 3 && READER_BOTTLE <= 15,
               "what is kept has room");

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

/* The observation as it was kept. */
static void give_obs(const struct kept *k, const struct kept_obs *from,
                     struct reader_obs *o)
{
    o->kind = (enum reader_kind)from->kind;
    o->part = (enum reader_part)from->part;
    o->signs = from->signs;
    o->people = from->people;
    o->under5 = from->under5;
    o->inferred = (from->flags & KEPT_INFERRED) != 0;
    if (!(from->flags & KEPT_MEASURE))
        return;
    o->measure.type = (enum reader_measure_type)k->type;
    o->measure.unit = (enum reader_unit)k->unit;
    o->measure.value = k->value;
    o->measure.minutes = k->minutes;
    o->measure.start_cm = k->start_cm;
    o->measure.degc = k->degc;
    o->measure.from_brim = (from->flags & KEPT_BRIM) != 0;
    o->measure.warm = (from->flags & KEPT_WARM) != 0;
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
    out->outcome = (enum reader_outcome)k->outcome;
    out->why = (enum reader_why)k->why;
    out->command = (enum reader_command)k->command;
    memcpy(out->lang, k->lang_said, sizeof(k->lang_said));
    out->danger = k->danger;
    out->unsafe_said = (k->flags & KEPT_UNSAFE) != 0;
    out->courtesy = (k->flags & KEPT_COURTESY) != 0;
    out->n_obs = k->n_obs;
    for (size_t i = 0; i < out->n_obs; i++)
        give_obs(k, &k->obs[i], &out->obs[i]);
    out->serial_from_hint = (k->flags & KEPT_HINT) != 0;
    if (k->flags & KEPT_OF_POT)
        memcpy(out->serial, w->serial, sizeof(out->serial));
    else if (out->serial_from_hint)
        kw_copy(out->serial, sizeof(out->serial), pot, strlen(pot));
    return true;
}

static bool has_measure(const struct reader_measure *m)
{
    return m->type != READER_NO_MEASURE || m->unit != READER_FINGER ||
           m->value != 0 || m->minutes != 0 || m->from_brim ||
           m->start_cm != 0 || m->warm || m->degc != 0;
}

/* Is nothing in the meaning but what `kept` has room for? */
static bool is_plain(const struct reader_meaning *m)
{
    int measures = 0;

    if (m->n_obs > OBS_MOST || m->n_numbers != 0 || m->word[0] != '\0' ||
        m->phone[0] != '\0' || m->serial_other[0] != '\0' ||
        m->serial_wrong[0] != '\0' || m->command == READER_TESTED)
        return false;
    for (size_t i = 0; i < m->n_obs; i++) {
        const struct reader_obs *o = &m->obs[i];

        measures += has_measure(&o->measure);
        if (o->people < 0 || o->people > UINT8_MAX || o->under5 < 0 ||
            o->under5 > UINT8_MAX)
            return false;
    }
    return measures <= 1;
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

static void keep_obs(struct kept *k, const struct reader_obs *o,
                     struct kept_obs *to)
{
    const struct reader_measure *m = &o->measure;

    *to = (struct kept_obs){.kind = (uint8_t)o->kind,
                            .part = (uint8_t)o->part,
                            .signs = (uint8_t)o->signs,
                            .people = (uint8_t)o->people,
                            .under5 = (uint8_t)o->under5,
                            .flags = o->inferred ? KEPT_INFERRED : 0};
    if (!has_measure(m))
        return;
    to->flags |= (uint8_t)(KEPT_MEASURE | (m->from_brim ? KEPT_BRIM : 0) |
                           (m->warm ? KEPT_WARM : 0));
    k->type = m->type & 3;
    k->unit = m->unit & 15;
    k->value = m->value;
    k->minutes = m->minutes;
    k->start_cm = m->start_cm;
    k->degc = m->degc;
}

void wording_keep(struct wording_memo *memo, const struct wording *w,
                  const struct cut *c, const struct reader_meaning *m)
{
    struct kept *k = memo->kept[place_of(w)];

    if (!is_plain(m) || !is_of_any_pot(w, c, m))
        return;
    k[1] = k[0];
    memcpy(k->text, w->text, sizeof(k->text));
    k->len = (uint8_t)w->len;
    k->lang = w->lang;
    k->pot = w->pot;
    k->flags =
        (uint8_t)((w->has_serial && m->serial[0] != '\0' ? KEPT_OF_POT : 0) |
                  (m->serial_from_hint ? KEPT_HINT : 0) |
                  (m->unsafe_said ? KEPT_UNSAFE : 0) |
                  (m->courtesy ? KEPT_COURTESY : 0));
    k->outcome = (uint8_t)m->outcome;
    k->why = (uint8_t)m->why;
    k->command = (uint8_t)m->command;
    k->danger = (uint8_t)m->danger;
    memcpy(k->lang_said, m->lang, sizeof(k->lang_said));
    k->n_obs = m->n_obs & 3;
    for (size_t i = 0; i < m->n_obs; i++)
        keep_obs(k, &m->obs[i], &k->obs[i]);
}
