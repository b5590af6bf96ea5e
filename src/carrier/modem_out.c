#include "carrier/modem_parts.h"

#include "base/clock.h"
#include "base/log.h"
#include "carrier/alphabet.h"
#include "carrier/dcs.h"
#include "carrier/segment.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define IN_HAND_MOST 1 /* after a power cut only this one is in doubt */
#define TRIES_MOST   3 /* of a part, when others have gone */
#define NOTE_CAP     120
#define FAR_DIGITS                                                             \
    7 /* of a number, for reports: no national one is shorter                  \
       */
#define FAR_CAP (FAR_DIGITS + 8)

struct text { /* in hand */
    int64_t out_id, expires_s;
    struct tpdu_address to;
    struct segment_text cut;
    uint8_t ref;
    size_t next; /* part */
    int tries;
    bool unknown;
};

struct modem_out {
    struct carrier_host *host;
    const struct config_carrier *conf;
    struct modem_dialog *dialog;
    int *room;
    bool ready, flying;
    struct text *texts[IN_HAND_MOST]; /* [0] is being sent */
    int n_texts;
    uint8_t ref;
};

static int64_t now_ms(void)
{
    return clock_monotonic_us() / 1000;
}

static void set_room(struct modem_out *o)
{
    *o->room = o->ready ? IN_HAND_MOST - o->n_texts : 0;
}

struct modem_out *modem_out_new(struct carrier_host *h,
                                const struct config_carrier *conf,
                                struct modem_dialog *d, int *room)
{
    struct modem_out *o = kw_calloc(1, sizeof(*o));

    o->host = h;
    o->conf = conf;
    o->dialog = d;
    o->room = room;
    o->ref = (uint8_t)arc4random();
    return o;
}

bool modem_out_idle(const struct modem_out *o)
{
    return o->n_texts == 0;
}

static void settle(struct modem_out *o, int i, enum ledger_send state,
                   const char *note)
{
    struct text *t = o->texts[i];
    int64_t id = t->out_id;

    memmove(&o->texts[i], &o->texts[i + 1],
            (size_t)(o->n_texts - i - 1) * sizeof(o->texts[0]));
    o->n_texts--;
    kw_free(t);
    set_room(o);
    o->host->settle(o->host, id, state, 0, note);
}

/* ---- reports ---- */

/*
 * What a part is known by to its status report: TP-MR, which comes round at
 * 256, and the last digits of the number, for a report may name it with
 * another prefix. The newest text of that id is meant. TS 23.040, 9.2.3.6.
 */
static void far_id(uint8_t tp_mr, const char *to, char dst[FAR_CAP])
{
    size_t n = strlen(to);

    snprintf(dst, FAR_CAP, "%u-%s", (unsigned)tp_mr,
             to + (n > FAR_DIGITS ? n - FAR_DIGITS : 0));
}

int modem_out_report(struct modem_out *o, const struct tpdu *report,
                     void (*kept)(void *arg, int err), void *arg)
{
    enum tpdu_fate fate = tpdu_fate(report->tp_st);
    char id[FAR_CAP], why[24];
    struct carrier_receipt r = {.carrier = o->conf->name,
                                .far_id = id,
                                .state = TRAFFIC_NOT_DELIVERED,
                                .why = why,
                                .kept = kept,
                                .arg = arg};

    far_id(report->tp_mr, report->address.text, id);
    snprintf(why, sizeof(why), "status 0x%02x", report->tp_st);
    if (fate == TPDU_DELIVERED)
        r.state = TRAFFIC_DELIVERED;
    else if (fate == TPDU_TRYING || fate == TPDU_UNCONFIRMED)
        r.state = TRAFFIC_UNDER_WAY;
    return o->host->receipt(o->host, &r);
}

/* ---- sending ---- */

static int encode(const struct modem_out *o, const struct text *t, uint8_t *pdu,
                  size_t cap)
{
    struct tpdu p = {.type = TPDU_SUBMIT,
                     .address = t->to,
                     .tp_dcs = t->cut.tp_dcs,
                     .tp_srr = o->conf->modem.receipts};
    struct udh h = t->cut.udh;
    const struct segment *s = &t->cut.parts[t->next];
    int n;

    h.ref = t->ref;
    h.seq = (uint8_t)(t->next + 1);
    if (t->expires_s != 0) {
        p.tp_vpf = TPDU_VPF_RELATIVE;
        p.tp_vp = tpdu_vp_relative(t->expires_s - clock_now_s());
    }
    if (tpdu_put_ud(&p, &h, s->octets, s->n) < 0)
        return KW_EINVAL;
    pdu[0] = 0; /* the service centre of the card */
    n = tpdu_encode(&p, pdu + 1, cap - 1);
    return n < 0 ? n : n + 1;
}

