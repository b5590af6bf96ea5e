/*
 * check_reply.c - what is said back: the loader's faults, the room of every
 * reply, and that what can hurt stands first.
 * Sizes: 3GPP TS 23.038, 6.1.2.1 (160 septets) and TS 23.040, 9.2.3.24.1 (67
 * UCS-2 units in each of two parts). Danger signs: IMCI chart booklet, WHO.
 */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "base/septet.h"
#include "desk/reply.h"
#include "watch/flowrule.h"

#define SET(dst, src) kw_copy(dst, sizeof(dst), src, strlen(src))

static struct replies *replies;
static const struct serial_layout layout = {SERIAL_MOD_97_10, 4, 3};

static void open_replies(void)
{
    struct fault_list faults = {0};
    char folder[4096];

    file_join(folder, sizeof(folder), getenv("KW_SOURCE"), "grammar");
    ck_assert_int_eq(replies_open(folder, &faults, &replies), 0);
    ck_assert_uint_eq(fault_print(&faults, stderr), 0);
}

static void close_replies(void)
{
    replies_close(replies);
}

static bool one_reply(const char *text)
{
    struct septet_size size = septet_measure(text, strlen(text));

    return size.gsm7 ? size.segments <= 1 : size.segments <= 2;
}

/* ---- faults ---- */

static char temp[] = "/tmp/kw-replyXXXXXX";

