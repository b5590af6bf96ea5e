/*
 * cut_expect.c - "ill 2 u1 blnod", "slow 4 fingrs 10h": in a short sentence as
 * on the card, a word that is no word is taken for the sort of word that is
 * missing there. What stays dark is marked, so that it is asked about and
 * never left out unseen.
 */
#include "reader/cut_parts.h"

#include <string.h>

#define EXPECT_WORDS   7 /* a card's sentence is not longer */
#define EXPECT_UNKNOWN 2
#define SEEN_WORDS     3 /* in "crack leak" a third thing may be meant */
#define FOREIGN_WORDS  4
#define FOREIGN_CARD   5 /* letters of a word of a card: it is itself */
#define EYES_MOST      3 /* a letter left out of "sunken" */
#define SIGN_MOST      2 /* as far as the key beside the right one */
#define FOREIGN_MOST                                                           \
    6 /* letters of another language's word that may be a                      \
         slip of this one's */

struct sentence { /* what a short text has */
    size_t words, unknown, small, units;
    bool count, alien, under5;
    bool seen, flow, ill, sign, rice, part, part_name;
};

static bool is_a(const struct lexicon *lex, const struct cut_token *t,
                 enum concept c)
{
    return concept_set_has(&lex->sets[t->symbol], c);
}

static bool has_class(const struct lexicon *lex, const struct cut_token *t,
                      unsigned classes)
{
    return (lex->classes[t->symbol] & classes) != 0;
}

/* May any of the tokens mean it? */
static bool may_be_any(const struct cut *c, enum concept concept)
{
    return concept_set_has(&c->any, concept);
}

/* Of a sort that a card's sentence has no place for. */
static bool is_idle(const struct lexicon *lex, const struct cut_token *t)
{
    return t->symbol > CONCEPT_PAUSE &&
           !has_class(lex, t, 1u << CLASS_POLITE) &&
           (!cut_is_card_word(lex, t) || has_class(lex, t, 1u << CLASS_ALIEN));
}

/* Not understood, or by a slip only taken for a word that says nothing. */
static bool is_dark(const struct lexicon *lex, const struct cut_token *t)
{
    return t->symbol == CONCEPT_OTHER ||
           ((t->flags & CUT_SLIP) && t->node != 0 && is_idle(lex, t)) ||
           (t->symbol == CONCEPT_WORD && t->node == 0 && t->word == 0) ||
           (t->symbol == CONCEPT_WORD && (t->flags & CUT_LETTER) == 0);
}

static bool is_number(const struct cut_token *t)
{
    return t->symbol == CONCEPT_NUMBER || t->symbol == CONCEPT_CLOCK;
}

/* What the words may mean, and what those mean that mean one thing. */
struct meant {
    struct concept_set may, is;
    uint32_t classes;
};

static void look_at_token(const struct lexicon *lex, const struct cut_token *t,
                          struct sentence *s, struct meant *m)
{
    bool dark;

    s->count |= t->symbol == CONCEPT_NUMBER;
    s->units += is_number(t - 1) &&
                has_class(lex, t, 1u << CLASS_UNIT | 1u << CLASS_LETTER);
    if (t->symbol <= CONCEPT_PAUSE || has_class(lex, t, 1u << CLASS_POLITE))
        return;
    dark = is_dark(lex, t);
    s->words++;
    s->unknown += dark;
    s->small += !dark && !cut_is_card_word(lex, t);
    s->alien |= !dark && has_class(lex, t, 1u << CLASS_ALIEN);
    m->classes |= lex->classes[t->symbol];
    concept_set_join(&m->may, &lex->sets[t->symbol]);
    if (t->symbol < CONCEPT_COUNT)
        concept_set_add(&m->is, (enum concept)t->symbol);
}

/* Wholly, when it is short enough for a card's. */
static void look_at(const struct cut *c, const struct lexicon *lex,
                    struct sentence *s)
{
    struct meant m = {0};

#define MAY(c) concept_set_has(&m.may, CONCEPT_##c)
#define IS(c)  concept_set_has(&m.is, CONCEPT_##c)
    *s = (struct sentence){0};
    for (size_t i = 1; i < c->n && s->words <= EXPECT_WORDS; i++)
        look_at_token(lex, &c->tokens[i], s, &m);
    s->seen = m.classes & (1u << CLASS_SEEN | 1u << CLASS_ASKING);
    s->sign = m.classes & 1u << CLASS_SIGN;
    s->flow = MAY(SLOW) || MAY(FAST) || IS(LETTER_S) || IS(LETTER_F) ||
              IS(DOWN) || IS(GOT);
    s->rice = MAY(RICE_GRAIN);
    s->ill = MAY(ILL) || MAY(GUT) || IS(LETTER_I);
    s->under5 = MAY(UNDER5) || IS(LETTER_U);
    s->part = MAY(PART) || IS(LETTER_T);
    s->part_name = MAY(TAP) || MAY(LID) || MAY(BUCKET);
#undef IS
#undef MAY
}

