/*
 * check_smpp_pdu.c - SMPP PDUs to and from octets, texts and receipts in
 * them. Rows of tests/reference/protocol were read by tshark and written by
 * another library.
 */
#include "carrier/smpp_pdu.h"
#include "carrier/smpp_status.h"
#include "carrier/smpp_text.h"
#include "vectors.h"

#include <check.h>
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- rows ---- */

struct named {
    const char *name;
    enum { NUMBER, WORDS } kind;
    size_t at;
};
#define N(name, f)                                                             \
    {                                                                          \
        name, NUMBER, offsetof(struct smpp_pdu, f)                             \
    }
#define W(name, f)                                                             \
    {                                                                          \
        name, WORDS, offsetof(struct smpp_pdu, f)                              \
    }
static const struct named names[] = {
    W("system_id", system_id),
    W("password", password),
    W("system_type", system_type),
    N("interface_version", interface_version),
    N("addr_ton", addr_ton),
    N("addr_npi", addr_npi),
    W("address_range", address_range),
    N("source_addr_ton", source.ton),
    N("source_addr_npi", source.npi),
    W("source_addr", source.addr),
    N("dest_addr_ton", dest.ton),
    N("dest_addr_npi", dest.npi),
    W("destination_addr", dest.addr),
    N("esme_addr_ton", dest.ton),
    N("esme_addr_npi", dest.npi),
    W("esme_addr", dest.addr),
    N("protocol_id", protocol_id),
    N("priority_flag", priority_flag),
    N("replace_if_present_flag", replace_if_present_flag),
    N("data_coding", data_coding),
    N("sm_default_msg_id", sm_default_msg_id),
    N("sm_length", sm_length),
    W("message_id", message_id),
    N("message_state", message_state),
    N("error_code", error_code)};

static void expect_tlv(const struct smpp_pdu *p, const char *name,
                       const char *value)
{
    unsigned tag, length, v;
    struct smpp_tlv t;

    ck_assert_int_eq(sscanf(name, "tlv %x/%u", &tag, &length), 2);
    ck_assert_msg(smpp_tlv_find(p, (uint16_t)tag, 0, &t), "%s", name);
    ck_assert_uint_eq(t.length, length);
    /* Values of one number; others are hex pairs or structures. */
    if (strstr(name, "receipted") != NULL) {
        ck_assert_mem_eq(t.value, value, strlen(value));
    } else if (length <= 2 && isdigit((unsigned char)value[0]) &&
               strchr(value, ':') == NULL && strchr(name, '.') == NULL) {
        v = (unsigned)strtoul(value, NULL, strstr(name, "vendor") ? 16 : 10);
        ck_assert_uint_eq(smpp_tlv_number(&t), v);
    }
}

static void expect_message(const struct smpp_pdu *p, const char *hex)
{
    uint8_t want[300];
    size_t n = vectors_hex(hex, want, sizeof(want));

    ck_assert_uint_eq(p->sm_length, n);
    ck_assert_mem_eq(p->short_message, want, n);
}

static void expect_words(const struct smpp_pdu *p, const char *want)
{
    struct udh h;
    struct kw_buf text;

    kw_buf_init(&text, 10000);
    ck_assert_int_eq(smpp_text_decode(SMPP_GSM7, p, &h, &text), 0);
    ck_assert_str_eq(kw_buf_text(&text), want);
    kw_buf_release(&text);
}

/* esm.submit.* and regdel.* are bits of one octet. */
static int bits_of(const struct smpp_pdu *p, const char *name)
{
    if (strcmp(name, "esm.submit.msg_mode") == 0)
        return p->esm_class & 3;
    if (strcmp(name, "esm.submit.msg_type") == 0)
        return p->esm_class >> 2 & 15;
    if (strcmp(name, "esm.submit.features") == 0)
        return p->esm_class >> 6;
    if (strcmp(name, "regdel.receipt") == 0)
        return p->registered_delivery & 3;
    if (strcmp(name, "regdel.acks") == 0)
        return p->registered_delivery >> 2 & 3;
    if (strcmp(name, "regdel.notif") == 0)
        return p->registered_delivery >> 4 & 1;
    return -1;
}

static int checked;

