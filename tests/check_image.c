/*
 * check_image.c - a reader out of an image reads as one out of the files, and
 * an image that is old, cut, changed or another's never serves.
 */
#include "base/buf.h"
#include "base/file.h"
#include "base/sum.h"
#include "reader/reader_image.h"
#include "tests/reader_rig.h"

#include <check.h>
#include <jansson.h>
#include <pthread.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define THREADS 4

/* A folder of the grammar and one language, and an image of it. */
static char folder[] = "/tmp/kw-image-XXXXXX";
static char words[64], abnf[64], image[64], whole_image[64];
static char *data; /* of the image */
static size_t len;
static struct image_key key;

/* The shipped words, out of the files and out of an image of them. */
static struct reader *files, *mapped;

/* A file of the grammar with some more in it. */
static void copy(const char *name, const char *to, const char *more)
{
    char path[1024], *text;
    size_t n;
    FILE *f = fopen(to, "w");

    file_join(path, sizeof(path), rig_folder(), name);
    ck_assert_ptr_nonnull(f);
    ck_assert_int_eq(file_read(path, 1 << 22, &text, &n), 0);
    fwrite(text, 1, n, f);
    fputs(more, f);
    fclose(f);
    kw_free(text);
}

static struct reader *open_quick(const char *of, const char *path,
                                 const struct serial_layout *layout,
                                 const char *wrong)
{
    struct fault_list faults = {0};
    struct reader *r = NULL;
    const char *why = "untold";
    int err =
        reader_open_quick(of, path, layout, &rig_limits, &faults, &why, &r);

    fault_print(&faults, stderr);
    ck_assert_int_eq(err, 0);
    ck_assert_str_eq(why != NULL ? why : "serves", wrong);
    return r;
}

static void make_image(const char *of, const char *path)
{
    struct fault_list faults = {0};
    int err = reader_image_make(of, path, &faults);

    fault_print(&faults, stderr);
    ck_assert_int_eq(err, 0);
}

static void setup(void)
{
    struct fault_list faults = {0};

    ck_assert_ptr_nonnull(mkdtemp(folder));
    snprintf(words, sizeof(words), "%s/en.words", folder);
    snprintf(abnf, sizeof(abnf), "%s/report.abnf", folder);
    snprintf(image, sizeof(image), "%s/" READER_IMAGE, folder);
    snprintf(whole_image, sizeof(whole_image), "%s/whole", folder);
    copy("en.words", words, "");
    copy("report.abnf", abnf, "");
    make_image(folder, NULL);
    ck_assert_int_eq(file_read(image, 1 << 30, &data, &len), 0);
    ck_assert_int_eq(reader_image_key(folder, &key), 0);
    make_image(rig_folder(), whole_image);
    ck_assert_int_eq(
        reader_open(rig_folder(), &rig_layout, &rig_limits, &faults, &files),
        0);
    mapped = open_quick(rig_folder(), whole_image, &rig_layout, "serves");
}

static void teardown(void)
{
    reader_close(files);
    reader_close(mapped);
    kw_free(data);
    unlink(words);
    unlink(abnf);
    unlink(image);
    unlink(whole_image);
    rmdir(folder);
}

/* ---- what is read ---- */

/* All that a reader made of a text. */
static void tell(const struct reader *r, struct reader_scratch *s,
                 const char *text, const struct reader_hint *hint,
                 struct kw_buf *out)
{
    struct reader_meaning m;

    reader_read(r, s, text, strlen(text), hint, &m);
    kw_buf_clear(out);
    reader_explain(r, s, out);
    kw_buf_printf(out, "%s %d %s %s %s %u %zu %s %s\n", m.lang, (int)m.command,
                  m.serial, m.serial_other, m.serial_wrong, m.danger,
                  m.n_numbers, m.word, m.phone);
    for (size_t i = 0; i < m.n_obs; i++)
        kw_buf_printf(out, "%d %d %d %u %d %d %g %g %d\n", (int)m.obs[i].kind,
                      m.obs[i].people, m.obs[i].under5, m.obs[i].signs,
                      (int)m.obs[i].part, (int)m.obs[i].measure.type,
                      m.obs[i].measure.value, m.obs[i].measure.minutes,
                      (int)m.obs[i].measure.from_brim);
}

