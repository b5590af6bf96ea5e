/*
 * cut_words.c - words to what they may mean: as they stand in a lexicon or
 * with a slip repaired; phrases joined, longest first.
 */
#include "reader/cut_parts.h"
#include "reader/slip.h"
#include "reader/vowels.h"

#include <string.h>

#define SPELT_LEAST       4 /* letters; shorter words get no slack by ear either */
#define PHRASE_MOST       8 /* words */
#define PHRASE_BEFORE     3 /* a misspelt word of a phrase is not farther on */
#define PHRASE_SLIP_LEAST 5 /* letters of it */
#define SIGN_SLIP_LEAST   3
#define NEAR_MOST         16

/* "good!!!" was folded already; "gooood", "slooow": more than doubled. */
static uint32_t find_drawn_out(const struct lexicon *lex, const char *s,
                               size_t len)
{
    char word[LEXICON_WORD_CAP];

    for (size_t keep = 2; keep >= 1; keep--) {
        size_t n = 0, same = 0;
        uint32_t w;

        for (size_t i = 0; i < len && n < sizeof(word) - 1; i++) {
            same = i > 0 && s[i] == s[i - 1] ? same + 1 : 1;
            if (same <= keep)
                word[n++] = s[i];
        }
        if (n == len)
            continue;
        if (n >= 3 && (w = lexicon_find(lex, word, n)) != 0)
            return w;
    }
    return 0;
}

static bool is_drawn_out(const char *s, size_t len)
{
    for (size_t i = 2; i < len; i++) {
        if (s[i] == s[i - 1] && s[i] == s[i - 2] && (unsigned char)s[i] < 0x80)
            return true;
    }
    return false;
}

/* slip_find, remembered, and not more often than a text is worth: what was
 * remembered of other texts counts too, or this one would be read otherwise
 * behind them. */
static uint32_t find_slip(struct cut *c, const struct lexicon *lex,
                          const char *s, size_t len, uint32_t hash)
{
    struct cut_memo *m = &c->memo[hash % CUT_MEMO];
    bool known;

    if (len >= CUT_MEMO_WORD)
        return 0;
    known = memcmp(m->word, s, len) == 0 && m->word[len] == '\0' &&
            m->lang == c->lang_seems;
    if ((!known || m->text != c->text) && c->n_slips++ >= CUT_SLIPS_MOST)
        return 0;
    m->text = c->text;
    if (known)
        return m->found;
    memcpy(m->word, s, len);
    m->word[len] = '\0';
    m->lang = c->lang_seems;
    m->found = slip_find(lex, s, len, m->lang);
    return m->found;
}

/*
 * What was found of an atom's letters before, or a new one with the word;
 * NULL when they are too long to be remembered.
 */
static struct cut_heard *hear(struct cut *c, const struct lexicon *lex,
                              const struct cut_atom *a)
{
    struct cut_heard *h = &c->heard[a->hash % CUT_HEARD];
    char letters[CUT_MEMO_WORD] = {0};

    if (a->len >= CUT_MEMO_WORD)
        return NULL;
    memcpy(letters, c->fold.text + a->at, a->len);
    if (memcmp(h->letters, letters, sizeof(letters)) != 0) {
        *h = (struct cut_heard){
            .word = lexicon_find_hash(lex, letters, a->len, a->hash)};
        memcpy(h->letters, letters, sizeof(letters));
    }
    return h;
}

/* The words for all spellings of an atom's letters. */
static void find_spelt(struct cut *c, const struct lexicon *lex,
                       const struct cut_atom *a, uint32_t *spelt,
                       uint32_t *sound)
{
    struct cut_heard *h = hear(c, lex, a);
    const char *s = c->fold.text + a->at;
    int lang = c->lang_seems;

    if (h == NULL || !h->has_spelt || h->lang != lang) {
        *spelt = lexicon_find_spelling(lex, lang, s, a->len, true);
        *sound = lexicon_find_spelling(lex, lang, s, a->len, false);
    }
    if (h == NULL)
        return;
    if (!h->has_spelt || h->lang != lang) {
        h->spelt = *spelt;
        h->sound = *sound;
        h->lang = (int8_t)lang;
        h->has_spelt = true;
    }
    *spelt = h->spelt;
    *sound = h->sound;
}

