/*
 * service_told.c - the clock told on standard input, for plays:
 *
 *   clock 2026-03-01T08:00:00Z   finishes what came before, sets the clock,
 *                                runs everything that is due until nothing
 *                                is in hand, then says on standard output:
 *                                clock is 2026-03-01T08:00:00Z
 *   idle                         says: idle  when nothing is in hand or due
 *   (the end of the input)       stops the service
 *
 * One line at a time: the next is read when the one before was answered.
 * Before the first `clock` nothing runs by the clock.
 */
#include "command/service.h"

#include "base/clock.h"
#include "base/log.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define LINE_CAP 256
#define CHECK_US 1000
/* 2000-01-01T00:00:00Z, until the clock is told. */
#define BEFORE_S 946684800

/* BEFORE: what came in the old time is finished in it. */
enum told_waiting { TOLD_NOTHING, TOLD_BEFORE, TOLD_CLOCK, TOLD_IDLE };

struct told {
    struct service *service;
    struct event *input, *check;
    char buffer[LINE_CAP];
    size_t len;
    bool ended;
    enum told_waiting waiting;
    int64_t now_s;
};

static void next_line(struct told *t);

/* Begins all that is due, or waits to be found. */
static void stir(struct told *t)
{
    struct service *s = t->service;

    outbox_pump_all(s); /* what other processes have written as well */
    for (size_t i = 0; i < s->n_outboxes; i++) {
        struct carrier *c = s->outboxes[i].carrier;

        if (c->look != NULL)
            c->look(c);
    }
    service_turn(s);
    event_active(t->check, EV_TIMEOUT, 0);
}

static void set_clock(struct told *t)
{
    struct service *s = t->service;

    clock_tell(t->now_s);
    if (s->tick_next_s == INT64_MAX) /* the first time */
        s->tick_next_s = s->scan_next_s = 0;
    t->waiting = TOLD_CLOCK;
    stir(t);
}

static void on_check(evutil_socket_t fd, short what, void *arg)
{
    struct told *t = arg;
    struct timeval after = {.tv_usec = CHECK_US};
    char text[CLOCK_TEXT_CAP];

    (void)fd, (void)what;
    if (t->waiting == TOLD_NOTHING)
        return;
    if (!service_idle(t->service)) {
        service_turn(t->service);
        evtimer_add(t->check, &after);
        return;
    }
    if (t->waiting == TOLD_BEFORE) {
        set_clock(t);
        return;
    }
    clock_format_utc(t->now_s, text, sizeof(text));
    if (t->waiting == TOLD_CLOCK)
        printf("clock is %s\n", text);
    else
        puts("idle");
    fflush(stdout);
    t->waiting = TOLD_NOTHING;
    next_line(t);
}

static void obey(struct told *t, const char *line, size_t len)
{
    int64_t at_s;

    if (len == 4 && memcmp(line, "idle", 4) == 0) {
        t->waiting = TOLD_IDLE;
        stir(t);
    } else if (len > 6 && memcmp(line, "clock ", 6) == 0 &&
               clock_parse(line + 6, len - 6, &at_s) == 0) {
        t->now_s = at_s;
        t->waiting = TOLD_BEFORE;
        if (t->service->tick_next_s == INT64_MAX)
            set_clock(t);
        else
            stir(t);
    } else {
        puts("not understood: write 'clock 2026-03-01T08:00:00Z' or 'idle'");
        fflush(stdout);
    }
}

static void next_line(struct told *t)
{
    while (t->waiting == TOLD_NOTHING) {
        char *end = memchr(t->buffer, '\n', t->len);
        char line[LINE_CAP];
        size_t n;

        if (end == NULL)
            break;
        n = (size_t)(end - t->buffer);
        memcpy(line, t->buffer, n);
        t->len -= n + 1;
        memmove(t->buffer, end + 1, t->len);
        if (n > 0 && line[n - 1] == '\r')
            n--;
        if (n > 0)
            obey(t, line, n);
    }
    if (t->waiting == TOLD_NOTHING && t->ended)
        service_stop(t->service);
    else if (t->waiting == TOLD_NOTHING)
        event_add(t->input, NULL);
}

static void on_input(evutil_socket_t fd, short what, void *arg)
{
    struct told *t = arg;
    ssize_t n;

    (void)what;
    if (t->len == sizeof(t->buffer)) {
        if (t->waiting == TOLD_NOTHING)
            t->len = 0; /* a line longer than any that we know */
        else
            event_del(t->input); /* enough until this one is answered */
        return;
    }
    n = read(fd, t->buffer + t->len, sizeof(t->buffer) - t->len);
    if (n < 0 && (errno == EAGAIN || errno == EINTR))
        return;
    if (n <= 0) {
        t->ended = true;
        event_del(t->input);
    } else {
        t->len += (size_t)n;
    }
    next_line(t);
}

int told_open(struct service *s)
{
    struct told *t = kw_calloc(1, sizeof(*t));

    s->told = t;
    t->service = s;
    clock_tell(BEFORE_S);
    s->tick_next_s = s->scan_next_s = INT64_MAX;
    fputs("kilnword serve: THE CLOCK IS TOLD on standard input and stands "
          "still otherwise.\nThis is for plays and trials: no time passes by "
          "itself, nothing real may be sent.\n",
          stderr);
    fcntl(STDIN_FILENO, F_SETFL, fcntl(STDIN_FILENO, F_GETFL) | O_NONBLOCK);
    t->check = evtimer_new(s->base, on_check, t);
    t->input =
        event_new(s->base, STDIN_FILENO, EV_READ | EV_PERSIST, on_input, t);
    if (event_add(t->input, NULL) < 0) {
        fputs("kilnword serve: with --told-clock the standard input must be "
              "a pipe or a terminal\n",
              stderr);
        return KW_EIO;
    }
    return 0;
}

void told_close(struct service *s)
{
    struct told *t = s->told;

    if (t == NULL)
        return;
    event_free(t->check);
    event_free(t->input);
    kw_free(t);
    s->told = NULL;
}
