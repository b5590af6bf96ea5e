/*
 * resolve.c - a detached thread asks, writes its answer into the shared part
 * and wakes the loop through an eventfd. Whoever lets go last frees it.
 */
#include "carrier/resolve.h"

#include <event2/event.h>
#include <netdb.h>
#include <pthread.h>
#include <stdio.h>
#include <string.h>
#include <sys/eventfd.h>
#include <unistd.h>

struct resolve {
    pthread_mutex_t lock;
    int holders; /* the thread and the loop */
    int fd;
    char host[256], port[8];
    unsigned nth;
    struct resolve_answer answer;
    struct event *event;
    void (*done)(void *arg, const struct resolve_answer *a);
    void *arg;
};

static void let_go(struct resolve *r)
{
    int left;

    pthread_mutex_lock(&r->lock);
    left = --r->holders;
    pthread_mutex_unlock(&r->lock);
    if (left > 0)
        return;
    close(r->fd);
    pthread_mutex_destroy(&r->lock);
    kw_free(r);
}

/* The nth of the addresses, in turn. */
static void choose(struct resolve *r, struct addrinfo *found)
{
    struct addrinfo *a;
    unsigned n = 0;

    for (a = found; a != NULL; a = a->ai_next)
        n++;
    a = found;
    for (unsigned i = 0; i < r->nth % n; i++)
        a = a->ai_next;
    memcpy(&r->answer.address, a->ai_addr, a->ai_addrlen);
    r->answer.len = a->ai_addrlen;
    freeaddrinfo(found);
}

static void *run(void *arg)
{
    struct resolve *r = arg;
    struct addrinfo hints = {.ai_socktype = SOCK_STREAM,
                             .ai_flags = AI_NUMERICSERV},
                    *found = NULL;
    int err = getaddrinfo(r->host, r->port, &hints, &found);
    uint64_t one = 1;

    pthread_mutex_lock(&r->lock);
    if (err != 0)
        r->answer.why = gai_strerror(err);
    else
        choose(r, found);
    pthread_mutex_unlock(&r->lock);
    if (write(r->fd, &one, sizeof(one)) < 0) {
        /* The loop's own time limit comes instead. */
    }
    let_go(r);
    return NULL;
}

static void on_answer(evutil_socket_t fd, short what, void *arg)
{
    struct resolve *r = arg;
    struct resolve_answer answer;

    (void)fd, (void)what;
    pthread_mutex_lock(&r->lock);
    answer = r->answer;
    pthread_mutex_unlock(&r->lock);
    event_free(r->event);
    r->done(r->arg, &answer);
    let_go(r);
}

struct resolve *resolve_start(
    struct event_base *base, const struct resolve_ask *ask,
    void (*done)(void *arg, const struct resolve_answer *a), void *arg)
{
    struct resolve *r = kw_calloc(1, sizeof(*r));
    pthread_attr_t attr;
    pthread_t thread;

    pthread_mutex_init(&r->lock, NULL);
    r->holders = 2;
    r->fd = eventfd(0, EFD_NONBLOCK | EFD_CLOEXEC);
    r->done = done;
    r->nth = ask->nth;
    r->arg = arg;
    r->event = event_new(base, r->fd, EV_READ, on_answer, r);
    event_add(r->event, NULL);
    snprintf(r->port, sizeof(r->port), "%d", ask->port);
    if (kw_copy(r->host, sizeof(r->host), ask->host, strlen(ask->host)) < 0)
        r->host[0] = '\0';
    pthread_attr_init(&attr);
    pthread_attr_setdetachstate(&attr, PTHREAD_CREATE_DETACHED);
    if (pthread_create(&thread, &attr, run, r) != 0) {
        r->holders = 1;
        r->answer.why = "no thread could be started";
        event_active(r->event, EV_READ, 0);
    }
    pthread_attr_destroy(&attr);
    return r;
}

void resolve_cancel(struct resolve *r)
{
    event_free(r->event);
    let_go(r);
}