void cut_word(struct cut *c, const struct cut_context *x,
              const struct cut_atom *a)
{
    const char *s = c->fold.text + a->at;
    uint32_t w = a->word, spelt, sound;
    uint8_t flags = a->flags;

    find_spelt(c, x->lex, a, &spelt, &sound);
    if (w == 0 && a->len >= LEXICON_WORD_CAP) {
        cut_add_word(c, a->at, a->len, 0, flags);
        return;
    }
    if (w == 0 && a->len >= SPELT_LEAST)
        w = sound;
    if (w == 0)
        w = vowels_find(x->lex, c->lang_seems, s, a->len);
    if (w == 0 && is_drawn_out(s, a->len))
        w = find_drawn_out(x->lex, s, a->len);
    if (w == 0 && cut_split_phrase(c, x->lex, a))
        return;
    if (w == 0 && a->len >= 4) {
        if ((w = find_slip(c, x->lex, s, a->len, a->hash)) != 0)
            flags |= CUT_SLIP;
    }
    if (w == 0 && cut_split_word(c, x->lex, a))
        return;
    cut_add_word(c, a->at, a->len, w != 0 ? w : spelt, flags);
    c->tokens[c->n - 1].spelt = spelt;
    c->tokens[c->n - 1].sound = sound;
}

/* Languages in which a word is known by the rules of their spelling. */
static uint32_t spelling_langs(const struct lexicon *lex, const char *s,
                               size_t len, struct cut_heard *h)
{
    uint32_t langs = 0;

    if (h != NULL && h->has_ears)
        return h->ears;

    for (size_t k = 0; k < lex->n_langs; k++) {
        uint32_t w = lexicon_find_spelling(lex, (int)k, s, len, false);

        langs |= lex->nodes[lex->words[w].root].langs;
    }
    if (h != NULL) {
        h->ears = langs;
        h->has_ears = true;
    }
    return langs;
}

static void count_langs(int score[LEXICON_LANGS], uint32_t langs)
{
    for (; langs != 0; langs &= langs - 1)
        score[__builtin_ctz(langs)]++;
}

