#ifndef KW_DECIDE_PARTS_H
#define KW_DECIDE_PARTS_H
/* decide_parts.h - what the files share that judge a text. */
#include "reader/meaning.h"

struct tally {      /* tokens of each sort */
    size_t words;   /* all but pauses, serials and numbers */
    size_t unknown; /* not in the files, or known to mean nothing here */
    size_t ours;    /* observations, units, pots, illness */
    size_t pot, neighbour, chat, money, thing, polite, slips;
    size_t ailing; /* coughs, rashes */
    size_t buried; /* of chat: who may have died of it */
    bool call;
    bool passed_on; /* a warning that goes from phone to phone */
    bool flowing;   /* down, got, only … */
    bool water;
    bool down, scarce; /* it fell; only, little */
};

/* What a pot that is good has not. */
#define DECIDE_BAD_KINDS                                                       \
    (1u << READER_CRACK | 1u << READER_LEAK | 1u << READER_BROKEN |            \
     1u << READER_SLOW | 1u << READER_FAST)

struct deciding {
    const struct meaning_case *m;
    struct meaning_gathered *g;
    struct reader_meaning *out;
    struct tally tally;
    const struct cut_token *serials[2], *wrong,
        *phone; /* as long as a serial, and called a number */
    size_t n_serials;
    bool negative;
    bool called; /* a serial stands where a phone number does */
};

static inline bool may_be(const struct deciding *d, const struct cut_token *t,
                          enum concept c)
{
    return concept_set_has(&d->m->lex->sets[t->symbol], c);
}

static inline bool has(const struct deciding *d, enum reader_kind k)
{
    return (d->g->kinds >> k) & 1;
}

/* A tap, a lid or a bucket by its word. */
static inline bool is_part(const struct deciding *d, const struct cut_token *t)
{
    return may_be(d, t, CONCEPT_TAP) || may_be(d, t, CONCEPT_LID) ||
           may_be(d, t, CONCEPT_BUCKET);
}

/* The signs into out->danger; then the illness, if there is one. */
void decide_signs(struct deciding *d);
void decide_add_illness(struct deciding *d);
bool decide_is_impossible(const struct reader_measure *m,
                          const struct reader_limits *l);
/* Is a pot named by a word for it, or in a phrase? */
bool decide_names_pot(const struct deciding *d);
/* A text without a number: is it of a pot or a home all the same? */
bool decide_is_bare_report(const struct deciding *d);
/* Is it only asked what to do if someone falls ill? */
bool decide_is_supposed(const struct deciding *d);
/* Does it have a question mark? */
bool decide_is_asked(const struct deciding *d);
/* "Part" behind a serial, and nothing else. */
bool decide_names_no_part(const struct deciding *d);
/* "Unused, we use it every day." */
bool decide_is_used(const struct deciding *d);
/* Slow or fast in more words than one. */
void decide_add_flow(struct deciding *d);
/* What was, is of a part or cannot be is taken out; true: there was a contrary.
 */
bool decide_settle(struct deciding *d);
/* Where in the row a kind was said; 0 when it was not. */
size_t decide_place_of(const struct deciding *d, enum reader_kind k);
/* Takes out the observations of these kinds. */
void decide_drop(struct deciding *d, unsigned kinds);
enum concept decide_part_concept(enum reader_part p);
/* The last "now" of the row, else the last "but"; 0 for none. */
size_t decide_turning_point(const struct deciding *d, bool *now);
/* What is told of other things by the way is taken out. */
void decide_asides(struct deciding *d);
/* What was, was taken back or is of another's pot is taken out. */
void decide_turns(struct deciding *d);
/* "It gave 1 l in 5 h, washed, now it is good." */
bool decide_is_measure_of_then(const struct deciding *d);
/* Did the token go into a piece that was understood? */
bool decide_is_covered(const struct meaning_gathered *g, size_t i);
/* What went into nothing: of a card's sentence, of people, of a flow. */
bool decide_is_left_over(const struct deciding *d);
bool decide_has_stray_count(const struct deciding *d);
bool decide_has_stray_measure(const struct deciding *d);
/* Two troubles that seldom go together, not plainly side by side? */
bool decide_is_odd_pair(const struct deciding *d);
/* Why what would be filed is to be asked about all the same, or clear. */
enum reader_why decide_doubt(const struct deciding *d);
/* Where the measure goes, what it lacks, whether it can be. */
enum reader_why decide_measure(struct deciding *d);
#endif
