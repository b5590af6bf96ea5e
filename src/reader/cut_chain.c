/*
 * cut_chain.c - whole sentences without a gap, taken apart: "nolousamosmas",
 * "wenolongerusethefilter". All letters must go into words of one language as
 * they stand, the fewer the better, and one of them must be of what texts to us
 * are about. What two languages read at the same price is left alone.
 */
#include "reader/cut_parts.h"

#define CHAIN_MOST  40 /* letters */
#define CHAIN_WORD  16 /* of one word */
#define CHAIN_HEAVY 4  /* of a word of ours that must be among them */
#define CHAIN_LONG  13 /* where no number is near; most words are shorter */
#define CHAIN_BRING 3  /* that a word must bring, on the average */
#define PRICE_NONE  UINT16_MAX

/* The words that begin at each letter, by their length. */
struct chain {
    const struct lexicon *lex;
    const char *s;
    size_t len;
    bool beside_digits;
    uint32_t words[CHAIN_MOST][CHAIN_WORD + 1];
};

/* The best way to the end from each letter: its price and first word. */
struct chain_way {
    uint16_t price[CHAIN_MOST + 1];
    uint8_t first[CHAIN_MOST];
    size_t heavy; /* words of what texts to us are about */
    size_t n;     /* of the whole */
};

static void find_words(struct chain *h)
{
    for (size_t i = 0; i < h->len; i++) {
        uint32_t sum = LEXICON_HASH_BEGIN;

        for (size_t n = 1; n <= CHAIN_WORD && i + n <= h->len; n++) {
            sum = lexicon_hash_add(sum, h->s[i + n - 1]);
            h->words[i][n] =
                lexicon_find_hash(h->lex, h->s + i, n, lexicon_hash_end(sum));
        }
    }
}

/* What a word of so many letters costs; short ones are everywhere. */
static unsigned price_of(size_t len)
{
    static const uint8_t prices[] = {0, 9, 7, 6, 4};

    return prices[len < KW_COUNT(prices) ? len : KW_COUNT(prices) - 1];
}

uint16_t cut_symbol_in(const struct lexicon *lex, uint32_t word, int lang)
{
    uint32_t root = lex->words[word].root;
    uint16_t symbol = lexicon_symbol_in(lex, root, lang);

    for (uint32_t k = lex->common; symbol == 0 && k != 0; k &= k - 1)
        symbol = lexicon_symbol_in(lex, root, __builtin_ctz(k));
    return symbol;
}

/* Known in the language for more than a part of phrases; no "dieback". */
static bool may_stand(const struct lexicon *lex, uint32_t word, size_t len,
                      int lang)
{
    uint16_t symbol = cut_symbol_in(lex, word, lang);
    const uint32_t aside = 1u << CLASS_ALIEN | 1u << CLASS_ORDER;

    return symbol != 0 && symbol != CONCEPT_OTHER &&
           (lex->classes[symbol] & ~aside) != 0 &&
           !(len < CHAIN_HEAVY &&
             (lex->classes[symbol] &
              (1u << CLASS_SIGN | 1u << CLASS_SEEN | 1u << CLASS_LETTER)) &&
             !lex->words[word].card);
}

/* A word of ours; or "use", "no longer". */
static bool is_heavy(const struct chain *h, uint32_t word, size_t len, int lang)
{
    const struct lexicon *lex = h->lex;
    uint16_t symbol = cut_symbol_in(lex, word, lang);
    const uint32_t ours = 1u << CLASS_SEEN | 1u << CLASS_SIGN |
                          1u << CLASS_OURS | 1u << CLASS_UNIT |
                          1u << CLASS_SICKNESS;

    return ((lex->classes[symbol] & ours) && lex->words[word].listed &&
            (len > CHAIN_HEAVY || (len == CHAIN_HEAVY && h->beside_digits) ||
             (len >= CHAIN_BRING && lex->words[word].card))) ||
           concept_set_has(&lex->sets[symbol], CONCEPT_USE) ||
           concept_set_has(&lex->sets[symbol], CONCEPT_QUIT);
}

