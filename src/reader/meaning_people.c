/* meaning_people.c - who is ill: how many, and how many under five. */
#include "reader/meaning_parts.h"

#include <math.h>

#define COUNT_MOST 99999 /* of people that may be told, if not be true */

/* A count of people: whole and not too many to be one home's. */
static int count_of(const struct cut_token *k)
{
    return k->value >= 1 && k->value <= COUNT_MOST &&
                   floor(k->value) == k->value
               ? (int)k->value
               : 0;
}

/* "... and two children": said of more people, not of some of them. */
static bool is_added(const struct taking *t)
{
    for (size_t i = t->m->from > 1 ? t->m->from - 1u : t->m->from;
         i < t->m->first[GRAMMAR_PEOPLE]; i++) {
        if (may_be(t, &t->c->tokens[t->c->row_at[i]], CONCEPT_AND))
            return true;
    }
    return false;
}

/* "15 people live here, of them six are ill": those who are ill count. */
static bool is_of_them(const struct taking *t)
{
    size_t i = t->m->first[GRAMMAR_PEOPLE];

    while (i > 1 &&
           may_be(t, &t->c->tokens[t->c->row_at[i - 1]], CONCEPT_FILLER))
        i--;
    return i > 1 &&
           may_be(t, &t->c->tokens[t->c->row_at[i - 1]], CONCEPT_OF_THEM);
}

static bool has_illness(const struct taking *t)
{
    return said(t, GRAMMAR_ILL) || said(t, GRAMMAR_GUT) ||
           said(t, GRAMMAR_FEVER);
}

/* Is the count of those who are ill, by that word? */
static bool is_of_ill(const struct taking *t)
{
    return said(t, GRAMMAR_ILL) &&
           may_be(t, token(t, GRAMMAR_ILL), CONCEPT_ILL);
}

/* "3 are ill. 5 are ill": not "3 are ill and 5 …", nor "2 children are ill". */
static bool is_told_again(const struct taking *t, int n, bool child)
{
    const struct meaning_gathered *g = t->out;

    return g->counted_ill && is_of_ill(t) && n != g->people && !child &&
           g->counted != COUNTED_CHILDREN && !is_added(t) && !is_of_them(t);
}

/* Swahili "watu 3", the number behind: of the ill only when those were named
 * before, else of the home. */
static bool is_behind_who(const struct taking *t)
{
    return said(t, GRAMMAR_WHO) && said(t, GRAMMAR_PEOPLE) && !has_illness(t) &&
           !t->out->ill_before && !said(t, GRAMMAR_BLOOD) &&
           !said(t, GRAMMAR_DEAD) && !said(t, GRAMMAR_RICEWATER) &&
           !said(t, GRAMMAR_SURE_DRY) && !said(t, GRAMMAR_MAYBE_DRY) &&
           t->m->first[GRAMMAR_WHO] < t->m->first[GRAMMAR_PEOPLE];
}

/* "5 people drink from it and 2 …", "5 of us live here and 2 …": of those who
 * were counted something else was told before. */
static bool only_live_there(const struct taking *t)
{
    for (size_t i = t->out->counted_to; i < t->m->first[GRAMMAR_PEOPLE]; i++) {
        const struct cut_token *k = &t->c->tokens[t->c->row_at[i]];

        if (may_be(t, k, CONCEPT_DRINK) || may_be(t, k, CONCEPT_USE) ||
            may_be(t, k, CONCEPT_WE_ARE))
            return true;
    }
    return false;
}

/* "7 of us, 2 are sick": people were counted of whom some are ill. */
static bool is_some_of(const struct taking *t, int n)
{
    const struct meaning_gathered *g = t->out;

    return g->counted == COUNTED_PERSONS && !g->counted_with &&
           !g->ill_before && n < g->people && has_illness(t) &&
           (!is_added(t) || only_live_there(t));
}

/* Those of them that were told of; of several counts, when all are in them. */
static void take_some(struct meaning_gathered *g, int n)
{
    if (g->some == 0)
        g->of_some = g->people;
    g->some += n;
    g->two_counts |= g->some > n && g->some != g->of_some;
    g->people = g->some;
}

