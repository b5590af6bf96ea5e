/*
 * cut_words.c - words to what they may mean: as they stand in a lexicon or
 * with a slip repaired; phrases joined, longest first.
 */
#include "reader/cut_parts.h"
#include "reader/slip.h"

#include <string.h>

#define SLIP_LEAST        4 /* letters */
#define PHRASE_MOST       8 /* words */
#define PHRASE_BEFORE     3 /* a misspelt word of a phrase is not farther on */
#define PHRASE_SLIP_LEAST 5 /* letters of it */
#define SIGN_SLIP_LEAST   3
#define NEAR_MOST         16

/* Some of a text may be a sentence; it counts though it is remembered as none.
 */
static bool is_chain(struct cut *c, const struct lexicon *lex,
                     struct cut_known *k, const struct cut_atom *a)
{
    if (a->len < CUT_CHAIN_LEAST || c->n_chains++ >= CUT_CHAINS_MOST ||
        k->no_chain)
        return false;
    k->no_chain = !cut_split_chain(c, lex, a);
    return !k->no_chain;
}

/* Does it say something of pots, water or people? */
static bool is_firm(const struct lexicon *lex, uint32_t word)
{
    const unsigned firm = 1u << CLASS_SEEN | 1u << CLASS_OURS |
                          1u << CLASS_SICKNESS | 1u << CLASS_SIGN |
                          1u << CLASS_UNIT;

    return (lex->classes[lexicon_symbol_of(lex, word)] & firm) != 0;
}

/* A word that is known as it stands, or by ear one of ours, is no two; but
 * what only another language has may be. */
static bool may_be_two(const struct cut *c, const struct lexicon *lex,
                       const struct cut_atom *a, uint32_t word, bool slip)
{
    if (a->word != 0)
        return c->lang_seems >= 0 && lexicon_symbol_of(lex, a->word) != 0 &&
               cut_symbol_in(lex, a->word, c->lang_seems) == 0 &&
               lex->words[a->word].phrases == 0;
    return word == 0 || slip || !is_firm(lex, word);
}

void cut_word(struct cut *c, const struct cut_context *x,
              const struct cut_atom *a)
{
    const char *s = c->fold.text + a->at;
    struct cut_known *k;
    uint32_t w;
    uint8_t flags = a->flags;
    bool slip;

    if (a->word == 0 && a->len >= LEXICON_WORD_CAP) {
        cut_add_word(c, a->at, a->len, 0, flags);
        return;
    }
    k = cut_know(c, x->lex, s, a->len);
    w = k->word;
    if (w == 0 && !k->no_phrase && cut_split_phrase(c, x->lex, a))
        return;
    k->no_phrase = w == 0;
    if (w == 0 && cut_split_unit(c, x->lex, a))
        return;
    if (w == 0 && a->len >= SLIP_LEAST) {
        w = cut_find_slip(c, x->lex, k, s, a->len);
        if (w != 0 && !is_firm(x->lex, w) && c->numbered &&
            is_chain(c, x->lex, k, a))
            return;
        flags |= w != 0 ? CUT_SLIP : 0;
    }
    if (w == 0 && !k->no_two && cut_split_word(c, x->lex, a))
        return;
    k->no_two = w == 0;
    if (w == 0 && is_chain(c, x->lex, k, a))
        return;
    slip = (flags & CUT_SLIP) != 0;
    if (may_be_two(c, x->lex, a, w, slip) &&
        (cut_split_joined(c, x->lex, a, slip && is_firm(x->lex, w) ? w : 0,
                          false) ||
         (w == 0 && cut_split_joined(c, x->lex, a, 0, true))))
        return;
    cut_add_word(c, a->at, a->len, w != 0 ? w : k->spelt, flags);
    c->tokens[c->n - 1].spelt = k->spelt;
    c->tokens[c->n - 1].sound = k->sound;
}

