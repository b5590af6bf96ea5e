/*
 * lexicon_image.c - the tables of a lexicon for an image, and the proof that
 * no number in them leads out of them, whoever made the image.
 */
#include "reader/lexicon.h"

#include <math.h>
#include <string.h>

#define VALUE_MOST 1e12
#define ROWS_MOST  (1u << 30) /* of any table */

size_t lexicon_tables(struct lexicon *lex, struct image_table *t)
{
    struct image_table all[] = {
        {&lex->store, lex->store_len, 1},
        {&lex->words, lex->n_words, sizeof(*lex->words)},
        {&lex->word_slots, lex->word_mask + 1, sizeof(*lex->word_slots)},
        {&lex->nodes, lex->n_nodes + 1, sizeof(*lex->nodes)},
        {&lex->edges, lex->n_edges, sizeof(*lex->edges)},
        {&lex->more, lex->n_more, sizeof(*lex->more)},
        {&lex->sets, lex->n_sets, sizeof(*lex->sets)},
        {&lex->classes, lex->n_sets, sizeof(*lex->classes)},
        {&lex->near_forms, lex->n_near, sizeof(*lex->near_forms)},
        {&lex->near_heads, lex->near_mask + 2, sizeof(*lex->near_heads)},
    };

    _Static_assert(KW_COUNT(all) + LEXICON_LANGS == LEXICON_TABLES, "count");
    memcpy(t, all, sizeof(all));
    for (size_t i = 0; i < LEXICON_LANGS; i++)
        t[KW_COUNT(all) + i] = (struct image_table){
            &lex->spelling[i], lex->spells >> i & 1, sizeof(struct spelling)};
    return LEXICON_TABLES;
}

/* Octets that are to be a bool. */
static bool is_flag(const bool *b)
{
    return *(const unsigned char *)b <= 1;
}

/* Are there so few rows that numbers of them can be reckoned with? */
static bool rows_are_few(const struct lexicon *lex)
{
    return lex->n_words <= ROWS_MOST && lex->n_nodes <= ROWS_MOST &&
           lex->n_edges <= ROWS_MOST && lex->n_more <= ROWS_MOST &&
           lex->n_near <= ROWS_MOST && lex->store_len <= ROWS_MOST &&
           lex->word_mask < ROWS_MOST && lex->near_mask < ROWS_MOST;
}

static bool fixed_is_sound(const struct lexicon *lex)
{
    if (lex->n_langs == 0 || lex->n_langs > LEXICON_LANGS ||
        lex->n_words == 0 || lex->n_nodes < 2 || lex->n_more == 0 ||
        lex->n_sets < CONCEPT_COUNT || lex->n_sets > UINT16_MAX + 1 ||
        lex->n_words > lex->word_mask + 1 ||
        lex->n_words > lex->near_mask + 1 || !rows_are_few(lex) ||
        (lex->word_mask & (lex->word_mask + 1)) != 0 ||
        (lex->near_mask & (lex->near_mask + 1)) != 0)
        return false;
    for (size_t i = 0; i < lex->n_langs; i++) {
        if (memchr(lex->tags[i], '\0', LEXICON_TAG_CAP) == NULL)
            return false;
    }
    return true;
}

/*
 * What a loop adds up for numbers that are to be below n, itself at most
 * ROWS_MOST: the high bit is set when one is not. Without branches, as there
 * are many.
 */
static inline uint32_t beyond(uint32_t number, uint32_t n)
{
    return (n - 1 - number) | number;
}

static bool none_beyond(uint32_t sum)
{
    return sum >> 31 == 0;
}

static bool words_are_sound(const struct lexicon *lex)
{
    const uint32_t n_nodes = (uint32_t)lex->n_nodes,
                   n_words = (uint32_t)lex->n_words,
                   end = (uint32_t)lex->store_len + 1;
    uint32_t sum = 0;

    for (size_t i = 0; i < n_words; i++) {
        const struct lexicon_word *w = &lex->words[i];

        sum |= beyond(w->at + w->len, end) | beyond(w->root, n_nodes) |
               beyond(w->canon, n_words) | beyond(w->len, LEXICON_WORD_CAP);
    }
    return none_beyond(sum);
}

