/* home.c - what is known of one home. */
#include "page/home.h"

int home_page_gather(const struct page *p, struct ledger *lg, int64_t home_id,
                     struct home_page *out)
{
    int err;

    (void)p;
    *out = (struct home_page){0};
    if ((err = ledger_home_get(lg, home_id, &out->home)) < 0 ||
        (out->home.place_id != 0 &&
         (err = ledger_place_get(lg, out->home.place_id, &out->place)) < 0) ||
        (out->home.phone_id != 0 &&
         (err = ledger_phone_get(lg, out->home.phone_id, &out->phone)) < 0) ||
        (err = look_handovers(lg,
                              &(struct look_of){.by = LOOK_HOME, .id = home_id},
                              page_add_handover, &out->pots)) < 0 ||
        (err = look_reports(lg,
                            &(struct look_of){.by = LOOK_HOME,
                                              .id = home_id,
                                              .most = HOME_REPORTS},
                            page_add_report, &out->reports)) < 0)
        return err;
    return look_alerts(lg, &(struct look_of){.by = LOOK_HOME, .id = home_id},
                       page_add_alert, &out->alerts);
}

void home_page_release(struct home_page *h)
{
    kw_free(h->pots.items);
    kw_free(h->reports.items);
    kw_free(h->alerts.items);
    *h = (struct home_page){0};
}

static const char *lang_of(const struct home_page *h)
{
    if (h->phone.lang[0] != '\0')
        return h->phone.lang;
    return h->home.lang[0] != '\0' ? h->home.lang : h->place.lang;
}

static void put_pots(const struct page *p, const struct home_page *h)
{
    static const struct table_column columns[] = {
        {"pot", false, 0},   {"batch", false, 4}, {"given", false, 0},
        {"ended", false, 0}, {"L", true, 0},      {"state", false, 8}};
    struct table t;

    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (size_t i = 0; i < h->pots.n; i++) {
        const struct look_handover *o = &h->pots.items[i];

        table_cell(&t, "%s", page_serial(p, o->serial).s);
        table_cell(&t, "%s", o->batch);
        table_cell(&t, "%s", page_day(o->given_s).s);
        table_cell(&t, "%s", page_day(o->ended_s).s);
        table_cell(&t, "%s", page_number(o->flow_l, 1).s);
        if (o->failed_s != 0)
            table_cell(&t, "failed %s", page_day(o->failed_s).s);
        else if (o->ended_s != 0)
            table_cell(&t, "%s", page_or_dash(o->reason));
        else
            table_cell(&t, "in use");
    }
    table_put(&t, &p->screen, 2);
    table_release(&t);
}

/* A home whose pots have all failed has no safe water from us. */
static bool without_pot(const struct home_page *h)
{
    bool any = false;

    for (size_t i = 0; i < h->pots.n; i++) {
        if (h->pots.items[i].ended_s != 0)
            continue;
        if (h->pots.items[i].failed_s == 0)
            return false;
        any = true;
    }
    return any;
}

void home_page_text(const struct page *p, const struct home_page *h)
{
    const struct screen *s = &p->screen;

    screen_title(s, "Home %s", h->home.code);
    if (without_pot(h))
        screen_text(s, 0,
                    "Its pot has failed and was not exchanged yet: the "
                    "home waits for a pot and treats water another "
                    "way, by local advice.");
    screen_field(s, "place", "%s", page_or_dash(h->place.name));
    screen_field(s, "phone", "%s%s", page_phone(p, h->phone.number).s,
                 h->phone.stopped ? ", has asked for no more texts" : "");
    screen_field(s, "language", "%s", page_or_dash(lang_of(h)));
    if (h->home.people > 0)
        screen_field(s, "people", "%d", h->home.people);
    screen_section(s, "Pots",
                   "Now and before. L: litres of the first hour at the last "
                   "reading.");
    put_pots(p, h);
    if (h->pots.n == 0)
        screen_text(s, 2, "None.");
    screen_section(s, "Alerts", "On the home, its phone and its pots.");
    page_put_alerts(p, &h->alerts);
    if (h->alerts.n == 0)
        screen_text(s, 2, "None.");
    screen_section(s, "Newest reports", NULL);
    page_put_reports(p, &h->reports, true);
    if (h->reports.n == 0)
        screen_text(s, 2, "None.");
}

json_t *home_page_json(const struct page *p, const struct home_page *h)
{
    return json_pack(
        "{s:o, s:o, s:o, s:b, s:o, s:i, s:o, s:o, s:o}", "home",
        page_json_word(h->home.code), "place", page_json_word(h->place.name),
        "phone", page_json_phone(p, h->phone.number), "stopped",
        h->phone.stopped, "lang", page_json_word(lang_of(h)), "people",
        h->home.people, "pots", page_json_handovers(p, &h->pots), "alerts",
        page_json_alerts(&h->alerts), "reports",
        page_json_reports(p, &h->reports));
}
