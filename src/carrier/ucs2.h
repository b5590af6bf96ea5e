#ifndef KW_UCS2_H
#define KW_UCS2_H
/*
 * ucs2.h - UTF-16 big-endian, which is what phones send as "UCS2": characters
 * beyond U+FFFF are surrogate pairs.
 * Source: 3GPP TS 23.038, 4; The Unicode Standard, 3.9, D91 (UTF-16).
 */
#include "base/buf.h"

/* Octets written are *n, always even. Returns 0 or KW_EFULL. */
int ucs2_encode(const char *text, size_t len, uint8_t *octets, size_t cap,
                size_t *n);
/* A lone surrogate shows as U+FFFD; a lone last octet is passed over. */
void ucs2_decode(const uint8_t *octets, size_t len, struct kw_buf *out);
#endif
