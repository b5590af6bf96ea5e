/*
 * decide_measure.c - how far the water fell or how much came, in what time:
 * whose measure it is, what it lacks, and whether it can be. The levels that
 * were told count from the bottom of the pot; what may be meant otherwise is
 * asked about.
 */
#include "reader/decide_parts.h"

#include <string.h>

#define DIRECT_WORDS   5   /* in so short a text a half measure is meant */
#define TOLD_BEHIND    3   /* tokens, number and unit among them */
#define BARE_WORDS     2   /* "got 5 cups": of what flow, nobody says */
#define LITRES_AN_HOUR 3.0 /* a measure without a word says slow below it */
#define WARM_MOST      45  /* degrees: water from anywhere */

static struct reader_obs *flow_obs(struct deciding *d)
{
    for (size_t i = 0; i < d->g->n_obs; i++) {
        if (d->g->obs[i].kind == READER_SLOW ||
            d->g->obs[i].kind == READER_FAST)
            return &d->g->obs[i];
    }
    return NULL;
}

static double size_of(const struct reader_measure *m,
                      const struct reader_limits *l)
{
    switch (m->unit) {
    case READER_FINGER:
        return l->finger_cm;
    case READER_CUP:
        return l->cup_l;
    case READER_BOTTLE:
        return l->bottle_l;
    default:
        return 1;
    }
}

bool decide_is_impossible(const struct reader_measure *m,
                          const struct reader_limits *l)
{
    double most = m->type == READER_DROP ? l->depth_cm : l->volume_l;

    if (m->minutes > l->minutes_max || m->start_cm > l->depth_cm + 1e-9 ||
        (m->warm && !(m->degc >= 0 && m->degc <= WARM_MOST)))
        return true;
    if (m->type == READER_DROP && m->start_cm > 0)
        most = m->start_cm;
    return m->type != READER_NO_MEASURE &&
           (m->value <= 0 || m->value * size_of(m, l) > most + 1e-9);
}

/* Does "slow", "fast", "fell" or "got" stand right before it, or "only"? */
static bool is_told(const struct deciding *d, size_t at)
{
    const struct cut *c = d->m->cut;
    const struct cut_token *t;

    if (at == 0)
        return false;
    t = &c->tokens[c->row_at[at - 1]];
    return may_be(d, t, CONCEPT_SLOW) || may_be(d, t, CONCEPT_FAST) ||
           may_be(d, t, CONCEPT_DOWN) || may_be(d, t, CONCEPT_GOT) ||
           (may_be(d, t, CONCEPT_ONLY) && d->tally.unknown == 0) ||
           t->symbol == CONCEPT_LETTER_S || t->symbol == CONCEPT_LETTER_F;
}

/* "All night for one bottle": what is missing was said. */
static bool is_told_otherwise(const struct deciding *d,
                              const struct reader_obs *o)
{
    const struct cut *c = d->m->cut;
    const struct cut_token *t =
        &c->tokens[c->row_at[d->g->obs_at[o - d->g->obs]]];

    return d->g->has_amount && o->kind == READER_SLOW &&
           (concept_set_has(&c->any, CONCEPT_ALL_DAY) ||
            (t->names & CUT_NAMES_DAY));
}

/* Hindi "teen ungli utra": the verb stands behind. */
static bool is_told_behind(const struct deciding *d, size_t at)
{
    const struct cut *c = d->m->cut;

    for (size_t i = at + 2; i <= at + TOLD_BEHIND && i < c->n_row; i++) {
        const struct cut_token *t = &c->tokens[c->row_at[i]];

        if (may_be(d, t, CONCEPT_DOWN) || may_be(d, t, CONCEPT_GOT))
            return true;
    }
    return false;
}

/* Was the half measure said of the flow itself, not in passing? A time that is
 * told with "slow" is. */
static bool is_direct(const struct deciding *d, size_t at)
{
    return d->g->turned ||
           (d->tally.unknown == 0 && d->tally.words <= DIRECT_WORDS) ||
           !d->g->has_amount || is_told(d, at) || is_told_behind(d, at);
}

