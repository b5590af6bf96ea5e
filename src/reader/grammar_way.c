/*
 * grammar_way.c - the patterns of the ways, compiled when they are first
 * needed: a text tries few of them, and all would cost a start 10 ms.
 */
#include "reader/grammar_parts.h"

#include "reader/abnf.h"

#include <pthread.h>
#include <stdatomic.h>
#include <string.h>

struct grammar_making {
    pthread_mutex_t lock; /* of whoever compiles */
    _Atomic(struct grammar_way *) ways[];
};

static const char *const rules[GRAMMAR_RULE_COUNT] = {
#define X(id, rule) rule,
    GRAMMAR_RULES(X)
#undef X
};

_Static_assert(GRAMMAR_RULE_COUNT <= 128, "a match has 128 bits");

const char *grammar_rule_name(enum grammar_rule r)
{
    return r < GRAMMAR_RULE_COUNT ? rules[r] : "";
}

unsigned grammar_rule_from_name(const char *name)
{
    for (unsigned i = 0; i < GRAMMAR_RULE_COUNT; i++) {
        if (strcmp(rules[i], name) == 0)
            return i;
    }
    return GRAMMAR_RULE_COUNT;
}

void grammar_making_begin(struct grammar *g)
{
    g->making = kw_calloc(1, sizeof(*g->making) +
                                 g->n_ways * sizeof(g->making->ways[0]));
    pthread_mutex_init(&g->making->lock, NULL);
    for (size_t i = 0; i < g->n_ways; i++)
        atomic_init(&g->making->ways[i], NULL);
}

/* "maybe_slow" of the pattern is the rule maybe-slow. */
static void map_groups(struct grammar_way *w)
{
    uint32_t n = 0, size = 0;
    PCRE2_SPTR entry = NULL;

    pcre2_pattern_info(w->code, PCRE2_INFO_CAPTURECOUNT, &w->groups);
    pcre2_pattern_info(w->code, PCRE2_INFO_NAMECOUNT, &n);
    pcre2_pattern_info(w->code, PCRE2_INFO_NAMEENTRYSIZE, &size);
    pcre2_pattern_info(w->code, PCRE2_INFO_NAMETABLE, &entry);
    w->rule_of = kw_calloc(w->groups + 1, sizeof(*w->rule_of));
    for (uint32_t i = 0; i <= w->groups; i++)
        w->rule_of[i] = GRAMMAR_RULE_COUNT;
    for (uint32_t i = 0; i < n; i++, entry += size) {
        char name[ABNF_NAME_CAP + 1];
        size_t len = 0;

        for (; entry[1 + len] != 0 && len < ABNF_NAME_CAP; len++)
            name[len] = entry[1 + len] == '_' ? '-' : (char)entry[1 + len];
        name[len] = '\0';
        w->rule_of[entry[0]] = (uint16_t)grammar_rule_from_name(name);
    }
}

/* The pattern is ASCII; wide is as long. */
static pcre2_code *compile_wide(const char *pattern, size_t len, int *code)
{
    PCRE2_UCHAR *wide = kw_calloc(len + 1, sizeof(*wide));
    PCRE2_SIZE at;
    pcre2_code *re;

    for (size_t i = 0; i < len; i++)
        wide[i] = (unsigned char)pattern[i];
    re =
        pcre2_compile(wide, len, PCRE2_ANCHORED | PCRE2_DUPNAMES | PCRE2_DOTALL,
                      code, &at, NULL);
    kw_free(wide);
    return re;
}

static struct grammar_way *make_way(const struct grammar *g,
                                    const struct way *w, int *code)
{
    pcre2_code *re = compile_wide(g->texts + w->text, w->len, code);
    struct grammar_way *made;
    PCRE2_SIZE size = 0;

    if (re == NULL)
        return NULL;
    made = kw_calloc(1, sizeof(*made));
    made->code = re;
    /* Slower without, else the same. */
    made->jit = pcre2_jit_compile(re, PCRE2_JIT_COMPLETE) == 0 &&
                pcre2_pattern_info(re, PCRE2_INFO_JITSIZE, &size) == 0 &&
                size > 0;
    map_groups(made);
    return made;
}

const struct grammar_way *grammar_way(const struct grammar *g, size_t way,
                                      int *code)
{
    _Atomic(struct grammar_way *) *at = &g->making->ways[way];
    struct grammar_way *made = atomic_load_explicit(at, memory_order_acquire);

    if (made != NULL)
        return made;
    pthread_mutex_lock(&g->making->lock);
    made = atomic_load_explicit(at, memory_order_relaxed);
    if (made == NULL) {
        made = make_way(g, &g->ways[way], code);
        atomic_store_explicit(at, made, memory_order_release);
    }
    pthread_mutex_unlock(&g->making->lock);
    return made;
}

static void free_ways(struct grammar *g)
{
    for (size_t i = 0; g->making != NULL && i < g->n_ways; i++) {
        struct grammar_way *w = atomic_load(&g->making->ways[i]);

        if (w == NULL)
            continue;
        pcre2_code_free(w->code);
        kw_free(w->rule_of);
        kw_free(w);
    }
    if (g->making != NULL)
        pthread_mutex_destroy(&g->making->lock);
    kw_free(g->making);
}

void grammar_free(struct grammar *g)
{
    if (g == NULL)
        return;
    free_ways(g);
    if (!g->borrowed) {
        kw_free(g->ways);
        kw_free(g->texts);
        kw_free(g->begins);
        kw_free(g->items);
        kw_free(g->seconds);
        kw_free(g->needs);
    }
    kw_free(g);
}
