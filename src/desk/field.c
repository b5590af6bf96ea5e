/*
 * field.c - what field workers write: a pot given to a home, two pots
 * swapped, a home moved, the list of homes to see. A visit with something
 * seen is a report and filed as any other.
 */
#include "desk/inner.h"

#include "ledger/batchstate.h"
#include "ledger/due.h"
#include "ledger/look.h"
#include "ledger/notebook.h"
#include "watch/detector.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <utf8proc.h>

static void shown(const struct taking *t, const char *serial, char *dst,
                  size_t cap)
{
    if (serial[0] != '\0')
        serial_format(&t->d->layout, serial, dst, cap);
    else
        kw_copy(dst, cap, "0214-073-19", 11);
}

/* ---- gave POT PHONE PLACE ---- */

/* The home of that phone; a new one when it has none. */
static int home_for(struct taking *t, const struct ledger_phone *phone,
                    int64_t place_id, struct ledger_home *home)
{
    enum ledger_change change;
    int err = ledger_home_of_phone(t->lg, phone->id, home);

    if (err == KW_ENOENT) {
        *home = (struct ledger_home){.phone_id = phone->id, .consent = -1};
        snprintf(home->code, sizeof(home->code), "t%lld",
                 (long long)t->text_id);
        err = 0;
    }
    if (err < 0 || (home->id != 0 && home->place_id == place_id))
        return err;
    home->place_id = place_id;
    return ledger_home_put(t->lg, home, &change);
}

/* The household hears how to use the line, unless it wants to hear nothing. */
static int welcome(struct taking *t, const struct ledger_phone *phone,
                   const struct ledger_home *home, const char *serial)
{
    struct ledger_out o = {.kind = LEDGER_REMINDER,
                           .priority = LEDGER_PRIORITY_REPLY,
                           .at_s = t->at_s,
                           .due_s = t->at_s,
                           .expires_s = t->at_s + t->d->conf->reply_expires_s,
                           .phone_id = phone->id};
    struct ledger_place place = {.lang = ""};
    const char *carrier = desk_carrier(t->d, phone, NULL), *lang;
    struct kw_buf body;
    int err;

    if (t->in->quiet || phone->stopped || home->consent == 0)
        return 0;
    if (home->place_id != 0 &&
        (err = ledger_place_get(t->lg, home->place_id, &place)) < 0)
        return err;
    lang = desk_lang(t->d,
                     (const char *const[]){phone->lang, phone->lang_seen,
                                           home->lang, place.lang},
                     4);
    kw_buf_init(&body, LEDGER_BODY_CAP - 1);
    err = reply_write(t->d->replies, lang, "new-pot",
                      &(struct reply_slots){.serial = serial}, &body);
    if (err == 0)
        err = kw_copy(o.body, sizeof(o.body), body.data, body.len);
    if (err == 0)
        err = kw_copy(o.carrier, sizeof(o.carrier), carrier, strlen(carrier));
    kw_buf_release(&body);
    return err < 0 ? err : ledger_out_put(t->lg, &o);
}

/* Its batch fails: nothing of it should go out. 1 when that was said. */
static int say_hold(struct taking *t, const char *serial)
{
    struct batchstate state;
    struct ledger_batch batch;
    int err = batchstate_get(t->lg, t->pot.batch_id, &state);

    if (err == KW_ENOENT || (err == 0 && state.state != DETECTOR_FAILING))
        return 0;
    if (err == 0)
        err = ledger_batch_get(t->lg, t->pot.batch_id, &batch);
    if (err == 0)
        err = commands_say(
            t, "gave-hold",
            &(struct reply_slots){.serial = serial, .batch = batch.code});
    return err < 0 ? err : 1;
}

static int give(struct taking *t, const struct ledger_place *place)
{
    char number[LEDGER_PHONE_CAP], serial[SERIAL_CAP + 4];
    struct ledger_phone phone;
    struct ledger_home home;
    int64_t handover;
    int err;

    desk_number(t->d->conf, t->m.phone, number, sizeof(number));
    if ((err = ledger_phone_take(t->lg, number, &phone)) < 0 ||
        (err = home_for(t, &phone, place->id, &home)) < 0)
        return err;
    shown(t, t->pot.serial, serial, sizeof(serial));
    err = ledger_handover_put(t->lg, t->pot.key, home.id, t->at_s, &handover);
    if (err == KW_EINVAL)
        return commands_say(t, "gave-what",
                            &(struct reply_slots){.serial = serial});
    if (err < 0 || (err = welcome(t, &phone, &home, serial)) < 0 ||
        (err = say_hold(t, serial)) != 0)
        return err < 0 ? err : 0;
    return commands_say(t, "gave-done",
                        &(struct reply_slots){.serial = serial,
                                              .place = place->name,
                                              .phone = phone.number});
}

