/* digest.c - see digest.h. */
#include "desk/digest.h"

#include "base/clock.h"
#include "ledger/batchstate.h"
#include "ledger/due.h"
#include "watch/detector.h"
#include "watch/scan.h"

#include <inttypes.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define WIDTH     80
#define POTS_MOST 40 /* shown; the rest is counted */

static int count(struct ledger *lg, const struct digest_of *of,
                 struct due_counts *c)
{
    const char *kinds[READER_KINDS];
    struct due_period p = {of->from_s, of->to_s, kinds, READER_KINDS};

    for (int i = 0; i < READER_KINDS; i++)
        kinds[i] = reader_kind_name((enum reader_kind)i);
    return due_count(lg, &p, c);
}

/* ---- the short form ---- */

struct standing {
    struct ledger_alert *items;
    size_t n, cap;
};

static int add_alert(const struct ledger_alert *a, void *arg)
{
    struct standing *s = arg;

    kw_grow(&s->items, &s->cap, s->n + 1, sizeof(*s->items));
    s->items[s->n++] = *a;
    return 0;
}

/* What is cut off at the end is the least: danger first, then the newest. */
static int by_weight(const void *a, const void *b)
{
    const struct ledger_alert *x = a, *y = b;
    int danger =
        (y->kind == LEDGER_ALERT_DANGER) - (x->kind == LEDGER_ALERT_DANGER);

    if (danger != 0)
        return danger;
    if (x->opened_s != y->opened_s)
        return x->opened_s > y->opened_s ? -1 : 1;
    return x->id > y->id ? -1 : x->id < y->id;
}

static int put_standing(struct ledger *lg, struct kw_buf *line)
{
    struct standing s = {NULL, 0, 0};
    int err = ledger_alerts_each(lg, true, 0, add_alert, &s);

    if (err == 0 && s.n > 1)
        qsort(s.items, s.n, sizeof(*s.items), by_weight);
    for (size_t i = 0; err == 0 && i < s.n; i++) {
        const struct ledger_alert *a = &s.items[i];
        char one[128];
        int n = snprintf(
            one, sizeof(one), "%s%" PRId64 " %.*s", line->len ? "; " : "",
            a->id, (int)kw_whole(a->words, strlen(a->words), 60), a->words);

        if (n <= 0 || line->len + (size_t)n > 90)
            break;
        kw_buf_put(line, one, strlen(one));
    }
    kw_free(s.items);
    return err;
}

int digest_text(const struct digest_of *of, const struct replies *r,
                struct ledger *lg, struct kw_buf *out)
{
    struct due_counts c;
    struct kw_buf line;
    struct reply_slots slots = {0};
    int err = count(lg, of, &c);

    if (err < 0)
        return err;
    kw_buf_init(&line, 400);
    err = put_standing(lg, &line);
    slots = (struct reply_slots){.texts = (int)c.texts,
                                 .reports = (int)c.reports,
                                 .failed = (int)c.failed,
                                 .ill = (int)c.ill,
                                 .open = (int)(c.open + c.seen),
                                 .replace = (int)c.replace,
                                 .waiting = (int)c.waiting,
                                 .line = kw_buf_text(&line)};
    if (err == 0)
        err = reply_write(r, of->lang, "digest", &slots, out);
    while (err == 0 && out->len > 0 && out->data[out->len - 1] == ' ')
        out->data[--out->len] = '\0';
    kw_buf_release(&line);
    return err;
}

/* ---- the long form ---- */

struct page {
    const struct digest_of *of;
    struct kw_buf *out;
    int n;
    json_t *list; /* of the JSON form */
};

static size_t columns(const char *s, size_t len)
{
    size_t n = 0;

    for (size_t i = 0; i < len; i++)
        n += ((unsigned char)s[i] & 0xc0) != 0x80;
    return n;
}

