/*
 * http_out.c - texts that leave by HTTP. libcurl's multi socket interface in
 * our loop; a fixed number of easy handles, reused with their connections.
 *
 * The fate of a text is told by retry_class(). Without {id} in the template
 * the far side cannot know a repeat, so then no connection is used twice:
 * on one that had died meanwhile, libcurl itself would send once more.
 */
#include "carrier/carrier.h"

#include "base/clock.h"
#include "base/log.h"
#include "carrier/curl_lib.h"
#include "carrier/retry.h"
#include "carrier/template.h"

#include <event2/event.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define ADDRESS_CAP    8192
#define BODY_CAP       65536
#define ANSWER_CAP     16384 /* of the answer; what follows is not kept */
#define CONNECT_MOST_S 10
#define SLOTS_MOST     64
#define NOTE_CAP       160

struct http_out;

struct slot { /* one request at a time */
    struct http_out *owner;
    CURL *easy;
    struct curl_slist *headers;
    struct kw_buf body, answer;
    int64_t out_id; /* 0: free */
    struct slot *next_free;
};

struct http_out {
    struct carrier carrier;
    struct carrier_host *host;
    const struct config_http_out *conf;
    enum template_place body_place;
    bool loopback;
    const struct curl_lib *curl;
    CURLM *multi;
    struct event *timer;
    struct slot *slots, *free;
    int n_slots;
};

/* ---- libcurl and the loop ---- */

static void finish_done(struct http_out *c);

static void on_socket(evutil_socket_t fd, short what, void *arg)
{
    struct http_out *c = arg;
    int running, bits = 0;

    if (what & EV_READ)
        bits |= CURL_CSELECT_IN;
    if (what & EV_WRITE)
        bits |= CURL_CSELECT_OUT;
    c->curl->multi_socket_action(c->multi, fd, bits, &running);
    finish_done(c);
}

static int want_socket(CURL *easy, curl_socket_t fd, int what, void *arg,
                       void *context)
{
    struct http_out *c = arg;
    struct event *ev = context;
    short bits = EV_PERSIST;

    (void)easy;
    if (ev != NULL) {
        event_free(ev);
        c->curl->multi_assign(c->multi, fd, NULL);
    }
    if (what == CURL_POLL_REMOVE)
        return 0;
    if (what & CURL_POLL_IN)
        bits |= EV_READ;
    if (what & CURL_POLL_OUT)
        bits |= EV_WRITE;
    ev = event_new(c->host->base, fd, bits, on_socket, c);
    event_add(ev, NULL);
    c->curl->multi_assign(c->multi, fd, ev);
    return 0;
}

static int want_timer(CURLM *multi, long ms, void *arg)
{
    struct http_out *c = arg;
    struct timeval after = {.tv_sec = ms / 1000, .tv_usec = (ms % 1000) * 1000};

    (void)multi;
    if (ms < 0)
        evtimer_del(c->timer);
    else
        evtimer_add(c->timer, &after);
    return 0;
}

/*
 * The loop counts by a coarse clock and may come some milliseconds early; then
 * curl finds nothing due and does not ask again for a time it has asked for.
 */
static void on_timer(evutil_socket_t fd, short what, void *arg)
{
    struct http_out *c = arg;
    long ms = -1;
    int running;

    (void)fd, (void)what;
    c->curl->multi_socket_action(c->multi, CURL_SOCKET_TIMEOUT, 0, &running);
    finish_done(c);
    if (!evtimer_pending(c->timer, NULL) &&
        c->curl->multi_timeout(c->multi, &ms) == CURLM_OK && ms >= 0)
        want_timer(c->multi, ms > 0 ? ms : 1, c);
}

/* Keeps the beginning of the answer and lets the rest go by. */
static size_t on_answer(char *data, size_t size, size_t n, void *arg)
{
    struct slot *s = arg;
    size_t len = size * n, room = s->answer.cap - s->answer.len;

    kw_buf_put(&s->answer, data, len < room ? len : room);
    return len;
}

/* ---- one text ---- */

static void free_slot(struct slot *s)
{
    s->owner->curl->slist_free_all(s->headers);
    s->headers = NULL;
    kw_buf_clear(&s->body);
    kw_buf_clear(&s->answer);
    s->out_id = 0;
    s->next_free = s->owner->free;
    s->owner->free = s;
    s->owner->carrier.room++;
}

static void settle(struct slot *s, enum ledger_send state, int64_t again_s,
                   const char *note)
{
    struct http_out *c = s->owner;
    int64_t id = s->out_id;

    free_slot(s);
    c->host->settle(c->host, id, state, again_s, note);
}

