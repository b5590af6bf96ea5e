#ifndef KW_GRAMMAR_MEMO_H
#define KW_GRAMMAR_MEMO_H
/*
 * grammar_memo.h - what was found at the head of a short row, remembered. A
 * piece depends on nothing but the symbols from its place on to the end of the
 * row, and the last symbols of most texts stood in one before.
 */
#include "reader/grammar.h"

#define GRAMMAR_MEMO_LONGEST                                                   \
    12 /* symbols of a row; longer ones are not kept                           \
        */

struct grammar_memo;

struct grammar_memo *grammar_memo_new(void);
void grammar_memo_free(struct grammar_memo *memo);

/*
 * What match_at() of grammar.c found for these n symbols: 1 and m from place
 * at on, or 0; KW_ENOENT when it is not known. n <= GRAMMAR_MEMO_LONGEST.
 */
int grammar_memo_find(const struct grammar_memo *memo, const uint32_t *row,
                      size_t n, size_t at, struct grammar_match *m);
/* Keeps it: found is 1, with m, which begins at the head, or 0. */
void grammar_memo_keep(struct grammar_memo *memo, const uint32_t *row, size_t n,
                       int found, const struct grammar_match *m);
#endif
