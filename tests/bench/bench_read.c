/*
 * bench_read.c - what a text costs to read, beside a yardstick in the same
 * run: the octets of the same texts through the table of a finite automaton
 * over the words that are in them and in the lexicon, upper case as lower; at
 * each gap the number of the word. That is what any reader must do at least.
 * Both in turns, medians. Goals: 8 times that for the card in ASCII, 25 times
 * for six languages with slips; no text over 1 ms, 1,600 octets in 200 us.
 *
 * What the same words said before is remembered (reader/wording.h), so each set
 * is read once as it is and once anew: with so many gaps behind each text that
 * it is too long to be remembered.
 */
#include "base/clock.h"
#include "base/file.h"
#include "reader/fold.h"
#include "reader/lexicon.h"
#include "reader/wording.h"
#include "tests/reader_rig.h"

#include <dirent.h>
#include <stdio.h>
#include <string.h>

#define RUNS       101 /* short ones: others want the machine too */
#define TEXTS_MOST 3000

struct set {
    const char *name;
    char *texts[TEXTS_MOST];
    size_t n, octets;
};

static struct reader *r;
static struct reader_scratch *s;
static volatile uint32_t sink;

/* ---- the yardstick ---- */

static struct {
    uint8_t class[256]; /* 0: a gap */
    size_t classes;
    uint16_t *next;  /* state x class; 0: no such word */
    uint32_t *words; /* by state: the word that ends there, or 0 */
    size_t n, n_words, next_cap, words_cap;
} table;

static uint16_t add_state(void)
{
    kw_grow(&table.next, &table.next_cap, (table.n + 1) * table.classes,
            sizeof(*table.next));
    kw_grow(&table.words, &table.words_cap, table.n + 1, sizeof(*table.words));
    memset(&table.next[table.n * table.classes], 0,
           table.classes * sizeof(*table.next));
    table.words[table.n] = 0;
    return (uint16_t)table.n++;
}

/* State 0 is of words that are not there, 1 before a word. */
static void begin_table(void)
{
    table.classes = 1;
    for (int c = '0'; c < 256; c++) {
        if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') ||
            (c >= 0x80 && c < 0xC0) || c == 0xC3 || c == 0xE0)
            table.class[c] = (uint8_t)table.classes++;
    }
    for (int c = 'A'; c <= 'Z'; c++)
        table.class[c] = table.class[c - 'A' + 'a'];
    add_state();
    add_state();
}

static void add_word(uint32_t word, const char *text, size_t len)
{
    uint16_t state = 1;

    for (size_t i = 0; i < len && table.n < UINT16_MAX; i++) {
        size_t at = state * table.classes + table.class[(unsigned char)text[i]];

        if (table.next[at] == 0) {
            uint16_t to = add_state();

            table.next[at] = to;
        }
        state = table.next[at];
    }
    table.n_words += table.words[state] == 0;
    table.words[state] = word;
}

/* The words of a text that are in the lexicon. */
static void add_words(const struct lexicon *lex, const char *text)
{
    static struct fold f;

    fold_text(&f, text, strlen(text), 1600);
    for (size_t at = 0, to; at < f.len; at = to + 1) {
        uint32_t w;

        for (to = at; to < f.len && fold_is_letter(f.text[to]);)
            to++;
        w = to > at ? lexicon_find(lex, f.text + at, to - at) : 0;
        if (w != 0)
            add_word(w, f.text + at, to - at);
    }
}

static void walk_one(const char *text, size_t len)
{
    uint32_t state = 1, found = 0;

    for (size_t i = 0; i < len; i++) {
        unsigned class = table.class[(unsigned char)text[i]];

        if (class == 0) {
            found += table.words[state];
            state = 1;
        } else {
            state = table.next[state * table.classes + class];
        }
    }
    sink += found + table.words[state];
}

static void read_one(const char *text, size_t len)
{
    struct reader_meaning m;

    reader_read(r, s, text, len, NULL, &m);
    sink += (uint32_t)m.n_obs;
}

static void read_anew(const char *text, size_t len)
{
    static char longer[READER_TEXT_MOST + 1];
    size_t to = len;

    memcpy(longer, text, len);
    while (to <= WORDING_OCTETS)
        longer[to++] = ' ';
    read_one(longer, to);
}

