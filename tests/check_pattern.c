/*
 * check_pattern.c - a grammar taken apart into ways matches what its whole
 * pattern does: PCRE2 reads all texts of a, b and c up to 6 letters with
 * both, and finds the same end and the same groups at the same places. No
 * way is passed over by its openings that would have matched.
 */
#define PCRE2_CODE_UNIT_WIDTH 8
#include "reader/pattern.h"

#include <check.h>
#include <pcre2.h>
#include <string.h>

#define WAYS_MOST 40
#define LETTERS   6

static bool letter(const void *to, const char *name, size_t len,
                   struct pattern_set *set)
{
    (void)to;
    for (size_t i = 0; i < len; i++)
        pattern_set_add(set, (unsigned char)name[i]);
    return true;
}

static bool captures(const char *rule)
{
    return rule[0] == 'g';
}

static const struct pattern how = {letter, captures, NULL};

/* One group each of g1, g2, g3 in a way or more; what the last one holds. */
struct found {
    int64_t rc;
    size_t to, from_of[4], to_of[4];
};

struct way {
    pcre2_code *code;
    bool nothing;
    size_t longest;
    struct pattern_opening openings[20];
    size_t n;
    struct pattern_set needs[20];
    size_t n_needs;
};

struct taken {
    struct way ways[WAYS_MOST];
    size_t n;
};

static pcre2_code *compiled(const struct kw_buf *b)
{
    int code;
    PCRE2_SIZE at;
    pcre2_code *re =
        pcre2_compile((PCRE2_SPTR)kw_buf_text(b), b->len,
                      PCRE2_ANCHORED | PCRE2_DUPNAMES, &code, &at, NULL);

    ck_assert_ptr_nonnull(re);
    return re;
}

static void take_way(void *to, const struct kw_buf *pattern, bool nothing,
                     size_t longest)
{
    struct taken *t = to;

    ck_assert_uint_lt(t->n, WAYS_MOST);
    t->ways[t->n++] = (struct way){
        .code = compiled(pattern), .nothing = nothing, .longest = longest};
}

static void take_opening(void *to, const struct pattern_opening *o)
{
    struct taken *t = to;
    struct way *w = &t->ways[t->n - 1];

    ck_assert_uint_lt(w->n, KW_COUNT(w->openings));
    w->openings[w->n++] = *o;
}

static void take_need(void *to, const struct pattern_set *set)
{
    struct taken *t = to;
    struct way *w = &t->ways[t->n - 1];

    ck_assert_uint_lt(w->n_needs, KW_COUNT(w->needs));
    w->needs[w->n_needs++] = *set;
}

static struct found match(const pcre2_code *re, const char *text)
{
    pcre2_match_data *m = pcre2_match_data_create_from_pattern(re, NULL);
    const PCRE2_SIZE *at = pcre2_get_ovector_pointer(m);
    struct found f = {.to = 0};
    uint32_t n = 0, size = 0;
    PCRE2_SPTR entry = NULL;

    pcre2_pattern_info(re, PCRE2_INFO_NAMECOUNT, &n);
    pcre2_pattern_info(re, PCRE2_INFO_NAMEENTRYSIZE, &size);
    pcre2_pattern_info(re, PCRE2_INFO_NAMETABLE, &entry);
    f.rc = pcre2_match(re, (PCRE2_SPTR)text, strlen(text), 0, 0, m, NULL);
    if (f.rc > 0)
        f.to = at[1];
    for (uint32_t i = 0; i < n && f.rc > 0; i++, entry += size) {
        int group = entry[0] << 8 | entry[1], k = entry[3] - '0';

        if (group >= f.rc || at[2 * group] == PCRE2_UNSET)
            continue;
        f.from_of[k] = at[2 * group];
        f.to_of[k] = at[2 * group + 1];
    }
    f.rc = f.rc > 0;
    pcre2_match_data_free(m);
    return f;
}

static bool may_begin(const struct way *w, const char *text)
{
    bool may = w->nothing;

    for (size_t i = 0; i < w->n && text[0] != '\0'; i++) {
        const struct pattern_opening *o = &w->openings[i];

        may |=
            pattern_set_has(&o->first, (unsigned char)text[0]) &&
            (o->ends || (text[1] != '\0' &&
                         pattern_set_has(&o->second, (unsigned char)text[1])));
    }
    return may;
}

