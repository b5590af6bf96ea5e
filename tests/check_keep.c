/*
 * check_keep.c - parts of long texts on disk, through crashes at every octet;
 * and which deliveries are the same text once more.
 */
#include "base/file.h"
#include "carrier/keep.h"
#include "carrier/repeats.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[] = "/tmp/kw-keep-XXXXXX";
static char path[100];
static int found;
static char found_text[100], found_ref[KEEP_REF_CAP];

static void on_found(void *arg, struct concat_text *t)
{
    (void)arg;
    found++;
    snprintf(found_text, sizeof(found_text), "%s", t->text);
    keep_ref(t, found_ref);
    concat_text_release(t);
}

static struct keep *open_it(struct concat *c)
{
    struct keep_found f = {.found = on_found};
    struct keep *k = NULL;
    char *why = NULL;

    found = 0;
    ck_assert_int_eq(keep_open(path, c, &f, &k, &why), 0);
    return k;
}

static void put(struct concat *c, struct keep *k, uint8_t seq, const char *text)
{
    struct concat_part p = {.from = "+99970000001",
                            .to = "7070",
                            .ref = 7,
                            .total = 3,
                            .seq = seq,
                            .text = text,
                            .len = strlen(text),
                            .at_s = 1000 + seq,
                            .mark = 1};

    ck_assert_int_ge(concat_put(c, &p), 0);
    ck_assert_int_eq(keep_part(k, &p), 0);
    ck_assert_int_eq(keep_sync(k), 0);
}

static void setup(void)
{
    snprintf(path, sizeof(path), "%s/parts", folder);
    unlink(path);
}

START_TEST(outlives_a_restart)
{
    struct concat *c = concat_new();
    struct keep *k = open_it(c);
    struct concat_text t;
    char ref[KEEP_REF_CAP];

    put(c, k, 1, "one ");
    put(c, k, 3, "three");
    keep_close(k);
    concat_free(c);
    c = concat_new();
    k = open_it(c);
    ck_assert_int_eq(found, 0);
    ck_assert_uint_eq(concat_texts(c), 1);
    put(c, k, 2, "two ");
    ck_assert(concat_next(c, 2000, &t));
    ck_assert_str_eq(t.text, "one two three");
    keep_ref(&t, ref);
    concat_text_release(&t);
    keep_close(k); /* before it was in the ledger */
    concat_free(c);
    c = concat_new();
    k = open_it(c);
    ck_assert_int_eq(found, 1);
    ck_assert_str_eq(found_text, "one two three");
    ck_assert_str_eq(found_ref, ref); /* known as the same */
    keep_done(k, ref, c, false);
    keep_close(k);
    concat_free(c);
    c = concat_new();
    k = open_it(c);
    ck_assert_int_eq(found, 0);
    keep_done(k, ref, c, true); /* nothing is left: the file is emptied */
    keep_close(k);
    concat_free(c);
}
END_TEST

START_TEST(emptied)
{
    struct concat *c = concat_new();
    struct keep *k = open_it(c);
    struct concat_text t;
    struct stat st;

    put(c, k, 1, "one ");
    put(c, k, 2, "two ");
    put(c, k, 3, "three");
    ck_assert(concat_next(c, 2000, &t));
    concat_text_release(&t);
    keep_done(k, "long-x", c, true);
    ck_assert_int_eq(stat(path, &st), 0);
    ck_assert_int_eq(st.st_size, 0);
    put(c, k, 1, "other ");
    keep_close(k);
    concat_free(c);
    c = concat_new();
    k = open_it(c);
    ck_assert_uint_eq(concat_texts(c), 1);
    keep_close(k);
    concat_free(c);
}
END_TEST

/* Cut at every octet, the parts before the cut are there, none is bent. */
START_TEST(torn_anywhere)
{
    struct concat *c = concat_new();
    struct keep *k = open_it(c);
    char *data = NULL;
    size_t len = 0, most = 0;

    put(c, k, 1, "one ");
    put(c, k, 3, "three");
    keep_close(k);
    concat_free(c);
    ck_assert_int_eq(file_read(path, 10000, &data, &len), 0);
    for (size_t cut = 0; cut <= len; cut++) {
        FILE *f = fopen(path, "wb");

        ck_assert_ptr_nonnull(f);
        fwrite(data, 1, cut, f);
        fclose(f);
        c = concat_new();
        k = open_it(c);
        ck_assert_uint_ge(concat_octets(c), most);
        most = concat_octets(c);
        put(c, k, 2, "two "); /* goes behind what is whole */
        keep_close(k);
        concat_free(c);
        c = concat_new();
        k = open_it(c);
        ck_assert_uint_eq(found, most == 9);
        keep_close(k);
        concat_free(c);
    }
    ck_assert_uint_eq(most, 9);
    kw_free(data);
}
END_TEST

START_TEST(written_anew)
{
    struct concat *c = concat_new();
    struct keep *k = open_it(c);
    char big[CONCAT_PART_CAP + 1];
    struct stat st;

    memset(big, 'x', CONCAT_PART_CAP);
    big[CONCAT_PART_CAP] = '\0';
    put(c, k, 1, "one ");
    for (int i = 0; i < 5000; i++) {
        struct concat_part p = {.from = "+99970000002",
                                .to = "",
                                .total = 9,
                                .seq = 1,
                                .text = big,
                                .len = CONCAT_PART_CAP};

        ck_assert_int_eq(keep_part(k, &p), 0);
    }
    keep_done(k, "long-x", c, true);
    ck_assert_int_eq(stat(path, &st), 0);
    ck_assert_int_lt(st.st_size, 1000);
    put(c, k, 2, "two ");
    keep_close(k);
    concat_free(c);
    c = concat_new();
    k = open_it(c);
    ck_assert_uint_eq(concat_octets(c), 8);
    keep_close(k);
    concat_free(c);
}
END_TEST

