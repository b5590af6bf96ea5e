/*
 * decide.c - what a text as a whole is: filed, asked about, or not for us.
 * The serials first, then whether it is a report at all, then what is wrong
 * with it in the order of enum reader_why.
 */
#include "reader/decide_parts.h"

#include <string.h>

#define COUNTS_APART 3 /* tokens: "not 4 but 1" */
#define COUNTS_BACK  6 /* "3 are ill, I mean: 5" */
#define SHORT_MOST   5 /* digits that may be of anything */
#define SUM_LEAST    100

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
    y->unknown += t->symbol == CONCEPT_WORD || t->symbol == CONCEPT_OTHER ||
                  t->symbol == CONCEPT_FEED;
    y->ours += (classes & ours) != 0;
    y->ailing += t->symbol == CONCEPT_AILMENT;
    y->polite += (classes & 1u << CLASS_POLITE) != 0;
    y->slips += (t->flags & CUT_SLIP) != 0;
    y->pot += ((t->names & CUT_NAMES_POT) && !(classes & 1u << CLASS_ALIEN)) ||
              (!(t->flags & CUT_SLIP) &&
               concept_set_meets(&d->m->lex->sets[t->symbol], &pots));
}

/* Of what is by the way; most texts have nothing of it. */
static void tally_aside(struct deciding *d, const struct cut_token *t)
{
    struct tally *y = &d->tally;

    y->chat += t->symbol == CONCEPT_CHAT || t->symbol == CONCEPT_NEWS ||
               t->symbol == CONCEPT_BURIED;
    y->buried += t->symbol == CONCEPT_BURIED;
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
        if (t->symbol == CONCEPT_SERIAL) {
            add_serial(d, t);
            d->called |= is_phone(d, i);
        } else if (t->symbol == CONCEPT_WRONG && is_phone(d, i))
            d->phone = t;
        else if (t->symbol == CONCEPT_WRONG && d->wrong == NULL)
            d->wrong = t;
    }
    if (d->n_serials == 0 && d->wrong == NULL)
        d->tally.unknown += d->tally.ailing; /* a cold, told to the school */
}

/* ---- counts ---- */

static bool is_count(const struct deciding *d, const struct cut_token *t)
{
    return t->symbol == CONCEPT_NUMBER &&
           !(d->m->lex->classes[t[1].symbol] & 1u << CLASS_UNIT) &&
           !may_be(d, &t[1], CONCEPT_DAY) && !may_be(d, &t[1], CONCEPT_TIMES);
}

/* "Ill not 4 but 1", "bimar 5 nahi 3": which of them? */
static bool is_count_denied(const struct deciding *d)
{
    const struct cut_token *t = d->m->cut->tokens;
    size_t last = 0;
    bool no = false, back = false;

    for (size_t i = 1; i + 1 < d->m->cut->n; i++) {
        no |= may_be(d, &t[i], CONCEPT_NO);
        back |= may_be(d, &t[i], CONCEPT_RATHER);
        if (!is_count(d, &t[i]))
            continue;
        if (last > 0 && ((i - last <= COUNTS_APART &&
                          (no || may_be(d, &t[last - 1], CONCEPT_NO))) ||
                         (i - last <= COUNTS_BACK && back)))
            return true;
        last = i;
        no = back = false;
    }
    return false;
}

static enum reader_why settle_counts(struct deciding *d)
{
    for (size_t i = 0; i < d->g->n_obs; i++) {
        const struct reader_obs *o = &d->g->obs[i];

        if (o->kind != READER_ILL)
            continue;
        if (d->g->none || d->g->two_counts || is_count_denied(d) ||
            o->people > d->m->limits->people_max ||
            (o->people > 0 && o->under5 > o->people))
            return READER_WHY_COUNTS;
    }
    return READER_CLEAR;
}

/* ---- a report, or not ---- */

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

static bool is_short(const struct deciding *d, const struct cut_token *t)
{
    return t->held >= 0 && d->m->cut->held[t->held].len <= SHORT_MOST;
}

/* "The number of my filter is 47055796", a digit short. */
static bool is_number_of_pot(const struct deciding *d)
{
    const struct tally *y = &d->tally;

    return decide_names_pot(d) && y->call && y->unknown == 0 &&
           y->chat + y->thing + y->neighbour == 0;
}

/* "841928913 2 children vomit since the feast": as on the card, the number
 * first or last, whatever else is told. */
static bool is_led_by_number(const struct deciding *d)
{
    const struct cut *c = d->m->cut;
    size_t first = 1, last = c->n - 2;

    while (first < last && c->tokens[first].symbol == CONCEPT_PAUSE)
        first++;
    while (last > first && c->tokens[last].symbol == CONCEPT_PAUSE)
        last--;
    return (d->wrong == &c->tokens[first] || d->wrong == &c->tokens[last]) &&
           !is_short(d, d->wrong) && d->g->n_obs > 0 && d->g->aliens == 0 &&
           d->tally.chat == 1 && d->tally.thing == 0 && !d->tally.call;
}

/* "Mother is ill, send 500 for the medicine, 841 557 230": a sum, and a phone
 * that happens to be as long as a pot's number. */
