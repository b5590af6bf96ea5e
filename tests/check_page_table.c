/* check_page_table.c - widths, wrapping, tables and pictures. */
#include "page/plot.h"
#include "page/table.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct kw_buf out;
static struct screen screen;

static void setup(void)
{
    kw_buf_init(&out, 1 << 20);
    screen = (struct screen){.out = &out, .width = SCREEN_WIDTH};
}

static void teardown(void)
{
    kw_buf_release(&out);
}

/* The widest line of what was put; every line must end in LF. */
static int widest(const char *text)
{
    int most = 0;

    while (*text != '\0') {
        size_t len = strcspn(text, "\n");
        int w = screen_columns(text, len);

        ck_assert_int_eq(text[len], '\n');
        most = w > most ? w : most;
        text += len + 1;
    }
    return most;
}

/*
 * Unicode 15 EastAsianWidth.txt: U+6C34 is W (two columns); UnicodeData.txt:
 * U+0301 and U+093E are marks of a letter before them.
 */
START_TEST(columns_of_scripts)
{
    ck_assert_int_eq(screen_columns("pot", 3), 3);
    ck_assert_int_eq(screen_columns("水", 3), 2);
    ck_assert_int_eq(screen_columns("e\u0301", 3), 1);
    ck_assert_int_eq(screen_columns("", 0), 0);
}
END_TEST

static const struct {
    const char *in, *utf8, *ascii;
} cleaned[] = {
    {"Río Ñapa", "Río Ñapa", "Rio Napa"},
    {"a\x1b[31mb", "a\ufffd[31mb", "a?[31mb"}, /* a terminal's command */
    {"a\nb\tc\r", "a b c ", "a b c "},
    {"\xff\xc3", "\ufffd\ufffd", "??"}, /* broken UTF-8 */
    {"25 °C … 3×2 ≥ 1", "25 °C … 3×2 ≥ 1", "25 degC .. 3x2 >= 1"},
    {"\u202eabc", "\ufffdabc", "?abc"}, /* right-to-left override */
    {"\u0938\u0947\u0932\u0947", "\u0938\u0947\u0932\u0947", "??"},
    {"\xc2\x9b"
     "2J",
     "\ufffd2J", "?2J"}, /* C1 control */
};
START_TEST(clean_text)
{
    screen_clean(cleaned[_i].in, strlen(cleaned[_i].in), false, &out);
    ck_assert_str_eq(kw_buf_text(&out), cleaned[_i].utf8);
    kw_buf_clear(&out);
    screen_clean(cleaned[_i].in, strlen(cleaned[_i].in), true, &out);
    ck_assert_str_eq(kw_buf_text(&out), cleaned[_i].ascii);
}
END_TEST

START_TEST(fit_breaks_between_words_and_graphemes)
{
    ck_assert_uint_eq(screen_fit("one two three", 13, 7), 7);
    ck_assert_uint_eq(screen_fit("one two three", 13, 8), 7);
    ck_assert_uint_eq(screen_fit("abcdef", 6, 4), 4);
    /* e and its accent stay together */
    ck_assert_uint_eq(screen_fit("abe\u0301d", 6, 3), 5);
    /* at least one grapheme, whatever its width */
    ck_assert_uint_eq(screen_fit("水水", 6, 1), 3);
    ck_assert_uint_eq(screen_fit("abc", 3, 80), 3);
}
END_TEST

START_TEST(phones_are_shortened)
{
    char dst[32];

    screen_phone("+99970012345", false, dst, sizeof(dst));
    ck_assert_str_eq(dst, "+999…2345");
    screen_phone("+99970012345", true, dst, sizeof(dst));
    ck_assert_str_eq(dst, "+99970012345");
    screen_phone("4455", false, dst, sizeof(dst));
    ck_assert_str_eq(dst, "…55");
    screen_phone("", false, dst, sizeof(dst));
    ck_assert_str_eq(dst, "-");
}
END_TEST

START_TEST(field_wraps_below_its_value)
{
    screen.width = 40;
    screen_field(&screen, "made",
                 "batch 0214, pressed, dried, fired and silvered");
    ck_assert_str_eq(kw_buf_text(&out),
                     "  made         batch 0214, pressed,\n"
                     "               dried, fired and silvered\n");
}
END_TEST

