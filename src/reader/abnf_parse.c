/*
 * abnf_parse.c - see abnf.h. A recursive descent over RFC 5234, section 4,
 * into a tree.
 */
#include "reader/abnf.h"

#include <ctype.h>
#include <limits.h>
#include <string.h>

#define RULES_MOST  500
#define NODES_MOST  20000
#define DEPTH_MOST  60 /* groups in groups */
#define REPEAT_MOST 1000

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

static int node_new(struct parser *p, enum abnf_type type)
{
    struct abnf *a = p->a;

    if (a->n_nodes >= NODES_MOST) {
        wrong(p, "the grammar is too large; there is room for 20000 elements");
        return 0;
    }
    kw_grow(&a->nodes, &a->nodes_cap, a->n_nodes + 1, sizeof(*a->nodes));
    a->nodes[a->n_nodes] = (struct abnf_node){.type = type, .line = p->line};
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
static int parse_quoted(struct parser *p, enum abnf_type type, char close)
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
    if (type == ABNF_PROSE && p->s - from == 1)
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
    if ((all = node_new(p, ABNF_CONCATENATION)) == 0)
        return 0;
    for (;;) {
        int n = node_new(p, ABNF_RANGE);

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
        n = parse_quoted(p, ABNF_STRING, '"');
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
    if ((n = node_new(p, ABNF_REPETITION)) == 0)
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
        if ((n = node_new(p, ABNF_RULE_REF)) == 0)
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
        return parse_quoted(p, ABNF_STRING, '"');
    case '<':
        return parse_quoted(p, ABNF_PROSE, '>');
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
    n = node_new(p, ABNF_REPETITION);
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
    int all = node_new(p, ABNF_CONCATENATION), last = 0;

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
    int all = node_new(p, ABNF_ALTERNATION), last = 0;

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

static void add_rule(struct parser *p, const char *name, size_t len, int body,
                     int line)
{
    struct abnf *a = p->a;
    struct abnf_rule *r;

    if (a->n_rules >= RULES_MOST) {
        wrong(p, "too many rules; there is room for 500");
        return;
    }
    kw_grow(&a->rules, &a->rules_cap, a->n_rules + 1, sizeof(*a->rules));
    r = &a->rules[a->n_rules++];
    *r = (struct abnf_rule){.line = line, .body = body};
    kw_copy(r->name, sizeof(r->name), name, len);
}

/* =/ : the further alternatives go behind those that are there. */
static void join_rule(struct parser *p, struct abnf_rule *r, int body)
{
    int *link = &p->a->nodes[r->body].first;

    while (*link != 0)
        link = &p->a->nodes[*link].next;
    *link = p->a->nodes[body].first;
}

static void finish_rule(struct parser *p, const char *name, size_t len,
                        bool adds, int line)
{
    struct abnf_rule *old = abnf_rule(p->a, name, len);
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

    if (len == 0 || len > ABNF_NAME_CAP) {
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
