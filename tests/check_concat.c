/*
 * check_concat.c - parts of long texts in any order, twice, never, and in
 * floods. TS 23.040, 9.2.3.24.1; the pitfalls are common practice.
 */
#include "carrier/concat.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct concat_part part(uint16_t ref, uint8_t total, uint8_t seq,
                               const char *text)
{
    return (struct concat_part){.from = "+99970000001",
                                .to = "7070",
                                .ref = ref,
                                .total = total,
                                .seq = seq,
                                .text = text,
                                .len = strlen(text),
                                .at_s = 1000,
                                .mark = seq};
}

static int put(struct concat *c, uint16_t ref, uint8_t total, uint8_t seq,
               const char *text)
{
    struct concat_part p = part(ref, total, seq, text);

    return concat_put(c, &p);
}

static void expect(struct concat *c, int64_t now, const char *text)
{
    struct concat_text t;

    if (text == NULL) {
        ck_assert(!concat_next(c, now, &t));
        return;
    }
    ck_assert(concat_next(c, now, &t));
    ck_assert_str_eq(t.text, text);
    ck_assert_uint_eq(t.len, strlen(text));
    concat_text_release(&t);
}

START_TEST(any_order)
{
    static const uint8_t orders[6][3] = {{1, 2, 3}, {1, 3, 2}, {2, 1, 3},
                                         {2, 3, 1}, {3, 1, 2}, {3, 2, 1}};
    static const char *const texts[] = {"", "one ", "two ", "three"};
    struct concat *c = concat_new();

    for (int i = 0; i < 3; i++) {
        uint8_t seq = orders[_i][i];

        expect(c, 1000, NULL);
        ck_assert_int_eq(put(c, 7, 3, seq, texts[seq]),
                         i == 2 ? CONCAT_WHOLE : CONCAT_KEPT);
        /* At once again: nothing changes. */
        if (i < 2)
            ck_assert_int_eq(put(c, 7, 3, seq, texts[seq]), CONCAT_REPEAT);
    }
    expect(c, 1000, "one two three");
    expect(c, 1000, NULL);
    ck_assert_uint_eq(concat_octets(c), 0);
    ck_assert_uint_eq(concat_texts(c), 0);
    /* A late repeat of each completes nothing a second time. */
    for (uint8_t seq = 1; seq <= 3; seq++)
        ck_assert_int_eq(put(c, 7, 3, seq, texts[seq]), CONCAT_REPEAT);
    expect(c, 1000 + CONCAT_WAIT_S, NULL);
    concat_free(c);
}
END_TEST

/* Not joined: another sender, recipient, reference, its width, total. */
START_TEST(kept_apart)
{
    struct concat *c = concat_new();
    struct concat_part p;

    ck_assert_int_eq(put(c, 7, 2, 1, "one "), CONCAT_KEPT);
    p = part(7, 2, 2, "two");
    p.from = "+99970000002";
    ck_assert_int_eq(concat_put(c, &p), CONCAT_KEPT);
    p = part(7, 2, 2, "two");
    p.to = "7071";
    ck_assert_int_eq(concat_put(c, &p), CONCAT_KEPT);
    p = part(7, 2, 2, "two");
    p.wide = true;
    ck_assert_int_eq(concat_put(c, &p), CONCAT_KEPT);
    ck_assert_int_eq(put(c, 8, 2, 2, "two"), CONCAT_KEPT);
    ck_assert_int_eq(put(c, 7, 3, 2, "two"), CONCAT_KEPT);
    ck_assert_uint_eq(concat_texts(c), 6);
    ck_assert_int_eq(put(c, 7, 2, 2, "TWO"), CONCAT_WHOLE);
    expect(c, 1000, "one TWO");
    concat_free(c);
}
END_TEST

/* References are used again: another content is another text. */
START_TEST(reference_again)
{
    struct concat *c = concat_new();

    ck_assert_int_eq(put(c, 1, 2, 1, "first "), CONCAT_KEPT);
    ck_assert_int_eq(put(c, 1, 2, 1, "second "), CONCAT_KEPT);
    ck_assert_uint_eq(concat_texts(c), 2);
    ck_assert_int_eq(put(c, 1, 2, 2, "end"), CONCAT_WHOLE);
    ck_assert_int_eq(put(c, 1, 2, 2, "End"), CONCAT_WHOLE);
    ck_assert_uint_eq(concat_texts(c), 2);
    concat_free(c);
}
END_TEST

/* After a text came out, the same reference with new words is a new text. */
START_TEST(reference_after_done)
{
    struct concat *c = concat_new();

    put(c, 1, 2, 1, "a ");
    put(c, 1, 2, 2, "b");
    expect(c, 1000, "a b");
    ck_assert_int_eq(put(c, 1, 2, 1, "c "), CONCAT_KEPT);
    ck_assert_int_eq(put(c, 1, 2, 2, "d"), CONCAT_WHOLE);
    expect(c, 1001, "c d");
    concat_free(c);
}
END_TEST

