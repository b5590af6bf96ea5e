/*
 * decide_aside.c - what is told by the way: "the filter cracked, and the
 * kitchen window is broken", "slow, and the weather is fine". A second thing in
 * a clause of its own that names another thing, and neither pot nor water.
 */
#include "reader/decide_parts.h"

#include <string.h>

static bool ends_clause(const struct deciding *d, const struct cut_token *t)
{
    return t->symbol == CONCEPT_PAUSE || t->symbol == CONCEPT_BEGIN ||
           t->symbol == CONCEPT_END || t->symbol == CONCEPT_SERIAL ||
           t->symbol == CONCEPT_WRONG || may_be(d, t, CONCEPT_BUT) ||
           may_be(d, t, CONCEPT_AND);
}

/* Of a pot, or of what it does now. */
static bool is_of_pot(const struct deciding *d, const struct cut_token *t)
{
    static const enum concept ours[] = {
        CONCEPT_POT,  CONCEPT_TAP,   CONCEPT_LID,  CONCEPT_BUCKET, CONCEPT_PART,
        CONCEPT_RATE, CONCEPT_WATER, CONCEPT_COME, CONCEPT_OUTSIDE};

    for (size_t i = 0; i < KW_COUNT(ours); i++) {
        if (may_be(d, t, ours[i]))
            return true;
    }
    return (t->names & CUT_NAMES_POT) != 0;
}

static bool is_thing(const struct deciding *d, const struct cut_token *t)
{
    return may_be(d, t, CONCEPT_THING) || may_be(d, t, CONCEPT_ANIMAL) ||
           t->symbol == CONCEPT_OTHER || t->symbol == CONCEPT_CHAT;
}

/* Does the clause of the token, of row place at, tell of another thing? */
static bool is_aside(const struct deciding *d, size_t at)
{
    const struct cut *c = d->m->cut;
    size_t i = c->row_at[at];
    bool thing = false;

    while (!ends_clause(d, &c->tokens[i - 1]))
        i--;
    for (; !ends_clause(d, &c->tokens[i]); i++) {
        if (is_of_pot(d, &c->tokens[i]))
            return false;
        thing |= is_thing(d, &c->tokens[i]);
    }
    return thing;
}

/* "Today the sun was good": the thing stands right before. */
static bool is_of_thing(const struct deciding *d, size_t at)
{
    const struct cut_token *t = &d->m->cut->tokens[d->m->cut->row_at[at]];

    do
        t--;
    while (t->symbol == CONCEPT_FILLER || may_be(d, t, CONCEPT_VERY));
    return may_be(d, t, CONCEPT_THING) || may_be(d, t, CONCEPT_ANIMAL);
}

/* Is something else told, in another clause? */
static bool has_other(const struct deciding *d, enum reader_kind k)
{
    for (size_t i = 0; i < d->g->n_obs; i++) {
        if (d->g->obs[i].kind != k &&
            (d->g->obs[i].kind == READER_ILL || !is_aside(d, d->g->obs_at[i])))
            return true;
    }
    return false;
}

/* "2 ans, diarrhée, svp vite", "come quick": of someone ill, and no water. */
static void settle_hurry(struct deciding *d)
{
    const struct tally *y = &d->tally;
    const struct cut *c = d->m->cut;
    const struct cut_token *t =
        &c->tokens[c->row_at[decide_place_of(d, READER_FAST)]];

    if (has(d, READER_FAST) && has(d, READER_ILL) && !has(d, READER_SLOW) &&
        !c->card &&
        memchr(c->fold.text + t->at, ' ', t->len) == NULL && /* one word */
        !d->g->has_amount && !y->flowing && !y->water && y->pot == 0)
        decide_drop(d, 1u << READER_FAST);
}

/* Spanish "ventarrón" is no "ven tarron": what only a word says that was taken
 * apart and mended too is passed over where anything else is told. */
static void settle_joined(struct deciding *d)
{
    const struct cut *c = d->m->cut;
    unsigned weak = 0, firm = 0;

    for (size_t i = 0; i < d->g->n_obs; i++) {
        const unsigned both = CUT_SPLIT | CUT_SLIP;
        uint8_t flags = c->tokens[c->row_at[d->g->obs_at[i]]].flags;

        if ((flags & both) == both)
            weak |= 1u << d->g->obs[i].kind;
        else
            firm |= 1u << d->g->obs[i].kind;
    }
    if (c->joined && firm != 0)
        decide_drop(d, weak & ~firm);
}

void decide_asides(struct deciding *d)
{
    static const enum reader_kind kinds[] = {
        READER_FINE, READER_BROKEN, READER_CRACK, READER_LEAK, READER_UNUSED};

    settle_hurry(d);
    settle_joined(d);
    if (d->m->cut->card || d->g->n_obs < 2)
        return;
    for (size_t i = 0; i < KW_COUNT(kinds); i++) {
        size_t at = decide_place_of(d, kinds[i]);

        if (has(d, kinds[i]) && (is_aside(d, at) || is_of_thing(d, at)) &&
            has_other(d, kinds[i]))
            decide_drop(d, 1u << kinds[i]);
    }
}
