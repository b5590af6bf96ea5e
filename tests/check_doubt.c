/*
 * check_doubt.c - texts that may be meant in two ways are asked about, and
 * those beside them that may not are filed all the same.
 */
#include "tests/reader_fixture.h"

static const struct {
    const char *text;
    enum reader_outcome outcome;
    enum reader_why why;
} texts[] = {
#define ASKED(text, why)                                                       \
    {                                                                          \
        text, READER_ASKED, READER_WHY_##why                                   \
    }
#define FILED(text)                                                            \
    {                                                                          \
        text, READER_FILED, READER_CLEAR                                       \
    }
#define NOT_REPORT(text)                                                       \
    {                                                                          \
        text, READER_NOT_REPORT, READER_CLEAR                                  \
    }
    /* which part? */
    ASKED("021407319 a part is lost", NO_PART),
    ASKED("021407319 part broken", NO_PART),
    FILED("021407319 part tap broken"),
    /* said and denied */
    ASKED("021407319 crack no crack", CONTRARY),
    ASKED("021407319 broken no not broken", CONTRARY),
    ASKED("021407319 tem racha nao tem racha", CONTRARY),
    ASKED("021407319 good but broken", CONTRARY),
    FILED("021407319 good but slow"),
    FILED("021407319 it was good all year but yesterday it got broken"),
    FILED("021407319 not broken, only slow"),
    FILED("021407319 no leak before, now it is leaking"),
    /* how many are ill? */
    ASKED("021407319 3 are sick in bed, 2 wxyq", UNSURE),
    FILED("021407319 two are ill, one has blood in the stool"),
    FILED("021407319 4 people ill 2 children"),
    /* a measure that is not all understood */
    ASKED("021407319 slow 3 cups in 1 hour 17 wxyq", UNSURE),
    FILED("021407319 slow 3 cups in 1 hour"),
    /* whose damage? */
    ASKED("021407319 the cat pushed the lid down from the shelf this morning "
          "and it broke",
          UNSURE),
    FILED("021407319 the pot is broken and the lid is lost"),
    FILED("021407319 broken lid"),
    ASKED("021407319 it is in pieces and very slow", UNSURE),
    ASKED("021407319 not used, we use it every day", CONTRARY),
    ASKED("021407319 ill 2 nobody is ill", CONTRARY),
    FILED("021407319 no fever but diarrhoea"),
    /* spelt out: no letter of the card */
    ASKED("021407319 L E N T O", NO_TROUBLE),
    /* a number called a number may be the pot's: its own is not taken for it */
    ASKED("our number is 808258930, it leaks", CHECK),
    NOT_REPORT("hello this is my new number 712440983"),
    /* half a measure in many words */
    ASKED("The filter 021407319 is slow, it gave only 2 litres", NO_TIME),
    ASKED("It is slow. I watched it for six hours but forgot how far it fell "
          "021407319",
          NO_AMOUNT),
    FILED("021407319 all night for one bottle, so slow"),
    ASKED("021407319 slow, five hundred litres in one hour", IMPOSSIBLE),
    ASKED("021407319 lento, mil e duzentos litros em 20 minutos", IMPOSSIBLE),
    ASKED("021407319 4000 people are ill", COUNTS),
    ASKED("021407319 5 people 1 is sick 3 are vomiting", COUNTS),
    /* a letter beside the word of another kind */
    ASKED("021407319 crack g", CONTRARY),
    /* what broke may be another thing */
    ASKED("021407319 le robin est casse", UNSURE),
    /* two troubles: side by side, or one of them misread? */
    ASKED("021407319 nobody uses it up there, my little one has the runs",
          UNSURE),
    FILED("021407319 nobody uses it up there and my little one has the runs"),
    FILED("021407319 nobody uses it up there. my little one has the runs"),
    FILED("021407319 crack leak slow unused"),
    FILED("021407319 it cracked so nobody uses it"),
    FILED("021407319 we scrubbed it yesterday it leaks"),
    ASKED("021407319 we moved it in a hurry too fast and the pot broke",
          UNSURE),
    ASKED("021407319 the lid was lost: it is the tap that is lost", UNSURE),
    FILED("021407319 the lid and the tap are lost"),
    FILED("021407319 the tap of the filter fell on the floor and it broke"),
    /* what the sender cannot tell */
    ASKED("021407319 it leaks or so they say, I cannot tell", UNSURE),
    FILED("021407319 it cracked, I do not know how that happened"),
    /* pot or bucket; a piece of it */
    ASKED("021407319 a vasilha do filtro quebrou", UNSURE),
    ASKED("021407319 une piece du filtre s'est cassee hier soir", NO_PART),
    /* run together */
    ASKED("021407319 la vasija sesale elagua", UNSURE),
    FILED("021407319 tapbusted"),
    FILED("021407319 la vasija lenta laolla"),
    ASKED("mi tia dice devuelvesela a la olla", UNSURE),
    ASKED("021407319 ourtap is leaking", UNSURE),
    FILED("021407319 1lten 50 min lento"),
    FILED("021407319 lento baja 4dedosen 10h"),
    FILED("021407319 slowdown 5f 90m"),
    ASKED("021407319 la olla rapidolento", CONTRARY),
    /* two, or ten: no slack between numbers */
    ASKED("021407319 lent deyx doigts en huit heures", NO_AMOUNT),
    /* a sum, and a phone as long as a pot's number */
    NOT_REPORT("my mother is ill send 500 to 841 557 230"),
    ASKED("my mother is ill 841 557 230", CHECK),
    /* a question about an illness alerts, and is asked about */
    ASKED("021407319 what if there is blood in the stool?", UNSURE),
    /* talk */
    NOT_REPORT("on a lave le bebe, il dort bien"),
    NOT_REPORT("limpa o galinheiro amanha cedo"),
    NOT_REPORT("la grieta entre esos dos partidos nunca se va a cerrar"),
    /* a warning that goes from phone to phone, and one's own news */
    NOT_REPORT("FWD: people are ill and one is dead, send to 10 people"),
    FILED("021407319 fwd: my child is ill, blood in the stool"),
};

