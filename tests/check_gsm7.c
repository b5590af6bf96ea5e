/*
 * check_gsm7.c - alphabets, packing, UTF-16. Rows of tests/reference/protocol
 * name their sources; they come from other programs, none from this one.
 */
#include "base/septet.h"
#include "carrier/dcs.h"
#include "carrier/gsm7.h"
#include "carrier/ucs2.h"
#include "carrier/utf8.h"
#include "vectors.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static const struct alphabet_shift none;

/* Every cell of every table, and no cell more. TS 23.038, Annex A. */
START_TEST(table_cells)
{
    struct vectors v;
    size_t cells = 0;

    vectors_open(&v, "protocol/national_shift_tables.csv");
    while (vectors_next(&v)) {
        long lang = vectors_int(&v, "language");
        bool locking = strcmp(vectors_get(&v, "table"), "locking") == 0;
        unsigned long code = strtoul(vectors_get(&v, "code_hex"), NULL, 16);
        unsigned long cp = strtoul(vectors_get(&v, "unicode"), NULL, 16);
        struct alphabet_shift shift = {locking ? (uint8_t)lang : 0,
                                       locking ? 0 : (uint8_t)lang};

        ck_assert_uint_eq(locking ? alphabet_char(shift, (uint8_t)code)
                                  : alphabet_escaped(shift, (uint8_t)code),
                          cp);
        ck_assert(locking ? alphabet_has_locking((uint8_t)lang)
                          : alphabet_has_single((uint8_t)lang));
    }
    ck_assert_uint_eq(v.rows, 2431);
    for (int l = 0; l < ALPHABET_LANGUAGES; l++) {
        for (int i = 0; i < 128; i++)
            cells +=
                (alphabet_locking[l][i] != 0) + (alphabet_single[l][i] != 0);
    }
    ck_assert_uint_eq(cells, v.rows);
    vectors_close(&v);
    ck_assert(!alphabet_has_locking(2)); /* Spanish: single shift only */
    ck_assert(!alphabet_has_single(14));
}
END_TEST

/* Every character of a table goes out as septets that read back as itself. */
START_TEST(table_both_ways)
{
    struct alphabet_shift shift = {(uint8_t)_i, (uint8_t)_i};

    for (uint32_t cp = 1; cp < 0x10000; cp++) {
        uint8_t s[2];
        size_t n = alphabet_septets(shift, cp, s);

        ck_assert_uint_le(n, 2);
        if (n == 1)
            ck_assert_uint_eq(alphabet_char(shift, s[0]), cp);
        else if (n == 2)
            ck_assert_uint_eq(alphabet_escaped(shift, s[1]), cp);
    }
}
END_TEST

START_TEST(gsm7_vectors)
{
    struct vectors v;

    vectors_open(&v, "protocol/gsm7.csv");
    while (vectors_next(&v)) {
        uint8_t want[800], got[800], octets[800], back[800];
        size_t len, n = 0, n_want, octets_n;
        char *text = vectors_text(&v, "text", &len);
        const char *id = vectors_get(&v, "id");
        struct kw_buf again;

        n_want = vectors_hex(vectors_get(&v, "septet_values_hex"), want,
                             sizeof(want));
        ck_assert_msg(gsm7_encode(none, text, len, got, sizeof(got), &n) == 0,
                      "%s", id);
        ck_assert_uint_eq(n, n_want);
        ck_assert_uint_eq(n, (size_t)vectors_int(&v, "septets"));
        ck_assert_mem_eq(got, want, n);
        ck_assert_uint_eq(gsm7_octets(n, 0), (size_t)vectors_int(&v, "octets"));
        ck_assert_int_eq(gsm7_pack(got, n, 0, octets, sizeof(octets)), 0);
        octets_n =
            vectors_hex(vectors_get(&v, "packed_hex"), want, sizeof(want));
        if (octets_n > 0 || n == 0) {
            ck_assert_uint_eq(octets_n, gsm7_octets(n, 0));
            ck_assert_mem_eq(octets, want, octets_n);
        }
        ck_assert_uint_eq(gsm7_unpack(octets, gsm7_octets(n, 0), 0, n, back),
                          n);
        kw_buf_init(&again, 4096);
        gsm7_decode(none, back, n, &again);
        ck_assert_uint_eq(again.len, len);
        ck_assert_mem_eq(kw_buf_text(&again), text, len);
        kw_buf_release(&again);
        kw_free(text);
    }
    ck_assert_uint_eq(v.rows, 32);
    vectors_close(&v);
}
END_TEST

