/*
 * check_forecast.c - the forecasts of need over the months: made once a month
 * by the clock, compared when their days have passed with what is counted
 * here by hand, and the interval widened when they did badly. The pots and
 * their failures are made up.
 */
#include "ledger/batchstate.h"
#include "ledger/notebook.h"
#include "page/need.h"

#include "base/clock.h"
#include "close.h"
#include "desk_fixture.h"
#include "ledger/engine.h"

#include <stdio.h>
#include <string.h>

enum { POTS = 700, MONTHS = 17 };
static int64_t keys[POTS], given_s[POTS], failed_s[POTS];
static int64_t extra_place, extra_home;

static void furnish(void)
{
    struct ledger_place p = {.name = "Umbresk",
                             .lat_deg = NAN,
                             .lon_deg = NAN,
                             .reported_share = 0.3};
    struct ledger_batch b = {.code = "0300",
                             .sawdust_pct = NAN,
                             .sawdust_mesh = NAN,
                             .drying_days = NAN,
                             .peak_degc = NAN,
                             .soak_min = NAN,
                             .cooling_h = NAN,
                             .silver_mg = NAN,
                             .pressed_s = START - 300 * CLOCK_DAY_S};
    enum ledger_change change;

    for (int m = 0; m < 12; m++)
        p.water_degc[m] = NAN;
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_place_put(lg, &p, &change), 0);
    ck_assert_int_eq(ledger_batch_put(lg, &b, &change), 0);
    extra_place = p.id;
    extra_home = put_home("U1", NULL, p.id);
    for (int i = 0; i < POTS; i++) {
        given_s[i] = START - (200 - i % 90) * CLOCK_DAY_S;
        failed_s[i] = 0;
        keys[i] = put_pot(-1, "0300", b.id, i + 1);
        give(keys[i], extra_home, given_s[i]);
    }
    ck_assert_int_eq(ledger_commit(lg), 0);
}

static void fail_pot(int i, int64_t at_s)
{
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_pot_fail(lg, keys[i], at_s, 0), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    failed_s[i] = at_s;
}

static struct page page_at(int64_t at_s)
{
    return (struct page){.conf = conf, .now_s = at_s};
}

