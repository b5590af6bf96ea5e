/*
 * service_scan.c - the scanner's thread: it looks for breakage on a reading
 * connection of its own, however long that takes; what it finds is acted on
 * in a writer job. One scan at a time.
 *
 *   wanted --loop--> LOOKING --thread, eventfd--> ACTING --writer--> at rest
 *
 * After a scan the thread rests four times as long as it took (and a second
 * at least), so that many reports cost a fifth of one core at most. With a
 * told clock it does not rest.
 */
#include "command/service.h"

#include "base/clock.h"
#include "base/log.h"
#include "desk/batch_watch.h"
#include "page/need.h"

#include <errno.h>
#include <pthread.h>
#include <string.h>
#include <sys/eventfd.h>
#include <unistd.h>

#define REST_LEAST_US 1000000
#define REST_TIMES    4
#define HOUR_S        3600

struct scanner {
    struct service *service;
    pthread_t thread;
    bool begun;
    /* between the threads, under the lock */
    pthread_mutex_t lock;
    pthread_cond_t wake;
    bool look, stop;
    bool forget; /* what was found last was not written down */
    int64_t now_s;
    struct desk_findings *findings;
    struct need_month month; /* forecasts made, or compared */
    int err;
    int done_fd;
    /* the loop's own */
    struct event *done;
    bool wanted, running;
    int64_t act_now_s, began_us, rest_until_us;
};

/* ---- the thread ---- */

static int open_reading(const struct config *conf, struct ledger **lg)
{
    struct ledger_settings set = {
        .file = conf->ledger_file, .read_only = true, .cache_mib = 4};
    char *why = NULL;
    int err = ledger_open(&set, lg, &why);

    if (err < 0)
        log_error("cannot read the ledger for the scan: %s",
                  why != NULL ? why : kw_err_text(err));
    kw_free(why);
    return err;
}

static void tell_loop(struct scanner *c)
{
    uint64_t one = 1;

    while (write(c->done_fd, &one, sizeof(one)) < 0 && errno == EINTR)
        ;
}

/* The forecasts; what goes wrong there holds up no alert. */
static void look_at_month(const struct scanner *c, struct ledger *lg,
                          int64_t now_s, struct need_month *out)
{
    struct page page = {.conf = c->service->conf, .now_s = now_s};
    int err = need_month_look(&page, lg, out);

    if (err == 0)
        return;
    log_error("failed forecast of need: %s", kw_err_text(err));
    need_month_release(out);
}

static void *scan_thread(void *arg)
{
    struct scanner *c = arg;
    struct ledger *lg = NULL;
    struct batch_watch *watch = batch_watch_new();

    pthread_mutex_lock(&c->lock);
    for (;;) {
        struct desk_findings *f = NULL;
        struct need_month month = {.n = 0};
        int64_t now_s;
        int err = 0;

        while (!c->look && !c->stop)
            pthread_cond_wait(&c->wake, &c->lock);
        if (c->stop)
            break;
        now_s = c->now_s;
        if (c->forget)
            batch_watch_forget(watch);
        c->forget = false;
        pthread_mutex_unlock(&c->lock);
        if (lg == NULL)
            err = open_reading(c->service->conf, &lg);
        if (err == 0)
            err = desk_watch_look(watch, c->service->conf, lg, now_s, &f);
        if (err == 0)
            look_at_month(c, lg, now_s, &month);
        pthread_mutex_lock(&c->lock);
        c->look = false;
        c->findings = f;
        c->month = month;
        c->err = err;
        tell_loop(c);
    }
    pthread_mutex_unlock(&c->lock);
    batch_watch_free(watch);
    ledger_close(lg);
    return NULL;
}

/* ---- the loop ---- */

static void begin(struct service *s)
{
    struct scanner *c = s->scanner;

    if (!c->wanted || c->running || s->stopping)
        return;
    if (s->told == NULL && clock_monotonic_us() < c->rest_until_us)
        return; /* at a later turn */
    c->wanted = false;
    c->running = true;
    c->began_us = clock_monotonic_us();
    c->act_now_s = clock_now_s();
    s->scan_next_s = c->act_now_s + HOUR_S;
    pthread_mutex_lock(&c->lock);
    c->now_s = c->act_now_s;
    c->look = true;
    pthread_cond_signal(&c->wake);
    pthread_mutex_unlock(&c->lock);
}

