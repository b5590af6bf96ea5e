/*
 * check_turn.c - texts that say two things of which one is so now: what was and
 * what is, slips of the sender, what one only thought, another's pot and one's
 * own. What is common practice in each language; no published table has it.
 */
#include "tests/reader_fixture.h"

#define POT " 021407319"

/* Filed with one measure of the flow. */
static const struct {
    const char *lang, *text;
    double value, minutes;
} flow[] = {
    {"en", "slow. used to give 6l in 3h, today 3l in 9h" POT, 3, 540},
    {"en", "slow now 2 l in 6 h, before 5 l in 2 h" POT, 2, 360},
    {"en", "slow 5 l in 2 h before, 2 l in 6 h today" POT, 2, 360},
    {"es", "antes daba 4 litros en 3 horas, ahora 1 litro en 5 horas" POT, 1,
     300},
    {"fr", "avant 6 l en 4 h, maintenant 2 l en 9 h, lent" POT, 2, 540},
    {"pt", "antes dava 5 l em 3 h, hoje deu 1 l em 4 h, lento" POT, 1, 240},
    {"sw",
     "awali kilishuka vidole 6 kwa saa 4, siku hizi vidole 2 kwa saa 9" POT, 2,
     540},
    {"hi", "pehle 6 litre 3 ghante, ab 2 litre 8 ghante, dheema" POT, 2, 480},
    /* taken back */
    {"en", "slow got 3l 5h no wait 3l 8h" POT, 3, 480},
    {"en", "slow 4 l 3 h, no, 9 h" POT, 4, 540},
    {"es", "lento dio 2 l en 5 h digo en 10 h" POT, 2, 600},
    {"fr", "lent 3 l en 2 h, non pardon, en 7 h" POT, 3, 420},
    {"pt", "lento deu 2 l 6 h, nao, errei, deu 3 l 6 h" POT, 3, 360},
    {"sw", "polepole lita 3 saa 2 hapana samahani saa 8" POT, 3, 480},
    {"hi", "dheema 2 litre 3 ghante me, nahi nahi 7 ghante me" POT, 2, 420},
    /* one measure of now, whatever stands by it */
    {"en", "slow before noon 3l 5h" POT, 3, 300},
    {"en", "slow, only 2 litres in 3 h, only 2 litres!" POT, 2, 180},
    {"es", "ahora lento, bajo 2 dedos en 6 horas" POT, 2, 360},
};

START_TEST(measures_of_now)
{
    struct reader_meaning m = rig_filed_one(flow[_i].text, flow[_i].lang);

    ck_assert_int_eq(m.obs[0].kind, READER_SLOW);
    ck_assert_double_eq_tol(m.obs[0].measure.value, flow[_i].value, 1e-9);
    ck_assert_double_eq_tol(m.obs[0].measure.minutes, flow[_i].minutes, 1e-9);
}
END_TEST

