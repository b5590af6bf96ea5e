/*
 * check_grammar.c - mistakes in grammar and words files are found, with line
 * and what would be right; ABNF as RFC 5234 and RFC 7405 write it.
 */
#define PCRE2_CODE_UNIT_WIDTH 8
#include "base/file.h"
#include "reader/fold.h"
#include "reader/spelling.h"
#include "reader/words.h"
#include "reader/pattern.h"
#include "tests/reader_rig.h"

#include <check.h>
#include <pcre2.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static bool any_octet(const void *to, const char *name, size_t len,
                      struct pattern_set *set)
{
    (void)to;
    (void)name;
    (void)len;
    for (unsigned i = 0; i < 256; i++)
        pattern_set_add(set, i);
    return true;
}

static const struct pattern literal = {any_octet, NULL, NULL};

/* Does the text match the rule "s" of the grammar, wholly? -1: no grammar. */
static int matches(const char *grammar, const char *text)
{
    struct fault_list faults = {0};
    struct abnf *a = NULL;
    struct kw_buf b;
    int found = -1, code;
    PCRE2_SIZE at;
    pcre2_match_data *m = pcre2_match_data_create(1, NULL);

    kw_buf_init(&b, 1 << 16);
    if (abnf_parse("t", grammar, strlen(grammar), &faults, &a) == 0 &&
        abnf_check(a, "s", &faults) == 0) {
        pcre2_code *re;

        pattern_write(a, "s", &literal, &b);
        re =
            pcre2_compile((PCRE2_SPTR)kw_buf_text(&b), b.len,
                          PCRE2_ANCHORED | PCRE2_ENDANCHORED, &code, &at, NULL);
        ck_assert_ptr_nonnull(re);
        found =
            pcre2_match(re, (PCRE2_SPTR)text, strlen(text), 0, 0, m, NULL) >= 0;
        pcre2_code_free(re);
    }
    pcre2_match_data_free(m);
    if (found < 0)
        fault_print(&faults, stdout);
    fault_release(&faults);
    abnf_free(a);
    kw_buf_release(&b);
    return found;
}

/* RFC 5234: 2.3 strings, 3.2-3.8 operators; RFC 7405: %s and %i. */
static const struct {
    const char *grammar, *text;
    int found;
} rfc[] = {
    {"s = \"abc\"\n", "aBc", 1},                 /* 2.3 */
    {"s = %s\"abc\"\n", "aBc", 0},               /* RFC 7405, 2.1 */
    {"s = %i\"abc\"\n", "ABC", 1},               /* RFC 7405, 2.1 */
    {"s = %d97.98.99\n", "abc", 1},              /* 2.3 */
    {"s = %d97.98.99\n", "ABC", 0},              /* 2.3 */
    {"s = %x30-37\n", "7", 1},                   /* 3.4 */
    {"s = %x30-37\n", "8", 0},                   /* 3.4 */
    {"s = %b1100001\n", "a", 1},                 /* 2.3 */
    {"s = (\"a\" / \"b\") \"c\"\n", "bc", 1},    /* 3.5 */
    {"s = \"a\" / \"b\" \"c\"\n", "a", 1},       /* 3.10: precedence */
    {"s = \"a\" / \"b\" \"c\"\n", "ac", 0},      /* 3.10 */
    {"s = 2*3\"a\"\n", "a", 0},                  /* 3.6 */
    {"s = 2*3\"a\"\n", "aaa", 1},                /* 3.6 */
    {"s = 2*3\"a\"\n", "aaaa", 0},               /* 3.6 */
    {"s = 1*\"a\"\n", "", 0},                    /* 3.6 */
    {"s = *\"a\"\n", "", 1},                     /* 3.6 */
    {"s = 2\"a\"\n", "aa", 1},                   /* 3.7 */
    {"s = [\"a\"] \"b\"\n", "b", 1},             /* 3.8 */
    {"s = \"a\"\ns =/ \"b\"\n", "b", 1},         /* 3.3 */
    {"s = \"a\" ; comment\n  \"b\"\n", "ab", 1}, /* 3.9, continuation */
    {"s=t\r\nT = \"x\"\r\n", "x", 1},        /* 2.1: names without case; CRLF */
    {"; first\n\ns = <any> ; last", "!", 1}, /* prose-val */
};

