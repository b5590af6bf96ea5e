/* tables.c - reports, alerts and hand-overs, as several pages show them. */
#include "page/page.h"

#include <math.h>

static const struct table_column report_columns[] = {{"when", false, 10},
                                                     {"pot", false, 0},
                                                     {"from", false, 0},
                                                     {"seen", false, 14},
                                                     {"made of it", false, 14}};

void page_put_reports(const struct page *p, const struct page_reports *list,
                      bool with_pot)
{
    struct table_column columns[KW_COUNT(report_columns)];
    struct table t;
    size_t n = 0;

    for (size_t i = 0; i < KW_COUNT(report_columns); i++) {
        if (i != 1 || with_pot)
            columns[n++] = report_columns[i];
    }
    table_init(&t, &p->screen, columns, n);
    for (size_t i = 0; i < list->n; i++) {
        const struct look_report *r = &list->items[i];
        struct kw_buf seen, made;

        kw_buf_init(&seen, 1024);
        kw_buf_init(&made, 1024);
        page_obs(r, &seen);
        page_made(r, &made);
        table_cell(&t, "%s", page_time(r->at_s).s);
        if (with_pot)
            table_cell(&t, "%s", page_serial(p, r->serial).s);
        table_cell(&t, "%s",
                   r->phone[0] != '\0' ? page_phone(p, r->phone).s : "-");
        table_cell(&t, "%s", kw_buf_text(&seen));
        table_cell(&t, "%s", kw_buf_text(&made));
        kw_buf_release(&seen);
        kw_buf_release(&made);
    }
    table_put(&t, &p->screen, 2);
    table_release(&t);
}

static const struct table_column alert_columns[] = {{"alert", true, 0},
                                                    {"opened", false, 0},
                                                    {"state", false, 0},
                                                    {"kind", false, 8},
                                                    {"what", false, 12}};

void page_put_alerts(const struct page *p, const struct page_alerts *list)
{
    struct table t;

    table_init(&t, &p->screen, alert_columns, KW_COUNT(alert_columns));
    for (size_t i = 0; i < list->n; i++) {
        const struct ledger_alert *a = &list->items[i];

        table_cell(&t, "%lld", (long long)a->id);
        table_cell(&t, "%s", page_day(a->opened_s).s);
        table_cell(&t, "%s", page_alert_state(a->state));
        table_cell(&t, "%s", page_alert_kind(a->kind));
        table_cell(&t, "%s", page_or_dash(a->words));
    }
    table_put(&t, &p->screen, 2);
    table_release(&t);
}

static json_t *json_obs(const struct look_obs *o)
{
    json_t *j = json_pack("{s:o}", "kind", page_json_word(o->kind));

    if (o->measure[0] != '\0')
        json_object_set_new(j, "measure",
                            json_pack("{s:o, s:o, s:o, s:o}", "type",
                                      page_json_word(o->measure), "unit",
                                      page_json_word(o->unit), "value",
                                      page_json_real(o->value), "minutes",
                                      page_json_real(o->minutes)));
    if (isfinite(o->start_cm))
        json_object_set_new(j, "start_cm", json_real(o->start_cm));
    if (isfinite(o->water_degc))
        json_object_set_new(j, "water_degc", json_real(o->water_degc));
    if (o->people > 0)
        json_object_set_new(j, "people", json_integer(o->people));
    if (o->under5 > 0)
        json_object_set_new(j, "under5", json_integer(o->under5));
    if (o->signs != 0)
        json_object_set_new(j, "signs", page_json_signs(o->signs));
    if (o->part[0] != '\0')
        json_object_set_new(j, "part", page_json_word(o->part));
    return j;
}

static json_t *json_report(const struct page *p, const struct look_report *r)
{
    json_t *obs = json_array();

    for (size_t i = 0; i < r->n_obs; i++)
        json_array_append_new(obs, json_obs(&r->obs[i]));
    return json_pack(
        "{s:I, s:I, s:o, s:o, s:o, s:o, s:o, s:b, s:o, s:o, s:o, s:o, s:o,"
        " s:o, s:o}",
        "report", (json_int_t)r->id, "text", (json_int_t)r->text_id, "at",
        page_json_time(r->at_s), "pot",
        r->serial[0] ? page_json_word(page_serial(p, r->serial).s)
                     : json_null(),
        "home", page_json_word(r->home), "place", page_json_word(r->place),
        "phone", page_json_phone(p, r->phone), "test", r->test, "outcome",
        page_json_word(r->outcome), "why", page_json_word(r->why), "obs", obs,
        "first_hour_l", page_json_real(r->first_hour_l), "log_se",
        page_json_real(r->log_se), "p_below", page_json_real(r->p_below),
        "verdict", page_json_word(r->verdict));
}

json_t *page_json_reports(const struct page *p, const struct page_reports *list)
{
    json_t *all = json_array();

    for (size_t i = 0; i < list->n; i++)
        json_array_append_new(all, json_report(p, &list->items[i]));
    return all;
}

json_t *page_json_alerts(const struct page_alerts *list)
{
    json_t *all = json_array();

    for (size_t i = 0; i < list->n; i++) {
        const struct ledger_alert *a = &list->items[i];

        json_array_append_new(
            all, json_pack("{s:I, s:s, s:s, s:o, s:o, s:i, s:o}", "alert",
                           (json_int_t)a->id, "kind",
                           ledger_alert_kind_name(a->kind), "state",
                           page_alert_state(a->state), "opened",
                           page_json_time(a->opened_s), "closed",
                           page_json_time(a->closed_s), "reports", a->reports,
                           "words", page_json_word(a->words)));
    }
    return all;
}

json_t *page_json_handovers(const struct page *p,
                            const struct page_handovers *list)
{
    json_t *all = json_array();

    for (size_t i = 0; i < list->n; i++) {
        const struct look_handover *h = &list->items[i];

        json_array_append_new(
            all, json_pack("{s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o}",
                           "pot", page_json_word(page_serial(p, h->serial).s),
                           "batch", page_json_word(h->batch), "home",
                           page_json_word(h->home), "place",
                           page_json_word(h->place), "phone",
                           page_json_phone(p, h->phone), "given",
                           page_json_time(h->given_s), "ended",
                           page_json_time(h->ended_s), "reason",
                           page_json_word(h->reason), "failed",
                           page_json_time(h->failed_s), "flow_l",
                           page_json_real(h->flow_l)));
    }
    return all;
}
