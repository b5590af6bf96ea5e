/* meaning_measure.c - how much, in what time, how high the water stood, how
 * warm it was. */
#include "reader/meaning_parts.h"

#include <math.h>

#define MINUTES_LEAST 5 /* and whole fives, behind an hour */
#define MINUTES_HOUR  60

/* The first number from one place of the row to another. */
static double first_number(const struct taking *t, size_t from, size_t to)
{
    for (size_t i = from; i < to; i++) {
        if (t->c->tokens[t->c->row_at[i]].symbol == CONCEPT_NUMBER)
            return token_value(t, i);
    }
    return 0;
}

/* The value of a quantity: "2", "half", "1 and a half", "three quarters". */
static double quantity(struct taking *t)
{
    double v = 1;

    if (said(t, GRAMMAR_AMOUNT))
        v = token(t, GRAMMAR_AMOUNT)->value;
    else if (said(t, GRAMMAR_HALF))
        v = 0.5;
    if (said(t, GRAMMAR_QUARTER) && !said(t, GRAMMAR_AND_QUARTER) &&
        !said(t, GRAMMAR_AND_QUARTERS))
        v *= 0.25;
    if (said(t, GRAMMAR_AND_HALF))
        v += 0.5;
    if (said(t, GRAMMAR_AND_QUARTER))
        v += 0.25;
    if (said(t, GRAMMAR_AND_QUARTERS))
        v += 0.25 * first_number(t, t->m->first[GRAMMAR_AND_QUARTERS],
                                 t->m->end[GRAMMAR_AND_QUARTERS]);
    if (said(t, GRAMMAR_ONE_HALF))
        v = token(t, GRAMMAR_ONE_HALF)->value == 1
                ? 0.5
                : token(t, GRAMMAR_ONE_HALF)->value + 0.5;
    if (said(t, GRAMMAR_HALF_MORE))
        v += 0.5;
    if (said(t, GRAMMAR_QUARTER_MORE))
        v += 0.25;
    if (said(t, GRAMMAR_QUARTER_LESS))
        v -= 0.25;
    return v;
}

static void take_time(struct taking *t, double v, bool hours)
{
    struct meaning_gathered *g = t->out;
    bool *had = hours ? &g->has_hours : &g->has_minutes;

    if (*had || g->again) { /* the first counts; "3 l 5 h, 3 l 8 h" is two */
        g->other_amount |=
            g->again && g->measure.minutes != (hours ? v * MINUTES_HOUR : v);
        return;
    }
    *had = true;
    if (g->measure.minutes == 0)
        g->time_at = (uint16_t)t->m->from;
    /* 1 h 40 is 100 min, and no hair less */
    g->measure.minutes += rint((hours ? v * 60 : v) * 1000) / 1000;
}

static void take_amount(struct taking *t, double v, enum reader_unit unit)
{
    struct meaning_gathered *g = t->out;

    if (g->has_amount) {
        g->again |= g->measure.minutes > 0;
        g->other_amount |= g->measure.value != v || g->measure.unit != unit;
        return;
    }
    g->has_amount = true;
    g->amount_at = (uint16_t)t->m->from;
    g->measure.value = v;
    g->measure.unit = unit;
    g->measure.type =
        unit == READER_FINGER || unit == READER_CM ? READER_DROP : READER_YIELD;
}

static void take_measure(struct taking *t)
{
    static const struct {
        enum grammar_rule rule, first;
        enum reader_unit unit;
    } amounts[] = {
        {GRAMMAR_FINGER, GRAMMAR_FINGER_FIRST, READER_FINGER},
        {GRAMMAR_CM, GRAMMAR_CM_FIRST, READER_CM},
        {GRAMMAR_MILLIMETRE, GRAMMAR_MILLIMETRE, READER_CM},
        {GRAMMAR_LITRE, GRAMMAR_LITRE_FIRST, READER_LITRE},
        {GRAMMAR_CUP, GRAMMAR_CUP_FIRST, READER_CUP},
        {GRAMMAR_BOTTLE, GRAMMAR_BOTTLE_FIRST, READER_BOTTLE},
    };
    double v = quantity(t);

    if (said(t, GRAMMAR_HOUR) || said(t, GRAMMAR_HOUR_FIRST)) {
        take_time(t, v, true);
        return;
    }
    if (said(t, GRAMMAR_MINUTE) || said(t, GRAMMAR_MINUTE_FIRST)) {
        take_time(t, v, false);
        return;
    }
    if (said(t, GRAMMAR_MILLIMETRE))
        v /= 10;
    for (size_t i = 0; i < KW_COUNT(amounts); i++) {
        if (said(t, amounts[i].rule) || said(t, amounts[i].first)) {
            take_amount(t, v, amounts[i].unit);
            return;
        }
    }
}

