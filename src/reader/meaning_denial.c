/* meaning_denial.c - what a "no" is of: of what it stands before or behind, of
 * the verb next to it, of one thing but not of the other. */
#include "reader/meaning_parts.h"

/* The kinds that a denial names. */
void meaning_take_denied(struct taking *t)
{
    static const struct {
        enum concept concept;
        enum reader_kind kind;
    } denied[] = {
        {CONCEPT_CRACK, READER_CRACK},   {CONCEPT_LEAK, READER_LEAK},
        {CONCEPT_BROKEN, READER_BROKEN}, {CONCEPT_SLOW, READER_SLOW},
        {CONCEPT_FAST, READER_FAST},
    };

    for (size_t i = t->m->from; i < t->m->to; i++) {
        const struct cut_token *k = &t->c->tokens[t->c->row_at[i]];

        t->out->denied_ill |= may_be(t, k, CONCEPT_ILL);
        for (size_t n = 0; n < KW_COUNT(denied); n++) {
            if (may_be(t, k, denied[n].concept))
                t->out->denied |= 1u << denied[n].kind;
        }
    }
}

/* Hindi "khaya nahi, dast …", "bukhar nahi tatti me khoon hai": that "no"
 * belongs to the verb or the illness before it. */
static bool is_no_of_before(const struct taking *t, size_t first)
{
    const uint32_t said = 1u << CLASS_SIGN | 1u << CLASS_SICKNESS;
    const struct cut_token *no = &t->c->tokens[first], *before = no - 1;

    return lexicon_is_verb_last(t->lex, t->c->lang) &&
           may_be(t, no, CONCEPT_IS_NOT) &&
           (before->symbol == CONCEPT_WORD || before->symbol == CONCEPT_OTHER ||
            (t->lex->classes[before->symbol] & said));
}

/* "The tea does nothing 0214-073-19 still blood": a number stands between. */
bool meaning_denies_nothing(const struct taking *t)
{
    size_t first = t->c->row_at[t->m->from], last = t->c->row_at[t->m->to - 1u];

    for (size_t i = first + 1; i < last; i++) {
        if (t->c->tokens[i].symbol == CONCEPT_SERIAL ||
            t->c->tokens[i].symbol == CONCEPT_WRONG)
            return true;
    }
    return is_no_of_before(t, first) ||
           (said(t, GRAMMAR_FRONT_NO) &&
            (lexicon_is_verb_last(t->lex, t->c->lang) ||
             (t->c->tokens[first].flags & CUT_SLIP)));
}

bool meaning_is_still(const struct taking *t)
{
    for (size_t i = 1; i < t->c->row_at[t->m->from]; i++) {
        const struct cut_token *k = &t->c->tokens[i];

        if (may_be(t, k, CONCEPT_QUIT) || may_be(t, k, CONCEPT_CURED))
            return true;
    }
    return false;
}

void meaning_take_still(struct taking *t)
{
    static const struct {
        enum concept concept;
        unsigned sign;
    } signs[] = {
        {CONCEPT_SURE_BLOOD, READER_BLOOD}, {CONCEPT_BLOOD, READER_BLOOD},
        {CONCEPT_SURE_DRY, READER_DRY},     {CONCEPT_DRY, READER_DRY},
        {CONCEPT_RICE, READER_RICEWATER},
    };

    for (size_t i = t->m->from; i < t->m->to; i++) {
        for (size_t n = 0; n < KW_COUNT(signs); n++) {
            if (may_be(t, &t->c->tokens[t->c->row_at[i]], signs[n].concept))
                t->out->maybe |= signs[n].sign;
        }
    }
}

/* "It was slow before 0214-073-19 we scrubbed it", "slow before, now fine". */
bool meaning_is_before_alone(const struct taking *t)
{
    size_t first = t->c->row_at[t->m->from];

    if (!may_be(t, &t->c->tokens[first], CONCEPT_BEFORE) ||
        t->m->to == t->m->from + 1u)
        return false;
    return t->c->tokens[first + 1].symbol == CONCEPT_SERIAL ||
           may_be(t, &t->c->tokens[first + 1], CONCEPT_NOW);
}

static bool is_part_or_pot(const struct taking *t, const struct cut_token *k)
{
    return may_be(t, k, CONCEPT_TAP) || may_be(t, k, CONCEPT_LID) ||
           may_be(t, k, CONCEPT_BUCKET) || may_be(t, k, CONCEPT_POT);
}

/* "The tap is not broken, what broke is the lid": where the second clause of
 * the piece begins, when it names what it is of; else 0. */
size_t meaning_other_part_at(const struct taking *t)
{
    const struct cut *c = t->c;
    size_t at = t->m->from;

    for (size_t i = c->row_at[t->m->to - 1u] + 1u; !meaning_is_bound(t, i);
         i++) {
        if (!is_part_or_pot(t, &c->tokens[i]))
            continue;
        while (at < t->m->to &&
               c->tokens[c->row_at[at]].symbol != CONCEPT_PAUSE)
            at++;
        return at < t->m->to ? at : 0;
    }
    return 0;
}
