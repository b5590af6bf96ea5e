/* batch.c - one batch against the others, as text. */
#include "page/batch.h"

#include "watch/detector.h"
#include "watch/scan.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Adds "; before value after" when the value is known. */
static void add_part(struct kw_buf *line, const char *before, const char *value,
                     const char *after)
{
    if (value[0] == '\0' || strcmp(value, "-") == 0)
        return;
    kw_buf_printf(line, "%s%s%s%s", line->len > 0 ? "; " : "", before, value,
                  after);
}

static void put_line(const struct page *p, const char *label,
                     struct kw_buf *line)
{
    screen_field(&p->screen, label, "%s",
                 line->len > 0 ? kw_buf_text(line) : "nothing written down");
    kw_buf_clear(line);
}

static void put_making(const struct page *p, const struct ledger_batch *b)
{
    struct kw_buf line;

    kw_buf_init(&line, 2048);
    add_part(&line, "sawdust ", page_number(b->sawdust_pct, 1).s, " %");
    add_part(&line, "mesh ", page_number(b->sawdust_mesh, 0).s, "");
    add_part(&line, "clay pit ", b->clay_pit, "");
    add_part(&line, "pressed by ", b->presser, "");
    add_part(&line, "pressed ", page_day(b->pressed_s).s, "");
    add_part(&line, "dried ", page_number(b->drying_days, 0).s, " days");
    put_line(p, "mix", &line);
    add_part(&line, "", page_day(b->fired_s).s, "");
    add_part(&line, "kiln ", b->kiln, "");
    add_part(&line, "peak ", page_number(b->peak_degc, 0).s, " °C");
    add_part(&line, "soak ", page_number(b->soak_min, 0).s, " min");
    add_part(&line, "cooling ", page_number(b->cooling_h, 1).s, " h");
    add_part(&line, "cone ", b->cone, "");
    put_line(p, "firing", &line);
    if (b->tested > 0)
        kw_buf_printf(&line,
                      "%d tested, %d accepted; accepted pots gave %s L in the "
                      "first hour on average, %s to %s",
                      b->tested, b->accepted, page_number(b->test_mean_l, 2).s,
                      page_number(b->test_min_l, 2).s,
                      page_number(b->test_max_l, 2).s);
    put_line(p, "flow test", &line);
    add_part(&line, "", page_number(b->silver_mg, 1).s, " mg a pot");
    add_part(&line, "", page_day(b->silvered_s).s, "");
    put_line(p, "silver", &line);
    kw_buf_printf(&line, "%d made, %d handed out, %d failed", b->pots,
                  b->pots_out, b->failed);
    put_line(p, "pots", &line);
    kw_buf_release(&line);
}

/* What the numbers say, in one sentence. */
static const char *judgement(const struct page *p,
                             const struct breakage_verdict *v)
{
    if (!(v->observed > v->expected))
        return "No more than usual.";
    if (v->p_poisson < p->conf->breakage_p &&
        v->observed >= p->conf->breakage_least)
        return "Chance hardly explains that: look at what differs, and at who "
               "still holds pots of it.";
    if (v->p_poisson < 0.05)
        return "Chance alone seldom does that: watch this batch.";
    return "Chance alone may do that.";
}

/* What the watch over all reports says: docs/science.md. */
static void put_watch(const struct page *p, const struct batch_page *b)
{
    static const char *const means[] = {
        [DETECTOR_SOUND] = "",
        [DETECTOR_SUSPECT] = "; look at it, but chance may do that",
        [DETECTOR_FAILING] = ("; ON HOLD: hand out none of it until somebody "
                              "has looked and closed the alert")};
    const struct batchstate *w = &b->watch;

    if (!b->watched)
        return;
    screen_field(&p->screen, "watch", "%s since %s%s",
                 detector_state_name((enum detector_state)w->state),
                 page_day(w->since_s).s, means[w->state]);
    screen_field(&p->screen, "",
                 "%lld counted, %.2f expected; %.1f times the "
                 "risk of other batches (90 %% interval %.1f to %.1f); in %s",
                 (long long)w->counted, w->expected, w->risk, w->risk_low,
                 w->risk_high, page_count(w->places, "place", "places").s);
    if (w->reported > w->counted)
        screen_field(
            &p->screen, "",
            "%s left out: from the same place within "
            "days, as of one flood or one cart",
            page_count(w->reported - w->counted, "failure", "failures").s);
    if (w->bound)
        screen_field(&p->screen, "",
                     "cannot be told apart from the place: "
                     "nearly all are in one place that holds no other batch");
    if (w->run_from != 0 && w->run_p <= SCAN_TOLD_P)
        screen_field(&p->screen, "run",
                     "%lld of them stand together in the order of serials, "
                     "%.1f expected there (p %s): a shelf of the kiln, or a "
                     "day's mix?",
                     (long long)w->run_failed, w->run_expected,
                     page_number(w->run_p, 3).s);
}

