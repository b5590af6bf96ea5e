/*
 * check_page_batches.c - the pages about many pots at once: all batches, the
 * recall list, what failing pots have in common, what will be needed, how
 * long a batch lasts. Over the made-up corner of the valley.
 */
#include "base/csv.h"
#include "desk/batch_watch.h"
#include "page/batches.h"
#include "page/causes.h"
#include "page/lasting.h"
#include "page/life.h"
#include "page/need.h"
#include "page/recall.h"
#include "tests/ledger_fixture.h"
#include "tests/page_valley.h"

#include <math.h>
#include <string.h>

static const struct serial_layout layout = {SERIAL_MOD_97_10, 4, 3};
static struct ledger *lg;
static struct config *conf;
static struct kw_buf out;
static struct page page;
static bool csv;

static void open_valley(void)
{
    struct fault_list faults = {0};

    ck_assert_int_eq(clock_set_zone("UTC"), 0);
    ck_assert_int_eq(config_load(NULL, &faults, &conf), 0);
    lg = valley_open();
    kw_buf_init(&out, 1 << 20);
    page = (struct page){.screen = {.out = &out, .width = SCREEN_WIDTH},
                         .conf = conf,
                         .layout = &layout,
                         .now_s = VALLEY_NOW_S};
    csv = false;
}

static void close_valley(void)
{
    ledger_close(lg);
    config_free(conf);
    kw_buf_release(&out);
    fixture_remove();
}

static json_t *batches(void)
{
    struct batch_watch *w = batch_watch_new();
    struct batch_found found;
    struct batches_page b;
    json_t *j;

    ck_assert_int_eq(batch_watch_look(w, lg, VALLEY_NOW_S, &found), 0);
    ck_assert_int_eq(batches_page_gather(
                         &page, lg,
                         &(struct batches_newer){found.batches.items,
                                                 found.batches.n, found.weight},
                         &b),
                     0);
    csv ? batches_page_csv(&page, &b) : batches_page_text(&page, &b);
    j = batches_page_json(&page, &b);
    batches_page_release(&b);
    batch_found_release(&found);
    batch_watch_free(w);
    return j;
}

static json_t *recall(void)
{
    struct ledger_batch batch;
    struct recall_page r;
    json_t *j;

    ck_assert_int_eq(ledger_batch_find(lg, "0214", &batch), 0);
    ck_assert_int_eq(recall_page_gather(&page, lg, &batch, &r), 0);
    csv ? recall_page_csv(&page, &r) : recall_page_text(&page, &r);
    j = recall_page_json(&page, &r);
    recall_page_release(&r);
    return j;
}

static json_t *causes(void)
{
    struct causes_page c;
    json_t *j;

    ck_assert_int_eq(causes_page_gather(&page, lg, &c), 0);
    causes_page_text(&page, &c);
    j = causes_page_json(&page, &c);
    causes_page_release(&c);
    return j;
}

static json_t *need(void)
{
    struct need_setting set = need_setting_of(conf);
    struct need_page n;
    json_t *j;

    ck_assert_int_eq(need_page_gather(&page, lg, &set, &n), 0);
    csv ? need_page_csv(&page, &n) : need_page_text(&page, &n);
    j = need_page_json(&page, &n);
    need_page_release(&n);
    return j;
}

static json_t *life(void)
{
    struct ledger_batch batch;
    struct life l;
    json_t *j;

    ck_assert_int_eq(ledger_batch_find(lg, "0214", &batch), 0);
    ck_assert_int_eq(life_gather(&page, lg, batch.id, &l), 0);
    life_text(&page, &l);
    j = life_json(&l);
    life_release(&l);
    return j;
}

static enum lasting_by lasting_by = LASTING_BATCH;

static json_t *lasting(void)
{
    struct lasting_page l;
    json_t *j;

    ck_assert_int_eq(lasting_page_gather(&page, lg, lasting_by, &l), 0);
    csv ? lasting_page_csv(&page, &l) : lasting_page_text(&page, &l);
    j = lasting_page_json(&page, &l);
    lasting_page_release(&l);
    return j;
}

static json_t *(*const pages[])(void) = {batches, recall, causes,
                                         need,    life,   lasting};

