/*
 * take.c - the whole way of one text.
 *
 *   kept -> who sent it -> read (with what was asked before) -> which pot
 *        -> danger told at once -> command, or filed, or asked -> answered
 *
 * Invariants: (1) a repeat of the carrier changes nothing; (2) nothing is
 * filed unless the reader says so, the serial passes, the ledger knows the
 * pot and it is the sender's or the sender works for the line or has said
 * yes; (3) a danger sign raises its alert whatever else becomes of the text;
 * (4) at most one answer leaves for a text.
 *
 * A phone that said `stop` is never reminded nor told anything unasked. A
 * report it sends all the same is filed and answered once, since it asked;
 * so is what it says with a danger sign. Talk is not answered.
 */
#include "desk/inner.h"

#include "base/clock.h"
#include "base/septet.h"
#include "ledger/due.h"
#include "ledger/traffic.h"

#include <stdio.h>
#include <string.h>

bool taking_works(const struct taking *t)
{
    return t->phone.role != LEDGER_HOUSEHOLD;
}

/* Told of or found earlier, and nobody who works has found it good since. */
static bool taking_unsafe(const struct taking *t)
{
    return t->pot.failed_s != 0 || t->pot.fast_alert_id != 0;
}

/* ---- who sent it ---- */

static int canonical_of(int64_t key, char dst[SERIAL_CAP])
{
    return serial_from_key(key, dst);
}

static int know_sender(struct taking *t)
{
    struct due_home then;
    char number[LEDGER_PHONE_CAP];
    int err, n;

    desk_number(t->d->conf, t->in->from, number, sizeof(number));
    if ((err = ledger_phone_take(t->lg, number, &t->phone)) < 0)
        return err;
    if ((err = due_home_then(t->lg, t->phone.id, t->at_s, &then)) < 0)
        return err;
    t->home = then.home;
    n = then.n_keys;
    if (n == 0 && t->home.id != 0 && !t->in->quiet) /* handed over ahead */
        n = ledger_pots_of_phone(t->lg, t->phone.id, then.keys,
                                 KW_COUNT(then.keys));
    if (n < 0)
        return n;
    t->n_pots = n;
    if (n > 0 && canonical_of(then.keys[0], t->own) < 0)
        t->own[0] = '\0';
    if (n > 1 && canonical_of(then.keys[1], t->own_too) < 0)
        t->own_too[0] = '\0';
    return 0;
}

/* Its last clear choice, what it wrote now, what it wrote before, its home's,
 * its place's, the programme's. Few come so far that the place is looked up. */
int taking_choose_lang(struct taking *t)
{
    const struct replies *r = t->d->replies;
    const char *tags[] = {t->phone.lang, t->m.lang, t->phone.lang_seen,
                          t->home.lang};
    struct ledger_place place = {.lang = ""};
    const char *chosen = NULL;
    int err = 0;

    for (size_t i = 0; i < KW_COUNT(tags) && chosen == NULL; i++)
        chosen = replies_has_lang(r, tags[i]) ? tags[i] : NULL;
    if (chosen == NULL && t->home.place_id != 0)
        err = ledger_place_get(t->lg, t->home.place_id, &place);
    if (err < 0 && err != KW_ENOENT)
        return err;
    if (chosen == NULL)
        chosen = desk_lang(t->d, (const char *const[]){place.lang}, 1);
    snprintf(t->lang, sizeof(t->lang), "%.*s", (int)sizeof(t->lang) - 1,
             chosen);
    return 0;
}

/* ---- reading ---- */

static int read_text(struct taking *t)
{
    struct reader_hint hint = {
        .lang = t->phone.lang[0]        ? t->phone.lang
                : t->phone.lang_seen[0] ? t->phone.lang_seen
                : t->home.lang[0]       ? t->home.lang
                                        : NULL,
        .pot = t->n_pots == 1 && t->own[0] ? t->own : NULL};

    reader_read(t->d->reader, t->d->scratch, t->in->text, t->in->len, &hint,
                &t->m);
    workshop_or_report(t);
    return dialogue_before(t, &hint);
}

/* Words that a report may carry along, as `visit` does. */
static bool is_report(const struct reader_meaning *m)
{
    return m->outcome == READER_FILED && m->n_obs > 0 &&
           (m->command == READER_NO_COMMAND || m->command == READER_VISIT ||
            m->command == READER_TESTED);
}

/* A cry for help is an order to the desk, whatever the reader would ask. */
bool taking_asks(const struct taking *t)
{
    return t->ask != NULL ||
           (t->m.outcome == READER_ASKED && t->m.command != READER_HELP);
}

