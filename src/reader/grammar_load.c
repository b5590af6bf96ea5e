/* grammar_load.c - report.abnf into the tables of grammar_parts.h. */
#include "reader/grammar_parts.h"

#include "base/file.h"
#include "reader/abnf.h"
#include "reader/pattern.h"

#include <errno.h>
#include <string.h>

#define FILE_MOST    (1u << 20)
#define PATTERN_MOST (1u << 22) /* of one way */
#define TEXTS_MOST   (1u << 28) /* of all */
#define FILE_CAP     1024

/* What can come behind the first symbol of a way. */
struct opening {
    uint16_t way;
    bool ends; /* or nothing need come */
    struct pattern_set first, second;
};

static bool captures(const char *rule)
{
    return grammar_rule_from_name(rule) < GRAMMAR_RULE_COUNT;
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
        const char *name = grammar_rule_name((enum grammar_rule)i);

        if (abnf_rule(a, name, strlen(name)) == NULL)
            fault_add(faults, file, 0,
                      "rule '%s' is missing; without it nobody can say it",
                      name);
    }
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

    x->failed |= g->n_ways == GRAMMAR_WAYS_MOST ||
                 pattern->len > TEXTS_MOST - g->n_texts;
    if (x->failed)
        return;
    kw_grow(&g->ways, &g->ways_cap, g->n_ways + 1, sizeof(*g->ways));
    g->ways[g->n_ways++] =
        (struct way){.text = (uint32_t)g->n_texts,
                     .len = (uint32_t)pattern->len,
                     .need = (uint32_t)x->n_needs,
                     .nothing = nothing,
                     .long_one = longest == 0 || longest > GRAMMAR_LOOK_OVER};
    kw_grow(&g->texts, &g->texts_cap, g->n_texts + pattern->len, 1);
    memcpy(g->texts + g->n_texts, pattern->data, pattern->len);
    g->n_texts += pattern->len;
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
    g->n_seconds = x->n;
    g->n_needs = x->n_needs;
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
    g->n_items = sum;
    g->items = kw_calloc(sum, sizeof(*g->items));
    sum = 0;
    for (size_t s = 0; s < n_symbols; s++) {
        g->begins[s] = sum;
        for (size_t i = 0; i < x->n; i++) {
            const struct opening *o = &x->openings[i];

            if (pattern_set_has(&o->first, (unsigned)s))
                g->items[sum++] = (struct begin){
                    .way = o->way, .ends = o->ends, .second = (uint32_t)i};
        }
    }
    g->begins[n_symbols] = sum;
}

/* All of them, so that what PCRE2 does not take is found here. */
static void compile_all(struct compiling *x)
{
    struct grammar *g = x->g;

    grammar_making_begin(g);
    for (size_t i = 0; i < g->n_ways && !x->failed; i++) {
        const struct grammar_way *w = grammar_way(g, i, &x->code);

        x->failed = w == NULL;
        if (w != NULL && w->groups > g->groups_most)
            g->groups_most = w->groups;
    }
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
    if (err == 0 && !x.failed)
        compile_all(&x);
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
