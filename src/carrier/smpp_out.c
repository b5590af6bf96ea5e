#include "carrier/smpp_parts.h"

#include "base/clock.h"
#include "base/log.h"
#include "carrier/alphabet.h"
#include "carrier/smpp_status.h"
#include "carrier/tpdu.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SLOTS_MOST   128
#define RETRIES_MOST 5    /* of one part, when others have gone */
#define RETRY_MS     5000 /* times the tries so far */
#define NOTE_CAP     120

enum part_state { PART_WAITING, PART_FLYING, PART_DONE, PART_UNKNOWN };

struct slot {       /* one text */
    int64_t out_id; /* 0: free */
    int64_t expires_s, not_before_ms;
    struct smpp_address dest;
    struct smpp_parts parts;
    enum part_state states[SEGMENT_MOST];
    int flying, done, tries;
    uint32_t status; /* of the answer that ended it, 0 none */
    bool failed, later, unknown;
};

struct smpp_out {
    struct carrier_host *host;
    const struct config_carrier *conf;
    const struct smpp_statuses *statuses;
    struct smpp_text_way way;
    enum smpp_id_form id_form;
    struct smpp_address source;
    bool ready, tlvs;
    int *room, capacity, used;
    struct slot *slots; /* SLOTS_MOST, in the order of coming by `order` */
    int order[SLOTS_MOST];
    uint16_t ref; /* of long texts */
};

static int64_t now_ms(void)
{
    return clock_monotonic_us() / 1000;
}

static int word_at(const char *const words[], int n, const char *word)
{
    for (int i = 0; i < n; i++) {
        if (strcmp(words[i], word) == 0)
            return i;
    }
    return 0;
}

static void read_conf(struct smpp_out *o, const struct config_smpp *c)
{
    static const char *const longs[] = {"udh", "udh16", "sar", "payload"};
    static const char *const ids[] = {"same", "hex", "decimal"};

    o->way.coding = smpp_coding_named(c->alphabet);
    o->way.long_text = (enum smpp_long)word_at(longs, 4, c->long_text);
    o->way.language = alphabet_language(c->shift_tables);
    o->id_form = (enum smpp_id_form)word_at(ids, 3, c->receipt_id);
}

/* TON and NPI of an address as people write it. 5.2.5, 5.2.6. */
static int address_from(struct smpp_address *a, const char *text)
{
    struct tpdu_address t;

    *a = (struct smpp_address){0};
    if (text[0] == '\0')
        return 0; /* the centre puts its own */
    if (tpdu_address_from(&t, text) < 0)
        return KW_EINVAL;
    a->ton = t.ton;
    a->npi = t.ton == TPDU_TON_INTERNATIONAL ? 1 : 0;
    if (t.ton == TPDU_TON_UNKNOWN && strlen(t.text) <= 8)
        a->ton = TPDU_TON_NETWORK; /* a short code */
    return kw_copy(a->addr, 21, t.text, strlen(t.text)) < 0 ? KW_EINVAL : 0;
}

struct smpp_out *smpp_out_new(struct carrier_host *h,
                              const struct config_carrier *conf,
                              const struct smpp_statuses *statuses, int *room)
{
    struct smpp_out *o = kw_calloc(1, sizeof(*o));

    o->host = h;
    o->conf = conf;
    o->statuses = statuses;
    o->room = room;
    o->capacity = conf->smpp.window * 2 + 2;
    if (o->capacity > SLOTS_MOST)
        o->capacity = SLOTS_MOST;
    o->slots = kw_calloc(SLOTS_MOST, sizeof(*o->slots));
    o->ref = (uint16_t)arc4random();
    read_conf(o, &conf->smpp);
    address_from(&o->source, conf->smpp.source);
    return o;
}

static void set_room(struct smpp_out *o)
{
    *o->room = o->ready ? o->capacity - o->used : 0;
}

void smpp_out_ready(struct smpp_out *o, bool ready, bool tlvs)
{
    o->ready = ready;
    o->tlvs = tlvs;
    set_room(o);
}

bool smpp_out_idle(const struct smpp_out *o)
{
    return o->used == 0;
}

/* ---- the end of a text ---- */

static void free_slot(struct smpp_out *o, int slot)
{
    int i = 0;

    while (o->order[i] != slot)
        i++;
    memmove(&o->order[i], &o->order[i + 1],
            (size_t)(o->used - i - 1) * sizeof(o->order[0]));
    o->used--;
    smpp_parts_release(&o->slots[slot].parts);
    o->slots[slot].out_id = 0;
    set_room(o);
}

