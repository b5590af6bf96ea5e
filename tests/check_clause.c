/*
 * check_clause.c - of whom and of when a clause tells: what was long ago, in
 * the news, of a beast, a neighbour, a wound or of anything but a filter is not
 * filed; and what stands beside it is.
 */
#include "tests/reader_fixture.h"

#define POT " 021407319"

/* Someone is ill, with these signs and no others. */
static const struct {
    const char *lang, *text;
    unsigned signs;
} ill[] = {
    {"en", "last year my daughter passed blood, this week she only vomits" POT,
     0},
    {"en", "neighbours lost a child to cholera last year. ours have fever" POT,
     0},
    {"es", "hace dos anos mi papa estuvo muy debil, ahora tiene vomito" POT, 0},
    {"es", "diarrea, ninguno obra con sangre" POT, 0},
    {"hi", "dast kam nahi hue ulta khoon aane laga" POT, READER_BLOOD},
    {"fr", "le mois dernier du sang dans les selles, maintenant je vomis" POT,
     0},
    {"pt",
     "ha tres anos perdemos um filho com diarreia; agora a mais nova tem "
     "vomitos" POT,
     0},
    {"sw", "mwaka jana alikuwa dhaifu sana ila sasa anaharisha kidogo" POT, 0},
    {"hi", "pichhle saal khoon aaya tha, ab bas dast hai" POT, 0},
    /* the illness of today has its own signs */
    {"en", "last year she had diarrhoea, now there is blood in the stool" POT,
     READER_BLOOD},
    {"en", "since last month she has blood in the stool" POT, READER_BLOOD},
    {"en", "last month she had blood in the stool" POT, READER_BLOOD},
    {"hi", "pichhle saal dast the, ab khoon aa raha hai" POT, READER_BLOOD},
    {"en", "last month blood in the stool and now again" POT, READER_BLOOD},
    {"es", "el mes pasado popo con sangre, hoy otra vez" POT, READER_BLOOD},
    /* news, beasts */
    {"es", "en la tele hablan de muertos. mi hijo tiene vomito" POT, 0},
    {"pt", "quem tinha sangue nas fezes era a cabra. nos temos diarreia" POT,
     0},
    /* rice water that is drunk */
    {"en", "ill 2, we give them rice water" POT, 0},
    {"es", "le doy agua de arroz para la diarrea" POT, 0},
    {"fr", "il a la diarrhee et boit de l'eau de riz" POT, 0},
    {"pt", "tomando agua de arroz pra cortar a diarreia" POT, 0},
    {"sw", "anaharisha, tunampa maji ya mchele" POT, 0},
    {"hi", "dast hai, chawal ka pani pila rahe hain" POT, 0},
    {"es", "mi bebe hace popo como agua de arroz" POT, READER_RICEWATER},
    {"en", "diarrhoea like rice water she drinks little" POT, READER_RICEWATER},
    {"sw", "anaharisha maji ya mchele anakunywa" POT, READER_RICEWATER},
    {"en", "diarrhoea, like rice water you cook" POT, READER_RICEWATER},
    {"es", "vomita, popo como agua de arroz y no bebe" POT,
     READER_RICEWATER | READER_DRY},
    /* a wound in another clause is none of theirs */
    {"en", "ill 2 blood, and I cut my finger" POT, READER_BLOOD},
    {"hi", "2 bimar khoon, machhar bahut hain" POT, READER_BLOOD},
    /* idioms */
    {"en", "ill 2, I am dead tired" POT, 0},
    {"fr", "je suis morte d'inquietude: 2 malades" POT, 0},
    {"es", "me muero de la pena, 2 enfermos" POT, 0},
    /* figures for words */
    {"en", "ill 2, 0 blood" POT, 0},
    {"fr", "2 malades, pa 2 san" POT, 0},
    {"fr", "2 malades, diarre san fievre" POT, 0},
};

START_TEST(signs_of_today)
{
    struct reader_meaning m = rig_read(ill[_i].text, ill[_i].lang, NULL);
    bool seen = false;

    for (size_t i = 0; i < m.n_obs; i++)
        seen |= m.obs[i].kind == READER_ILL;
    if (!seen || m.danger != ill[_i].signs)
        printf("%s: %s, signs %u\n", ill[_i].text,
               reader_outcome_name(m.outcome), m.danger);
    ck_assert(seen);
    ck_assert_uint_eq(m.danger, ill[_i].signs);
}
END_TEST

/* Nobody is ill, whatever is told. */
static const char *const nobody[][2] = {
    {"en", "he cut his finger, much blood, but nobody is ill" POT},
    {"fr", "s'est coupee avec la machette, beaucoup de sang, mais personne "
           "n'est malade" POT},
    {"es", "en la novela se murio la abuela de colera, aqui nadie esta "
           "enfermo" POT},
    {"sw", "mbwa amemng'ata mguuni akatokwa damu, hakuna mgonjwa" POT},
    {"en", "if a baby gets the runs where do we get the sachets?" POT},
    {"en", "we cannot drink from 021407319"},
    {"es", "y si a alguien le da diarrea, cuantos sobres son?" POT},
};

START_TEST(nobody_is_ill)
{
    struct reader_meaning m = rig_read(nobody[_i][1], nobody[_i][0], NULL);

    if (m.n_obs > 0 || m.danger != 0)
        printf("%s: %zu, signs %u\n", nobody[_i][1], m.n_obs, m.danger);
    ck_assert_int_eq(m.outcome, READER_ASKED);
    ck_assert_uint_eq(m.n_obs, 0);
    ck_assert_uint_eq(m.danger, 0);
}
END_TEST