static void count_langs(int score[LEXICON_LANGS], uint32_t langs, uint32_t *all)
{
    for (*all |= langs; langs != 0; langs &= langs - 1)
        score[__builtin_ctz(langs)]++;
}

/* Is a pot or an illness told of by a word as it stands? */
static void look_near(struct cut *c, const struct lexicon *lex,
                      const struct cut_heard *h)
{
    uint16_t symbol = lex->nodes[h->root].all;
    const struct concept_set *set = &lex->sets[symbol];

    c->near_pot |= concept_set_has(set, CONCEPT_POT);
    c->near_illness |= (lex->classes[symbol] & 1u << CLASS_SICKNESS) != 0;
}

/* What the phrases are looked for with, when all words were heard. */
static void fetch_ahead(const struct lexicon *lex, const struct cut_heard *h)
{
    __builtin_prefetch(&lex->words[h->word]);
    __builtin_prefetch(&lex->nodes[h->root]);
}

/* Words by ear count only where others stand as they are, or at home. */
int cut_guess_language(struct cut *c, const struct cut_context *x, int lang)
{
    const struct lexicon *lex = x->lex;
    int score[LEXICON_LANGS] = {0}, by_ear[LEXICON_LANGS] = {0}, best = -1;
    uint32_t all = 0;

    for (size_t i = 0; i < x->atoms->n; i++) {
        struct cut_atom *a = &x->atoms->items[i];
        const char *s = c->fold.text + a->at;
        struct cut_heard *h;

        if (a->type != CUT_LETTERS)
            continue;
        h = cut_hear(c, lex, s, a->len);
        a->word = h->word;
        fetch_ahead(lex, h);
        look_near(c, lex, h);
        if (a->len < 2)
            continue;
        if (a->word != 0) {
            count_langs(score, h->langs & ~lex->common, &all);
            if (lang >= 0) /* "lent" with "hrs" is French at home */
                count_langs(score, lex->words[a->word].card & (1u << lang),
                            &all);
        } else if (a->len >= CUT_SPELT_LEAST)
            count_langs(by_ear, cut_hear_langs(lex, h, s, a->len), &all);
    }
    for (; all != 0; all &= all - 1) {
        int k = __builtin_ctz(all);

        if (score[k] > 0 || lang < 0 || lang == k)
            score[k] += by_ear[k];
        if (score[k] > 0 && (best < 0 || score[k] > score[best] ||
                             (score[k] == score[best] && k == lang)))
            best = k;
    }
    return best >= 0 ? best : lang;
}

/* ---- phrases ---- */

/* "now gud" is not "no good": a word that is known as it stands. */
static bool is_itself(const struct lexicon *lex, const struct cut_token *t,
                      int lang)
{
    uint16_t is = 0, sounds = 0;

    if (lang >= 0 && !(t->flags & CUT_SLIP)) {
        is = lexicon_symbol_in(lex, lex->words[t->word].root, lang);
        sounds = lexicon_symbol_in(lex, lex->words[t->sound].root, lang);
    }
    return is != 0 && !concept_set_meets(&lex->sets[is], &lex->sets[sounds]);
}

/* The node behind one more token; in all spellings, or as it stands. */
static uint32_t step(const struct cut *c, const struct lexicon *lex,
                     uint32_t node, const struct cut_token *t, bool spelt)
{
    uint32_t to = lexicon_step(lex, node, spelt ? t->spelt : t->word), canon;

    if (spelt)
        return to != 0 && !is_itself(lex, t, c->lang_seems) ? to : 0;
    if (to != 0)
        return to;
    canon = lex->words[t->word].canon;
    return canon == 0 ? 0 : lexicon_step(lex, node, canon);
}

/* A word alone, when it means something. */
static uint32_t only(const struct lexicon *lex, const struct cut_token *t,
                     uint32_t root, size_t *n)
{
    *n = lex->nodes[root].all != 0 && t->symbol != CONCEPT_NUMBER;
    return *n == 0 ? 0 : root;
}

