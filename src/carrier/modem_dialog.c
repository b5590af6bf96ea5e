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
#include "carrier/modem_dialog.h"

#include <stdio.h>
#include <string.h>

#define ESC       "\x1b"
#define CTRL_Z    "\x1a"
#define PROMPT_MS 10000
#define DIRECT    (-1)
#define NOT_OURS  (-2)

struct row {
    const char *command;
    bool may_fail;
    int skip; /* rows to pass over when it worked */
};

static const struct row settings[] = {
    {"ATE0", false, 0},
    {"ATV1", true, 0},
    {"AT+CMEE=1", true, 0},
    {"AT+CPIN?", false, 0},
    {"AT+CMGF=0", false, 0},
    {"AT+CSMS=0", true, 0},
    {"AT+CPMS=", true, 0}, /* with the memory, where it is set */
    {"AT+CSCA=", true, 0}, /* with the centre, where it is set */
    {"AT+CNMI=2,1,0,1,0", true, 2},
    {"AT+CNMI=2,1,0,0,0", true, 1},
    {"AT+CNMI=1,1", true, 0}, /* without it texts are found by looking */
    {"AT+CREG=1", true, 0},
};

static const struct row polls[] = {
    {"AT+CREG?", true, 0}, {"AT+CEREG?", true, 0}, /* asked where +CREG tells no
                                                      network */
    {"AT+CSQ", true, 0},   {"AT+CPMS?", true, 0},  {"AT+CMGL=4", true, 0},
};
#define POLL_LIST (KW_COUNT(polls) - 1)

static void next(struct modem_dialog *d, int64_t now);

void modem_dialog_init(struct modem_dialog *d,
                       const struct modem_dialog_conf *conf,
                       const struct modem_handler *handler)
{
    *d = (struct modem_dialog){
        .conf = conf, .handler = handler, .registration = -1, .signal = 99};
}

static void write_text(struct modem_dialog *d, const char *text)
{
    d->handler->write(d->handler->arg, text, strlen(text));
}

static void note(struct modem_dialog *d, bool grave, const char *words)
{
    d->handler->note(d->handler->arg, grave, words);
}

static void set_ready(struct modem_dialog *d, bool ready)
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

static void ask_for(struct modem_dialog *d, enum modem_ask ask,
                    const char *command, int64_t now)
{
    d->ask = ask;
    d->state = MODEM_ASKING;
    d->due_ms = now + MODEM_COMMAND_MS;
    d->pdu_follows = false;
    snprintf(d->asked, sizeof(d->asked), "%s", command);
    write_text(d, command);
    write_text(d, "\r");
}

static void wake(struct modem_dialog *d, int64_t now)
{
    d->state = MODEM_WAKING;
    d->ask = MODEM_ASK_NOTHING;
    d->step = 0;
    d->polling = d->set_up = false;
    d->asked[0] = '\0';
    d->due_ms = now + MODEM_WAKE_MS;
    set_ready(d, false);
    write_text(d, "AT\r");
}

/* It has begun anew by itself: all settings are lost. */
static void restart(struct modem_dialog *d, int64_t now)
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
    write_text(d, "AT+CMGF?\r");
}

void modem_dialog_opened(struct modem_dialog *d, int64_t now_ms)
{
    d->reader = (struct at_reader){0};
    d->n_reads = 0;
    d->heard_ms = now_ms;
    wake(d, now_ms);
}

void modem_dialog_closed(struct modem_dialog *d)
{
    bool unknown = d->state == MODEM_SENDING || d->fate_open;

    d->state = MODEM_CLOSED;
    set_ready(d, false);
    tell_fate(d, unknown ? MODEM_UNKNOWN : MODEM_NOT_SENT, 0);
}

static bool registered(const struct modem_dialog *d)
{
    return d->registration == 1 ||
           (d->registration >= 5 && d->registration <= 7);
}

/* ---- the settings ---- */

/* The command of that row; "" to pass over it. */
static void row_command(const struct modem_dialog *d, const struct row *r,
                        char *dst, size_t cap)
{
    const char *memory = d->conf->memory;

    dst[0] = '\0';
    if (strcmp(r->command, "AT+CPMS=") == 0) {
        if (strcmp(memory, "auto") != 0)
            snprintf(dst, cap, "AT+CPMS=\"%s\",\"%s\",\"%s\"", memory, memory,
                     memory);
    } else if (strcmp(r->command, "AT+CSCA=") == 0) {
        if (d->conf->centre[0] != '\0')
            snprintf(dst, cap, "AT+CSCA=\"%s\",%d", d->conf->centre,
                     d->conf->centre[0] == '+' ? 145 : 129);
    } else {
        snprintf(dst, cap, "%s", r->command);
    }
}

