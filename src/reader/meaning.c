/* meaning.c - the pieces of a text, one after the other, put together. */
#include "reader/meaning_parts.h"

#include <string.h>

#define FAR_LEAST 3 /* letters */

static struct reader_obs *add_obs(struct taking *t, enum reader_kind kind,
                                  size_t at)
{
    struct meaning_gathered *g = t->out;

    if (kind != READER_PART && (g->kinds & 1u << kind)) {
        for (size_t i = 0; i < g->n_obs; i++) {
            if (g->obs[i].kind == kind)
                return &g->obs[i];
        }
    }
    if (g->n_obs == READER_OBS_MOST)
        return &g->obs[READER_OBS_MOST - 1];
    g->kinds |= 1u << kind;
    g->obs[g->n_obs] = (struct reader_obs){.kind = kind};
    g->obs_at[g->n_obs] = (uint16_t)at;
    return &g->obs[g->n_obs++];
}

static void add_part(struct taking *t, enum reader_part part, size_t at)
{
    struct meaning_gathered *g = t->out;

    for (size_t i = 0; i < g->n_obs; i++) {
        if (g->obs[i].kind == READER_PART &&
            (g->obs[i].part == part || part == READER_NO_PART))
            return;
        if (g->obs[i].kind == READER_PART && g->obs[i].part == READER_NO_PART) {
            g->obs[i].part = part;
            return;
        }
    }
    add_obs(t, READER_PART, at)->part = part;
}

static const struct {
    enum grammar_rule rule;
    enum reader_part part;
} part_rules[] = {
    {GRAMMAR_TAP, READER_TAP},
    {GRAMMAR_LID, READER_LID},
    {GRAMMAR_BUCKET, READER_BUCKET},
};

static void take_parts(struct taking *t)
{
    bool named = false;

    if (said(t, GRAMMAR_LONE_PART)) {
        for (size_t i = 0; i < KW_COUNT(part_rules); i++) {
            if (said(t, part_rules[i].rule))
                t->out->lone_parts |= 1u << part_rules[i].part;
        }
        return;
    }
    if (!said(t, GRAMMAR_PART) && !said(t, GRAMMAR_PART_STILL))
        return;
    for (size_t i = 0; i < KW_COUNT(part_rules); i++) {
        if (said(t, part_rules[i].rule)) {
            add_part(t, part_rules[i].part, t->m->first[part_rules[i].rule]);
            named = true;
        }
    }
    if (!named)
        add_part(t, READER_NO_PART, t->m->first[GRAMMAR_PART]);
}

static const struct {
    enum grammar_rule rule;
    enum reader_kind kind;
} kind_rules[] = {
    {GRAMMAR_CRACK, READER_CRACK},   {GRAMMAR_LEAK, READER_LEAK},
    {GRAMMAR_BROKEN, READER_BROKEN}, {GRAMMAR_SLOW, READER_SLOW},
    {GRAMMAR_FAST, READER_FAST},     {GRAMMAR_SCRUBBED, READER_SCRUBBED},
    {GRAMMAR_FINE, READER_FINE},     {GRAMMAR_UNUSED, READER_UNUSED},
};

/* "Very weak": of the flow too, where no one is ill. */
static bool is_weakness(const struct taking *t)
{
    return said(t, GRAMMAR_SURE_DRY) &&
           may_be(t, token(t, GRAMMAR_SURE_DRY), CONCEPT_DRY);
}

/* "san", short for something in the language of the text, is blood in another
 * one: a sign beside an illness only. */
static bool is_far(const struct taking *t, const struct cut_token *k)
{
    return t->c->lang >= 0 && k->len <= FAR_LEAST &&
           !(t->lex->nodes[k->node].langs &
             (1u << t->c->lang | t->lex->common));
}

/* Does the piece have a word for it? */
static bool names(const struct taking *t, enum concept c)
{
    for (size_t i = t->m->from; i < t->m->to; i++) {
        if (may_be(t, &t->c->tokens[t->c->row_at[i]], c))
            return true;
    }
    return false;
}

