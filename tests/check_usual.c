/*
 * check_usual.c - a batch next to what is usual: robust against an odd batch
 * among the others, seldom told of what is not there; and the map of places.
 */
#include "page/usual.h"

#include "ledger/notebook.h"
#include "page/map.h"
#include "tests/close.h"
#include "tests/ledger_fixture.h"

#include <stdio.h>
#include <string.h>

static struct ledger *lg;

static void open_ledger(void)
{
    lg = fixture_open();
}

static void close_ledger(void)
{
    ledger_close(lg);
    fixture_remove();
}

static void put(int number, double peak, double drying, const char *kiln)
{
    struct ledger_batch b = {.peak_degc = peak,
                             .drying_days = drying,
                             .sawdust_pct = NAN,
                             .sawdust_mesh = 20,
                             .soak_min = NAN,
                             .cooling_h = NAN,
                             .silver_mg = NAN};
    enum ledger_change what;

    snprintf(b.code, sizeof(b.code), "%04d", number);
    snprintf(b.kiln, sizeof(b.kiln), "%s", kiln);
    b.pressed_s = 86400;
    b.fired_s = 2 * 86400;
    ck_assert_int_ge(ledger_batch_put(lg, &b, &what), 0);
}

static struct usual of(int number)
{
    struct ledger_batch b;
    struct usual u;
    char code[8];

    snprintf(code, sizeof(code), "%04d", number);
    ck_assert_int_eq(ledger_batch_find(lg, code, &b), 0);
    ck_assert_int_eq(usual_gather(lg, &b, &u), 0);
    return u;
}

/*
 * Nine others at 861 … 869: median 865, median deviation 2, so 1.4826 x 2 a
 * robust standard deviation (Hampel 1974); deciles of Hyndman & Fan's type 7.
 */
START_TEST(numbers_by_hand)
{
    const struct usual_number *x;
    struct usual u;

    for (int i = 1; i <= 9; i++)
        put(i, 860 + i, 12, i % 2 ? "A" : "B");
    put(100, 880, 12, "C");
    u = of(100);
    ck_assert_int_eq(u.batches, 9);
    x = &u.numbers[USUAL_PEAK_DEGC];
    ck_assert_int_eq(x->known, 9);
    CLOSE(x->low, 861, 1e-15);
    CLOSE(x->high, 869, 1e-15);
    CLOSE(x->usual_low, 861.8, 1e-12);
    CLOSE(x->usual_high, 868.2, 1e-12);
    CLOSE(x->far, 15 / (1.4826 * 2), 1e-12);
    ck_assert_int_eq(x->flag, USUAL_HIGHER);
    /* all others alike, and it too; then nothing known */
    ck_assert_int_eq(u.numbers[USUAL_DRYING_DAYS].flag, USUAL_AS_OTHERS);
    ck_assert_int_eq(u.numbers[USUAL_SOAK_MIN].flag, USUAL_UNKNOWN);
    ck_assert_int_eq(u.names[USUAL_KILN].flag, USUAL_ALONE);
    ck_assert_int_eq(u.names[USUAL_KILN].named, 9);
    ck_assert_int_eq(u.names[USUAL_MOULD].flag, USUAL_UNKNOWN);
    ck_assert_int_eq(u.others_far, 0);
    ck_assert_int_eq(u.others_values, 27);
    u = of(1);
    ck_assert_int_eq(u.names[USUAL_KILN].same, 4);
    ck_assert_int_eq(u.names[USUAL_KILN].flag, USUAL_AS_OTHERS);
}
END_TEST

/* An odd batch of before does not hide the next; low and high of all would. */
START_TEST(odd_ones_hide_nothing)
{
    struct usual u;

    for (int i = 1; i <= 12; i++)
        put(i, 860 + i % 7, 12 + i % 3, "A");
    put(13, 905, 3, "A");
    put(100, 902, 4, "A");
    u = of(100);
    ck_assert_double_gt(u.numbers[USUAL_PEAK_DEGC].high, 902);
    ck_assert_int_eq(u.numbers[USUAL_PEAK_DEGC].flag, USUAL_HIGHER);
    ck_assert_int_eq(u.numbers[USUAL_DRYING_DAYS].flag, USUAL_LOWER);
    ck_assert_int_eq(u.others_far, 2);
}
END_TEST