static void expect_field(const struct smpp_pdu *p, const char *name,
                         const char *value)
{
    const char *base = (const char *)p;

    checked++;
    for (size_t i = 0; i < KW_COUNT(names); i++) {
        if (strcmp(names[i].name, name) != 0)
            continue;
        if (names[i].kind == WORDS)
            ck_assert_str_eq(base + names[i].at, value);
        else
            ck_assert_uint_eq(*(const uint8_t *)(base + names[i].at),
                              strtoul(value, NULL, 0));
        return;
    }
    if (strncmp(name, "tlv ", 4) == 0)
        expect_tlv(p, name, value);
    else if (strcmp(name, "message") == 0)
        expect_message(p, value);
    else if (strcmp(name, "message_text") == 0)
        expect_words(p, value);
    else if (strcmp(name, "service_type") == 0)
        ck_assert_str_eq(p->service_type, "");
    else if (bits_of(p, name) >= 0)
        ck_assert_int_eq(bits_of(p, name), (int)strtol(value, NULL, 0));
    else
        checked--;
}

static void expect_fields(const struct smpp_pdu *p, const char *fields)
{
    char *copy = kw_strdup(fields), *at = copy;

    while (at != NULL) {
        char *next = strstr(at, "; "), *is;

        if (next != NULL) {
            *next = '\0';
            next += 2;
        }
        is = strchr(at, '=');
        ck_assert_ptr_nonnull(is);
        *is = '\0';
        expect_field(p, at, is + 1);
        at = next;
    }
    kw_free(copy);
}

/* Every field as tshark reads it; and written again the octets are equal. */
START_TEST(pdu_vectors)
{
    struct vectors v;

    vectors_open(&v, "protocol/smpp_pdu.csv");
    while (vectors_next(&v)) {
        uint8_t octets[1000];
        size_t n = vectors_hex(vectors_get(&v, "pdu_hex"), octets, 1000);
        struct smpp_pdu p;
        struct kw_buf again;

        ck_assert_int_eq(smpp_pdu_length(octets, n), (int)n);
        ck_assert_msg(smpp_pdu_decode(&p, octets, n) == 0, "%s",
                      vectors_get(&v, "id"));
        ck_assert_uint_eq(p.command_id,
                          strtoul(vectors_get(&v, "command_id"), NULL, 16));
        ck_assert_uint_eq(p.command_status,
                          strtoul(vectors_get(&v, "command_status"), NULL, 16));
        ck_assert_uint_eq(p.sequence_number,
                          (unsigned long)vectors_int(&v, "sequence"));
        ck_assert_str_eq(smpp_pdu_name(p.command_id),
                         vectors_get(&v, "npm_command"));
        expect_fields(&p, vectors_get(&v, "fields"));
        kw_buf_init(&again, 2000);
        ck_assert_int_eq(smpp_pdu_encode(&p, &again), 0);
        ck_assert_uint_eq(again.len, n);
        ck_assert_mem_eq(again.data, octets, n);
        kw_buf_release(&again);
    }
    ck_assert_uint_eq(v.rows, 43);
    ck_assert_int_gt(checked, 350);
    vectors_close(&v);
}
END_TEST

START_TEST(status_rows)
{
    static const char *const words[] = {[SMPP_OK] = "ok",
                                        [SMPP_THROTTLE] = "throttle",
                                        [SMPP_TRANSIENT] = "transient",
                                        [SMPP_FEW] = "transient, few tries",
                                        [SMPP_SESSION] = "session",
                                        [SMPP_OPERATOR] = "operator",
                                        [SMPP_PERMANENT] = "permanent",
                                        [SMPP_BUG] = "bug"};
    struct vectors v;

    vectors_open(&v, "protocol/smpp_status.csv");
    while (vectors_next(&v)) {
        unsigned long status =
            strtoul(vectors_get(&v, "command_status"), NULL, 16);

        if (vectors_get(&v, "name")[0] == '(')
            continue;
        ck_assert_str_eq(smpp_status_name((uint32_t)status),
                         vectors_get(&v, "name"));
        ck_assert_str_eq(words[smpp_status_class(NULL, (uint32_t)status)],
                         vectors_get(&v, "class"));
    }
    ck_assert_uint_eq(v.rows, 67);
    vectors_close(&v);
    ck_assert_int_eq(smpp_status_class(NULL, 0x400), SMPP_FEW);
    ck_assert_int_eq(smpp_status_class(NULL, 0xffffffff), SMPP_FEW);
}
END_TEST

