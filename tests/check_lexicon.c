/*
 * check_lexicon.c - what words may mean in several languages at once: each
 * keeps all of it, however many different combinations there are. And what
 * phrases mean whose ends are kept once.
 */
#include "base/file.h"
#include "reader/lexicon.h"
#include "reader/vowels.h"
#include "tests/reader_rig.h"

#include <check.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define PAIRS 3000

/* Concept i of those that words may stand for, without "other". */
static enum concept sayable(int i)
{
    for (int c = 1; c < CONCEPT_COUNT; c++) {
        if (concept_class_of((enum concept)c) != CLASS_MARK &&
            c != CONCEPT_OTHER && c != CONCEPT_LANG_NAME && i-- == 0)
            return (enum concept)c;
    }
    return CONCEPT_NONE;
}

static int sayable_count(void)
{
    int n = 0;

    while (sayable(n) != CONCEPT_NONE)
        n++;
    return n;
}

static void pair(int k, enum concept *a, enum concept *b)
{
    int n = sayable_count();

    *a = sayable(k % n);
    *b = sayable((k % n + 1 + k / n) % n);
}

/* The word of pair k, of letters only. */
static void word(int k, char dst[8])
{
    snprintf(dst, 8, "zq%c%c%c", 'a' + k / 676, 'a' + k / 26 % 26,
             'a' + k % 26);
}

/* English under another name, to go on with. */
static FILE *begin_language(const char *folder, const char *tag)
{
    char path[1024], name[16], *data;
    size_t len;
    FILE *f;

    file_join(path, sizeof(path), rig_folder(), "en.words");
    ck_assert_int_eq(file_read(path, 1 << 22, &data, &len), 0);
    snprintf(name, sizeof(name), "%s.words", tag);
    file_join(path, sizeof(path), folder, name);
    f = fopen(path, "w");
    ck_assert_ptr_nonnull(f);
    fwrite(data, 1, len, f);
    kw_free(data);
    return f;
}

/* And the words of the pairs. */
static void write_language(const char *folder, const char *tag, bool second)
{
    FILE *f = begin_language(folder, tag);
    enum concept c[2];
    char w[8];

    for (int k = 0; k < PAIRS; k++) {
        word(k, w);
        pair(k, &c[0], &c[1]);
        fprintf(f, "%s: %s\n", concept_name(c[second]), w);
    }
    fclose(f);
}

static void remove_file(const char *folder, const char *name)
{
    char path[1024];

    file_join(path, sizeof(path), folder, name);
    unlink(path);
}

START_TEST(no_meaning_is_lost)
{
    char folder[] = "/tmp/kw-lexicon-XXXXXX", w[8];
    struct fault_list faults = {0};
    struct lexicon *lex;
    int err;

    ck_assert_ptr_nonnull(mkdtemp(folder));
    write_language(folder, "aa", false);
    write_language(folder, "bb", true);
    err = lexicon_load(folder, &faults, &lex);
    fault_print(&faults, stdout);
    ck_assert_int_eq(err, 0);
    ck_assert_uint_gt(lex->n_sets, CONCEPT_COUNT + PAIRS / 2);
    printf("# %zu combinations\n", lex->n_sets);
    for (int k = 0; k < PAIRS; k++) {
        uint32_t n;
        struct concept_set want = {{0}};
        enum concept a, b;

        word(k, w);
        pair(k, &a, &b);
        concept_set_add(&want, a);
        concept_set_add(&want, b);
        n = lex->words[lexicon_find(lex, w, 5)].root;
        ck_assert_uint_eq(lexicon_symbol_in(lex, n, 0), a);
        ck_assert_uint_eq(lexicon_symbol_in(lex, n, 1), b);
        ck_assert(concept_set_same(&lex->sets[lex->nodes[n].all], &want));
        ck_assert_uint_eq(lex->classes[lex->nodes[n].all],
                          1u << concept_class_of(a) |
                              1u << concept_class_of(b));
    }
    lexicon_free(lex);
    fault_release(&faults);
    remove_file(folder, "aa.words");
    remove_file(folder, "bb.words");
    rmdir(folder);
}
END_TEST

