/*
 * decide_settle.c - observations that bear on each other: a part and the pot;
 * one trouble in two phrases; what cannot both be.
 */
#include "reader/decide_parts.h"

size_t decide_place_of(const struct deciding *d, enum reader_kind k)
{
    for (size_t i = 0; i < d->g->n_obs; i++) {
        if (d->g->obs[i].kind == k)
            return d->g->obs_at[i];
    }
    return 0;
}

void decide_drop(struct deciding *d, unsigned kinds)
{
    struct meaning_gathered *g = d->g;
    size_t to = 0;

    for (size_t i = 0; i < g->n_obs; i++) {
        if (!(kinds >> g->obs[i].kind & 1)) {
            g->obs_at[to] = g->obs_at[i];
            g->obs[to++] = g->obs[i];
        }
    }
    g->n_obs = to;
    g->kinds &= ~kinds;
}

/* "Very little water": slow, when it is said of a pot. */
static void add_maybe_slow(struct deciding *d)
{
    struct meaning_gathered *g = d->g;

    if (!g->maybe_slow && !(g->no_flow && g->kinds == 0 && !g->ill))
        return; /* "it does not pass": of the water, when nothing else is said
                 */
    if (has(d, READER_SLOW) || g->sure & READER_DRY || has(d, READER_FAST) ||
        has(d, READER_UNUSED) || has(d, READER_FINE) || has(d, READER_PART) ||
        g->n_obs == READER_OBS_MOST ||
        (d->n_serials == 0 && d->wrong == NULL && d->tally.pot == 0))
        return;
    if (has(d, READER_LEAK) && g->maybe_slow && !d->tally.scarce)
        return; /* "it passes at the side, it filters nothing" */
    g->obs_at[g->n_obs] = g->maybe_slow_at;
    g->obs[g->n_obs++] = (struct reader_obs){.kind = READER_SLOW};
    g->kinds |= 1u << READER_SLOW;
}

/* "It passes in less than 20 minutes": fast, when no amount is told. */
static void add_passing(struct deciding *d)
{
    struct meaning_gathered *g = d->g;
    const unsigned flow = 1u << READER_SLOW | 1u << READER_FAST;

    if (!g->passes_in || g->has_amount || (g->kinds & flow) ||
        g->measure.minutes > 60 || g->n_obs == READER_OBS_MOST)
        return;
    g->measure.minutes = 0;
    g->obs_at[g->n_obs] = g->passes_at;
    g->obs[g->n_obs++] = (struct reader_obs){.kind = READER_FAST};
    g->kinds |= 1u << READER_FAST;
}

/* "It is slow. Should we scrub it?" says not that they did. */
static void settle_asked(struct deciding *d)
{
    const struct cut *c = d->m->cut;
    size_t from = c->row_at[decide_place_of(d, READER_SCRUBBED)], to = from;

    if (!has(d, READER_SCRUBBED) || d->g->n_obs < 2 || !decide_is_asked(d))
        return;
    while (from > 1 && c->tokens[from - 1].symbol != CONCEPT_PAUSE)
        from--;
    while (to < c->n && c->tokens[to].symbol != CONCEPT_PAUSE)
        to++;
    if (to == c->n || c->fold.text[c->tokens[to].at] != '?')
        return;
    for (size_t i = 0; i < d->g->n_obs; i++) {
        size_t at = c->row_at[d->g->obs_at[i]];

        if (d->g->obs[i].kind != READER_SCRUBBED && at >= from && at < to)
            return;
    }
    decide_drop(d, 1u << READER_SCRUBBED);
}

/* Is nothing said before that token but the pot's number? */
static bool is_first_said(const struct deciding *d, size_t at)
{
    const struct cut *c = d->m->cut;

    while (at > 1 && (c->tokens[at - 1].symbol == CONCEPT_PAUSE ||
                      c->tokens[at - 1].symbol == CONCEPT_SERIAL ||
                      c->tokens[at - 1].symbol == CONCEPT_WRONG))
        at--;
    return at == 1;
}

/* Spanish "bn dia restregue la oya": a good day. */
static bool is_good_day(const struct deciding *d, size_t at)
{
    const struct cut_token *next = &d->m->cut->tokens[at + 1];

    return may_be(d, next, CONCEPT_DAY) || may_be(d, next, CONCEPT_MORNING) ||
           may_be(d, next, CONCEPT_EVENING);
}

