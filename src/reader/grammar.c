/* grammar.c - see grammar.h. */
#define PCRE2_CODE_UNIT_WIDTH 32
#include "reader/grammar.h"
#include "base/file.h"
#include "reader/abnf.h"
#include "reader/pattern.h"

#include <errno.h>
#include <pcre2.h>
#include <string.h>

#define FILE_MOST    (1u << 20)
#define PATTERN_MOST (1u << 22) /* of one way */
#define WAYS_MOST    4096
#define LOOK_OVER    24 /* symbols that are looked over before a try */
#define FILE_CAP     1024
#define MATCH_LIMIT  200000 /* steps of one match; a sane text needs 100 */
#define DEPTH_LIMIT  2000
#define JIT_STACK    (256u * 1024)

static const char *const rules[GRAMMAR_RULE_COUNT] = {
#define X(id, rule) rule,
    GRAMMAR_RULES(X)
#undef X
};

_Static_assert(GRAMMAR_RULE_COUNT <= 128, "a match has 128 bits");

/*
 * One of the alternatives that a text may be, each a pattern of its own: a
 * try costs what its groups cost, and most need not be tried.
 */
struct way {
    pcre2_code *code;
    bool jit;
    bool nothing; /* matches without a symbol, too */
    /* A match has a symbol of each of these sets; not
     * looked for when it may be longer than what is looked over. */
    uint32_t need, n_needs;
    bool long_one;
    uint32_t groups;   /* highest group number */
    uint16_t *rule_of; /* by group number; GRAMMAR_RULE_COUNT none */
};

/* What can come behind the first symbol of a way. */
struct opening {
    uint16_t way;
    bool ends; /* or nothing need come */
    struct pattern_set first, second;
};

struct begin { /* a way that can begin with a symbol */
    uint16_t way;
    bool ends;
    uint32_t second; /* index of what can come behind it, when not ends */
};

struct grammar {
    struct way *ways; /* in the order of choice */
    size_t n_ways, ways_cap;
    uint32_t *begins; /* by symbol: where its items begin; one more */
    struct begin *items;
    uint64_t *seconds; /* sets, each of set_words */
    uint64_t *needs;   /* the same */
    size_t n_symbols, set_words;
};

struct grammar_scratch {
    uint64_t *over; /* set of the symbols that stand from a place on */
    pcre2_match_data *data;
    pcre2_match_context *context;
    pcre2_jit_stack *stack;
};

const char *grammar_rule_name(enum grammar_rule r)
{
    return r < GRAMMAR_RULE_COUNT ? rules[r] : "";
}

static unsigned rule_from_name(const char *name)
{
    for (unsigned i = 0; i < GRAMMAR_RULE_COUNT; i++) {
        if (strcmp(rules[i], name) == 0)
            return i;
    }
    return GRAMMAR_RULE_COUNT;
}

static bool captures(const char *rule)
{
    return rule_from_name(rule) < GRAMMAR_RULE_COUNT;
}

/* All symbols whose sets hold the concept; <any> stands between the ends. */
static bool prose(const void *to, const char *name, size_t len,
                  struct pattern_set *set)
{
    const struct lexicon *lex = to;
    bool any = len == 3 && memcmp(name, "any", 3) == 0;
    enum concept c = concept_from_name(name, len);

    if (c == CONCEPT_NONE && !any)
        return false;
    for (size_t i = 1; i < lex->n_sets; i++) {
        if (any ? i != CONCEPT_BEGIN && i != CONCEPT_END
                : concept_set_has(&lex->sets[i], c))
            pattern_set_add(set, (unsigned)i);
    }
    return true;
}

/* Every rule that carries meaning must be there, or it is lost unseen. */
static void check_rules(const struct abnf *a, const char *file,
                        struct fault_list *faults)
{
    for (int i = 0; i < GRAMMAR_RULE_COUNT; i++) {
        if (abnf_rule(a, rules[i], strlen(rules[i])) == NULL)
            fault_add(faults, file, 0,
                      "rule '%s' is missing; without it nobody can say it",
                      rules[i]);
    }
}

