/*
 * check_match.c - the shipped grammar read in two ways that share no code
 * but the parser: by the service's PCRE2 pattern (grammar.h) and by a walk
 * over steps (match.h), which promises the same order of choice
 * (pcre2matching(3), "the standard matching algorithm"). The same rows match
 * at the same places, to the same end, with the same rules marked there.
 */
#include "base/file.h"
#include "reader/grammar.h"
#include "tests/match.h"
#include "tests/reader_rig.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROW_MOST 60
#define ROWS     60000

static bool prose(const char *name, size_t len, struct concept_set *set)
{
    bool any = len == 3 && memcmp(name, "any", 3) == 0;
    enum concept c = concept_from_name(name, len);

    for (int i = 1; i < CONCEPT_COUNT; i++) {
        if (any ? i != CONCEPT_BEGIN && i != CONCEPT_END : i == (int)c)
            concept_set_add(set, (enum concept)i);
    }
    return any || c != CONCEPT_NONE;
}

/* Rules by number, as the grammar numbers those that carry meaning. */
static int rule_number(const char *name)
{
    for (int i = 0; i < GRAMMAR_RULE_COUNT; i++) {
        if (strcmp(grammar_rule_name((enum grammar_rule)i), name) == 0)
            return i;
    }
    return -1;
}

struct both {
    struct lexicon *lex;
    struct grammar *grammar;
    struct grammar_scratch *scratch;
    struct match_program *program;
    struct match_scratch *walk;
};

static void open_both(struct both *b)
{
    static const struct match_target target = {prose, rule_number};
    char path[1024], *data;
    size_t len;
    struct fault_list faults = {0};
    struct abnf *a;

    ck_assert_int_eq(lexicon_load(rig_folder(), &faults, &b->lex), 0);
    ck_assert_int_eq(grammar_load(rig_folder(), b->lex, &faults, &b->grammar),
                     0);
    b->scratch = grammar_scratch_new(b->grammar);
    ck_assert_ptr_nonnull(b->scratch);
    file_join(path, sizeof(path), rig_folder(), "report.abnf");
    ck_assert_int_eq(file_read(path, 1 << 20, &data, &len), 0);
    ck_assert_int_eq(abnf_parse(path, data, len, &faults, &a), 0);
    ck_assert_int_eq(abnf_check(a, "text", &faults), 0);
    ck_assert_int_eq(match_compile(a, "text", &target, &faults, &b->program),
                     0);
    match_prepare(b->program, b->lex->sets, b->lex->n_sets);
    b->walk = kw_malloc(sizeof(*b->walk));
    printf("# %zu steps, %zu symbols\n", match_steps(b->program),
           b->lex->n_sets);
    abnf_free(a);
    kw_free(data);
}

static void close_both(struct both *b)
{
    match_free(b->program);
    kw_free(b->walk);
    grammar_scratch_free(b->scratch);
    grammar_free(b->grammar);
    lexicon_free(b->lex);
}

/* Of a rule that was said several times, what the last one says. */
static void compare_marks(const struct both *b, const struct grammar_match *m)
{
    size_t have[GRAMMAR_RULE_COUNT][2];

    memset(have, 0, sizeof(have));
    for (size_t i = 0; i < b->walk->n_marks; i++) {
        const struct match_mark *mark = &b->walk->marks[i];

        have[mark->what / 2][mark->what % 2] = mark->at + 1u;
    }
    for (int r = 0; r < GRAMMAR_RULE_COUNT; r++) {
        bool said = grammar_said(m, (enum grammar_rule)r);
        size_t first = said ? m->first[r] + 1u : 0;
        size_t end = said ? m->end[r] + 1u : 0;

        ck_assert_msg(first == have[r][0] && end == have[r][1],
                      "%s: the walk %zu-%zu, PCRE2 %zu-%zu",
                      grammar_rule_name((enum grammar_rule)r), have[r][0],
                      have[r][1], first, end);
    }
}

