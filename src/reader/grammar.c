/* grammar.c - see grammar.h. */
#include "reader/grammar.h"
#include "base/file.h"
#include "reader/abnf.h"
#include "reader/match.h"

#include <errno.h>
#include <string.h>

#define FILE_MOST (1u << 20)
#define FILE_CAP  1024

static const char *const rules[GRAMMAR_RULE_COUNT] = {
#define X(id, rule) rule,
    GRAMMAR_RULES(X)
#undef X
};

_Static_assert(GRAMMAR_RULE_COUNT <= 128, "a match has 128 bits");

struct grammar {
    struct match_program *program;
};

struct grammar_scratch {
    struct match_scratch match;
};

const char *grammar_rule_name(enum grammar_rule r)
{
    return r < GRAMMAR_RULE_COUNT ? rules[r] : "";
}

static int rule_number(const char *name)
{
    for (int i = 0; i < GRAMMAR_RULE_COUNT; i++) {
        if (strcmp(rules[i], name) == 0)
            return i;
    }
    return -1;
}

/* <any> is whatever stands between the ends. */
static bool prose(const char *name, size_t len, struct concept_set *set)
{
    enum concept c = concept_from_name(name, len);

    if (len == 3 && memcmp(name, "any", 3) == 0) {
        for (int i = 1; i < CONCEPT_COUNT; i++) {
            if (i != CONCEPT_BEGIN && i != CONCEPT_END)
                concept_set_add(set, (enum concept)i);
        }
        return true;
    }
    if (c != CONCEPT_NONE)
        concept_set_add(set, c);
    return c != CONCEPT_NONE;
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

static int compile(const struct abnf *a, const struct lexicon *lex,
                   struct fault_list *faults, struct grammar **out)
{
    static const struct match_target target = {prose, rule_number};
    struct grammar *g = kw_calloc(1, sizeof(*g));

    if (match_compile(a, "text", &target, faults, &g->program) < 0) {
        kw_free(g);
        return KW_ESYNTAX;
    }
    match_prepare(g->program, lex->sets, lex->n_sets);
    *out = g;
    return 0;
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
    match_free(g->program);
    kw_free(g);
}

struct grammar_scratch *grammar_scratch_new(void)
{
    return kw_malloc(sizeof(struct grammar_scratch));
}

void grammar_scratch_free(struct grammar_scratch *s)
{
    kw_free(s);
}

/* What the marks of a match say: of a rule said twice, the last. */
static void take_marks(const struct match_scratch *s, struct grammar_match *m)
{
    m->to = s->to;
    m->said[0] = m->said[1] = 0;
    for (size_t i = 0; i < s->n_marks; i++) {
        unsigned r = s->marks[i].what / 2;

        if (s->marks[i].what % 2 == 0) {
            m->first[r] = s->marks[i].at;
            continue;
        }
        m->end[r] = s->marks[i].at;
        m->said[r / 64] |= UINT64_C(1) << (r % 64);
    }
}

int grammar_next(const struct grammar *g, struct grammar_scratch *s,
                 const struct match_row *row, size_t at,
                 struct grammar_match *m)
{
    for (; at < row->n; at++) {
        int found;

        if (!match_begins(g->program, row->symbols[at]))
            continue;
        found = match_at(g->program, &s->match, row, at);
        if (found == 0)
            continue;
        m->from = at;
        if (found > 0)
            take_marks(&s->match, m);
        return found;
    }
    return 0;
}