/* Words by ear count only where others stand as they are, or at home. */
int cut_guess_language(struct cut *c, const struct cut_context *x, int lang)
{
    const struct lexicon *lex = x->lex;
    int score[LEXICON_LANGS] = {0}, by_ear[LEXICON_LANGS] = {0}, best = -1;

    for (size_t i = 0; i < x->atoms->n; i++) {
        struct cut_atom *a = &x->atoms->items[i];
        const char *s = c->fold.text + a->at;
        struct cut_heard *h;

        if (a->type != CUT_LETTERS)
            continue;
        a->hash = lexicon_hash(s, a->len);
        h = hear(c, lex, a);
        a->word =
            h != NULL ? h->word : lexicon_find_hash(lex, s, a->len, a->hash);
        if (a->len < 2)
            continue;
        if (a->word != 0)
            count_langs(score, lex->nodes[lex->words[a->word].root].langs &
                                   ~lex->common);
        else if (a->len >= SPELT_LEAST)
            count_langs(by_ear, spelling_langs(lex, s, a->len, h));
    }
    for (int k = 0; k < (int)lex->n_langs; k++) {
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
    uint32_t to, canon = lex->words[t->word].canon;

    if (spelt)
        return t->spelt == 0 || is_itself(lex, t, c->lang_seems)
                   ? 0
                   : lexicon_step(lex, node, t->spelt);
    to = lexicon_step(lex, node, t->word);
    return to != 0 || node == 1 || canon == 0 ? to
                                              : lexicon_step(lex, node, canon);
}

/* The longest phrase of at most `most` words from token i: node and *n. */
static uint32_t longest_so(const struct cut *c, const struct lexicon *lex,
                           size_t i, size_t most, bool spelt, size_t *n)
{
    uint32_t node = 1, best = 0;

    *n = 0;
    for (size_t k = 0; i + k < c->n && k < most; k++) {
        const struct cut_token *t = &c->tokens[i + k];

        if (t->word == 0 || t->symbol == CONCEPT_PAUSE)
            break;
        node = step(c, lex, node, t, spelt);
        if (node == 0)
            break;
        if (lex->nodes[node].all != 0 &&
            !(k == 0 && t->symbol == CONCEPT_NUMBER)) {
            best = node;
            *n = k + 1;
        }
    }
    return best;
}

static uint32_t longest(const struct cut *c, const struct lexicon *lex,
                        size_t i, size_t most, size_t *n)
{
    size_t m;
    uint32_t node = longest_so(c, lex, i, most, false, n), other;

    if (c->tokens[i].spelt == 0)
        return node;
    other = longest_so(c, lex, i, most, true, &m);
    if (m <= *n)
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

/*
 * "de l eau | de riz": a phrase that begins inside the first one and is
 * longer, or tells of danger, goes before it.
 */
static uint32_t best_phrase(const struct cut *c, const struct lexicon *lex,
                            size_t i, size_t *n)
{
    uint32_t node = longest(c, lex, i, PHRASE_MOST, n);

    if (*n > 1 && is_time_phrase(c, lex, i, *n))
        return longest(c, lex, i, *n - 1, n);
    for (size_t k = 1; k < *n; k++) {
        size_t m;
        uint32_t other = longest(c, lex, i + k, PHRASE_MOST, &m);

        if (m < 2 || k + m <= *n)
            continue;
        if (m > *n || (lex->classes[lex->nodes[other].all] & 1u << CLASS_SIGN))
            return longest(c, lex, i, k, n);
    }
    return node;
}

/* A word that means nothing alone, and is long enough to be another. */
static bool is_stray(const struct lexicon *lex, const struct cut_token *t)
{
    return t->word != 0 && t->symbol == CONCEPT_WORD && t->len >= SPELT_LEAST &&
           lexicon_symbol_of(lex, t->word) == 0;
}

/*
 * "watr runin out": words that only phrases have, where no phrase is: what
 * they sound like, or are a slip for.
 */
static void mend_strays(struct cut *c, const struct lexicon *lex)
{
    bool any = false;

    for (size_t i = 1; i < c->n && !any; i++)
        any = is_stray(lex, &c->tokens[i]);
    if (!any)
        return;
    for (size_t i = 1, n; i<c->n; i += n> 0 ? n : 1) {
        struct cut_token *t = &c->tokens[i];
        uint32_t w;

        if (best_phrase(c, lex, i, &n) != 0 || !is_stray(lex, t))
            continue;
        w = t->sound;
        if (lexicon_symbol_of(lex, w) == 0)
            w = find_slip(c, lex, c->fold.text + t->at, t->len,
                          lexicon_hash(c->fold.text + t->at, t->len));
        if (w == 0)
            continue;
        if (w != t->sound)
            t->flags |= CUT_SLIP;
        t->word = w;
    }
}

/* Does a phrase of several words have token i? */
static bool is_in_phrase(const struct cut *c, const struct lexicon *lex,
                         size_t i, bool sign)
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
        if (is_in_phrase(c, lex, i, sign)) {
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

        if (t->word != 0 || t->symbol != CONCEPT_WORD)
            continue;
        if (t->len >= PHRASE_SLIP_LEAST && mend_in_phrase(c, lex, i, false))
            continue;
        if (!looked)
            ill = tells_illness(c, lex);
        looked = true;
        if (ill && t->len >= SIGN_SLIP_LEAST)
            mend_in_phrase(c, lex, i, true);
    }
}

static void join_all(struct cut *c, const struct lexicon *lex)
{
    size_t to = 1;

    for (size_t i = 1; i < c->n;) {
        size_t n;
        uint32_t node = best_phrase(c, lex, i, &n);
        struct cut_token t = c->tokens[i];

        for (size_t k = 1; k < n; k++) {
            t.len =
                (uint16_t)(c->tokens[i + k].at + c->tokens[i + k].len - t.at);
            t.flags |= c->tokens[i + k].flags & (CUT_SLIP | CUT_SPLIT);
        }
        if (n > 1)
            t.flags &= (uint8_t)~CUT_LETTER;
        t.node = node;
        c->tokens[to++] = t;
        i += n > 0 ? n : 1;
    }
    c->n = to;
}

void cut_join_phrases(struct cut *c, const struct lexicon *lex)
{
    mend_strays(c, lex);
    mend_phrases(c, lex);
    join_all(c, lex);
}