/* Case and marks folded away; the caller's to free(). */
static char *folded(const char *s)
{
    utf8proc_uint8_t *out = NULL;

    if (utf8proc_map((const utf8proc_uint8_t *)s, 0, &out,
                     UTF8PROC_NULLTERM | UTF8PROC_COMPAT | UTF8PROC_STABLE |
                         UTF8PROC_DECOMPOSE | UTF8PROC_CASEFOLD |
                         UTF8PROC_STRIPMARK) < 0)
        return NULL;
    return (char *)out;
}

static bool same_folded(const char *a, const char *b)
{
    char *fa = folded(a), *fb = folded(b);
    bool same = fa != NULL && fb != NULL && strcmp(fa, fb) == 0;

    free(fa);
    free(fb);
    return same;
}

int field_place(struct taking *t, const char *name, struct ledger_place *out)
{
    struct look_near near;
    int err = ledger_place_find(t->lg, name, out);

    if (err != KW_ENOENT)
        return err;
    if ((err = look_near(t->lg, LOOK_PLACE, name, &near)) < 0)
        return err;
    for (int i = 0; i < near.n; i++) {
        if (same_folded(near.names[i], name))
            return ledger_place_find(t->lg, near.names[i], out);
    }
    return KW_ENOENT;
}

/* The place named in the text; KW_ENOENT after saying so. */
static int place_named(struct taking *t, struct ledger_place *place)
{
    int err = field_place(t, t->m.word, place);
    int said;

    if (err != KW_ENOENT)
        return err;
    said =
        commands_say(t, "no-place", &(struct reply_slots){.place = t->m.word});
    return said < 0 ? said : KW_ENOENT;
}

/* Says so when the pot must not come into a home. */
static int refuse_failed(struct taking *t, const struct ledger_pot *pot)
{
    char serial[SERIAL_CAP + 4];
    bool kept_back = false;
    double litres = 0;
    int err = ledger_test_kept_back(t->lg, pot, &kept_back, &litres);

    if (err < 0 && err != KW_ENOENT)
        return err;
    shown(t, pot->serial, serial, sizeof(serial));
    if (pot->failed_s == 0 && pot->fast_alert_id == 0 && pot->recalled_s == 0)
        return kept_back ? commands_say(t, "gave-tested",
                                        &(struct reply_slots){.serial = serial,
                                                              .litres = litres})
                         : 0;
    return commands_say(t, pot->recalled_s ? "gave-recalled" : "gave-failed",
                        &(struct reply_slots){.serial = serial});
}

/* The pot named in the text may be handed on; else asks. */
static bool pot_is_known(struct taking *t)
{
    if (t->m.serial[0] == '\0' || t->m.serial_from_hint)
        return false;
    if (t->pot.key == 0 || t->pot.scrapped) {
        t->ask = t->pot.key == 0 ? "ask-unknown" : "ask-not-out";
        t->why = t->pot.key == 0 ? "unknown" : "scrapped";
        return false;
    }
    return true;
}

static int gave(struct taking *t)
{
    struct ledger_place place;
    char serial[SERIAL_CAP + 4];
    int err;

    shown(t, t->m.serial, serial, sizeof(serial));
    if (!pot_is_known(t) || t->m.phone[0] == '\0' || t->m.word[0] == '\0')
        return t->ask ? 0
                      : commands_say(t, "gave-what",
                                     &(struct reply_slots){.serial = serial});
    if ((err = refuse_failed(t, &t->pot)) < 0 || t->said)
        return err;
    err = place_named(t, &place);
    if (err < 0)
        return err == KW_ENOENT ? 0 : err;
    return give(t, &place);
}

/* ---- swapped OLD NEW ---- */

