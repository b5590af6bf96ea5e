#include "carrier/tpdu.h"
#include "carrier/dcs.h"
#include "carrier/gsm7.h"
#include "carrier/tpdu_field.h"
#include "carrier/ucs2.h"
#include "carrier/utf8.h"

#include <string.h>

/* TP-MTI by direction, 9.2.3.1; and the other bits of the first octet. */
enum { MTI_DELIVER = 0, MTI_SUBMIT = 1, MTI_STATUS_REPORT = 2 };
enum {
    BIT_MMS_RD = 0x04, /* TP-MMS from the centre, TP-RD to it */
    BIT_LP = 0x08,
    BIT_SR = 0x20, /* TP-SRI, TP-SRR, TP-SRQ */
    BIT_UDHI = 0x40,
    BIT_RP = 0x80
};
/* TP-PI, 9.2.3.27. */
enum { PI_PID = 1, PI_DCS = 2, PI_UDL = 4 };

int tpdu_skip_sca(const uint8_t *pdu, size_t len)
{
    struct kw_cur c;

    kw_cur_init(&c, pdu, len);
    kw_cur_octets(&c, kw_cur_u8(&c));
    return c.err != 0 ? KW_EINVAL : (int)c.at;
}

static bool is_gsm7(uint8_t tp_dcs)
{
    return dcs_decode(tp_dcs).alphabet == DCS_GSM7;
}

static int get_ud(struct kw_cur *c, struct tpdu *t)
{
    const uint8_t *ud;
    size_t octets;

    t->tp_udl = kw_cur_u8(c);
    octets = is_gsm7(t->tp_dcs) && !dcs_decode(t->tp_dcs).compressed
                 ? gsm7_octets(t->tp_udl, 0)
                 : t->tp_udl;
    ud = kw_cur_octets(c, octets);
    if (ud == NULL || octets > sizeof(t->tp_ud))
        return KW_EINVAL;
    memcpy(t->tp_ud, ud, octets);
    t->ud_octets = octets;
    return 0;
}

static int get_deliver(struct kw_cur *c, struct tpdu *t)
{
    int err = tpdu_field_get_address(c, &t->address);

    if (err < 0)
        return err;
    t->tp_pid = kw_cur_u8(c);
    t->tp_dcs = kw_cur_u8(c);
    tpdu_field_get_time(c, &t->tp_scts);
    return get_ud(c, t);
}

static int get_submit(struct kw_cur *c, struct tpdu *t, uint8_t first)
{
    int err;

    t->tp_rd = (first & BIT_MMS_RD) != 0;
    t->tp_vpf = (first >> 3) & 3;
    t->tp_mr = kw_cur_u8(c);
    err = tpdu_field_get_address(c, &t->address);
    if (err < 0)
        return err;
    t->tp_pid = kw_cur_u8(c);
    t->tp_dcs = kw_cur_u8(c);
    if (t->tp_vpf == TPDU_VPF_RELATIVE) {
        t->tp_vp = kw_cur_u8(c);
    } else if (t->tp_vpf == TPDU_VPF_ABSOLUTE) {
        tpdu_field_get_time(c, &t->tp_vp_at);
    } else if (t->tp_vpf == TPDU_VPF_ENHANCED) {
        const uint8_t *vp = kw_cur_octets(c, sizeof(t->tp_vp_enhanced));

        if (vp == NULL)
            return KW_EINVAL;
        memcpy(t->tp_vp_enhanced, vp, sizeof(t->tp_vp_enhanced));
    }
    return get_ud(c, t);
}

static int get_status_report(struct kw_cur *c, struct tpdu *t)
{
    uint8_t pi;
    int err;

    t->tp_mr = kw_cur_u8(c);
    err = tpdu_field_get_address(c, &t->address);
    if (err < 0)
        return err;
    tpdu_field_get_time(c, &t->tp_scts);
    tpdu_field_get_time(c, &t->tp_dt);
    t->tp_st = kw_cur_u8(c);
    if (c->err != 0 || kw_cur_left(c) == 0)
        return c->err;
    pi = kw_cur_u8(c); /* what follows is optional: what is there is taken */
    if ((pi & PI_PID) != 0 && kw_cur_left(c) > 0)
        t->tp_pid = kw_cur_u8(c);
    if ((pi & PI_DCS) != 0 && kw_cur_left(c) > 0)
        t->tp_dcs = kw_cur_u8(c);
    if ((pi & PI_UDL) != 0 && kw_cur_left(c) > 0 && get_ud(c, t) < 0) {
        t->tp_udl = 0;
        c->err = 0;
    }
    return 0;
}

