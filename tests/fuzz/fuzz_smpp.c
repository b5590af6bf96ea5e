/*
 * fuzz_smpp.c - any octets as what a message centre sends to a bound
 * session, in pieces whose sizes the octets themselves choose; what is a PDU
 * is written again and reads the same; texts and receipts are read.
 */
#include "carrier/smpp_session.h"
#include "carrier/smpp_text.h"

#include <assert.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static struct smpp_session session;

static void on_bound(void *arg)
{
    (void)arg;
}

static void on_message(void *arg, const struct smpp_pdu *p)
{
    struct kw_buf octets, text;
    struct smpp_receipt r;
    struct smpp_pdu again;
    struct udh h;

    (void)arg;
    kw_buf_init(&text, 200000);
    for (int c = 0; c < 4; c++) {
        kw_buf_clear(&text);
        assert(smpp_text_decode((enum smpp_coding)c, p, &h, &text) == 0);
        assert(h.total == 0 || (h.seq >= 1 && h.seq <= h.total));
    }
    kw_buf_release(&text);
    smpp_receipt_read(p, &r);
    for (int form = SMPP_ID_SAME; form <= SMPP_ID_DECIMAL; form++) {
        char once[SMPP_ID_CAP], twice[SMPP_ID_CAP];

        smpp_id_normal((enum smpp_id_form)form, true, r.id, once);
        smpp_id_normal(SMPP_ID_SAME, true, once, twice);
        assert(strcmp(once, twice) == 0);
    }
    kw_buf_init(&octets, SMPP_PDU_OCTETS_MOST);
    if (smpp_pdu_encode(p, &octets) == 0) {
        assert(smpp_pdu_decode(&again, (uint8_t *)octets.data, octets.len) ==
               0);
        assert(strcmp(again.source.addr, p->source.addr) == 0);
        assert(again.sm_length == p->sm_length &&
               again.tlvs_len == p->tlvs_len);
    }
    kw_buf_release(&octets);
    smpp_session_answer(&session, p->command_id, p->sequence_number, 0);
}

static void on_result(void *arg, const struct smpp_result *r)
{
    (void)arg;
    assert(strlen(r->message_id) < SMPP_ID_CAP);
}

static void on_ended(void *arg, enum smpp_end why, uint32_t status)
{
    (void)arg, (void)why, (void)status;
}

static const struct smpp_handler handler = {on_bound, on_message, on_result,
                                            on_ended, NULL};
static const struct smpp_session_conf conf = {.bind_command =
                                                  SMPP_BIND_TRANSCEIVER,
                                              .system_id = "kiln",
                                              .window = 8,
                                              .enquire_link_s = 30,
                                              .response_s = 10};

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const uint8_t bound[] = {0, 0, 0, 16, 0x80, 0, 0, 9,
                                    0, 0, 0, 0,  0,    0, 0, 1};
    struct smpp_pdu p = {.sm_length = 1, .short_message = (const uint8_t *)"x"};
    int64_t now = 1;

    smpp_session_init(&session, &conf, &handler);
    smpp_session_connected(&session, now);
    smpp_session_input(&session, bound, sizeof(bound), now);
    for (size_t at = 0; at < size;) {
        size_t piece = 1 + data[at] % 64;

        piece = piece < size - at ? piece : size - at;
        smpp_session_submit(&session, &p, (int64_t)at, now);
        smpp_session_input(&session, data + at, piece, now);
        at += piece;
        now += data[at - 1] * 10;
        smpp_session_tick(&session, now);
        assert(session.n_waiting <= conf.window);
    }
    smpp_session_lost(&session);
    assert(session.n_waiting == 0);
    smpp_session_release(&session);
    return 0;
}