START_TEST(ucs2_vectors)
{
    struct vectors v;

    vectors_open(&v, "protocol/ucs2.csv");
    while (vectors_next(&v)) {
        uint8_t want[1000], got[1000];
        size_t len, n = 0, n_want;
        char *text = vectors_text(&v, "text", &len);
        struct kw_buf again;

        n_want =
            vectors_hex(vectors_get(&v, "utf16be_hex"), want, sizeof(want));
        ck_assert_int_eq(ucs2_encode(text, len, got, sizeof(got), &n), 0);
        ck_assert_uint_eq(n, (size_t)vectors_int(&v, "octets"));
        ck_assert_uint_eq(n, 2 * (size_t)vectors_int(&v, "utf16_units"));
        if (n_want > 0 || n <= 140) { /* longer rows leave the octets out */
            ck_assert_uint_eq(n, n_want);
            ck_assert_mem_eq(got, want, n);
        }
        kw_buf_init(&again, 4096);
        ucs2_decode(got, n, &again);
        ck_assert_uint_eq(again.len, len);
        ck_assert_mem_eq(kw_buf_text(&again), text, len);
        kw_buf_release(&again);
        kw_free(text);
    }
    ck_assert_uint_eq(v.rows, 21);
    vectors_close(&v);
}
END_TEST

/* The Unicode Standard, 3.9: a lone surrogate is no character. */
static const struct {
    uint8_t octets[8];
    size_t n;
    const char *text;
} broken[] = {
    {{0xd8, 0x3d}, 2, "\xef\xbf\xbd"},
    {{0xde, 0x00, 0x00, 0x61},
     4,
     "\xef\xbf\xbd"
     "a"},
    {{0xd8, 0x3d, 0x00, 0x61},
     4,
     "\xef\xbf\xbd"
     "a"},
    {{0xd8, 0x3d, 0xd8, 0x3d, 0xde, 0x00}, 6, "\xef\xbf\xbd\xf0\x9f\x98\x80"},
    {{0x00, 0x61, 0x00}, 3, "a"},
};

START_TEST(ucs2_broken)
{
    struct kw_buf out;

    kw_buf_init(&out, 100);
    ucs2_decode(broken[_i].octets, broken[_i].n, &out);
    ck_assert_str_eq(kw_buf_text(&out), broken[_i].text);
    kw_buf_release(&out);
}
END_TEST

START_TEST(ussd_vectors)
{
    struct vectors v;

    vectors_open(&v, "protocol/ussd7.csv");
    while (vectors_next(&v)) {
        uint8_t septets[300], want[300], got[300], back[GSM7_USSD_SEPTETS];
        size_t len, n = 0, octets = 0;
        char *text = vectors_text(&v, "text", &len);

        ck_assert_int_eq(
            gsm7_encode(none, text, len, septets, sizeof(septets), &n), 0);
        ck_assert_uint_eq(n, (size_t)vectors_int(&v, "septets"));
        ck_assert_str_eq(vectors_get(&v, "fits_one_ussd_string"), "yes");
        ck_assert_int_eq(gsm7_ussd_pack(septets, n, got, sizeof(got), &octets),
                         0);
        ck_assert_uint_eq(octets, (size_t)vectors_int(&v, "octets"));
        ck_assert_uint_eq(octets, vectors_hex(vectors_get(&v, "packed_hex"),
                                              want, sizeof(want)));
        ck_assert_mem_eq(got, want, octets);
        ck_assert_uint_eq(gsm7_ussd_unpack(got, octets, back), n);
        ck_assert_mem_eq(back, septets, n);
        kw_free(text);
    }
    ck_assert_uint_eq(v.rows, 12);
    vectors_close(&v);
}
END_TEST

