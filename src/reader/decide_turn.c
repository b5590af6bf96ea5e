/*
 * decide_turn.c - what was and what is now; what was taken back; the pot of
 * someone else and one's own.
 */
#include "reader/decide_parts.h"

#define NOW_BEHIND  3 /* tokens: "good as it is now" */
#define SHORT_WORDS 3
#define RATHER_NEAR 4 /* tokens: "I mean that it is" */

/* "It was slow, we washed it, now it is good." */
static void settle_past(struct deciding *d)
{
    size_t washed = decide_place_of(d, READER_SCRUBBED);

    if (has(d, READER_SCRUBBED) && has(d, READER_FINE) && has(d, READER_SLOW) &&
        !d->g->has_amount && decide_place_of(d, READER_SLOW) < washed &&
        decide_place_of(d, READER_FINE) > washed)
        decide_drop(d, 1u << READER_SLOW);
}

/* The last "now", else the last "but"; 0 for none. */
size_t decide_turning_point(const struct deciding *d, bool *now)
{
    const struct cut *c = d->m->cut;
    size_t at = 0;

    *now = false;
    if (!concept_set_has(&c->any, CONCEPT_NOW) &&
        !concept_set_has(&c->any, CONCEPT_BUT))
        return 0;
    for (size_t i = 1; i < c->n_row; i++) {
        const struct cut_token *t = &c->tokens[c->row_at[i]];

        if (may_be(d, t, CONCEPT_NOW) || (!*now && may_be(d, t, CONCEPT_BUT))) {
            *now |= may_be(d, t, CONCEPT_NOW);
            at = i;
        }
    }
    return at;
}

/* The token behind the piece that says an observation. */
static size_t behind(const struct deciding *d, enum reader_kind k)
{
    size_t at = d->m->cut->row_at[decide_place_of(d, k)];

    for (size_t i = 0; i < d->g->n_pieces; i++) {
        if (d->g->pieces[i].from == at)
            return d->g->pieces[i].to;
    }
    return at + 1;
}

/* Does its clause have a word for "again"? */
static bool is_said_again(const struct deciding *d, size_t i)
{
    const struct cut_token *k = d->m->cut->tokens;

    while (k[i - 1].symbol > CONCEPT_PAUSE &&
           !may_be(d, &k[i - 1], CONCEPT_BUT))
        i--;
    while (k[i].symbol > CONCEPT_PAUSE && !may_be(d, &k[i], CONCEPT_AGAIN))
        i++;
    return may_be(d, &k[i], CONCEPT_AGAIN);
}

/* "Unused for a month, now we use it again": no longer so. */
static void settle_again(struct deciding *d)
{
    const struct cut *c = d->m->cut;

    if (!has(d, READER_UNUSED) || !concept_set_has(&c->any, CONCEPT_AGAIN))
        return;
    for (size_t i = behind(d, READER_UNUSED); i < c->n; i++) {
        const struct cut_token *t = &c->tokens[i];

        if ((may_be(d, t, CONCEPT_USE) || may_be(d, t, CONCEPT_DRINK)) &&
            is_said_again(d, i)) {
            decide_drop(d, 1u << READER_UNUSED);
            return;
        }
    }
}

/* Does nothing stand between what was said and that token but "no"? */
static bool is_right_before(const struct deciding *d, enum reader_kind k,
                            size_t at)
{
    for (size_t i = behind(d, k); i < at; i++) {
        const struct cut_token *t = &d->m->cut->tokens[i];

        if (t->symbol > CONCEPT_PAUSE && t->symbol != CONCEPT_FILLER &&
            !may_be(d, t, CONCEPT_POLITE) && !may_be(d, t, CONCEPT_NO))
            return false;
    }
    return true;
}

/* "The lid is lost, no, sorry, the tap". */
static void take_other_part(struct deciding *d, struct reader_obs *o, size_t at)
{
    const struct cut *c = d->m->cut;

    for (size_t i = at + 1; i <= at + RATHER_NEAR && i < c->n; i++) {
        for (int p = READER_TAP; p <= READER_BUCKET; p++) {
            if (may_be(d, &c->tokens[i],
                       decide_part_concept((enum reader_part)p)))
                o->part = (enum reader_part)p;
        }
    }
}

/* "Broken, I mean cracked": what is taken back right before and behind. */
static void settle_rather(struct deciding *d)
{
    const struct cut *c = d->m->cut;
    struct meaning_gathered *g = d->g;
    size_t back = g->n_obs, on = g->n_obs, at = 0;

    if (!concept_set_has(&c->any, CONCEPT_RATHER))
        return;
    while (++at < c->n && !may_be(d, &c->tokens[at], CONCEPT_RATHER))
        ;
    for (size_t i = 0; i < g->n_obs; i++) {
        size_t place = c->row_at[g->obs_at[i]];

        if (place < at &&
            (back == g->n_obs || place > c->row_at[g->obs_at[back]]))
            back = i;
        if (place > at && (on == g->n_obs || place < c->row_at[g->obs_at[on]]))
            on = i;
    }
    if (back == g->n_obs || !is_right_before(d, g->obs[back].kind, at))
        return;
    if (on < g->n_obs && g->obs[back].kind != g->obs[on].kind &&
        c->row_at[g->obs_at[on]] <= at + RATHER_NEAR)
        decide_drop(d, 1u << g->obs[back].kind);
    else if (g->obs[back].kind == READER_PART)
        take_other_part(d, &g->obs[back], at);
}