int tpdu_decode(struct tpdu *t, enum tpdu_way way, const uint8_t *octets,
                size_t len)
{
    struct kw_cur c;
    uint8_t first;
    int err;

    *t = (struct tpdu){0};
    kw_cur_init(&c, octets, len);
    first = kw_cur_u8(&c);
    t->tp_udhi = (first & BIT_UDHI) != 0;
    t->tp_rp = (first & BIT_RP) != 0;
    if (way == TPDU_TO_CENTRE) {
        if ((first & TPDU_TP_MTI_MASK) != MTI_SUBMIT)
            return KW_EINVAL;
        t->type = TPDU_SUBMIT;
        t->tp_srr = (first & BIT_SR) != 0;
        err = get_submit(&c, t, first);
        return err < 0 || c.err != 0 ? KW_EINVAL : 0;
    }
    t->tp_mms = (first & BIT_MMS_RD) != 0;
    t->tp_lp = (first & BIT_LP) != 0;
    if ((first & TPDU_TP_MTI_MASK) == MTI_STATUS_REPORT) {
        t->type = TPDU_STATUS_REPORT;
        t->tp_srq = (first & BIT_SR) != 0;
        err = get_status_report(&c, t);
    } else if ((first & TPDU_TP_MTI_MASK) == MTI_SUBMIT) {
        return KW_EINVAL; /* SMS-SUBMIT-REPORT stays in the modem */
    } else { /* MTI 3 is reserved and read as SMS-DELIVER, 9.2.3.1 */
        t->type = TPDU_DELIVER;
        t->tp_sri = (first & BIT_SR) != 0;
        err = get_deliver(&c, t);
    }
    return err < 0 || c.err != 0 ? KW_EINVAL : 0;
}

/* Octets gathered up to a cap; full sticks. */
struct sink {
    uint8_t *dst;
    size_t cap, n;
    bool full;
};

static void put(struct sink *s, const void *octets, size_t len)
{
    if (s->full || len > s->cap - s->n) {
        s->full = true;
        return;
    }
    if (len > 0)
        memcpy(s->dst + s->n, octets, len);
    s->n += len;
}

static void put_u8(struct sink *s, unsigned v)
{
    uint8_t octet = (uint8_t)v;

    put(s, &octet, 1);
}

static void put_time(struct sink *s, const struct tpdu_time *at)
{
    uint8_t octets[TPDU_TIME_OCTETS];

    tpdu_field_put_time(at, octets);
    put(s, octets, sizeof(octets));
}

static void put_vp(struct sink *s, const struct tpdu *t)
{
    if (t->tp_vpf == TPDU_VPF_RELATIVE)
        put_u8(s, t->tp_vp);
    else if (t->tp_vpf == TPDU_VPF_ABSOLUTE)
        put_time(s, &t->tp_vp_at);
    else if (t->tp_vpf == TPDU_VPF_ENHANCED)
        put(s, t->tp_vp_enhanced, sizeof(t->tp_vp_enhanced));
}

static unsigned first_octet(const struct tpdu *t)
{
    unsigned first = (t->tp_udhi ? BIT_UDHI : 0u);

    switch (t->type) {
    case TPDU_SUBMIT:
        return first | MTI_SUBMIT | (t->tp_rd ? BIT_MMS_RD : 0u) |
               (unsigned)t->tp_vpf << 3 | (t->tp_srr ? BIT_SR : 0u) |
               (t->tp_rp ? BIT_RP : 0u);
    case TPDU_DELIVER:
        return first | MTI_DELIVER | (t->tp_mms ? BIT_MMS_RD : 0u) |
               (t->tp_lp ? BIT_LP : 0u) | (t->tp_sri ? BIT_SR : 0u) |
               (t->tp_rp ? BIT_RP : 0u);
    default:
        return first | MTI_STATUS_REPORT | (t->tp_mms ? BIT_MMS_RD : 0u) |
               (t->tp_lp ? BIT_LP : 0u) | (t->tp_srq ? BIT_SR : 0u);
    }
}

static void put_ud(struct sink *s, const struct tpdu *t)
{
    put_u8(s, t->tp_udl);
    put(s, t->tp_ud, t->ud_octets);
}

static void put_rest(struct sink *s, const struct tpdu *t)
{
    if (t->type == TPDU_STATUS_REPORT) {
        put_time(s, &t->tp_scts);
        put_time(s, &t->tp_dt);
        put_u8(s, t->tp_st);
        if (t->ud_octets > 0) {
            put_u8(s, PI_PID | PI_DCS | PI_UDL);
            put_u8(s, t->tp_pid);
            put_u8(s, t->tp_dcs);
            put_ud(s, t);
        }
        return;
    }
    put_u8(s, t->tp_pid);
    put_u8(s, t->tp_dcs);
    if (t->type == TPDU_DELIVER)
        put_time(s, &t->tp_scts);
    else
        put_vp(s, t);
    put_ud(s, t);
}

