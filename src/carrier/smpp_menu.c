/*
 * smpp_menu.c - menus over ussd_service_op. Source: SMPP v3.4, 5.3.2.43
 * (its_session_info) and .44 (ussd_service_op).
 *
 *   centre: deliver_sm, op 1 (dialled) or 18 (pressed)
 *     TAKING --commit: deliver_sm_resp--> WAITING --submit_sm--> FLYING
 *                      op 2 (asks) or 17 (the last words)           v
 *                                              answer: the caller sees it
 *
 * A press is in the ledger before it is answered, and the desk goes on where
 * it stood whatever becomes of a screen. A last screen that could not be shown
 * goes as a text. Where the centre names no session, the caller is it.
 */
#include "carrier/smpp_parts.h"

#include "base/clock.h"
#include "base/log.h"
#include "carrier/smpp_status.h"

#include <stdio.h>
#include <string.h>

#define CALLS_MOST  512
#define NAME_CAP    65    /* of a session, in the ledger */
#define SESSION_CAP 16    /* octets of its name at the centre */
#define INPUT_MOST  400   /* octets of what was pressed */
#define STALE_MS    20000 /* nobody looks at a screen that is later */

/* What the centre says of the session a message belongs to. */
struct which {
    uint8_t name[SESSION_CAP];
    uint8_t len; /* 0: it names none */
    int seq;     /* of the dialogue unit; -1 not told */
    bool end;
};

struct call { /* a session under way */
    bool used;
    char from[SMPP_ADDR_CAP + 1], name[NAME_CAP];
    struct which which; /* of its latest press */
    int64_t at_ms;
    unsigned presses, screens; /* screens: those that the centre took */
    unsigned screens_then;     /* when the latest press came */
    bool counts;               /* the centre numbers the presses */
};

enum press_state { TAKING, WAITING, FLYING };

struct press { /* one message and the screen that answers it */
    struct carrier_taking t;
    struct smpp_menu *menu;
    struct menu_press step;
    void *held; /* of smpp_in, until it is kept */
    enum press_state state;
    int64_t number, came_ms;
    struct smpp_address caller, service;
    struct which which;
    char service_type[6];
    char from[SMPP_ADDR_CAP + 1], name[NAME_CAP], id[40];
    char *input;
    struct press *next;
};

struct smpp_menu {
    struct carrier_host *host;
    const struct config_carrier *conf;
    struct smpp_in *in;
    const struct smpp_statuses *statuses;
    enum smpp_coding coding;
    void (*pump)(void *arg);
    void *arg;
    struct press *presses; /* the oldest first */
    int64_t number;
    struct call calls[CALLS_MOST];
};

static int64_t now_ms(void)
{
    return clock_monotonic_us() / 1000;
}

bool smpp_is_menu(const struct config_smpp *conf, const struct smpp_pdu *p)
{
    struct smpp_tlv op;

    return smpp_tlv_find(p, SMPP_TAG_USSD_SERVICE_OP, 1, &op) ||
           (conf->ussd_service_type[0] != '\0' &&
            strcmp(p->service_type, conf->ussd_service_type) == 0);
}

struct smpp_menu *smpp_menu_new(struct carrier_host *h,
                                const struct config_carrier *conf,
                                struct smpp_in *in,
                                const struct smpp_menu_owner *owner)
{
    struct smpp_menu *m = kw_calloc(1, sizeof(*m));

    m->host = h;
    m->conf = conf;
    m->in = in;
    m->coding = smpp_coding_named(conf->smpp.alphabet);
    m->statuses = owner->statuses;
    m->pump = owner->pump;
    m->arg = owner->arg;
    return m;
}

static void free_press(struct press *k)
{
    struct press **p = &k->menu->presses;

    while (*p != k)
        p = &(*p)->next;
    *p = k->next;
    kw_free(k->input);
    kw_free(k);
}

bool smpp_menu_idle(const struct smpp_menu *m)
{
    return m->presses == NULL;
}

/* ---- sessions ---- */

