/*
 * cut_clause.c - where a clause ends though no mark says so. Hindi denies what
 * stands before: "toota nahi dheema hai" is slow and not broken, "bukhar nahi
 * tatti me khoon hai" tells of blood. In a text without commas the denial would
 * be read with what follows; so a pause is put behind it.
 */
#include "reader/cut_parts.h"

#include <string.h>

static bool may_be(const struct lexicon *lex, const struct cut_token *t,
                   enum concept c)
{
    return concept_set_has(&lex->sets[t->symbol], c);
}

/* An observation, an illness or a sign: what is said or denied. */
static bool is_told(const struct lexicon *lex, const struct cut_token *t)
{
    return cut_has_class(
        lex, t, 1u << CLASS_SEEN | 1u << CLASS_SIGN | 1u << CLASS_SICKNESS);
}

static bool is_someone(const struct lexicon *lex, const struct cut_token *t)
{
    return may_be(lex, t, CONCEPT_PERSON) || may_be(lex, t, CONCEPT_CHILD) ||
           may_be(lex, t, CONCEPT_BABY) || may_be(lex, t, CONCEPT_ONE) ||
           may_be(lex, t, CONCEPT_UNDER5);
}

/* Does a denial at i close a clause that goes on with something else? Then the
 * token before which the pause belongs, else 0. */
static size_t closed_at(const struct cut *c, const struct lexicon *lex,
                        size_t i)
{
    const struct cut_token *t = c->tokens;
    size_t at = i + 1, next;

    if (!may_be(lex, &t[i], CONCEPT_IS_NOT) || !is_told(lex, &t[i - 1]) ||
        is_someone(lex, &t[i - 1]))
        return 0;
    while (t[at].symbol == CONCEPT_FILLER)
        at++;
    for (next = at; t[next].symbol == CONCEPT_FILLER ||
                    may_be(lex, &t[next], CONCEPT_ONLY) ||
                    may_be(lex, &t[next], CONCEPT_VERY) ||
                    may_be(lex, &t[next], CONCEPT_NOW);)
        next++;
    return is_told(lex, &t[next]) ? at : 0;
}

void cut_close_denials(struct cut *c, const struct lexicon *lex)
{
    if (!lexicon_is_verb_last(lex, c->lang))
        return;
    for (size_t i = 2; i + 2 < c->n && c->n < CUT_TOKENS_MOST; i++) {
        size_t at = closed_at(c, lex, i);
        const struct cut_token *last;

        if (at == 0)
            continue;
        last = &c->tokens[at - 1];
        memmove(&c->tokens[at + 1], &c->tokens[at],
                (c->n - at) * sizeof(c->tokens[0]));
        c->tokens[at] =
            (struct cut_token){.at = (uint16_t)(last->at + last->len),
                               .symbol = CONCEPT_PAUSE,
                               .named = -1,
                               .held = -1};
        c->n++;
    }
}
