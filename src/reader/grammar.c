/* grammar.c - see grammar.h. */
#define PCRE2_CODE_UNIT_WIDTH 8
#include "reader/grammar.h"
#include "base/file.h"
#include "reader/abnf.h"

#include <errno.h>
#include <pcre2.h>
#include <string.h>

#define FILE_MOST    (1u << 20)
#define PATTERN_MOST (1u << 20)
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
    uint32_t groups;  /* highest group number */
    uint8_t *rule_of; /* by group number; GRAMMAR_RULE_COUNT none */
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

static int rule_from_name(const char *name)
{
    for (int i = 0; i < GRAMMAR_RULE_COUNT; i++) {
        const char *a = rules[i], *b = name;

        while (*a != '\0' && (*a == *b || (*a == '-' && *b == '_'))) {
            a++;
            b++;
        }
        if (*a == *b)
            return i;
    }
    return GRAMMAR_RULE_COUNT;
}

static bool captures(void *to, const char *rule)
{
    (void)to;
    return rule_from_name(rule) < GRAMMAR_RULE_COUNT;
}

/* All octets whose sets hold the concept. */
static bool prose(void *to, const char *name, size_t len,
                  struct abnf_octets *set)
{
    const struct lexicon *lex = to;
    bool any = len == 3 && memcmp(name, "any", 3) == 0;
    enum concept c = concept_from_name(name, len);

    if (c == CONCEPT_NONE && !any)
        return false;
    for (size_t i = 1; i < lex->n_sets; i++) {
        if (any ? i != CONCEPT_BEGIN && i != CONCEPT_END
                : concept_set_has(&lex->sets[i], c))
            abnf_octets_add(set, (unsigned)i);
    }
    return true;
}

static void map_groups(struct grammar *g)
{
    uint32_t n = 0, size = 0;
    PCRE2_SPTR table = NULL;

    pcre2_pattern_info(g->code, PCRE2_INFO_CAPTURECOUNT, &g->groups);
    pcre2_pattern_info(g->code, PCRE2_INFO_NAMECOUNT, &n);
    pcre2_pattern_info(g->code, PCRE2_INFO_NAMEENTRYSIZE, &size);
    pcre2_pattern_info(g->code, PCRE2_INFO_NAMETABLE, &table);
    g->rule_of = kw_malloc(g->groups + 1);
    memset(g->rule_of, GRAMMAR_RULE_COUNT, g->groups + 1);
    for (uint32_t i = 0; i < n; i++) {
        const unsigned char *entry = table + i * size;
        unsigned group = (unsigned)entry[0] << 8 | entry[1];

        g->rule_of[group] = (uint8_t)rule_from_name((const char *)entry + 2);
    }
}

/* Every rule that carries meaning must be there, or it is lost unseen. */
static void check_rules(const struct abnf *a, const char *file,
                        struct fault_list *faults)
{
    for (int i = 0; i < GRAMMAR_RULE_COUNT; i++) {
        if (!abnf_has_rule(a, rules[i]))
            fault_add(faults, file, 0,
                      "rule '%s' is missing; without it nobody can say it",
                      rules[i]);
    }
}

static int compile(const char *file, const char *pattern,
                   struct fault_list *faults, struct grammar **out)
{
    int code;
    PCRE2_SIZE at;
    PCRE2_UCHAR text[200];
    struct grammar *g = kw_calloc(1, sizeof(*g));

    g->code = pcre2_compile((PCRE2_SPTR)pattern, PCRE2_ZERO_TERMINATED,
                            PCRE2_DUPNAMES | PCRE2_DOTALL, &code, &at, NULL);
    if (g->code == NULL) {
        pcre2_get_error_message(code, text, sizeof(text));
        fault_add(faults, file, 0,
                  "the grammar is too much for the matcher (%s); take out "
                  "alternatives or repetitions",
                  (const char *)text);
        kw_free(g);
        return KW_ESYNTAX;
    }
    pcre2_jit_compile(g->code, PCRE2_JIT_COMPLETE); /* slower without, else
                                                       the same */
    map_groups(g);
    *out = g;
    return 0;
}

int grammar_load(const char *folder, const struct lexicon *lex,
                 struct fault_list *faults, struct grammar **out)
{
    char path[FILE_CAP], *data = NULL;
    struct abnf *a = NULL;
    struct kw_buf pattern;
    struct abnf_target target = {
        prose, captures,
        "a report is read as concepts, not as letters; write <crack>, "
        "<number> …",
        (void *)(uintptr_t)lex};
    size_t len, before;
    int err;

    *out = NULL;
    kw_buf_init(&pattern, PATTERN_MOST);
    if (file_join(path, sizeof(path), folder, "report.abnf") < 0 ||
        file_read(path, FILE_MOST, &data, &len) < 0) {
        fault_add(faults, folder, 0, "report.abnf cannot be read: %s",
                  strerror(errno));
        return KW_EIO;
    }
    if ((err = abnf_parse(path, data, len, faults, &a)) < 0)
        goto done;
    before = faults->n;
    check_rules(a, path, faults);
    err = abnf_pattern(a, "text", &target, faults, &pattern);
    if (err == KW_EFULL)
        fault_add(faults, path, 0,
                  "written out, the grammar is longer than %u octets; take "
                  "out alternatives",
                  PATTERN_MOST);
    if (err == 0 && faults->n == before)
        err = compile(path, kw_buf_text(&pattern), faults, out);
    else
        err = KW_ESYNTAX;
done:
    kw_buf_release(&pattern);
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

int grammar_next(const struct grammar *g, struct grammar_scratch *s,
                 const uint8_t *octets, size_t n, size_t at,
                 struct grammar_match *m)
{
    int rc = pcre2_match(g->code, octets, n, at, PCRE2_NO_UTF_CHECK, s->data,
                         s->context);
    const PCRE2_SIZE *where = pcre2_get_ovector_pointer(s->data);

    if (rc == PCRE2_ERROR_NOMATCH)
        return 0;
    if (rc <= 0)
        return KW_EFULL;
    m->from = where[0];
    m->to = where[1];
    m->said[0] = m->said[1] = 0;
    for (int i = 1; i < rc; i++) {
        unsigned r = g->rule_of[i];

        if (where[2 * i] == PCRE2_UNSET || r == GRAMMAR_RULE_COUNT)
            continue;
        m->said[r / 64] |= UINT64_C(1) << (r % 64);
        m->first[r] = (uint16_t)where[2 * i];
        m->end[r] = (uint16_t)where[2 * i + 1];
    }
    return 1;
}
