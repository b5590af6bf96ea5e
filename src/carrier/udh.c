#include "carrier/udh.h"
#include "base/cur.h"
#include "carrier/alphabet.h"

/* Information element identifiers. TS 23.040, 9.2.3.24. */
enum {
    IEI_CONCAT_8 = 0x00,
    IEI_PORTS_8 = 0x04,
    IEI_PORTS_16 = 0x05,
    IEI_CONCAT_16 = 0x08,
    IEI_SINGLE_SHIFT = 0x24,
    IEI_LOCKING_SHIFT = 0x25,
    IEI_SIM_TOOLKIT = 0x70,
    IEI_SIM_TOOLKIT_LAST = 0x7f
};

static void take_concat(struct udh *h, struct kw_cur *e, bool wide)
{
    uint16_t ref = wide ? kw_cur_u16(e) : kw_cur_u8(e);
    uint8_t total = kw_cur_u8(e), seq = kw_cur_u8(e);

    if (e->err != 0 || total == 0 || seq == 0 || seq > total)
        return; /* 9.2.3.24.1: ignore the element */
    h->ref = ref;
    h->wide = wide;
    h->total = total;
    h->seq = seq;
}

static void take_ports(struct udh *h, struct kw_cur *e, bool wide)
{
    uint16_t to = wide ? kw_cur_u16(e) : kw_cur_u8(e);
    uint16_t from = wide ? kw_cur_u16(e) : kw_cur_u8(e);

    if (e->err != 0)
        return;
    h->ports = true;
    h->port_to = to;
    h->port_from = from;
}

static void take_element(struct udh *h, uint8_t iei, struct kw_cur *e)
{
    if (iei == IEI_CONCAT_8 || iei == IEI_CONCAT_16) {
        take_concat(h, e, iei == IEI_CONCAT_16);
    } else if (iei == IEI_PORTS_8 || iei == IEI_PORTS_16) {
        take_ports(h, e, iei == IEI_PORTS_16);
    } else if (iei == IEI_SINGLE_SHIFT) {
        uint8_t lang = kw_cur_u8(e);

        if (alphabet_has_single(lang))
            h->single = lang;
    } else if (iei == IEI_LOCKING_SHIFT) {
        uint8_t lang = kw_cur_u8(e);

        if (alphabet_has_locking(lang))
            h->locking = lang;
    } else if (iei >= IEI_SIM_TOOLKIT && iei <= IEI_SIM_TOOLKIT_LAST) {
        h->sim_toolkit = true;
    }
}

void udh_decode(const uint8_t *ud, size_t len, struct udh *h)
{
    struct kw_cur c, e;
    size_t udhl;

    *h = (struct udh){0};
    kw_cur_init(&c, ud, len);
    udhl = kw_cur_u8(&c);
    if (c.err != 0 || udhl > len - 1) {
        h->octets = len;
        return;
    }
    h->octets = udhl + 1;
    kw_cur_init(&c, ud + 1, udhl);
    while (kw_cur_left(&c) > 0) {
        uint8_t iei = kw_cur_u8(&c), iedl = kw_cur_u8(&c);
        const uint8_t *data = kw_cur_octets(&c, iedl);

        if (c.err != 0) {
            *h = (struct udh){.octets = udhl + 1};
            return;
        }
        kw_cur_init(&e, data, iedl);
        take_element(h, iei, &e);
    }
}

size_t udh_size(bool concat, bool wide, uint8_t locking, uint8_t single)
{
    size_t n = (concat ? wide ? 6 : 5 : 0) + (locking != 0 ? 3 : 0) +
               (single != 0 ? 3 : 0);

    return n > 0 ? n + 1 : 0;
}

size_t udh_encode(const struct udh *h, uint8_t dst[UDH_OCTETS_MOST])
{
    size_t size = udh_size(h->total > 1, h->wide, h->locking, h->single);
    size_t n = 0;

    if (size == 0)
        return 0;
    dst[n++] = (uint8_t)(size - 1);
    if (h->total > 1) {
        dst[n++] = h->wide ? IEI_CONCAT_16 : IEI_CONCAT_8;
        dst[n++] = h->wide ? 4 : 3;
        if (h->wide)
            dst[n++] = (uint8_t)(h->ref >> 8);
        dst[n++] = (uint8_t)h->ref;
        dst[n++] = h->total;
        dst[n++] = h->seq;
    }
    if (h->locking != 0) {
        dst[n++] = IEI_LOCKING_SHIFT;
        dst[n++] = 1;
        dst[n++] = h->locking;
    }
    if (h->single != 0) {
        dst[n++] = IEI_SINGLE_SHIFT;
        dst[n++] = 1;
        dst[n++] = h->single;
    }
    return n;
}
