#include "base/clock.h"

#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

static _Atomic bool told;
static _Atomic int64_t told_s;

static int64_t read_ms(clockid_t id)
{
    struct timespec ts;

    clock_gettime(id, &ts);
    return (int64_t)ts.tv_sec * 1000 + ts.tv_nsec / 1000000;
}

int64_t clock_now_ms(void)
{
    if (atomic_load(&told))
        return atomic_load(&told_s) * 1000;
    return read_ms(CLOCK_REALTIME);
}

int64_t clock_now_s(void)
{
    return clock_now_ms() / 1000;
}

int64_t clock_monotonic_us(void)
{
    struct timespec ts;

    clock_gettime(CLOCK_MONOTONIC, &ts);
    return (int64_t)ts.tv_sec * 1000000 + ts.tv_nsec / 1000;
}

void clock_tell(int64_t now_s)
{
    atomic_store(&told_s, now_s);
    atomic_store(&told, true);
}

bool clock_is_told(void)
{
    return atomic_load(&told);
}

bool clock_knows_zone(const char *zone)
{
    char path[256];
    struct stat st;

    if (strcmp(zone, "UTC") == 0)
        return true;
    if (zone[0] == '\0' || zone[0] == '/' || strstr(zone, "..") != NULL)
        return false;
    snprintf(path, sizeof(path), "/usr/share/zoneinfo/%s", zone);
    return stat(path, &st) == 0 && S_ISREG(st.st_mode);
}

int clock_set_zone(const char *zone)
{
    if (!clock_knows_zone(zone))
        return KW_ENOENT;
    setenv("TZ", zone, 1);
    tzset();
    return 0;
}

static void format_tm(const struct tm *tm, const char *fmt, char *dst,
                      size_t cap)
{
    if (strftime(dst, cap, fmt, tm) == 0 && cap > 0)
        dst[0] = '\0';
}

void clock_format_utc(int64_t at_s, char *dst, size_t cap)
{
    time_t t = (time_t)at_s;
    struct tm tm;

    gmtime_r(&t, &tm);
    format_tm(&tm, "%Y-%m-%dT%H:%M:%SZ", dst, cap);
}

static struct tm local_tm(int64_t at_s)
{
    time_t t = (time_t)at_s;
    struct tm tm;

    localtime_r(&t, &tm);
    return tm;
}

void clock_format_local(int64_t at_s, char *dst, size_t cap)
{
    struct tm tm = local_tm(at_s);

    format_tm(&tm, "%Y-%m-%d %H:%M", dst, cap);
}

void clock_format_day(int64_t at_s, char *dst, size_t cap)
{
    struct tm tm = local_tm(at_s);

    format_tm(&tm, "%Y-%m-%d", dst, cap);
}

/* Whether the fields name a moment that exists. */
static bool plausible(const struct tm *tm)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    int year = tm->tm_year + 1900;
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;

    if (year < 1970 || year > 2200 || tm->tm_mon < 0 || tm->tm_mon > 11)
        return false;
    if (tm->tm_mday < 1 ||
        tm->tm_mday > days[tm->tm_mon] + (leap && tm->tm_mon == 1))
        return false;
    return tm->tm_hour <= 23 && tm->tm_min <= 59 && tm->tm_sec <= 59;
}

int clock_parse(const char *s, size_t len, int64_t *at_s)
{
    static const char *const forms[] = {"%Y-%m-%dT%H:%M:%SZ", "%Y-%m-%d",
                                        "%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S"};
    char text[40];

    if (kw_copy(text, sizeof(text), s, len) < 0 || len < 10)
        return KW_EINVAL;
    for (size_t i = 0; i < KW_COUNT(forms); i++) {
        struct tm tm = {.tm_isdst = -1};
        const char *end = strptime(text, forms[i], &tm);
        struct tm asked = tm;

        if (end == NULL || *end != '\0')
            continue;
        if (!plausible(&asked))
            return KW_EINVAL;
        *at_s = i == 0 ? (int64_t)timegm(&tm) : (int64_t)mktime(&tm);
        return 0;
    }
    return KW_EINVAL;
}

int clock_second_of_day(int64_t at_s)
{
    struct tm tm = local_tm(at_s);

    return tm.tm_hour * 3600 + tm.tm_min * 60 + tm.tm_sec;
}

int64_t clock_midnight(int64_t at_s)
{
    struct tm tm = local_tm(at_s);

    tm.tm_hour = tm.tm_min = tm.tm_sec = 0;
    tm.tm_isdst = -1;
    return (int64_t)mktime(&tm);
}

int clock_month(int64_t at_s)
{
    return local_tm(at_s).tm_mon + 1;
}
