#ifndef KW_TPDU_FIELD_H
#define KW_TPDU_FIELD_H
/* tpdu_field.h - addresses and times inside a TPDU; for tpdu.c alone. */
#include "carrier/tpdu.h"

#define TPDU_TIME_OCTETS    7
#define TPDU_ADDRESS_OCTETS 12 /* length, type, 20 semi-octets */

/* Reads from the cursor; KW_EINVAL for an impossible length. */
int tpdu_field_get_address(struct kw_cur *c, struct tpdu_address *a);
/* Octets written, or KW_EINVAL. */
int tpdu_field_put_address(const struct tpdu_address *a,
                           uint8_t dst[TPDU_ADDRESS_OCTETS]);
void tpdu_field_get_time(struct kw_cur *c, struct tpdu_time *at);
void tpdu_field_put_time(const struct tpdu_time *at,
                         uint8_t dst[TPDU_TIME_OCTETS]);
#endif
