/*
 * need_check.c - the forecasts of need against what came: one is made each
 * month, compared when its days have passed, and the interval widened by how
 * the last ones did. See need.h.
 */
#include "page/need.h"

#include <math.h>
#include <string.h>

#define LEAST_APART_S (15 * CLOCK_DAY_S) /* the first one may be mid-month */

/* ---- how they did ---- */

static int add_last(const struct ledger_forecast *f, void *arg)
{
    struct need_checked *c = arg;

    if (c->n < NEED_PAST)
        c->last[c->n++] = *f;
    return 0;
}

static int check_one(struct ledger *lg, int days, int64_t now_s,
                     struct need_checked *c)
{
    const struct ledger_forecast_of of = {days, NEED_PAST, now_s};
    struct need_past past[NEED_PAST];
    bool ever = false;
    int err;

    *c = (struct need_checked){.misfit = NAN, .widened = 1};
    if ((err = ledger_forecast_last(lg, &of, add_last, c)) < 0 ||
        (err = ledger_forecast_widened(lg, days, now_s, &ever)) < 0)
        return err;
    for (size_t i = 0; i < c->n; i++) {
        const struct ledger_forecast *f = &c->last[i];

        past[i] = (struct need_past){f->mean, f->var, f->came};
        c->held += f->came >= f->low && f->came <= f->high;
    }
    c->misfit = need_misfit(past, c->n);
    c->widened = need_widening(c->misfit, c->n, ever);
    return 0;
}

int need_check_gather(struct ledger *lg, int64_t now_s,
                      struct need_checked *out)
{
    int err = 0;

    for (int w = 0; err == 0 && w < NEED_TIMES; w++)
        err = check_one(lg, (int)need_days[w], now_s, &out[w]);
    return err;
}

/* ---- by the clock ---- */

static void keep(struct need_month *m, const struct ledger_forecast *f)
{
    kw_grow(&m->items, &m->cap, m->n + 1, sizeof(*m->items));
    m->items[m->n++] = *f;
}

struct checking {
    struct need_month *out;
    int64_t now_s;
};

static int add_due(const struct ledger_forecast *f, void *arg)
{
    struct checking *c = arg;

    keep(c->out, f);
    return 0;
}

static int compare(const struct page *p, struct ledger *lg,
                   struct need_month *out)
{
    struct checking c = {out, p->now_s};
    int err = ledger_forecast_due(lg, p->now_s, add_due, &c);

    for (size_t i = 0; err == 0 && i < out->n; i++) {
        struct ledger_forecast *f = &out->items[i];

        err = ledger_forecast_count(lg, f);
        f->came = (double)f->failed +
                  need_setting_of(p->conf).replaced * (double)f->slow;
        f->checked_s = p->now_s;
    }
    return err;
}

static int64_t month_began(int64_t now_s)
{
    int64_t s = clock_midnight(now_s);
    int month = clock_month(now_s);

    while (clock_month(s - 3600) == month)
        s = clock_midnight(s - 3600);
    return s;
}

static int make(const struct page *p, struct ledger *lg, struct need_month *out)
{
    struct need_setting set = need_setting_of(p->conf);
    struct need_page n;
    int64_t last = 0;
    int err = ledger_forecast_handover(lg, &last);

    if (err == 0)
        err = need_page_gather(p, lg, &set, &n);
    else
        n = (struct need_page){.n = 0};
    for (int w = 0; err == 0 && n.all.pots > 0 && w < NEED_TIMES; w++) {
        const struct need_outcome *o = &n.all.reported[w];

        keep(out, &(struct ledger_forecast){.made_s = p->now_s,
                                            .days = (int)need_days[w],
                                            .pots = n.all.pots,
                                            .last_handover = last,
                                            .mean = o->mean,
                                            .var = o->var,
                                            .broken = n.all.broken[w],
                                            .low = o->low,
                                            .high = o->high,
                                            .widened = n.checked[w].widened});
    }
    need_page_release(&n);
    return err;
}

int need_month_look(const struct page *p, struct ledger *lg,
                    struct need_month *out)
{
    int64_t newest = 0;
    int err;

    *out = (struct need_month){.n = 0};
    if ((err = compare(p, lg, out)) < 0 || out->n > 0)
        return err;
    err = ledger_forecast_newest(lg, &newest);
    if (err == KW_ENOENT)
        err = 0;
    if (err < 0 || (newest != 0 && (newest >= month_began(p->now_s) ||
                                    p->now_s - newest < LEAST_APART_S)))
        return err;
    return make(p, lg, out);
}

