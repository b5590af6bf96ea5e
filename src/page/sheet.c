/* sheet.c - one function for a row of each kind. */
#include "page/sheet.h"

#include "base/clock.h"
#include "base/csv.h"
#include "page/screen.h"
#include "reader/reader.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define LINE_CAP (1u << 20)

/* ---- fields ---- */

static void put_len(struct sheet *s, const char *field, size_t len)
{
    csv_put(&s->line, field, len, !s->begun);
    s->begun = true;
}

static void put(struct sheet *s, const char *field)
{
    put_len(s, field, strlen(field));
}

static void put_i64(struct sheet *s, int64_t v)
{
    char text[32];

    snprintf(text, sizeof(text), "%lld", (long long)v);
    put(s, text);
}

static void put_id(struct sheet *s, int64_t id)
{
    if (id == 0)
        put(s, "");
    else
        put_i64(s, id);
}

static void put_f64(struct sheet *s, double v)
{
    char text[32] = "";

    if (isfinite(v))
        snprintf(text, sizeof(text), "%.9g", v);
    put(s, text);
}

static void put_time(struct sheet *s, int64_t at_s)
{
    char text[CLOCK_TEXT_CAP] = "";

    if (at_s != 0)
        clock_format_utc(at_s, text, sizeof(text));
    put(s, text);
}

static void put_pot(struct sheet *s, const char *serial)
{
    char text[SERIAL_CAP + 4] = "";

    if (serial[0] != '\0')
        serial_format(s->layout, serial, text, sizeof(text));
    put(s, text);
}

static void put_phone(struct sheet *s, const char *number)
{
    char word[PSEUDONYM_CAP];

    if (s->phones) {
        put(s, number);
        return;
    }
    if (s->err == 0)
        s->err = pseudonym_of(s->key, number, word);
    put(s, s->err == 0 ? word : "");
}

/*
 * What people wrote: control characters replaced, and a quote before what a
 * spreadsheet would take for a formula.
 */
static void put_words(struct sheet *s, const char *words, size_t len)
{
    struct kw_buf clean;

    kw_buf_init(&clean, 8 * len + 8);
    if (len > 0 && strchr("=+-@\t\r", words[0]) != NULL)
        kw_buf_putc(&clean, '\'');
    screen_clean(words, len, false, &clean);
    put_len(s, kw_buf_text(&clean), clean.len);
    kw_buf_release(&clean);
}

static void put_signs(struct sheet *s, unsigned signs)
{
    char text[64] = "";
    size_t at = 0;

    for (int i = 0; i < READER_SIGNS; i++) {
        if (signs & (1u << i))
            at +=
                (size_t)snprintf(text + at, sizeof(text) - at, "%s%s",
                                 at > 0 ? " " : "", reader_sign_name(1u << i));
    }
    put(s, text);
}

/* Hands the line over. */
static int end_line(struct sheet *s)
{
    int err;

    kw_buf_puts(&s->line, "\r\n");
    err = s->err < 0 ? s->err : s->line.err;
    if (err == 0)
        err = s->put(kw_buf_text(&s->line), s->line.len, s->arg);
    kw_buf_clear(&s->line);
    s->begun = false;
    return err;
}

static const char *name_of(const char *const *names, size_t n, int i)
{
    return i >= 0 && (size_t)i < n ? names[i] : "";
}

/* ---- rows ---- */

static int text_row(const struct look_text *t, void *arg)
{
    struct sheet *s = arg;

    put_i64(s, t->id);
    put(s, t->carrier);
    put_phone(s, t->phone);
    put_time(s, t->at_s);
    put_time(s, t->sent_s);
    put(s, t->outcome);
    put(s, t->why);
    put(s, t->command);
    put(s, t->lang);
    put_pot(s, t->serial);
    put_signs(s, t->danger);
    if (s->words)
        put_words(s, t->words != NULL ? t->words : "", t->len);
    return end_line(s);
}

static int write_texts(struct sheet *s, struct ledger *lg)
{
    return look_texts(lg, text_row, s);
}

static int report_row(const struct look_report *r, void *arg)
{
    struct sheet *s = arg;
    struct kw_buf kinds;

    kw_buf_init(&kinds, 512);
    for (size_t i = 0; i < r->n_obs; i++)
        kw_buf_printf(&kinds, "%s%s", i > 0 ? " " : "", r->obs[i].kind);
    put_i64(s, r->id);
    put_id(s, r->text_id);
    put_time(s, r->at_s);
    put_pot(s, r->serial);
    put(s, r->home);
    put(s, r->place);
    put_phone(s, r->phone);
    put(s, r->test ? "1" : "0");
    put(s, kw_buf_text(&kinds));
    put_f64(s, r->first_hour_l);
    put(s, r->verdict);
    kw_buf_release(&kinds);
    return end_line(s);
}

static int write_reports(struct sheet *s, struct ledger *lg)
{
    return look_reports(lg, &(struct look_of){.by = LOOK_ALL}, report_row, s);
}

