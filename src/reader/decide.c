/*
 * decide.c - what a text as a whole is: filed, asked about, or not for us.
 * The serials first, then whether it is a report at all, then what is wrong
 * with it in the order of enum reader_why.
 */
#include "reader/decide_parts.h"

#include <string.h>

#define NOW_BEHIND  3 /* tokens: "good as it is now" */
#define SHORT_WORDS 3

static const unsigned BAD_KINDS = 1u << READER_CRACK | 1u << READER_LEAK |
                                  1u << READER_BROKEN | 1u << READER_SLOW |
                                  1u << READER_FAST;

#define B(c, k) CONCEPT_BIT(CONCEPT_##c, k)
/* A word for a pot or a part of one. */
#define POT(k)                                                                 \
    (B(POT, k) | B(TAP, k) | B(LID, k) | B(BUCKET, k) | B(PART, k) |           \
     B(UNFILTERED, k))
/* What tally_aside() counts. */
#define ASIDE(k)                                                               \
    (B(CHAT, k) | B(BURIED, k) | B(MONEY, k) | B(PASSED_ON, k) | B(THING, k) | \
     B(ANIMAL, k) | B(BODY, k) | B(NEIGHBOUR, k))
static const struct concept_set pots = {{POT(0), POT(1), POT(2)}};
static const struct concept_set asides = {{ASIDE(0), ASIDE(1), ASIDE(2)}};
#undef ASIDE
#undef POT
#undef B

static void tally_token(struct deciding *d, const struct cut_token *t)
{
    struct tally *y = &d->tally;
    uint32_t classes = d->m->lex->classes[t->symbol];
    const uint32_t ours = 1u << CLASS_SEEN | 1u << CLASS_SIGN |
                          1u << CLASS_OURS | 1u << CLASS_UNIT |
                          1u << CLASS_SICKNESS | 1u << CLASS_LETTER;

    y->words++;
    y->unknown += t->symbol == CONCEPT_WORD || t->symbol == CONCEPT_OTHER;
    y->ours += (classes & ours) != 0;
    y->polite += (classes & 1u << CLASS_POLITE) != 0;
    y->slips += (t->flags & CUT_SLIP) != 0;
    y->pot += (t->names & CUT_NAMES_POT) ||
              (!(t->flags & CUT_SLIP) &&
               concept_set_meets(&d->m->lex->sets[t->symbol], &pots));
}

/* Of what is by the way; most texts have nothing of it. */
static void tally_aside(struct deciding *d, const struct cut_token *t)
{
    struct tally *y = &d->tally;

    y->chat += t->symbol == CONCEPT_CHAT || t->symbol == CONCEPT_BURIED;
    y->money += t->symbol == CONCEPT_MONEY;
    y->passed_on |= t->symbol == CONCEPT_PASSED_ON;
    y->thing += may_be(d, t, CONCEPT_THING) || may_be(d, t, CONCEPT_ANIMAL) ||
                may_be(d, t, CONCEPT_BODY);
    y->neighbour += may_be(d, t, CONCEPT_NEIGHBOUR);
}

/* What is in the text or not, however often. */
static void tally_any(struct deciding *d)
{
    const struct concept_set *any = &d->m->cut->any;
    struct tally *y = &d->tally;

    y->down = concept_set_has(any, CONCEPT_DOWN);
    y->scarce = concept_set_has(any, CONCEPT_ONLY) ||
                concept_set_has(any, CONCEPT_LITTLE);
    y->flowing = y->down || concept_set_has(any, CONCEPT_GOT) ||
                 concept_set_has(any, CONCEPT_ONLY) ||
                 concept_set_has(any, CONCEPT_COME);
    y->water = concept_set_has(any, CONCEPT_WATER);
    y->call = concept_set_has(any, CONCEPT_CALL);
}

/* Is this long number a phone: "call me on 633204158"? */
static bool is_phone(const struct deciding *d, size_t i)
{
    const struct cut *c = d->m->cut;

    for (size_t k = 1; k <= 3 && k < i; k++) {
        if (may_be(d, &c->tokens[i - k], CONCEPT_CALL))
            return true;
        if (c->tokens[i - k].symbol == CONCEPT_PAUSE)
            return false;
    }
    return false;
}

static const char *digits_of(const struct deciding *d,
                             const struct cut_token *t)
{
    return t->held < 0 ? "" : d->m->cut->held[t->held].digits;
}

