#ifndef KW_SLIP_COST_H
#define KW_SLIP_COST_H
/*
 * slip_cost.h - what a slip costs, and the distance of two words in such
 * costs: restricted Damerau-Levenshtein (Damerau 1964), weighted by ear, keys
 * and vowels. For slip.c alone.
 */
#include "reader/lexicon.h"

#define RUNES_MOST 24 /* longer words get no slack */

/* Costs. A cheap slip is one that thumbs and ears make all the time. */
enum {
    COST_SOUND = 1,
    COST_DOUBLE = 1,
    COST_NEAR = 2,
    COST_SWAP = 1,
    COST_VOWEL = 2,
    COST_LETTER = 3,
    COST_FAR = 4,
    COST_FOREIGN = 1,
    COST_CHEAP = 2,
    COST_MUCH = 100
};

struct runes {
    int n;
    int32_t at[RUNES_MOST + 2];
    uint8_t extra[RUNES_MOST + 2]; /* what each costs when it is too many */
};

/* The code points of a word; false when there are too many, or no UTF-8. */
bool slip_decode(const char *s, size_t len, struct runes *r);
/* A vowel of Latin letters, or a vowel sign of Devanagari. */
bool slip_is_vowel(int32_t c);
/* One sound written two ways. */
bool slip_sounds_like(int32_t a, int32_t b);
/* Fills the table of what a letter for another costs; once. */
void slip_prepare_costs(struct lexicon *lex);
/* Fills r->extra. */
void slip_weigh_extras(struct runes *r);
/* Stops counting above most: COST_MUCH. Extras of both are weighed. */
int slip_distance(const struct lexicon *lex, const struct runes *a,
                  const struct runes *b, int most);

#endif
