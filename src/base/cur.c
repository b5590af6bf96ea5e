#include "base/cur.h"

void kw_cur_init(struct kw_cur *c, const void *data, size_t len)
{
    *c = (struct kw_cur){.data = data, .len = len};
}

size_t kw_cur_left(const struct kw_cur *c)
{
    return c->err != 0 ? 0 : c->len - c->at;
}

const uint8_t *kw_cur_octets(struct kw_cur *c, size_t n)
{
    const uint8_t *p;

    if (c->err != 0 || n > c->len - c->at) {
        c->err = KW_ERANGE;
        return NULL;
    }
    p = c->data + c->at;
    c->at += n;
    return p;
}

uint8_t kw_cur_u8(struct kw_cur *c)
{
    const uint8_t *p = kw_cur_octets(c, 1);

    return p != NULL ? p[0] : 0;
}

uint16_t kw_cur_u16(struct kw_cur *c)
{
    const uint8_t *p = kw_cur_octets(c, 2);

    return p != NULL ? (uint16_t)((p[0] << 8) | p[1]) : 0;
}

uint32_t kw_cur_u32(struct kw_cur *c)
{
    const uint8_t *p = kw_cur_octets(c, 4);

    return p == NULL ? 0
                     : ((uint32_t)p[0] << 24) | ((uint32_t)p[1] << 16) |
                           ((uint32_t)p[2] << 8) | p[3];
}
