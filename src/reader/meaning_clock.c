/*
 * meaning_clock.c - times of the day: "from nine in the evening to five in the
 * morning" is eight hours. Two times that are told make one span; what may be
 * a span of days as well as of hours is none.
 */
#include "reader/meaning_parts.h"

#include <math.h>
#include <string.h>

#define HOURS_DAY   24
#define HOURS_DIAL  12
#define EARLY_HOURS 4 /* "three at night", "three in the afternoon" */

enum part_of_day { NO_PART, MORNING, EVENING };

static bool is_in(const struct taking *t, const char *tag)
{
    return t->c->lang >= 0 && strcmp(t->lex->tags[t->c->lang], tag) == 0;
}

static enum part_of_day part_of(const struct taking *t,
                                const struct cut_token *k)
{
    return may_be(t, k, CONCEPT_MORNING)   ? MORNING
           : may_be(t, k, CONCEPT_EVENING) ? EVENING
                                           : NO_PART;
}

static bool is_hour(const struct taking *t, const struct cut_token *k)
{
    return may_be(t, k, CONCEPT_HOUR) || k->symbol == CONCEPT_LETTER_H;
}

/* "8", "8:30", "6h30". */
static bool is_time(const struct taking *t, const struct cut_token *k)
{
    return (k->symbol == CONCEPT_CLOCK ||
            (may_be(t, k, CONCEPT_NUMBER) &&
             (floor(k->value) == k->value || is_hour(t, k + 1)))) &&
           k->value >= 0 && k->value <= HOURS_DAY;
}

/* "Treize heures trente"; but "17 h deux verres" is of two glasses. */
static bool is_minutes(const struct taking *t, const struct cut_token *k)
{
    return k->symbol == CONCEPT_NUMBER && is_hour(t, k - 1) &&
           !is_in(t, "sw") &&
           !(t->lex->classes[k[1].symbol] & 1u << CLASS_UNIT);
}

/* "Half past", "y cuarto", "paune": what is added to the hour. */
static double added(const struct taking *t, const struct cut_token *k)
{
    if (may_be(t, k, CONCEPT_HALF))
        return 0.5;
    if (may_be(t, k, CONCEPT_QUARTER) || may_be(t, k, CONCEPT_QUARTER_MORE))
        return 0.25;
    if (may_be(t, k, CONCEPT_QUARTER_LESS))
        return -0.25;
    return is_minutes(t, k) ? k->value / 60 : 0;
}

/* "And a half" belongs to the hour before; "and half past two" does not. */
static bool is_and_part(const struct taking *t, const struct cut_token *k)
{
    k++;
    if (may_be(t, k, CONCEPT_A))
        k++;
    return (may_be(t, k, CONCEPT_HALF) || may_be(t, k, CONCEPT_QUARTER)) &&
           k[1].symbol != CONCEPT_NUMBER;
}

/* A Swahili day begins at six: saa mbili asubuhi is eight in the morning. */
static bool is_swahili(const struct taking *t)
{
    return is_in(t, "sw");
}

static void add_time(struct taking *t, double hour, enum part_of_day part)
{
    struct meaning_gathered *g = t->out;

    if (hour <= HOURS_DIAL && is_swahili(t)) {
        hour = fmod(hour + HOURS_DIAL / 2, HOURS_DIAL);
        hour += hour < 1 ? HOURS_DIAL : 0;
    }
    if (g->n_clocks < MEANING_CLOCKS) {
        g->clocks[g->n_clocks].hour = hour;
        g->clocks[g->n_clocks].part = (uint8_t)part;
        g->clock_at = (uint16_t)t->m->from;
    }
    g->n_clocks++;
}

/* Is it a span of something else: "from 4 to 5 cm", "the level fell from 15
 * to 10"? */
static bool is_of_other(const struct taking *t)
{
    const struct cut *c = t->c;
    const struct cut_token *next = &c->tokens[c->row_at[t->m->to]],
                           *before = &c->tokens[c->row_at[t->m->from - 1u]];

    return may_be(t, before, CONCEPT_LEVEL) ||
           may_be(t, before, CONCEPT_DOWN) ||
           (t->lex->classes[next->symbol] &
            (1u << CLASS_UNIT | 1u << CLASS_SICKNESS | 1u << CLASS_LETTER)) ||
           may_be(t, next, CONCEPT_DAY) || may_be(t, next, CONCEPT_TIMES) ||
           may_be(t, next, CONCEPT_HALF) || next->symbol == CONCEPT_NUMBER;
}

