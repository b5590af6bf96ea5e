/* abnf.c - see abnf.h: rules by their names, and what no grammar may say. */
#include "reader/abnf.h"

#include <ctype.h>
#include <string.h>

#define DEPTH_MOST 60 /* rules in rules */

void abnf_free(struct abnf *a)
{
    if (a == NULL)
        return;
    kw_free(a->file);
    kw_free(a->data);
    kw_free(a->nodes);
    kw_free(a->rules);
    kw_free(a);
}

struct abnf_rule *abnf_rule(const struct abnf *a, const char *name, size_t len)
{
    for (size_t i = 0; i < a->n_rules; i++) {
        const char *have = a->rules[i].name;
        size_t k = 0;

        while (k < len && have[k] != '\0' &&
               tolower((unsigned char)have[k]) ==
                   tolower((unsigned char)name[k]))
            k++;
        if (k == len && have[k] == '\0')
            return &a->rules[i];
    }
    return NULL;
}

struct check {
    struct abnf *a;
    struct fault_list *faults;
    bool failed;
};

static void check_node(struct check *c, int i, int *depth);

/* How deep rules stand in rules below this one. */
static int check_rule(struct check *c, const struct abnf_node *ref,
                      struct abnf_rule *r)
{
    int below = 0;

    if (r->state == ABNF_OPEN || r->depth >= DEPTH_MOST) {
        fault_add(c->faults, c->a->file, ref->line,
                  r->state == ABNF_OPEN
                      ? "rule '%s' leads to itself; write it as a repetition "
                        "n*m instead"
                      : "rule '%s' has rules in rules too deep; write some "
                        "of them out",
                  r->name);
        c->failed = true;
        return 0;
    }
    if (r->state == ABNF_UNUSED) {
        r->state = ABNF_OPEN;
        check_node(c, r->body, &below);
        r->state = ABNF_USED;
        r->depth = below + 1;
    }
    return r->depth;
}

/* The node, those below it, and those beside it. */
static void check_node(struct check *c, int i, int *depth)
{
    for (; i != 0; i = c->a->nodes[i].next) {
        struct abnf_node *n = &c->a->nodes[i];
        struct abnf_rule *r;
        int below;

        if (n->type != ABNF_RULE_REF) {
            check_node(c, n->first, depth);
            continue;
        }
        r = abnf_rule(c->a, n->text, n->len);
        if (r == NULL) {
            fault_add(c->faults, c->a->file, n->line,
                      "rule '%.*s' is not defined; define it, or write "
                      "<%.*s> if the concept is meant",
                      (int)n->len, n->text, (int)n->len, n->text);
            c->failed = true;
            continue;
        }
        n->rule = (int)(r - c->a->rules);
        below = check_rule(c, n, r);
        if (below > *depth)
            *depth = below;
    }
}

int abnf_check(struct abnf *a, const char *start, struct fault_list *faults)
{
    struct check c = {a, faults, false};
    struct abnf_node ref = {.text = start, .len = strlen(start)};
    struct abnf_rule *first = abnf_rule(a, start, ref.len);

    if (first == NULL) {
        fault_add(faults, a->file, 0, "rule '%s', the first, is missing",
                  start);
        return KW_ESYNTAX;
    }
    check_rule(&c, &ref, first);
    for (size_t i = 0; i < a->n_rules && !c.failed; i++) {
        if (a->rules[i].state == ABNF_UNUSED) {
            fault_add(faults, a->file, a->rules[i].line,
                      "rule '%s' is never used; use it or take it out",
                      a->rules[i].name);
            c.failed = true;
        }
    }
    return c.failed ? KW_ESYNTAX : 0;
}