/* "All well? 0214-073-19 tap broken": a greeting. "We do not use it, ok,
 * thanks", "ok, slow": a courtesy. */
static void settle_greeting(struct deciding *d)
{
    const struct cut *c = d->m->cut;
    size_t at = c->row_at[decide_place_of(d, READER_FINE)];

    if (has(d, READER_FINE) && is_first_said(d, at) && is_good_day(d, at) &&
        d->g->kinds != 1u << READER_FINE)
        decide_drop(d, 1u << READER_FINE);
    if (has(d, READER_FINE) && may_be(d, &c->tokens[at], CONCEPT_POLITE) &&
        (has(d, READER_UNUSED) ||
         (is_first_said(d, at) && d->g->kinds != 1u << READER_FINE &&
          !concept_set_has(&c->any, CONCEPT_BUT))))
        decide_drop(d, 1u << READER_FINE);
    for (size_t i = 0; i < d->g->n_pieces && has(d, READER_FINE); i++) {
        const struct meaning_piece *p = &d->g->pieces[i];
        const struct cut_token *next = &c->tokens[p->to];

        if (p->from == at && p->to < c->n && next->symbol == CONCEPT_PAUSE &&
            c->fold.text[next->at] == '?')
            decide_drop(d, 1u << READER_FINE);
    }
}

/* "No blood, and we are eating fine": of no pot. */
static void settle_fine(struct deciding *d)
{
    const struct cut *c = d->m->cut;
    size_t at = c->row_at[decide_place_of(d, READER_FINE)];
    const unsigned sickness = 1u << CLASS_SICKNESS;

    if (!has(d, READER_FINE) || !has(d, READER_ILL) || c->card ||
        decide_names_pot(d))
        return;
    while (at > 1 && (c->tokens[at - 1].symbol == CONCEPT_FILLER ||
                      may_be(d, &c->tokens[at - 1], CONCEPT_VERY) ||
                      may_be(d, &c->tokens[at - 1], CONCEPT_A)))
        at--;
    if (c->tokens[at - 1].symbol == CONCEPT_WORD ||
        c->tokens[at - 1].symbol == CONCEPT_OTHER ||
        c->tokens[at - 1].symbol == CONCEPT_CHAT ||
        may_be(d, &c->tokens[at - 1], CONCEPT_DRINK) ||
        may_be(d, &c->tokens[at - 1], CONCEPT_ME) ||
        (may_be(d, &c->tokens[at - 1], CONCEPT_COME) && !d->tally.water) ||
        (d->m->lex->classes[c->tokens[at - 1].symbol] & sickness))
        decide_drop(d, 1u << READER_FINE);
}

/* "We need another tap, ours is broken": between the part and the damage its
 * owner is named, and no pot. */
static bool is_mine_between(const struct deciding *d, size_t part,
                            size_t damage)
{
    const struct cut *c = d->m->cut;
    bool mine = false;

    for (size_t i = part; i < damage; i++) {
        const struct cut_token *t = &c->tokens[c->row_at[i]];

        mine |= may_be(d, t, CONCEPT_MINE);
        if (mine && may_be(d, t, CONCEPT_POT))
            return false;
    }
    return mine;
}

static bool is_part_or_piece(const struct deciding *d,
                             const struct cut_token *t)
{
    return is_part(d, t) || may_be(d, t, CONCEPT_PART);
}

/* A pot by itself; "the tap of the filter" is none. */
static bool names_pot_itself(const struct deciding *d)
{
    const struct cut *c = d->m->cut;

    for (size_t i = 1; i + 1 < c->n; i++) {
        const struct cut_token *t = &c->tokens[i];

        if (may_be(d, t, CONCEPT_POT) &&
            !(i > 2 && may_be(d, t - 1, CONCEPT_OF) &&
              is_part_or_piece(d, t - 2)))
            return true;
        if ((t->names & CUT_NAMES_POT) && !is_part_or_piece(d, t))
            return true;
    }
    return false;
}

