/*
 * check_match.c - the walk over the steps of a grammar, held against PCRE2,
 * whose order of choice (pcre2matching(3), "the standard matching
 * algorithm") it promises: the same rows match at the same places, to the
 * same end, with the same rules marked there.
 */
#define PCRE2_CODE_UNIT_WIDTH 8
#include "base/file.h"
#include "reader/grammar.h"
#include "reader/pattern.h"
#include "tests/match.h"
#include "tests/reader_rig.h"

#include <check.h>
#include <pcre2.h>
#include <stdio.h>
#include <string.h>

#define ROW_MOST   60
#define ROWS       60000
#define GROUP_MOST 4000

/* The octet of a row is the number of a concept. */
static bool octets_of(const void *to, const char *name, size_t len,
                      struct pattern_set *set)
{
    bool any = len == 3 && memcmp(name, "any", 3) == 0;
    const struct concept_set *sets = to;
    enum concept c = concept_from_name(name, len);

    for (unsigned i = 1; i < 256; i++) {
        if (any ? !concept_set_has(&sets[i], CONCEPT_BEGIN) &&
                      !concept_set_has(&sets[i], CONCEPT_END) &&
                      !concept_set_is_empty(&sets[i])
                : concept_set_has(&sets[i], c))
            pattern_set_add(set, i);
    }
    return any || c != CONCEPT_NONE;
}

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

static bool captures(const char *name)
{
    return rule_number(name) >= 0;
}

struct both {
    struct concept_set sets[256];
    struct match_program *program;
    struct match_scratch *scratch;
    pcre2_code *code;
    pcre2_match_data *data;
    int rule_of[GROUP_MOST];
};

static void map_groups(struct both *b)
{
    uint32_t n, size;
    PCRE2_SPTR table;

    pcre2_pattern_info(b->code, PCRE2_INFO_NAMECOUNT, &n);
    pcre2_pattern_info(b->code, PCRE2_INFO_NAMEENTRYSIZE, &size);
    pcre2_pattern_info(b->code, PCRE2_INFO_NAMETABLE, &table);
    memset(b->rule_of, -1, sizeof(b->rule_of));
    for (uint32_t i = 0; i < n; i++, table += size) {
        char name[ABNF_NAME_CAP + 1];
        size_t k = 0;

        for (; table[2 + k] != '\0'; k++)
            name[k] = (char)(table[2 + k] == '_' ? '-' : table[2 + k]);
        name[k] = '\0';
        ck_assert_uint_lt((unsigned)table[0] << 8 | table[1], GROUP_MOST);
        b->rule_of[(unsigned)table[0] << 8 | table[1]] = rule_number(name);
    }
}

/* Single concepts, then pairs and threes of them. */
static void make_sets(struct both *b)
{
    srand(7);
    for (int i = 1; i < 256; i++) {
        if (i < CONCEPT_COUNT) {
            concept_set_add(&b->sets[i], (enum concept)i);
            continue;
        }
        for (int k = 0; k < 2 + i % 2; k++)
            concept_set_add(
                &b->sets[i],
                (enum concept)(CONCEPT_PAUSE +
                               rand() % (CONCEPT_COUNT - CONCEPT_PAUSE)));
    }
}

static void open_both(struct both *b)
{
    static const struct match_target target = {prose, rule_number};
    struct pattern how = {octets_of, captures, b->sets};
    char path[1024], *data;
    size_t len;
    struct fault_list faults = {0};
    struct abnf *a;
    struct kw_buf text;
    int code;
    PCRE2_SIZE at;

    make_sets(b);
    file_join(path, sizeof(path), rig_folder(), "report.abnf");
    ck_assert_int_eq(file_read(path, 1 << 20, &data, &len), 0);
    ck_assert_int_eq(abnf_parse(path, data, len, &faults, &a), 0);
    ck_assert_int_eq(abnf_check(a, "text", &faults), 0);
    ck_assert_int_eq(match_compile(a, "text", &target, &faults, &b->program),
                     0);
    match_prepare(b->program, b->sets, KW_COUNT(b->sets));
    kw_buf_init(&text, 1 << 22);
    pattern_write(a, "text", &how, &text);
    b->code = pcre2_compile((PCRE2_SPTR)kw_buf_text(&text), text.len,
                            PCRE2_ANCHORED | PCRE2_DUPNAMES | PCRE2_DOTALL,
                            &code, &at, NULL);
    ck_assert_ptr_nonnull(b->code);
    pcre2_jit_compile(b->code, PCRE2_JIT_COMPLETE);
    b->data = pcre2_match_data_create_from_pattern(b->code, NULL);
    b->scratch = kw_malloc(sizeof(*b->scratch));
    map_groups(b);
    printf("# %zu steps; as a pattern %zu octets\n", match_steps(b->program),
           text.len);
    kw_buf_release(&text);
    abnf_free(a);
    kw_free(data);
}

