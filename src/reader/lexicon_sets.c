/* lexicon_sets.c - the symbols of a lexicon: each distinct set has one. */
#include "reader/lexicon.h"

/* The concept of a set that holds no other, else CONCEPT_NONE. */
static enum concept only_concept(const struct concept_set *set)
{
    enum concept only = CONCEPT_NONE;

    for (int k = 0; k < CONCEPT_SET_WORDS; k++) {
        uint64_t b = set->bits[k];

        if (b == 0)
            continue;
        if (only != CONCEPT_NONE || (b & (b - 1)) != 0)
            return CONCEPT_NONE;
        only = (enum concept)(k * 64 + __builtin_ctzll(b));
    }
    return only;
}

static uint16_t symbol_add(struct lexicon *lex, const struct concept_set *set)
{
    size_t n = lex->n_sets++;

    kw_grow(&lex->sets, &lex->sets_cap, n + 1, sizeof(*lex->sets));
    kw_grow(&lex->classes, &lex->classes_cap, n + 1, sizeof(*lex->classes));
    lex->sets[n] = *set;
    lex->classes[n] = 0;
    for (int k = 0; k < CLASS_COUNT; k++)
        lex->classes[n] |= (uint32_t)concept_set_meets(set, &lex->of_class[k])
                           << k;
    return (uint16_t)n;
}

uint16_t lexicon_symbol(struct lexicon *lex, const struct concept_set *set)
{
    enum concept only = only_concept(set);

    if (concept_set_is_empty(set) || only != CONCEPT_NONE)
        return (uint16_t)only;
    for (size_t i = CONCEPT_COUNT; i < lex->n_sets; i++) {
        if (concept_set_same(&lex->sets[i], set))
            return (uint16_t)i;
    }
    if (lex->n_sets > UINT16_MAX) {
        lex->sets_full = true;
        return 0;
    }
    return symbol_add(lex, set);
}

/* Of one concept each: symbol c is concept c. */
void lexicon_prepare_sets(struct lexicon *lex)
{
    for (int c = 1; c < CONCEPT_COUNT; c++)
        concept_set_add(&lex->of_class[concept_class_of((enum concept)c)],
                        (enum concept)c);
    for (int c = 0; c < CONCEPT_COUNT; c++) {
        struct concept_set one = {{0}};

        if (c != CONCEPT_NONE)
            concept_set_add(&one, (enum concept)c);
        symbol_add(lex, &one);
    }
}

/* The set of all languages, without "other" where it means more. */
static struct concept_set joint_set(const struct lexicon *lex, uint32_t node)
{
    struct concept_set all = {{0}}, more;

    for (size_t k = 0; k < lex->n_langs; k++)
        concept_set_join(&all,
                         &lex->sets[lexicon_symbol_in(lex, node, (int)k)]);
    more = all;
    more.bits[CONCEPT_OTHER / 64] &= ~(UINT64_C(1) << (CONCEPT_OTHER % 64));
    return concept_set_is_empty(&more) ? all : more;
}

void lexicon_join_sets(struct lexicon *lex)
{
    for (uint32_t i = 2; i < lex->n_nodes; i++) {
        unsigned langs = lex->nodes[i].langs;
        struct concept_set all;

        if ((langs & (langs - 1)) == 0)
            continue;
        all = joint_set(lex, i);
        lex->nodes[i].all = lexicon_symbol(lex, &all);
    }
}
