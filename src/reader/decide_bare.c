/*
 * decide_bare.c - texts without a number: do their words alone say that they
 * are of a pot, or of a home that drinks from one?
 */
#include "reader/decide_parts.h"

#include <string.h>

#define SHORT_TALK 5 /* words */

/* "Drop by drop": said in three words or more, as of no bus. */
static bool is_long_said(const struct deciding *d)
{
    const struct cut *c = d->m->cut;

    for (size_t k = 0; k < d->g->n_obs; k++) {
        const struct cut_token *t = &c->tokens[c->row_at[d->g->obs_at[k]]];
        int gaps = 0;

        if (d->g->obs[k].kind == READER_ILL)
            continue;
        for (size_t i = 1; i < t->len; i++)
            gaps += c->fold.text[t->at + i] == ' ' &&
                    c->fold.text[t->at + i - 1] != ' ';
        if (gaps >= 2)
            return true;
    }
    return false;
}

bool decide_names_pot(const struct deciding *d)
{
    const struct cut *c = d->m->cut;

    for (size_t i = 1; i + 1 < c->n; i++) {
        if (may_be(d, &c->tokens[i], CONCEPT_POT) ||
            (c->tokens[i].names & CUT_NAMES_POT))
            return true;
    }
    return false;
}

/* "Be quick"; "a piece of the puzzle is missing". */
static bool is_of_anything(const struct deciding *d)
{
    const struct tally *y = &d->tally;
    const struct meaning_gathered *g = d->g;

    return (g->kinds == 1u << READER_FAST && !y->flowing && !y->water &&
            !g->has_amount && y->words > y->polite + 1) ||
           (g->kinds == 1u << READER_PART && g->obs[0].part == READER_NO_PART &&
            y->unknown + y->thing > 0);
}

bool decide_is_asked(const struct deciding *d)
{
    const struct cut *c = d->m->cut;

    for (size_t i = 1; i + 1 < c->n; i++) {
        if (c->tokens[i].symbol == CONCEPT_PAUSE &&
            c->fold.text[c->tokens[i].at] == '?')
            return true;
    }
    return false;
}

/* What nobody would call a pot. */
static bool is_other(const struct cut_token *t)
{
    return t->symbol == CONCEPT_WORD || t->symbol == CONCEPT_OTHER ||
           t->symbol == CONCEPT_THING || t->symbol == CONCEPT_CHAT ||
           t->symbol == CONCEPT_SUCKLE;
}

/* French "couvercle du" as one word of ours. */
static bool ends_in_of(const struct deciding *d, const struct cut_token *t)
{
    const char *s = d->m->cut->fold.text + t->at;

    return t->len > 3 && memcmp(s + t->len - 3, " du", 3) == 0;
}

/* "The lid of the jam jar", "स्कूल का नल": in Hindi what it belongs to stands
 * before it. */
static bool is_part_of_other(const struct deciding *d)
{
    const struct cut *c = d->m->cut;
    bool before = lexicon_is_verb_last(d->m->lex, c->lang);

    for (size_t i = 1; i + 1 < c->n; i++) {
        const struct cut_token *t = &c->tokens[i];

        if (!is_part(d, t))
            continue;
        if (before)
            return may_be(d, t - 1, CONCEPT_OF) && is_other(t - 2);
        if (!ends_in_of(d, t) && !may_be(d, ++t, CONCEPT_OF))
            return false;
        do
            t++;
        while (t->symbol == CONCEPT_FILLER);
        return is_other(t);
    }
    return false;
}

/* Does the clause of the token tell of another thing? "Our filter works well,
 * mother is happy with it" does so in the second one only. */
static bool has_alien(const struct deciding *d, size_t at)
{
    const struct cut *c = d->m->cut;
    size_t to = at;

    while (at > 1 && c->tokens[at - 1].symbol != CONCEPT_PAUSE)
        at--;
    while (to + 1 < c->n && c->tokens[to].symbol != CONCEPT_PAUSE)
        to++;
    for (size_t k = 0; k < d->g->n_pieces; k++) {
        const struct meaning_piece *p = &d->g->pieces[k];

        if (p->from < to && p->to > at && meaning_piece_said(p, GRAMMAR_ALIEN))
            return true;
    }
    return false;
}

/* "The filter works well, we drink from it daily and thank you": of the pot by
 * name, in one clause, whatever else is told. */
static bool is_praise(const struct deciding *d)
{
    const struct cut *c = d->m->cut;
    const struct tally *y = &d->tally;
    size_t at = c->row_at[d->g->obs_at[0]];

    if (y->chat + y->money + y->thing + y->neighbour > 0 ||
        (c->tokens[at].flags & CUT_SLIP) || has_alien(d, at) || y->call ||
        decide_is_asked(d) || d->m->hint->pot == NULL ||
        y->unknown * 2 > y->words)
        return false;
    for (size_t i = at; c->tokens[i].symbol != CONCEPT_PAUSE && i > 0; i--) {
        if (!(c->tokens[i].flags & CUT_SLIP) &&
            (may_be(d, &c->tokens[i], CONCEPT_POT) ||
             (c->tokens[i].names & CUT_NAMES_POT)))
            return true;
    }
    return false;
}

