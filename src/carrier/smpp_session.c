/*
 * smpp_session.c - one ESME session.
 * Invariants: (1) deliver_sm_resp goes out only by smpp_session_answer();
 * (2) at most window requests await a response, and after a bind the window
 * opens one by one; (3) each submit has one result: its answer, or unknown
 * after response_s, or unknown when the connection ends.
 *
 *   CLOSED --connected: bind--> OPEN --bind_resp 0--> BOUND
 *      ^                         |                      | unbind
 *      +---- ended, lost --------+---- UNBINDING <------+
 */
#include "carrier/smpp_session.h"
#include "carrier/smpp_status.h"

#include <string.h>

#define SEQUENCE_LAST 0x7fffffffu

void smpp_session_init(struct smpp_session *s,
                       const struct smpp_session_conf *conf,
                       const struct smpp_handler *handler)
{
    *s = (struct smpp_session){.conf = conf,
                               .handler = handler,
                               .next_sequence = 1,
                               .rate_now = conf->rate};
    kw_buf_init(&s->in, SMPP_PDU_OCTETS_MOST);
    kw_buf_init(&s->out, SMPP_OUT_MOST);
}

void smpp_session_release(struct smpp_session *s)
{
    kw_buf_release(&s->in);
    kw_buf_release(&s->out);
}

static void set_state(struct smpp_session *s, enum smpp_state next,
                      int64_t now_ms)
{
    s->state = next;
    s->state_ms = now_ms;
}

static void end(struct smpp_session *s, enum smpp_end why, uint32_t status)
{
    if (s->ended)
        return;
    s->ended = true;
    s->state = SMPP_CLOSED;
    s->handler->ended(s->handler->arg, why, status);
}

static uint32_t next_sequence(struct smpp_session *s)
{
    uint32_t n = s->next_sequence;

    s->next_sequence = n == SEQUENCE_LAST ? 1 : n + 1;
    return n;
}

static int put(struct smpp_session *s, const struct smpp_pdu *p)
{
    size_t before = s->out.len;
    int err = smpp_pdu_encode(p, &s->out);

    if (err == KW_EINVAL) {
        s->out.len = before; /* half of it does not go out */
        return err;
    }
    if (err < 0)
        end(s, SMPP_END_FULL, 0);
    return err;
}

static void put_bare(struct smpp_session *s, uint32_t command_id,
                     uint32_t sequence_number, uint32_t status)
{
    struct smpp_pdu p = {.command_id = command_id,
                         .sequence_number = sequence_number,
                         .command_status = status};

    put(s, &p);
}

static void copy(char *dst, size_t cap, const char *src)
{
    if (src != NULL)
        kw_copy(dst, cap, src, strlen(src));
}

void smpp_session_connected(struct smpp_session *s, int64_t now_ms)
{
    const struct smpp_session_conf *c = s->conf;
    struct smpp_pdu p = {.command_id = c->bind_command,
                         .interface_version = c->interface_version,
                         .addr_ton = c->addr_ton,
                         .addr_npi = c->addr_npi};

    s->generation++;
    s->ended = false;
    s->peer_tlvs = false;
    s->n_waiting = 0;
    s->window_now = 1;
    s->heard_ms = now_ms;
    s->asked_ms = 0;
    s->pause_ms = 0;
    s->tokens = 1;
    s->tokens_ms = now_ms;
    kw_buf_clear(&s->in);
    kw_buf_clear(&s->out);
    set_state(s, SMPP_OPEN, now_ms);
    copy(p.system_id, sizeof(p.system_id), c->system_id);
    copy(p.password, sizeof(p.password), c->password);
    copy(p.system_type, sizeof(p.system_type), c->system_type);
    copy(p.address_range, sizeof(p.address_range), c->address_range);
    p.sequence_number = next_sequence(s);
    put(s, &p);
}

void smpp_session_lost(struct smpp_session *s)
{
    s->ended = true;
    s->state = SMPP_CLOSED;
    while (s->n_waiting > 0) {
        struct smpp_result r = {.cookie = s->waiting[--s->n_waiting].cookie,
                                .message_id = ""};

        s->handler->result(s->handler->arg, &r);
    }
}