/* "We cannot drink from 0214-073-19": of the pot, and nobody is weak. */
static bool is_of_drinking_from(const struct taking *t)
{
    const struct cut *c = t->c;
    size_t i = c->row_at[t->m->to - 1u] + 1u;

    if (!(said(t, GRAMMAR_UNDRINKING) || said(t, GRAMMAR_SURE_DRY)) ||
        !may_be(t, &c->tokens[i], CONCEPT_AT))
        return false;
    do
        i++;
    while (c->tokens[i].symbol == CONCEPT_FILLER);
    return c->tokens[i].symbol == CONCEPT_SERIAL ||
           c->tokens[i].symbol == CONCEPT_WRONG ||
           may_be(t, &c->tokens[i], CONCEPT_POT);
}

static void take_illness(struct taking *t)
{
    struct meaning_gathered *g = t->out;

    if (meaning_is_past(t) || meaning_is_of_others(t) || is_of_drinking_from(t))
        return;
    g->ill_before = g->ill || g->ailing;
    g->ailing |= said(t, GRAMMAR_AILMENT);
    g->ill |= said(t, GRAMMAR_ONE_ILL) ||
              (said(t, GRAMMAR_ILL) && !said(t, GRAMMAR_AILMENT)) ||
              said(t, GRAMMAR_GUT) || said(t, GRAMMAR_FEVER) ||
              said(t, GRAMMAR_UNWELL);
    g->said_ill |=
        said(t, GRAMMAR_ILL) && may_be(t, token(t, GRAMMAR_ILL), CONCEPT_ILL);
    if (said(t, GRAMMAR_STOOL_COUNT))
        g->ill = g->gut = true;
    g->gut |= said(t, GRAMMAR_GUT);
    g->who |= said(t, GRAMMAR_WHO);
    if (said(t, GRAMMAR_BLOOD))
        g->sure |= READER_BLOOD;
    if (said(t, GRAMMAR_RICEWATER)) {
        g->sure |= READER_RICEWATER;
        g->stool |= names(t, CONCEPT_STOOL);
        if (names(t, CONCEPT_GUT))
            g->ill = g->gut = true;
    }
    if (said(t, GRAMMAR_DRY) || said(t, GRAMMAR_SURE_DRY))
        g->weak_only =
            is_weakness(t) && (g->weak_only || (g->sure & READER_DRY) == 0);
    g->stool |= said(t, GRAMMAR_STOOL);
    g->gone |= said(t, GRAMMAR_GONE);
    if (said(t, GRAMMAR_MAYBE_RICE))
        g->maybe |= READER_RICEWATER;
    if (said(t, GRAMMAR_UNSUCKLING))
        g->weak_only = false;
    if (said(t, GRAMMAR_DRY) || said(t, GRAMMAR_SURE_DRY) ||
        said(t, GRAMMAR_UNSUCKLING))
        g->sure |= READER_DRY;
    if (said(t, GRAMMAR_MAYBE_BLOOD) && !meaning_is_wound(t)) {
        if (is_far(t, token(t, GRAMMAR_MAYBE_BLOOD)))
            g->far |= READER_BLOOD;
        else
            g->maybe |= READER_BLOOD;
    }
    if (said(t, GRAMMAR_MAYBE_DRY))
        g->maybe |= READER_DRY;
    if (said(t, GRAMMAR_DEAD)) {
        if (is_far(t, token(t, GRAMMAR_DEAD)))
            g->far |= READER_DEAD;
        else
            g->maybe |= READER_DEAD;
    }
    g->undrinking |= said(t, GRAMMAR_UNDRINKING);
    g->unable |= said(t, GRAMMAR_UNABLE);
    meaning_take_people(t);
}

static void take_letter(struct taking *t)
{
    static const struct {
        enum concept letter;
        enum reader_kind kind;
    } letters[] = {
        {CONCEPT_LETTER_C, READER_CRACK},    {CONCEPT_LETTER_L, READER_LEAK},
        {CONCEPT_LETTER_B, READER_BROKEN},   {CONCEPT_LETTER_S, READER_SLOW},
        {CONCEPT_LETTER_F, READER_FAST},     {CONCEPT_LETTER_I, READER_ILL},
        {CONCEPT_LETTER_W, READER_SCRUBBED}, {CONCEPT_LETTER_T, READER_PART},
        {CONCEPT_LETTER_G, READER_FINE},     {CONCEPT_LETTER_U, READER_UNUSED},
    };
    const struct cut_token *k = token(t, GRAMMAR_LETTER);

    for (size_t i = 0; i < KW_COUNT(letters); i++) {
        if (k->symbol != letters[i].letter)
            continue;
        if (k->symbol == CONCEPT_LETTER_G && k[1].symbol == CONCEPT_NUMBER)
            return; /* French "g 4 enfants": I have */
        t->out->letter = true;
        if (letters[i].kind == READER_ILL)
            t->out->ill = true;
        else if (letters[i].kind == READER_PART)
            add_part(t, READER_NO_PART, t->m->from);
        else
            add_obs(t, letters[i].kind, t->m->from);
        return;
    }
}

