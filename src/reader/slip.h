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
 * must be nearer.
 */
uint32_t slip_find(const struct lexicon *lex, const char *word, size_t len,
                   int lang);

/*
 * The same where the rest of the text says what sort of word is missing: a
 * bit for each class that it may be of. Any one letter may be wrong. alone:
 * words of other classes are no rivals.
 */
uint32_t slip_find_expected(const struct lexicon *lex, const char *word,
                            size_t len, int lang, uint32_t classes, bool alone);

#endif
