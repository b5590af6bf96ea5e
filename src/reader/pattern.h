#ifndef KW_PATTERN_H
#define KW_PATTERN_H
/*
 * pattern.h - a grammar written out as patterns for PCRE2, one for the whole
 * of it or one for each way that it can be matched. What the grammar calls
 * <name> is a set of symbols, and each symbol one code unit. Rules that carry
 * meaning become named groups.
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

/* A symbol that a way can begin with, and what can come behind it. */
struct pattern_opening {
    struct pattern_set first, second;
    bool ends; /* or nothing need come behind it */
};

struct pattern_ways {
    /*
     * A pattern of its own. nothing: it may match without a symbol; longest:
     * symbols of the longest match, 0 when it has no end.
     */
    void (*way)(void *to, const struct kw_buf *pattern, bool nothing,
                size_t longest);
    /* Of the last way. No match of it begins otherwise, but of nothing. */
    void (*opening)(void *to, const struct pattern_opening *o);
    /* Of the last way. Every match of it has one of these symbols. */
    void (*need)(void *to, const struct pattern_set *set);
    void *to;
};

/*
 * The rule of a checked grammar taken apart into the alternatives at its top,
 * in their order: the first of them that matches is what the pattern of the
 * whole rule would take. Each has few groups, and few of them can begin with
 * a given symbol; that is what makes a try cheap. KW_EFULL when one of them
 * is longer than most octets.
 */
int pattern_take_ways(const struct abnf *a, const char *rule,
                      const struct pattern *how, size_t most,
                      const struct pattern_ways *ways);
#endif
