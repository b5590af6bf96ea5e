/* check_base.c - the shared base: text, octets, numbers, time, CSV, sizes. */
#include "base/buf.h"
#include "base/clock.h"
#include "base/csv.h"
#include "base/cur.h"
#include "base/file.h"
#include "base/number.h"
#include "base/septet.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <utf8proc.h>

START_TEST(buf_error_sticks)
{
    struct kw_buf b;

    kw_buf_init(&b, 5);
    kw_buf_puts(&b, "abc");
    kw_buf_printf(&b, "%d", 4567);
    ck_assert_int_eq(b.err, KW_EFULL);
    kw_buf_putc(&b, 'x');
    ck_assert_str_eq(kw_buf_text(&b), "abc");
    kw_buf_clear(&b);
    kw_buf_puts(&b, "12345");
    ck_assert_int_eq(b.err, 0);
    ck_assert_uint_eq(b.len, 5);
    kw_buf_release(&b);
}
END_TEST

START_TEST(cur_stops_at_the_end)
{
    struct kw_cur c;

    kw_cur_init(&c, "\x01\x02\x03\x04\x05", 5);
    ck_assert_uint_eq(kw_cur_u16(&c), 0x0102);
    ck_assert_ptr_null(kw_cur_octets(&c, 4));
    ck_assert_int_eq(c.err, KW_ERANGE);
    ck_assert_uint_eq(kw_cur_u8(&c), 0);
    ck_assert_uint_eq(kw_cur_left(&c), 0);
}
END_TEST

static const struct {
    const char *text;
    int err;
    int64_t value;
} ints[] = {
    {"0", 0, 0},
    {"-17", 0, -17},
    {"", KW_EINVAL, 0},
    {"1 ", KW_EINVAL, 0},
    {" 1", KW_EINVAL, 0},
    {"0x1", KW_EINVAL, 0},
    {"1e3", KW_EINVAL, 0},
    {"1001", KW_ERANGE, 0},
    {"+5", 0, 5},
    {"99999999999999999999999", KW_ERANGE, 0},
    {"9999999999999999999", KW_ERANGE, 0},
};

START_TEST(integer)
{
    int64_t v = 0;

    ck_assert_int_eq(
        kw_parse_i64(ints[_i].text, strlen(ints[_i].text), -1000, 1000, &v),
        ints[_i].err);
    if (ints[_i].err == 0)
        ck_assert_int_eq(v, ints[_i].value);
}
END_TEST

START_TEST(real_refuses_what_is_not_finite)
{
    static const char *const bad[] = {"nan", "inf",   "1,5",
                                      "",    "1e999", "0x1p3"};
    double v;

    for (size_t i = 0; i < KW_COUNT(bad); i++)
        ck_assert_int_lt(kw_parse_double(bad[i], strlen(bad[i]), -1e9, 1e9, &v),
                         0);
    ck_assert_int_eq(kw_parse_double("-2.5e1", 6, -100, 100, &v), 0);
    ck_assert_double_eq(v, -25);
}
END_TEST

START_TEST(msisdn_round_trip)
{
    char text[20];
    int64_t v;

    ck_assert_int_eq(kw_parse_msisdn("+999 700-123.45", 15, &v), 0);
    kw_format_msisdn(v, text, sizeof(text));
    ck_assert_str_eq(text, "+99970012345");
    /* E.164: at most 15 digits, none begins with 0; 7070 is a short code. */
    ck_assert_int_lt(kw_parse_msisdn("7070", 4, &v), 0);
    ck_assert_int_lt(kw_parse_msisdn("+0123456789", 11, &v), 0);
    ck_assert_int_lt(kw_parse_msisdn("+1234567890123456", 17, &v), 0);
    ck_assert_int_lt(kw_parse_msisdn("+99970a12345", 12, &v), 0);
}
END_TEST

