/* check_segment.c - texts cut into parts, against rows of other programs. */
#include "base/septet.h"
#include "carrier/dcs.h"
#include "carrier/gsm7.h"
#include "carrier/segment.h"
#include "carrier/tpdu.h"
#include "carrier/ucs2.h"
#include "carrier/utf8.h"
#include "vectors.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct segment_text cut;

/* "153/7": the units of each part, as the rows write them. */
static void sizes(char *dst, size_t cap)
{
    size_t per = cut.tp_dcs == DCS_UTF16 ? 2 : 1, used = 0;

    dst[0] = '\0';
    for (size_t i = 0; i < cut.n; i++) {
        int n = snprintf(dst + used, cap - used, "%s%zu", i > 0 ? "/" : "",
                         cut.parts[i].n / per);

        ck_assert_int_gt(n, 0);
        used += (size_t)n;
    }
}

static void expect_rows(const char *file, const char *column, bool ucs2)
{
    struct vectors v;

    vectors_open(&v, file);
    while (vectors_next(&v)) {
        size_t len;
        char *text = vectors_text(&v, "text", &len), got[200];
        struct segment_way way = {0};

        ck_assert_int_eq(segment_cut(&way, text, len, &cut), 0);
        sizes(got, sizeof(got));
        /* A row says "yes" where two other programs agree on it. */
        if (!ucs2 || strcmp(vectors_get(&v, "two_tools_agree"), "yes") == 0) {
            ck_assert_uint_eq(cut.n, (size_t)vectors_int(&v, "segments"));
            ck_assert_str_eq(got, vectors_get(&v, column));
        }
        ck_assert_int_eq(cut.tp_dcs, ucs2 ? DCS_UTF16 : DCS_DEFAULT);
        kw_free(text);
    }
    ck_assert_uint_gt(v.rows, 20);
    vectors_close(&v);
}

START_TEST(gsm7_rows)
{
    expect_rows("protocol/gsm7.csv", "segment_septets", false);
}
END_TEST

START_TEST(ucs2_rows)
{
    expect_rows("protocol/ucs2.csv", "segment_units", true);
}
END_TEST

static const char *const alphabet[] = {"a",
                                       "4",
                                       " ",
                                       "[",
                                       "\xe2\x82\xac",
                                       "\xc3\xa9",
                                       "\xc3\xa7",
                                       "\xc4\x9f",
                                       "\xf0\x9f\x98\x80",
                                       "\xe0\xa4\x95",
                                       "\xe0\xa5\x87",
                                       "e\xcc\x81",
                                       "\xff"};

/* A text of n pieces of the first `kinds` of the alphabet. */
static size_t make_text(char *dst, size_t n, size_t kinds)
{
    size_t len = 0;

    for (size_t i = 0; i < n; i++) {
        const char *s = alphabet[(size_t)rand() % kinds];

        memcpy(dst + len, s, strlen(s));
        len += strlen(s);
    }
    return len;
}

static void join(struct kw_buf *out)
{
    struct alphabet_shift shift = {cut.udh.locking, cut.udh.single};

    for (size_t i = 0; i < cut.n; i++) {
        if (cut.tp_dcs == DCS_UTF16)
            ucs2_decode(cut.parts[i].octets, cut.parts[i].n, out);
        else
            gsm7_decode(shift, cut.parts[i].octets, cut.parts[i].n, out);
    }
}

/* What is not UTF-8 goes out as U+FFFD. */
static void put_clean(struct kw_buf *out, const char *text, size_t len)
{
    for (size_t at = 0; at < len;)
        utf8_put(out, utf8_next(text, len, &at));
}

/*
 * Generated texts: the parts joined are the text; each part fits its TPDU; as
 * many parts as base/septet.h promises to those who write replies.
 */