/* ---- answering ---- */

/* Short codes and names send adverts; to answer those is money for nothing. */
static bool chat_is_answered(struct taking *t)
{
    if (t->phone.stopped || t->phone.id < 0)
        return false;
    if (t->m.courtesy && t->phone.lang_seen[0] != '\0')
        return false; /* thanks of one who knows the line: nothing to say */
    if (taking_works(t))
        return true; /* a slip in a command is not left without a word */
    if (t->phone.last_chat_reply_s != 0 &&
        t->at_s - t->phone.last_chat_reply_s < CLOCK_DAY_S)
        return false;
    t->phone.last_chat_reply_s = t->at_s;
    return true;
}

/* The configuration's own words for it are in the programme's language. */
static const char *clinic_in(const struct taking *t)
{
    return strcmp(t->lang, t->d->conf->lang) == 0 ? t->d->conf->clinic : NULL;
}

static int write_reply(struct taking *t)
{
    struct reply_case c = {.layout = &t->d->layout,
                           .meaning = &t->m,
                           .lang = t->lang,
                           .clinic = clinic_in(t),
                           .flow_verdict = t->verdict,
                           .litres = t->has_flow ? t->flow.first_hour_l : 0,
                           .own = t->own[0] ? t->own : NULL,
                           .own_too = t->own_too[0] ? t->own_too : NULL,
                           .failed = taking_unsafe(t) && !taking_works(t),
                           .recalled = t->pot.recalled_s != 0,
                           .ask = t->ask,
                           .works = taking_works(t),
                           .leads = t->phone.role == LEDGER_COORDINATOR};
    bool chat = t->m.outcome == READER_NOT_REPORT && !taking_asks(t) &&
                t->m.danger == 0 &&
                (t->m.command == READER_NO_COMMAND ||
                 t->m.command == READER_YES || t->m.command == READER_NO);

    if (t->said || t->silent || (chat && !chat_is_answered(t)))
        return 0;
    t->phrased = true;
    return reply_for_case(t->d->replies, &c, &t->reply);
}

/* Too many answers of late: it is told so once, then left alone for a while.
 * What it sends is kept and filed all the same; danger is always answered. */
static int hold_back(struct taking *t)
{
    enum flood_says says;

    if (t->in->quiet || t->reply.len == 0 || t->m.danger != 0)
        return 0;
    says = flood_count(&t->d->flood, t->phone.id, t->at_s);
    if (says == FLOOD_ANSWER)
        return 0;
    kw_buf_clear(&t->reply);
    t->phrased = false;
    return says == FLOOD_BUSY ? commands_say(t, "busy", NULL) : 0;
}

static int put_answer(struct taking *t, struct desk_answer *out)
{
    const char *by = t->in->answer_by ? t->in->answer_by : t->in->carrier;
    struct ledger_out o = {.phone_id = t->phone.id,
                           .kind = LEDGER_REPLY,
                           .priority = t->m.danger ? LEDGER_PRIORITY_DANGER
                                                   : LEDGER_PRIORITY_REPLY,
                           .at_s = t->at_s,
                           .due_s = t->at_s,
                           .expires_s = t->at_s + t->d->conf->reply_expires_s,
                           .text_id = t->text_id,
                           .gone = t->in->in_hand,
                           .phrase = t->phrased};
    int err;

    if (t->in->quiet || t->reply.len == 0)
        return 0;
    if (kw_copy(o.body, sizeof(o.body), t->reply.data, t->reply.len) < 0 ||
        kw_copy(o.carrier, sizeof(o.carrier), by, strlen(by)) < 0)
        return KW_EINVAL;
    if ((err = ledger_out_put(t->lg, &o)) < 0)
        return err;
    out->outbox_id = o.id;
    return kw_copy(out->body, sizeof(out->body), o.body, strlen(o.body));
}

/* ---- what is remembered of it ---- */

/* What the reader would ask about and the desk does not is no report. */
static enum reader_outcome outcome_of(const struct taking *t)
{
    if (taking_asks(t))
        return READER_ASKED;
    return t->m.outcome == READER_ASKED ? READER_NOT_REPORT : t->m.outcome;
}