int tpdu_encode(const struct tpdu *t, uint8_t *octets, size_t cap)
{
    struct sink s = {.dst = octets, .cap = cap};
    uint8_t address[TPDU_ADDRESS_OCTETS];
    int n = tpdu_field_put_address(&t->address, address);

    if (n < 0 || t->ud_octets > sizeof(t->tp_ud))
        return KW_EINVAL;
    put_u8(&s, first_octet(t));
    if (t->type != TPDU_DELIVER)
        put_u8(&s, t->tp_mr);
    put(&s, address, (size_t)n);
    put_rest(&s, t);
    return s.full ? KW_EFULL : (int)s.n;
}

static void text_gsm7(const struct tpdu *t, const struct udh *h,
                      struct kw_buf *out)
{
    struct alphabet_shift shift = {h->locking, h->single};
    uint8_t septets[160];
    unsigned fill = gsm7_fill_bits(h->octets);
    size_t head = (h->octets * 8 + fill) / 7;
    size_t n = t->tp_udl > head ? t->tp_udl - head : 0;

    n = n > sizeof(septets) ? sizeof(septets) : n;
    n = gsm7_unpack(t->tp_ud + h->octets, t->ud_octets - h->octets, fill, n,
                    septets);
    gsm7_decode(shift, septets, n, out);
}

int tpdu_text(const struct tpdu *t, struct udh *header, struct kw_buf *out)
{
    struct dcs dcs = dcs_decode(t->tp_dcs);

    *header = (struct udh){0};
    if (dcs.compressed)
        return KW_EINVAL;
    if (t->tp_udhi)
        udh_decode(t->tp_ud, t->ud_octets, header);
    if (dcs.alphabet == DCS_GSM7) {
        text_gsm7(t, header, out);
    } else if (dcs.alphabet == DCS_UCS2) {
        ucs2_decode(t->tp_ud + header->octets, t->ud_octets - header->octets,
                    out);
    } else {
        for (size_t i = header->octets; i < t->ud_octets; i++)
            utf8_put(out, t->tp_ud[i]);
    }
    return out->err;
}

int tpdu_put_ud(struct tpdu *t, const struct udh *header, const uint8_t *units,
                size_t n)
{
    size_t head = udh_encode(header, t->tp_ud);
    size_t room = sizeof(t->tp_ud) - head;
    unsigned fill = gsm7_fill_bits(head);

    t->tp_udhi = head > 0;
    if (is_gsm7(t->tp_dcs)) {
        if (gsm7_pack(units, n, fill, t->tp_ud + head, room) < 0)
            return KW_EFULL;
        t->tp_udl = (uint8_t)((head * 8 + fill) / 7 + n);
        t->ud_octets = head + gsm7_octets(n, fill);
        return 0;
    }
    if (n > room)
        return KW_EFULL;
    memcpy(t->tp_ud + head, units, n);
    t->tp_udl = (uint8_t)(head + n);
    t->ud_octets = head + n;
    return 0;
}

/* Steps of TP-VP, 9.2.3.12.1: up to which value, at what scale. */
static const struct {
    uint8_t last, from;
    int64_t base_s, step_s;
} vp_steps[] = {{143, 0, 300, 300},
                {167, 143, 43200, 1800},
                {196, 166, 0, 86400},
                {255, 192, 0, 604800}};

int64_t tpdu_vp_seconds(uint8_t tp_vp)
{
    size_t i = 0;

    while (tp_vp > vp_steps[i].last)
        i++;
    return vp_steps[i].base_s + (tp_vp - vp_steps[i].from) * vp_steps[i].step_s;
}

uint8_t tpdu_vp_relative(int64_t seconds)
{
    uint8_t vp = 255;

    while (vp > 0 && tpdu_vp_seconds(vp) > seconds)
        vp--;
    return vp;
}

enum tpdu_fate tpdu_fate(uint8_t tp_st)
{
    if (tp_st == 0)
        return TPDU_DELIVERED;
    if (tp_st < 0x20)
        return tp_st == 2 ? TPDU_PERMANENT : TPDU_UNCONFIRMED;
    if (tp_st < 0x40)
        return TPDU_TRYING;
    if (tp_st < 0x60)
        return TPDU_PERMANENT;
    return tp_st < 0x80 ? TPDU_GAVE_UP : TPDU_PERMANENT;
}
