#ifndef KW_GSM7_H
#define KW_GSM7_H
/*
 * gsm7.h - text as septets, and septets packed into octets. The septet 00 is
 * "@": lengths are always carried, nothing here ends at a zero.
 * Source: 3GPP TS 23.038, 6.1.2.1 (SMS packing), 6.1.2.3 (USSD packing).
 */
#include "base/buf.h"
#include "carrier/alphabet.h"

#define GSM7_USSD_SEPTETS 182 /* 160 octets */
#define GSM7_USSD_OCTETS  160

/*
 * UTF-8 text into septets, one an octet. Returns 0, KW_EINVAL when the
 * tables cannot write a character (*n is then where in the text), KW_EFULL.
 */
int gsm7_encode(struct alphabet_shift shift, const char *text, size_t len,
                uint8_t *septets, size_t cap, size_t *n);
/*
 * Septets to UTF-8. An undefined code after ESC shows the character of the
 * main table, ESC ESC a space, a last lone ESC nothing. Bit 8 is passed over.
 */
void gsm7_decode(struct alphabet_shift shift, const uint8_t *septets, size_t n,
                 struct kw_buf *out);

/* Spare bits between a header of that many octets (UDHL too) and the text. */
unsigned gsm7_fill_bits(size_t header_octets);
/* Octets that hold n septets after fill bits. */
size_t gsm7_octets(size_t n, unsigned fill);
/*
 * Packs n septets after fill zero bits (0..6) into gsm7_octets(n, fill)
 * octets; spare bits are 0. Returns 0 or KW_EFULL.
 */
int gsm7_pack(const uint8_t *septets, size_t n, unsigned fill, uint8_t *octets,
              size_t cap);
/*
 * Reads n septets after fill bits, or as many as the octets hold; returns
 * how many. septets holds n.
 */
size_t gsm7_unpack(const uint8_t *octets, size_t len, unsigned fill, size_t n,
                   uint8_t *septets);

/*
 * USSD: seven spare bits carry CR, and a text that ends in CR on an octet's
 * border gets a second one. KW_EFULL beyond 182 septets or cap.
 */
int gsm7_ussd_pack(const uint8_t *septets, size_t n, uint8_t *octets,
                   size_t cap, size_t *len);
/* Septets of a USSD string, its padding CR taken off; septets holds
 * GSM7_USSD_SEPTETS. */
size_t gsm7_ussd_unpack(const uint8_t *octets, size_t len, uint8_t *septets);
#endif