static void settle(struct smpp_out *o, int slot, enum ledger_send state,
                   const char *note)
{
    int64_t id = o->slots[slot].out_id;

    free_slot(o, slot);
    o->host->settle(o->host, id, state, 0, note);
}

/* Settles the text when nothing of it is under way or waits. */
static void look_at(struct smpp_out *o, int slot)
{
    struct slot *s = &o->slots[slot];
    int parts = (int)s->parts.n;
    char note[NOTE_CAP];

    if (s->flying > 0)
        return;
    snprintf(note, sizeof(note), "%s 0x%x%s", smpp_status_name(s->status),
             (unsigned)s->status,
             s->done > 0 && s->failed ? ", some parts have gone" : "");
    if (s->failed) {
        log_warn("failed to send message %lld by '%s': %s",
                 (long long)s->out_id, o->conf->name, note);
        settle(o, slot, LEDGER_FAILED, note);
    } else if (s->later && s->done == 0 && !s->unknown) {
        settle(o, slot, LEDGER_WAITING, note);
    } else if (s->done == parts) {
        settle(o, slot, LEDGER_SENT, parts > 1 ? "sent in parts" : "sent");
    } else {
        for (int i = 0; i < parts; i++) {
            if (s->states[i] == PART_WAITING)
                return; /* goes on */
        }
        settle(o, slot, LEDGER_PERHAPS, "no answer came");
    }
}

/* ---- receipts ---- */

static enum traffic_receipt receipt_state(enum smpp_message_state state)
{
    switch (state) {
    case SMPP_STATE_DELIVERED:
        return TRAFFIC_DELIVERED;
    case SMPP_STATE_EXPIRED:
    case SMPP_STATE_DELETED:
    case SMPP_STATE_UNDELIVERABLE:
    case SMPP_STATE_REJECTED:
    case SMPP_STATE_SKIPPED:
        return TRAFFIC_NOT_DELIVERED;
    default: /* on its way, or nothing that can be known */
        return TRAFFIC_UNDER_WAY;
    }
}

int smpp_out_receipt(struct smpp_out *o, const struct smpp_pdu *p,
                     void (*kept)(void *arg, int err), void *arg)
{
    struct carrier_receipt given = {
        .carrier = o->conf->name, .kept = kept, .arg = arg};
    struct smpp_receipt r;
    char id[SMPP_ID_CAP];

    smpp_receipt_read(p, &r);
    if (r.id[0] == '\0') {
        log_debug("a receipt of '%s' names no text", o->conf->name);
        return KW_EINVAL;
    }
    smpp_id_normal(o->id_form, true, r.id, id);
    given.far_id = id;
    given.state = receipt_state(r.state);
    given.why = smpp_state_word(r.state);
    return o->host->receipt(o->host, &given);
}

/* ---- results ---- */

static void part_done(struct smpp_out *o, struct slot *s, int part,
                      const char *id)
{
    char normal[SMPP_ID_CAP];

    s->states[part] = PART_DONE;
    s->done++;
    if (!o->conf->smpp.receipts || id[0] == '\0')
        return;
    smpp_id_normal(o->id_form, false, id, normal);
    o->host->far_id(o->host, o->conf->name, s->out_id, normal);
}

static void part_refused(struct smpp_out *o, struct slot *s, int part,
                         uint32_t status)
{
    enum smpp_class class = smpp_status_class(o->statuses, status);

    s->states[part] = PART_WAITING;
    if (smpp_status_waits(o->statuses, status))
        return; /* the session waits; it is no try of this text */
    s->status = status;
    if (class == SMPP_BUG)
        log_error("the message centre '%s' does not understand us: %s",
                  o->conf->name, smpp_status_name(status));
    if (class == SMPP_OPERATOR)
        log_error("the message centre '%s' takes no texts: %s (0x%x); look at "
                  "the account, or ask the company",
                  o->conf->name, smpp_status_name(status), (unsigned)status);
    if (class == SMPP_PERMANENT || class == SMPP_BUG ||
        ++s->tries > RETRIES_MOST) {
        s->failed = true;
        return;
    }
    s->later = true;
    s->not_before_ms = now_ms() + (int64_t)s->tries * RETRY_MS;
}

void smpp_out_result(struct smpp_out *o, const struct smpp_result *r)
{
    int slot = (int)(r->cookie / SEGMENT_MOST);
    int part = (int)(r->cookie % SEGMENT_MOST);
    struct slot *s = &o->slots[slot];
    bool done = r->known && r->command_status == SMPP_ROK;

    s->flying--;
    if (done) {
        part_done(o, s, part, r->message_id);
    } else if (r->known) {
        part_refused(o, s, part, r->command_status);
    } else {
        s->states[part] = PART_UNKNOWN;
        s->unknown = true;
    }
    look_at(o, slot);
}

