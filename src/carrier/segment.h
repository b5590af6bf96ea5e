#ifndef KW_SEGMENT_H
#define KW_SEGMENT_H
/*
 * segment.h - cuts a text into the parts that go on the air: the alphabet
 * that needs the fewest parts, no escape or surrogate pair split, a combining
 * mark left with its letter where that costs no further part.
 * Source: 3GPP TS 23.040, 9.2.3.24.1 (concatenation), 9.2.3.24.15 and .16
 * (national language shifts).
 */
#include "base/kw.h"
#include "carrier/udh.h"

#define SEGMENT_MOST   32  /* parts of one text */
#define SEGMENT_OCTETS 160 /* septets one an octet, or octets of UTF-16 */

struct segment_way {
    bool wide;        /* 16-bit reference: the header is one octet longer */
    uint8_t language; /* shift tables that the network allows, 0 none */
    bool ucs2;        /* whatever the text: UTF-16 */
};

struct segment {
    size_t n; /* octets: septets, or two a UTF-16 code unit */
    uint8_t octets[SEGMENT_OCTETS];
};

struct segment_text {
    uint8_t tp_dcs; /* DCS_DEFAULT: septets; DCS_UTF16 */
    struct udh udh; /* for every part, but for ref and seq */
    size_t n;       /* parts, 1 and up */
    struct segment parts[SEGMENT_MOST];
};

/* 0, or KW_EFULL beyond SEGMENT_MOST parts. An empty text is one part. */
int segment_cut(const struct segment_way *way, const char *text, size_t len,
                struct segment_text *out);
#endif
