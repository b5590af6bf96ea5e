/*
 * smpp_pdu.c - every layout is a row of fields, read and written by the same
 * table; TLVs may follow any of them.
 */
#include "carrier/smpp_pdu.h"
#include "base/cur.h"

#include <string.h>

enum kind { END, OCTET, STRING, MESSAGE };

struct field {
    enum kind kind;
    size_t at, cap; /* offset in struct smpp_pdu; STRING: with NUL */
};

#define U8(f)                                                                  \
    {                                                                          \
        OCTET, offsetof(struct smpp_pdu, f), 1                                 \
    }
#define STR(f)                                                                 \
    {                                                                          \
        STRING, offsetof(struct smpp_pdu, f),                                  \
            sizeof(((struct smpp_pdu *)0)->f)                                  \
    }
#define ADDRESS(f) U8(f.ton), U8(f.npi), STR(f.addr)
#define LAST                                                                   \
    {                                                                          \
        END, 0, 0                                                              \
    }

static const struct field bind[] = {
    STR(system_id), STR(password), STR(system_type),   U8(interface_version),
    U8(addr_ton),   U8(addr_npi),  STR(address_range), LAST};
static const struct field bind_resp[] = {STR(system_id), LAST};
static const struct field outbind[] = {STR(system_id), STR(password), LAST};
static const struct field sm[] = {STR(service_type),
                                  ADDRESS(source),
                                  ADDRESS(dest),
                                  U8(esm_class),
                                  U8(protocol_id),
                                  U8(priority_flag),
                                  STR(schedule_delivery_time),
                                  STR(validity_period),
                                  U8(registered_delivery),
                                  U8(replace_if_present_flag),
                                  U8(data_coding),
                                  U8(sm_default_msg_id),
                                  {MESSAGE, 0, 0},
                                  LAST};
static const struct field data_sm[] = {
    STR(service_type),       ADDRESS(source), ADDRESS(dest), U8(esm_class),
    U8(registered_delivery), U8(data_coding), LAST};
static const struct field sm_resp[] = {STR(message_id), LAST};
static const struct field query_sm[] = {STR(message_id), ADDRESS(source), LAST};
static const struct field query_resp[] = {
    STR(message_id), STR(final_date), U8(message_state), U8(error_code), LAST};
static const struct field cancel_sm[] = {STR(service_type), STR(message_id),
                                         ADDRESS(source), ADDRESS(dest), LAST};
static const struct field alert[] = {ADDRESS(source), ADDRESS(dest), LAST};
static const struct field nothing[] = {LAST};

static const struct layout {
    uint32_t command_id;
    const char *name;
    const struct field *fields;
} layouts[] = {
    {SMPP_SUBMIT_SM, "submit_sm", sm},
    {SMPP_SUBMIT_SM | SMPP_RESP, "submit_sm_resp", sm_resp},
    {SMPP_DELIVER_SM, "deliver_sm", sm},
    {SMPP_DELIVER_SM | SMPP_RESP, "deliver_sm_resp", sm_resp},
    {SMPP_ENQUIRE_LINK, "enquire_link", nothing},
    {SMPP_ENQUIRE_LINK | SMPP_RESP, "enquire_link_resp", nothing},
    {SMPP_GENERIC_NACK, "generic_nack", nothing},
    {SMPP_BIND_RECEIVER, "bind_receiver", bind},
    {SMPP_BIND_RECEIVER | SMPP_RESP, "bind_receiver_resp", bind_resp},
    {SMPP_BIND_TRANSMITTER, "bind_transmitter", bind},
    {SMPP_BIND_TRANSMITTER | SMPP_RESP, "bind_transmitter_resp", bind_resp},
    {SMPP_BIND_TRANSCEIVER, "bind_transceiver", bind},
    {SMPP_BIND_TRANSCEIVER | SMPP_RESP, "bind_transceiver_resp", bind_resp},
    {SMPP_UNBIND, "unbind", nothing},
    {SMPP_UNBIND | SMPP_RESP, "unbind_resp", nothing},
    {SMPP_OUTBIND, "outbind", outbind},
    {SMPP_DATA_SM, "data_sm", data_sm},
    {SMPP_DATA_SM | SMPP_RESP, "data_sm_resp", sm_resp},
    {SMPP_QUERY_SM, "query_sm", query_sm},
    {SMPP_QUERY_SM | SMPP_RESP, "query_sm_resp", query_resp},
    {SMPP_CANCEL_SM, "cancel_sm", cancel_sm},
    {SMPP_CANCEL_SM | SMPP_RESP, "cancel_sm_resp", nothing},
    {SMPP_ALERT_NOTIFICATION, "alert_notification", alert},
};