int need_month_put(struct ledger *lg, const struct need_month *m)
{
    int err = 0;

    for (size_t i = 0; err == 0 && i < m->n; i++)
        err = m->items[i].checked_s != 0
                  ? ledger_forecast_check(lg, &m->items[i])
                  : ledger_forecast_put(lg, &m->items[i]);
    return err;
}

void need_month_release(struct need_month *m)
{
    kw_free(m->items);
    *m = (struct need_month){.n = 0};
}

/* ---- in words ---- */

static void put_how(const struct page *p, const struct need_checked *c,
                    double days)
{
    char label[16];

    snprintf(label, sizeof(label), "%.0f days", days);
    if (c->n == 0) {
        screen_field(&p->screen, label, "none is over yet");
        return;
    }
    screen_field(&p->screen, label,
                 "%d of the last %zu held what came, where eight of ten "
                 "should. Square of the miss over what was reckoned with, in "
                 "the mean: %s (1 when all is well).",
                 c->held, c->n, page_number(c->misfit, 2).s);
    if (c->n < NEED_PAST)
        screen_field(&p->screen, "",
                     "Not widened: that is judged from %d of them on.",
                     NEED_PAST);
    else if (c->widened > 1)
        screen_field(&p->screen, "",
                     "So the interval is made %s times as wide (variance times "
                     "%s).",
                     page_number(sqrt(c->widened), 2).s,
                     page_number(c->widened, 2).s);
    else
        screen_field(&p->screen, "", "Not widened: that is done from %.1f on.",
                     NEED_MISFIT_MOST);
}

#define TOLD_MOST 4 /* of each; JSON has all */

static void put_last(const struct page *p, const struct need_page *n)
{
    static const struct table_column columns[] = {
        {"made", false, 0}, {"days", true, 0},   {"forecast", true, 8},
        {"came", true, 0},  {"broken", true, 0}, {"too slow", true, 0},
        {"", false, 0}};
    struct table t;

    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (int w = 0; w < NEED_TIMES; w++)
        for (size_t i = 0; i < n->checked[w].n && i < TOLD_MOST; i++) {
            const struct ledger_forecast *f = &n->checked[w].last[i];

            table_cell(&t, "%s", page_day(f->made_s).s);
            table_cell(&t, "%d", f->days);
            table_cell(&t, "%s (%.0f-%.0f)", page_number(f->mean, 1).s, f->low,
                       f->high);
            table_cell(&t, "%.0f", f->came);
            table_cell(&t, "%lld", (long long)f->failed);
            table_cell(&t, "%lld", (long long)f->slow);
            table_cell(&t, "%s",
                       f->came < f->low    ? "fewer"
                       : f->came > f->high ? "more"
                                           : "held");
        }
    table_put(&t, &p->screen, 2);
    table_release(&t);
}

void need_check_text(const struct page *p, const struct need_page *n)
{
    screen_section(&p->screen, "How the last forecasts did",
                   "Each month the forecast of all places is kept, and "
                   "compared when its days have passed.");
    for (int w = 0; w < NEED_TIMES; w++)
        put_how(p, &n->checked[w], need_days[w]);
    put_last(p, n);
}

json_t *need_check_json(const struct need_page *n)
{
    json_t *all = json_array();

    for (int w = 0; w < NEED_TIMES; w++) {
        const struct need_checked *c = &n->checked[w];
        json_t *last = json_array();

        for (size_t i = 0; i < c->n; i++) {
            const struct ledger_forecast *f = &c->last[i];

            json_array_append_new(
                last,
                json_pack("{s:o, s:I, s:f, s:f, s:f, s:f, s:f, s:f, s:I, s:I}",
                          "made", page_json_time(f->made_s), "pots",
                          (json_int_t)f->pots, "mean", f->mean, "variance",
                          f->var, "low", f->low, "high", f->high, "widened",
                          f->widened, "came", f->came, "broken",
                          (json_int_t)f->failed, "slow", (json_int_t)f->slow));
        }
        json_array_append_new(
            all, json_pack("{s:f, s:i, s:i, s:o, s:f, s:o}", "days",
                           need_days[w], "over", (int)c->n, "held", c->held,
                           "misfit", page_json_real(c->misfit), "widened",
                           c->widened, "last", last));
    }
    return all;
}