static void put_verdict(const struct page *p, const struct batch_page *b)
{
    const struct breakage_verdict *v = &b->verdict;
    const struct screen *s = &p->screen;

    if (!b->judged) {
        screen_text(s, 2, "No pot of it was handed out: nothing to judge.");
        return;
    }
    screen_text(s, 2,
                "%lld of %d pots handed out have failed (crack, leak or broken "
                "was reported), where the other batches say %.2f for pots of "
                "the same age. %s",
                (long long)v->observed, b->batch.pots_out, v->expected,
                judgement(p, v));
    put_watch(p, b);
    screen_field(s, "ratio", "%s times the expected (90 %% interval %s to %s)",
                 page_number(v->ratio, 2).s, page_number(v->ratio_low, 2).s,
                 page_number(v->ratio_high, 2).s);
    screen_field(s, "by age", "so many or more by chance: %s (exact Poisson)",
                 page_probability(v->p_poisson).s);
    screen_field(s, "by pots",
                 "so many or more by chance: %s (exact "
                 "hypergeometric)",
                 page_probability(v->p_hypergeometric).s);
    screen_field(s, "in homes", "%.0f pot-days", b->exposure_days);
    screen_field(s, "rests on", "%s among %s of other batches%s",
                 page_count(b->others_failed, "failure", "failures").s,
                 page_count(b->others_out, "pot", "pots").s,
                 b->others_failed < BATCH_PRIOR_EVENTS * BREAKAGE_BINS
                     ? ": few, so that the expected number leans on a "
                       "published rate"
                     : "");
}

void batch_page_short(const struct page *p, const struct batch_page *b)
{
    put_verdict(p, b);
    put_making(p, &b->batch);
    screen_text(&p->screen, 2, "Outside what is usual of the other %d batches:",
                b->usual.batches);
    if (usual_put(p, &b->usual, false) == 0)
        screen_text(&p->screen, 2, "nothing that was written down.");
    screen_text(&p->screen, 2, "Whole batch: kilnword show batch %s",
                b->batch.code);
}

static void put_differs(const struct page *p, const struct batch_page *b)
{
    const struct usual *u = &b->usual;

    screen_section(&p->screen, "Next to the usual range",
                   "Usual: the middle eight in ten of the other batches; what "
                   "is farthest out first. It may be the cause or may not.");
    if (usual_put(p, u, true) == 0)
        screen_text(&p->screen, 2,
                    "Nothing was written down of how it was made.");
    if (u->others_values > 0)
        screen_text(&p->screen, 2,
                    "OUTSIDE: three robust standard deviations off the median "
                    "or more. By that rule %d of the %d values of the other "
                    "batches are outside too.",
                    u->others_far, u->others_values);
}

static void put_failed(const struct page *p, const struct batch_page *b)
{
    static const struct table_column columns[] = {
        {"pot", false, 0},  {"failed", false, 0}, {"age, days", true, 0},
        {"home", false, 8}, {"place", false, 10}, {"phone", false, 0}};
    struct table t;

    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (size_t i = 0; i < b->failed.n; i++) {
        const struct look_handover *h = &b->failed.items[i];

        table_cell(&t, "%s", page_serial(p, h->serial).s);
        table_cell(&t, "%s", page_day(h->failed_s).s);
        table_cell(&t, "%lld",
                   (long long)((h->failed_s - h->given_s) / CLOCK_DAY_S));
        table_cell(&t, "%s", page_or_dash(h->home));
        table_cell(&t, "%s", page_or_dash(h->place));
        table_cell(&t, "%s", page_phone(p, h->phone).s);
    }
    table_put(&t, &p->screen, 2);
    table_release(&t);
}