static struct which read_which(const struct smpp_menu *m,
                               const struct smpp_pdu *p)
{
    int tag = m->conf->smpp.ussd_session_tag;
    struct which w = {.seq = -1};
    struct smpp_tlv t;

    if (!smpp_tlv_find(p, (uint16_t)tag, 1, &t))
        return w;
    w.len = (uint8_t)(t.length < SESSION_CAP ? t.length : SESSION_CAP);
    if (tag == SMPP_TAG_ITS_SESSION_INFO && t.length >= 2) {
        w.seq = t.value[1] >> 1;
        w.end = (t.value[1] & 1) != 0;
        w.len = 1;
    }
    memcpy(w.name, t.value, w.len);
    return w;
}

static struct call *find_call(struct smpp_menu *m, const char *from,
                              const struct which *w)
{
    for (size_t i = 0; i < CALLS_MOST; i++) {
        struct call *c = &m->calls[i];

        if (c->used && strcmp(c->from, from) == 0 && c->which.len == w->len &&
            memcmp(c->which.name, w->name, w->len) == 0)
            return c;
    }
    return NULL;
}

/* A free place, or that of the call nobody heard of longest. */
static struct call *new_call(struct smpp_menu *m, const char *from,
                             const struct which *w)
{
    struct call *c = find_call(m, from, w);

    for (size_t i = 0; c == NULL && i < CALLS_MOST; i++) {
        if (!m->calls[i].used)
            c = &m->calls[i];
    }
    if (c == NULL)
        c = &m->calls[0];
    for (size_t i = 0; c->used && i < CALLS_MOST; i++) {
        if (strcmp(c->from, from) != 0 && m->calls[i].at_ms < c->at_ms)
            c = &m->calls[i];
    }
    *c = (struct call){.used = true, .which = *w};
    snprintf(c->from, sizeof(c->from), "%s", from);
    snprintf(c->name, sizeof(c->name), "ussd-%lld-%lld-%.24s",
             (long long)clock_now_ms(), (long long)m->number, from);
    return c;
}

/*
 * Is it the latest press once more? Where the centre numbers the presses,
 * by the number; else it can only be while its screen is not there yet.
 */
static bool is_repeat(struct call *c, const struct which *w)
{
    bool same = w->seq == c->which.seq;

    c->counts |= !same;
    return same && (c->counts || c->screens == c->screens_then);
}

/* A step's own name: what the centre numbers is the same after a restart. */
static void name_step(const struct call *c, const struct which *w, char dst[40])
{
    if (w->seq > 0 || (w->seq == 0 && c->counts))
        snprintf(dst, 40, "q%u.%d", w->name[0], w->seq);
    else
        snprintf(dst, 40, "%u.%.30s", c->presses, c->name + strlen("ussd-"));
}

static void begin_or_go_on(struct smpp_menu *m, struct press *k, bool dialled)
{
    struct call *c = find_call(m, k->from, &k->which);
    /* Dialled, and no screen came of it: the centre says it again. */
    bool again = dialled && c != NULL && c->presses == 0 && c->screens == 0;

    k->step.answers = !dialled;
    if (c == NULL || (dialled && !again))
        c = new_call(m, k->from, &k->which);
    if (!dialled && !is_repeat(c, &k->which)) {
        c->presses++;
        c->screens_then = c->screens;
    }
    c->which = k->which;
    c->at_ms = now_ms();
    name_step(c, &k->which, k->id);
    snprintf(k->name, sizeof(k->name), "%s", c->name);
}

static void end_call(struct press *k)
{
    struct call *c = find_call(k->menu, k->from, &k->which);

    if (c != NULL && strcmp(c->name, k->name) == 0)
        c->used = false;
}

/* ---- through the writer ---- */

/* The caller does not see it. An answer that was to be seen goes as a text. */
static void not_shown(struct press *k, enum ledger_send state, const char *why)
{
    struct carrier_host *h = k->menu->host;

    log_info("a screen of a menu by '%s' was not shown: %s",
             k->menu->conf->name, why);
    if (k->t.shown.outbox_id != 0)
        h->settle(h, k->t.shown.outbox_id, state, 0, why);
    if (k->t.shown.over)
        end_call(k);
    free_press(k);
}