/* Of the shipped words: what they mean jointly is what they mean in each. */
START_TEST(joint_meanings_of_the_shipped_words)
{
    struct fault_list faults = {0};
    struct lexicon *lex;
    size_t joint = 0;

    ck_assert_int_eq(lexicon_load(rig_folder(), &faults, &lex), 0);
    for (size_t i = 2; i < lex->n_nodes; i++) {
        const struct concept_set *all = &lex->sets[lex->nodes[i].all];
        bool same = true;

        for (int c = 1; c < CONCEPT_COUNT; c++) {
            bool any = false;

            for (size_t k = 0; k < lex->n_langs; k++)
                any |= concept_set_has(
                    &lex->sets[lexicon_symbol_in(lex, (uint32_t)i, (int)k)],
                    (enum concept)c);
            if (c != CONCEPT_OTHER) /* gives way to what counts */
                same &= any == concept_set_has(all, (enum concept)c);
        }
        if (!same)
            ck_abort_msg("node %zu of %zu", i, lex->n_nodes);
        joint += lex->nodes[i].all >= CONCEPT_COUNT;
    }
    printf("# %zu sets, %zu words and phrases with several meanings\n",
           lex->n_sets, joint);
    lexicon_free(lex);
    fault_release(&faults);
}
END_TEST

static const struct {
    const char *word;
    enum concept means; /* CONCEPT_NONE: several, or none */
} vowelless[] = {
    {"zqashki", CONCEPT_SLOW},
    {"zqashk", CONCEPT_SLOW},
    {"zqmbzqa", CONCEPT_CRACK},
    {"zqmba", CONCEPT_NONE},
    {"mzqazqa", CONCEPT_NONE},
    {"zqpsuzqa", CONCEPT_LEAK},
    {"zqalzqa", CONCEPT_NONE},
    {"zq", CONCEPT_NONE},
    {"zqazqazqazqazqazqazqa", CONCEPT_NONE},
};

/* Vowels that a thumb left out; and what a starred word is by ear. */
START_TEST(vowels_left_out)
{
    char folder[] = "/tmp/kw-lexicon-XXXXXX";
    struct fault_list faults = {0};
    struct lexicon *lex;
    uint32_t w;
    FILE *f;

    ck_assert_ptr_nonnull(mkdtemp(folder));
    f = begin_language(folder, "aa");
    fputs("spelling: mb=, sh=, zq=, qaq>qa\nslow: zqashuki\nother: zqashiki\n"
          "crack: zqumbezqa\nleak: (zqi/zqo)pasuzqa, zqalizqa\n"
          "broken: zqalozqa\nno: *zqaqe\nis-not: *zqaqe\n",
          f);
    fclose(f);
    ck_assert_int_eq(lexicon_load(folder, &faults, &lex), 0);
    for (size_t i = 0; i < KW_COUNT(vowelless); i++) {
        w = vowels_find(lex, 0, vowelless[i].word, strlen(vowelless[i].word));
        ck_assert_msg(lexicon_symbol_in(lex, lex->words[w].root, 0) ==
                          vowelless[i].means,
                      "%s", vowelless[i].word);
    }
    ck_assert_uint_eq(vowels_find(lex, -1, "zqashki", 7), 0);
    w = lexicon_find_spelling(lex, 0, "zqae", 4, false);
    ck_assert(concept_set_has(
        &lex->sets[lexicon_symbol_in(lex, lex->words[w].root, 0)],
        CONCEPT_IS_NOT));
    lexicon_free(lex);
    fault_release(&faults);
    remove_file(folder, "aa.words");
    rmdir(folder);
}
END_TEST

/* The node at the end of words parted by gaps, 0 when there is none. */
static uint32_t walk(const struct lexicon *lex, const char *phrase)
{
    uint32_t node = 1;

    for (const char *end; *phrase != '\0' && node != 0; phrase = end) {
        uint32_t w;

        phrase += strspn(phrase, " ");
        end = phrase + strcspn(phrase, " ");
        w = lexicon_find(lex, phrase, (size_t)(end - phrase));
        node = w == 0 ? 0 : lexicon_step(lex, node, w);
    }
    return node;
}

