/* check_session.c - menus at the desk: steps, repeats, calls that break. */
#include "base/septet.h"
#include "desk/menu.h"
#include "desk/session.h"
#include "tests/desk_fixture.h"

#include <stdio.h>
#include <string.h>

static struct menu_shown shown;

static const char *press_as(const char *call, const char *step,
                            const char *keys, bool whole)
{
    struct menu_press p = {.carrier = "gate",
                           .session = call,
                           .step = step,
                           .from = ANA,
                           .input = keys,
                           .whole = whole,
                           .at_s = now_s += 5};

    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_press(desk, lg, &p, &shown), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    return shown.body;
}

static const char *press(const char *call, const char *keys)
{
    return press_as(call, NULL, keys, false);
}

static void left(void)
{
    int64_t next_s = INT64_MAX;

    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_sessions_left(desk, lg, now_s, &next_s), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
}

/* The same report as the text "crack" makes; two presses after dialling. */
START_TEST(a_report_in_two_presses)
{
    char by_text[LEDGER_BODY_CAP];

    const char *said = text(ANA, "crack");

    ck_assert_int_eq(kw_copy(by_text, sizeof(by_text), said, strlen(said)), 0);
    SAYS(press("1", ""), "1 Crack");
    SAYS(press("1", "1"), "Which pot?");
    ck_assert_str_eq(press("1", "1"), by_text);
    ck_assert(shown.over);
    ck_assert_int_eq(rows("reports"), 2);
    /* and once more after the end */
    ck_assert_str_eq(press("1", "1"), by_text);
    ck_assert_int_eq(rows("reports"), 2);
}
END_TEST

/* The far side's id of the session is forgotten: the phone's open one goes on,
 * and a step that has its name counts once. */
START_TEST(a_session_is_found_again)
{
    struct menu_press p = {.carrier = "gate",
                           .session = "new",
                           .step = "q2",
                           .from = ANA,
                           .input = "4",
                           .answers = true,
                           .at_s = now_s};

    press_as("old", "q0", "", false);
    SAYS(press_as("old", "q1", "4", false), "how many fingers");
    p.at_s = now_s += 5;
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_press(desk, lg, &p, &shown), 0);
    SAYS(shown.body, "how many hours");
    ck_assert_int_eq(desk_press(desk, lg, &p, &shown), 0);
    SAYS(shown.body, "how many hours");
    ck_assert_int_eq(rows("menu_sessions"), 1);
    /* Nothing of this phone is open by another carrier: it begins. */
    p.carrier = "other";
    ck_assert_int_eq(desk_press(desk, lg, &p, &shown), 0);
    ck_assert_int_eq(rows("menu_sessions"), 2);
    ck_assert_int_eq(ledger_commit(lg), 0);
}
END_TEST

/* Nothing can be shown any more: the press counts, the answer is a text. */
START_TEST(an_unseen_end)
{
    struct menu_press p = {.carrier = "gate",
                           .session = "1",
                           .from = ANA,
                           .input = "1",
                           .unseen = true};

    text(ANA, "help");
    press("1", "");
    press("1", "1");
    p.at_s = now_s += 5;
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_press(desk, lg, &p, &shown), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    ck_assert(shown.over);
    ck_assert_int_eq(shown.outbox_id, 0);
    ck_assert_int_eq(rows("reports"), 1);
    ck_assert_int_eq(rows("outbox WHERE state = 0"), 2);
}
END_TEST

START_TEST(a_step_counts_once)
{
    press_as("1", "s0", "", false);
    SAYS(press_as("1", "s1", "4", false), "how many fingers");
    SAYS(press_as("1", "s1", "4", false), "how many fingers");
    SAYS(press_as("1", "s2", "4", false), "how many hours");
    SAYS(press_as("1", "s2", "4", false), "how many hours");
}
END_TEST

/* All presses each time: what is undone or none of it counts for nothing. */
START_TEST(the_whole_input)
{
    press_as("1", NULL, "", true);
    SAYS(press_as("1", NULL, "2", true), "Which pot?");
    SAYS(press_as("1", NULL, "2", true), "Which pot?");
    SAYS(press_as("1", NULL, "2*00", true), "1 Crack");
    SAYS(press_as("1", NULL, "2*00*4", true), "how many fingers");
    SAYS(press_as("1", NULL, "2*00*4*77", true), "how many fingers");
    SAYS(press_as("1", NULL, "2*00*4*77*4*10*1", true), "L in the first hour");
    ck_assert(shown.over);
    ck_assert_int_eq(rows("reports"), 1);
}
END_TEST

