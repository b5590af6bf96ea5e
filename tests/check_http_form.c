/*
 * check_http_form.c - fields out of bodies. Forms: WHATWG URL, 5.1 and the
 * common slips of those who send them; JSON: RFC 8259; times: RFC 3339.
 */
#include "carrier/http_form.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct http_form f;

static int parse(enum http_form_kind kind, const char *body, size_t len)
{
    http_form_release(&f);
    return http_form_parse(&f, kind, body, len);
}

static void expect_n(const char *name, const char *value, size_t len)
{
    struct http_form_value v;

    ck_assert_int_eq(http_form_get(&f, name, &v), 0);
    ck_assert_uint_eq(v.len, len);
    ck_assert_mem_eq(v.data, value, len);
}

static void expect(const char *name, const char *value)
{
    expect_n(name, value, strlen(value));
}

static void form(const char *body)
{
    ck_assert_int_eq(parse(HTTP_FORM_URLENCODED, body, strlen(body)), 0);
}

START_TEST(form_fields)
{
    struct http_form_value v;

    form("from=%2B99970012345&text=021407319+c&empty=&bare&&x=a%3Db=c");
    expect("from", "+99970012345");
    expect("text", "021407319 c");
    expect("empty", "");
    expect("bare", "");
    expect("x", "a=b=c");
    ck_assert_int_eq(http_form_get(&f, "to", &v), KW_ENOENT);
    ck_assert_int_eq(http_form_get(&f, "fro", &v), KW_ENOENT);
}
END_TEST

START_TEST(form_octets_are_kept)
{
    form("t=%00a%ff%C3%28&%74ext=hi");
    expect_n("t", "\0a\xff\xc3\x28", 5);
    expect("text", "hi");
}
END_TEST

START_TEST(form_odd_percents)
{
    form("a=100%&b=%4&c=%zz&d=%2&e=%%41");
    expect("a", "100%");
    expect("b", "%4");
    expect("c", "%zz");
    expect("d", "%2");
    expect("e", "%A");
}
END_TEST

START_TEST(form_twice)
{
    struct http_form_value v;

    form("text=c&text=l&id=7&id=7");
    ck_assert_int_eq(http_form_get(&f, "text", &v), KW_EDUP);
    expect("id", "7");
}
END_TEST

START_TEST(form_too_many)
{
    char body[400] = "";
    size_t len = 0;

    for (int i = 0; i < HTTP_FORM_FIELDS_MOST; i++, len += 2)
        memcpy(body + len, "a&", 2);
    ck_assert_int_eq(parse(HTTP_FORM_URLENCODED, body, len), 0);
    memcpy(body + len, "a&", 2);
    ck_assert_int_eq(parse(HTTP_FORM_URLENCODED, body, len + 2), KW_EINVAL);
    ck_assert_ptr_nonnull(strstr(f.wrong, "64"));
}
END_TEST

/* Any octets, encoded by the letter of the standard, come back. */
START_TEST(form_round_trip)
{
    srand(5);
    for (int round = 0; round < 2000; round++) {
        char value[40], body[200] = "v=";
        size_t n = (size_t)rand() % sizeof(value), len = 2;

        for (size_t i = 0; i < n; i++) {
            unsigned char c = (unsigned char)(rand() >> 4);

            value[i] = (char)c;
            if (c == ' ' && rand() % 2)
                body[len++] = '+';
            else
                len += (size_t)snprintf(body + len, 4, "%%%02x", c);
        }
        ck_assert_int_eq(parse(HTTP_FORM_URLENCODED, body, len), 0);
        expect_n("v", value, n);
    }
}
END_TEST

START_TEST(json_fields)
{
    static const char body[] =
        "{\"from\": 99970012345, \"text\": \"l\\u00ed\\u0000x\", \"n\": null,"
        " \"m\": [{\"a\": {\"b\": \"deep\"}}], \"a.b\": \"flat\", \"d\": 1.5}";
    struct http_form_value v;

    ck_assert_int_eq(parse(HTTP_FORM_JSON, body, strlen(body)), 0);
    expect("from", "99970012345");
    expect_n("text", "l\xc3\xad\0x", 5);
    expect("m.0.a.b", "deep");
    expect("a.b", "flat");
    ck_assert_int_eq(http_form_get(&f, "n", &v), KW_ENOENT);
    ck_assert_int_eq(http_form_get(&f, "m.1.a", &v), KW_ENOENT);
    ck_assert_int_eq(http_form_get(&f, "m", &v), KW_EINVAL);
    ck_assert_int_eq(http_form_get(&f, "d", &v), KW_EINVAL);
    ck_assert_int_eq(http_form_get(&f, "", &v), KW_ENOENT);
    ck_assert_int_eq(http_form_get(&f, "m..a", &v), KW_ENOENT);
}
END_TEST