START_TEST(ussd_too_long)
{
    uint8_t septets[183] = {0}, octets[200];
    size_t n;

    ck_assert_int_eq(gsm7_ussd_pack(septets, 183, octets, 200, &n), KW_EFULL);
    ck_assert_int_eq(gsm7_ussd_pack(septets, 182, octets, 159, &n), KW_EFULL);
    ck_assert_int_eq(gsm7_ussd_pack(septets, 182, octets, 160, &n), 0);
}
END_TEST

/* Any septets, any fill: what goes in comes out, and spare bits are 0. */
START_TEST(pack_both_ways)
{
    srand(7);
    for (int turn = 0; turn < 2000; turn++) {
        uint8_t in[160], octets[141], back[160];
        size_t n = (size_t)rand() % 155;
        unsigned fill = (unsigned)rand() % 7, bits;
        size_t len = gsm7_octets(n, fill);

        for (size_t i = 0; i < n; i++)
            in[i] = (uint8_t)(rand() % 128);
        octets[len] = 0xa5;
        ck_assert_int_eq(gsm7_pack(in, n, fill, octets, len), 0);
        ck_assert_uint_eq(octets[len], 0xa5);
        if (len > 0)
            ck_assert_int_eq(gsm7_pack(in, n, fill, octets, len - 1), KW_EFULL);
        ck_assert_uint_eq(gsm7_unpack(octets, len, fill, n, back), n);
        ck_assert_mem_eq(back, in, n);
        bits = (unsigned)((n * 7 + fill) % 8);
        if (len > 0 && bits > 0)
            ck_assert_uint_eq(octets[len - 1] >> bits, 0);
        if (len > 0)
            ck_assert_uint_eq(octets[0] & ((1u << fill) - 1), 0);
    }
}
END_TEST

/*
 * "@" is the septet 00: any count of it, at the start and at the end, is text
 * and neither an end nor padding. TS 23.038, 6.2.1 and 6.1.2.1.1.
 */
START_TEST(at_sign_everywhere)
{
    for (size_t n = 1; n <= 160; n++) {
        for (size_t ats = 1; ats <= n; ats += n > 20 ? 7 : 1) {
            uint8_t septets[160], octets[140], back[160];
            char words[161];
            struct kw_buf text;
            size_t got = 0;

            memset(words, 'a', n);
            memset(words + n - ats, '@', ats);
            words[0] = '@';
            ck_assert_int_eq(gsm7_encode((struct alphabet_shift){0}, words, n,
                                         septets, sizeof(septets), &got),
                             0);
            ck_assert_uint_eq(got, n);
            ck_assert_uint_eq(septets[n - 1], 0);
            ck_assert_int_eq(
                gsm7_pack(septets, n, 0, octets, gsm7_octets(n, 0)), 0);
            ck_assert_uint_eq(
                gsm7_unpack(octets, gsm7_octets(n, 0), 0, n, back), n);
            kw_buf_init(&text, 200);
            gsm7_decode((struct alphabet_shift){0}, back, n, &text);
            ck_assert_uint_eq(text.len, n);
            ck_assert_mem_eq(text.data, words, n);
            kw_buf_release(&text);
            /* Seven spare bits are zeros in SMS, CR is for USSD alone. */
            if (n % 8 == 7)
                ck_assert_uint_eq(octets[gsm7_octets(n, 0) - 1] >> 1, 0);
        }
    }
}
END_TEST

/* Fill bits after a header. TS 23.040, 9.2.3.24; the table of sizes. */
START_TEST(fill_bits)
{
    static const struct {
        size_t header;
        unsigned fill;
        size_t room;
    } rows[] = {{0, 0, 160}, {6, 1, 153},  {7, 0, 152},  {4, 3, 155},
                {9, 5, 149}, {12, 2, 146}, {10, 4, 148}, {13, 1, 145}};

    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        ck_assert_uint_eq(gsm7_fill_bits(rows[i].header), rows[i].fill);
        ck_assert_uint_eq((140 * 8 - rows[i].header * 8) / 7, rows[i].room);
    }
}
END_TEST

