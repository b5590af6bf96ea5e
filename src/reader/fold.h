#ifndef KW_FOLD_H
#define KW_FOLD_H
/*
 * fold.h - any octets to plain lower-case text in which the same thing is
 * always written the same way: NFKC, case, Latin accents, digits of every
 * script, look-alike letters; what cannot be seen is gone. In the result all
 * octets below 0x80 are printable ASCII and all above belong to letters.
 * Source: Unicode 15 by way of utf8proc (UAX 15 NFKC; UTS 39 for the idea
 * of look-alikes, the short table is our own).
 */
#include "base/kw.h"

#define FOLD_CAP   6400 /* octets of folded text; more is left out */
#define FOLD_SLACK 24   /* octets behind its end that may be read */

struct fold {
    size_t len;
    bool cut; /* the text was longer than could be read */
    char text[FOLD_CAP + FOLD_SLACK];
};

/* Builds the tables; once, before any other call; safe to repeat. */
void fold_prepare(void);
/* Folds at most most octets of the source. */
void fold_text(struct fold *f, const char *text, size_t len, size_t most);

/* Of each octet of a folded text: is it part of a letter, is it a digit? */
enum { FOLD_LETTER = 1, FOLD_DIGIT = 2 };
extern const uint8_t fold_class[256];

static inline bool fold_is_letter(char c)
{
    return fold_class[(unsigned char)c] & FOLD_LETTER;
}
static inline bool fold_is_digit(char c)
{
    return c >= '0' && c <= '9';
}
static inline bool fold_is_alnum(char c)
{
    return fold_class[(unsigned char)c] != 0;
}
#endif
