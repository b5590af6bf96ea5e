/* vowels.c - see vowels.h. */
#include "reader/vowels.h"

#define LETTERS_LEAST 3
#define LETTERS_MOST  20
#define GAPS_MOST     3 /* 5 words are tried for one gap, 125 for three */

struct vowels {
    const struct lexicon *lex;
    int lang;
    const char *word;
    size_t len, gaps[GAPS_MOST], n_gaps; /* the vowel is missing behind these */
    uint32_t found;
    bool several; /* of different meanings */
};

static bool is_vowel(char c)
{
    return c == 'a' || c == 'e' || c == 'i' || c == 'o' || c == 'u';
}

/* Is a vowel missing behind letter i? A first m stands before any other. */
static bool is_gap(const struct vowels *v, const struct spelling *s, size_t i)
{
    char a = v->word[i], b;

    if (is_vowel(a))
        return false;
    if (i + 1 == v->len)
        return true;
    b = v->word[i + 1];
    return !is_vowel(b) && !(i == 0 && a == 'm' && b != 'm') &&
           !(s->pairs[a - 'a'] >> (b - 'a') & 1);
}

static bool find_gaps(struct vowels *v, const struct spelling *s)
{
    for (size_t i = 0; i < v->len; i++) {
        if (v->word[i] < 'a' || v->word[i] > 'z')
            return false;
    }
    for (size_t i = 0; i < v->len; i++) {
        if (!is_gap(v, s, i))
            continue;
        if (v->n_gaps == GAPS_MOST)
            return false;
        v->gaps[v->n_gaps++] = i;
    }
    return v->n_gaps > 0;
}

/* Ordinary words, listed only to keep slips from them, are none here. */
static uint16_t meaning_of(const struct vowels *v, uint32_t word)
{
    uint16_t o = lexicon_symbol_in(v->lex, v->lex->words[word].root, v->lang);

    return o == CONCEPT_OTHER ? 0 : o;
}

/* Words that only go on a phrase give way to those that mean something. */
static void take(struct vowels *v, uint32_t word)
{
    uint16_t new, old;

    if (word == 0 || word == v->found)
        return;
    new = meaning_of(v, word);
    if (new == 0 && v->lex->words[word].root != 0)
        return; /* of another language */
    old = v->found == 0 ? 0 : meaning_of(v, v->found);
    if (v->found == 0 || (old == 0 && new != 0)) {
        v->found = word;
        v->several = false;
    } else if (new != 0 || old == 0) {
        v->several |= new == 0 || new != old;
    }
}

/* The word with each vowel in each gap, the choices counted in fives. */
static void try_all(struct vowels *v)
{
    size_t tries = 1;

    for (size_t i = 0; i < v->n_gaps; i++)
        tries *= 5;
    for (size_t t = 0; t < tries; t++) {
        char whole[LETTERS_MOST + GAPS_MOST];
        size_t n = 0, gap = 0, choice = t;

        for (size_t i = 0; i < v->len; i++) {
            whole[n++] = v->word[i];
            if (gap < v->n_gaps && v->gaps[gap] == i) {
                whole[n++] = "aeiou"[choice % 5];
                choice /= 5;
                gap++;
            }
        }
        take(v, lexicon_find(v->lex, whole, n));
    }
}

uint32_t vowels_find(const struct lexicon *lex, int lang, const char *word,
                     size_t len)
{
    struct vowels v = {.lex = lex, .lang = lang, .word = word, .len = len};

    if (lang < 0 || lex->spelling[lang] == NULL ||
        !lex->spelling[lang]->has_pairs || len < LETTERS_LEAST ||
        len > LETTERS_MOST || !find_gaps(&v, lex->spelling[lang]))
        return 0;
    try_all(&v);
    return v.several ? 0 : v.found;
}