START_TEST(as_in_the_rfc)
{
    ck_assert_int_eq(matches(rfc[_i].grammar, rfc[_i].text), rfc[_i].found);
}
END_TEST

static const struct {
    const char *grammar;
    int line;
    const char *says;
} wrong[] = {
    {"s = t\n", 1, "'t' is not defined"},
    {"s = \"a\"\nt = \"b\"\n", 2, "'t' is never used"},
    {"s = \"a\"\n\ns = \"b\"\n", 3, "defined twice, first in line 1"},
    {"s = \"a\" s\n", 1, "leads to itself"},
    {"s = t\nt = \"a\" / u\nu = t\n", 3, "leads to itself"},
    {"s = <anny>\n", 1, "no concept <anny>"},
    {"s = (\"a\"\n", 1, "')'"},
    {"s = [\"a\"\n", 1, "']'"},
    {"s = \"a\n", 1, "'\"'"},
    {"s = 3*2\"a\"\n", 1, "n <= m"},
    {"s = %x100\n", 1, "octet"},
    {"s = %q\n", 1, "after '%'"},
    {"s =\n", 1, "element is missing"},
    {"s \"a\"\n", 1, "'='"},
    {"t =/ \"a\"\ns = t\n", 1, "write '='"},
    {"1s = \"a\"\n", 1, "first column"},
    {"s = \"a\"\n", 1, "not as letters"},
    {"s = %x41\n", 1, "not as letters"},
};

static bool any_alone(const void *to, const char *name, size_t len,
                      struct pattern_set *set)
{
    (void)to;
    pattern_set_add(set, 1);
    return len == 3 && memcmp(name, "any", 3) == 0;
}

START_TEST(mistakes_of_grammar)
{
    static const struct pattern how = {any_alone, NULL, NULL};
    struct fault_list faults = {0};
    struct abnf *a = NULL;

    if (abnf_parse("t", wrong[_i].grammar, strlen(wrong[_i].grammar), &faults,
                   &a) == 0 &&
        abnf_check(a, "s", &faults) == 0)
        ck_assert_int_eq(pattern_check(a, &how, &faults), KW_ESYNTAX);
    ck_assert_uint_ge(faults.n, 1);
    ck_assert_int_eq(faults.items[0].line, wrong[_i].line);
    ck_assert_msg(strstr(faults.items[0].text, wrong[_i].says) != NULL, "%s",
                  faults.items[0].text);
    fault_release(&faults);
    abnf_free(a);
}
END_TEST

static void count_entry(void *to, const struct words_entry *e)
{
    (void)e;
    ++*(int *)to;
}

static const struct {
    const char *words;
    int line, entries;
    const char *says;
} lines[] = {
    {"language: X\ncrack: a, b b,\n  c # d\n3: e\n", 0, 4, NULL},
    {"crack: a\n", 1, 1, "first line must name the language"},
    {"language: X\nflies: a\n", 2, 0, "no concept 'flies'"},
    {"language: X\nserial: a\n", 2, 0, "no concept 'serial'"},
    {"language: X\ncrack a\n", 2, 0, "no colon"},
    {"language: X\ncrack: a,, b\n", 2, 2, "without a word"},
    {"language: X\ncrack: a1\n", 2, 0, "joins letters and digits"},
    {"language: X\ncrack: \xff\n", 2, 0, "not UTF-8"},
    {"language: X\ncrack: (a/b)(c/d) e, f(/g)\n", 0, 6, NULL},
    {"language: X\ncrack: (a/b, c\n", 2, 1, "does not close"},
    {"language: X\ncrack: ((a/b)/c)\n", 2, 0, "within another"},
    {"language: X\ncrack: (a/b/c/d)(a/b/c/d)(a/b/c/d)(a/b/c/d)(a/b/c/d)"
     "(a/b/c/d)\n",
     2, 2000, "more than 2000 words"},
    {"language: X\nspelling: aa>a, a\n", 2, 0, "no rule of spelling"},
    {"language: X\nspelling: mb=, mbw=\n", 2, 0, "mb= for a pair"},
    {"", 1, 0, "empty file"},
};

