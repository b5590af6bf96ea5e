/*
 * check_tpdu.c - SMS TPDUs to and from octets, against rows that other
 * programs read (tests/reference/protocol names them).
 */
#include "carrier/dcs.h"
#include "carrier/gsm7.h"
#include "carrier/tpdu.h"
#include "vectors.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static void expect_time(const char *want, const struct tpdu_time *t)
{
    char got[64];
    int quarters = abs(t->zone);

    if (want[0] == '\0')
        return;
    snprintf(got, sizeof(got), "%04d-%02d-%02dT%02d:%02d:%02d%c%02d:%02d",
             t->year, t->month, t->day, t->hour, t->minute, t->second,
             t->zone < 0 ? '-' : '+', quarters / 4, quarters % 4 * 15);
    ck_assert(t->valid);
    ck_assert_str_eq(got, want);
}

static void expect_flags(const char *want, const struct tpdu *t)
{
    char got[80];

    if (t->type == TPDU_SUBMIT)
        snprintf(got, sizeof(got), "rp=%d udhi=%d srr=%d vpf=%d rd=%d",
                 t->tp_rp, t->tp_udhi, t->tp_srr, (int)t->tp_vpf, t->tp_rd);
    else if (t->type == TPDU_DELIVER)
        snprintf(got, sizeof(got), "rp=%d udhi=%d sri=%d mms=%d lp=%d",
                 t->tp_rp, t->tp_udhi, t->tp_sri, t->tp_mms, t->tp_lp);
    else
        snprintf(got, sizeof(got), "udhi=%d srq=%d mms=%d lp=%d", t->tp_udhi,
                 t->tp_srq, t->tp_mms, t->tp_lp);
    ck_assert_str_eq(got, want);
}

static void expect_concat(const char *want, const struct udh *h)
{
    char got[40] = "";

    if (h->total > 0)
        snprintf(got, sizeof(got), "%u/%u/%u", h->ref, h->seq, h->total);
    ck_assert_str_eq(got, want);
}

static void expect_text(struct vectors *v, const struct tpdu *t)
{
    struct udh header;
    struct kw_buf text;
    size_t len;
    char *want = vectors_text(v, "text", &len);

    kw_buf_init(&text, 4096);
    ck_assert_int_eq(tpdu_text(t, &header, &text), 0);
    /* Rows of 8-bit data carry no text. */
    if (dcs_decode(t->tp_dcs).alphabet != DCS_OCTETS) {
        ck_assert_uint_eq(text.len, len);
        ck_assert_mem_eq(kw_buf_text(&text), want, len);
    }
    expect_concat(vectors_get(v, "concat"), &header);
    kw_buf_release(&text);
    kw_free(want);
}

static void expect_int(struct vectors *v, const char *column, int got)
{
    if (vectors_get(v, column)[0] != '\0')
        ck_assert_int_eq(got, vectors_int(v, column));
}

static void expect_row(struct vectors *v, const struct tpdu *t)
{
    const char *status = vectors_get(v, "status_hex");
    char vp[40];

    ck_assert_str_eq(t->address.text, vectors_get(v, "address"));
    ck_assert_int_eq(t->address.ton, vectors_int(v, "ton"));
    expect_flags(vectors_get(v, "flags"), t);
    expect_int(v, "mr", t->tp_mr);
    expect_int(v, "pid", t->tp_pid);
    expect_int(v, "dcs", t->tp_dcs);
    expect_int(v, "udl", t->tp_udl);
    expect_time(vectors_get(v, "scts"), &t->tp_scts);
    expect_time(vectors_get(v, "discharge"), &t->tp_dt);
    if (status[0] != '\0')
        ck_assert_uint_eq(t->tp_st, strtoul(status, NULL, 16));
    if (t->tp_vpf == TPDU_VPF_RELATIVE) {
        snprintf(vp, sizeof(vp), "%u", t->tp_vp);
        ck_assert_str_eq(vectors_get(v, "validity"), vp);
    } else if (t->tp_vpf == TPDU_VPF_ABSOLUTE) {
        expect_time(vectors_get(v, "validity"), &t->tp_vp_at);
    }
    expect_text(v, t);
}