/* "maybe_slow" of the pattern is the rule maybe-slow. */
static void map_groups(struct way *g)
{
    uint32_t n = 0, size = 0;
    PCRE2_SPTR entry = NULL;

    pcre2_pattern_info(g->code, PCRE2_INFO_CAPTURECOUNT, &g->groups);
    pcre2_pattern_info(g->code, PCRE2_INFO_NAMECOUNT, &n);
    pcre2_pattern_info(g->code, PCRE2_INFO_NAMEENTRYSIZE, &size);
    pcre2_pattern_info(g->code, PCRE2_INFO_NAMETABLE, &entry);
    g->rule_of = kw_calloc(g->groups + 1, sizeof(*g->rule_of));
    for (uint32_t i = 0; i <= g->groups; i++)
        g->rule_of[i] = GRAMMAR_RULE_COUNT;
    for (uint32_t i = 0; i < n; i++, entry += size) {
        char name[ABNF_NAME_CAP + 1];
        size_t len = 0;

        for (; entry[1 + len] != 0 && len < ABNF_NAME_CAP; len++)
            name[len] = entry[1 + len] == '_' ? '-' : (char)entry[1 + len];
        name[len] = '\0';
        g->rule_of[entry[0]] = (uint16_t)rule_from_name(name);
    }
}

/* The pattern is ASCII; wide is as long. */
static pcre2_code *compile_wide(const struct kw_buf *pattern, int *code)
{
    PCRE2_UCHAR *wide = kw_calloc(pattern->len + 1, sizeof(*wide));
    PCRE2_SIZE at;
    pcre2_code *re;

    for (size_t i = 0; i < pattern->len; i++)
        wide[i] = (unsigned char)pattern->data[i];
    re = pcre2_compile(wide, pattern->len,
                       PCRE2_ANCHORED | PCRE2_DUPNAMES | PCRE2_DOTALL, code,
                       &at, NULL);
    kw_free(wide);
    return re;
}

static int too_much(const char *file, int code, struct fault_list *faults)
{
    PCRE2_UCHAR wide[200] = {0};
    char text[200] = "";

    pcre2_get_error_message(code, wide, KW_COUNT(wide));
    for (size_t i = 0; i + 1 < sizeof(text) && wide[i] != 0; i++)
        text[i] = (char)wide[i];
    fault_add(faults, file, 0,
              "the grammar is too much for the matcher (%s); take out "
              "alternatives or repetitions",
              text);
    return KW_ESYNTAX;
}

struct compiling {
    struct grammar *g;
    struct opening *openings;
    size_t n, cap;
    struct pattern_set *needs;
    size_t n_needs, needs_cap;
    int code; /* of PCRE2, when a way failed */
    bool failed;
};

static void add_way(void *to, const struct kw_buf *pattern, bool nothing,
                    size_t longest)
{
    struct compiling *x = to;
    struct grammar *g = x->g;
    struct way *w;
    PCRE2_SIZE size = 0;

    x->failed |= g->n_ways == WAYS_MOST;
    if (x->failed)
        return;
    kw_grow(&g->ways, &g->ways_cap, g->n_ways + 1, sizeof(*g->ways));
    w = &g->ways[g->n_ways];
    *w = (struct way){.nothing = nothing,
                      .long_one = longest == 0 || longest > LOOK_OVER,
                      .need = (uint32_t)x->n_needs};
    if ((w->code = compile_wide(pattern, &x->code)) == NULL) {
        x->failed = true;
        return;
    }
    g->n_ways++;
    /* Slower without, else the same. */
    w->jit = pcre2_jit_compile(w->code, PCRE2_JIT_COMPLETE) == 0 &&
             pcre2_pattern_info(w->code, PCRE2_INFO_JITSIZE, &size) == 0 &&
             size > 0;
    map_groups(w);
}

static void add_opening(void *to, const struct pattern_opening *o)
{
    struct compiling *x = to;

    if (x->failed)
        return;
    kw_grow(&x->openings, &x->cap, x->n + 1, sizeof(*x->openings));
    x->openings[x->n++] = (struct opening){(uint16_t)(x->g->n_ways - 1),
                                           o->ends, o->first, o->second};
}

static void add_need(void *to, const struct pattern_set *set)
{
    struct compiling *x = to;

    if (x->failed || x->n_needs == UINT32_MAX)
        return;
    kw_grow(&x->needs, &x->needs_cap, x->n_needs + 1, sizeof(*x->needs));
    x->needs[x->n_needs++] = *set;
    x->g->ways[x->g->n_ways - 1].n_needs++;
}