void modem_out_pump(struct modem_out *o)
{
    uint8_t pdu[MODEM_PDU_OCTETS];
    int n;

    while (o->ready && !o->flying && o->n_texts > 0) {
        n = encode(o, o->texts[0], pdu, sizeof(pdu));
        if (n < 0) {
            settle(o, 0, LEDGER_FAILED, "cannot be encoded");
            continue;
        }
        if (modem_dialog_send(o->dialog, pdu, (size_t)n, (size_t)n - 1,
                              now_ms()) < 0)
            return;
        o->flying = true;
    }
}

static void part_gone(struct modem_out *o, int tp_mr)
{
    struct text *t = o->texts[0];

    if (tp_mr >= 0 && o->conf->modem.receipts) {
        char id[FAR_CAP];

        far_id((uint8_t)tp_mr, t->to.text, id);
        o->host->far_id(o->host, o->conf->name, t->out_id, id);
    }
    t->tries = 0;
    if (++t->next < t->cut.n)
        return;
    if (t->unknown)
        settle(o, 0, LEDGER_PERHAPS, "the modem did not say");
    else
        settle(o, 0, LEDGER_SENT, t->cut.n > 1 ? "sent in parts" : "sent");
}

/* It did not go; later again, by the outbox where nothing has gone yet. */
static void not_gone(struct modem_out *o, const char *note)
{
    struct text *t = o->texts[0];

    if (t->next == 0 && !t->unknown)
        settle(o, 0, LEDGER_WAITING, note);
    else if (++t->tries > TRIES_MOST)
        settle(o, 0, t->unknown ? LEDGER_PERHAPS : LEDGER_FAILED, note);
}

static void refused(struct modem_out *o, int code)
{
    enum at_cms class = at_cms_class(code);
    char note[NOTE_CAP];

    snprintf(note, sizeof(note), "+CMS ERROR: %d %s", code, at_cms_name(code));
    switch (class) {
    case AT_CMS_SENT:
        part_gone(o, -1);
        break;
    case AT_CMS_PERMANENT:
    case AT_CMS_BUG:
        log_warn("failed to send message %lld by '%s': %s",
                 (long long)o->texts[0]->out_id, o->conf->name, note);
        settle(o, 0, LEDGER_FAILED, note);
        break;
    case AT_CMS_UNKNOWN:
        o->texts[0]->unknown = true;
        part_gone(o, -1);
        break;
    case AT_CMS_OPERATOR:
        log_error("the modem '%s' cannot send: %s; look at its card and "
                  "its network",
                  o->conf->name, note);
        not_gone(o, note);
        break;
    default:
        not_gone(o, note);
        break;
    }
}

void modem_out_sent(struct modem_out *o, enum modem_fate fate, int code,
                    int tp_mr)
{
    o->flying = false;
    if (o->n_texts == 0)
        return;
    if (fate == MODEM_SENT) {
        part_gone(o, tp_mr);
    } else if (fate == MODEM_REFUSED) {
        refused(o, code);
    } else if (fate == MODEM_UNKNOWN) {
        o->texts[0]->unknown = true;
        part_gone(o, -1);
    } else {
        not_gone(o, "the modem did not take it");
    }
}

void modem_out_ready(struct modem_out *o, bool ready)
{
    o->ready = ready;
    set_room(o);
    for (int i = 0; !ready && i < o->n_texts;) {
        struct text *t = o->texts[i];

        if (t->next > 0 || t->unknown || (i == 0 && o->flying))
            i++; /* begun: it goes on when the modem is back */
        else
            settle(o, i, LEDGER_WAITING, "the modem is not ready");
    }
}

void modem_out_send(struct modem_out *o, const struct ledger_out *text)
{
    struct segment_way way = {
        .language = alphabet_language(o->conf->modem.shift_tables)};
    struct text *t;
    int i = o->n_texts;

    if (!o->ready || i == IN_HAND_MOST) {
        o->host->settle(o->host, text->id, LEDGER_WAITING, 0,
                        "the modem is not ready");
        return;
    }
    t = kw_calloc(1, sizeof(*t));
    *t = (struct text){
        .out_id = text->id, .expires_s = text->expires_s, .ref = o->ref++};
    o->texts[o->n_texts++] = t;
    set_room(o);
    if (tpdu_address_from(&t->to, text->to) < 0 ||
        t->to.ton == TPDU_TON_ALPHANUMERIC)
        settle(o, i, LEDGER_FAILED, "no number that can be texted");
    else if (segment_cut(&way, text->body, strlen(text->body), &t->cut) < 0)
        settle(o, i, LEDGER_FAILED, "the text is too long");
}

void modem_out_free(struct modem_out *o)
{
    while (o->n_texts > 0) {
        const struct text *t = o->texts[0];
        bool begun = t->next > 0 || t->unknown;

        settle(o, 0, begun ? LEDGER_PERHAPS : LEDGER_WAITING,
               begun ? "not all parts before the end"
                     : "not sent before the end");
    }
    kw_free(o);
}
