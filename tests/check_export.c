/* check_export.c - tables as CSV, and what must not stand in them. */
#include "base/csv.h"
#include "command/command.h"
#include "page/sheet.h"
#include "tests/ledger_fixture.h"
#include "tests/page_valley.h"

#include <stdio.h>
#include <string.h>

#define KEY "a key for the checks alone"

static const struct serial_layout layout = {SERIAL_MOD_97_10, 4, 3};
static struct ledger *lg;
static struct kw_buf out;
static struct sheet sheet;

static int put_line(const char *line, size_t len, void *arg)
{
    kw_buf_put(arg, line, len);
    return 0;
}

static void open_valley(void)
{
    lg = valley_open();
    kw_buf_init(&out, 1 << 22);
    sheet = (struct sheet){
        .layout = &layout, .key = KEY, .put = put_line, .arg = &out};
}

static void close_valley(void)
{
    ledger_close(lg);
    kw_buf_release(&out);
    fixture_remove();
}

static void write_kind(const char *name)
{
    const struct sheet_kind *kind = sheet_find(name);

    ck_assert_ptr_nonnull(kind);
    kw_buf_clear(&out);
    ck_assert_int_eq(sheet_write(&sheet, kind, lg), 0);
}

/*
 * The tests/reference/hmac.csv rows that a phone could be (key and data are
 * text): RFC 4231, test case 2.
 */
START_TEST(pseudonym_is_hmac_sha256)
{
    char word[PSEUDONYM_CAP];

    ck_assert_int_eq(pseudonym_of("Jefe", "what do ya want for nothing?", word),
                     0);
    ck_assert_str_eq(word, "5bdcc146bf60754e");
    ck_assert_int_eq(pseudonym_of(KEY, "", word), 0);
    ck_assert_str_eq(word, "");
}
END_TEST

/* Another phone or another key is another word. */
START_TEST(pseudonym_tells_apart)
{
    char a[PSEUDONYM_CAP], b[PSEUDONYM_CAP], c[PSEUDONYM_CAP];

    pseudonym_of(KEY, "+99970012345", a);
    pseudonym_of(KEY, "+99970012346", b);
    pseudonym_of(KEY "!", "+99970012345", c);
    ck_assert_str_ne(a, b);
    ck_assert_str_ne(a, c);
    pseudonym_of(KEY, "+99970012345", b);
    ck_assert_str_eq(a, b);
}
END_TEST

static const struct {
    const char *kind;
    size_t rows; /* of the valley */
} kinds[] = {
    {"texts", 14}, {"reports", 13},   {"observations", 13}, {"flow", 4},
    {"pots", 60},  {"handovers", 57}, {"homes", 57},        {"batches", 3},
    {"alerts", 3}, {"outbox", 4},
};

/* Each row has the fields that the heads promise; RFC 4180 line ends. */
START_TEST(sheet_reads_back)
{
    struct csv csv;
    size_t rows = 0, fields = 0;

    sheet.words = true;
    write_kind(kinds[_i].kind);
    csv_open(&csv, kw_buf_text(&out), out.len);
    for (int got; (got = csv_next(&csv)) != 0; rows++) {
        ck_assert_msg(got == 1, "line %d: %s", csv.line, csv.wrong);
        if (rows == 0)
            fields = csv.n_fields;
        ck_assert_uint_eq(csv.n_fields, fields);
    }
    ck_assert_uint_eq(rows, kinds[_i].rows + 1);
    csv_release(&csv);
    for (size_t i = 0; i < out.len; i++)
        ck_assert(out.data[i] != '\n' || out.data[i - 1] == '\r');
}
END_TEST

/* Neither phones nor words, unless asked for. */
START_TEST(sheet_keeps_private)
{
    write_kind(kinds[_i].kind);
    ck_assert_ptr_null(strstr(kw_buf_text(&out), "9997001"));
    ck_assert_ptr_null(strstr(kw_buf_text(&out), "4f 10h"));
    ck_assert_ptr_null(strstr(kw_buf_text(&out), "Do not drink"));
}
END_TEST