/* Lengths that lie: command_length, sm_length, a TLV's, a missing NUL. */
START_TEST(lengths_that_lie)
{
    static const struct {
        const char *hex;
        int err;
    } rows[] = {
        /* submit_sm_resp whose message_id has no NUL */
        {"000000148000000400000000000000023130303132", KW_EINVAL},
        /* deliver_sm that ends in its addresses */
        {"0000001800000005000000000000000100000132", KW_EINVAL},
        {"00000010000000990000000000000001", KW_ENOENT},
        /* sm_length 5 of 2 octets */
        {"0000002300000005000000000000000100000031000000370000000000000000000"
         "54142",
         KW_EINVAL},
    };

    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        uint8_t octets[100];
        size_t n = vectors_hex(rows[i].hex, octets, sizeof(octets));
        struct smpp_pdu p;

        ck_assert_int_eq(smpp_pdu_decode(&p, octets, n), rows[i].err);
        ck_assert_uint_gt(p.sequence_number, 0);
    }
    ck_assert_int_eq(smpp_pdu_length((const uint8_t *)"\0\0\0", 3), 0);
    ck_assert_int_eq(smpp_pdu_length((const uint8_t *)"\0\0\0\x0f", 4),
                     KW_EINVAL);
    ck_assert_int_eq(smpp_pdu_length((const uint8_t *)"\0\x01\x04\x01", 4),
                     KW_EINVAL);
    ck_assert_int_eq(smpp_pdu_length((const uint8_t *)"GET ", 4), KW_EINVAL);
}
END_TEST

/* A TLV that overruns ends the list; what stood before it is read. */
START_TEST(broken_tlv)
{
    static const uint8_t tlvs[] = {0x04, 0x27, 0x00, 0x01, 0x02,
                                   0x00, 0x1e, 0x00, 0x09, 0x31};
    struct smpp_pdu p = {.tlvs = tlvs, .tlvs_len = sizeof(tlvs)};
    struct smpp_tlv t;

    ck_assert(smpp_tlv_find(&p, SMPP_TAG_MESSAGE_STATE, 1, &t));
    ck_assert(!smpp_tlv_find(&p, SMPP_TAG_MESSAGE_STATE, 2, &t));
    ck_assert(!smpp_tlv_find(&p, SMPP_TAG_RECEIPTED_MESSAGE_ID, 1, &t));
}
END_TEST

/* ---- texts ---- */

static const char *const texts[] = {
    "4f 10h",
    "",
    "@",
    "a [crack] {1} \xe2\x82\xac"
    "5 @",
    "d\xc3\xa9"
    "but \xc3\xb1 \xc3\xbc",
    "\xe0\xa4\x95\xe0\xa5\x8b\xe0\xa4\xa8 \xf0\x9f\x98\x80",
    "\xce\x94 \xce\xa9 slow"};

static void joined(const struct smpp_text_way *way, const char *text,
                   size_t len)
{
    static struct smpp_parts parts;
    struct kw_buf all;
    int err = smpp_text_encode(way, text, len, 0x1234, &parts);

    ck_assert_int_eq(err, 0);
    kw_buf_init(&all, 20000);
    for (size_t i = 0; i < parts.n; i++) {
        struct smpp_part *part = &parts.parts[i];
        struct smpp_pdu p = {.command_id = SMPP_SUBMIT_SM,
                             .esm_class = part->esm_class,
                             .data_coding = part->data_coding,
                             .sm_length = part->sm_length,
                             .short_message = part->short_message,
                             .tlvs = (const uint8_t *)part->tlvs.data,
                             .tlvs_len = part->tlvs.len},
                        back;
        struct kw_buf octets;
        struct udh h;

        kw_buf_init(&octets, SMPP_PDU_OCTETS_MOST);
        ck_assert_int_eq(smpp_pdu_encode(&p, &octets), 0);
        ck_assert_int_eq(
            smpp_pdu_decode(&back, (uint8_t *)octets.data, octets.len), 0);
        ck_assert_int_eq(smpp_text_decode(way->coding, &back, &h, &all), 0);
        if (parts.n > 1) {
            ck_assert_uint_eq(h.total, parts.n);
            ck_assert_uint_eq(h.seq, i + 1);
            ck_assert_uint_eq(h.ref, h.wide ? 0x1234 : 0x34);
        }
        kw_buf_release(&octets);
    }
    ck_assert_uint_eq(all.len, len);
    ck_assert_mem_eq(kw_buf_text(&all), text, len);
    kw_buf_release(&all);
    smpp_parts_release(&parts);
}

