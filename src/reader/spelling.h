#ifndef KW_SPELLING_H
#define KW_SPELLING_H
/*
 * spelling.h - one way to write a word for all the ways that people have:
 * "paani", "pani", "panee" are all "pani" by the rules aa>a and ee>i. The
 * rules stand in a words file, under spelling:, for languages that are
 * written by ear. At each letter the first rule that fits is followed; ^ and
 * $ are the word's begin and end. Then double letters become single ones.
 */
#include "base/kw.h"
#include "reader/words.h"

#define SPELLING_RULES_MOST 96

struct spelling {
    struct words_rule rules[SPELLING_RULES_MOST];
    size_t n;
};

/* The word by the rules; its length, or 0 when it does not fit into cap. */
size_t spelling_key(const struct spelling *s, const char *word, size_t len,
                    char *key, size_t cap);
#endif
