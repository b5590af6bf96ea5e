#ifndef KW_PATTERN_H
#define KW_PATTERN_H
/*
 * pattern.h - a grammar written out as one pattern for PCRE2. What the
 * grammar calls <name> is a set of symbols, and each symbol one code unit.
 * Rules that carry meaning become named groups.
 */
#include "base/buf.h"
#include "reader/abnf.h"

#define PATTERN_SYMBOLS_MOST 8192

struct pattern_set { /* of symbols */
    uint64_t bits[PATTERN_SYMBOLS_MOST / 64];
};

static inline void pattern_set_add(struct pattern_set *s, unsigned symbol)
{
    s->bits[symbol / 64] |= UINT64_C(1) << (symbol % 64);
}

static inline bool pattern_set_has(const struct pattern_set *s, unsigned symbol)
{
    return (s->bits[symbol / 64] >> (symbol % 64)) & 1;
}

struct pattern {
    /* Adds the symbols of <name>; false when there is no such name. */
    bool (*prose)(const void *to, const char *name, size_t len,
                  struct pattern_set *set);
    /* Shall the rule be a named group? '-' becomes '_'. May be NULL. */
    bool (*captures)(const char *rule);
    const void *to;
};

/*
 * Adds a fault for each <name> that is none and for each string: a report is
 * read as concepts, not as letters. For a checked grammar. 0, KW_ESYNTAX.
 */
int pattern_check(const struct abnf *a, const struct pattern *how,
                  struct fault_list *faults);
/* Adds the pattern of a rule of a checked grammar. */
void pattern_write(const struct abnf *a, const char *rule,
                   const struct pattern *how, struct kw_buf *out);
/* Adds the symbols that a match of the rule can begin with. */
void pattern_begins(const struct abnf *a, const char *rule,
                    const struct pattern *how, struct pattern_set *set);
#endif
