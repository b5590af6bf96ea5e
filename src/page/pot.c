/* pot.c - the life of one pot. */
#include "page/pot.h"

#include "page/flowsvg.h"
#include "page/plot.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static int by_time(const void *a, const void *b)
{
    const struct look_report *x = a, *y = b;

    if (x->at_s != y->at_s)
        return x->at_s < y->at_s ? -1 : 1;
    return x->text_id < y->text_id ? -1 : x->text_id > y->text_id;
}

int pot_page_gather(const struct page *p, struct ledger *lg, int64_t key,
                    struct pot_page *out)
{
    int err;

    *out = (struct pot_page){0};
    if ((err = ledger_pot_get(lg, key, &out->pot)) < 0 ||
        (err = look_handovers(lg, &(struct look_of){.by = LOOK_POT, .id = key},
                              page_add_handover, &out->handovers)) < 0 ||
        (err = look_reports(lg, &(struct look_of){.by = LOOK_POT, .id = key},
                            page_add_report, &out->reports)) < 0 ||
        (err = look_unfiled(
             lg,
             &(struct look_of){.by = LOOK_POT,
                               .id = key,
                               .since_s = p->now_s - POT_UNFILED_S},
             page_add_report, &out->reports)) < 0 ||
        (err = look_alerts(lg, &(struct look_of){.by = LOOK_POT, .id = key},
                           page_add_alert, &out->alerts)) < 0)
        return err;
    if (out->reports.n > 1)
        qsort(out->reports.items, out->reports.n, sizeof(*out->reports.items),
              by_time);
    err = flow_track_build(p, lg, &out->pot, &out->reports, &out->track);
    if (err < 0)
        return err;
    return batch_page_gather(p, lg, out->pot.batch_id, false, &out->batch);
}

void pot_page_release(struct pot_page *t)
{
    kw_free(t->handovers.items);
    kw_free(t->reports.items);
    kw_free(t->alerts.items);
    batch_page_release(&t->batch);
    flow_track_release(&t->track);
    *t = (struct pot_page){0};
}

/* When the pot that failed was handed to the home it failed in. */
static int64_t given_before_failure(const struct pot_page *t)
{
    int64_t given_s = 0;

    for (size_t i = 0; i < t->handovers.n; i++) {
        if (t->handovers.items[i].given_s <= t->pot.failed_s)
            given_s = t->handovers.items[i].given_s;
    }
    return given_s;
}

static const char *state_of(const struct pot_page *t)
{
    if (t->pot.failed_s != 0)
        return "failed";
    if (t->pot.scrapped)
        return "scrapped";
    if (t->pot.recalled_s != 0)
        return "recalled";
    return t->pot.home_id != 0 ? "in use" : "not in a home";
}

static void put_handovers(const struct page *p, const struct pot_page *t)
{
    const struct screen *s = &p->screen;

    for (size_t i = 0; i < t->handovers.n; i++) {
        const struct look_handover *h = &t->handovers.items[i];

        screen_field(s, "handed over", "%s to home %s, %s, %s",
                     page_day(h->given_s).s, page_or_dash(h->home),
                     page_or_dash(h->place), page_phone(p, h->phone).s);
        if (h->ended_s != 0)
            screen_field(s, "ended", "%s: %s", page_day(h->ended_s).s,
                         page_or_dash(h->reason));
    }
    if (t->handovers.n == 0)
        screen_field(s, "handed over", "never");
}

static void put_life(const struct page *p, const struct pot_page *t)
{
    const struct ledger_batch *b = &t->batch.batch;
    const struct screen *s = &p->screen;
    int64_t given_s = given_before_failure(t);

    screen_field(s, "made", "batch %s, pressed %s", b->code,
                 page_day(b->pressed_s).s);
    screen_field(s, "fired", "%s at up to %s °C, silvered %s%s%s",
                 page_day(b->fired_s).s, page_number(b->peak_degc, 0).s,
                 page_day(b->silvered_s).s,
                 t->pot.shelf[0] != '\0' ? "; on shelf " : "", t->pot.shelf);
    if (isfinite(t->pot.test_l))
        screen_field(s, "tested", "%.2f L in the first hour", t->pot.test_l);
    else
        screen_field(s, "tested",
                     "not by itself; accepted pots of its batch "
                     "gave %s to %s L",
                     page_number(b->test_min_l, 2).s,
                     page_number(b->test_max_l, 2).s);
    put_handovers(p, t);
    if (t->pot.failed_s != 0 && given_s != 0)
        screen_field(s, "failed", "%s, %lld days after it was handed over",
                     page_day(t->pot.failed_s).s,
                     (long long)((t->pot.failed_s - given_s) / CLOCK_DAY_S));
    else if (t->pot.failed_s != 0)
        screen_field(s, "failed", "%s", page_day(t->pot.failed_s).s);
    if (t->pot.last_scrub_s != 0)
        screen_field(s, "scrubbed", "last on %s",
                     page_day(t->pot.last_scrub_s).s);
}