static void begin_poll(struct modem_dialog *d, int64_t now)
{
    d->polling = true;
    d->step = 0;
    d->poll_ms = now + (int64_t)d->conf->poll_s * 1000;
}

static void next_setting(struct modem_dialog *d, int64_t now)
{
    char command[64];

    for (; d->step < KW_COUNT(settings); d->step++) {
        row_command(d, &settings[d->step], command, sizeof(command));
        if (command[0] != '\0') {
            ask_for(d, MODEM_ASK_SETTING, command, now);
            return;
        }
    }
    d->set_up = true;
    d->state = MODEM_IDLE;
    d->ask = MODEM_ASK_NOTHING;
    begin_poll(d, now); /* the first: registration, and what waits there */
    next(d, now);
}

/* Later again, from the first row. */
static void wait_for_card(struct modem_dialog *d, int64_t now)
{
    d->state = MODEM_SETUP;
    d->ask = MODEM_ASK_NOTHING;
    d->step = 0;
    d->due_ms = now + MODEM_SEARCH_MS;
}

static void card_answered(struct modem_dialog *d, bool ok, int64_t now)
{
    char command[32];

    if (ok && d->card_ready) {
        d->step++;
        next_setting(d, now);
    } else if (ok && d->pin_wanted && d->conf->pin != NULL && !d->pin_tried) {
        d->pin_tried = true; /* never a wrong one twice: it locks the card */
        snprintf(command, sizeof(command), "AT+CPIN=\"%s\"", d->conf->pin);
        ask_for(d, MODEM_ASK_PIN, command, now);
    } else {
        if (!ok)
            note(d, true, "the card is missing or not ready");
        else if (d->pin_wanted && d->conf->pin == NULL)
            note(d, true, "the card asks for its PIN; set 'pin_file'");
        else if (d->pin_wanted)
            note(d, true,
                 "the card has refused the PIN; it is not tried "
                 "again, correct it and start anew");
        else
            note(d, true, "the card is locked (PUK); put it into a phone");
        wait_for_card(d, now);
    }
}

static void setting_answered(struct modem_dialog *d, bool ok, int64_t now)
{
    const struct row *r = &settings[d->step];

    if (strcmp(r->command, "AT+CPIN?") == 0) {
        card_answered(d, ok, now);
        return;
    }
    if (!ok && !r->may_fail) {
        note(d, true, "the modem refuses PDU mode or a setting it needs");
        wait_for_card(d, now);
        return;
    }
    if (!ok && strncmp(r->command, "AT+CSCA", 7) == 0)
        note(d, true, "the modem refuses the service centre's number");
    d->step += 1 + (ok ? (size_t)r->skip : 0);
    next_setting(d, now);
}

/* ---- idle: what is next ---- */

static void polled(struct modem_dialog *d)
{
    d->polling = false;
    set_ready(d, registered(d));
    if (modem_dialog_crowded(d))
        note(d, false, "four fifths of the store for texts are taken");
}

static bool next_poll(struct modem_dialog *d, int64_t now)
{
    while (d->step < KW_COUNT(polls)) {
        const char *command = polls[d->step].command;

        if (strcmp(command, "AT+CEREG?") != 0 || !registered(d)) {
            ask_for(d, MODEM_ASK_POLL, command, now);
            return true;
        }
        d->step++;
    }
    polled(d);
    return false;
}

static void ask_place(struct modem_dialog *d, enum modem_ask ask,
                      const char *command, int64_t now)
{
    char text[32];
    int *list = ask == MODEM_ASK_READ ? d->reads : d->deletes;
    int *n = ask == MODEM_ASK_READ ? &d->n_reads : &d->n_deletes;

    d->place = list[0];
    memmove(list, list + 1, (size_t)(--*n) * sizeof(list[0]));
    snprintf(text, sizeof(text), "%s=%d", command, d->place);
    ask_for(d, ask, text, now);
}

static void next(struct modem_dialog *d, int64_t now)
{
    char text[32];

    d->state = MODEM_IDLE;
    d->ask = MODEM_ASK_NOTHING;
    d->asked[0] = '\0';
    if (d->n_reads > 0) {
        ask_place(d, MODEM_ASK_READ, "AT+CMGR", now);
    } else if (d->sending) {
        snprintf(text, sizeof(text), "AT+CMGS=%zu", d->tpdu_len);
        d->tp_mr = -1;
        ask_for(d, MODEM_ASK_SEND, text, now);
        d->state = MODEM_PROMPT;
        d->due_ms = now + PROMPT_MS;
    } else if (d->n_deletes > 0) {
        ask_place(d, MODEM_ASK_DELETE, "AT+CMGD", now);
    } else if (d->polling && next_poll(d, now)) {
        return;
    } else if (d->list_wanted) {
        d->list_wanted = false;
        d->polling = true;
        d->step = POLL_LIST;
        next_poll(d, now);
    } else {
        d->due_ms = d->poll_ms;
        if (!d->ready && d->due_ms > now + MODEM_SEARCH_MS)
            d->due_ms = now + MODEM_SEARCH_MS;
    }
}