/* The count in base agrees with the tables for every character there is. */
START_TEST(septet_cost_agrees)
{
    for (uint32_t cp = 1; cp < 0x110000; cp++) {
        uint8_t s[2];

        if ((size_t)septet_cost(cp) != alphabet_septets(none, cp, s))
            ck_abort_msg("U+%04X", (unsigned)cp);
    }
}
END_TEST

/* TS 23.038, 4: every value of the octet, by its group. */
START_TEST(dcs_groups)
{
    static const struct {
        uint8_t tp_dcs;
        enum dcs_alphabet alphabet;
        bool compressed;
        int class;
    } rows[] = {{0x00, DCS_GSM7, false, -1},  {0x04, DCS_OCTETS, false, -1},
                {0x08, DCS_UCS2, false, -1},  {0x0c, DCS_GSM7, false, -1},
                {0x10, DCS_GSM7, false, 0},   {0x18, DCS_UCS2, false, 0},
                {0x15, DCS_OCTETS, false, 1}, {0x20, DCS_GSM7, true, -1},
                {0x48, DCS_UCS2, false, -1},  {0x8c, DCS_GSM7, false, -1},
                {0xc8, DCS_GSM7, false, -1},  {0xd0, DCS_GSM7, false, -1},
                {0xe0, DCS_UCS2, false, -1},  {0xf0, DCS_GSM7, false, 0},
                {0xf1, DCS_GSM7, false, 1},   {0xf6, DCS_OCTETS, false, 2}};

    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        struct dcs d = dcs_decode(rows[i].tp_dcs);

        ck_assert_int_eq(d.alphabet, rows[i].alphabet);
        ck_assert_int_eq(d.compressed, rows[i].compressed);
        ck_assert_int_eq(d.class, rows[i].class);
    }
}
END_TEST

START_TEST(what_cannot_be_written)
{
    uint8_t septets[10];
    size_t n = 0;

    /* A small c with cedilla is not in the alphabet, a capital one is. */
    ck_assert_int_eq(gsm7_encode(none, "a\xc3\xa7", 3, septets, 10, &n),
                     KW_EINVAL);
    ck_assert_uint_eq(n, 1);
    ck_assert_int_eq(gsm7_encode(none, "\xc3\x87", 2, septets, 10, &n), 0);
    ck_assert_int_eq(gsm7_encode(none, "`", 1, septets, 10, &n), KW_EINVAL);
    ck_assert_int_eq(gsm7_encode(none, "\t", 1, septets, 10, &n), KW_EINVAL);
    ck_assert_int_eq(gsm7_encode(none, "aaaaa[", 6, septets, 6, &n), KW_EFULL);
    ck_assert_int_eq(gsm7_encode(none, "\xff", 1, septets, 6, &n), KW_EINVAL);
    ck_assert_uint_eq(alphabet_language("pt-BR"), 3);
    ck_assert_uint_eq(alphabet_language("ur"), 13);
    ck_assert_uint_eq(alphabet_language("sw"), 0);
    ck_assert_uint_eq(alphabet_language(""), 0);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("gsm7");
    TCase *t = tcase_create("gsm7");
    SRunner *r;
    int failed;

    tcase_add_test(t, table_cells);
    tcase_add_loop_test(t, table_both_ways, 0, ALPHABET_LANGUAGES);
    tcase_add_test(t, gsm7_vectors);
    tcase_add_test(t, ucs2_vectors);
    tcase_add_loop_test(t, ucs2_broken, 0, (int)KW_COUNT(broken));
    tcase_add_test(t, ussd_vectors);
    tcase_add_test(t, ussd_too_long);
    tcase_add_test(t, pack_both_ways);
    tcase_add_test(t, at_sign_everywhere);
    tcase_add_test(t, fill_bits);
    tcase_add_test(t, septet_cost_agrees);
    tcase_add_test(t, dcs_groups);
    tcase_add_test(t, what_cannot_be_written);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