/* The cheapest way in one language, from the end to the beginning. */
static void find_way(const struct chain *h, int lang, struct chain_way *w)
{
    w->price[h->len] = 0;
    for (size_t i = h->len; i-- > 0;) {
        w->price[i] = PRICE_NONE;
        for (size_t n = 1; n <= CHAIN_WORD && i + n <= h->len; n++) {
            uint32_t word = h->words[i][n];
            unsigned rest = w->price[i + n], price = rest + price_of(n);

            if (word == 0 || rest == PRICE_NONE || price > w->price[i] ||
                !may_stand(h->lex, word, n, lang))
                continue;
            w->price[i] = (uint16_t)price;
            w->first[i] = (uint8_t)n;
        }
    }
    w->n = w->heavy = 0;
    if (w->price[0] == PRICE_NONE)
        return;
    for (size_t i = 0; i < h->len; i += w->first[i], w->n++)
        w->heavy += is_heavy(h, h->words[i][w->first[i]], w->first[i], lang);
}

static bool is_ascii(const char *s, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        if ((unsigned char)s[i] >= 0x80)
            return false;
    }
    return true;
}

/* Enough of it is ours; a word that is in a dictionary may have a piece that
 * looks so, but none of them goes on behind a number: "5doigtsen13h". */
static bool is_likely(const struct chain *h, const struct chain_way *w)
{
    size_t light = w->n - w->heavy;

    if (w->n < 2 || w->n * CHAIN_BRING > h->len || w->heavy == 0 ||
        (h->len < CHAIN_LONG && !h->beside_digits))
        return false;
    return h->beside_digits ||
           (light <= w->heavy + 1 && (w->n > 2 || w->heavy > 1));
}

/* In the language of the text, else in the one that has it cheapest. */
static bool best_way(const struct chain *h, int seems, struct chain_way *best)
{
    bool twice = false;

    best->price[0] = PRICE_NONE;
    for (int lang = 0; lang < (int)h->lex->n_langs; lang++) {
        struct chain_way w;

        find_way(h, lang, &w);
        if (w.price[0] == PRICE_NONE || !is_likely(h, &w))
            continue;
        if (lang == seems) {
            *best = w;
            return true;
        }
        twice = w.price[0] == best->price[0] ||
                (twice && w.price[0] > best->price[0]);
        if (w.price[0] < best->price[0])
            *best = w;
    }
    return best->price[0] != PRICE_NONE && !twice;
}

/* "0214-073-19safuit", "5doigtsen13h" */
static bool is_beside_digits(const struct cut *c, const struct cut_atom *a)
{
    size_t end = (size_t)a->at + a->len;
    uint16_t before = c->tokens[c->n - 1].symbol;

    return ((a->flags & CUT_GLUED) &&
            (before == CONCEPT_NUMBER || before == CONCEPT_SERIAL ||
             before == CONCEPT_WRONG)) ||
           (end < c->fold.len && fold_is_digit(c->fold.text[end]));
}

bool cut_split_chain(struct cut *c, const struct lexicon *lex,
                     const struct cut_atom *a)
{
    struct chain h = {.lex = lex,
                      .s = c->fold.text + a->at,
                      .len = a->len,
                      .beside_digits = is_beside_digits(c, a)};
    struct chain_way way;

    if (a->len > CHAIN_MOST || !is_ascii(h.s, h.len))
        return false;
    find_words(&h);
    if (!best_way(&h, c->lang_seems, &way))
        return false;
    for (size_t i = 0; i < h.len; i += way.first[i])
        cut_add_word(c, a->at + i, way.first[i], h.words[i][way.first[i]],
                     CUT_SPLIT | (i > 0 ? CUT_GLUED : a->flags));
    return true;
}