/* Any text by any way comes back as it was, in one part and in many. */
START_TEST(text_both_ways)
{
    struct smpp_text_way way = {.coding = (enum smpp_coding)(_i / 4),
                                .long_text = (enum smpp_long)(_i % 4)};

    for (size_t i = 0; i < KW_COUNT(texts); i++) {
        char longer[1500];
        size_t n = strlen(texts[i]), len = 0;

        joined(&way, texts[i], n);
        while (n > 0 && len + n < 700) {
            memcpy(longer + len, texts[i], n);
            len += n;
        }
        longer[len++] = '.';
        /*
         * Packed and without a count of septets, a part that is one short
         * for an escape cannot be told from one that ends in "@".
         */
        if (way.coding != SMPP_GSM7_PACKED || strchr(texts[i], '[') == NULL)
            joined(&way, longer, len);
    }
}
END_TEST

START_TEST(shift_table_text)
{
    struct smpp_text_way way = {.long_text = SMPP_UDH, .language = 1};
    const char *text = "\xc4\x9f\xc4\x9f\xc4\x9f \xc5\x9f";

    joined(&way, text, strlen(text));
}
END_TEST

/* data_coding 1: ASCII, or septets where there is what ASCII has not. */
START_TEST(data_codings)
{
    static const struct {
        uint8_t data_coding;
        enum smpp_coding coding;
        const char *octets;
        uint8_t n;
        const char *text;
    } rows[] = {
        {0, SMPP_GSM7, "a\0b", 3, "a@b"},
        {0, SMPP_LATIN1, "a@\xe9", 3, "a@\xc3\xa9"},
        {0, SMPP_GSM7, "\x1b\x65", 2, "\xe2\x82\xac"},
        {0, SMPP_GSM7_PACKED, "\xe8\x32\x9b\xfd\x06", 5, "hello"},
        {1, SMPP_GSM7, "a@_$", 4, "a@_$"},
        {1, SMPP_GSM7, "a\0\x11\x02", 4, "a@_$"},
        {3, SMPP_GSM7, "@\xe9", 2, "@\xc3\xa9"},
        {4, SMPP_GSM7, "@\xe9", 2, "@\xc3\xa9"},
        {8, SMPP_LATIN1, "\0a\0@", 4, "a@"},
        {0x0f, SMPP_LATIN1, "*1\0", 3, "*1@"},
        {0xf1, SMPP_LATIN1, "m\0", 2, "m@"},
        {0xf5, SMPP_GSM7, "m@", 2, "m@"},
        {0x18, SMPP_GSM7, "\0a", 2, "a"},
    };

    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        struct smpp_pdu p = {.data_coding = rows[i].data_coding,
                             .short_message = (const uint8_t *)rows[i].octets,
                             .sm_length = rows[i].n};
        struct udh h;
        struct kw_buf text;

        kw_buf_init(&text, 100);
        ck_assert_int_eq(smpp_text_decode(rows[i].coding, &p, &h, &text), 0);
        ck_assert_str_eq(kw_buf_text(&text), rows[i].text);
        kw_buf_release(&text);
    }
}
END_TEST

START_TEST(own_statuses)
{
    static const char *const bad[] = {
        "again",     "0x410",   "0x410 ",           "0x410 maybe",
        "0x0 again", "-1 fail", "0x1ffffffff fail", "1 againx"};
    struct smpp_statuses own;
    const char *wrong;

    ck_assert_int_eq(smpp_statuses_read("", &own, &wrong), 0);
    ck_assert_uint_eq(own.n, 0);
    ck_assert_int_eq(
        smpp_statuses_read(
            " 0x410 again, 0x45 fail; 1025 wait\n0x14 again,0x411 person,",
            &own, &wrong),
        0);
    ck_assert_uint_eq(own.n, 5);
    ck_assert_int_eq(smpp_status_class(&own, 0x410), SMPP_TRANSIENT);
    ck_assert_int_eq(smpp_status_class(&own, 0x45), SMPP_PERMANENT);
    ck_assert_int_eq(smpp_status_class(&own, 0x411), SMPP_OPERATOR);
    ck_assert_int_eq(smpp_status_class(&own, 0x0b), SMPP_PERMANENT);
    ck_assert(smpp_status_waits(&own, 0x401));
    ck_assert(!smpp_status_waits(&own, 0x14));
    ck_assert(smpp_status_waits(NULL, 0x14));
    ck_assert(smpp_status_waits(&own, 0x58));
    for (size_t i = 0; i < KW_COUNT(bad); i++) {
        ck_assert_int_eq(smpp_statuses_read(bad[i], &own, &wrong), KW_EINVAL);
        ck_assert_str_eq(wrong, bad[i]);
    }
}
END_TEST