/* Each field as tshark reads it; and written again the octets are the same. */
START_TEST(tpdu_vectors)
{
    struct vectors v;

    vectors_open(&v, "protocol/sms_tpdu.csv");
    while (vectors_next(&v)) {
        uint8_t octets[400], again[400];
        size_t n = vectors_hex(vectors_get(&v, "tpdu_hex"), octets, 400);
        bool submit = strcmp(vectors_get(&v, "type"), "SUBMIT") == 0;
        struct tpdu t;

        ck_assert_msg(tpdu_decode(&t,
                                  submit ? TPDU_TO_CENTRE : TPDU_FROM_CENTRE,
                                  octets, n) == 0,
                      "%s", vectors_get(&v, "id"));
        ck_assert_int_eq(t.type, submit ? TPDU_SUBMIT
                                 : vectors_get(&v, "type")[0] == 'D'
                                     ? TPDU_DELIVER
                                     : TPDU_STATUS_REPORT);
        expect_row(&v, &t);
        ck_assert_int_eq(tpdu_encode(&t, again, sizeof(again)), (int)n);
        ck_assert_mem_eq(again, octets, n);
        ck_assert_int_eq(tpdu_encode(&t, again, n - 1), KW_EFULL);
    }
    ck_assert_uint_eq(v.rows, 42);
    vectors_close(&v);
}
END_TEST

/* Shift tables inside a TPDU: read, and written again from the septets. */
START_TEST(national_vectors)
{
    struct vectors v;

    vectors_open(&v, "protocol/national.csv");
    while (vectors_next(&v)) {
        uint8_t octets[400], again[400], septets[200];
        size_t len, n = vectors_hex(vectors_get(&v, "tpdu_hex"), octets, 400);
        size_t n_septets = vectors_hex(vectors_get(&v, "septet_values_hex"),
                                       septets, sizeof(septets));
        char *want = vectors_text(&v, "text", &len);
        struct tpdu t;
        struct udh h;
        struct kw_buf text;

        kw_buf_init(&text, 4096);
        ck_assert_int_eq(tpdu_decode(&t, TPDU_FROM_CENTRE, octets, n), 0);
        ck_assert_int_eq(t.tp_udl, vectors_int(&v, "tp_udl"));
        ck_assert_int_eq(tpdu_text(&t, &h, &text), 0);
        ck_assert_int_eq(h.locking, vectors_int(&v, "locking"));
        ck_assert_int_eq(h.single, vectors_int(&v, "single"));
        ck_assert_msg(text.len == len &&
                          memcmp(kw_buf_text(&text), want, len) == 0,
                      "%s: %s is not %s", vectors_get(&v, "id"),
                      kw_buf_text(&text), want);
        ck_assert_int_eq(tpdu_put_ud(&t, &h, septets, n_septets), 0);
        ck_assert_int_eq(tpdu_encode(&t, again, sizeof(again)), (int)n);
        ck_assert_mem_eq(again, octets, n);
        kw_buf_release(&text);
        kw_free(want);
    }
    ck_assert_uint_eq(v.rows, 81);
    vectors_close(&v);
}
END_TEST

START_TEST(odd_septets)
{
    struct vectors v;

    vectors_open(&v, "protocol/gsm7_decode.csv");
    while (vectors_next(&v)) {
        uint8_t octets[400];
        size_t len, n = vectors_hex(vectors_get(&v, "tpdu_hex"), octets, 400);
        char *want = vectors_text(&v, "text", &len);
        struct tpdu t;
        struct udh h;
        struct kw_buf text;

        kw_buf_init(&text, 4096);
        ck_assert_int_eq(tpdu_decode(&t, TPDU_FROM_CENTRE, octets, n), 0);
        ck_assert_int_eq(tpdu_text(&t, &h, &text), 0);
        if (strcmp(want, "(not shown)") == 0)
            ck_assert(h.sim_toolkit);
        else
            ck_assert_str_eq(kw_buf_text(&text), want);
        kw_buf_release(&text);
        kw_free(want);
    }
    ck_assert_uint_eq(v.rows, 14);
    vectors_close(&v);
}
END_TEST

START_TEST(status_classes)
{
    static const char *const names[] = {
        [TPDU_DELIVERED] = "delivered",
        [TPDU_UNCONFIRMED] = "accepted, not confirmed",
        [TPDU_TRYING] = "not final",
        [TPDU_PERMANENT] = "failed",
        [TPDU_GAVE_UP] = "failed, may be sent anew"};
    struct vectors v;

    vectors_open(&v, "protocol/tp_status.csv");
    while (vectors_next(&v)) {
        unsigned long st = strtoul(vectors_get(&v, "tp_st"), NULL, 16);
        const char *want = vectors_get(&v, "class");

        ck_assert_str_eq(names[tpdu_fate((uint8_t)st)], want);
    }
    ck_assert_uint_eq(v.rows, 24);
    vectors_close(&v);
    /* By range where a value is not listed. */
    ck_assert_int_eq(tpdu_fate(0x30), TPDU_TRYING);
    ck_assert_int_eq(tpdu_fate(0x55), TPDU_PERMANENT);
    ck_assert_int_eq(tpdu_fate(0x7f), TPDU_GAVE_UP);
    ck_assert_int_eq(tpdu_fate(0x80), TPDU_PERMANENT);
}
END_TEST

