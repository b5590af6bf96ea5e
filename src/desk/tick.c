/*
 * tick.c - what is due by the clock: the digest once a day, reminders once a
 * day at a decent hour, and the dropping of words that were kept long enough.
 * Marks in the ledger say how far each has come, so that a day of standing
 * still sends one digest and not two, and no reminder twice.
 */
#include "desk/inner.h"

#include "base/clock.h"
#include "base/log.h"
#include "desk/digest.h"
#include "desk/session.h"
#include "ledger/due.h"

#include <string.h>

#define REMIND_MINUTE 600 /* 10:00 in the programme's zone */
#define DROP_AT_ONCE  500 /* texts in one tick */
#define DROP_EVERY_S  3600

/* The moment of that minute of the day that begins at midnight, whatever the
 * clock does on the day of summer time. */
static int64_t minute_of_day(int64_t midnight, int minute)
{
    int64_t at = midnight + (int64_t)minute * 60;

    return at - (clock_second_of_day(at) - minute * 60);
}

struct daily {        /* a thing done once a day */
    const char *mark; /* where the ledger keeps the day it was done */
    int minute;       /* of the local day */
    int (*run)(struct desk *d, struct ledger *lg, int64_t now_s);
};

/*
 * Does it when its minute has come and it was not done today; a new ledger
 * begins with the next one. *next_s comes down to when it is due next.
 */
static int daily(struct desk *d, struct ledger *lg, const struct daily *what,
                 int64_t now_s, int64_t *next_s)
{
    int64_t today = clock_midnight(now_s), done = 0;
    int64_t at = minute_of_day(today, what->minute);
    int64_t next =
        minute_of_day(clock_midnight(today + 36 * 3600), what->minute);
    int err = ledger_mark_get(lg, what->mark, &done);

    if (err == KW_ENOENT) {
        done = now_s >= at ? today : today - 1;
        err = ledger_mark_put(lg, what->mark, done);
    }
    if (err < 0)
        return err;
    if (now_s < at && done < today)
        next = at;
    *next_s = next < *next_s ? next : *next_s;
    if (now_s < at || done >= today)
        return 0;
    err = what->run(d, lg, now_s);
    return err < 0 ? err : ledger_mark_put(lg, what->mark, today);
}

/* ---- digest ---- */

static int digest_to(struct desk *d, struct ledger *lg, int64_t now_s,
                     const struct config_person *person)
{
    const struct config *conf = d->conf;
    struct ledger_out o = {.kind = LEDGER_DIGEST,
                           .priority = LEDGER_PRIORITY_DIGEST,
                           .at_s = now_s,
                           .due_s = now_s,
                           .expires_s = now_s + CLOCK_DAY_S};
    struct digest_of of = {.conf = conf,
                           .layout = &d->layout,
                           .from_s = now_s - CLOCK_DAY_S,
                           .to_s = now_s};
    struct ledger_phone p;
    struct kw_buf body;
    char number[LEDGER_PHONE_CAP];
    const char *lang, *carrier;
    int err;

    desk_number(conf, person->phone, number, sizeof(number));
    if ((err = ledger_phone_take(lg, number, &p)) < 0 || p.stopped)
        return err;
    lang = desk_lang(d, (const char *const[]){p.lang, person->lang}, 2);
    carrier = desk_carrier(d, &p, person);
    o.phone_id = p.id;
    kw_buf_init(&body, LEDGER_BODY_CAP - 1);
    of.lang = lang;
    err = digest_text(&of, d->replies, lg, &body);
    if (err == 0)
        err = kw_copy(o.body, sizeof(o.body), body.data, body.len);
    if (err == 0)
        err = kw_copy(o.carrier, sizeof(o.carrier), carrier, strlen(carrier));
    kw_buf_release(&body);
    return err < 0 ? err : ledger_out_put(lg, &o);
}

static int digest_all(struct desk *d, struct ledger *lg, int64_t now_s)
{
    int err = 0;

    for (size_t i = 0; err == 0 && i < d->conf->n_people; i++) {
        const struct config_person *p = &d->conf->people[i];

        if (ledger_role_from_name(p->role) == LEDGER_COORDINATOR)
            err = digest_to(d, lg, now_s, p);
    }
    return err;
}

