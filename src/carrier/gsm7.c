#include "carrier/gsm7.h"
#include "carrier/utf8.h"

#include <string.h>

#define CR 0x0d

int gsm7_encode(struct alphabet_shift shift, const char *text, size_t len,
                uint8_t *septets, size_t cap, size_t *n)
{
    size_t at = 0, used = 0;

    while (at < len) {
        size_t before = at;
        uint8_t pair[2];
        size_t k = alphabet_septets(shift, utf8_next(text, len, &at), pair);

        if (k == 0) {
            *n = before;
            return KW_EINVAL;
        }
        if (k > cap - used)
            return KW_EFULL;
        memcpy(septets + used, pair, k);
        used += k;
    }
    *n = used;
    return 0;
}

void gsm7_decode(struct alphabet_shift shift, const uint8_t *septets, size_t n,
                 struct kw_buf *out)
{
    for (size_t i = 0; i < n; i++) {
        uint8_t s = septets[i] & 0x7f;

        if (s != ALPHABET_ESC)
            utf8_put(out, alphabet_char(shift, s));
        else if (++i < n)
            utf8_put(out, alphabet_escaped(shift, septets[i] & 0x7f));
    }
}

unsigned gsm7_fill_bits(size_t header_octets)
{
    return (unsigned)((7 - header_octets * 8 % 7) % 7);
}

size_t gsm7_octets(size_t n, unsigned fill)
{
    return (n * 7 + fill + 7) / 8;
}

int gsm7_pack(const uint8_t *septets, size_t n, unsigned fill, uint8_t *octets,
              size_t cap)
{
    size_t len = gsm7_octets(n, fill);

    if (len > cap)
        return KW_EFULL;
    if (len > 0)
        memset(octets, 0, len);
    for (size_t i = 0; i < n; i++) {
        size_t bit = i * 7 + fill;
        unsigned two = (unsigned)(septets[i] & 0x7f) << (bit % 8);

        octets[bit / 8] |= (uint8_t)two;
        if (two > 0xff)
            octets[bit / 8 + 1] |= (uint8_t)(two >> 8);
    }
    return 0;
}

size_t gsm7_unpack(const uint8_t *octets, size_t len, unsigned fill, size_t n,
                   uint8_t *septets)
{
    size_t there = len * 8 > fill ? (len * 8 - fill) / 7 : 0;

    if (n > there)
        n = there;
    for (size_t i = 0; i < n; i++) {
        size_t bit = i * 7 + fill;
        unsigned two = octets[bit / 8];

        if (bit / 8 + 1 < len)
            two |= (unsigned)octets[bit / 8 + 1] << 8;
        septets[i] = (uint8_t)((two >> (bit % 8)) & 0x7f);
    }
    return n;
}

int gsm7_ussd_pack(const uint8_t *septets, size_t n, uint8_t *octets,
                   size_t cap, size_t *len)
{
    uint8_t padded[GSM7_USSD_SEPTETS + 1];

    if (n > GSM7_USSD_SEPTETS)
        return KW_EFULL;
    memcpy(padded, septets, n);
    if (n % 8 == 7 || (n % 8 == 0 && n > 0 && septets[n - 1] == CR))
        padded[n++] = CR;
    *len = gsm7_octets(n, 0);
    if (*len > GSM7_USSD_OCTETS)
        return KW_EFULL;
    return gsm7_pack(padded, n, 0, octets, cap);
}

size_t gsm7_ussd_unpack(const uint8_t *octets, size_t len, uint8_t *septets)
{
    size_t n;

    if (len > GSM7_USSD_OCTETS)
        len = GSM7_USSD_OCTETS;
    n = gsm7_unpack(octets, len, 0, GSM7_USSD_SEPTETS, septets);
    /* Only where padding can stand: seven spare bits, or a second CR. */
    if (n > 0 && n % 8 == 0 && septets[n - 1] == CR)
        n--;
    else if (n > 1 && n % 8 == 1 && septets[n - 1] == CR &&
             septets[n - 2] == CR)
        n--;
    return n;
}