START_TEST(no_place)
{
    struct concat *c = concat_new();
    struct keep_found f = {.found = on_found};
    struct keep *k;
    char *why = NULL;

    ck_assert_int_eq(keep_open("/nowhere/parts", c, &f, &k, &why), KW_EIO);
    ck_assert_ptr_nonnull(strstr(why, "/nowhere/parts"));
    kw_free(why);
    concat_free(c);
}
END_TEST

/* ---- repeats ---- */

static struct repeats *r;
static char ref[REPEATS_REF_CAP], first[REPEATS_REF_CAP];

static unsigned come(const char *text, int64_t now)
{
    struct repeats_text t = {.from = "+99970000001",
                             .to = "7070",
                             .octets = text,
                             .len = strlen(text)};

    return repeats_ref(r, &t, now, ref);
}

static unsigned come_first(const char *text, int64_t now)
{
    unsigned n = come(text, now);

    memcpy(first, ref, sizeof(first));
    return n;
}

static void same(void)
{
    ck_assert_str_eq(ref, first);
}

static void another(void)
{
    ck_assert_str_ne(ref, first);
}

START_TEST(said_twice_by_a_person)
{
    unsigned n = come_first("yes", 100000);

    repeats_answered(r, n, 100100, true);
    come("no", 100200);
    another();
    come("yes", 100000 + REPEATS_ECHO_MS);
    another();
}
END_TEST

START_TEST(while_not_answered)
{
    come_first("yes", 100000);
    come("yes", 100000 + 3600000);
    same();
}
END_TEST

START_TEST(at_once_again)
{
    unsigned n = come_first("yes", 100000);

    repeats_answered(r, n, 100010, true);
    come("yes", 100020);
    same();
}
END_TEST

START_TEST(answered_late)
{
    unsigned n = come_first("yes", 100000);

    repeats_answered(r, n, 100000 + REPEATS_LATE_MS + 1, true);
    n = come("yes", 200000);
    same();
    repeats_answered(r, n, 200010, true);
    come("yes", 400000); /* once was enough */
    another();
}
END_TEST

START_TEST(lost_after_the_answer)
{
    unsigned n = come_first("yes", 100000);

    repeats_answered(r, n, 100010, true);
    repeats_lost(r, 100010 + (_i == 0 ? 1000 : REPEATS_SURE_MS));
    come("yes", 900000);
    if (_i == 0)
        same();
    else
        another();
}
END_TEST

START_TEST(after_a_restart)
{
    come_first("yes", 100000);
    repeats_free(r);
    r = repeats_new();
    repeats_remember(r, first);
    repeats_remember(r, "pdu-of-another-kind");
    repeats_remember(r, "sm-00112233445566778899aabbccddeeff-1");
    repeats_remembered(r);
    come("yes", 900000);
    same();
    /* What came long before the newest was answered for sure. */
    repeats_free(r);
    r = repeats_new();
    repeats_remember(r, first);
    repeats_remember(r, "sm-00112233445566778899aabbccddeeff-900000");
    repeats_remembered(r);
    come("yes", 1900000);
    another();
}
END_TEST

START_TEST(many)
{
    char text[20];

    for (int i = 0; i < 3 * REPEATS_KEPT; i++) {
        snprintf(text, sizeof(text), "text %d", i);
        repeats_answered(r, come(text, i), i, true);
    }
    repeats_answered(r, 0, 1, true); /* long gone */
    repeats_lost(r, 3 * REPEATS_KEPT);
    come(text, 900000);
    ck_assert_ptr_nonnull(strstr(ref, "-6143"));
}
END_TEST

static void new_repeats(void)
{
    r = repeats_new();
}

static void free_repeats(void)
{
    repeats_free(r);
}

int main(void)
{
    Suite *s = suite_create("keep");
    TCase *t = tcase_create("keep"), *u = tcase_create("repeats");
    SRunner *runner;
    int failed;

    if (mkdtemp(folder) == NULL)
        return EXIT_FAILURE;
    tcase_add_checked_fixture(t, setup, NULL);
    tcase_add_test(t, outlives_a_restart);
    tcase_add_test(t, emptied);
    tcase_add_test(t, torn_anywhere);
    tcase_add_test(t, written_anew);
    tcase_add_test(t, no_place);
    suite_add_tcase(s, t);
    tcase_add_checked_fixture(u, new_repeats, free_repeats);
    tcase_add_test(u, said_twice_by_a_person);
    tcase_add_test(u, while_not_answered);
    tcase_add_test(u, at_once_again);
    tcase_add_test(u, answered_late);
    tcase_add_loop_test(u, lost_after_the_answer, 0, 2);
    tcase_add_test(u, after_a_restart);
    tcase_add_test(u, many);
    suite_add_tcase(s, u);
    runner = srunner_create(s);
    srunner_run_all(runner, CK_ENV);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    unlink(path);
    rmdir(folder);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
