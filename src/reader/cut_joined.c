/*
 * cut_joined.c - two words whose gap was lost, of which one is small or a pot's
 * and the other is ours: "laolla", "seqebro", "decinq", "3ltrin". Only where a
 * pot's number, a pot or an illness is told of, as next to nothing else is
 * talked about there. A word that is known as it stands, or by ear one of ours,
 * is no two; a slip goes before two words that are as near. A trouble that is
 * found only so is asked about when it is short. And two words of which a
 * phrase is made: "hoshme nahi".
 */
#include "reader/cut_parts.h"
#include "reader/slip.h"

#include <string.h>

#define SMALL_LEAST  2 /* letters */
#define ANY_LEAST    3 /* of a small word of any kind */
#define ONE_BESIDE   5 /* of one of ours beside a single letter */
#define JOINED_LEAST 5
#define UNIT_LEAST   3 /* of one behind a number */
#define JOINED_MOST  20
#define CARD_LEAST   3  /* of the word of ours, one of a card, or a number */
#define OURS_LEAST   4  /* else */
#define DENIED_LEAST 6  /* of a small word and a denial */
#define SIGN_LEAST   5  /* when that is a sign of the card */
#define SIGN_LONG    7  /* any other sign */
#define SIGN_BESIDE  4  /* a sign beside an illness */
#define FILED_LEAST  5  /* else it is asked about */
#define PHRASE_LONG  48 /* octets of one in a phrase */
#define MENDS_MOST   4  /* words of a text; more are no thumb's work */
#define MEND_LEAST   5  /* of one with a slip */
#define SURE_LEAST   5  /* of one as it stands beside one with a slip */

#define B(c, k) CONCEPT_BIT(CONCEPT_##c, k)
/* "In" and "un" are the beginning of too many words. */
#define SMALL(k)                                                               \
    (B(FILLER, k) | B(AT, k) | B(OF, k) | B(NE, k) | B(MINE, k) | B(VERY, k) | \
     B(AND, k) | B(NOW, k) | B(AGAIN, k) | B(BUT, k) | B(OR, k) | B(ONLY, k) | \
     B(NUMBER, k) | B(NO, k) | B(ALL, k))
static const struct concept_set small = {{SMALL(0), SMALL(1), SMALL(2)}};
#undef SMALL
#undef B

#define FIRM                                                                   \
    (1u << CLASS_SEEN | 1u << CLASS_OURS | 1u << CLASS_SICKNESS |              \
     1u << CLASS_SIGN | 1u << CLASS_UNIT)
#define ANY (FIRM | 1u << CLASS_SMALL | 1u << CLASS_POLITE)

struct joined {
    uint32_t word[2];
    size_t first; /* octets of the first; 0 none found */
    size_t ours;  /* letters of the one that is ours */
    uint8_t slip[2];
};

/* Where it is looked for. */
struct join_hunt {
    const struct lexicon *lex;
    const char *s;
    size_t len;
    int lang;
    bool ill; /* an illness is told beside it */
    struct joined best;
};

static uint16_t symbol_of(const struct join_hunt *h, uint32_t word)
{
    return word == 0 ? 0 : cut_symbol_in(h->lex, word, h->lang);
}

static bool has_class(const struct lexicon *lex, uint16_t symbol, unsigned bits)
{
    return symbol != 0 && (lex->classes[symbol] & bits) != 0 &&
           (lex->classes[symbol] & 1u << CLASS_ALIEN) == 0;
}

static bool may_mean(const struct join_hunt *h, uint16_t symbol, enum concept k)
{
    return concept_set_has(&h->lex->sets[symbol], k);
}

/* Spanish "no"; Portuguese "no" is "in the" too. */
static bool is_denial(const struct join_hunt *h, uint16_t symbol)
{
    return may_mean(h, symbol, CONCEPT_NO) && !may_mean(h, symbol, CONCEPT_AT);
}

/* Of pots, water and people, or what is wrong with them; or how many. */
static bool is_ours(const struct join_hunt *h, uint32_t word)
{
    uint16_t symbol = symbol_of(h, word);
    const struct lexicon_word *w = &h->lex->words[word];

    if (symbol == 0)
        return false;
    if (may_mean(h, symbol, CONCEPT_NUMBER))
        return w->runes >= CARD_LEAST;
    if (!has_class(h->lex, symbol, FIRM))
        return false;
    if (has_class(h->lex, symbol, 1u << CLASS_SIGN)) /* "retirado" */
        return w->runes >= (h->ill         ? SIGN_BESIDE
                            : w->card != 0 ? SIGN_LEAST
                                           : SIGN_LONG);
    return w->runes >= (w->card != 0 ? CARD_LEAST : OURS_LEAST);
}

/* What may stand before or behind it: small, or ours too. */
static bool may_join(const struct join_hunt *h, uint32_t word)
{
    uint16_t symbol = symbol_of(h, word);

    if (symbol == 0 || may_mean(h, symbol, CONCEPT_OTHER))
        return false;
    return has_class(h->lex, symbol, 1u << CLASS_OURS) ||
           concept_set_meets(&h->lex->sets[symbol], &small) ||
           (h->lex->words[word].runes >= ANY_LEAST &&
            has_class(h->lex, symbol, ANY));
}

