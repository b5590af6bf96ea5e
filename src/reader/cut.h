#ifndef KW_CUT_H
#define KW_CUT_H
/*
 * cut.h - folded text to a row of tokens, each with a symbol that says what
 * it may mean (lexicon.h), ready for the grammar. The row begins with
 * <begin> and ends with <end>. Serials are found here, by their check
 * characters; a letter typed for a digit is taken only inside a group of
 * digits, and no digit is ever changed.
 */
#include "reader/fold.h"
#include "reader/lexicon.h"
#include "reader/serial.h"
#include "reader/slip.h"

#define CUT_TOKENS_MOST 1700
#define CUT_LONG_MOST   16 /* serials, wrong serials and phones of a text */

enum {
    CUT_SLIP = 1,    /* not as in the lexicon: a slip was repaired */
    CUT_SPLIT = 2,   /* run together with the one before or after */
    CUT_GLUED = 4,   /* no gap before it */
    CUT_PLUS = 8,    /* a '+' stands before it */
    CUT_WORDED = 16, /* a number in words */
    CUT_LETTER = 32, /* a single letter */
    CUT_FRACTION = 64,
    CUT_MINUS = 128 /* " -" stands before it */
};

/* "Nobody uses the filter", "diarrhoea like rice water". */
enum {
    CUT_NAMES_POT = 1,
    CUT_NAMES_GUT = 2,
    CUT_NAMES_DAY = 4,
    CUT_NAMES_AND = 8,
    CUT_NAMES_YEAR = 16
};

struct cut_token {
    uint16_t at, len; /* in the folded text */
    uint16_t symbol;
    uint8_t flags;
    int8_t named;   /* language that the word names, or -1 */
    int8_t held;    /* index of cut_long, or -1 */
    uint8_t names;  /* CUT_NAMES_…: such a word is in this phrase */
    uint32_t word;  /* before phrases are joined; 0 none */
    uint32_t spelt; /* that stands for its spellings in phrases; 0 none */
    uint32_t sound; /* and alone */
    uint32_t node;  /* 0 none */
    double value;   /* of a number */
};

struct cut_long {    /* many digits */
    char digits[24]; /* canonical when it passed; else as written, cut off */
    size_t len;      /* as written */
};

#define CUT_SLIPS_MOST  40 /* in one text; more is no thumb's work */
#define CUT_CHAINS_MOST 8  /* sentences without gaps; the same */

/* Words that were in texts before: what the lexicon has, no more and no less.
 */
#define CUT_HEARD         4096
#define CUT_HEARD_LETTERS 24 /* octets, and the last of them is a zero */
#define CUT_HEARD_WORDS   (CUT_HEARD_LETTERS / 8)

struct cut_heard {
    uint64_t letters[CUT_HEARD_WORDS]; /* padded with zeros; 0 nothing yet */
    uint32_t word, root;               /* as it stands, its node; 0 none */
    uint16_t langs; /* that have it; when none, that know it by ear */
    bool has_ears;  /* else those were not looked for yet */
};

/* What they are in a text that seems to be in one language. */
struct cut_known {
    uint64_t letters[CUT_HEARD_WORDS];
    uint32_t spelt, sound; /* as in a token */
    uint32_t word;         /* as it stands, or by ear, without vowels … */
    uint32_t slip;         /* the word that was meant */
    uint32_t text;         /* the last in which that was wanted */
    int8_t lang;
    bool has_slip;                    /* else not looked for yet */
    bool no_phrase, no_two, no_chain; /* are not run together in it */
};

/* What was looked for in place of words that are none. */
#define CUT_SOUGHT 1024

struct cut_sought {
    char letters[CUT_HEARD_LETTERS]; /* padded with zeros; "" nothing yet */
    struct slip_expected expected;
    bool near;      /* is any near? else the word that was meant */
    uint32_t found; /* yes or no, or the word */
};

struct cut {
    struct cut_heard heard[CUT_HEARD][2]; /* zeroed at first, and kept */
    struct cut_known known[CUT_HEARD][2]; /* the same */
    struct cut_heard long_heard;          /* of a word too long to be kept */
    struct cut_known long_known;
    struct cut_sought sought[CUT_SOUGHT];
    uint32_t text;   /* counts the texts */
    size_t n_slips;  /* wanted in this text, remembered or not */
    size_t n_chains; /* the same */
    size_t n_mends;  /* the same, of words taken apart and mended */
    struct fold fold;
    struct cut_token tokens[CUT_TOKENS_MOST];
    size_t n;
    uint32_t symbols[CUT_TOKENS_MOST]; /* the row for the grammar */
    uint32_t row[CUT_TOKENS_MOST];     /* the same without serials and phones */
    uint16_t row_at[CUT_TOKENS_MOST];  /* the token of each place of row */
    size_t n_row;
    /* What the tokens may mean and are, all of them together: what is not in it
     * needs no look at each. While they are settled it may be more than that.
     */
    struct concept_set any;
    uint32_t any_class; /* bit for each class */
    uint8_t any_flag;
    struct cut_long held[CUT_LONG_MOST];
    size_t n_held;
    bool cut_off;      /* something was left out */
    bool numbered;     /* it has digits enough for a pot's number */
    bool near_pot;     /* it names one, by a word that stands as it is */
    bool near_illness; /* an illness, or people; the same */
    bool joined;       /* a small word and one of ours were taken apart */
    bool keypad;       /* the form with stars */
    bool card;         /* worded as on the card: nothing in it is by the way */
    bool doubt;        /* and a word in it is not understood */
    int lang;          /* most words are of this one, or -1 */
    int lang_seems;    /* by the words that need no repair, else the sender's */
};

#define CUT_OCTETS_MOST 1600 /* of a text; READER_TEXT_MOST */

/*
 * Cuts c->fold, into which fold_text() has folded at most CUT_OCTETS_MOST.
 * lang: index of the sender's language or -1; breaks ties.
 */
void cut_text(struct cut *c, const struct lexicon *lex,
              const struct serial_layout *layout, int lang);
#endif