START_TEST(mistakes_of_words)
{
    struct fault_list faults = {0};
    int n = 0;
    struct words_sink sink = {.entry = count_entry, .to = &n};

    words_parse("t", lines[_i].words, strlen(lines[_i].words), &sink, &faults);
    ck_assert_int_eq(n, lines[_i].entries);
    if (lines[_i].says == NULL) {
        ck_assert_uint_eq(faults.n, 0);
    } else {
        ck_assert_uint_ge(faults.n, 1);
        ck_assert_int_eq(faults.items[0].line, lines[_i].line);
        ck_assert_msg(strstr(faults.items[0].text, lines[_i].says) != NULL,
                      "%s", faults.items[0].text);
    }
    fault_release(&faults);
}
END_TEST

/* A folder of our own with one file changed. */
static void copy_file(const char *to, const char *name, const char *more)
{
    char path[1024], *data;
    size_t len;
    FILE *f;

    ck_assert_int_eq(file_join(path, sizeof(path), rig_folder(), name), 0);
    ck_assert_int_eq(file_read(path, 1 << 22, &data, &len), 0);
    ck_assert_int_eq(file_join(path, sizeof(path), to, name), 0);
    f = fopen(path, "w");
    ck_assert_ptr_nonnull(f);
    fwrite(data, 1, len, f);
    fputs(more, f);
    fclose(f);
    kw_free(data);
}

static const struct {
    const char *grammar, *words, *says;
} folders[] = {
    {"", "", NULL},
    {"", "crack: zzqa\nleak: zzqa\n", "and, in line"},
    {"", "crack: zzqa\ncrack: zzqa\n", "stands twice"},
    {"", "crack: *zzqa\n", "has a star but stands only here"},
    {"", "crack: *zzqa\nleak: *zzqa\n", NULL},
    {"", "crack: zz(qa/qi)\ncrack: zz(qi/qo), zzqa\n", NULL},
    {"", "crack: zz(qa/qi)\nleak: zzqa\n", NULL},
    {"", "crack: zz(qa/qi)\nleak: zz(qa/qi)\n", "and, in line"},
    {"spare = <crack>\n", "", "never used"},
    {"said =/ \"help\"\n", "", "read as concepts"},
    {"said =/ <helf>\n", "", "no concept <helf>"},
};

START_TEST(mistakes_of_a_folder)
{
    char folder[] = "/tmp/kw-grammar-XXXXXX", path[1024];
    struct fault_list faults = {0};
    struct reader *r;

    ck_assert_ptr_nonnull(mkdtemp(folder));
    copy_file(folder, "report.abnf", folders[_i].grammar);
    copy_file(folder, "en.words", folders[_i].words);
    if (folders[_i].says == NULL) {
        ck_assert_int_eq(
            reader_open(folder, &rig_layout, &rig_limits, &faults, &r), 0);
        reader_close(r);
    } else {
        ck_assert_int_eq(
            reader_open(folder, &rig_layout, &rig_limits, &faults, &r),
            KW_ESYNTAX);
        ck_assert_uint_ge(faults.n, 1);
        ck_assert_int_gt(faults.items[0].line, 0);
        ck_assert_msg(strstr(faults.items[0].text, folders[_i].says) != NULL,
                      "%s", faults.items[0].text);
    }
    fault_release(&faults);
    file_join(path, sizeof(path), folder, "report.abnf");
    unlink(path);
    file_join(path, sizeof(path), folder, "en.words");
    unlink(path);
    rmdir(folder);
}
END_TEST

static const struct {
    const char *word, *key;
    bool in_phrase;
} spellings[] = {
    {"paani", "pani", false},  {"dhheere", "dire", false},
    {"gaya", "gya", false},    {"gayab", "gayab", false},
    {"balty", "balti", false}, {"chakki", "caki", false},
    {"yy", "y", false},        {"nikal", "nikl", true},
    {"nikl", "nikl", true},    {"aata", "ata", true},
    {"darar", "drr", true},
};