static void take_people(struct taking *t)
{
    struct meaning_gathered *g = t->out;
    int n = count_of(token(t, GRAMMAR_PEOPLE));
    bool child = false, person = false, baby = false;

    g->none |= token(t, GRAMMAR_PEOPLE)->value == 0;
    if (n == 0)
        return;
    if (said(t, GRAMMAR_WHO)) {
        const struct cut_token *w = token(t, GRAMMAR_WHO);

        baby = may_be(t, w, CONCEPT_BABY) && !may_be(t, w, CONCEPT_CHILD);
        child = baby || may_be(t, w, CONCEPT_CHILD);
        person = !child;
    }
    if (said(t, GRAMMAR_HOUSE))
        g->home = count_of(token(t, GRAMMAR_HOUSE));
    if (is_some_of(t, n) || (g->some > 0 && has_illness(t) && !child)) {
        take_some(g, n);
        return;
    }
    if (is_told_again(t, n, child))
        g->two_counts = true;
    if (g->counted != COUNTED_NOT && !g->counted_with && !child && !person &&
        n > g->people && has_illness(t))
        g->counted = COUNTED_NOT; /* "two sons and a nephew, all three ill" */
    if (!g->ill_before && is_of_them(t) &&
        (said(t, GRAMMAR_ILL) || said(t, GRAMMAR_GUT)))
        g->counted = COUNTED_NOT;
    if (g->counted == COUNTED_NOT) {
        g->people = n;
        g->counted_to = (uint16_t)t->m->to;
        g->counted_ill = is_of_ill(t);
        g->counted_with = has_illness(t);
        g->counted = child    ? COUNTED_CHILDREN
                     : person ? COUNTED_PERSONS
                              : COUNTED_BARE;
    } else if (g->counted == COUNTED_BARE && child) {
        if (g->under5 == 0 && n <= g->people)
            g->under5 = n;
    } else if ((g->counted == COUNTED_CHILDREN && person) ||
               (g->counted == COUNTED_PERSONS && person && is_added(t)) ||
               (g->counted == COUNTED_PERSONS && child &&
                (n > g->people || is_added(t)))) {
        g->people += n; /* "4 people ill, 2 children": two of the four */
    } else if (g->counted == COUNTED_PERSONS && baby && g->under5 == 0) {
        g->under5 = n;
    }
}

/* "1 u5": one is under five; "2 u1": two, and one of them. */
static void take_number_u5(struct taking *t)
{
    struct meaning_gathered *g = t->out;
    size_t last = t->m->end[GRAMMAR_NUMBER_U5] - 1u;
    int first = count_of(token(t, GRAMMAR_NUMBER_U5)),
        second = count_of(&t->c->tokens[t->c->row_at[last]]);

    if (second == 5) {
        g->under5 = first;
        if (g->counted == COUNTED_NOT && !g->ill_before)
            g->people = first;
        return;
    }
    if (g->counted == COUNTED_NOT) {
        g->people = first;
        g->counted = COUNTED_BARE;
    }
    g->under5 = second;
}

/* "2 children under five", "2 ill under five" are two people, unless they were
 * counted before. */
static void take_under5(struct taking *t)
{
    struct meaning_gathered *g = t->out;

    const struct cut_token *k = token(t, GRAMMAR_UNDER5);

    g->under5 = may_be(t, k, CONCEPT_NUMBER) ? count_of(k) : 1; /* "a child" */
    if ((said(t, GRAMMAR_WHO) || said(t, GRAMMAR_AMONG) ||
         said(t, GRAMMAR_ILL) || said(t, GRAMMAR_GUT)) &&
        g->counted == COUNTED_NOT && g->under5 > 0) {
        g->people = g->under5;
        g->counted = COUNTED_CHILDREN;
    }
}

/* Does the piece speak of a baby? */
static bool is_of_baby(const struct taking *t)
{
    for (size_t i = t->m->from; i < t->m->to; i++) {
        const struct cut_token *w = &t->c->tokens[t->c->row_at[i]];

        if (may_be(t, w, CONCEPT_BABY) && !may_be(t, w, CONCEPT_CHILD))
            return true;
    }
    return false;
}

/* "4 people ill, 2 of three years": two of them are under five; and so is a
 * baby of eight months. */