/* What the scanner's thread does on each look; how many rows it wrote. */
static size_t one_look(int64_t at_s)
{
    struct page p = page_at(at_s);
    struct need_month m;
    size_t n;

    ck_assert_int_eq(need_month_look(&p, lg, &m), 0);
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(need_month_put(lg, &m), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    n = m.n;
    need_month_release(&m);
    return n;
}

/* Looks until there is nothing more to do. */
static size_t month_look(int64_t at_s)
{
    size_t n = 0, more;

    do {
        more = one_look(at_s);
        n += more;
    } while (more > 0);
    return n;
}

static int64_t midnight_of(int year, int month)
{
    char text[32];
    int64_t at_s;

    snprintf(text, sizeof(text), "%04d-%02d-01", year, month);
    ck_assert_int_eq(clock_parse(text, strlen(text), &at_s), 0);
    return at_s;
}

static int64_t month_start(int m) /* 0: April 2026 */
{
    return midnight_of(2026 + (m + 3) / 12, 1 + (m + 3) % 12);
}

/* So many in a month, on days spread over it, of those still whole. */
static void fail_in(int month, int n)
{
    int64_t from_s = month_start(month);

    for (int i = 0, done = 0; done < n && i < POTS; i++) {
        if (failed_s[i] != 0)
            continue;
        fail_pot(i, from_s + 3600 + done * 27 * CLOCK_DAY_S / n);
        done++;
    }
}

static int count(int64_t from_s, int64_t to_s)
{
    int n = 0;

    for (int i = 0; i < POTS; i++)
        n += failed_s[i] > from_s && failed_s[i] <= to_s;
    return n;
}

static int check_row(const struct ledger_forecast *f, void *arg)
{
    int *n = arg;
    int64_t end_s = f->made_s + f->days * (int64_t)CLOCK_DAY_S;

    ck_assert_int_eq(f->failed, count(f->made_s, end_s));
    ck_assert_int_eq(f->slow, 0);
    ck_assert_double_eq(f->came, (double)f->failed);
    ck_assert_int_ge(f->checked_s, end_s);
    ck_assert_double_gt(f->mean, 0);
    ck_assert_double_gt(f->var, 0);
    ck_assert(f->low <= f->mean && f->mean <= f->high);
    ++*n;
    return 0;
}

/* Months pass; in each so many fail as the pattern says. */
static void live(const int *pattern, int n_pattern)
{
    for (int m = 0; m < MONTHS; m++) {
        size_t n;

        n = month_look(month_start(m) + 60);
        ck_assert_uint_ge(n, 2); /* one of 30, one of 90 days, and old ones */
        ck_assert_uint_eq(month_look(month_start(m) + 7200), 0);
        fail_in(m, pattern[m % n_pattern]);
        ck_assert_uint_le(month_look(month_start(m) + 20 * CLOCK_DAY_S), 2);
    }
}

static json_t *shown(int64_t at_s, struct kw_buf *text)
{
    struct need_setting set = need_setting_of(conf);
    struct page p = page_at(at_s);
    struct need_page n;
    json_t *j;

    p.screen = (struct screen){.out = text, .width = SCREEN_WIDTH};
    ck_assert_int_eq(need_page_gather(&p, lg, &set, &n), 0);
    need_page_text(&p, &n);
    j = need_page_json(&p, &n);
    ck_assert_ptr_nonnull(j);
    need_page_release(&n);
    return j;
}

static double real_at(const json_t *j, const char *key)
{
    return json_number_value(json_object_get(j, key));
}

/* The first of JSON's "checked": that of 30 days. */
static const json_t *checked_30(const json_t *j)
{
    return json_array_get(json_object_get(j, "checked"), 0);
}

START_TEST(made_once_a_month_and_compared)
{
    static const int steady[] = {6, 7, 8, 7};
    static const struct ledger_forecast_of of_30 = {30, 100, INT64_MAX};
    static const struct ledger_forecast_of of_90 = {90, 100, INT64_MAX};
    int n = 0;

    open_all();
    furnish();
    ck_assert_uint_eq(month_look(month_start(0) - 10 * CLOCK_DAY_S), 2);
    /* The first was made ten days ago: a little later, then month by month. */
    ck_assert_uint_eq(month_look(month_start(0) + 60), 0);
    ck_assert_uint_eq(month_look(month_start(0) + 6 * CLOCK_DAY_S), 2);
    ck_assert_uint_eq(month_look(month_start(1) - 60), 1); /* 30 days over */
    ck_assert_uint_eq(month_look(month_start(1) + 60), 2);
    close_all();
    open_all();
    furnish();
    live(steady, 4);
    ck_assert_int_eq(rows("forecasts"), 2 * MONTHS);
    ck_assert_int_eq(ledger_forecast_last(lg, &of_30, check_row, &n), 0);
    ck_assert_int_ge(n, MONTHS - 1);
    ck_assert_int_eq(ledger_forecast_last(lg, &of_90, check_row, &n), 0);
    ck_assert_int_ge(n, 2 * MONTHS - 4);
    close_all();
}
END_TEST

/* A failing month and a still one in turn: no forecast can hold. */
START_TEST(widened_when_they_did_badly)
{
    static const int turns[] = {0, 40};
    struct kw_buf text;
    double low, high, mean;
    const json_t *c;
    json_t *j;

    open_all();
    furnish();
    live(turns, 2);
    kw_buf_init(&text, 1 << 20);
    j = shown(month_start(MONTHS) + 60, &text);
    c = checked_30(j);
    ck_assert_int_eq((int)real_at(c, "over"), NEED_PAST);
    ck_assert_double_gt(real_at(c, "misfit"), 1.5);
    ck_assert_double_eq(real_at(c, "widened"), real_at(c, "misfit"));
    ck_assert_int_lt((int)real_at(c, "held"), 10);
    SAYS(kw_buf_text(&text), "times as wide (variance times");
    c = json_array_get(json_object_get(json_object_get(j, "all"), "reported"),
                       0);
    low = real_at(c, "low");
    high = real_at(c, "high");
    mean = real_at(c, "mean");
    json_decref(j);
    /* As of half a year before, what came later is not known. */
    kw_buf_clear(&text);
    j = shown(month_start(MONTHS - 10), &text);
    ck_assert_int_lt((int)real_at(checked_30(j), "over"), NEED_PAST);
    ck_assert_double_eq(real_at(checked_30(j), "widened"), 1);
    json_decref(j);
    kw_buf_clear(&text);
    /* The same without the past: the same mean, a narrower interval. */
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(engine_run(lg, "DELETE FROM forecasts"), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    j = shown(month_start(MONTHS) + 60, &text);
    c = json_array_get(json_object_get(json_object_get(j, "all"), "reported"),
                       0);
    CLOSE(real_at(c, "mean"), mean, 1e-12);
    ck_assert_double_gt(real_at(c, "low"), low);
    ck_assert_double_lt(real_at(c, "high"), high);
    SAYS(kw_buf_text(&text), "none is over yet");
    json_decref(j);
    kw_buf_release(&text);
    close_all();
}
END_TEST

/* Not counted: what was written down later, or had ended or failed before. */
START_TEST(only_pots_that_were_forecast)
{
    int64_t made_s = month_start(0) + 60, end_s = made_s + 30 * CLOCK_DAY_S;
    struct ledger_forecast f = {.made_s = made_s, .days = 30};
    struct ledger_batch b;
    int64_t late;

    open_all();
    furnish();
    fail_pot(0, made_s - 5); /* before */
    ck_assert_int_eq(ledger_forecast_handover(lg, &f.last_handover), 0);
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_handover_end(lg, keys[1], made_s - 5, "gone"), 0);
    ck_assert_int_eq(ledger_batch_find(lg, "0300", &b), 0);
    late = put_pot(-1, "0300", b.id, 900);
    give(late, extra_home, made_s - 9 * CLOCK_DAY_S);
    ck_assert_int_eq(ledger_pot_fail(lg, late, made_s + 50, 0), 0);
    ck_assert_int_eq(ledger_pot_fail(lg, keys[1], made_s + 50, 0), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    fail_pot(2, made_s + 1);
    fail_pot(3, end_s);
    fail_pot(4, end_s + 1); /* after */
    ck_assert_int_eq(ledger_forecast_count(lg, &f), 0);
    ck_assert_int_eq(f.failed, 2);
    ck_assert_int_eq(f.slow, 0);
    close_all();
}
END_TEST

/* Told that it is slow though scrubbed, and to be replaced. */
START_TEST(slow_ones_came_too)
{
    struct ledger_forecast f = {.days = 30};
    struct ledger_flow low = {.first_hour_l = 0.4,
                              .log_se = 0.2,
                              .k_m_s = NAN,
                              .water_degc = NAN,
                              .p_below = 0.99,
                              .verdict = "replace"};
    struct ledger_report r = {.flow = &low};

    open_all();
    furnish();
    f.made_s = START;
    ck_assert_int_eq(ledger_forecast_handover(lg, &f.last_handover), 0);
    ck_assert_int_eq(ledger_begin(lg), 0);
    for (int i = 0; i < 4; i++) {
        r.id = 0;
        r.pot_key = keys[i];
        r.place_id = extra_place;
        r.at_s = START + (i < 3 ? 5 : 40) * CLOCK_DAY_S; /* one: later */
        ck_assert_int_eq(ledger_report_put(lg, &r, NULL, 0), 0);
    }
    low.verdict = "fine"; /* it helped */
    r.id = 0;
    r.pot_key = keys[2];
    r.at_s = START + 8 * CLOCK_DAY_S;
    ck_assert_int_eq(ledger_report_put(lg, &r, NULL, 0), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    fail_pot(1, START + 20 * CLOCK_DAY_S); /* counts as failed, once */
    ck_assert_int_eq(ledger_forecast_count(lg, &f), 0);
    ck_assert_int_eq(f.failed, 1);
    ck_assert_int_eq(f.slow, 1);
    close_all();
}
END_TEST

/* A place of which half as many are told needs twice as many, near enough. */
START_TEST(share_by_place)
{
    struct kw_buf text;
    const json_t *places, *p, *r, *t;
    json_t *j;
    size_t i;
    int seen = 0;

    open_all();
    furnish();
    fail_in(0, 30);
    kw_buf_init(&text, 1 << 20);
    j = shown(month_start(1), &text);
    places = json_object_get(j, "places");
    json_array_foreach(places, i, p)
    {
        double share = real_at(p, "share"), ratio;
        bool umbresk = strcmp(json_string_value(json_object_get(p, "place")),
                              "Umbresk") == 0;

        r = json_array_get(json_object_get(p, "reported"), 0);
        t = json_array_get(json_object_get(p, "truly"), 0);
        ratio = real_at(t, "mean") / real_at(r, "mean");
        ck_assert_double_eq(share, umbresk ? 0.3 : 0.6);
        ck_assert_int_eq(json_is_true(json_object_get(p, "surveyed")), umbresk);
        if (umbresk) /* 1 - exp(-h/0.3) over 1 - exp(-h) */
            ck_assert(ratio > 3 && ratio < 3.5);
        seen += umbresk;
    }
    ck_assert_int_eq(seen, 1);
    SAYS(kw_buf_text(&text), "told, %");
    json_decref(j);
    kw_buf_release(&text);
    close_all();
}
END_TEST

/*
 * A batch that stands alone in a place whose pots break, or are told of, twice
 * as often as elsewhere: one excess, not one of the place times one of the
 * batch. What is forecast is near what came in each of the last months.
 */
START_TEST(eager_place_counts_once)
{
    enum { EACH = 30, PAST = 4 };
    struct ledger_batch b;
    struct kw_buf text;
    const json_t *places, *p;
    int64_t calm;
    size_t i;
    int seen = 0;
    json_t *j;

    open_all();
    furnish();
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_batch_find(lg, "0214", &b), 0);
    calm = put_home("L9", NULL, 1); /* Lunde of the fixture */
    for (int n = 0; n < POTS; n++)
        give(put_pot(-1, "0214", b.id, 200 + n), calm,
             START - (200 - n % 90) * CLOCK_DAY_S);
    ck_assert_int_eq(ledger_commit(lg), 0);
    for (int m = 0; m < PAST; m++)
        fail_in(m, EACH);
    kw_buf_init(&text, 1 << 20);
    j = shown(month_start(PAST), &text);
    places = json_object_get(j, "places");
    json_array_foreach(places, i, p)
    {
        double mean =
            real_at(json_array_get(json_object_get(p, "reported"), 0), "mean");

        if (strcmp(json_string_value(json_object_get(p, "place")), "Umbresk") !=
            0)
            continue;
        seen++;
        ck_assert_msg(mean > 0.5 * EACH && mean < 1.2 * EACH, "%g", mean);
    }
    ck_assert_int_eq(seen, 1);
    json_decref(j);
    kw_buf_release(&text);
    close_all();
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("forecast");

    tcase_set_timeout(tc, 120);
    tcase_add_test(tc, made_once_a_month_and_compared);
    tcase_add_test(tc, widened_when_they_did_badly);
    tcase_add_test(tc, only_pots_that_were_forecast);
    tcase_add_test(tc, slow_ones_came_too);
    tcase_add_test(tc, share_by_place);
    tcase_add_test(tc, eager_place_counts_once);
    return close_run("forecast", tc);
}
