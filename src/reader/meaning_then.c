/*
 * meaning_then.c - a measure of then and one of now, and one that is taken
 * back: "it used to give 5 l in 2 h, today 2 l in 6 h"; "3 l 5 h, no, 8 h".
 */
#include "reader/meaning_parts.h"

static const struct cut_token *token_at(const struct taking *t, size_t i)
{
    return &t->c->tokens[i];
}

static bool is_then(const struct taking *t, const struct cut_token *k)
{
    return may_be(t, k, CONCEPT_BEFORE) || may_be(t, k, CONCEPT_THEN) ||
           may_be(t, k, CONCEPT_LONG_AGO);
}

static bool has_between(const struct taking *t, size_t from, size_t to,
                        enum concept c)
{
    for (size_t i = from; i < to; i++) {
        if (may_be(t, token_at(t, i), c))
            return true;
    }
    return false;
}

/* Is the measure so far told of then: "before 5 l 2 h"? */
static bool is_of_then(const struct taking *t)
{
    for (size_t i = t->out->measured_from; !meaning_is_bound(t, i - 1); i--) {
        if (is_then(t, token_at(t, i - 1)))
            return true;
    }
    return false;
}

static bool has_then(const struct taking *t, size_t from, size_t to)
{
    for (size_t i = from; i < to; i++) {
        if (is_then(t, token_at(t, i)))
            return true;
    }
    return false;
}

/* Nothing but "no, sorry" stands between two measures. */
static bool is_taken_back(const struct taking *t, size_t from, size_t to)
{
    bool back = false;

    for (size_t i = from; i < to; i++) {
        const struct cut_token *k = token_at(t, i);

        if (may_be(t, k, CONCEPT_NO) || may_be(t, k, CONCEPT_RATHER))
            back = true;
        else if (k->symbol != CONCEPT_PAUSE && k->symbol != CONCEPT_FILLER &&
                 !may_be(t, k, CONCEPT_POLITE) && !may_be(t, k, CONCEPT_DOWN) &&
                 !may_be(t, k, CONCEPT_GOT) && !may_be(t, k, CONCEPT_AT))
            return false;
    }
    return back;
}

/* Hindi has the word behind: "2 ghante mein 4 litre deta tha". */
static bool is_then_behind(const struct taking *t)
{
    if (!lexicon_is_verb_last(t->lex, t->c->lang))
        return false;
    for (size_t i = t->c->row_at[t->m->from]; !meaning_is_bound(t, i); i++) {
        if (is_then(t, token_at(t, i)))
            return true;
    }
    return false;
}

/* The word for then stands between two measures: it is of the second when
 * nothing ends its clause before that, or the first was told of now. */
static bool is_second_of_then(const struct taking *t, size_t from, size_t to)
{
    size_t then = to;

    if (has_between(t, 1, t->out->measured_from, CONCEPT_NOW) &&
        is_then_behind(t))
        return true;
    while (then > from && !is_then(t, token_at(t, then - 1)))
        then--;
    if (then == from)
        return false;
    if (has_between(t, 1, t->out->measured_from, CONCEPT_NOW))
        return true;
    for (size_t i = then; i < to; i++) {
        if (meaning_is_bound(t, i) || may_be(t, token_at(t, i), CONCEPT_AND) ||
            may_be(t, token_at(t, i), CONCEPT_NOW))
            return false;
    }
    return true;
}

static void forget_time(struct meaning_gathered *g)
{
    g->has_hours = g->has_minutes = false;
    g->measure.minutes = 0;
}

static bool tells_time(const struct taking *t)
{
    return said(t, GRAMMAR_HOUR) || said(t, GRAMMAR_HOUR_FIRST) ||
           said(t, GRAMMAR_MINUTE) || said(t, GRAMMAR_MINUTE_FIRST);
}

static void forget_measure(struct meaning_gathered *g)
{
    g->has_amount = g->other_amount = g->again = false;
    g->has_hours = g->has_minutes = false;
    g->measure = (struct reader_measure){0};
    g->measured_to = 0;
}

/*
 * "It used to give 5 l in 2 h, today 2 l in 6 h": the measure of now counts.
 * "3 l 5 h, no, 8 h": the last. Returns false when the piece is of then.
 */
bool meaning_settle_then(struct taking *t)
{
    struct meaning_gathered *g = t->out;
    size_t from = g->measured_to, to = t->c->row_at[t->m->from];
    bool whole = g->has_amount && g->measure.minutes > 0, then, now, first;

    if (from == 0)
        return true;
    if (is_second_of_then(t, from, to) && whole)
        return false;
    then = is_of_then(t);
    now = has_between(t, from, to, CONCEPT_NOW);
    first = has_then(t, from, to);
    for (size_t i = from; then && i < to; i++)
        now |= whole && meaning_is_bound(t, i);
    if (is_taken_back(t, from, to)) {
        if (tells_time(t))
            forget_time(g);
        else if (whole || g->measure.minutes == 0)
            forget_measure(g);
    } else if ((now && (whole || then)) || (first && whole)) {
        forget_measure(g);
        g->turned = true;
    }
    return true;
}

void meaning_keep_place(struct taking *t)
{
    struct meaning_gathered *g = t->out;

    if (g->measured_to == 0)
        g->measured_from = t->c->row_at[t->m->from];
    g->measured_to = (uint16_t)(t->c->row_at[t->m->to - 1u] + 1u);
}
