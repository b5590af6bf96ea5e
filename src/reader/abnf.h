#ifndef KW_ABNF_H
#define KW_ABNF_H
/*
 * abnf.h - a grammar file (RFC 5234, with the case-sensitive strings of
 * RFC 7405) parsed into a tree, and checked. A rule must not lead to itself,
 * so what is matched is regular and can be bounded.
 */
#include "base/fault.h"

#define ABNF_NAME_CAP 32

enum abnf_type {
    ABNF_ALTERNATION,
    ABNF_CONCATENATION,
    ABNF_REPETITION,
    ABNF_RULE_REF,
    ABNF_STRING,
    ABNF_RANGE,
    ABNF_PROSE
};

struct abnf_node {
    enum abnf_type type;
    int line;
    int first, next;  /* children, then siblings; index, 0 none */
    int min, max;     /* REPETITION; max -1: no end. RANGE: the octets */
    int rule;         /* RULE_REF: index, once checked */
    const char *text; /* RULE_REF, STRING, PROSE: in the source */
    size_t len;
    bool exact; /* STRING: case counts */
};

enum abnf_state { ABNF_UNUSED, ABNF_OPEN, ABNF_USED };

struct abnf_rule {
    char name[ABNF_NAME_CAP + 1];
    int line;
    int body;              /* node */
    int depth;             /* rules in rules below it */
    enum abnf_state state; /* of the check */
};

struct abnf {
    char *file, *data;
    struct abnf_node *nodes; /* [0] is none */
    size_t n_nodes, nodes_cap;
    struct abnf_rule *rules;
    size_t n_rules, rules_cap;
};

/* 0, or KW_ESYNTAX with faults added. The file name is copied. */
int abnf_parse(const char *file, const char *data, size_t len,
               struct fault_list *faults, struct abnf **out);
void abnf_free(struct abnf *a);

/*
 * Adds a fault for each rule that is not defined, not used from the start
 * rule, or leads to itself; finds the rule of each reference. 0, KW_ESYNTAX.
 */
int abnf_check(struct abnf *a, const char *start, struct fault_list *faults);
/* The rule of that name (case does not count), or NULL. */
struct abnf_rule *abnf_rule(const struct abnf *a, const char *name, size_t len);
#endif
