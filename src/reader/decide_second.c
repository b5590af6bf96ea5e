/*
 * decide_second.c - two troubles in one text. Households tell of one thing, or
 * of two that go together: a pot that cracked and leaks, a pot that was brushed
 * and what came of it. Any other two, when they are not plainly put side by
 * side, may be one thing and a word that was misread: then it is asked about.
 */
#include "reader/decide_parts.h"

#include <string.h>

#define STORY_WORDS 16 /* more of them have all sorts of things in them */
#define BARE_WORDS  4  /* where no number says that it is of a pot */

/* A full stop and its like; a comma also stands where only breath is taken. */
static bool is_stop(const struct deciding *d, const struct cut_token *t)
{
    const char *s = d->m->cut->fold.text + t->at;

    for (size_t i = 0; t->symbol == CONCEPT_PAUSE && i < t->len; i++) {
        if (strchr(".;!?\n", s[i]) != NULL)
            return true;
    }
    return false;
}

/* What puts two things plainly side by side. */
static bool is_joint(const struct deciding *d, const struct cut_token *t)
{
    static const enum concept joints[] = {
        CONCEPT_AND,  CONCEPT_BUT, CONCEPT_WHY,  CONCEPT_SINCE,
        CONCEPT_THEN, CONCEPT_NOW, CONCEPT_AGAIN};

    for (size_t i = 0; i < KW_COUNT(joints); i++) {
        if (may_be(d, t, joints[i]))
            return true;
    }
    return is_stop(d, t);
}

static const struct cut_token *said_at(const struct deciding *d, size_t k)
{
    return &d->m->cut->tokens[d->m->cut->row_at[d->g->obs_at[k]]];
}

#define BIT(k) (1u << READER_##k)

/* Do the two go together, as cause and effect, or care and what came of it? Two
 * parts do not: "the lid was lost; no, the tap". In a story a word for wet or
 * for a hurry may be of anything. */
static bool go_together(const struct reader_obs *a, const struct reader_obs *b,
                        bool story)
{
    const unsigned after_care =
        BIT(FINE) | BIT(SLOW) | BIT(FAST) | BIT(LEAK) | BIT(CRACK);
    const unsigned damage = BIT(CRACK) | BIT(BROKEN);
    const unsigned holds_not = BIT(CRACK) | BIT(LEAK);
    unsigned both = 1u << a->kind | 1u << b->kind;

    if (both == (BIT(PART) | BIT(FINE)) || both == holds_not ||
        ((both & damage) && (both & BIT(UNUSED))) ||
        ((both & BIT(SCRUBBED)) && (both & after_care)))
        return true;
    return !story && (((both & BIT(FAST)) && (both & holds_not)) ||
                      ((both & damage) && (both & BIT(LEAK))));
}

/* "It leaks and is running off the table": no one is named who had the runs. */
static bool is_nobody_ill(const struct deciding *d)
{
    static const enum concept somebody[] = {
        CONCEPT_PERSON, CONCEPT_CHILD, CONCEPT_BABY, CONCEPT_ONE, CONCEPT_ME};
    const struct meaning_gathered *g = d->g;

    for (size_t i = 0; i < KW_COUNT(somebody); i++) {
        if (concept_set_has(&d->m->cut->any, somebody[i]))
            return false;
    }
    return has(d, READER_ILL) && !g->who && g->people + g->under5 == 0 &&
           g->sure == 0 && !g->said_ill;
}

/* What an illness is often told with, in one breath: "good, my son has the
 * runs". */
static bool stands_beside_illness(enum reader_kind k)
{
    return (1u << k & (BIT(FINE) | BIT(PART) | BIT(CRACK))) != 0;
}

/* "Cracked and slow": each as it is written, and side by side. */
static bool are_side_by_side(const struct deciding *d, size_t i, size_t k)
{
    const struct cut_token *a = said_at(d, i), *b = said_at(d, k);
    enum reader_kind first = d->g->obs[i].kind, second = d->g->obs[k].kind;
    bool comma = (first == READER_ILL && stands_beside_illness(second)) ||
                 (second == READER_ILL && stands_beside_illness(first));
    bool apart = false;

    if (d->tally.words > STORY_WORDS || is_nobody_ill(d) ||
        ((a->flags | b->flags) & CUT_SLIP))
        return false;
    for (const struct cut_token *t = a < b ? a : b; t < (a < b ? b : a); t++)
        apart |= is_joint(d, t) || (comma && t->symbol == CONCEPT_PAUSE);
    return apart;
}

/* "Gave it a good wash": is the pot good, or was the wash? */
static bool is_washed_well(const struct deciding *d)
{
    const struct cut *c = d->m->cut;
    size_t good = c->row_at[decide_place_of(d, READER_FINE)];

    return has(d, READER_SCRUBBED) && has(d, READER_FINE) &&
           c->row_at[decide_place_of(d, READER_SCRUBBED)] == good + 1;
}

/* "Ill 2 blood crack": nothing but what is on a card, and no slip. */
static bool is_ours_alone(const struct deciding *d)
{
    const struct tally *y = &d->tally;

    return y->slips == 0 && y->words == y->ours + y->polite &&
           (d->n_serials > 0 || y->words <= BARE_WORDS);
}

bool decide_is_odd_pair(const struct deciding *d)
{
    const struct meaning_gathered *g = d->g;
    bool story = d->tally.words > STORY_WORDS;

    if (d->m->cut->card || is_ours_alone(d))
        return false;
    if (is_washed_well(d))
        return true;
    for (size_t i = 0; i < g->n_obs; i++) {
        for (size_t k = i + 1; k < g->n_obs; k++) {
            if (!go_together(&g->obs[i], &g->obs[k], story) &&
                !are_side_by_side(d, i, k))
                return true;
        }
    }
    return false;
}
