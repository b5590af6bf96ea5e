#include "base/septet.h"

#include <utf8proc.h>

/* The default alphabet's code points beyond ASCII. TS 23.038, 6.2.1. */
static const uint16_t default_extra[] = {
    0x00a3, 0x00a5, 0x00e8, 0x00e9, 0x00f9, 0x00ec, 0x00f2, 0x00c7,
    0x00d8, 0x00f8, 0x00c5, 0x00e5, 0x0394, 0x03a6, 0x0393, 0x039b,
    0x03a9, 0x03a0, 0x03a8, 0x03a3, 0x0398, 0x039e, 0x00c6, 0x00e6,
    0x00df, 0x00c9, 0x00a4, 0x00a1, 0x00c4, 0x00d6, 0x00d1, 0x00dc,
    0x00a7, 0x00bf, 0x00e4, 0x00f6, 0x00f1, 0x00fc, 0x00e0};

int septet_cost(uint32_t cp)
{
    switch (cp) {
    case '\f':
    case '^':
    case '{':
    case '}':
    case '\\':
    case '[':
    case '~':
    case ']':
    case '|':
    case 0x20ac:
        return 2;
    case '\n':
    case '\r':
        return 1;
    case '`':
        return 0;
    default:
        break;
    }
    if (cp >= 0x20 && cp <= 0x7e)
        return 1;
    for (size_t i = 0; i < KW_COUNT(default_extra); i++) {
        if (default_extra[i] == cp)
            return 1;
    }
    return 0;
}

/* The next code point; U+FFFD for an octet that is not UTF-8. */
static uint32_t next_code_point(const char **p, const char *end)
{
    utf8proc_int32_t cp;
    utf8proc_ssize_t n =
        utf8proc_iterate((const utf8proc_uint8_t *)*p, end - *p, &cp);

    if (n <= 0) {
        (*p)++;
        return 0xfffd;
    }
    *p += n;
    return (uint32_t)cp;
}

/* Units and parts when each part holds at most room units. */
static size_t count_parts(const char *text, size_t len, bool gsm7, size_t room)
{
    const char *end = text + len;
    size_t parts = 1, used = 0;

    while (text < end) {
        uint32_t cp = next_code_point(&text, end);
        size_t cost = gsm7 ? (size_t)septet_cost(cp) : cp > 0xffff ? 2 : 1;

        if (used + cost > room) {
            parts++;
            used = 0;
        }
        used += cost;
    }
    return parts;
}

/* Letters, digits, and what stands between them: most of most texts. */
static bool is_plain(unsigned char c)
{
    return (c >= 'a' && c <= 'z') || (c >= ' ' && c <= 'Z');
}

struct septet_size septet_measure(const char *text, size_t len)
{
    struct septet_size size = {.gsm7 = true};
    const char *p = text, *end = text + len;
    size_t septets = 0, units = 0;

    while (p < end) {
        uint32_t cp;
        int cost;

        if (is_plain((unsigned char)*p)) {
            p++, septets++, units++;
            continue;
        }
        cp = next_code_point(&p, end);
        cost = septet_cost(cp);

        if (cost == 0)
            size.gsm7 = false;
        septets += (size_t)cost;
        units += cp > 0xffff ? 2 : 1;
    }
    size.units = size.gsm7 ? septets : units;
    if (len == 0)
        return size;
    if (size.units <= (size.gsm7 ? SEPTET_SEGMENT : SEPTET_UCS2_SEGMENT))
        size.segments = 1;
    else
        size.segments = count_parts(text, len, size.gsm7,
                                    size.gsm7 ? SEPTET_PART : SEPTET_UCS2_PART);
    return size;
}