/* The letter of a verdict in the picture; rank: the graver one is shown. */
static struct plot_point point_of(const struct look_report *r)
{
    static const struct {
        const char *verdict;
        char mark;
    } marks[] = {
        {"fine", 'o'}, {"scrub", 's'}, {"replace", 'R'}, {"stop", 'F'}};
    struct plot_point q = {(double)r->at_s, r->first_hour_l, 'o', 1};

    for (size_t i = 0; i < KW_COUNT(marks); i++) {
        if (strcmp(marks[i].verdict, r->verdict) == 0) {
            q.mark = marks[i].mark;
            q.rank = (int)i + 1;
        }
    }
    return q;
}

/* The workshop's own test, scrubs, then every reading. Points are kw_free'd;
 * *reads tells how many are readings. */
static size_t gather_points(const struct pot_page *t, size_t *reads,
                            struct plot_point **out)
{
    const struct flow_track *track = &t->track;
    struct plot_point *points =
        kw_calloc(t->reports.n + track->n_scrubs + 1, sizeof(*points));
    int64_t fired_s = t->batch.batch.fired_s;
    size_t n = 0;

    if (isfinite(t->pot.test_l) && fired_s != 0)
        points[n++] =
            (struct plot_point){(double)fired_s, t->pot.test_l, 't', 0};
    for (size_t i = 0; i < track->n_scrubs; i++)
        points[n++] = (struct plot_point){(double)track->scrubs[i], 0, 'w', 0};
    *reads = 0;
    for (size_t i = 0; i < t->reports.n; i++) {
        if (!isfinite(t->reports.items[i].first_hour_l))
            continue;
        points[n++] = point_of(&t->reports.items[i]);
        ++*reads;
    }
    *out = points;
    return n;
}

/* Level and band as litres. kw_free'd. */
static struct plot_level *gather_levels(const struct flow_track *track)
{
    struct plot_level *levels = kw_calloc(track->n_spots + 1, sizeof(*levels));

    for (size_t i = 0; i < track->n_spots; i++) {
        const struct track_spot *s = &track->spots[i];

        levels[i] = (struct plot_level){(double)s->at_s, exp(s->level - s->sd),
                                        exp(s->level), exp(s->level + s->sd)};
    }
    return levels;
}

/* High enough for the band and for what is not far above it. */
static double top_of(const struct config *conf, const struct plot_point *q,
                     size_t n)
{
    double top = conf->accept_max_l + 0.5, most = 2 * conf->accept_max_l;

    for (size_t i = 0; i < n; i++)
        top = fmax(top, fmin(q[i].y + 0.25, most));
    return ceil(top * 2) / 2;
}

static void put_picture(const struct page *p, const struct flow_track *track,
                        const struct plot_point *points, size_t n)
{
    struct plot_level *levels = gather_levels(track);
    struct plot plot = {.points = points,
                        .n_points = n,
                        .levels = levels,
                        .n_levels = track->n_spots};
    double from = points[0].x, to = points[n - 1].x;
    struct page_word left, right;

    for (size_t i = 0; i < n; i++)
        from = fmin(from, points[i].x);
    if (track->n_spots > 0)
        to = fmax(to, levels[track->n_spots - 1].x);
    left = page_day((int64_t)from);
    right = page_day((int64_t)to);
    plot.y_top = top_of(p->conf, points, n);
    plot.rows = plot.y_top <= 4 ? (int)(plot.y_top * 4) : 16;
    plot.band_low = p->conf->accept_min_l;
    plot.band_high = p->conf->accept_max_l;
    plot.threshold = p->conf->replace_below_l;
    plot.x_left = left.s;
    plot.x_right = right.s;
    plot_put(&plot, &p->screen);
    kw_free(levels);
    screen_text(&p->screen, 2,
                "o fine, s low: scrub, R replace, F too fast, t workshop's "
                "test, w scrubbed; = all readings together and : their band "
                "(68 %%), to 60 days ahead; dots: accepted band %.2g to %.2g "
                "L; line: replace below %.2g L. Readings above the picture "
                "stand in its top row.",
                p->conf->accept_min_l, p->conf->accept_max_l,
                p->conf->replace_below_l);
}

/* What was decided, and why when there is more to say than the number. */
static void put_decided(struct table *table, const struct flow_track *track,
                        const struct look_report *r)
{
    const struct ledger_decision *d = NULL;
    struct kw_buf why;

    for (size_t i = 0; i < track->n_reads && d == NULL; i++) {
        if (track->reads[i].report == r)
            d = &track->reads[i].decision;
    }
    kw_buf_init(&why, 256);
    if (d != NULL)
        flow_track_why(d->why, &why);
    table_cell(table, "%s", d ? page_number(exp(d->level), 2).s : "-");
    table_cell(table, "%s", page_number(r->p_below, 2).s);
    if (why.len > 0)
        table_cell(table, "%s (%s)", page_verdict(r->verdict),
                   kw_buf_text(&why));
    else
        table_cell(table, "%s", page_verdict(r->verdict));
    kw_buf_release(&why);
}

