/*
 * decide_left_over.c - numbers, units and parts of a text that went into
 * nothing that was understood, or into another thing than they may have been
 * meant for.
 */
#include "reader/decide_parts.h"

#include <string.h>

bool decide_is_covered(const struct meaning_gathered *g, size_t i)
{
    for (size_t k = 0; k < g->n_pieces; k++) {
        if (i >= g->pieces[k].from && i < g->pieces[k].to)
            return true;
    }
    return false;
}

/* "Two cracks": how many says no more. */
static bool counts_damage(const struct deciding *d, size_t i)
{
    for (size_t k = i - 1; k <= i + 1; k += 2) {
        const struct cut_token *t = &d->m->cut->tokens[k];

        if (may_be(d, t, CONCEPT_CRACK) || may_be(d, t, CONCEPT_BROKEN))
            return true;
    }
    return false;
}

/*
 * In a sentence as on the card nothing is by the way: a number, a part or a
 * measure that went into no observation was meant for one.
 */
bool decide_is_left_over(const struct deciding *d)
{
    const struct meaning_gathered *g = d->g;
    const struct cut *c = d->m->cut;
    bool part = has(d, READER_PART);

    if (!c->card || g->n_obs == 0)
        return false;
    if ((g->lone_parts != 0 && !part && d->tally.words <= 2 &&
         !(has(d, READER_LEAK) && g->lone_parts == 1u << READER_BUCKET)) ||
        (g->has_amount && g->measure.minutes > 0 && !has(d, READER_SLOW) &&
         !has(d, READER_FAST)))
        return true;
    for (size_t i = 1; i + 1 < c->n; i++) {
        if (c->tokens[i].symbol == CONCEPT_NUMBER && !decide_is_covered(g, i) &&
            !counts_damage(d, i))
            return true;
        if ((c->tokens[i].symbol == CONCEPT_PART && !part) ||
            (c->tokens[i].symbol == CONCEPT_RICE_GRAIN &&
             !(g->sure & READER_RICEWATER)))
            return true;
    }
    return false;
}

static bool is_digit(const struct cut_token *t, double value)
{
    return t->len == 1 && t->value == value;
}

/* "Of the five of us", "from six to twelve": the token before the small words
 * that stand before token i. */
static const struct cut_token *leading(const struct deciding *d, size_t i)
{
    const struct cut_token *t = &d->m->cut->tokens[i - 1];

    while (t->symbol == CONCEPT_FILLER)
        t--;
    return t;
}

/* English "too weak 2 get up", "medicine 4 her". */
static bool is_sound(const struct deciding *d, const struct cut_token *t)
{
    int lang = d->m->cut->lang;

    return lang >= 0 && strcmp(d->m->lex->tags[lang], "en") == 0 &&
           (is_digit(t, 2) || is_digit(t, 4)) &&
           t[-1].symbol != CONCEPT_PAUSE && t[1].symbol > CONCEPT_PAUSE &&
           !(d->m->lex->classes[t[1].symbol] &
             (1u << CLASS_SICKNESS | 1u << CLASS_LETTER));
}

/* "4 are ill 2 little ones": of how many people may the number be? But "two
 * are ill, one has blood in the stool" is two. */
bool decide_has_stray_count(const struct deciding *d)
{
    const struct cut *c = d->m->cut;

    if (!has(d, READER_ILL) || d->g->five)
        return has(d, READER_ILL);
    if (d->g->uncounted && d->g->people == 0)
        return true;
    if (d->g->u5_said && d->g->people > 1 && d->g->under5 == 0)
        return true; /* "four, all under five": how many? */
    for (size_t i = 1; i + 1 < c->n; i++) {
        const struct cut_token *t = &c->tokens[i];

        if (t->symbol == CONCEPT_NUMBER && !decide_is_covered(d->g, i) &&
            !(t->value == 1 && (d->g->people > 1 || (t->flags & CUT_WORDED))) &&
            !is_sound(d, t) && !may_be(d, leading(d, i), CONCEPT_OF))
            return true;
    }
    return false;
}

/* "6lt 1hr 30": a number or a unit that went into no measure of the flow; but
 * "house 7: slow 6l 1h" tells where. */
bool decide_has_stray_measure(const struct deciding *d)
{
    const struct cut *c = d->m->cut;
    bool begun = false;

    if (!has(d, READER_SLOW) && !has(d, READER_FAST))
        return false;
    for (size_t i = 1; i + 1 < c->n; i++) {
        const struct cut_token *t = &c->tokens[i];
        bool number = t->symbol == CONCEPT_NUMBER,
             unit = d->m->lex->classes[t->symbol] & 1u << CLASS_UNIT;

        begun |= decide_is_covered(d->g, i);
        if ((!unit && !number) || decide_is_covered(d->g, i))
            continue;
        if ((unit &&
             (t[-1].symbol == CONCEPT_NUMBER ||
              (t[1].symbol == CONCEPT_NUMBER &&
               !(d->m->lex->classes[t[2].symbol] & 1u << CLASS_UNIT)))) ||
            (number && begun && !(t->flags & CUT_WORDED && t->value == 1) &&
             !may_be(d, leading(d, i), CONCEPT_AT) &&
             !may_be(d, leading(d, i), CONCEPT_TO) &&
             !may_be(d, leading(d, i), CONCEPT_SINCE) && !is_sound(d, t) &&
             (d->g->has_amount || (t[1].flags & CUT_GLUED))))
            return true;
    }
    return false;
}
