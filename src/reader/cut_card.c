/*
 * cut_card.c - "t bucke", "vuite": in a sentence of nothing but what is on the
 * card, one slip in a word of the card goes before all else that it may be a
 * slip for. Words that are known as they stand are themselves.
 */
#include "reader/cut_parts.h"

#include <string.h>

#define CARD_WORDS   9 /* letters and units count */
#define CARD_UNKNOWN 2

bool cut_is_card_word(const struct lexicon *lex, const struct cut_token *t)
{
#define B(c, k) CONCEPT_BIT(CONCEPT_##c, k)
#define ALSO(k)                                                                \
    (B(ILL, k) | B(GUT, k) | B(PART, k) | B(TAP, k) | B(LID, k) |              \
     B(BUCKET, k) | B(DOWN, k) | B(GOT, k) | B(UNDER5, k) | B(RICE_GRAIN, k) | \
     B(WATER, k) | B(OF, k) | B(POT, k) | B(AND, k) | B(HALF, k) |             \
     B(QUARTER, k))
    static const struct concept_set also = {{ALSO(0), ALSO(1), ALSO(2)}};
#undef ALSO
#undef B
    const unsigned card = 1u << CLASS_SEEN | 1u << CLASS_SIGN |
                          1u << CLASS_UNIT | 1u << CLASS_LETTER |
                          1u << CLASS_ALIEN;

    return (lex->classes[t->symbol] & card) != 0 ||
           concept_set_meets(&lex->sets[t->symbol], &also);
}

void cut_take(const struct lexicon *lex, struct cut_token *t, uint32_t word,
              int lang)
{
    t->word = word;
    t->node = lex->words[word].root;
    t->symbol = cut_settle(lex, t, lang);
    t->flags |= CUT_SLIP;
}

/* In a words file letter by letter, or a phrase. */
static bool is_as_written(struct cut *c, const struct lexicon *lex,
                          const struct cut_token *t)
{
    const char *s = c->fold.text + t->at;

    return memchr(s, ' ', t->len) != NULL ||
           cut_hear(c, lex, s, t->len)->word != 0;
}

/* May it be a slip in a word of the card? What is one by ear is not. */
static bool is_doubtful(struct cut *c, const struct lexicon *lex,
                        const struct cut_token *t)
{
    if (t->symbol < CONCEPT_WORD || (t->flags & (CUT_LETTER | CUT_SPLIT)))
        return false;
    return ((t->flags & CUT_SLIP) || t->symbol == CONCEPT_WORD ||
            !cut_is_card_word(lex, t)) &&
           !is_as_written(c, lex, t);
}

/* Nothing but what the card has, and words that may be slips? */
static bool is_card(struct cut *c, const struct lexicon *lex)
{
    size_t words = 0, unknown = 0;

    if (!concept_set_has(&c->any, CONCEPT_SERIAL) &&
        !concept_set_has(&c->any, CONCEPT_WRONG))
        return false;
    for (size_t i = 1; i < c->n; i++) {
        const struct cut_token *t = &c->tokens[i];

        if (t->symbol <= CONCEPT_PAUSE ||
            (lex->classes[t->symbol] & 1u << CLASS_POLITE))
            continue;
        words++;
        if (is_doubtful(c, lex, t))
            unknown++;
        else if (!cut_is_card_word(lex, t) && !(t->flags & CUT_LETTER))
            return false;
    }
    return words <= CARD_WORDS && unknown > 0 && unknown <= CARD_UNKNOWN;
}

void cut_card(struct cut *c, const struct lexicon *lex)
{
    bool taken = false;

    if (!is_card(c, lex))
        return;
    for (size_t i = 1; i < c->n; i++) {
        struct cut_token *t = &c->tokens[i];
        uint32_t w;

        if (!is_doubtful(c, lex, t) || c->n_slips++ >= CUT_SLIPS_MOST)
            continue;
        w = slip_find_card(lex, c->fold.text + t->at, t->len, c->lang_seems);
        if (w != 0)
            cut_take(lex, t, w, c->lang_seems);
        taken |= w != 0;
    }
    if (taken)
        cut_sum_up(c, lex);
}
