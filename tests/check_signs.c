/*
 * check_signs.c - what only looks like a danger sign is none: someone who is
 * ill and drinks, stands, wakes; blood of a cut, a dead battery, rice water in
 * the kitchen. And what is one beside a word that denies.
 */
#include "tests/reader_fixture.h"

#define SERIAL "021407319"

static const struct {
    const char *lang, *ill, *able;
} well[] = {
    {"en", "ill 2", "she can drink"},
    {"en", "ill 2", "she drinks well"},
    {"en", "ill 2", "he can stand"},
    {"en", "ill 2", "he can sit up"},
    {"en", "ill 2", "baby can suck"},
    {"en", "ill 2", "he wakes up"},
    {"en", "ill 2", "he walks and plays"},
    {"en", "ill 2", "eyes are normal"},
    {"en", "ill 2", "can swallow"},
    {"en", "ill 2", "she pees well"},
    {"en", "ill 2", "he is not weak"},
    {"en", "ill 2", "still drinks"},
    {"es", "2 enfermos", "puede beber"},
    {"es", "2 enfermos", "bebe bien"},
    {"es", "2 enfermos", "se puede parar"},
    {"es", "2 enfermos", "se para solo"},
    {"es", "2 enfermos", "agarra el pecho"},
    {"es", "2 enfermos", "se despierta"},
    {"es", "2 enfermos", "orina bien"},
    {"es", "2 enfermos", "ojos normales"},
    {"es", "2 enfermos", "no está débil"},
    {"es", "2 enfermos", "traga bien"},
    {"es", "2 enfermos", "puede levantarse"},
    {"fr", "2 malades", "elle peut boire"},
    {"fr", "2 malades", "il boit bien"},
    {"fr", "2 malades", "il tient debout"},
    {"fr", "2 malades", "elle tète bien"},
    {"fr", "2 malades", "il prend le sein"},
    {"fr", "2 malades", "elle marche"},
    {"fr", "2 malades", "ses yeux sont normaux"},
    {"fr", "2 malades", "pas faible"},
    {"fr", "2 malades", "elle avale bien"},
    {"fr", "2 malades", "il boit encore"},
    {"pt", "2 doentes", "ela consegue beber"},
    {"pt", "2 doentes", "bebe bem"},
    {"pt", "2 doentes", "fica de pé"},
    {"pt", "2 doentes", "levanta sozinho"},
    {"pt", "2 doentes", "mama bem"},
    {"pt", "2 doentes", "pega o peito"},
    {"pt", "2 doentes", "olhos normais"},
    {"pt", "2 doentes", "não está fraco"},
    {"pt", "2 doentes", "engole bem"},
    {"pt", "2 doentes", "consegue andar"},
    {"sw", "wagonjwa 2", "anaweza kunywa"},
    {"sw", "wagonjwa 2", "anakunywa vizuri"},
    {"sw", "wagonjwa 2", "anasimama"},
    {"sw", "wagonjwa 2", "anaamka"},
    {"sw", "wagonjwa 2", "ananyonya vizuri"},
    {"sw", "wagonjwa 2", "macho ya kawaida"},
    {"sw", "wagonjwa 2", "si dhaifu"},
    {"sw", "wagonjwa 2", "anameza vizuri"},
    {"sw", "wagonjwa 2", "anaweza kukaa"},
    {"sw", "wagonjwa 2", "ana nguvu"},
    {"hi", "2 bimar", "pani pi sakta hai"},
    {"hi", "2 bimar", "pani pita hai"},
    {"hi", "2 bimar", "khada ho jata hai"},
    {"hi", "2 bimar", "doodh pi leta hai"},
    {"hi", "2 bimar", "uth jata hai"},
    {"hi", "2 bimar", "aankhen theek hain"},
    {"hi", "2 bimar", "kamzor nahi hai"},
    {"hi", "2 bimar", "nigal leta hai"},
    {"hi", "2 bimar", "पानी पीता है"},
    {"hi", "2 bimar", "कमज़ोर नहीं है"},
};

START_TEST(who_is_able_has_none)
{
    static const char *const forms[] = {
        SERIAL " %s, %s",
        "%s, %s " SERIAL,
        SERIAL " %s. %s.",
    };
    char text[200];

    for (size_t i = 0; i < KW_COUNT(forms); i++) {
        snprintf(text, sizeof(text), forms[i], well[_i].ill, well[_i].able);
        ck_assert_msg(rig_read(text, well[_i].lang, NULL).danger == 0, "%s",
                      text);
    }
}
END_TEST

static const struct {
    const char *lang, *text;
    unsigned danger;
} other[] = {
    {"en", "I cut my finger on the broken pot and blood ran everywhere", 0},
    {"en", "phone died so I am late to tell, the pot is cracked", 0},
    {"en", "the water is dead slow now", 0},
    {"en", "I poured hot rice water into it and the pot cracked", 0},
    {"en", "son has fever, a little blood from a scratch on the knee only", 0},
    {"es", "la tapa rojo sangre se perdio", 0},
    {"es", "me quede sin bateria, telefono muerto: la tapa se quebro", 0},
    {"fr", "la batterie de la moto est morte, le filtre est fissure", 0},
    {"fr", "maman lui donne de l'eau de riz a boire, il vomit", 0},
    {"pt", "a lanterna morreu, tropecei e o balde partiu", 0},
    {"sw", "Maji ya mchele yalimwagika, tumeosha chungu kwa brashi", 0},
    {"hi", "bakri ne matka tod diya, mere ghutne se khoon nikla", 0},
    {"en", "no nurse here and the blood in his stool goes on", READER_BLOOD},
    {"en", "the pot cracked and my son has blood in the stool", READER_BLOOD},
    {"es", "no mejora nada, ojos hundidos, diarrea", READER_DRY},
    {"fr", "la tisane ne fait rien, du sang dans la diarrhee", READER_BLOOD},
    {"pt", "nao tem febre mas tem sangue nas fezes", READER_BLOOD},
    {"sw", "hana homa ila choo kina damu", READER_BLOOD},
    {"hi", "khana khaya nahi, dast me khoon", READER_BLOOD},
    {"hi", "sirf ulti nahi tatti me khoon bhi hai", READER_BLOOD},
};

START_TEST(only_what_was_said)
{
    char text[200];

    snprintf(text, sizeof(text), "%s " SERIAL, other[_i].text);
    ck_assert_msg(rig_read(text, other[_i].lang, NULL).danger ==
                      other[_i].danger,
                  "%s", text);
    snprintf(text, sizeof(text), SERIAL " %s", other[_i].text);
    ck_assert_msg(rig_read(text, other[_i].lang, NULL).danger ==
                      other[_i].danger,
                  "%s", text);
}
END_TEST

static void add_tests(TCase *t)
{
    tcase_add_loop_test(t, who_is_able_has_none, 0, (int)KW_COUNT(well));
    tcase_add_loop_test(t, only_what_was_said, 0, (int)KW_COUNT(other));
}

int main(void)
{
    return rig_run("signs", add_tests);
}
