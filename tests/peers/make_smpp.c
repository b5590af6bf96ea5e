/*
 * make_smpp.c - for tests/peers/smpp34: a PDU a line in hex, of every kind
 * that this program sends, and texts and screens of many kinds in all forms.
 */
#include "carrier/smpp_session.h"
#include "carrier/smpp_text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const pieces[] = {"a",
                                     "4f ",
                                     "10h ",
                                     "\xc3\xa9",
                                     "@",
                                     "[",
                                     "\xe2\x82\xac",
                                     "kil",
                                     "\n",
                                     "\xe0\xa4\x95",
                                     "\xf0\x9f\x98\x80",
                                     "\xe1\x8a\xa0"};
static uint32_t sequence = 1;

static void print_octets(struct kw_buf *b)
{
    if (b->err != 0)
        abort();
    for (size_t i = 0; i < b->len; i++)
        printf("%02X", (unsigned char)b->data[i]);
    printf("\n");
    kw_buf_clear(b);
}

static void print_pdu(struct smpp_pdu *p)
{
    struct kw_buf b;

    kw_buf_init(&b, SMPP_PDU_OCTETS_MOST);
    p->sequence_number = sequence++;
    if (smpp_pdu_encode(p, &b) < 0)
        abort();
    print_octets(&b);
    kw_buf_release(&b);
}

/* ---- what a session says ---- */

static void heard(void *arg)
{
    (void)arg;
}
static void got(void *arg, const struct smpp_pdu *p)
{
    (void)arg, (void)p;
}
static void result(void *arg, const struct smpp_result *r)
{
    (void)arg, (void)r;
}
static void ended(void *arg, enum smpp_end why, uint32_t status)
{
    (void)arg, (void)why, (void)status;
}

static void one_session(uint32_t bind)
{
    static const uint8_t bound[] = {0, 0, 0, 22, 0x80, 0,   0, 0, 0,    0, 0,
                                    0, 0, 0, 0,  1,    'c', 0, 2, 0x10, 0, 1};
    struct smpp_session_conf conf = {.bind_command = bind,
                                     .system_id = "kiln",
                                     .password = "secret08",
                                     .system_type = "",
                                     .address_range = "",
                                     .interface_version = 0x34,
                                     .window = 1,
                                     .enquire_link_s = 1,
                                     .response_s = 10};
    struct smpp_handler handler = {heard, got, result, ended, NULL};
    struct smpp_session s;
    uint8_t answer[sizeof(bound) + 1];

    smpp_session_init(&s, &conf, &handler);
    smpp_session_connected(&s, 0);
    print_octets(&s.out);
    memcpy(answer, bound, sizeof(bound));
    answer[sizeof(bound)] = 0x34;
    answer[3] = sizeof(answer);
    answer[7] = (uint8_t)bind;
    smpp_session_input(&s, answer, sizeof(answer), 1);
    smpp_session_tick(&s, 5000);
    print_octets(&s.out); /* enquire_link */
    smpp_session_answer(&s, SMPP_DELIVER_SM, 7, 0);
    print_octets(&s.out);
    smpp_session_answer(&s, SMPP_DATA_SM, 8, 0);
    print_octets(&s.out);
    smpp_session_answer(&s, SMPP_ENQUIRE_LINK, 9, 0);
    print_octets(&s.out);
    smpp_session_unbind(&s, 6000);
    print_octets(&s.out);
    smpp_session_release(&s);
}

/* ---- texts ---- */

static void make_text(struct kw_buf *text, int turn)
{
    int kinds = turn % 3 == 0 ? 4 : turn % 3 == 1 ? 9 : 12;
    int n = turn % 90;

    kw_buf_clear(text);
    for (int i = 0; i < n; i++)
        kw_buf_puts(text, pieces[(i * 7 + turn * 5) % kinds]);
}

static void print_text(const struct smpp_text_way *way, const char *text,
                       size_t len, bool tlvs)
{
    struct smpp_parts parts;
    struct smpp_pdu p;

    if (smpp_text_encode(way, text, len, (uint16_t)(len * 31), &parts) < 0)
        abort();
    for (size_t i = 0; i < parts.n; i++) {
        struct smpp_part *m = &parts.parts[i];

        if (m->tlvs.len > 0 && !tlvs)
            continue;
        p = (struct smpp_pdu){.command_id = SMPP_SUBMIT_SM,
                              .source = {3, 0, "7070"},
                              .dest = {1, 1, "99970012345"},
                              .esm_class = m->esm_class,
                              .registered_delivery = 1,
                              .data_coding = m->data_coding,
                              .sm_length = m->sm_length,
                              .short_message = m->short_message,
                              .tlvs = (const uint8_t *)m->tlvs.data,
                              .tlvs_len = m->tlvs.len};
        smpp_time_relative((int64_t)len * 977, p.validity_period);
        print_pdu(&p);
    }
    smpp_parts_release(&parts);
}

static void print_screen(enum smpp_coding coding, const char *text, size_t len)
{
    static const uint8_t tlvs[] = {0x05, 0x01, 0, 1, 2, 0x13, 0x83, 0, 2, 7, 4};
    struct smpp_part m;
    struct smpp_pdu p;

    if (smpp_text_screen(coding, text, len, &m) < 0)
        return; /* too long for one */
    p = (struct smpp_pdu){.command_id = SMPP_SUBMIT_SM,
                          .service_type = "USSD",
                          .source = {0, 0, "7070"},
                          .dest = {1, 1, "99970012345"},
                          .data_coding = m.data_coding,
                          .sm_length = m.sm_length,
                          .short_message = m.short_message,
                          .tlvs = tlvs,
                          .tlvs_len = sizeof(tlvs)};
    print_pdu(&p);
}

int main(void)
{
    struct kw_buf text;

    one_session(SMPP_BIND_TRANSCEIVER);
    one_session(SMPP_BIND_TRANSMITTER);
    one_session(SMPP_BIND_RECEIVER);
    kw_buf_init(&text, 2000);
    for (int turn = 0; turn < 240; turn++) {
        struct smpp_text_way way = {.coding = (enum smpp_coding)(turn % 4),
                                    .long_text =
                                        (enum smpp_long)(turn / 4 % 4)};

        make_text(&text, turn);
        /* The library holds 1024 octets of payload: such are not sent. */
        print_text(&way, kw_buf_text(&text), text.len,
                   way.long_text != SMPP_PAYLOAD || text.len < 300);
        print_screen(way.coding, kw_buf_text(&text), text.len);
    }
    kw_buf_release(&text);
    return 0;
}
