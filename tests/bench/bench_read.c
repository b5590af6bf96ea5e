/*
 * bench_read.c - microseconds a text, median of runs, beside a yardstick in
 * the same run: a byte-class walk over the same octets (lower case, word
 * hash, one look-up a word), the least that any reader must do.
 */
#include "tests/reader_rig.h"
#include "base/clock.h"

#include <stdio.h>
#include <string.h>

#define RUNS 15

static const char *const card[] = {
    "021407319 slow down 4f 10h", "crack 021407319",
    "0214-073-19 leak",           "021407319 ill 2 u1 blood",
    "washed good 021407319",      "021407319 lento dio 6l 10h",
    "part lid 021407319",         "fuga 021407319",
};
static const char *const noisy[] = {
    "helo 021407319 2 pipl sick blud in stool",
    "0214 073 19 slo 1lt 55min",
    "O2l4O73l9leakng pls",
    "buenos dias 021407319 lnta dio 3 tasas en 2 hr",
    "021407319 crakced agian",
    "Our pot 021407319 cracked after it stood in the hot sun",
    "she is good thanks, the bus was slow",
    "You have sent 1,200.00 to PETER K. Ref 518204736. Fee 12.00",
};

static struct reader *r;
static struct reader_scratch *s;
static volatile uint32_t words[4096];
static volatile uint32_t sink;

static void read_one(const char *text, size_t len)
{
    struct reader_meaning m;

    reader_read(r, s, text, len, NULL, &m);
    sink += m.n_obs;
}

static void walk_one(const char *text, size_t len)
{
    static unsigned char class[256];
    uint32_t h = 0, found = 0;

    if (class['a'] == 0) {
        for (int c = 0; c < 256; c++)
            class[c] = (unsigned char)(c >= 'A' && c <= 'Z' ? c + 32 : c | 1);
    }
    for (size_t i = 0; i < len; i++) {
        unsigned char c = class[(unsigned char)text[i]];

        h = c > 47 ? (h ^ c) * 16777619u : 0;
        found += words[h & 4095];
    }
    sink += found;
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

/* Microseconds a text. */
static double measure(const char *const *texts, size_t n,
                      void (*one)(const char *, size_t), int times)
{
    double us[RUNS];

    for (int run = 0; run < RUNS; run++) {
        int64_t from = clock_monotonic_us();

        for (int k = 0; k < times; k++) {
            for (size_t i = 0; i < n; i++)
                one(texts[i], strlen(texts[i]));
        }
        us[run] = (double)(clock_monotonic_us() - from) / (times * (double)n);
    }
    qsort(us, RUNS, sizeof(us[0]), by_value);
    return us[RUNS / 2];
}

static void show(const char *name, const char *const *texts, size_t n,
                 int times)
{
    double us = measure(texts, n, read_one, times),
           yard = measure(texts, n, walk_one, times * 20);

    printf("%-28s %9.2f us %10.0f texts/s  yardstick %7.3f us  ratio %6.1f\n",
           name, us, 1e6 / us, yard, us / yard);
}

int main(void)
{
    static char longest[5][1601];
    static const char *const units[] = {"slow 4f 10h crack ", "no ",
                                        "zxqwv kjhgf ", "a ",
                                        "no water the crakced dirhoea "};
    struct fault_list faults = {0};
    int64_t from = clock_monotonic_us();

    if (reader_open(rig_folder(), &rig_layout, &rig_limits, &faults, &r) < 0) {
        fault_print(&faults, stderr);
        return 1;
    }
    printf("opened in %.1f ms, %zu languages\n",
           (double)(clock_monotonic_us() - from) / 1000, reader_languages(r));
    s = reader_scratch_new(r);
    show("card", card, KW_COUNT(card), 2000);
    show("noisy and free", noisy, KW_COUNT(noisy), 1000);
    for (size_t i = 0; i < KW_COUNT(units); i++) {
        const char *text = longest[i];
        char name[60];

        for (size_t n = 0; n < 1600; n++)
            longest[i][n] = units[i][n % strlen(units[i])];
        snprintf(name, sizeof(name), "1600 of '%.16s'", units[i]);
        show(name, &text, 1, 50);
    }
    reader_scratch_free(s);
    reader_close(r);
    return 0;
}
