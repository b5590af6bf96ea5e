/*
 * decide_doubt.c - what would be filed, but may have been meant otherwise: then
 * it is asked about. A number nobody knows the use of, a part whose damage may
 * be the pot's, a "no" that denies nothing that was understood.
 */
#include "reader/decide_parts.h"

#include <string.h>

#define SHORT_WORDS 3
#define LONG_WORDS  5

/* "Part" behind a serial, and nothing else: which one? */
bool decide_names_no_part(const struct deciding *d)
{
    const struct cut *c = d->m->cut;
    bool part = false;

    if (d->g->n_obs > 0 || d->g->lone_parts != 0 || d->out->danger != 0 ||
        d->g->ill || d->g->denials > 0 || d->tally.unknown > 0 ||
        d->tally.words - d->tally.polite > 2 ||
        d->n_serials + (d->wrong != NULL) == 0)
        return false;
    for (size_t i = 1; i + 1 < c->n; i++)
        part |= !(c->tokens[i].flags & (CUT_SLIP | CUT_SPLIT)) &&
                (may_be(d, &c->tokens[i], CONCEPT_PART) ||
                 c->tokens[i].symbol == CONCEPT_LETTER_T);
    return part;
}

/* "Mother is ill with her heart": of the water or not, nobody knows. */
static bool is_other_illness(const struct deciding *d)
{
    const struct tally *y = &d->tally;

    return d->n_serials == 0 && d->wrong == NULL &&
           d->g->kinds == 1u << READER_ILL && d->g->sure == 0 && !d->g->gut &&
           d->g->people == 0 && y->pot == 0 && !y->water && !d->m->cut->card &&
           y->words > SHORT_WORDS &&
           (y->unknown + y->chat + y->thing > 0 || y->words > LONG_WORDS);
}

/* "The boss is ill, bring the bucket": no one of a home with a pot is named. */
static bool is_hearsay(const struct deciding *d)
{
    return d->n_serials == 0 && d->g->kinds == 1u << READER_ILL &&
           d->g->sure == 0 && !d->g->gut && !d->g->who && d->tally.chat > 0;
}

/* "If a baby gets the runs, where do we get the sachets?": nobody is ill. */
bool decide_is_supposed(const struct deciding *d)
{
    return d->g->kinds == 1u << READER_ILL && d->g->sure == 0 &&
           d->g->people == 0 && !d->g->ailing &&
           concept_set_has(&d->m->cut->any, CONCEPT_IF) && decide_is_asked(d);
}

/* Does the piece say what is wrong, or who is ill? */
static bool tells(const struct meaning_piece *p)
{
    for (int r = GRAMMAR_CRACK; r <= GRAMMAR_FAST; r++) {
        if (meaning_piece_said(p, (enum grammar_rule)r))
            return true;
    }
    return meaning_piece_said(p, GRAMMAR_ILL) ||
           meaning_piece_said(p, GRAMMAR_GUT) ||
           meaning_piece_said(p, GRAMMAR_BLOOD) ||
           meaning_piece_said(p, GRAMMAR_DEAD);
}

/* "Is it a crack?" says none, unless it goes on with why. */
static bool is_question(const struct deciding *d)
{
    const struct meaning_gathered *g = d->g;
    const struct cut *c = d->m->cut;
    bool asks = false;

    if (!concept_set_has(&c->any, CONCEPT_PAUSE))
        return false;
    for (size_t i = 2; i < c->n; i++) {
        if (may_be(d, &c->tokens[i], CONCEPT_WHY))
            return false;
        if (c->tokens[i].symbol != CONCEPT_PAUSE ||
            c->fold.text[c->tokens[i].at] != '?')
            continue;
        for (size_t k = 0; k < g->n_pieces; k++) {
            asks |= g->pieces[k].to == i && tells(&g->pieces[k]);
        }
    }
    return asks;
}

/* French "une pièce du filtre": a part of the pot, and nobody knows which. */
static bool names_piece(const struct deciding *d)
{
    const struct cut *c = d->m->cut;
    const unsigned damage = 1u << READER_BROKEN | 1u << READER_CRACK;

    if ((d->g->kinds & damage) == 0 || has(d, READER_PART))
        return false;
    for (size_t i = 1; i + 3 < c->n; i++) {
        if (may_be(d, &c->tokens[i], CONCEPT_PART) &&
            may_be(d, &c->tokens[i + 1], CONCEPT_OF) &&
            may_be(d, &c->tokens[i + 2], CONCEPT_POT))
            return true;
    }
    return false;
}

/* "A piece is lost": which one? */
static bool lacks_part(const struct deciding *d)
{
    for (size_t i = 0; i < d->g->n_obs; i++) {
        if (d->g->obs[i].kind == READER_PART &&
            d->g->obs[i].part == READER_NO_PART)
            return true;
    }
    return false;
}