static bool nodes_are_sound(const struct lexicon *lex)
{
    const uint32_t n_nodes = (uint32_t)lex->n_nodes,
                   n_sets = (uint32_t)lex->n_sets,
                   n_more = (uint32_t)lex->n_more;
    uint32_t sum = 0;

    for (size_t i = 0; i < n_nodes; i++) {
        const struct lexicon_node *n = &lex->nodes[i];

        sum |= beyond(n->edges, n[1].edges + 1) | beyond(n->all, n_sets) |
               beyond(n->more, n_more);
    }
    for (size_t i = 0; i < lex->n_edges; i++)
        sum |= beyond(lex->edges[i].to, n_nodes);
    return none_beyond(sum) && lex->nodes[n_nodes].edges == lex->n_edges;
}

/* Words, and an empty one, where a search can stop. */
static bool slots_are_sound(const struct lexicon *lex)
{
    const uint32_t mask = (uint32_t)lex->word_mask,
                   n_words = (uint32_t)lex->n_words;
    uint32_t sum = 0;
    bool any = false;

    for (size_t i = 0; i <= mask; i++) {
        sum |= beyond(lex->word_slots[i] & mask, n_words);
        any |= lex->word_slots[i] == 0;
    }
    return any && none_beyond(sum);
}

static bool mores_are_sound(const struct lexicon *lex)
{
    for (size_t i = 0; i < lex->n_more; i++) {
        const struct lexicon_more *m = &lex->more[i];

        if (!(fabs(m->value) <= VALUE_MOST) || m->named < -1 ||
            m->named >= (int)lex->n_langs)
            return false;
        for (size_t k = 0; k < LEXICON_LANGS; k++) {
            if (m->symbol[k] >= lex->n_sets)
                return false;
        }
    }
    return true;
}

static bool set_is_sound(const struct concept_set *s)
{
    const int last = CONCEPT_SET_WORDS - 1;

    return CONCEPT_COUNT >= (last + 1) * 64 ||
           s->bits[last] >> (CONCEPT_COUNT - last * 64) == 0;
}

static bool sets_are_sound(const struct lexicon *lex)
{
    for (size_t i = 0; i < lex->n_sets; i++) {
        if (!set_is_sound(&lex->sets[i]) || lex->classes[i] >> CLASS_COUNT != 0)
            return false;
    }
    for (size_t i = 0; i < CLASS_COUNT; i++) {
        if (!set_is_sound(&lex->of_class[i]))
            return false;
    }
    return true;
}

static bool near_is_sound(const struct lexicon *lex)
{
    const uint32_t mask = (uint32_t)lex->near_mask, *head = lex->near_heads,
                   n_words = (uint32_t)lex->n_words;
    uint32_t sum = 0;

    for (size_t i = 0; i <= mask; i++)
        sum |= beyond(head[i], head[i + 1] + 1);
    for (size_t i = 0; i < lex->n_near; i++)
        sum |= beyond(lex->near_forms[i] & mask, n_words);
    return none_beyond(sum) && head[(size_t)mask + 1] == lex->n_near;
}

/* Rules lead on to later ones only, so that every search ends. */
static bool spelling_is_sound(const struct spelling *s)
{
    if (s->n > SPELLING_RULES_MOST || !is_flag(&s->has_pairs))
        return false;
    for (size_t i = 0; i < s->n; i++) {
        const struct spelling_rule *r = &s->rules[i];

        if (r->n_from > WORDS_RULE_CAP || r->n_into > WORDS_RULE_CAP ||
            (i > 0 && r->n_from == 0) || !is_flag(&r->begin) ||
            !is_flag(&r->end) || !is_flag(&r->phrase) ||
            (r->next != 0 && (r->next <= i || r->next >= s->n)))
            return false;
    }
    for (size_t i = 0; i < KW_COUNT(s->first); i++) {
        if (s->first[i] != 0 && s->first[i] >= s->n)
            return false;
    }
    return true;
}

bool lexicon_is_sound(const struct lexicon *lex)
{
    for (size_t i = 0; i < LEXICON_LANGS; i++) {
        if (lex->spelling[i] != NULL && !spelling_is_sound(lex->spelling[i]))
            return false;
    }
    return fixed_is_sound(lex) && words_are_sound(lex) &&
           nodes_are_sound(lex) && mores_are_sound(lex) &&
           sets_are_sound(lex) && near_is_sound(lex) && slots_are_sound(lex);
}
