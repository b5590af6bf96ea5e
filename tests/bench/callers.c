/* callers.c - see callers.h. */
#include "tests/bench/callers.h"

#include "base/clock.h"

#include <arpa/inet.h>
#include <errno.h>
#include <math.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/socket.h>
#include <sys/timerfd.h>
#include <unistd.h>

struct caller {
    int fd;
    int64_t began_us;
    char request[512], answer[2048];
    size_t got;
};

static struct caller callers[CALLERS_MOST];

static void die(const char *what)
{
    fprintf(stderr, "callers: %s: %s\n", what, strerror(errno));
    exit(1);
}

/* began_us: when it was due. */
static void call(struct caller *c, const struct callers_order *order,
                 int64_t began_us)
{
    ssize_t len;

    order->make(c->request, sizeof(c->request));
    len = (ssize_t)strlen(c->request);
    c->got = 0;
    c->began_us = began_us;
    if (write(c->fd, c->request, (size_t)len) != len)
        die("write");
}

/* Whether the answer is whole; ends the bench when it is not a 200. */
static bool is_whole(struct caller *c)
{
    const char *end, *length;

    c->answer[c->got] = '\0';
    end = strstr(c->answer, "\r\n\r\n");
    if (end == NULL)
        return false;
    length = strstr(c->answer, "Content-Length: ");
    if (strncmp(c->answer, "HTTP/1.1 200", 12) != 0 || length == NULL) {
        fprintf(stderr, "callers: answered %.200s\n", c->answer);
        exit(1);
    }
    return c->got >=
           (size_t)(end - c->answer) + 4 + strtoul(length + 16, NULL, 10);
}

static void open_callers(const struct callers_order *order, int ep)
{
    struct sockaddr_in to = {.sin_family = AF_INET,
                             .sin_port = htons((uint16_t)order->port),
                             .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    int one = 1;

    for (int i = 0; i < order->connections; i++) {
        struct epoll_event e = {.events = EPOLLIN, .data.u32 = (uint32_t)i};
        int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

        if (fd < 0 || connect(fd, (struct sockaddr *)&to, sizeof(to)) < 0)
            die("connect");
        setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof(one));
        epoll_ctl(ep, EPOLL_CTL_ADD, fd, &e);
        callers[i].fd = fd;
    }
}

static void close_callers(const struct callers_order *order, int ep)
{
    for (int i = 0; i < order->connections; i++)
        close(callers[i].fd);
    close(ep);
}

static bool take_answer(struct caller *c, struct callers_latencies *out)
{
    ssize_t n = read(c->fd, c->answer + c->got, sizeof(c->answer) - 1 - c->got);

    if (n <= 0)
        die("the service closed a connection");
    c->got += (size_t)n;
    if (!is_whole(c))
        return false;
    if (out->n < CALLERS_LATENCIES_MOST)
        out->us[out->n++] = (double)(clock_monotonic_us() - c->began_us);
    return true;
}

double callers_run(const struct callers_order *order,
                   struct callers_latencies *out)
{
    int ep = epoll_create1(EPOLL_CLOEXEC), busy = order->connections;
    int64_t began_us = clock_monotonic_us(), now_us = began_us, done = 0;

    out->n = 0;
    open_callers(order, ep);
    for (int i = 0; i < busy; i++)
        call(&callers[i], order, clock_monotonic_us());
    while (busy > 0) {
        struct epoll_event e[64];
        int ready = epoll_wait(ep, e, 64, 30000);

        if (ready <= 0)
            die("no answer for 30 s");
        for (int i = 0; i < ready; i++) {
            struct caller *c = &callers[e[i].data.u32];

            if (!take_answer(c, out))
                continue;
            done++;
            if ((double)(now_us - began_us) < order->seconds * 1e6)
                call(c, order, clock_monotonic_us());
            else
                busy--;
        }
        now_us = clock_monotonic_us();
    }
    close_callers(order, ep);
    return (double)done * 1e6 / (double)(now_us - began_us);
}

/* ---- at a rate ---- */

struct arrivals {
    int64_t *due_us; /* of each text, in order */
    int n, begun, done;
    int idle[CALLERS_MOST], n_idle;
    int timer;
};

/* As texts come: each on its own, so that the gaps are exponential. */
static void plan(struct arrivals *a, const struct callers_order *order,
                 double a_second)
{
    double at = (double)clock_monotonic_us() + 10000;

    a->n = (int)(a_second * order->seconds) + 1;
    a->due_us = kw_calloc((size_t)a->n, sizeof(*a->due_us));
    for (int i = 0; i < a->n; i++) {
        a->due_us[i] = (int64_t)at;
        at += -log(1 - drand48()) * 1e6 / a_second;
    }
    for (int i = 0; i < order->connections; i++)
        a->idle[a->n_idle++] = i;
}

static void begin_due(struct arrivals *a, const struct callers_order *order)
{
    struct itimerspec when = {0};
    int64_t wait_us;

    while (a->begun < a->n && a->n_idle > 0 &&
           a->due_us[a->begun] <= clock_monotonic_us())
        call(&callers[a->idle[--a->n_idle]], order, a->due_us[a->begun++]);
    if (a->begun == a->n || a->n_idle == 0)
        return;
    wait_us = a->due_us[a->begun] - clock_monotonic_us();
    wait_us = wait_us > 0 ? wait_us : 1;
    when.it_value.tv_sec = wait_us / 1000000;
    when.it_value.tv_nsec = wait_us % 1000000 * 1000;
    timerfd_settime(a->timer, 0, &when, NULL);
}

void callers_arrive(const struct callers_order *order, double a_second,
                    struct callers_latencies *out)
{
    int ep = epoll_create1(EPOLL_CLOEXEC);
    struct arrivals a = {.timer =
                             timerfd_create(CLOCK_MONOTONIC, TFD_NONBLOCK)};
    struct epoll_event e[64] = {{.events = EPOLLIN, .data.u32 = CALLERS_MOST}};

    out->n = 0;
    open_callers(order, ep);
    plan(&a, order, a_second);
    epoll_ctl(ep, EPOLL_CTL_ADD, a.timer, &e[0]);
    while (a.done < a.n) {
        int ready;

        begin_due(&a, order);
        ready = epoll_wait(ep, e, 64, 30000);
        if (ready <= 0)
            die("no answer for 30 s");
        for (int i = 0; i < ready; i++) {
            uint32_t who = e[i].data.u32;
            uint64_t ticks;

            if (who == CALLERS_MOST) {
                if (read(a.timer, &ticks, sizeof(ticks)) < 0 && errno != EAGAIN)
                    die("timer");
            } else if (take_answer(&callers[who], out)) {
                a.done++;
                a.idle[a.n_idle++] = (int)who;
            }
        }
    }
    kw_free(a.due_us);
    close(a.timer);
    close_callers(order, ep);
}