/* Does a number beside token i lack its unit? */
static bool lacks_unit(const struct cut *c, const struct lexicon *lex, size_t i)
{
    const unsigned unit = 1u << CLASS_UNIT | 1u << CLASS_LETTER;
    const struct cut_token *t = &c->tokens[i];
    bool end = i + 1 >= c->n;

    if (is_number(t - 1) && (i < 2 || !has_class(lex, t - 2, unit)))
        return true;
    return !end && is_number(t + 1) &&
           (i + 2 >= c->n || !has_class(lex, t + 2, unit));
}

static uint32_t seek_new(const struct lexicon *lex, const char *s, size_t len,
                         const struct slip_expected *e, bool near)
{
    return near ? slip_is_near(lex, s, len, e)
                : slip_find_expected(lex, s, len, e);
}

/* Either of the two for the letters of a token, remembered. */
static uint32_t seek(struct cut *c, const struct lexicon *lex,
                     const struct cut_token *t, const struct slip_expected *e,
                     bool near)
{
    const char *s = c->fold.text + t->at;
    const uint64_t *bits = e->concepts.bits;
    uint32_t hash = lexicon_hash(s, t->len);
    struct cut_sought *k;
    char letters[CUT_HEARD_LETTERS] = {0};

    if (t->len == 0 || t->len >= CUT_HEARD_LETTERS)
        return seek_new(lex, s, t->len, e, near);
    hash ^=
        (uint32_t)((bits[0] ^ bits[1] ^ bits[2]) * 0x9E3779B97F4A7C15u >> 32);
    k = &c->sought[hash % CUT_SOUGHT];
    memcpy(letters, s, t->len);
    if (k->near != near || memcmp(k->letters, letters, sizeof(letters)) != 0 ||
        !slip_expected_same(&k->expected, e)) {
        k->found = seek_new(lex, s, t->len, e, near);
        k->expected = *e;
        k->near = near;
        memcpy(k->letters, letters, sizeof(letters));
    }
    return k->found;
}

/* What may be missing where token i stands. */
static struct concept_set missing(const struct cut *c,
                                  const struct lexicon *lex,
                                  const struct sentence *s, size_t i)
{
    struct concept_set set = {{0}};

    if (s->flow && lacks_unit(c, lex, i)) {
        concept_set_join(&set, &lex->of_class[CLASS_UNIT]);
    } else if (s->part && !s->part_name) {
        concept_set_add(&set, CONCEPT_TAP);
        concept_set_add(&set, CONCEPT_LID);
        concept_set_add(&set, CONCEPT_BUCKET);
    } else if (s->part_name && !s->part && !s->seen) {
        concept_set_add(&set, CONCEPT_PART);
        concept_set_join(&set, &lex->of_class[CLASS_SEEN]);
    } else if (s->ill && !s->sign) {
        concept_set_join(&set, &lex->of_class[CLASS_SIGN]);
        concept_set_add(&set, CONCEPT_RICE_GRAIN);
        if (s->rice)
            concept_set_add(&set, CONCEPT_WATER);
    } else if (!s->ill && (s->sign || s->under5)) {
        concept_set_add(&set, CONCEPT_ILL);
        concept_set_add(&set, CONCEPT_GUT);
    } else {
        concept_set_join(&set, &lex->of_class[CLASS_SEEN]);
        if (s->seen && !s->flow && !s->part_name) { /* "llavr rota" */
            concept_set_add(&set, CONCEPT_TAP);
            concept_set_add(&set, CONCEPT_LID);
            concept_set_add(&set, CONCEPT_BUCKET);
        }
        if (s->flow && s->count) {
            concept_set_add(&set, CONCEPT_DOWN);
            concept_set_add(&set, CONCEPT_GOT);
        }
        if (!s->seen && !s->part) {
            concept_set_join(&set, &lex->of_class[CLASS_SIGN]);
            concept_set_add(&set, CONCEPT_ILL);
            concept_set_add(&set, CONCEPT_GUT);
        }
    }
    return set;
}

struct votes { /* of the words, by language */
    int score[LEXICON_LANGS];
    uint32_t langs; /* that have any */
};

