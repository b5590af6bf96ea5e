/* spelling.c - see spelling.h. */
#include "reader/spelling.h"

#include <string.h>

/* Octets of the word that a rule takes at `at`; 0 when it does not fit. */
static size_t fits(const struct words_rule *r, const char *word, size_t len,
                   size_t at)
{
    const char *from = r->from;
    size_t n = strlen(from);
    bool end = n > 0 && from[n - 1] == '$';

    if (*from == '^') {
        if (at != 0)
            return 0;
        from++;
        n--;
    }
    n -= end;
    if (n == 0 || at + n > len || memcmp(word + at, from, n) != 0 ||
        (end && at + n != len))
        return 0;
    return n;
}

size_t spelling_key(const struct spelling *s, const char *word, size_t len,
                    char *key, size_t cap)
{
    size_t n = 0;

    for (size_t at = 0; at < len;) {
        const char *add = word + at;
        size_t taken = 0, m = 1;

        for (size_t i = 0; i < s->n && taken == 0; i++) {
            taken = fits(&s->rules[i], word, len, at);
            if (taken > 0) {
                add = s->rules[i].into;
                m = strlen(add);
            }
        }
        at += taken > 0 ? taken : 1;
        for (size_t k = 0; k < m; k++) {
            bool again =
                n > 0 && add[k] == key[n - 1] && add[k] >= 'a' && add[k] <= 'z';

            if (n + 1 >= cap)
                return 0;
            if (!again)
                key[n++] = add[k];
        }
    }
    key[n] = '\0';
    return n;
}
