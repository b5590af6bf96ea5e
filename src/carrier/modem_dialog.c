/*
 * modem_dialog.c - the talk with one modem.
 * Invariants: (1) one command is in flight; (2) a text has one fate; (3) what
 * is stored is deleted only by modem_dialog_delete(); (4) after an answer
 * that did not come, nothing is asked before RESYNC has drained old answers.
 *
 *   CLOSED --> WAKING --OK--> SETUP --rows--> IDLE <--> ASKING
 *                 ^ reboot, echo, CMGF lost     | +CMGS
 *                 +------- RESYNC <--late-- PROMPT --> SENDING
 */
#include "carrier/modem_dialog_parts.h"

#include <stdio.h>
#include <string.h>

#define ESC       "\x1b"
#define CTRL_Z    "\x1a"
#define PROMPT_MS 10000

void modem_dialog_init(struct modem_dialog *d,
                       const struct modem_dialog_conf *conf,
                       const struct modem_handler *handler)
{
    *d = (struct modem_dialog){.conf = conf,
                               .handler = handler,
                               .current = -1,
                               .registration = -1,
                               .signal = 99};
}

void modem_dialog_write(struct modem_dialog *d, const char *text)
{
    d->handler->write(d->handler->arg, text, strlen(text));
}

void modem_dialog_note(struct modem_dialog *d, bool grave, const char *words)
{
    d->handler->note(d->handler->arg, grave, words);
}

void modem_dialog_set_ready(struct modem_dialog *d, bool ready)
{
    if (d->ready == ready)
        return;
    d->ready = ready;
    d->handler->ready(d->handler->arg, ready);
}

static void tell_fate(struct modem_dialog *d, enum modem_fate fate, int code)
{
    int tp_mr = d->tp_mr;

    if (!d->sending)
        return;
    d->sending = d->fate_open = false;
    d->handler->sent(d->handler->arg, fate, code, tp_mr);
}

void modem_dialog_command(struct modem_dialog *d, enum modem_ask ask,
                          const char *command, int64_t now)
{
    d->ask = ask;
    d->state = MODEM_ASKING;
    d->due_ms = now + MODEM_COMMAND_MS;
    d->pdu_follows = false;
    snprintf(d->asked, sizeof(d->asked), "%s", command);
    modem_dialog_write(d, command);
    modem_dialog_write(d, "\r");
}

static void wake(struct modem_dialog *d, int64_t now)
{
    d->state = MODEM_WAKING;
    d->ask = MODEM_ASK_NOTHING;
    d->step = 0;
    d->polling = d->set_up = false;
    d->asked[0] = '\0';
    d->current = -1;
    d->due_ms = now + MODEM_WAKE_MS;
    modem_dialog_set_ready(d, false);
    modem_ussd_end(d, MODEM_USSD_REFUSED, "");
    modem_dialog_write(d, "AT\r");
}

void modem_dialog_restart(struct modem_dialog *d, int64_t now)
{
    d->restarts++;
    if (d->state == MODEM_SENDING || d->fate_open)
        tell_fate(d, MODEM_UNKNOWN, 0);
    else
        tell_fate(d, MODEM_NOT_SENT, 0);
    wake(d, now);
}

static void resync(struct modem_dialog *d, int64_t now)
{
    d->resyncs++;
    d->state = MODEM_RESYNC;
    d->answer_seen = false;
    d->pdu_follows = false;
    d->due_ms = now + MODEM_COMMAND_MS;
    /* Asked nowhere else: its answer is no old one. */
    modem_dialog_write(d, "AT+CMGF?\r");
}

void modem_dialog_opened(struct modem_dialog *d, int64_t now_ms)
{
    d->reader = (struct at_reader){0};
    modem_store_forget(d);
    d->heard_ms = now_ms;
    wake(d, now_ms);
}