/* Each text of a set to fn; how many. */
static int each_text(const char *name, void (*fn)(const char *text, void *arg),
                     void *arg)
{
    char path[1100], line[8192];
    int n = 0;
    FILE *f;

    snprintf(path, sizeof(path), "%s/../tests/texts/%s", rig_folder(), name);
    f = fopen(path, "r");
    ck_assert_ptr_nonnull(f);
    while (fgets(line, sizeof(line), f) != NULL) {
        json_t *row = json_loads(line, 0, NULL);
        const char *text = json_string_value(json_object_get(row, "text"));

        if (text != NULL) {
            fn(text, arg);
            n++;
        }
        json_decref(row);
    }
    fclose(f);
    return n;
}

struct pair {
    const struct reader *a, *b;
    struct reader_scratch *of_a, *of_b;
    struct reader_hint hint;
};

static void read_both(const char *text, void *arg)
{
    struct pair *p = arg;
    struct kw_buf a, b;

    kw_buf_init(&a, 1 << 20);
    kw_buf_init(&b, 1 << 20);
    tell(p->a, p->of_a, text, &p->hint, &a);
    tell(p->b, p->of_b, text, &p->hint, &b);
    ck_assert_msg(a.len == b.len && memcmp(a.data, b.data, a.len) == 0,
                  "%s\n%s%s", text, kw_buf_text(&a), kw_buf_text(&b));
    kw_buf_release(&a);
    kw_buf_release(&b);
}

static const char *const sets[] = {"sample.jsonl", "set-a.jsonl", "set-k.jsonl",
                                   "set-t.jsonl"};

START_TEST(reads_as_the_files_do)
{
    struct pair p = {.a = files, .b = mapped, .hint = {"sw", "021407319"}};
    int n = 0;

    p.of_a = reader_scratch_new(files);
    p.of_b = reader_scratch_new(mapped);
    ck_assert_uint_eq(reader_languages(files), reader_languages(mapped));
    for (size_t i = 0; i < reader_languages(files); i++)
        ck_assert_str_eq(reader_language(files, i), reader_language(mapped, i));
    for (size_t i = 0; i < KW_COUNT(sets); i++)
        n += each_text(sets[i], read_both, &p);
    printf("# %d texts\n", n);
    ck_assert_int_gt(n, 500);
    reader_scratch_free(p.of_a);
    reader_scratch_free(p.of_b);
}
END_TEST

/* The serials' layout and what a pot holds are not in the image. */
START_TEST(layout_of_serials_is_free)
{
    static const struct serial_layout layouts[] = {{SERIAL_MOD_37_36, 3, 2},
                                                   {SERIAL_NO_CHECK, 2, 3}};
    struct fault_list faults = {0};

    for (size_t i = 0; i < KW_COUNT(layouts); i++) {
        struct pair p = {.hint = {NULL, NULL}};
        struct reader *a, *b;

        ck_assert_int_eq(
            reader_open(rig_folder(), &layouts[i], &rig_limits, &faults, &a),
            0);
        b = open_quick(rig_folder(), whole_image, &layouts[i], "serves");
        p = (struct pair){a, b, reader_scratch_new(a), reader_scratch_new(b),
                          p.hint};
        read_both("pot 3A7F slow 12 345 crack", &p);
        read_both("12-345 leaks, 37.a5.b too", &p);
        each_text("sample.jsonl", read_both, &p);
        reader_scratch_free(p.of_a);
        reader_scratch_free(p.of_b);
        reader_close(a);
        reader_close(b);
    }
}
END_TEST

/* Every octet of every table, as it is made now and as it was kept. */
START_TEST(tables_are_the_same)
{
    struct fault_list faults = {0};
    struct reader_tables t = {0};
    char *again;
    size_t n;

    ck_assert_int_eq(lexicon_load(folder, &faults, &t.lex), 0);
    ck_assert_int_eq(grammar_load(folder, t.lex, &faults, &t.grammar), 0);
    reader_image_build(&key, t.lex, t.grammar, &again, &n);
    ck_assert_uint_eq(n, len);
    ck_assert_int_eq(memcmp(again, data, n), 0);
    kw_free(again);
    reader_tables_release(&t);
}
END_TEST

/* ---- threads: patterns are compiled by whoever needs them first ---- */

struct thread {
    pthread_t id;
    const struct reader *r;
    struct kw_buf said;
    pthread_barrier_t *begin;
};

static const char *const texts[] = {
    "0214-073-19 cracked",
    "slow 5 fingers in 2 hours",
    "maji yanavuja",
    "2 children have diarrhoea with blood",
    "el filtro gotea",
    "help",
    "le robinet est casse et l'eau ne passe plus",
    "list",
    "batch 0214 closed"};