static uint32_t votes_of(const struct lexicon *lex, const struct cut_token *t)
{
    return (t->flags & CUT_LETTER) ? 0
                                   : lex->nodes[t->node].langs & ~lex->common;
}

static void vote(struct votes *v, uint32_t langs, int by)
{
    for (v->langs |= langs; langs != 0; langs &= langs - 1)
        v->score[__builtin_ctz(langs)] += by;
}

/* The language that most words are in but for one of these, else the sender's.
 */
static int language_without(const struct votes *v, uint32_t own, int lang)
{
    int best = -1, most = 0;

    for (uint32_t langs = v->langs; langs != 0; langs &= langs - 1) {
        int k = __builtin_ctz(langs), score = v->score[k] - (int)(own >> k & 1);

        if (score > most || (score == most && score > 0 && k == lang)) {
            most = score;
            best = k;
        }
    }
    return best >= 0 ? best : lang;
}

/*
 * "roti enfermo 2" is no bread: a short word of another language that is one
 * slip from a word of this one, and of another meaning, is dark. Signs are
 * signs in every language, and orders stand beside names that are none; a long
 * word of any card is itself.
 * True when there was one.
 */
static bool darken_foreign(struct cut *c, const struct lexicon *lex, int lang)
{
    struct votes v = {.langs = 0};
    bool any = false;

    for (size_t i = 1; i < c->n; i++)
        vote(&v, votes_of(lex, &c->tokens[i]), 1);
    for (size_t i = 1; i < c->n; i++) {
        struct cut_token *t = &c->tokens[i];
        struct slip_expected e = {.alone = true, .native = true, .most = 3};
        uint32_t langs = lex->nodes[t->node].langs & ~lex->common;

        if (langs == 0 || t->len > FOREIGN_MOST || t->len < 3 ||
            t->symbol <= CONCEPT_PAUSE ||
            (t->len >= FOREIGN_CARD && lex->words[t->word].card != 0) ||
            has_class(lex, t,
                      1u << CLASS_SIGN | 1u << CLASS_POLITE | 1u << CLASS_UNIT |
                          1u << CLASS_ORDER))
            continue;
        e.lang = language_without(&v, votes_of(lex, t), lang);
        if (e.lang < 0 || (langs >> e.lang & 1) ||
            c->n_slips++ >= CUT_SLIPS_MOST)
            continue;
        concept_set_join(&e.concepts, &lex->of_class[CLASS_SEEN]);
        concept_set_join(&e.concepts, &lex->of_class[CLASS_SIGN]);
        concept_set_join(&e.concepts, &lex->of_class[CLASS_UNIT]);
        concept_set_join(&e.concepts, &lex->of_class[CLASS_OURS]);
        concept_set_join(&e.concepts, &lex->of_class[CLASS_SICKNESS]);
        concept_set_drop(&e.concepts, &lex->sets[t->symbol]); /* means it too */
        if (!seek(c, lex, t, &e, true))
            continue;
        vote(&v, votes_of(lex, t), -1);
        t->node = t->word = 0;
        t->symbol = CONCEPT_WORD;
        t->flags |= CUT_SLIP;
        any = true;
    }
    return any;
}

/* One dark word; true when it is dark no more. */
static bool lighten(struct cut *c, const struct lexicon *lex,
                    const struct sentence *s, size_t i)
{
    struct cut_token *t = &c->tokens[i];
    struct slip_expected e = {.lang = c->lang_seems};
    uint32_t w;

    if (t->symbol == CONCEPT_OTHER && !s->count && s->words < 2 &&
        !(t->flags & CUT_SLIP))
        return false;
    if (s->seen && !s->ill && !s->count && s->words > SEEN_WORDS)
        return false;
    if (t->flags & CUT_SPLIT)
        return false; /* a half has no slack: "surface" is no "sur cace" */
    if (t->len < 3 || c->n_slips++ >= CUT_SLIPS_MOST)
        return false;
    e.alone = s->ill || s->count || s->words > 1;
    e.apart = s->words == 1;
    /* "maji ndan" is no "nidhan"; "part balde" is a part all the same */
    e.native = e.lang >= 0 && s->words > 1 && !s->part && !s->part_name;
    e.concepts = missing(c, lex, s, i);
    w = seek(c, lex, t, &e, false);
    if (w != 0)
        cut_take(lex, t, w, c->lang_seems);
    return w != 0;
}