/* Is a match no longer than the longest, and has it what it needs? */
static bool is_promised(const struct way *w, const char *text, size_t to)
{
    size_t n = 0;

    for (size_t i = 0; i < w->n_needs; i++) {
        bool has = false;

        for (size_t k = 0; k < to; k++)
            has |= pattern_set_has(&w->needs[i], (unsigned char)text[k]);
        n += has;
    }
    return n == w->n_needs && (w->longest == 0 || to <= w->longest);
}

static struct found match_ways(const struct taken *t, const char *text)
{
    struct found f = {.to = 0}, first = {.to = 0};

    for (size_t i = 0; i < t->n; i++) {
        f = match(t->ways[i].code, text);
        ck_assert(f.rc == 0 || (may_begin(&t->ways[i], text) &&
                                is_promised(&t->ways[i], text, f.to)));
        if (first.rc == 0)
            first = f;
    }
    return first;
}

static const struct {
    const char *grammar;
    size_t ways;
} grammars[] = {
    {"s = <a>\n", 1},
    {"s = <a> / <b>\n", 1},
    {"s = g1 / g2\ng1 = <a>\ng2 = <b>\n", 2},
    {"s = g1 / <c>\ng1 = <a> <b> / <a> / <b> <c>\n", 4},
    {"s = g1\ng1 = g2 / g3\ng2 = <a> *2<b>\ng3 = <a> <c> / <b> [<a>] <c>\n", 3},
    {"s = t / <c> <c>\nt = g1 / u\nu = <a> *<b> <c> / g2\ng1 = <a> 2*3<b>\n"
     "g2 = *2( <a> / <b> ) <c>\n",
     4},
    {"s = *2<a> <b> / g1\ng1 = [<b>] [<c>]\n", 2},
    {"s = *<a> [<b>] / <c>\n", 2},
    {"s = 1*2( g1 / g2 *1<c> ) <a>\ng1 = <a>\ng2 = <b>\n", 1},
    {"s = ( <a> / g1 ) *1( <b> <b> / g2 )\ng1 = <b> / <c> <a>\ng2 = <c>\n", 1},
    {"s = ( ( <a> <b> / g1 ) / ( <c> / g1 <c> ) )\ng1 = <a> / <a> <a>\n", 5},
    {"s = *3<ab> <c> g1 / *2<bc> g2\ng1 = *1<a> 1*2<b>\ng2 = <a> / <ca> <b>\n",
     2},
};

START_TEST(ways_are_the_whole)
{
    const char *grammar = grammars[_i].grammar;
    struct fault_list faults = {0};
    struct taken *t = kw_calloc(1, sizeof(*t));
    const struct pattern_ways ways = {take_way, take_opening, take_need, t};
    struct abnf *a;
    struct kw_buf b;
    pcre2_code *whole;

    kw_buf_init(&b, 1 << 16);
    ck_assert_int_eq(abnf_parse("t", grammar, strlen(grammar), &faults, &a), 0);
    ck_assert_int_eq(abnf_check(a, "s", &faults), 0);
    pattern_write(a, "s", &how, &b);
    whole = compiled(&b);
    ck_assert_int_eq(pattern_take_ways(a, "s", &how, 1 << 16, &ways), 0);
    ck_assert_uint_eq(t->n, grammars[_i].ways);
    for (int i = 0, n = 1; i <= LETTERS; i++, n *= 3) {
        for (int k = 0; k < n; k++) {
            char text[LETTERS + 1] = "";
            struct found one, other;

            for (int j = 0, x = k; j < i; j++, x /= 3)
                text[j] = (char)('a' + x % 3);
            one = match(whole, text);
            other = match_ways(t, text);
            ck_assert_msg(memcmp(&one, &other, sizeof(one)) == 0, "%s", text);
        }
    }
    ck_assert_int_eq(pattern_take_ways(a, "s", &how, 3, &ways), KW_EFULL);
    for (size_t i = 0; i < t->n; i++)
        pcre2_code_free(t->ways[i].code);
    pcre2_code_free(whole);
    kw_buf_release(&b);
    abnf_free(a);
    kw_free(t);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("pattern");
    TCase *t = tcase_create("pattern");
    SRunner *r;
    int failed;

    tcase_set_timeout(t, 60);
    tcase_add_loop_test(t, ways_are_the_whole, 0, (int)KW_COUNT(grammars));
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed != 0;
}
