/*
 * commands.c - what is neither a report nor talk: language, stop and start
 * of anyone; seen, closed, why, digest and recall of coordinators.
 */
#include "desk/inner.h"

#include "base/clock.h"
#include "desk/digest.h"
#include "ledger/asking.h"
#include "ledger/due.h"
#include "ledger/look.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

int commands_say(struct taking *t, const char *key,
                 const struct reply_slots *slots)
{
    t->said = true;
    return reply_write(t->d->replies, t->lang, key, slots, &t->reply);
}

/* ---- anyone ---- */

static int language(struct taking *t)
{
    if (!replies_has_lang(t->d->replies, t->m.word))
        return dialogue_ask_language(t); /* the answer lists what there is */
    kw_copy(t->phone.lang, sizeof(t->phone.lang), t->m.word, strlen(t->m.word));
    return kw_copy(t->lang, sizeof(t->lang), t->m.word, strlen(t->m.word));
}

/* Honoured at once, confirmed once. Source: 47 CFR 64.1200(a)(10). */
static int stop(struct taking *t)
{
    t->silent = t->phone.stopped;
    t->phone.stopped = true;
    return 0;
}

static int start(struct taking *t)
{
    t->phone.stopped = false;
    return 0;
}

static int talk(struct taking *t)
{
    (void)t;
    return 0;
}

/* ---- coordinators ---- */

struct open_list {
    struct kw_buf text;
};

static int add_open(const struct ledger_alert *a, void *arg)
{
    struct open_list *l = arg;

    if (l->text.len < 28)
        kw_buf_printf(&l->text, "%s%lld", l->text.len ? " " : "",
                      (long long)a->id);
    return 0;
}

static int which_alert(struct taking *t)
{
    struct open_list l;
    int err;

    kw_buf_init(&l.text, 64);
    err = ledger_alerts_each(t->lg, true, 0, add_open, &l);
    if (err == 0)
        err =
            commands_say(t, "which-alert",
                         &(struct reply_slots){
                             .words = l.text.len ? kw_buf_text(&l.text) : "-"});
    kw_buf_release(&l.text);
    return err;
}

static int mark(struct taking *t)
{
    struct reply_slots slots = {0};
    bool seen = t->m.command == READER_SEEN;
    int err;

    if (t->m.n_numbers == 0)
        return which_alert(t);
    slots.alert = t->m.numbers[0];
    err = ledger_alert_mark(t->lg, slots.alert,
                            seen ? LEDGER_SEEN : LEDGER_CLOSED, t->at_s,
                            t->phone.id);
    if (err < 0 && err != KW_EDUP && err != KW_ENOENT)
        return err;
    return commands_say(t,
                        err == KW_ENOENT ? "no-alert"
                        : err == KW_EDUP ? "already"
                        : seen           ? "seen"
                                         : "closed",
                        &slots);
}

static int why_alert(struct taking *t, const struct ledger_alert *a)
{
    return commands_say(
        t, "why-alert",
        &(struct reply_slots){
            .alert = a->id,
            .line = a->words,
            .count = a->reports,
            .days = (int)((t->at_s - a->opened_s) / CLOCK_DAY_S)});
}

/* The word of that key, in the language of the one who asks. */
static int put_word(struct taking *t, struct kw_buf *b, const char *key)
{
    struct kw_buf word;
    int err;

    kw_buf_init(&word, 120);
    err = reply_write(t->d->replies, t->lang, key, &(struct reply_slots){0},
                      &word);
    kw_buf_puts(b, b->len ? ", " : "");
    kw_buf_puts(b, kw_buf_text(&word));
    kw_buf_release(&word);
    return err;
}

static int put_facts(struct taking *t, const struct ledger_batch *b,
                     struct kw_buf *line)
{
    const struct {
        const char *key, *unit;
        double value;
    } facts[] = {{"fact-peak", "C", b->peak_degc},
                 {"fact-sawdust", "%", b->sawdust_pct},
                 {"fact-test", "L", b->test_mean_l},
                 {"fact-silver", "mg", b->silver_mg}};
    int err = 0;

    for (size_t i = 0; err == 0 && i < KW_COUNT(facts); i++) {
        if (!isfinite(facts[i].value))
            continue;
        err = put_word(t, line, facts[i].key);
        kw_buf_printf(line, " %.4g %s", facts[i].value, facts[i].unit);
    }
    if (err == 0 && b->cone[0] != '\0') {
        err = put_word(t, line, "fact-cone");
        kw_buf_printf(line, " %s", b->cone);
    }
    return err;
}

static int why_batch(struct taking *t, const struct ledger_batch *b)
{
    struct kw_buf line;
    int err;

    kw_buf_init(&line, 400);
    err = put_facts(t, b, &line);
    if (err == 0)
        err = commands_say(t, "why-batch",
                           &(struct reply_slots){.batch = b->code,
                                                 .count = b->failed,
                                                 .total = b->pots_out,
                                                 .line = kw_buf_text(&line)});
    kw_buf_release(&line);
    return err;
}

