/* grammar_image.c - the tables of a grammar for an image: lexicon_image.c. */
#include "reader/grammar_parts.h"

#include <string.h>

size_t grammar_tables(struct grammar *g, struct image_table *t)
{
    const size_t set = g->set_words * sizeof(uint64_t);
    struct image_table all[] = {
        {&g->ways, g->n_ways, sizeof(*g->ways)},
        {&g->texts, g->n_texts, 1},
        {&g->begins, g->n_symbols + 1, sizeof(*g->begins)},
        {&g->items, g->n_items, sizeof(*g->items)},
        {&g->seconds, g->n_seconds, set},
        {&g->needs, g->n_needs, set},
    };

    _Static_assert(KW_COUNT(all) == GRAMMAR_TABLES, "count");
    memcpy(t, all, sizeof(all));
    return GRAMMAR_TABLES;
}

static bool ways_are_sound(const struct grammar *g)
{
    for (size_t i = 0; i < g->n_ways; i++) {
        const struct way *w = &g->ways[i];

        if (w->text > g->n_texts || w->len > g->n_texts - w->text ||
            w->need > g->n_needs || w->n_needs > g->n_needs - w->need)
            return false;
    }
    return true;
}

bool grammar_is_sound(const struct grammar *g, size_t n_symbols)
{
    if (g->n_symbols != n_symbols || g->set_words != (n_symbols + 63) / 64 ||
        g->n_ways > GRAMMAR_WAYS_MOST || g->groups_most > UINT16_MAX ||
        g->begins[n_symbols] != g->n_items || !ways_are_sound(g))
        return false;
    for (size_t i = 0; i < n_symbols; i++) {
        if (g->begins[i] > g->begins[i + 1])
            return false;
    }
    for (size_t i = 0; i < g->n_items; i++) {
        if (g->items[i].way >= g->n_ways || g->items[i].second >= g->n_seconds)
            return false;
    }
    return true;
}
