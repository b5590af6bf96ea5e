/*
 * smpp_link.c - the connection of one session.
 *
 *   WAITING --timer--> RESOLVING --> CONNECTING --> UP --ended--> CLOSING
 *      ^-------------------- lost, refused, 10 s ---------------------+
 *
 * A pause doubles from 1 s to 60 s (the later half by chance) and begins anew
 * after a minute of a good bind. A refusal that only a person can mend makes
 * it 5 minutes: hammering locks accounts.
 */
#include "carrier/smpp_link.h"

#include "base/clock.h"
#include "base/log.h"
#include "carrier/resolve.h"
#include "carrier/smpp_status.h"

#include <event2/buffer.h>
#include <event2/bufferevent.h>
#include <event2/bufferevent_ssl.h>
#include <event2/event.h>
#include <openssl/err.h>
#include <openssl/ssl.h>
#include <openssl/x509_vfy.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CONNECT_MS    10000
#define CLOSE_MS      1000 /* for the last octets to leave */
#define PAUSE_MS      1000
#define PAUSE_MOST_MS 60000
#define PERSON_MS     300000
#define GOOD_MS       60000

enum link_state { WAITING, RESOLVING, CONNECTING, UP, CLOSING, LEFT };

struct smpp_link {
    struct event_base *base;
    const struct config_carrier *conf;
    struct smpp_link_owner owner;
    struct smpp_session_conf session_conf;
    struct smpp_handler handler;
    struct smpp_session session;
    enum link_state state;
    bool leaving;
    bool in_input; /* nothing is closed from within the session's input */
    struct event *timer;
    struct resolve *resolve;
    struct bufferevent *bev;
    SSL_CTX *tls;
    int64_t pause_ms, bound_ms;
    unsigned tries; /* of the host's addresses in turn */
};

static int64_t now_ms(void)
{
    return clock_monotonic_us() / 1000;
}

static void set_timer(struct smpp_link *l, int64_t ms)
{
    struct timeval after = {.tv_sec = ms / 1000, .tv_usec = ms % 1000 * 1000};

    evtimer_add(l->timer, &after);
}

static void drop_connection(struct smpp_link *l)
{
    bool was_up = l->state == UP || l->state == CLOSING;

    if (l->resolve != NULL)
        resolve_cancel(l->resolve);
    l->resolve = NULL;
    if (l->bev != NULL)
        bufferevent_free(l->bev);
    l->bev = NULL;
    l->state = l->leaving ? LEFT : WAITING;
    smpp_session_lost(&l->session);
    if (was_up)
        l->owner.lost(l->owner.arg, l);
}

/* Comes back after at least that long. */
static void come_back(struct smpp_link *l, int64_t least_ms)
{
    int64_t now = now_ms(), wait;

    drop_connection(l);
    if (l->state == LEFT)
        return;
    if (l->bound_ms != 0 && now - l->bound_ms >= GOOD_MS)
        l->pause_ms = 0;
    l->bound_ms = 0;
    l->pause_ms = l->pause_ms == 0 ? PAUSE_MS : l->pause_ms * 2;
    if (l->pause_ms > PAUSE_MOST_MS)
        l->pause_ms = PAUSE_MOST_MS;
    wait = l->pause_ms > least_ms ? l->pause_ms : least_ms;
    wait = wait / 2 + arc4random_uniform((uint32_t)(wait / 2) + 1);
    set_timer(l, wait < least_ms ? least_ms : wait);
}

static void lose(struct smpp_link *l, const char *why)
{
    if (!l->leaving)
        log_warn("lost the message centre '%s': %s", l->conf->name, why);
    come_back(l, 0);
}

/* ---- the session's own events ---- */

static void on_bound(void *arg)
{
    struct smpp_link *l = arg;

    l->bound_ms = now_ms();
    log_info("bound to the message centre '%s'%s", l->conf->name,
             l->session.peer_tlvs ? "" : ", which told no version");
    l->owner.bound(l->owner.arg);
}

static void on_message(void *arg, const struct smpp_pdu *p)
{
    struct smpp_link *l = arg;

    l->owner.message(l->owner.arg, l, p);
}

static void on_result(void *arg, const struct smpp_result *r)
{
    struct smpp_link *l = arg;

    l->owner.result(l->owner.arg, r);
}

static void say_refused(struct smpp_link *l, uint32_t status)
{
    const char *name = smpp_status_name(status);

    if (smpp_status_class(l->session_conf.statuses, status) == SMPP_OPERATOR)
        log_error("refused by the message centre '%s': %s (0x%x); correct "
                  "system_id, password and system_type, or ask the company",
                  l->conf->name, name, (unsigned)status);
    else
        log_warn("refused by the message centre '%s': %s (0x%x)", l->conf->name,
                 name, (unsigned)status);
}