static void put_readings(const struct page *p, const struct pot_page *t)
{
    static const struct table_column columns[] = {
        {"when", false, 0}, {"L", true, 0},      {"68 % within", false, 0},
        {"level", true, 0}, {"P(low)", true, 0}, {"verdict", false, 10}};
    struct table table;

    table_init(&table, &p->screen, columns, KW_COUNT(columns));
    for (size_t i = 0; i < t->reports.n; i++) {
        const struct look_report *r = &t->reports.items[i];

        if (!isfinite(r->first_hour_l))
            continue;
        table_cell(&table, "%s", page_time(r->at_s).s);
        table_cell(&table, "%.2f", r->first_hour_l);
        if (isfinite(r->log_se))
            table_cell(&table, "%.2f to %.2f",
                       r->first_hour_l * exp(-r->log_se),
                       r->first_hour_l * exp(r->log_se));
        else
            table_cell(&table, "-");
        put_decided(&table, &t->track, r);
    }
    table_put(&table, &p->screen, 2);
    table_release(&table);
}

static void put_flow(const struct page *p, const struct pot_page *t)
{
    struct plot_point *points;
    size_t reads, n = gather_points(t, &reads, &points);

    screen_section(&p->screen, "Flow",
                   "Each reading as litres of the first hour from a brim-full "
                   "pot at 25 °C, whatever was measured. level: what all "
                   "readings up to it say together. P(low): how likely the "
                   "flow is below the threshold.");
    if (reads > 0) {
        put_picture(p, &t->track, points, n);
        put_readings(p, t);
        flow_track_words(p, &t->track);
    } else {
        screen_text(&p->screen, 2, "No reading yet.");
    }
    kw_free(points);
}

/* What a reader must not miss, before anything else. */
static void put_caution(const struct page *p, const struct pot_page *t)
{
    const struct look_report *last = NULL;

    for (size_t i = 0; i < t->reports.n; i++) {
        if (t->reports.items[i].verdict[0] != '\0')
            last = &t->reports.items[i];
    }
    if (t->pot.failed_s != 0)
        screen_text(&p->screen, 0,
                    "A crack, leak or break was reported: water from this pot "
                    "is not safe to drink. Water is treated another way, by "
                    "local advice, until the home has a new pot.");
    else if (last != NULL && strcmp(last->verdict, "stop") == 0)
        screen_text(&p->screen, 0,
                    "It ran too fast at the last reading and may be cracked: "
                    "not to be drunk from until someone has looked at it.");
    if (t->pot.recalled_s != 0)
        screen_text(&p->screen, 0,
                    "Its batch was recalled on %s: not to be drunk from, "
                    "however it runs. Water is treated another way, by local "
                    "advice, until the home has a pot of another batch.",
                    page_day(t->pot.recalled_s).s);
}

void pot_page_text(const struct page *p, const struct pot_page *t)
{
    const struct screen *s = &p->screen;

    screen_title(s, "Pot %s: %s", page_serial(p, t->pot.serial).s, state_of(t));
    put_caution(p, t);
    screen_section(s, "Life", NULL);
    put_life(p, t);
    put_flow(p, t);
    screen_section(s, "Reports",
                   "Every text about this pot, and what was made of it.");
    page_put_reports(p, &t->reports, false);
    if (t->reports.n == 0)
        screen_text(s, 2, "None.");
    screen_section(s, "Alerts", NULL);
    page_put_alerts(p, &t->alerts);
    if (t->alerts.n == 0)
        screen_text(s, 2, "None.");
    screen_section(s, "Its batch", NULL);
    batch_page_short(p, &t->batch);
}

void pot_page_svg(const struct page *p, const struct pot_page *t,
                  struct kw_buf *out)
{
    flowsvg_put(p, page_serial(p, t->pot.serial).s, &t->track, out);
}

json_t *pot_page_json(const struct page *p, const struct pot_page *t)
{
    return json_pack("{s:o, s:o, s:s, s:o, s:o, s:b, s:o, s:o, s:o, s:o, s:o, "
                     "s:o, s:o, s:o, s:o}",
                     "pot", page_json_word(page_serial(p, t->pot.serial).s),
                     "serial", page_json_word(t->pot.serial), "state",
                     state_of(t), "test_l", page_json_real(t->pot.test_l),
                     "failed", page_json_time(t->pot.failed_s), "scrapped",
                     t->pot.scrapped, "recalled",
                     page_json_time(t->pot.recalled_s), "shelf",
                     page_json_word(t->pot.shelf), "last_flow_l",
                     page_json_real(t->pot.last_flow_l), "last_scrub",
                     page_json_time(t->pot.last_scrub_s), "flow",
                     flow_track_json(p, &t->track), "handovers",
                     page_json_handovers(p, &t->handovers), "reports",
                     page_json_reports(p, &t->reports), "alerts",
                     page_json_alerts(&t->alerts), "batch",
                     batch_page_json(p, &t->batch, false));
}