/* "It takes long for a cup": what it is for, and no measure. */
static bool is_aim(const struct deciding *d, size_t at)
{
    const struct cut *c = d->m->cut;

    return at > 0 && may_be(d, &c->tokens[c->row_at[at - 1]], CONCEPT_AT);
}

/* More an hour than "slow" can mean. */
static bool is_fast_measure(const struct deciding *d)
{
    const struct reader_measure *m = &d->g->measure;

    return m->type == READER_YIELD && m->minutes > 0 &&
           m->value * size_of(m, d->m->limits) * 60 / m->minutes >
               LITRES_AN_HOUR;
}

/* A measure without "slow" or "fast": is it of the flow all the same? */
static bool is_flow_measure(const struct deciding *d)
{
    return d->tally.unknown == 0 || d->tally.flowing;
}

/*
 * The levels into the measure. Both told: the water fell from the first to
 * the last, which must be the lower one; "from 4 to 5 cm" may as well be how
 * far it fell. One told, and "4cm" that nobody calls a fall: it may be the
 * level at the end. Not full, and no level: nobody knows.
 */
static enum reader_why settle_levels(struct meaning_gathered *g, bool fell)
{
    bool drop = g->has_amount && g->measure.type == READER_DROP;

    if (!g->has_level)
        return g->not_brim && g->has_amount ? READER_WHY_LEVEL : READER_CLEAR;
    if (g->brim && !g->not_brim)
        return READER_WHY_LEVEL; /* full, and 15 cm high? */
    if (g->has_level_last) {
        if (g->has_amount || !(g->level_last < g->level_first))
            return READER_WHY_LEVEL;
        g->has_amount = true;
        g->measure.type = READER_DROP;
        g->measure.unit = READER_CM;
        g->measure.value = g->level_first - g->level_last;
        g->amount_at = g->level_at;
    } else if (drop && !fell) {
        return READER_WHY_LEVEL;
    }
    g->measure.start_cm = g->level_first;
    return READER_CLEAR;
}

/* How warm the water was; degrees of a fever are not. */
static void settle_warmth(struct meaning_gathered *g)
{
    if (!g->warm || (g->ill && !g->warm_water))
        return;
    g->measure.warm = true;
    g->measure.degc = g->degc;
}

/*
 * "It fell 3 fingers overnight", "we only got 2 litres": half of what the line
 * asks people to send, in so many words. Litres may be of anything where no
 * pot is named.
 */
static bool is_fall(const struct deciding *d)
{
    const struct tally *y = &d->tally;
    const struct meaning_gathered *g = d->g;
    bool named = d->n_serials > 0 || d->wrong != NULL || y->pot > 0;

    return g->has_amount && g->measure.minutes == 0 && g->aliens == 0 &&
           y->chat + y->thing + y->neighbour + y->money == 0 &&
           y->unknown <= 1 &&
           (g->measure.type == READER_DROP
                ? y->down
                : (y->flowing || y->scarce) && named);
}

/* "Come at 10, we cook": a time alone, in more words than an answer has. */
static bool is_time_of_talk(const struct deciding *d)
{
    return !d->g->has_amount &&
           (d->tally.unknown > 0 || (d->n_serials == 0 && d->wrong == NULL &&
                                     d->tally.words > DIRECT_WORDS));
}

/*
 * The observation that the measure is of; NULL: it is of none. A measure alone
 * is one of the flow. So is a whole one of a pot that is called good or was
 * washed: what it comes to is judged, whatever the word for it, since a
 * cracked pot runs well too.
 */
static struct reader_obs *measured_obs(struct deciding *d, bool time)
{
    struct meaning_gathered *g = d->g;
    const unsigned well = 1u << READER_FINE | 1u << READER_SCRUBBED;
    bool fast = is_fast_measure(d), alone = g->n_obs == 0;
    struct reader_obs *o = flow_obs(d);

