/* check_people.c - how many are ill, and how many of them are under five. */
#include "tests/reader_fixture.h"

#define POT " 021407319"

static const struct {
    const char *lang, *text;
    int people, under5;
    unsigned signs;
} told[] = {
    {"en", "2 children under five are ill" POT, 2, 2, 0},
    {"en", "1 sick under five" POT, 1, 1, 0},
    {"en", "four people vomiting, one of them is under five" POT, 4, 1, 0},
    {"en", "my two boys, both under five, have diarrhoea" POT, 2, 2, 0},
    {"en", "one man and one woman are vomiting" POT, 2, 0, 0},
    {"es", "hay dos menores de cinco con diarrea" POT, 2, 2, 0},
    {"es", "somos tres enfermos, uno es un bebe de ocho meses" POT, 3, 1, 0},
    {"es", "3 c/diarrea, 1 <5a" POT, 3, 1, 0},
    {"fr", "cinq malades a la maison dont un de moins de cinq ans" POT, 5, 1,
     0},
    {"fr", "quatre enfants malades, tous de moins de cinq ans" POT, 4, 4, 0},
    {"fr", "un seul malade" POT, 1, 0, 0},
    {"pt", "3 cm diarreia" POT, 3, 0, 0},
    {"sw", "wa2 3 wanaharisha" POT, 3, 0, 0},
    {"hi", "ghar mein barah log hain, unme se chhe ko dast hai" POT, 6, 0, 0},
    {"en", "sis sick today" POT, 0, 0, 0}, /* no French six */
    /* a sign that is denied behind is none */
    {"es", "2 enfermos, debil no esta" POT, 2, 0, 0},
    {"pt", "2 doentes, mas fraco nao esta" POT, 2, 0, 0},
    {"sw", "wagonjwa 2 wanatapika, damu hakuna" POT, 2, 0, 0},
    {"hi", "2 bimar, par kamzor nahi hain" POT, 2, 0, 0},
    {"en", "2 ill blood" POT, 2, 0, READER_BLOOD},
    /* but what is denied may be another thing */
    {"pt", "2 doentes, fraca n ta bebendo" POT, 2, 0, READER_DRY},
    {"pt", "2 com diarreia que nem agua de arroz" POT, 2, 0, READER_RICEWATER},
};

START_TEST(counted)
{
    struct reader_meaning m = rig_read(told[_i].text, told[_i].lang, NULL);

    if (m.outcome != READER_FILED || m.n_obs != 1)
        printf("%s: %s %s, %zu\n", told[_i].text,
               reader_outcome_name(m.outcome), reader_why_name(m.why), m.n_obs);
    ck_assert_int_eq(m.outcome, READER_FILED);
    ck_assert_uint_eq(m.n_obs, 1);
    ck_assert_int_eq(m.obs[0].kind, READER_ILL);
    ck_assert_int_eq(m.obs[0].people, told[_i].people);
    ck_assert_int_eq(m.obs[0].under5, told[_i].under5);
    ck_assert_uint_eq(m.danger, told[_i].signs);
}
END_TEST

static void add_tests(TCase *t)
{
    tcase_add_loop_test(t, counted, 0, (int)KW_COUNT(told));
}

int main(void)
{
    return rig_run("people", add_tests);
}
