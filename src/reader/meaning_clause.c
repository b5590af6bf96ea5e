/*
 * meaning_clause.c - of whom and of when a part of a text tells. "Last year she
 * passed blood, now it is only vomiting" tells of no blood; "on the news people
 * died of it, here nobody is ill" of no dead.
 */
#include "reader/meaning_parts.h"

#include <string.h>

static const struct cut_token *token_at(const struct taking *t, size_t i)
{
    return &t->c->tokens[i];
}

static bool is_stop(const struct taking *t, const struct cut_token *k)
{
    return k->symbol == CONCEPT_PAUSE &&
           strchr(".!?;", t->c->fold.text[k->at]) != NULL;
}

/* Where a clause begins or ends. */
static bool is_bound(const struct taking *t, const struct cut_token *k)
{
    return k->symbol == CONCEPT_PAUSE || k->symbol == CONCEPT_BEGIN ||
           k->symbol == CONCEPT_END || may_be(t, k, CONCEPT_BUT);
}

bool meaning_is_bound(const struct taking *t, size_t i)
{
    return is_bound(t, token_at(t, i));
}

/* But "since last month" goes on. */
static bool is_long_ago(const struct taking *t, const struct cut_token *k)
{
    return may_be(t, k, CONCEPT_LONG_AGO) && !may_be(t, k - 1, CONCEPT_SINCE);
}

/* Does the piece tell of long ago? The last word for a time before it tells, or
 * one behind it in its clause. */
bool meaning_is_past(const struct taking *t)
{
    size_t from = t->c->row_at[t->m->from];
    bool past = false;

    if (!t->no_others || !concept_set_has(&t->c->any, CONCEPT_LONG_AGO))
        return false;
    for (size_t i = 1; i < from; i++) {
        const struct cut_token *k = token_at(t, i);

        past = (past && !is_stop(t, k) && !may_be(t, k, CONCEPT_NOW)) ||
               is_long_ago(t, k);
    }
    for (size_t i = from; !past && i + 1 < t->c->n; i++) {
        const struct cut_token *k = token_at(t, i);

        if (is_bound(t, k) || may_be(t, k, CONCEPT_NOW))
            break;
        past = is_long_ago(t, k);
    }
    return past;
}

/* The tokens [from, to) of the piece's clause. */
static void find_clause(const struct taking *t, size_t *from, size_t *to)
{
    *from = *to = t->c->row_at[t->m->from];
    while (!is_bound(t, token_at(t, *from - 1)))
        --*from;
    while (!is_bound(t, token_at(t, *to)))
        ++*to;
}

bool meaning_is_wound(const struct taking *t)
{
    size_t from, to;

    if (!concept_set_has(&t->c->any, CONCEPT_WOUND))
        return false;
    find_clause(t, &from, &to);
    for (size_t i = from; i < to; i++) {
        const struct cut_token *k = token_at(t, i);

        if (may_be(t, k, CONCEPT_ILL) || may_be(t, k, CONCEPT_GUT) ||
            may_be(t, k, CONCEPT_FEVER) || may_be(t, k, CONCEPT_STOOL))
            return false;
    }
    return !t->c->card;
}

static bool is_turn(const struct taking *t, const struct cut_token *k)
{
    return may_be(t, k, CONCEPT_NOW) || may_be(t, k, CONCEPT_NEW) ||
           may_be(t, k, CONCEPT_MINE);
}

/* "The old pot broke. The one we use now leaks": told between the words for the
 * one before and for the present one, of no part. */
static bool is_replaced(const struct taking *t, size_t from)
{
    size_t at = t->c->row_at[t->m->from], i;
    bool old = false;

    for (i = from; i < t->c->n && !(old && is_turn(t, token_at(t, i))); i++) {
        const struct cut_token *k = token_at(t, i);

        old |= may_be(t, k, CONCEPT_OLD) || may_be(t, k, CONCEPT_OLD_POT);
        if (i == at && !old)
            return false;
        if (i <= at &&
            (may_be(t, k, CONCEPT_TAP) || may_be(t, k, CONCEPT_LID) ||
             may_be(t, k, CONCEPT_BUCKET) || k->symbol == CONCEPT_SERIAL))
            return false;
    }
    return old && i > at && i < t->c->n;
}

/* In Hindi the word stands behind: "toota socha tha". */
bool meaning_is_thought(const struct taking *t)
{
    size_t from, to;

    if (!t->no_thought)
        return false;
    find_clause(t, &from, &to);
    if (is_replaced(t, from))
        return true;
    if (!lexicon_is_verb_last(t->lex, t->c->lang))
        to = t->c->row_at[t->m->from];
    for (size_t i = from; i < to; i++) {
        if (may_be(t, token_at(t, i), CONCEPT_THOUGHT))
            return true;
    }
    return false;
}

/* Does the clause of the piece tell of a neighbour, of what was heard, of a
 * beast and of nobody? */
bool meaning_is_of_others(const struct taking *t)
{
    bool beast = false, someone = false;
    size_t from, to;

    if (!t->no_others)
        return false;
    find_clause(t, &from, &to);
    for (size_t i = from; i < to; i++) {
        const struct cut_token *k = token_at(t, i);

        if (may_be(t, k, CONCEPT_NEWS))
            return true;
        if (t->home_only &&
            (may_be(t, k, CONCEPT_NEIGHBOUR) || may_be(t, k, CONCEPT_CHAT)))
            return true;
        beast |= may_be(t, k, CONCEPT_ANIMAL);
        someone |= may_be(t, k, CONCEPT_PERSON) ||
                   may_be(t, k, CONCEPT_CHILD) || may_be(t, k, CONCEPT_BABY) ||
                   may_be(t, k, CONCEPT_ONE) || may_be(t, k, CONCEPT_ME);
    }
    return beast && !someone;
}