static int obs_rows(const struct look_report *r, void *arg)
{
    struct sheet *s = arg;
    int err = 0;

    for (size_t i = 0; err == 0 && i < r->n_obs; i++) {
        const struct look_obs *o = &r->obs[i];

        put_i64(s, r->id);
        put_i64(s, (int64_t)i + 1);
        put_time(s, r->at_s);
        put_pot(s, r->serial);
        put(s, o->kind);
        put(s, o->measure);
        put_f64(s, o->measure[0] != '\0' ? o->value : NAN);
        put(s, o->unit);
        put_f64(s, o->measure[0] != '\0' ? o->minutes : NAN);
        put_id(s, o->people);
        put_id(s, o->under5);
        put_signs(s, o->signs);
        put(s, o->part);
        put_f64(s, o->start_cm);
        put_f64(s, o->water_degc);
        err = end_line(s);
    }
    return err;
}

static int write_observations(struct sheet *s, struct ledger *lg)
{
    return look_reports(lg, &(struct look_of){.by = LOOK_ALL}, obs_rows, s);
}

static int flow_row(const struct look_flow *w, void *arg)
{
    struct sheet *s = arg;

    put_i64(s, w->report_id);
    put_pot(s, w->serial);
    put(s, w->batch);
    put_time(s, w->at_s);
    put_f64(s, w->first_hour_l);
    put_f64(s, w->log_se);
    put_f64(s, w->k_m_s);
    put_f64(s, w->water_degc);
    put_f64(s, w->p_below);
    put(s, w->verdict);
    return end_line(s);
}

static int write_flow(struct sheet *s, struct ledger *lg)
{
    return look_flows(lg, flow_row, s);
}

static int pot_row(const struct look_pot *p, void *arg)
{
    struct sheet *s = arg;

    put_pot(s, p->serial);
    put(s, p->batch);
    put(s, p->mould);
    put(s, p->scrapped ? "1" : "0");
    put(s, p->shelf);
    put_f64(s, p->test_l);
    put_i64(s, p->outings);
    put_time(s, p->given_s);
    put_time(s, p->ended_s);
    put_time(s, p->failed_s);
    put(s, p->home);
    put_f64(s, p->flow_l);
    put_time(s, p->flow_s);
    return end_line(s);
}

static int write_pots(struct sheet *s, struct ledger *lg)
{
    return look_pots(lg, pot_row, s);
}

static int handover_row(const struct look_handover *h, void *arg)
{
    struct sheet *s = arg;

    put_i64(s, h->id);
    put_pot(s, h->serial);
    put(s, h->batch);
    put(s, h->home);
    put(s, h->place);
    put_phone(s, h->phone);
    put_time(s, h->given_s);
    put_time(s, h->ended_s);
    put(s, h->reason);
    put_time(s, h->failed_s);
    return end_line(s);
}

static int write_handovers(struct sheet *s, struct ledger *lg)
{
    return look_handovers(lg, &(struct look_of){.by = LOOK_ALL}, handover_row,
                          s);
}

static int home_row(const struct look_home *h, void *arg)
{
    struct sheet *s = arg;

    put(s, h->code);
    put(s, h->place);
    put_phone(s, h->phone);
    put(s, h->lang);
    put_id(s, h->people);
    put(s, h->consent < 0 ? "" : h->consent > 0 ? "1" : "0");
    put(s, h->stopped ? "1" : "0");
    return end_line(s);
}

static int write_homes(struct sheet *s, struct ledger *lg)
{
    return look_homes(lg, home_row, s);
}

static int batch_row(const struct ledger_batch *b, void *arg)
{
    struct sheet *s = arg;

    put(s, b->code);
    put(s, b->workshop);
    put(s, b->mould);
    put_time(s, b->pressed_s);
    put_time(s, b->fired_s);
    put_time(s, b->silvered_s);
    put(s, b->clay_pit);
    put(s, b->presser);
    put_f64(s, b->sawdust_pct);
    put_f64(s, b->sawdust_mesh);
    put_f64(s, b->drying_days);
    put(s, b->kiln);
    put(s, b->cone);
    put_f64(s, b->peak_degc);
    put_f64(s, b->soak_min);
    put_f64(s, b->cooling_h);
    put_f64(s, b->silver_mg);
    put_i64(s, b->tested);
    put_i64(s, b->accepted);
    put_f64(s, b->test_mean_l);
    put_f64(s, b->test_min_l);
    put_f64(s, b->test_max_l);
    put_i64(s, b->pots);
    put_i64(s, b->pots_out);
    put_i64(s, b->failed);
    put_time(s, b->recalled_s);
    return end_line(s);
}

static int write_batches(struct sheet *s, struct ledger *lg)
{
    return look_batches(lg, batch_row, s);
}

struct alert_arg {
    struct sheet *s;
    struct ledger *lg;
};