/* Is nothing else named there that may have broken? */
static bool is_part_alone(const struct deciding *d, size_t part, size_t broken)
{
    const struct cut *c = d->m->cut;

    for (size_t i = part + 1; i < broken; i++) {
        const struct cut_token *t = &c->tokens[c->row_at[i]];

        if (is_part_or_piece(d, t) || may_be(d, t, CONCEPT_THING))
            return false;
    }
    return true;
}

/* "The dog bit the tap and broke it": of a part with its own damage, where no
 * pot is named; but not "the lid is lost and it broke". */
static void settle_part(struct deciding *d)
{
    size_t part = decide_place_of(d, READER_PART),
           broken = decide_place_of(d, READER_BROKEN);

    if (has(d, READER_PART) && has(d, READER_BROKEN) &&
        is_mine_between(d, part, broken))
        decide_drop(d, 1u << READER_BROKEN);
    if (!has(d, READER_PART) || names_pot_itself(d))
        return;
    if (has(d, READER_UNUSED) && decide_place_of(d, READER_UNUSED) > part &&
        !d->m->cut->card)
        decide_drop(
            d, 1u << READER_UNUSED); /* "the bucket broke, we threw it away" */
    if (has(d, READER_BROKEN) && broken > part && d->g->lone_parts == 0 &&
        !concept_set_has(&d->m->cut->any, CONCEPT_LOST) &&
        is_part_alone(d, part, broken))
        decide_drop(d, 1u << READER_BROKEN);
}

enum concept decide_part_concept(enum reader_part p)
{
    return p == READER_TAP   ? CONCEPT_TAP
           : p == READER_LID ? CONCEPT_LID
                             : CONCEPT_BUCKET;
}

/* Is it only by the way: "the bucket is missing | its | lid"? */
static bool is_light(const struct deciding *d, const struct cut_token *t)
{
    return t->symbol == CONCEPT_FILLER || may_be(d, t, CONCEPT_MINE) ||
           may_be(d, t, CONCEPT_A) || may_be(d, t, CONCEPT_OF);
}

/* The part that the bucket at token i lacks, or READER_NO_PART. */
static enum reader_part lacked_by(const struct deciding *d, size_t i)
{
    const struct cut *c = d->m->cut;

    while (++i + 1 < c->n && is_light(d, &c->tokens[i]))
        ;
    if (!may_be(d, &c->tokens[i], CONCEPT_LOST))
        return READER_NO_PART;
    while (++i + 1 < c->n && is_light(d, &c->tokens[i]))
        ;
    return may_be(d, &c->tokens[i], CONCEPT_TAP)   ? READER_TAP
           : may_be(d, &c->tokens[i], CONCEPT_LID) ? READER_LID
                                                   : READER_NO_PART;
}

/* "The bucket is missing its lid", Spanish "al balde le falta la llave": what
 * is lost is the other part. */
static void settle_lacking(struct deciding *d)
{
    const struct cut *c = d->m->cut;
    struct meaning_gathered *g = d->g;

    if (c->card || !has(d, READER_PART) ||
        !concept_set_has(&c->any, CONCEPT_LOST) ||
        !(g->lone_parts & (1u << READER_TAP | 1u << READER_LID)))
        return;
    for (size_t i = 1; i + 1 < c->n; i++) {
        enum reader_part lost = may_be(d, &c->tokens[i], CONCEPT_BUCKET)
                                    ? lacked_by(d, i)
                                    : READER_NO_PART;

        for (size_t k = 0; k < g->n_obs && (g->lone_parts >> lost & 1); k++) {
            if (g->obs[k].kind == READER_PART &&
                g->obs[k].part == READER_BUCKET) {
                g->obs[k].part = lost;
                g->lone_parts &= ~(1u << lost);
            }
        }
    }
}

/* "A goat climbed on the lid and it broke": one part and no pot is named, and
 * nothing fell on anything behind it. */