/* ---- texts ---- */

static void add_text(struct set *to, const char *text, size_t len)
{
    if (to->n == TEXTS_MOST)
        return;
    to->texts[to->n++] = kw_strndup(text, len);
    to->octets += len;
}

/* The text of a line of tests/texts, {S1} and its like as a serial. */
static void add_line(struct set *to, const char *text, size_t len)
{
    char filled[1000];
    size_t n = 0;

    for (size_t i = 0; i < len && n + 9 < sizeof(filled); i++) {
        const char *end =
            text[i] == '{' ? memchr(text + i, '}', len - i) : NULL;

        if (end == NULL) {
            filled[n++] = text[i];
            continue;
        }
        memcpy(filled + n, "021407319", 9);
        n += 9;
        i = (size_t)(end - text);
    }
    add_text(to, filled, n);
}

static bool is_ascii(const char *text, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        if ((unsigned char)text[i] >= 0x80)
            return false;
    }
    return true;
}

/* "noisy | helo {S1} crakc | filed: crack" */
static void sort_line(struct set sets[4], const char *line, size_t len)
{
    static const char *const classes[] = {"card", "noisy", "free", "chat"};
    const char *bar = memchr(line, '|', len), *text, *end;
    size_t n;

    if (bar == NULL || *line == '#')
        return;
    n = (size_t)(bar - line);
    while (n > 0 && line[n - 1] == ' ')
        n--;
    text = bar + 1 + (bar[1] == ' ');
    end = memchr(text, '|', len - (size_t)(text - line));
    if (end == NULL)
        return;
    while (end > text && end[-1] == ' ')
        end--;
    for (size_t i = 0; i < KW_COUNT(classes); i++) {
        if (strlen(classes[i]) == n && memcmp(classes[i], line, n) == 0 &&
            (i > 0 || is_ascii(text, (size_t)(end - text))))
            add_line(&sets[i], text, (size_t)(end - text));
    }
}

static int is_texts_file(const struct dirent *e)
{
    size_t n = strlen(e->d_name);

    return n > 6 && strcmp(e->d_name + n - 6, ".texts") == 0;
}

static void load_texts(struct set sets[4])
{
    char folder[1200], path[1400], *data;
    struct dirent **entries;
    size_t len;
    int n;

    snprintf(folder, sizeof(folder), "%s/../tests/texts", rig_folder());
    n = scandir(folder, &entries, is_texts_file, alphasort);
    for (int i = 0; i < n; i++) {
        if (file_join(path, sizeof(path), folder, entries[i]->d_name) == 0 &&
            file_read(path, 1 << 20, &data, &len) == 0) {
            for (size_t at = 0; at < len;) {
                const char *end = memchr(data + at, '\n', len - at);
                size_t m = end != NULL ? (size_t)(end - data) - at : len - at;

                sort_line(sets, data + at, m);
                at += m + 1;
            }
            kw_free(data);
        }
        free(entries[i]);
    }
    if (n >= 0)
        free(entries);
}

/* ---- measuring ---- */

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

/* Microseconds a text, one round through the set. */
static double once(const struct set *set, void (*one)(const char *, size_t),
                   int times)
{
    int64_t from = clock_monotonic_us();

    for (int k = 0; k < times; k++) {
        for (size_t i = 0; i < set->n; i++)
            one(set->texts[i], strlen(set->texts[i]));
    }
    return (double)(clock_monotonic_us() - from) / (times * (double)set->n);
}