struct span {
    double hour[2];
    enum part_of_day part[2];
    size_t n;    /* hours that were told */
    bool linked; /* the word between them was met */
    bool sure;   /* it is of the clock */
    int units;   /* "hours" */
};

/* Noon or midnight, as it is said in the language. */
static double noon_hour(const struct taking *t, const struct cut_token *k)
{
    return is_swahili(t)                   ? HOURS_DIAL / 2
           : may_be(t, k, CONCEPT_EVENING) ? HOURS_DAY
                                           : HOURS_DIAL;
}

static void look_at(const struct taking *t, const struct cut_token *k,
                    struct span *s)
{
    size_t of = s->n == 2 || s->linked;
    bool noon = may_be(t, k, CONCEPT_NOON), time;

    if (noon && s->n == 1)
        of = s->linked = true;
    time = s->n == of && (noon || is_time(t, k));

    if (time) {
        s->hour[of] += noon ? noon_hour(t, k) : k->value;
        s->n++;
    } else {
        s->hour[of] += added(t, k);
    }
    if (part_of(t, k) != NO_PART)
        s->part[of] = part_of(t, k);
    s->sure |= noon || part_of(t, k) != NO_PART ||
               may_be(t, k, CONCEPT_O_CLOCK) || may_be(t, k, CONCEPT_AT_HOUR) ||
               k->symbol == CONCEPT_CLOCK ||
               (time && k->value > HOURS_DIAL && is_hour(t, k + 1)) ||
               (time && floor(k->value) != k->value);
    s->units += is_hour(t, k);
    s->linked |= s->n == 1 && !time && !is_hour(t, k) &&
                 (may_be(t, k, CONCEPT_TO) || may_be(t, k, CONCEPT_AT) ||
                  may_be(t, k, CONCEPT_AT_HOUR) ||
                  (may_be(t, k, CONCEPT_AND) && !is_and_part(t, k)));
}

static struct span span_of(const struct taking *t)
{
    struct span s = {0};

    for (size_t i = t->m->from; i < t->m->to; i++)
        look_at(t, &t->c->tokens[t->c->row_at[i]], &s);
    return s;
}

/* With "hours" in it: Swahili and French tell the clock so, "de sept heures à
 * dix heures"; others how long it took, "a las seis ... y en doce horas". */
static bool is_by_clock(const struct taking *t, const struct span *s)
{
    return is_in(t, "sw") || (is_in(t, "fr") && (s->sure || s->units == 2));
}

/* Where to go on. */
size_t meaning_take_span(struct taking *t)
{
    struct span s = span_of(t);
    const struct cut_token *last = &t->c->tokens[t->c->row_at[t->m->to - 1u]];

    if (s.n < 2 || (s.units > 0 && !is_by_clock(t, &s)) ||
        (!s.sure && is_of_other(t)))
        return t->m->from + 1u;
    add_time(t, s.hour[0], s.part[0]);
    add_time(t, s.hour[1], s.part[1]);
    return t->m->to - (last->symbol == CONCEPT_NUMBER && is_hour(t, last - 1) &&
                       !is_in(t, "sw") && !is_minutes(t, last));
}

/* Where to go on. */
size_t meaning_take_clock(struct taking *t)
{
    struct span s = span_of(t);

    add_time(t, s.hour[0], s.part[0]);
    return t->m->to;
}

double meaning_clock_minutes(const struct meaning_gathered *g)
{
    double a = g->clocks[0].hour, b = g->clocks[1].hour, hours;
    enum part_of_day from = (enum part_of_day)g->clocks[0].part,
                     to = (enum part_of_day)g->clocks[1].part;

    if (g->n_clocks != MEANING_CLOCKS)
        return 0;
    if (a == HOURS_DAY && b <= HOURS_DIAL)
        a = HOURS_DIAL; /* midnight, on the dial */
    if (b == HOURS_DAY && a <= HOURS_DIAL)
        b = HOURS_DIAL;
    if (a > HOURS_DIAL || b > HOURS_DIAL) {
        hours = fmod(b - a + HOURS_DAY, HOURS_DAY);
        return 60 * (hours > 0 ? hours : HOURS_DAY);
    }
    hours = fmod(b - a + HOURS_DAY, HOURS_DIAL);
    hours = hours > 0 ? hours : HOURS_DIAL;
    if (from == NO_PART || to == NO_PART || from == to || a == HOURS_DIAL ||
        b == HOURS_DIAL)
        return 60 * hours;
    if (from == EVENING && a <= EARLY_HOURS)
        return 0;
    return 60 * (b + HOURS_DIAL - a);
}
