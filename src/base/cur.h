#ifndef KW_CUR_H
#define KW_CUR_H
/*
 * cur.h - reads octets that came from outside. An error sticks: later reads
 * give 0 and move nothing, and one check at the end tells.
 */
#include "base/kw.h"

struct kw_cur {
    const uint8_t *data; /* borrowed */
    size_t len;
    size_t at;
    int err; /* 0 or KW_ERANGE once something was read past the end */
};

void kw_cur_init(struct kw_cur *c, const void *data, size_t len);
size_t kw_cur_left(const struct kw_cur *c);
uint8_t kw_cur_u8(struct kw_cur *c);
uint16_t kw_cur_u16(struct kw_cur *c); /* big-endian */
uint32_t kw_cur_u32(struct kw_cur *c); /* big-endian */
/* n octets, borrowed from the data; NULL past the end. */
const uint8_t *kw_cur_octets(struct kw_cur *c, size_t n);
#endif