START_TEST(the_next_call_goes_on)
{
    press("1", "");
    press("1", "4");
    press_as("2", NULL, "", true); /* in the other shape, too */
    SAYS(shown.body, "how many fingers");
    SAYS(press_as("2", NULL, "4", true), "how many hours");
    SAYS(press("1", "1"), "how many fingers"); /* the old call is over */
    ck_assert(shown.over);
    SAYS(press("3", ""), "how many hours");
    press("3", "10");
    SAYS(press("3", "1"), "L in the first hour");
    now_s += 3600;
    left();
    ck_assert_int_eq(rows("texts_in"), 1);
}
END_TEST

START_TEST(nobody_calls_again)
{
    press("1", "");
    press("1", "2");
    left();
    ck_assert_int_eq(rows("texts_in"), 0);
    now_s += conf->menu_keep_s + 60;
    left();
    left();
    ck_assert_int_eq(rows("texts_in"), 1);
    ck_assert_int_eq(rows("reports"), 0);
    ck_assert_int_eq(rows("outbox"), 1);
    SAYS(text(ANA, "yes"), "do NOT drink");
    ck_assert_int_eq(rows("reports"), 1);
    SAYS(press("2", ""), "1 Crack");
}
END_TEST

START_TEST(cancelled_is_nothing)
{
    press("1", "");
    press("1", "2");
    SAYS(press("1", "000"), "Nothing was sent");
    ck_assert(shown.over);
    now_s += 3600;
    left();
    ck_assert_int_eq(rows("texts_in"), 0);
    SAYS(press("2", ""), "1 Crack");
}
END_TEST

START_TEST(danger_does_not_wait_for_the_end)
{
    press("1", "");
    press("1", "6");
    press("1", "2");
    ck_assert_int_eq(rows("alerts"), 0);
    SAYS(press("1", "1"), "Which pot?");
    ck_assert_int_eq(rows("alerts"), 1);
    ck_assert_int_eq(told("ALERT%blood%"), 1);
    ck_assert_int_eq(rows("reports"), 0);
    SAYS(press("1", "1"), "DANGER SIGN");
    ck_assert_int_eq(rows("alerts"), 1);
    ck_assert_int_eq(told("ALERT%blood%"), 1);
    ck_assert_int_eq(rows("reports"), 1);
}
END_TEST

/* ---- every path, in every language ---- */

struct walk {
    struct menu *menu;
    const char *lang;
    int call, paths, reports, commands, asked;
};

/* Inside the path's own transaction, which is undone at its end. */
static const char *step(const struct walk *w, const char *keys)
{
    char call[16];
    struct menu_press p = {.carrier = "gate",
                           .session = call,
                           .from = ANA,
                           .input = keys,
                           .at_s = now_s += 5};
    struct septet_size size;

    snprintf(call, sizeof(call), "w%d", w->call);
    ck_assert_int_eq(desk_press(desk, lg, &p, &shown), 0);
    size = septet_measure(shown.body, strlen(shown.body));
    ck_assert_msg(size.units <= (size.gsm7 ? MENU_SEPTETS : MENU_UCS2_UNITS),
                  "%s: %zu units: %s", w->lang, size.units, shown.body);
    ck_assert_uint_gt(strlen(shown.body), 0);
    return shown.body;
}

/*
 * One press, and what may come between: it is taken back and made again; the
 * call breaks, and the next one stands where this one stood.
 */
static void one_press(struct walk *w, const char *key, bool last)
{
    char before[LEDGER_BODY_CAP], after[LEDGER_BODY_CAP];

    snprintf(before, sizeof(before), "%s", shown.body);
    step(w, key);
    ck_assert_int_eq(shown.over, last);
    if (last)
        return;
    snprintf(after, sizeof(after), "%s", shown.body);
    ck_assert_str_eq(step(w, "00"), before);
    ck_assert_str_eq(step(w, key), after);
    w->call++;
    ck_assert_str_eq(step(w, ""), after);
}