/* A way that may be nothing is tried wherever another may begin. */
static void open_nothings(struct compiling *x)
{
    struct pattern_set all = {{0}};

    for (size_t i = 0; i < x->n; i++) {
        for (size_t k = 0; k < KW_COUNT(all.bits); k++)
            all.bits[k] |= x->openings[i].first.bits[k];
    }
    for (size_t i = 0; i < x->n; i++) {
        if (x->g->ways[x->openings[i].way].nothing) {
            x->openings[i].first = all;
            x->openings[i].ends = true;
        }
    }
}

/* By symbol, the ways that can begin with it: counted, then laid down. */
static void index_openings(struct compiling *x, size_t n_symbols)
{
    struct grammar *g = x->g;
    uint32_t sum = 0;

    g->n_symbols = n_symbols;
    g->set_words = (n_symbols + 63) / 64;
    g->begins = kw_calloc(n_symbols + 1, sizeof(*g->begins));
    g->seconds = kw_calloc(x->n * g->set_words, sizeof(*g->seconds));
    g->needs = kw_calloc(x->n_needs * g->set_words, sizeof(*g->needs));
    for (size_t i = 0; i < x->n_needs; i++)
        memcpy(g->needs + i * g->set_words, x->needs[i].bits,
               g->set_words * sizeof(*g->needs));
    for (size_t i = 0; i < x->n; i++) {
        memcpy(g->seconds + i * g->set_words, x->openings[i].second.bits,
               g->set_words * sizeof(*g->seconds));
        for (size_t s = 0; s < n_symbols; s++)
            sum += pattern_set_has(&x->openings[i].first, (unsigned)s);
    }
    g->items = kw_calloc(sum, sizeof(*g->items));
    sum = 0;
    for (size_t s = 0; s < n_symbols; s++) {
        g->begins[s] = sum;
        for (size_t i = 0; i < x->n; i++) {
            const struct opening *o = &x->openings[i];

            if (pattern_set_has(&o->first, (unsigned)s))
                g->items[sum++] = (struct begin){o->way, o->ends, (uint32_t)i};
        }
    }
    g->begins[n_symbols] = sum;
}

static int compile(const struct abnf *a, const struct lexicon *lex,
                   struct fault_list *faults, struct grammar **out)
{
    const struct pattern how = {prose, captures, lex};
    struct compiling x = {0};
    const struct pattern_ways ways = {add_way, add_opening, add_need, &x};
    int err;

    if (lex->n_sets > PATTERN_SYMBOLS_MOST) {
        fault_add(faults, a->file, 0,
                  "the words files need %zu sets of meanings; at most %d are "
                  "allowed, let fewer words mean several things",
                  lex->n_sets, PATTERN_SYMBOLS_MOST);
        return KW_ESYNTAX;
    }
    if (pattern_check(a, &how, faults) < 0)
        return KW_ESYNTAX;
    x.g = kw_calloc(1, sizeof(*x.g));
    err = pattern_take_ways(a, "text", &how, PATTERN_MOST, &ways);
    if (err < 0 || x.failed) {
        err = too_much(a->file, x.code, faults);
        grammar_free(x.g);
    } else {
        open_nothings(&x);
        index_openings(&x, lex->n_sets);
        *out = x.g;
    }
    kw_free(x.openings);
    kw_free(x.needs);
    return err;
}

int grammar_load(const char *folder, const struct lexicon *lex,
                 struct fault_list *faults, struct grammar **out)
{
    char path[FILE_CAP], *data = NULL;
    struct abnf *a = NULL;
    size_t len, before = faults->n + faults->dropped;
    int err;

    *out = NULL;
    if (file_join(path, sizeof(path), folder, "report.abnf") < 0 ||
        file_read(path, FILE_MOST, &data, &len) < 0) {
        fault_add(faults, folder, 0, "report.abnf cannot be read: %s",
                  strerror(errno));
        return KW_EIO;
    }
    err = abnf_parse(path, data, len, faults, &a);
    if (err == 0) {
        check_rules(a, path, faults);
        err = abnf_check(a, "text", faults);
    }
    if (err == 0 && faults->n + faults->dropped == before)
        err = compile(a, lex, faults, out);
    else
        err = KW_ESYNTAX;
    abnf_free(a);
    kw_free(data);
    return err;
}