START_TEST(page_fits_its_screen)
{
    for (int width = 80; width >= SCREEN_LEAST; width -= 10) {
        for (int plain = 0; plain < 2; plain++) {
            const char *text;

            page.screen.width = width;
            page.screen.plain = plain != 0;
            kw_buf_clear(&out);
            json_decref(pages[_i]());
            ck_assert_uint_gt(out.len, 100);
            for (text = kw_buf_text(&out); *text != '\0';) {
                size_t len = strcspn(text, "\n");

                ck_assert_msg(screen_columns(text, len) <= width, "%d: %.*s",
                              width, (int)len, text);
                text += len + 1;
            }
            ck_assert_ptr_null(strstr(kw_buf_text(&out), "+9997"));
        }
    }
}
END_TEST

static size_t csv_rows(void)
{
    struct csv c;
    size_t n = 0, fields = 0;
    int got;

    csv_open(&c, kw_buf_text(&out), out.len);
    while ((got = csv_next(&c)) > 0) {
        fields = n == 0 ? c.n_fields : fields;
        ck_assert_uint_eq(c.n_fields, fields);
        n++;
    }
    ck_assert_int_eq(got, 0);
    csv_release(&c);
    return n - 1;
}

START_TEST(csv_has_what_json_has)
{
    json_t *j;

    csv = true;
    j = batches();
    ck_assert_uint_eq(csv_rows(),
                      json_array_size(json_object_get(j, "batches")));
    ck_assert_uint_eq(csv_rows(), 3);
    json_decref(j);
    kw_buf_clear(&out);
    j = recall();
    ck_assert_uint_eq(csv_rows(), json_array_size(json_object_get(j, "pots")));
    json_decref(j);
    kw_buf_clear(&out);
    j = need();
    ck_assert_uint_eq(csv_rows(),
                      2 * (json_array_size(json_object_get(j, "places")) + 1));
    json_decref(j);
}
END_TEST

static double number(json_t *j, const char *key)
{
    return json_number_value(json_object_get(j, key));
}

/* 20 pots were made, 19 went out, 7 failed: each is on the list once. */
START_TEST(recall_has_every_pot)
{
    json_t *j = recall(), *pot;
    size_t i, failed = 0, told = 0;

    ck_assert_uint_eq(json_array_size(json_object_get(j, "pots")), 20);
    ck_assert_double_eq(number(j, "in_use") + number(j, "failed") +
                            number(j, "in_stock") + number(j, "came_back"),
                        20);
    json_array_foreach(json_object_get(j, "pots"), i, pot)
    {
        const char *words = json_string_value(json_object_get(pot, "told"));

        failed += strcmp(json_string_value(json_object_get(pot, "state")),
                         "failed") == 0;
        told += words != NULL && strstr(words, "crack") != NULL;
    }
    ck_assert_double_eq(number(j, "failed"), (double)failed);
    ck_assert_uint_ge(told, 7);
    json_decref(j);
}
END_TEST

START_TEST(recall_shows_phones_when_asked)
{
    page.phones = true;
    json_decref(recall());
    ck_assert_ptr_nonnull(strstr(kw_buf_text(&out), "+9997"));
}
END_TEST

/* The bad batch comes first; one list, one q for each, p <= q. */
START_TEST(worst_first)
{
    json_t *j = batches(), *b;
    double before = INFINITY;
    size_t i;

    json_array_foreach(json_object_get(j, "batches"), i, b)
    {
        ck_assert_double_le(number(b, "risk_low"), before);
        before = number(b, "risk_low");
        ck_assert_double_le(number(b, "mid_p"), number(b, "q"));
        if (i == 0) {
            ck_assert_str_eq(json_string_value(json_object_get(b, "batch")),
                             "0214");
            ck_assert_str_eq(json_string_value(json_object_get(b, "state")),
                             "failing");
        }
    }
    json_decref(j);
}
END_TEST

START_TEST(three_batches_are_refused)
{
    json_t *j = causes(), *v;
    size_t i;

    ck_assert_ptr_nonnull(strstr(kw_buf_text(&out), "refused"));
    ck_assert_ptr_null(strstr(kw_buf_text(&out), "caused by"));
    json_array_foreach(json_object_get(j, "alone"), i, v) ck_assert_str_ne(
        json_string_value(json_object_get(v, "outcome")), "told");
    json_decref(j);
}
END_TEST