/* ---- rate ---- */

static void fill_tokens(struct smpp_session *s, int64_t now_ms)
{
    double burst = s->rate_now > 1 ? s->rate_now : 1;

    if (now_ms > s->tokens_ms)
        s->tokens += (double)(now_ms - s->tokens_ms) / 1000 * s->rate_now;
    if (s->tokens > burst)
        s->tokens = burst;
    s->tokens_ms = now_ms;
}

/* The centre has said "slower": stop a while, then at half the rate. */
static void slow_down(struct smpp_session *s, int64_t now_ms)
{
    double was = s->rate_now > 0 ? s->rate_now : s->window_now * 10.0;

    s->throttled++;
    if (now_ms < s->pause_until_ms)
        return; /* others that were under way then */
    s->pause_ms = s->pause_ms == 0 ? SMPP_PAUSE_MS : s->pause_ms * 2;
    if (s->pause_ms > SMPP_PAUSE_MOST)
        s->pause_ms = SMPP_PAUSE_MOST;
    s->pause_until_ms = now_ms + s->pause_ms;
    s->rate_now = was / 2 > SMPP_RATE_LEAST ? was / 2 : SMPP_RATE_LEAST;
    s->window_now = 1;
    s->tokens = 1;
    s->tokens_ms = s->pause_until_ms;
}

static void speed_up(struct smpp_session *s)
{
    s->pause_ms = 0;
    if (s->window_now < s->conf->window)
        s->window_now++;
    if (s->rate_now > 0) {
        s->rate_now *= 1.02;
        if (s->conf->rate > 0 && s->rate_now > s->conf->rate)
            s->rate_now = s->conf->rate;
        else if (s->conf->rate <= 0 && s->rate_now > 1000)
            s->rate_now = 0; /* no limit again */
    }
}

bool smpp_session_may_submit(struct smpp_session *s, int64_t now_ms)
{
    if (s->state != SMPP_BOUND || s->n_waiting >= s->window_now ||
        now_ms < s->pause_until_ms)
        return false;
    if (s->rate_now <= 0)
        return true;
    fill_tokens(s, now_ms);
    return s->tokens >= 1;
}

int smpp_session_submit(struct smpp_session *s, struct smpp_pdu *p,
                        int64_t cookie, int64_t now_ms)
{
    struct smpp_waiting *w;
    int err;

    if (!smpp_session_may_submit(s, now_ms))
        return KW_EAGAIN;
    p->command_id = SMPP_SUBMIT_SM;
    p->sequence_number = next_sequence(s);
    err = put(s, p);
    if (err < 0)
        return err == KW_EINVAL ? err : KW_EAGAIN;
    s->tokens -= 1;
    w = &s->waiting[s->n_waiting++];
    *w = (struct smpp_waiting){p->sequence_number, cookie, now_ms};
    s->submitted++;
    return 0;
}

/* ---- what comes in ---- */

void smpp_session_answer(struct smpp_session *s, uint32_t command_id,
                         uint32_t sequence_number, uint32_t command_status)
{
    struct smpp_pdu p = {.command_id = command_id | SMPP_RESP,
                         .sequence_number = sequence_number,
                         .command_status = command_status,
                         .has_body = true};

    if (!s->ended)
        put(s, &p);
}

static void take_bind_resp(struct smpp_session *s, const struct smpp_pdu *p,
                           int64_t now_ms)
{
    struct smpp_tlv t;

    if (s->state != SMPP_OPEN)
        return;
    if (p->command_status != SMPP_ROK) {
        end(s, SMPP_END_REFUSED, p->command_status);
        return;
    }
    /* Without it the peer is of 3.3 and knows no TLVs. 4.1.2, note. */
    s->peer_tlvs = smpp_tlv_find(p, SMPP_TAG_SC_INTERFACE_VERSION, 1, &t) &&
                   smpp_tlv_number(&t) >= 0x34;
    set_state(s, SMPP_BOUND, now_ms);
    s->handler->bound(s->handler->arg);
}

