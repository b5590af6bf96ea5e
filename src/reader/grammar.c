/* grammar.c - see grammar.h: the matching. grammar_load.c reads the file. */
#include "reader/grammar_memo.h"
#include "reader/grammar_parts.h"

#include <string.h>

#define MATCH_LIMIT 200000 /* steps of one match; a sane text needs 100 */
#define DEPTH_LIMIT 2000
#define JIT_STACK   (256u * 1024)
#define PAIRS       256 /* of symbols, whose ways are remembered */
#define NO_SECOND   0xFFFFu

struct grammar_scratch {
    struct grammar_memo *memo;
    uint32_t *pairs; /* first symbol << 16 | second; 0 nothing yet */
    uint64_t *open;  /* of each of them: set of the ways it can begin */
    uint64_t *over;  /* set of the symbols that stand from a place on */
    pcre2_match_data *data;
    pcre2_match_context *context;
    pcre2_jit_stack *stack;
};

/* Words of a set of ways. */
static size_t way_words(const struct grammar *g)
{
    return (g->n_ways + 63) / 64;
}

struct grammar_scratch *grammar_scratch_new(const struct grammar *g)
{
    struct grammar_scratch *s = kw_calloc(1, sizeof(*s));

    s->memo = grammar_memo_new();
    s->pairs = kw_calloc(PAIRS, sizeof(*s->pairs));
    s->open = kw_calloc(PAIRS * way_words(g), sizeof(*s->open));
    s->over = kw_calloc(g->set_words, sizeof(*s->over));
    s->data = pcre2_match_data_create(g->groups_most + 1, NULL);
    s->context = pcre2_match_context_create(NULL);
    s->stack = pcre2_jit_stack_create(32 * 1024, JIT_STACK, NULL);
    if (s->data == NULL || s->context == NULL) {
        grammar_scratch_free(s);
        return NULL;
    }
    pcre2_set_match_limit(s->context, MATCH_LIMIT);
    pcre2_set_depth_limit(s->context, DEPTH_LIMIT);
    if (s->stack != NULL)
        pcre2_jit_stack_assign(s->context, NULL, s->stack);
    return s;
}

void grammar_scratch_free(struct grammar_scratch *s)
{
    if (s == NULL)
        return;
    pcre2_match_data_free(s->data);
    pcre2_match_context_free(s->context);
    pcre2_jit_stack_free(s->stack);
    kw_free(s->over);
    grammar_memo_free(s->memo);
    kw_free(s->pairs);
    kw_free(s->open);
    kw_free(s);
}

/* What the groups say: of a rule in several groups, the last. */
static void take_groups(const struct grammar_way *w, const PCRE2_SIZE *where,
                        int n, struct grammar_match *m)
{
    m->from = where[0];
    m->to = where[1];
    m->said[0] = m->said[1] = 0;
    for (int i = 1; i < n; i++) {
        unsigned r = w->rule_of[i];

        if (where[2 * i] == PCRE2_UNSET || r == GRAMMAR_RULE_COUNT)
            continue;
        m->said[r / 64] |= UINT64_C(1) << (r % 64);
        m->first[r] = (uint16_t)where[2 * i];
        m->end[r] = (uint16_t)where[2 * i + 1];
    }
}

static int try_way(const struct grammar_way *w, struct grammar_scratch *s,
                   const uint32_t *symbols, size_t n, size_t at)
{
    if (w->jit)
        return pcre2_jit_match(w->code, symbols, n, at, 0, s->data, s->context);
    return pcre2_match(w->code, symbols, n, at, PCRE2_NO_UTF_CHECK, s->data,
                       s->context);
}

/* The ways that can begin with one symbol and go on with a second one. */
static void find_open(const struct grammar *g, uint32_t first, uint32_t second,
                      uint64_t *open)
{
    const struct begin *b = g->items + g->begins[first],
                       *end = g->items + g->begins[first + 1];

    memset(open, 0, way_words(g) * sizeof(*open));
    for (; b < end; b++) {
        const uint64_t *set = g->seconds + b->second * g->set_words;

        if (b->ends ||
            (second != NO_SECOND && (set[second / 64] >> (second % 64) & 1)))
            open[b->way / 64] |= UINT64_C(1) << (b->way % 64);
    }
}