static void count_kinds(struct walk *w, const char *presses, int64_t texts)
{
    int64_t asked = fixture_number(
        lg, "SELECT count(*) FROM asking WHERE why LIKE 'impossible%'");
    bool report = rows("reports") > 0;
    /* One finger in two days is less than any pot lets through. */
    bool far_out = strncmp(presses, "4*1*48*", 7) == 0;

    /* A danger sign is kept, and told once, as soon as it is pressed. */
    ck_assert_msg(rows("texts_in") == texts + 1 || rows("alerts") == 1,
                  "%s %s: not taken once", w->lang, presses);
    ck_assert_int_le(rows("alerts"), 1);
    ck_assert_int_le(rows("reports"), 1);
    ck_assert_msg(asked == 0 || far_out, "%s %s is asked about: %s", w->lang,
                  presses, shown.body);
    w->asked += asked > 0;
    ck_assert_msg(report || asked > 0 || presses[0] == '0',
                  "%s %s is no report: %s", w->lang, presses, shown.body);
    w->reports += report;
    w->commands += !report;
    w->paths++;
}

static int walk_path(const char *presses, const char *words, void *arg)
{
    struct walk *w = arg;
    char keys[64], *rest = keys, *key;
    int64_t texts;
    int n = 0;

    (void)words;
    snprintf(keys, sizeof(keys), "%s", presses);
    now_s += 60;
    ck_assert_int_eq(ledger_begin(lg), 0);
    texts = rows("texts_in");
    w->call++;
    step(w, "");
    step(w, "1");
    ck_assert_ptr_nonnull(step(w, "000")); /* nothing was sent */
    ck_assert(shown.over);
    ck_assert_int_eq(rows("texts_in"), texts);
    w->call++;
    step(w, "");
    while ((key = strsep(&rest, "*")) != NULL) {
        ck_assert_int_le(++n, MENU_PRESSES);
        one_press(w, key, rest == NULL);
    }
    count_kinds(w, presses, texts);
    ledger_rollback(lg);
    return 0;
}

/* A household that is known: four presses at the most to a filed report. */
START_TEST(every_path_is_filed)
{
    struct fault_list faults = {0};
    struct walk w = {.call = 0};

    ck_assert_int_eq(menu_open(conf->grammar_folder, &faults, &w.menu), 0);
    ck_assert_int_lt(_i, (int)menu_langs(w.menu));
    w.lang = menu_lang(w.menu, (size_t)_i);
    text(ANA, "language %s", w.lang);
    ck_assert_int_eq(
        menu_each_session(w.menu, w.lang, serials[0], walk_path, &w), 0);
    printf("# %s: %d paths, %d reports, %d commands\n", w.lang, w.paths,
           w.reports, w.commands);
    ck_assert_int_eq(w.asked, 2);
    ck_assert_int_gt(w.reports, 30);
    ck_assert_int_gt(w.commands, 0);
    menu_close(w.menu);
}
END_TEST

/* The form with stars, by text: card number, then numbers for the words. */
START_TEST(stars_by_text_in_every_language)
{
    static const char *const langs[] = {"en", "es", "fr", "pt", "sw", "hi"};
    static const char *const forms[] = {"%s*4*3*10*", "%s*1*", "*%s*2#",
                                        "%s*6*2*"};

    for (size_t i = 0; i < KW_COUNT(forms); i++) {
        char form[64];
        int64_t before = rows("reports");

        text(ANA, "language %s", langs[_i]);
        snprintf(form, sizeof(form), forms[i], serials[0]);
        text(ANA, "%s", form);
        ck_assert_msg(got.outcome == READER_FILED, "%s %s: %s", langs[_i], form,
                      got.body);
        ck_assert_int_eq(rows("reports"), before + 1);
        ck_assert_ptr_null(strstr(got.body, _i == 0 ? "Nada" : "Noted"));
    }
}
END_TEST

int main(void)
{
    Suite *s = suite_create("session");
    TCase *t = tcase_create("session");

    tcase_add_checked_fixture(t, open_all, close_all);
    tcase_add_test(t, a_report_in_two_presses);
    tcase_add_test(t, a_step_counts_once);
    tcase_add_test(t, a_session_is_found_again);
    tcase_add_test(t, an_unseen_end);
    tcase_add_test(t, the_whole_input);
    tcase_add_test(t, the_next_call_goes_on);
    tcase_add_test(t, nobody_calls_again);
    tcase_add_test(t, cancelled_is_nothing);
    tcase_add_test(t, danger_does_not_wait_for_the_end);
    tcase_add_loop_test(t, every_path_is_filed, 0, 6);
    tcase_add_loop_test(t, stars_by_text_in_every_language, 0, 6);
    tcase_set_timeout(t, 120);
    suite_add_tcase(s, t);
    return fixture_run(s);
}
