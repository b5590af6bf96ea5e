#ifndef KW_VOWELS_H
#define KW_VOWELS_H
/*
 * vowels.h - words whose vowels a thumb left out: "hayashki", "wtoto". In a
 * language whose words file says which consonants stand together (spelling.h)
 * a vowel is missing between any others, and behind a last one. Words given
 * by brackets are found this way too, since nothing else is changed.
 */
#include "reader/lexicon.h"

/*
 * The number of the word that was meant, or 0: none, or several of different
 * meanings. word: folded letters; lang: index of the language, or -1.
 */
uint32_t vowels_find(const struct lexicon *lex, int lang, const char *word,
                     size_t len);
#endif