void modem_dialog_closed(struct modem_dialog *d)
{
    bool unknown = d->state == MODEM_SENDING || d->fate_open;

    d->state = MODEM_CLOSED;
    modem_dialog_set_ready(d, false);
    modem_ussd_end(d, MODEM_USSD_REFUSED, "");
    tell_fate(d, unknown ? MODEM_UNKNOWN : MODEM_NOT_SENT, 0);
}

/* ---- idle: what is next ---- */

void modem_dialog_next(struct modem_dialog *d, int64_t now)
{
    char text[32];

    d->state = MODEM_IDLE;
    d->ask = MODEM_ASK_NOTHING;
    d->asked[0] = '\0';
    if (modem_store_next(d, now))
        return;
    if (d->sending) {
        snprintf(text, sizeof(text), "AT+CMGS=%zu", d->tpdu_len);
        d->tp_mr = -1;
        modem_dialog_command(d, MODEM_ASK_SEND, text, now);
        d->state = MODEM_PROMPT;
        d->due_ms = now + PROMPT_MS;
    } else if (!modem_poll_next(d, now) && !modem_store_tidy(d, now) &&
               !modem_ussd_next(d, now)) {
        d->due_ms = d->poll_ms;
        if (!d->ready && d->due_ms > now + MODEM_SEARCH_MS)
            d->due_ms = now + MODEM_SEARCH_MS;
    }
}

/* ---- answers ---- */

void modem_dialog_prompted(struct modem_dialog *d, int64_t now)
{
    char hex[2 * MODEM_PDU_OCTETS + 1];

    if (d->state != MODEM_PROMPT) {
        modem_dialog_write(d, ESC); /* late: or commands become a text */
        return;
    }
    for (size_t i = 0; i < d->pdu_len; i++)
        snprintf(hex + 2 * i, 3, "%02X", d->pdu[i]);
    d->state = MODEM_SENDING;
    d->due_ms = now + (int64_t)d->conf->send_s * 1000;
    modem_dialog_write(d, hex);
    modem_dialog_write(d, CTRL_Z);
}

static void send_answered(struct modem_dialog *d, enum at_kind kind, int code,
                          int64_t now)
{
    if (kind == AT_OK && d->state == MODEM_SENDING)
        tell_fate(d, MODEM_SENT, 0);
    else if (kind == AT_CMS)
        tell_fate(d, MODEM_REFUSED, code);
    else if (d->state == MODEM_SENDING)
        tell_fate(d, MODEM_UNKNOWN, code);
    else
        tell_fate(d, MODEM_NOT_SENT, code);
    modem_dialog_next(d, now);
}

static void resync_answered(struct modem_dialog *d, enum at_kind kind, int code,
                            int64_t now)
{
    if (!d->answer_seen) { /* an old answer, come late */
        if (d->fate_open && kind == AT_OK && d->tp_mr >= 0)
            tell_fate(d, MODEM_SENT, 0);
        else if (d->fate_open && kind == AT_CMS)
            tell_fate(d, MODEM_REFUSED, code);
        return;
    }
    if (d->fate_open)
        tell_fate(d, MODEM_UNKNOWN, 0);
    if (d->set_up) {
        modem_dialog_next(d, now);
    } else {
        d->step = 0;
        modem_setup_next(d, now);
    }
}

void modem_dialog_answered(struct modem_dialog *d, enum at_kind kind, int code,
                           int64_t now)
{
    bool ok = kind == AT_OK;

    if (d->state == MODEM_RESYNC) {
        resync_answered(d, kind, code, now);
        return;
    }
    if (d->state == MODEM_WAKING && ok) {
        d->step = 0;
        modem_setup_next(d, now);
        return;
    }
    switch (d->ask) {
    case MODEM_ASK_SETTING:
        modem_setup_answered(d, kind, code, now);
        break;
    case MODEM_ASK_PIN:
        if (ok)
            d->pin_tried = false; /* it may be asked for after a reboot */
        modem_setup_wait(d, now);
        break;
    case MODEM_ASK_POLL:
        d->step++;
        modem_dialog_next(d, now);
        break;
    case MODEM_ASK_MEMORY:
        modem_store_switched(d, ok);
        modem_dialog_next(d, now);
        break;
    case MODEM_ASK_LIST:
    case MODEM_ASK_READ:
    case MODEM_ASK_DELETE:
        modem_dialog_next(d, now);
        break;
    case MODEM_ASK_CHARACTERS:
    case MODEM_ASK_USSD:
    case MODEM_ASK_USSD_END:
        modem_ussd_answered(d, ok, now);
        break;
    case MODEM_ASK_SEND:
        send_answered(d, kind, code, now);
        break;
    default:
        break; /* to nothing that was asked */
    }
}

