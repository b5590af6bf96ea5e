/*
 * check_wording.c - a text that says what another one said is recalled, not
 * read: each must be told as a scratch tells it that has met nothing before.
 */
#include "tests/reader_fixture.h"
#include "base/buf.h"

static const char *const serials[] = {"021407319", "021407416", "032118059",
                                      "214107325", "192000152", "200000130",
                                      "521407302"};

static void tell_obs(const struct reader_obs *o, struct kw_buf *b)
{
    const struct reader_measure *m = &o->measure;

    kw_buf_printf(b, "; %d %d %d %x %d %d: %d %d %g %g %d %g %d %g", o->kind,
                  o->people, o->under5, o->signs, o->part, o->inferred, m->type,
                  m->unit, m->value, m->minutes, m->from_brim, m->start_cm,
                  m->warm, m->degc);
}

/* The meaning, and how the reader explains it. */
static void tell(struct reader_scratch *s, const char *text,
                 const struct reader_hint *hint, struct kw_buf *b)
{
    struct reader_meaning m;

    memset(&m, 0x55, sizeof(m)); /* to be written wholly */
    reader_read(rig()->reader, s, text, strlen(text), hint, &m);
    kw_buf_clear(b);
    kw_buf_printf(b, "%d %d %d '%s' '%s' '%s' '%s' %d %x %d %d %d '%s' '%s'",
                  m.outcome, m.why, m.command, m.lang, m.serial, m.serial_other,
                  m.serial_wrong, m.serial_from_hint, m.danger, m.unsafe_said,
                  m.courtesy, m.test_hour, m.word, m.phone);
    for (size_t i = 0; i < m.n_numbers; i++)
        kw_buf_printf(b, " #%lld", (long long)m.numbers[i]);
    for (size_t i = 0; i < m.n_obs; i++)
        tell_obs(&m.obs[i], b);
    kw_buf_printf(b, "; test %g %g\n", m.test.value, m.test.minutes);
    reader_explain(rig()->reader, s, b);
}

/* @: the serial */
static const char *const texts[] = {
    "@ slow down 4f 10h",
    "crack @",
    "@",
    "@ ok thanks",
    "4 @ ill 2 u1",
    "12 @ leak",
    "+12 @ leak",
    "12-34 @ leak",
    "@ 4 leak",
    "@-4 leak",
    "@.leak",
    "call me on @",
    "gave @ +99970012345 Lunde",
    "@ tested 4f",
    "swapped @ 032118059",
    "@ crack 0321-180-59",
    "@ crack 032118058 leak",
    "@ for sale, 500 money",
    "@ cheap phone for sale money good",
    "@ crack leak slow ill 2 blood",
    "*@*4*3*10#",
    "@*4*3*10#",
    "no @ good",
    "pot no @ good",
    "l@ crack",
    "@ lento, no baja, 4 dedos 10 horas",
    "slow",
    "c",
    "stop",
    "ok thank you",
    "language en",
    "crack leak 12345",
    "pot:@, crack",
    "ill <@ 2",
    "@. crack 2",
    "12.@ leak",
    "1.@ leak",
    "123 456 @ leak",
    "0214 073 @ leak",
    "1234 567 @ leak",
    "021 407 @ 19 leak",
    "@ 19 leak",
    "@ 021 leak 4f",
    "@-19-crack",
    "@/4/10 slow",
    "1 2 3 @ 4 5 ill",
    "22 33 44 55 66 77 88 99 11 22 33 @ leak",
    "@ @ crack",
};

static void fill(char *dst, size_t cap, const char *text, const char *serial)
{
    size_t n = 0;

    for (; *text != '\0' && n + 1 < cap; text++) {
        if (*text == '@')
            n += (size_t)snprintf(dst + n, cap - n, "%s", serial);
        else
            dst[n++] = *text;
    }
    dst[n] = '\0';
}

static void same_as_read(const char *text, const struct reader_hint *hint,
                         const char *serial)
{
    struct reader_scratch *fresh = reader_scratch_new(rig()->reader);
    struct kw_buf first, then;
    char parted[20], as[4][100];

    kw_buf_init(&first, 1 << 16);
    kw_buf_init(&then, 1 << 16);
    serial_format(&rig_layout, serial, parted, sizeof(parted));
    fill(as[0], sizeof(as[0]), text, serial);
    for (int k = 1; k < 4; k++) {
        parted[4] = parted[8] = "-- ."[k];
        fill(as[k], sizeof(as[k]), text, parted);
    }
    for (int k = 0; k < 4; k++) {
        tell(fresh, as[k], hint, &first);
        tell(rig()->scratch, as[k], hint, &then);
        ck_assert_str_eq(kw_buf_text(&first), kw_buf_text(&then));
        tell(rig()->scratch, as[k], hint, &then); /* surely met before */
        ck_assert_str_eq(kw_buf_text(&first), kw_buf_text(&then));
    }
    kw_buf_release(&first);
    kw_buf_release(&then);
    reader_scratch_free(fresh);
}

START_TEST(recalled_as_read)
{
    static const struct reader_hint hints[] = {{NULL, NULL},
                                               {"en", "021407319"},
                                               {"es", "021407319"},
                                               {"en", "032118059"},
                                               {NULL, "200000130"}};

    for (size_t i = 0; i < KW_COUNT(serials); i++) {
        for (size_t k = 0; k < KW_COUNT(hints); k++)
            same_as_read(texts[_i], &hints[k], serials[i]);
    }
}
END_TEST

/* One octet more or less, and a serial that fails its check. */
START_TEST(others_are_not_recalled)
{
    struct reader_meaning m;

    reader_read(rig()->reader, rig()->scratch, "021407319 crack", 15, NULL, &m);
    ck_assert_int_eq(m.outcome, READER_FILED);
    reader_read(rig()->reader, rig()->scratch, "021407318 crack", 15, NULL, &m);
    ck_assert_int_eq(m.why, READER_WHY_CHECK);
    ck_assert_str_eq(m.serial, "");
    reader_read(rig()->reader, rig()->scratch, "032118059 crack", 15, NULL, &m);
    ck_assert_str_eq(m.serial, "032118059");
    reader_read(rig()->reader, rig()->scratch, "032118059 crac", 14, NULL, &m);
    ck_assert_str_eq(m.serial, "032118059");
    reader_read(rig()->reader, rig()->scratch, "02140731 crack", 14, NULL, &m);
    ck_assert_int_eq(m.outcome, READER_ASKED);
}
END_TEST

static void add_tests(TCase *t)
{
    tcase_add_loop_test(t, recalled_as_read, 0, (int)KW_COUNT(texts));
    tcase_add_test(t, others_are_not_recalled);
}

int main(void)
{
    return rig_run("wording", add_tests);
}
