#ifndef KW_GRAMMAR_PARTS_H
#define KW_GRAMMAR_PARTS_H
/*
 * grammar_parts.h - the tables of a grammar; for grammar*.c and
 * reader_image.c alone. They hold
 * numbers of rows and no addresses, so that an image can keep them.
 */
#define PCRE2_CODE_UNIT_WIDTH 32
#include "reader/grammar.h"

#include <pcre2.h>

#define GRAMMAR_WAYS_MOST 4096
#define GRAMMAR_LOOK_OVER 24 /* symbols that are looked over before a try */

/*
 * One of the alternatives that a text may be, each a pattern of its own: a
 * try costs what its groups cost, and most need not be tried.
 */
struct way {
    uint32_t text, len; /* its pattern, in the text store */
    /* A match has a symbol of each of these sets; not
     * looked for when it may be longer than what is looked over. */
    uint32_t need, n_needs;
    uint8_t nothing; /* matches without a symbol, too */
    uint8_t long_one;
    uint8_t unused[2];
};

struct begin { /* a way that can begin with a symbol */
    uint16_t way;
    uint8_t ends;
    uint8_t unused;
    uint32_t second; /* index of what can come behind it, when not ends */
};

struct grammar {
    struct way *ways; /* in the order of choice */
    size_t n_ways, ways_cap;
    char *texts;
    size_t n_texts, texts_cap;
    uint32_t *begins; /* by symbol: where its items begin; one more */
    struct begin *items;
    size_t n_items;
    uint64_t *seconds; /* sets, each of set_words */
    size_t n_seconds;
    uint64_t *needs; /* the same */
    size_t n_needs;
    size_t n_symbols, set_words;
    uint32_t groups_most; /* highest group number of all ways */
    bool borrowed;        /* the tables above are another's */
    struct grammar_making *making;
};

/* A way as PCRE2 has it. */
struct grammar_way {
    pcre2_code *code;
    bool jit;
    uint32_t groups;   /* highest group number */
    uint16_t *rule_of; /* by group number; GRAMMAR_RULE_COUNT none */
};

/* Once n_ways is known: nothing is compiled yet. */
void grammar_making_begin(struct grammar *g);
/*
 * A way, compiled at its first use, by whichever thread comes first; until
 * grammar_free(). NULL when PCRE2 will not: no memory, or *code tells.
 */
const struct grammar_way *grammar_way(const struct grammar *g, size_t way,
                                      int *code);
unsigned grammar_rule_from_name(const char *name);
#endif