static int note_reading(struct taking *t, int64_t answer_id)
{
    struct ledger_reading r = {.lang = t->m.lang[0] ? t->m.lang : NULL,
                               .pot_key = t->pot.key,
                               .danger = t->m.danger,
                               .answer_id = answer_id};
    r.outcome = reader_outcome_name(outcome_of(t));
    if (t->m.command != READER_NO_COMMAND)
        r.command = reader_command_name(t->m.command);
    if (t->why != NULL)
        r.why = t->why;
    else if (t->m.why != READER_CLEAR)
        r.why = reader_why_name(t->m.why);
    return ledger_text_in_read(t->lg, t->text_id, &r);
}

/* How to reach the phone, and what it writes in. */
static int note_phone(struct taking *t)
{
    const char *by = t->in->answer_by ? t->in->answer_by : t->in->carrier;

    if (!t->in->quiet)
        kw_copy(t->phone.carrier, sizeof(t->phone.carrier), by, strlen(by));
    if (t->m.outcome == READER_FILED && t->m.lang[0] != '\0' &&
        replies_has_lang(t->d->replies, t->m.lang))
        kw_copy(t->phone.lang_seen, sizeof(t->phone.lang_seen), t->m.lang,
                strlen(t->m.lang));
    return ledger_phone_put(t->lg, &t->phone);
}

/* ---- the way ---- */

static int act(struct taking *t)
{
    int err;

    if ((err = filing_resolve(t)) < 0)
        return err;
    if (t->m.danger != 0 && (err = raise_danger(t)) < 0)
        return err;
    if (t->in->unfinished) {
        if (t->ask == NULL && is_report(&t->m)) {
            t->ask = "ask-unfinished";
            t->why = "unfinished";
        }
        return 0;
    }
    if (t->ask == NULL && is_report(&t->m))
        return filing_put(t);
    if (!taking_asks(t) && t->m.command != READER_NO_COMMAND)
        return commands_run(t);
    return 0;
}

static int go(struct taking *t, struct desk_answer *out)
{
    int err;

    if ((err = read_text(t)) < 0 || (err = taking_choose_lang(t)) < 0 ||
        (err = act(t)) < 0 || (err = dialogue_after(t)) < 0 ||
        (err = write_reply(t)) < 0 || (err = hold_back(t)) < 0 ||
        (err = put_answer(t, out)) < 0 ||
        (err = note_reading(t, out->outbox_id)) < 0)
        return err;
    out->outcome = outcome_of(t);
    out->danger = t->m.danger != 0;
    out->scan = t->scan;
    return note_phone(t);
}

/* What came over the air costs; a menu's text came by no segment. */
static int count_segments(struct taking *t)
{
    const struct desk_text *in = t->in;

    if (in->quiet || in->answer_by != NULL ||
        strcmp(in->carrier, LEDGER_CONSOLE) == 0)
        return 0;
    return traffic_received(t->lg, t->at_s, t->phone.role,
                            septet_measure(in->text, in->len).segments);
}

/* The answer that the text got when it came first. */
static int repeat_answer(struct ledger *lg, int64_t text_id,
                         struct desk_answer *out)
{
    struct kw_buf body;
    int err;

    out->repeat = true;
    out->text_id = text_id;
    kw_buf_init(&body, LEDGER_BODY_CAP - 1);
    err = ledger_answer_of(lg, text_id, &body, &out->outbox_id);
    if (err == 0)
        err =
            kw_copy(out->body, sizeof(out->body), kw_buf_text(&body), body.len);
    kw_buf_release(&body);
    return err == KW_ENOENT ? 0 : err;
}

int desk_take(struct desk *d, struct ledger *lg, const struct desk_text *in,
              struct desk_answer *out)
{
    struct taking t = {
        .d = d, .lg = lg, .in = in, .at_s = in->at_s, .verdict = -1};
    struct ledger_text_in kept = {.carrier = in->carrier,
                                  .ref = in->ref,
                                  .twin = in->twin,
                                  .at_s = in->at_s,
                                  .sent_s = in->sent_s,
                                  .body = in->text,
                                  .len = in->len};
    int err;

    memset(out, 0, sizeof(*out));
    out->outcome = READER_NOT_REPORT;
    if ((err = know_sender(&t)) < 0)
        return err;
    kept.phone_id = t.phone.id;
    err = ledger_text_in_put(lg, &kept);
    if (err == KW_EDUP)
        return repeat_answer(lg, kept.id, out);
    if (err < 0)
        return err;
    out->text_id = t.text_id = kept.id;
    kw_buf_init(&t.reply, LEDGER_BODY_CAP - 1);
    err = count_segments(&t);
    if (err == 0)
        err = go(&t, out);
    kw_buf_release(&t.reply);
    return err;
}
