/*
 * http_in.c - the one HTTP listener. libmicrohttpd runs in our own loop: its
 * epoll descriptor is watched, and a timer follows MHD_get_timeout(), since
 * that epoll is edge-triggered and what is left over is told by the timeout
 * alone. (Its own epoll thread stalls when 128 connections are ready.)
 *
 * A connection that has not brought a whole request within REQUEST_MOST_S is
 * shut, however slowly its octets drip; MHD's own timeout is for silence.
 */
#include "carrier/http_in_parts.h"
#include "carrier/listen.h"

#include "base/clock.h"
#include "base/log.h"

#include <assert.h>
#include <errno.h>
#include <event2/event.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define SILENCE_MOST_S    30
#define REQUEST_MOST_S    60
#define SWEEP_S           5
#define CONNECTION_OCTETS 16384 /* request line, headers, a piece of body */
#define REFUSAL_EVERY_US  1000000
#define PASS_BY_MOST      (4 << 20) /* octets of a body not wanted */

struct visitor { /* a connection */
    struct visitor *next, *prev;
    MHD_socket fd;
    int64_t since_us; /* connected, or its last request was over */
    bool taking;
};

struct http_in {
    struct carrier_host *host;
    struct MHD_Daemon *daemon;
    struct event *readable, *timer, *sweep, *callers;
    int listener; /* -1 once quiet */
    int n_visitors, visitors_most;
    struct http_route routes[3 * CONFIG_CARRIERS_MOST];
    size_t n_routes;
    struct visitor visitors; /* ring */
    int port, busy;
    bool quiet;
    int64_t refusal_us;
    int refusals; /* not logged one by one */
};

struct carrier_host *http_in_host(struct http_in *in)
{
    return in->host;
}

bool http_in_quiet(const struct http_in *in)
{
    return in->quiet;
}

int http_in_port(const struct http_in *in)
{
    return in->port;
}

int http_in_busy(const struct http_in *in)
{
    return in->busy;
}

void http_in_note_refusal(struct http_in *in, const struct http_route *route,
                          const char *what)
{
    int64_t now_us = clock_monotonic_us();

    in->refusals++;
    if (in->refusal_us != 0 && now_us - in->refusal_us < REFUSAL_EVERY_US)
        return;
    log_warn("refused %d request(s), the last on '%s': %.*s", in->refusals,
             route->conf->name, (int)strcspn(what, "\n"), what);
    in->refusals = 0;
    in->refusal_us = now_us;
}

/* ---- answers ---- */

enum MHD_Result http_answer_queue(struct http_in *in,
                                  struct MHD_Connection *connection,
                                  const struct http_answer *a)
{
    size_t len = a->body == NULL ? 0 : a->len > 0 ? a->len : strlen(a->body);
    struct MHD_Response *response = MHD_create_response_from_buffer(
        len, (void *)(a->body != NULL ? a->body : ""), MHD_RESPMEM_MUST_COPY);
    enum MHD_Result done;

    if (response == NULL)
        return MHD_NO;
    if (len > 0)
        MHD_add_response_header(response, MHD_HTTP_HEADER_CONTENT_TYPE,
                                a->type != NULL ? a->type
                                                : "text/plain; charset=utf-8");
    MHD_add_response_header(response, MHD_HTTP_HEADER_CACHE_CONTROL,
                            "no-store");
    if (a->header != NULL)
        MHD_add_response_header(response, a->header, a->value);
    if (a->close || in->quiet)
        MHD_add_response_header(response, MHD_HTTP_HEADER_CONNECTION, "close");
    done = MHD_queue_response(connection, a->status, response);
    MHD_destroy_response(response);
    return done;
}

/* ---- requests, as MHD brings them ---- */

static struct http_route *find_route(struct http_in *in, const char *url)
{
    for (size_t i = 0; i < in->n_routes; i++) {
        if (strcmp(in->routes[i].path, url) == 0)
            return &in->routes[i];
    }
    return NULL;
}

struct framing {
    int hosts, lengths, codings;
};

static enum MHD_Result count_header(void *arg, enum MHD_ValueKind kind,
                                    const char *name, const char *value)
{
    struct framing *f = arg;

    (void)kind, (void)value;
    if (strcasecmp(name, MHD_HTTP_HEADER_HOST) == 0)
        f->hosts++;
    else if (strcasecmp(name, MHD_HTTP_HEADER_CONTENT_LENGTH) == 0)
        f->lengths++;
    else if (strcasecmp(name, MHD_HTTP_HEADER_TRANSFER_ENCODING) == 0)
        f->codings++;
    return MHD_YES;
}

/* Two ways to find the end of a request: somebody may find the other one. */
static bool framed_twice(struct MHD_Connection *connection)
{
    struct framing f = {0};

    MHD_get_connection_values(connection, MHD_HEADER_KIND, count_header, &f);
    return f.hosts > 1 || f.lengths + f.codings > 1;
}