static const struct layout *layout_of(uint32_t command_id)
{
    for (size_t i = 0; i < KW_COUNT(layouts); i++) {
        if (layouts[i].command_id == command_id)
            return &layouts[i];
    }
    return NULL;
}

const char *smpp_pdu_name(uint32_t command_id)
{
    const struct layout *l = layout_of(command_id);

    return l != NULL ? l->name : "unknown";
}

int smpp_pdu_length(const uint8_t *octets, size_t len)
{
    struct kw_cur c;
    uint32_t n;

    kw_cur_init(&c, octets, len);
    n = kw_cur_u32(&c);
    if (c.err != 0)
        return 0;
    if (n < SMPP_HEADER_OCTETS || n > SMPP_PDU_OCTETS_MOST)
        return KW_EINVAL;
    return (int)n;
}

/* A C-octet string of at most cap octets with its NUL. */
static int get_string(struct kw_cur *c, char *dst, size_t cap)
{
    size_t left = kw_cur_left(c);
    const uint8_t *s = c->data + c->at;
    const uint8_t *end = left > 0 ? memchr(s, '\0', left) : NULL;
    size_t n;

    if (end == NULL)
        return KW_EINVAL;
    n = (size_t)(end - s);
    kw_cur_octets(c, n + 1);
    return kw_copy(dst, cap, (const char *)s, n) < 0 ? KW_EINVAL : 0;
}

static int get_field(struct kw_cur *c, const struct field *f,
                     struct smpp_pdu *p)
{
    char *at = (char *)p + f->at;

    switch (f->kind) {
    case OCTET:
        *(uint8_t *)at = kw_cur_u8(c);
        break;
    case STRING:
        return get_string(c, at, f->cap);
    default:
        p->sm_length = kw_cur_u8(c);
        p->short_message = kw_cur_octets(c, p->sm_length);
        break;
    }
    return c->err != 0 ? KW_EINVAL : 0;
}

int smpp_pdu_decode(struct smpp_pdu *p, const uint8_t *octets, size_t len)
{
    const struct layout *l;
    struct kw_cur c;
    bool resp;

    memset(p, 0, sizeof(*p));
    kw_cur_init(&c, octets, len);
    kw_cur_u32(&c);
    p->command_id = kw_cur_u32(&c);
    p->command_status = kw_cur_u32(&c);
    p->sequence_number = kw_cur_u32(&c);
    if (c.err != 0)
        return KW_EINVAL;
    l = layout_of(p->command_id);
    if (l == NULL)
        return KW_ENOENT;
    resp = (p->command_id & SMPP_RESP) != 0;
    /* 4.4.2 and others: no body with an error; seen with success as well. */
    if (resp && kw_cur_left(&c) == 0)
        return 0;
    p->has_body = true;
    for (const struct field *f = l->fields; f->kind != END; f++) {
        /* An error may also cut the body short. */
        if (resp && p->command_status != 0 && kw_cur_left(&c) == 0)
            return 0;
        if (get_field(&c, f, p) < 0)
            return KW_EINVAL;
    }
    p->tlvs = c.data + c.at;
    p->tlvs_len = kw_cur_left(&c);
    return 0;
}

static void put_u8(struct kw_buf *out, unsigned v)
{
    kw_buf_putc(out, (char)(uint8_t)v);
}

