/* place.c - what is known of one place. */
#include "page/place.h"

#include <math.h>

int place_page_gather(const struct page *p, struct ledger *lg, int64_t place_id,
                      struct place_page *out)
{
    int err;

    *out = (struct place_page){0};
    if ((err = ledger_place_get(lg, place_id, &out->place)) < 0 ||
        (err = look_place_counts(lg, place_id, p->now_s, &out->counts)) < 0 ||
        (err = look_handovers(lg,
                              &(struct look_of){.by = LOOK_PLACE,
                                                .id = place_id,
                                                .now_only = true},
                              page_add_handover, &out->pots)) < 0 ||
        (err = look_reports(lg,
                            &(struct look_of){.by = LOOK_PLACE,
                                              .id = place_id,
                                              .most = PLACE_REPORTS},
                            page_add_report, &out->reports)) < 0)
        return err;
    return look_alerts(lg, &(struct look_of){.by = LOOK_PLACE, .id = place_id},
                       page_add_alert, &out->alerts);
}

void place_page_release(struct place_page *l)
{
    kw_free(l->pots.items);
    kw_free(l->reports.items);
    kw_free(l->alerts.items);
    *l = (struct place_page){0};
}

static void put_counts(const struct page *p, const struct place_page *l)
{
    const struct look_place_counts *c = &l->counts;
    const struct screen *s = &p->screen;
    double degc = l->place.water_degc[clock_month(p->now_s) - 1];

    screen_field(s, "homes", "%d (%d have asked for no more texts)", c->homes,
                 c->stopped_phones);
    screen_field(s, "pots", "%d there now; %d ever, %d of them failed there",
                 c->pots_now, c->pots_ever, c->failed);
    screen_field(s, "30 days", "%s; %s ill, %d of them under five",
                 page_count(c->reports, "report", "reports").s,
                 page_count(c->ill, "person", "people").s, c->under5);
    if (isfinite(degc))
        screen_field(s, "water", "%.1f °C in this month", degc);
    else
        screen_field(s, "water",
                     "%.1f °C (the programme's; none is known of "
                     "the place)",
                     p->conf->water_degc);
    if (l->place.reported_share > 0)
        screen_field(s, "told", "%.0f %% of what fails, by a survey",
                     100 * l->place.reported_share);
    screen_field(s, "language", "%s", page_or_dash(l->place.lang));
    if (c->ill > 0)
        screen_text(s, 2,
                    "Illness is counted as it was reported: it is no "
                    "diagnosis. Health workers and local rules decide.");
}

static void put_pots(const struct page *p, const struct place_page *l)
{
    static const struct table_column columns[] = {
        {"home", false, 8},  {"phone", false, 0}, {"pot", false, 0},
        {"since", false, 0}, {"L", true, 0},      {"state", false, 0}};
    struct table t;

    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (size_t i = 0; i < l->pots.n; i++) {
        const struct look_handover *h = &l->pots.items[i];

        table_cell(&t, "%s", h->home);
        table_cell(&t, "%s", page_phone(p, h->phone).s);
        table_cell(&t, "%s", page_serial(p, h->serial).s);
        table_cell(&t, "%s", page_day(h->given_s).s);
        table_cell(&t, "%s", page_number(h->flow_l, 1).s);
        table_cell(&t, "%s", h->failed_s != 0 ? "failed" : "in use");
    }
    table_put(&t, &p->screen, 2);
    table_release(&t);
}

void place_page_text(const struct page *p, const struct place_page *l)
{
    const struct screen *s = &p->screen;

    screen_title(s, "Place %s", l->place.name);
    put_counts(p, l);
    screen_section(s, "Alerts",
                   "On the place, its homes, and the pots that are there.");
    page_put_alerts(p, &l->alerts);
    if (l->alerts.n == 0)
        screen_text(s, 2, "None.");
    screen_section(s, "Newest reports", NULL);
    page_put_reports(p, &l->reports, true);
    if (l->reports.n == 0)
        screen_text(s, 2, "None.");
    screen_section(s, "Pots that are there",
                   "L: litres of the first hour at the last reading.");
    put_pots(p, l);
    if (l->pots.n == 0)
        screen_text(s, 2, "None.");
}

json_t *place_page_json(const struct page *p, const struct place_page *l)
{
    const struct look_place_counts *c = &l->counts;
    json_t *water = json_array();

    for (int m = 0; m < 12; m++)
        json_array_append_new(water, page_json_real(l->place.water_degc[m]));
    return json_pack(
        "{s:o, s:o, s:o, s:o, s:i, s:i, s:i, s:i, s:i, s:i, s:i, s:i,"
        " s:o, s:o, s:o}",
        "place", page_json_word(l->place.name), "lang",
        page_json_word(l->place.lang), "water_degc", water, "reported_share",
        page_json_real(l->place.reported_share), "homes", c->homes,
        "stopped_phones", c->stopped_phones, "pots_now", c->pots_now,
        "pots_ever", c->pots_ever, "failed", c->failed, "reports_30d",
        c->reports, "ill_30d", c->ill, "under5_30d", c->under5, "alerts",
        page_json_alerts(&l->alerts), "reports",
        page_json_reports(p, &l->reports), "pots",
        page_json_handovers(p, &l->pots));
}