/* Filed with these kinds and no others. */
#define K(kind) (1u << READER_##kind)
static const struct {
    const char *lang, *text;
    unsigned kinds;
} filed[] = {
    /* "X no, Y yes" */
    {"en", "021407319 crack no slow yes", K(SLOW)},
    {"es", "021407319 fuga no rota si", K(BROKEN)},
    {"fr", "021407319 lent non fuite oui", K(LEAK)},
    {"pt", "021407319 racha nao rapido sim", K(FAST)},
    {"sw", "021407319 kuvuja hapana ufa ndiyo", K(CRACK)},
    {"es", "021407319 rapida no, lenta tampoco, rajada si", K(CRACK)},
    {"fr", "ya pa 2 fuite mais c tres lent" POT, K(SLOW)},
    {"en", "no1 ill but it is cracked" POT, K(CRACK)},
    /* no longer, mended, cured */
    {"en", "we scrubbed it and it is no longer slow, now it leaks" POT,
     K(SCRUBBED) | K(LEAK)},
    {"en", "2 were sick last week, all well now. it is broken" POT, K(BROKEN)},
    {"es", "mi hijo tuvo diarrea y ya esta sano; el filtro tiene una fuga" POT,
     K(LEAK)},
    {"fr",
     "les jumeaux ont eu de la fievre et ils sont gueris. le filtre "
     "fuit" POT,
     K(LEAK)},
    {"en", "the crack is fixed with glue" POT, K(CRACK)}, /* still one */
    {"en", "the leak is fixed, now slow" POT, K(SLOW)},
    /* thought, and told */
    {"en", "we thought it had cracked, but it is only slow" POT, K(SLOW)},
    {"es", "pensabamos que tenia fuga, pero funciona bien" POT, K(FINE)},
    {"fr", "on croyait a une fuite mais il est lent" POT, K(SLOW)},
    {"pt", "pensei que estava entupido mas vaza" POT, K(LEAK)},
    {"sw", "tulidhani kina ufa, lakini kiko polepole" POT, K(SLOW)},
    {"en", "I thought I should tell you. it leaks" POT, K(LEAK)},
    /* slips of the sender */
    {"en", "broken, I mean cracked" POT, K(CRACK)},
    {"es", "rota, perdon digo, rajada" POT, K(CRACK)},
    /* another's pot and one's own */
    {"en", "my aunt's filter is slow, mine is cracked" POT, K(CRACK)},
    {"es", "la de mi cunada se rompio, la mia va lenta" POT, K(SLOW)},
    {"en", "The old pot broke last year. The one we use now leaks" POT,
     K(LEAK)},
    {"en", "our old pot broke" POT, K(BROKEN)},
    {"pt", "a panela velha partiu-se" POT, K(BROKEN)},
    /* by the way */
    {"en", "the filter cracked, and the kitchen window is broken" POT,
     K(CRACK)},
    {"fr",
     "notre filtre est fendu, et la fenetre de la cuisine est "
     "cassee" POT,
     K(CRACK)},
    {"sw", "bibi anaharisha, simu ya babu imevunjika" POT, K(ILL)},
    {"pt", "o filtro esta a vazar por baixo, mas a torneira fecha bem" POT,
     K(LEAK)},
    {"en", "water is leaking, the tap and the lid are in good order" POT,
     K(LEAK)},
    {"es", "la lave y aora si sale bien" POT, K(SCRUBBED) | K(FINE)},
    {"en", "cracked at the bottom, and the rim is broken" POT,
     K(CRACK) | K(BROKEN)},
    /* used again */
    {"es", "estuvo sin uso, ya la usamos de nuevo pero tiene fuga" POT,
     K(LEAK)},
    {"en", "nobody drinks from it again" POT, K(UNUSED)},
    {"sw", "haitumiki muda mrefu" POT, K(UNUSED)},
    {"pt", "021407319 fas 3 mes q ngm usa", K(UNUSED)},
    {"en", "granny runs all night, too weak to drink" POT, K(ILL)},
    {"en", "granny had loose runs all night, now too weak to drink" POT,
     K(ILL)},
    /* parts */
    {"es", "necesito otra llave para el filtro, la mia esta rota" POT, K(PART)},
    {"fr", "vous vendez des couvercles ? le notre est perdu" POT, K(PART)},
    {"hi", "021407319 tapak &#x3C;img src=x&#x3E;", K(LEAK)}, /* no crack */
    {"sw", "si bomba wala ndoo, ni kifuniko kilichovunjika" POT, K(PART)},
    {"en", "it is slow. should we scrub it?" POT, K(SLOW)},
    {"en", "it used to be slow before" POT " we scrubbed it, now it is fine",
     K(SCRUBBED) | K(FINE)},
};

START_TEST(what_is_so)
{
    struct reader_meaning m = rig_read(filed[_i].text, filed[_i].lang, NULL);
    unsigned kinds = 0;

    for (size_t i = 0; i < m.n_obs; i++)
        kinds |= 1u << m.obs[i].kind;
    if (m.outcome != READER_FILED || kinds != filed[_i].kinds)
        printf("%s: %s %s, kinds %x\n", filed[_i].text,
               reader_outcome_name(m.outcome), reader_why_name(m.why), kinds);
    ck_assert_int_eq(m.outcome, READER_FILED);
    ck_assert_uint_eq(kinds, filed[_i].kinds);
}
END_TEST

