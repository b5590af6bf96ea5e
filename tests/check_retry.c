/*
 * check_retry.c - what an answer means and when to come again: RFC 9110, 15
 * and 10.2.3, RFC 6585, 4, RFC 8470, 5.2.
 */
#include "carrier/retry.h"

#include <check.h>
#include <stdlib.h>

static enum ledger_send class_of(long status, bool began, bool safe)
{
    struct retry_result r = {
        .status = status, .began = began, .repeat_safe = safe};

    return retry_class(&r);
}

START_TEST(classes_of_status)
{
    for (long status = 200; status < 600; status++) {
        enum ledger_send want = LEDGER_FAILED;

        if (status < 300)
            want = LEDGER_SENT;
        else if (status >= 500 || status == 408 || status == 425 ||
                 status == 429)
            want = LEDGER_WAITING;
        ck_assert_int_eq(class_of(status, true, true), want);
        ck_assert_int_eq(class_of(status, true, false), want);
    }
}
END_TEST

/* RFC 9110, 9.2.2: not known whether it was taken. */
START_TEST(classes_without_answer)
{
    ck_assert_int_eq(class_of(0, false, false), LEDGER_WAITING);
    ck_assert_int_eq(class_of(0, false, true), LEDGER_WAITING);
    ck_assert_int_eq(class_of(0, true, true), LEDGER_WAITING);
    ck_assert_int_eq(class_of(0, true, false), LEDGER_PERHAPS);
}
END_TEST

#define NOW 784111700 /* 77 s before the date of RFC 9110, 5.6.7 */
static const struct {
    const char *value;
    int64_t at_s;
} afters[] = {
    {NULL, 0},
    {"", 0},
    {"120", NOW + 120},
    {"  7 \r\n", NOW + 7},
    {"0", 0},
    {"-5", 0},
    {"86400", NOW + 86400},
    {"86401", NOW + 86400},
    {"99999999999999999999999999", NOW + 86400},
    {"Sun, 06 Nov 1994 08:49:37 GMT", 784111777},   /* IMF-fixdate */
    {"Sunday, 06-Nov-94 08:49:37 GMT", 784111777},  /* RFC 850 */
    {"Sun Nov  6 08:49:37 1994", 784111777},        /* asctime */
    {"Fri, 31 Dec 1999 23:59:59 GMT", NOW + 86400}, /* RFC 9110, 10.2.3 */
    {"Sat, 05 Nov 1994 08:49:37 GMT", 0},
    {"soon", 0},
    {"1.5", 0},
};
START_TEST(retry_after_header)
{
    ck_assert_int_eq(retry_after(afters[_i].value, NOW), afters[_i].at_s);
}
END_TEST

START_TEST(delays)
{
    uint32_t most = 0xffffffff;

    srand(7);
    for (int tries = 1; tries < 70; tries++) {
        int64_t whole = tries < 9 ? 5LL << (tries - 1) : 900;

        if (whole > 900)
            whole = 900;
        for (int i = 0; i < 200; i++) {
            int64_t d = retry_delay_s(tries, 5, 900, (uint32_t)rand() * 3u);

            ck_assert_int_ge(d, whole / 2);
            ck_assert_int_le(d, whole);
        }
    }
    ck_assert_int_ge(retry_delay_s(0, 0, 0, most), 1);
    ck_assert_int_ge(retry_delay_s(1000000, 1, 1, most), 1);
}
END_TEST

/* They do not all come back in the same second. */
START_TEST(delays_differ)
{
    int seen[901] = {0}, kinds = 0;

    for (uint32_t i = 0; i < 1000; i++)
        seen[retry_delay_s(20, 5, 900, i * 2654435761u)]++;
    for (int i = 0; i <= 900; i++)
        kinds += seen[i] > 0;
    ck_assert_int_gt(kinds, 300);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("retry");
    TCase *t = tcase_create("retry");
    SRunner *r;
    int failed;

    tcase_add_test(t, classes_of_status);
    tcase_add_test(t, classes_without_answer);
    tcase_add_loop_test(t, retry_after_header, 0, (int)KW_COUNT(afters));
    tcase_add_test(t, delays);
    tcase_add_test(t, delays_differ);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed != 0;
}
