#include "carrier/http_auth.h"

#include <openssl/crypto.h>
#include <openssl/evp.h>
#include <openssl/hmac.h>
#include <string.h>
#include <strings.h>

bool http_auth_same(const char *given, size_t len, const char *secret)
{
    unsigned char a[HTTP_AUTH_MAC_OCTETS], b[HTTP_AUTH_MAC_OCTETS];

    /* Digests, so that not even the lengths show in the time taken. */
    if (EVP_Digest(given, len, a, NULL, EVP_sha256(), NULL) != 1 ||
        EVP_Digest(secret, strlen(secret), b, NULL, EVP_sha256(), NULL) != 1)
        return false;
    return CRYPTO_memcmp(a, b, sizeof(a)) == 0;
}

int http_auth_hmac(const char *key, size_t key_len, const char *data,
                   size_t len, uint8_t mac[HTTP_AUTH_MAC_OCTETS])
{
    if (HMAC(EVP_sha256(), key, (int)key_len, (const unsigned char *)data, len,
             mac, NULL) == NULL)
        return KW_EIO;
    return 0;
}

static int hex_digit(unsigned char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    c |= 0x20;
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

static bool read_mac(const char *s, uint8_t mac[HTTP_AUTH_MAC_OCTETS])
{
    if (strncasecmp(s, "sha256=", 7) == 0)
        s += 7;
    if (strlen(s) != 2 * HTTP_AUTH_MAC_OCTETS)
        return false;
    for (size_t i = 0; i < HTTP_AUTH_MAC_OCTETS; i++) {
        int high = hex_digit((unsigned char)s[2 * i]);
        int low = hex_digit((unsigned char)s[2 * i + 1]);

        if (high < 0 || low < 0)
            return false;
        mac[i] = (uint8_t)(high << 4 | low);
    }
    return true;
}

static bool made_with(const char *key, const uint8_t *given, const char *body,
                      size_t len)
{
    uint8_t mac[HTTP_AUTH_MAC_OCTETS];

    if (key == NULL || http_auth_hmac(key, strlen(key), body, len, mac) < 0)
        return false;
    return CRYPTO_memcmp(mac, given, sizeof(mac)) == 0;
}

bool http_auth_signed(const struct http_auth_keys *keys, const char *header,
                      const char *body, size_t len)
{
    uint8_t given[HTTP_AUTH_MAC_OCTETS];

    if (header == NULL || !read_mac(header, given))
        return false;
    return made_with(keys->key, given, body, len) ||
           made_with(keys->key_old, given, body, len);
}