/* ---- answers ---- */

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
    next(d, now);
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
        next(d, now);
    } else {
        d->step = 0;
        next_setting(d, now);
    }
}

static void answered(struct modem_dialog *d, enum at_kind kind, int code,
                     int64_t now)
{
    bool ok = kind == AT_OK;

    if (d->state == MODEM_RESYNC) {
        resync_answered(d, kind, code, now);
        return;
    }
    if (d->state == MODEM_WAKING && ok) {
        d->step = 0;
        next_setting(d, now);
        return;
    }
    switch (d->ask) {
    case MODEM_ASK_SETTING:
        setting_answered(d, ok, now);
        break;
    case MODEM_ASK_PIN:
        if (ok)
            d->pin_tried = false; /* it may be asked for after a reboot */
        wait_for_card(d, now);
        break;
    case MODEM_ASK_POLL:
        d->step++;
        next(d, now);
        break;
    case MODEM_ASK_READ:
    case MODEM_ASK_DELETE:
        next(d, now);
        break;
    case MODEM_ASK_SEND:
        send_answered(d, kind, code, now);
        break;
    default:
        break; /* to nothing that was asked */
    }
}

/* ---- lines ---- */

static void pdu_line(struct modem_dialog *d, const char *line)
{
    uint8_t pdu[MODEM_PDU_OCTETS];
    int n = at_hex(line, pdu, sizeof(pdu));

    d->pdu_follows = false;
    if (n < 0 || d->place == NOT_OURS)
        return;
    if (d->place == DIRECT)
        d->handler->direct(d->handler->arg, pdu, (size_t)n);
    else
        d->handler->stored(d->handler->arg, d->place, pdu, (size_t)n);
}

static void read_wanted(struct modem_dialog *d, const struct at_fields *f)
{
    bool other = d->memory[0] != '\0' && strcmp(d->memory, "MT") != 0 &&
                 strcmp(f->text[0], d->memory) != 0 &&
                 strcmp(f->text[0], "MT") != 0;

    if (f->n < 2 || !f->number[1])
        return;
    if (other)
        note(d, true,
             "texts are stored in another memory than the one that "
             "is read; set 'memory'");
    else if (d->n_reads < MODEM_READS_MOST)
        d->reads[d->n_reads++] = f->value[1];
    else
        d->list_wanted = true;
}

static void registration_line(struct modem_dialog *d, const struct at_fields *f,
                              bool extended)
{
    bool asked = d->state == MODEM_ASKING && d->ask == MODEM_ASK_POLL &&
                 strcmp(d->asked, extended ? "AT+CEREG?" : "AT+CREG?") == 0;
    size_t i = asked && f->n > 1 ? 1 : 0;

    if (!f->number[i])
        return;
    if (extended && !asked)
        return;
    d->registration = f->value[i];
    if (!asked && d->state != MODEM_SETUP && d->state != MODEM_WAKING &&
        d->ask != MODEM_ASK_SETTING)
        set_ready(d, registered(d));
}

/* Lines that come when they like. True: it was one. */
static bool unasked(struct modem_dialog *d, const char *line, int64_t now)
{
    struct at_fields f;
    const char *rest;

    if ((rest = at_after(line, "+CMTI:")) != NULL ||
        (rest = at_after(line, "+CDSI:")) != NULL) {
        at_fields(rest, &f);
        read_wanted(d, &f);
    } else if (at_after(line, "+CMT:") != NULL ||
               at_after(line, "+CDS:") != NULL) {
        d->pdu_follows = true;
        d->place = DIRECT;
    } else if ((rest = at_after(line, "+CREG:")) != NULL) {
        at_fields(rest, &f);
        registration_line(d, &f, false);
    } else if ((rest = at_after(line, "+CEREG:")) != NULL) {
        at_fields(rest, &f);
        registration_line(d, &f, true);
    } else if (strcmp(line, "RDY") == 0 || at_after(line, "^SYSSTART") ||
               strcmp(line, "+CFUN: 1") == 0) {
        if (d->state != MODEM_WAKING)
            restart(d, now);
    } else {
        return false;
    }
    return true;
}

/* A header of +CMGL or +CMGR: a PDU follows. */
static void list_line(struct modem_dialog *d, const char *rest, bool list)
{
    struct at_fields f;
    int stat;

    at_fields(rest, &f);
    stat = f.value[list ? 1 : 0];
    if (list)
        d->place = f.value[0];
    if (stat > 1 || (list && !f.number[0]))
        d->place = NOT_OURS; /* stored to be sent, by someone */
    d->pdu_follows = true;
}

