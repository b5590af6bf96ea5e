#ifndef KW_DCS_H
#define KW_DCS_H
/*
 * dcs.h - what a data coding scheme octet says of the text's alphabet.
 * Source: 3GPP TS 23.038, 4 (SMS) and 5 (cell broadcast and USSD).
 */
#include "base/kw.h"

enum dcs_alphabet { DCS_GSM7, DCS_OCTETS, DCS_UCS2, DCS_LATIN1 };

#define DCS_DEFAULT 0x00
#define DCS_8BIT    0x04
#define DCS_UTF16   0x08

struct dcs {
    enum dcs_alphabet alphabet;
    bool compressed; /* cannot be read here */
    int class;       /* 0..3, or -1 none; 0 is shown at once */
};

/* Reserved codings read as the default alphabet. */
struct dcs dcs_decode(uint8_t tp_dcs);
/* The DCS of a USSD string: 0F and its groups are the default alphabet. */
enum dcs_alphabet dcs_ussd(uint8_t dcs);
#endif
