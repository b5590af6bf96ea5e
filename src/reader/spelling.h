#ifndef KW_SPELLING_H
#define KW_SPELLING_H
/*
 * spelling.h - one way to write a word for all the ways that people have:
 * "paani", "pani", "panee" are all "pani" by the rules aa>a and ee>i. The
 * rules stand in a words file, under spelling:, for languages that are
 * written by ear. At each letter the first rule that fits is followed; ^ and
 * $ are the word's begin and end. Then double letters become single ones. A
 * rule with = behind it names a pair of consonants that stand together, for
 * vowels.h. A rule with + before it holds within the words of phrases only,
 * where "nikl rha" can be nothing but "nikal raha".
 */
#include "base/kw.h"
#include "reader/words.h"

#define SPELLING_RULES_MOST 128

struct spelling_rule {
    char from[WORDS_RULE_CAP], into[WORDS_RULE_CAP];
    uint8_t n_from, n_into;
    bool begin, end; /* of the word alone */
    bool phrase;     /* within words of phrases alone */
    uint8_t next;    /* with the same first octet, or 0 */
};

struct spelling {
    struct spelling_rule rules[SPELLING_RULES_MOST]; /* [0] is none */
    size_t n;                                        /* with [0] */
    uint8_t first[256];                              /* by first octet */
    uint32_t pairs[26]; /* bits of the consonants that may stand behind one */
    bool has_pairs;
};

/* Adds a rule behind those there are; KW_EFULL or KW_ESYNTAX. */
int spelling_add(struct spelling *s, const struct words_rule *r);

/* The word by the rules; its length, or 0 when it does not fit into cap. */
size_t spelling_key(const struct spelling *s, const char *word, size_t len,
                    bool in_phrase, char *key, size_t cap);
#endif