static void on_ended(void *arg, enum smpp_end why, uint32_t status)
{
    static const char *const words[] = {
        [SMPP_END_UNBOUND] = "unbound",
        [SMPP_END_PEER_UNBIND] = "it has unbound",
        [SMPP_END_REFUSED] = "refused",
        [SMPP_END_SILENT] = "it does not answer",
        [SMPP_END_FRAMING] = "it sends octets that are no SMPP",
        [SMPP_END_FULL] = "it does not read",
        [SMPP_END_LOST] = "lost"};
    struct smpp_link *l = arg;

    if (why == SMPP_END_REFUSED)
        say_refused(l, status);
    else if (why != SMPP_END_UNBOUND)
        log_warn("ended with the message centre '%s': %s", l->conf->name,
                 words[why]);
    if (why == SMPP_END_REFUSED &&
        smpp_status_class(l->session_conf.statuses, status) == SMPP_OPERATOR)
        l->pause_ms = PERSON_MS;
    /* "Already bound": the old session has to be forgotten there first. */
    if (status == SMPP_RALYBND && l->pause_ms < 8 * PAUSE_MS)
        l->pause_ms = 8 * PAUSE_MS;
    l->state = CLOSING; /* closed by flush, never inside a callback */
}

/* ---- the connection ---- */

static void tick(struct smpp_link *l)
{
    int64_t due;

    if (l->state != UP)
        return;
    due = smpp_session_tick(&l->session, now_ms());
    if (l->state == UP && due != INT64_MAX)
        set_timer(l, due - now_ms() > 0 ? due - now_ms() : 1);
}

void smpp_link_flush(struct smpp_link *l)
{
    struct evbuffer *out;

    if (l->bev == NULL || l->in_input ||
        (l->state != UP && l->state != CLOSING))
        return;
    out = bufferevent_get_output(l->bev);
    if (evbuffer_get_length(out) > SMPP_OUT_MOST) {
        lose(l, "it does not read");
        return;
    }
    if (l->session.out.len > 0) {
        bufferevent_write(l->bev, l->session.out.data, l->session.out.len);
        kw_buf_clear(&l->session.out);
    }
    if (l->state == CLOSING && evbuffer_get_length(out) == 0)
        come_back(l, l->pause_ms >= PERSON_MS ? PERSON_MS : 0);
    else if (l->state == UP)
        tick(l);
    if (l->state == CLOSING)
        set_timer(l, CLOSE_MS);
}

static void on_read(struct bufferevent *bev, void *arg)
{
    struct smpp_link *l = arg;
    struct evbuffer *in = bufferevent_get_input(bev);
    char octets[16384];
    int n;

    l->in_input = true;
    while (l->state == UP &&
           (n = evbuffer_remove(in, octets, sizeof(octets))) > 0)
        smpp_session_input(&l->session, octets, (size_t)n, now_ms());
    l->owner.turn(l->owner.arg, l);
    l->in_input = false;
    smpp_link_flush(l);
}

static void on_written(struct bufferevent *bev, void *arg)
{
    struct smpp_link *l = arg;

    (void)bev;
    if (l->state == CLOSING)
        smpp_link_flush(l);
}

static void on_event(struct bufferevent *bev, short what, void *arg)
{
    struct smpp_link *l = arg;
    unsigned long tls;

    if ((what & BEV_EVENT_CONNECTED) != 0) {
        l->state = UP;
        smpp_session_connected(&l->session, now_ms());
        smpp_link_flush(l);
        return;
    }
    if (l->state == CLOSING) {
        come_back(l, l->pause_ms >= PERSON_MS ? PERSON_MS : 0);
        return;
    }
    tls = l->tls != NULL ? bufferevent_get_openssl_error(bev) : 0;
    if (tls != 0)
        lose(l, ERR_reason_error_string(tls) != NULL
                    ? ERR_reason_error_string(tls)
                    : "TLS failed");
    else if ((what & BEV_EVENT_EOF) != 0)
        lose(l, "it closed the connection");
    else
        lose(l, evutil_socket_error_to_string(EVUTIL_SOCKET_ERROR()));
}

/* Its certificate is to be of this host, a name or an address. */
static void name_peer(SSL *ssl, const char *host)
{
    X509_VERIFY_PARAM *param = SSL_get0_param(ssl);

    if (X509_VERIFY_PARAM_set1_ip_asc(param, host) == 1)
        return;
    ERR_clear_error();
    SSL_set_tlsext_host_name(ssl, host);
    SSL_set1_host(ssl, host);
}

static struct bufferevent *make_bufferevent(struct smpp_link *l)
{
    SSL *ssl;

    if (l->tls == NULL)
        return bufferevent_socket_new(l->base, -1, BEV_OPT_CLOSE_ON_FREE);
    ssl = SSL_new(l->tls);
    if (ssl == NULL)
        return NULL;
    name_peer(ssl, l->conf->smpp.host);
    return bufferevent_openssl_socket_new(
        l->base, -1, ssl, BUFFEREVENT_SSL_CONNECTING, BEV_OPT_CLOSE_ON_FREE);
}

