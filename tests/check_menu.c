/*
 * check_menu.c - the screens for phones that are led by numbers: faults of
 * the file, sizes, and what a session composes.
 * Size of a screen: 3GPP TS 23.038, 5 (USSD: 160 octets, 182 septets).
 */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/septet.h"
#include "desk/menu.h"

static struct menu *menu;

static void open_menu(void)
{
    struct fault_list faults = {0};
    char folder[4096];

    file_join(folder, sizeof(folder), getenv("KW_SOURCE"), "grammar");
    ck_assert_int_eq(menu_open(folder, &faults, &menu), 0);
    ck_assert_uint_eq(fault_print(&faults, stderr), 0);
}

static void close_menu(void)
{
    menu_close(menu);
}

static const char *at(const char *lang, const char *presses, int step)
{
    static char text[1000];
    struct kw_buf out;

    kw_buf_init(&out, sizeof(text) - 1);
    ck_assert_int_eq(menu_next(menu, lang, presses, &out), step);
    snprintf(text, sizeof(text), "%s", kw_buf_text(&out));
    kw_buf_release(&out);
    return text;
}

START_TEST(sessions_compose)
{
    ck_assert_str_eq(at("en", "1*1", MENU_TEXT), "crack");
    ck_assert_str_eq(at("es", "1*1", MENU_TEXT), "grieta");
    ck_assert_str_eq(at("en", "4*3*10*021407319", MENU_TEXT),
                     "slow 3f 10h 021407319");
    ck_assert_str_eq(at("en", "4*0*1", MENU_TEXT), "slow");
    ck_assert_str_eq(at("en", "6*2*1*1", MENU_TEXT), "ill 2 blood");
    ck_assert_str_eq(at("en", "8*2*1", MENU_TEXT), "part lid");
    ck_assert_str_eq(at("en", "0*4", MENU_TEXT), "stop");
}
END_TEST

START_TEST(screens_are_shown)
{
    ck_assert_ptr_nonnull(strstr(at("en", "", MENU_SCREEN), "\n1 Crack"));
    ck_assert_ptr_nonnull(strstr(at("es", "", MENU_SCREEN), "\n1 Grieta"));
    ck_assert_ptr_nonnull(strstr(at("xx", "", MENU_SCREEN), "\n1 Crack"));
    ck_assert_ptr_nonnull(strstr(at("en", "4*3", MENU_SCREEN), "hours"));
    /* what is not a choice shows the screen again */
    ck_assert_ptr_nonnull(strstr(at("en", "4*30", MENU_AGAIN), "fingers"));
    ck_assert_ptr_nonnull(strstr(at("en", "x", MENU_AGAIN), "1 Crack"));
    ck_assert_ptr_nonnull(strstr(at("en", "1*12", MENU_AGAIN), "number"));
    ck_assert_ptr_nonnull(strstr(at("en", "4*+3", MENU_AGAIN), "fingers"));
    at("en", "1*1*1", KW_EINVAL);
    at("en", "x*1", KW_EINVAL);
    at("en", "**", KW_EINVAL);
}
END_TEST

/* Taken back, none of it, ended: what counts of all that was pressed. */
START_TEST(presses_settle)
{
    static const struct {
        const char *all, *settled;
        int step;
    } cases[] = {
        {"", "", MENU_SCREEN},
        {"4*3", "4*3", MENU_SCREEN},
        {"4*00*1", "1", MENU_SCREEN},
        {"00", "", MENU_SCREEN},
        {"1*00*00*2", "2", MENU_SCREEN},
        {"4*99", "4", MENU_AGAIN},
        {"4*99*3*10", "4*3*10", MENU_SCREEN},
        {"1*1", "1*1", MENU_TEXT},
        {"1*1*7", "1*1", MENU_TEXT},
        {"6*2*000", "6*2", MENU_CANCELLED},
        {"**1", "1", MENU_SCREEN},
    };

    for (size_t i = 0; i < KW_COUNT(cases); i++) {
        struct kw_buf out;

        kw_buf_init(&out, 100);
        ck_assert_int_eq(menu_settle(menu, cases[i].all, &out), cases[i].step);
        ck_assert_str_eq(kw_buf_text(&out), cases[i].settled);
        kw_buf_release(&out);
    }
}
END_TEST

START_TEST(keys_are_shown)
{
    ck_assert_ptr_null(strstr(at("en", "", MENU_SCREEN), "00 Back"));
    ck_assert_ptr_nonnull(strstr(at("en", "1", MENU_SCREEN), "\n00 Back"));
    ck_assert_ptr_nonnull(strstr(at("en", "1", MENU_SCREEN), "\n000 End"));
}
END_TEST

static int one_session(const char *presses, const char *text, void *arg)
{
    int stars = 0;

    for (const char *p = presses; *p != '\0'; p++)
        stars += *p == '*';
    ck_assert_int_lt(stars, MENU_PRESSES);
    ck_assert_uint_le(septet_measure(text, strlen(text)).units, 160);
    ck_assert_uint_gt(strlen(text), 0);
    ++*(int *)arg;
    return 0;
}

START_TEST(every_session_is_short)
{
    int n = 0;

    for (size_t i = 0; i < menu_langs(menu); i++)
        ck_assert_int_eq(menu_each_session(menu, menu_lang(menu, i),
                                           "021407319", one_session, &n),
                         0);
    ck_assert_int_gt(n, 100);
    printf("# sessions: %d\n", n);
}
END_TEST

static uint64_t seed = 4101842887655102017u;

static unsigned next_random(void)
{
    seed ^= seed << 13;
    seed ^= seed >> 7;
    seed ^= seed << 17;
    return (unsigned)(seed >> 33);
}