/* ---- screens of menus ---- */

static int screen(enum smpp_coding coding, const char *piece, size_t times,
                  struct smpp_part *p)
{
    char text[1000] = "";

    for (size_t i = 0; i < times; i++)
        strcat(text, piece);
    return smpp_text_screen(coding, text, strlen(text), p);
}

/* 3GPP TS 23.038, 5 and 6.1.2.3: 160 octets, which are 182 septets (a CR
 * fills seven spare bits) or 80 units of UCS-2. */
START_TEST(screens)
{
    struct smpp_part p;

    ck_assert_int_eq(screen(SMPP_GSM7, "a", 182, &p), 0);
    ck_assert_uint_eq(p.sm_length, 182);
    ck_assert_int_eq(screen(SMPP_GSM7, "a", 183, &p), KW_EFULL);
    ck_assert_int_eq(screen(SMPP_GSM7, "[", 91, &p), 0);
    ck_assert_uint_eq(p.sm_length, 182);
    ck_assert_int_eq(screen(SMPP_GSM7, "[", 92, &p), KW_EFULL);
    ck_assert_int_eq(screen(SMPP_GSM7_PACKED, "@", 182, &p), 0);
    ck_assert_uint_eq(p.sm_length, 160);
    ck_assert_int_eq(screen(SMPP_GSM7_PACKED, "@", 7, &p), 0);
    ck_assert_uint_eq(p.sm_length, 7);
    ck_assert_uint_eq(p.short_message[6], 0x0d << 1);
    ck_assert_int_eq(screen(SMPP_GSM7_PACKED, "a", 183, &p), KW_EFULL);
    for (int c = SMPP_GSM7; c <= SMPP_IA5; c++) {
        enum smpp_coding coding = (enum smpp_coding)c;

        ck_assert_int_eq(screen(coding, "\xe0\xa4\x95", 80, &p), 0);
        ck_assert_uint_eq(p.sm_length, 160);
        ck_assert_uint_eq(p.data_coding, 8);
        ck_assert_int_eq(screen(coding, "\xe0\xa4\x95", 81, &p), KW_EFULL);
        ck_assert_int_eq(screen(coding, "", 0, &p), 0);
        ck_assert_uint_eq(p.sm_length, 0);
    }
    /* Written for 182 letters: the accents give way, not the words. */
    ck_assert_int_eq(screen(SMPP_IA5, "\xc3\xa9", 80, &p), 0);
    ck_assert_uint_eq(p.data_coding, 8);
    ck_assert_int_eq(screen(SMPP_IA5, "\xc3\xa9", 182, &p), 0);
    ck_assert_uint_eq(p.data_coding, 0);
    ck_assert_uint_eq(p.sm_length, 182);
    ck_assert_uint_eq(p.short_message[181], 'e');
    ck_assert_int_eq(screen(SMPP_LATIN1, "\xc3\xa9", 182, &p), 0);
    ck_assert_uint_eq(p.short_message[181], 0xe9);
    ck_assert_int_eq(screen(SMPP_LATIN1, "\xc3\xa9", 183, &p), KW_EFULL);
}
END_TEST

/* ---- receipts ---- */

static void receipt(const char *text, const char *id, int state)
{
    struct smpp_pdu p = {.esm_class = 0x04,
                         .short_message = (const uint8_t *)text,
                         .sm_length = (uint8_t)strlen(text)};
    struct smpp_receipt r;

    smpp_receipt_read(&p, &r);
    ck_assert_str_eq(r.id, id);
    ck_assert_int_eq(r.state, state);
}

/* SMPP v3.4, Appendix B, and what is made of it: common practice. */
START_TEST(receipt_texts)
{
    receipt("id:1001 sub:001 dlvrd:001 submit date:2611251400 done "
            "date:2611251401 stat:DELIVRD err:000 text:Lot 7",
            "1001", SMPP_STATE_DELIVERED);
    receipt("id:3E9 stat:UNDELIV", "3E9", SMPP_STATE_UNDELIVERABLE);
    receipt("STAT:expired ID:0007", "0007", SMPP_STATE_EXPIRED);
    receipt("sub:001 stat:NEWWORD id:9", "9", SMPP_STATE_NONE);
    receipt("id: stat:", "", SMPP_STATE_NONE);
    receipt("", "", SMPP_STATE_NONE);
    /* What a person wrote is no field. */
    receipt("id:5 text:stat:DELIVRD", "5", SMPP_STATE_NONE);
    receipt("dlvrdid:5 stat:REJECTD", "", SMPP_STATE_REJECTED);
}
END_TEST