/* ---- reminders ---- */

struct reminding {
    struct desk *d;
    struct ledger *lg;
    int64_t now_s;
};

static int remind(const struct due_pot *pot, void *arg)
{
    struct reminding *rm = arg;
    struct desk *d = rm->d;
    struct ledger_out o = {.kind = LEDGER_REMINDER,
                           .priority = LEDGER_PRIORITY_REPLY,
                           .at_s = rm->now_s,
                           .due_s = rm->now_s,
                           .expires_s = rm->now_s + d->conf->reply_expires_s,
                           .phone_id = pot->phone_id};
    struct ledger_phone phone;
    struct ledger_home home;
    char serial[SERIAL_CAP + 4];
    const char *lang, *carrier;
    struct kw_buf body;
    int err;

    if (pot->phone_id == 0 || pot->stopped)
        return 0;
    if ((err = ledger_phone_get(rm->lg, pot->phone_id, &phone)) < 0 ||
        (err = ledger_home_get(rm->lg, pot->home_id, &home)) < 0)
        return err;
    lang = desk_lang(
        d, (const char *const[]){phone.lang, phone.lang_seen, home.lang}, 3);
    carrier = desk_carrier(d, &phone, NULL);
    serial_format(&d->layout, pot->serial, serial, sizeof(serial));
    kw_buf_init(&body, LEDGER_BODY_CAP - 1);
    err = reply_write(d->replies, lang, "remind",
                      &(struct reply_slots){.serial = serial}, &body);
    if (err == 0)
        err = kw_copy(o.body, sizeof(o.body), body.data, body.len);
    if (err == 0)
        err = kw_copy(o.carrier, sizeof(o.carrier), carrier, strlen(carrier));
    kw_buf_release(&body);
    return err < 0 ? err : ledger_out_put(rm->lg, &o);
}

/* Low readings that have become old enough since the last time. */
static int remind_all(struct desk *d, struct ledger *lg, int64_t now_s)
{
    static const char mark[] = "reminded of readings up to";
    struct reminding rm = {d, lg, now_s};
    int64_t upto = now_s - (int64_t)d->conf->remeasure_days * CLOCK_DAY_S;
    int64_t after = upto - CLOCK_DAY_S;
    int err = ledger_mark_get(lg, mark, &after);

    if (err < 0 && err != KW_ENOENT)
        return err;
    if (upto <= after)
        return 0;
    /* After a long standstill the oldest are no longer worth a text. */
    if (upto - after > 30 * (int64_t)CLOCK_DAY_S)
        after = upto - 30 * (int64_t)CLOCK_DAY_S;
    err = due_remeasure_each(
        lg, &(struct due_period){.from_s = after, .to_s = upto}, remind, &rm);
    return err < 0 ? err : ledger_mark_put(lg, mark, upto);
}

/* ---- words ---- */

static int drop_words(struct desk *d, struct ledger *lg, int64_t now_s,
                      int64_t *next_s)
{
    int64_t before = now_s - (int64_t)d->conf->text_keep_days * CLOCK_DAY_S;
    int n;

    *next_s = now_s + DROP_EVERY_S;
    if (d->conf->text_keep_days == 0)
        return 0;
    n = ledger_words_drop(lg, before, DROP_AT_ONCE);
    if (n >= DROP_AT_ONCE)
        *next_s = now_s + 1;
    return n < 0 ? n : 0;
}

int desk_tick(struct desk *d, struct ledger *lg, int64_t now_s, int64_t *next_s)
{
    const struct daily reminder = {"reminder day", REMIND_MINUTE, remind_all};
    const struct daily digest = {"digest day", d->conf->digest_minute,
                                 digest_all};
    int err = drop_words(d, lg, now_s, next_s);

    if (err == 0)
        err = desk_sessions_left(d, lg, now_s, next_s);
    if (err == 0)
        err = flow_learn(d->conf, lg, now_s, next_s);
    if (err == 0)
        err = daily(d, lg, &reminder, now_s, next_s);
    if (err == 0 && digest.minute >= 0)
        err = daily(d, lg, &digest, now_s, next_s);
    return err;
}
