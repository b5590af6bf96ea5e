/* pattern.c - see pattern.h. */
#include "reader/pattern.h"

#include <string.h>

struct writer {
    const struct abnf *a;
    const struct pattern *how;
    struct kw_buf *out;
};

static void write_node(struct writer *w, int i);

static bool captures(const struct writer *w, const struct abnf_rule *r)
{
    return w->how->captures != NULL && w->how->captures(r->name);
}

/*
 * Is the node one symbol of a set, whatever way it is taken? Then one class
 * says it; without that the pattern would be more than PCRE2 takes.
 */
static bool is_symbol(struct writer *w, int i, struct pattern_set *set)
{
    const struct abnf_node *n = &w->a->nodes[i];
    const struct abnf_rule *r;

    switch (n->type) {
    case ABNF_PROSE:
        return w->how->prose(w->how->to, n->text, n->len, set);
    case ABNF_RULE_REF:
        r = &w->a->rules[n->rule];
        return !captures(w, r) && is_symbol(w, r->body, set);
    case ABNF_CONCATENATION:
        return w->a->nodes[n->first].next == 0 && is_symbol(w, n->first, set);
    case ABNF_ALTERNATION:
        for (int k = n->first; k != 0; k = w->a->nodes[k].next) {
            if (!is_symbol(w, k, set))
                return false;
        }
        return true;
    default:
        return false;
    }
}

static void write_set(struct writer *w, const struct pattern_set *set)
{
    kw_buf_putc(w->out, '[');
    for (unsigned i = 0, k; i < PATTERN_SYMBOLS_MOST; i = k + 1) {
        for (k = i; k < PATTERN_SYMBOLS_MOST && pattern_set_has(set, k); k++)
            ;
        if (k == i + 1)
            kw_buf_printf(w->out, "\\x{%X}", i);
        else if (k > i)
            kw_buf_printf(w->out, "\\x{%X}-\\x{%X}", i, k - 1);
    }
    kw_buf_putc(w->out, ']');
}

/* ---- what a match can begin with ---- */

/* Adds the node's; can it also be nothing? */
static bool add_begins(const struct writer *w, int i, struct pattern_set *set)
{
    const struct abnf_node *n = &w->a->nodes[i];
    bool nothing = n->type == ABNF_CONCATENATION;

    switch (n->type) {
    case ABNF_ALTERNATION:
        for (int k = n->first; k != 0; k = w->a->nodes[k].next)
            nothing |= add_begins(w, k, set);
        return nothing;
    case ABNF_CONCATENATION:
        for (int k = n->first; k != 0 && nothing; k = w->a->nodes[k].next)
            nothing = add_begins(w, k, set);
        return nothing;
    case ABNF_REPETITION:
        return add_begins(w, n->first, set) || n->min == 0;
    case ABNF_RULE_REF:
        return add_begins(w, w->a->rules[n->rule].body, set);
    case ABNF_PROSE:
        w->how->prose(w->how->to, n->text, n->len, set);
        return false;
    case ABNF_STRING:
    case ABNF_RANGE:
        break;
    }
    return false;
}

/* How many first symbols are looked at before the node fails, about. */
static int openings(const struct writer *w, int i)
{
    const struct abnf_node *n = &w->a->nodes[i];
    int sum = 0;

    switch (n->type) {
    case ABNF_ALTERNATION:
        for (int k = n->first; k != 0; k = w->a->nodes[k].next)
            sum += openings(w, k);
        return sum;
    case ABNF_CONCATENATION:
    case ABNF_REPETITION:
        return openings(w, n->first);
    case ABNF_RULE_REF:
        return openings(w, w->a->rules[n->rule].body);
    default:
        return 1;
    }
}

#define OPENINGS_GUARDED 3

/*
 * A look at the next symbol before what has many openings, so that none of
 * them is tried in vain. It changes nothing else.
 */
static void write_guard(struct writer *w, int i)
{
    struct pattern_set set = {{0}};

    if (w->how->captures == NULL || openings(w, i) < OPENINGS_GUARDED ||
        add_begins(w, i, &set))
        return;
    kw_buf_puts(w->out, "(?=");
    write_set(w, &set);
    kw_buf_putc(w->out, ')');
}