/* The rules of the Hindi file, or enough of them. */
START_TEST(spelling_by_ear)
{
    static const char *const rules[][2] = {
        {"^gaya$", "gya"}, {"+aa", ""}, {"+a", ""},  {"aa", "a"},  {"ee", "i"},
        {"dh", "d"},       {"h", ""},   {"ch", "c"}, {"ty$", "ti"}};
    struct spelling s = {.n = 0};
    char key[20];

    for (size_t i = 0; i < KW_COUNT(rules); i++) {
        struct words_rule r = {.line = 1};

        kw_copy(r.from, WORDS_RULE_CAP, rules[i][0], strlen(rules[i][0]));
        kw_copy(r.into, WORDS_RULE_CAP, rules[i][1], strlen(rules[i][1]));
        ck_assert_int_eq(spelling_add(&s, &r), 0);
    }
    ck_assert_uint_gt(spelling_key(&s, spellings[_i].word,
                                   strlen(spellings[_i].word),
                                   spellings[_i].in_phrase, key, 20),
                      0);
    ck_assert_str_eq(key, spellings[_i].key);
    ck_assert_uint_eq(spelling_key(&s, "longlong", 8, false, key, 8), 0);
}
END_TEST

START_TEST(no_folder)
{
    struct fault_list faults = {0};
    struct reader *r;

    ck_assert_int_eq(
        reader_open("/nonexistent", &rig_layout, &rig_limits, &faults, &r),
        KW_EIO);
    ck_assert_ptr_null(r);
    ck_assert_uint_ge(faults.n, 1);
    fault_release(&faults);
}
END_TEST

static const struct {
    const char *text, *folded;
} folds[] = {
    {"R\xc3\x81PIDO", "rapido"},
    {"\xef\xbc\x90\xef\xbc\x92", "02"},               /* full-width digits */
    {"\xe0\xa5\xa6\xe0\xa5\xa8", "02"},               /* Devanagari */
    {"\xd9\xa3\xdb\xb4", "34"},                       /* Arabic, Persian */
    {"cr\xe2\x80\x8b\x61\xe2\x80\xae\x63k", "crack"}, /* unseen marks */
    {"\xd1\x81r\xd0\xb0\xd1\x81k", "crack"},          /* Cyrillic letters */
    {"don\xe2\x80\x99t", "dont"},
    {"l\xe2\x80\x99"
     "eau",
     "l eau"},
    {"1\xc2\xbd", "1 1/2"},
    {"r\xe1pido", "rapido"},        /* ISO 8859-1 */
    {"tapak\xff\xfe", "tapak  "},   /* in no encoding of ours */
    {"\xef\xac\x81lter", "filter"}, /* a ligature */
};

START_TEST(folding)
{
    struct fold *f = kw_malloc(sizeof(*f));

    fold_prepare();
    fold_text(f, folds[_i].text, strlen(folds[_i].text), 1600);
    ck_assert_str_eq(f->text, folds[_i].folded);
    for (size_t i = 0; i < f->len; i++)
        ck_assert((unsigned char)f->text[i] >= 32);
    kw_free(f);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("grammar");
    TCase *t = tcase_create("grammar");
    SRunner *r;
    int failed;

    tcase_set_timeout(t, 60);
    tcase_add_loop_test(t, as_in_the_rfc, 0, (int)KW_COUNT(rfc));
    tcase_add_loop_test(t, mistakes_of_grammar, 0, (int)KW_COUNT(wrong));
    tcase_add_loop_test(t, mistakes_of_words, 0, (int)KW_COUNT(lines));
    tcase_add_loop_test(t, mistakes_of_a_folder, 0, (int)KW_COUNT(folders));
    tcase_add_loop_test(t, spelling_by_ear, 0, (int)KW_COUNT(spellings));
    tcase_add_test(t, no_folder);
    tcase_add_loop_test(t, folding, 0, (int)KW_COUNT(folds));
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed != 0;
}