/* Blood and the like, or loose stools that nobody only heard of: "I heard there
 * is cholera in the next village". */
static bool is_water_ill(const struct deciding *d)
{
    const struct tally *y = &d->tally;
    const struct meaning_gathered *g = d->g;

    return g->sure != 0 || (g->gut && (y->chat == 0 || g->who ||
                                       (y->pot > 0 && y->slips == 0)));
}

/* An illness by its name only, that may be anyone's: "is grandma still sick?"
 */
static bool is_of_any_illness(const struct deciding *d)
{
    const struct meaning_gathered *g = d->g;
    bool only = g->kinds == 1u << READER_ILL;

    return (only && !is_water_ill(d) && decide_is_asked(d)) ||
           d->tally.passed_on ||
           (only && g->letter && g->people == 0 && g->sure == 0);
}

/* Someone is ill, of the water or of a home with a pot. */
static bool is_illness_bare(const struct deciding *d)
{
    const struct tally *y = &d->tally;
    const struct meaning_gathered *g = d->g;

    if (!has(d, READER_ILL))
        return false;
    /* "ill 1 and something odd": who says so holds a pot, and is answered */
    return is_water_ill(d) || (y->chat + y->unknown == 0 && g->aliens == 0) ||
           (y->pot > 0 && y->chat <= 1) ||
           (g->people > 0 && d->m->hint->pot != NULL &&
            y->chat + y->thing + y->neighbour == 0 && g->aliens == 0 &&
            y->unknown <= 1);
}

/* What is said tells of no pot. */
static bool is_talk(const struct deciding *d)
{
    const struct tally *y = &d->tally;
    const struct meaning_gathered *g = d->g;

    return y->chat > 1 || (y->chat > 0 && y->call) ||
           ((y->chat > 0 || y->neighbour > 0) && y->pot == 0) ||
           (g->letter && g->measure.minutes == 0) ||
           /* "bring 2 l of milk and a new bucket" */
           (g->kinds == 1u << READER_PART && y->thing > 0 &&
            (g->has_amount || g->obs[0].part == READER_NO_PART));
}

/* Good, and of the pot by name. */
static bool is_fine_bare(const struct deciding *d)
{
    const struct tally *y = &d->tally;

    return is_praise(d) ||
           (y->pot > 0 && y->thing + y->chat + d->g->aliens == 0 &&
            (y->unknown == 0 || (decide_names_pot(d) && y->unknown == 1 &&
                                 y->slips == 0 && y->words > SHORT_TALK)));
}

/* "The cup broke": a vessel that nothing is measured with. */
static bool is_of_vessel(const struct deciding *d)
{
    const unsigned damage =
        1u << READER_BROKEN | 1u << READER_CRACK | 1u << READER_LEAK;
    const struct cut *c = d->m->cut;

    if ((d->g->kinds & ~damage) != 0 || d->g->has_amount)
        return false;
    for (size_t i = 1; i + 1 < c->n; i++) {
        if (may_be(d, &c->tokens[i], CONCEPT_CUP) ||
            may_be(d, &c->tokens[i], CONCEPT_BOTTLE))
            return true;
    }
    return false;
}

/* A trouble that is said of the pot, or of water, or with nothing by the way.
 */
static bool is_trouble_bare(const struct deciding *d)
{
    const struct tally *y = &d->tally;
    const struct meaning_gathered *g = d->g;
    const unsigned solid = 1u << READER_CRACK | 1u << READER_LEAK |
                           1u << READER_BROKEN | 1u << READER_SLOW |
                           1u << READER_FAST | 1u << READER_SCRUBBED |
                           1u << READER_PART | 1u << READER_UNUSED;

    if (!decide_names_pot(d) &&
        (is_of_anything(d) || is_part_of_other(d) || is_of_vessel(d) ||
         (g->aliens > 0 && g->kinds != 0)))
        return false;
    if (y->pot > 0 && (g->kinds & (solid | 1u << READER_FINE)))
        return y->unknown <= 2 || y->unknown * 2 <= y->words;
    if (g->aliens > 0 || (y->thing > 0 && y->pot == 0))
        return false;
    if (g->has_amount && g->measure.minutes > 0 && y->unknown <= 1)
        return true;
    return (g->kinds & solid) &&
           (y->unknown == 0 ||
            ((y->water || is_long_said(d)) && y->unknown <= 2 &&
             y->slips == 0 && y->words >= 4 * y->unknown));
}

/* The text without serial: do its words say that it is of a pot or a home? */
bool decide_is_bare_report(const struct deciding *d)
{
    const struct meaning_gathered *g = d->g;

    if (d->tally.money > 0) /* "we buy water now, nobody uses the filter" */
        return g->sure != 0 ||
               (g->kinds == 1u << READER_UNUSED && decide_names_pot(d));
    if (is_of_any_illness(d))
        return false;
    if (is_illness_bare(d))
        return true;
    if (is_talk(d))
        return false;
    return g->kinds == 1u << READER_FINE ? is_fine_bare(d) : is_trouble_bare(d);
}
