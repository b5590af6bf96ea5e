#ifndef KW_CALLERS_H
#define KW_CALLERS_H
/*
 * callers.h - a load of HTTP callers for the benches: kept connections, each
 * with one request under way at all times. One thread, epoll. Whatever is
 * not a 200, or takes 30 s, ends the bench.
 */
#include "base/kw.h"

#define CALLERS_MOST           1000
#define CALLERS_LATENCIES_MOST 400000

struct callers_order {
    int port;        /* on this machine */
    int connections; /* up to CALLERS_MOST */
    double seconds;
    void (*make)(char *dst, size_t cap); /* writes a whole request */
};

struct callers_latencies {
    double us[CALLERS_LATENCIES_MOST];
    size_t n;
};

/* Answers a second; the time of each answer in *out. */
double callers_run(const struct callers_order *order,
                   struct callers_latencies *out);
/*
 * So many a second on average, each when it is due, by a free connection or
 * the next one that is. The times count from when each was due.
 */
void callers_arrive(const struct callers_order *order, double a_second,
                    struct callers_latencies *out);
#endif