/* "The cat threw down the lid and it broke": the lid, or the pot? */
static bool is_damage_of_part(const struct deciding *d)
{
    const unsigned damage = 1u << READER_BROKEN | 1u << READER_CRACK;
    bool part = (has(d, READER_PART) &&
                 (!d->m->cut->card ||
                  (d->m->cut->any_class & 1u << CLASS_ALIEN) != 0)) ||
                d->g->lone_parts != 0;

    return (d->g->kinds & damage) && part &&
           !concept_set_has(&d->m->cut->any, CONCEPT_POT);
}

/*
 * French "le robin est cassé": whatever that is, it broke. Where a pot is named
 * too, or nothing but the damage is said of the unknown, it is the pot's.
 */
static bool is_damage_of_unknown(const struct deciding *d)
{
    const unsigned damage = 1u << READER_BROKEN | 1u << READER_CRACK;
    const struct cut *c = d->m->cut;

    if (!(d->g->kinds & damage) || c->card || d->tally.pot > 0)
        return false;
    for (size_t k = 0; k < d->g->n_obs; k++) {
        size_t i = c->row_at[d->g->obs_at[k]], p = i;

        if (!(damage >> d->g->obs[k].kind & 1))
            continue;
        while (p > 1 && c->tokens[p - 1].symbol == CONCEPT_FILLER)
            p--;
        if (p < i && p > 2 &&
            (c->tokens[p - 1].symbol == CONCEPT_WORD ||
             c->tokens[p - 1].symbol == CONCEPT_OTHER) &&
            c->tokens[p - 2].symbol == CONCEPT_FILLER)
            return true;
    }
    return false;
}

/* "We took the tap off for the journey, now it is gone for good": of a part
 * that is named, and of a loss, nothing was understood. */
static bool has_stray_loss(const struct deciding *d)
{
    const unsigned parts = 1u << READER_TAP | 1u << READER_LID;

    return (d->g->lone_parts & parts) && !has(d, READER_PART) &&
           !d->m->cut->card && d->g->n_obs > 0 &&
           concept_set_has(&d->m->cut->any, CONCEPT_LOST);
}

/* "The filter is good, no one here ails": a denial nobody understood? */
static bool has_stray_no(const struct deciding *d)
{
    const struct cut *c = d->m->cut;

    if (!has(d, READER_FINE) || !has(d, READER_ILL) || d->g->sure != 0)
        return false;
    for (size_t i = 1; i + 1 < c->n; i++) {
        const struct cut_token *t = &c->tokens[i];

        if ((may_be(d, t, CONCEPT_NO) || may_be(d, t, CONCEPT_NE) ||
             may_be(d, t, CONCEPT_NOT_SO)) &&
            !decide_is_covered(d->g, i))
            return true;
    }
    return false;
}

/* "Unused, we use it every day", "… and drink of it each morning." */
bool decide_is_used(const struct deciding *d)
{
    const struct cut *c = d->m->cut;
    bool unused = false, use = false, daily = false;

    if (!has(d, READER_UNUSED))
        return false;
    for (size_t i = 1; i + 1 < c->n; i++) {
        const struct cut_token *t = &c->tokens[i];

        daily |= unused && (may_be(d, t, CONCEPT_DAILY) ||
                            (use && (may_be(d, t, CONCEPT_ALL_DAY) ||
                                     may_be(d, t, CONCEPT_DAY))));
        use |= unused && !decide_is_covered(d->g, i) &&
               (may_be(d, t, CONCEPT_USE) || may_be(d, t, CONCEPT_DRINK));
        unused |= may_be(d, t, CONCEPT_UNUSED) || decide_is_covered(d->g, i);
    }
    return use && daily;
}

/* A pot in pieces lets nothing through, slowly or fast. */
static bool is_slow_and_broken(const struct deciding *d)
{
    return has(d, READER_BROKEN) && !d->m->cut->card &&
           (has(d, READER_SLOW) || has(d, READER_FAST));
}

static bool is_dark(const struct deciding *d)
{
    return d->m->cut->doubt;
}

static bool has_two_measures(const struct deciding *d)
{
    return d->g->other_amount && has(d, READER_SLOW);
}

static bool is_only_thought(const struct deciding *d)
{
    const unsigned unsafe = 1u << READER_CRACK | 1u << READER_LEAK |
                            1u << READER_BROKEN | 1u << READER_FAST;

    if (!d->g->only_thought)
        return false;
    d->out->unsafe_said |= (d->g->kinds & unsafe) != 0;
    return true;
}