/* The answer to a submit, or a generic_nack with its number. */
static void take_result(struct smpp_session *s, const struct smpp_pdu *p,
                        int64_t now_ms)
{
    struct smpp_result r = {.known = true,
                            .command_status = p->command_status,
                            .message_id = p->message_id};
    int i = 0;

    while (i < s->n_waiting &&
           s->waiting[i].sequence_number != p->sequence_number)
        i++;
    if (i == s->n_waiting) { /* a second answer, or one too late */
        s->unmatched++;
        return;
    }
    r.cookie = s->waiting[i].cookie;
    s->waiting[i] = s->waiting[--s->n_waiting];
    if (r.command_status == SMPP_ROK)
        speed_up(s);
    else if (smpp_status_waits(s->conf->statuses, r.command_status))
        slow_down(s, now_ms);
    s->handler->result(s->handler->arg, &r);
}

static void take_response(struct smpp_session *s, const struct smpp_pdu *p,
                          int64_t now_ms)
{
    switch (p->command_id & ~SMPP_RESP) {
    case SMPP_BIND_RECEIVER:
    case SMPP_BIND_TRANSMITTER:
    case SMPP_BIND_TRANSCEIVER:
        take_bind_resp(s, p, now_ms);
        break;
    case SMPP_UNBIND:
        if (s->state == SMPP_UNBINDING)
            end(s, SMPP_END_UNBOUND, 0);
        break;
    case SMPP_ENQUIRE_LINK:
        s->asked_ms = 0;
        break;
    case 0: /* generic_nack */
        if (s->state == SMPP_OPEN)
            end(s, SMPP_END_REFUSED, p->command_status);
        else
            take_result(s, p, now_ms);
        break;
    default:
        take_result(s, p, now_ms);
        break;
    }
}

static void take_request(struct smpp_session *s, const struct smpp_pdu *p)
{
    switch (p->command_id) {
    case SMPP_ENQUIRE_LINK:
        smpp_session_answer(s, p->command_id, p->sequence_number, SMPP_ROK);
        break;
    case SMPP_UNBIND:
        smpp_session_answer(s, p->command_id, p->sequence_number, SMPP_ROK);
        end(s, SMPP_END_PEER_UNBIND, 0);
        break;
    case SMPP_DELIVER_SM:
    case SMPP_DATA_SM:
        if (s->state == SMPP_BOUND)
            s->handler->message(s->handler->arg, p);
        else /* it keeps the text for later */
            smpp_session_answer(s, p->command_id, p->sequence_number,
                                s->state == SMPP_UNBINDING ? SMPP_RX_T_APPN
                                                           : SMPP_RINVBNDSTS);
        break;
    case SMPP_ALERT_NOTIFICATION: /* neither has an answer */
    case SMPP_OUTBIND:
        break;
    default: /* a request that an ESME does not serve */
        put_bare(s, SMPP_GENERIC_NACK, p->sequence_number, SMPP_RINVCMDID);
        break;
    }
}

static void take_pdu(struct smpp_session *s, const uint8_t *octets, size_t len,
                     int64_t now_ms)
{
    struct smpp_pdu p;
    int err = smpp_pdu_decode(&p, octets, len);

    if (err < 0)
        s->refused_pdus++;
    if ((p.command_id & SMPP_RESP) != 0) {
        /* An answer whose body is not as it should be is still an answer. */
        if (err != KW_ENOENT)
            take_response(s, &p, now_ms);
    } else if (err == KW_ENOENT) {
        put_bare(s, SMPP_GENERIC_NACK, p.sequence_number, SMPP_RINVCMDID);
    } else if (err == KW_EINVAL) {
        smpp_session_answer(s, p.command_id, p.sequence_number,
                            SMPP_RINVMSGLEN);
    } else {
        take_request(s, &p);
    }
}

/* Moves what is needed of the input into s->in; octets used. */
static size_t fill(struct smpp_session *s, const char *octets, size_t len)
{
    size_t need = SMPP_HEADER_OCTETS;
    int n = smpp_pdu_length((const uint8_t *)s->in.data, s->in.len);

    if (n > 0)
        need = (size_t)n;
    need = need > s->in.len ? need - s->in.len : 0;
    if (need > len)
        need = len;
    kw_buf_put(&s->in, octets, need);
    return need;
}

