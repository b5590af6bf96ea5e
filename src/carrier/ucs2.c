#include "carrier/ucs2.h"
#include "base/cur.h"
#include "carrier/utf8.h"

static void put_unit(uint8_t *octets, size_t at, uint32_t unit)
{
    octets[at] = (uint8_t)(unit >> 8);
    octets[at + 1] = (uint8_t)unit;
}

int ucs2_encode(const char *text, size_t len, uint8_t *octets, size_t cap,
                size_t *n)
{
    size_t at = 0, used = 0;

    while (at < len) {
        uint32_t cp = utf8_next(text, len, &at);
        size_t need = cp > 0xffff ? 4 : 2;

        if (need > cap - used)
            return KW_EFULL;
        if (need == 4) {
            put_unit(octets, used, 0xd800 + ((cp - 0x10000) >> 10));
            put_unit(octets, used + 2, 0xdc00 + ((cp - 0x10000) & 0x3ff));
        } else {
            put_unit(octets, used, cp);
        }
        used += need;
    }
    *n = used;
    return 0;
}

void ucs2_decode(const uint8_t *octets, size_t len, struct kw_buf *out)
{
    struct kw_cur c;

    kw_cur_init(&c, octets, len);
    while (kw_cur_left(&c) >= 2) {
        uint32_t unit = kw_cur_u16(&c);
        struct kw_cur ahead = c;
        uint32_t low = kw_cur_u16(&ahead);

        if (unit >= 0xd800 && unit <= 0xdbff && ahead.err == 0 &&
            low >= 0xdc00 && low <= 0xdfff) {
            utf8_put(out, 0x10000 + ((unit - 0xd800) << 10) + (low - 0xdc00));
            c = ahead;
        } else {
            utf8_put(out, unit >= 0xd800 && unit <= 0xdfff ? 0xfffd : unit);
        }
    }
}