/* Means add up over places; the true need is no less than what is told. */
START_TEST(need_adds_up)
{
    json_t *j = need(), *p, *all = json_object_get(j, "all");
    double pots = 0, mean[2] = {0, 0};
    size_t i;

    json_array_foreach(json_object_get(j, "places"), i, p)
    {
        pots += number(p, "pots");
        for (size_t w = 0; w < 2; w++)
            mean[w] += number(json_array_get(json_object_get(p, "reported"), w),
                              "mean");
    }
    ck_assert_double_eq(pots, number(all, "pots"));
    for (size_t w = 0; w < 2; w++) {
        json_t *told = json_array_get(json_object_get(all, "reported"), w);
        json_t *truly = json_array_get(json_object_get(all, "truly"), w);

        ck_assert_double_eq_tol(number(told, "mean"), mean[w], 1e-9);
        ck_assert_double_ge(number(truly, "mean"), number(told, "mean"));
        ck_assert_double_le(number(told, "low"), number(told, "mean") + 1);
        ck_assert_double_ge(number(told, "high"), number(told, "mean") - 1);
    }
    json_decref(j);
}
END_TEST

/* Failures by month and by place are all failures; so are those expected. */
START_TEST(life_adds_up)
{
    json_t *j = life(), *row;
    double failed[2] = {0, 0}, expected[2] = {0, 0};
    static const char *const by[] = {"months", "places"};
    size_t i;

    for (int k = 0; k < 2; k++)
        json_array_foreach(json_object_get(j, by[k]), i, row)
        {
            failed[k] += number(row, "failed");
            expected[k] += number(row, "expected");
        }
    ck_assert_double_eq(failed[0], 7);
    ck_assert_double_eq(failed[1], 7);
    ck_assert_double_eq_tol(expected[0], expected[1], 1e-9);
    ck_assert_double_lt(number(j, "logrank_p"), 0.05);
    json_decref(j);
}
END_TEST

/* By whatever: all pots, all failures; of the batch, life's own curve. */
START_TEST(lasting_adds_up)
{
    json_t *own = life(), *curve = json_object_get(own, "curve");

    for (int k = 0; lasting_by_name(k) != NULL; k++) {
        double pots = 0, failed = 0;
        json_t *j, *g;
        size_t i;

        ck_assert_int_eq(lasting_by_from_name(lasting_by_name(k)), k);
        lasting_by = (enum lasting_by)k;
        kw_buf_clear(&out);
        j = lasting();
        json_array_foreach(json_object_get(j, "groups"), i, g)
        {
            pots += number(g, "pots");
            failed += number(g, "failed");
            if (strcmp(json_string_value(json_object_get(g, "name")), "0214") ==
                0)
                for (size_t n = 0; n < json_array_size(curve); n++) {
                    json_t *a = json_array_get(curve, n);
                    json_t *b = json_array_get(json_object_get(g, "curve"), n);

                    ck_assert_double_eq(number(a, "whole"), number(b, "whole"));
                    ck_assert_double_eq(number(a, "at_risk"),
                                        number(b, "at_risk"));
                }
        }
        ck_assert_double_eq(failed, 8);
        ck_assert_double_ge(pots, 50);
        if (k == LASTING_BATCH)
            ck_assert_double_lt(number(j, "logrank_p"), 0.05);
        json_decref(j);
        kw_buf_clear(&out);
        csv = true;
        json_decref(lasting());
        ck_assert_uint_gt(csv_rows(), 5);
        csv = false;
    }
    ck_assert_int_eq(lasting_by_from_name("weather"), KW_ENOENT);
    lasting_by = LASTING_BATCH;
    json_decref(own);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("page_batches");
    TCase *tc = tcase_create("page");

    tcase_add_checked_fixture(tc, open_valley, close_valley);
    tcase_add_loop_test(tc, page_fits_its_screen, 0, (int)KW_COUNT(pages));
    tcase_add_test(tc, csv_has_what_json_has);
    tcase_add_test(tc, recall_has_every_pot);
    tcase_add_test(tc, recall_shows_phones_when_asked);
    tcase_add_test(tc, worst_first);
    tcase_add_test(tc, three_batches_are_refused);
    tcase_add_test(tc, need_adds_up);
    tcase_add_test(tc, life_adds_up);
    tcase_add_test(tc, lasting_adds_up);
    suite_add_tcase(s, tc);
    return fixture_run(s);
}
