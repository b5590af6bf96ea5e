/*
 * check_reader.c - the reader as a whole: its properties on the project's
 * own grammar. How well it reads is measured by tests/texts/measure.
 */
#include "tests/reader_rig.h"
#include "base/buf.h"

#include <check.h>
#include <stdio.h>
#include <string.h>

static struct reader *reader;
static struct reader_scratch *scratch;
static const struct reader_hint one_pot = {NULL, "021407319"};

static void setup(void)
{
    struct fault_list faults = {0};

    if (reader_open(rig_folder(), &rig_layout, &rig_limits, &faults, &reader) <
        0)
        fault_print(&faults, stdout);
    ck_assert_ptr_nonnull(reader);
    scratch = reader_scratch_new(reader);
}

static void teardown(void)
{
    reader_scratch_free(scratch);
    reader_close(reader);
}

static void read_text(const char *text, const struct reader_hint *hint,
                      struct reader_meaning *m)
{
    reader_read(reader, scratch, text, strlen(text), hint, m);
}

/* The meaning in a line, for comparing. */
static const char *told(const struct reader_meaning *m)
{
    static char line[600];
    size_t n = 0;

    n += (size_t)snprintf(line + n, sizeof(line) - n, "%s %s %s %s%s",
                          reader_outcome_name(m->outcome),
                          reader_why_name(m->why),
                          reader_command_name(m->command), m->serial,
                          m->serial_from_hint ? "?" : "");
    for (size_t i = 0; i < m->n_obs; i++) {
        const struct reader_obs *o = &m->obs[i];

        n += (size_t)snprintf(
            line + n, sizeof(line) - n, "; %s %d %d %x %s %d %d %g %g",
            reader_kind_name(o->kind), o->people, o->under5, o->signs,
            reader_part_name(o->part), (int)o->measure.type,
            (int)o->measure.unit, o->measure.value, o->measure.minutes);
    }
    return line;
}

static const char *const sentences[] = {
    "021407319 slow down 4f 10h",
    "021407319 lento dio 6 litros 10 horas",
    "crack leak 021407319",
    "0214-073-19 ill 2 u1 blood",
    "021407319 enfermo 3 agua de arroz",
    "part lid 021407319",
    "washed good 021407319",
    "021407319 lavado bien",
    "unused 021407319",
    "0214-073-18 roto",
    "021407319 crack good",
    "021407319 slow 6f",
    "thanks, see you",
};

/* Upper case, gaps around and between, the same in NFD: the same meaning. */
START_TEST(same_however_it_is_written)
{
    struct reader_meaning m;
    char want[600], text[400];
    const char *s = sentences[_i];
    size_t n = 0;

    read_text(s, &one_pot, &m);
    snprintf(want, sizeof(want), "%s", told(&m));
    for (size_t i = 0; s[i] != '\0'; i++)
        text[i] = (char)(s[i] >= 'a' && s[i] <= 'z' ? s[i] - 32 : s[i]);
    text[strlen(s)] = '\0';
    read_text(text, &one_pot, &m);
    ck_assert_str_eq(told(&m), want);
    for (size_t i = 0; s[i] != '\0'; i++) {
        text[n++] = s[i];
        if (s[i] == ' ')
            text[n++] = ' ';
    }
    text[n] = '\0';
    read_text(text, &one_pot, &m);
    ck_assert_str_eq(told(&m), want);
    snprintf(text, sizeof(text), "\n  %s \t\r\n", s);
    read_text(text, &one_pot, &m);
    ck_assert_str_eq(told(&m), want);
}
END_TEST

START_TEST(same_composed_or_not)
{
    struct reader_meaning a, b;
    char first[600];

    read_text("021407319 r\xc3\xa1pido d\xc3\xa9"
              "bil enfermo",
              NULL, &a);
    snprintf(first, sizeof(first), "%s", told(&a));
    read_text("021407319 ra\xcc\x81pido de\xcc\x81"
              "bil enfermo",
              NULL, &b);
    ck_assert_str_eq(first, told(&b));
    ck_assert_int_eq(a.danger, READER_DRY);
}
END_TEST

/* What was read, written out again as on the card, is read the same. */
START_TEST(card_form_is_a_fixed_point)
{
    static const char *const words[READER_KINDS] = {
        "crack", "leak",   "broken",   "slow", "fast",
        "ill",   "washed", "part tap", "good", "unused"};

    for (int k = 0; k < READER_KINDS; k++) {
        struct reader_meaning m;
        char text[100], again[100];

        snprintf(text, sizeof(text), "021407319 %s", words[k]);
        read_text(text, NULL, &m);
        ck_assert_int_eq(m.outcome, READER_FILED);
        ck_assert_uint_eq(m.n_obs, 1);
        ck_assert_int_eq((int)m.obs[0].kind, k);
        snprintf(again, sizeof(again), "%s %s", m.serial, words[m.obs[0].kind]);
        ck_assert_str_eq(again, text);
    }
}
END_TEST