static void *read_all(void *arg)
{
    struct thread *t = arg;
    struct reader_scratch *s = reader_scratch_new(t->r);
    struct reader_hint none = {NULL, NULL};
    struct kw_buf one;

    kw_buf_init(&one, 1 << 16);
    pthread_barrier_wait(t->begin);
    for (size_t i = 0; i < KW_COUNT(texts); i++) {
        tell(t->r, s, texts[i], &none, &one);
        kw_buf_puts(&t->said, kw_buf_text(&one));
    }
    kw_buf_release(&one);
    reader_scratch_free(s);
    return NULL;
}

START_TEST(threads_share_a_reader)
{
    struct reader *r =
        open_quick(rig_folder(), whole_image, &rig_layout, "serves");
    struct thread t[THREADS];
    pthread_barrier_t begin;

    pthread_barrier_init(&begin, NULL, THREADS);
    for (int i = 0; i < THREADS; i++) {
        t[i].r = r;
        t[i].begin = &begin;
        kw_buf_init(&t[i].said, 1 << 20);
        ck_assert_int_eq(pthread_create(&t[i].id, NULL, read_all, &t[i]), 0);
    }
    for (int i = 0; i < THREADS; i++)
        pthread_join(t[i].id, NULL);
    ck_assert_uint_gt(t[0].said.len, 500);
    for (int i = 0; i < THREADS; i++) {
        ck_assert_str_eq(kw_buf_text(&t[0].said), kw_buf_text(&t[i].said));
        if (i > 0)
            kw_buf_release(&t[i].said);
    }
    kw_buf_release(&t[0].said);
    pthread_barrier_destroy(&begin);
    reader_close(r);
}
END_TEST

/* ---- images that do not serve ---- */

static void put(const char *octets, size_t n)
{
    ck_assert_int_eq(file_write_whole(image, octets, n), 0);
}

/* Served by the files, which are read all the same. */
static void must_not_serve(const char *wrong)
{
    struct reader *r = open_quick(folder, NULL, &rig_layout, wrong);
    struct reader_scratch *s = reader_scratch_new(r);
    struct reader_meaning m;

    reader_read(r, s, "0214-073-19 cracked", 19, NULL, &m);
    ck_assert_int_eq(m.outcome, READER_FILED);
    ck_assert_int_eq(m.obs[0].kind, READER_CRACK);
    reader_scratch_free(s);
    reader_close(r);
}

START_TEST(wrong_files_do_not_serve)
{
    char other[8];

    unlink(image);
    must_not_serve("is not there");
    put("", 0);
    must_not_serve("is no image of words");
    put("SQLite format 3", 15);
    must_not_serve("is no image of words");
    put(data, 100);
    must_not_serve("is not whole");
    put(data, len / 2);
    must_not_serve("is not whole");
    put(data, len - 1);
    must_not_serve("is not whole");
    memcpy(other, data + 24, 8);
    data[24] ^= 1; /* the maker: struct head in image.c */
    put(data, len);
    must_not_serve("is of another version of kilnword");
    data[24] ^= 1;
    data[len / 2] ^= 4;
    put(data, len);
    must_not_serve("is damaged");
    data[len / 2] ^= 4;
    unlink(image);
    ck_assert_int_eq(mkdir(image, 0755), 0);
    must_not_serve("is no image of words");
    rmdir(image);
    ck_assert_int_eq(mkfifo(image, 0644), 0); /* and nobody waits for it */
    must_not_serve("is no image of words");
    unlink(image);
    ck_assert_int_eq(symlink(image, image), 0);
    must_not_serve("cannot be read");
    unlink(image);
    put(data, len);
    reader_close(open_quick(folder, NULL, &rig_layout, "serves"));
}
END_TEST

/* Whoever changes a word reads the new one, whatever the times of the files. */
START_TEST(changed_words_do_not_serve)
{
    static const char old[] = "is of other words than the files have now";
    struct reader_scratch *s;
    struct reader_meaning m;
    struct reader *r;
    char more[64];

    copy("en.words", words, "crack: zqazqa\n");
    r = open_quick(folder, NULL, &rig_layout, old);
    s = reader_scratch_new(r);
    reader_read(r, s, "0214-073-19 zqazqa", 18, NULL, &m);
    ck_assert_int_eq(m.outcome, READER_FILED);
    reader_scratch_free(s);
    reader_close(r);
    copy("en.words", words, "");
    copy("report.abnf", abnf, "; a remark\n");
    reader_close(open_quick(folder, NULL, &rig_layout, old));
    copy("report.abnf", abnf, "");
    snprintf(more, sizeof(more), "%s/xx.words", folder);
    copy("en.words", more, "");
    reader_close(open_quick(folder, NULL, &rig_layout, old));
    rename(words, more); /* the same words of another language */
    reader_close(open_quick(folder, NULL, &rig_layout, old));
    rename(more, words);
    reader_close(open_quick(folder, NULL, &rig_layout, "serves"));
}
END_TEST

