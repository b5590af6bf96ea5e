/* check_clock.c - times of the day, and how long it is from one to the other.
 * Nothing outside the project has such a table: the sums are those of any
 * clock, the Swahili day that begins at six is common practice. */
#include "tests/reader_fixture.h"

#define POT " 021407319"

static const struct {
    const char *lang, *text;
    double value, minutes;
} told[] = {
    {"en",
     "slow, 2 fingers from nine in the evening to five in the morning" POT, 2,
     480},
    {"en", "slow: between six and eight this morning it fell one finger" POT, 1,
     120},
    {"en", "slow, 4 fingers from 6pm to 6am" POT, 4, 720},
    {"en", "slow 2 fingers between 6:30 and 9:15" POT, 2, 165},
    {"en", "filled at noon, at 3 it had fallen 2 fingers, slow" POT, 2, 180},
    {"en", "slow, 1 litre from eight in the evening to ten in the morning" POT,
     1, 840},
    {"en", "slow, 2 cups from seven in the morning to nine in the evening" POT,
     2, 840},
    {"en", "slow, one cup between two and half past two" POT, 1, 30},
    {"en", "slow, one cup from midnight to six" POT, 1, 360},
    {"en", "slow, two cups from 22 to 4" POT, 2, 360},
    {"es", "lento, de las ocho a las seis bajo 2 dedos" POT, 2, 600},
    {"es",
     "la llene a las seis de la manana y a las dos de la tarde solo bajo "
     "3 dedos, lento" POT,
     3, 480},
    {"es",
     "lenta, entre las tres y las cinco y media de la tarde cayo un "
     "litro" POT,
     1, 150},
    {"fr", "lent, entre 13 h et 17 h deux verres" POT, 2, 240},
    {"fr", "lent, de sept heures et demie a dix heures un litre" POT, 1, 150},
    {"fr", "lent, de neuf heures du soir a cinq heures du matin 3 cm" POT, 3,
     480},
    {"fr", "lent, de 17h a minuit 1 litre" POT, 1, 420},
    {"pt", "lento, das sete as dez da noite desceu um dedo e meio" POT, 1.5,
     180},
    {"pt", "lento, das nove da noite as seis da manha 2 litros" POT, 2, 540},
    {"sw",
     "polepole, asubuhi saa mbili hadi saa sita mchana vikombe vitatu" POT, 3,
     240},
    {"sw",
     "polepole, tangu saa nne usiku mpaka saa kumi na mbili asubuhi "
     "chupa 1" POT,
     1, 480},
    {"hi", "dheema, raat 11 baje se subah 5 baje tak 3 ungli utra" POT, 3, 360},
    {"hi", "dheema, subah 7 se sadhe 9 baje tak 3 gilas" POT, 3, 150},
    /* "an hour and twenty" */
    {"es", "lento, dos tazas en una hora y veinte" POT, 2, 80},
    {"pt", "lento, uma hora e vinte para dois copos" POT, 2, 80},
    {"fr", "lent, deux verres en une heure vingt" POT, 2, 80},
    /* what is no time of the day */
    {"es", "lento, en 10 horas de la noche bajo 2 dedos" POT, 2, 600},
    {"es",
     "la llene a las seis de la tarde y en doce horas bajo 3 dedos, "
     "lento" POT,
     3, 720},
    {"en", "slow 3 fingers in 2 hours since 8 o'clock" POT, 3, 120},
};

START_TEST(told_by_the_clock)
{
    struct reader_meaning m = rig_filed_one(told[_i].text, told[_i].lang);

    ck_assert_int_eq(m.obs[0].kind, READER_SLOW);
    ck_assert_double_eq_tol(m.obs[0].measure.value, told[_i].value, 1e-9);
    ck_assert_double_eq_tol(m.obs[0].measure.minutes, told[_i].minutes, 1e-6);
}
END_TEST

/* No time, or which of them: never a wrong one. */
static const struct {
    const char *lang, *text;
} open_spans[] = {
    {"en", "slow, 4 fingers in 2 to 3 hours" POT},
    {"en", "slow, from 4 to 5 fingers in the night" POT},
    {"en", "slow, 2 litres from three at night to six in the morning" POT},
    {"fr", "lent, 2 litres de 2 a 3 heures" POT},
    {"en", "slow, one cup since 8 o'clock" POT},
};

START_TEST(told_by_no_clock)
{
    struct reader_meaning m =
        rig_read(open_spans[_i].text, open_spans[_i].lang, NULL);

    ck_assert_int_ne(m.outcome, READER_NOT_REPORT);
    ck_assert(m.outcome == READER_ASKED || m.n_obs == 1);
    ck_assert(m.outcome == READER_ASKED || m.obs[0].measure.minutes == 0);
}
END_TEST

/* A time of the day makes no report of what is none. */
static const char *const meetings[] = {
    "the meeting is from 9 to 11 in the morning",
    "come at six in the evening, we eat at eight",
};

START_TEST(meetings_are_left_alone)
{
    struct reader_meaning m = rig_read(meetings[_i], "en", "021407319");

    ck_assert_int_eq(m.outcome, READER_NOT_REPORT);
}
END_TEST

static void add(TCase *t)
{
    tcase_add_loop_test(t, told_by_the_clock, 0, (int)KW_COUNT(told));
    tcase_add_loop_test(t, told_by_no_clock, 0, (int)KW_COUNT(open_spans));
    tcase_add_loop_test(t, meetings_are_left_alone, 0, (int)KW_COUNT(meetings));
}

int main(void)
{
    return rig_run("clock", add);
}