void smpp_session_input(struct smpp_session *s, const void *octets, size_t len,
                        int64_t now_ms)
{
    const char *p = octets;
    int n;

    s->heard_ms = now_ms;
    while (len > 0 && !s->ended) {
        size_t used = fill(s, p, len);

        p += used;
        len -= used;
        n = smpp_pdu_length((const uint8_t *)s->in.data, s->in.len);
        if (n < 0) {
            put_bare(s, SMPP_GENERIC_NACK, 0, SMPP_RINVCMDLEN);
            end(s, SMPP_END_FRAMING, 0);
        } else if (n > 0 && s->in.len == (size_t)n) {
            take_pdu(s, (const uint8_t *)s->in.data, s->in.len, now_ms);
            kw_buf_clear(&s->in);
        }
    }
}

/* ---- the clock ---- */

void smpp_session_unbind(struct smpp_session *s, int64_t now_ms)
{
    if (s->state == SMPP_OPEN) {
        end(s, SMPP_END_UNBOUND, 0);
    } else if (s->state == SMPP_BOUND) {
        set_state(s, SMPP_UNBINDING, now_ms);
        put_bare(s, SMPP_UNBIND, next_sequence(s), 0);
    }
}

static void ask_link(struct smpp_session *s, int64_t now_ms)
{
    if (s->asked_ms != 0)
        return;
    s->asked_ms = now_ms;
    put_bare(s, SMPP_ENQUIRE_LINK, next_sequence(s), 0);
}

/* Requests that have waited too long: their fate is not known. */
static void expire(struct smpp_session *s, int64_t now_ms)
{
    int64_t most = (int64_t)s->conf->response_s * 1000;

    for (int i = 0; i < s->n_waiting;) {
        struct smpp_result r = {.cookie = s->waiting[i].cookie,
                                .message_id = ""};

        if (now_ms - s->waiting[i].sent_ms < most) {
            i++;
            continue;
        }
        s->waiting[i] = s->waiting[--s->n_waiting];
        s->window_now = 1;
        s->handler->result(s->handler->arg, &r);
        ask_link(s, now_ms);
    }
}

static int64_t sooner(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

/* When the rate or a pause lets the next submit go. */
static int64_t submit_due(const struct smpp_session *s, int64_t now_ms)
{
    int64_t due = now_ms;

    if (s->rate_now > 0 && s->tokens < 1)
        due =
            s->tokens_ms + (int64_t)((1 - s->tokens) / s->rate_now * 1000) + 1;
    return due < s->pause_until_ms ? s->pause_until_ms : due;
}

int64_t smpp_session_tick(struct smpp_session *s, int64_t now_ms)
{
    int64_t response = (int64_t)s->conf->response_s * 1000;
    int64_t due = s->heard_ms + (int64_t)s->conf->enquire_link_s * 1000;

    if (s->state == SMPP_OPEN && now_ms - s->state_ms >= response)
        end(s, SMPP_END_SILENT, 0);
    else if (s->state == SMPP_UNBINDING &&
             now_ms - s->state_ms >= SMPP_UNBIND_MS)
        end(s, SMPP_END_UNBOUND, 0);
    else if (s->asked_ms != 0 && now_ms - s->asked_ms >= response)
        end(s, SMPP_END_SILENT, 0);
    if (s->ended)
        return INT64_MAX;
    if (s->state == SMPP_OPEN)
        return s->state_ms + response;
    expire(s, now_ms);
    if (s->state == SMPP_BOUND && now_ms >= due)
        ask_link(s, now_ms);
    if (now_ms >= due || s->asked_ms != 0)
        due = s->asked_ms + response;
    if (s->state == SMPP_UNBINDING)
        due = sooner(due, s->state_ms + SMPP_UNBIND_MS);
    for (int i = 0; i < s->n_waiting; i++)
        due = sooner(due, s->waiting[i].sent_ms + response);
    if (s->state == SMPP_BOUND && !smpp_session_may_submit(s, now_ms) &&
        s->n_waiting < s->window_now)
        due = sooner(due, submit_due(s, now_ms));
    return due > now_ms ? due : now_ms + 1;
}
