/*
 * raise.c - alerts: one stands open for each kind and subject and gathers;
 * the coordinators of the configuration are texted when it opens, and again
 * when a danger alert gains a sign or stirs after hours of quiet.
 */
#include "desk/inner.h"

#include "base/log.h"

#include <stdio.h>
#include <string.h>

#define DANGER_AGAIN_S (6 * 3600)

/* ---- telling ---- */

static int write_body(struct raise *r, const char *lang, struct kw_buf *body)
{
    struct reply_slots slots = r->slots;
    struct kw_buf signs;
    int err;

    kw_buf_init(&signs, 256);
    reply_signs(r->d->replies, lang, r->signs, &signs);
    if (signs.len > 0)
        slots.signs = kw_buf_text(&signs);
    err = reply_write(r->d->replies, lang, r->key, &slots, body);
    kw_buf_release(&signs);
    return err;
}

static int tell_one(struct raise *r, const struct config_person *person,
                    struct ledger_out *o)
{
    struct ledger_phone p;
    struct kw_buf body;
    char number[LEDGER_PHONE_CAP];
    const char *lang, *carrier;
    int err;

    desk_number(r->d->conf, person->phone, number, sizeof(number));
    if ((err = ledger_phone_take(r->lg, number, &p)) < 0)
        return err;
    if (p.stopped) {
        log_warn("'%s' has said stop and is not told", person->name);
        return 0;
    }
    lang = desk_lang(r->d, (const char *const[]){p.lang, person->lang}, 2);
    carrier = desk_carrier(r->d, &p, person);
    kw_buf_init(&body, LEDGER_BODY_CAP - 1);
    err = write_body(r, lang, &body);
    if (err == 0)
        err = kw_copy(o->body, sizeof(o->body), body.data, body.len);
    if (err == 0)
        err = kw_copy(o->carrier, sizeof(o->carrier), carrier, strlen(carrier));
    o->phone_id = p.id;
    kw_buf_release(&body);
    return err < 0 ? err : ledger_out_put(r->lg, o);
}

int raise_tell(struct raise *r, enum ledger_out_kind kind, int priority,
               int64_t alert_id)
{
    const struct config *conf = r->d->conf;
    int err = 0;

    if (r->quiet)
        return 0;
    for (size_t i = 0; err == 0 && i < conf->n_people; i++) {
        struct ledger_out o = {.kind = kind,
                               .priority = priority,
                               .at_s = r->now_s,
                               .due_s = r->now_s,
                               .expires_s = r->now_s + conf->alert_expires_s,
                               .alert_id = alert_id,
                               .text_id = r->text_id};

        if (ledger_role_from_name(conf->people[i].role) == LEDGER_COORDINATOR)
            err = tell_one(r, &conf->people[i], &o);
    }
    return err;
}

/* ---- one alert ---- */

/* Whether the coordinators hear of it once more. Remembers that they do. */
static int tell_again(struct raise *r, const struct ledger_alert *a, bool fresh,
                      bool *again)
{
    struct ledger_alert whole;
    char key[40];
    int64_t told = 0, signs = a->signs & 15;
    int err;

    *again = fresh;
    if (a->kind != LEDGER_ALERT_DANGER)
        return 0;
    if ((err = ledger_alert_get(r->lg, a->id, &whole)) < 0)
        return err;
    r->signs = whole.signs; /* all that were gathered are told */
    snprintf(key, sizeof(key), "told:%lld", (long long)a->id);
    err = ledger_mark_get(r->lg, key, &told);
    if (err < 0 && err != KW_ENOENT)
        return err;
    *again = fresh || (signs & ~told & 15) != 0 ||
             r->now_s - told / 16 >= DANGER_AGAIN_S;
    if (!*again)
        return 0;
    return ledger_mark_put(r->lg, key, r->now_s * 16 + ((told & 15) | signs));
}

int raise_alert(struct raise *r, struct ledger_alert *a, bool *fresh)
{
    int priority = a->kind == LEDGER_ALERT_DANGER ? LEDGER_PRIORITY_DANGER
                                                  : LEDGER_PRIORITY_ALERT;
    bool again;
    int err;

    a->opened_s = a->changed_s = r->now_s;
    err = ledger_alert_raise(r->lg, a, r->report_id, r->text_id, fresh);
    if (err < 0)
        return err;
    r->slots.alert = a->id;
    if ((err = tell_again(r, a, *fresh, &again)) < 0 || !again)
        return err;
    return raise_tell(r, LEDGER_ALERT, priority, a->id);
}

/* ---- from a text ---- */

/* Names for the slots, kept as long as the raise. */
struct about {
    char serial[SERIAL_CAP + 4];
    char batch[SERIAL_CAP];
    char phone[LEDGER_PHONE_CAP];
    struct ledger_place place;
};

static int know_about(struct taking *t, int64_t place_id, struct about *a)
{
    struct ledger_phone p = t->phone;
    int err;

    memset(a, 0, sizeof(*a));
    if (t->m.serial[0] != '\0') {
        serial_format(&t->d->layout, t->m.serial, a->serial, sizeof(a->serial));
        serial_batch(&t->d->layout, t->m.serial, a->batch);
    }
    /* A worker writes for a home: then it is the home that is called. */
    if (taking_works(t) && t->pot.phone_id != 0 &&
        (err = ledger_phone_get(t->lg, t->pot.phone_id, &p)) < 0 &&
        err != KW_ENOENT)
        return err;
    kw_copy(a->phone, sizeof(a->phone), p.number, strlen(p.number));
    if (place_id != 0 &&
        (err = ledger_place_get(t->lg, place_id, &a->place)) < 0 &&
        err != KW_ENOENT)
        return err;
    return 0;
}