/* A wrong serial is never filed, also when the sender has one pot. */
static void expect_refused(const char *serial, const char *rest)
{
    struct reader_meaning m;
    char text[100];

    snprintf(text, sizeof(text), "%s %s", serial, rest);
    read_text(text, &one_pot, &m);
    ck_assert_msg(m.outcome == READER_ASKED && m.why == READER_WHY_CHECK,
                  "'%s' is %s", text, told(&m));
    ck_assert_str_eq(m.serial, "");
}

/* The same in the other ways that a serial is written, and with numbers. */
static void expect_refused_however(const char *s, int i)
{
    static const char *const rest[] = {"crack", "slow 4f 10h", "ill 2 u1",
                                       "lento dio 6 litros 10 horas"};
    char text[SERIAL_CAP + 8];

    if (i % 4 == 0)
        snprintf(text, sizeof(text), "%s", s);
    else
        snprintf(text, sizeof(text), "%.4s%c%.3s%c%.2s", s, " -."[i % 4 - 1],
                 s + 4, " -."[i % 4 - 1], s + 7);
    expect_refused(text, rest[i / 4 % 4]);
}

START_TEST(wrong_serials_are_never_filed)
{
    for (int i = 0; i < 1000; i++) {
        char s[SERIAL_CAP], batch[8], pot[8];

        snprintf(batch, sizeof(batch), "%d", (i * 7919) % 10000);
        snprintf(pot, sizeof(pot), "%d", (i * 104729) % 1000);
        ck_assert_int_eq(serial_make(&rig_layout, batch, pot, s), 0);
        for (int at = 0; at < 9; at++) {
            char kept = s[at];

            for (char d = '0'; d <= '9'; d++) {
                s[at] = d;
                if (d != kept)
                    expect_refused_however(s, i);
            }
            s[at] = kept;
        }
        for (int at = 0; at < 8; at++) {
            char a = s[at], b = s[at + 1];

            s[at] = b;
            s[at + 1] = a;
            if (a != b)
                expect_refused_however(s, i);
            s[at] = a;
            s[at + 1] = b;
        }
    }
}
END_TEST

START_TEST(one_digit_less_or_more_is_asked)
{
    expect_refused("02140731", "crack");
    expect_refused("21407319", "leak");
    expect_refused("0214073199", "roto");
    expect_refused("02214073191", "slow 4f 10h");
    expect_refused("0214 073 1", "crack");
}
END_TEST

static uint64_t next(uint64_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return *state;
}

/* 10^5 random strings: any octets, then only printable ones. */
START_TEST(random_octets_are_never_filed)
{
    uint64_t state = 88172645463325252u;
    char text[200];

    for (int i = 0; i < 100000; i++) {
        struct reader_meaning m;
        size_t n = next(&state) % sizeof(text);

        for (size_t k = 0; k < n; k++)
            text[k] =
                (char)(_i == 0 ? next(&state) & 0xFF : 32 + next(&state) % 95);
        reader_read(reader, scratch, text, n, NULL, &m);
        ck_assert_msg(m.outcome != READER_FILED, "%.*s", (int)n, text);
    }
}
END_TEST

/*
 * Ordinary words, and such with endings that no words file has met, that can
 * be cut in two words which are ours or near to ours: alone behind a serial
 * they say nothing, whatever the sender's language.
 */
static const char *const ordinary[] = {
    "surface",        "snagged",   "protocol",    "woodland",     "troubled",
    "beverages",      "millworks", "handiworks",  "pieceworks",   "backslashed",
    "slogans",        "canaled",   "snowballed",  "showbreading", "kiwifruits",
    "scratchboarder", "tutelas",   "fuistemente", "anteramente",  "recremente"};

START_TEST(ordinary_words_are_not_ours)
{
    static const char *const langs[] = {"en", "es", "fr", "pt", "sw", "hi"};

    for (size_t k = 0; k < KW_COUNT(langs); k++) {
        const struct reader_hint from = {langs[k], "021407319"};
        struct reader_meaning m;
        char text[60];

        snprintf(text, sizeof(text), "021407319 %s", ordinary[_i]);
        read_text(text, &from, &m);
        ck_assert_msg(m.n_obs == 0 && m.danger == 0, "%s: '%s' is %s", langs[k],
                      text, told(&m));
    }
}
END_TEST

