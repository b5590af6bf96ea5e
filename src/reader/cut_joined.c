/*
 * cut_joined.c - two words without a gap, of which one is small or a pot's and
 * the other is ours: "laolla", "seqebro", "tapbustd". Only in a text with the
 * number of a pot, where next to nothing else is talked about; and what is
 * known as it stands, or by ear, never comes here.
 */
#include "reader/cut_parts.h"
#include "reader/slip.h"

#define SMALL_LEAST  2
#define JOINED_LEAST 5 /* letters */
#define JOINED_MOST  20
#define CARD_LEAST   3 /* of the word of ours, one of a card */
#define OURS_LEAST   4 /* else */
#define SIGN_LEAST   5 /* when that is a sign of the card */
#define SIGN_LONG    7 /* any other sign */
#define MENDS_MOST   4 /* words of a text; more are no thumb's work */
#define MEND_LEAST   5 /* of one with a slip */
#define SURE_LEAST   5 /* of one as it stands beside one with a slip */

#define B(c, k) CONCEPT_BIT(CONCEPT_##c, k)
/* "In" and "un" are the beginning of too many words. */
#define SMALL(k)                                                               \
    (B(FILLER, k) | B(AT, k) | B(OF, k) | B(NE, k) | B(MINE, k) | B(VERY, k) | \
     B(AND, k) | B(NOW, k) | B(AGAIN, k))
static const struct concept_set small = {{SMALL(0), SMALL(1), SMALL(2)}};
#undef SMALL
#undef B

#define FIRM                                                                   \
    (1u << CLASS_SEEN | 1u << CLASS_OURS | 1u << CLASS_SICKNESS |              \
     1u << CLASS_SIGN)

struct joined {
    uint32_t word[2];
    size_t first; /* letters of the first; 0 none found */
    size_t ours;  /* letters of the one that is ours */
    uint8_t slip[2];
};

static bool has_class(const struct lexicon *lex, uint16_t symbol, unsigned bits)
{
    return symbol != 0 && (lex->classes[symbol] & bits) != 0 &&
           (lex->classes[symbol] & 1u << CLASS_ALIEN) == 0;
}

/* Of pots, water and people, or what is wrong with them. */
static bool is_ours(const struct lexicon *lex, uint32_t word, size_t len,
                    int lang)
{
    uint16_t symbol = word == 0 ? 0 : cut_symbol_in(lex, word, lang);
    bool card;

    if (!has_class(lex, symbol, FIRM) || !lex->words[word].listed)
        return false;
    card = lex->words[word].card != 0;
    if (has_class(lex, symbol, 1u << CLASS_SIGN))
        return len >= (card ? SIGN_LEAST : SIGN_LONG); /* "retirado" */
    return len >= (card ? CARD_LEAST : OURS_LEAST);
}

/* What may stand before or behind it: small, or ours too. */
static bool may_join(const struct lexicon *lex, uint32_t word, int lang)
{
    uint16_t symbol = word == 0 ? 0 : cut_symbol_in(lex, word, lang);

    if (symbol == 0)
        return false;
    return has_class(lex, symbol, 1u << CLASS_OURS) ||
           concept_set_meets(&lex->sets[symbol], &small);
}

static void keep_if_better(struct joined *best, struct joined it)
{
    if (it.ours > best->ours)
        *best = it;
}

/* Both as they stand. */
static void try_exact(const struct lexicon *lex, const char *s, size_t n,
                      size_t len, int lang, struct joined *best)
{
    uint32_t a = lexicon_find(lex, s, n), b;

    if (a == 0 || (b = lexicon_find(lex, s + n, len - n)) == 0)
        return;
    if (is_ours(lex, b, len - n, lang) && may_join(lex, a, lang))
        keep_if_better(best, (struct joined){{a, b}, n, len - n, {0, 0}});
    else if (is_ours(lex, a, n, lang) && may_join(lex, b, lang))
        keep_if_better(best, (struct joined){{a, b}, n, n, {0, 0}});
}

/* One of them with a slip. */
static void try_mended(const struct lexicon *lex, const char *s, size_t n,
                       size_t len, int lang, struct joined *best)
{
    uint32_t a = lexicon_find(lex, s, n), b = lexicon_find(lex, s + n, len - n);

    if (a != 0 && b == 0 && len - n >= MEND_LEAST && may_join(lex, a, lang)) {
        b = slip_find(lex, s + n, len - n, lang);
        if (is_ours(lex, b, len - n, lang))
            keep_if_better(best,
                           (struct joined){{a, b}, n, len - n, {0, CUT_SLIP}});
    } else if (a == 0 && b != 0 && n >= MEND_LEAST && len - n >= SURE_LEAST &&
               is_ours(lex, b, len - n, lang)) {
        a = slip_find(lex, s, n, lang);
        if (may_join(lex, a, lang))
            keep_if_better(best,
                           (struct joined){{a, b}, n, len - n, {CUT_SLIP, 0}});
    }
}

bool cut_split_joined(struct cut *c, const struct lexicon *lex,
                      const struct cut_atom *a, bool mend)
{
    const char *s = c->fold.text + a->at;
    struct joined best = {.first = 0};

    if (!c->numbered || c->lang_seems < 0 || (s[0] & 0x80) ||
        a->len < JOINED_LEAST || a->len > JOINED_MOST ||
        (mend && c->n_mends++ >= MENDS_MOST))
        return false;
    for (size_t n = SMALL_LEAST; n + SMALL_LEAST <= a->len; n++) {
        if (mend)
            try_mended(lex, s, n, a->len, c->lang_seems, &best);
        else
            try_exact(lex, s, n, a->len, c->lang_seems, &best);
    }
    if (best.first == 0)
        return false;
    for (int k = 0; k < 2; k++)
        c->joined |= !has_class(
            lex, cut_symbol_in(lex, best.word[k], c->lang_seems), FIRM);
    cut_add_word(c, a->at, best.first, best.word[0],
                 a->flags | CUT_SPLIT | best.slip[0]);
    cut_add_word(c, a->at + best.first, a->len - best.first, best.word[1],
                 CUT_SPLIT | CUT_GLUED | best.slip[1]);
    return true;
}