/* "Una hora y veinte", "une heure vingt": minutes that nobody calls so. How
 * many places of the row they take. */
static size_t odd_minutes(struct taking *t)
{
    const struct cut *c = t->c;
    size_t at = t->m->to, n;
    const struct cut_token *k;

    if (!said(t, GRAMMAR_MEASURE) || !said(t, GRAMMAR_HOUR) ||
        said(t, GRAMMAR_AND_HALF) || t->out->has_minutes)
        return 0;
    n = may_be(t, &c->tokens[c->row_at[at]], CONCEPT_AND);
    k = &c->tokens[c->row_at[at + n]];
    if (k->symbol != CONCEPT_NUMBER || !(k->flags & CUT_WORDED) ||
        k->value < MINUTES_LEAST || k->value >= MINUTES_HOUR ||
        fmod(k->value, MINUTES_LEAST) != 0 ||
        (t->lex->classes[k[1].symbol] &
         (1u << CLASS_UNIT | 1u << CLASS_SICKNESS)) ||
        may_be(t, &k[1], CONCEPT_DAY) || may_be(t, &k[1], CONCEPT_TIMES))
        return 0;
    take_time(t, k->value, false);
    if (t->out->n_pieces < MEANING_PIECES_MOST)
        t->out->pieces[t->out->n_pieces - 1].to =
            (uint16_t)(c->row_at[at + n] + 1);
    return n + 1;
}

/* A piece with one or two numbers: levels in cm. A second word for a level
 * tells where the water stood at the end. */
static void take_levels(struct taking *t)
{
    struct meaning_gathered *g = t->out;
    bool first = true;

    for (size_t i = t->m->from; i < t->m->to; i++) {
        const struct cut_token *k = &t->c->tokens[t->c->row_at[i]];

        if (k->symbol != CONCEPT_NUMBER && k->symbol != CONCEPT_CLOCK)
            continue;
        if (first && !g->has_level) {
            g->has_level = true;
            g->level_first = k->value;
            g->level_at = (uint16_t)t->m->from;
        } else if (!g->has_level_last) {
            g->has_level_last = true;
            g->level_last = k->value;
        } else {
            g->other_amount = true;
        }
        first = false;
    }
}

static void take_warmth(struct taking *t)
{
    struct meaning_gathered *g = t->out;
    size_t from = t->m->from;

    if (g->warm)
        return;
    g->warm = true;
    g->degc = token(t, GRAMMAR_AMOUNT)->value;
    g->warm_water = may_be(t, &t->c->tokens[t->c->row_at[from]], CONCEPT_WATER);
}

/* How many places of the row behind the piece belong to it too. */
size_t meaning_take_measure(struct taking *t)
{
    if (said(t, GRAMMAR_PASSES_IN)) {
        t->out->passes_in = true;
        t->out->passes_at = (uint16_t)t->m->from;
        take_time(t, first_number(t, t->m->from, t->m->to), false);
    }
    if (said(t, GRAMMAR_LEVELS) || said(t, GRAMMAR_LEVEL_SAID))
        take_levels(t);
    if (said(t, GRAMMAR_WARMTH))
        take_warmth(t);
    if (said(t, GRAMMAR_RANGE))
        t->out->other_amount = t->out->has_amount = true;
    else if (said(t, GRAMMAR_MEASURE) && !meaning_is_past(t) &&
             meaning_settle_then(t)) {
        take_measure(t);
        meaning_keep_place(t);
    }
    return odd_minutes(t);
}