/* The next match at or behind a place, by both; the place behind it. The
 * second search may be answered out of what was remembered of the first. */
static size_t compare_from(struct both *b, const struct match_row *row,
                           size_t at)
{
    struct grammar_match m;
    uint32_t symbols[ROW_MOST];
    size_t from = at;
    int walked = 0;

    for (size_t i = 0; i < row->n; i++)
        symbols[i] = row->symbols[i];
    for (; at < row->n && walked == 0; at++) {
        if (match_begins(b->program, row->symbols[at]))
            walked = match_at(b->program, b->walk, row, at);
    }
    for (int again = 0; again < 2; again++) {
        memset(&m, 0xAA, sizeof(m));
        ck_assert_int_eq(
            grammar_next(b->grammar, b->scratch, symbols, row->n, from, &m),
            walked);
        if (walked == 0)
            continue;
        ck_assert_uint_eq(m.from, at - 1);
        ck_assert_uint_eq(m.to, b->walk->to);
        compare_marks(b, &m);
    }
    return walked == 0 ? row->n : at;
}

/*
 * Rows of few different symbols, so that what belongs together often stands
 * together; every place of each is tried.
 */
START_TEST(pattern_and_walk_agree)
{
    struct both *b = kw_calloc(1, sizeof(*b));
    uint16_t symbols[ROW_MOST];
    struct match_row row;
    size_t matched = 0, tried = 0;

    open_both(b);
    row = (struct match_row){b->lex->sets, symbols, 0};
    srand(11);
    for (int k = 0; k < ROWS; k++) {
        uint16_t some[8];

        for (size_t i = 0; i < KW_COUNT(some); i++)
            some[i] =
                (uint16_t)(CONCEPT_SERIAL +
                           rand() % ((int)b->lex->n_sets - CONCEPT_SERIAL));
        row.n = 3 + (size_t)rand() % (k % 100 == 0 ? ROW_MOST - 3 : 12);
        for (size_t i = 0; i < row.n; i++)
            symbols[i] = rand() % 3 == 0
                             ? (uint16_t)(CONCEPT_NUMBER + rand() % 4)
                             : some[rand() % 8];
        symbols[0] = CONCEPT_BEGIN;
        symbols[row.n - 1] = CONCEPT_END;
        for (size_t at = 0; at < row.n; tried++) {
            at = compare_from(b, &row, at);
            matched += at < row.n;
        }
    }
    printf("# %zu of %zu searches matched\n", matched, tried);
    ck_assert_uint_gt(matched, tried / 20);
    close_both(b);
    kw_free(b);
}
END_TEST

/* A grammar of its own that backtracks without end is given up. */
START_TEST(gives_up)
{
    static const char grammar[] = "s = 30( *30<crack> ) <leak>\n";
    static const struct match_target target = {prose, rule_number};
    struct fault_list faults = {0};
    struct abnf *a;
    struct match_program *p;
    struct match_scratch *s = kw_malloc(sizeof(*s));
    struct concept_set sets[2] = {{{0}}, {{0}}};
    uint16_t symbols[60];
    struct match_row row = {sets, symbols, 60};

    concept_set_add(&sets[1], CONCEPT_CRACK);
    for (size_t i = 0; i < KW_COUNT(symbols); i++)
        symbols[i] = 1;
    ck_assert_int_eq(abnf_parse("t", grammar, strlen(grammar), &faults, &a), 0);
    ck_assert_int_eq(abnf_check(a, "s", &faults), 0);
    ck_assert_int_eq(match_compile(a, "s", &target, &faults, &p), 0);
    match_prepare(p, sets, KW_COUNT(sets));
    ck_assert_int_eq(match_at(p, s, &row, 0), KW_EFULL);
    match_free(p);
    abnf_free(a);
    kw_free(s);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("match");
    TCase *t = tcase_create("match");
    SRunner *r;
    int failed;

    tcase_set_timeout(t, 300);
    tcase_add_test(t, pattern_and_walk_agree);
    tcase_add_test(t, gives_up);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed != 0;
}
