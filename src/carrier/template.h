#ifndef KW_TEMPLATE_H
#define KW_TEMPLATE_H
/*
 * template.h - addresses, headers and bodies with {to} {to_digits} {text}
 * {id} {from} in them. A value is written as its place asks. Pure.
 *
 *   address          percent-encoded, RFC 3986 2.1, all but unreserved
 *   header           as it is, control characters dropped
 *   body             by its Content-Type: a form percent-encoded, JSON with
 *                    the escapes of RFC 8259 7 (invalid UTF-8 becomes
 *                    U+FFFD), XML with entities, anything else as it is
 *
 * A brace that begins no {word} of small letters stands for itself, so that
 * JSON bodies can be written as they are.
 */
#include "base/buf.h"

enum template_place {
    TEMPLATE_ADDRESS,
    TEMPLATE_HEADER,
    TEMPLATE_FORM,
    TEMPLATE_JSON,
    TEMPLATE_XML,
    TEMPLATE_PLAIN
};

struct template_slots {
    const char *to, *text, *from; /* UTF-8, NUL-terminated */
    int64_t id;
};

/* NULL content_type: a form, as is sent when nothing is said. */
enum template_place template_place_of(const char *content_type);
/* 0, or KW_EINVAL and the unknown {word} in bad (cap octets). */
int template_check(const char *t, char *bad, size_t cap);
bool template_uses(const char *t, const char *word); /* "id" */
void template_expand(const char *t, enum template_place place,
                     const struct template_slots *s, struct kw_buf *out);
/* One value as the place asks; n octets of s. */
void template_escape(enum template_place place, const char *s, size_t n,
                     struct kw_buf *out);
#endif