/* The id that the far side gave, when its answer is JSON and has one; it is
 * what a receipt names. */
static void note_their_id(const struct slot *s, char *note)
{
    struct http_out *c = s->owner;
    const char *field = c->conf->id_field;
    size_t used = strlen(note);
    char id[100] = "";
    json_t *root, *v;

    if (field == NULL || s->answer.len == 0)
        return;
    root = json_loadb(s->answer.data, s->answer.len, 0, NULL);
    v = json_object_get(root, field);
    if (json_is_string(v))
        snprintf(id, sizeof(id), "%s", json_string_value(v));
    else if (json_is_integer(v))
        snprintf(id, sizeof(id), "%" JSON_INTEGER_FORMAT,
                 json_integer_value(v));
    json_decref(root);
    if (id[0] == '\0')
        return;
    snprintf(note + used, NOTE_CAP - used, ", their id %.80s", id);
    if (c->host->far_id != NULL)
        c->host->far_id(c->host, c->carrier.name, s->out_id, id);
}

static void finish(struct slot *s, CURLcode code)
{
    struct http_out *c = s->owner;
    struct retry_result r = {.repeat_safe = c->carrier.repeat_safe};
    struct curl_header *after = NULL;
    enum ledger_send state;
    char note[NOTE_CAP];
    int64_t again_s = 0;
    long sent = 0;

    c->curl->easy_getinfo(s->easy, CURLINFO_RESPONSE_CODE, &r.status);
    c->curl->easy_getinfo(s->easy, CURLINFO_REQUEST_SIZE, &sent);
    if (r.status < 200) /* only on the way: 100 Continue */
        r.status = 0;
    r.began = sent > 0;
    state = retry_class(&r);
    if (r.status != 0)
        snprintf(note, sizeof(note), "HTTP %ld", r.status);
    else
        snprintf(note, sizeof(note), "%s%s", c->curl->easy_strerror(code),
                 r.began ? " after sending" : "");
    if (state == LEDGER_SENT)
        note_their_id(s, note);
    if (state == LEDGER_WAITING && r.status != 0 &&
        c->curl->easy_header(s->easy, "Retry-After", 0, CURLH_HEADER, -1,
                             &after) == CURLHE_OK)
        again_s = retry_after(after->value, clock_now_s());
    if (state == LEDGER_FAILED)
        log_warn("failed to send message %lld by '%s': %s",
                 (long long)s->out_id, c->carrier.name, note);
    settle(s, state, again_s, note);
}

static void finish_done(struct http_out *c)
{
    CURLMsg *m;
    int left;

    while ((m = c->curl->multi_info_read(c->multi, &left)) != NULL) {
        CURL *easy = m->easy_handle;
        CURLcode code = m->data.result;
        struct slot *s = NULL;

        if (m->msg != CURLMSG_DONE)
            continue;
        c->curl->easy_getinfo(easy, CURLINFO_PRIVATE, (char **)&s);
        c->curl->multi_remove_handle(c->multi, easy);
        finish(s, code);
    }
}

static int set_headers(struct slot *s, const struct template_slots *v)
{
    const struct config_http_out *conf = s->owner->conf;
    const struct curl_lib *curl = s->owner->curl;
    struct kw_buf line;
    int err = 0;

    /* No "Expect: 100-continue": the bodies are small. */
    s->headers = curl->slist_append(NULL, "Expect:");
    for (size_t i = 0; i < conf->n_headers && err == 0; i++) {
        kw_buf_init(&line, ADDRESS_CAP);
        template_expand(conf->headers[i], TEMPLATE_HEADER, v, &line);
        err = line.err;
        s->headers = curl->slist_append(s->headers, kw_buf_text(&line));
        kw_buf_release(&line);
    }
    curl->easy_setopt(s->easy, CURLOPT_HTTPHEADER, s->headers);
    return err;
}

