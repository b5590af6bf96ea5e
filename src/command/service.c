/*
 * service.c - opens and closes the parts of the service in their order, and
 * takes texts for the carriers.
 *
 * Durability: taken() is called by the writer's done(), hence after the
 * commit that holds the text, what was made of it and its answer.
 *
 * Stopping: no new connection, no new claim; what is in the writer is
 * finished and answered, what is on its way out may land for a few seconds.
 */
#include "command/service.h"

#include "base/clock.h"
#include "base/log.h"
#include "carrier/curl_lib.h"
#include "command/command.h"
#include "command/talk.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <sys/resource.h>
#include <unistd.h>

#define TURN_MS         1000
#define STOP_CHECK_MS   20
#define STOP_ANSWERS_US 2000000 /* for callers to fetch their answers */
#define STOP_FLIGHTS_US 5000000 /* for texts on their way out */
#define STOP_LEAVING_US 8000000 /* for carriers to take leave */
#define TICK_AGAIN_S    60
#define LOG_EVERY_US    1000000
#define FILES_BESIDE    256 /* descriptors beside those of callers */

/* ---- taking texts ---- */

static int run_take(struct ledger *lg, void *arg)
{
    struct carrier_taking *t = arg;
    struct service *s = t->host->service;
    int err;

    if (t->press != NULL) {
        err = desk_press(s->desk, lg, t->press, &t->shown);
        t->answer.scan = t->shown.scan;
        return err;
    }
    if (t->answer_in_hand)
        t->text.in_hand = "in the response";
    return desk_take(s->desk, lg, &t->text, &t->answer);
}

static void log_failure(struct service *s, const char *carrier, int err)
{
    int64_t now_us = clock_monotonic_us();

    if (s->refused_us != 0 && now_us - s->refused_us < LOG_EVERY_US)
        return;
    s->refused_us = now_us;
    log_error("failed to keep a text that came by '%s': %s; the sender has "
              "to bring it again",
              carrier, kw_err_text(err));
}

/* Comes by the clock not later than that. */
static void tick_by(struct service *s, int64_t at_s)
{
    if (s->tick_next_s > at_s)
        s->tick_next_s = at_s;
}

static void done_take(void *arg, int err)
{
    struct carrier_taking *t = arg;
    struct service *s = t->host->service;

    s->taking--;
    if (err == 0) {
        s->taken++;
        outbox_pump_all(s);
        if (t->answer.scan)
            scanner_want(s);
        if (t->press != NULL)
            tick_by(s, t->press->at_s + s->conf->menu_keep_s + 1);
    } else {
        log_failure(s, t->text.carrier, err);
    }
    t->taken(t, err);
}

static int take(struct carrier_host *h, struct carrier_taking *t)
{
    struct service *s = h->service;
    struct writer_job job = {.run = run_take, .done = done_take, .arg = t};
    int err;

    t->host = h;
    err = writer_submit(s->writer, &job);
    if (err == 0)
        s->taking++;
    return err;
}

/* ---- by the clock ---- */

struct tick {
    struct service *service;
    int64_t now_s, next_s;
};

static int run_tick(struct ledger *lg, void *arg)
{
    struct tick *t = arg;

    return desk_tick(t->service->desk, lg, t->now_s, &t->next_s);
}

static void done_tick(void *arg, int err)
{
    struct tick *t = arg;
    struct service *s = t->service;

    s->ticking = false;
    s->tick_next_s = t->next_s;
    if (err < 0 || t->next_s <= t->now_s)
        s->tick_next_s = t->now_s + TICK_AGAIN_S;
    if (err == 0)
        outbox_pump_all(s);
    kw_free(t);
}

static void tick_turn(struct service *s)
{
    struct writer_job job = {.run = run_tick, .done = done_tick};
    int64_t now_s = clock_now_s();
    struct tick *t;

    if (s->ticking || s->stopping || now_s < s->tick_next_s)
        return;
    t = kw_malloc(sizeof(*t));
    *t = (struct tick){.service = s, .now_s = now_s};
    job.arg = t;
    if (writer_submit(s->writer, &job) < 0)
        kw_free(t);
    else
        s->ticking = true;
}

