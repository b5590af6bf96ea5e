/*
 * many_octets.c - 10^7 random strings are read: a half of any octets, a half
 * of printable ones. None may crash the reader (run it under sanitizers too)
 * and none may be filed. Prints TAP: a line for each share, as it is done, so
 * that a run cut short is seen as one.
 *
 * usage: many_octets [STRINGS]
 */
#include "base/number.h"
#include "tests/reader_rig.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define STRINGS      10000000
#define SHARES       50
#define THREADS_MOST 16
#define OCTETS_MOST  200

static struct reader *reader; /* constant once it is open */
static int64_t share_size;
static atomic_int shares_taken, shares_failed;

static uint64_t next(uint64_t *state) /* xorshift, Marsaglia 2003 */
{
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return *state;
}

static size_t make(uint64_t *state, bool printable, char *text)
{
    size_t n = next(state) % OCTETS_MOST;

    for (size_t i = 0; i < n; i++) {
        uint64_t x = next(state);

        text[i] = (char)(printable ? 32 + x % 95 : x & 0xFF);
    }
    return n;
}

/* The same strings for a share, whichever thread takes it. */
static void read_share(int share, struct reader_scratch *s)
{
    uint64_t state = 88172645463325252u * (uint64_t)(2 * share + 1);
    char text[OCTETS_MOST];
    int64_t filed = 0;

    for (int64_t i = 0; i < share_size; i++) {
        struct reader_meaning m;
        size_t n = make(&state, i % 2 == 1, text);

        reader_read(reader, s, text, n, NULL, &m);
        if (m.outcome == READER_FILED) {
            filed++;
            printf("# filed: %.*s\n", (int)n, text);
        }
    }
    printf("%sok %d - none of %lld random strings is filed\n",
           filed == 0 ? "" : "not ", share, (long long)share_size);
    fflush(stdout);
    if (filed > 0)
        shares_failed++;
}

static void *take_shares(void *unused)
{
    struct reader_scratch *s = reader_scratch_new(reader);
    int share;

    (void)unused;
    while ((share = ++shares_taken) <= SHARES)
        read_share(share, s);
    reader_scratch_free(s);
    return NULL;
}

int main(int argc, char **argv)
{
    struct fault_list faults = {0};
    pthread_t threads[THREADS_MOST];
    long cores = sysconf(_SC_NPROCESSORS_ONLN);
    int n = cores < 1 ? 1 : cores > THREADS_MOST ? THREADS_MOST : (int)cores;
    int64_t strings = STRINGS;

    if (argc > 1 && kw_parse_i64(argv[1], strlen(argv[1]), SHARES,
                                 INT64_C(1000000000), &strings) < 0) {
        fprintf(stderr, "many_octets: not a number of strings: %s\n", argv[1]);
        return 2;
    }
    share_size = strings / SHARES;
    if (reader_open(rig_folder(), &rig_layout, &rig_limits, &faults, &reader) <
        0) {
        fault_print(&faults, stderr);
        return 1;
    }
    printf("1..%d\n", SHARES);
    fflush(stdout);
    for (int i = 0; i < n; i++)
        if (pthread_create(&threads[i], NULL, take_shares, NULL) != 0)
            abort();
    for (int i = 0; i < n; i++)
        pthread_join(threads[i], NULL);
    reader_close(reader);
    return shares_failed != 0;
}
