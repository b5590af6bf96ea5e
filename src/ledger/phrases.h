#ifndef KW_PHRASES_H
#define KW_PHRASES_H
/*
 * phrases.h - inside the ledger only: answers take little room. Of "Pot
 * 0214-073-19: slow, 1.2 L in the first hour." the words "Pot #: slow, # L in
 * the first hour." are kept once, as a phrase, and with the answer its number
 * and the figures "0214-073-19 1.2". Only where the caller knows that what is
 * no figure comes from the grammar: phrases stay, other words are dropped
 * after a time.
 */
#include "ledger/query.h"

#define PHRASES_MOST 4000 /* what is new after so many is kept whole */

struct phrase {
    int64_t id;                    /* 0: kept whole */
    char figures[LEDGER_BODY_CAP]; /* or the whole text */
};
/* Finds or makes the phrase of a text. */
int phrase_take(struct ledger *lg, const char *body, struct phrase *out);
/* The text again, from a row's phrase ("" none) and its own column. */
void phrase_say(struct query *q, int words_col, int body_col, char *dst,
                size_t cap);
#endif