/* Rounds of both in turns; the goal is a ratio, or microseconds when < 0. */
static void show(const struct set *set, const char *how,
                 void (*one)(const char *, size_t), int times, double goal)
{
    double us[RUNS], yard[RUNS], ratio, mean;
    bool kept;

    if (set->n == 0)
        return;
    for (int k = 0; k < RUNS; k++) {
        us[k] = once(set, one, times);
        yard[k] = once(set, walk_one, times * 20);
    }
    qsort(us, RUNS, sizeof(us[0]), by_value);
    qsort(yard, RUNS, sizeof(yard[0]), by_value);
    ratio = us[RUNS / 2] / yard[RUNS / 2];
    mean = (double)set->octets / (double)set->n;
    kept = goal > 0 ? ratio <= goal : us[RUNS / 2] <= -goal;
    printf("%s%s\t%.3f\tus\t%zu texts of %.0f octets, %.0f a second; table "
           "%.3f us\n",
           set->name, how, us[RUNS / 2], set->n, mean, 1e6 / us[RUNS / 2],
           yard[RUNS / 2]);
    printf("%s%s / table\t%.1f\tratio\t", set->name, how, ratio);
    if (goal > 0)
        printf("goal <= %.0f: %s\n", goal, kept ? "kept" : "not met");
    else if (goal < 0)
        printf("goal <= %.0f us: %s\n", -goal, kept ? "kept" : "not met");
    else
        printf("no goal\n");
}

/* 1,600 octets of one thing over and over: what could cost most. */
static void show_longest(int times)
{
    static const char *const units[] = {"slow 4f 10h crack ",
                                        "no ",
                                        "zxqwv kjhgf ",
                                        "a ",
                                        "no water the crakced dirhoea ",
                                        "3 ",
                                        "no crack or no leak or ",
                                        "water of the of the pot no ",
                                        "\xe0\xa4\x96\xe0\xa5\x82\xe0\xa4\xa8 ",
                                        "crakc leek brokn slwo fats ",
                                        "0214-073-18 ",
                                        "1,",
                                        ",",
                                        ", no "};

    for (size_t i = 0; i < KW_COUNT(units); i++) {
        static char text[1601];
        static struct set one;
        char name[60];

        for (size_t n = 0; n < 1600; n++)
            text[n] = units[i][n % strlen(units[i])];
        snprintf(name, sizeof(name), "1,600 octets of '%.20s'", units[i]);
        one = (struct set){.name = name, .n = 1, .octets = 1600};
        one.texts[0] = text;
        show(&one, "", read_one, times, -200);
    }
}

int main(int argc, char **argv)
{
    static struct set sets[4] = {{.name = "card, ASCII"},
                                 {.name = "six languages with slips"},
                                 {.name = "free speech"},
                                 {.name = "not for us"}};
    static const double goals[4] = {8, 25, 0, 0};
    bool shorter = argc > 1 && strcmp(argv[1], "--short") == 0;
    struct fault_list faults = {0};
    struct lexicon *lex;
    int64_t from = clock_monotonic_us();

    if (reader_open(rig_folder(), &rig_layout, &rig_limits, &faults, &r) < 0) {
        fault_print(&faults, stderr);
        return 1;
    }
    printf("reader opened\t%.1f\tms\t\n",
           (double)(clock_monotonic_us() - from) / 1000);
    if (lexicon_load(rig_folder(), &faults, &lex) < 0) {
        fault_print(&faults, stderr);
        return 1;
    }
    printf("words of the reader\t%zu\t\t%zu languages, %zu phrases and words\n",
           lex->n_words - 1, reader_languages(r), lex->n_entries);
    s = reader_scratch_new(r);
    load_texts(sets);
    begin_table();
    for (size_t i = 0; i < KW_COUNT(sets); i++) {
        for (size_t k = 0; k < sets[i].n; k++)
            add_words(lex, sets[i].texts[k]);
    }
    printf("the table\t%.0f\tKiB\t%zu words, %zu states of %zu classes\n",
           (double)(table.n * table.classes * sizeof(*table.next)) / 1024,
           table.n_words, table.n, table.classes);
    for (size_t i = 0; i < KW_COUNT(sets); i++) {
        /* A round of few texts is too short for the clock. */
        int times = 1 + 3000 / (int)(sets[i].n + 1);

        show(&sets[i], "", read_one, times, goals[i]);
        show(&sets[i], ", anew", read_anew, times, goals[i]);
    }
    show_longest(shorter ? 1 : 3);
    for (size_t i = 0; i < KW_COUNT(sets); i++) {
        for (size_t k = 0; k < sets[i].n; k++)
            kw_free(sets[i].texts[k]);
    }
    lexicon_free(lex);
    kw_free(table.next);
    kw_free(table.words);
    reader_scratch_free(s);
    reader_close(r);
    return 0;
}