static const struct {
    const char *phrase;
    enum concept means; /* CONCEPT_NONE: is no path, or means nothing */
} paths[] = {
    {"zqa zqm zqx", CONCEPT_CRACK}, {"zqb zqn zqy", CONCEPT_CRACK},
    {"zqc zqm zqy", CONCEPT_CRACK}, {"zqd zqm zqx", CONCEPT_LEAK},
    {"zqd zqm zqy", CONCEPT_LEAK},  {"zqd zqn zqx", CONCEPT_NONE},
    {"zqa zqm", CONCEPT_NONE},      {"zqb zqm", CONCEPT_SLOW},
    {"zqb zqm zqx", CONCEPT_CRACK}, {"zqe zqm zqx", CONCEPT_CRACK},
    {"zqe zqn zqx", CONCEPT_NONE},  {"zqa zqx", CONCEPT_NONE},
    {"zqm zqx", CONCEPT_NONE},      {"zqa zqm zqx zqx", CONCEPT_NONE},
    {"zqf zqm", CONCEPT_FAST},      {"zqf zqm zqx", CONCEPT_NONE},
};

/* Phrases that share their ends keep what each of them means. */
START_TEST(ends_are_shared)
{
    char folder[] = "/tmp/kw-lexicon-XXXXXX";
    struct fault_list faults = {0};
    struct lexicon *lex;
    FILE *f;

    ck_assert_ptr_nonnull(mkdtemp(folder));
    f = begin_language(folder, "aa");
    fputs("crack: (zqa/zqb/zqc) (zqm/zqn) (zqx/zqy), zqe zqm zqx\n"
          "leak: zqd zqm (zqx/zqy)\nslow: zqb zqm\nfast: zqf zqm\n",
          f);
    fclose(f);
    ck_assert_int_eq(lexicon_load(folder, &faults, &lex), 0);
    for (size_t i = 0; i < KW_COUNT(paths); i++)
        ck_assert_msg(lexicon_symbol_in(lex, walk(lex, paths[i].phrase), 0) ==
                          paths[i].means,
                      "%s", paths[i].phrase);
    ck_assert_uint_eq(walk(lex, "zqa"), walk(lex, "zqc"));
    ck_assert_uint_eq(walk(lex, "zqa zqn"), walk(lex, "zqb zqn"));
    ck_assert_uint_ne(walk(lex, "zqa zqm"), walk(lex, "zqd zqm"));
    ck_assert_uint_ne(walk(lex, "zqa"), walk(lex, "zqb"));
    ck_assert_uint_lt(lex->n_nodes, lex->n_entries / 2);
    lexicon_free(lex);
    fault_release(&faults);
    remove_file(folder, "aa.words");
    rmdir(folder);
}
END_TEST

/* The guide for whoever keeps the words has each concept in a table. */
START_TEST(guide_lists_concepts)
{
    char path[1100], *guide;
    size_t len;

    ck_assert_int_eq(
        file_join(path, sizeof(path), rig_folder(), "../docs/words.md"), 0);
    ck_assert_int_eq(file_read(path, 1 << 20, &guide, &len), 0);
    for (int c = 1; c < CONCEPT_COUNT; c++) {
        enum concept_class class = concept_class_of((enum concept)c);
        char row[64];

        if (class == CLASS_MARK || class == CLASS_LETTER)
            continue;
        snprintf(row, sizeof(row), "\n| `%s` |", concept_name((enum concept)c));
        ck_assert_msg(strstr(guide, row) != NULL, "docs/words.md lacks %s",
                      concept_name((enum concept)c));
    }
    kw_free(guide);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("lexicon");
    TCase *t = tcase_create("lexicon");
    SRunner *r;
    int failed;

    tcase_set_timeout(t, 60);
    tcase_add_test(t, no_meaning_is_lost);
    tcase_add_test(t, joint_meanings_of_the_shipped_words);
    tcase_add_test(t, vowels_left_out);
    tcase_add_test(t, ends_are_shared);
    tcase_add_test(t, guide_lists_concepts);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed != 0;
}