/* "failed 2026-03-01" */
static int word_on(struct taking *t, const char *key, int64_t at_s, char *dst,
                   size_t cap)
{
    char day[CLOCK_TEXT_CAP];
    struct kw_buf word;
    int err;

    clock_format_day(at_s, day, sizeof(day));
    kw_buf_init(&word, 120);
    err = reply_write(t->d->replies, t->lang, key, &(struct reply_slots){0},
                      &word);
    snprintf(dst, cap, "%s %s", kw_buf_text(&word), day);
    kw_buf_release(&word);
    return err;
}

static int why_pot(struct taking *t)
{
    struct ledger_batch batch = {.code = ""};
    struct ledger_place place = {.name = ""};
    char serial[SERIAL_CAP + 4], day[CLOCK_TEXT_CAP], line[120] = "-";
    int err;

    if (t->pot.key == 0)
        return commands_say(t, "why-nothing", NULL);
    if ((err = ledger_batch_get(t->lg, t->pot.batch_id, &batch)) < 0)
        return err;
    if (t->pot.place_id != 0 &&
        (err = ledger_place_get(t->lg, t->pot.place_id, &place)) < 0)
        return err;
    if (t->pot.recalled_s != 0 || t->pot.failed_s != 0) {
        bool recalled = t->pot.recalled_s != 0;

        err = word_on(t, recalled ? "word-recalled" : "word-failed",
                      recalled ? t->pot.recalled_s : t->pot.failed_s, line,
                      sizeof(line));
        if (err < 0)
            return err;
    } else if (isfinite(t->pot.last_flow_l) && t->pot.last_flow_s != 0) {
        clock_format_day(t->pot.last_flow_s, day, sizeof(day));
        snprintf(line, sizeof(line), "%.2f L/h %s", t->pot.last_flow_l, day);
    }
    serial_format(&t->d->layout, t->pot.serial, serial, sizeof(serial));
    return commands_say(
        t, "why-pot",
        &(struct reply_slots){.serial = serial,
                              .batch = batch.code,
                              .place = place.name[0] ? place.name : "-",
                              .line = line});
}

/* The batch that a word or a number names, with its leading noughts. */
static int find_batch(struct taking *t, struct ledger_batch *out)
{
    char code[32];
    int err = KW_ENOENT;

    if (t->m.word[0] != '\0')
        err = ledger_batch_find(t->lg, t->m.word, out);
    if (err != KW_ENOENT || t->m.n_numbers == 0 || t->m.numbers[0] < 0)
        return err;
    snprintf(code, sizeof(code), "%0*lld", t->d->layout.batch_chars,
             (long long)t->m.numbers[0]);
    return ledger_batch_find(t->lg, code, out);
}

static int why_place(struct taking *t, const struct ledger_place *place)
{
    struct look_place_counts c;
    int err = look_place_counts(t->lg, place->id, t->at_s, &c);

    if (err < 0)
        return err;
    return commands_say(t, "why-place",
                        &(struct reply_slots){.place = place->name,
                                              .count = c.pots_now,
                                              .failed = c.failed,
                                              .reports = c.reports,
                                              .ill = c.ill});
}

static int why_batch_or_place(struct taking *t)
{
    struct ledger_batch batch;
    struct ledger_place place;
    int err = find_batch(t, &batch);

    if (err == 0)
        return why_batch(t, &batch);
    if (err == KW_ENOENT && t->m.word[0] != '\0')
        err = field_place(t, t->m.word, &place);
    if (err == 0)
        return why_place(t, &place);
    return err == KW_ENOENT ? commands_say(t, "why-nothing", NULL) : err;
}

/* A number as long as a batch code is a batch before it is an alert. */
static int why(struct taking *t)
{
    bool as_batch = strlen(t->m.word) == (size_t)t->d->layout.batch_chars;
    struct ledger_alert alert;
    struct ledger_batch batch;
    int err = KW_ENOENT;

    if (t->m.serial[0] != '\0' && !t->m.serial_from_hint)
        return why_pot(t);
    if (as_batch)
        err = find_batch(t, &batch);
    if (err == 0)
        return why_batch(t, &batch);
    if (err == KW_ENOENT && t->m.n_numbers > 0)
        err = ledger_alert_get(t->lg, t->m.numbers[0], &alert);
    if (err == 0)
        return why_alert(t, &alert);
    return err == KW_ENOENT ? why_batch_or_place(t) : err;
}

static int digest(struct taking *t)
{
    struct digest_of of = {.conf = t->d->conf,
                           .layout = &t->d->layout,
                           .from_s = t->at_s - CLOCK_DAY_S,
                           .to_s = t->at_s,
                           .lang = t->lang};

    t->said = true;
    return digest_text(&of, t->d->replies, t->lg, &t->reply);
}

/* ---- recall: told what it will do, then done on yes ---- */

struct recall {
    struct taking *t;
    bool count_only;
    int64_t last_home;
    int reached, not_reached;
};

