/* concept.c - names, classes and sets of concepts. */
#include "reader/concept.h"

#include <string.h>

static const struct {
    const char *name;
    size_t len;
    enum concept_class class;
} table[CONCEPT_COUNT] = {{"", 0, CLASS_MARK},
#define X(id, name, class) {name, sizeof(name) - 1, class},
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
        if (table[i].len == len && memcmp(table[i].name, name, len) == 0)
            return (enum concept)i;
    }
    return CONCEPT_NONE;
}