    if (o != NULL)
        return o;
    if (decide_is_measure_of_then(d))
        return NULL;
    if ((!is_flow_measure(d) && !g->turned) || g->n_obs == READER_OBS_MOST ||
        (alone && (fast ||
                   (g->has_amount != time && d->tally.words > 3 &&
                    !is_fall(d) && !g->turned) ||
                   is_time_of_talk(d))) ||
        (!alone && ((g->kinds & ~well) != 0 || !g->has_amount || !time)))
        return NULL;
    g->kinds |= 1u << (fast ? READER_FAST : READER_SLOW);
    g->obs_at[g->n_obs] = g->has_amount ? g->amount_at : g->time_at;
    o = &g->obs[g->n_obs++];
    *o = (struct reader_obs){.kind = fast ? READER_FAST : READER_SLOW,
                             .inferred = d->tally.words <= BARE_WORDS};
    return o;
}

/* "Empties in 20 minutes": how much is clear; but not "fast 20m". */
static bool is_emptied(const struct deciding *d, const struct reader_obs *o)
{
    const struct cut *c = d->m->cut;
    const struct cut_token *t =
        &c->tokens[c->row_at[d->g->obs_at[o - d->g->obs]]];

    return !c->card || memchr(c->fold.text + t->at, ' ', t->len) != NULL;
}

/* Is it said in what time? By the clock only of an amount or of the flow. */
static bool is_timed(struct deciding *d)
{
    struct meaning_gathered *g = d->g;

    if (g->measure.minutes == 0 && (g->has_amount || flow_obs(d) != NULL)) {
        g->measure.minutes = meaning_clock_minutes(g);
        g->time_at = g->clock_at;
    }
    return g->measure.minutes > 0;
}

enum reader_why decide_measure(struct deciding *d)
{
    struct meaning_gathered *g = d->g;
    bool time = is_timed(d);
    enum reader_why level =
        settle_levels(g, g->has_amount && is_told(d, g->amount_at));
    bool fall = g->n_obs == 0 && is_fall(d);
    struct reader_obs *o;

    if ((!g->has_amount && !time && level == READER_CLEAR) ||
        (o = measured_obs(d, time)) == NULL)
        return READER_CLEAR;
    settle_warmth(g);
    if (decide_is_impossible(&g->measure, d->m->limits)) {
        o->measure = g->measure;
        return READER_WHY_IMPOSSIBLE;
    }
    if (o->kind == READER_FAST && !g->has_amount && is_emptied(d, o))
        return READER_CLEAR;
    if (g->has_amount != time && level == READER_CLEAR && !fall &&
        (!is_direct(d, g->has_amount ? g->amount_at : g->time_at) ||
         is_told_otherwise(d, o) || (!time && is_aim(d, g->amount_at))))
        return READER_CLEAR;
    o->measure = g->measure;
    o->measure.from_brim = g->brim && !g->has_level && !g->not_brim;
    if (level != READER_CLEAR)
        return level;
    if (g->has_amount && !time)
        return READER_WHY_NO_TIME;
    return time && !g->has_amount ? READER_WHY_NO_AMOUNT : READER_CLEAR;
}

/* A flow test of the workshop: of the first hour when no time is said. */
void meaning_test(const struct meaning_case *m, struct reader_meaning *out)
{
    struct meaning_gathered *g = m->said;
    const unsigned flow =
        1u << READER_SLOW | 1u << READER_FAST | 1u << READER_FINE;
    enum reader_why why;

    if ((g->kinds & ~flow) != 0 || g->ill || g->sure != 0 || g->limit) {
        meaning_decide(m, out);
        return;
    }
    why = settle_levels(g, true);
    settle_warmth(g);
    out->outcome = READER_FILED;
    out->test_hour = g->measure.minutes == 0;
    if (out->test_hour)
        g->measure.minutes = 60;
    if (!g->has_amount)
        why = READER_WHY_NO_AMOUNT;
    else if (g->other_amount)
        why = READER_WHY_UNCLEAR;
    else if (decide_is_impossible(&g->measure, m->limits))
        why = READER_WHY_IMPOSSIBLE;
    if (why == READER_CLEAR) {
        out->test = g->measure;
        return;
    }
    out->outcome = READER_ASKED;
    out->why = why;
}
