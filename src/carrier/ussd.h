#ifndef KW_USSD_H
#define KW_USSD_H
/*
 * ussd.h - the strings of +CUSD: what a network says to a code such as *123#.
 * Pure. Source: 3GPP TS 27.007, 7.15 (+CUSD); TS 23.038, 5 (the coding) and
 * 6.1.2.3 (packing).
 */
#include "base/buf.h"

enum ussd_status { /* <m> */
                   USSD_DONE,
                   USSD_WANTS_MORE, /* the network waits for an answer */
                   USSD_ENDED,      /* by the network */
                   USSD_ELSEWHERE,  /* another client has answered */
                   USSD_NOT_SUPPORTED,
                   USSD_TIMEOUT
};

struct ussd {
    int status;
    const char *text; /* between the quotes, borrowed from the line */
    size_t len;
    int dcs; /* 15, the default alphabet, when it is not told */
};

/* Digits, * and #, that are a code: 1 to 40 of them. */
bool ussd_code_good(const char *code);
/*
 * What stands after "+CUSD:". Returns 0; KW_EAGAIN: the quotes are not closed
 * yet, more lines belong to it; KW_ESYNTAX.
 */
int ussd_parse(const char *rest, struct ussd *out);
/*
 * The text as UTF-8, line ends kept. Modems write the default alphabet as
 * characters, or its packed octets as digits; UCS2 always as digits.
 */
void ussd_text(const struct ussd *u, struct kw_buf *out);
/*
 * The first amount in the text that stands after those words ("" anywhere):
 * "Balance 1,250.50" is 1250.5. A last comma or point with one or two digits
 * behind it is decimal. KW_ENOENT: there is none.
 */
int ussd_amount(const char *text, const char *after, double *out);
#endif
