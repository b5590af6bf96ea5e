/* pseudonym.c - see pseudonym.h. */
#include "page/pseudonym.h"

#include <openssl/evp.h>
#include <openssl/hmac.h>
#include <stdio.h>
#include <string.h>

int pseudonym_of(const char *key, const char *number, char dst[PSEUDONYM_CAP])
{
    unsigned char mac[EVP_MAX_MD_SIZE];
    unsigned len = 0;

    dst[0] = '\0';
    if (number[0] == '\0')
        return 0;
    if (HMAC(EVP_sha256(), key, (int)strlen(key), (const unsigned char *)number,
             strlen(number), mac, &len) == NULL ||
        len < PSEUDONYM_CAP / 2)
        return KW_EIO;
    for (size_t i = 0; i < PSEUDONYM_CAP / 2; i++)
        snprintf(dst + 2 * i, 3, "%02x", mac[i]);
    return 0;
}