/*
 * The longest phrase of at most `most` words that begins with token i, whose
 * own node is root: node and *n.
 */
static uint32_t longest_so(const struct cut *c, const struct lexicon *lex,
                           size_t i, size_t most, uint32_t root, bool spelt,
                           size_t *n)
{
    const struct cut_token *t = &c->tokens[i];
    uint32_t node = root, best = only(lex, t, root, n);

    for (size_t k = 1; i + k < c->n && k < most; k++) {
        t = &c->tokens[i + k];
        if (t->word == 0 || t->symbol == CONCEPT_PAUSE ||
            !lexicon_goes_on(lex, node) ||
            (node = step(c, lex, node, t, spelt)) == 0)
            break;
        if (lex->nodes[node].all != 0) {
            best = node;
            *n = k + 1;
        }
    }
    return best;
}

/* "its slow" by ear is "eats slow": but what the words say as they stand goes
 * before a phrase of other things. */
static bool hides(const struct cut *c, const struct lexicon *lex, size_t i,
                  size_t n, uint32_t phrase)
{
    const struct cut_token *t = &c->tokens[i];

    return n == 2 &&
           (lex->classes[lex->nodes[phrase].all] & 1u << CLASS_ALIEN) &&
           lexicon_symbol_of(lex, t->word) == CONCEPT_FILLER &&
           (lex->classes[lexicon_symbol_of(lex, t[1].word)] &
            (1u << CLASS_SEEN | 1u << CLASS_SIGN));
}

/* As it stands or in all spellings, whichever is longer. */
static uint32_t longest(const struct cut *c, const struct lexicon *lex,
                        size_t i, size_t most, size_t *n)
{
    const struct cut_token *t = &c->tokens[i];
    bool alone = most < 2 || i + 1 >= c->n || t[1].word == 0;
    uint32_t node, other, root;
    size_t m;

    *n = 0;
    if (t->word == 0)
        return 0;
    root = lex->words[t->word].root;
    node = alone || !lexicon_goes_on(lex, root)
               ? only(lex, t, root, n)
               : longest_so(c, lex, i, most, root, false, n);
    if (t->spelt == 0)
        return node;
    root = lex->words[t->spelt].root;
    if (root == 0 || (*n > 0 && (alone || !lexicon_goes_on(lex, root))))
        return node;
    other = longest_so(c, lex, i, most, root, true, &m);
    if (m <= *n || is_itself(lex, t, c->lang_seems) ||
        hides(c, lex, i, m, other))
        return node;
    *n = m;
    return other;
}

static uint16_t root_symbol(const struct lexicon *lex, uint32_t word)
{
    return lexicon_symbol_of(lex, word);
}

/* "in half | an hour", "en deux | heures": broken by what it seems alone. */
static bool is_time_phrase(const struct cut *c, const struct lexicon *lex,
                           size_t i, size_t n)
{
    const struct cut_token *last = &c->tokens[i + n - 1], *next = last + 1;
    uint16_t count = root_symbol(lex, last->word);

    if (!concept_set_has(&lex->sets[count], CONCEPT_NUMBER) &&
        !concept_set_has(&lex->sets[count], CONCEPT_HALF) &&
        last->symbol != CONCEPT_NUMBER)
        return false;
    if (i + n >= c->n)
        return false;
    if (i + n + 1 < c->n &&
        concept_set_has(&lex->sets[root_symbol(lex, next->word)], CONCEPT_A))
        next++;
    count = root_symbol(lex, next->word);
    return (lex->classes[count] & 1u << CLASS_UNIT) ||
           concept_set_has(&lex->sets[count], CONCEPT_DAY);
}

/* "Kumi na mbili", twelve: a number from its first word to its last. */
static bool is_number(const struct lexicon *lex, uint32_t first, uint32_t node)
{
    return lex->nodes[node].all == CONCEPT_NUMBER &&
           concept_set_has(&lex->sets[root_symbol(lex, first)], CONCEPT_NUMBER);
}

