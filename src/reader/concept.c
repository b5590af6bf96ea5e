/* concept.c - names, classes and sets of concepts. */
#include "reader/concept.h"

#include <string.h>

static const struct {
    const char *name;
    enum concept_class class;
} table[CONCEPT_COUNT] = {{"", CLASS_MARK},
#define X(id, name, class) {name, class},
                          CONCEPT_LIST(X)
#undef X
};

_Static_assert(CONCEPT_COUNT <= 64 * CONCEPT_SET_WORDS,
               "more concepts than a set has bits");

const char *concept_name(enum concept c)
{
    return c < CONCEPT_COUNT ? table[c].name : "";
}

enum concept_class concept_class_of(enum concept c)
{
    return c < CONCEPT_COUNT ? table[c].class : CLASS_MARK;
}

enum concept concept_from_name(const char *name, size_t len)
{
    for (int i = 1; i < CONCEPT_COUNT; i++) {
        if (strlen(table[i].name) == len &&
            memcmp(table[i].name, name, len) == 0)
            return (enum concept)i;
    }
    return CONCEPT_NONE;
}

void concept_set_add(struct concept_set *s, enum concept c)
{
    s->bits[c / 64] |= UINT64_C(1) << (c % 64);
}

bool concept_set_has(const struct concept_set *s, enum concept c)
{
    return (s->bits[c / 64] >> (c % 64)) & 1;
}

bool concept_set_is_empty(const struct concept_set *s)
{
    return !concept_set_meets(s, s);
}

bool concept_set_same(const struct concept_set *a, const struct concept_set *b)
{
    return memcmp(a->bits, b->bits, sizeof(a->bits)) == 0;
}

void concept_set_join(struct concept_set *a, const struct concept_set *b)
{
    for (int i = 0; i < CONCEPT_SET_WORDS; i++)
        a->bits[i] |= b->bits[i];
}
