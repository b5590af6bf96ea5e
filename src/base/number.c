#include "base/number.h"

#include <errno.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int kw_parse_i64(const char *s, size_t len, int64_t min, int64_t max,
                 int64_t *out)
{
    char text[24], *end;
    long long v;

    if (len == 0 || kw_copy(text, sizeof(text), s, len) < 0)
        return len == 0 ? KW_EINVAL : KW_ERANGE;
    if (strspn(text, "+-0123456789") != len)
        return KW_EINVAL;
    errno = 0;
    v = strtoll(text, &end, 10);
    if (end == text || *end != '\0')
        return KW_EINVAL;
    if (errno != 0 || v < min || v > max)
        return KW_ERANGE;
    *out = v;
    return 0;
}

int kw_parse_double(const char *s, size_t len, double min, double max,
                    double *out)
{
    char text[48], *end;
    double v;

    if (len == 0 || kw_copy(text, sizeof(text), s, len) < 0)
        return KW_EINVAL;
    if (strspn(text, "+-.0123456789eE") != len)
        return KW_EINVAL;
    v = strtod(text, &end);
    if (end == text || *end != '\0')
        return KW_EINVAL;
    if (!isfinite(v) || v < min || v > max)
        return KW_ERANGE;
    *out = v;
    return 0;
}

int kw_parse_msisdn(const char *s, size_t len, int64_t *out)
{
    int64_t v = 0;
    int digits = 0;

    if (len == 0 || s[0] != '+')
        return KW_EINVAL;
    for (size_t i = 1; i < len; i++) {
        if (s[i] >= '0' && s[i] <= '9') {
            if (++digits > 15)
                return KW_ERANGE;
            v = v * 10 + (s[i] - '0');
        } else if (memchr(" .-()", s[i], 5) == NULL) {
            return KW_EINVAL;
        }
    }
    if (digits < 7 || s[1] == '0')
        return KW_ERANGE;
    *out = v;
    return 0;
}

void kw_format_msisdn(int64_t msisdn, char *dst, size_t cap)
{
    snprintf(dst, cap, "+%" PRId64, msisdn);
}
