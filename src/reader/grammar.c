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
#define PATTERN_MOST (1u << 22)
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

struct grammar {
    pcre2_code *code;
    uint32_t groups;   /* highest group number */
    uint16_t *rule_of; /* by group number; GRAMMAR_RULE_COUNT none */
    struct pattern_set begins;
};

struct grammar_scratch {
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
static void map_groups(struct grammar *g)
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

static int compile(const struct abnf *a, const struct lexicon *lex,
                   struct fault_list *faults, struct grammar **out)
{
    const struct pattern how = {prose, captures, lex};
    struct kw_buf pattern;
    struct grammar *g;
    int code = 0, err = 0;

    if (lex->n_sets > PATTERN_SYMBOLS_MOST) {
        fault_add(faults, a->file, 0,
                  "the words files need %zu sets of meanings; at most %d are "
                  "allowed, let fewer words mean several things",
                  lex->n_sets, PATTERN_SYMBOLS_MOST);
        return KW_ESYNTAX;
    }
    if (pattern_check(a, &how, faults) < 0)
        return KW_ESYNTAX;
    kw_buf_init(&pattern, PATTERN_MOST);
    pattern_write(a, "text", &how, &pattern);
    g = kw_calloc(1, sizeof(*g));
    if (pattern.err == 0)
        g->code = compile_wide(&pattern, &code);
    if (g->code == NULL) {
        err = too_much(a->file, code, faults);
        kw_free(g);
    } else {
        /* Slower without, else the same. */
        pcre2_jit_compile(g->code, PCRE2_JIT_COMPLETE);
        map_groups(g);
        pattern_begins(a, "text", &how, &g->begins);
        *out = g;
    }
    kw_buf_release(&pattern);
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
    pcre2_code_free(g->code);
    kw_free(g->rule_of);
    kw_free(g);
}

struct grammar_scratch *grammar_scratch_new(const struct grammar *g)
{
    struct grammar_scratch *s = kw_calloc(1, sizeof(*s));

    s->data = pcre2_match_data_create_from_pattern(g->code, NULL);
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
    kw_free(s);
}

/* What the groups say: of a rule in several groups, the last. */
static void take_groups(const struct grammar *g, const PCRE2_SIZE *where, int n,
                        struct grammar_match *m)
{
    m->from = where[0];
    m->to = where[1];
    m->said[0] = m->said[1] = 0;
    for (int i = 1; i < n; i++) {
        unsigned r = g->rule_of[i];

        if (where[2 * i] == PCRE2_UNSET || r == GRAMMAR_RULE_COUNT)
            continue;
        m->said[r / 64] |= UINT64_C(1) << (r % 64);
        m->first[r] = (uint16_t)where[2 * i];
        m->end[r] = (uint16_t)where[2 * i + 1];
    }
}

int grammar_next(const struct grammar *g, struct grammar_scratch *s,
                 const uint32_t *symbols, size_t n, size_t at,
                 struct grammar_match *m)
{
    for (; at < n; at++) {
        int rc;

        if (!pattern_set_has(&g->begins, symbols[at]))
            continue;
        rc = pcre2_match(g->code, symbols, n, at, PCRE2_NO_UTF_CHECK, s->data,
                         s->context);
        if (rc == PCRE2_ERROR_NOMATCH)
            continue;
        if (rc <= 0)
            return KW_EFULL;
        take_groups(g, pcre2_get_ovector_pointer(s->data), rc, m);
        return 1;
    }
    return 0;
}
