/*
 * abnf.c - see abnf.h. A recursive descent over RFC 5234, section 4, into a
 * tree; then a walk over the tree that writes the pattern.
 */
#include "reader/abnf.h"

#include <ctype.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#define RULES_MOST  500
#define NODES_MOST  20000
#define DEPTH_MOST  60   /* groups in groups, rules in rules */
#define REPEAT_MOST 1000 /* PCRE2 allows 65535 */
#define NAME_CAP    32   /* PCRE2 group names are shorter than 33 */

enum node_type {
    ALTERNATION,
    CONCATENATION,
    REPETITION,
    RULE_REF,
    STRING,
    RANGE,
    PROSE
};

struct node {
    enum node_type type;
    int line;
    int first, next;  /* children, then siblings; index, 0 none */
    int min, max;     /* REPETITION; max -1: no end. RANGE: the octets */
    const char *text; /* RULE_REF, STRING, PROSE: in the source */
    size_t len;
    bool exact; /* STRING: case counts */
};

struct rule {
    char name[NAME_CAP + 1];
    int line;
    int body;        /* node */
    bool used, open; /* while writing */
};

struct abnf {
    char *file, *data;
    struct node *nodes; /* [0] is none */
    size_t n_nodes, nodes_cap;
    struct rule *rules;
    size_t n_rules, rules_cap;
};

struct parser {
    struct abnf *a;
    const char *s, *end;
    int line, depth;
    bool failed; /* in this rule */
    struct fault_list *faults;
};

static int parse_alternation(struct parser *p);

static void wrong(struct parser *p, const char *text)
{
    if (!p->failed)
        fault_add(p->faults, p->a->file, p->line, "%s", text);
    p->failed = true;
}

static int node_new(struct parser *p, enum node_type type)
{
    struct abnf *a = p->a;

    if (a->n_nodes >= NODES_MOST) {
        wrong(p, "the grammar is too large; there is room for 20000 elements");
        return 0;
    }
    kw_grow(&a->nodes, &a->nodes_cap, a->n_nodes + 1, sizeof(*a->nodes));
    a->nodes[a->n_nodes] = (struct node){.type = type, .line = p->line};
    return (int)a->n_nodes++;
}

static bool at_end(const struct parser *p)
{
    return p->s >= p->end;
}

static char look(const struct parser *p)
{
    return at_end(p) ? '\0' : *p->s;
}

/* Passes a comment or the end of a line; false when neither stands here. */
static bool pass_newline(struct parser *p)
{
    const char *s = p->s;

    if (s < p->end && *s == ';') {
        while (s < p->end && *s != '\n')
            s++;
    }
    if (s < p->end && *s == '\r')
        s++;
    if (s >= p->end) {
        bool moved = s > p->s;

        p->s = s;
        return moved;
    }
    if (*s != '\n')
        return false;
    p->s = s + 1;
    p->line++;
    return true;
}

static bool is_gap(char c)
{
    return c == ' ' || c == '\t';
}

/* *c-wsp: gaps, comments, and lines that begin with a gap. */
static bool pass_gaps(struct parser *p)
{
    const char *from = p->s;

    for (;;) {
        const char *before;
        int line = p->line;

        while (is_gap(look(p)))
            p->s++;
        before = p->s;
        if (at_end(p) || (*p->s != ';' && *p->s != '\n' && *p->s != '\r'))
            break;
        while (pass_newline(p) && !at_end(p) &&
               (*p->s == '\n' || *p->s == '\r' || *p->s == ';'))
            ;
        if (!is_gap(look(p))) { /* the rule is over */
            p->s = before;
            p->line = line;
            break;
        }
    }
    return p->s > from;
}

static size_t name_length(const struct parser *p)
{
    const char *s = p->s;

    if (at_end(p) || !isalpha((unsigned char)*s))
        return 0;
    while (s < p->end && (isalnum((unsigned char)*s) || *s == '-'))
        s++;
    return (size_t)(s - p->s);
}

/* Text up to the closing mark, on one line. */
static int parse_quoted(struct parser *p, enum node_type type, char close)
{
    int n = node_new(p, type);
    const char *from = ++p->s;

    while (!at_end(p) && *p->s != close && *p->s != '\n')
        p->s++;
    if (look(p) != close) {
        wrong(p, close == '"' ? "a string without its closing '\"'; add it"
                              : "a '<' without its '>'; add it");
        return 0;
    }
    p->a->nodes[n].text = from;
    p->a->nodes[n].len = (size_t)(p->s - from);
    p->s++;
    if (type == PROSE && p->s - from == 1)
        wrong(p, "nothing between '<' and '>'; write a concept");
    return n;
}