/* From a phone with one pot, and not of that. */
static const char *const chat[][2] = {
    {"en", "cant open the lid of this jam jar"},
    {"en", "Your OTP is 402817. Do not share it with anyone"},
    {"es", "esta tapa del frasco de mermelada esta rota"},
    {"fr", "le couvercle du bocal de piment est casse"},
    {"pt", "a torneira do vestiario do clube esta vazando"},
    {"hi", "school ka nal toot gaya"},
    {"en", "half of my chickens dead from that disease"},
};

START_TEST(parts_of_other_things)
{
    struct reader_meaning m = rig_read(chat[_i][1], chat[_i][0], "021407319");

    if (m.outcome != READER_NOT_REPORT)
        printf("%s: %s\n", chat[_i][1], reader_outcome_name(m.outcome));
    ck_assert_int_eq(m.outcome, READER_NOT_REPORT);
    ck_assert_uint_eq(m.danger, 0);
}
END_TEST

/* But of a filter they are parts, and what fell on one broke it. */
static const struct {
    const char *lang, *text;
    enum reader_part part;
} parts[] = {
    {"en", "the tap of the filter is broken", READER_TAP},
    {"en", "a goat climbed on the lid and it broke" POT, READER_LID},
    {"es", "el burro piso la tapa y la dejo rota" POT, READER_LID},
    {"fr", "la mule a marche sur le seau, il est tout casse" POT,
     READER_BUCKET},
    {"hi", "dhakkan par bakri chadh gayi aur toot gaya" POT, READER_LID},
};

START_TEST(parts_of_ours)
{
    struct reader_meaning m =
        rig_read(parts[_i].text, parts[_i].lang, "021407319");

    if (m.outcome != READER_FILED)
        printf("%s: %s\n", parts[_i].text, reader_outcome_name(m.outcome));
    ck_assert_int_eq(m.outcome, READER_FILED);
    ck_assert_uint_eq(m.n_obs, 1);
    ck_assert_int_eq(m.obs[0].kind, READER_PART);
    ck_assert_int_eq(m.obs[0].part, parts[_i].part);
}
END_TEST

/* Hindi without commas: what stands before "nahi" is denied, and what stands
 * behind it is told. Both as people romanise it and as they write it. */
static const struct {
    const char *words[2];
    enum reader_kind kind;
} seen[] = {
    {{"darar", "दरार"}, READER_CRACK}, {{"toota", "टूटा"}, READER_BROKEN},
    {{"dheema", "धीमा"}, READER_SLOW}, {{"tez", "तेज़"}, READER_FAST},
    {{"theek", "ठीक"}, READER_FINE},
};

static const struct {
    const char *words[2];
    unsigned sign;
} sick[] = {
    {{"bukhar", "बुखार"}, 0},
    {{"dast", "दस्त"}, 0},
    {{"khoon", "खून"}, READER_BLOOD},
    {{"kamzori", "कमज़ोरी"}, READER_DRY},
    {{"tatti me khoon", "टट्टी में खून"}, READER_BLOOD},
    {{"maut", "मौत"}, READER_DEAD},
};

static const char *const nahi[] = {"nahi", "नहीं"}, *const hai[] = {"hai", "है"};

START_TEST(hindi_denies_what_stands_before)
{
    char text[128];

    for (size_t x = 0; x < KW_COUNT(seen); x++) {
        for (size_t y = 0; y < KW_COUNT(seen); y++) {
            struct reader_meaning m;

            if (x == y)
                continue;
            snprintf(text, sizeof(text), "021407319 %s %s %s %s",
                     seen[x].words[_i], nahi[_i], seen[y].words[_i], hai[_i]);
            m = rig_filed_one(text, NULL);
            ck_assert_msg(m.obs[0].kind == seen[y].kind, "%s", text);
        }
    }
}
END_TEST

START_TEST(hindi_denies_a_sign_that_stands_before)
{
    char text[128];

    for (size_t x = 0; x < KW_COUNT(sick); x++) {
        for (size_t y = 0; y < KW_COUNT(sick); y++) {
            struct reader_meaning m;

            if (sick[x].sign == sick[y].sign && sick[x].sign != 0)
                continue;
            snprintf(text, sizeof(text), "021407319 2 %s, %s %s %s %s",
                     _i ? "बीमार" : "bimar", sick[x].words[_i], nahi[_i],
                     sick[y].words[_i], hai[_i]);
            m = rig_filed_one(text, NULL);
            ck_assert_msg(m.obs[0].kind == READER_ILL &&
                              m.danger == sick[y].sign,
                          "%s: %u", text, m.danger);
        }
    }
}
END_TEST

static void add(TCase *t)
{
    tcase_add_loop_test(t, signs_of_today, 0, (int)KW_COUNT(ill));
    tcase_add_loop_test(t, hindi_denies_what_stands_before, 0, 2);
    tcase_add_loop_test(t, hindi_denies_a_sign_that_stands_before, 0, 2);
    tcase_add_loop_test(t, nobody_is_ill, 0, (int)KW_COUNT(nobody));
    tcase_add_loop_test(t, parts_of_other_things, 0, (int)KW_COUNT(chat));
    tcase_add_loop_test(t, parts_of_ours, 0, (int)KW_COUNT(parts));
}

int main(void)
{
    return rig_run("clause", add);
}