static void keep_if_better(struct join_hunt *h, struct joined it, uint32_t ours)
{
    it.ours = h->lex->words[ours].runes;
    if (it.ours > h->best.ours)
        h->best = it;
}

/* "Masnão": a denial behind a small word; no slip makes one. */
static bool is_denied(const struct join_hunt *h, uint32_t a, uint32_t b)
{
    uint16_t before = symbol_of(h, a), denial = symbol_of(h, b);

    return h->len >= DENIED_LEAST && h->lex->words[b].runes >= CARD_LEAST &&
           is_denial(h, denial) && may_join(h, a) && !is_denial(h, before);
}

/* Both as they stand; but "cagano" is one word. */
static void try_exact(struct join_hunt *h, size_t n)
{
    uint32_t a = lexicon_find(h->lex, h->s, n), b;

    if (a == 0 || (b = lexicon_find(h->lex, h->s + n, h->len - n)) == 0)
        return;
    if ((is_ours(h, b) && may_join(h, a)) || is_denied(h, a, b))
        keep_if_better(h, (struct joined){.word = {a, b}, .first = n}, b);
    else if (is_ours(h, a) && may_join(h, b) && !is_denial(h, symbol_of(h, b)))
        keep_if_better(h, (struct joined){.word = {a, b}, .first = n}, a);
}

/* One of them with a slip. */
static void try_mended(struct join_hunt *h, size_t n)
{
    size_t rest = h->len - n;
    uint32_t a = lexicon_find(h->lex, h->s, n),
             b = lexicon_find(h->lex, h->s + n, rest);
    struct joined it = {.first = n};

    if (a != 0 && b == 0 && rest >= MEND_LEAST && may_join(h, a)) {
        b = slip_find(h->lex, h->s + n, rest, h->lang);
        it.slip[1] = CUT_SLIP;
        if (b == 0 || !is_ours(h, b))
            return;
    } else if (a == 0 && b != 0 && n >= MEND_LEAST && rest >= SURE_LEAST &&
               is_ours(h, b)) {
        a = slip_find(h->lex, h->s, n, h->lang);
        it.slip[0] = CUT_SLIP;
        if (a == 0 || !may_join(h, a))
            return;
    } else {
        return;
    }
    it.word[0] = a;
    it.word[1] = b;
    keep_if_better(h, it, b);
}

/* Portuguese "obalde", Spanish "ymedia": a word of one letter. */
static void try_one(struct join_hunt *h)
{
    uint32_t a = lexicon_find(h->lex, h->s, 1),
             b = lexicon_find(h->lex, h->s + 1, h->len - 1);
    uint16_t symbol = symbol_of(h, a);

    if (symbol != 0 && concept_set_meets(&h->lex->sets[symbol], &small) &&
        !may_mean(h, symbol, CONCEPT_NO) &&
        h->lex->words[b].runes >= ONE_BESIDE && is_ours(h, b))
        keep_if_better(h, (struct joined){.word = {a, b}, .first = 1}, b);
}

/* "1lten 50 min", "9hslow": a unit behind its number, and what goes on; "dedos
 * en" and not "dedo sen". */
static void try_unit(struct join_hunt *h)
{
    const unsigned unit = 1u << CLASS_UNIT | 1u << CLASS_LETTER;

    for (size_t n = 1; n < h->len; n++) {
        uint32_t a = lexicon_find(h->lex, h->s, n),
                 b = lexicon_find(h->lex, h->s + n, h->len - n);
        uint16_t symbol = symbol_of(h, b);

        if (symbol != 0 && has_class(h->lex, symbol_of(h, a), unit) &&
            (may_mean(h, symbol, CONCEPT_AT) || is_ours(h, b)))
            keep_if_better(h, (struct joined){.word = {a, b}, .first = n}, a);
    }
}

static void hunt(struct join_hunt *h, bool mend)
{
    if (!mend)
        try_one(h);
    for (size_t n = SMALL_LEAST; n + SMALL_LEAST <= h->len; n++) {
        if ((h->s[n] & 0xC0) == 0x80)
            continue; /* within a letter */
        if (mend)
            try_mended(h, n);
        else
            try_exact(h, n);
    }
}

static bool may_hunt(struct cut *c, const struct join_hunt *h, bool mend)
{
    size_t n = 0;

    if (!(c->numbered || c->near_pot || c->near_illness) || h->lang < 0 ||
        (mend &&
         ((h->s[0] & 0x80) || !c->numbered || c->n_mends++ >= MENDS_MOST)))
        return false;
    for (size_t i = 0; i < h->len; i++) {
        n += (h->s[i] & 0xC0) != 0x80;
        if (i > 1 && h->s[i] == h->s[i - 1] && h->s[i] == h->s[i - 2])
            return false; /* "cassse": one word, drawn out */
    }
    return n >= JOINED_LEAST && n <= JOINED_MOST;
}

