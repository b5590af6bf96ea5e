#ifndef KW_SEPTET_H
#define KW_SEPTET_H
/*
 * septet.h - how long a text is on the air. Source: 3GPP TS 23.038, 6.2.1
 * (default alphabet) and 6.2.1.1 (extension table); TS 23.040, 9.2.3.16 and
 * 9.2.3.24.1 (sizes with a concatenation header).
 */
#include "base/kw.h"

#define SEPTET_SEGMENT      160 /* one text, default alphabet */
#define SEPTET_PART         153 /* each part of a longer one */
#define SEPTET_UCS2_SEGMENT 70  /* one text, UCS-2 code units */
#define SEPTET_UCS2_PART    67

struct septet_size {
    bool gsm7;       /* the default alphabet can write it */
    size_t units;    /* septets, or UTF-16 code units when !gsm7 */
    size_t segments; /* 1 and up; 0 for an empty text */
};

/* Septets of one code point in the default alphabet: 1, 2, or 0 when none. */
int septet_cost(uint32_t code_point);
/*
 * Measures UTF-8 text. An escape pair or surrogate pair is not split between
 * parts. Invalid UTF-8 counts as U+FFFD.
 */
struct septet_size septet_measure(const char *text, size_t len);
#endif