static int set_request(struct slot *s, const struct template_slots *v)
{
    const struct config_http_out *conf = s->owner->conf;
    const struct curl_lib *curl = s->owner->curl;
    struct kw_buf url;
    int err;

    kw_buf_init(&url, ADDRESS_CAP);
    template_expand(conf->url, TEMPLATE_ADDRESS, v, &url);
    err = url.err;
    curl->easy_setopt(s->easy, CURLOPT_URL, kw_buf_text(&url)); /* copied */
    kw_buf_release(&url);
    if (conf->body != NULL && conf->body[0] != '\0') {
        template_expand(conf->body, s->owner->body_place, v, &s->body);
        if (s->body.err != 0)
            err = s->body.err;
        curl->easy_setopt(s->easy, CURLOPT_POSTFIELDS, kw_buf_text(&s->body));
        curl->easy_setopt(s->easy, CURLOPT_POSTFIELDSIZE_LARGE,
                          (curl_off_t)s->body.len);
    } else if (strcmp(conf->method, "POST") == 0) {
        curl->easy_setopt(s->easy, CURLOPT_POSTFIELDS, "");
        curl->easy_setopt(s->easy, CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)0);
    } else {
        curl->easy_setopt(s->easy, CURLOPT_HTTPGET, 1L);
    }
    curl->easy_setopt(s->easy, CURLOPT_CUSTOMREQUEST, conf->method);
    return err < 0 ? err : set_headers(s, v);
}

static void set_options(struct slot *s)
{
    struct http_out *c = s->owner;
    const struct curl_lib *curl = c->curl;
    CURL *e = s->easy;

    curl->easy_setopt(e, CURLOPT_PRIVATE, (char *)s);
    curl->easy_setopt(e, CURLOPT_NOSIGNAL, 1L);
    curl->easy_setopt(e, CURLOPT_PROTOCOLS_STR, "http,https");
    curl->easy_setopt(e, CURLOPT_FOLLOWLOCATION, 0L);
    curl->easy_setopt(e, CURLOPT_CONNECTTIMEOUT, (long)CONNECT_MOST_S);
    curl->easy_setopt(e, CURLOPT_TIMEOUT,
                      (long)(c->conf->timeout_s > 0 ? c->conf->timeout_s : 20));
    curl->easy_setopt(e, CURLOPT_WRITEFUNCTION, on_answer);
    curl->easy_setopt(e, CURLOPT_WRITEDATA, s);
    curl->easy_setopt(e, CURLOPT_USERAGENT, "kilnword/" PACKAGE_VERSION);
    if (c->loopback)
        curl->easy_setopt(e, CURLOPT_PROXY, "");
    if (!c->carrier.repeat_safe)
        curl->easy_setopt(e, CURLOPT_FORBID_REUSE, 1L);
    if (c->conf->username != NULL) {
        curl->easy_setopt(e, CURLOPT_HTTPAUTH, (long)CURLAUTH_BASIC);
        curl->easy_setopt(e, CURLOPT_USERNAME, c->conf->username);
        curl->easy_setopt(e, CURLOPT_PASSWORD,
                          c->conf->password != NULL ? c->conf->password : "");
    }
}

static void send_text(struct carrier *carrier, const struct ledger_out *o)
{
    struct http_out *c = (struct http_out *)carrier;
    struct template_slots v = {.to = o->to,
                               .text = o->body,
                               .from = c->host->conf->line_number,
                               .id = o->id};
    struct slot *s = c->free;

    if (s == NULL) { /* handed more than there was room for */
        c->host->settle(c->host, o->id, LEDGER_WAITING, 0, "no room");
        return;
    }
    c->free = s->next_free;
    c->carrier.room--;
    s->out_id = o->id;
    if (set_request(s, &v) < 0) {
        settle(s, LEDGER_FAILED, 0, "the filled-in template is too long");
        return;
    }
    if (c->curl->multi_add_handle(c->multi, s->easy) != CURLM_OK)
        settle(s, LEDGER_WAITING, 0, "could not begin");
}

/* ---- opening and closing ---- */

static void close_out(struct carrier *carrier)
{
    struct http_out *c = (struct http_out *)carrier;

    for (int i = 0; i < c->n_slots; i++) {
        struct slot *s = &c->slots[i];

        if (s->out_id != 0) {
            c->curl->multi_remove_handle(c->multi, s->easy);
            finish(s, CURLE_ABORTED_BY_CALLBACK);
        }
        c->curl->easy_cleanup(s->easy);
        kw_buf_release(&s->body);
        kw_buf_release(&s->answer);
    }
    c->curl->multi_cleanup(c->multi);
    event_free(c->timer);
    kw_free(c->slots);
    kw_free(c);
}

bool http_host_loopback(const char *host)
{
    return strcmp(host, "localhost") == 0 || strcmp(host, "[::1]") == 0 ||
           strcmp(host, "::1") == 0 ||
           (strncmp(host, "127.", 4) == 0 &&
            strspn(host, "0123456789.") == strlen(host));
}