/* Words folded at WIDTH, later lines indented. Control characters go. */
static void put_folded(struct kw_buf *out, const char *s, size_t indent)
{
    size_t at = 0;

    while (*s != '\0') {
        size_t len = strcspn(s, " \t\r\n"), wide = columns(s, len);

        if (len > 0 && at > 0 && at + 1 + wide > WIDTH) {
            kw_buf_printf(out, "\n%*s", (int)indent, "");
            at = indent;
        } else if (len > 0 && at > 0) {
            kw_buf_putc(out, ' ');
            at++;
        }
        for (size_t i = 0; i < len; i++) {
            if ((unsigned char)s[i] >= 0x20 && s[i] != 0x7f)
                kw_buf_putc(out, s[i]);
        }
        at += wide;
        s += len;
        s += strspn(s, " \t\r\n");
    }
    kw_buf_putc(out, '\n');
}

static int page_alert(const struct ledger_alert *a, void *arg)
{
    struct page *p = arg;
    char line[512], day[CLOCK_TEXT_CAP], behind[32];

    p->n++;
    clock_format_local(a->opened_s, day, sizeof(day));
    snprintf(behind, sizeof(behind), "reports %d", a->reports);
    snprintf(line, sizeof(line), "%5" PRId64 " %s %s, %s, %s: %s", a->id, day,
             ledger_alert_kind_name(a->kind),
             a->state == LEDGER_SEEN ? "seen" : "open",
             a->reports > 0 ? behind : "from a count", a->words);
    kw_buf_printf(p->out, "  ");
    put_folded(p->out, line, 8);
    return 0;
}

static int page_pot(const struct due_pot *pot, void *arg)
{
    struct page *p = arg;
    char serial[SERIAL_CAP + 4], day[CLOCK_TEXT_CAP];

    if (p->n++ >= POTS_MOST)
        return 0;
    serial_format(p->of->layout, pot->serial, serial, sizeof(serial));
    clock_format_day(pot->since_s, day, sizeof(day));
    kw_buf_printf(p->out, "  %-14s since %s  %.20s, home %.20s\n", serial, day,
                  pot->place[0] ? pot->place : "-", pot->home);
    return 0;
}

static void put_kinds(struct kw_buf *out, const struct due_counts *c)
{
    bool any = false;

    kw_buf_puts(out, "  seen:");
    for (int i = 0; i < READER_KINDS; i++) {
        if (c->kinds[i] == 0)
            continue;
        kw_buf_printf(out, "%s %s %" PRId64, any ? "," : "",
                      reader_kind_name((enum reader_kind)i), c->kinds[i]);
        any = true;
    }
    kw_buf_puts(out, any ? "\n" : " nothing\n");
}

static void put_numbers(const struct digest_of *of, const struct due_counts *c,
                        struct kw_buf *out)
{
    char from[CLOCK_TEXT_CAP], to[CLOCK_TEXT_CAP];

    clock_format_local(of->from_s, from, sizeof(from));
    clock_format_local(of->to_s, to, sizeof(to));
    kw_buf_printf(out, "%.60s: %s to %s\n\n", of->conf->name, from, to);
    kw_buf_printf(out,
                  "  texts %" PRId64 ": filed %" PRId64 ", asked %" PRId64
                  ", commands %" PRId64 ", not a report %" PRId64 "\n",
                  c->texts, c->filed, c->asked, c->commands, c->not_report);
    put_kinds(out, c);
    kw_buf_printf(out,
                  "  pots newly failed %" PRId64 "; measured %" PRId64
                  ": low %" PRId64 ", too fast %" PRId64 "\n",
                  c->failed, c->measured, c->low, c->fast);
    kw_buf_printf(out,
                  "  people ill %" PRId64 " (under five %" PRId64
                  "), texts with a danger sign %" PRId64 "\n",
                  c->ill, c->under5, c->danger);
    kw_buf_printf(out,
                  "  waiting to be sent %" PRId64
                  ", not delivered in that time %" PRId64 "\n",
                  c->waiting, c->lost);
}

/* ---- batches that are watched ---- */