static void rest(struct scanner *c, int err)
{
    int64_t now_us = clock_monotonic_us();
    int64_t rest_us = REST_TIMES * (now_us - c->began_us);

    if (rest_us < REST_LEAST_US)
        rest_us = REST_LEAST_US;
    if (err < 0) {
        log_error("failed breakage scan: %s", kw_err_text(err));
        pthread_mutex_lock(&c->lock);
        c->forget = true;
        pthread_mutex_unlock(&c->lock);
    }
    c->rest_until_us = now_us + rest_us;
    c->running = false;
}

static int run_act(struct ledger *lg, void *arg)
{
    struct scanner *c = arg;
    int raised = 0;
    int err =
        desk_scan_act(c->service->desk, lg, c->act_now_s, c->findings, &raised);

    return err < 0 ? err : need_month_put(lg, &c->month);
}

/* What was found is done with. */
static void forget(struct scanner *c)
{
    desk_findings_free(c->findings);
    c->findings = NULL;
    need_month_release(&c->month);
}

static void done_act(void *arg, int err)
{
    struct scanner *c = arg;

    forget(c);
    rest(c, err);
    if (err < 0)
        return; /* the hourly scan sees the same again */
    outbox_pump_all(c->service);
    begin(c->service);
}

static void on_looked(evutil_socket_t fd, short what, void *arg)
{
    struct scanner *c = arg;
    struct writer_job job = {.run = run_act, .done = done_act, .arg = c};
    uint64_t count;
    int err;

    (void)what;
    if (read(fd, &count, sizeof(count)) < 0)
        return;
    pthread_mutex_lock(&c->lock);
    err = c->err;
    pthread_mutex_unlock(&c->lock);
    if (err == 0)
        err = writer_submit(c->service->writer, &job);
    if (err < 0) {
        forget(c);
        c->wanted = err == KW_EFULL;
        rest(c, err);
    }
}

void scanner_want(struct service *s)
{
    s->scanner->wanted = true;
    begin(s);
}

void scanner_turn(struct service *s)
{
    if (clock_now_s() >= s->scan_next_s)
        s->scanner->wanted = true;
    begin(s);
}

bool scanner_idle(const struct service *s)
{
    return !s->scanner->wanted && !s->scanner->running &&
           clock_now_s() < s->scan_next_s;
}

int scanner_open(struct service *s)
{
    struct scanner *c = kw_calloc(1, sizeof(*c));

    c->service = s;
    s->scanner = c;
    pthread_mutex_init(&c->lock, NULL);
    pthread_cond_init(&c->wake, NULL);
    c->done_fd = eventfd(0, EFD_NONBLOCK | EFD_CLOEXEC);
    if (c->done_fd < 0)
        return KW_EIO;
    c->done =
        event_new(s->base, c->done_fd, EV_READ | EV_PERSIST, on_looked, c);
    event_add(c->done, NULL);
    if (pthread_create(&c->thread, NULL, scan_thread, c) != 0)
        return KW_EIO;
    c->begun = true;
    return 0;
}

/* After the writer is closed: no job of ours is left. */
void scanner_close(struct service *s)
{
    struct scanner *c = s->scanner;

    if (c == NULL)
        return;
    if (c->begun) {
        pthread_mutex_lock(&c->lock);
        c->stop = true;
        pthread_cond_signal(&c->wake);
        pthread_mutex_unlock(&c->lock);
        pthread_join(c->thread, NULL);
    }
    forget(c);
    if (c->done != NULL)
        event_free(c->done);
    if (c->done_fd >= 0)
        close(c->done_fd);
    pthread_cond_destroy(&c->wake);
    pthread_mutex_destroy(&c->lock);
    kw_free(c);
    s->scanner = NULL;
}