static void settle_lone_part(struct deciding *d)
{
    const unsigned damage = 1u << READER_BROKEN | 1u << READER_CRACK;
    const struct cut *c = d->m->cut;
    struct meaning_gathered *g = d->g;
    unsigned parts = g->lone_parts;
    enum reader_part p = READER_TAP;
    size_t at = 1, last;

    if (c->card || has(d, READER_PART) || (g->kinds & ~damage) != 0 ||
        g->n_obs != 1 || parts == 0 || (parts & (parts - 1)) != 0 ||
        decide_names_pot(d) || g->aliens > 0)
        return;
    while (!(parts >> p & 1))
        p++;
    last = c->row_at[g->obs_at[0]];
    while (at < last && !may_be(d, &c->tokens[at], decide_part_concept(p)))
        at++;
    if (at >= last)
        return;
    while (++at < last) {
        if (may_be(d, &c->tokens[at], CONCEPT_AT) ||
            may_be(d, &c->tokens[at], CONCEPT_OUTSIDE))
            return;
    }
    g->obs[0] = (struct reader_obs){.kind = READER_PART, .part = p};
    g->kinds = 1u << READER_PART;
    g->lone_parts = 0;
}

/* "It leaks water all night": not slowly. */
static void settle_night(struct deciding *d)
{
    const struct cut *c = d->m->cut;

    if (has(d, READER_LEAK) && has(d, READER_SLOW) &&
        (may_be(d, &c->tokens[c->row_at[decide_place_of(d, READER_SLOW)]],
                CONCEPT_WATER) ||
         may_be(d, &c->tokens[c->row_at[decide_place_of(d, READER_SLOW)]],
                CONCEPT_ALL_DAY)) &&
        concept_set_has(&c->any, CONCEPT_ALL_DAY))
        decide_drop(d, 1u << READER_SLOW);
}

/* "She had the runs all night": no pot is slow. */
static void settle_ill_night(struct deciding *d)
{
    const struct cut *c = d->m->cut;
    size_t at = c->row_at[decide_place_of(d, READER_SLOW)];

    if (!has(d, READER_SLOW) || !has(d, READER_ILL) || c->card ||
        d->tally.pot > 0 || d->tally.water || d->g->has_amount ||
        !concept_set_has(&c->any, CONCEPT_ALL_DAY))
        return;
    if (may_be(d, &c->tokens[at], CONCEPT_ALL_DAY) ||
        may_be(d, &c->tokens[at + 1], CONCEPT_ALL_DAY))
        decide_drop(d, 1u << READER_SLOW);
}

/* "Fas 3 mes q ngm usa": a slip that looks like a flow, of a pot without. */
static void settle_unused_slip(struct deciding *d)
{
    static const enum reader_kind flows[] = {READER_SLOW, READER_FAST};
    const struct cut *c = d->m->cut;

    if (!has(d, READER_UNUSED) || c->card || d->g->has_amount)
        return;
    for (size_t i = 0; i < KW_COUNT(flows); i++) {
        if (has(d, flows[i]) &&
            (c->tokens[c->row_at[decide_place_of(d, flows[i])]].flags &
             CUT_SLIP))
            decide_drop(d, 1u << flows[i]);
    }
}

/* "It runs out on the floor, it does not hold water" is one trouble. */
static void settle_unholding(struct deciding *d)
{
    const struct cut *c = d->m->cut;

    if (has(d, READER_LEAK) && has(d, READER_FAST) &&
        may_be(d, &c->tokens[c->row_at[decide_place_of(d, READER_FAST)]],
               CONCEPT_UNHOLDING))
        decide_drop(d, 1u << READER_FAST);
}

/* Swahili "kimesuguliwa vizuri", well scrubbed, and "nikatazama vizuri", I
 * looked well: that says of no pot that it is good. */
static void settle_well(struct deciding *d)
{
    const struct cut *c = d->m->cut;
    size_t well = c->row_at[decide_place_of(d, READER_FINE)],
           wash = c->row_at[decide_place_of(d, READER_SCRUBBED)];

    if (!has(d, READER_FINE) || c->card || d->g->n_obs < 2 ||
        !may_be(d, &c->tokens[well], CONCEPT_WELL))
        return;
    if ((has(d, READER_SCRUBBED) && (well == wash + 1 || wash == well + 1)) ||
        c->tokens[well - 1].symbol == CONCEPT_WORD ||
        c->tokens[well - 1].symbol == CONCEPT_OTHER)
        decide_drop(d, 1u << READER_FINE);
}

