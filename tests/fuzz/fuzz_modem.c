/*
 * fuzz_modem.c - any octets as what a modem says, while the host talks to it
 * by a clock that the octets drive: one fate for each text, lists in bounds.
 * An octet of FF lets the clock run instead, FE asks the network.
 */
#include "carrier/modem_dialog.h"

#include <assert.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static struct modem_dialog d;
static int begun, fates;

static void on_write(void *arg, const char *octets, size_t len)
{
    (void)arg;
    assert(octets != NULL && len < 1000);
}

static void on_stored(void *arg, int place, const uint8_t *pdu, size_t len)
{
    (void)arg, (void)pdu;
    assert(len <= MODEM_PDU_OCTETS);
    modem_dialog_delete(&d, place, d.heard_ms);
}

static void on_direct(void *arg, const uint8_t *pdu, size_t len)
{
    (void)arg, (void)pdu;
    assert(len <= MODEM_PDU_OCTETS);
}

static void on_sent(void *arg, enum modem_fate fate, int code, int tp_mr)
{
    (void)arg, (void)fate, (void)code;
    assert(tp_mr < 256);
    fates++;
}

static void on_ready(void *arg, bool ready)
{
    (void)arg, (void)ready;
}

static void on_ussd(void *arg, enum modem_ussd how, const char *words)
{
    (void)arg;
    assert(words != NULL && how <= MODEM_USSD_NETWORK);
}

static void on_reopen(void *arg)
{
    (void)arg;
}

static void on_note(void *arg, bool grave, const char *words)
{
    (void)arg, (void)grave;
    assert(words[0] != '\0');
}

static const struct modem_handler handler = {on_write,  on_stored, on_direct,
                                             on_sent,   on_ready,  on_ussd,
                                             on_reopen, on_note,   NULL};
static const struct modem_dialog_conf conf = {
    .pin = "1234", .centre = "", .memory = "auto", .send_s = 10, .poll_s = 5};

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const uint8_t pdu[] = {0, 1, 2, 3};
    int64_t now = 1000;

    begun = fates = 0;
    modem_dialog_init(&d, &conf, &handler);
    modem_dialog_opened(&d, now);
    for (size_t i = 0; i < size; i++) {
        if (data[i] == 0xff) {
            int64_t due = modem_dialog_tick(&d, now);

            now = due == INT64_MAX ? now + 1000 : due;
            modem_dialog_tick(&d, now);
        } else if (data[i] == 0xfe) {
            modem_dialog_ask(&d, "*123#", now);
        } else {
            modem_dialog_input(&d, (const char *)&data[i], 1, now);
        }
        if (d.state == MODEM_CLOSED)
            modem_dialog_opened(&d, now);
        begun += modem_dialog_send(&d, pdu, sizeof(pdu), 3, now) == 0;
        assert(begun - fates <= 1);
        assert(d.n_reads <= MODEM_READS_MOST);
        assert(d.n_deletes <= MODEM_DELETES_MOST);
    }
    modem_dialog_closed(&d);
    assert(begun == fates);
    return 0;
}