/*
 * A number that has a unit behind it is no count of people: the piece then
 * ends before the number, and the number is read again.
 */
static bool gives_back_number(const struct taking *t, size_t *again)
{
    enum grammar_rule rule =
        said(t, GRAMMAR_AND_PEOPLE) ? GRAMMAR_AND_PEOPLE : GRAMMAR_PEOPLE;
    const struct cut_token *next;
    size_t at;

    if (!said(t, rule) || t->m->end[rule] != t->m->to)
        return false;
    at = t->m->first[rule];
    next = &t->c->tokens[t->c->row_at[at + 1]];
    if (!(t->lex->classes[next->symbol] & 1u << CLASS_UNIT) &&
        !may_be(t, next, CONCEPT_DAY) && !may_be(t, next, CONCEPT_TIMES) &&
        !(may_be(t, next, CONCEPT_UNDER5) && t->out->counted != COUNTED_NOT) &&
        !(next->symbol >= CONCEPT_LETTER_C &&
          next->symbol <= CONCEPT_LETTER_M &&
          next->symbol != CONCEPT_LETTER_U && (next->flags & CUT_GLUED)))
        return false;
    *again = at;
    return true;
}

static void unsay(struct taking *t, enum grammar_rule r)
{
    t->m->said[r / 64] &= ~(UINT64_C(1) << (r % 64));
}

/* "Diarrhoea like rice water she drinks little". */
static bool is_of_stool_before(const struct taking *t)
{
    size_t i = t->c->row_at[t->m->from] - 1u;
    const struct cut_token *k = &t->c->tokens[i];

    while (k->symbol == CONCEPT_FILLER || may_be(t, k, CONCEPT_AT) ||
           may_be(t, k, CONCEPT_OF) || may_be(t, k, CONCEPT_VERY))
        k--;
    return may_be(t, k, CONCEPT_GUT) || may_be(t, k, CONCEPT_STOOL) ||
           may_be(t, k, CONCEPT_LIQUID);
}

/* "Bebe hace popo como agua de arroz": a baby, and no drink. */
static bool is_rice_not_drunk(const struct taking *t)
{
    int rice = 0;

    for (size_t i = t->m->from; i < t->m->to; i++) {
        const struct cut_token *k = &t->c->tokens[t->c->row_at[i]];

        if (may_be(t, k, CONCEPT_RICE))
            rice |= (k->names & CUT_NAMES_GUT) ? 3 : 1;
        if (may_be(t, k, CONCEPT_DRINK) && may_be(t, k, CONCEPT_BABY))
            rice |= 2;
    }
    return rice == 3 || (rice != 0 && is_of_stool_before(t));
}

/* The rice water that a piece begins with. */
static void take_rice(struct taking *t, const struct cut_token *k)
{
    if (!may_be(t, k, CONCEPT_RICE))
        return;
    t->out->sure |= READER_RICEWATER;
    if (k->names & CUT_NAMES_GUT)
        t->out->ill = t->out->gut = true;
}

/* Something of a pot; what is told of the ill is never passed over so. */
static bool says_kind(const struct taking *t)
{
    for (size_t i = 0; i < KW_COUNT(kind_rules); i++) {
        if (said(t, kind_rules[i].rule))
            return true;
    }
    return said(t, GRAMMAR_PART) || said(t, GRAMMAR_LONE_PART);
}