struct watched {
    struct ledger *lg;
    struct kw_buf *out;
    json_t *list; /* instead of words */
    int n;
};

static int code_of(struct ledger *lg, int64_t id, char code[LEDGER_NAME_CAP])
{
    struct ledger_batch b;
    int err = ledger_batch_get(lg, id, &b);

    if (err == 0)
        memcpy(code, b.code, LEDGER_NAME_CAP);
    return err;
}

static int add_watched(const struct batchstate *s, void *arg)
{
    struct watched *w = arg;
    bool run = s->run_from != 0 && s->run_p <= SCAN_TOLD_P;
    const char *state = detector_state_name((enum detector_state)s->state);
    char code[LEDGER_NAME_CAP];
    int err;

    if (s->state == DETECTOR_SOUND && !run)
        return 0;
    if ((err = code_of(w->lg, s->batch_id, code)) < 0)
        return err;
    w->n++;
    if (w->list != NULL) {
        json_array_append_new(
            w->list,
            json_pack("{s:s,s:s,s:b,s:I,s:f,s:f,s:b}", "batch", code, "state",
                      state, "on_hold", s->state == DETECTOR_FAILING, "counted",
                      (json_int_t)s->counted, "expected", s->expected, "risk",
                      s->risk, "run_of_serials", run));
        return 0;
    }
    kw_buf_printf(w->out, "  %.20s %s%s: %lld counted, %.1f expected%s\n", code,
                  state, s->state == DETECTOR_FAILING ? ", ON HOLD" : "",
                  (long long)s->counted, s->expected,
                  run ? "; a run of serials stands out" : "");
    return 0;
}

/* Neighbouring firings, when chance hardly explains them. */
static int put_firings(struct watched *w, json_t *o)
{
    struct batchstate_firings f;
    char from[LEDGER_NAME_CAP], to[LEDGER_NAME_CAP];
    int err = batchstate_get_firings(w->lg, &f);

    if (err < 0 || f.p > SCAN_TOLD_P || f.from_batch == f.to_batch)
        return err == KW_ENOENT ? 0 : err;
    if ((err = code_of(w->lg, f.from_batch, from)) < 0 ||
        (err = code_of(w->lg, f.to_batch, to)) < 0)
        return err;
    if (o != NULL)
        json_object_set_new(o, "firings",
                            json_pack("{s:s,s:s,s:I,s:f,s:f}", "from", from,
                                      "to", to, "failed", (json_int_t)f.failed,
                                      "expected", f.expected, "p", f.p));
    else
        kw_buf_printf(w->out,
                      "  firings %.20s to %.20s: %lld counted, %.1f expected "
                      "(p %.3f)\n",
                      from, to, (long long)f.failed, f.expected, f.p);
    return 0;
}

static int put_watched(struct ledger *lg, struct kw_buf *out)
{
    struct watched w = {lg, out, NULL, 0};
    int err;

    kw_buf_puts(out, "\nBatches that are watched\n");
    if ((err = batchstate_each(lg, add_watched, &w)) < 0)
        return err;
    if (w.n == 0)
        kw_buf_puts(out, "  none is suspect or failing\n");
    return put_firings(&w, NULL);
}

int digest_page(const struct digest_of *of, struct ledger *lg,
                struct kw_buf *out)
{
    struct page p = {.of = of, .out = out};
    struct due_counts c;
    int err = count(lg, of, &c);

    if (err < 0)
        return err;
    put_numbers(of, &c, out);
    kw_buf_printf(out, "\nAlerts that stand: %" PRId64 "\n", c.open + c.seen);
    if ((err = ledger_alerts_each(lg, true, 0, page_alert, &p)) < 0)
        return err;
    if ((err = put_watched(lg, out)) < 0)
        return err;
    kw_buf_printf(out, "\nPots to replace: %" PRId64 "\n", c.replace);
    p.n = 0;
    if ((err = due_replace_each(lg, page_pot, &p)) < 0)
        return err;
    if (p.n > POTS_MOST)
        kw_buf_printf(out, "  and %d more\n", p.n - POTS_MOST);
    kw_buf_puts(out, "\nA danger sign is for a health worker; what is safe to "
                     "drink is for the local\nhealth authority to say.\n");
    return out->err;
}