START_TEST(receipt_or_text)
{
    for (unsigned esm = 0; esm < 256; esm++) {
        struct smpp_pdu p = {.esm_class = (uint8_t)esm};

        ck_assert_int_eq(smpp_is_receipt(&p), (esm & 0x3c) == 4);
    }
    ck_assert(smpp_is_receipt(&(struct smpp_pdu){.esm_class = 0x44}));
}
END_TEST

START_TEST(receipt_tlvs)
{
    struct kw_buf tlvs;
    struct smpp_pdu p = {.esm_class = 4,
                         .short_message = (const uint8_t *)"id:2 stat:DELIVRD",
                         .sm_length = 17};
    struct smpp_receipt r;

    kw_buf_init(&tlvs, 100);
    smpp_tlv_put(&tlvs, SMPP_TAG_RECEIPTED_MESSAGE_ID, "1001", 5);
    smpp_tlv_put_number(&tlvs, SMPP_TAG_MESSAGE_STATE, 5, 1);
    p.tlvs = (const uint8_t *)tlvs.data;
    p.tlvs_len = tlvs.len;
    smpp_receipt_read(&p, &r); /* TLVs come first */
    ck_assert_str_eq(r.id, "1001");
    ck_assert_int_eq(r.state, SMPP_STATE_UNDELIVERABLE);
    kw_buf_release(&tlvs);
}
END_TEST

static void expect_ids(enum smpp_id_form form, const char *answered,
                       const char *receipted, bool same)
{
    char a[SMPP_ID_CAP], r[SMPP_ID_CAP];

    smpp_id_normal(form, false, answered, a);
    smpp_id_normal(form, true, receipted, r);
    ck_assert_msg((strcmp(a, r) == 0) == same, "%s (%s), %s (%s)", answered, a,
                  receipted, r);
}

START_TEST(receipt_ids)
{
    expect_ids(SMPP_ID_SAME, "1001", "1001", true);
    expect_ids(SMPP_ID_SAME, "00ab", "AB", true);
    expect_ids(SMPP_ID_SAME, "1001", "3E9", false);
    expect_ids(SMPP_ID_SAME, "0", "000", true);
    expect_ids(SMPP_ID_HEX, "1001", "3E9", true);
    expect_ids(SMPP_ID_HEX, "1001", "000003e9", true);
    expect_ids(SMPP_ID_HEX, "18446744073709551615", "FFFFFFFFFFFFFFFF", true);
    expect_ids(SMPP_ID_HEX, "1001", "1001", false);
    expect_ids(SMPP_ID_DECIMAL, "3E9", "1001", true);
    /* What is no number stays itself. */
    expect_ids(SMPP_ID_HEX, "kiln-7", "KILN-7", true);
    expect_ids(SMPP_ID_HEX, "99999999999999999999", "FFFFFFFFFFFFFFFF", false);
}
END_TEST

/* SMPP v3.4, 7.1.1. */
START_TEST(relative_times)
{
    static const struct {
        int64_t s;
        const char *text;
    } rows[] = {{3600, "000000010000000R"},
                {86400, "000001000000000R"},
                {3 * 86400, "000003000000000R"},
                {90061, "000001010101000R"},
                {0, "000000000100000R"}};

    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        char got[17];

        smpp_time_relative(rows[i].s, got);
        ck_assert_str_eq(got, rows[i].text);
    }
}
END_TEST

int main(void)
{
    Suite *s = suite_create("smpp_pdu");
    TCase *t = tcase_create("smpp_pdu");
    SRunner *r;
    int failed;

    tcase_add_test(t, pdu_vectors);
    tcase_add_test(t, status_rows);
    tcase_add_test(t, own_statuses);
    tcase_add_test(t, screens);
    tcase_add_test(t, lengths_that_lie);
    tcase_add_test(t, broken_tlv);
    tcase_add_loop_test(t, text_both_ways, 0, 16);
    tcase_add_test(t, shift_table_text);
    tcase_add_test(t, data_codings);
    tcase_add_test(t, receipt_texts);
    tcase_add_test(t, receipt_or_text);
    tcase_add_test(t, receipt_tlvs);
    tcase_add_test(t, receipt_ids);
    tcase_add_test(t, relative_times);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