bool http_out_loopback(const char *url)
{
    const struct curl_lib *curl = curl_lib(NULL);
    CURLU *u = curl != NULL ? curl->url() : NULL;
    char *host = NULL;
    bool yes = false;

    if (u == NULL)
        return false;
    if (curl->url_set(u, CURLUPART_URL, url,
                      CURLU_GUESS_SCHEME | CURLU_NON_SUPPORT_SCHEME) ==
            CURLUE_OK &&
        curl->url_get(u, CURLUPART_HOST, &host, 0) == CURLUE_OK)
        yes = http_host_loopback(host);
    curl->free(host);
    curl->url_cleanup(u);
    return yes;
}

static int refuse(char **why, const char *name, const char *what,
                  const char *subject)
{
    char text[512];

    snprintf(text, sizeof(text), "carrier '%.64s': %s '%.200s'", name, what,
             subject);
    *why = kw_strdup(text);
    return KW_EIO;
}

static int check_templates(const struct config_carrier *conf, char **why)
{
    const struct config_http_out *out = &conf->out;
    const char *all[CONFIG_HEADERS_MOST + 2] = {out->url, out->body};
    size_t n = 2;
    char bad[80];

    for (size_t i = 0; i < out->n_headers; i++)
        all[n++] = out->headers[i];
    for (size_t i = 0; i < n; i++) {
        if (all[i] != NULL && template_check(all[i], bad, sizeof(bad)) < 0)
            return refuse(why, conf->name,
                          "in its templates there may be {to} {to_digits} "
                          "{text} {id} {from}, but there is",
                          bad);
    }
    if (strncasecmp(out->url, "http://", 7) != 0 &&
        strncasecmp(out->url, "https://", 8) != 0)
        return refuse(why, conf->name,
                      "its address must begin with http:// or https://, "
                      "unlike",
                      out->url);
    return 0;
}

/* From the templates: how the body is written, whether repeats are known. */
static void look_at_templates(struct http_out *c)
{
    const struct config_http_out *conf = c->conf;
    const char *type = NULL;

    c->carrier.repeat_safe =
        template_uses(conf->url, "id") || template_uses(conf->body, "id");
    for (size_t i = 0; i < conf->n_headers; i++) {
        if (strncasecmp(conf->headers[i], "Content-Type:", 13) == 0)
            type = conf->headers[i] + 13;
        c->carrier.repeat_safe |= template_uses(conf->headers[i], "id");
    }
    c->body_place = template_place_of(type);
    c->loopback = http_out_loopback(conf->url);
}

static void make_slots(struct http_out *c)
{
    int n = c->conf->in_flight > 0 ? c->conf->in_flight : 4;

    c->n_slots = n < SLOTS_MOST ? n : SLOTS_MOST;
    c->slots = kw_calloc((size_t)c->n_slots, sizeof(*c->slots));
    for (int i = 0; i < c->n_slots; i++) {
        struct slot *s = &c->slots[i];

        s->owner = c;
        s->easy = c->curl->easy_init();
        kw_buf_init(&s->body, BODY_CAP);
        kw_buf_init(&s->answer, ANSWER_CAP);
        set_options(s);
        free_slot(s);
    }
}

int http_out_open(struct carrier_host *h, const struct config_carrier *conf,
                  struct carrier **out, char **why)
{
    const struct curl_lib *curl;
    struct http_out *c;
    int err;

    if ((err = check_templates(conf, why)) < 0)
        return err;
    if ((curl = curl_lib(why)) == NULL)
        return KW_EIO;
    c = kw_calloc(1, sizeof(*c));
    c->host = h;
    c->curl = curl;
    c->conf = &conf->out;
    c->carrier = (struct carrier){
        .name = conf->name, .send = send_text, .close = close_out};
    look_at_templates(c);
    c->multi = curl->multi_init();
    c->timer = evtimer_new(h->base, on_timer, c);
    curl->multi_setopt(c->multi, CURLMOPT_SOCKETFUNCTION, want_socket);
    curl->multi_setopt(c->multi, CURLMOPT_SOCKETDATA, c);
    curl->multi_setopt(c->multi, CURLMOPT_TIMERFUNCTION, want_timer);
    curl->multi_setopt(c->multi, CURLMOPT_TIMERDATA, c);
    make_slots(c);
    if (!c->carrier.repeat_safe)
        log_warn("carrier '%s' has no {id} in its templates: a text whose "
                 "fate is not known is not sent again",
                 conf->name);
    *out = &c->carrier;
    return 0;
}
