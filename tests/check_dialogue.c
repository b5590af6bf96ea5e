/*
 * check_dialogue.c - the next text: what it completes, confirms or corrects of
 * the one before, and what it never files.
 */
#include "tests/desk_fixture.h"

#include <string.h>

#include "base/file.h"

START_TEST(yes_files_what_was_asked)
{
    text(ANA, "%s crack", serials[1]);
    ck_assert_int_eq(rows("reports"), 0);
    SAYS(text(ANA, "yes"), "do NOT drink");
    ck_assert_int_eq(got.outcome, READER_FILED);
    ck_assert_int_eq(rows("reports"), 1);
    ck_assert_int_eq(rows("asking"), 0);
    text(NOBODY, "%s crack", serials[2]);
    SAYS(text(NOBODY, "no"), "nothing is filed");
    ck_assert_int_eq(rows("reports"), 1);
}
END_TEST

START_TEST(question_is_forgotten_after_three_days)
{
    text(ANA, "%s crack", serials[1]);
    now_s += 73 * 3600;
    text(ANA, "yes");
    ck_assert_int_eq(rows("reports"), 0);
}
END_TEST

START_TEST(next_text_completes)
{
    SAYS(text(ANA, "%s slow 6f", serials[0]), "in how many hours");
    ck_assert_int_eq(rows("reports"), 0);
    text(ANA, "10h");
    ck_assert_int_eq(got.outcome, READER_FILED);
    ck_assert_int_eq(rows("flows"), 1);
    /* a serial read again */
    text(NOBODY, "%s leak", "021407318");
    ck_assert_int_eq(got.outcome, READER_ASKED);
    SAYS(text(NOBODY, "%s", serials[0]), "another home");
    text(BINTA, "021407418 leak");
    SAYS(text(BINTA, "%s", serials[1]), "do NOT drink");
    ck_assert_int_eq(rows("reports"), 2);
    /* talk in between leaves the question standing */
    SAYS(text(BINTA, "leak"), "which of your pots");
    text(BINTA, "hello there my friend");
    SAYS(text(BINTA, "%s", serials[2]), "do NOT drink");
    ck_assert_int_eq(rows("reports"), 3);
}
END_TEST

/* "How many?" is answered by the numbers alone, with what was told before. */
START_TEST(numbers_of_ill_complete)
{
    SAYS(text(ANA, "%s ill not 4 but 1", serials[0]), "do not fit");
    ck_assert_int_eq(rows("reports"), 0);
    text(ANA, "1");
    ck_assert_int_eq(got.outcome, READER_FILED);
    ck_assert_int_eq(rows("reports"), 1);
    ck_assert_int_eq(fixture_number(lg, "SELECT sum(people) FROM observations"),
                     1);
    SAYS(text(ANA, "%s leak ill 1 u3 blood", serials[0]), "DANGER SIGN");
    ck_assert_int_eq(rows("reports"), 1);
    SAYS(text(ANA, "3 u1"), "DANGER SIGN");
    ck_assert_int_eq(rows("observations"), 3); /* the leak and the illness */
    ck_assert_int_eq(fixture_number(lg, "SELECT max(people) FROM observations"),
                     3);
    ck_assert_int_eq(fixture_number(lg, "SELECT max(under5) FROM observations"),
                     1);
    ck_assert_int_eq(rows("alerts"), 1);
    SAYS(text(ANA, "ill 2 u5"), "do not fit");
    text(ANA, "hello there my friend");
    SAYS(text(ANA, "ill 5 u2"), "We are sorry");
    ck_assert_int_eq(rows("observations"), 4);
}
END_TEST

/* ---- is it so? ---- */

/* Two troubles of which one may be a word misread. */
#define ODD "the well is far and nobody uses it, wobbly lid is gone"

START_TEST(yes_files_what_was_unsure)
{
    SAYS(text(ANA, "%s " ODD, serials[0]),
         "Is this so: 0214-073-19 unused, part lid? Reply yes or no.");
    ck_assert_int_eq(got.outcome, READER_ASKED);
    ck_assert_int_eq(rows("reports"), 0);
    SAYS(text(ANA, "yes"), "Thank you");
    ck_assert_int_eq(got.outcome, READER_FILED);
    ck_assert_int_eq(rows("reports"), 1);
    ck_assert_int_eq(rows("observations"), 2);
    ck_assert_int_eq(rows("asking"), 0);
    text(ANA, "yes"); /* once is enough */
    ck_assert_int_eq(rows("reports"), 1);
}
END_TEST