static const char *const bad_json[] = {
    "",
    "{",
    "[]",
    "\"x\"",
    "{} x",
    "{\"a\":1,\"a\":1}",
    "{\"a\":\"\xff\"}",
    "{'a':1}",
    "{\"a\":01}",
    "{\"a\":\"\n\"}",
    "null",
};
START_TEST(json_refused)
{
    const char *body = bad_json[_i];

    ck_assert_int_eq(parse(HTTP_FORM_JSON, body, strlen(body)), KW_EINVAL);
    ck_assert_uint_gt(strlen(f.wrong), 10);
}
END_TEST

START_TEST(media_types)
{
    ck_assert_int_eq(http_form_type_of(NULL), HTTP_TYPE_NONE);
    ck_assert_int_eq(http_form_type_of(" "), HTTP_TYPE_NONE);
    ck_assert_int_eq(
        http_form_type_of("Application/X-WWW-form-urlencoded ; charset=x"),
        HTTP_TYPE_FORM);
    ck_assert_int_eq(http_form_type_of("application/json;charset=utf-8"),
                     HTTP_TYPE_JSON);
    ck_assert_int_eq(http_form_type_of("application/a.b+json"), HTTP_TYPE_JSON);
    ck_assert_int_eq(http_form_type_of("multipart/form-data; boundary=json"),
                     HTTP_TYPE_OTHER);
    ck_assert_int_eq(http_form_type_of("application/jsonx"), HTTP_TYPE_OTHER);
}
END_TEST

static const struct {
    const char *accept;
    bool plain;
} accepts[] = {
    {NULL, false},
    {"", false},
    {"*/*", false},
    {"text/plain", true},
    {"text/*", true},
    {"application/json", false},
    {"text/plain, application/json", false},
    {"text/plain, application/json;q=0.9", true},
    {"text/plain;q=0.2, */*", false},
    {"text/html, text/plain ; q=0.5 , */*;q=0.1", true},
    {"text/plain;q=0", false},
    {",,;q=,text/plain;q=x", true},
};
/* RFC 9110, 12.5.1. */
START_TEST(accept_header)
{
    ck_assert_msg(http_accept_plain(accepts[_i].accept) == accepts[_i].plain,
                  "%s", accepts[_i].accept);
}
END_TEST

static const struct {
    const char *text;
    int64_t at_s;
} times[] = {
    {"0", 0},
    {"1772352000", 1772352000},
    {"1772352000123", 1772352000},
    {"2026-03-01T08:00:00Z", 1772352000},
    {"2026-03-01t08:00:00z", 1772352000},
    {"2026-03-01T10:00:00+02:00", 1772352000},
    {"2026-03-01T10:00:00 02:00", 1772352000}, /* a form's unescaped plus */
    {"2026-03-01 05:30:00-0230", 1772352000},
    {"2026-03-01T08:00:00.250Z", 1772352000},
    {"1985-04-12T23:20:50.52Z", 482196050},   /* RFC 3339, 5.8 */
    {"1996-12-19T16:39:57-08:00", 851042397}, /* the same */
    {"1937-01-01T12:00:27.87+00:20", 0},      /* before 1970: not taken */
    {"2026-02-30T08:00:00Z", 0},
    {"2026-03-01T08:00:00", 0}, /* whose zone? */
    {"2026-03-01T08:00:00+99:00", 0},
    {"yesterday", 0},
    {"", 0},
    {"-5", 0},
    {"99999999999999999999", 0},
};
START_TEST(times_of_sending)
{
    const char *s = times[_i].text;

    ck_assert_msg(http_form_time(s, strlen(s)) == times[_i].at_s, "%s: %lld", s,
                  (long long)http_form_time(s, strlen(s)));
}
END_TEST

int main(void)
{
    Suite *s = suite_create("http_form");
    TCase *t = tcase_create("http_form");
    SRunner *r;
    int failed;

    tcase_add_test(t, form_fields);
    tcase_add_test(t, form_octets_are_kept);
    tcase_add_test(t, form_odd_percents);
    tcase_add_test(t, form_twice);
    tcase_add_test(t, form_too_many);
    tcase_add_test(t, form_round_trip);
    tcase_add_test(t, json_fields);
    tcase_add_loop_test(t, json_refused, 0, (int)KW_COUNT(bad_json));
    tcase_add_test(t, media_types);
    tcase_add_loop_test(t, accept_header, 0, (int)KW_COUNT(accepts));
    tcase_add_loop_test(t, times_of_sending, 0, (int)KW_COUNT(times));
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    http_form_release(&f);
    return failed != 0;
}