START_TEST(sheet_gives_phones_when_asked)
{
    sheet.phones = true;
    sheet.key = NULL;
    write_kind("homes");
    ck_assert_ptr_nonnull(strstr(kw_buf_text(&out), "+99970010009"));
    ck_assert_uint_eq(out.err, 0);
}
END_TEST

/* The same phone is the same word in every table. */
START_TEST(sheets_join_by_phone)
{
    char word[PSEUDONYM_CAP];
    static const char *const with_phone[] = {"texts", "reports", "handovers",
                                             "homes", "outbox"};

    pseudonym_of(KEY, "+99970010009", word);
    for (size_t i = 0; i < KW_COUNT(with_phone); i++) {
        write_kind(with_phone[i]);
        ck_assert_msg(strstr(kw_buf_text(&out), word) != NULL, "%s",
                      with_phone[i]);
    }
}
END_TEST

/* Words come as valid, tame UTF-8; formulas of spreadsheets are quoted. */
START_TEST(sheet_tames_words)
{
    static const char evil[] = "=1+1,\"x\"\n\x1b[2J\xff";
    struct ledger_text_in t = {.carrier = "console",
                               .at_s = VALLEY_NOW_S,
                               .body = evil,
                               .len = sizeof(evil) - 1};
    struct ledger_phone f;

    ck_assert_int_eq(ledger_phone_find(lg, "+99970010009", &f), 0);
    t.phone_id = f.id;
    ck_assert_int_eq(ledger_text_in_put(lg, &t), 0);
    sheet.words = true;
    write_kind("texts");
    ck_assert_ptr_nonnull(
        strstr(kw_buf_text(&out), ",\"'=1+1,\"\"x\"\" \ufffd[2J\ufffd\"\r\n"));
}
END_TEST

START_TEST(sheet_flow_is_in_units)
{
    write_kind("flow");
    ck_assert_ptr_nonnull(strstr(kw_buf_text(&out),
                                 "0220-005-71,0220,2026-02-09T08:00:00Z,0.55,"
                                 "0.2,2e-07,20,0.9,replace\r\n"));
}
END_TEST

static int refuse(const char *line, size_t len, void *arg)
{
    (void)line, (void)len, (void)arg;
    return KW_EIO;
}

START_TEST(sheet_stops_where_it_cannot_write)
{
    sheet.put = refuse;
    ck_assert_int_eq(sheet_write(&sheet, sheet_find("pots"), lg), KW_EIO);
}
END_TEST

/* --help names each kind with all of its columns, in their order. */
START_TEST(help_names_columns)
{
    const char *at = command_export.help;

    for (size_t i = 0; i < sheet_n_kinds; i++) {
        const char *columns = sheet_kinds[i].columns;
        char word[64];

        snprintf(word, sizeof(word), "  %s ", sheet_kinds[i].name);
        at = strstr(at, word);
        ck_assert_msg(at != NULL, "%s", sheet_kinds[i].name);
        at += strlen(word);
        while (*columns != '\0') {
            size_t len = strcspn(columns, ",");

            at += strspn(at, " \n");
            ck_assert_msg(strncmp(at, columns, len) == 0 &&
                              strcspn(at, " \n") == len,
                          "%s: %.*s", sheet_kinds[i].name, (int)len, columns);
            at += len;
            columns += len + (columns[len] == ',');
        }
    }
}
END_TEST

int main(void)
{
    const int n = (int)KW_COUNT(kinds);
    Suite *s = suite_create("export");
    TCase *t = tcase_create("sheet");

    tcase_add_checked_fixture(t, open_valley, close_valley);
    tcase_add_test(t, pseudonym_is_hmac_sha256);
    tcase_add_test(t, pseudonym_tells_apart);
    tcase_add_loop_test(t, sheet_reads_back, 0, n);
    tcase_add_loop_test(t, sheet_keeps_private, 0, n);
    tcase_add_test(t, sheet_gives_phones_when_asked);
    tcase_add_test(t, sheets_join_by_phone);
    tcase_add_test(t, sheet_tames_words);
    tcase_add_test(t, sheet_flow_is_in_units);
    tcase_add_test(t, sheet_stops_where_it_cannot_write);
    tcase_add_test(t, help_names_columns);
    suite_add_tcase(s, t);
    return fixture_run(s);
}