static void add_serial(struct deciding *d, const struct cut_token *t)
{
    for (size_t i = 0; i < d->n_serials; i++) {
        if (strcmp(digits_of(d, d->serials[i]), digits_of(d, t)) == 0)
            return;
    }
    if (d->n_serials < 2)
        d->serials[d->n_serials++] = t;
}

static void look_over(struct deciding *d)
{
    const struct cut *c = d->m->cut;
    bool aside = concept_set_meets(&c->any, &asides);

    tally_any(d);
    for (size_t i = 1; i + 1 < c->n; i++) {
        const struct cut_token *t = &c->tokens[i];

        if (t->symbol > CONCEPT_PAUSE) {
            tally_token(d, t);
            if (aside)
                tally_aside(d, t);
            continue;
        }
        d->negative |= t->symbol == CONCEPT_NUMBER && t->value < 0;
        if (t->symbol == CONCEPT_SERIAL)
            add_serial(d, t);
        else if (t->symbol == CONCEPT_WRONG && is_phone(d, i))
            d->phone = t;
        else if (t->symbol == CONCEPT_WRONG && d->wrong == NULL)
            d->wrong = t;
    }
}

/* ---- observations that bear on each other ---- */

static size_t place_of(const struct deciding *d, enum reader_kind k)
{
    for (size_t i = 0; i < d->g->n_obs; i++) {
        if (d->g->obs[i].kind == k)
            return d->g->obs_at[i];
    }
    return 0;
}

static void drop(struct deciding *d, unsigned kinds)
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

/* "It was slow, we washed it, now it is good." */
static void settle_past(struct deciding *d)
{
    size_t washed = place_of(d, READER_SCRUBBED);

    if (has(d, READER_SCRUBBED) && has(d, READER_FINE) && has(d, READER_SLOW) &&
        !d->g->has_amount && place_of(d, READER_SLOW) < washed &&
        place_of(d, READER_FINE) > washed)
        drop(d, 1u << READER_SLOW);
}

/* The last "now", else the last "but"; 0 for none. */
static size_t turning_point(const struct deciding *d, bool *now)
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

/* "All well? 0214-073-19 tap broken": a greeting. "We do not use it, ok,
 * thanks": a courtesy. */
static void settle_greeting(struct deciding *d)
{
    const struct cut *c = d->m->cut;
    size_t at = c->row_at[place_of(d, READER_FINE)];

    if (has(d, READER_UNUSED) && has(d, READER_FINE) &&
        may_be(d, &c->tokens[at], CONCEPT_POLITE))
        drop(d, 1u << READER_FINE);
    for (size_t i = 0; i < d->g->n_pieces && has(d, READER_FINE); i++) {
        const struct meaning_piece *p = &d->g->pieces[i];
        const struct cut_token *next = &c->tokens[p->to];

        if (p->from == at && p->to < c->n && next->symbol == CONCEPT_PAUSE &&
            c->fold.text[next->at] == '?')
            drop(d, 1u << READER_FINE);
    }
}

/* "The dog bit the tap and broke it": of a part with its own damage, where no
 * pot is named and nothing else stands between. */
static void settle_part(struct deciding *d)
{
    const struct cut *c = d->m->cut;
    size_t part = place_of(d, READER_PART), broken = place_of(d, READER_BROKEN);
    const unsigned by_the_way = 1u << CLASS_SMALL | 1u << CLASS_POLITE;

    if (!has(d, READER_PART))
        return;
    for (size_t i = 1; i + 1 < c->n; i++) {
        if (may_be(d, &c->tokens[i], CONCEPT_POT) ||
            (c->tokens[i].names & CUT_NAMES_POT))
            return;
    }
    if (has(d, READER_UNUSED) && place_of(d, READER_UNUSED) > part && !c->card)
        drop(d, 1u << READER_UNUSED); /* "the bucket broke, we threw it away" */
    if (!has(d, READER_BROKEN) || broken < part || d->g->lone_parts != 0)
        return;
    for (size_t i = part + 1; i < broken; i++) {
        const struct cut_token *t = &c->tokens[c->row_at[i]];

        if (t->symbol == CONCEPT_PAUSE || may_be(d, t, CONCEPT_FAULTY) ||
            may_be(d, t, CONCEPT_LOST) || may_be(d, t, CONCEPT_BROKEN))
            continue;
        if (!(d->m->lex->classes[t->symbol] & by_the_way))
            return;
    }
    drop(d, 1u << READER_BROKEN);
}

