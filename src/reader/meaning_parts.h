#ifndef KW_MEANING_PARTS_H
#define KW_MEANING_PARTS_H
/* meaning_parts.h - what the files share that take a text's pieces. */
#include "reader/meaning.h"

struct taking {
    const struct lexicon *lex;
    const struct cut *c;
    struct meaning_gathered *out;
    struct grammar_match *m;
    bool no_others;  /* pass over what is told of beasts and of long ago, */
    bool home_only;  /* and of other homes; */
    bool no_thought; /* and what was only thought */
};

static inline bool said(const struct taking *t, enum grammar_rule r)
{
    return grammar_said(t->m, r);
}

static inline const struct cut_token *token(const struct taking *t,
                                            enum grammar_rule r)
{
    return &t->c->tokens[t->c->row_at[t->m->first[r]]];
}

static inline double token_value(const struct taking *t, size_t at)
{
    return t->c->tokens[t->c->row_at[at]].value;
}

static inline bool may_be(const struct taking *t, const struct cut_token *k,
                          enum concept c)
{
    return concept_set_has(&t->lex->sets[k->symbol], c);
}

/* meaning_denial.c: notes the kinds that a denial names. */
void meaning_take_denied(struct taking *t);
/* Is the denial of something else than what it seems to deny? */
bool meaning_denies_nothing(const struct taking *t);
/* "The fever has passed, the blood has not": what seems a denial of a sign is
 * none; and then the sign is taken. */
bool meaning_is_still(const struct taking *t);
void meaning_take_still(struct taking *t);
/* "It was slow before 0214-073-19 we scrubbed it": the number ends it;
 * so does a "now". */
bool meaning_is_before_alone(const struct taking *t);
/* "The tap is not broken, what broke is the lid": where the second clause of
 * the piece begins, when it names what it is of; else 0. */
size_t meaning_other_part_at(const struct taking *t);

/* How many people a piece counts, and how many of them are under five. */
void meaning_take_people(struct taking *t);

/* meaning_measure.c: how many places behind the piece belong to it too. */
size_t meaning_take_measure(struct taking *t);

/* meaning_then.c: forgets a measure of then or one that is taken back by the
 * piece; false: the piece tells of then. And where a measure was told. */
bool meaning_settle_then(struct taking *t);
void meaning_keep_place(struct taking *t);

/* meaning_clock.c: times of the day. Where to go on. */
size_t meaning_take_span(struct taking *t);
size_t meaning_take_clock(struct taking *t);

/* Does a clause end or begin with token i: a mark, "but", the text's end? */
bool meaning_is_bound(const struct taking *t, size_t i);

/* meaning_clause.c: of a time that is over, of people elsewhere. */
bool meaning_is_past(const struct taking *t);
bool meaning_is_of_others(const struct taking *t);
/* "We thought it leaked": told behind such a word in its clause. */
bool meaning_is_thought(const struct taking *t);
/* Blood that a wound is told with, and no illness. */
bool meaning_is_wound(const struct taking *t);
#endif