static int swap(struct taking *t, const struct ledger_pot *fresh)
{
    char serial[SERIAL_CAP + 4], other[SERIAL_CAP + 4];
    struct reply_slots slots = {.serial = serial, .other = other};
    int64_t home_id = t->pot.home_id, handover;
    int err;

    shown(t, t->pot.serial, serial, sizeof(serial));
    shown(t, fresh->serial, other, sizeof(other));
    if (home_id == 0) {
        t->ask = "ask-not-out";
        t->why = "not_out";
        return 0;
    }
    err = ledger_handover_end(t->lg, t->pot.key, t->at_s, "swapped");
    if (err == 0)
        err =
            ledger_handover_put(t->lg, fresh->key, home_id, t->at_s, &handover);
    if (err == KW_EINVAL)
        return commands_say(t, "swapped-what", &slots);
    return err < 0 ? err : commands_say(t, "swapped-done", &slots);
}

static int swapped(struct taking *t)
{
    struct ledger_pot fresh;
    char other[SERIAL_CAP + 4];
    int64_t key;
    int err;

    if (t->m.serial_other[0] == '\0' || serial_key(t->m.serial_other, &key) < 0)
        return commands_say(t, "swapped-what", NULL);
    if (!pot_is_known(t))
        return t->ask ? 0 : commands_say(t, "swapped-what", NULL);
    err = ledger_pot_get(t->lg, key, &fresh);
    if (err == 0 && !fresh.scrapped)
        return (err = refuse_failed(t, &fresh)) < 0 || t->said
                   ? err
                   : swap(t, &fresh);
    if (err < 0 && err != KW_ENOENT)
        return err;
    shown(t, t->m.serial_other, other, sizeof(other));
    return commands_say(t, err ? "ask-unknown" : "ask-not-out",
                        &(struct reply_slots){.serial = other});
}

/* ---- moved POT PLACE ---- */

static int moved(struct taking *t)
{
    struct ledger_place place;
    struct ledger_home home;
    enum ledger_change change;
    char serial[SERIAL_CAP + 4];
    int err;

    shown(t, t->m.serial, serial, sizeof(serial));
    if (!pot_is_known(t) || t->m.word[0] == '\0' || t->pot.home_id == 0)
        return t->ask ? 0
                      : commands_say(t, "moved-what",
                                     &(struct reply_slots){.serial = serial});
    err = place_named(t, &place);
    if (err < 0)
        return err == KW_ENOENT ? 0 : err;
    if ((err = ledger_home_get(t->lg, t->pot.home_id, &home)) < 0)
        return err;
    home.place_id = place.id;
    if ((err = ledger_home_put(t->lg, &home, &change)) < 0)
        return err;
    return commands_say(
        t, "moved-done",
        &(struct reply_slots){.serial = serial, .place = place.name});
}

/* ---- list ---- */

struct list {
    struct taking *t;
    struct kw_buf line;
    int n;
};

static int add_pot(const struct due_pot *p, void *arg)
{
    struct list *l = arg;
    char serial[SERIAL_CAP + 4];

    l->n++;
    serial_format(&l->t->d->layout, p->serial, serial, sizeof(serial));
    if (l->line.len + strlen(serial) + strlen(p->place) + 3 <= 90)
        kw_buf_printf(&l->line, "%s%s %s", l->line.len ? ", " : "", serial,
                      p->place);
    return 0;
}

static int list(struct taking *t)
{
    struct list l = {.t = t};
    int err;

    kw_buf_init(&l.line, 400);
    err = due_replace_each(t->lg, add_pot, &l);
    if (err == 0)
        err = commands_say(
            t, l.n ? "list" : "list-none",
            &(struct reply_slots){.count = l.n, .line = kw_buf_text(&l.line)});
    kw_buf_release(&l.line);
    return err;
}

static int visit(struct taking *t)
{
    char serial[SERIAL_CAP + 4];

    shown(t, t->m.serial, serial, sizeof(serial));
    if (!pot_is_known(t) && t->ask)
        return 0;
    if (t->m.serial[0] == '\0')
        return commands_say(t, "help-work", NULL); /* nothing was noted */
    return commands_say(t, "noted", &(struct reply_slots){.serial = serial});
}

int field_run(struct taking *t)
{
    switch (t->m.command) {
    case READER_GAVE:
        return gave(t);
    case READER_SWAPPED:
        return swapped(t);
    case READER_MOVED:
        return moved(t);
    case READER_LIST:
        return list(t);
    default:
        return visit(t);
    }
}
