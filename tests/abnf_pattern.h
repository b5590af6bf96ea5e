#ifndef KW_ABNF_PATTERN_H
#define KW_ABNF_PATTERN_H
/*
 * abnf_pattern.h - a grammar written out as a pattern of PCRE2 over octets:
 * what the parser read, and what the matcher does, are held against that
 * library (tests only).
 */
#include "base/buf.h"
#include "reader/abnf.h"

struct abnf_octets { /* a set of octets */
    uint64_t bits[4];
};

static inline void abnf_octets_add(struct abnf_octets *s, unsigned octet)
{
    s->bits[octet / 64] |= UINT64_C(1) << (octet % 64);
}

struct abnf_pattern {
    /* Adds the octets of <name>; false when there is no such name. */
    bool (*prose)(const void *to, const char *name, size_t len,
                  struct abnf_octets *set);
    /* Shall the rule be a named group? '-' becomes '_'. May be NULL. */
    bool (*captures)(const char *rule);
    const void *to;
};

/* Adds the pattern of a rule of a checked grammar. */
void abnf_pattern(const struct abnf *a, const char *rule,
                  const struct abnf_pattern *how, struct kw_buf *out);
#endif