void modem_dialog_input(struct modem_dialog *d, const char *octets, size_t len,
                        int64_t now_ms)
{
    d->heard_ms = now_ms;
    while (len > 0 && d->state != MODEM_CLOSED) {
        size_t used;
        bool whole = at_next(&d->reader, octets, len, &used);

        octets += used;
        len -= used;
        if (whole)
            modem_line_take(d, d->reader.line, now_ms);
    }
}

/* ---- the clock, and what the carrier wants ---- */

static void late(struct modem_dialog *d, int64_t now)
{
    switch (d->state) {
    case MODEM_WAKING:
        modem_dialog_write(d, "AT\r");
        d->due_ms = now + MODEM_WAKE_MS;
        break;
    case MODEM_SETUP:
        modem_setup_next(d, now);
        break;
    case MODEM_IDLE:
        modem_poll_begin(d, now);
        modem_dialog_next(d, now);
        break;
    case MODEM_PROMPT:
        modem_dialog_write(d, ESC);
        tell_fate(d, MODEM_NOT_SENT, 0);
        resync(d, now);
        break;
    case MODEM_SENDING:
        d->fate_open = true; /* the answer may still be on its way */
        modem_dialog_write(d, ESC);
        resync(d, now);
        break;
    case MODEM_ASKING:
        if (d->ask == MODEM_ASK_MEMORY)
            modem_store_switched(d, false);
        resync(d, now);
        break;
    case MODEM_RESYNC:
        resync(d, now);
        break;
    default:
        break;
    }
}

int64_t modem_dialog_tick(struct modem_dialog *d, int64_t now_ms)
{
    bool quiet = d->state == MODEM_IDLE || d->state == MODEM_SENDING ||
                 d->state == MODEM_SETUP;
    int64_t due;

    if (d->state == MODEM_CLOSED)
        return INT64_MAX;
    if (!quiet && now_ms - d->heard_ms >= MODEM_STUCK_MS) {
        d->heard_ms = now_ms;
        modem_dialog_closed(d);
        d->handler->reopen(d->handler->arg);
        return INT64_MAX;
    }
    if (now_ms >= d->due_ms)
        late(d, now_ms);
    due = modem_ussd_due(d, now_ms);
    if (due > d->due_ms)
        due = d->due_ms;
    return due > now_ms ? due : now_ms + 1;
}

int modem_dialog_send(struct modem_dialog *d, const uint8_t *pdu, size_t len,
                      size_t tpdu_len, int64_t now_ms)
{
    if (!d->ready || d->sending || len > sizeof(d->pdu))
        return KW_EAGAIN;
    memcpy(d->pdu, pdu, len);
    d->pdu_len = len;
    d->tpdu_len = tpdu_len;
    d->sending = true;
    if (d->state == MODEM_IDLE)
        modem_dialog_next(d, now_ms);
    return 0;
}

void modem_dialog_delete(struct modem_dialog *d, int place, int64_t now_ms)
{
    if (place < 0 || d->n_deletes == MODEM_DELETES_MOST)
        return; /* it is found again, known as a repeat, and deleted then */
    d->deletes[d->n_deletes++] = place;
    if (d->state == MODEM_IDLE)
        modem_dialog_next(d, now_ms);
}

bool modem_dialog_crowded(const struct modem_dialog *d)
{
    return d->total > 0 && d->used * 5 >= d->total * 4;
}
