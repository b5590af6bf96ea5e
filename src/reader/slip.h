#ifndef KW_SLIP_H
#define KW_SLIP_H
/*
 * slip.h - the word that a misspelt one was meant to be. A slip is a letter
 * left out, doubled, added, swapped with its neighbour, or hit beside the
 * right key; vowels left out; one sound written another way. It is taken
 * only when a single meaning is near. Distance: restricted Damerau-Levenshtein
 * with costs (Damerau 1964); candidates by shared deletions.
 */
#include "reader/lexicon.h"

/* Fills the tables of near forms; once, after all words are in. */
void slip_prepare(struct lexicon *lex);

/*
 * The number of the word that was meant, or 0. word: folded letters; lang:
 * index of the language the text seems to be in, or -1; words of another one
 * must be nearer. For a word that phrases have, another one that has a meaning
 * of its own.
 */
uint32_t slip_find(const struct lexicon *lex, const char *word, size_t len,
                   int lang);

/*
 * Words of phrases that are near, for a word that is none: at most `most` of
 * them into out; how many. far: any one letter may be wrong.
 */
size_t slip_find_in_phrases(const struct lexicon *lex, const char *word,
                            size_t len, int lang, bool far, uint32_t *out,
                            size_t most);

/* What sort of word the rest of a text lets expect. */
struct slip_expected {
    struct concept_set concepts;
    int lang;    /* as above */
    bool alone;  /* words of other sorts are no rivals */
    bool native; /* words of other languages are not looked at */
    bool apart;  /* the nearest must stand out among those that count */
    int most;    /* for slip_is_near: a letter left out costs 3 */
};

bool slip_expected_same(const struct slip_expected *a,
                        const struct slip_expected *b);

/* The same where a sort of word is missing. Any one letter may be wrong. */
uint32_t slip_find_expected(const struct lexicon *lex, const char *word,
                            size_t len, const struct slip_expected *e);

/*
 * The word of the card that one slip makes of this one: a letter left out,
 * added, swapped, or hit beside its key; 0 when there is none, or there are
 * several of different meaning. lang as above: -1 looks at all cards.
 */
uint32_t slip_find_card(const struct lexicon *lex, const char *word, size_t len,
                        int lang);

/* Is any word of that sort near, were it one of several? */
bool slip_is_near(const struct lexicon *lex, const char *word, size_t len,
                  const struct slip_expected *e);

#endif