/* One piece; returns where to go on. */
static size_t take_piece(struct taking *t)
{
    size_t again = t->m->to;

    if (said(t, GRAMMAR_ALIEN) && is_rice_not_drunk(t)) {
        take_rice(t, &t->c->tokens[t->c->row_at[t->m->from]]);
        return t->m->from + 1;
    }
    t->out->aliens += said(t, GRAMMAR_ALIEN);
    t->out->trouble |= said(t, GRAMMAR_TROUBLE);
    t->out->doubt |= said(t, GRAMMAR_DOUBT);
    t->out->denied_ill |= said(t, GRAMMAR_HEALTHY);
    t->out->not_fine |= said(t, GRAMMAR_TROUBLE_FINE);
    t->out->faulty |= said(t, GRAMMAR_TROUBLE_FAULTY);
    t->out->brim |= said(t, GRAMMAR_BRIM);
    if (said(t, GRAMMAR_ALIEN) || said(t, GRAMMAR_REST_NO) ||
        (says_kind(t) && meaning_is_thought(t)))
        return again;
    if (said(t, GRAMMAR_ILL_NO)) {
        meaning_take_denied(t);
        return again;
    }
    if (meaning_is_before_alone(t))
        return t->m->from + 1;
    if (said(t, GRAMMAR_PART_STILL) && (again = meaning_other_part_at(t)) != 0)
        return again;
    again = t->m->to;
    if (said(t, GRAMMAR_SPAN_SAID))
        return meaning_take_span(t);
    if (said(t, GRAMMAR_CLOCK_SAID))
        return meaning_take_clock(t);
    if ((said(t, GRAMMAR_DENIAL) || said(t, GRAMMAR_FRONT_NO)) &&
        meaning_denies_nothing(t))
        return t->m->from + 1;
    if (said(t, GRAMMAR_BLOOD_NO) && meaning_is_still(t)) {
        meaning_take_still(t);
        return again;
    }
    if (said(t, GRAMMAR_DENIAL) || said(t, GRAMMAR_FRONT_NO) ||
        said(t, GRAMMAR_BLOOD_NO)) {
        t->out->ill |= said(t, GRAMMAR_GUT);
        t->out->gut |= said(t, GRAMMAR_GUT);
        t->out->denials++;
        meaning_take_denied(t);
        return again;
    }
    if (gives_back_number(t, &again)) {
        unsay(t, GRAMMAR_PEOPLE);
        unsay(t, GRAMMAR_AND_PEOPLE);
    }
    take_illness(t);
    take_parts(t);
    if (!said(t, GRAMMAR_PART) && !said(t, GRAMMAR_PART_STILL)) {
        for (size_t i = 0; i < KW_COUNT(kind_rules); i++) {
            if (said(t, kind_rules[i].rule))
                add_obs(t, kind_rules[i].kind, t->m->from);
        }
    }
    t->out->no_flow |= said(t, GRAMMAR_NO_FLOW);
    if (said(t, GRAMMAR_MAYBE_SLOW) || said(t, GRAMMAR_NO_FLOW)) {
        t->out->maybe_slow |= said(t, GRAMMAR_MAYBE_SLOW);
        t->out->maybe_slow_at = (uint16_t)t->m->from;
    }
    t->out->not_brim |= said(t, GRAMMAR_NOT_BRIM);
    again += meaning_take_measure(t);
    if (said(t, GRAMMAR_LETTER))
        take_letter(t);
    return again;
}

static void keep_piece(struct meaning_gathered *out, const struct cut *c,
                       const struct grammar_match *m)
{
    struct meaning_piece *p;

    if (out->n_pieces == MEANING_PIECES_MOST)
        return;
    p = &out->pieces[out->n_pieces++];
    p->from = c->row_at[m->from];
    p->to = (uint16_t)(m->to > m->from ? c->row_at[m->to - 1] + 1 : p->from);
    memcpy(p->said, m->said, sizeof(p->said));
}

static bool is_order(const struct grammar_match *m)
{
    for (int r = GRAMMAR_HELP; r <= GRAMMAR_RECALL; r++) {
        if (r != GRAMMAR_LANGUAGE_NAME && grammar_said(m, (enum grammar_rule)r))
            return true;
    }
    return false;
}

/* Most texts have no word of an order; then none is looked for. */
static bool may_be_order(const struct cut *c)
{
    return (c->any_class & 1u << CLASS_ORDER) ||
           concept_set_has(&c->any, CONCEPT_HELP) ||
           concept_set_has(&c->any, CONCEPT_NO);
}

/* "We gave 0214-073-19 a good scrub" hands no pot over. */
static bool is_given_a_wash(const struct cut *c, const struct grammar_match *m)
{
    return grammar_said(m, GRAMMAR_GAVE) &&
           !concept_set_has(&c->any, CONCEPT_PHONE) &&
           concept_set_has(&c->any, CONCEPT_SCRUBBED);
}

/* The place in the row behind token i. */
static size_t row_behind(const struct cut *c, size_t i)
{
    size_t at = 0;

    while (at < c->n_row && c->row_at[at] < i)
        at++;
    return at;
}