/* "water flws too fast 5l 20min": nothing is missing. */
static bool is_whole(const struct sentence *s)
{
    return s->flow && !s->ill && s->seen && s->units >= 2;
}

/* Might a dark word have been meant as one that counts? Where the flow is told
 * wholly, no unit is wanted any more. */
static bool is_near_ours(struct cut *c, const struct lexicon *lex,
                         const struct cut_token *t, bool whole)
{
    struct slip_expected e = {.lang = c->lang_seems, .alone = true};

    concept_set_join(&e.concepts, &lex->of_class[CLASS_SEEN]);
    concept_set_join(&e.concepts, &lex->of_class[CLASS_SIGN]);
    if (!whole)
        concept_set_join(&e.concepts, &lex->of_class[CLASS_UNIT]);
    concept_set_add(&e.concepts, CONCEPT_ILL);
    concept_set_add(&e.concepts, CONCEPT_GUT);
    concept_set_add(&e.concepts, CONCEPT_TAP);
    concept_set_add(&e.concepts, CONCEPT_LID);
    concept_set_add(&e.concepts, CONCEPT_BUCKET);
    concept_set_add(&e.concepts, CONCEPT_RICE_GRAIN);
    e.most = t->len < 4 ? 2 : 4;
    return seek(c, lex, t, &e, true) != 0;
}

/* "ill 1 dad": a word that has no place in so short a sentence but is near
 * to a sign. */
static bool may_be_sign(struct cut *c, const struct lexicon *lex)
{
    struct slip_expected e = {.lang = c->lang_seems, .alone = true, .most = 4};

    concept_set_join(&e.concepts, &lex->of_class[CLASS_SIGN]);
    for (size_t i = 1; i < c->n; i++) {
        const struct cut_token *t = &c->tokens[i];

        if (is_idle(lex, t) && !is_dark(lex, t))
            return seek(c, lex, t, &e, true) != 0;
    }
    return false;
}

/* "4 pesons sick": a slip, but for someone. */
static bool is_plain_person(struct cut *c, const struct lexicon *lex,
                            const struct cut_token *t)
{
    struct slip_expected e = {.lang = c->lang_seems, .alone = true, .most = 3};

    if (!(t->flags & CUT_SLIP) ||
        !(is_a(lex, t, CONCEPT_PERSON) || is_a(lex, t, CONCEPT_CHILD) ||
          is_a(lex, t, CONCEPT_BABY)))
        return false;
    concept_set_join(&e.concepts, &lex->of_class[CLASS_SIGN]);
    return seek(c, lex, t, &e, true) == 0;
}

static void lighten_all(struct cut *c, const struct lexicon *lex,
                        struct sentence *s)
{
    for (size_t i = 1; i < c->n; i++) {
        const struct cut_token *t = &c->tokens[i];

        if (!is_dark(lex, t))
            continue;
        if (lighten(c, lex, s, i))
            look_at(c, lex, s);
        else if (t->len > 2 && !is_plain_person(c, lex, t))
            c->doubt |=
                (s->count && (s->ill || s->flow || s->sign) && !is_whole(s)) ||
                is_near_ours(c, lex, t, is_whole(s));
    }
}

/*
 * "diarrhoea with blodo", "eyes sukken": behind an illness and "with" a word
 * that is next to a sign is one, whatever small words stand there.
 */
static void lighten_signs(struct cut *c, const struct lexicon *lex)
{
    for (size_t i = 2; i < c->n; i++) {
        struct cut_token *t = &c->tokens[i];
        struct slip_expected e = {.lang = c->lang_seems,
                                  .alone = true,
                                  .native = true,
                                  .most = SIGN_MOST};
        bool eyes = is_a(lex, t - 1, CONCEPT_EYES);
        uint32_t w;

        if (!is_dark(lex, t) || t->len < 5 || (t->flags & CUT_SPLIT) ||
            c->n_slips + 2u > CUT_SLIPS_MOST ||
            !(eyes || is_a(lex, t - 1, CONCEPT_AT) ||
              is_a(lex, t - 1, CONCEPT_AND) || is_a(lex, t - 1, CONCEPT_VERY) ||
              has_class(lex, t - 1, 1u << CLASS_SICKNESS)))
            continue;
        if (eyes) {
            concept_set_add(&e.concepts, CONCEPT_SUNKEN);
            e.most = EYES_MOST;
        } else {
            concept_set_join(&e.concepts, &lex->of_class[CLASS_SIGN]);
        }
        c->n_slips += 2;
        if (!slip_is_near(lex, c->fold.text + t->at, t->len, &e))
            continue;
        w = slip_find_expected(lex, c->fold.text + t->at, t->len, &e);
        if (w != 0)
            cut_take(lex, t, w, c->lang_seems);
    }
}

