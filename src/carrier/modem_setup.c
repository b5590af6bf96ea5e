/*
 * modem_setup.c - what a modem is told before anything else, its card, and
 * the look at network, signal and store that comes round.
 */
#include "carrier/modem_dialog_parts.h"

#include <stdio.h>
#include <string.h>

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

static const char *const polls[] = {
    "AT+CREG?",
    "AT+CEREG?", /* asked where +CREG tells no network */
    "AT+CSQ",
    "AT+CPMS?",
};

bool modem_registered(const struct modem_dialog *d)
{
    return d->registration == 1 ||
           (d->registration >= 5 && d->registration <= 7);
}

const char *modem_registration_words(int stat)
{
    static const char *const words[] = {
        "no network, and it is not searching", /* 0 … TS 27.007, 7.2 */
        "home network",
        "no network, searching",
        "the network refuses this card",
        "network not known",
        "roaming",
        "home network, texts only",
        "roaming, texts only"};

    return stat >= 0 && stat < (int)KW_COUNT(words) ? words[stat]
                                                    : "network not known";
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

void modem_setup_next(struct modem_dialog *d, int64_t now)
{
    char command[64];

    for (; d->step < KW_COUNT(settings); d->step++) {
        row_command(d, &settings[d->step], command, sizeof(command));
        if (command[0] != '\0') {
            modem_dialog_command(d, MODEM_ASK_SETTING, command, now);
            return;
        }
    }
    d->set_up = true;
    d->list_wanted[1] = true; /* what waits in the other memory, too */
    modem_poll_begin(d, now);
    modem_dialog_next(d, now);
}

/* Later again, from the first row. */
void modem_setup_wait(struct modem_dialog *d, int64_t now)
{
    d->state = MODEM_SETUP;
    d->ask = MODEM_ASK_NOTHING;
    d->step = 0;
    d->due_ms = now + MODEM_SEARCH_MS;
}

/* What keeps the card from answering. TS 27.007, 9.2.1. */
static const char *card_trouble(enum at_kind kind, int code)
{
    static const struct {
        int code;
        const char *words;
    } rows[] = {
        {10, "there is no card in the modem; put one in"},
        {11, "the card asks for its PIN; set 'pin_file'"},
        {12, "the card is locked (PUK); put it into a phone"},
        {13, "the card has failed; clean its contacts, or take another"},
        {14, "the card is busy; it is asked again"},
        {15, "the card is no good in this modem; take another"},
    };

    for (size_t i = 0; kind == AT_CME && i < KW_COUNT(rows); i++) {
        if (rows[i].code == code)
            return rows[i].words;
    }
    return "the card is missing or not ready";
}

static void card_answered(struct modem_dialog *d, enum at_kind kind, int code,
                          int64_t now)
{
    bool ok = kind == AT_OK;
    char command[32];

    if (ok && d->card_ready) {
        d->step++;
        modem_setup_next(d, now);
    } else if (ok && d->pin_wanted && d->conf->pin != NULL && !d->pin_tried) {
        d->pin_tried = true; /* never a wrong one twice: it locks the card */
        snprintf(command, sizeof(command), "AT+CPIN=\"%s\"", d->conf->pin);
        modem_dialog_command(d, MODEM_ASK_PIN, command, now);
    } else {
        if (!ok)
            modem_dialog_note(d, true, card_trouble(kind, code));
        else if (d->pin_wanted && d->conf->pin == NULL)
            modem_dialog_note(d, true, card_trouble(AT_CME, 11));
        else if (d->pin_wanted)
            modem_dialog_note(d, true,
                              "the card has refused the PIN; it is not tried "
                              "again, correct it and start anew");
        else
            modem_dialog_note(d, true, card_trouble(AT_CME, 12));
        modem_setup_wait(d, now);
    }
}

void modem_setup_answered(struct modem_dialog *d, enum at_kind kind, int code,
                          int64_t now)
{
    const struct row *r = &settings[d->step];
    bool ok = kind == AT_OK;

    if (strcmp(r->command, "AT+CPIN?") == 0) {
        card_answered(d, kind, code, now);
        return;
    }
    if (!ok && !r->may_fail) {
        modem_dialog_note(d, true,
                          "the modem refuses PDU mode or a setting it needs");
        modem_setup_wait(d, now);
        return;
    }
    if (!ok && strncmp(r->command, "AT+CSCA", 7) == 0)
        modem_dialog_note(d, true,
                          "the modem refuses the service centre's number");
    d->step += 1 + (ok ? (size_t)r->skip : 0);
    modem_setup_next(d, now);
}

/* ---- the look that comes round ---- */

void modem_poll_begin(struct modem_dialog *d, int64_t now)
{
    d->polling = true;
    d->step = 0;
    d->poll_ms = now + (int64_t)d->conf->poll_s * 1000;
}

static void polled(struct modem_dialog *d)
{
    d->polling = false;
    d->list_wanted[0] = true;
    modem_dialog_set_ready(d, modem_registered(d));
    if (modem_dialog_crowded(d))
        modem_dialog_note(d, false,
                          "four fifths of the store for texts are taken");
}

bool modem_poll_next(struct modem_dialog *d, int64_t now)
{
    while (d->polling && d->step < KW_COUNT(polls)) {
        const char *command = polls[d->step];

        if (strcmp(command, "AT+CEREG?") != 0 || !modem_registered(d)) {
            modem_dialog_command(d, MODEM_ASK_POLL, command, now);
            return true;
        }
        d->step++;
    }
    if (d->polling)
        polled(d);
    return false;
}