/* "It leaks in the cupboard": a place, and a pot that is in use. */
static void settle_place(struct deciding *d)
{
    const unsigned flow =
        1u << READER_LEAK | 1u << READER_SLOW | 1u << READER_FAST;
    const struct lexicon *lex = d->m->lex;
    const struct cut *c = d->m->cut;
    const struct cut_token *t;
    uint16_t first;

    if (!has(d, READER_UNUSED) || (d->g->kinds & flow) == 0)
        return;
    t = &c->tokens[c->row_at[place_of(d, READER_UNUSED)]];
    first = lexicon_symbol_of(lex, t->word);
    if (concept_set_has(&lex->sets[first], CONCEPT_AT))
        drop(d, 1u << READER_UNUSED);
}

/* "It was slow, now it is fast". */
static void settle_speed(struct deciding *d)
{
    size_t slow = place_of(d, READER_SLOW), fast = place_of(d, READER_FAST);
    size_t first = slow < fast ? slow : fast, last = slow < fast ? fast : slow;
    bool now;
    size_t at = turning_point(d, &now);

    if (has(d, READER_SLOW) && has(d, READER_FAST) && now && first < at &&
        at <= last + NOW_BEHIND && first + 1 < last)
        drop(d, 1u << (slow < fast ? READER_SLOW : READER_FAST));
}

/* "It was slow, but now it is good"; "it was good, but now it leaks"; but
 * "good but broken", and no more, tells of no time before. */
static void settle_turn(struct deciding *d)
{
    const unsigned passing = 1u << READER_SLOW | 1u << READER_FAST;
    size_t fine = place_of(d, READER_FINE), first = SIZE_MAX, last = 0, at;
    unsigned bad = d->g->kinds & BAD_KINDS;
    bool now;

    if (!has(d, READER_FINE) || bad == 0)
        return;
    for (size_t i = 0; i < d->g->n_obs; i++) {
        if (!(BAD_KINDS >> d->g->obs[i].kind & 1))
            continue;
        first = d->g->obs_at[i] < first ? d->g->obs_at[i] : first;
        last = d->g->obs_at[i] > last ? d->g->obs_at[i] : last;
    }
    at = turning_point(d, &now);
    if (at == 0)
        return;
    if (fine < at && at < first &&
        (now || (bad & ~passing) == 0 || d->tally.words > SHORT_WORDS))
        drop(d, 1u << READER_FINE);
    else if (now && last < fine && last < at && at <= fine + NOW_BEHIND &&
             (bad & ~passing) == 0 && !d->g->has_amount)
        drop(d, bad);
}

/* Kinds that cannot both be: taken out, and asked about. */
static bool settle_contraries(struct deciding *d)
{
    const unsigned bad = BAD_KINDS;
    unsigned out = 0;
    bool now;

    if (has(d, READER_FINE) && (d->g->kinds & bad))
        out |= (d->g->kinds & bad) | 1u << READER_FINE;
    if (has(d, READER_SLOW) && has(d, READER_FAST))
        out |= 1u << READER_SLOW | 1u << READER_FAST;
    if (turning_point(d, &now) == 0 || !now) /* "no crack, a crack" */
        out |= d->g->kinds & d->g->denied;
    if (decide_is_used(d))
        out |= 1u << READER_UNUSED;
    if (d->g->said_ill && d->g->denied_ill && d->g->sure == 0)
        out |= d->g->kinds & 1u << READER_ILL;
    d->out->unsafe_said =
        (out & (1u << READER_CRACK | 1u << READER_LEAK | 1u << READER_BROKEN |
                1u << READER_FAST)) != 0;
    drop(d, out);
    return out != 0;
}

/* ---- counts ---- */

static enum reader_why settle_counts(struct deciding *d)
{
    for (size_t i = 0; i < d->g->n_obs; i++) {
        const struct reader_obs *o = &d->g->obs[i];

        if (o->kind != READER_ILL)
            continue;
        if (d->g->none || o->people > d->m->limits->people_max ||
            (o->people > 0 && o->under5 > o->people))
            return READER_WHY_COUNTS;
    }
    return READER_CLEAR;
}

/* ---- a report, or not ---- */

