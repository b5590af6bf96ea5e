/*
 * modem_ussd.c - questions to the network, such as "*123#" for what is left
 * on the card. One is open at a time; texts go on meanwhile. A session that
 * the network keeps open for an answer is ended: nobody is there to give one.
 * Source: 3GPP TS 27.007, 7.15.
 */
#include "carrier/modem_dialog_parts.h"
#include "carrier/ussd.h"

#include <stdio.h>
#include <string.h>

int modem_dialog_ask(struct modem_dialog *d, const char *code, int64_t now_ms)
{
    if (!ussd_code_good(code) || strlen(code) >= sizeof(d->ussd_code))
        return KW_EINVAL;
    if (!d->ready || d->ussd_wanted || d->ussd_open)
        return KW_EAGAIN;
    snprintf(d->ussd_code, sizeof(d->ussd_code), "%s", code);
    d->ussd_wanted = true;
    if (d->state == MODEM_IDLE)
        modem_dialog_next(d, now_ms);
    return 0;
}

bool modem_ussd_next(struct modem_dialog *d, int64_t now)
{
    if (d->ussd_end_wanted) {
        d->ussd_end_wanted = false;
        modem_dialog_command(d, MODEM_ASK_USSD_END, "AT+CUSD=2", now);
        return true;
    }
    if (!d->ussd_wanted)
        return false;
    modem_dialog_command(d, MODEM_ASK_CHARACTERS, "AT+CSCS=\"GSM\"", now);
    return true;
}

void modem_ussd_answered(struct modem_dialog *d, bool ok, int64_t now)
{
    char command[MODEM_USSD_CAP + 20];

    if (d->ask == MODEM_ASK_CHARACTERS && d->ussd_wanted) {
        /* Whether it took the character set or not. */
        d->ussd_wanted = false;
        d->ussd_open = true;
        d->ussd_due_ms = now + MODEM_USSD_MS;
        snprintf(command, sizeof(command), "AT+CUSD=1,\"%s\",15", d->ussd_code);
        modem_dialog_command(d, MODEM_ASK_USSD, command, now);
        d->due_ms = now + MODEM_USSD_OK_MS;
        return;
    }
    if (d->ask == MODEM_ASK_USSD && !ok)
        modem_ussd_end(d, MODEM_USSD_REFUSED, "");
    modem_dialog_next(d, now);
}

int64_t modem_ussd_due(struct modem_dialog *d, int64_t now)
{
    if (!d->ussd_open)
        return INT64_MAX;
    if (now < d->ussd_due_ms)
        return d->ussd_due_ms;
    modem_ussd_end(d, MODEM_USSD_REFUSED, "");
    d->ussd_end_wanted = true;
    if (d->state == MODEM_IDLE)
        modem_dialog_next(d, now);
    return INT64_MAX;
}

void modem_ussd_end(struct modem_dialog *d, enum modem_ussd how,
                    const char *words)
{
    bool asked = d->ussd_open || d->ussd_wanted;

    d->ussd_open = d->ussd_wanted = false;
    d->ussd_line[0] = '\0';
    d->ussd_line_ms = 0;
    if (asked || how == MODEM_USSD_NETWORK)
        d->handler->ussd(d->handler->arg, how, words);
}

static void told(struct modem_dialog *d, const struct ussd *u)
{
    enum modem_ussd how = d->ussd_open ? MODEM_USSD_ANSWER : MODEM_USSD_NETWORK;
    struct kw_buf words;

    kw_buf_init(&words, 4096);
    ussd_text(u, &words);
    if (u->status == USSD_WANTS_MORE)
        d->ussd_end_wanted = true;
    if (u->len == 0 && (u->status >= USSD_ENDED || d->ussd_open))
        modem_ussd_end(d, MODEM_USSD_REFUSED, "");
    else
        modem_ussd_end(d, how, kw_buf_text(&words));
    kw_buf_release(&words);
}

void modem_ussd_line(struct modem_dialog *d, const char *rest, int64_t now)
{
    struct ussd u;
    int err = ussd_parse(rest, &u);

    if (err == KW_EAGAIN && strlen(rest) < sizeof(d->ussd_line) - 1) {
        snprintf(d->ussd_line, sizeof(d->ussd_line), "%s", rest);
        d->ussd_line_ms = now;
    } else if (err == 0) {
        d->ussd_line_ms = 0;
        told(d, &u);
    }
}

bool modem_ussd_more(struct modem_dialog *d, const char *line, int64_t now)
{
    char whole[AT_LINE_CAP];
    int n;

    if (d->ussd_line_ms == 0)
        return false;
    if (now - d->ussd_line_ms >= MODEM_COMMAND_MS) {
        d->ussd_line_ms = 0; /* it never ended; this is another line */
        return false;
    }
    n = snprintf(whole, sizeof(whole), "%s\n%s", d->ussd_line, line);
    if (n < 0 || (size_t)n >= sizeof(whole)) {
        d->ussd_line_ms = 0;
        return false;
    }
    modem_ussd_line(d, whole, d->ussd_line_ms);
    return true;
}