static int parse_digits(struct parser *p, int base)
{
    int v = -1;

    while (!at_end(p) && v < 0x110000) {
        int c = tolower((unsigned char)*p->s), d;

        d = c >= '0' && c <= '9'   ? c - '0'
            : c >= 'a' && c <= 'f' ? c - 'a' + 10
                                   : 99;
        if (d >= base)
            break;
        v = (v < 0 ? 0 : v) * base + d;
        p->s++;
    }
    return v;
}

/* %x41-5A, %d13.10, %b1; octets only. */
static int parse_number(struct parser *p)
{
    int c = tolower((unsigned char)*p->s), v, all, *link;
    int base = c == 'x' ? 16 : c == 'd' ? 10 : 2;

    p->s++;
    if ((all = node_new(p, CONCATENATION)) == 0)
        return 0;
    for (;;) {
        int n = node_new(p, RANGE);

        v = parse_digits(p, base);
        if (v < 0 || v > 255 || n == 0) {
            wrong(p, "a number that is no octet; write %x00 to %xFF");
            return 0;
        }
        p->a->nodes[n].min = p->a->nodes[n].max = v;
        link = &p->a->nodes[all].first;
        while (*link != 0)
            link = &p->a->nodes[*link].next;
        *link = n;
        if (look(p) == '-') {
            p->s++;
            p->a->nodes[n].max = parse_digits(p, base);
            if (p->a->nodes[n].max < v || p->a->nodes[n].max > 255)
                wrong(p, "a range that runs backwards or past %xFF");
            return all;
        }
        if (look(p) != '.')
            return all;
        p->s++;
    }
}

static int parse_percent(struct parser *p)
{
    int c, n;

    p->s++;
    c = tolower((unsigned char)look(p));
    if (c == 'x' || c == 'd' || c == 'b')
        return parse_number(p);
    if ((c == 's' || c == 'i') && p->s + 1 < p->end && p->s[1] == '"') {
        p->s++;
        n = parse_quoted(p, STRING, '"');
        p->a->nodes[n].exact = c == 's';
        return n;
    }
    wrong(p, "after '%' comes x, d or b and a number, or s or i and a string");
    return 0;
}

static int parse_group(struct parser *p, char close)
{
    int n, inner;

    p->s++;
    if (++p->depth > DEPTH_MOST) {
        wrong(p, "groups within groups too deep; name some as rules");
        return 0;
    }
    pass_gaps(p);
    inner = parse_alternation(p);
    pass_gaps(p);
    p->depth--;
    if (p->failed)
        return 0;
    if (look(p) != close) {
        wrong(p, close == ')' ? "a '(' without its ')'; add it"
                              : "a '[' without its ']'; add it");
        return 0;
    }
    p->s++;
    if (close == ')')
        return inner;
    if ((n = node_new(p, REPETITION)) == 0)
        return 0;
    p->a->nodes[n].max = 1;
    p->a->nodes[n].first = inner;
    return n;
}

static int parse_element(struct parser *p)
{
    size_t len = name_length(p);
    int n;

    if (len > 0) {
        if ((n = node_new(p, RULE_REF)) == 0)
            return 0;
        p->a->nodes[n].text = p->s;
        p->a->nodes[n].len = len;
        p->s += len;
        return n;
    }
    switch (look(p)) {
    case '(':
        return parse_group(p, ')');
    case '[':
        return parse_group(p, ']');
    case '"':
        return parse_quoted(p, STRING, '"');
    case '<':
        return parse_quoted(p, PROSE, '>');
    case '%':
        return parse_percent(p);
    default:
        wrong(p, "an element is missing; write a rule's name, <concept>, "
                 "\"text\", %x41, ( … ) or [ … ]");
        return 0;
    }
}

