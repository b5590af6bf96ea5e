#ifndef KW_MEANING_H
#define KW_MEANING_H
/*
 * meaning.h - what the pieces of a text say together. meaning_gather() puts
 * down what was said; decide.c then judges what the text as a whole is.
 */
#include "reader/cut.h"
#include "reader/grammar.h"
#include "reader/reader.h"

#define MEANING_PIECES_MOST 400

struct meaning_piece { /* kept to explain */
    uint16_t from, to;
    uint64_t said[2];
};

static inline bool meaning_piece_said(const struct meaning_piece *p,
                                      enum grammar_rule r)
{
    return (p->said[r / 64] >> r % 64 & 1) != 0;
}

enum meaning_counted {
    COUNTED_NOT,
    COUNTED_BARE,
    COUNTED_PERSONS,
    COUNTED_CHILDREN
};

#define MEANING_CLOCKS 2 /* times of the day that make a span */

struct meaning_gathered {
    size_t n_obs;
    unsigned kinds;  /* bit for each kind seen */
    unsigned denied; /* and denied: "no crack" */

    bool has_amount, other_amount; /* a second one that differs */
    struct reader_measure measure;
    uint16_t amount_at, time_at;
    bool has_hours, has_minutes, per_unit;
    bool turned; /* a measure of then came before that of now */
    bool again;  /* an amount was told when a whole measure had been */
    /* The tokens of the measure so far: where it begins, where it ends. */
    uint16_t measured_from, measured_to;
    size_t n_clocks; /* times of the day */
    struct {
        double hour;
        uint8_t part;
    } clocks[MEANING_CLOCKS];
    uint16_t clock_at;
    bool brim, not_brim;
    /* Heights of the water over the bottom, in cm: when it began, at the end.
     */
    bool has_level, has_level_last;
    double level_first, level_last;
    uint16_t level_at;
    bool warm, warm_water; /* degrees; and of the water */
    double degc;

    int people, under5;
    int ages_young;  /* ages under five that were told */
    bool aged_baby;  /* "a child of two years" */
    bool u5_said;    /* without a number */
    bool u5_all;     /* of all that are ill */
    bool ill_before; /* in a piece before this one */
    bool among;      /* of the people who were counted, some were told apart */
    bool none;       /* "ill 0" */
    bool five;       /* "one of 5 years": or under five? */
    enum meaning_counted counted;
    int home;            /* how many live there: "we are seven" */
    bool counted_ill;    /* the count came with the word for ill */
    bool counted_with;   /* or with an illness of whatever word */
    bool two_counts;     /* "3 are ill. 5 are ill" */
    uint16_t counted_to; /* the row behind the piece that counted */
    int some, of_some;   /* "7 of us, 2 are sick": 2 and 7; 0 not so */
    bool uncounted;      /* people before any illness: of the home, or ill? */
    bool ailing;         /* a cough, an itch: ill beside a pot only */
    bool who, gut, ill, unwell, stool;
    uint16_t ill_at;           /* in the row: the piece that first said so */
    bool said_ill, denied_ill; /* "ill", by that word */
    unsigned sure, maybe;      /* signs */
    unsigned far;              /* of maybe: short words of another language */
    bool undrinking, unable, gone, maybe_slow, no_flow, passes_in;
    bool weak_only; /* the dry sign rests on weakness alone */
    uint16_t maybe_slow_at, passes_at;

    unsigned lone_parts; /* bit for each reader_part */
    bool trouble, doubt, not_fine, faulty;
    bool letter; /* a single letter was the only word of something */
    size_t aliens, denials;
    bool only_thought; /* what was told was only thought to be so */
    bool limit;        /* the matching hit a limit, or the text was cut off */

    size_t n_pieces;
    bool is_order;

    /* What counts itself is not cleared before: as many as were found. */
    struct reader_obs obs[READER_OBS_MOST];
    uint16_t obs_at[READER_OBS_MOST]; /* the token that said it */
    struct meaning_piece pieces[MEANING_PIECES_MOST];
    struct grammar_match order; /* when is_order */
};

void meaning_gather(const struct grammar *g, struct grammar_scratch *s,
                    const struct lexicon *lex, const struct cut *c,
                    struct meaning_gathered *out);

/* From the one time of the day to the other; 0: nobody knows. */
double meaning_clock_minutes(const struct meaning_gathered *g);

/* What decides: the files' words, what cannot be, who sent it. */
struct meaning_case {
    const struct lexicon *lex;
    const struct reader_limits *limits;
    const struct reader_hint *hint; /* never NULL */
    const struct cut *cut;
    struct meaning_gathered *said;
};

/* Writes the whole of out but for command, numbers, word and phone. */
void meaning_decide(const struct meaning_case *m, struct reader_meaning *out);
/* After the order `tested`: what was read, or a report like any other. */
void meaning_test(const struct meaning_case *m, struct reader_meaning *out);
/* An order: command, numbers, word, phone, serials. */
void meaning_order(const struct meaning_case *m, struct reader_meaning *out);
#endif