START_TEST(incomplete)
{
    struct concat *c = concat_new();
    struct concat_text t;

    ck_assert_int_eq(concat_due(c), 0);
    put(c, 9, 5, 2, "two ");
    put(c, 9, 5, 5, "five");
    ck_assert_int_eq(concat_due(c), 1000 + CONCAT_WAIT_S);
    expect(c, 1000 + CONCAT_WAIT_S - 1, NULL);
    ck_assert(concat_next(c, 1000 + CONCAT_WAIT_S, &t));
    ck_assert_str_eq(t.text, "[...]two [...]five");
    ck_assert_int_eq(t.parts, 2);
    ck_assert_int_eq(t.total, 5);
    ck_assert_int_eq(t.marks[0], 2);
    ck_assert_int_eq(t.marks[1], 5);
    concat_text_release(&t);
    /* The rest that comes late is read for itself, not lost. */
    ck_assert_int_eq(put(c, 9, 5, 1, "one "), CONCAT_KEPT);
    concat_free(c);
}
END_TEST

START_TEST(refused)
{
    struct concat *c = concat_new();
    struct concat_part p = part(1, 2, 1, "x");
    char name[CONCAT_NAME_CAP + 1];

    ck_assert_int_eq(put(c, 1, 0, 0, "x"), KW_EINVAL);
    ck_assert_int_eq(put(c, 1, 2, 0, "x"), KW_EINVAL);
    ck_assert_int_eq(put(c, 1, 2, 3, "x"), KW_EINVAL);
    memset(name, '9', sizeof(name) - 1);
    name[sizeof(name) - 1] = '\0';
    p.from = name;
    ck_assert_int_eq(concat_put(c, &p), KW_EINVAL);
    p = part(1, 2, 1, "x");
    p.len = CONCAT_PART_CAP + 1;
    ck_assert_int_eq(concat_put(c, &p), KW_EINVAL);
    concat_free(c);
}
END_TEST

/*
 * A flood of first parts: the bounds hold, and every part that was taken in
 * comes out once.
 */
START_TEST(flood)
{
    struct concat *c = concat_new();
    char *big = kw_malloc(CONCAT_PART_CAP + 1);
    size_t came = 0, total = 20000;
    struct concat_text t;

    memset(big, 'x', CONCAT_PART_CAP);
    big[CONCAT_PART_CAP] = '\0';
    for (size_t i = 0; i < total; i++) {
        char from[20];
        struct concat_part p = part((uint16_t)i, 255, 1 + i % 255, big);

        snprintf(from, sizeof(from), "+9997%07zu", i);
        p.from = from;
        p.at_s = 1000 + (int64_t)i;
        ck_assert_int_ge(concat_put(c, &p), 0);
        while (concat_next(c, p.at_s, &t)) {
            came += t.parts;
            concat_text_release(&t);
        }
        ck_assert_uint_lt(concat_texts(c), CONCAT_TEXTS_MOST);
        ck_assert_uint_le(concat_octets(c), CONCAT_OCTETS_MOST);
    }
    while (concat_next(c, 1000000, &t)) {
        came += t.parts;
        concat_text_release(&t);
    }
    ck_assert_uint_eq(came, total);
    ck_assert_uint_eq(concat_texts(c), 0);
    kw_free(big);
    concat_free(c);
}
END_TEST

/* Shuffled parts of many texts with repeats: each text comes out once. */
START_TEST(shuffled)
{
    enum { TEXTS = 60, PARTS = 4 };
    struct {
        int text, part;
    } deck[TEXTS * PARTS * 2], swap;
    struct concat *c = concat_new();
    bool seen[TEXTS] = {false};
    size_t n = KW_COUNT(deck);

    srand(5);
    for (size_t i = 0; i < n; i++) {
        deck[i].text = (int)(i % (TEXTS * PARTS)) / PARTS;
        deck[i].part = (int)(i % PARTS);
    }
    for (size_t i = n - 1; i > 0; i--) {
        size_t j = (size_t)rand() % (i + 1);

        swap = deck[i];
        deck[i] = deck[j];
        deck[j] = swap;
    }
    for (size_t i = 0; i < n; i++) {
        char text[16];
        struct concat_text t;

        snprintf(text, sizeof(text), "%02d%d,", deck[i].text, deck[i].part);
        ck_assert_int_ge(put(c, (uint16_t)deck[i].text, PARTS,
                             (uint8_t)(deck[i].part + 1), text),
                         0);
        while (concat_next(c, 1000, &t)) {
            int k = (t.text[0] - '0') * 10 + t.text[1] - '0';

            ck_assert_uint_eq(t.len, 4 * PARTS);
            ck_assert(!seen[k]);
            seen[k] = true;
            concat_text_release(&t);
        }
    }
    for (int i = 0; i < TEXTS; i++)
        ck_assert(seen[i]);
    concat_free(c);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("concat");
    TCase *t = tcase_create("concat");
    SRunner *r;
    int failed;

    tcase_add_loop_test(t, any_order, 0, 6);
    tcase_add_test(t, kept_apart);
    tcase_add_test(t, reference_again);
    tcase_add_test(t, reference_after_done);
    tcase_add_test(t, incomplete);
    tcase_add_test(t, refused);
    tcase_add_test(t, flood);
    tcase_add_test(t, shuffled);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
