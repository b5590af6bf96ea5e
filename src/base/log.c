#include "base/log.h"
#include "base/clock.h"

#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>

static _Atomic int least_level = LOG_INFO;
static const char *const names[] = {"debug", "info", "warning", "error"};

void log_set_level(enum log_level least)
{
    atomic_store(&least_level, (int)least);
}

void log_line(enum log_level level, const char *fmt, ...)
{
    char line[1024], at[CLOCK_TEXT_CAP];
    va_list ap;

    if ((int)level < atomic_load(&least_level))
        return;
    va_start(ap, fmt);
    vsnprintf(line, sizeof(line), fmt, ap);
    va_end(ap);
    clock_format_utc(clock_now_s(), at, sizeof(at));
    /* One call, so that lines of two threads do not mix. */
    fprintf(stderr, "%s %s: %s\n", at, names[level], line);
}