static bool begs(const struct deciding *d)
{
    const struct cut *c = d->m->cut;
    const unsigned begging = 1u << READER_ILL | 1u << READER_FAST;

    if (d->g->sure != 0 || d->g->gut || d->tally.pot > 0 ||
        (d->g->kinds & ~begging) != 0)
        return false;
    for (size_t i = 1; i + 1 < c->n; i++) {
        if (c->tokens[i].symbol == CONCEPT_NUMBER &&
            c->tokens[i].value >= SUM_LEAST)
            return true;
    }
    return false;
}

/* The number of the sender's own pot: no phone is that by chance. */
static bool is_of_hint(const struct deciding *d)
{
    return d->n_serials > 0 && d->m->hint->pot != NULL &&
           strcmp(d->m->hint->pot, digits_of(d, d->serials[0])) == 0;
}

static bool is_report(const struct deciding *d)
{
    const struct tally *y = &d->tally;
    const struct meaning_gathered *g = d->g;
    bool pot = y->pot > 0;

    if (d->called && g->n_obs == 0 && !pot && !is_of_hint(d) &&
        y->chat + y->unknown + y->thing > 0)
        return false; /* "saw my goat? call 843 207 615", which happens to pass
                       */
    if (d->n_serials > 0) {
        if (y->money > 0 &&
            (g->kinds & ~(1u << READER_PART | 1u << READER_FINE)) == 0)
            return is_of_hint(d);
        return true;
    }
    if (d->wrong != NULL) {
        if (g->sure != 0)
            return true;
        if (y->money > 0 || begs(d) ||
            (y->chat > 0 && !pot && !is_led_by_number(d)))
            return false;
        if (is_short(d, d->wrong) && g->n_obs > 0)
            return decide_is_bare_report(
                d); /* "it broke, the new one costs 1200" */
        if (g->n_obs == 0 && g->trouble && y->call && !pot)
            return false; /* "my new number is …" */
        if (g->n_obs > 0 || g->trouble)
            return pot || (!(y->call && g->kinds == 1u << READER_UNUSED) &&
                           (y->unknown <= 2 || y->ours * 2 >= y->unknown));
        return (y->unknown == 0 && y->words <= 2) || is_handing_over(d) ||
               is_number_of_pot(d);
    }
    if (g->n_obs > 0)
        return decide_is_bare_report(d);
    if (g->doubt && d->m->hint->pot != NULL && y->unknown <= 2)
        pot = true;
    return g->trouble && pot && y->money == 0 && y->chat == 0 &&
           (y->unknown <= 1 || decide_names_pot(d) || y->water);
}

static void ask(struct reader_meaning *out, enum reader_why why)
{
    out->outcome = READER_ASKED;
    if (why != READER_CLEAR && (out->why == READER_CLEAR || why < out->why))
        out->why = why;
}

/* "No", which is "number" in most languages, but not in Spanish. */
static bool is_bare_no(const struct deciding *d, const struct cut_token *t)
{
    return t->len == 2 && memcmp(d->m->cut->fold.text + t->at, "no", 2) == 0;
}

/* "Not 0214-073-19 but …": a number that is taken back. */
static bool is_taken_back(const struct deciding *d, const struct cut_token *t)
{
    int lang = d->m->cut->lang;

    do
        t--;
    while (may_be(d, t, CONCEPT_FILLER) && !is_bare_no(d, t));
    if (is_bare_no(d, t))
        return lang >= 0 && strcmp(d->m->lex->tags[lang], "es") == 0 &&
               !may_be(d, t - 1, CONCEPT_POT);
    return may_be(d, t, CONCEPT_NO) || may_be(d, t, CONCEPT_NOT_THE);
}

/* Of two numbers the one that the sender calls the right one, or his own: "my
 * aunt's is 0214-073-19, ours is …". */
static void choose_pot(struct deciding *d)
{
    const struct cut_token *first = d->serials[0], *last = d->serials[1];
    bool mine = false, theirs = false;

    if (d->n_serials != 2)
        return;
    if (is_taken_back(d, first) != is_taken_back(d, last)) {
        d->n_serials = 1;
        d->serials[0] = is_taken_back(d, first) ? last : first;
        return;
    }
    for (const struct cut_token *t = d->m->cut->tokens; t < last; t++) {
        theirs |= t < first && (may_be(d, t, CONCEPT_NEIGHBOUR) ||
                                may_be(d, t, CONCEPT_ONE));
        mine |= may_be(d, t, CONCEPT_MINE);
        if (t < first && mine)
            return;
    }
    if (theirs && mine) {
        d->n_serials = 1;
        d->serials[0] = last;
        d->tally.neighbour = 0;
    }
}

static void settle_pot(struct deciding *d)
{
    struct reader_meaning *out = d->out;
    const char *pot = d->m->hint->pot;

    choose_pot(d);
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
    decide_add_flow(&d);
    decide_add_illness(&d);
    add_lone_parts(&d);
    if (decide_is_supposed(&d))
        d.g->n_obs = d.g->kinds = 0;
    contrary = decide_settle(&d);
    measure = contrary && d.g->n_obs == 0 ? READER_CLEAR : decide_measure(&d);
    out->outcome = READER_FILED;
    if (is_lone(&d))
        ask(out, READER_WHY_NO_TROUBLE);
    else if (!is_report(&d) && !contrary && out->danger == 0) {
        out->outcome = READER_NOT_REPORT;
        return;
    }
    if (contrary && d.n_serials == 0 && d.wrong == NULL &&
        (d.tally.pot == 0 ||
         (d.tally.chat + d.tally.thing > 0 && !decide_names_pot(&d))) &&
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