void grammar_free(struct grammar *g)
{
    if (g == NULL)
        return;
    for (size_t i = 0; i < g->n_ways; i++) {
        pcre2_code_free(g->ways[i].code);
        kw_free(g->ways[i].rule_of);
    }
    kw_free(g->ways);
    kw_free(g->begins);
    kw_free(g->items);
    kw_free(g->seconds);
    kw_free(g->needs);
    kw_free(g);
}

struct grammar_scratch *grammar_scratch_new(const struct grammar *g)
{
    struct grammar_scratch *s = kw_calloc(1, sizeof(*s));
    uint32_t groups = 0;

    for (size_t i = 0; i < g->n_ways; i++) {
        if (g->ways[i].groups > groups)
            groups = g->ways[i].groups;
    }
    s->over = kw_calloc(g->set_words, sizeof(*s->over));
    s->data = pcre2_match_data_create(groups + 1, NULL);
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
    kw_free(s);
}

/* What the groups say: of a rule in several groups, the last. */
static void take_groups(const struct way *w, const PCRE2_SIZE *where, int n,
                        struct grammar_match *m)
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

static int try_way(const struct way *w, struct grammar_scratch *s,
                   const uint32_t *symbols, size_t n, size_t at)
{
    if (w->jit)
        return pcre2_jit_match(w->code, symbols, n, at, 0, s->data, s->context);
    return pcre2_match(w->code, symbols, n, at, PCRE2_NO_UTF_CHECK, s->data,
                       s->context);
}

/* Can the way go on with the second symbol? */
static inline bool goes_on(const struct grammar *g, const struct begin *b,
                           const uint32_t *symbols, size_t n, size_t at)
{
    const uint64_t *set = g->seconds + b->second * g->set_words;

    return b->ends ||
           (at + 1 < n &&
            (set[symbols[at + 1] / 64] >> (symbols[at + 1] % 64) & 1));
}

/* Looks over what stands from a place on, as far as most ways can go. */
static void look_over(const struct grammar *g, struct grammar_scratch *s,
                      const uint32_t *symbols, size_t n, size_t at)
{
    size_t end = n - at < LOOK_OVER ? n : at + LOOK_OVER;

    memset(s->over, 0, g->set_words * sizeof(*s->over));
    for (; at < end; at++)
        s->over[symbols[at] / 64] |= UINT64_C(1) << (symbols[at] % 64);
}

/* Does all that the way needs stand there? */
static bool has_needs(const struct grammar *g, const struct grammar_scratch *s,
                      const struct way *w)
{
    const uint64_t *need = g->needs + w->need * g->set_words;

    for (size_t i = 0; i < w->n_needs; i++) {
        uint64_t both = 0;

        for (size_t k = 0; k < g->set_words; k++)
            both |= *need++ & s->over[k];
        if (both == 0)
            return false;
    }
    return true;
}

/* At one place: as grammar_next(). */
static int match_at(const struct grammar *g, struct grammar_scratch *s,
                    const uint32_t *symbols, size_t n, size_t at,
                    struct grammar_match *m)
{
    const struct begin *b = g->items + g->begins[symbols[at]],
                       *end = g->items + g->begins[symbols[at] + 1];
    size_t tried = g->n_ways;
    bool looked = false;

    for (; b < end; b++) {
        const struct way *w = &g->ways[b->way];
        int rc;

        if (b->way == tried || !goes_on(g, b, symbols, n, at))
            continue;
        tried = b->way;
        if (w->n_needs > 0 && !w->long_one) {
            if (!looked)
                look_over(g, s, symbols, n, at);
            looked = true;
            if (!has_needs(g, s, w))
                continue;
        }
        rc = try_way(w, s, symbols, n, at);
        if (rc == PCRE2_ERROR_NOMATCH)
            continue;
        if (rc <= 0)
            return KW_EFULL;
        take_groups(w, pcre2_get_ovector_pointer(s->data), rc, m);
        return 1;
    }
    return 0;
}

int grammar_next(const struct grammar *g, struct grammar_scratch *s,
                 const uint32_t *symbols, size_t n, size_t at,
                 struct grammar_match *m)
{
    for (int found; at < n; at++) {
        if ((found = match_at(g, s, symbols, n, at, m)) != 0)
            return found;
    }
    return 0;
}