void service_turn(struct service *s)
{
    int64_t version;

    if (ledger_data_version(s->watching, &version) == 0 &&
        version != s->version) {
        s->version = version;
        outbox_pump_all(s);
    }
    tick_turn(s);
    scanner_turn(s);
    outbox_turn(s);
    state_turn(s);
}

bool service_idle(const struct service *s)
{
    return s->taking == 0 && !s->ticking && clock_now_s() < s->tick_next_s &&
           scanner_idle(s) && outbox_idle(s);
}

/* ---- events ---- */

static void on_turn(evutil_socket_t fd, short what, void *arg)
{
    (void)fd, (void)what;
    service_turn(arg);
}

static void on_written(evutil_socket_t fd, short what, void *arg)
{
    struct service *s = arg;

    (void)fd, (void)what;
    writer_deliver(s->writer);
}

static void on_stop(evutil_socket_t fd, short what, void *arg)
{
    (void)what;
    log_info("stopping on signal %d", (int)fd);
    service_stop(arg);
}

static void on_hangup(evutil_socket_t fd, short what, void *arg)
{
    (void)fd, (void)what, (void)arg;
    log_info("ignored a hangup; stop and start to read the files again");
}

static bool some_leave(const struct service *s)
{
    bool some = false;

    for (size_t i = 0; i < s->n_outboxes; i++) {
        struct carrier *c = s->outboxes[i].carrier;

        some |= c->leaving != NULL && c->leaving(c);
    }
    return some;
}

static void on_stop_check(evutil_socket_t fd, short what, void *arg)
{
    struct service *s = arg;
    int64_t waited_us = clock_monotonic_us() - s->stop_us;
    bool claiming = false;

    (void)fd, (void)what;
    for (size_t i = 0; i < s->n_outboxes; i++)
        claiming |= s->outboxes[i].claiming;
    if (s->taking > 0 || claiming)
        return; /* the writer always comes to an end */
    if (http_in_busy(s->http) > 0 && waited_us < STOP_ANSWERS_US)
        return;
    if (s->n_flights > 0 && waited_us < STOP_FLIGHTS_US)
        return;
    if (some_leave(s) && waited_us < STOP_LEAVING_US)
        return;
    event_base_loopbreak(s->base);
}

void service_every(struct service *s, int ms, event_callback_fn f)
{
    struct timeval every = {.tv_sec = ms / 1000, .tv_usec = (ms % 1000) * 1000};
    struct event *ev = event_new(s->base, -1, EV_PERSIST, f, s);

    event_add(ev, &every);
    s->events[s->n_events++] = ev;
}

static void add_signal(struct service *s, int signal, event_callback_fn f)
{
    struct event *ev = evsignal_new(s->base, signal, f, s);

    event_add(ev, NULL);
    s->events[s->n_events++] = ev;
}

static void add_events(struct service *s)
{
    struct event *ev = event_new(s->base, writer_fd(s->writer),
                                 EV_READ | EV_PERSIST, on_written, s);

    event_add(ev, NULL);
    s->events[s->n_events++] = ev;
    service_every(s, TURN_MS, on_turn);
}

/* Before the port is there: who sees it may send a signal. */
static void add_signals(struct service *s)
{
    add_signal(s, SIGTERM, on_stop);
    add_signal(s, SIGINT, on_stop);
    add_signal(s, SIGHUP, on_hangup);
}

void service_stop(struct service *s)
{
    if (s->stopping)
        return;
    s->stopping = true;
    s->stop_us = clock_monotonic_us();
    http_in_quiesce(s->http);
    for (size_t i = 0; i < s->n_outboxes; i++) {
        if (s->outboxes[i].carrier->quiesce != NULL)
            s->outboxes[i].carrier->quiesce(s->outboxes[i].carrier);
    }
    service_every(s, STOP_CHECK_MS, on_stop_check);
}

void service_run(struct service *s)
{
    printf("listening on http://%s%s%s:%d\n",
           strchr(s->conf->listen_address, ':') != NULL ? "[" : "",
           s->conf->listen_address,
           strchr(s->conf->listen_address, ':') != NULL ? "]" : "",
           http_in_port(s->http));
    fflush(stdout);
    service_turn(s);
    event_base_dispatch(s->base);
}