static void on_taken(struct carrier_taking *t, int err)
{
    struct press *k = t->carrier;
    struct smpp_menu *m = k->menu;

    smpp_in_kept(k->held, err);
    k->held = NULL;
    if (err < 0) {
        if (err == KW_ENOENT)
            log_warn("a menu is asked for by '%s', but the grammar folder has "
                     "none",
                     m->conf->name);
        free_press(k);
        return;
    }
    if (k->which.end) {
        end_call(k);
        free_press(k);
        return;
    }
    k->state = WAITING;
    m->pump(m->arg);
}

static struct press *new_press(struct smpp_menu *m, const struct smpp_pdu *p,
                               void *held)
{
    struct press *k = kw_calloc(1, sizeof(*k)), **last = &m->presses;
    const char *type = p->service_type[0] != '\0'
                           ? p->service_type
                           : m->conf->smpp.ussd_service_type;

    while (*last != NULL)
        last = &(*last)->next;
    *last = k;
    k->menu = m;
    k->held = held;
    k->number = ++m->number;
    k->came_ms = now_ms();
    k->caller = p->source;
    k->service = p->dest;
    k->which = read_which(m, p);
    kw_copy(k->service_type, sizeof(k->service_type), type, strlen(type));
    smpp_in_address(&p->source, k->from, "");
    return k;
}

/* What was pressed, without the blanks and returns that some add. */
static char *read_input(const struct smpp_menu *m, const struct smpp_pdu *p)
{
    struct kw_buf text;
    struct udh h;
    const char *s;
    char *input;
    size_t n;

    kw_buf_init(&text, INPUT_MOST);
    smpp_text_decode(m->coding, p, &h, &text);
    s = kw_buf_text(&text);
    s += strspn(s, " \r\n\t");
    n = strlen(s);
    while (n > 0 && strchr(" \r\n\t", s[n - 1]) != NULL)
        n--;
    input = kw_strndup(s, n);
    kw_buf_release(&text);
    return input;
}

/* The operation of a message; one without any is told by what went before. */
static int operation(struct smpp_menu *m, const struct smpp_pdu *p)
{
    char from[SMPP_ADDR_CAP + 1];
    struct which w = read_which(m, p);
    struct smpp_tlv op;

    if (smpp_tlv_find(p, SMPP_TAG_USSD_SERVICE_OP, 1, &op))
        return op.value[0];
    smpp_in_address(&p->source, from, "");
    return find_call(m, from, &w) != NULL ? SMPP_USSD_USSR_CONFIRM
                                          : SMPP_USSD_PSSR_INDICATION;
}

void smpp_menu_message(struct smpp_menu *m, struct smpp_link *l,
                       const struct smpp_pdu *p)
{
    int op = operation(m, p);
    bool dialled =
        op == SMPP_USSD_PSSR_INDICATION || op == SMPP_USSD_PSSD_INDICATION;
    void *held = smpp_in_hold(m->in, l, p);
    struct press *k;

    if (held == NULL)
        return;
    if (!dialled && op != SMPP_USSD_USSR_CONFIRM && !read_which(m, p).end) {
        smpp_in_kept(held, 0); /* nothing is asked of us */
        return;
    }
    k = new_press(m, p, held);
    k->input = read_input(m, p);
    begin_or_go_on(m, k, dialled);
    k->step.carrier = m->conf->name;
    k->step.session = k->name;
    k->step.step = k->id;
    k->step.from = k->from;
    k->step.input = dialled ? "" : k->input;
    k->step.gone = k->which.end && (dialled || k->input[0] == '\0');
    k->step.unseen = k->which.end;
    k->step.at_s = clock_now_s();
    k->t.press = &k->step;
    k->t.text.carrier = m->conf->name;
    k->t.text.text = k->input;
    k->t.taken = on_taken;
    k->t.carrier = k;
    if (m->host->take(m->host, &k->t) < 0)
        on_taken(&k->t, KW_EFULL);
}

