#ifndef KW_CARRIER_UTF8_H
#define KW_CARRIER_UTF8_H
/* utf8.h - code points in and out of UTF-8, for the encodings beside it. */
#include "base/buf.h"

/*
 * The code point at text[*at], *at moved past it; U+FFFD for an octet that
 * is not UTF-8. *at must be below len.
 */
uint32_t utf8_next(const char *text, size_t len, size_t *at);
void utf8_put(struct kw_buf *out, uint32_t code_point);
/* Belongs to the character before it: a combining mark or a joiner. */
bool utf8_joins(uint32_t code_point);
#endif
