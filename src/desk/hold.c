/*
 * hold.c - what holds texts back before they go out: quiet hours, and the
 * day's ceiling of segments. The coordinators hear of the ceiling once a day,
 * before it stops anything. Danger is held back by neither. They also hear of
 * a card that has little credit left, for that would hold back all.
 */
#include "desk/inner.h"

#include "base/clock.h"
#include "base/log.h"
#include "ledger/traffic.h"

#include <stdio.h>

#define ALARM_MARK "cost alarm day"

/* Seconds from midnight; the end lies on the next day when it is earlier. */
static bool within(int second, int from, int to)
{
    return from < to ? second >= from && second < to
                     : second >= from || second < to;
}

int64_t desk_quiet_until(const struct config *conf, int64_t now_s)
{
    int from = conf->quiet_from_minute * 60, to = conf->quiet_to_minute * 60;
    int second = clock_second_of_day(now_s);
    int64_t end;

    if (from < 0 || to < 0 || from == to || !within(second, from, to))
        return 0;
    end = clock_midnight(now_s);
    if (second >= to) /* tomorrow; noon keeps clear of changes of the clock */
        end = clock_midnight(end + 36 * 3600);
    end += to;
    return end - (clock_second_of_day(end) - to);
}

/* Once a day, to each coordinator. */
static int tell(struct desk *d, struct ledger *lg, int64_t now_s, int64_t spent)
{
    int64_t today = clock_midnight(now_s), told = 0;
    struct raise r = {.d = d, .lg = lg, .now_s = now_s, .key = "alert-cost"};
    int err = ledger_mark_get(lg, ALARM_MARK, &told);

    if ((err < 0 && err != KW_ENOENT) || told == today)
        return err == KW_ENOENT ? 0 : err;
    r.slots.count = (int)spent;
    r.slots.total = d->conf->segments_a_day;
    log_warn("%lld segments went out today, of %d that the configuration "
             "allows",
             (long long)spent, d->conf->segments_a_day);
    err = raise_tell(&r, LEDGER_ALERT, LEDGER_PRIORITY_ALERT, 0);
    return err < 0 ? err : ledger_mark_put(lg, ALARM_MARK, today);
}

int desk_credit_low(struct desk *d, struct ledger *lg, int64_t now_s,
                    const char *carrier, double amount)
{
    char mark[LEDGER_NAME_CAP + 24];
    int64_t today = clock_midnight(now_s), told = 0;
    struct raise r = {.d = d, .lg = lg, .now_s = now_s, .key = "alert-credit"};
    int err;

    snprintf(mark, sizeof(mark), "credit alarm day %s", carrier);
    err = ledger_mark_get(lg, mark, &told);
    if ((err < 0 && err != KW_ENOENT) || told == today)
        return err == KW_ENOENT ? 0 : err;
    r.slots.words = carrier;
    r.slots.count = (int)amount;
    err = raise_tell(&r, LEDGER_ALERT, LEDGER_PRIORITY_ALERT, 0);
    return err < 0 ? err : ledger_mark_put(lg, mark, today);
}

int desk_hold(struct desk *d, struct ledger *lg, struct ledger_claim *c)
{
    const struct config *conf = d->conf;
    int64_t today = clock_midnight(c->now_s), spent;
    struct traffic_day day;
    int err;

    c->quiet_until_s = desk_quiet_until(conf, c->now_s);
    if (conf->segments_a_day == 0)
        return 0;
    if ((err = traffic_of_day(lg, today, &day)) < 0)
        return err;
    spent = traffic_sum(day.sent);
    c->spent_until_s = clock_midnight(today + 36 * 3600);
    c->segments_left = conf->segments_a_day - spent;
    if (spent * 100 <
        (int64_t)conf->segments_a_day * conf->segments_alarm_percent)
        return 0;
    return tell(d, lg, c->now_s, spent);
}