/* Two words of ours that were run together are still two. */
START_TEST(words_run_together)
{
    static const char *const texts[][2] = {
        {"021407319 leakcrack", "021407319 leak crack"},
        {"021407319 tapbroken", "021407319 tap broken"},
        {"021407319robinetperdu", "021407319 robinet perdu"},
        {"021407319 bombalimepotea", "021407319 bomba limepotea"},
        {"021407319 waterslow", "021407319 water slow"},
        {"021407319 enfermosangre", "021407319 enfermo sangre"},
        {"021407319 potleaking", "021407319 pot leaking"}};

    for (size_t i = 0; i < KW_COUNT(texts); i++) {
        struct reader_meaning m;
        char want[600];

        read_text(texts[i][1], NULL, &m);
        snprintf(want, sizeof(want), "%s", told(&m));
        ck_assert_int_eq(m.outcome, READER_FILED);
        read_text(texts[i][0], NULL, &m);
        ck_assert_str_eq(told(&m), want);
    }
}
END_TEST

/* Orders carry what they need. */
START_TEST(orders)
{
    struct reader_meaning m;

    read_text("gave 0214-073-19 +99970012345 Umbresk", NULL, &m);
    ck_assert_int_eq(m.command, READER_GAVE);
    ck_assert_str_eq(m.serial, "021407319");
    ck_assert_str_eq(m.phone, "+99970012345");
    ck_assert_str_eq(m.word, "umbresk");
    read_text("seen 12", NULL, &m);
    ck_assert_int_eq(m.command, READER_SEEN);
    ck_assert_int_eq(m.numbers[0], 12);
    read_text("recall 0214", NULL, &m);
    ck_assert_int_eq(m.command, READER_RECALL);
    ck_assert_str_eq(m.word, "0214");
    /* "hi" is a greeting in English, and a tag that the answer offers. */
    read_text("language hi", NULL, &m);
    ck_assert_int_eq(m.command, READER_LANGUAGE);
    ck_assert_str_eq(m.word, "hi");
    read_text("language es", NULL, &m);
    ck_assert_int_eq(m.command, READER_LANGUAGE);
    ck_assert_str_eq(m.word, "es");
    read_text("idioma english", NULL, &m);
    ck_assert_int_eq(m.command, READER_LANGUAGE);
    ck_assert_str_eq(m.word, "en");
    read_text("Stop please", NULL, &m);
    ck_assert_int_eq(m.command, READER_STOP);
    read_text("stop the leak", NULL, &m);
    ck_assert_int_eq(m.command, READER_NO_COMMAND);
    read_text("visit 021407319 slow 4f 10h", NULL, &m);
    ck_assert_int_eq(m.command, READER_VISIT);
    ck_assert_uint_eq(m.n_obs, 1);
    ck_assert_int_eq(m.outcome, READER_FILED);
}
END_TEST

/* Halves that the next text completes. */
START_TEST(halves)
{
    struct reader_meaning m;

    read_text("10h", &one_pot, &m);
    ck_assert_int_eq(m.why, READER_WHY_NO_AMOUNT);
    ck_assert_double_eq(m.obs[0].measure.minutes, 600);
    read_text("4 fingers", &one_pot, &m);
    ck_assert_int_eq(m.why, READER_WHY_NO_TIME);
    ck_assert_double_eq(m.obs[0].measure.value, 4);
    read_text("021407319", NULL, &m);
    ck_assert_int_eq(m.why, READER_WHY_NO_TROUBLE);
    ck_assert_str_eq(m.serial, "021407319");
    read_text("crack", NULL, &m);
    ck_assert_int_eq(m.why, READER_WHY_NO_POT);
}
END_TEST

START_TEST(too_long_is_asked)
{
    static char text[4000];
    struct reader_meaning m;

    memset(text, ' ', sizeof(text));
    memcpy(text, "021407319 crack", 15);
    reader_read(reader, scratch, text, sizeof(text), NULL, &m);
    ck_assert_int_eq(m.outcome, READER_ASKED);
    ck_assert_int_eq(m.why, READER_WHY_UNCLEAR);
    ck_assert_uint_eq(m.n_obs, 1);
}
END_TEST

START_TEST(explains)
{
    struct reader_meaning m;
    struct kw_buf b;

    kw_buf_init(&b, 1 << 16);
    read_text("021407319 crakced", NULL, &m);
    reader_explain(reader, scratch, &b);
    ck_assert_ptr_nonnull(strstr(kw_buf_text(&b), "<crack>"));
    ck_assert_ptr_nonnull(strstr(kw_buf_text(&b), "judged: filed"));
    kw_buf_release(&b);
}
END_TEST