/* The English file with one line replaced, read alone. */
static size_t faults_of(const char *from, const char *to, char *first,
                        size_t cap)
{
    struct fault_list faults = {0};
    struct replies *r = NULL;
    char path[4096], *data, *at;
    size_t len, n;
    struct kw_buf text;

    snprintf(path, sizeof(path), "%s/grammar/en.replies", getenv("KW_SOURCE"));
    ck_assert_int_eq(file_read(path, 1 << 20, &data, &len), 0);
    at = strstr(data, from);
    ck_assert_ptr_nonnull(at);
    kw_buf_init(&text, 1 << 20);
    kw_buf_put(&text, data, (size_t)(at - data));
    kw_buf_puts(&text, to);
    kw_buf_puts(&text, at + strlen(from));
    SET(temp, "/tmp/kw-replyXXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(temp));
    snprintf(path, sizeof(path), "%s/en.replies", temp);
    ck_assert_int_eq(file_write_whole(path, text.data, text.len), 0);
    ck_assert_int_eq(replies_open(temp, &faults, &r), KW_ESYNTAX);
    ck_assert_ptr_null(r);
    snprintf(first, cap, "%d: %s", faults.items[0].line, faults.items[0].text);
    n = faults.n;
    unlink(path);
    rmdir(temp);
    kw_free(data);
    kw_buf_release(&text);
    fault_release(&faults);
    return n;
}

static const struct {
    const char *from, *to, *says;
} mistakes[] = {
    {"\nbusy:", "\nbsuy:", "did you mean 'busy'"},
    {"\nnoted: Thank you, noted.\n", "\n", "reply 'noted' is missing"},
    {"noted: Thank you, noted.", "noted:", "'noted' says nothing"},
    {"noted: Thank you, noted.", "noted: Thank you {batch}.",
     "'noted' has no slot {batch}; it may have {serial}"},
    {"noted: Thank you, noted.", "noted: Thank you {serial.",
     "brace without its other half"},
    {"noted: Thank you, noted.", "noted: Thank you serial}.",
     "brace without its other half"},
    {"noted: Thank you, noted.", "noted: Thank you\xc3\xa1.",
     "the GSM alphabet cannot write"},
    {"noted: Thank you, noted.", "noted: Thank you\xff.", "not UTF-8"},
    {"noted: Thank you, noted.", "noted: a\nnoted: b", "stands in line"},
    {"noted: Thank you, noted.", "Thank you!", "neither a reply"},
    {"fine: Thank you. Pot {serial} is", "fine: It is",
     "'fine' must say {serial}"},
    {"noted: Thank you, noted.",
     "noted: 12345678901234567890123456789012345678901234567890123456789012345"
     "6789012345678901234567890123456789012345678901234567890123456789012345678"
     "901234567890123456789012345",
     "160 is the most, leave out"},
    {"tag en", "tag es", "not that of the file's name"},
    {"tag en\n", "", "has no 'tag en'"},
    {"alphabet gsm", "", "has no 'alphabet gsm'"},
    {"name English", "", "has no 'name"},
    {"sign-dry: very weak", "sign-dry: very weak weak w",
     "the four sign words"},
    {"kind-slow: slow", "kind-slow: slow as treacle is", "16 is the most"},
};

START_TEST(mistake_is_told)
{
    char first[512];
    size_t n =
        faults_of(mistakes[_i].from, mistakes[_i].to, first, sizeof(first));

    ck_assert_uint_ge(n, 1);
    ck_assert_msg(strstr(first, mistakes[_i].says) != NULL,
                  "'%s' instead of '%s'", first, mistakes[_i].says);
}
END_TEST

static uint64_t seed = 0x9e3779b97f4a7c15u;

static uint64_t next_random(void)
{
    seed ^= seed << 13;
    seed ^= seed >> 7;
    seed ^= seed << 17;
    return seed;
}

/* Whatever becomes of the file, it is read or told about, never a crash. */
START_TEST(spoilt_file_is_told)
{
    char path[4096], folder[] = "/tmp/kw-replyXXXXXX", *data;
    size_t len, told = 0;

    snprintf(path, sizeof(path), "%s/grammar/hi.replies", getenv("KW_SOURCE"));
    ck_assert_int_eq(file_read(path, 1 << 20, &data, &len), 0);
    ck_assert_ptr_nonnull(mkdtemp(folder));
    snprintf(path, sizeof(path), "%s/hi.replies", folder);
    for (int i = 0; i < 200; i++) {
        struct fault_list faults = {0};
        struct replies *r = NULL;
        size_t at = (size_t)(next_random() % len);
        size_t n = next_random() % 4 == 0 ? at : len;
        char was = data[at];

        data[at] = "\n{}:\0\xff #"[next_random() % 8];
        ck_assert_int_eq(file_write_whole(path, data, n), 0);
        if (replies_open(folder, &faults, &r) < 0) {
            ck_assert_uint_gt(faults.n, 0);
            ck_assert_ptr_null(r);
            told++;
        }
        data[at] = was;
        replies_close(r);
        fault_release(&faults);
    }
    ck_assert_uint_gt(told, 50);
    unlink(path);
    rmdir(folder);
    kw_free(data);
}
END_TEST

START_TEST(no_folder_no_files)
{
    struct fault_list faults = {0};
    struct replies *r;

    ck_assert_int_eq(replies_open("/nonexistent", &faults, &r), KW_EIO);
    SET(temp, "/tmp/kw-replyXXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(temp));
    ck_assert_int_eq(replies_open(temp, &faults, &r), KW_ESYNTAX);
    ck_assert_uint_eq(faults.n, 2);
    rmdir(temp);
    fault_release(&faults);
}
END_TEST

/* ---- room ---- */

/* Letters of several scripts, marks, brackets, emoji, a broken octet. */
static const char *random_value(char *dst, size_t cap)
{
    static const char *const bits[] = {"a",
                                       "W",
                                       "\xc3\xa9",
                                       "\xc3\xa1",
                                       "[",
                                       "\xe2\x82\xac",
                                       "\xe0\xa4\x95",
                                       "\xf0\x9f\x98\x80",
                                       " ",
                                       "\n",
                                       "\xff",
                                       "0",
                                       "{",
                                       "}",
                                       "\xc3\x9f"};
    size_t n = next_random() % 60, len = 0;

    while (n-- > 0) {
        const char *b = bits[next_random() % KW_COUNT(bits)];

        if (len + strlen(b) + 1 >= cap)
            break;
        memcpy(dst + len, b, strlen(b));
        len += strlen(b);
    }
    dst[len] = '\0';
    return dst;
}

START_TEST(any_value_fits)
{
    char v[10][256];
    struct kw_buf out;

    kw_buf_init(&out, 4000);
    for (int round = 0; round < 60; round++) {
        struct reply_slots s = {0};
        const char **texts[] = {&s.serial, &s.group, &s.other, &s.clinic,
                                &s.place,  &s.batch, &s.words, &s.signs,
                                &s.phone,  &s.line};

        for (size_t i = 0; i < KW_COUNT(texts); i++)
            *texts[i] = random_value(v[i], sizeof(v[i]));
        s.alert = (int64_t)next_random();
        s.litres = (double)(int64_t)next_random();
        s.ratio = 1e300, s.low = -1, s.high = 0.123456;
        s.count = (int)next_random(), s.total = (int)next_random();
        s.texts = s.reports = s.failed = s.ill = s.open = (int)next_random();
        s.days = s.replace = s.waiting = s.people = (int)next_random();
        for (size_t l = 0; l < replies_langs(replies); l++) {
            for (size_t k = 0; k < replies_keys(); k++) {
                struct septet_size size;

                kw_buf_clear(&out);
                ck_assert_int_eq(reply_write(replies, replies_tag(replies, l),
                                             replies_key(k), &s, &out),
                                 0);
                size = septet_measure(out.data, out.len);
                ck_assert_msg(
                    size.segments <=
                        (size.gsm7 ? 1u : 2u) *
                            (strcmp(replies_key(k), "digest") == 0 ? 2 : 1),
                    "%s %s: %s", replies_tag(replies, l), replies_key(k),
                    out.data);
            }
        }
    }
    kw_buf_release(&out);
}
END_TEST

static struct reader_meaning random_meaning(void)
{
    struct reader_meaning m = {0};
    char batch[8], pot[8];

    m.outcome = (enum reader_outcome)(next_random() % 3);
    snprintf(batch, sizeof(batch), "%04u", (unsigned)(next_random() % 10000));
    snprintf(pot, sizeof(pot), "%03u", (unsigned)(next_random() % 1000));
    ck_assert_int_eq(serial_make(&layout, batch, pot, m.serial), 0);
    if (m.outcome == READER_NOT_REPORT) {
        m.command = (enum reader_command)(next_random() % READER_COMMANDS);
        SET(m.word, next_random() % 2 ? "es" : "xx");
        return m;
    }
    m.n_obs =
        m.outcome == READER_FILED ? 1 + next_random() % 8 : next_random() % 4;
    for (size_t i = 0; i < m.n_obs; i++) {
        m.obs[i].kind = (enum reader_kind)(next_random() % READER_KINDS);
        if (m.obs[i].kind == READER_PART)
            m.obs[i].part = (enum reader_part)(next_random() % 4);
        if (m.obs[i].kind == READER_ILL && next_random() % 2)
            m.danger |= m.obs[i].signs = 1u << next_random() % 4;
    }
    if (m.outcome == READER_ASKED) {
        m.why = (enum reader_why)(1 + next_random() % (READER_WHYS - 1));
        if (m.why == READER_WHY_CHECK) {
            SET(m.serial_wrong, m.serial);
            m.serial_wrong[next_random() % 9] ^= 1;
            m.serial[0] = '\0';
        }
        if (m.why == READER_WHY_TWO_POTS)
            SET(m.serial_other, "021407319");
    }
    return m;
}

START_TEST(any_meaning_fits)
{
    struct kw_buf out;
    char clinic[256];

    kw_buf_init(&out, 4000);
    for (int round = 0; round < 20000; round++) {
        struct reader_meaning m = random_meaning();
        const char *lang =
            replies_tag(replies, next_random() % replies_langs(replies));

        kw_buf_clear(&out);
        ck_assert_int_eq(reply_for_meaning(replies, &layout, &m, lang,
                                           random_value(clinic, sizeof(clinic)),
                                           (int)(next_random() % 5) - 1, &out),
                         0);
        ck_assert_msg(out.len == 0 || one_reply(out.data), "%s: %s", lang,
                      out.data);
        ck_assert(out.len > 0 || m.outcome == READER_NOT_REPORT);
    }
    kw_buf_release(&out);
}
END_TEST

/* What must never be said of a recalled pot: whole replies of the files. */
static bool calls_it_well(const char *lang, const char *text)
{
    static const char *const keys[] = {"fine",  "slow-fine", "fast-fine",
                                       "scrub", "slow",      "scrubbed"};
    const struct reply_slots slots = {.serial = "0214-073-19", .litres = 1.5};
    struct kw_buf good;
    bool well = false;

    kw_buf_init(&good, 4000);
    for (size_t i = 0; i < KW_COUNT(keys); i++) {
        kw_buf_clear(&good);
        ck_assert_int_eq(reply_write(replies, lang, keys[i], &slots, &good), 0);
        well |= strncmp(text, kw_buf_text(&good), good.len) == 0;
    }
    kw_buf_release(&good);
    return well;
}

START_TEST(recalled_is_never_well)
{
    struct kw_buf out;

    kw_buf_init(&out, 4000);
    for (int round = 0; round < 20000; round++) {
        struct reader_meaning m = random_meaning();
        struct reply_case c = {
            .layout = &layout,
            .meaning = &m,
            .lang =
                replies_tag(replies, next_random() % replies_langs(replies)),
            .flow_verdict = (int)(next_random() % 5) - 1,
            .litres = 1.5,
            .recalled = true};

        SET(m.serial, "021407319");
        kw_buf_clear(&out);
        ck_assert_int_eq(reply_for_case(replies, &c, &out), 0);
        ck_assert_msg(out.len == 0 || one_reply(out.data), "%s: %s", c.lang,
                      out.data);
        ck_assert_msg(out.len == 0 || !calls_it_well(c.lang, out.data),
                      "%s: %s", c.lang, out.data);
    }
    kw_buf_release(&out);
}
END_TEST

/* ---- what stands first ---- */

static struct reader_meaning filed(size_t n, const enum reader_kind *kinds)
{
    struct reader_meaning m = {.outcome = READER_FILED, .n_obs = n};

    SET(m.serial, "021407319");
    for (size_t i = 0; i < n; i++)
        m.obs[i].kind = kinds[i];
    return m;
}

static const char *say(const struct reader_meaning *m, const char *lang,
                       int verdict)
{
    static char text[512];
    struct kw_buf out;

    kw_buf_init(&out, sizeof(text) - 1);
    ck_assert_int_eq(reply_for_meaning(replies, &layout, m, lang, "Oru clinic",
                                       verdict, &out),
                     0);
    SET(text, kw_buf_text(&out));
    kw_buf_release(&out);
    return text;
}

#define SAYS(text, part)                                                       \
    ck_assert_msg(strstr(text, part) != NULL, "no '%s' in: %s", part, text)

START_TEST(serious_first)
{
    enum reader_kind all[] = {READER_FINE, READER_PART, READER_ILL, READER_SLOW,
                              READER_CRACK};
    struct reader_meaning m = filed(5, all);
    const char *text = say(&m, "en", -1);

    SAYS(text, "Pot 0214-073-19: do NOT drink from it");
    SAYS(text, "boil water. Ill: plenty to drink. Blood, very weak: to ");
    m = filed(1, &all[4]);
    SAYS(say(&m, "en", -1), "rolling boil");
    m = filed(4, all);
    SAYS(say(&m, "en", -1), "scrub");
    m = filed(3, all);
    SAYS(say(&m, "en", -1), "health worker");
    m = filed(2, all);
    SAYS(say(&m, "en", -1), "Noted for pot 0214-073-19: part");
    m = filed(1, all);
    SAYS(say(&m, "en", -1), "0214-073-19 is well");
}
END_TEST

START_TEST(danger_with_crack_says_both)
{
    enum reader_kind kinds[] = {READER_CRACK, READER_ILL};

    for (size_t l = 0; l < replies_langs(replies); l++) {
        struct reader_meaning m = filed(2, kinds);
        const char *lang = replies_tag(replies, l), *text, *at;

        m.danger = m.obs[1].signs = READER_BLOOD;
        text = say(&m, lang, -1);
        at = strstr(text, "Oru clinic");
        ck_assert_ptr_nonnull(at);
        ck_assert_ptr_nonnull(strstr(at, "0214-073-19"));
    }
}
END_TEST

START_TEST(danger_in_a_question)
{
    for (size_t l = 0; l < replies_langs(replies); l++) {
        for (int why = 1; why < READER_WHYS; why++) {
            struct reader_meaning m = {.outcome = READER_ASKED,
                                       .why = (enum reader_why)why,
                                       .danger = READER_RICEWATER,
                                       .n_obs = 1};
            const char *text;

            m.obs[0] = (struct reader_obs){.kind = READER_ILL,
                                           .signs = READER_RICEWATER};
            SET(m.serial_wrong, "021407318");
            text = say(&m, replies_tag(replies, l), -1);
            ck_assert_msg(strstr(text, "Oru clinic") != NULL, "%s", text);
            /* and the question or the wish to send it again */
            ck_assert_uint_gt(strlen(text), strlen("Oru clinic") + 60);
        }
    }
}
END_TEST

START_TEST(unsafe_in_a_question)
{
    enum reader_kind kinds[] = {READER_LEAK};

    for (int why = 1; why < READER_WHYS; why++) {
        struct reader_meaning m = filed(1, kinds);

        m.outcome = READER_ASKED;
        m.why = (enum reader_why)why;
        SET(m.serial_wrong, "021407318");
        SAYS(say(&m, "en", -1), "Until then do not drink from the pot.");
        SAYS(say(&m, "es", -1), "Hasta entonces no beba del filtro.");
    }
}
END_TEST

START_TEST(death_is_not_sent_to_the_clinic)
{
    enum reader_kind kinds[] = {READER_ILL};
    struct reader_meaning m = filed(1, kinds);

    m.danger = m.obs[0].signs = READER_DEAD;
    SAYS(say(&m, "en", -1), "We are very sorry. If anyone else is ill");
}
END_TEST

START_TEST(verdicts)
{
    enum reader_kind kinds[] = {READER_SLOW}, quick[] = {READER_FAST};
    struct reader_meaning slow = filed(1, kinds), fast = filed(1, quick);

    SAYS(say(&slow, "en", FLOW_SCRUB), "Scrub it inside");
    SAYS(say(&slow, "en", FLOW_REPLACE), "due for replacement");
    SAYS(say(&slow, "en", FLOW_STOP), "Do NOT drink");
    SAYS(say(&slow, "en", FLOW_FINE), ": fine");
    SAYS(say(&fast, "en", -1), "Do NOT drink");
    SAYS(say(&fast, "en", FLOW_STOP), "Do NOT drink");
    SAYS(say(&fast, "en", FLOW_FINE), "as it should");
}
END_TEST

/* ---- the digit group ---- */

/* A digit changed where only one group can be at fault is told by it. */
START_TEST(group_told_is_right)
{
    int told = 0;

    for (int i = 0; i < 1000; i++) {
        struct reader_meaning m = random_meaning();
        char wrong[SERIAL_CAP], group[SERIAL_CAP];
        size_t at = next_random() % 9;
        char before;

        if (m.serial[0] == '\0')
            continue;
        SET(wrong, m.serial);
        before = wrong[at];
        wrong[at] =
            (char)('0' + (wrong[at] - '0' + 1 + (int)(next_random() % 9)) % 10);
        ck_assert_int_ne(before, wrong[at]);
        ck_assert_int_ne(serial_verify(&layout, wrong, 9), 0);
        reply_wrong_group(&layout, wrong, m.serial, group, sizeof(group));
        ck_assert_uint_eq(strlen(group), at < 4 ? 4 : at < 7 ? 3 : 2);
        ck_assert_ptr_nonnull(strstr(wrong, group));
        reply_wrong_group(&layout, wrong, NULL, group, sizeof(group));
        if (group[0] != '\0') {
            told++;
            ck_assert_uint_eq(strlen(group), at < 4 ? 4 : at < 7 ? 3 : 2);
        }
    }
    printf("# the group is told without knowing the pot: %d\n", told);
}
END_TEST

START_TEST(contrary_is_told)
{
    enum reader_kind kinds[] = {READER_CRACK, READER_FINE};
    struct reader_meaning m = filed(2, kinds);

    m.outcome = READER_ASKED;
    m.why = READER_WHY_CONTRARY;
    SAYS(say(&m, "en", -1), "crack, good cannot all be so");
    m.n_obs = 0;
    SAYS(say(&m, "en", -1), "what you wrote cannot all be so");
}
END_TEST

START_TEST(length_is_told)
{
    struct reader_meaning m = {.outcome = READER_ASKED,
                               .why = READER_WHY_CHECK};

    SET(m.serial_wrong, "0214-0731");
    SAYS(say(&m, "en", -1), "has 9 digits, you sent 8");
}
END_TEST

START_TEST(language_and_stop_in_every_language)
{
    for (size_t l = 0; l < replies_langs(replies); l++) {
        struct reader_meaning m = {.outcome = READER_NOT_REPORT,
                                   .command = READER_LANGUAGE};

        SET(m.word, replies_tag(replies, l));
        ck_assert_ptr_nonnull(
            strstr(say(&m, "en", -1), replies_name(replies, l)));
        m.command = READER_STOP;
        ck_assert_uint_gt(strlen(say(&m, m.word, -1)), 20);
    }
    ck_assert(replies_has_lang(replies, "es-419"));
    ck_assert(!replies_has_lang(replies, "xx"));
    ck_assert(!replies_has_lang(replies, NULL));
}
END_TEST

START_TEST(foreign_letters_keep_the_alphabet)
{
    struct reply_slots s = {.place = "S\xc3\xa3o \xc4\x8c\xc3\xad\xc5\x88",
                            .serial = "0214-073-19"};
    struct kw_buf out;

    kw_buf_init(&out, 400);
    reply_write(replies, "en", "moved-done", &s, &out);
    SAYS(out.data, "Sao Cin");
    ck_assert(septet_measure(out.data, out.len).gsm7);
    ck_assert_int_eq(reply_write(replies, "en", "nonsense", &s, &out),
                     KW_ENOENT);
    kw_buf_release(&out);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("reply");
    TCase *faulty = tcase_create("faults"), *said = tcase_create("said");
    SRunner *run = srunner_create(s);
    int failed_n;

    tcase_add_loop_test(faulty, mistake_is_told, 0, (int)KW_COUNT(mistakes));
    tcase_add_test(faulty, no_folder_no_files);
    tcase_add_test(faulty, spoilt_file_is_told);
    tcase_add_checked_fixture(said, open_replies, close_replies);
    tcase_add_test(said, any_value_fits);
    tcase_add_test(said, any_meaning_fits);
    tcase_add_test(said, recalled_is_never_well);
    tcase_add_test(said, serious_first);
    tcase_add_test(said, danger_with_crack_says_both);
    tcase_add_test(said, danger_in_a_question);
    tcase_add_test(said, unsafe_in_a_question);
    tcase_add_test(said, death_is_not_sent_to_the_clinic);
    tcase_add_test(said, verdicts);
    tcase_add_test(said, group_told_is_right);
    tcase_add_test(said, length_is_told);
    tcase_add_test(said, contrary_is_told);
    tcase_add_test(said, language_and_stop_in_every_language);
    tcase_add_test(said, foreign_letters_keep_the_alphabet);
    tcase_set_timeout(said, 60);
    suite_add_tcase(s, faulty);
    suite_add_tcase(s, said);
    srunner_run_all(run, CK_NORMAL);
    failed_n = srunner_ntests_failed(run);
    srunner_free(run);
    return failed_n == 0 ? 0 : 1;
}
