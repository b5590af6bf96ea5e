#include "carrier/segment.h"
#include "carrier/alphabet.h"
#include "carrier/dcs.h"
#include "carrier/gsm7.h"
#include "carrier/tpdu.h"
#include "carrier/ucs2.h"
#include "carrier/utf8.h"

/* One way to write the text. */
struct coding {
    bool ucs2;
    struct alphabet_shift shift;
    bool whole; /* keep combining marks with their letters */
};

/* Octets (septets, two a code unit) of one character; 0: it cannot be. */
static size_t cost(const struct coding *c, uint32_t cp)
{
    uint8_t pair[2];

    if (c->ucs2)
        return cp > 0xffff ? 4 : 2;
    return alphabet_septets(c->shift, cp, pair);
}

static size_t room(const struct coding *c, const struct segment_way *way,
                   bool concat)
{
    size_t head =
        udh_size(concat, way->wide, c->shift.locking, c->shift.single);

    if (c->ucs2)
        return (TPDU_UD_OCTETS - head) & ~(size_t)1;
    return (TPDU_UD_OCTETS - head) * 8 / 7;
}

/*
 * Where the part that begins at `at` ends. 0: a character cannot be written.
 */
static size_t part_end(const struct coding *c, const char *text, size_t len,
                       size_t at, size_t most)
{
    size_t used = 0, end = at, letter = at;

    while (end < len) {
        size_t next = end;
        uint32_t cp = utf8_next(text, len, &next);
        size_t k = cost(c, cp);

        if (k == 0)
            return 0;
        if (!utf8_joins(cp))
            letter = end;
        if (used + k > most)
            return c->whole && letter > at ? letter : end;
        used += k;
        end = next;
    }
    return end;
}

/* Parts this way, 0: it cannot be written, or not in SEGMENT_MOST. */
static size_t count(const struct coding *c, const struct segment_way *way,
                    const char *text, size_t len)
{
    size_t at, n = 0;

    if (len == 0 || part_end(c, text, len, 0, room(c, way, false)) == len)
        return 1;
    for (at = 0; at < len; n++) {
        at = part_end(c, text, len, at, room(c, way, true));
        if (at == 0 || n == SEGMENT_MOST)
            return 0;
    }
    return n;
}

static int put_part(const struct coding *c, const char *text, size_t len,
                    struct segment *s)
{
    if (c->ucs2)
        return ucs2_encode(text, len, s->octets, sizeof(s->octets), &s->n);
    return gsm7_encode(c->shift, text, len, s->octets, sizeof(s->octets),
                       &s->n);
}

static int cut(const struct coding *c, const struct segment_way *way,
               const char *text, size_t len, struct segment_text *out)
{
    size_t most = room(c, way, out->n > 1), at = 0;

    out->tp_dcs = c->ucs2 ? DCS_UTF16 : DCS_DEFAULT;
    out->udh = (struct udh){.total = out->n > 1 ? (uint8_t)out->n : 0,
                            .wide = way->wide,
                            .locking = c->shift.locking,
                            .single = c->shift.single};
    for (size_t i = 0; i < out->n; i++) {
        size_t end = len > 0 ? part_end(c, text, len, at, most) : 0;
        int err = put_part(c, text + at, end - at, &out->parts[i]);

        if (err < 0)
            return err;
        at = end;
    }
    return 0;
}

int segment_cut(const struct segment_way *way, const char *text, size_t len,
                struct segment_text *out)
{
    uint8_t lang = way->language;
    const struct coding codings[] = {
        {.shift = {0, 0}},
        {.shift = {0, alphabet_has_single(lang) ? lang : 0}},
        {.shift = {alphabet_has_locking(lang) ? lang : 0, 0}},
        {.shift = {alphabet_has_locking(lang) ? lang : 0,
                   alphabet_has_single(lang) ? lang : 0}},
        {.ucs2 = true},
    };
    struct coding best = {0}, whole;
    size_t n;

    out->n = 0;
    for (size_t i = 0; i < KW_COUNT(codings); i++) {
        n = way->ucs2 && !codings[i].ucs2 ? 0
                                          : count(&codings[i], way, text, len);
        if (n > 0 && (out->n == 0 || n < out->n)) {
            out->n = n;
            best = codings[i];
        }
        /* The default alphabet is read by every phone: take it if it can. */
        if (i == 0 && n > 0)
            break;
    }
    if (out->n == 0)
        return KW_EFULL;
    whole = best;
    whole.whole = true;
    if (count(&whole, way, text, len) == out->n)
        best = whole;
    return cut(&best, way, text, len, out);
}