static int recall_text(struct recall *rc, const struct due_pot *p)
{
    struct taking *t = rc->t;
    struct ledger_phone phone;
    struct ledger_out o = {.kind = LEDGER_ALERT,
                           .priority = LEDGER_PRIORITY_ALERT,
                           .at_s = t->at_s,
                           .due_s = t->at_s,
                           .expires_s = t->at_s + t->d->conf->alert_expires_s,
                           .phone_id = p->phone_id};
    struct ledger_home home = {.lang = ""};
    char serial[SERIAL_CAP + 4];
    const char *carrier, *lang;
    struct kw_buf body;
    int err = ledger_phone_get(t->lg, p->phone_id, &phone);

    if (err < 0 || (err = ledger_home_get(t->lg, p->home_id, &home)) < 0)
        return err;
    carrier = desk_carrier(t->d, &phone, NULL);
    lang = desk_lang(
        t->d, (const char *const[]){phone.lang, phone.lang_seen, home.lang}, 3);
    serial_format(&t->d->layout, p->serial, serial, sizeof(serial));
    kw_buf_init(&body, LEDGER_BODY_CAP - 1);
    err = reply_write(t->d->replies, lang, "recall-home",
                      &(struct reply_slots){.serial = serial}, &body);
    if (err == 0)
        err = kw_copy(o.body, sizeof(o.body), body.data, body.len);
    if (err == 0)
        err = kw_copy(o.carrier, sizeof(o.carrier), carrier, strlen(carrier));
    kw_buf_release(&body);
    return err < 0 ? err : ledger_out_put(t->lg, &o);
}

static int recall_pot(const struct due_pot *p, void *arg)
{
    struct recall *rc = arg;
    bool reach = p->phone_id != 0 && !p->stopped;

    if (p->home_id != rc->last_home) {
        rc->reached += reach;
        rc->not_reached += !reach;
        rc->last_home = p->home_id;
    }
    return reach && !rc->count_only ? recall_text(rc, p) : 0;
}

static int recall_ask(struct taking *t)
{
    struct ledger_batch batch;
    struct recall rc = {.t = t, .count_only = true};
    struct asking a = {.phone_id = t->phone.id,
                       .text_id = t->text_id,
                       .at_s = t->at_s,
                       .why = "recall"};
    int err = find_batch(t, &batch);

    if (err == KW_ENOENT)
        return commands_say(
            t, "no-batch",
            &(struct reply_slots){.batch = t->m.word[0] ? t->m.word : "-"});
    if (err < 0 ||
        (err = due_holders_each(t->lg, batch.id, recall_pot, &rc)) < 0)
        return err;
    kw_copy(a.about, sizeof(a.about), batch.code, strlen(batch.code));
    if ((err = asking_put(t->lg, &a)) < 0)
        return err;
    return commands_say(
        t, "recall-ask",
        &(struct reply_slots){.batch = batch.code, .count = rc.reached});
}

int commands_recall(struct taking *t, const char *code)
{
    struct ledger_batch batch;
    struct recall rc = {.t = t};
    int err;

    if ((err = asking_forget(t->lg, t->phone.id)) < 0 ||
        (err = taking_choose_lang(t)) < 0)
        return err;
    if (t->phone.role != LEDGER_COORDINATOR)
        return commands_say(t, "not-yours", NULL);
    if ((err = ledger_batch_find(t->lg, code, &batch)) < 0 ||
        (err = ledger_batch_recall(t->lg, batch.id, t->at_s)) < 0 ||
        (err = due_holders_each(t->lg, batch.id, recall_pot, &rc)) < 0)
        return err;
    return commands_say(t, "recall-done",
                        &(struct reply_slots){.batch = batch.code,
                                              .count = rc.reached,
                                              .total = rc.not_reached});
}

/* ---- which one ---- */

static const struct {
    int (*run)(struct taking *t);
    unsigned roles; /* bits of enum ledger_role */
} rows[READER_COMMANDS] = {
#define ALL   0xfu
#define WORK  (0xfu & ~(1u << LEDGER_HOUSEHOLD))
#define COORD (1u << LEDGER_COORDINATOR)
    [READER_HELP] = {talk, ALL},
    [READER_LANGUAGE] = {language, ALL},
    [READER_STOP] = {stop, ALL},
    [READER_START] = {start, ALL},
    [READER_YES] = {talk, ALL},
    [READER_NO] = {talk, ALL},
    [READER_GAVE] = {field_run, WORK},
    [READER_VISIT] = {field_run, WORK},
    [READER_SWAPPED] = {field_run, WORK},
    [READER_MOVED] = {field_run, WORK},
    [READER_LIST] = {field_run, WORK},
    [READER_SEEN] = {mark, COORD},
    [READER_CLOSED] = {mark, COORD},
    [READER_WHY] = {why, WORK},
    [READER_DIGEST] = {digest, COORD},
    [READER_RECALL] = {recall_ask, COORD},
    [READER_TESTED] = {workshop_run, WORK},
};

int commands_run(struct taking *t)
{
    int c = (int)t->m.command;

    if (t->said || c <= 0 || c >= READER_COMMANDS || rows[c].run == NULL)
        return 0;
    if (!(rows[c].roles & (1u << t->phone.role)))
        return commands_say(t, "not-yours", NULL);
    return rows[c].run(t);
}