static void close_both(struct both *b)
{
    match_free(b->program);
    kw_free(b->scratch);
    pcre2_match_data_free(b->data);
    pcre2_code_free(b->code);
}

/* Of a rule that stands in several groups, what the last one says. */
static void compare_marks(const struct both *b, int groups)
{
    const PCRE2_SIZE *where = pcre2_get_ovector_pointer(b->data);
    size_t want[GRAMMAR_RULE_COUNT][2], have[GRAMMAR_RULE_COUNT][2];

    memset(want, 0, sizeof(want));
    memset(have, 0, sizeof(have));
    for (int i = 1; i < groups; i++) {
        if (where[2 * i] == PCRE2_UNSET || b->rule_of[i] < 0)
            continue;
        want[b->rule_of[i]][0] = where[2 * i] + 1;
        want[b->rule_of[i]][1] = where[2 * i + 1] + 1;
    }
    for (size_t i = 0; i < b->scratch->n_marks; i++) {
        const struct match_mark *m = &b->scratch->marks[i];

        have[m->what / 2][m->what % 2] = m->at + 1u;
    }
    for (int r = 0; r < GRAMMAR_RULE_COUNT; r++) {
        ck_assert_msg(want[r][0] == have[r][0] && want[r][1] == have[r][1],
                      "%s: %zu-%zu, PCRE2 %zu-%zu",
                      grammar_rule_name((enum grammar_rule)r), have[r][0],
                      have[r][1], want[r][0], want[r][1]);
    }
}

/* Returns whether it matched. */
static bool compare_at(struct both *b, const uint8_t *octets,
                       const struct match_row *row, size_t at)
{
    int groups = pcre2_match(b->code, octets, row->n, at, 0, b->data, NULL);
    int found = match_at(b->program, b->scratch, row, at);

    ck_assert(groups > 0 || groups == PCRE2_ERROR_NOMATCH);
    ck_assert_int_eq(found, groups > 0);
    ck_assert(found == 0 || match_begins(b->program, row->symbols[at]));
    if (found == 0)
        return false;
    ck_assert_uint_eq(b->scratch->to, pcre2_get_ovector_pointer(b->data)[1]);
    compare_marks(b, groups);
    return true;
}

/*
 * Rows of few different sets, so that what belongs together often stands
 * together; every place of each is tried.
 */
START_TEST(like_pcre2)
{
    struct both *b = kw_calloc(1, sizeof(*b));
    uint8_t octets[ROW_MOST];
    uint16_t symbols[ROW_MOST];
    struct match_row row = {b->sets, symbols, 0};
    size_t matched = 0, tried = 0;

    open_both(b);
    srand(11);
    for (int k = 0; k < ROWS; k++) {
        int some[8];

        for (size_t i = 0; i < KW_COUNT(some); i++)
            some[i] = CONCEPT_SERIAL + rand() % (255 - CONCEPT_SERIAL);
        row.n = 3 + (size_t)rand() % (k % 100 == 0 ? ROW_MOST - 3 : 12);
        for (size_t i = 0; i < row.n; i++)
            octets[i] = (uint8_t)(rand() % 3 == 0 ? CONCEPT_NUMBER + rand() % 4
                                                  : some[rand() % 8]);
        octets[0] = CONCEPT_BEGIN;
        octets[row.n - 1] = CONCEPT_END;
        for (size_t i = 0; i < row.n; i++)
            symbols[i] = octets[i];
        for (size_t at = 0; at < row.n; at++, tried++)
            matched += compare_at(b, octets, &row, at);
    }
    printf("# %zu of %zu places matched\n", matched, tried);
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
    tcase_add_test(t, like_pcre2);
    tcase_add_test(t, gives_up);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed != 0;
}
