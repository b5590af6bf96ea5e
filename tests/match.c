/*
 * match.c - see match.h. Rules are put in place where they are used, a part
 * before what follows it is made once for each such pair. The walk keeps the
 * ways it has not gone in a stack, and gives up after so many steps.
 */
#include "tests/match.h"

#include <string.h>

#define STEPS_MOST 100000 /* of a program */
#define WALK_MOST  20000  /* steps of one match; a sane text needs 100 */
/* In a set of what may come: nothing at all, the match may end here. */
#define MAY_END CONCEPT_NONE

enum step_type {
    STEP_DONE,
    STEP_TAKE,   /* a set that has one of `may` */
    STEP_MARK,   /* a rule begins or ends */
    STEP_CHOOSE, /* next, and if that leads nowhere, other */
};

struct step {
    struct concept_set may, may_other; /* what can come on that way */
    uint32_t next, other;
    uint16_t type, mark;
};

/* A way to begin: where, and what can come behind the first symbol. */
struct opening {
    uint32_t step;
    struct concept_set second;
};

struct match_program {
    struct step *steps;
    size_t n, cap;
    uint32_t start;
    struct opening *openings; /* by symbol, in the order of choice */
    size_t n_openings, openings_cap;
    uint32_t *begins; /* by symbol: where its openings begin */
};

struct made { /* the step of a node before a step, once it is there */
    uint64_t key;
    uint32_t step;
};

struct one_set { /* what is_one_set() found before */
    struct concept_set set;
    enum { NOT_KNOWN, ONE_SET, OTHERWISE } kind;
};

struct maker {
    const struct abnf *a;
    const struct match_target *target;
    struct fault_list *faults;
    struct match_program *p;
    struct made *made; /* open addressing */
    size_t made_mask, n_made;
    struct one_set *sets; /* by node */
    bool failed;
};

static uint32_t make(struct maker *m, int node, uint32_t next);

static void unfit(struct maker *m, int line, const char *text)
{
    if (!m->failed)
        fault_add(m->faults, m->a->file, line, "%s", text);
    m->failed = true;
}

static uint32_t step_add(struct maker *m, struct step s)
{
    struct match_program *p = m->p;

    if (p->n == STEPS_MOST) {
        unfit(m, 0,
              "the grammar is too much for the matcher; take out "
              "alternatives or repetitions");
        return 0;
    }
    kw_grow(&p->steps, &p->cap, p->n + 1, sizeof(*p->steps));
    p->steps[p->n] = s;
    return (uint32_t)p->n++;
}

/* What can come from a step on, as far as is known. */
static struct concept_set may_come(const struct match_program *p, uint32_t i)
{
    struct concept_set may = p->steps[i].may;

    if (p->steps[i].type == STEP_CHOOSE)
        concept_set_join(&may, &p->steps[i].may_other);
    return may;
}

static uint32_t make_choice(struct maker *m, uint32_t first, uint32_t other)
{
    return step_add(
        m, (struct step){.type = STEP_CHOOSE, .next = first, .other = other});
}

static bool is_one_set(struct maker *m, int i, struct concept_set *set);

static bool find_one_set(struct maker *m, int i, struct concept_set *set)
{
    const struct abnf_node *n = &m->a->nodes[i];
    const struct abnf_rule *r;

    switch (n->type) {
    case ABNF_PROSE:
        return m->target->prose(n->text, n->len, set);
    case ABNF_RULE_REF:
        r = &m->a->rules[n->rule];
        return m->target->rule(r->name) < 0 && is_one_set(m, r->body, set);
    case ABNF_CONCATENATION:
        return m->a->nodes[n->first].next == 0 && is_one_set(m, n->first, set);
    case ABNF_ALTERNATION:
        for (int k = n->first; k != 0; k = m->a->nodes[k].next) {
            if (!is_one_set(m, k, set))
                return false;
        }
        return true;
    default:
        return false;
    }
}

/*
 * Is the node one concept set, whatever way it is taken? Then alternatives
 * are one step. Adds it to the set.
 */