START_TEST(parts_join)
{
    static const struct segment_way ways[] = {
        {false, 0, false}, {true, 0, false}, {false, 1, false},
        {false, 3, false}, {true, 6, false}, {false, 2, false}};
    char text[2000];

    srand(3 + _i);
    for (int turn = 0; turn < 300; turn++) {
        size_t len = make_text(text, (size_t)rand() % 330,
                               1 + (size_t)rand() % KW_COUNT(alphabet));
        struct septet_size size = septet_measure(text, len);
        struct kw_buf joined, clean;

        ck_assert_int_eq(segment_cut(&ways[_i], text, len, &cut), 0);
        kw_buf_init(&joined, 10000);
        kw_buf_init(&clean, 10000);
        join(&joined);
        put_clean(&clean, text, len);
        ck_assert_str_eq(kw_buf_text(&joined), kw_buf_text(&clean));
        for (size_t i = 0; i < cut.n; i++) {
            struct tpdu t = {.type = TPDU_SUBMIT, .tp_dcs = cut.tp_dcs};

            ck_assert_int_eq(
                tpdu_put_ud(&t, &cut.udh, cut.parts[i].octets, cut.parts[i].n),
                0);
            ck_assert_uint_le(t.ud_octets, TPDU_UD_OCTETS);
        }
        if (_i == 0 && len > 0)
            ck_assert_uint_eq(cut.n, size.segments);
        if (len > 0 && !ways[_i].wide)
            ck_assert_uint_le(cut.n, size.segments);
        kw_buf_release(&joined);
        kw_buf_release(&clean);
    }
}
END_TEST

/* A mark stays with its letter when the parts do not become more. */
START_TEST(marks_stay)
{
    struct segment_way way = {0};
    char text[400];
    size_t len = 0;

    for (int i = 0; i < 66; i++)
        len += (size_t)snprintf(text + len, sizeof(text) - len, "\xe0\xa4\x95");
    len += (size_t)snprintf(text + len, sizeof(text) - len,
                            "\xe0\xa4\x95\xe0\xa5\x87 end of it");
    ck_assert_int_eq(segment_cut(&way, text, len, &cut), 0);
    ck_assert_uint_eq(cut.n, 2);
    ck_assert_uint_eq(cut.parts[0].n, 2 * 66);
    /* Of nothing but marks there is no better place. */
    len = 0;
    for (int i = 0; i < 100; i++)
        len += (size_t)snprintf(text + len, sizeof(text) - len, "\xe0\xa5\x87");
    ck_assert_int_eq(segment_cut(&way, text, len, &cut), 0);
    ck_assert_uint_eq(cut.parts[0].n, 2 * 67);
}
END_TEST

/* A language's tables are used where they are allowed and save a part. */
START_TEST(shift_tables)
{
    struct segment_way way = {.language = 0}, turkish = {.language = 1};
    char text[400];
    size_t len = 0;

    for (int i = 0; i < 100; i++)
        len += (size_t)snprintf(text + len, sizeof(text) - len, "\xc4\x9f");
    ck_assert_int_eq(segment_cut(&way, text, len, &cut), 0);
    ck_assert_uint_eq(cut.n, 2);
    ck_assert_int_eq(cut.tp_dcs, DCS_UTF16);
    ck_assert_int_eq(segment_cut(&turkish, text, len, &cut), 0);
    ck_assert_uint_eq(cut.n, 1);
    ck_assert_int_eq(cut.tp_dcs, DCS_DEFAULT);
    ck_assert_int_eq(cut.udh.locking, 1);
    /* Plain words need no table even where it is allowed. */
    ck_assert_int_eq(segment_cut(&turkish, "kil", 3, &cut), 0);
    ck_assert_int_eq(cut.udh.locking, 0);
    ck_assert_int_eq(cut.udh.single, 0);
}
END_TEST

START_TEST(bounds)
{
    struct segment_way way = {0};
    size_t len = 153 * SEGMENT_MOST + 1;
    char *text = kw_malloc(len);

    memset(text, 'a', len);
    ck_assert_int_eq(segment_cut(&way, text, len - 1, &cut), 0);
    ck_assert_uint_eq(cut.n, SEGMENT_MOST);
    ck_assert_int_eq(segment_cut(&way, text, len, &cut), KW_EFULL);
    ck_assert_int_eq(segment_cut(&way, text, 0, &cut), 0);
    ck_assert_uint_eq(cut.n, 1);
    ck_assert_uint_eq(cut.parts[0].n, 0);
    kw_free(text);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("segment");
    TCase *t = tcase_create("segment");
    SRunner *r;
    int failed;

    tcase_add_test(t, gsm7_rows);
    tcase_add_test(t, ucs2_rows);
    tcase_add_loop_test(t, parts_join, 0, 6);
    tcase_add_test(t, marks_stay);
    tcase_add_test(t, shift_tables);
    tcase_add_test(t, bounds);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
