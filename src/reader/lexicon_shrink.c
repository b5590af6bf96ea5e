/*
 * lexicon_shrink.c - the paths of all phrases as few nodes. Families of forms
 * end alike: what goes on in the same ways and means the same is one node
 * then, whatever stood before it. From the ends to the root, each node is
 * looked for among those there are (minimal acyclic automata: Daciuk et al.,
 * Computational Linguistics 26, 2000).
 */
#include "reader/lexicon.h"

#include <string.h>

struct shrinking {
    const struct lexicon *lex;
    uint32_t *first, *children; /* of each node, by their words */
    uint32_t *becomes;          /* by old node */
    struct lexicon_node *nodes;
    struct lexicon_edge *edges;
    size_t n, cap, n_edges, edges_cap;
    uint32_t *hashes; /* by new node */
    size_t hashes_cap;
    uint32_t *slots; /* open addressing, 0 empty */
    size_t mask;
};

/* Where those of each key begin, in `first`; keys are below n. */
static void sum_up(uint32_t *first, size_t n)
{
    uint32_t sum = 0;

    for (size_t i = 0; i <= n; i++) {
        uint32_t here = first[i];

        first[i] = sum;
        sum += here;
    }
}

/* All nodes but those of single words, by their words. */
static uint32_t *sort_by_word(const struct lexicon *lex, size_t *n)
{
    uint32_t *first = kw_calloc(lex->n_words + 1, sizeof(*first)), *out;

    for (size_t i = 2; i < lex->n_nodes; i++)
        first[lex->paths[i].word] += lex->paths[i].parent != 1;
    sum_up(first, lex->n_words);
    *n = first[lex->n_words];
    out = kw_calloc(*n, sizeof(*out));
    for (uint32_t i = 2; i < lex->n_nodes; i++) {
        if (lex->paths[i].parent != 1)
            out[first[lex->paths[i].word]++] = i;
    }
    kw_free(first);
    return out;
}

/* The children of each node side by side, in the order of their words. */
static void sort_children(struct shrinking *s)
{
    const struct lexicon *lex = s->lex;
    size_t n;
    uint32_t *by_word = sort_by_word(lex, &n), *at;

    s->first = kw_calloc(lex->n_nodes + 1, sizeof(*s->first));
    s->children = kw_calloc(n, sizeof(*s->children));
    for (size_t i = 0; i < n; i++)
        s->first[lex->paths[by_word[i]].parent]++;
    sum_up(s->first, lex->n_nodes);
    at = kw_calloc(lex->n_nodes + 1, sizeof(*at));
    memcpy(at, s->first, lex->n_nodes * sizeof(*at));
    for (size_t i = 0; i < n; i++)
        s->children[at[lex->paths[by_word[i]].parent]++] = by_word[i];
    kw_free(at);
    kw_free(by_word);
}

static size_t edges_end(const struct shrinking *s, uint32_t node)
{
    return node + 1 < s->n ? s->nodes[node + 1].edges : s->n_edges;
}

/* The m edges behind those that are kept, and the node itself. */
static bool is_same(const struct shrinking *s, uint32_t node,
                    const struct lexicon_node *as, size_t m)
{
    const struct lexicon_node *is = &s->nodes[node];

    return is->all == as->all && is->langs == as->langs &&
           is->more == as->more && edges_end(s, node) - is->edges == m &&
           memcmp(s->edges + is->edges, s->edges + s->n_edges,
                  m * sizeof(*s->edges)) == 0;
}

static void more_slots(struct shrinking *s, size_t slots)
{
    kw_free(s->slots);
    s->slots = kw_calloc(slots, sizeof(*s->slots));
    s->mask = slots - 1;
    for (uint32_t i = 2; i < s->n; i++) {
        size_t at = s->hashes[i] & s->mask;

        while (s->slots[at] != 0)
            at = (at + 1) & s->mask;
        s->slots[at] = i;
    }
}