/*
 * The zone octet, TS 23.040 9.2.3.11: UTC-4 is 69, UTC+5:45 is 32, UTC-0:30
 * is 28. The instant is local time less the zone; instants from `date -u`.
 */
START_TEST(time_zones)
{
    static const struct {
        const char *scts;
        int zone;
        int64_t utc;
    } rows[] = {
        {"62115201000069", -16, 1795615200}, /* 2026-11-25T10:00:00-04:00 */
        {"62115291540032", 23, 1795615200},  /* 2026-11-25T19:45:00+05:45 */
        {"62115241000028", -2, 1795617000},  /* 2026-11-25T14:00:00-00:30 */
        {"72101000009584", 48, 1798718459},  /* 2027-01-01T00:00:59+12:00 */
        {"00209200000000", 0, 951782400},    /* 2000-02-29T00:00:00Z */
        {"99211332959565", 56, 4102394399},  /* 2099-12-31T23:59:59+14:00 */
        {"42209232959500", 0, 1709251199},   /* 2024-02-29T23:59:59Z */
    };
    uint8_t tpdu[] = {0x04, 0x04, 0x81, 0x07, 0x07, 0x00, 0x00, 0,
                      0,    0,    0,    0,    0,    0,    0x00};

    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        struct tpdu t;

        vectors_hex(rows[i].scts, tpdu + 7, 7);
        ck_assert_int_eq(tpdu_decode(&t, TPDU_FROM_CENTRE, tpdu, sizeof(tpdu)),
                         0);
        ck_assert_int_eq(t.tp_scts.zone, rows[i].zone);
        ck_assert_int_eq(tpdu_time_utc(&t.tp_scts), rows[i].utc);
    }
}
END_TEST

/*
 * The instant is the stamp's own, wherever the machine stands and whatever
 * it thinks of summer: hours that its clocks skip or have twice, too.
 */
START_TEST(time_zones_of_the_machine)
{
    static const char *const zones[] = {"UTC0",
                                        "EST5EDT,M3.2.0,M11.1.0",
                                        "CET-1CEST,M3.5.0,M10.5.0/3",
                                        "<+0545>-5:45",
                                        "<-0330>3:30",
                                        "NZST-12NZDT,M9.5.0,M4.1.0/3"};
    static const struct {
        const char *scts;
        int64_t utc;
    } rows[] = {
        {"62308020030000", 1772937000}, /* 2026-03-08T02:30:00Z */
        {"62309220030040", 1774747800}, /* 2026-03-29T02:30:00+01:00 */
        {"62015220030040", 1792891800}, /* 2026-10-25T02:30:00+01:00 */
        {"62301000000080", 1772316000}, /* 2026-03-01T00:00:00+02:00 */
        {"62211332030069", 1798774200}, /* 2026-12-31T23:30:00-04:00 */
    };
    uint8_t tpdu[] = {0x04, 0x04, 0x81, 0x07, 0x07, 0x00, 0x00, 0,
                      0,    0,    0,    0,    0,    0,    0x00};

    for (size_t z = 0; z < KW_COUNT(zones); z++) {
        setenv("TZ", zones[z], 1);
        tzset();
        for (size_t i = 0; i < KW_COUNT(rows); i++) {
            struct tpdu t;

            vectors_hex(rows[i].scts, tpdu + 7, 7);
            ck_assert_int_eq(
                tpdu_decode(&t, TPDU_FROM_CENTRE, tpdu, sizeof(tpdu)), 0);
            ck_assert_int_eq(tpdu_time_utc(&t.tp_scts), rows[i].utc);
        }
    }
}
END_TEST