/* Faults of the files are told as ever, image or none. */
START_TEST(faults_are_told)
{
    struct fault_list faults = {0};
    struct reader *r;
    const char *why;

    copy("en.words", words, "crack: zqazqa\nleak: zqazqa\n");
    ck_assert_int_eq(reader_open_quick(folder, NULL, &rig_layout, &rig_limits,
                                       &faults, &why, &r),
                     KW_ESYNTAX);
    ck_assert_uint_eq(faults.n, 1);
    ck_assert_int_eq(reader_image_make(folder, NULL, &faults), KW_ESYNTAX);
    ck_assert_int_eq(reader_open_quick("/nonexistent", NULL, &rig_layout,
                                       &rig_limits, &faults, &why, &r),
                     KW_EIO);
    fault_release(&faults);
}
END_TEST

static uint64_t random_state = 20260704;

static size_t below(size_t n)
{
    random_state = random_state * UINT64_C(6364136223846793005) +
                   UINT64_C(1442695040888963407);
    return (size_t)((random_state >> 33) % n);
}

static struct image *open_octets(size_t n, const char *what, size_t at)
{
    struct image *m;
    enum image_state s = image_of(data, n, &key, &m);

    ck_assert_msg(s != IMAGE_SERVES && m == NULL, "%s at %zu serves", what, at);
    return m;
}

/* A bit anywhere, and an end anywhere. */
START_TEST(no_damage_is_unseen)
{
    for (int i = 0; i < 1000; i++) {
        size_t at = i < 300 ? below(2048) : below(len);
        char was = data[at];

        data[at] = (char)(was ^ 1 << below(8));
        open_octets(len, "a bit", at);
        data[at] = (char)(was + 1 + (char)below(254));
        open_octets(len, "an octet", at);
        data[at] = was;
        open_octets(at, "the end", at);
    }
    for (int i = 0; i < 300; i++) { /* a page that was never written */
        size_t at = below(len / 4096) * 4096, n = 0;
        char page[4096];

        memcpy(page, data + at, sizeof(page));
        memset(data + at, 0, sizeof(page));
        for (size_t k = 0; k < sizeof(page); k++)
            n += page[k] != 0;
        if (n > 0)
            open_octets(len, "a page", at);
        memcpy(data + at, page, sizeof(page));
    }
}
END_TEST

/* Octets that differ in one place, in their length, or in their order. */
START_TEST(sums_differ)
{
    unsigned char row[300] = {0};
    uint64_t sum = kw_sum(0, row, sizeof(row));

    for (size_t i = 0; i < sizeof(row); i++) {
        for (int bit = 0; bit < 8; bit++) {
            row[i] ^= (unsigned char)(1 << bit);
            ck_assert_uint_ne(kw_sum(0, row, sizeof(row)), sum);
            row[i] ^= (unsigned char)(1 << bit);
        }
        ck_assert_uint_ne(kw_sum(0, row, i), sum);
    }
    for (size_t a = 0; a + 8 < sizeof(row); a += 8) {
        row[a] = 1;
        for (size_t b = a + 8; b < sizeof(row); b += 8) {
            sum = kw_sum(0, row, sizeof(row));
            row[a] = 0;
            row[b] = 1;
            ck_assert_uint_ne(kw_sum(0, row, sizeof(row)), sum);
            row[a] = 1;
            row[b] = 0;
        }
        row[a] = 0;
    }
    ck_assert_uint_ne(kw_sum(1, row, 8), kw_sum(2, row, 8));
    ck_assert_uint_eq(kw_sum(7, row, 8), kw_sum(7, row + 16, 8));
}
END_TEST

int main(void)
{
    Suite *s = suite_create("image");
    TCase *t = tcase_create("image");
    SRunner *r;
    int failed;

    tcase_set_timeout(t, 120);
    tcase_add_unchecked_fixture(t, setup, teardown);
    tcase_add_test(t, reads_as_the_files_do);
    tcase_add_test(t, layout_of_serials_is_free);
    tcase_add_test(t, tables_are_the_same);
    tcase_add_test(t, threads_share_a_reader);
    tcase_add_test(t, wrong_files_do_not_serve);
    tcase_add_test(t, changed_words_do_not_serve);
    tcase_add_test(t, faults_are_told);
    tcase_add_test(t, no_damage_is_unseen);
    tcase_add_test(t, sums_differ);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed != 0;
}