/* Many words that are none, and a slip behind them: more than is looked for
 * in one text. Each of them alone is not. */
START_TEST(read_alike_after_other_texts)
{
    uint64_t state = 2463534242u + (uint64_t)_i;
    struct reader_scratch *fresh = reader_scratch_new(reader);
    struct reader_meaning m;
    struct kw_buf text, first, then;

    kw_buf_init(&text, 1 << 12);
    kw_buf_init(&first, 1 << 16);
    kw_buf_init(&then, 1 << 16);
    kw_buf_puts(&text, "021407319");
    for (int i = 0; i < 60; i++) {
        char word[9] = " ";

        for (int k = 1; k < 8; k++)
            word[k] = (char)('a' + next(&state) % 26);
        kw_buf_puts(&text, word);
        read_text(word, NULL, &m);
    }
    read_text("crakced", NULL, &m);
    kw_buf_puts(&text, " crakced");
    reader_read(reader, fresh, kw_buf_text(&text), text.len, NULL, &m);
    reader_explain(reader, fresh, &first);
    reader_read(reader, scratch, kw_buf_text(&text), text.len, NULL, &m);
    reader_explain(reader, scratch, &then);
    ck_assert_msg(strcmp(kw_buf_text(&first), kw_buf_text(&then)) == 0,
                  "read otherwise: %s", kw_buf_text(&text));
    kw_buf_release(&text);
    kw_buf_release(&first);
    kw_buf_release(&then);
    reader_scratch_free(fresh);
}
END_TEST

/* With other layouts of serials the same words are read. */
START_TEST(other_layouts)
{
    static const struct serial_layout letters = {SERIAL_MOD_37_36, 4, 3},
                                      marks = {SERIAL_NO_CHECK, 6, 0};
    struct fault_list faults = {0};
    struct reader *r;
    struct reader_scratch *s;
    struct reader_meaning m;
    char serial[SERIAL_CAP], text[60];

    ck_assert_int_eq(
        reader_open(rig_folder(), &letters, &rig_limits, &faults, &r), 0);
    s = reader_scratch_new(r);
    ck_assert_int_eq(serial_make(&letters, "A21B", "07", serial), 0);
    snprintf(text, sizeof(text), "%s leak", serial);
    reader_read(r, s, text, strlen(text), NULL, &m);
    ck_assert_str_eq(m.serial, serial);
    ck_assert_int_eq(m.outcome, READER_FILED);
    serial_format(&letters, serial, text, sizeof(text)); /* as it is stamped */
    reader_read(r, s, text, strlen(text), NULL, &m);
    ck_assert_str_eq(m.serial, serial);
    reader_read(r, s, "0214-073-T crack", 16, NULL, &m); /* S would fit */
    ck_assert_int_eq(m.why, READER_WHY_CHECK);
    reader_read(r, s, "0214 073 s 4f 10h", 17, NULL, &m);
    ck_assert_str_eq(m.serial, "0214073S");
    reader_read(r, s, "0214-073 slow 4f 10h", 20, NULL, &m);
    ck_assert_int_eq(m.why, READER_WHY_CHECK);
    reader_scratch_free(s);
    reader_close(r);
    ck_assert_int_eq(
        reader_open(rig_folder(), &marks, &rig_limits, &faults, &r), 0);
    s = reader_scratch_new(r);
    reader_read(r, s, "104233 leak", 11, NULL, &m);
    ck_assert_str_eq(m.serial, "104233");
    reader_scratch_free(s);
    reader_close(r);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("reader");
    TCase *t = tcase_create("reader");
    SRunner *r;
    int failed;

    tcase_set_timeout(t, 60);
    tcase_add_unchecked_fixture(t, setup, teardown);
    tcase_add_loop_test(t, same_however_it_is_written, 0,
                        (int)KW_COUNT(sentences));
    tcase_add_test(t, same_composed_or_not);
    tcase_add_test(t, card_form_is_a_fixed_point);
    tcase_add_test(t, wrong_serials_are_never_filed);
    tcase_add_test(t, one_digit_less_or_more_is_asked);
    tcase_add_loop_test(t, random_octets_are_never_filed, 0, 2);
    tcase_add_loop_test(t, ordinary_words_are_not_ours, 0,
                        (int)KW_COUNT(ordinary));
    tcase_add_test(t, words_run_together);
    tcase_add_test(t, orders);
    tcase_add_test(t, halves);
    tcase_add_test(t, too_long_is_asked);
    tcase_add_test(t, explains);
    tcase_add_loop_test(t, read_alike_after_other_texts, 0, 20);
    tcase_add_test(t, other_layouts);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed != 0;
}
