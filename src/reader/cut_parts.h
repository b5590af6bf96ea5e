#ifndef KW_CUT_PARTS_H
#define KW_CUT_PARTS_H
/* cut_parts.h - what the files of the cutter share. */
#include "reader/cut.h"

#define CUT_ATOMS_MOST  1700
#define CUT_NO_LINK     '#'
#define CUT_CHAIN_LEAST 6
#define CUT_SPELT_LEAST 4 /* letters; shorter words get no slack by ear */

enum cut_atom_type { CUT_LETTERS, CUT_DIGITS, CUT_STOP, CUT_MORE };

struct cut_atom {
    enum cut_atom_type type;
    uint16_t at, len;
    char link;     /* to the atom before: 0 none, ' ' '-' … or CUT_NO_LINK */
    uint8_t flags; /* CUT_GLUED, CUT_PLUS */
    uint32_t word; /* of letters, once the language was guessed; 0 none */
};

struct cut_atoms {
    struct cut_atom items[CUT_ATOMS_MOST];
    size_t n;
    bool full;
};

struct cut_context {
    const struct lexicon *lex;
    const struct serial_layout *layout;
    struct cut_atoms *atoms;
};

/* Adds a token; when there is no more room, one that nobody will see. */
struct cut_token *cut_add(struct cut *c, enum concept concept, size_t at,
                          size_t len);
/* Keeps long digits; the index, or -1 when too many were there. */
int cut_hold(struct cut *c, const char *digits, size_t len);

/* Do these characters, o l i taken as 0 1 1, make a serial that passes? */
bool cut_serial_at(const struct cut_context *x, const char *s, size_t len);
/* Digits from atom i on: tokens for all of the run; the atom after it. */
size_t cut_digit_run(struct cut *c, const struct cut_context *x, size_t i);
/* The keypad form with stars; false when the text is not of that form. */
bool cut_keypad(struct cut *c, const struct cut_context *x);

/* What the lexicon has for letters in the folded text, until the next ones are
 * heard. */
struct cut_heard *cut_hear(struct cut *c, const struct lexicon *lex,
                           const char *s, size_t len);
/* Languages in which they are known by the rules of their spelling. */
uint32_t cut_hear_langs(const struct lexicon *lex, struct cut_heard *h,
                        const char *s, size_t len);
/* What they are in the language that the text seems to be in. */
struct cut_known *cut_know(struct cut *c, const struct lexicon *lex,
                           const char *s, size_t len);
/*
 * The word that they are a slip for, and not more often than a text is worth:
 * what was remembered of other texts counts too, or this one would be read
 * otherwise behind them.
 */
uint32_t cut_find_slip(struct cut *c, const struct lexicon *lex,
                       struct cut_known *k, const char *s, size_t len);

/*
 * Looks up the letters; the language of those that are as in the lexicon,
 * else lang.
 */
int cut_guess_language(struct cut *c, const struct cut_context *x, int lang);
/* A token for a word as it stands in the lexicon, 0 for none. */
void cut_add_word(struct cut *c, size_t at, size_t len, uint32_t word,
                  uint8_t flags);
/* Tokens for two words, or for a phrase, written as one; false: it is none. */
bool cut_split_word(struct cut *c, const struct lexicon *lex,
                    const struct cut_atom *a);
bool cut_split_phrase(struct cut *c, const struct lexicon *lex,
                      const struct cut_atom *a);
/* The same for a sentence of several words, CUT_CHAIN_LEAST letters or more. */
bool cut_split_chain(struct cut *c, const struct lexicon *lex,
                     const struct cut_atom *a);
/* What a word may mean in that language or in those that all have; 0 nothing.
 */
uint16_t cut_symbol_in(const struct lexicon *lex, uint32_t word, int lang);
/* A small word or a pot's beside one of ours, in a text of a pot or an illness,
 * where that is likelier than the slip, 0 for none; mend: one of the two may
 * have a slip. */
bool cut_split_joined(struct cut *c, const struct lexicon *lex,
                      const struct cut_atom *a, uint32_t slip, bool mend);
/* The same for a unit behind a number and what goes on: "1lten 50 min". */
bool cut_split_unit(struct cut *c, const struct lexicon *lex,
                    const struct cut_atom *a);
/* Token i, which is no word, as two of a phrase that is a sign: "hoshme nahi".
 */
bool cut_split_in_phrase(struct cut *c, const struct lexicon *lex, size_t i,
                         bool sign);
/* Does a phrase of several words, one that is a sign, have token i? */
bool cut_is_in_phrase(const struct cut *c, const struct lexicon *lex, size_t i,
                      bool sign);
/* One word, looked up: as it stands, mended, or taken apart. */
void cut_word(struct cut *c, const struct cut_context *x,
              const struct cut_atom *a);
/* Mends words of phrases, and joins them. */
void cut_join_phrases(struct cut *c, const struct lexicon *lex);
/* Joins phrases, settles the language and single letters. */
void cut_phrases(struct cut *c, const struct lexicon *lex, int lang);

/* Is it of one of these classes? */
static inline bool cut_has_class(const struct lexicon *lex,
                                 const struct cut_token *t, unsigned classes)
{
    return (lex->classes[t->symbol] & classes) != 0;
}

/* cut_numbers.c: numbers of several words; "1h30"; "4" that says "for"; "-5".
 */
void cut_join_number_words(struct cut *c, const struct lexicon *lex);
void cut_join_minutes(struct cut *c, const struct lexicon *lex);
void cut_settle_figures(struct cut *c, const struct lexicon *lex);

/* Looks over all tokens, what they may mean: c->any and its like. */
void cut_sum_up(struct cut *c, const struct lexicon *lex);
/* What a token means in the language of the text, else in any. */
uint16_t cut_settle(const struct lexicon *lex, const struct cut_token *t,
                    int lang);
/* May a sentence as on the card have it? */
bool cut_is_card_word(const struct lexicon *lex, const struct cut_token *t);
/* The token becomes this word, by a slip. */
void cut_take(const struct lexicon *lex, struct cut_token *t, uint32_t word,
              int lang);
/* Slips in words of the card, in a sentence as on the card. */
void cut_card(struct cut *c, const struct lexicon *lex);
/* A pause behind what is denied, where the language denies behind. */
void cut_close_denials(struct cut *c, const struct lexicon *lex);
/* Words that are no words, by what the rest of a short text lets expect. */
void cut_expect(struct cut *c, const struct lexicon *lex, int lang);
#endif