/* ---- opening ---- */

static int say(char *why)
{
    fprintf(stderr, "kilnword serve: %s\n", why);
    kw_free(why);
    return COMMAND_FAILED;
}

static bool stays_here(const struct config_carrier *c)
{
    switch (c->kind) {
    case CONFIG_SPOOL:
        return true;
    case CONFIG_HTTP:
        return c->out.url == NULL || http_out_loopback(c->out.url);
    case CONFIG_SMPP:
        return http_host_loopback(c->smpp.host);
    default:
        return false;
    }
}

/* A told clock is for plays: nothing may leave this machine. */
static int check_told(const struct config *conf)
{
    for (size_t i = 0; i < conf->n_carriers; i++) {
        const struct config_carrier *c = &conf->carriers[i];

        if (stays_here(c))
            continue;
        fprintf(stderr,
                "kilnword serve: carrier '%s' reaches beyond this machine, "
                "which a told clock does not allow; leave --told-clock "
                "away, or let the carrier send to 127.0.0.1\n",
                c->name);
        return COMMAND_FAILED;
    }
    return 0;
}

/* The sending side of one carrier, *out NULL when it has none. */
static int open_carrier(struct service *s, const struct config_carrier *conf,
                        struct carrier **out, char **why)
{
    char text[200];

    switch (conf->kind) {
    case CONFIG_SPOOL:
        return spool_open(&s->host, conf, out, why);
    case CONFIG_HTTP:
        if (conf->out.url != NULL && conf->out.url[0] != '\0')
            return http_out_open(&s->host, conf, out, why);
        if (!conf->in.reply_in_body)
            log_warn("carrier '%s' has neither an out url nor reply_in_body: "
                     "its answers wait until they expire",
                     conf->name);
        return 0;
    case CONFIG_SMPP:
        return smpp_open(&s->host, conf, out, why);
    case CONFIG_MODEM:
        return modem_open(&s->host, conf, out, why);
    default:
        snprintf(text, sizeof(text),
                 "carrier '%.64s' is of a kind that this version cannot serve; "
                 "take it out of the configuration",
                 conf->name);
        *why = kw_strdup(text);
        return KW_EIO;
    }
}

static int open_carriers(struct service *s)
{
    for (size_t i = 0; i < s->conf->n_carriers; i++) {
        struct carrier *c = NULL;
        char *why = NULL;

        if (open_carrier(s, &s->conf->carriers[i], &c, &why) < 0)
            return say(why);
        if (c != NULL)
            outbox_add(s, c, &s->conf->carriers[i]);
    }
    outbox_pair(s);
    return 0;
}

/* What is done in the ledger before any text: people, what was in flight. */
static int prepare_ledger(struct service *s, struct ledger *lg)
{
    int err = ledger_begin(lg);

    if (err < 0)
        return err;
    if ((err = desk_people(s->desk, lg)) < 0 ||
        (err = outbox_recover(s, lg)) < 0) {
        ledger_rollback(lg);
        return err;
    }
    return ledger_commit(lg);
}

/*
 * One service to a ledger: a second one would take what is in the hands of
 * the first for what a crash left behind.
 */
static int lock_ledger(struct service *s)
{
    char path[4096], text[4400];

    snprintf(path, sizeof(path), "%s.lock", s->conf->ledger_file);
    s->lock_fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0660);
    if (s->lock_fd >= 0 && flock(s->lock_fd, LOCK_EX | LOCK_NB) == 0)
        return 0;
    if (s->lock_fd >= 0 && errno == EWOULDBLOCK)
        snprintf(text, sizeof(text),
                 "another service works on the ledger '%s' already; stop it "
                 "first",
                 s->conf->ledger_file);
    else
        snprintf(text, sizeof(text), "cannot lock '%s': %s", path,
                 strerror(errno));
    return say(kw_strdup(text));
}

