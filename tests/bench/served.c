/* served.c - see served.h. */
#include "tests/bench/served.h"

#include "base/clock.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

static void die(const char *what)
{
    fprintf(stderr, "bench: %s: %s\n", what, strerror(errno));
    exit(1);
}

void served_start(struct served *s, const char *conf)
{
    char path[4096], line[200];
    int out[2];
    int64_t began_us = clock_monotonic_us();
    FILE *f;

    snprintf(path, sizeof(path), "%s/src/kilnword",
             getenv("KW_BUILD") ? getenv("KW_BUILD") : ".");
    if (pipe2(out, O_CLOEXEC) < 0 || (s->pid = fork()) < 0)
        die("fork");
    if (s->pid == 0) {
        dup2(out[1], 1);
        execl(path, "kilnword", "serve", "--config", conf, "--log", "error",
              (char *)NULL);
        die(path);
    }
    close(out[1]);
    f = fdopen(out[0], "r");
    if (f == NULL || fgets(line, sizeof(line), f) == NULL ||
        strrchr(line, ':') == NULL)
        die("the service does not start");
    s->start_ms = (double)(clock_monotonic_us() - began_us) / 1000;
    s->port = (int)strtol(strrchr(line, ':') + 1, NULL, 10);
    fclose(f);
}

void served_wait(struct served *s)
{
    int status;

    waitpid(s->pid, &status, 0);
    if (!WIFEXITED(status) || WEXITSTATUS(status) != 0) {
        fprintf(stderr, "bench: the service ended badly\n");
        exit(1);
    }
}

void served_stop(struct served *s)
{
    kill(s->pid, SIGTERM);
    served_wait(s);
}

double served_mib(const struct served *s)
{
    char path[64], line[200];
    double kib = NAN;
    FILE *f;

    snprintf(path, sizeof(path), "/proc/%d/status", (int)s->pid);
    f = fopen(path, "r");
    while (f != NULL && fgets(line, sizeof(line), f) != NULL) {
        if (strncmp(line, "VmRSS:", 6) == 0)
            kib = strtod(line + 6, NULL);
    }
    if (f != NULL)
        fclose(f);
    return kib / 1024;
}

/* Fields 14 and 15 of proc(5)'s stat, behind the name in brackets. */
double served_cpu_s(const struct served *s)
{
    char path[64], line[1000], *p;
    unsigned long user = 0, system = 0;
    FILE *f;

    snprintf(path, sizeof(path), "/proc/%d/stat", (int)s->pid);
    f = fopen(path, "r");
    if (f == NULL || fgets(line, sizeof(line), f) == NULL ||
        (p = strrchr(line, ')')) == NULL)
        die(path);
    fclose(f);
    for (int field = 2; field < 14 && p != NULL; field++)
        p = strchr(p + 1, ' ');
    if (p == NULL || sscanf(p, " %lu %lu", &user, &system) != 2)
        die(path);
    return (double)(user + system) / (double)sysconf(_SC_CLK_TCK);
}
