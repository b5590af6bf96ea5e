/* pattern.c - see pattern.h. */
#include "reader/pattern.h"

#include <string.h>

/* What was found of a node; a grammar asks for the same over and over. */
struct known {
    struct pattern_set *symbol, *begins; /* NULL: not looked for yet */
    bool is_symbol, nothing;
};

struct writer {
    const struct abnf *a;
    const struct pattern *how;
    struct kw_buf *out;
    struct known *known; /* by node */
};

static void write_node(struct writer *w, int i);

static void open_writer(struct writer *w, const struct abnf *a,
                        const struct pattern *how, struct kw_buf *out)
{
    *w = (struct writer){a, how, out, NULL};
    w->known = kw_calloc(a->n_nodes, sizeof(*w->known));
}

static void close_writer(struct writer *w)
{
    for (size_t i = 0; i < w->a->n_nodes; i++) {
        kw_free(w->known[i].symbol);
        kw_free(w->known[i].begins);
    }
    kw_free(w->known);
}

static void join_set(struct pattern_set *to, const struct pattern_set *more)
{
    for (size_t i = 0; i < KW_COUNT(to->bits); i++)
        to->bits[i] |= more->bits[i];
}

static bool captures(const struct writer *w, const struct abnf_rule *r)
{
    return w->how->captures != NULL && w->how->captures(r->name);
}

static const struct pattern_set *symbol_of(const struct writer *w, int i);

static bool add_symbol(const struct writer *w, int i, struct pattern_set *set)
{
    const struct pattern_set *more = symbol_of(w, i);

    if (more != NULL)
        join_set(set, more);
    return more != NULL;
}

static bool find_symbol(const struct writer *w, int i, struct pattern_set *set)
{
    const struct abnf_node *n = &w->a->nodes[i];
    const struct abnf_rule *r;

    switch (n->type) {
    case ABNF_PROSE:
        return w->how->prose(w->how->to, n->text, n->len, set);
    case ABNF_RULE_REF:
        r = &w->a->rules[n->rule];
        return !captures(w, r) && add_symbol(w, r->body, set);
    case ABNF_CONCATENATION:
        return w->a->nodes[n->first].next == 0 && add_symbol(w, n->first, set);
    case ABNF_ALTERNATION:
        for (int k = n->first; k != 0; k = w->a->nodes[k].next) {
            if (!add_symbol(w, k, set))
                return false;
        }
        return true;
    default:
        return false;
    }
}

/*
 * The set when the node is one symbol of it, whatever way it is taken, else
 * NULL. Then one class says it; without that the pattern would be more than
 * PCRE2 takes.
 */
static const struct pattern_set *symbol_of(const struct writer *w, int i)
{
    struct known *k = &w->known[i];

    if (k->symbol == NULL) {
        k->symbol = kw_calloc(1, sizeof(*k->symbol));
        k->is_symbol = find_symbol(w, i, k->symbol);
    }
    return k->is_symbol ? k->symbol : NULL;
}

/* The first symbol from i on that is in the set. */
static unsigned next_in(const struct pattern_set *set, unsigned i)
{
    for (unsigned k = i / 64; k < KW_COUNT(set->bits); k++) {
        uint64_t b = set->bits[k];

        if (k == i / 64)
            b &= ~UINT64_C(0) << (i % 64);
        if (b != 0)
            return k * 64 + (unsigned)__builtin_ctzll(b);
    }
    return PATTERN_SYMBOLS_MOST;
}

static void write_symbol(struct writer *w, unsigned symbol)
{
    char hex[8], *at = hex + sizeof(hex);

    do {
        *--at = "0123456789ABCDEF"[symbol % 16];
        symbol /= 16;
    } while (symbol != 0);
    kw_buf_puts(w->out, "\\x{");
    kw_buf_put(w->out, at, (size_t)(hex + sizeof(hex) - at));
    kw_buf_putc(w->out, '}');
}