START_TEST(any_presses_end_well)
{
    static const char keys[] = "0123456789*#ab \xff";
    struct kw_buf out;

    kw_buf_init(&out, 1000);
    for (int i = 0; i < 50000; i++) {
        char presses[24];
        size_t n = next_random() % sizeof(presses);
        int step;

        for (size_t k = 0; k < n; k++)
            presses[k] = keys[next_random() % (sizeof(keys) - 1)];
        presses[n] = '\0';
        kw_buf_clear(&out);
        step = menu_next(menu, "es", presses, &out);
        ck_assert(step == KW_EINVAL || step == MENU_SCREEN ||
                  step == MENU_TEXT || step == MENU_AGAIN);
        ck_assert(step < 0 || out.len > 0);
        if (step == MENU_SCREEN || step == MENU_AGAIN)
            ck_assert_uint_le(septet_measure(out.data, out.len).units, 182);
    }
    kw_buf_release(&out);
}
END_TEST

/* ---- faults ---- */

static const struct {
    const char *file, *says;
} mistakes[] = {
    {"screen a\n", "names no languages"},
    {"languages en\n", "has no screen"},
    {"languages en\nscreen a\n en A\n", "leads nowhere"},
    {"languages en\nscreen a\n en A\n 1 writes \"c\" goes b\n  en C\n",
     "there is no screen 'b'"},
    {"languages en\nscreen a\n en A\n 1 writes \"c\" goes a\n  en C\n",
     "goes in a circle"},
    {"languages en\nscreen a\n en A\n 1 writes \"c\" ends\n  en C\nscreen b\n"
     " en B\n 1 writes \"c\" ends\n  en C\n",
     "cannot be reached"},
    {"languages en es\nscreen a\n en A\n 1 writes \"c\" ends\n  en C\n",
     "has no label in 'es'"},
    {"languages en\nscreen a\n en A\n 1 writes \"c\" ends\n  en C\n"
     " 1 writes \"l\" ends\n  en L\n",
     "the same choice"},
    {"languages en\nscreen a\n en A\n 1 writes c ends\n  en C\n",
     "after the digit comes"},
    {"languages en\nscreen a\n en A\n 1 writes \"c\"\n  en C\n",
     "the line ends with"},
    {"languages en\nscreen a\n en A\n number 9 1 writes \"{n}\" ends\n",
     "has its bounds"},
    {"languages en\nscreen a\n en A\n number 1 9 writes \"f\" ends\n",
     "what was typed is lost"},
    {"languages en\nscreen a\n en A\n 1 writes \"{n}\" ends\n  en C\n",
     "only a typed number"},
    {"languages en\nscreen a\n en A\n what\n", "begins no line"},
    {"languages en\nscreen a\nscreen a\n", "stands in line 2 already"},
    {"languages en\nscreen a\n en "
     "1234567890123456789012345678901234567890123456789012345678901234567890123"
     "4567890123456789012345678901234567890123456789012345678901234567890123456"
     "7890123456789012345678901234567890123456\n"
     " 1 writes \"c\" ends\n  en C\n",
     "182 is the most"},
    {"languages en\nscreen a\n en A\n 1 writes \"c\" goes b\n  en C\n"
     "screen b\n en B\n 1 writes \"c\" goes c\n  en C\nscreen c\n en C\n"
     " 1 writes \"\" goes d\n  en D\nscreen d\n en D\n 1 writes \"\" goes e\n"
     "  en E\nscreen e\n en E\n 1 writes \"\" ends\n  en F\n",
     "more than 4 presses"},
};

START_TEST(mistake_is_told)
{
    struct fault_list faults = {0};
    char folder[] = "/tmp/kw-menuXXXXXX", path[64];
    struct menu *m;
    bool told = false;

    ck_assert_ptr_nonnull(mkdtemp(folder));
    snprintf(path, sizeof(path), "%s/menu", folder);
    ck_assert_int_eq(
        file_write_whole(path, mistakes[_i].file, strlen(mistakes[_i].file)),
        0);
    ck_assert_int_eq(menu_open(folder, &faults, &m), KW_ESYNTAX);
    ck_assert_ptr_null(m);
    for (size_t i = 0; i < faults.n; i++)
        told |= strstr(faults.items[i].text, mistakes[_i].says) != NULL;
    if (!told)
        fault_print(&faults, stdout);
    ck_assert(told);
    unlink(path);
    rmdir(folder);
    fault_release(&faults);
}
END_TEST

START_TEST(no_file)
{
    struct fault_list faults = {0};
    struct menu *m;

    ck_assert_int_eq(menu_open("/nonexistent", &faults, &m), KW_EIO);
    ck_assert_uint_eq(faults.n, 1);
    fault_release(&faults);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("menu");
    TCase *good = tcase_create("sessions"), *bad = tcase_create("faults");
    SRunner *run = srunner_create(s);
    int failed;

    tcase_add_checked_fixture(good, open_menu, close_menu);
    tcase_add_test(good, sessions_compose);
    tcase_add_test(good, screens_are_shown);
    tcase_add_test(good, presses_settle);
    tcase_add_test(good, keys_are_shown);
    tcase_add_test(good, every_session_is_short);
    tcase_add_test(good, any_presses_end_well);
    tcase_add_loop_test(bad, mistake_is_told, 0, (int)KW_COUNT(mistakes));
    tcase_add_test(bad, no_file);
    suite_add_tcase(s, good);
    suite_add_tcase(s, bad);
    srunner_run_all(run, CK_ENV);
    failed = srunner_ntests_failed(run);
    srunner_free(run);
    return failed == 0 ? 0 : 1;
}