/* ---- screens ---- */

/* The session as the centre named it, the screen's own number, the end. */
static void put_which(const struct smpp_menu *m, const struct press *k,
                      unsigned screens, struct kw_buf *tlvs)
{
    uint16_t tag = (uint16_t)m->conf->smpp.ussd_session_tag;
    uint8_t info[2] = {k->which.name[0],
                       (uint8_t)(((screens + 1) & 0x7f) << 1)};

    if (k->which.len == 0)
        return;
    if (k->which.seq < 0) {
        smpp_tlv_put(tlvs, tag, k->which.name, k->which.len);
        return;
    }
    info[1] |= k->t.shown.over;
    smpp_tlv_put(tlvs, tag, info, sizeof(info));
}

static int submit(struct smpp_menu *m, struct press *k, struct smpp_session *s)
{
    const struct call *c = find_call(m, k->from, &k->which);
    const char *body = k->t.shown.body;
    struct smpp_part part;
    struct kw_buf tlvs;
    struct smpp_pdu p;
    int err = smpp_text_screen(m->coding, body, strlen(body), &part);

    if (err < 0)
        return err;
    kw_buf_init(&tlvs, 64);
    smpp_tlv_put_number(
        &tlvs, SMPP_TAG_USSD_SERVICE_OP,
        k->t.shown.over ? SMPP_USSD_PSSR_RESPONSE : SMPP_USSD_USSR_REQUEST, 1);
    put_which(m, k, c != NULL ? c->screens : 0, &tlvs);
    p = (struct smpp_pdu){.source = k->service,
                          .dest = k->caller,
                          .data_coding = part.data_coding,
                          .sm_length = part.sm_length,
                          .short_message = part.short_message,
                          .tlvs = (const uint8_t *)tlvs.data,
                          .tlvs_len = tlvs.len};
    memcpy(p.service_type, k->service_type, sizeof(p.service_type));
    err = smpp_session_submit(s, &p, -k->number, now_ms());
    kw_buf_release(&tlvs);
    return err;
}

void smpp_menu_pump(struct smpp_menu *m, struct smpp_session *s)
{
    struct press *k, *next;

    for (k = m->presses; k != NULL; k = next) {
        int err;

        next = k->next;
        if (k->state != WAITING)
            continue;
        if (s->state != SMPP_BOUND) { /* what it answers is over by then */
            not_shown(k, LEDGER_WAITING, "the connection was lost");
            continue;
        }
        if (now_ms() - k->came_ms > STALE_MS) {
            not_shown(k, LEDGER_WAITING, "the message centre was too slow");
            continue;
        }
        err = submit(m, k, s);
        if (err == KW_EAGAIN)
            return;
        if (err < 0)
            not_shown(k, LEDGER_WAITING, "it does not fit");
        else
            k->state = FLYING;
    }
}

void smpp_menu_result(struct smpp_menu *m, const struct smpp_result *r)
{
    struct press *k = m->presses;
    struct call *c;

    while (k != NULL && (k->state != FLYING || k->number != -r->cookie))
        k = k->next;
    if (k == NULL)
        return;
    if (!r->known) {
        not_shown(k, LEDGER_PERHAPS, "no answer came");
    } else if (r->command_status == SMPP_ROK) {
        c = find_call(m, k->from, &k->which);
        if (c != NULL)
            c->screens++;
        if (k->t.shown.over)
            end_call(k);
        free_press(k);
    } else if (smpp_status_waits(m->statuses, r->command_status)) {
        k->state = WAITING; /* the session waits a moment */
    } else {
        not_shown(k, LEDGER_WAITING, smpp_status_name(r->command_status));
    }
}

void smpp_menu_free(struct smpp_menu *m)
{
    while (m->presses != NULL) {
        if (m->presses->state == TAKING)
            free_press(m->presses);
        else
            not_shown(m->presses, LEDGER_WAITING, "the service ended");
    }
    kw_free(m);
}