static void write_set(struct writer *w, const struct pattern_set *set)
{
    unsigned i = next_in(set, 0), k;

    kw_buf_putc(w->out, '[');
    for (; i < PATTERN_SYMBOLS_MOST; i = next_in(set, k)) {
        for (k = i + 1; k < PATTERN_SYMBOLS_MOST && pattern_set_has(set, k);)
            k++;
        write_symbol(w, i);
        if (k > i + 1) {
            kw_buf_putc(w->out, '-');
            write_symbol(w, k - 1);
        }
    }
    kw_buf_putc(w->out, ']');
}

/* ---- what a match can begin with ---- */

static bool add_begins(const struct writer *w, int i, struct pattern_set *set);

static bool find_begins(const struct writer *w, int i, struct pattern_set *set)
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

/* Adds the node's; can it also be nothing? */
static bool add_begins(const struct writer *w, int i, struct pattern_set *set)
{
    struct known *k = &w->known[i];

    if (k->begins == NULL) {
        k->begins = kw_calloc(1, sizeof(*k->begins));
        k->nothing = find_begins(w, i, k->begins);
    }
    join_set(set, k->begins);
    return k->nothing;
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

static void write_name(struct writer *w, const struct abnf_rule *r)
{
    kw_buf_puts(w->out, "(?<");
    for (const char *s = r->name; *s != '\0'; s++)
        kw_buf_putc(w->out, *s == '-' ? '_' : *s);
    kw_buf_putc(w->out, '>');
}

static void write_rule(struct writer *w, const struct abnf_rule *r)
{
    bool named = captures(w, r);

    if (named)
        write_name(w, r);
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
    const struct pattern_set *symbol = symbol_of(w, i);

    if (symbol != NULL) {
        write_set(w, symbol);
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
    struct writer w;

    open_writer(&w, a, how, out);
    write_rule(&w, abnf_rule(a, rule, strlen(rule)));
    close_writer(&w);
}

/* ---- ways ---- */

#define INSIDE_MOST 32

/* What comes behind a symbol: nodes, the nearest first. */
struct rest {
    int node;
    bool row;      /* and those beside it */
    bool optional; /* or not */
    const struct rest *next;
};

struct taking {
    struct writer w;
    const struct pattern_ways *ways;
    const struct abnf_rule *inside[INSIDE_MOST]; /* groups round the way */
    size_t n_inside;
    int err;
};

/* Adds what the rest can begin with; can it be nothing at all? */
static bool add_rest(const struct writer *w, const struct rest *r,
                     struct pattern_set *set)
{
    for (; r != NULL; r = r->next) {
        bool nothing = add_begins(w, r->node, set);

        for (int k = w->a->nodes[r->node].next; r->row && nothing && k != 0;
             k = w->a->nodes[k].next)
            nothing = add_begins(w, k, set);
        if (!nothing && !r->optional)
            return false;
    }
    return true;
}

static bool may_be_nothing(const struct writer *w, int i)
{
    struct pattern_set set = {{0}};

    return add_begins(w, i, &set);
}

/* Tells each symbol that the node can begin with, when it is not nothing. */
static void open_node(struct taking *t, int i, const struct rest *rest)
{
    const struct abnf_node *nodes = t->w.a->nodes, *n = &nodes[i];
    struct pattern_opening o = {{{0}}, {{0}}, false};
    struct rest more = {n->first, false, n->min <= 1, rest};

    if (add_symbol(&t->w, i, &o.first)) {
        o.ends = add_rest(&t->w, rest, &o.second);
        t->ways->opening(t->ways->to, &o);
    } else if (n->type == ABNF_ALTERNATION) {
        for (int k = n->first; k != 0; k = nodes[k].next)
            open_node(t, k, rest);
    } else if (n->type == ABNF_REPETITION) {
        open_node(t, n->first, n->max == 1 ? rest : &more);
    } else if (n->type == ABNF_RULE_REF) {
        open_node(t, t->w.a->rules[n->rule].body, rest);
    } else if (n->type == ABNF_CONCATENATION) {
        bool nothing = true;

        for (int k = n->first; k != 0 && nothing; k = nodes[k].next) {
            more = (struct rest){nodes[k].next, true, false, rest};
            open_node(t, k, nodes[k].next == 0 ? rest : &more);
            nothing = may_be_nothing(&t->w, k);
        }
    }
}

/*
 * Tells what no match of the node can be without. What it begins with the
 * openings tell.
 */
static void tell_needs(struct taking *t, int i, bool begins)
{
    const struct abnf_node *nodes = t->w.a->nodes, *n = &nodes[i];
    struct pattern_set set = {{0}};

    if (add_begins(&t->w, i, &set))
        return;
    if (n->type == ABNF_CONCATENATION) {
        for (int k = n->first; k != 0; k = nodes[k].next)
            tell_needs(t, k, begins && k == n->first);
    } else if (n->type == ABNF_REPETITION) {
        tell_needs(t, n->first, begins);
    } else if (n->type == ABNF_RULE_REF && symbol_of(&t->w, i) == NULL) {
        tell_needs(t, t->w.a->rules[n->rule].body, begins);
    } else if (!begins) {
        t->ways->need(t->ways->to, &set);
    }
}

#define NO_END SIZE_MAX

static size_t longest(const struct writer *w, int i)
{
    const struct abnf_node *n = &w->a->nodes[i];
    size_t sum = 0, one;

    switch (n->type) {
    case ABNF_RULE_REF:
        return longest(w, w->a->rules[n->rule].body);
    case ABNF_REPETITION:
        one = longest(w, n->first);
        return n->max < 0 || one == NO_END ? NO_END : one * (size_t)n->max;
    case ABNF_CONCATENATION:
    case ABNF_ALTERNATION:
        for (int k = n->first; k != 0; k = w->a->nodes[k].next) {
            if ((one = longest(w, k)) == NO_END)
                return NO_END;
            if (n->type == ABNF_CONCATENATION)
                sum += one;
            else if (one > sum)
                sum = one;
        }
        return sum;
    case ABNF_STRING:
        return n->len;
    case ABNF_RANGE:
    case ABNF_PROSE:
        break;
    }
    return 1;
}

static void take_way(struct taking *t, int i)
{
    size_t most = longest(&t->w, i);

    kw_buf_clear(t->w.out);
    for (size_t k = 0; k < t->n_inside; k++)
        write_name(&t->w, t->inside[k]);
    write_node(&t->w, i);
    for (size_t k = 0; k < t->n_inside; k++)
        kw_buf_putc(t->w.out, ')');
    if (t->w.out->err < 0) {
        t->err = KW_EFULL;
        return;
    }
    t->ways->way(t->ways->to, t->w.out, may_be_nothing(&t->w, i),
                 most == NO_END ? 0 : most);
    open_node(t, i, NULL);
    tell_needs(t, i, true);
}

/* Nothing follows a way, so what stands in it may as well stand for itself. */
static void take_ways(struct taking *t, int i)
{
    const struct abnf_node *n = &t->w.a->nodes[i];

    if (n->type == ABNF_ALTERNATION && symbol_of(&t->w, i) == NULL) {
        for (int k = n->first; k != 0; k = t->w.a->nodes[k].next)
            take_ways(t, k);
    } else if (n->type == ABNF_CONCATENATION &&
               t->w.a->nodes[n->first].next == 0) {
        take_ways(t, n->first);
    } else if (n->type == ABNF_RULE_REF && t->n_inside < INSIDE_MOST) {
        const struct abnf_rule *r = &t->w.a->rules[n->rule];
        bool named = captures(&t->w, r);

        if (named)
            t->inside[t->n_inside++] = r;
        take_ways(t, r->body);
        t->n_inside -= named;
    } else {
        take_way(t, i);
    }
}

int pattern_take_ways(const struct abnf *a, const char *rule,
                      const struct pattern *how, size_t most,
                      const struct pattern_ways *ways)
{
    struct kw_buf out;
    struct taking t = {.ways = ways};

    kw_buf_init(&out, most);
    open_writer(&t.w, a, how, &out);
    take_ways(&t, abnf_rule(a, rule, strlen(rule))->body);
    close_writer(&t.w);
    kw_buf_release(&out);
    return t.err;
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
                      "there is no concept <%.*s>; docs/words.md lists them",
                      (int)n->len, n->text);
    }
    return faults->n + faults->dropped == before ? 0 : KW_ESYNTAX;
}
