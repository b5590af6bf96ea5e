/*
 * check_e164.c - numbers as networks write them, against what two general
 * libraries for telephone numbers make of them (tests/reference/protocol).
 */
#include "base/config.h"
#include "desk/desk.h"
#include "vectors.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

/* The habits of each country: ITU-T, national numbering plans. */
static const struct {
    const char *region, *code, *prefix;
} habits[] = {{"BF", "226", ""}, {"BO", "591", "0"}, {"BD", "880", "0"},
              {"IN", "91", "0"}, {"NP", "977", "0"}, {"GT", "502", ""},
              {"MX", "52", ""},  {"BR", "55", "0"},  {"GB", "44", "0"},
              {"US", "1", "1"},  {"", "", ""}};

/*
 * Where we differ on purpose: short codes and names are addresses of their
 * own and stay as they are; forms of other uses do not come from networks.
 */
static const struct {
    const char *id, *kept;
} ours[] = {
    {"e06", "+22670123456"}, /* a network without + gives whole numbers */
    {"e28", "tel:+226-70-12-34-56"},
    {"e29", "+22670123456;ext=5"},
    {"e30", "7070"},
    {"e31", "*123#"},
    {"e32", "Workshop"},
    {"e33", ""},
    {"e34", "+"},
    {"e35", "+1"},
    {"e37", "+999123456"}, /* +999 is not assigned: our examples */
    {"e40", "1-800-FLOWERS"},
};

static const char *expected(struct vectors *v)
{
    const char *id = vectors_get(v, "id");

    for (size_t i = 0; i < KW_COUNT(ours); i++) {
        if (strcmp(ours[i].id, id) == 0)
            return ours[i].kept;
    }
    return vectors_get(v, "e164");
}

START_TEST(rows)
{
    struct vectors v;
    int as_libraries = 0;

    vectors_open(&v, "protocol/e164.csv");
    while (vectors_next(&v)) {
        struct config conf = {0};
        char got[LEDGER_PHONE_CAP];
        size_t i = 0;

        while (i < KW_COUNT(habits) - 1 &&
               strcmp(habits[i].region, vectors_get(&v, "region")) != 0)
            i++;
        conf.country_code = (char *)habits[i].code;
        conf.national_prefix = (char *)habits[i].prefix;
        desk_number(&conf, vectors_get(&v, "raw"), got, sizeof(got));
        ck_assert_msg(strcmp(got, expected(&v)) == 0, "%s: %s is %s, not %s",
                      vectors_get(&v, "id"), vectors_get(&v, "raw"), got,
                      expected(&v));
        as_libraries += strcmp(got, vectors_get(&v, "e164")) == 0;
    }
    ck_assert_uint_eq(v.rows, 40);
    ck_assert_int_ge(as_libraries, 28);
    vectors_close(&v);
}
END_TEST

/* A country whose numbers have eight digits, 0 dialled before them: ten-digit
 * and seven-digit senders are something else. */
START_TEST(lengths_of_the_country)
{
    static const struct {
        const char *raw, *kept;
    } cases[] = {
        {"70123456", "+99970123456"},
        {"070123456", "+99970123456"},
        {"99970123456", "+99970123456"},
        {"+99970123456", "+99970123456"},
        {"0099970123456", "+99970123456"},
        {"7012345", "7012345"},
        {"7012345678", "7012345678"},
        {"0701234567", "0701234567"},
        {"7070", "7070"},
        {"Workshop", "Workshop"},
    };
    struct config conf = {.country_code = (char *)"999",
                          .national_prefix = (char *)"0",
                          .national_least = 8,
                          .national_most = 8};

    for (size_t i = 0; i < KW_COUNT(cases); i++) {
        char got[LEDGER_PHONE_CAP];

        desk_number(&conf, cases[i].raw, got, sizeof(got));
        ck_assert_str_eq(got, cases[i].kept);
    }
}
END_TEST

/* Russia's numbers have ten digits, some begin with the 8 that is dialled
 * before all of them: from memory of its numbering plan. */
START_TEST(a_prefix_that_is_also_a_digit)
{
    static const char *const raws[] = {"8001234567", "88001234567",
                                       "78001234567", "+78001234567"};
    struct config conf = {.country_code = (char *)"7",
                          .national_prefix = (char *)"8",
                          .national_least = 10,
                          .national_most = 10};

    for (size_t i = 0; i < KW_COUNT(raws); i++) {
        char got[LEDGER_PHONE_CAP];

        desk_number(&conf, raws[i], got, sizeof(got));
        ck_assert_str_eq(got, "+78001234567");
    }
}
END_TEST

/* Names in any script stay; octets that are no UTF-8 do not get in. */
START_TEST(names_of_any_octets)
{
    static const struct {
        const char *raw, *kept;
    } cases[] = {{"caf\xc3\xa9", "caf\xc3\xa9"},
                 {"caf\xe9", "caf?"},
                 {"\xff\xfe"
                  "1",
                  "??1"},
                 {"\xe0\xa4", "??"},
                 {"+9997\xff"
                  "0012345",
                  "+9997?0012345"}};
    struct config conf = {.country_code = (char *)"999"};

    for (size_t i = 0; i < KW_COUNT(cases); i++) {
        char got[LEDGER_PHONE_CAP];

        desk_number(&conf, cases[i].raw, got, sizeof(got));
        ck_assert_str_eq(got, cases[i].kept);
    }
}
END_TEST

int main(void)
{
    Suite *s = suite_create("e164");
    TCase *t = tcase_create("e164");
    SRunner *r;
    int failed;

    tcase_add_test(t, rows);
    tcase_add_test(t, lengths_of_the_country);
    tcase_add_test(t, a_prefix_that_is_also_a_digit);
    tcase_add_test(t, names_of_any_octets);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