static void put_u32(struct kw_buf *out, uint32_t v)
{
    for (int shift = 24; shift >= 0; shift -= 8)
        put_u8(out, v >> shift);
}

static int put_field(struct kw_buf *out, const struct field *f,
                     const struct smpp_pdu *p)
{
    const char *at = (const char *)p + f->at;

    if (f->kind == OCTET) {
        put_u8(out, *(const uint8_t *)at);
    } else if (f->kind == STRING) {
        if (memchr(at, '\0', f->cap) == NULL)
            return KW_EINVAL;
        kw_buf_put(out, at, strlen(at) + 1);
    } else {
        put_u8(out, p->sm_length);
        kw_buf_put(out, (const char *)p->short_message, p->sm_length);
    }
    return 0;
}

int smpp_pdu_encode(const struct smpp_pdu *p, struct kw_buf *out)
{
    const struct layout *l = layout_of(p->command_id);
    size_t start = out->len;
    uint32_t n;
    bool bare = (p->command_id & SMPP_RESP) != 0 && !p->has_body &&
                p->command_status != 0;

    if (l == NULL || p->sm_length > SMPP_SHORT_MOST)
        return KW_EINVAL;
    put_u32(out, 0);
    put_u32(out, p->command_id);
    put_u32(out, p->command_status);
    put_u32(out, p->sequence_number);
    for (const struct field *f = l->fields; !bare && f->kind != END; f++) {
        if (put_field(out, f, p) < 0)
            return KW_EINVAL;
    }
    if (!bare)
        kw_buf_put(out, (const char *)p->tlvs, p->tlvs_len);
    if (out->err != 0)
        return out->err;
    n = (uint32_t)(out->len - start);
    for (int i = 0; i < 4; i++)
        out->data[start + (size_t)i] = (char)(uint8_t)(n >> (24 - 8 * i));
    return 0;
}

bool smpp_tlv_next(const struct smpp_pdu *p, size_t *at, struct smpp_tlv *t)
{
    struct kw_cur c;

    if (*at >= p->tlvs_len)
        return false;
    kw_cur_init(&c, p->tlvs + *at, p->tlvs_len - *at);
    t->tag = kw_cur_u16(&c);
    t->length = kw_cur_u16(&c);
    t->value = kw_cur_octets(&c, t->length);
    *at += c.at;
    return c.err == 0;
}

bool smpp_tlv_find(const struct smpp_pdu *p, uint16_t tag, size_t least,
                   struct smpp_tlv *t)
{
    struct smpp_tlv one;
    size_t at = 0;
    bool found = false;

    while (smpp_tlv_next(p, &at, &one)) {
        if (one.tag == tag && one.length >= least) {
            *t = one;
            found = true;
        }
    }
    return found;
}

uint32_t smpp_tlv_number(const struct smpp_tlv *t)
{
    uint32_t v = 0;

    for (size_t i = 0; i < t->length && i < 4; i++)
        v = v << 8 | t->value[i];
    return v;
}

void smpp_tlv_put(struct kw_buf *out, uint16_t tag, const void *value,
                  size_t len)
{
    put_u8(out, tag >> 8);
    put_u8(out, tag);
    put_u8(out, (unsigned)(len >> 8));
    put_u8(out, (unsigned)len);
    kw_buf_put(out, value, len);
}

void smpp_tlv_put_number(struct kw_buf *out, uint16_t tag, uint32_t value,
                         size_t octets)
{
    uint8_t v[4];

    for (size_t i = 0; i < octets; i++)
        v[i] = (uint8_t)(value >> (8 * (octets - 1 - i)));
    smpp_tlv_put(out, tag, v, octets);
}

const uint8_t *smpp_pdu_message(const struct smpp_pdu *p, size_t *len)
{
    struct smpp_tlv t;

    if (smpp_tlv_find(p, SMPP_TAG_MESSAGE_PAYLOAD, 1, &t)) {
        *len = t.length;
        return t.value;
    }
    *len = p->sm_length;
    return p->short_message;
}