START_TEST(doubtful_is_asked)
{
    const char *text = texts[_i].text;
    struct reader_meaning m = rig_read(text, NULL, "021407319");

    if (m.outcome != texts[_i].outcome || m.why != texts[_i].why)
        printf("%s: %s %s\n", text, reader_outcome_name(m.outcome),
               reader_why_name(m.why));
    ck_assert_int_eq(m.outcome, texts[_i].outcome);
    ck_assert_int_eq(m.why, texts[_i].why);
}
END_TEST

/* A lost gap hides neither a sign nor its denial, nor a number. */
START_TEST(gaps_are_found)
{
    static const struct {
        const char *text;
        int people, under5;
        unsigned signs;
    } said[] = {
        {"021407319 my grandmotherdied after the diarrhoea", 0, 0, READER_DEAD},
        {"021407319 diarrhoea, there is bloodand it is bad", 0, 0,
         READER_BLOOD},
        {"021407319 dois doentes da barriga massem sangue", 2, 0, 0},
        {"021407319 amma ko dast hai, hoshme nahi", 0, 0, READER_DRY},
        {"021407319 trois enfants malades de moins decinq ans", 3, 3, 0},
        {"021407319 dosenfermos, uno menor de cinco anos", 2, 1, 0},
        {"021407319 ill 3 u1 bood", 3, 1, READER_BLOOD},
    };

    for (size_t i = 0; i < KW_COUNT(said); i++) {
        struct reader_meaning m = rig_read(said[i].text, NULL, "021407319");

        if (m.n_obs != 1 || m.danger != said[i].signs ||
            m.obs[0].people != said[i].people ||
            m.obs[0].under5 != said[i].under5)
            printf("%s: %zu, %d of %d, signs %u\n", said[i].text, m.n_obs,
                   m.obs[0].under5, m.obs[0].people, m.danger);
        ck_assert_uint_eq(m.n_obs, 1);
        ck_assert_int_eq(m.obs[0].kind, READER_ILL);
        ck_assert_uint_eq(m.danger, said[i].signs);
        ck_assert_int_eq(m.obs[0].people, said[i].people);
        ck_assert_int_eq(m.obs[0].under5, said[i].under5);
    }
}
END_TEST

