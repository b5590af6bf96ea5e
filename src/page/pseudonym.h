#ifndef KW_PSEUDONYM_H
#define KW_PSEUDONYM_H
/*
 * pseudonym.h - a phone number as a keyed hash: the same number and key give
 * the same word, and without the key no list of all numbers leads back.
 * Source: HMAC-SHA256, RFC 2104 and FIPS 180-4, cut to its first 8 octets.
 */
#include "base/kw.h"

#define PSEUDONYM_CAP       17 /* 16 hexadecimal digits and NUL */
#define PSEUDONYM_KEY_LEAST 16 /* octets of a key at least */

/* number "" gives "". Returns 0 or KW_EIO when the library fails. */
int pseudonym_of(const char *key, const char *number, char dst[PSEUDONYM_CAP]);
#endif