static int parse_repetition(struct parser *p)
{
    int min = 0, max = -1, n, inner;
    bool repeats = false;

    if (isdigit((unsigned char)look(p))) {
        min = max = parse_digits(p, 10);
        repeats = true;
    }
    if (look(p) == '*') {
        p->s++;
        repeats = true;
        max = isdigit((unsigned char)look(p)) ? parse_digits(p, 10) : -1;
    }
    if (!repeats)
        return parse_element(p);
    if (min > REPEAT_MOST || max > REPEAT_MOST || (max >= 0 && max < min)) {
        wrong(p, "a repetition n*m needs n <= m <= 1000");
        return 0;
    }
    n = node_new(p, REPETITION);
    inner = parse_element(p);
    if (p->failed)
        return 0;
    p->a->nodes[n].min = min;
    p->a->nodes[n].max = max;
    p->a->nodes[n].first = inner;
    return n;
}

/* Does another element of a concatenation begin here? */
static bool element_begins(const struct parser *p)
{
    char c = look(p);

    return c != '\0' &&
           (isalnum((unsigned char)c) || strchr("([\"<%*", c) != NULL);
}

static int parse_concatenation(struct parser *p)
{
    int all = node_new(p, CONCATENATION), last = 0;

    for (;;) {
        int n = parse_repetition(p);

        if (p->failed)
            return 0;
        if (last == 0)
            p->a->nodes[all].first = n;
        else
            p->a->nodes[last].next = n;
        last = n;
        if (!pass_gaps(p) || !element_begins(p))
            return all;
    }
}

static int parse_alternation(struct parser *p)
{
    int all = node_new(p, ALTERNATION), last = 0;

    for (;;) {
        int n = parse_concatenation(p);

        if (p->failed)
            return 0;
        if (last == 0)
            p->a->nodes[all].first = n;
        else
            p->a->nodes[last].next = n;
        last = n;
        pass_gaps(p);
        if (look(p) != '/')
            return all;
        p->s++;
        pass_gaps(p);
    }
}

static struct rule *rule_find(const struct abnf *a, const char *name,
                              size_t len)
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

static void add_rule(struct parser *p, const char *name, size_t len, int body,
                     int line)
{
    struct abnf *a = p->a;
    struct rule *r;

    if (a->n_rules >= RULES_MOST) {
        wrong(p, "too many rules; there is room for 500");
        return;
    }
    kw_grow(&a->rules, &a->rules_cap, a->n_rules + 1, sizeof(*a->rules));
    r = &a->rules[a->n_rules++];
    *r = (struct rule){.line = line, .body = body};
    kw_copy(r->name, sizeof(r->name), name, len);
}

/* =/ : the further alternatives go behind those that are there. */
static void join_rule(struct parser *p, struct rule *r, int body)
{
    int *link = &p->a->nodes[r->body].first;

    while (*link != 0)
        link = &p->a->nodes[*link].next;
    *link = p->a->nodes[body].first;
}

static void finish_rule(struct parser *p, const char *name, size_t len,
                        bool adds, int line)
{
    struct rule *old = rule_find(p->a, name, len);
    int body = parse_alternation(p);

    if (p->failed)
        return;
    pass_gaps(p);
    if (!at_end(p) && !pass_newline(p)) {
        wrong(p, "something that is no ABNF; a rule goes on with elements, "
                 "'/' or a new line");
        return;
    }
    if (adds && old == NULL)
        fault_add(p->faults, p->a->file, line,
                  "'=/' adds to rule '%.*s', which is not there yet; write '='",
                  (int)len, name);
    else if (!adds && old != NULL)
        fault_add(p->faults, p->a->file, line,
                  "rule '%.*s' is defined twice, first in line %d; write '=/' "
                  "to add alternatives",
                  (int)len, name, old->line);
    else if (adds)
        join_rule(p, old, body);
    else
        add_rule(p, name, len, body, line);
}

/* rule = rulename defined-as elements c-nl */
static void parse_rule(struct parser *p)
{
    const char *name = p->s;
    size_t len = name_length(p);
    int line = p->line;
    bool adds;

    if (len == 0 || len > NAME_CAP) {
        wrong(p, len == 0 ? "a rule begins in the first column with a name of "
                            "letters, digits and '-'"
                          : "a rule's name is longer than 32 letters");
        return;
    }
    p->s += len;
    pass_gaps(p);
    if (look(p) != '=') {
        wrong(p, "after a rule's name comes '=' or '=/'");
        return;
    }
    p->s++;
    adds = look(p) == '/';
    p->s += adds;
    pass_gaps(p);
    finish_rule(p, name, len, adds, line);
}