static int alert_row(const struct ledger_alert *a, void *arg)
{
    static const char *const on[] = {
        [LEDGER_ON_POT] = "pot",     [LEDGER_ON_BATCH] = "batch",
        [LEDGER_ON_HOME] = "home",   [LEDGER_ON_PHONE] = "phone",
        [LEDGER_ON_PLACE] = "place",
    };
    static const char *const states[] = {"open", "seen", "closed"};
    struct sheet *s = ((struct alert_arg *)arg)->s;
    char subject[LEDGER_NAME_CAP];
    int err = look_subject(((struct alert_arg *)arg)->lg, a, subject,
                           sizeof(subject));

    if (err < 0 && err != KW_ENOENT)
        return err;
    put_i64(s, a->id);
    put(s, ledger_alert_kind_name(a->kind));
    put(s, name_of(on, KW_COUNT(on), (int)a->on));
    if (a->on == LEDGER_ON_PHONE)
        put_phone(s, subject);
    else if (a->on == LEDGER_ON_POT)
        put_pot(s, subject);
    else
        put(s, subject);
    put(s, name_of(states, KW_COUNT(states), (int)a->state));
    put_time(s, a->opened_s);
    put_time(s, a->changed_s);
    put_time(s, a->seen_s);
    put_time(s, a->closed_s);
    put_i64(s, a->reports);
    put_signs(s, a->signs);
    put_f64(s, a->observed);
    put_f64(s, a->expected);
    put_f64(s, a->p);
    return end_line(s);
}

static int write_alerts(struct sheet *s, struct ledger *lg)
{
    struct alert_arg arg = {s, lg};

    return look_alerts(lg, &(struct look_of){.by = LOOK_ALL}, alert_row, &arg);
}

static int out_row(const struct look_out *o, void *arg)
{
    static const char *const kinds[] = {"reply", "alert", "digest", "reminder"};
    static const char *const states[] = {"waiting", "flying",  "sent",
                                         "failed",  "expired", "perhaps"};
    struct sheet *s = arg;

    put_i64(s, o->id);
    put_phone(s, o->phone);
    put(s, o->carrier);
    put(s, name_of(kinds, KW_COUNT(kinds), (int)o->kind));
    put_i64(s, o->priority);
    put(s, name_of(states, KW_COUNT(states), (int)o->state));
    put_time(s, o->at_s);
    put_time(s, o->due_s);
    put_time(s, o->expires_s);
    put_time(s, o->settled_s);
    put_i64(s, o->tries);
    put_id(s, o->text_id);
    put_id(s, o->alert_id);
    if (s->words) {
        put_words(s, o->note, strlen(o->note));
        put_words(s, o->words, strlen(o->words));
    }
    return end_line(s);
}

static int write_outbox(struct sheet *s, struct ledger *lg)
{
    return look_outbox(lg, out_row, s);
}

/* ---- kinds ---- */

const struct sheet_kind sheet_kinds[] = {
    {"texts", "text,carrier,phone,at,sent,outcome,why,command,lang,pot,danger",
     "words", write_texts},
    {"reports",
     "report,text,at,pot,home,place,phone,test,kinds,first_hour_l,verdict", "",
     write_reports},
    {"observations",
     "report,n,at,pot,kind,measure,value,unit,minutes,people,under5,signs,"
     "part,start_cm,water_degc",
     "", write_observations},
    {"flow",
     "report,pot,batch,at,first_hour_l,log_se,k_m_s,water_degc,p_below,"
     "verdict",
     "", write_flow},
    {"pots",
     "pot,batch,mould,scrapped,shelf,test_l,outings,given,ended,failed,home,"
     "flow_l,"
     "flow_at",
     "", write_pots},
    {"handovers",
     "handover,pot,batch,home,place,phone,given,ended,reason,failed", "",
     write_handovers},
    {"homes", "home,place,phone,lang,people,consent,stopped", "", write_homes},
    {"batches",
     "batch,workshop,mould,pressed,fired,silvered,clay_pit,presser,"
     "sawdust_pct,sawdust_mesh,drying_days,kiln,cone,peak_degc,soak_min,"
     "cooling_h,silver_mg,tested,accepted,test_mean_l,test_min_l,test_max_l,"
     "pots,pots_out,failed,recalled",
     "", write_batches},
    {"alerts",
     "alert,kind,on,subject,state,opened,changed,seen,closed,reports,signs,"
     "observed,expected,p",
     "", write_alerts},
    {"outbox",
     "out,phone,carrier,kind,priority,state,at,due,expires,settled,tries,"
     "text,alert",
     "note,words", write_outbox},
};
const size_t sheet_n_kinds = KW_COUNT(sheet_kinds);

const struct sheet_kind *sheet_find(const char *name)
{
    for (size_t i = 0; i < sheet_n_kinds; i++) {
        if (strcmp(sheet_kinds[i].name, name) == 0)
            return &sheet_kinds[i];
    }
    return NULL;
}

int sheet_write(struct sheet *s, const struct sheet_kind *kind,
                struct ledger *lg)
{
    int err;

    kw_buf_init(&s->line, LINE_CAP);
    s->begun = false;
    s->err = 0;
    kw_buf_puts(&s->line, kind->columns);
    if (s->words && kind->word_columns[0] != '\0')
        kw_buf_printf(&s->line, ",%s", kind->word_columns);
    err = end_line(s);
    if (err == 0)
        err = kind->write(s, lg);
    kw_buf_release(&s->line);
    return err;
}
