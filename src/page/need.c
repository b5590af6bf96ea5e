/* need.c - the forecast as text, JSON and CSV: see need.h. */
#include "page/need.h"

#include "base/csv.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void put_outcome(struct table *t, const struct need_outcome *o)
{
    table_cell(t, "%s (%.0f-%.0f)", page_number(o->mean, 1).s, o->low, o->high);
}

static void put_place(struct table *t, const struct need_place *p)
{
    table_cell(t, "%s", p->name[0] != '\0' ? p->name : "all");
    table_cell(t, "%d", p->pots);
    if (isnan(p->share))
        table_cell(t, "-");
    else
        table_cell(t, "%.0f%s", 100 * p->share, p->surveyed ? "" : "*");
    for (int w = 0; w < NEED_TIMES; w++) {
        put_outcome(t, &p->reported[w]);
        put_outcome(t, &p->truly[w]);
    }
}

static void put_press(const struct page *p, const struct need_page *n, int w)
{
    double pots = n->press[w];
    int64_t by_s =
        p->now_s + (int64_t)((need_days[w] - n->set.lead_days) * CLOCK_DAY_S);
    char label[16];

    snprintf(label, sizeof(label), "%.0f days", need_days[w]);
    if (pots <= 0) {
        screen_field(&p->screen, label, "nothing: what there is will do");
        return;
    }
    screen_field(&p->screen, label,
                 "%.0f pots, %.0f firings, %.1f press-days; pressed by %s%s",
                 pots, ceil(pots / n->set.kiln_pots), pots / n->set.press_pots,
                 page_day(by_s).s,
                 by_s < p->now_s ? ", which is past: some homes will wait"
                                 : "");
}

static void put_plan(const struct page *p, const struct need_page *n)
{
    const struct screen *s = &p->screen;

    screen_section(s, "What there is", NULL);
    screen_field(s, "waiting", "%s with a failed pot now",
                 page_count(n->waiting, "home", "homes").s);
    screen_field(s, "ready", "%s in stock",
                 page_count(n->ready, "pot", "pots").s);
    screen_field(s, "on hold", "%d more, of failing batches: not counted",
                 n->on_hold);
    screen_field(s, "in work", "%d of batches not yet fired", n->in_works);
    if (isinf(n->lasts_days))
        screen_field(s, "lasts", "more than %.0f days",
                     need_days[NEED_TIMES - 1]);
    else
        screen_field(
            s, "lasts", "about %.0f days, until %s", n->lasts_days,
            page_day(p->now_s + (int64_t)(n->lasts_days * CLOCK_DAY_S)).s);
    screen_section(s, "What to press",
                   "So that in nine of ten such times nobody waits: the high "
                   "end of the true need and those who wait, less what is "
                   "ready and in work.");
    for (int w = 0; w < NEED_TIMES; w++)
        put_press(p, n, w);
    screen_text(s, 2,
                "Reckoned with: %.0f %% of "
                "pressed pots passed, %.0f days from pressing to ready, %.0f "
                "pots a firing, %.0f pots a press-day (ten minutes a pot, one "
                "person: common practice). The configuration's group need, and "
                "options, change each.",
                100 * n->set.passed, n->set.lead_days, n->set.kiln_pots,
                n->set.press_pots);
}

void need_page_text(const struct page *p, const struct need_page *n)
{
    static const struct table_column columns[] = {
        {"place", false, 10},     {"in homes", true, 5},
        {"told, %", true, 5},     {"told in 30", true, 8},
        {"truly in 30", true, 8}, {"told in 90", true, 8},
        {"truly in 90", true, 8}};
    struct table t;

    screen_title(&p->screen, "Pots that will be needed");
    screen_text(&p->screen, 0,
                "From %s on: of the pots in homes, how many will be reported "
                "failed or too slow (told), and how many truly will, in 30 and "
                "90 days; in brackets, between which numbers in eight of ten "
                "such times. By age, batch, place and each pot's flow.",
                page_day(p->now_s).s);
    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (size_t i = 0; i < n->n; i++)
        put_place(&t, &n->places[i]);
    put_place(&t, &n->all);
    table_put(&t, &p->screen, 0);
    table_release(&t);
    screen_text(&p->screen, 0,
                "Of all that will be told, %s in 30 and %s in 90 days crack, "
                "leak or break; the others stay too slow though scrubbed.",
                page_number(n->all.broken[NEED_30], 1).s,
                page_number(n->all.broken[NEED_90], 1).s);
    screen_text(&p->screen, 0,
                "told, %%: of all that break there, those that are reported: "
                "by the notebook (reported_share of the place), or where it "
                "says nothing * %.0f %%.",
                100 * n->set.share);
    put_plan(p, n);
    need_check_text(p, n);
}

