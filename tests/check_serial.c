/*
 * check_serial.c - check characters against vectors made with independent
 * libraries (tests/reference/check_characters.csv names them), and as laws.
 */
#include "base/csv.h"
#include "base/file.h"
#include "reader/serial.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct serial_layout decimal = {SERIAL_MOD_97_10, 4, 3};

/* The system of a line of the vectors, for a payload of that length. */
static bool layout_for(const char *system, size_t len, struct serial_layout *l)
{
    if (strcmp(system, "MOD 97-10") == 0 && len > 3) {
        *l = (struct serial_layout){SERIAL_MOD_97_10, 1, (int)len - 3};
        return true;
    }
    if (strcmp(system, "MOD 37,36") == 0 && len > 2) {
        *l = (struct serial_layout){SERIAL_MOD_37_36, 1, (int)len - 2};
        return true;
    }
    return false;
}

START_TEST(vectors_of_iso_7064)
{
    char path[1024], *data;
    size_t len;
    int used = 0;
    struct csv c;
    const char *source = getenv("KW_SOURCE");

    ck_assert_int_eq(file_join(path, sizeof(path), source ? source : ".",
                               "tests/reference/check_characters.csv"),
                     0);
    ck_assert_int_eq(file_read(path, 1 << 20, &data, &len), 0);
    csv_open(&c, data, len);
    while (csv_next(&c) == 1) {
        struct serial_layout l;
        bool valid;

        if (c.n_fields < 4 || c.fields[0][0] == '#' ||
            !layout_for(c.fields[1], c.lens[2], &l))
            continue;
        if (serial_chars(&l) > SERIAL_CHARS_MAX)
            continue; /* longer than a stamp */
        valid = strcmp(c.fields[3], "valid") == 0;
        ck_assert_msg((serial_verify(&l, c.fields[2], c.lens[2]) == 0) == valid,
                      "%s %s", c.fields[0], c.fields[2]);
        used++;
    }
    ck_assert_int_ge(used, 10);
    csv_release(&c);
    kw_free(data);
}
END_TEST

/* ISO/IEC 7064, the standard's own worked example: 794 -> 79444. */
START_TEST(make_worked_example)
{
    struct serial_layout l = {SERIAL_MOD_97_10, 1, 2};
    char s[SERIAL_CAP];

    ck_assert_int_eq(serial_make(&l, "7", "94", s), 0);
    ck_assert_str_eq(s, "79444");
}
END_TEST

START_TEST(make_and_format)
{
    char s[SERIAL_CAP], shown[SERIAL_CAP + 4], batch[SERIAL_CAP];

    ck_assert_int_eq(serial_make(&decimal, "214", "73", s), 0);
    ck_assert_uint_eq(strlen(s), 9);
    ck_assert_int_eq(serial_verify(&decimal, s, 9), 0);
    serial_format(&decimal, s, shown, sizeof(shown));
    ck_assert_uint_eq(strlen(shown), 11);
    ck_assert_int_eq(strncmp(shown, "0214-073-", 9), 0);
    serial_batch(&decimal, s, batch);
    ck_assert_str_eq(batch, "0214");
    ck_assert_int_eq(serial_make(&decimal, "21477", "73", s), KW_EINVAL);
    ck_assert_int_eq(serial_make(&decimal, "21A", "73", s), KW_EINVAL);
    ck_assert_int_eq(serial_make(&decimal, "", "73", s), KW_EINVAL);
    ck_assert_int_eq(serial_verify(&decimal, "02140731", 8), KW_EINVAL);
    ck_assert_int_eq(serial_verify(&decimal, "0214 7319", 9), KW_EINVAL);
}
END_TEST

static void make_numbered(const struct serial_layout *l, int i,
                          char s[SERIAL_CAP])
{
    char batch[8], pot[8];

    snprintf(batch, sizeof(batch), "%d", (i * 7919) % 10000);
    snprintf(pot, sizeof(pot), "%d", (i * 104729) % 1000);
    ck_assert_int_eq(serial_make(l, batch, pot, s), 0);
}

/* Every single change of every digit of a thousand serials. */
START_TEST(one_digit_changed_never_passes)
{
    for (int i = 0; i < 1000; i++) {
        char s[SERIAL_CAP];

        make_numbered(&decimal, i, s);
        for (int at = 0; at < 9; at++) {
            char kept = s[at];

            for (char d = '0'; d <= '9'; d++) {
                s[at] = d;
                ck_assert_int_eq(serial_verify(&decimal, s, 9) == 0, d == kept);
            }
            s[at] = kept;
        }
    }
}
END_TEST