START_TEST(title_is_underlined)
{
    screen.plain = true;
    screen_title(&screen, "Pot %s", "0214-073-19");
    screen_section(&screen, "Life", NULL);
    ck_assert_str_eq(kw_buf_text(&out), "Pot 0214-073-19\n"
                                        "===============\n"
                                        "\n"
                                        "Life\n");
}
END_TEST

static const struct table_column three[] = {
    {"pot", false, 0}, {"litres", true, 0}, {"what", false, 8}};

START_TEST(table_aligns_and_wraps)
{
    struct table t;

    screen.width = 40;
    table_init(&t, &screen, three, KW_COUNT(three));
    table_cell(&t, "0214-073-19");
    table_cell(&t, "%.2f", 1.9);
    table_cell(&t, "fine");
    table_cell(&t, "0214-074-16");
    table_cell(&t, "%.2f", 12.25);
    table_cell(&t, "too fast: it may be cracked");
    ck_assert_uint_eq(table_rows(&t), 2);
    table_put(&t, &screen, 2);
    ck_assert_str_eq(kw_buf_text(&out),
                     "  pot          litres  what\n"
                     "  0214-073-19    1.90  fine\n"
                     "  0214-074-16   12.25  too fast: it may\n"
                     "                       be cracked\n");
    table_release(&t);
}
END_TEST

/* Where columns do not fit side by side each row becomes a paragraph. */
START_TEST(table_on_a_small_screen)
{
    static const struct table_column wide[] = {
        {"pot", false, 0},
        {"phone", false, 0},
        {"L", true, 0},
        {"what is to be done", false, 12}};
    struct table t;

    screen.width = 40;
    table_init(&t, &screen, wide, KW_COUNT(wide));
    table_cell(&t, "0214-073-19");
    table_cell(&t, "+999…2345");
    table_cell(&t, "-");
    table_cell(&t, "look at it, tap it");
    table_cell(&t, "0214-074-16");
    table_cell(&t, "+999…2346");
    table_cell(&t, "1.5");
    table_cell(&t, "nothing");
    table_put(&t, &screen, 2);
    ck_assert_str_eq(kw_buf_text(&out),
                     "  - 0214-073-19: phone +999…2345; what\n"
                     "    is to be done look at it, tap it\n"
                     "  - 0214-074-16: phone +999…2346; L 1.5;\n"
                     "    what is to be done nothing\n");
    table_release(&t);
}
END_TEST

START_TEST(table_without_rows_says_nothing)
{
    struct table t;

    table_init(&t, &screen, three, KW_COUNT(three));
    table_put(&t, &screen, 2);
    ck_assert_str_eq(kw_buf_text(&out), "");
    table_release(&t);
}
END_TEST

/* Whatever the words, no line is wider than the screen; nothing is lost. */
START_TEST(table_never_wider_than_screen)
{
    static const char *const pieces[] = {"क्षेत्र ", "水",  "a",
                                         " ",     "Río", "🏺"};
    static const struct table_column cols[] = {
        {"place", false, 6}, {"home", false, 6}, {"n", true, 0}};
    struct table t;
    size_t letters = 0, shown = 0;

    srand(7 + (unsigned)_i);
    screen.width = SCREEN_LEAST + _i % 41;
    table_init(&t, &screen, cols, KW_COUNT(cols));
    for (int row = 0; row < 12; row++) {
        for (int c = 0; c < 2; c++) {
            char cell[512] = "";
            size_t at = 0;

            for (int n = rand() % 30; n >= 0; n--) {
                const char *p = pieces[(size_t)rand() % KW_COUNT(pieces)];

                letters += *p == 'a';
                at += (size_t)snprintf(cell + at, sizeof(cell) - at, "%s", p);
            }
            table_cell(&t, "%s", cell);
        }
        table_cell(&t, "%d", rand() % 100);
    }
    table_put(&t, &screen, 4);
    ck_assert_int_le(widest(kw_buf_text(&out)), screen.width);
    for (const char *p = kw_buf_text(&out); *p != '\0'; p++)
        shown += *p == 'a';
    ck_assert_uint_eq(shown, letters + 1); /* one in the heads */
    table_release(&t);
}
END_TEST