static void take_aged(struct taking *t)
{
    struct meaning_gathered *g = t->out;
    int n = count_of(token(t, GRAMMAR_UNDER5));
    double age = is_of_baby(t) ? 0 : token(t, GRAMMAR_AGE)->value;

    g->who = true;
    g->five |= age == 5;
    if (g->counted == COUNTED_NOT && !g->ill_before) {
        g->people = n;
        g->counted = COUNTED_CHILDREN;
    } else {
        g->among = true;
    }
    if (age < 5 && (n <= g->people || g->people == 0))
        g->under5 = n;
}

/* "3 years and 18 months": two ages, both under five. */
static void take_ages(struct taking *t)
{
    struct meaning_gathered *g = t->out;

    g->who = true;
    for (size_t i = t->m->from; i < t->m->to; i++) {
        const struct cut_token *k = &t->c->tokens[t->c->row_at[i]];

        if (k->symbol == CONCEPT_NUMBER)
            g->ages_young +=
                k->value < (may_be(t, k + 1, CONCEPT_MONTH) ? 60 : 5);
    }
}

/* "Me and her dad did not sleep": they are not the ill. */
static bool is_denied_next(const struct taking *t)
{
    return may_be(t, &t->c->tokens[t->c->row_at[t->m->to]], CONCEPT_NO);
}

/* "Un niño de dos años", a phrase for a small child. */
static bool is_aged_baby(const struct taking *t)
{
    const struct cut_token *w = token(t, GRAMMAR_WHO);

    return (w->names & CUT_NAMES_YEAR) && may_be(t, w, CONCEPT_BABY) &&
           !said(t, GRAMMAR_AGES) && !said(t, GRAMMAR_AGED_WHO);
}

void meaning_take_people(struct taking *t)
{
    struct meaning_gathered *g = t->out;

    g->uncounted |= is_behind_who(t);
    g->aged_baby |= said(t, GRAMMAR_WHO) && is_aged_baby(t);
    if (said(t, GRAMMAR_PEOPLE) && !is_behind_who(t))
        take_people(t);
    else if (said(t, GRAMMAR_HOUSE))
        g->home = count_of(token(t, GRAMMAR_HOUSE));
    if (said(t, GRAMMAR_AND_PEOPLE) && g->counted == COUNTED_NOT) {
        g->people = count_of(token(t, GRAMMAR_AND_PEOPLE)) + 1;
        g->counted = COUNTED_PERSONS;
    }
    g->two_counts |= said(t, GRAMMAR_ONE_ILL) && g->counted_ill &&
                     g->people > 1 && g->counted != COUNTED_CHILDREN;
    if (said(t, GRAMMAR_ONE_ILL) && g->counted == COUNTED_NOT) {
        g->people = 1;
        g->counted_ill = true;
        g->counted = COUNTED_BARE;
    }
    if (said(t, GRAMMAR_PAIR) && g->counted == COUNTED_NOT &&
        !is_denied_next(t)) {
        g->people = 2;
        g->counted = COUNTED_PERSONS;
    }
    g->among |= said(t, GRAMMAR_AMONG_ONE) ||
                (said(t, GRAMMAR_UNDER5) && g->counted != COUNTED_NOT);
    if (said(t, GRAMMAR_AND_ONE) && g->people > 0 && !g->among &&
        g->counted != COUNTED_BARE) {
        g->people++;
        g->counted = COUNTED_PERSONS;
    }
    if (said(t, GRAMMAR_AMONG_ONE) && g->under5 == 0)
        g->under5 = 1;
    g->u5_said |= said(t, GRAMMAR_U5_SAID);
    g->u5_all |= said(t, GRAMMAR_U5_SAID) && g->people == 2 &&
                 (token(t, GRAMMAR_U5_SAID)->names & CUT_NAMES_AND);
    g->u5_all |= said(t, GRAMMAR_ALL_U5);
    if (said(t, GRAMMAR_AGES) || said(t, GRAMMAR_AGED_WHO))
        take_ages(t);
    if (said(t, GRAMMAR_AGE))
        take_aged(t);
    else if (said(t, GRAMMAR_NUMBER_U5))
        take_number_u5(t);
    else if (said(t, GRAMMAR_UNDER5))
        take_under5(t);
}
