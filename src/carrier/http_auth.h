#ifndef KW_HTTP_AUTH_H
#define KW_HTTP_AUTH_H
/*
 * http_auth.h - who may hand texts in: a shared secret or a signature over
 * the raw octets of the body. Comparisons take the same time wherever the
 * difference lies, and whatever the lengths.
 */
#include "base/kw.h"

#define HTTP_AUTH_MAC_OCTETS 32

bool http_auth_same(const char *given, size_t len, const char *secret);

/* HMAC-SHA256, RFC 2104. 0, or KW_EIO when the library refuses. */
int http_auth_hmac(const char *key, size_t key_len, const char *data,
                   size_t len, uint8_t mac[HTTP_AUTH_MAC_OCTETS]);

struct http_auth_keys {
    const char *key;     /* octets as configured */
    const char *key_old; /* also good while keys are changed; NULL none */
};
/* header: 64 hex digits of any case, "sha256=" before them allowed. */
bool http_auth_signed(const struct http_auth_keys *keys, const char *header,
                      const char *body, size_t len);
#endif
