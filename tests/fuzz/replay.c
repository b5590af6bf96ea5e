/*
 * replay.c - a main for the fuzz targets where there is no libFuzzer: gives
 * the target every file of tests/fuzz/seeds/NAME, each of them cut short at
 * every length and with every octet changed in turn (up to bounds), the empty
 * input and every single octet. NAME is the program's, without "fuzz_".
 * Prints TAP: a line a seed. A crash or an abort is the failure.
 */
#include "base/buf.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SEED_OCTETS_MOST (1 << 20)
#define CUTS_MOST        4096
#define CHANGES_MOST     4096

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
int LLVMFuzzerInitialize(int *argc, char ***argv) __attribute__((weak));

/* A copy of just that size, so that reading beyond it is seen. */
static void give(const uint8_t *data, size_t size)
{
    uint8_t *copy = kw_malloc(size > 0 ? size : 1);

    if (size > 0)
        memcpy(copy, data, size);
    LLVMFuzzerTestOneInput(copy, size);
    kw_free(copy);
}

static void give_changed(uint8_t *data, size_t size)
{
    static const uint8_t masks[] = {0x01, 0x20, 0x80, 0xff};
    size_t stride = size / CUTS_MOST + 1;

    for (size_t at = 0; at < size; at += stride)
        give(data, at);
    stride = size * KW_COUNT(masks) / CHANGES_MOST + 1;
    for (size_t at = 0; at < size; at += stride) {
        for (size_t m = 0; m < KW_COUNT(masks); m++) {
            data[at] ^= masks[m];
            give(data, size);
            data[at] ^= masks[m];
        }
    }
}

/* 0, or -1 when the file cannot be read. */
static int give_file(const char *path)
{
    uint8_t *data = kw_malloc(SEED_OCTETS_MOST);
    FILE *f = fopen(path, "rb");
    size_t size;

    if (f == NULL) {
        kw_free(data);
        return -1;
    }
    size = fread(data, 1, SEED_OCTETS_MOST, f);
    fclose(f);
    give(data, size);
    give_changed(data, size);
    kw_free(data);
    return 0;
}

static void give_small(void)
{
    give((const uint8_t *)"", 0);
    for (int octet = 0; octet < 256; octet++) {
        uint8_t one = (uint8_t)octet;

        give(&one, 1);
    }
}

static int is_seed(const struct dirent *d)
{
    return d->d_name[0] != '.';
}

static const char *own_name(const char *path)
{
    const char *name = strrchr(path, '/') ? strrchr(path, '/') + 1 : path;

    return strncmp(name, "fuzz_", 5) == 0 ? name + 5 : name;
}

static int replay(const char *name, const char *folder)
{
    struct dirent **seeds = NULL;
    int n = scandir(folder, &seeds, is_seed, alphasort);
    int failed = 0;

    if (n <= 0) {
        printf("1..1\nnot ok 1 - %s: no seeds in %s\n", name, folder);
        free(seeds);
        return 1;
    }
    printf("1..%d\n", n + 1);
    give_small();
    printf("ok 1 - %s: nothing, and every single octet\n", name);
    for (int i = 0; i < n; i++) {
        char path[4096];
        bool fits = snprintf(path, sizeof(path), "%s/%s", folder,
                             seeds[i]->d_name) < (int)sizeof(path);
        bool ok = fits && give_file(path) == 0;

        failed += !ok;
        printf("%sok %d - %s: %s\n", ok ? "" : "not ", i + 2, name,
               seeds[i]->d_name);
        fflush(stdout);
        free(seeds[i]);
    }
    free(seeds);
    return failed > 0;
}

int main(int argc, char **argv)
{
    const char *source = getenv("KW_SOURCE");
    const char *name = own_name(argv[0]);
    char folder[4096];

    if (LLVMFuzzerInitialize != NULL)
        LLVMFuzzerInitialize(&argc, &argv);
    if (argc > 1)
        snprintf(folder, sizeof(folder), "%s", argv[1]);
    else
        snprintf(folder, sizeof(folder), "%s/tests/fuzz/seeds/%s",
                 source != NULL ? source : ".", name);
    return replay(name, folder);
}