/* ---- JSON ---- */

static int json_alert(const struct ledger_alert *a, void *arg)
{
    struct page *p = arg;
    char opened[CLOCK_TEXT_CAP];

    clock_format_utc(a->opened_s, opened, sizeof(opened));
    json_array_append_new(
        p->list,
        json_pack("{s:I,s:s,s:s,s:s,s:i,s:s}", "alert", (json_int_t)a->id,
                  "kind", ledger_alert_kind_name(a->kind), "state",
                  a->state == LEDGER_SEEN ? "seen" : "open", "opened", opened,
                  "reports", a->reports, "words", a->words));
    return 0;
}

static int json_pot(const struct due_pot *pot, void *arg)
{
    struct page *p = arg;
    char since[CLOCK_TEXT_CAP];

    clock_format_utc(pot->since_s, since, sizeof(since));
    json_array_append_new(
        p->list, json_pack("{s:s,s:s,s:s,s:s}", "serial", pot->serial, "since",
                           since, "place", pot->place, "home", pot->home));
    return 0;
}

static json_t *json_counts(const struct due_counts *c)
{
    json_t *kinds = json_object();
    json_t *o;

    for (int i = 0; i < READER_KINDS; i++)
        json_object_set_new(kinds, reader_kind_name((enum reader_kind)i),
                            json_integer(c->kinds[i]));
    o = json_pack(
        "{s:I,s:I,s:I,s:I,s:I,s:I,s:I,s:I,s:I,s:I,s:I,s:I,s:I,s:I}", "texts",
        (json_int_t)c->texts, "filed", (json_int_t)c->filed, "asked",
        (json_int_t)c->asked, "commands", (json_int_t)c->commands, "not_report",
        (json_int_t)c->not_report, "reports", (json_int_t)c->reports, "failed",
        (json_int_t)c->failed, "measured", (json_int_t)c->measured, "low",
        (json_int_t)c->low, "fast", (json_int_t)c->fast, "ill",
        (json_int_t)c->ill, "danger", (json_int_t)c->danger, "waiting",
        (json_int_t)c->waiting, "not_delivered", (json_int_t)c->lost);
    json_object_set_new(o, "kinds", kinds);
    return o;
}

int digest_json(const struct digest_of *of, struct ledger *lg,
                struct kw_buf *out)
{
    struct page p = {.of = of, .out = out};
    struct due_counts c;
    struct watched w = {lg, out, NULL, 0};
    char from[CLOCK_TEXT_CAP], to[CLOCK_TEXT_CAP], *text;
    json_t *o;
    int err = count(lg, of, &c);

    if (err < 0)
        return err;
    o = json_counts(&c);
    clock_format_utc(of->from_s, from, sizeof(from));
    clock_format_utc(of->to_s, to, sizeof(to));
    json_object_set_new(o, "from", json_string(from));
    json_object_set_new(o, "to", json_string(to));
    json_object_set_new(o, "alerts", p.list = json_array());
    err = ledger_alerts_each(lg, true, 0, json_alert, &p);
    json_object_set_new(o, "watched", w.list = json_array());
    if (err == 0)
        err = batchstate_each(lg, add_watched, &w);
    if (err == 0)
        err = put_firings(&w, o);
    json_object_set_new(o, "replace", p.list = json_array());
    if (err == 0)
        err = due_replace_each(lg, json_pot, &p);
    text = json_dumps(o, JSON_COMPACT);
    if (err == 0 && text != NULL)
        kw_buf_printf(out, "%s\n", text);
    free(text);
    json_decref(o);
    return err < 0 ? err : text == NULL ? KW_EFULL : out->err;
}
