/*
 * check_doubt.c - texts that may be meant in two ways are asked about, and
 * those beside them that may not are filed all the same.
 */
#include "tests/reader_rig.h"

#include <check.h>
#include <stdio.h>
#include <string.h>

static struct reader *reader;
static struct reader_scratch *scratch;

static void setup(void)
{
    struct fault_list faults = {0};

    if (reader_open(rig_folder(), &rig_layout, &rig_limits, &faults, &reader) <
        0)
        fault_print(&faults, stdout);
    ck_assert_ptr_nonnull(reader);
    scratch = reader_scratch_new(reader);
}

static void teardown(void)
{
    reader_scratch_free(scratch);
    reader_close(reader);
}

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
    ASKED("021407319 3 are sick in bed, 2 wxyq", UNCLEAR),
    FILED("021407319 two are ill, one has blood in the stool"),
    FILED("021407319 4 people ill 2 children"),
    /* a measure that is not all understood */
    ASKED("021407319 slow 3 cups in 1 hour 17 wxyq", UNCLEAR),
    FILED("021407319 slow 3 cups in 1 hour"),
    /* whose damage? */
    ASKED("021407319 the cat pushed the lid down from the shelf this morning "
          "and it broke",
          UNCLEAR),
    FILED("021407319 the pot is broken and the lid is lost"),
    FILED("021407319 broken lid"),
    ASKED("021407319 it is in pieces and very slow", UNCLEAR),
    ASKED("021407319 not used, we use it every day", CONTRARY),
    ASKED("021407319 ill 2 nobody is ill", CONTRARY),
    FILED("021407319 no fever but diarrhoea"),
    /* spelt out: no letter of the card */
    ASKED("021407319 L E N T O", NO_TROUBLE),
    /* a warning that goes from phone to phone, and one's own news */
    NOT_REPORT("FWD: people are ill and one is dead, send to 10 people"),
    FILED("021407319 fwd: my child is ill, blood in the stool"),
};

START_TEST(doubtful_is_asked)
{
    static const struct reader_hint one_pot = {NULL, "021407319"};
    struct reader_meaning m;
    const char *text = texts[_i].text;

    reader_read(reader, scratch, text, strlen(text), &one_pot, &m);
    if (m.outcome != texts[_i].outcome || m.why != texts[_i].why)
        printf("%s: %s %s\n", text, reader_outcome_name(m.outcome),
               reader_why_name(m.why));
    ck_assert_int_eq(m.outcome, texts[_i].outcome);
    ck_assert_int_eq(m.why, texts[_i].why);
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
    };

    for (size_t i = 0; i < KW_COUNT(said); i++) {
        struct reader_meaning m;

        reader_read(reader, scratch, said[i].text, strlen(said[i].text), NULL,
                    &m);
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
        struct reader_meaning m;

        reader_read(reader, scratch, counts[i].text, strlen(counts[i].text),
                    NULL, &m);
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
        struct reader_meaning m;

        reader_read(reader, scratch, slips[i].text, strlen(slips[i].text), NULL,
                    &m);
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

int main(void)
{
    Suite *s = suite_create("doubt");
    TCase *t = tcase_create("doubt");
    SRunner *r;
    int failed;

    tcase_set_timeout(t, 60);
    tcase_add_unchecked_fixture(t, setup, teardown);
    tcase_add_loop_test(t, doubtful_is_asked, 0, (int)KW_COUNT(texts));
    tcase_add_test(t, one_kind_alone);
    tcase_add_test(t, some_of_those_counted);
    tcase_add_test(t, card_words_forgive_one_slip);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed != 0;
}
