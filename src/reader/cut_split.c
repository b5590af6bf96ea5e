/*
 * cut_split.c - words that were run together, taken apart: two words of ours
 * ("potcrack"), or a phrase ("yanolousamos"). Halves have no slack.
 */
#include "reader/cut_parts.h"

#define SPLIT_LEAST 3 /* letters of each half of a word taken apart */
#define SPLIT_SIGN  4 /* and of a half that is a sign, on a card */
#define SPLIT_MOST  24
#define GLUED_LEAST 7 /* letters of a phrase run together */
#define GLUED_MOST  32
#define GLUED_TRIES 200
#define PHRASE_MOST 8 /* words */

struct glued { /* a phrase that is looked for */
    uint32_t node, word[PHRASE_MOST];
    size_t len[PHRASE_MOST], n, tries;
};

static uint16_t symbol_of(const struct lexicon *lex, uint32_t word)
{
    return word == 0 ? 0 : lex->nodes[lex->words[word].root].all;
}

void cut_add_word(struct cut *c, size_t at, size_t len, uint32_t word,
                  uint8_t flags)
{
    struct cut_token *t = cut_add(c, CONCEPT_WORD, at, len);

    t->word = word;
    t->flags = flags;
    if (len == 1)
        t->flags |= CUT_LETTER;
}

/* Hashes of the first 0, 1 … len octets. */
static void hash_beginnings(const char *s, size_t len, uint32_t *hashes)
{
    uint32_t sum = LEXICON_HASH_BEGIN;

    for (size_t i = 0; i < len; i++) {
        hashes[i] = lexicon_hash_end(sum);
        sum = lexicon_hash_add(sum, s[i]);
    }
    hashes[len] = lexicon_hash_end(sum);
}

/*
 * What a half must be: known, not so short that it is everywhere, and a word
 * of what texts to us are about: "woodland", "doorknob" are no two of ours.
 */
static uint32_t half(const struct lexicon *lex, const char *s, size_t len,
                     uint32_t hash)
{
    uint32_t w = len < SPLIT_LEAST ? 0 : lexicon_find_hash(lex, s, len, hash);
    uint16_t symbol = symbol_of(lex, w);

    if (symbol == 0 || symbol == CONCEPT_OTHER || !lex->words[w].listed ||
        (lex->classes[symbol] & ~(1u << CLASS_ALIEN)) == 0)
        return 0;
    if ((lex->classes[symbol] & 1u << CLASS_SIGN) &&
        (len < SPLIT_SIGN || !lex->words[w].card))
        return 0; /* "dieback", Spanish "molestia" */
    return w;
}

/* Do both stand in the list of one language? "trou bled" does not. */
static bool go_together(const struct lexicon *lex, uint32_t a, uint32_t b)
{
    uint32_t x = lex->nodes[lex->words[a].root].langs,
             y = lex->nodes[lex->words[b].root].langs;

    return (x & y) != 0 || ((x | y) & lex->common) != 0;
}

struct two {
    uint32_t first, second;
    size_t n, longer; /* letters of the first, and of the longer one */
};

/*
 * Both words of a card, or any two: those of which one is longest, "dos
 * enfermos" and not "dose nfermos".
 */
static bool split_in_two(struct cut *c, const struct lexicon *lex,
                         const struct cut_atom *a, const uint32_t *hashes,
                         bool card)
{
    const char *s = c->fold.text + a->at;
    struct two best = {.longer = 0};

    for (size_t n = a->len - SPLIT_LEAST; n >= SPLIT_LEAST; n--) {
        size_t rest = a->len - n, longer = n > rest ? n : rest;
        uint32_t first = half(lex, s, n, hashes[n]), second;

        if (first == 0 || (n < 4 && rest < 4) || longer <= best.longer)
            continue;
        second = half(lex, s + n, rest, lexicon_hash(s + n, rest));
        if (second == 0 || !go_together(lex, first, second) ||
            (card && !(lex->words[first].card & lex->words[second].card)))
            continue;
        best = (struct two){first, second, n, longer};
    }
    if (best.longer == 0)
        return false;
    cut_add_word(c, a->at, best.n, best.first, a->flags | CUT_SPLIT);
    cut_add_word(c, a->at + best.n, a->len - best.n, best.second,
                 CUT_SPLIT | CUT_GLUED);
    return true;
}

/* "nosale" - "no" is short, but begins many; "pieceseau" is no "pieces eau". */
bool cut_split_word(struct cut *c, const struct lexicon *lex,
                    const struct cut_atom *a)
{
    uint32_t hashes[SPLIT_MOST + 1];

    if (a->len < 2 * SPLIT_LEAST || a->len > SPLIT_MOST)
        return false;
    hash_beginnings(c->fold.text + a->at, a->len, hashes);
    return split_in_two(c, lex, a, hashes, true) ||
           split_in_two(c, lex, a, hashes, false);
}

/* The end of a phrase of the lexicon that is written from s without a gap. */
static bool glued_phrase(const struct lexicon *lex, const char *s, size_t len,
                         struct glued *g)
{
    uint32_t hashes[GLUED_MOST + 1];

    if (len == 0)
        return g->n > 1 && lex->nodes[g->node].all != 0;
    if (g->n == PHRASE_MOST || g->tries++ > GLUED_TRIES ||
        (g->n > 0 && !lexicon_goes_on(lex, g->node)))
        return false;
    hash_beginnings(s, len, hashes);
    for (size_t n = len; n > 0; n--) {
        uint32_t word = lexicon_find_hash(lex, s, n, hashes[n]), node = g->node;

        if (word == 0 || (g->node = lexicon_step(lex, node, word)) == 0) {
            g->node = node;
            continue;
        }
        g->word[g->n] = word;
        g->len[g->n++] = n;
        if (glued_phrase(lex, s + n, len - n, g))
            return true;
        g->n--;
        g->node = node;
    }
    return false;
}

/* "yanolousamos": a phrase run together. */
bool cut_split_phrase(struct cut *c, const struct lexicon *lex,
                      const struct cut_atom *a)
{
    struct glued g = {.node = 1};
    size_t at = a->at;

    if (a->len < GLUED_LEAST || a->len > GLUED_MOST ||
        !glued_phrase(lex, c->fold.text + at, a->len, &g))
        return false;
    for (size_t i = 0; i < g.n; at += g.len[i], i++)
        cut_add_word(c, at, g.len[i], g.word[i],
                     CUT_SPLIT | (i > 0 ? CUT_GLUED : a->flags));
    return true;
}