/* Where all others are alike, any difference stands out. */
START_TEST(all_alike_but_one)
{
    struct usual u;

    for (int i = 1; i <= 6; i++)
        put(i, 865, 12, "A");
    put(100, 866, 12, "A");
    u = of(100);
    ck_assert(isinf(u.numbers[USUAL_PEAK_DEGC].far));
    ck_assert_int_eq(u.numbers[USUAL_PEAK_DEGC].flag, USUAL_HIGHER);
}
END_TEST

/* With few others: outside all of them. */
START_TEST(few_others)
{
    struct usual u;

    put(1, 865, 12, "A");
    put(2, 869, 12, "A");
    put(100, 864, 12, "A");
    put(101, 867, 12, "A");
    u = of(100);
    ck_assert(isnan(u.numbers[USUAL_PEAK_DEGC].far));
    ck_assert_int_eq(u.numbers[USUAL_PEAK_DEGC].flag, USUAL_LOWER);
    u = of(101);
    ck_assert_int_eq(u.numbers[USUAL_PEAK_DEGC].flag, USUAL_AS_OTHERS);
}
END_TEST

/* Batches of one kind: of 30 normal values, about 1 in 100 stands out. */
START_TEST(seldom_told_of_nothing)
{
    uint64_t seed = 11;
    int told = 0;

    for (int i = 1; i <= 30; i++)
        put(i, 865 + 6 * close_normal(&seed), 12 + close_normal(&seed), "A");
    for (int i = 1; i <= 30; i++) {
        struct usual u = of(i);

        told += u.numbers[USUAL_PEAK_DEGC].flag > USUAL_AS_OTHERS;
        told += u.numbers[USUAL_DRYING_DAYS].flag > USUAL_AS_OTHERS;
    }
    ck_assert_int_le(told, 3);
}
END_TEST

/* ---- the map ---- */

static double draw(const struct map_spot *spots, size_t n, struct kw_buf *out)
{
    struct screen s = {.out = out, .width = 40, .plain = true};

    kw_buf_init(out, 10000);
    return map_put(&s, spots, n);
}

/* One degree at the equator: 111.2 km; north above, east at the right. */
START_TEST(map_is_right_way_round)
{
    struct map_spot spots[] = {
        {0.5, -0.5, 'w', 0}, {0.5, 0.5, 'e', 0}, {-0.1, 0, 's', 0}};
    struct kw_buf out;
    const char *text;

    CLOSE(draw(spots, 3, &out), 111.2, 0.02);
    text = kw_buf_text(&out);
    ck_assert_ptr_nonnull(strchr(text, 's'));
    ck_assert(strchr(text, 'w') < strchr(text, 'e'));
    ck_assert(strchr(text, 'e') < strchr(text, 's'));
    ck_assert_int_eq(strncmp(text, "    w", 5), 0);
    kw_buf_release(&out);
}
END_TEST

/* Far from the equator a degree of longitude is short; over the date line. */
START_TEST(map_scales_and_turns)
{
    struct map_spot spots[] = {{60, 179.5, 'w', 0}, {60, -179.5, 'e', 0}};
    struct kw_buf out;

    CLOSE(draw(spots, 2, &out), 55.6, 0.03);
    ck_assert(strchr(kw_buf_text(&out), 'w') < strchr(kw_buf_text(&out), 'e'));
    kw_buf_release(&out);
}
END_TEST

/* Two on one spot are both seen; one alone is no map. */
START_TEST(map_keeps_neighbours)
{
    struct map_spot spots[] = {
        {0, 0, 'a', 1}, {0, 0, 'B', 2}, {1, 1, '.', 0}, {1, 1, '.', 0}};
    struct kw_buf out;

    ck_assert_double_gt(draw(spots, 4, &out), 0);
    ck_assert_ptr_nonnull(strchr(kw_buf_text(&out), 'a'));
    ck_assert_ptr_nonnull(strchr(kw_buf_text(&out), 'B'));
    kw_buf_release(&out);
    ck_assert_double_eq(draw(spots, 2, &out), 0);
    ck_assert_uint_eq(out.len, 0);
    kw_buf_release(&out);
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("usual");

    tcase_add_checked_fixture(tc, open_ledger, close_ledger);
    tcase_add_test(tc, numbers_by_hand);
    tcase_add_test(tc, odd_ones_hide_nothing);
    tcase_add_test(tc, all_alike_but_one);
    tcase_add_test(tc, few_others);
    tcase_add_test(tc, seldom_told_of_nothing);
    tcase_add_test(tc, map_is_right_way_round);
    tcase_add_test(tc, map_scales_and_turns);
    tcase_add_test(tc, map_keeps_neighbours);
    return close_run("usual", tc);
}