static json_t *json_outcomes(const struct need_outcome *o)
{
    json_t *all = json_array();

    for (int w = 0; w < NEED_TIMES; w++)
        json_array_append_new(all, json_pack("{s:f, s:o, s:o, s:o}", "days",
                                             need_days[w], "mean",
                                             page_json_real(o[w].mean), "low",
                                             page_json_real(o[w].low), "high",
                                             page_json_real(o[w].high)));
    return all;
}

static json_t *json_place(const struct need_place *p)
{
    json_t *broken = json_array();

    for (int w = 0; w < NEED_TIMES; w++)
        json_array_append_new(broken, page_json_real(p->broken[w]));
    return json_pack("{s:o, s:i, s:o, s:b, s:o, s:o, s:o}", "place",
                     page_json_word(p->name), "pots", p->pots, "share",
                     page_json_real(p->share), "surveyed", p->surveyed,
                     "reported", json_outcomes(p->reported), "truly",
                     json_outcomes(p->truly), "reported_broken", broken);
}

json_t *need_page_json(const struct page *p, const struct need_page *n)
{
    json_t *places = json_array(), *press = json_array(), *j;

    for (size_t i = 0; i < n->n; i++)
        json_array_append_new(places, json_place(&n->places[i]));
    for (int w = 0; w < NEED_TIMES; w++)
        json_array_append_new(
            press,
            json_pack(
                "{s:f, s:f, s:f, s:f, s:o}", "days", need_days[w], "pots",
                n->press[w], "firings", ceil(n->press[w] / n->set.kiln_pots),
                "press_days", n->press[w] / n->set.press_pots, "by",
                page_json_time(p->now_s +
                               (int64_t)((need_days[w] - n->set.lead_days) *
                                         CLOCK_DAY_S))));
    j = json_pack("{s:o, s:o, s:o, s:i, s:i, s:i, s:i, s:o, s:o}", "as_of",
                  page_json_time(p->now_s), "all", json_place(&n->all),
                  "places", places, "waiting", n->waiting, "ready", n->ready,
                  "on_hold", n->on_hold, "in_work", n->in_works, "lasts_days",
                  isinf(n->lasts_days) ? json_null()
                                       : page_json_real(n->lasts_days),
                  "press", press);
    json_object_set_new(j, "share_otherwise", json_real(n->set.share));
    json_object_set_new(j, "checked", need_check_json(n));
    return j;
}

static void csv_place(struct kw_buf *out, const struct need_place *p)
{
    for (int w = 0; w < NEED_TIMES; w++) {
        const struct need_outcome *a = &p->reported[w], *b = &p->truly[w];
        const char *name = p->name[0] != '\0' ? p->name : "all";

        csv_put(out, name, strlen(name), true);
        kw_buf_printf(out, ",%d,%.0f,%.12g,%.0f,%.0f,%.12g,%.0f,%.0f,%.12g,",
                      p->pots, need_days[w], a->mean, a->low, a->high, b->mean,
                      b->low, b->high, p->broken[w]);
        if (!isnan(p->share))
            kw_buf_printf(out, "%.12g", p->share);
        kw_buf_puts(out, "\n");
    }
}

void need_page_csv(const struct page *p, const struct need_page *n)
{
    struct kw_buf *out = p->screen.out;

    kw_buf_puts(out, "place,pots,days,reported,reported_low,reported_high,"
                     "truly,truly_low,truly_high,reported_broken,share\n");
    for (size_t i = 0; i < n->n; i++)
        csv_place(out, &n->places[i]);
    csv_place(out, &n->all);
}