/* Of those who live there, those are counted who are ill. */
START_TEST(the_ill_are_counted)
{
    static const struct {
        const char *text;
        int people;
    } said[] = {
        {"021407319 7 of us 2 are sick", 2},
        {"021407319 5 people in the house, 2 sick", 2},
        {"021407319 6 people, 3 have fever", 3},
        {"021407319 5 people drink from it and 2 have diarrhoea", 2},
        {"021407319 five of us live here and two have diarrhoea", 2},
        {"021407319 3 women and 2 men have diarrhoea", 5},
        {"021407319 3 people 1 vomiting 2 have diarrhoea", 3},
        {"021407319 4 people are ill, 2 children", 4},
    };

    for (size_t i = 0; i < KW_COUNT(said); i++) {
        struct reader_meaning m = rig_filed_one(said[i].text, NULL);

        ck_assert_int_eq(m.obs[0].kind, READER_ILL);
        ck_assert_msg(m.obs[0].people == said[i].people, "%s: %d", said[i].text,
                      m.obs[0].people);
    }
}
END_TEST

/* "The bucket is missing its lid": of two parts the one that is lost. */
START_TEST(the_lacking_part_is_meant)
{
    static const struct {
        const char *text;
        enum reader_part part;
    } said[] = {
        {"021407319 the bucket is missing its lid", READER_LID},
        {"021407319 al balde le falta la llave", READER_TAP},
        {"021407319 the bucket is missing", READER_BUCKET},
    };

    for (size_t i = 0; i < KW_COUNT(said); i++) {
        struct reader_meaning m = rig_filed_one(said[i].text, NULL);

        ck_assert_int_eq(m.obs[0].kind, READER_PART);
        ck_assert_int_eq(m.obs[0].part, said[i].part);
    }
}
END_TEST

/* A class, a street or a flat has a number that counts nobody. */
START_TEST(numbers_of_places_count_nobody)
{
    static const char *const said[] = {
        "021407319 my brother in grade 6 has diarrhoea",
        "021407319 my son of class 4 is ill",
        "021407319 mon fils en classe de 6e a la diarrhee",
        "021407319 mtoto wa kidato cha nne anatapika"};
    struct reader_meaning m;

    for (size_t i = 0; i < KW_COUNT(said); i++) {
        m = rig_filed_one(said[i], NULL);
        ck_assert_int_eq(m.obs[0].kind, READER_ILL);
        ck_assert_int_eq(m.obs[0].people, 0);
    }
    m = rig_filed_one("021407319 class 4 children ill", NULL);
    ck_assert_int_eq(m.obs[0].people, 4);
}
END_TEST

/* Well scrubbed says of no pot that it is good; nor does a hurry of water. */
START_TEST(manner_is_no_kind)
{
    struct reader_meaning m =
        rig_filed_one("021407319 chungu kimesuguliwa vizuri na mama", "sw");

    ck_assert_int_eq(m.obs[0].kind, READER_SCRUBBED);
    m = rig_filed_one("021407319 ma fille 2 ans diarrhee avec sang svp vite",
                      "fr");
    ck_assert_int_eq(m.obs[0].kind, READER_ILL);
    ck_assert_int_eq(m.danger, READER_BLOOD);
}
END_TEST

/* Swahili verbs are a letter apart: who came did not die. */
START_TEST(far_slip_is_no_sign)
{
    static const char *const came[] = {"aliyekuja", "waliokuja", "aliyekuwa",
                                       "walipokuta"};

    for (size_t i = 0; i < KW_COUNT(came); i++) {
        char text[80];
        struct reader_meaning m;

        snprintf(text, sizeof(text), "021407319 mtoto %s nyumbani", came[i]);
        m = rig_read(text, "sw", NULL);
        ck_assert_int_eq(m.danger, 0);
    }
    ck_assert_int_eq(
        rig_read("021407319 mtoto aliyekufa nyumbani", "sw", NULL).danger,
        READER_DEAD);
}
END_TEST