START_TEST(paragraph_never_wider_than_screen)
{
    char text[600];

    srand(11 + (unsigned)_i);
    for (size_t i = 0; i + 1 < sizeof(text); i++)
        text[i] = (char)(1 + rand() % 255);
    text[sizeof(text) - 1] = '\0';
    screen.width = SCREEN_LEAST + _i % 41;
    screen.plain = _i % 2 == 0;
    screen_text(&screen, _i % 8, "%s", text);
    screen_field(&screen, "words", "%s", text);
    ck_assert_int_le(widest(kw_buf_text(&out)), screen.width);
    for (const char *p = kw_buf_text(&out); screen.plain && *p != '\0'; p++)
        ck_assert(*p == '\n' || (*p >= ' ' && *p < 0x7f));
}
END_TEST

static const struct plot_point four[] = {
    {0, 1.9, 't', 0}, {30, 1.2, 'o', 1}, {60, 0.6, 's', 2}, {90, 9.0, 'f', 4}};

START_TEST(plot_draws_band_threshold_and_marks)
{
    struct plot p = {.points = four,
                     .n_points = KW_COUNT(four),
                     .y_top = 4,
                     .band_low = 1,
                     .band_high = 3,
                     .threshold = 1,
                     .rows = 8,
                     .x_left = "2026-01-01",
                     .x_right = "2026-04-01"};

    screen.width = 40;
    screen.plain = true;
    plot_put(&p, &screen);
    ck_assert_str_eq(kw_buf_text(&out),
                     "  3.50 |                               f\n"
                     "  3.00 |\n"
                     "  2.50 | ...............................\n"
                     "  2.00 | ...............................\n"
                     "  1.50 | t..............................\n"
                     "  1.00 | ----------o--------------------\n"
                     "  0.50 |                     s\n"
                     "  0.00 |\n"
                     "       +--------------------------------\n"
                     "         2026-01-01           2026-04-01\n");
}
END_TEST

START_TEST(plot_shows_the_graver_of_two_on_one_spot)
{
    static const struct plot_point two[] = {{5, 0.5, 's', 2}, {5, 0.5, 'o', 1}};
    struct plot p = {
        .points = two, .n_points = 2, .y_top = 4, .rows = 4, .threshold = NAN};

    plot_put(&p, &screen);
    ck_assert_ptr_nonnull(strchr(kw_buf_text(&out), 's'));
    ck_assert_ptr_null(strchr(kw_buf_text(&out), 'o'));
}
END_TEST

START_TEST(plot_of_nothing_draws_nothing)
{
    struct plot p = {.y_top = 4, .rows = 4, .threshold = 1};

    plot_put(&p, &screen);
    ck_assert_str_eq(kw_buf_text(&out), "");
}
END_TEST

int main(void)
{
    Suite *s = suite_create("page_table");
    TCase *t = tcase_create("screen");
    SRunner *r;
    int failed;

    tcase_add_checked_fixture(t, setup, teardown);
    tcase_add_test(t, columns_of_scripts);
    tcase_add_loop_test(t, clean_text, 0, (int)KW_COUNT(cleaned));
    tcase_add_test(t, fit_breaks_between_words_and_graphemes);
    tcase_add_test(t, phones_are_shortened);
    tcase_add_test(t, field_wraps_below_its_value);
    tcase_add_test(t, title_is_underlined);
    tcase_add_test(t, table_aligns_and_wraps);
    tcase_add_test(t, table_on_a_small_screen);
    tcase_add_test(t, table_without_rows_says_nothing);
    tcase_add_loop_test(t, table_never_wider_than_screen, 0, 41);
    tcase_add_loop_test(t, paragraph_never_wider_than_screen, 0, 41);
    tcase_add_test(t, plot_draws_band_threshold_and_marks);
    tcase_add_test(t, plot_shows_the_graver_of_two_on_one_spot);
    tcase_add_test(t, plot_of_nothing_draws_nothing);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_SILENT);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed == 0 ? 0 : 1;
}