/* What is told of the ill is never passed over as thought or mended. */
static const struct {
    const char *lang, *text;
    unsigned signs;
} ill[] = {
    {"en", "I was afraid because she passed blood, and the pot leaks" POT,
     READER_BLOOD},
    {"fr", "1 malade, la fievre est passee, le sang dans les selles non" POT,
     READER_BLOOD},
    {"en",
     "my aunt's filter leaks, ours is fine, my son has blood in the "
     "stool" POT,
     READER_BLOOD},
};

START_TEST(signs_are_kept)
{
    struct reader_meaning m = rig_read(ill[_i].text, ill[_i].lang, NULL);

    ck_assert_uint_eq(m.danger, ill[_i].signs);
}
END_TEST

/* Who can tell? */
static const char *const asked[][2] = {
    {"en", "ill not 4 but 1, u2" POT},
    {"hi", "bimar 5 nahi 3" POT},
    {"fr", "trois malades, je corrige : cinq malades" POT},
    {"es", "pensabamos que tenia fuga, pero no era nada" POT},
    {"pt", "escrevi vaza mas e rachado" POT},
    {"en", "slow, used to be 2 hours for 5 litres, now 8 hours" POT},
    {"en", "slow, it was 6f in 5h, today 2f" POT},
    {"en", "slow 5l 2h, 5l 3h" POT},
};

START_TEST(who_can_tell)
{
    struct reader_meaning m = rig_read(asked[_i][1], asked[_i][0], NULL);

    if (m.outcome != READER_ASKED)
        printf("%s: %s\n", asked[_i][1], reader_outcome_name(m.outcome));
    ck_assert_int_eq(m.outcome, READER_ASKED);
}
END_TEST

/* Two numbers, of which the sender tells which is his. */
static const struct {
    const char *lang, *text;
    bool told;
} two[] = {
    {"en", "not 123456751 but 021407319 is the cracked one", true},
    {"en", "the right number is 021407319, not 123456751. it is slow", true},
    {"es", "no es 123456751, es 021407319, tiene fuga", true},
    {"fr", "pas 123456751 mais 021407319 : le pot est casse", true},
    {"sw", "namba sahihi si 123456751, ni 021407319; chungu kinavuja", true},
    {"en", "The neighbour's 123456751 is broken, ours is 021407319 and slow",
     true},
    {"es",
     "La de la vecina, 123456751, gotea; la nuestra es 021407319 y esta "
     "rajada",
     true},
    {"fr",
     "Le filtre du voisin, 123456751, est fendu ; le notre, 021407319, "
     "fuit",
     true},
    {"en", "123456751 and 021407319 both leak", false},
    {"en", "no 123456751 no 021407319 leak", false},
    {"en", "ours is 021407319, 123456751 leaks", false},
};

START_TEST(which_number)
{
    struct reader_meaning m = rig_read(two[_i].text, two[_i].lang, NULL);

    if (!two[_i].told) {
        ck_assert_int_eq(m.outcome, READER_ASKED);
        ck_assert_int_eq(m.why, READER_WHY_TWO_POTS);
        return;
    }
    if (m.outcome != READER_FILED || m.n_obs != 1)
        printf("%s: %s %s, %zu\n", two[_i].text, reader_outcome_name(m.outcome),
               reader_why_name(m.why), m.n_obs);
    ck_assert_int_eq(m.outcome, READER_FILED);
    ck_assert_uint_eq(m.n_obs, 1);
    ck_assert_str_eq(m.serial, "021407319");
}
END_TEST

static void add(TCase *t)
{
    tcase_add_loop_test(t, measures_of_now, 0, (int)KW_COUNT(flow));
    tcase_add_loop_test(t, what_is_so, 0, (int)KW_COUNT(filed));
    tcase_add_loop_test(t, signs_are_kept, 0, (int)KW_COUNT(ill));
    tcase_add_loop_test(t, who_can_tell, 0, (int)KW_COUNT(asked));
    tcase_add_loop_test(t, which_number, 0, (int)KW_COUNT(two));
}

int main(void)
{
    return rig_run("turn", add);
}
