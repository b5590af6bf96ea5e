#ifndef KW_SERVED_H
#define KW_SERVED_H
/*
 * served.h - the service itself for the benches: $KW_BUILD/src/kilnword
 * serve. What goes wrong ends the bench.
 */
#include "base/kw.h"

#include <sys/types.h>

struct served {
    pid_t pid;
    int port;        /* that it listens on */
    double start_ms; /* to listening */
};

void served_start(struct served *s, const char *conf);
void served_wait(struct served *s);          /* for its end, after a signal */
void served_stop(struct served *s);          /* sends the signal, too */
double served_mib(const struct served *s);   /* resident */
double served_cpu_s(const struct served *s); /* processor time so far */
#endif
