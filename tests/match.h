#ifndef KW_TESTS_MATCH_H
#define KW_TESTS_MATCH_H
/*
 * match.h - a grammar made into steps, and the walk over them along a row of
 * concept sets. What fits first is taken: the earlier alternative before the
 * later, more of a repetition before less, as in Perl's regular expressions.
 * Each choice knows the concepts that it can go on with, so that most ways
 * are never begun.
 */
#include "reader/abnf.h"
#include "reader/concept.h"

#define MATCH_MARKS_MOST 1024 /* begins and ends of rules in one match */
#define MATCH_WAYS_MOST  2048 /* ways left open behind a match */

struct match_program;

/* What the names of a grammar mean. */
struct match_target {
    /* The concepts of <name>; false when there is no such name. */
    bool (*prose)(const char *name, size_t len, struct concept_set *set);
    /* The number of a rule that is to be marked, below 128; or -1. */
    int (*rule)(const char *name);
};

/*
 * Steps for the rule, which must be of a checked grammar. 0, or KW_ESYNTAX
 * with faults added.
 */
int match_compile(const struct abnf *a, const char *rule,
                  const struct match_target *target, struct fault_list *faults,
                  struct match_program **out);
void match_free(struct match_program *p);
size_t match_steps(const struct match_program *p);

struct match_mark { /* rule * 2 where it begins, and 1 more where it ends */
    uint16_t what, at;
};

struct match_way { /* another way to go on, and from where */
    uint32_t step;
    uint16_t at, marks;
};

struct match_scratch {
    size_t to; /* where the match ended */
    size_t n_marks;
    struct match_mark marks[MATCH_MARKS_MOST]; /* in the order of the row */
    struct match_way ways[MATCH_WAYS_MOST];
};

/* What a row is of: numbers of sets. */
struct match_row {
    const struct concept_set *sets;
    const uint16_t *symbols;
    size_t n;
};

/*
 * Of each symbol below n_sets, the ways that a match can begin with it; once,
 * before match_at().
 */
void match_prepare(struct match_program *p, const struct concept_set *sets,
                   size_t n_sets);
/* Can a match begin with the symbol? */
bool match_begins(const struct match_program *p, uint16_t symbol);
/*
 * Matches at place at and nowhere else. 1 when it does: then s->to and marks
 * tell what; 0 when not; KW_EFULL when a limit was hit.
 */
int match_at(const struct match_program *p, struct match_scratch *s,
             const struct match_row *row, size_t at);
#endif