START_TEST(clock_reads_and_refuses)
{
    static const char *const bad[] = {
        "2026-02-30",       "2026-13-01", "2025-02-29", "2026-03-01T08:00",
        "2026-03-01 24:00", "tomorrow",   "",           "2026-03-01x",
        "26-03-01"};
    char text[CLOCK_TEXT_CAP];
    int64_t at;

    ck_assert_int_eq(clock_set_zone("UTC"), 0);
    /* 2026-03-01T08:00:00Z by date(1) of GNU coreutils. */
    ck_assert_int_eq(clock_parse("2026-03-01T08:00:00Z", 20, &at), 0);
    ck_assert_int_eq(at, 1772352000);
    clock_format_utc(at, text, sizeof(text));
    ck_assert_str_eq(text, "2026-03-01T08:00:00Z");
    ck_assert_int_eq(clock_parse("2026-03-01 08:00", 16, &at), 0);
    ck_assert_int_eq(at, 1772352000);
    ck_assert_int_eq(clock_parse("2024-02-29", 10, &at), 0);
    ck_assert_int_eq(clock_midnight(at + 5000), at);
    ck_assert_int_eq(clock_month(at), 2);
    for (size_t i = 0; i < KW_COUNT(bad); i++)
        ck_assert_int_eq(clock_parse(bad[i], strlen(bad[i]), &at), KW_EINVAL);
    ck_assert_int_lt(clock_set_zone("No/Such"), 0);
    ck_assert_int_lt(clock_set_zone("../../etc/passwd"), 0);
}
END_TEST

START_TEST(csv_fields)
{
    /* RFC 4180, section 2: quotes, doubled quotes, line ends inside. */
    const char *text =
        "\xef\xbb\xbf# a note\r\na,b,c\r\n\"1,\"\"x\"\"\",\"two\n"
        "lines\",\r\n\nlast,,\"\"";
    struct csv c;

    csv_open(&c, text, strlen(text));
    ck_assert_int_eq(csv_next(&c), 1);
    ck_assert_int_eq(c.line, 2);
    ck_assert_uint_eq(c.n_fields, 3);
    ck_assert_int_eq(csv_next(&c), 1);
    ck_assert_int_eq(c.line, 3);
    ck_assert_str_eq(c.fields[0], "1,\"x\"");
    ck_assert_str_eq(c.fields[1], "two\nlines");
    ck_assert_str_eq(c.fields[2], "");
    ck_assert_int_eq(csv_next(&c), 1);
    ck_assert_int_eq(c.line, 6);
    ck_assert_uint_eq(c.n_fields, 3);
    ck_assert_int_eq(csv_next(&c), 0);
    csv_release(&c);
}
END_TEST

START_TEST(csv_mistakes)
{
    static const char *const bad[] = {"a,\"b", "a,b\"c", "\"a\"b,c"};

    for (size_t i = 0; i < KW_COUNT(bad); i++) {
        struct csv c;

        csv_open(&c, bad[i], strlen(bad[i]));
        ck_assert_int_eq(csv_next(&c), KW_ESYNTAX);
        ck_assert_ptr_nonnull(c.wrong);
        csv_release(&c);
    }
}
END_TEST

/* What csv_put writes, csv_next reads: any octets but NUL. */
START_TEST(csv_round_trip)
{
    struct kw_buf out;
    struct csv c;
    char field[3][12];

    srandom(11);
    for (int n = 0; n < 2000; n++) {
        kw_buf_init(&out, 1000);
        for (int i = 0; i < 3; i++) {
            size_t len = (size_t)random() % 11;

            for (size_t j = 0; j < len; j++)
                field[i][j] = ",\"\r\n #ab"[random() % 8];
            field[i][len] = '\0';
            if (i == 0)
                field[i][0] = 'x'; /* a first field alone may be blank */
            if (i == 0 && len == 0)
                field[i][1] = '\0';
            csv_put(&out, field[i], strlen(field[i]), i == 0);
        }
        kw_buf_putc(&out, '\n');
        csv_open(&c, out.data, out.len);
        ck_assert_int_eq(csv_next(&c), 1);
        for (int i = 0; i < 3; i++)
            ck_assert_str_eq(c.fields[i], field[i]);
        ck_assert_int_eq(csv_next(&c), 0);
        csv_release(&c);
        kw_buf_release(&out);
    }
}
END_TEST

START_TEST(septets_of_the_alphabet)
{
    int one = 0, two = 0;

    /* TS 23.038, 6.2.1: 127 characters beside ESC; the extension has nine
     * printable ones and the form feed. */
    for (uint32_t cp = 0; cp < 0x3000; cp++) {
        one += septet_cost(cp) == 1;
        two += septet_cost(cp) == 2;
    }
    ck_assert_int_eq(one, 127);
    ck_assert_int_eq(two, 10);
}
END_TEST

/* Rows: text, septets, segments; from 3GPP TS 23.038 and 23.040 sizes. */
static char *repeat(const char *what, size_t n)
{
    struct kw_buf b;

    kw_buf_init(&b, 10000);
    for (size_t i = 0; i < n; i++)
        kw_buf_puts(&b, what);
    return kw_buf_take(&b);
}

