/* decide_signs.c - which danger signs a text tells of, and who is ill. */
#include "reader/decide_parts.h"

/* "At first water red like blood, now good": of a new pot's water. */
static bool is_water_red(const struct deciding *d)
{
    return d->tally.water && has(d, READER_FINE) && !d->g->ill && !d->g->who &&
           !d->g->stool;
}

/* "The runs have stopped, but still weak 0214-073-19": no pot is weak. */
static bool is_weak_alone(const struct deciding *d, bool card)
{
    const struct tally *y = &d->tally;

    return card && y->unknown + y->slips == 0 && d->g->kinds == 0 &&
           y->pot == 0 && !y->flowing && !y->water &&
           y->thing + y->chat + y->neighbour == 0;
}

/* "Like rice water" may be of the kitchen; not in one phrase with the stool. */
static bool is_rice_stool(const struct deciding *d)
{
    const struct cut *c = d->m->cut;

    for (size_t i = 1; i + 1 < c->n; i++) {
        if ((c->tokens[i].names & CUT_NAMES_GUT) &&
            may_be(d, &c->tokens[i], CONCEPT_RICE))
            return true;
    }
    return false;
}

/* "The pot broke and cut me, blood all over", "the phone died, the pot leaks":
 * the text is of the pot, and of nobody who is ill. */
static bool is_by_the_way(const struct deciding *d)
{
    const struct meaning_gathered *g = d->g;

    return g->kinds != 0 && !g->ill && !g->who && !g->stool && !g->gut &&
           !d->m->cut->card;
}

/* Signs that stand alone need someone who is ill, or a text that is ours. */
void decide_signs(struct deciding *d)
{
    struct meaning_gathered *g = d->g;
    bool serial = d->n_serials > 0 || d->wrong != NULL;
    bool card = serial && d->tally.unknown <= 2;
    bool whose =
        g->who && d->tally.chat == 0 && (serial || d->tally.unknown == 0);
    bool theirs = d->tally.neighbour > 0 && !serial;
    bool ill;

    if (g->ailing && (serial || d->tally.pot > 0) && d->tally.chat == 0)
        g->ill = true;
    /* "let us pray for the sick and the weak" */
    ill = g->ill && (serial || d->tally.chat < 2 || g->gut || d->tally.pot > 0);

    if (d->tally.passed_on && !serial)
        g->sure = g->maybe = g->far = 0,
        g->undrinking = g->unable = g->gone = false;
    if (is_rice_stool(d))
        g->ill = g->gut = true;
    if (g->ill)
        g->maybe |= g->far;
    if (!g->ill && !g->who && d->tally.neighbour == 0 &&
        (d->tally.flowing || d->tally.pot > 0) && g->weak_only)
        g->sure &= ~READER_DRY; /* "very weak" of the flow */
    if (!g->ill && !g->gut && !g->stool && !serial &&
        (!g->who || d->tally.chat > 0))
        g->sure &= ~READER_RICEWATER; /* of the kitchen, for the hair */
    if (!g->ill && !g->gut && !g->stool &&
        (g->kinds != 0 || (!g->who && d->tally.pot > 0)))
        g->sure &= ~READER_RICEWATER; /* "I poured rice water in" */
    if (g->undrinking &&
        (g->ill || (g->who && !(g->kinds & 1u << READER_UNUSED))))
        g->sure |= READER_DRY;
    if (g->unable && (g->ill || (g->who && (serial || d->tally.unknown == 0)) ||
                      (serial && g->kinds == 0 && d->tally.pot == 0)))
        g->sure |= READER_DRY;
    if (g->maybe & READER_DRY &&
        (ill || (g->who && serial && card && !d->tally.flowing) ||
         is_weak_alone(d, card)))
        g->sure |= READER_DRY;
    if (!serial && !g->ill && d->tally.pot == 0 &&
        (d->tally.chat > 0 || (!g->who && d->tally.thing > 0)))
        g->sure &= ~READER_DRY; /* "passed out of school" */
    if (!serial && !g->ill && !g->stool && !g->who &&
        d->tally.unknown + d->tally.thing > 0)
        g->sure &= ~READER_RICEWATER; /* "rice water is good for hair" */
    if (g->maybe & READER_RICEWATER &&
        (g->gut || g->stool || (g->ill && serial) || (g->who && serial)))
        g->sure |= READER_RICEWATER;
    if (g->denied_ill && !g->ill && !g->stool)
        g->maybe &= ~READER_BLOOD; /* "much blood, but nobody is ill" */
    if (is_by_the_way(d))
        g->maybe &= ~(READER_BLOOD | READER_DEAD);
    if (g->maybe & READER_BLOOD && !is_water_red(d) &&
        (g->ill || serial || whose))
        g->sure |= READER_BLOOD;
    if (g->maybe & READER_DEAD &&
        !(d->tally.neighbour > 0 && !g->ill && g->kinds != 0) &&
        (ill || card ||
         (whose && !theirs && !concept_set_has(&d->m->cut->any, CONCEPT_IF))))
        g->sure |= READER_DEAD;
    if (g->gone && g->ill && (serial || d->tally.chat == d->tally.buried))
        g->sure |= READER_DEAD;
    /* "4 are ill, 1 ill with blood" */
    g->two_counts = g->two_counts && g->sure == 0;
    d->out->danger = g->sure;
}

/* Degrees Celsius or Fahrenheit of someone ill, and no count of people. */
static bool is_fever(int n)
{
    return (n >= 34 && n <= 43) || (n >= 94 && n <= 109);
}

/* "We are all ill, we are seven"; but not half of us, nor all but one. */
static void count_home(const struct deciding *d)
{
    const struct concept_set *any = &d->m->cut->any;
    struct meaning_gathered *g = d->g;

    if (g->two_counts)
        g->people = g->under5 = 0;
    else if (g->people == 0 && g->home > 0 &&
             concept_set_has(any, CONCEPT_ALL) &&
             !concept_set_has(any, CONCEPT_BUT) &&
             !concept_set_has(any, CONCEPT_ALL_BUT) &&
             !concept_set_has(any, CONCEPT_HALF) &&
             !concept_set_has(any, CONCEPT_NO))
        g->people = g->home;
}

void decide_add_illness(struct deciding *d)
{
    struct meaning_gathered *g = d->g;
    struct reader_obs *o;

    if ((!g->ill && g->sure == 0) || g->n_obs == READER_OBS_MOST)
        return;
    g->obs_at[g->n_obs] = g->ill_at;
    o = &g->obs[g->n_obs++];
    count_home(d);
    if (g->u5_said && g->people == 1 && g->counted == COUNTED_CHILDREN)
        g->under5 = 1; /* "1 child under five" */
    if (g->under5 == 0 && g->people > 0 && g->ages_young <= g->people)
        g->under5 = g->ages_young;
    if (g->aged_baby && g->people == 1)
        g->under5 = 1;
    if (g->u5_all && g->people > 0)
        g->under5 = g->people;
    if (g->people == 0 && g->counted == COUNTED_NOT && g->under5 > 1 &&
        !d->m->cut->card)
        g->people = g->under5; /* "two under fives are ill" */
    *o = (struct reader_obs){.kind = READER_ILL,
                             .people = g->people,
                             .under5 = g->under5,
                             .signs = g->sure};
    if (is_fever(o->people) && o->people > d->m->limits->people_max &&
        o->under5 == 0)
        o->people = 0;
    g->kinds |= 1u << READER_ILL;
}