START_TEST(no_files_nothing)
{
    text(ANA, "%s " ODD, serials[0]);
    SAYS(text(ANA, "no"), "What is wrong with pot 0214-073-19?");
    ck_assert_int_eq(rows("reports"), 0);
    ck_assert_int_eq(rows("asking"), 0);
    text(ANA, "yes");
    ck_assert_int_eq(rows("reports"), 0);
}
END_TEST

/* What it is instead, without the number: of the pot that was asked about. */
START_TEST(another_word_corrects)
{
    int64_t pot;

    ck_assert_int_eq(serial_key(serials[1], &pot), 0);
    SAYS(text(BINTA, "%s " ODD, serials[1]), "Is this so");
    text(BINTA, "lid");
    ck_assert_int_eq(got.outcome, READER_FILED);
    ck_assert_int_eq(rows("observations"), 1);
    ck_assert_int_eq(fixture_number(lg, "SELECT pot_key FROM reports"), pot);
}
END_TEST

/* A yes is kept when the desk asks whose pot it is. */
START_TEST(two_questions_two_yes)
{
    SAYS(text(ANA, "%s " ODD, serials[1]), "Is this so");
    SAYS(text(ANA, "yes"), "noted for another home");
    ck_assert_int_eq(rows("reports"), 0);
    SAYS(text(ANA, "yes"), "Thank you");
    ck_assert_int_eq(rows("reports"), 1);
    ck_assert_int_eq(rows("observations"), 2);
}
END_TEST

/* Danger alerts at once; the yes files it, and raises no second alert. */
START_TEST(unsure_danger_alerts_at_once)
{
    SAYS(text(ANA, "%s nobody uses it, my baby has blood in the stool",
              serials[0]),
         "DANGER SIGN");
    ck_assert_int_eq(got.outcome, READER_ASKED);
    ck_assert_int_eq(rows("alerts"), 1);
    ck_assert_int_eq(rows("reports"), 0);
    SAYS(text(ANA, "yes"), "DANGER SIGN");
    ck_assert_int_eq(rows("reports"), 1);
    ck_assert_int_eq(rows("alerts"), 1);
}
END_TEST

/* Whatever the language: the question names its yes and its no, and they
 * answer it. */
static const struct {
    const char *lang, *text, *yes;
} unsure[] = {
    {"es", "%s aquí nadie la usa en el campo, la tapa azul se perdió", "si"},
    {"fr", "%s personne ne s'en sert, le couvercle bleu est perdu", "oui"},
    {"pt", "%s ninguém usa, a tampa azul perdeu-se", "sim"},
    {"sw",
     "%s hatukitumii siku hizi wakati wa kiangazi, kifuniko cha bluu kimepotea",
     "ndiyo"},
    {"hi", "%s yahan khet par koi istemal nahi karta, neela dhakkan kho gaya",
     "haan"},
};

START_TEST(unsure_in_every_language)
{
    text(ANA, "language %s", unsure[_i].lang);
    text(ANA, unsure[_i].text, serials[0]);
    ck_assert_int_eq(got.outcome, READER_ASKED);
    ck_assert_int_eq(rows("reports"), 0);
    text(ANA, "%s", unsure[_i].yes);
    ck_assert_int_eq(got.outcome, READER_FILED);
    ck_assert_int_eq(rows("observations"), 2);
}
END_TEST

static void add_tests(TCase *t)
{
    const TTest *const tests[] = {
        yes_files_what_was_asked,    question_is_forgotten_after_three_days,
        next_text_completes,         numbers_of_ill_complete,
        yes_files_what_was_unsure,   no_files_nothing,
        another_word_corrects,       two_questions_two_yes,
        unsure_danger_alerts_at_once};

    for (size_t i = 0; i < KW_COUNT(tests); i++)
        tcase_add_test(t, tests[i]);
    tcase_add_loop_test(t, unsure_in_every_language, 0, (int)KW_COUNT(unsure));
}

int main(void)
{
    return fixture_texts("dialogue", add_tests);
}