/* Descriptors for all the callers that may be there at once. */
static void allow_files(const struct config *conf)
{
    struct rlimit files;
    rlim_t need = (rlim_t)conf->connections_most + FILES_BESIDE;

    if (getrlimit(RLIMIT_NOFILE, &files) < 0 || files.rlim_cur >= need)
        return;
    files.rlim_cur = files.rlim_max < need ? files.rlim_max : need;
    setrlimit(RLIMIT_NOFILE, &files);
    if (files.rlim_cur < need)
        log_warn("only %llu files may be open here: fewer than %d callers "
                 "can be there at once",
                 (unsigned long long)files.rlim_cur, conf->connections_most);
}

static int start_writer(struct service *s, struct ledger *lg)
{
    int err = prepare_ledger(s, lg);

    if (err == 0)
        err = writer_open(lg, s->conf->group_most, &s->writer);
    if (err < 0) {
        ledger_close(lg);
        fprintf(stderr,
                "kilnword serve: cannot write to the ledger '%s': %s; look "
                "at the disk and at who owns the file\n",
                s->conf->ledger_file, kw_err_text(err));
        return COMMAND_FAILED;
    }
    err = command_ledger_watch(s->conf, &s->watching);
    if (err == 0)
        ledger_data_version(s->watching, &s->version);
    return err;
}

/* Slower without it, else the same. */
static void tell_image(const struct service *s)
{
    const char *wrong = desk_image_wrong(s->desk),
               *path = s->conf->grammar_image;

    if (wrong != NULL)
        log_warn("the image of the words %s%s%s %s: the files of '%s' were "
                 "read instead; 'kilnword check --write-image' makes it anew",
                 path != NULL ? "'" : "", path != NULL ? path : READER_IMAGE,
                 path != NULL ? "'" : "", wrong, s->conf->grammar_folder);
}

static int open_parts(struct service *s, bool told_clock)
{
    struct ledger *lg;
    char *why = NULL;
    int err;

    if ((err = talk_open_desk(s->conf, &s->desk)) != 0 ||
        (told_clock && (err = check_told(s->conf)) != 0))
        return err;
    tell_image(s);
    if (told_clock && told_open(s) < 0)
        return COMMAND_FAILED;
    if ((err = command_ledger(s->conf, false, true, &lg)) != 0)
        return err;
    err = lock_ledger(s);
    if (err == 0 && (err = open_carriers(s)) == 0 &&
        http_in_open(&s->host, &s->http, &why) < 0)
        err = say(why);
    if (err != 0) {
        ledger_close(lg);
        return err;
    }
    if ((err = start_writer(s, lg)) != 0)
        return err;
    if (scanner_open(s) < 0)
        return say(kw_strdup("cannot start the scanner's thread"));
    add_events(s);
    return 0;
}

int service_open(const struct config *conf, bool told_clock,
                 struct service **out)
{
    struct service *s = kw_calloc(1, sizeof(*s));
    int err;

    allow_files(conf);
    s->conf = conf;
    s->lock_fd = -1;
    s->base = event_base_new();
    s->host = (struct carrier_host){.base = s->base,
                                    .conf = conf,
                                    .service = s,
                                    .take = take,
                                    .settle = outbox_settle,
                                    .far_id = outbox_far_id,
                                    .receipt = receipt_take,
                                    .credit_low = state_credit_low};
    add_signals(s);
    if ((err = open_parts(s, told_clock)) != 0) {
        service_close(s);
        return err;
    }
    *out = s;
    return 0;
}

void service_close(struct service *s)
{
    if (s == NULL)
        return;
    s->stopping = true;
    if (s->http != NULL)
        http_in_close(s->http);
    state_stop(s);
    outbox_close(s);
    if (s->writer != NULL)
        writer_close(s->writer);
    s->writer = NULL;
    scanner_close(s);
    told_close(s);
    if (s->watching != NULL)
        ledger_close(s->watching);
    for (size_t i = 0; i < s->n_events; i++)
        event_free(s->events[i]);
    if (s->desk != NULL)
        desk_close(s->desk);
    event_base_free(s->base);
    if (s->lock_fd >= 0)
        close(s->lock_fd);
    kw_free(s->flights);
    kw_free(s->settles.items);
    curl_lib_release();
    kw_free(s);
}