static bool is_get(const char *method)
{
    return strcmp(method, MHD_HTTP_METHOD_GET) == 0 ||
           strcmp(method, MHD_HTTP_METHOD_HEAD) == 0;
}

/* "/alive", an unknown path, the wrong method. */
static struct http_answer answer_elsewhere(const char *url, const char *method)
{
    struct http_answer a = {.status = MHD_HTTP_OK, .body = "alive\n"};

    if (strcmp(url, "/alive") != 0) {
        a.status = MHD_HTTP_NOT_FOUND;
        a.body = "there is nothing here\n";
    } else if (!is_get(method)) {
        a.status = MHD_HTTP_METHOD_NOT_ALLOWED;
        a.body = "only GET and HEAD here\n";
        a.header = MHD_HTTP_HEADER_ALLOW;
        a.value = "GET, HEAD";
    }
    return a;
}

static void look_at_headers(struct http_request *r, const char *url,
                            const char *method)
{
    if (framed_twice(r->connection)) {
        r->refusal = (struct http_answer){
            .status = MHD_HTTP_BAD_REQUEST,
            .close = true,
            .body = "two Host, Content-Length or Transfer-Encoding headers; "
                    "send one length and one host\n"};
        return;
    }
    r->route = find_route(r->in, url);
    if (r->route == NULL)
        r->refusal = answer_elsewhere(url, method);
    else if (strcmp(method, MHD_HTTP_METHOD_POST) != 0)
        r->refusal = (struct http_answer){.status = MHD_HTTP_METHOD_NOT_ALLOWED,
                                          .body = "only POST here\n",
                                          .header = MHD_HTTP_HEADER_ALLOW,
                                          .value = MHD_HTTP_METHOD_POST};
    else
        http_take_begin(r);
}

/* Whether the body that is announced may pass by before the answer. */
static bool may_pass_by(struct http_request *r)
{
    const char *expect = MHD_lookup_connection_value(
        r->connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_EXPECT);

    return !r->refusal.close && expect == NULL &&
           http_announced(r->connection) <= PASS_BY_MOST;
}

static enum MHD_Result begin_request(struct http_request *r, const char *url,
                                     const char *method)
{
    look_at_headers(r, url, method);
    if (r->refusal.status == 0)
        return MHD_YES;
    r->state = HTTP_PASSING;
    if (may_pass_by(r))
        return MHD_YES;
    r->state = HTTP_ANSWERED;
    return http_answer_queue(r->in, r->connection, &r->refusal);
}

/* A piece of the body. */
static enum MHD_Result take_octets(struct http_request *r, const char *data,
                                   size_t *data_len)
{
    if (r->state != HTTP_READING || r->body.cap - r->body.len < *data_len) {
        /* Not wanted; or it came in chunks, with no length to refuse. */
        r->passed_by += *data_len;
        if (r->passed_by > PASS_BY_MOST)
            return MHD_NO;
        kw_buf_release(&r->body);
    } else {
        kw_buf_put(&r->body, data, *data_len);
    }
    *data_len = 0;
    return MHD_YES;
}

static enum MHD_Result on_request(void *arg, struct MHD_Connection *connection,
                                  const char *url, const char *method,
                                  const char *version, const char *data,
                                  size_t *data_len, void **con_cls)
{
    struct http_in *in = arg;
    struct http_request *r = *con_cls;

    (void)version;
    if (r == NULL) {
        r = kw_calloc(1, sizeof(*r));
        r->in = in;
        r->connection = connection;
        *con_cls = r;
        in->busy++;
        return begin_request(r, url, method);
    }
    if (r->state == HTTP_TAKEN)
        return http_take_answer(r);
    if (*data_len > 0)
        return take_octets(r, data, data_len);
    if (r->state == HTTP_PASSING) {
        r->state = HTTP_ANSWERED;
        return http_answer_queue(in, connection, &r->refusal);
    }
    return r->state == HTTP_READING ? http_take_body(r) : MHD_YES;
}

static struct visitor *visitor_of(struct MHD_Connection *connection)
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT);

    return info != NULL ? info->socket_context : NULL;
}

static void on_over(void *arg, struct MHD_Connection *connection,
                    void **con_cls, enum MHD_RequestTerminationCode how)
{
    struct http_in *in = arg;
    struct http_request *r = *con_cls;
    struct visitor *v = visitor_of(connection);

    if (v != NULL)
        v->since_us = clock_monotonic_us();
    if (r == NULL)
        return;
    assert(r->state != HTTP_TAKING);
    http_take_over(r, how == MHD_REQUEST_TERMINATED_COMPLETED_OK);
    *con_cls = NULL;
    in->busy--;
}