static void gather(const struct grammar *g, struct grammar_scratch *s,
                   struct taking *t)
{
    const struct cut *c = t->c;
    struct meaning_gathered *out = t->out;
    size_t at = 1;

    memset(out, 0, offsetof(struct meaning_gathered, obs));
    out->limit = c->cut_off;
    if (may_be_order(c) && grammar_next(g, s, c->symbols, c->n, 0, t->m) == 1 &&
        t->m->from == 0 && is_order(t->m) && !is_given_a_wash(c, t->m)) {
        out->is_order = true;
        out->order = *t->m;
        at = row_behind(c, t->m->to);
    }
    while (at < c->n_row) {
        int found = grammar_next(g, s, c->row, c->n_row, at, t->m);

        if (found < 0)
            out->limit = true;
        if (found <= 0)
            return;
        keep_piece(out, c, t->m);
        at = take_piece(t);
        if (out->ill_at == 0 && (out->ill || out->ailing || out->unwell ||
                                 (out->sure | out->maybe) != 0))
            out->ill_at = (uint16_t)t->m->from;
        if (at <= t->m->from) /* a piece of nothing: never stand still */
            at = t->m->from + 1;
    }
}

/* "Here nobody is ill", in a text that tells of others or of beasts too. */
static bool tells_of_home(const struct meaning_gathered *g)
{
    return g->denied_ill || (g->kinds & 1u << READER_FINE);
}

static bool tells_of_others(const struct cut *c,
                            const struct meaning_gathered *g)
{
    if (concept_set_has(&c->any, CONCEPT_LONG_AGO) && g->has_amount)
        return true;
    if (g->sure == 0 && g->maybe == 0 && !g->ill)
        return false;
    return concept_set_has(&c->any, CONCEPT_ANIMAL) ||
           concept_set_has(&c->any, CONCEPT_LONG_AGO) ||
           concept_set_has(&c->any, CONCEPT_NEWS) ||
           (tells_of_home(g) && (concept_set_has(&c->any, CONCEPT_NEIGHBOUR) ||
                                 concept_set_has(&c->any, CONCEPT_CHAT)));
}

/* "The radio says 14 died of cholera": nobody of this home, nor a pot. */
static bool is_only_news(const struct cut *c)
{
    return concept_set_has(&c->any, CONCEPT_NEWS) &&
           !concept_set_has(&c->any, CONCEPT_ONE) &&
           !concept_set_has(&c->any, CONCEPT_ME) &&
           !concept_set_has(&c->any, CONCEPT_SERIAL) &&
           !concept_set_has(&c->any, CONCEPT_WRONG);
}

/* Without what is of others, does anything remain of the home, or of now? */
static bool tells_enough(const struct cut *c, const struct meaning_gathered *g)
{
    return g->ill || is_only_news(c) || tells_of_home(g) ||
           (concept_set_has(&c->any, CONCEPT_NOW) &&
            (g->kinds != 0 || g->has_amount));
}

/* "We thought it leaked, but it is good": what is so counts. When nothing else
 * was told, who knows? */
static void pass_over_thoughts(const struct grammar *g,
                               struct grammar_scratch *s, struct taking *t)
{
    t->no_thought = true;
    gather(g, s, t);
    if (t->out->kinds != 0)
        return;
    t->no_thought = false;
    gather(g, s, t);
    t->out->only_thought = concept_set_has(&t->c->any, CONCEPT_THOUGHT);
}

/* "Last month blood in the stool, and now again": when nothing would remain,
 * all of it counts. */
void meaning_gather(const struct grammar *g, struct grammar_scratch *s,
                    const struct lexicon *lex, const struct cut *c,
                    struct meaning_gathered *out)
{
    struct grammar_match m;
    struct taking t = {lex, c, out, &m, false, false, false};

    gather(g, s, &t);
    if (tells_of_others(c, out)) {
        t.no_others = true;
        t.home_only = tells_of_home(out);
        gather(g, s, &t);
        if (!tells_enough(c, out)) {
            t.no_others = t.home_only = false;
            gather(g, s, &t);
        }
    }
    if (out->kinds != 0 && (concept_set_has(&c->any, CONCEPT_THOUGHT) ||
                            concept_set_has(&c->any, CONCEPT_OLD) ||
                            concept_set_has(&c->any, CONCEPT_OLD_POT)))
        pass_over_thoughts(g, s, &t);
}
