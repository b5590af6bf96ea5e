#ifndef KW_UDH_H
#define KW_UDH_H
/*
 * udh.h - the user data header before the text: which part of how many, and
 * which language tables.
 * Source: 3GPP TS 23.040, 9.2.3.24.
 */
#include "base/kw.h"

#define UDH_OCTETS_MOST 14 /* that udh_encode writes */

struct udh {
    size_t octets; /* of the header with UDHL: where the text begins */
    uint8_t total; /* parts; 0: no (valid) concatenation element */
    uint8_t seq;   /* 1..total */
    uint16_t ref;  /* concatenated short message reference number */
    bool wide;     /* the reference has 16 bits */
    uint8_t locking, single; /* national language identifiers */
    bool ports;              /* addressed to an application port */
    uint16_t port_to, port_from;
    bool sim_toolkit; /* 70..7F: for the card, not for people */
};

/*
 * Reads the header at the start of the user data. Elements that are not
 * known are skipped; an element that stands twice counts the last time; when
 * the last element overruns the header the whole header is ignored, but for
 * octets. A UDHL beyond the data gives octets == len.
 */
void udh_decode(const uint8_t *ud, size_t len, struct udh *h);
/*
 * Writes the header for total, seq, ref, wide, locking and single; returns
 * its octets, 0 when none is needed.
 */
size_t udh_encode(const struct udh *h, uint8_t dst[UDH_OCTETS_MOST]);
/* The octets that udh_encode would write. */
size_t udh_size(bool concat, bool wide, uint8_t locking, uint8_t single);
#endif
