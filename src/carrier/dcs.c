#include "carrier/dcs.h"

static const enum dcs_alphabet general[] = {DCS_GSM7, DCS_OCTETS, DCS_UCS2,
                                            DCS_GSM7};

struct dcs dcs_decode(uint8_t tp_dcs)
{
    struct dcs d = {.alphabet = DCS_GSM7, .class = -1};

    if (tp_dcs < 0x80) { /* general, and marked for automatic deletion */
        d.alphabet = general[(tp_dcs >> 2) & 3];
        d.compressed = (tp_dcs & 0x20) != 0;
        if ((tp_dcs & 0x10) != 0)
            d.class = tp_dcs & 3;
    } else if (tp_dcs >= 0xf0) { /* data coding and class */
        d.alphabet = (tp_dcs & 4) != 0 ? DCS_OCTETS : DCS_GSM7;
        d.class = tp_dcs & 3;
    } else if (tp_dcs >= 0xe0) { /* message waiting, UCS2 */
        d.alphabet = DCS_UCS2;
    }
    return d;
}

enum dcs_alphabet dcs_ussd(uint8_t dcs)
{
    if (dcs == 0x11)
        return DCS_UCS2; /* preceded by a language in two octets */
    if (dcs >= 0x40 && dcs < 0x80)
        return general[(dcs >> 2) & 3];
    if (dcs >= 0xf0 && (dcs & 4) != 0)
        return DCS_OCTETS;
    return DCS_GSM7;
}
