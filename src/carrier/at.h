#ifndef KW_AT_H
#define KW_AT_H
/*
 * at.h - the lines of an AT dialogue. Pure.
 * Source: ITU-T V.250, 5.7 (responses); 3GPP TS 27.007, 9 (+CME ERROR);
 * TS 27.005, 3.2.5 (+CMS ERROR) and 3.5.1 (the prompt).
 */
#include "base/kw.h"

#define AT_LINE_CAP 1024 /* a PDU has at most 400 digits */

enum at_kind {
    AT_TEXT, /* a line of an answer, or one that nobody asked for */
    AT_OK,
    AT_ERROR,
    AT_CME, /* +CME ERROR: code */
    AT_CMS, /* +CMS ERROR: code */
    AT_CARRIER_LOST,
    AT_PROMPT /* "> ", with the space or without */
};

struct at_reader {
    char line[AT_LINE_CAP];
    size_t len;
    bool too_long;
};

/*
 * Takes octets until a line (or a prompt) is there; *used tells how many.
 * True: r->line holds it, NUL-terminated, not empty. Octets that are not
 * printable are passed over; a line that is too long is dropped.
 */
bool at_next(struct at_reader *r, const char *octets, size_t len, size_t *used);
/* What the line is; *code of an error (-1 when it is no number). */
enum at_kind at_kind(const char *line, int *code);
/* Does it begin so? Then what follows the prefix and blanks, else NULL. */
const char *at_after(const char *line, const char *prefix);

#define AT_FIELDS_MOST 12
struct at_fields { /* values with commas: 1,"SM",,7 */
    size_t n;
    bool number[AT_FIELDS_MOST]; /* value is it */
    int value[AT_FIELDS_MOST];
    char text[AT_FIELDS_MOST][32]; /* without quotes, cut short */
};
void at_fields(const char *values, struct at_fields *f);
/* Hexadecimal digits to octets; -1 when it is not just that. */
int at_hex(const char *line, uint8_t *octets, size_t cap);

/* What a +CMS ERROR means for the text. TS 27.005, 3.2.5. */
enum at_cms {
    AT_CMS_TRANSIENT, /* later again */
    AT_CMS_PERMANENT, /* this text fails */
    AT_CMS_OPERATOR,  /* the card, the network or the set-up: a person */
    AT_CMS_STORE,     /* the store is full: make room, then again */
    AT_CMS_RESET,     /* begin anew with the modem */
    AT_CMS_BUG,       /* our fault: fails */
    AT_CMS_SENT,      /* it was there already */
    AT_CMS_UNKNOWN    /* perhaps sent */
};
enum at_cms at_cms_class(int code);
const char *at_cms_name(int code); /* "" when it is not known */
#endif