/*
 * "de l eau | de riz": a phrase that begins inside the first one and is
 * longer, or tells of danger, goes before it, unless the first tells of it.
 * The first: node and *n words.
 */
static uint32_t better_phrase(const struct cut *c, const struct lexicon *lex,
                              size_t i, uint32_t node, size_t *n)
{
    if (!is_number(lex, c->tokens[i].word, node) &&
        is_time_phrase(c, lex, i, *n))
        return longest(c, lex, i, *n - 1, n);
    for (size_t k = 1; k < *n; k++) {
        size_t m;
        uint32_t other = longest(c, lex, i + k, PHRASE_MOST, &m);

        if (m < 2 || k + m <= *n ||
            (lex->classes[lex->nodes[node].all] & 1u << CLASS_SIGN))
            continue;
        if (m > *n || (lex->classes[lex->nodes[other].all] & 1u << CLASS_SIGN))
            return longest(c, lex, i, k, n);
    }
    return node;
}

/* What the words from token i on are, *n of them. */
static uint32_t best_phrase(const struct cut *c, const struct lexicon *lex,
                            size_t i, size_t *n)
{
    uint32_t node = longest(c, lex, i, PHRASE_MOST, n);

    return *n > 1 ? better_phrase(c, lex, i, node, n) : node;
}

/* A word that is none. */
static bool is_none(const struct cut_token *t)
{
    return t->word == 0 && t->symbol == CONCEPT_WORD;
}

/* A word that means nothing alone, and is long enough to be another. */
static bool is_stray(const struct lexicon *lex, const struct cut_token *t)
{
    return t->word != 0 && t->symbol == CONCEPT_WORD &&
           t->len >= CUT_SPELT_LEAST && lexicon_symbol_of(lex, t->word) == 0;
}

/*
 * "watr runin out": words that only phrases have, where no phrase is: what
 * they sound like, or are a slip for.
 */
static void mend_strays(struct cut *c, const struct lexicon *lex)
{
    for (size_t i = 1, n; i<c->n; i += n> 0 ? n : 1) {
        struct cut_token *t = &c->tokens[i];
        const char *s = c->fold.text + t->at;
        uint32_t w;

        if (best_phrase(c, lex, i, &n) != 0 || !is_stray(lex, t))
            continue;
        w = t->sound;
        if (lexicon_symbol_of(lex, w) == 0)
            w = cut_find_slip(c, lex, cut_know(c, lex, s, t->len), s, t->len);
        if (w == 0)
            continue;
        if (w != t->sound)
            t->flags |= CUT_SLIP;
        t->word = w;
    }
}

bool cut_is_in_phrase(const struct cut *c, const struct lexicon *lex, size_t i,
                      bool sign)
{
    for (size_t k = i > PHRASE_BEFORE ? i - PHRASE_BEFORE : 1; k <= i; k++) {
        size_t n;

        uint32_t node = longest(c, lex, k, PHRASE_MOST, &n);

        if (node != 0 && n > 1 && k + n > i &&
            (!sign || (lex->classes[lex->nodes[node].all] & 1u << CLASS_SIGN)))
            return true;
    }
    return false;
}

/* True when the word became one of a phrase, which may have to be a sign. */
static bool mend_in_phrase(struct cut *c, const struct lexicon *lex, size_t i,
                           bool sign)
{
    uint32_t near[NEAR_MOST];
    struct cut_token *t = &c->tokens[i];
    size_t n;

    if (c->n_slips++ >= CUT_SLIPS_MOST)
        return false;
    n = slip_find_in_phrases(lex, c->fold.text + t->at, t->len, c->lang_seems,
                             sign, near, NEAR_MOST);
    for (size_t k = 0; k < n; k++) {
        t->word = near[k];
        if (cut_is_in_phrase(c, lex, i, sign)) {
            t->flags |= CUT_SLIP;
            return true;
        }
    }
    t->word = 0;
    return false;
}