START_TEST(neighbours_swapped_never_pass)
{
    for (int i = 0; i < 1000; i++) {
        char s[SERIAL_CAP];

        make_numbered(&decimal, i, s);
        for (int at = 0; at < 8; at++) {
            char a = s[at], b = s[at + 1];

            s[at] = b;
            s[at + 1] = a;
            ck_assert_int_eq(serial_verify(&decimal, s, 9) == 0, a == b);
            s[at] = a;
            s[at + 1] = b;
        }
    }
}
END_TEST

/* MOD 37,36 catches every single change; swaps mostly (ISO/IEC 7064). */
START_TEST(hybrid_one_character_changed_never_passes)
{
    static const struct serial_layout l = {SERIAL_MOD_37_36, 4, 3};
    static const char all[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";

    for (int i = 0; i < 200; i++) {
        char s[SERIAL_CAP];

        make_numbered(&l, i, s);
        for (int at = 0; at < 8; at++) {
            char kept = s[at];

            for (int d = 0; d < 36; d++) {
                s[at] = all[d];
                ck_assert_int_eq(serial_verify(&l, s, 8) == 0, all[d] == kept);
            }
            s[at] = kept;
        }
    }
}
END_TEST

START_TEST(key_there_and_back)
{
    static const char *const some[] = {
        "0", "00", "021407319", "ZZZZZZZZZZZ", "00000000000", "A1"};
    int64_t k, seen[KW_COUNT(some)];

    for (size_t i = 0; i < KW_COUNT(some); i++) {
        char back[SERIAL_CAP];

        ck_assert_int_eq(serial_key(some[i], &k), 0);
        ck_assert_int_gt(k, 0);
        ck_assert_int_eq(serial_from_key(k, back), 0);
        ck_assert_str_eq(back, some[i]);
        seen[i] = k;
        for (size_t j = 0; j < i; j++)
            ck_assert_int_ne(seen[j], k);
    }
    ck_assert_int_eq(serial_key("", &k), KW_EINVAL);
    ck_assert_int_eq(serial_key("02a", &k), KW_EINVAL);
    ck_assert_int_eq(serial_key("000000000000", &k), KW_EINVAL);
}
END_TEST

START_TEST(bare_takes_separators_away)
{
    static const struct {
        const char *written, *bare; /* NULL: refused */
    } cases[] = {
        {"0214-073-19", "021407319"},
        {"0214 073 19", "021407319"},
        {"0214.073/19:", "021407319"},
        {"37-a5_b", "37A5B"},
        {"", NULL},
        {"--", NULL},
        {"0214+073", NULL},
        {"1234567890123456", NULL}, /* one more than there is room for */
    };

    for (size_t i = 0; i < KW_COUNT(cases); i++) {
        char s[SERIAL_CAP];
        int err = serial_bare(cases[i].written, s);

        ck_assert_int_eq(err, cases[i].bare != NULL ? 0 : KW_EINVAL);
        if (err == 0)
            ck_assert_str_eq(s, cases[i].bare);
        ck_assert_uint_lt(strlen(s), SERIAL_CAP);
    }
}
END_TEST

START_TEST(check_names)
{
    enum serial_check c;

    ck_assert_int_eq(serial_check_from_name("97-10", &c), 0);
    ck_assert_int_eq(c, SERIAL_MOD_97_10);
    ck_assert_int_eq(serial_check_from_name("37,36", &c), 0);
    ck_assert_int_eq(c, SERIAL_MOD_37_36);
    ck_assert_int_eq(serial_check_from_name("none", &c), 0);
    ck_assert_int_eq(c, SERIAL_NO_CHECK);
    ck_assert_int_eq(serial_check_from_name("luhn", &c), KW_EINVAL);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("serial");
    TCase *t = tcase_create("serial");
    SRunner *r;
    int failed;

    tcase_add_test(t, vectors_of_iso_7064);
    tcase_add_test(t, make_worked_example);
    tcase_add_test(t, make_and_format);
    tcase_add_test(t, one_digit_changed_never_passes);
    tcase_add_test(t, neighbours_swapped_never_pass);
    tcase_add_test(t, hybrid_one_character_changed_never_passes);
    tcase_add_test(t, key_there_and_back);
    tcase_add_test(t, bare_takes_separators_away);
    tcase_add_test(t, check_names);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed != 0;
}
