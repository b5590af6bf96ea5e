/*
 * fuzz_image.c - octets of an image changed at any places, with its sum made
 * to fit or not. What serves all the same must read texts within its tables.
 * The input: how (1: the sum is made to fit, 2: in the first part only), then
 * groups of five: a place, low octet first, and what is laid over it.
 */
#include "base/file.h"
#include "base/sum.h"
#include "reader/reader_image.h"
#include "tests/reader_rig.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define FIRST_PART 12288 /* heads, and what has a size of its own */
#define SUM_AT     8     /* struct head of image.c */

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
int LLVMFuzzerInitialize(int *argc, char ***argv);

static char *whole, *copy;
static size_t len;
static struct image_key key;

/* The grammar and one language, for a small image. */
static bool copy_file(const char *folder, const char *name, char path[64])
{
    char from[1100], *data;
    size_t n;
    bool ok = snprintf(path, 64, "%s/%s", folder, name) < 64 &&
              file_join(from, sizeof(from), rig_folder(), name) == 0 &&
              file_read(from, 1 << 22, &data, &n) == 0;

    if (ok) {
        ok = file_write_whole(path, data, n) == 0;
        kw_free(data);
    }
    return ok;
}

int LLVMFuzzerInitialize(int *argc, char ***argv)
{
    char folder[] = "/tmp/kw-fuzz-XXXXXX", words[64], abnf[64];
    struct fault_list faults = {0};
    struct reader_tables t = {0};

    (void)argc, (void)argv;
    if (mkdtemp(folder) == NULL || !copy_file(folder, "en.words", words) ||
        !copy_file(folder, "report.abnf", abnf) ||
        reader_image_key(folder, &key) < 0 ||
        lexicon_load(folder, &faults, &t.lex) < 0 ||
        grammar_load(folder, t.lex, &faults, &t.grammar) < 0)
        abort();
    reader_image_build(&key, t.lex, t.grammar, &whole, &len);
    copy = kw_malloc(len);
    memcpy(copy, whole, len);
    reader_tables_release(&t);
    unlink(words);
    unlink(abnf);
    rmdir(folder);
    return 0;
}

static void read_some(struct reader *r)
{
    static const char *const texts[] = {
        "0214-073-19 crakced and leeks", "2 childrn diarhoea, bloood",
        "slow 5 fingers in 2 hours 0214 073 19, not full", "wtr tastes bad?"};
    struct reader_scratch *s = reader_scratch_new(r);
    struct reader_meaning m;

    for (size_t i = 0; s != NULL && i < KW_COUNT(texts); i++)
        reader_read(r, s, texts[i], strlen(texts[i]), NULL, &m);
    reader_scratch_free(s);
}

static void read_with(size_t n, bool fits)
{
    struct reader_tables t = {0};
    struct reader *r;
    uint64_t sum = kw_sum(0, copy + SUM_AT + 8, n > 16 ? n - SUM_AT - 8 : 0);

    if (fits && n > 16)
        memcpy(copy + SUM_AT, &sum, sizeof(sum));
    if (image_of(copy, n, &key, &t.image) != IMAGE_SERVES)
        return;
    if (!fits && memcmp(copy, whole, n) != 0)
        abort(); /* damage unseen */
    if (reader_image_take(t.image, &t.lex, &t.grammar)) {
        r = reader_of_tables(&t, &rig_layout, &rig_limits);
        read_some(r);
        reader_close(r);
    } else {
        reader_tables_release(&t);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    uint8_t how = size > 0 ? data[0] : 0;
    size_t most = how & 2 ? FIRST_PART : len;

    for (size_t i = 1; i + 5 <= size; i += 5)
        copy[(data[i] | (size_t)data[i + 1] << 8 | (size_t)data[i + 2] << 16 |
              (size_t)data[i + 3] << 24) %
             most] ^= (char)data[i + 4];
    read_with(how & 4 ? len / 256 * (how >> 3) : len, how & 1);
    for (size_t i = 1; i + 5 <= size; i += 5) {
        size_t at = (data[i] | (size_t)data[i + 1] << 8 |
                     (size_t)data[i + 2] << 16 | (size_t)data[i + 3] << 24) %
                    most;

        copy[at] = whole[at];
    }
    memcpy(copy, whole, SUM_AT + 8);
    return 0;
}