/* Those at a place, remembered. */
static const uint64_t *open_at(const struct grammar *g,
                               struct grammar_scratch *s,
                               const uint32_t *symbols, size_t n, size_t at)
{
    uint32_t first = symbols[at],
             second = at + 1 < n ? symbols[at + 1] : NO_SECOND;
    uint32_t pair = first << 16 | second;
    size_t i = pair * 0x9E3779B1u >> 24;
    uint64_t *open = s->open + i * way_words(g);

    if (s->pairs[i] != pair) {
        find_open(g, first, second, open);
        s->pairs[i] = pair;
    }
    return open;
}

/* Looks over what stands from a place on, as far as most ways can go. */
static void look_over(const struct grammar *g, struct grammar_scratch *s,
                      const uint32_t *symbols, size_t n, size_t at)
{
    size_t end = n - at < GRAMMAR_LOOK_OVER ? n : at + GRAMMAR_LOOK_OVER;

    memset(s->over, 0, g->set_words * sizeof(*s->over));
    for (; at < end; at++)
        s->over[symbols[at] / 64] |= UINT64_C(1) << (symbols[at] % 64);
}

/* Does all that the way needs stand there? */
static bool has_needs(const struct grammar *g, const struct grammar_scratch *s,
                      const struct way *w)
{
    const uint64_t *need = g->needs + w->need * g->set_words;

    for (size_t i = 0; i < w->n_needs; i++, need += g->set_words) {
        size_t k = 0;

        while (k < g->set_words && (need[k] & s->over[k]) == 0)
            k++;
        if (k == g->set_words)
            return false;
    }
    return true;
}

/* One way at a place: 1 it matches, 0 not, KW_EFULL. */
static int match_way(const struct grammar *g, struct grammar_scratch *s,
                     const uint32_t *symbols, size_t n, size_t at, size_t way,
                     struct grammar_match *m)
{
    int rc = 0;
    const struct grammar_way *made = grammar_way(g, way, &rc);

    if (made == NULL)
        return KW_EFULL;
    rc = try_way(made, s, symbols, n, at);
    if (rc == PCRE2_ERROR_NOMATCH)
        return 0;
    if (rc <= 0)
        return KW_EFULL;
    take_groups(made, pcre2_get_ovector_pointer(s->data), rc, m);
    return 1;
}

/* At one place: as grammar_next(). */
static int match_at(const struct grammar *g, struct grammar_scratch *s,
                    const uint32_t *symbols, size_t n, size_t at,
                    struct grammar_match *m)
{
    const uint64_t *open = open_at(g, s, symbols, n, at);
    bool looked = false;

    for (size_t k = 0; k < way_words(g); k++) {
        for (uint64_t ways = open[k]; ways != 0; ways &= ways - 1) {
            size_t way = k * 64 + (size_t)__builtin_ctzll(ways);
            const struct way *w = &g->ways[way];
            int found;

            if (w->n_needs > 0 && !w->long_one) {
                if (!looked)
                    look_over(g, s, symbols, n, at);
                looked = true;
                if (!has_needs(g, s, w))
                    continue;
            }
            if ((found = match_way(g, s, symbols, n, at, way, m)) != 0)
                return found;
        }
    }
    return 0;
}

/* The same, remembered where little is left of the row. */
static int match_or_recall(const struct grammar *g, struct grammar_scratch *s,
                           const uint32_t *symbols, size_t n, size_t at,
                           struct grammar_match *m)
{
    int found;

    if (g->begins[symbols[at]] == g->begins[symbols[at] + 1])
        return 0;
    if (n - at > GRAMMAR_MEMO_LONGEST)
        return match_at(g, s, symbols, n, at, m);
    found = grammar_memo_find(s->memo, symbols + at, n - at, at, m);
    if (found != KW_ENOENT)
        return found;
    found = match_at(g, s, symbols, n, at, m);
    if (found >= 0)
        grammar_memo_keep(s->memo, symbols + at, n - at, found, m);
    return found;
}

int grammar_next(const struct grammar *g, struct grammar_scratch *s,
                 const uint32_t *symbols, size_t n, size_t at,
                 struct grammar_match *m)
{
    for (int found; at < n; at++) {
        if ((found = match_or_recall(g, s, symbols, n, at, m)) != 0)
            return found;
    }
    return 0;
}