/* "I wrote leak but it is a crack", "he said the tap, but it is the pot". */
static bool is_said_otherwise(const struct deciding *d)
{
    const struct concept_set *any = &d->m->cut->any;
    const unsigned pot = 1u << READER_CRACK | 1u << READER_LEAK |
                         1u << READER_BROKEN | 1u << READER_SLOW |
                         1u << READER_FAST | 1u << READER_PART |
                         1u << READER_UNUSED;
    unsigned kinds = d->g->kinds & pot;

    return concept_set_has(any, CONCEPT_SAID) && kinds != 0 &&
           (concept_set_has(any, CONCEPT_RATHER) ||
            (concept_set_has(any, CONCEPT_BUT) && (kinds & (kinds - 1)) != 0));
}

/* "Sequebro" is "se quebro", but "violento" is not "vio lento". */
static bool is_taken_apart(const struct deciding *d)
{
    const struct cut *c = d->m->cut;

    for (size_t k = 0; c->joined && k < d->g->n_obs; k++) {
        if (c->tokens[c->row_at[d->g->obs_at[k]]].flags & CUT_SPLIT)
            return true;
    }
    return false;
}

/* Portuguese "a vasilha está trincada": the pot, or what stands below? */
static bool is_part_or_pot(const struct deciding *d)
{
    const struct cut *c = d->m->cut;

    if (!has(d, READER_PART))
        return false;
    for (size_t i = 1; i + 1 < c->n; i++) {
        if (may_be(d, &c->tokens[i], CONCEPT_BUCKET) &&
            may_be(d, &c->tokens[i], CONCEPT_POT))
            return true;
    }
    return false;
}

/* "It leaks, or does it? I cannot tell"; but "I do not know why". */
static bool cannot_tell(const struct deciding *d)
{
    const struct cut *c = d->m->cut;
    const unsigned ill = 1u << READER_ILL;

    if (!concept_set_has(&c->any, CONCEPT_CANNOT_TELL) ||
        (d->g->kinds & ~ill) == 0)
        return false;
    for (size_t i = 1; i + 1 < c->n; i++) {
        enum concept next = (enum concept)c->tokens[i + 1].symbol;

        if (may_be(d, &c->tokens[i], CONCEPT_CANNOT_TELL) &&
            (next == CONCEPT_PAUSE || next == CONCEPT_END ||
             next == CONCEPT_SERIAL))
            return true;
    }
    return false;
}

/* "Cracked lid and bucket fine": they cracked, or are they fine? */
static bool is_part_or_fine(const struct deciding *d)
{
    const struct cut *c = d->m->cut;
    size_t part = c->row_at[decide_place_of(d, READER_PART)],
           fine = c->row_at[decide_place_of(d, READER_FINE)];

    if (!has(d, READER_PART) || !has(d, READER_FINE) || c->card)
        return false;
    for (size_t i = 0; i < d->g->n_pieces; i++) {
        const struct meaning_piece *p = &d->g->pieces[i];
        size_t to = p->to;

        if (part < p->from || part >= p->to ||
            !(may_be(d, &c->tokens[p->from], CONCEPT_CRACK) ||
              may_be(d, &c->tokens[p->from], CONCEPT_BROKEN)))
            continue;
        while (c->tokens[to].symbol == CONCEPT_FILLER ||
               may_be(d, &c->tokens[to], CONCEPT_VERY))
            to++;
        return to == fine;
    }
    return false;
}

static const struct {
    bool (*is)(const struct deciding *d);
    const char *what;
} doubts[] = {
    {is_dark, "a word of a card's sentence is not understood"},
    {is_taken_apart, "what was run together may be another word"},
    {is_part_or_pot, "the word may be of a part, or of the pot"},
    {is_part_or_fine, "the part is broken, or is it fine?"},
    {cannot_tell, "the sender cannot tell"},
    {is_only_thought, "it was only thought to be so"},
    {is_said_otherwise, "one thing was said and another is so"},
    {decide_is_left_over, "something of a card's sentence is left over"},
    {has_two_measures, "two measures"},
    {is_question, "it is a question"},
    {is_hearsay, "someone of another home may be ill"},
    {is_other_illness, "it may be another illness"},
    {decide_has_stray_count, "a number that may count people is left over"},
    {decide_has_stray_measure, "a number or a unit is left over"},
    {has_stray_loss, "a part and a loss that do not go together"},
    {has_stray_no, "a 'no' that denies nothing"},
    {is_damage_of_part, "the damage may be the part's"},
    {is_damage_of_unknown, "the damage may be another thing's"},
    {decide_is_odd_pair, "two troubles that seldom go together"},
    {is_slow_and_broken, "broken, but in use"},
};

enum reader_why decide_doubt(const struct deciding *d)
{
    if (lacks_part(d) || names_piece(d))
        return READER_WHY_NO_PART;
    if (d->g->limit) {
        d->out->doubt = "it was too much to be read whole";
        return READER_WHY_UNCLEAR;
    }
    for (size_t i = 0; i < KW_COUNT(doubts); i++) {
        if (doubts[i].is(d)) {
            d->out->doubt = doubts[i].what;
            return READER_WHY_UNSURE;
        }
    }
    return READER_CLEAR;
}