/* The text without serial: do its words say that it is of a pot or a home? */
static bool is_report_bare(const struct deciding *d)
{
    const struct tally *y = &d->tally;
    const struct meaning_gathered *g = d->g;
    unsigned solid = 1u << READER_CRACK | 1u << READER_LEAK |
                     1u << READER_BROKEN | 1u << READER_SLOW |
                     1u << READER_FAST | 1u << READER_SCRUBBED |
                     1u << READER_PART | 1u << READER_UNUSED;
    /* "I heard there is cholera in the next village" */
    bool water_ill =
        g->sure != 0 ||
        (g->gut && (y->chat == 0 || g->who || (y->pot > 0 && y->slips == 0)));

    if (y->money > 0)
        return g->sure != 0;
    if (y->passed_on || (g->letter && g->kinds == 1u << READER_ILL &&
                         g->people == 0 && g->sure == 0))
        return false;
    if (has(d, READER_ILL) &&
        (water_ill || (y->chat + y->unknown == 0 && g->aliens == 0) ||
         (y->pot > 0 && y->chat <= 1)))
        return true;
    /* "ill 1 and something odd": who says so holds a pot, and is answered */
    if (has(d, READER_ILL) && g->people > 0 && d->m->hint->pot != NULL &&
        y->chat + y->thing + y->neighbour == 0 && g->aliens == 0 &&
        y->unknown <= 1)
        return true;
    if (y->chat > 1 || (y->chat > 0 && y->call) ||
        ((y->chat > 0 || y->neighbour > 0) && y->pot == 0))
        return false;
    if (g->letter && g->measure.minutes == 0)
        return false;
    if (g->kinds == 1u << READER_FINE)
        return y->pot > 0 && y->thing + y->chat + y->unknown == 0 &&
               g->aliens == 0;
    if (y->pot > 0 && (g->kinds & (solid | 1u << READER_FINE)))
        return y->unknown <= 2 || y->unknown * 2 <= y->words;
    if (g->aliens > 0 || (y->thing > 0 && y->pot == 0))
        return false;
    if (g->has_amount && g->measure.minutes > 0 && y->unknown <= 1)
        return true;
    if (g->kinds == 1u << READER_FAST && !y->flowing && !y->water &&
        !g->has_amount && y->words > y->polite + 1)
        return false; /* "be quick": of anything */
    if (g->kinds & solid)
        return y->unknown == 0 || (y->water && y->unknown <= 2 &&
                                   y->slips == 0 && y->words >= 4 * y->unknown);
    return false;
}

/* "c", "s" or "filter" and nothing else from a phone with one pot: it may be a
 * slip, so it is asked about; left alone it could be a crack that nobody hears
 * of. */
static bool is_lone(const struct deciding *d)
{
    const unsigned asked = 1u << READER_CRACK | 1u << READER_LEAK |
                           1u << READER_BROKEN | 1u << READER_SLOW |
                           1u << READER_FAST | 1u << READER_ILL |
                           1u << READER_SCRUBBED | 1u << READER_PART;

    return d->tally.words == 1 && d->n_serials == 0 && d->wrong == NULL &&
           d->m->hint->pot != NULL &&
           (d->tally.pot > 0 || (d->g->letter && (d->g->kinds & asked)));
}

/* "gave 0214-073-18 +99970012345 Lunde": an order but for its wrong digit. */
static bool is_handing_over(const struct deciding *d)
{
    const struct cut_token *first = &d->m->cut->tokens[1];

    return d->m->cut->n > 3 &&
           (may_be(d, first, CONCEPT_GAVE) || may_be(d, first, CONCEPT_MOVED) ||
            may_be(d, first, CONCEPT_SWAPPED)) &&
           d->m->cut->tokens[2].symbol == CONCEPT_WRONG;
}

static bool is_report(const struct deciding *d)
{
    const struct tally *y = &d->tally;
    const struct meaning_gathered *g = d->g;
    bool pot = y->pot > 0;

    if (d->n_serials > 0) {
        if (y->money > 0 &&
            (g->kinds & ~(1u << READER_PART | 1u << READER_FINE)) == 0)
            return d->m->hint->pot != NULL &&
                   strcmp(d->m->hint->pot, digits_of(d, d->serials[0])) == 0;
        return true;
    }
    if (d->wrong != NULL) {
        if (g->sure != 0)
            return true;
        if (y->money > 0 || (y->chat > 0 && !pot))
            return false;
        if (g->n_obs > 0 || g->trouble)
            return pot || (!(y->call && g->kinds == 1u << READER_UNUSED) &&
                           (y->unknown <= 2 || y->ours * 2 >= y->unknown));
        return (y->unknown == 0 && y->words <= 2) || is_handing_over(d);
    }
    if (g->n_obs > 0)
        return is_report_bare(d);
    if (g->doubt && d->m->hint->pot != NULL && y->unknown <= 2)
        pot = true;
    return g->trouble && pot && y->money == 0 && y->chat == 0;
}

static void ask(struct reader_meaning *out, enum reader_why why)
{
    out->outcome = READER_ASKED;
    if (why != READER_CLEAR && (out->why == READER_CLEAR || why < out->why))
        out->why = why;
}