static void on_visitor(void *arg, struct MHD_Connection *connection,
                       void **context, enum MHD_ConnectionNotificationCode what)
{
    struct http_in *in = arg;
    struct visitor *v = *context;

    if (what == MHD_CONNECTION_NOTIFY_STARTED) {
        v = kw_calloc(1, sizeof(*v));
        v->fd = MHD_get_connection_info(connection,
                                        MHD_CONNECTION_INFO_CONNECTION_FD)
                    ->connect_fd;
        v->since_us = clock_monotonic_us();
        v->next = in->visitors.next;
        v->prev = &in->visitors;
        v->next->prev = v->prev->next = v;
        *context = v;
    } else if (v != NULL) {
        v->prev->next = v->next;
        v->next->prev = v->prev;
        *context = NULL;
        kw_free(v);
        in->n_visitors--;
        if (in->callers != NULL)
            event_add(in->callers, NULL); /* there is room again */
    }
}

/* ---- the loop ---- */

static void run_daemon(struct http_in *in)
{
    MHD_UNSIGNED_LONG_LONG ms;

    MHD_run(in->daemon);
    if (MHD_get_timeout(in->daemon, &ms) == MHD_YES) {
        struct timeval after = {.tv_sec = (time_t)(ms / 1000),
                                .tv_usec = (suseconds_t)(ms % 1000) * 1000};

        evtimer_add(in->timer, &after);
    } else {
        evtimer_del(in->timer);
    }
}

static void on_ready(evutil_socket_t fd, short what, void *arg)
{
    (void)fd, (void)what;
    run_daemon(arg);
}

/*
 * We accept ourselves: at its limit libmicrohttpd would accept and close,
 * where callers can just as well wait in the kernel's queue.
 */
static void on_caller(evutil_socket_t fd, short what, void *arg)
{
    struct http_in *in = arg;

    (void)what;
    while (in->n_visitors < in->visitors_most) {
        struct sockaddr_storage from = {0};
        socklen_t len = sizeof(from);
        int s = accept4(fd, (struct sockaddr *)&from, &len,
                        SOCK_NONBLOCK | SOCK_CLOEXEC);

        if (s < 0 && (errno == EINTR || errno == ECONNABORTED))
            continue;
        if (s < 0)
            break;
        in->n_visitors++;
        if (MHD_add_connection(in->daemon, s, (struct sockaddr *)&from, len) !=
            MHD_YES)
            in->n_visitors--;
    }
    if (in->n_visitors >= in->visitors_most || errno == EMFILE ||
        errno == ENFILE)
        event_del(in->callers); /* until one leaves, or the next sweep */
    run_daemon(in);
}

static void on_sweep(evutil_socket_t fd, short what, void *arg)
{
    struct http_in *in = arg;
    int64_t now_us = clock_monotonic_us();

    (void)fd, (void)what;
    for (struct visitor *v = in->visitors.next; v != &in->visitors;
         v = v->next) {
        if (!v->taking && now_us - v->since_us > REQUEST_MOST_S * 1000000LL)
            shutdown(v->fd, SHUT_RDWR);
    }
    if (in->callers != NULL && in->n_visitors < in->visitors_most)
        event_add(in->callers, NULL);
}

void http_in_suspend(struct http_request *r)
{
    struct visitor *v = visitor_of(r->connection);

    r->state = HTTP_TAKING;
    if (v != NULL)
        v->taking = true;
    MHD_suspend_connection(r->connection);
}

void http_in_resume(struct http_request *r)
{
    struct visitor *v = visitor_of(r->connection);

    r->state = HTTP_TAKEN;
    if (v != NULL)
        v->taking = false;
    MHD_resume_connection(r->connection);
    /* One run for all that this commit resumes. */
    event_active(r->in->timer, EV_TIMEOUT, 0);
}

/* ---- opening and closing ---- */

/* A secret that no request could bring would let everybody in, or nobody. */
static const char *route_wrong(const struct config_http_in *in)
{
    if (in->secret != NULL && in->field_secret == NULL &&
        in->header_secret == NULL)
        return "has a secret, but neither a field nor a header for it";
    if (in->hmac_key != NULL && in->header_signature == NULL)
        return "has a signature key, but no header for the signature";
    if (in->body_most <= 0)
        return "allows no octets in a body";
    if (in->field_from == NULL || in->field_text == NULL)
        return "has no field names for number and text";
    return NULL;
}

static void add_route(struct http_in *in, const struct config_carrier *c,
                      enum http_kind kind, const char *path)
{
    struct http_route *route = &in->routes[in->n_routes];

    if (path == NULL || path[0] == '\0')
        return;
    *route = (struct http_route){.conf = c, .kind = kind, .path = path};
    if (c->in.per_minute > 0 && kind == HTTP_TEXTS)
        route->rate = rate_new(c->in.per_minute);
    in->n_routes++;
}