static const struct {
    const char *unit;
    size_t n, units, segments;
    bool gsm7;
} sizes[] = {
    {"a", 160, 160, 1, true},
    {"a", 161, 161, 2, true},
    {"a", 306, 306, 2, true},
    {"a", 307, 307, 3, true},
    {"\xe2\x82\xac", 80, 160, 1, true},  /* euro: two septets */
    {"\xe2\x82\xac", 153, 306, 3, true}, /* a pair is not split at 153 */
    {"\xc3\xa1", 70, 70, 1, false},      /* a acute is not in the alphabet */
    {"\xc3\xa1", 71, 71, 2, false},
    {"\xf0\x9f\x98\x80", 35, 70, 1, false},
    {"\xf0\x9f\x98\x80", 67, 134, 3, false}, /* 33 pairs in a part of 67 */
    {"\xff", 70, 70, 1, false},
};

START_TEST(septets_and_segments)
{
    char *text = repeat(sizes[_i].unit, sizes[_i].n);
    struct septet_size s = septet_measure(text, strlen(text));

    ck_assert_int_eq(s.gsm7, sizes[_i].gsm7);
    ck_assert_uint_eq(s.units, sizes[_i].units);
    ck_assert_uint_eq(s.segments, sizes[_i].segments);
    kw_free(text);
}
END_TEST

/* As utf8proc reads them: what is kept are characters, and the next of them
 * would not fit. */
START_TEST(text_is_cut_between_letters)
{
    static const char text[] = "a\xc3\xa9\xe0\xa4\x95\xe0\xa5\x8d"
                               "\xf0\x9f\x92\xa7z";
    const size_t len = sizeof(text) - 1;

    for (size_t most = 0; most <= len + 2; most++) {
        size_t kept = kw_whole(text, len, most), at = 0;
        utf8proc_int32_t c;

        while (at < kept) {
            utf8proc_ssize_t n =
                utf8proc_iterate((const utf8proc_uint8_t *)text + at,
                                 (utf8proc_ssize_t)(kept - at), &c);

            ck_assert_int_gt(n, 0);
            at += (size_t)n;
        }
        ck_assert_uint_eq(at, kept);
        if (kept < len)
            ck_assert_uint_gt(kept + (size_t)utf8proc_iterate(
                                         (const utf8proc_uint8_t *)text + kept,
                                         (utf8proc_ssize_t)(len - kept), &c),
                              most);
    }
}
END_TEST

START_TEST(file_is_whole_or_not_there)
{
    char folder[] = "/tmp/kw-base-XXXXXX", path[100], *data;
    size_t len;

    ck_assert_ptr_nonnull(mkdtemp(folder));
    snprintf(path, sizeof(path), "%s/a", folder);
    ck_assert_int_eq(file_read(path, 10, &data, &len), KW_ENOENT);
    ck_assert_int_eq(file_write_whole(path, "hello", 5), 0);
    ck_assert_int_eq(file_read(path, 5, &data, &len), 0);
    ck_assert_str_eq(data, "hello");
    kw_free(data);
    ck_assert_int_eq(file_read(path, 4, &data, &len), KW_EFULL);
    ck_assert_int_eq(file_write_whole("/nonexistent/a", "x", 1), KW_EIO);
    remove(path);
    remove(folder);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("base");
    TCase *t = tcase_create("base");
    SRunner *sr;
    int failed;

    tcase_add_test(t, buf_error_sticks);
    tcase_add_test(t, cur_stops_at_the_end);
    tcase_add_loop_test(t, integer, 0, (int)KW_COUNT(ints));
    tcase_add_test(t, real_refuses_what_is_not_finite);
    tcase_add_test(t, msisdn_round_trip);
    tcase_add_test(t, clock_reads_and_refuses);
    tcase_add_test(t, csv_fields);
    tcase_add_test(t, csv_mistakes);
    tcase_add_test(t, csv_round_trip);
    tcase_add_test(t, septets_of_the_alphabet);
    tcase_add_loop_test(t, septets_and_segments, 0, (int)KW_COUNT(sizes));
    tcase_add_test(t, text_is_cut_between_letters);
    tcase_add_test(t, file_is_whole_or_not_there);
    suite_add_tcase(s, t);
    sr = srunner_create(s);
    srunner_run_all(sr, CK_ENV);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed ? 1 : 0;
}