/* The place in the row of the first token of such a concept behind one place
 * and before another; 0: there is none. */
static size_t find_between(const struct deciding *d, size_t from, size_t to,
                           enum concept c)
{
    const struct cut *k = d->m->cut;

    for (size_t i = from; i < to; i++) {
        if (may_be(d, &k->tokens[k->row_at[i]], c))
            return i;
    }
    return 0;
}

/* Whoever is named before the word for one's own; 0: nobody is. */
static size_t owner_before(const struct deciding *d, size_t mine)
{
    static const enum concept owners[] = {CONCEPT_ONE, CONCEPT_PERSON,
                                          CONCEPT_NEIGHBOUR};

    for (size_t i = 0; i < KW_COUNT(owners); i++) {
        size_t at = find_between(d, 1, mine, owners[i]);

        if (at != 0)
            return at;
    }
    return 0;
}

/* "My sister's is slow, mine is cracked": what is told of a pot before the word
 * for one's own is not of that. */
static void settle_mine(struct deciding *d)
{
    const struct cut *c = d->m->cut;
    const unsigned pot = DECIDE_BAD_KINDS | 1u << READER_SCRUBBED |
                         1u << READER_FINE | 1u << READER_UNUSED |
                         1u << READER_PART;
    size_t mine, owner;
    unsigned theirs = 0, ours = 0;

    if (!concept_set_has(&c->any, CONCEPT_MINE))
        return;
    mine = find_between(d, 1, c->n_row, CONCEPT_MINE);
    if ((owner = owner_before(d, mine)) == 0)
        return;
    if (d->n_serials == 1 && d->serials[0] > &c->tokens[c->row_at[owner]] &&
        d->serials[0] < &c->tokens[c->row_at[mine - 1]])
        return; /* the number of theirs */
    for (size_t i = 0; i < d->g->n_obs; i++) {
        if (d->g->obs_at[i] < mine)
            theirs |= pot & 1u << d->g->obs[i].kind;
        else
            ours |= 1u << d->g->obs[i].kind;
    }
    if (ours != 0)
        decide_drop(d, theirs & ~ours);
}

/* "It was slow, now it is fast". */
static void settle_speed(struct deciding *d)
{
    size_t slow = decide_place_of(d, READER_SLOW),
           fast = decide_place_of(d, READER_FAST);
    size_t first = slow < fast ? slow : fast, last = slow < fast ? fast : slow;
    bool now;
    size_t at = decide_turning_point(d, &now);

    if (has(d, READER_SLOW) && has(d, READER_FAST) && now && first < at &&
        at <= last + NOW_BEHIND && first + 1 < last)
        decide_drop(d, 1u << (slow < fast ? READER_SLOW : READER_FAST));
}

/* "Good now, it was slow": behind the mark comes what was. */
static bool is_then_behind(const struct deciding *d, size_t now, size_t bad)
{
    size_t mark = find_between(d, now, bad, CONCEPT_PAUSE);

    return mark != 0 && find_between(d, mark, bad, CONCEPT_THEN) != 0;
}

/* "It was slow, but now it is good"; "it was good, but now it leaks"; but
 * "good but broken", and no more, tells of no time before. */
static void settle_turn(struct deciding *d)
{
    const unsigned passing = 1u << READER_SLOW | 1u << READER_FAST;
    size_t fine = decide_place_of(d, READER_FINE), first = SIZE_MAX, last = 0,
           at;
    unsigned bad = d->g->kinds & DECIDE_BAD_KINDS;
    bool now;

    if (!has(d, READER_FINE) || bad == 0)
        return;
    for (size_t i = 0; i < d->g->n_obs; i++) {
        if (!(DECIDE_BAD_KINDS >> d->g->obs[i].kind & 1))
            continue;
        first = d->g->obs_at[i] < first ? d->g->obs_at[i] : first;
        last = d->g->obs_at[i] > last ? d->g->obs_at[i] : last;
    }
    at = decide_turning_point(d, &now);
    if (at == 0)
        return;
    if (fine < at && at < first && !is_then_behind(d, at, first) &&
        (now || (bad & ~passing) == 0 || d->tally.words > SHORT_WORDS))
        decide_drop(d, 1u << READER_FINE);
    else if (now && last < fine && last < at && at <= fine + NOW_BEHIND &&
             (bad & ~passing) == 0 && !d->g->has_amount)
        decide_drop(d, bad);
}

bool decide_is_measure_of_then(const struct deciding *d)
{
    bool now;
    size_t at = decide_turning_point(d, &now),
           fine = decide_place_of(d, READER_FINE);

    return has(d, READER_FINE) && now && d->g->has_amount &&
           d->g->amount_at < at && at < fine && fine <= at + NOW_BEHIND;
}

void decide_turns(struct deciding *d)
{
    settle_past(d);
    settle_again(d);
    settle_rather(d);
    settle_mine(d);
    settle_turn(d);
    settle_speed(d);
}