static int add_routes(struct http_in *in, char **why)
{
    const struct config *conf = in->host->conf;

    for (size_t i = 0; i < conf->n_carriers; i++) {
        const struct config_carrier *c = &conf->carriers[i];
        size_t before = in->n_routes;

        if (c->kind != CONFIG_HTTP)
            continue;
        add_route(in, c, HTTP_TEXTS, c->in.path);
        add_route(in, c, HTTP_MENU, c->menu.path);
        add_route(in, c, HTTP_RECEIPTS, c->receipts.path);
        if (in->n_routes == before)
            continue;
        if (route_wrong(&c->in) != NULL) {
            char text[256];

            snprintf(text, sizeof(text), "carrier '%.64s' %s", c->name,
                     route_wrong(&c->in));
            *why = kw_strdup(text);
            return KW_EIO;
        }
        if (c->in.secret == NULL && c->in.hmac_key == NULL &&
            !http_host_loopback(conf->listen_address))
            log_warn("anyone who reaches '%s' can hand texts to carrier '%s': "
                     "set a secret or a signature key for it",
                     conf->listen_address, c->name);
    }
    return 0;
}

static void on_mhd_log(void *arg, const char *fmt, va_list ap)
{
    char line[256];

    (void)arg;
    vsnprintf(line, sizeof(line), fmt, ap);
    line[strcspn(line, "\r\n")] = '\0';
    log_debug("http: %s", line);
}

static int start_daemon(struct http_in *in)
{
    in->daemon = MHD_start_daemon(
        MHD_USE_EPOLL | MHD_ALLOW_SUSPEND_RESUME | MHD_USE_ERROR_LOG |
            MHD_USE_NO_LISTEN_SOCKET,
        0, NULL, NULL, on_request, in, MHD_OPTION_EXTERNAL_LOGGER, on_mhd_log,
        NULL, MHD_OPTION_CONNECTION_LIMIT, (unsigned)in->visitors_most + 1,
        MHD_OPTION_CONNECTION_TIMEOUT, (unsigned)SILENCE_MOST_S,
        MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)CONNECTION_OCTETS,
        MHD_OPTION_STRICT_FOR_CLIENT, 1, MHD_OPTION_NOTIFY_COMPLETED, on_over,
        in, MHD_OPTION_NOTIFY_CONNECTION, on_visitor, in, MHD_OPTION_END);
    return in->daemon != NULL ? 0 : KW_EIO;
}

static void watch_daemon(struct http_in *in)
{
    const union MHD_DaemonInfo *info =
        MHD_get_daemon_info(in->daemon, MHD_DAEMON_INFO_EPOLL_FD);
    struct timeval every = {.tv_sec = SWEEP_S};
    struct event_base *base = in->host->base;

    in->readable =
        event_new(base, info->epoll_fd, EV_READ | EV_PERSIST, on_ready, in);
    in->timer = evtimer_new(base, on_ready, in);
    in->callers =
        event_new(base, in->listener, EV_READ | EV_PERSIST, on_caller, in);
    event_add(in->callers, NULL);
    in->sweep = event_new(base, -1, EV_PERSIST, on_sweep, in);
    event_add(in->readable, NULL);
    evtimer_add(in->sweep, &every);
    event_active(in->timer, EV_TIMEOUT, 0); /* once the loop runs */
}

int http_in_open(struct carrier_host *h, struct http_in **out, char **why)
{
    struct http_in *in = kw_calloc(1, sizeof(*in));
    int err;

    in->host = h;
    in->listener = -1;
    in->visitors.next = in->visitors.prev = &in->visitors;
    in->visitors_most = h->conf->connections_most;
    if ((err = add_routes(in, why)) < 0 ||
        (err = listen_open(h->conf, &in->listener, why)) < 0) {
        http_in_close(in);
        return err;
    }
    in->port = listen_port(in->listener);
    if ((err = start_daemon(in)) < 0) {
        *why = kw_strdup("cannot start the HTTP listener; are there enough "
                         "file descriptors (ulimit -n)?");
        http_in_close(in);
        return err;
    }
    watch_daemon(in);
    *out = in;
    return 0;
}

void http_in_quiesce(struct http_in *in)
{
    in->quiet = true;
    if (in->callers != NULL)
        event_free(in->callers);
    in->callers = NULL;
    if (in->listener >= 0)
        close(in->listener);
    in->listener = -1;
}

void http_in_close(struct http_in *in)
{
    http_in_quiesce(in);
    if (in->readable != NULL) {
        event_free(in->readable);
        event_free(in->timer);
        event_free(in->sweep);
    }
    if (in->daemon != NULL)
        MHD_stop_daemon(in->daemon);
    for (size_t i = 0; i < in->n_routes; i++)
        rate_free(in->routes[i].rate);
    kw_free(in);
}