/* ---- writing ---- */

static void write_rule(struct writer *w, const struct abnf_rule *r)
{
    bool named = captures(w, r);

    if (named) {
        kw_buf_puts(w->out, "(?<");
        for (const char *s = r->name; *s != '\0'; s++)
            kw_buf_putc(w->out, *s == '-' ? '_' : *s);
        kw_buf_putc(w->out, '>');
    }
    write_node(w, r->body);
    if (named)
        kw_buf_putc(w->out, ')');
}

static void write_string(struct writer *w, const struct abnf_node *n)
{
    kw_buf_puts(w->out, n->exact ? "(?-i:" : "(?i:");
    for (size_t i = 0; i < n->len; i++)
        kw_buf_printf(w->out, "\\x%02X", (unsigned char)n->text[i]);
    kw_buf_putc(w->out, ')');
}

static void write_children(struct writer *w, const struct abnf_node *n,
                           const char *between)
{
    bool one = w->a->nodes[n->first].next == 0;

    if (!one)
        kw_buf_puts(w->out, "(?:");
    for (int k = n->first; k != 0; k = w->a->nodes[k].next) {
        if (k != n->first)
            kw_buf_puts(w->out, between);
        if (n->type == ABNF_ALTERNATION)
            write_guard(w, k);
        write_node(w, k);
    }
    if (!one)
        kw_buf_putc(w->out, ')');
}

static void write_repetition(struct writer *w, const struct abnf_node *n)
{
    kw_buf_puts(w->out, "(?:");
    write_node(w, n->first);
    if (n->max < 0)
        kw_buf_printf(w->out, "){%d,}", n->min);
    else
        kw_buf_printf(w->out, "){%d,%d}", n->min, n->max);
}

static void write_node(struct writer *w, int i)
{
    const struct abnf_node *n = &w->a->nodes[i];
    struct pattern_set set = {{0}};

    if (is_symbol(w, i, &set)) {
        write_set(w, &set);
        return;
    }
    switch (n->type) {
    case ABNF_ALTERNATION:
        write_children(w, n, "|");
        break;
    case ABNF_CONCATENATION:
        write_children(w, n, "");
        break;
    case ABNF_REPETITION:
        write_repetition(w, n);
        break;
    case ABNF_RULE_REF:
        write_rule(w, &w->a->rules[n->rule]);
        break;
    case ABNF_STRING:
        write_string(w, n);
        break;
    case ABNF_RANGE:
        kw_buf_printf(w->out, "[\\x%02X-\\x%02X]", (unsigned)n->min,
                      (unsigned)n->max);
        break;
    case ABNF_PROSE: /* always an octet */
        break;
    }
}

void pattern_write(const struct abnf *a, const char *rule,
                   const struct pattern *how, struct kw_buf *out)
{
    struct writer w = {a, how, out};

    write_rule(&w, abnf_rule(a, rule, strlen(rule)));
}

void pattern_begins(const struct abnf *a, const char *rule,
                    const struct pattern *how, struct pattern_set *set)
{
    struct writer w = {a, how, NULL};

    add_begins(&w, abnf_rule(a, rule, strlen(rule))->body, set);
}

int pattern_check(const struct abnf *a, const struct pattern *how,
                  struct fault_list *faults)
{
    size_t before = faults->n + faults->dropped;

    for (size_t i = 1; i < a->n_nodes; i++) {
        const struct abnf_node *n = &a->nodes[i];
        struct pattern_set set = {{0}};

        if (n->type == ABNF_STRING || n->type == ABNF_RANGE)
            fault_add(faults, a->file, n->line,
                      "a report is read as concepts, not as letters; write "
                      "<crack>, <number> …");
        else if (n->type == ABNF_PROSE &&
                 !how->prose(how->to, n->text, n->len, &set))
            fault_add(faults, a->file, n->line,
                      "there is no concept <%.*s>; docs/texts.md lists them",
                      (int)n->len, n->text);
    }
    return faults->n + faults->dropped == before ? 0 : KW_ESYNTAX;
}