START_TEST(not_a_time)
{
    /* Month 13, 30 February, hour 24, A in a digit: read, but not a time. */
    static const char *const rows[] = {"62315241000000", "62200341000000",
                                       "62115242000000", "6A115241000000",
                                       "62110041000000"};
    uint8_t tpdu[] = {0x04, 0x04, 0x81, 0x07, 0x07, 0x00, 0x00, 0,
                      0,    0,    0,    0,    0,    0,    0x00};

    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        struct tpdu t;

        vectors_hex(rows[i], tpdu + 7, 7);
        ck_assert_int_eq(tpdu_decode(&t, TPDU_FROM_CENTRE, tpdu, sizeof(tpdu)),
                         0);
        ck_assert(!t.tp_scts.valid);
        ck_assert_int_eq(tpdu_time_utc(&t.tp_scts), 0);
    }
}
END_TEST

/* TS 23.040, 9.2.3.12.1. */
START_TEST(relative_validity)
{
    ck_assert_int_eq(tpdu_vp_seconds(0), 300);
    ck_assert_int_eq(tpdu_vp_seconds(11), 3600);
    ck_assert_int_eq(tpdu_vp_seconds(143), 43200);
    ck_assert_int_eq(tpdu_vp_seconds(144), 45000);
    ck_assert_int_eq(tpdu_vp_seconds(167), 86400);
    ck_assert_int_eq(tpdu_vp_seconds(168), 2 * 86400);
    ck_assert_int_eq(tpdu_vp_seconds(170), 4 * 86400);
    ck_assert_int_eq(tpdu_vp_seconds(196), 30 * 86400);
    ck_assert_int_eq(tpdu_vp_seconds(197), 5 * 604800);
    ck_assert_int_eq(tpdu_vp_seconds(255), 63 * 604800);
    for (int i = 0; i < 256; i++) {
        int64_t s = tpdu_vp_seconds((uint8_t)i);

        ck_assert(i == 0 || s > tpdu_vp_seconds((uint8_t)(i - 1)));
        ck_assert_int_eq(tpdu_vp_relative(s), i);
        ck_assert(i == 255 || tpdu_vp_relative(s + 1) == i);
    }
    ck_assert_int_eq(tpdu_vp_relative(0), 0);
    ck_assert_int_eq(tpdu_vp_relative(-5), 0);
}
END_TEST

/* 9.1.2.5: a name's length counts useful semi-octets: 4 characters have 7. */
START_TEST(name_lengths)
{
    for (size_t n = 1; n <= 11; n++) {
        struct tpdu t = {.type = TPDU_DELIVER}, back;
        uint8_t octets[64];
        char name[12] = "";
        int len;

        memset(name, 'k', n);
        ck_assert_int_eq(tpdu_address_from(&t.address, name), 0);
        ck_assert_int_eq(t.address.ton, TPDU_TON_ALPHANUMERIC);
        len = tpdu_encode(&t, octets, sizeof(octets));
        ck_assert_int_gt(len, 0);
        ck_assert_uint_eq(octets[1], (7 * n + 3) / 4);
        ck_assert_uint_eq(octets[2], 0xd0);
        ck_assert_int_eq(
            tpdu_decode(&back, TPDU_FROM_CENTRE, octets, (size_t)len), 0);
        ck_assert_str_eq(back.address.text, name);
    }
}
END_TEST

START_TEST(addresses)
{
    struct tpdu_address a;
    char text[TPDU_ADDRESS_CAP];

    ck_assert_int_eq(tpdu_address_from(&a, "+99970012345"), 0);
    ck_assert_int_eq(a.ton, TPDU_TON_INTERNATIONAL);
    tpdu_address_text(&a, text, sizeof(text));
    ck_assert_str_eq(text, "+99970012345");
    tpdu_address_text(&a, text, 12);
    ck_assert_str_eq(text, "");
    ck_assert_int_eq(tpdu_address_from(&a, "7070"), 0);
    ck_assert_int_eq(a.ton, TPDU_TON_UNKNOWN);
    tpdu_address_text(&a, text, sizeof(text));
    ck_assert_str_eq(text, "7070");
    ck_assert_int_eq(tpdu_address_from(&a, "*123#"), 0);
    ck_assert_int_eq(tpdu_address_from(&a, ""), KW_EINVAL);
    ck_assert_int_eq(tpdu_address_from(&a, "+"), KW_EINVAL);
    ck_assert_int_eq(tpdu_address_from(&a, "+kiln"), KW_EINVAL);
    ck_assert_int_eq(tpdu_address_from(&a, "TwelveLetter"), KW_EINVAL);
    ck_assert_int_eq(tpdu_address_from(&a, "123456789012345678901"), KW_EINVAL);
}
END_TEST