static bool is_one_set(struct maker *m, int i, struct concept_set *set)
{
    struct one_set *known = &m->sets[i];

    if (known->kind == NOT_KNOWN)
        known->kind = find_one_set(m, i, &known->set) ? ONE_SET : OTHERWISE;
    concept_set_join(set, &known->set);
    return known->kind == ONE_SET;
}

/* Alternatives from node i on. */
static uint32_t make_alternatives(struct maker *m, int i, uint32_t next)
{
    int other = m->a->nodes[i].next;
    uint32_t first = make(m, i, next);

    return other == 0
               ? first
               : make_choice(m, first, make_alternatives(m, other, next));
}

/* Node i and those beside it, the last first. */
static uint32_t make_row(struct maker *m, int i, uint32_t next)
{
    int rest = m->a->nodes[i].next;

    return make(m, i, rest == 0 ? next : make_row(m, rest, next));
}

static uint32_t make_rule(struct maker *m, const struct abnf_node *n,
                          uint32_t next)
{
    const struct abnf_rule *r = &m->a->rules[n->rule];
    int mark = m->target->rule(r->name);
    struct step s = {.type = STEP_MARK};

    if (mark < 0)
        return make(m, r->body, next);
    s.mark = (uint16_t)(mark * 2 + 1);
    s.next = next;
    s.next = make(m, r->body, step_add(m, s));
    s.mark = (uint16_t)(mark * 2);
    return step_add(m, s);
}

/* May the node be of nothing? */
static bool may_be_empty(const struct maker *m, int i)
{
    const struct abnf_node *n = &m->a->nodes[i];

    switch (n->type) {
    case ABNF_RULE_REF:
        return may_be_empty(m, m->a->rules[n->rule].body);
    case ABNF_REPETITION:
        return n->min == 0 || may_be_empty(m, n->first);
    case ABNF_CONCATENATION:
        for (int k = n->first; k != 0; k = m->a->nodes[k].next) {
            if (!may_be_empty(m, k))
                return false;
        }
        return true;
    case ABNF_ALTERNATION:
        for (int k = n->first; k != 0; k = m->a->nodes[k].next) {
            if (may_be_empty(m, k))
                return true;
        }
        return false;
    default:
        return false;
    }
}

static uint32_t make_repetition(struct maker *m, const struct abnf_node *n,
                                uint32_t next)
{
    uint32_t after = next, step = next;

    if (n->max < 0) {
        if (may_be_empty(m, n->first))
            unfit(m, n->line,
                  "a repetition without an end, of what may be nothing; "
                  "write how often at most");
        step = make_choice(m, 0, after);
        m->p->steps[step].next = m->failed ? 0 : make(m, n->first, step);
    }
    for (int i = n->min; i < n->max && !m->failed; i++)
        step = make_choice(m, make(m, n->first, step), after);
    for (int i = 0; i < n->min && !m->failed; i++)
        step = make(m, n->first, step);
    return step;
}

static uint32_t make_set(struct maker *m, int i, uint32_t next)
{
    const struct abnf_node *n = &m->a->nodes[i];
    struct step s = {.type = STEP_TAKE, .next = next};
    char text[160];

    if (is_one_set(m, i, &s.may))
        return step_add(m, s);
    if (n->type == ABNF_PROSE)
        snprintf(text, sizeof(text),
                 "there is no concept <%.*s>; docs/words.md lists them",
                 (int)(n->len < 60 ? n->len : 60), n->text);
    unfit(m, n->line,
          n->type == ABNF_PROSE
              ? text
              : "a report is read as concepts, not as letters; write <crack>, "
                "<number> …");
    return 0;
}

static uint32_t make_new(struct maker *m, int i, uint32_t next)
{
    const struct abnf_node *n = &m->a->nodes[i];
    struct concept_set set = {{0}};

    switch (n->type) {
    case ABNF_ALTERNATION:
        return is_one_set(m, i, &set) ? make_set(m, i, next)
                                      : make_alternatives(m, n->first, next);
    case ABNF_CONCATENATION:
        return make_row(m, n->first, next);
    case ABNF_REPETITION:
        return make_repetition(m, n, next);
    case ABNF_RULE_REF:
        return make_rule(m, n, next);
    default:
        return make_set(m, i, next);
    }
}