/* ---- submitting ---- */

static void fill_pdu(const struct smpp_out *o, const struct slot *s, int part,
                     struct smpp_pdu *p)
{
    const struct smpp_part *m = &s->parts.parts[part];
    const char *type = o->conf->smpp.service_type;
    int64_t left_s = s->expires_s - clock_now_s();

    *p = (struct smpp_pdu){.source = o->source,
                           .dest = s->dest,
                           .esm_class = m->esm_class,
                           .registered_delivery = o->conf->smpp.receipts,
                           .data_coding = m->data_coding,
                           .sm_length = m->sm_length,
                           .short_message = m->short_message,
                           .tlvs = (const uint8_t *)m->tlvs.data,
                           .tlvs_len = m->tlvs.len};
    kw_copy(p->service_type, sizeof(p->service_type), type, strlen(type));
    if (s->expires_s != 0)
        smpp_time_relative(left_s, p->validity_period);
}

/* The next part to go, or -1. */
static int next_part(const struct slot *s, int64_t now)
{
    if (s->failed || now < s->not_before_ms || (s->later && s->done == 0))
        return -1;
    for (int i = 0; i < (int)s->parts.n; i++) {
        if (s->states[i] == PART_WAITING)
            return i;
    }
    return -1;
}

/* KW_EAGAIN: the session takes no more now. */
static int submit_some(struct smpp_out *o, int slot, struct smpp_session *ses)
{
    struct slot *s = &o->slots[slot];
    int part;

    while ((part = next_part(s, now_ms())) >= 0) {
        struct smpp_pdu p;
        int err;

        fill_pdu(o, s, part, &p);
        err = smpp_session_submit(ses, &p, (int64_t)slot * SEGMENT_MOST + part,
                                  now_ms());
        if (err == KW_EAGAIN)
            return err;
        if (err < 0) {
            s->failed = true;
            look_at(o, slot);
            return 0;
        }
        s->states[part] = PART_FLYING;
        s->flying++;
    }
    return 0;
}

void smpp_out_pump(struct smpp_out *o, struct smpp_session *s)
{
    int64_t now = now_ms();
    int i = 0;

    if (!smpp_session_may_submit(s, now))
        return;
    while (i < o->used) {
        int slot = o->order[i];

        if (submit_some(o, slot, s) == KW_EAGAIN)
            return;
        /* A text that ended meanwhile has left its place to the next. */
        i += i < o->used && o->order[i] == slot;
    }
}

/* Answers will not come; the results of what flew have come already. */
void smpp_out_lost(struct smpp_out *o)
{
    smpp_out_ready(o, false, false);
    for (int i = 0; i < o->used;) {
        int slot = o->order[i];
        struct slot *s = &o->slots[slot];

        if (s->done == 0 && !s->unknown)
            settle(o, slot, LEDGER_WAITING, "the connection was lost");
        else
            i++; /* its other parts go when the session is back */
    }
}

void smpp_out_send(struct smpp_out *o, const struct ledger_out *text)
{
    struct smpp_text_way way = o->way;
    struct slot *s;
    int slot = 0;

    if (!o->tlvs && way.long_text >= SMPP_SAR)
        way.long_text = SMPP_UDH; /* 3.3 knows no optional parameters */
    while (slot < SLOTS_MOST && o->slots[slot].out_id != 0)
        slot++;
    if (slot == SLOTS_MOST || !o->ready) {
        o->host->settle(o->host, text->id, LEDGER_WAITING, 0, "not bound");
        return;
    }
    s = &o->slots[slot];
    *s = (struct slot){.out_id = text->id, .expires_s = text->expires_s};
    o->order[o->used++] = slot;
    set_room(o);
    if (address_from(&s->dest, text->to) < 0 || s->dest.addr[0] == '\0' ||
        s->dest.ton == TPDU_TON_ALPHANUMERIC)
        settle(o, slot, LEDGER_FAILED, "no number that can be texted");
    else if (smpp_text_encode(&way, text->body, strlen(text->body), o->ref++,
                              &s->parts) < 0)
        settle(o, slot, LEDGER_FAILED, "the text is too long");
}

void smpp_out_free(struct smpp_out *o)
{
    while (o->used > 0) {
        struct slot *s = &o->slots[o->order[0]];
        bool begun = s->done > 0 || s->unknown || s->flying > 0;

        settle(o, o->order[0], begun ? LEDGER_PERHAPS : LEDGER_WAITING,
               begun ? "no answer before the end" : "not sent before the end");
    }
    kw_free(o->slots);
    kw_free(o);
}