/* After a mistake: on to the next line that does not begin with a gap. */
static void pass_rule(struct parser *p)
{
    while (!at_end(p)) {
        if (*p->s++ == '\n') {
            p->line++;
            if (!is_gap(look(p)))
                return;
        }
    }
}

int abnf_parse(const char *file, const char *data, size_t len,
               struct fault_list *faults, struct abnf **out)
{
    struct abnf *a = kw_calloc(1, sizeof(*a));
    struct parser p = {.a = a, .line = 1, .faults = faults};
    size_t before = faults->n + faults->dropped;

    a->file = kw_strdup(file);
    a->data = kw_strndup(data, len);
    a->n_nodes = 1;
    kw_grow(&a->nodes, &a->nodes_cap, 1, sizeof(*a->nodes));
    memset(a->nodes, 0, sizeof(*a->nodes));
    p.s = a->data;
    p.end = a->data + strlen(a->data);
    while (!at_end(&p)) {
        const char *from = p.s;

        p.failed = false;
        p.depth = 0;
        while (is_gap(look(&p)))
            p.s++;
        if (at_end(&p) || pass_newline(&p))
            continue;
        if (p.s > from && p.s[-1] != '\n')
            wrong(&p, "a line with a gap before it, but no rule to go on with");
        else
            parse_rule(&p);
        if (p.failed)
            pass_rule(&p);
    }
    if (faults->n + faults->dropped > before) {
        abnf_free(a);
        *out = NULL;
        return KW_ESYNTAX;
    }
    *out = a;
    return 0;
}

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

bool abnf_has_rule(const struct abnf *a, const char *name)
{
    return rule_find(a, name, strlen(name)) != NULL;
}

struct writer {
    const struct abnf *a;
    const struct abnf_target *target;
    struct fault_list *faults;
    struct kw_buf *out;
    int depth;
    bool failed;
};

static void write_node(struct writer *w, int n);

static void unfit(struct writer *w, int line, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));
static void unfit(struct writer *w, int line, const char *fmt, ...)
{
    char text[300];
    va_list ap;

    va_start(ap, fmt);
    vsnprintf(text, sizeof(text), fmt, ap);
    va_end(ap);
    fault_add(w->faults, w->a->file, line, "%s", text);
    w->failed = true;
}

static void write_octets(struct writer *w, const struct abnf_octets *set)
{
    kw_buf_putc(w->out, '[');
    for (unsigned i = 0; i < 256; i++) {
        if (set->bits[i / 64] >> (i % 64) & 1)
            kw_buf_printf(w->out, "\\x%02X", i);
    }
    kw_buf_putc(w->out, ']');
}

static bool captures_rule(const struct writer *w, const char *name)
{
    return w->target->captures != NULL &&
           w->target->captures(w->target->to, name);
}

/*
 * Is the node one octet of a set, whatever way it is taken? Then alternatives
 * become one class, which is much smaller and faster. Rules met are used.
 */
static bool is_octet(struct writer *w, int i, int depth,
                     struct abnf_octets *set)
{
    const struct node *n = &w->a->nodes[i];
    struct rule *r;

    if (depth > DEPTH_MOST)
        return false;
    switch (n->type) {
    case PROSE:
        return w->target->prose(w->target->to, n->text, n->len, set);
    case RULE_REF:
        r = rule_find(w->a, n->text, n->len);
        if (r == NULL || r->open || captures_rule(w, r->name) ||
            !is_octet(w, r->body, depth + 1, set))
            return false;
        r->used = true;
        return true;
    case CONCATENATION:
        return w->a->nodes[n->first].next == 0 &&
               is_octet(w, n->first, depth + 1, set);
    case ALTERNATION:
        for (int k = n->first; k != 0; k = w->a->nodes[k].next) {
            if (!is_octet(w, k, depth + 1, set))
                return false;
        }
        return true;
    default:
        return false;
    }
}