static void store_line(struct modem_dialog *d, const char *rest)
{
    struct at_fields f;

    at_fields(rest, &f);
    if (f.n < 3 || f.number[0])
        return; /* of the setting: numbers alone */
    snprintf(d->memory, sizeof(d->memory), "%.7s", f.text[0]);
    d->used = f.value[1];
    d->total = f.value[2];
}

/* Lines of the answer to what was asked. */
static void asked_line(struct modem_dialog *d, const char *line, int64_t now)
{
    struct at_fields f;
    const char *rest;

    if ((rest = at_after(line, "+CMGL:")) != NULL) {
        list_line(d, rest, true);
    } else if ((rest = at_after(line, "+CMGR:")) != NULL) {
        list_line(d, rest, false);
    } else if ((rest = at_after(line, "+CMGS:")) != NULL) {
        at_fields(rest, &f);
        d->tp_mr = f.number[0] ? f.value[0] & 0xff : 0;
    } else if ((rest = at_after(line, "+CPMS:")) != NULL) {
        store_line(d, rest);
    } else if ((rest = at_after(line, "+CSQ:")) != NULL) {
        at_fields(rest, &f);
        d->signal = f.number[0] ? f.value[0] : 99;
    } else if ((rest = at_after(line, "+CPIN:")) != NULL) {
        d->card_ready = strcmp(rest, "READY") == 0;
        d->pin_wanted = strcmp(rest, "SIM PIN") == 0;
    } else if ((rest = at_after(line, "+CMGF:")) != NULL) {
        d->answer_seen = true;
        if (d->state == MODEM_RESYNC && strcmp(rest, "0") != 0)
            restart(d, now);
    } else if (d->asked[0] != '\0' && strcmp(line, d->asked) == 0 &&
               strcmp(line, "ATE0") != 0) {
        restart(d, now); /* echo came back: it has been reset */
    }
}

static void take_line(struct modem_dialog *d, const char *line, int64_t now)
{
    int code;
    enum at_kind kind = at_kind(line, &code);
    char hex[2 * MODEM_PDU_OCTETS + 1];

    if (kind == AT_PROMPT) {
        if (d->state != MODEM_PROMPT) {
            write_text(d, ESC); /* late: or commands become a text */
            return;
        }
        for (size_t i = 0; i < d->pdu_len; i++)
            snprintf(hex + 2 * i, 3, "%02X", d->pdu[i]);
        d->state = MODEM_SENDING;
        d->due_ms = now + (int64_t)d->conf->send_s * 1000;
        write_text(d, hex);
        write_text(d, CTRL_Z);
    } else if (d->pdu_follows && kind == AT_TEXT &&
               strspn(line, "0123456789ABCDEFabcdef") == strlen(line)) {
        pdu_line(d, line);
    } else if (kind == AT_TEXT) {
        if (!unasked(d, line, now))
            asked_line(d, line, now);
        if (d->state == MODEM_IDLE)
            next(d, now);
    } else {
        d->pdu_follows = false;
        answered(d, kind, code, now);
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
            take_line(d, d->reader.line, now_ms);
    }
}

/* ---- the clock, and what the carrier wants ---- */

static void late(struct modem_dialog *d, int64_t now)
{
    switch (d->state) {
    case MODEM_WAKING:
        write_text(d, "AT\r");
        d->due_ms = now + MODEM_WAKE_MS;
        break;
    case MODEM_SETUP:
        next_setting(d, now);
        break;
    case MODEM_IDLE:
        begin_poll(d, now);
        next(d, now);
        break;
    case MODEM_PROMPT:
        write_text(d, ESC);
        tell_fate(d, MODEM_NOT_SENT, 0);
        resync(d, now);
        break;
    case MODEM_SENDING:
        d->fate_open = true; /* the answer may still be on its way */
        write_text(d, ESC);
        resync(d, now);
        break;
    case MODEM_ASKING:
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
    return d->due_ms > now_ms ? d->due_ms : now_ms + 1;
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
        next(d, now_ms);
    return 0;
}

void modem_dialog_delete(struct modem_dialog *d, int place, int64_t now_ms)
{
    if (place < 0 || d->n_deletes == MODEM_DELETES_MOST)
        return; /* it is found again, known as a repeat, and deleted then */
    d->deletes[d->n_deletes++] = place;
    if (d->state == MODEM_IDLE)
        next(d, now_ms);
}

bool modem_dialog_crowded(const struct modem_dialog *d)
{
    return d->total > 0 && d->used * 5 >= d->total * 4;
}