static struct made *find_made(struct maker *m, uint64_t key)
{
    size_t at = (size_t)(key * UINT64_C(0x9E3779B97F4A7C15) >> 24);

    while (m->made[at & m->made_mask].key != 0 &&
           m->made[at & m->made_mask].key != key)
        at++;
    return &m->made[at & m->made_mask];
}

static void grow_made(struct maker *m)
{
    struct made *old = m->made;
    size_t n = old == NULL ? 0 : m->made_mask + 1;

    m->made_mask = n == 0 ? 1023 : n * 4 - 1;
    m->made = kw_calloc(m->made_mask + 1, sizeof(*m->made));
    for (size_t i = 0; i < n; i++) {
        if (old[i].key != 0)
            *find_made(m, old[i].key) = old[i];
    }
    kw_free(old);
}

/* The step of a node before a step. */
static uint32_t make(struct maker *m, int node, uint32_t next)
{
    uint64_t key = (uint64_t)node << 32 | next;
    uint32_t step;

    if (m->failed)
        return 0;
    if (m->made == NULL || m->n_made * 2 > m->made_mask)
        grow_made(m);
    if (find_made(m, key)->key != 0)
        return find_made(m, key)->step;
    step = make_new(m, node, next);
    *find_made(m, key) = (struct made){key, step};
    m->n_made++;
    return step;
}

/* Tells each choice what can come on its ways; loops take more than once. */
static void spread(struct match_program *p)
{
    bool more = true;

    while (more) {
        more = false;
        for (size_t i = 0; i < p->n; i++) {
            struct step *s = &p->steps[i], old = *s;

            if (s->type != STEP_MARK && s->type != STEP_CHOOSE)
                continue;
            s->may = may_come(p, s->next);
            if (s->type == STEP_CHOOSE)
                s->may_other = may_come(p, s->other);
            more |= !concept_set_same(&s->may, &old.may) ||
                    !concept_set_same(&s->may_other, &old.may_other);
        }
    }
}

int match_compile(const struct abnf *a, const char *rule,
                  const struct match_target *target, struct fault_list *faults,
                  struct match_program **out)
{
    const struct abnf_rule *r = abnf_rule(a, rule, strlen(rule));
    struct match_program *p = kw_calloc(1, sizeof(*p));
    struct maker m = {.a = a, .target = target, .faults = faults, .p = p};
    struct abnf_node ref = {.type = ABNF_RULE_REF};
    struct step done = {.type = STEP_DONE};

    *out = NULL;
    m.sets = kw_calloc(a->n_nodes, sizeof(*m.sets));
    concept_set_add(&done.may, MAY_END);
    ref.rule = (int)(r - a->rules);
    p->start = make_rule(&m, &ref, step_add(&m, done));
    kw_free(m.made);
    kw_free(m.sets);
    if (m.failed) {
        match_free(p);
        return KW_ESYNTAX;
    }
    spread(p);
    *out = p;
    return 0;
}

void match_free(struct match_program *p)
{
    if (p == NULL)
        return;
    kw_free(p->steps);
    kw_free(p->openings);
    kw_free(p->begins);
    kw_free(p);
}

size_t match_steps(const struct match_program *p)
{
    return p->n;
}

/* Adds what can come behind the set, when it is taken from step i on. */
static void add_second(const struct match_program *p, uint32_t i,
                       const struct concept_set *set,
                       struct concept_set *second)
{
    const struct step *s = &p->steps[i];
    struct concept_set may = may_come(p, i);