/* What is a greeting, a code or a part's own damage is no kind of its own. */
START_TEST(one_kind_alone)
{
    static const struct {
        const char *text;
        enum reader_kind kind;
    } said[] = {
        {"all good? 021407319 tap broken", READER_PART},
        {"the dog bit the tap and broke it 021407319", READER_PART},
        {"%s%s%n 021407319 crack", READER_CRACK},
        {"021407319,,slow..fell..three,,fingers..8,,hours", READER_SLOW},
        {"021407319 it went from slow to good", READER_FINE},
        {"nao e a torneira, a agua vaza por baixo 021407319", READER_LEAK},
        {"a crack as thin as a hair runs down the side 021407319",
         READER_CRACK},
        {"hope you are well, 021407319 is slow", READER_SLOW},
        {"021407319ill", READER_ILL},
    };

    for (size_t i = 0; i < KW_COUNT(said); i++) {
        struct reader_meaning m = rig_read(said[i].text, NULL, NULL);

        if (m.n_obs != 1)
            printf("%s: %zu\n", said[i].text, m.n_obs);
        ck_assert_uint_eq(m.n_obs, 1);
        ck_assert_int_eq(m.obs[0].kind, said[i].kind);
    }
}
END_TEST

/* Of four, two are children, and one more is of the four. */
START_TEST(some_of_those_counted)
{
    static const struct {
        const char *text;
        int people;
    } counts[] = {
        {"021407319 4 people ill 2 children", 4},
        {"021407319 2 people ill and 3 children", 5},
        {"021407319 four persons are ill, one of them a child, and the "
         "grandmother",
         4},
    };

    for (size_t i = 0; i < KW_COUNT(counts); i++) {
        struct reader_meaning m = rig_read(counts[i].text, NULL, NULL);

        ck_assert_uint_eq(m.n_obs, 1);
        ck_assert_int_eq(m.obs[0].people, counts[i].people);
    }
}
END_TEST

/* One slip in a word of the card; but an ordinary word is itself. */
START_TEST(card_words_forgive_one_slip)
{
    static const struct {
        const char *text;
        int kind; /* of the one observation, or -1 */
    } slips[] = {
        {"021407319 brokeh", READER_BROKEN},
        {"021407319 unued", READER_UNUSED},
        {"t bucke 021407319", READER_PART},
        {"s dow 5f 12h 021407319", READER_SLOW},
        {"021407319 racja", READER_CRACK},
        {"021407319 vuite", READER_LEAK},
        {"021407319 ilave", -1}, /* in a dictionary */
        {"021407319 plow", -1},
    };

    for (size_t i = 0; i < KW_COUNT(slips); i++) {
        struct reader_meaning m = rig_read(slips[i].text, NULL, NULL);

        if (m.n_obs != (slips[i].kind >= 0) ||
            (m.n_obs == 1 && (int)m.obs[0].kind != slips[i].kind))
            printf("%s: %s %zu\n", slips[i].text,
                   reader_outcome_name(m.outcome), m.n_obs);
        ck_assert_uint_eq(m.n_obs, slips[i].kind >= 0);
        if (m.n_obs == 1)
            ck_assert_int_eq((int)m.obs[0].kind, slips[i].kind);
    }
}
END_TEST

static void add_tests(TCase *t)
{
    tcase_add_loop_test(t, doubtful_is_asked, 0, (int)KW_COUNT(texts));
    tcase_add_test(t, one_kind_alone);
    tcase_add_test(t, some_of_those_counted);
    tcase_add_test(t, card_words_forgive_one_slip);
    tcase_add_test(t, gaps_are_found);
    tcase_add_test(t, the_ill_are_counted);
    tcase_add_test(t, the_lacking_part_is_meant);
    tcase_add_test(t, numbers_of_places_count_nobody);
    tcase_add_test(t, manner_is_no_kind);
    tcase_add_test(t, far_slip_is_no_sign);
}

int main(void)
{
    return rig_run("doubt", add_tests);
}