/* A dark word as one of these, when it is that near; true when it was. */
static bool lighten_as(struct cut *c, const struct lexicon *lex,
                       struct cut_token *t, const struct slip_expected *e)
{
    const char *word = c->fold.text + t->at;
    uint32_t w;

    if (c->n_slips++ >= CUT_SLIPS_MOST || !slip_is_near(lex, word, t->len, e) ||
        (w = slip_find_expected(lex, word, t->len, e)) == 0)
        return false;
    cut_take(lex, t, w, e->lang);
    return true;
}

/*
 * "nlood when she goes to the toilet": beside a stool, a slip for blood;
 * "diarrhoea, she deid": beside an illness, letters swapped in another sign.
 */
static void lighten_beside(struct cut *c, const struct lexicon *lex)
{
    struct slip_expected blood = {
        .lang = c->lang_seems, .alone = true, .native = true, .most = 3};
    struct slip_expected other = blood;
    bool stool = false, ill = false;

    if (blood.lang < 0 ||
        !(may_be_any(c, CONCEPT_STOOL) || may_be_any(c, CONCEPT_GUT) ||
          may_be_any(c, CONCEPT_ILL)))
        return;
    concept_set_add(&blood.concepts, CONCEPT_BLOOD);
    concept_set_join(&other.concepts, &lex->of_class[CLASS_SIGN]);
    for (size_t i = 1; i < c->n; i++) {
        stool |= is_a(lex, &c->tokens[i], CONCEPT_STOOL) ||
                 is_a(lex, &c->tokens[i], CONCEPT_GUT);
        ill |= stool || is_a(lex, &c->tokens[i], CONCEPT_ILL);
    }
    for (size_t i = 1; i < c->n && ill; i++) {
        struct cut_token *t = &c->tokens[i];

        if ((t->symbol != CONCEPT_WORD && t->symbol != CONCEPT_OTHER) ||
            (t->word != 0 && (t->flags & CUT_SLIP) == 0) || t->len < 4 ||
            (stool && lighten_as(c, lex, t, &blood)))
            continue;
        other.most = t->len < 5 ? 1 : 2;
        lighten_as(c, lex, t, &other);
    }
}

/*
 * "ill 3 u1 bood": nobody texts a number of ill and that all is good; where the
 * word is no farther from a sign it is dark. True when there was one.
 */
static bool darken_fine(struct cut *c, const struct lexicon *lex)
{
    struct slip_expected e = {.lang = c->lang_seems, .alone = true, .most = 3};
    bool any = false;

    concept_set_join(&e.concepts, &lex->of_class[CLASS_SIGN]);
    for (size_t i = 1; i < c->n; i++) {
        struct cut_token *t = &c->tokens[i];

        if (!(t->flags & CUT_SLIP) || !is_a(lex, t, CONCEPT_FINE) ||
            c->n_slips++ >= CUT_SLIPS_MOST || !seek(c, lex, t, &e, true))
            continue;
        t->node = t->word = 0;
        t->symbol = CONCEPT_WORD;
        any = true;
    }
    return any;
}

void cut_expect(struct cut *c, const struct lexicon *lex, int lang)
{
    struct sentence s;

    if (may_be_any(c, CONCEPT_WORD) || may_be_any(c, CONCEPT_OTHER))
        lighten_beside(c, lex);
    if (!may_be_any(c, CONCEPT_SERIAL) && !may_be_any(c, CONCEPT_WRONG))
        return;
    look_at(c, lex, &s);
    if (s.words > EXPECT_WORDS || s.unknown > EXPECT_UNKNOWN)
        return;
    if (s.small <= 1 && s.words <= FOREIGN_WORDS &&
        darken_foreign(c, lex, lang))
        look_at(c, lex, &s);
    if (s.ill && s.count && !s.sign && may_be_any(c, CONCEPT_FINE) &&
        darken_fine(c, lex))
        look_at(c, lex, &s);
    if (s.small == 1 && s.ill && s.count && !s.sign && !s.flow)
        c->doubt = may_be_sign(c, lex);
    if (s.small > 0) {
        if (s.ill && !s.sign && s.unknown > 0)
            lighten_signs(c, lex);
        return;
    }
    c->card = true;
    if (s.alien && s.count && (s.ill || s.flow || s.sign))
        c->doubt = true;
    if (!s.alien && s.unknown > 0)
        lighten_all(c, lex, &s);
}
