/*
 * check_chain.c - sentences without a gap are taken apart into words of one
 * language; a word of a dictionary that has such pieces is left whole.
 */
#include "tests/reader_fixture.h"

#define POT "021407319"

START_TEST(taken_apart)
{
    static const struct {
        const char *lang, *text;
        enum reader_kind kind;
        double value, minutes; /* of its measure, or 0 */
    } said[] = {
        {"en", "wenolongerusethefilter" POT, READER_UNUSED, 0, 0},
        {"en", POT "thefilterisbroken", READER_BROKEN, 0, 0},
        {"es", "nolousamosmas" POT, READER_UNUSED, 0, 0},
        {"fr", POT "lentbaisse5doigtsen13h", READER_SLOW, 5, 780},
        {"fr", "tropvite6litresen1heure" POT, READER_FAST, 6, 60},
        {"fr", POT "safuit", READER_LEAK, 0, 0},
        {"pt", POT "tavazandomuito", READER_LEAK, 0, 0},
        {"pt", "paramosdeusarofiltro" POT, READER_UNUSED, 0, 0},
        {"sw", POT "polepolevidole4saa12", READER_SLOW, 4, 720},
        {"sw", "hatutumiitenafilta" POT, READER_UNUSED, 0, 0},
        {"hi", "baltitootgayi" POT, READER_PART, 0, 0},
        {"hi", "filteristemalnahikarte" POT, READER_UNUSED, 0, 0},
    };

    for (size_t i = 0; i < KW_COUNT(said); i++) {
        struct reader_meaning m = rig_read(said[i].text, said[i].lang, NULL);

        if (m.outcome != READER_FILED || m.n_obs != 1)
            printf("%s: %s, %zu\n", said[i].text,
                   reader_outcome_name(m.outcome), m.n_obs);
        ck_assert_int_eq(m.outcome, READER_FILED);
        ck_assert_str_eq(m.serial, POT);
        ck_assert_uint_eq(m.n_obs, 1);
        ck_assert_int_eq(m.obs[0].kind, said[i].kind);
        ck_assert_double_eq_tol(m.obs[0].measure.value, said[i].value, 1e-9);
        ck_assert_double_eq_tol(m.obs[0].measure.minutes, said[i].minutes,
                                1e-9);
    }
}
END_TEST

/* Words of hunspell dictionaries with pieces that are ours. */
START_TEST(left_whole)
{
    static const struct {
        const char *lang, *word;
    } words[] = {
        {"en", "multilateral"}, {"en", "holdfast"},    {"en", "brushstroke"},
        {"es", "multilateral"}, {"es", "desangelado"}, {"es", "entorchada"},
        {"fr", "daltonien"},    {"fr", "extravaser"},  {"pt", "talastina"},
        {"pt", "divalente"},    {"sw", "harakishana"}, {"sw", "wanavyokufa"},
        {"es", "molestia"},
    };

    for (size_t i = 0; i < KW_COUNT(words); i++) {
        char text[64];
        struct reader_meaning m;

        snprintf(text, sizeof(text), POT " %s", words[i].word);
        m = rig_read(text, words[i].lang, NULL);
        if (m.n_obs != 0 || m.danger != 0)
            printf("%s: %zu\n", text, m.n_obs);
        ck_assert_uint_eq(m.n_obs, 0);
        ck_assert_uint_eq(m.danger, 0);
    }
}
END_TEST

/* The same text is the same the second time, whatever stood in between. */
START_TEST(again)
{
    static const char many[] =
        "xqzwvkjxqz xqzwvkjxqa xqzwvkjxqb xqzwvkjxqc xqzwvkjxqd xqzwvkjxqe "
        "xqzwvkjxqf xqzwvkjxqg tavazandomuito 021407319";
    struct reader_meaning first = rig_read(many, "pt", NULL), last;

    for (int i = 0; i < 3; i++)
        rig_read("tavazandomuito 021407319", "pt", NULL);
    last = rig_read(many, "pt", NULL);
    ck_assert_int_eq(first.outcome, last.outcome);
    ck_assert_uint_eq(first.n_obs, last.n_obs);
}
END_TEST

static void add_tests(TCase *t)
{
    tcase_add_test(t, taken_apart);
    tcase_add_test(t, left_whole);
    tcase_add_test(t, again);
}

int main(void)
{
    return rig_run("chain", add_tests);
}
