/* spelling.c - see spelling.h. */
#include "reader/spelling.h"

#include <string.h>

/* "mb=": these two stand together. */
static bool add_pair(struct spelling *s, const char *from, size_t n)
{
    if (n != 3 || from[2] != '=' || from[0] < 'a' || from[0] > 'z' ||
        from[1] < 'a' || from[1] > 'z')
        return false;
    s->pairs[from[0] - 'a'] |= 1u << (from[1] - 'a');
    return s->has_pairs = true;
}

int spelling_add(struct spelling *s, const struct words_rule *r)
{
    const char *from = r->from;
    size_t n = strlen(from);
    struct spelling_rule *to;
    uint8_t *link;

    if (s->n == 0)
        s->n = 1;
    if (add_pair(s, from, n))
        return 0;
    if (s->n == SPELLING_RULES_MOST)
        return KW_EFULL;
    to = &s->rules[s->n];
    *to = (struct spelling_rule){.begin = *from == '^', .phrase = *from == '+'};
    from += to->begin || to->phrase;
    n -= to->begin || to->phrase;
    to->end = n > 0 && from[n - 1] == '$';
    n -= to->end;
    if (n == 0)
        return KW_ESYNTAX;
    memcpy(to->from, from, n);
    to->n_from = (uint8_t)n;
    to->n_into = (uint8_t)strlen(r->into);
    memcpy(to->into, r->into, to->n_into);
    for (link = &s->first[(unsigned char)*from]; *link != 0;)
        link = &s->rules[*link].next;
    *link = (uint8_t)s->n++;
    return 0;
}

static bool is_at(const struct spelling_rule *r, const char *s)
{
    for (size_t i = 1; i < r->n_from; i++) { /* the first one is known */
        if (s[i] != r->from[i])
            return false;
    }
    return true;
}

/* The first rule that fits at `at`, of i and those behind it, or NULL. */
static const struct spelling_rule *rule_at(const struct spelling *s, uint8_t i,
                                           const char *word, size_t len,
                                           size_t at, bool in_phrase)
{
    for (; i != 0; i = s->rules[i].next) {
        const struct spelling_rule *r = &s->rules[i];

        if (at + r->n_from <= len && is_at(r, word + at) &&
            (!r->phrase || (in_phrase && at > 0 && at + r->n_from < len)) &&
            (!r->begin || at == 0) && (!r->end || at + r->n_from == len))
            return r;
    }
    return NULL;
}

size_t spelling_key(const struct spelling *s, const char *word, size_t len,
                    bool in_phrase, char *key, size_t cap)
{
    size_t n = 0, apart = 0; /* letters before `apart` are not doubled by the
                                next: one was left out between them */

    for (size_t at = 0; at < len;) {
        uint8_t first = s->first[(unsigned char)word[at]];
        const struct spelling_rule *r =
            first == 0 ? NULL : rule_at(s, first, word, len, at, in_phrase);
        const char *add = r != NULL ? r->into : word + at;
        size_t m = r != NULL ? r->n_into : 1;

        at += r != NULL ? r->n_from : 1;
        if (m == 0)
            apart = n;
        for (size_t k = 0; k < m; k++) {
            bool again = n > apart && add[k] == key[n - 1] && add[k] >= 'a' &&
                         add[k] <= 'z';

            if (n + 1 >= cap)
                return 0;
            if (!again)
                key[n++] = add[k];
        }
    }
    key[n] = '\0';
    return n;
}