START_TEST(sca)
{
    const uint8_t with[] = {0x03, 0x91, 0x99, 0x09, 0x04};

    ck_assert_int_eq(tpdu_skip_sca(with, 5), 4);
    ck_assert_int_eq(tpdu_skip_sca(with, 3), KW_EINVAL);
    ck_assert_int_eq(tpdu_skip_sca(with, 0), KW_EINVAL);
    ck_assert_int_eq(tpdu_skip_sca((const uint8_t *)"\0x", 2), 1);
}
END_TEST

/* A header element with an impossible place is passed over; the last of two
 * counts; an overrun ignores the header. TS 23.040, 9.2.3.24 and .24.1. */
START_TEST(headers)
{
    static const struct {
        const char *hex;
        size_t octets;
        unsigned ref, total, seq;
    } rows[] = {
        {"050003420201", 6, 0x42, 2, 1},
        {"06080412340302", 7, 0x1234, 3, 2},
        {"050003420001", 6, 0, 0, 0}, /* total 0 */
        {"050003420200", 6, 0, 0, 0}, /* part 0 */
        {"050003420203", 6, 0, 0, 0}, /* part 3 of 2 */
        {"0A0003420201"
         "0003070302",
         11, 7, 3, 2},
        {"0B0003420201"
         "080412340302",
         12, 0x1234, 3, 2},
        {"0B080412340302"
         "0003420201",
         12, 0x42, 2, 1},
        {"0800034202017004", 8, 0, 0, 0}, /* UDHL beyond the data */
        {"0700034202017004", 8, 0, 0, 0}, /* the last element overruns */
        {"00", 1, 0, 0, 0},
        {"0100", 2, 0, 0, 0},
    };

    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        uint8_t octets[32];
        size_t n = vectors_hex(rows[i].hex, octets, sizeof(octets));
        struct udh h;

        udh_decode(octets, n, &h);
        ck_assert_uint_eq(h.octets, rows[i].octets);
        ck_assert_uint_eq(h.ref, rows[i].ref);
        ck_assert_uint_eq(h.total, rows[i].total);
        ck_assert_uint_eq(h.seq, rows[i].seq);
    }
    {
        struct udh h;

        udh_decode((const uint8_t *)"", 0, &h);
        ck_assert_uint_eq(h.octets, 0);
    }
}
END_TEST

/* Every beginning of every row, and every row with one octet changed, is
 * read or refused; under the sanitizers this finds reads past the end. */
START_TEST(cut_and_bent)
{
    struct vectors v;

    srand(11);
    vectors_open(&v, "protocol/sms_tpdu.csv");
    while (vectors_next(&v)) {
        uint8_t octets[400];
        size_t n = vectors_hex(vectors_get(&v, "tpdu_hex"), octets, 400);
        bool submit = strcmp(vectors_get(&v, "type"), "SUBMIT") == 0;
        enum tpdu_way way = submit ? TPDU_TO_CENTRE : TPDU_FROM_CENTRE;
        struct tpdu t;

        for (size_t i = 0; i < n; i++) {
            uint8_t *part = kw_malloc(i + 1);
            int err;

            memcpy(part, octets, i);
            err = tpdu_decode(&t, way, part, i);
            /* The optional parts of a report may be missing. */
            if (t.type != TPDU_STATUS_REPORT)
                ck_assert_int_eq(err, KW_EINVAL);
            kw_free(part);
        }
        for (int turn = 0; turn < 200; turn++) {
            uint8_t *bent = kw_malloc(n);
            struct udh h;
            struct kw_buf text;

            memcpy(bent, octets, n);
            bent[(size_t)rand() % n] = (uint8_t)rand();
            kw_buf_init(&text, 4096);
            if (tpdu_decode(&t, way, bent, n) == 0)
                tpdu_text(&t, &h, &text);
            kw_buf_release(&text);
            kw_free(bent);
        }
    }
    vectors_close(&v);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("tpdu");
    TCase *t = tcase_create("tpdu");
    SRunner *r;
    int failed;

    tcase_add_test(t, tpdu_vectors);
    tcase_add_test(t, national_vectors);
    tcase_add_test(t, odd_septets);
    tcase_add_test(t, status_classes);
    tcase_add_test(t, time_zones);
    tcase_add_test(t, time_zones_of_the_machine);
    tcase_add_test(t, not_a_time);
    tcase_add_test(t, relative_validity);
    tcase_add_test(t, name_lengths);
    tcase_add_test(t, addresses);
    tcase_add_test(t, sca);
    tcase_add_test(t, headers);
    tcase_add_test(t, cut_and_bent);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