    if (s->type == STEP_DONE)
        concept_set_add(second, MAY_END);
    if (s->type == STEP_DONE || !concept_set_meets(&may, set))
        return;
    if (s->type == STEP_TAKE) {
        may = may_come(p, s->next);
        concept_set_join(second, &may);
        return;
    }
    add_second(p, s->next, set, second);
    if (s->type == STEP_CHOOSE)
        add_second(p, s->other, set, second);
}

/* The openings from a step on that can begin with the set, first the first. */
static void add_openings(struct match_program *p, uint32_t i,
                         const struct concept_set *set)
{
    const struct step *s = &p->steps[i];
    struct opening *o;

    if (s->type == STEP_CHOOSE) {
        add_openings(p, s->next, set);
        add_openings(p, s->other, set);
    } else if (concept_set_meets(&s->may, set)) {
        kw_grow(&p->openings, &p->openings_cap, p->n_openings + 1,
                sizeof(*p->openings));
        o = &p->openings[p->n_openings++];
        *o = (struct opening){.step = i};
        add_second(p, i, set, &o->second);
    }
}

void match_prepare(struct match_program *p, const struct concept_set *sets,
                   size_t n_sets)
{
    p->begins = kw_calloc(n_sets + 1, sizeof(*p->begins));
    for (size_t i = 0; i < n_sets; i++) {
        p->begins[i] = (uint32_t)p->n_openings;
        add_openings(p, p->start, &sets[i]);
    }
    p->begins[n_sets] = (uint32_t)p->n_openings;
}

bool match_begins(const struct match_program *p, uint16_t symbol)
{
    return p->begins[symbol] < p->begins[symbol + 1];
}

/* What stands at a place; the end is there too, for what may end anywhere. */
static inline struct concept_set look(const struct match_row *row, size_t at)
{
    struct concept_set here = {{0}};

    if (at < row->n)
        here = row->sets[row->symbols[at]];
    concept_set_add(&here, MAY_END);
    return here;
}

/* Walks from a step on; *left is what may still be walked. */
static int walk(const struct match_program *p, struct match_scratch *s,
                const struct match_row *row, size_t at, uint32_t step,
                int *left)
{
    const struct step *k = &p->steps[step];
    struct concept_set here = look(row, at);
    size_t n_ways = 0;

    s->n_marks = 0;
    while (--*left > 0) {
        bool next = true;

        switch (k->type) {
        case STEP_TAKE:
            next = concept_set_meets(&here, &k->may);
            if (next)
                here = look(row, ++at);
            break;
        case STEP_MARK:
            if (s->n_marks == MATCH_MARKS_MOST)
                return KW_EFULL;
            s->marks[s->n_marks++] = (struct match_mark){k->mark, (uint16_t)at};
            break;
        case STEP_CHOOSE:
            next = concept_set_meets(&here, &k->may);
            if (!concept_set_meets(&here, &k->may_other))
                break;
            if (!next) {
                k = &p->steps[k->other];
                continue;
            }
            if (n_ways == MATCH_WAYS_MOST)
                return KW_EFULL;
            s->ways[n_ways++] = (struct match_way){k->other, (uint16_t)at,
                                                   (uint16_t)s->n_marks};
            break;
        default:
            s->to = at;
            return 1;
        }
        if (next) {
            k = &p->steps[k->next];
            continue;
        }
        if (n_ways == 0)
            return 0;
        n_ways--;
        k = &p->steps[s->ways[n_ways].step];
        at = s->ways[n_ways].at;
        here = look(row, at);
        s->n_marks = s->ways[n_ways].marks;
    }
    return KW_EFULL;
}

int match_at(const struct match_program *p, struct match_scratch *s,
             const struct match_row *row, size_t at)
{
    uint16_t symbol = row->symbols[at];
    int left = WALK_MOST;
    struct concept_set second = look(row, at + 1);

    for (uint32_t i = p->begins[symbol]; i < p->begins[symbol + 1]; i++) {
        const struct opening *o = &p->openings[i];
        int found = 0;

        if (concept_set_meets(&o->second, &second))
            found = walk(p, s, row, at, o->step, &left);
        if (found != 0)
            return found;
    }
    return 0;
}
