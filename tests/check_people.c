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
    /* how many live there, and who of them is ill */
    {"en", "In a family of nine three are ill" POT, 3, 0, 0},
    {"en", "Every one of the six is vomiting" POT, 6, 0, 0},
    {"en", "Two are sick, the other five are not" POT, 2, 0, 0},
    {"en", "All but one of the seven have diarrhoea" POT, 0, 0, 0},
    {"es", "somos ocho en casa y cinco estamos con diarrea" POT, 5, 0, 0},
    {"es", "todos con diarrea, somos siete" POT, 7, 0, 0},
    {"es", "la mitad esta enferma, somos seis" POT, 0, 0, 0},
    {"es", "mis cuatro hijos y yo con diarrea" POT, 5, 0, 0},
    {"fr", "sur les dix que nous sommes quatre sont malades" POT, 4, 0, 0},
    {"fr", "deux de mes enfants sont malades, les trois autres non" POT, 2, 0,
     0},
    {"pt", "2 dos 5 de casa doentes" POT, 2, 0, 0},
    {"pt", "o meu filho de sete anos esta com diarreia" POT, 0, 0, 0},
    {"sw", "kati ya watu sita, mmoja ni mgonjwa" POT, 1, 0, 0},
    {"sw", "wanaharisha, watu 3" POT, 3, 0, 0},
    {"hi", "10 logon me se 6 ko dast" POT, 6, 0, 0},
    {"hi", "do bete aur ek bhatija, teeno ko dast" POT, 3, 0, 0},
    /* ages: of as many as are ill */
    {"en", "two children are ill, 3 years and 18 months" POT, 2, 2, 0},
    {"en", "two children are ill, 3 years and 8 years" POT, 2, 1, 0},
    {"en", "1 person is ill, a child of three years" POT, 1, 1, 0},
    {"en", "1 person is ill, a child of nine years" POT, 1, 0, 0},
    {"fr", "2 petits malades, 1 an et 3 ans" POT, 2, 2, 0},
    /* another ailment, where a pot is named */
    {"en", "2 people have a cough" POT, 2, 0, 0},
    {"es", "mi hija tiene ronchas" POT, 0, 0, 0},
    /* what only looks like a sign */
    {"en", "my son is ill, we gave him rice water to drink" POT, 0, 0, 0},
    {"en", "ill 2, one bled from a cut on the knee" POT, 2, 0, 0},
    {"en", "he is ill, my phone was dead so I text now" POT, 0, 0, 0},
    {"es", "tres enfermos con vomito, a ninguno le salio sangre" POT, 3, 0, 0},
    {"fr", "2 malades, pas une goutte de sang" POT, 2, 0, 0},
    {"pt", "2 doentes, sangue nas fezes nem pensar" POT, 2, 0, 0},
    {"sw", "wagonjwa 2, damu hatukuona" POT, 2, 0, 0},
    {"hi", "2 bimar, kamzori ya khoon jaisi baat nahi" POT, 2, 0, 0},
    /* and what is one, beside a word that denies */
    {"en", "ill 2, not only fever, blood in the stool" POT, 2, 0, READER_BLOOD},
    {"en", "stool like water that rice was washed in, no fever" POT, 0, 0,
     READER_RICEWATER},
    {"fr", "ce qui sort de lui c'est comme du riz lave, il est malade" POT, 0,
     0, READER_RICEWATER},
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
    struct reader_meaning m = rig_filed_one(told[_i].text, told[_i].lang);

    ck_assert_int_eq(m.obs[0].kind, READER_ILL);
    ck_assert_int_eq(m.obs[0].people, told[_i].people);
    ck_assert_int_eq(m.obs[0].under5, told[_i].under5);
    ck_assert_uint_eq(m.danger, told[_i].signs);
}
END_TEST

/* Two counts of the same people: which? */
static const struct {
    const char *lang, *text;
} told_twice[] = {
    {"en", "ill 3 people ill 5 people" POT},
    {"en", "all six are ill. only two are ill" POT},
    {"es", "hay tres enfermos, hay nueve enfermos" POT},
    {"fr", "malades 4 malades 9" POT},
    {"pt", "ha quatro doentes aqui. so um esta doente" POT},
    {"sw", "wagonjwa 2 wagonjwa 6" POT},
    {"hi", "bimar 3 bimar 8" POT},
};

START_TEST(two_counts)
{
    struct reader_meaning m =
        rig_read(told_twice[_i].text, told_twice[_i].lang, NULL);

    ck_assert_int_eq(m.outcome, READER_ASKED);
    ck_assert_int_eq(m.why, READER_WHY_COUNTS);
    ck_assert_int_eq(m.obs[0].people, 0);
}
END_TEST

/* Illness by the way, or of another home: of no pot of ours. */
static const struct {
    const char *lang, *text, *pot;
    enum reader_outcome outcome;
    bool ill;
} by_the_way[] = {
    {"en", "teacher my son has a cough he stays home", NULL, READER_NOT_REPORT,
     false},
    {"en", "the neighbours are ill, our filter 021407319 is fine", NULL,
     READER_FILED, false},
    {"en", "my cousin is ill 021407319", NULL, READER_FILED, true},
    {"en", "tapped on your window you were sleeping like the dead", "021407319",
     READER_NOT_REPORT, false},
};

START_TEST(another_home)
{
    struct reader_meaning m =
        rig_read(by_the_way[_i].text, by_the_way[_i].lang, by_the_way[_i].pot);
    bool ill = false;

    for (size_t i = 0; i < m.n_obs; i++)
        ill |= m.obs[i].kind == READER_ILL;
    ck_assert_int_eq(m.outcome, by_the_way[_i].outcome);
    ck_assert_int_eq(ill, by_the_way[_i].ill);
}
END_TEST

static void add_tests(TCase *t)
{
    tcase_add_loop_test(t, two_counts, 0, (int)KW_COUNT(told_twice));
    tcase_add_loop_test(t, another_home, 0, (int)KW_COUNT(by_the_way));
    tcase_add_loop_test(t, counted, 0, (int)KW_COUNT(told));
}

int main(void)
{
    return rig_run("people", add_tests);
}
