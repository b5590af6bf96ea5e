#ifndef KW_ABNF_H
#define KW_ABNF_H
/*
 * abnf.h - a grammar file (RFC 5234, with the case-sensitive strings of
 * RFC 7405) parsed, checked, and written out as one PCRE2 pattern. Rules are
 * put in place where they are used; so a rule must not lead to itself, and
 * what is matched is regular and can be bounded.
 */
#include "base/buf.h"
#include "base/fault.h"

struct abnf;

/* 0, or KW_ESYNTAX with faults added. The file name is copied. */
int abnf_parse(const char *file, const char *data, size_t len,
               struct fault_list *faults, struct abnf **out);
void abnf_free(struct abnf *a);

struct abnf_octets { /* a set of octets */
    uint64_t bits[4];
};

static inline void abnf_octets_add(struct abnf_octets *s, unsigned octet)
{
    s->bits[octet / 64] |= UINT64_C(1) << (octet % 64);
}

/* What terminals become. */
struct abnf_target {
    /* Adds the octets of <name>; false when there is no such name. */
    bool (*prose)(void *to, const char *name, size_t len,
                  struct abnf_octets *set);
    /* Shall the rule be a named group? */
    bool (*captures)(void *to, const char *rule);
    const char *literals_wrong; /* why strings may not stand here, or NULL */
    void *to;
};

/*
 * The pattern of the start rule. A rule that captures becomes a group with
 * its name ('-' written '_'), in every place where it is used. Adds a fault
 * for each rule that is not defined, not used or leads to itself.
 * 0, KW_ESYNTAX, or KW_EFULL when the pattern outgrows out.
 */
int abnf_pattern(const struct abnf *a, const char *start,
                 const struct abnf_target *target, struct fault_list *faults,
                 struct kw_buf *out);
bool abnf_has_rule(const struct abnf *a, const char *name);
#endif