static void write_rule(struct writer *w, const struct node *ref)
{
    struct rule *r = rule_find(w->a, ref->text, ref->len);
    bool captures;

    if (r == NULL) {
        unfit(w, ref->line,
              "rule '%.*s' is not defined; define it, or write "
              "<%.*s> if the concept is meant",
              (int)ref->len, ref->text, (int)ref->len, ref->text);
        return;
    }
    if (r->open || w->depth >= DEPTH_MOST) {
        unfit(w, ref->line,
              "rule '%s' leads to itself; write it as a "
              "repetition n*m instead",
              r->name);
        return;
    }
    captures = captures_rule(w, r->name);
    if (captures) {
        kw_buf_puts(w->out, "(?<");
        for (const char *s = r->name; *s != '\0'; s++)
            kw_buf_putc(w->out, *s == '-' ? '_' : *s);
        kw_buf_puts(w->out, ">");
    }
    r->used = r->open = true;
    w->depth++;
    write_node(w, r->body);
    w->depth--;
    r->open = false;
    if (captures)
        kw_buf_putc(w->out, ')');
}

static void write_string(struct writer *w, const struct node *n)
{
    if (w->target->literals_wrong != NULL) {
        unfit(w, n->line, "%s", w->target->literals_wrong);
        return;
    }
    kw_buf_puts(w->out, n->exact ? "(?-i:" : "(?i:");
    for (size_t i = 0; i < n->len; i++)
        kw_buf_printf(w->out, "\\x%02X", (unsigned char)n->text[i]);
    kw_buf_putc(w->out, ')');
}

static void write_range(struct writer *w, const struct node *n)
{
    if (w->target->literals_wrong != NULL)
        unfit(w, n->line, "%s", w->target->literals_wrong);
    else
        kw_buf_printf(w->out, "[\\x%02X-\\x%02X]", (unsigned)n->min,
                      (unsigned)n->max);
}

static void write_repetition(struct writer *w, const struct node *n)
{
    kw_buf_puts(w->out, "(?:");
    write_node(w, n->first);
    if (n->max < 0)
        kw_buf_printf(w->out, "){%d,}", n->min);
    else
        kw_buf_printf(w->out, "){%d,%d}", n->min, n->max);
}

static void write_children(struct writer *w, const struct node *n,
                           const char *between)
{
    for (int k = n->first; k != 0; k = w->a->nodes[k].next) {
        if (k != n->first)
            kw_buf_puts(w->out, between);
        write_node(w, k);
    }
}

static void write_alternation(struct writer *w, const struct node *n, int i)
{
    bool one = w->a->nodes[n->first].next == 0;
    struct abnf_octets set = {{0}};

    if (is_octet(w, i, 0, &set)) {
        write_octets(w, &set);
        return;
    }
    if (!one)
        kw_buf_puts(w->out, "(?:");
    write_children(w, n, "|");
    if (!one)
        kw_buf_putc(w->out, ')');
}

static void write_prose(struct writer *w, const struct node *n)
{
    struct abnf_octets set = {{0}};

    if (w->target->prose(w->target->to, n->text, n->len, &set))
        write_octets(w, &set);
    else
        unfit(w, n->line,
              "there is no concept <%.*s>; docs/texts.md lists them",
              (int)n->len, n->text);
}

static void write_node(struct writer *w, int i)
{
    const struct node *n = &w->a->nodes[i];

    switch (n->type) {
    case ALTERNATION:
        write_alternation(w, n, i);
        break;
    case CONCATENATION:
        write_children(w, n, "");
        break;
    case REPETITION:
        write_repetition(w, n);
        break;
    case RULE_REF:
        write_rule(w, n);
        break;
    case STRING:
        write_string(w, n);
        break;
    case RANGE:
        write_range(w, n);
        break;
    case PROSE:
        write_prose(w, n);
        break;
    }
}

int abnf_pattern(const struct abnf *a, const char *start,
                 const struct abnf_target *target, struct fault_list *faults,
                 struct kw_buf *out)
{
    struct writer w = {a, target, faults, out, 0, false};
    struct node ref = {.type = RULE_REF, .text = start, .len = strlen(start)};

    for (size_t i = 0; i < a->n_rules; i++)
        a->rules[i].used = a->rules[i].open = false;
    write_rule(&w, &ref);
    for (size_t i = 0; i < a->n_rules && !w.failed; i++) {
        if (!a->rules[i].used) {
            fault_add(faults, a->file, a->rules[i].line,
                      "rule '%s' is never used; use it or take it out",
                      a->rules[i].name);
            w.failed = true;
            i = a->n_rules;
        }
    }
    if (w.failed)
        return KW_ESYNTAX;
    return out->err < 0 ? KW_EFULL : 0;
}