static void on_resolved(void *arg, const struct resolve_answer *a)
{
    struct smpp_link *l = arg;

    l->resolve = NULL;
    if (a->len == 0) {
        lose(l, a->why);
        return;
    }
    l->bev = make_bufferevent(l);
    if (l->bev == NULL) {
        lose(l, "no connection could be made");
        return;
    }
    l->state = CONNECTING;
    bufferevent_setcb(l->bev, on_read, on_written, on_event, l);
    bufferevent_enable(l->bev, EV_READ | EV_WRITE);
    set_timer(l, CONNECT_MS);
    bufferevent_socket_connect(l->bev, (const struct sockaddr *)&a->address,
                               (int)a->len);
}

static void on_timer(evutil_socket_t fd, short what, void *arg)
{
    struct smpp_link *l = arg;
    struct resolve_ask ask;

    (void)fd, (void)what;
    switch (l->state) {
    case WAITING:
        l->state = RESOLVING;
        ask = (struct resolve_ask){l->conf->smpp.host, l->conf->smpp.port,
                                   l->tries++};
        l->resolve = resolve_start(l->base, &ask, on_resolved, l);
        break;
    case RESOLVING:
    case CONNECTING:
        lose(l, "no connection in time");
        break;
    case UP:
        tick(l);
        l->owner.turn(l->owner.arg, l);
        smpp_link_flush(l);
        break;
    case CLOSING:
        come_back(l, l->pause_ms >= PERSON_MS ? PERSON_MS : 0);
        break;
    default:
        break;
    }
}

/* ---- opening and closing ---- */

static int open_tls(struct smpp_link *l, char **why)
{
    const char *ca = l->conf->smpp.tls_ca;
    char text[400];
    int ok;

    l->tls = SSL_CTX_new(TLS_client_method());
    if (l->tls == NULL) {
        *why = kw_strdup("TLS cannot be set up");
        return KW_EIO;
    }
    SSL_CTX_set_min_proto_version(l->tls, TLS1_2_VERSION);
    SSL_CTX_set_verify(l->tls, SSL_VERIFY_PEER, NULL);
    ok = ca != NULL ? SSL_CTX_load_verify_file(l->tls, ca)
                    : SSL_CTX_set_default_verify_paths(l->tls);
    if (ok == 1)
        return 0;
    snprintf(text, sizeof(text),
             "carrier '%.64s': the certificates in '%.200s' cannot be read",
             l->conf->name, ca != NULL ? ca : "the system's store");
    *why = kw_strdup(text);
    return KW_EIO;
}

int smpp_link_open(struct event_base *base, const struct config_carrier *conf,
                   uint32_t bind_command, const struct smpp_statuses *statuses,
                   const struct smpp_link_owner *owner, struct smpp_link **out,
                   char **why)
{
    const struct config_smpp *c = &conf->smpp;
    struct smpp_link *l = kw_calloc(1, sizeof(*l));

    l->base = base;
    l->conf = conf;
    l->owner = *owner;
    l->session_conf =
        (struct smpp_session_conf){.bind_command = bind_command,
                                   .system_id = c->system_id,
                                   .password = c->password,
                                   .system_type = c->system_type,
                                   .address_range = c->address_range,
                                   .interface_version = 0x34,
                                   .window = c->window,
                                   .rate = c->per_second,
                                   .enquire_link_s = c->enquire_link_s,
                                   .response_s = c->response_s,
                                   .statuses = statuses};
    l->handler = (struct smpp_handler){.bound = on_bound,
                                       .message = on_message,
                                       .result = on_result,
                                       .ended = on_ended,
                                       .arg = l};
    smpp_session_init(&l->session, &l->session_conf, &l->handler);
    l->timer = evtimer_new(base, on_timer, l);
    if (c->tls && open_tls(l, why) < 0) {
        smpp_link_close(l);
        return KW_EIO;
    }
    set_timer(l, 0);
    *out = l;
    return 0;
}

void smpp_link_close(struct smpp_link *l)
{
    if (l == NULL)
        return;
    l->leaving = true;
    drop_connection(l);
    event_free(l->timer);
    if (l->tls != NULL)
        SSL_CTX_free(l->tls);
    smpp_session_release(&l->session);
    kw_free(l);
}

void smpp_link_leave(struct smpp_link *l)
{
    if (l->leaving)
        return;
    l->leaving = true;
    if (l->state == UP) {
        smpp_session_unbind(&l->session, now_ms());
        smpp_link_flush(l);
    } else if (l->state != CLOSING) {
        drop_connection(l);
        evtimer_del(l->timer);
    }
}

bool smpp_link_left(const struct smpp_link *l)
{
    return l->state == LEFT;
}

struct smpp_session *smpp_link_session(struct smpp_link *l)
{
    return &l->session;
}
