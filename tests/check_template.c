/*
 * check_template.c - values in their places: RFC 3986, 2.1 and 2.3; RFC
 * 8259, 7 (with jansson as the judge); and the spool's file form.
 */
#include "carrier/spool_text.h"
#include "carrier/template.h"

#include <check.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

static struct kw_buf b;

static const char *fill(const char *t, enum template_place place,
                        const char *text)
{
    struct template_slots s = {
        .to = "+99970012345", .text = text, .from = "7070", .id = 42};

    kw_buf_release(&b);
    kw_buf_init(&b, 10000);
    template_expand(t, place, &s, &b);
    return kw_buf_text(&b);
}

START_TEST(places)
{
    ck_assert_str_eq(fill("http://h/{to}?t={text}&i={id}", TEMPLATE_ADDRESS,
                          "a b&c/\xc3\xa9~-._"),
                     "http://h/%2B99970012345?t=a%20b%26c%2F%C3%A9~-._&i=42");
    ck_assert_str_eq(fill("to={to_digits}&f={from}", TEMPLATE_FORM, ""),
                     "to=99970012345&f=7070");
    ck_assert_str_eq(
        fill("{\"t\": \"{text}\", \"n\": {id}, \"o\": {}}", TEMPLATE_JSON,
             "\"\\\n\x01\xff"),
        "{\"t\": \"\\\"\\\\\\u000a\\u0001\\ufffd\", \"n\": 42, \"o\": {}}");
    ck_assert_str_eq(fill("<t a='{text}'/>", TEMPLATE_XML, "<&'\">\x01"),
                     "<t a='&#60;&#38;&#39;&#34;&#62;'/>");
    ck_assert_str_eq(fill("X-To: {to} {text}", TEMPLATE_HEADER, "a\r\nB: c"),
                     "X-To: +99970012345 aB: c");
    ck_assert_str_eq(fill("{text}", TEMPLATE_PLAIN, "a b\n{id}"), "a b\n{id}");
}
END_TEST

START_TEST(unknown_words)
{
    char bad[40];

    ck_assert_int_eq(template_check("{\"a\": {to}, {}, {1}, { id}}", bad, 40),
                     0);
    ck_assert_int_eq(template_check("x={txt}", bad, sizeof(bad)), KW_EINVAL);
    ck_assert_str_eq(bad, "{txt}");
    ck_assert(template_uses("a{id}", "id"));
    ck_assert(!template_uses("a{to}", "id"));
    ck_assert(!template_uses("{ id}", "id"));
    ck_assert(!template_uses(NULL, "id"));
}
END_TEST

START_TEST(place_of_type)
{
    ck_assert_int_eq(template_place_of(NULL), TEMPLATE_FORM);
    ck_assert_int_eq(
        template_place_of(" application/x-www-form-urlencoded; charset=utf-8"),
        TEMPLATE_FORM);
    ck_assert_int_eq(template_place_of(" Application/JSON"), TEMPLATE_JSON);
    ck_assert_int_eq(template_place_of("application/a+json"), TEMPLATE_JSON);
    ck_assert_int_eq(template_place_of("text/xml; charset=utf-8"),
                     TEMPLATE_XML);
    ck_assert_int_eq(template_place_of("text/plain"), TEMPLATE_PLAIN);
}
END_TEST

/* Whatever the text, the JSON is JSON, and valid UTF-8 comes back the same. */
START_TEST(json_always_parses)
{
    static const char *const pieces[] = {"\"",
                                         "\\",
                                         "\n",
                                         "\x01",
                                         "\x7f",
                                         "\xc3\xa9",
                                         "\xf0\x9f\x98\x80",
                                         "a",
                                         "{id}",
                                         "</",
                                         "\xe0\xa4\x95"};

    srand(11);
    for (int round = 0; round < 3000; round++) {
        char text[100] = "";
        bool valid = rand() % 2;
        json_t *root;

        for (int i = rand() % 12; i > 0; i--)
            strncat(text, pieces[(size_t)rand() % KW_COUNT(pieces)],
                    sizeof(text) - strlen(text) - 1);
        if (!valid && text[0] != '\0')
            text[(size_t)rand() % strlen(text)] = (char)(128 + rand() % 128);
        root = json_loads(fill("{\"t\": \"{text}\"}", TEMPLATE_JSON, text), 0,
                          NULL);
        ck_assert_ptr_nonnull(root);
        if (valid)
            ck_assert_str_eq(json_string_value(json_object_get(root, "t")),
                             text);
        json_decref(root);
    }
}
END_TEST

START_TEST(spool_file)
{
    struct spool_text t;
    const char *wrong;
    static const char data[] = "From: +99970012345 \r\nto:7070\nSent: "
                               "2026-03-01T08:00:00Z\nX-Other: y\n\n"
                               "021407319 c\n\nsecond\n";

    ck_assert_int_eq(spool_text_parse(data, strlen(data), &t, &wrong), 0);
    ck_assert_str_eq(t.from, "+99970012345");
    ck_assert_str_eq(t.to, "7070");
    ck_assert_int_eq(t.sent_s, 1772352000);
    ck_assert_uint_eq(t.len, strlen("021407319 c\n\nsecond"));
    ck_assert_mem_eq(t.text, "021407319 c\n\nsecond", t.len);
}
END_TEST

START_TEST(spool_file_odd_texts)
{
    struct spool_text t;
    const char *wrong;

    ck_assert_int_eq(spool_text_parse("From: a\n\n", 9, &t, &wrong), 0);
    ck_assert_uint_eq(t.len, 0);
    ck_assert_int_eq(spool_text_parse("From: a\n\n\0\xff", 11, &t, &wrong), 0);
    ck_assert_uint_eq(t.len, 2);
    ck_assert_mem_eq(t.text, "\0\xff", 2);
}
END_TEST

static const struct {
    const char *data, *wrong;
} bad_files[] = {
    {"", "blank line"},
    {"\ntext", "From"},
    {"From:\n\ntext", "From"},
    {"From: +999\ntext", "colon"},
    {"From: +999", "blank line"},
    {"From: +999\nSent: soon\n\nx", "Sent"},
    {"From: 0123456789012345678901234567890123456789012345678901234567890123"
     "4567890123456789012345678901234567890123456789012345678901234567890\n\n",
     "127"},
};
START_TEST(spool_file_refused)
{
    struct spool_text t;
    const char *wrong = NULL, *data = bad_files[_i].data;

    ck_assert_int_eq(spool_text_parse(data, strlen(data), &t, &wrong),
                     KW_ESYNTAX);
    ck_assert_ptr_nonnull(strstr(wrong, bad_files[_i].wrong));
}
END_TEST

int main(void)
{
    Suite *s = suite_create("template");
    TCase *t = tcase_create("template");
    SRunner *r;
    int failed;

    tcase_add_test(t, places);
    tcase_add_test(t, unknown_words);
    tcase_add_test(t, place_of_type);
    tcase_add_test(t, json_always_parses);
    tcase_add_test(t, spool_file);
    tcase_add_test(t, spool_file_odd_texts);
    tcase_add_loop_test(t, spool_file_refused, 0, (int)KW_COUNT(bad_files));
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    kw_buf_release(&b);
    return failed != 0;
}
