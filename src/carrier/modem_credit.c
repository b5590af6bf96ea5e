/*
 * modem_credit.c - what is left on the card: the network is asked now and
 * then, its words are kept for `show line`, and the coordinators hear of it
 * when the amount in them is low.
 */
#include "carrier/modem_parts.h"

#include "base/clock.h"
#include "base/log.h"
#include "carrier/ussd.h"

#include <stdio.h>
#include <string.h>

#define AGAIN_MS    3600000 /* after the network did not answer */
#define BUSY_MS     5000    /* another question is open */
#define AFTER_UP_MS 5000    /* what waits on the card goes first */
#define AN_HOUR_MS  3600000

struct modem_credit {
    struct carrier_host *host;
    const struct config_carrier *conf;
    struct modem_dialog *dialog;
    int64_t next_ms; /* when to ask; 0: a while after it is ready */
    bool asked;
    char words[CARRIERS_WORDS_CAP];
    int64_t at_s;
    bool low;
};

struct modem_credit *modem_credit_new(struct carrier_host *h,
                                      const struct config_carrier *conf,
                                      struct modem_dialog *d)
{
    struct modem_credit *c = kw_calloc(1, sizeof(*c));

    c->host = h;
    c->conf = conf;
    c->dialog = d;
    return c;
}

void modem_credit_free(struct modem_credit *c)
{
    kw_free(c);
}

void modem_credit_turn(struct modem_credit *c, int64_t now_ms)
{
    int err;

    if (c->conf->modem.credit_code == NULL || c->asked || !c->dialog->ready)
        return;
    if (c->next_ms == 0)
        c->next_ms = now_ms + AFTER_UP_MS;
    if (now_ms < c->next_ms)
        return;
    err = modem_dialog_ask(c->dialog, c->conf->modem.credit_code, now_ms);
    c->asked = err == 0;
    c->next_ms = now_ms + (err == KW_EAGAIN ? BUSY_MS : AGAIN_MS);
}

int64_t modem_credit_due(const struct modem_credit *c)
{
    if (c->conf->modem.credit_code == NULL || c->asked || !c->dialog->ready)
        return INT64_MAX;
    return c->next_ms;
}

/* One line of it, as the table and the log want it. */
static void keep(struct modem_credit *c, const char *words)
{
    const char *p = words;
    size_t n = 0;

    for (; *p != '\0' && n + 1 < sizeof(c->words); p++) {
        if (strchr(" \r\n", *p) == NULL)
            c->words[n++] = *p;
        else if (n > 0 && c->words[n - 1] != ' ')
            c->words[n++] = ' ';
    }
    while (*p != '\0' && n > 0 && (c->words[n - 1] & 0xc0) == 0x80)
        n--; /* cut short, but not inside a character */
    if (*p != '\0' && n > 0)
        n--;
    if (n > 0 && c->words[n - 1] == ' ')
        n--;
    c->words[n] = '\0';
    c->at_s = clock_now_s();
}

static void judge(struct modem_credit *c)
{
    const struct config_modem *set = &c->conf->modem;
    double amount;

    c->low = false;
    if (set->credit_below <= 0)
        return;
    if (ussd_amount(c->words, set->credit_after, &amount) < 0) {
        log_warn("the modem '%s': no amount stands in what the network says "
                 "of the credit; look at 'credit_after': %s",
                 c->conf->name, c->words);
        return;
    }
    c->low = amount < set->credit_below;
    if (!c->low)
        return;
    log_error("the card in the modem '%s' has little credit: %s; top it up",
              c->conf->name, c->words);
    if (c->host->credit_low != NULL)
        c->host->credit_low(c->host, c->conf->name, amount);
}

void modem_credit_told(struct modem_credit *c, enum modem_ussd how,
                       const char *words, int64_t now_ms)
{
    c->asked = false;
    if (how == MODEM_USSD_ANSWER) {
        c->next_ms =
            now_ms + (int64_t)c->conf->modem.credit_every_h * AN_HOUR_MS;
        keep(c, words);
        judge(c);
    } else if (!c->dialog->ready) {
        c->next_ms = 0; /* it went away meanwhile */
    } else {
        c->next_ms = now_ms + AGAIN_MS;
        log_warn("the modem '%s': the network does not say what is left on "
                 "the card; look at 'credit_code'",
                 c->conf->name);
    }
}

void modem_credit_tell(const struct modem_credit *c, struct carriers_row *row)
{
    snprintf(row->credit, sizeof(row->credit), "%s", c->words);
    row->credit_s = c->at_s;
    row->credit_low = c->low;
}