/* "A crack as thin as a hair runs down the side": no water does. */
static void settle_line(struct deciding *d)
{
    const struct cut *c = d->m->cut;
    const struct lexicon *lex = d->m->lex;
    size_t crack = decide_place_of(d, READER_CRACK),
           leak = decide_place_of(d, READER_LEAK);
    uint16_t first = lexicon_symbol_of(lex, c->tokens[c->row_at[leak]].word);

    if (!has(d, READER_CRACK) || !has(d, READER_LEAK) || leak < crack ||
        c->card)
        return;
    for (size_t i = crack + 1; i < leak; i++) {
        const struct cut_token *t = &c->tokens[c->row_at[i]];

        if (t->symbol == CONCEPT_PAUSE || may_be(d, t, CONCEPT_AND) ||
            may_be(d, t, CONCEPT_WATER))
            return;
    }
    if (!concept_set_has(&lex->sets[first], CONCEPT_LEAK))
        decide_drop(d, 1u << READER_LEAK);
}

/* "It leaks in the cupboard": a place, and a pot that is in use. */
static void settle_place(struct deciding *d)
{
    const unsigned flow = 1u << READER_LEAK | 1u << READER_SLOW |
                          1u << READER_FAST | 1u << READER_PART;
    const struct lexicon *lex = d->m->lex;
    const struct cut *c = d->m->cut;
    const struct cut_token *t;
    uint16_t first;

    if (!has(d, READER_UNUSED) || (d->g->kinds & flow) == 0)
        return;
    t = &c->tokens[c->row_at[decide_place_of(d, READER_UNUSED)]];
    first = c->lang < 0
                ? lexicon_symbol_of(lex, t->word)
                : lexicon_symbol_in(lex, lex->words[t->word].root, c->lang);
    if (concept_set_has(&lex->sets[first], CONCEPT_AT) &&
        !concept_set_has(&lex->sets[first], CONCEPT_NO))
        decide_drop(d, 1u << READER_UNUSED);
}

/* "They said it is slow. It is not slow, it is cracked": said and denied beside
 * a word that takes it back, where something else is told. */
static unsigned taken_back(const struct deciding *d)
{
    const struct concept_set *any = &d->m->cut->any;
    unsigned denied = d->g->kinds & d->g->denied;

    if (denied == d->g->kinds || denied == 0 ||
        !(concept_set_has(any, CONCEPT_SAID) ||
          concept_set_has(any, CONCEPT_RATHER) ||
          concept_set_has(any, CONCEPT_THOUGHT) ||
          concept_set_has(any, CONCEPT_POLITE)))
        return 0;
    return denied;
}

/* Kinds that cannot both be: taken out, and asked about. */
static bool settle_contraries(struct deciding *d)
{
    const unsigned bad = DECIDE_BAD_KINDS;
    unsigned out = 0;
    bool now;

    if (has(d, READER_FINE) && (d->g->kinds & bad))
        out |= (d->g->kinds & bad) | 1u << READER_FINE;
    if (has(d, READER_SLOW) && has(d, READER_FAST))
        out |= 1u << READER_SLOW | 1u << READER_FAST;
    decide_drop(d, taken_back(d));
    if (decide_turning_point(d, &now) == 0 || !now) /* "no crack, a crack" */
        out |= d->g->kinds & d->g->denied;
    if (decide_is_used(d))
        out |= 1u << READER_UNUSED;
    if (d->g->said_ill && d->g->denied_ill && d->g->sure == 0)
        out |= d->g->kinds & 1u << READER_ILL;
    d->out->unsafe_said =
        (out & (1u << READER_CRACK | 1u << READER_LEAK | 1u << READER_BROKEN |
                1u << READER_FAST)) != 0;
    decide_drop(d, out);
    return out != 0;
}

void decide_add_flow(struct deciding *d)
{
    add_maybe_slow(d);
    add_passing(d);
}

bool decide_settle(struct deciding *d)
{
    settle_greeting(d);
    settle_fine(d);
    decide_asides(d);
    settle_lacking(d);
    settle_part(d);
    settle_lone_part(d);
    settle_line(d);
    settle_unholding(d);
    settle_well(d);
    settle_night(d);
    settle_ill_night(d);
    settle_unused_slip(d);
    settle_asked(d);
    settle_place(d);
    decide_turns(d);
    return settle_contraries(d);
}