static bool are_same(const struct join_hunt *h, uint32_t a, uint32_t b)
{
    return concept_set_meets(&h->lex->sets[symbol_of(h, a)],
                             &h->lex->sets[symbol_of(h, b)]);
}

static bool is_firm(const struct join_hunt *h, uint32_t word)
{
    return has_class(h->lex, symbol_of(h, word), FIRM);
}

/* "Lolave" is a slip for "llave", or "lo lave": does what was found stand,
 * and how sure is it? */
static bool outdoes(const struct join_hunt *h, uint32_t slip, bool *sure)
{
    const uint32_t *w = h->best.word;

    if (slip == 0)
        return true;
    *sure = false;
    if (are_same(h, w[0], slip) || are_same(h, w[1], slip))
        return is_firm(h, w[0]) && is_firm(h, w[1]);
    if (is_firm(h, w[0]) && is_firm(h, w[1]))
        return true;
    return h->best.first > 1 && is_ours(h, w[1]) &&
           h->lex->words[w[1]].runes >= OURS_LEAST;
}

/* The two that were found, in the place of the atom. */
static void put(struct cut *c, const struct cut_atom *a,
                const struct joined *best)
{
    cut_add_word(c, a->at, best->first, best->word[0],
                 a->flags | CUT_SPLIT | best->slip[0]);
    cut_add_word(c, a->at + best->first, a->len - best->first, best->word[1],
                 CUT_SPLIT | CUT_GLUED | best->slip[1]);
}

bool cut_split_unit(struct cut *c, const struct lexicon *lex,
                    const struct cut_atom *a)
{
    struct join_hunt h = {.lex = lex,
                          .s = c->fold.text + a->at,
                          .len = a->len,
                          .lang = c->lang_seems};

    if (!(a->flags & CUT_GLUED) || a->at == 0 || h.lang < 0 ||
        !fold_is_digit(c->fold.text[a->at - 1]) || a->len < UNIT_LEAST ||
        a->len > JOINED_MOST)
        return false;
    try_unit(&h);
    if (h.best.first == 0)
        return false;
    put(c, a, &h.best);
    return true;
}

bool cut_split_joined(struct cut *c, const struct lexicon *lex,
                      const struct cut_atom *a, uint32_t slip, bool mend)
{
    struct join_hunt h = {.lex = lex,
                          .s = c->fold.text + a->at,
                          .len = a->len,
                          .lang = c->lang_seems,
                          .ill = c->near_illness};
    bool sure = !mend && c->numbered;
    const struct joined *best = &h.best;

    if (!may_hunt(c, &h, mend))
        return false;
    hunt(&h, mend);
    if (best->first == 0 || !outdoes(&h, slip, &sure))
        return false;
    sure &= best->ours >= FILED_LEAST;
    c->joined |=
        !sure && !(is_firm(&h, best->word[0]) && is_firm(&h, best->word[1]));
    put(c, a, best);
    return true;
}

/* Puts the two in the place of token i; false when there is no room. */
static bool part_token(struct cut *c, size_t i, size_t n, uint32_t first,
                       uint32_t second)
{
    struct cut_token *t = &c->tokens[i];

    if (c->n >= CUT_TOKENS_MOST)
        return false;
    memmove(t + 1, t, (c->n - i) * sizeof(*t));
    c->n++;
    t[0].word = first;
    t[0].len = (uint16_t)n;
    t[1].word = second;
    t[1].at = (uint16_t)(t->at + n);
    t[1].len = (uint16_t)(t[1].len - n);
    t[0].flags |= CUT_SPLIT;
    t[1].flags = CUT_SPLIT | CUT_GLUED;
    return true;
}

/* Both of them; or one, and the other means something. */
static bool is_of_phrase(const struct cut *c, const struct lexicon *lex,
                         size_t i, bool sign)
{
    bool first = cut_is_in_phrase(c, lex, i, sign),
         second = cut_is_in_phrase(c, lex, i + 1, sign);
    uint32_t other = c->tokens[first ? i + 1 : i].word;

    return (first && second) || ((first || second) && c->lang_seems >= 0 &&
                                 cut_symbol_in(lex, other, c->lang_seems) != 0);
}

bool cut_split_in_phrase(struct cut *c, const struct lexicon *lex, size_t i,
                         bool sign)
{
    const struct cut_token whole = c->tokens[i];
    const char *s = c->fold.text + whole.at;

    if (whole.len < JOINED_LEAST || whole.len > PHRASE_LONG ||
        c->n_mends++ >= MENDS_MOST)
        return false;
    for (size_t n = 1; n < whole.len; n++) {
        uint32_t a, b;

        if ((s[n] & 0xC0) == 0x80 || (a = lexicon_find(lex, s, n)) == 0 ||
            (b = lexicon_find(lex, s + n, whole.len - n)) == 0 ||
            !part_token(c, i, n, a, b))
            continue;
        if (is_of_phrase(c, lex, i, sign))
            return true;
        memmove(&c->tokens[i], &c->tokens[i + 1],
                (c->n - i - 1) * sizeof(whole));
        c->tokens[i] = whole;
        c->n--;
    }
    return false;
}