/* Is anyone ill, by any of the words? */
static bool tells_illness(const struct cut *c, const struct lexicon *lex)
{
    for (size_t i = 1; i < c->n; i++) {
        if (lex->classes[lexicon_symbol_of(lex, c->tokens[i].word)] &
            1u << CLASS_SICKNESS)
            return true;
    }
    return false;
}

/*
 * "drop by dropp": a word that is none, but would be in a phrase. Beside an
 * illness any letter of a sign may be wrong: "du asng", "ricd water".
 */
static void mend_phrases(struct cut *c, const struct lexicon *lex)
{
    bool ill = false, looked = false;

    for (size_t i = 1; i < c->n; i++) {
        const struct cut_token *t = &c->tokens[i];

        if (!is_none(t))
            continue;
        if (t->len >= PHRASE_SLIP_LEAST &&
            (mend_in_phrase(c, lex, i, false) ||
             (c->numbered && cut_split_in_phrase(c, lex, i, false))))
            continue;
        if (!looked)
            ill = tells_illness(c, lex);
        looked = true;
        if (ill && t->len >= SIGN_SLIP_LEAST &&
            !mend_in_phrase(c, lex, i, true))
            cut_split_in_phrase(c, lex, i, true);
    }
}

static uint8_t names_in(const struct cut *c, const struct lexicon *lex,
                        size_t i, size_t n)
{
    uint8_t names = 0;

    for (size_t k = i; k < i + n; k++) {
        const struct concept_set *set =
            &lex->sets[root_symbol(lex, c->tokens[k].word)];

        if (concept_set_has(set, CONCEPT_POT))
            names |= CUT_NAMES_POT;
        if (concept_set_has(set, CONCEPT_GUT) ||
            concept_set_has(set, CONCEPT_STOOL))
            names |= CUT_NAMES_GUT;
        if (concept_set_has(set, CONCEPT_DAY))
            names |= CUT_NAMES_DAY;
        if (concept_set_has(set, CONCEPT_AND))
            names |= CUT_NAMES_AND;
        if (concept_set_has(set, CONCEPT_YEAR))
            names |= CUT_NAMES_YEAR;
    }
    return names;
}

/* The n tokens from i on as one, at place `to`, which is not behind i. */
static void join(struct cut *c, size_t to, size_t i, size_t n)
{
    struct cut_token *t = &c->tokens[to];

    if (to != i)
        *t = c->tokens[i];
    if (n < 2)
        return;
    for (size_t k = i + 1; k < i + n; k++)
        t->flags |= c->tokens[k].flags & (CUT_SLIP | CUT_SPLIT);
    t->flags &= (uint8_t)~CUT_LETTER;
    t->len =
        (uint16_t)(c->tokens[i + n - 1].at + c->tokens[i + n - 1].len - t->at);
}

static void join_all(struct cut *c, const struct lexicon *lex)
{
    size_t to = 1;

    for (size_t i = 1; i < c->n; to++) {
        size_t n = 0;
        uint32_t node = c->tokens[i].word == 0 ? 0 : best_phrase(c, lex, i, &n);

        if (n > 1)
            c->tokens[i].names = names_in(c, lex, i, n);
        join(c, to, i, n);
        c->tokens[to].node = node;
        i += n > 0 ? n : 1;
    }
    c->n = to;
}

void cut_join_phrases(struct cut *c, const struct lexicon *lex)
{
    bool stray = false, none = false;

    for (size_t i = 1; i < c->n; i++) {
        stray |= is_stray(lex, &c->tokens[i]);
        none |= is_none(&c->tokens[i]);
    }
    if (stray)
        mend_strays(c, lex);
    if (none)
        mend_phrases(c, lex);
    join_all(c, lex);
}
