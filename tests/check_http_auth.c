/*
 * check_http_auth.c - signatures against tests/reference/hmac.csv: the test
 * cases of RFC 4231 (HMAC-SHA256), and a form body before and after
 * decoding; secrets; and the rates of rate.h.
 */
#include "carrier/http_auth.h"
#include "carrier/rate.h"

#include "base/csv.h"
#include "base/file.h"

#include <check.h>
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static size_t unhex(const char *hex, uint8_t *dst, size_t cap)
{
    size_t n = strlen(hex) / 2;

    ck_assert_uint_le(n, cap);
    for (size_t i = 0; i < n; i++) {
        char two[3] = {hex[2 * i], hex[2 * i + 1], '\0'};

        dst[i] = (uint8_t)strtoul(two, NULL, 16);
    }
    return n;
}

START_TEST(reference_vectors)
{
    struct csv c;
    char path[4096], *data;
    size_t len;
    int seen = 0, got;

    snprintf(path, sizeof(path), "%s/tests/reference/hmac.csv",
             getenv("KW_SOURCE"));
    ck_assert_int_eq(file_read(path, 100000, &data, &len), 0);
    csv_open(&c, data, len);
    while ((got = csv_next(&c)) == 1) {
        uint8_t key[200], body[400], mac[32], want[64];
        size_t key_len, body_len;

        if (strcmp(c.fields[1], "HMAC-SHA256") != 0)
            continue;
        key_len = unhex(c.fields[2], key, sizeof(key));
        body_len = unhex(c.fields[3], body, sizeof(body));
        ck_assert_uint_eq(unhex(c.fields[4], want, sizeof(want)), 32);
        ck_assert_int_eq(
            http_auth_hmac((char *)key, key_len, (char *)body, body_len, mac),
            0);
        ck_assert_mem_eq(mac, want, 32);
        seen++;
    }
    ck_assert_int_eq(got, 0);
    ck_assert_int_eq(seen, 8);
    csv_release(&c);
    kw_free(data);
}
END_TEST

/* hmac.csv m08: key "secret", body "from=%2B226…". */
#define BODY "from=%2B22670123456&text=FIRE+24"
#define MAC  "6296a0f16edde56a208c84e0f66226e5fb911ae5b6039c5b305990fcc547399c"

static bool is_signed(const char *key, const char *old, const char *header)
{
    struct http_auth_keys keys = {.key = key, .key_old = old};

    return http_auth_signed(&keys, header, BODY, strlen(BODY));
}

START_TEST(signature_header)
{
    char changed[] = MAC, upper[] = MAC;

    for (char *p = upper; *p != '\0'; p++)
        *p = (char)toupper((unsigned char)*p);
    ck_assert(is_signed("secret", NULL, MAC));
    ck_assert(is_signed("secret", NULL, "sha256=" MAC));
    ck_assert(is_signed("secret", NULL, upper));
    ck_assert(is_signed("new", "secret", MAC));
    ck_assert(!is_signed("new", NULL, MAC));
    ck_assert(!is_signed("new", "newer", MAC));
    ck_assert(!is_signed("secret", NULL, NULL));
    ck_assert(!is_signed("secret", NULL, ""));
    ck_assert(!is_signed("secret", NULL, "sha256="));
    ck_assert(!is_signed("secret", NULL, MAC "00"));
    ck_assert(!is_signed(NULL, NULL, MAC));
    for (size_t i = 0; i < strlen(MAC); i++) {
        changed[i] = MAC[i] == '0' ? '1' : '0';
        ck_assert(!is_signed("secret", NULL, changed));
        changed[i] = 'g';
        ck_assert(!is_signed("secret", NULL, changed));
        changed[i] = MAC[i];
    }
}
END_TEST

START_TEST(secrets)
{
    ck_assert(http_auth_same("a secret", 8, "a secret"));
    ck_assert(!http_auth_same("a secret", 7, "a secret"));
    ck_assert(!http_auth_same("a secret\0", 9, "a secret"));
    ck_assert(!http_auth_same("", 0, "a secret"));
    ck_assert(!http_auth_same("A secret", 8, "a secret"));
}
END_TEST

START_TEST(rate_of_one_address)
{
    struct rate *r = rate_new(60);
    uint8_t a[RATE_KEY_OCTETS] = {1}, b[RATE_KEY_OCTETS] = {2};

    for (int i = 0; i < 60; i++)
        ck_assert_int_eq(rate_take(r, a, 0), 0);
    ck_assert_int_eq(rate_take(r, a, 0), 1);
    ck_assert_int_eq(rate_take(r, b, 0), 0);
    ck_assert_int_eq(rate_take(r, a, 999999), 1);
    ck_assert_int_eq(rate_take(r, a, 1000000), 0);
    ck_assert_int_eq(rate_take(r, a, 1000001), 1);
    for (int i = 0; i < 60; i++)
        ck_assert_int_eq(rate_take(r, a, 100000000), 0);
    ck_assert_int_ge(rate_take(r, a, 100000000), 1);
    rate_free(r);
    r = rate_new(1);
    ck_assert_int_eq(rate_take(r, a, 5), 0);
    ck_assert_int_eq(rate_take(r, a, 5), 60);
    rate_free(r);
}
END_TEST

/* However many addresses come, none gets more than its own, none crashes. */
START_TEST(rate_of_many_addresses)
{
    struct rate *r = rate_new(3);
    uint8_t key[RATE_KEY_OCTETS] = {0};

    for (uint32_t i = 0; i < 50000; i++) {
        memcpy(key, &i, sizeof(i));
        ck_assert_int_eq(rate_take(r, key, i), 0);
        ck_assert_int_eq(rate_take(r, key, i), 0);
        ck_assert_int_eq(rate_take(r, key, i), 0);
        ck_assert_int_gt(rate_take(r, key, i), 0);
    }
    rate_free(r);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("http_auth");
    TCase *t = tcase_create("http_auth");
    SRunner *r;
    int failed;

    tcase_add_test(t, reference_vectors);
    tcase_add_test(t, signature_header);
    tcase_add_test(t, secrets);
    tcase_add_test(t, rate_of_one_address);
    tcase_add_test(t, rate_of_many_addresses);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed != 0;
}
