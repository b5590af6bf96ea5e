#include "carrier/ussd.h"

#include "base/number.h"
#include "carrier/at.h"
#include "carrier/dcs.h"
#include "carrier/gsm7.h"
#include "carrier/ucs2.h"

#include <ctype.h>
#include <string.h>
#include <strings.h>

#define CODE_MOST    40
#define OCTETS_MOST  364 /* 182 septets, each told as two digits too */
#define PACKED_LEAST 8   /* octets; fewer digits may well be digits */
#define DCS_UNKNOWN  15

bool ussd_code_good(const char *code)
{
    size_t n = strlen(code);

    return n >= 1 && n <= CODE_MOST && strspn(code, "0123456789*#") == n;
}

/* ---- the line ---- */

/* The closing quote: nothing after it, or a comma and the coding. */
static const char *closing(const char *text)
{
    const char *q = strrchr(text, '"');

    if (q == NULL)
        return NULL;
    if (q[1] == '\0')
        return q;
    return q[1] == ',' && strspn(q + 2, " 0123456789") == strlen(q + 2) ? q
                                                                        : NULL;
}

int ussd_parse(const char *rest, struct ussd *out)
{
    const char *open = strchr(rest, '"'), *close;
    int64_t n;

    *out = (struct ussd){.text = "", .dcs = DCS_UNKNOWN};
    if (!isdigit((unsigned char)rest[0]) || (rest[1] != '\0' && rest[1] != ','))
        return KW_ESYNTAX;
    out->status = rest[0] - '0';
    if (open == NULL)
        return 0;
    if ((close = closing(open + 1)) == NULL)
        return KW_EAGAIN;
    out->text = open + 1;
    out->len = (size_t)(close - out->text);
    if (close[1] == ',') {
        const char *dcs = close + 2 + strspn(close + 2, " ");

        if (kw_parse_i64(dcs, strlen(dcs), 0, 255, &n) == 0)
            out->dcs = (int)n;
    }
    return 0;
}

/* ---- the text ---- */

/* Digits alone, two an octet; how many octets, 0 when it is not that. */
static size_t octets_of(const struct ussd *u, uint8_t *octets, size_t cap)
{
    char digits[2 * OCTETS_MOST + 1];
    int n;

    if (u->len == 0 || u->len >= sizeof(digits))
        return 0;
    memcpy(digits, u->text, u->len);
    digits[u->len] = '\0';
    n = at_hex(digits, octets, cap);
    return n > 0 ? (size_t)n : 0;
}

static bool all_printable(const uint8_t *octets, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (octets[i] != '\n' && octets[i] != '\r' &&
            (octets[i] < 0x20 || octets[i] > 0x7e))
            return false;
    }
    return n > 0;
}

static void put_septets(const uint8_t *octets, size_t n, struct kw_buf *out)
{
    uint8_t septets[GSM7_USSD_SEPTETS];
    size_t k = gsm7_ussd_unpack(octets, n, septets);

    gsm7_decode((struct alphabet_shift){0}, septets, k, out);
}

/*
 * Digits under the default alphabet are digits, or what some modems make of
 * it: UTF-16 where +CSCS was left so, or the packed octets. Either is taken
 * for that only when it reads as plain words.
 */
static bool put_digits(const uint8_t *octets, size_t n, struct kw_buf *out)
{
    uint8_t low[OCTETS_MOST], septets[GSM7_USSD_SEPTETS];
    size_t k = 0;
    bool wide = n >= 4 && n % 2 == 0;

    for (size_t i = 0; wide && i < n; i += 2) {
        wide = octets[i] == 0;
        low[k++] = octets[i + 1];
    }
    if (wide && all_printable(low, k)) {
        ucs2_decode(octets, n, out);
        return true;
    }
    if (n < PACKED_LEAST || n > GSM7_USSD_OCTETS)
        return false;
    k = gsm7_ussd_unpack(octets, n, septets);
    if (!all_printable(septets, k))
        return false;
    put_septets(octets, n, out);
    return true;
}

void ussd_text(const struct ussd *u, struct kw_buf *out)
{
    uint8_t octets[OCTETS_MOST];
    size_t n = octets_of(u, octets, sizeof(octets)), skip = 0;
    enum dcs_alphabet alphabet = dcs_ussd((uint8_t)u->dcs);

    if (n > 0 && alphabet == DCS_UCS2) {
        if (u->dcs == 0x11 && n >= 2)
            skip = 2; /* two letters of a language, packed */
        ucs2_decode(octets + skip, n - skip, out);
        return;
    }
    if (n > 0 && alphabet == DCS_GSM7 && put_digits(octets, n, out))
        return;
    if (n > 0 && alphabet == DCS_OCTETS && all_printable(octets, n))
        kw_buf_put(out, (const char *)octets, n);
    else
        kw_buf_put(out, u->text, u->len);
}

/* ---- the amount ---- */

static const char *find(const char *text, const char *words)
{
    size_t n = strlen(words);

    for (; *text != '\0'; text++) {
        if (strncasecmp(text, words, n) == 0)
            return text + n;
    }
    return n == 0 ? text : NULL;
}

/* Digits with commas and points between, of n characters, as a number. */
static int number_of(const char *s, size_t n, double *out)
{
    char plain[40];
    size_t k = 0, last = n;

    for (size_t i = 0; i < n; i++) {
        if (!isdigit((unsigned char)s[i]))
            last = i;
    }
    for (size_t i = 0; i < n && k + 1 < sizeof(plain); i++) {
        if (isdigit((unsigned char)s[i]))
            plain[k++] = s[i];
        else if (i == last && n - last - 1 <= 2)
            plain[k++] = '.';
    }
    return kw_parse_double(plain, k, 0, 1e12, out);
}

int ussd_amount(const char *text, const char *after, double *out)
{
    const char *p = find(text, after);

    if (after[0] == '\0')
        p = text;
    if (p == NULL)
        return KW_ENOENT;
    p += strcspn(p, "0123456789");
    if (*p == '\0')
        return KW_ENOENT;
    for (size_t n = 1;; n++) {
        if (isdigit((unsigned char)p[n]) ||
            ((p[n] == ',' || p[n] == '.') && isdigit((unsigned char)p[n + 1])))
            continue;
        if (number_of(p, n, out) < 0)
            return KW_ENOENT;
        if (p > text && p[-1] == '-')
            *out = -*out;
        return 0;
    }
}