/* A new row; its edges stand behind those that are kept. */
static uint32_t add_node(struct shrinking *s, const struct lexicon_node *node,
                         size_t m, uint32_t hash)
{
    kw_grow(&s->nodes, &s->cap, s->n + 2, sizeof(*s->nodes));
    kw_grow(&s->hashes, &s->hashes_cap, s->n + 1, sizeof(*s->hashes));
    s->nodes[s->n] = *node;
    s->hashes[s->n] = hash;
    s->n_edges += m;
    return (uint32_t)s->n++;
}

static uint64_t hash_step(uint64_t h, uint32_t a, uint32_t b)
{
    h = (h ^ a) * UINT64_C(0x9E3779B97F4A7C15);
    h = ((h ^ h >> 32) + b) * UINT64_C(0xD6E8FEB86659FD93);
    return h ^ h >> 32;
}

/* Of what the node means and of the m edges behind those that are kept. */
static uint32_t hash_node(const struct shrinking *s,
                          const struct lexicon_node *node, size_t m)
{
    uint64_t h =
        hash_step(m, (uint32_t)node->all << 16 | node->langs, node->more);

    for (size_t i = 0; i < m; i++)
        h = hash_step(h, s->edges[s->n_edges + i].word,
                      s->edges[s->n_edges + i].to);
    return (uint32_t)h;
}

static uint32_t node_for(struct shrinking *s, const struct lexicon_node *node,
                         size_t m)
{
    uint32_t hash = hash_node(s, node, m);
    size_t at = hash & s->mask;

    for (; s->slots[at] != 0; at = (at + 1) & s->mask) {
        if (s->hashes[s->slots[at]] == hash &&
            is_same(s, s->slots[at], node, m))
            return s->slots[at];
    }
    s->slots[at] = add_node(s, node, m, hash);
    if (s->n * 2 > s->mask)
        more_slots(s, (s->mask + 1) * 2);
    return (uint32_t)s->n - 1;
}

/* Its children are done: they were made after it. */
static void shrink_node(struct shrinking *s, uint32_t i)
{
    struct lexicon_node node = s->lex->nodes[i];
    uint32_t from = s->first[i], m = s->first[i + 1] - from;

    node.edges = (uint32_t)s->n_edges;
    kw_grow(&s->edges, &s->edges_cap, s->n_edges + m, sizeof(*s->edges));
    for (uint32_t k = 0; k < m; k++) {
        uint32_t child = s->children[from + k];

        s->edges[s->n_edges + k] =
            (struct lexicon_edge){s->lex->paths[child].word, s->becomes[child]};
    }
    s->becomes[i] = node_for(s, &node, m);
}

static void put_back(struct shrinking *s, struct lexicon *lex)
{
    for (size_t i = 1; i < lex->n_words; i++)
        lex->words[i].root = s->becomes[lex->words[i].root];
    kw_free(lex->nodes);
    kw_free(lex->paths);
    kw_free(lex->steps);
    lex->paths = NULL;
    lex->steps = NULL;
    lex->step_mask = lex->paths_cap = 0;
    lex->n_entries = lex->n_nodes - 2;
    s->nodes[s->n] = (struct lexicon_node){.edges = (uint32_t)s->n_edges};
    lex->nodes = s->nodes;
    lex->n_nodes = s->n;
    lex->nodes_cap = s->cap;
    lex->edges = s->edges;
    lex->n_edges = s->n_edges;
}

void lexicon_shrink(struct lexicon *lex)
{
    const struct lexicon_node none = {0};
    struct shrinking s = {.lex = lex};

    sort_children(&s);
    s.becomes = kw_calloc(lex->n_nodes, sizeof(*s.becomes));
    kw_grow(&s.edges, &s.edges_cap, 1, sizeof(*s.edges));
    add_node(&s, &none, 0, 0); /* [0], and the root, which has none here */
    add_node(&s, &none, 0, 0);
    more_slots(&s, 1u << 12);
    for (uint32_t i = (uint32_t)lex->n_nodes - 1; i >= 2; i--)
        shrink_node(&s, i);
    put_back(&s, lex);
    kw_free(s.first);
    kw_free(s.children);
    kw_free(s.becomes);
    kw_free(s.hashes);
    kw_free(s.slots);
}