static void put_holders(const struct page *p, const struct batch_page *b)
{
    static const struct table_column columns[] = {
        {"pot", false, 0},   {"home", false, 8},  {"place", false, 10},
        {"phone", false, 0}, {"since", false, 0}, {"L", true, 0},
        {"state", false, 0}};
    struct table t;

    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (size_t i = 0; i < b->holders.n; i++) {
        const struct look_handover *h = &b->holders.items[i];

        table_cell(&t, "%s", page_serial(p, h->serial).s);
        table_cell(&t, "%s", page_or_dash(h->home));
        table_cell(&t, "%s", page_or_dash(h->place));
        table_cell(&t, "%s", page_phone(p, h->phone).s);
        table_cell(&t, "%s", page_day(h->given_s).s);
        table_cell(&t, "%s", page_number(h->flow_l, 1).s);
        table_cell(&t, "%s", h->failed_s != 0 ? "failed" : "in use");
    }
    table_put(&t, &p->screen, 2);
    table_release(&t);
}

/* Worth a look: more than chance alone does in one of twenty. */
static bool fails_more(const struct batch_page *b)
{
    return b->judged && b->verdict.observed > b->verdict.expected &&
           (b->verdict.p_poisson < 0.05 ||
            (b->watched && b->watch.state != DETECTOR_SOUND));
}

/* All of it in short; each is told at length below. */
static void put_unusual(const struct page *p, const struct batch_page *b)
{
    const struct screen *s = &p->screen;
    size_t n = 0;

    if (fails_more(b)) {
        screen_item(s, 2, "%lld of %d pots failed, expected %.1f%s%s",
                    (long long)b->verdict.observed, b->batch.pots_out,
                    b->verdict.expected, b->watched ? "; the watch: " : "",
                    b->watched ? detector_state_name(
                                     (enum detector_state)b->watch.state)
                               : "");
        n++;
    }
    n += usual_put_items(p, &b->usual);
    if (b->watched && b->watch.run_from != 0 && b->watch.run_p <= SCAN_TOLD_P) {
        screen_item(s, 2,
                    "%lld failures in a run of serials where %.1f are expected",
                    (long long)b->watch.run_failed, b->watch.run_expected);
        n++;
    }
    if (b->watched && b->watch.bound) {
        screen_item(s, 2,
                    "nearly all in one place, which holds no other "
                    "batch: it may be the place");
        n++;
    }
    if (n == 0)
        screen_text(s, 2,
                    "Nothing: it was made as others were, and its pots "
                    "fail no more than theirs.");
}

void batch_page_text(const struct page *p, const struct batch_page *b)
{
    const struct screen *s = &p->screen;

    screen_title(s, "Batch %s%s", b->batch.code,
                 b->batch.recalled_s != 0 ? ": recalled" : "");
    if (b->batch.recalled_s != 0)
        screen_text(s, 0,
                    "Recalled on %s: nobody is to drink from a pot of it, "
                    "however it runs, and none is to be handed out.",
                    page_day(b->batch.recalled_s).s);
    screen_section(s, "What is unusual", NULL);
    put_unusual(p, b);
    screen_section(s, "Failures against what is expected", NULL);
    put_verdict(p, b);
    screen_section(s, "How it was made", NULL);
    put_making(p, &b->batch);
    put_differs(p, b);
    life_text(p, &b->life);
    screen_section(s, "Pots that failed",
                   "By the day of the first report; age since the hand-over.");
    put_failed(p, b);
    if (b->failed.n == 0)
        screen_text(s, 2, "None.");
    screen_section(s, "Who holds pots of it",
                   "L: litres of the first hour at the last reading.");
    put_holders(p, b);
    if (b->holders.n == 0)
        screen_text(s, 2, "Nobody.");
    screen_section(s, "Alerts", NULL);
    page_put_alerts(p, &b->alerts);
    if (b->alerts.n == 0)
        screen_text(s, 2, "None.");
}