static void settle_pot(struct deciding *d)
{
    struct reader_meaning *out = d->out;
    const char *pot = d->m->hint->pot;

    if (d->n_serials == 0 && d->wrong == NULL)
        d->wrong = d->phone; /* "our number is 808258930, it leaks" */
    if (d->wrong != NULL) {
        const char *s = digits_of(d, d->wrong);

        kw_copy(out->serial_wrong, SERIAL_CAP, s,
                strlen(s) < SERIAL_CAP ? strlen(s) : SERIAL_CAP - 1);
        ask(out, READER_WHY_CHECK);
        return;
    }
    if (d->n_serials == 0) {
        if (pot == NULL || d->tally.neighbour > 0) {
            ask(out, READER_WHY_NO_POT);
            return;
        }
        kw_copy(out->serial, SERIAL_CAP, pot, strlen(pot));
        out->serial_from_hint = true;
        return;
    }
    kw_copy(out->serial, SERIAL_CAP, digits_of(d, d->serials[0]),
            strlen(digits_of(d, d->serials[0])));
    if (d->n_serials == 2) {
        kw_copy(out->serial_other, SERIAL_CAP, digits_of(d, d->serials[1]),
                strlen(digits_of(d, d->serials[1])));
        ask(out, READER_WHY_TWO_POTS);
    }
}

/* A part alone, "tap 021407319", when nothing else was said of the pot. */
static void add_lone_parts(struct deciding *d)
{
    struct meaning_gathered *g = d->g;

    if (g->n_obs > 0 || g->ill || g->sure != 0 || d->tally.unknown > 0 ||
        d->tally.words - d->tally.polite > 3 ||
        d->n_serials + (d->wrong != NULL) == 0 || g->denials > 0)
        return;
    for (int p = READER_TAP; p <= READER_BUCKET; p++) {
        if (g->lone_parts >> p & 1) {
            g->obs[g->n_obs] = (struct reader_obs){.kind = READER_PART,
                                                   .part = (enum reader_part)p};
            g->obs_at[g->n_obs++] = 0;
            g->kinds |= 1u << READER_PART;
        }
    }
}

static void put_obs(struct deciding *d)
{
    memcpy(d->out->obs, d->g->obs, d->g->n_obs * sizeof(d->g->obs[0]));
    d->out->n_obs = d->g->n_obs;
}

void meaning_decide(const struct meaning_case *m, struct reader_meaning *out)
{
    struct deciding d = {.m = m, .g = m->said, .out = out};
    bool contrary;
    enum reader_why measure, doubt;

    look_over(&d);
    decide_signs(&d);
    add_maybe_slow(&d);
    add_passing(&d);
    decide_add_illness(&d);
    add_lone_parts(&d);
    settle_greeting(&d);
    settle_part(&d);
    settle_past(&d);
    settle_place(&d);
    settle_turn(&d);
    settle_speed(&d);
    contrary = settle_contraries(&d);
    measure = contrary && d.g->n_obs == 0 ? READER_CLEAR : decide_measure(&d);
    out->outcome = READER_FILED;
    if (is_lone(&d))
        ask(out, READER_WHY_NO_TROUBLE);
    else if (!is_report(&d) && !contrary && out->danger == 0) {
        out->outcome = READER_NOT_REPORT;
        return;
    }
    if (contrary && d.n_serials == 0 && d.wrong == NULL && d.tally.pot == 0 &&
        (d.tally.unknown + d.tally.chat + d.tally.thing > 0 ||
         (d.tally.words > 3 && !d.tally.water))) {
        out->outcome = READER_NOT_REPORT;
        return;
    }
    put_obs(&d);
    settle_pot(&d);
    if (contrary)
        ask(out, READER_WHY_CONTRARY);
    if (measure != READER_CLEAR)
        ask(out, measure);
    if (d.negative)
        ask(out, READER_WHY_IMPOSSIBLE);
    if (settle_counts(&d) != READER_CLEAR)
        ask(out, READER_WHY_COUNTS);
    if (!contrary && decide_names_no_part(&d)) {
        out->obs[0] = (struct reader_obs){.kind = READER_PART};
        out->n_obs = 1;
        ask(out, READER_WHY_NO_PART);
    }
    if (out->n_obs == 0 && !contrary) {
        ask(out, READER_WHY_NO_TROUBLE);
        out->unsafe_said |= d.g->doubt;
    }
    if (out->outcome == READER_FILED &&
        (doubt = decide_doubt(&d)) != READER_CLEAR)
        ask(out, doubt);
}
