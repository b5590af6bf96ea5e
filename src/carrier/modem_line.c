/* modem_line.c - lines of the modem: asked for, and such as come by themselves.
 */
#include "carrier/modem_dialog_parts.h"

#include <stdio.h>
#include <string.h>

static void registration_line(struct modem_dialog *d, const char *rest,
                              bool extended)
{
    bool asked = d->state == MODEM_ASKING && d->ask == MODEM_ASK_POLL &&
                 strcmp(d->asked, extended ? "AT+CEREG?" : "AT+CREG?") == 0;
    struct at_fields f;
    size_t i;

    at_fields(rest, &f);
    i = asked && f.n > 1 ? 1 : 0;
    if (!f.number[i])
        return;
    if (extended && !asked)
        return;
    d->registration = f.value[i];
    if (!asked && d->state != MODEM_SETUP && d->state != MODEM_WAKING &&
        d->ask != MODEM_ASK_SETTING)
        modem_dialog_set_ready(d, modem_registered(d));
}

/* Lines that come when they like. True: it was one. */
static bool unasked(struct modem_dialog *d, const char *line, int64_t now)
{
    struct at_fields f;
    const char *rest;

    if ((rest = at_after(line, "+CMTI:")) != NULL ||
        (rest = at_after(line, "+CDSI:")) != NULL) {
        at_fields(rest, &f);
        modem_store_arrived(d, &f);
    } else if (at_after(line, "+CMT:") != NULL ||
               at_after(line, "+CDS:") != NULL) {
        d->pdu_follows = true;
        d->place = MODEM_DIRECT;
    } else if ((rest = at_after(line, "+CREG:")) != NULL) {
        registration_line(d, rest, false);
    } else if ((rest = at_after(line, "+CEREG:")) != NULL) {
        registration_line(d, rest, true);
    } else if ((rest = at_after(line, "+CUSD:")) != NULL) {
        modem_ussd_line(d, rest, now);
    } else if (strcmp(line, "RDY") == 0 || at_after(line, "^SYSSTART") ||
               strcmp(line, "+CFUN: 1") == 0) {
        if (d->state != MODEM_WAKING)
            modem_dialog_restart(d, now);
    } else {
        return false;
    }
    return true;
}

/* Lines of the answer to what was asked. */
static void asked_line(struct modem_dialog *d, const char *line, int64_t now)
{
    struct at_fields f;
    const char *rest;

    if ((rest = at_after(line, "+CMGL:")) != NULL) {
        modem_store_header(d, rest, true);
    } else if ((rest = at_after(line, "+CMGR:")) != NULL) {
        modem_store_header(d, rest, false);
    } else if ((rest = at_after(line, "+CMGS:")) != NULL) {
        at_fields(rest, &f);
        d->tp_mr = f.number[0] ? f.value[0] & 0xff : 0;
    } else if ((rest = at_after(line, "+CPMS:")) != NULL) {
        modem_store_line(d, rest);
    } else if ((rest = at_after(line, "+CSQ:")) != NULL) {
        at_fields(rest, &f);
        d->signal = f.number[0] ? f.value[0] : 99;
    } else if ((rest = at_after(line, "+CPIN:")) != NULL) {
        d->card_ready = strcmp(rest, "READY") == 0;
        d->pin_wanted = strcmp(rest, "SIM PIN") == 0;
    } else if ((rest = at_after(line, "+CMGF:")) != NULL) {
        d->answer_seen = true;
        if (d->state == MODEM_RESYNC && strcmp(rest, "0") != 0)
            modem_dialog_restart(d, now);
    } else if (d->asked[0] != '\0' && strcmp(line, d->asked) == 0 &&
               strcmp(line, "ATE0") != 0) {
        modem_dialog_restart(d, now); /* echo came back: it has been reset */
    }
}

void modem_line_take(struct modem_dialog *d, const char *line, int64_t now)
{
    int code;
    enum at_kind kind = at_kind(line, &code);

    if (modem_ussd_more(d, line, now))
        return;
    if (kind == AT_PROMPT) {
        modem_dialog_prompted(d, now);
    } else if (d->pdu_follows && kind == AT_TEXT &&
               strspn(line, "0123456789ABCDEFabcdef") == strlen(line)) {
        modem_store_pdu(d, line);
    } else if (kind == AT_TEXT) {
        if (!unasked(d, line, now))
            asked_line(d, line, now);
        if (d->state == MODEM_IDLE)
            modem_dialog_next(d, now);
    } else {
        d->pdu_follows = false;
        modem_dialog_answered(d, kind, code, now);
    }
}