static void begin(struct raise *r, struct taking *t, const char *key,
                  const struct about *a)
{
    *r = (struct raise){.d = t->d,
                        .lg = t->lg,
                        .now_s = t->at_s,
                        .quiet = t->in->quiet,
                        .key = key,
                        .text_id = t->text_id};
    r->slots.serial = a->serial[0] ? a->serial : "-";
    r->slots.batch = a->batch[0] ? a->batch : "-";
    r->slots.phone = a->phone;
    r->slots.place = a->place.name[0] ? a->place.name : "-";
    r->slots.litres = t->has_flow ? t->flow.first_hour_l : 0;
}

/* "Lunde, pot 0214-073-19" in front of what was seen: for the digest. */
static void write_words(struct ledger_alert *a, const struct about *about,
                        const char *seen)
{
    bool place = about->place.name[0] != '\0', pot = about->serial[0] != '\0';

    snprintf(a->words, sizeof(a->words), "%.60s%s%s: %.120s",
             place || pot ? about->place.name : "a phone without a home",
             place && pot ? ", " : "", about->serial, seen);
}

/* The home that the signs are told of, else the phone that told them. */
static void danger_subject(struct taking *t, struct ledger_alert *a,
                           int64_t *place_id)
{
    bool of_pot = t->pot.home_id != 0 && (taking_works(t) || t->confirmed);

    a->on = LEDGER_ON_HOME;
    if (of_pot) {
        a->subject_id = t->pot.home_id;
        *place_id = t->pot.place_id;
    } else if (t->home.id != 0) {
        a->subject_id = t->home.id;
        *place_id = t->home.place_id;
    } else {
        a->on = LEDGER_ON_PHONE;
        a->subject_id = t->phone.id;
        *place_id = t->pot.place_id;
    }
}

/* All signs of the alert that stands already, and those told now. */
static int signs_so_far(struct taking *t, const struct ledger_alert *a,
                        unsigned *signs)
{
    struct ledger_alert stands = {.signs = 0};
    int64_t id;
    int err = ledger_alert_standing(t->lg, a, &id);

    if (err == 0)
        err = ledger_alert_get(t->lg, id, &stands);
    *signs = a->signs | stands.signs;
    return err == KW_ENOENT ? 0 : err;
}

int raise_danger(struct taking *t)
{
    struct ledger_alert a = {.kind = LEDGER_ALERT_DANGER, .signs = t->m.danger};
    struct about about;
    struct raise r;
    struct kw_buf seen;
    int64_t place_id;
    unsigned signs;
    bool fresh;
    int err;

    danger_subject(t, &a, &place_id);
    if ((err = know_about(t, place_id, &about)) < 0 ||
        (err = signs_so_far(t, &a, &signs)) < 0)
        return err;
    kw_buf_init(&seen, 256);
    reply_signs(t->d->replies, t->d->conf->lang, signs, &seen);
    write_words(&a, &about, kw_buf_text(&seen));
    kw_buf_release(&seen);
    begin(&r, t, "alert-danger", &about);
    r.signs = t->m.danger;
    return raise_alert(&r, &a, &fresh);
}

static int raise_on_pot(struct taking *t, int64_t report_id,
                        enum ledger_alert_kind kind, const char *key)
{
    struct ledger_alert a = {
        .kind = kind, .on = LEDGER_ON_POT, .subject_id = t->pot.key};
    struct about about;
    struct raise r;
    char seen[64] = "too fast";
    bool fresh;
    int err;

    if ((err = know_about(t, t->pot.place_id, &about)) < 0)
        return err;
    if (t->has_flow) {
        a.observed = t->flow.first_hour_l;
        a.p = t->p_below;
        snprintf(seen, sizeof(seen), "%.2f L in the first hour",
                 t->flow.first_hour_l);
    }
    write_words(&a, &about, seen);
    begin(&r, t, key, &about);
    r.report_id = report_id;
    return raise_alert(&r, &a, &fresh);
}

int raise_flow(struct taking *t, int64_t report_id)
{
    bool said_fast = false;

    for (size_t i = 0; i < t->m.n_obs; i++)
        said_fast |= t->m.obs[i].kind == READER_FAST;
    if (t->verdict == FLOW_STOP)
        return raise_on_pot(t, report_id, LEDGER_ALERT_FAST, "alert-fast");
    if (t->verdict < 0 && said_fast)
        return raise_on_pot(t, report_id, LEDGER_ALERT_FAST, "alert-fast-said");
    if (t->verdict == FLOW_REPLACE)
        return raise_on_pot(t, report_id, LEDGER_ALERT_LOW_FLOW, "alert-low");
    return 0;
}

/* The text says that the pot is good, and nothing else of it. */
static bool found_good(const struct taking *t)
{
    bool good = t->verdict == FLOW_FINE;

    for (size_t i = 0; i < t->m.n_obs; i++) {
        switch (t->m.obs[i].kind) {
        case READER_CRACK:
        case READER_LEAK:
        case READER_BROKEN:
            return false;
        case READER_FAST: /* with a measure: its verdict tells */
            if (t->verdict < 0)
                return false;
            break;
        case READER_FINE:
            good = good || t->verdict < 0;
            break;
        default:
            break;
        }
    }
    return good;
}

int raise_settle(struct taking *t)
{
    struct ledger_alert a;
    int err;

    if (t->pot.fast_alert_id == 0 || !taking_works(t) || !found_good(t))
        return 0;
    if ((err = ledger_alert_get(t->lg, t->pot.fast_alert_id, &a)) < 0)
        return err;
    if (t->at_s < a.changed_s)
        return 0; /* filed late: it is no word on what came after it */
    err = ledger_alert_mark(t->lg, a.id, LEDGER_CLOSED, t->at_s, t->phone.id);
    return err == KW_EDUP ? 0 : err;
}
