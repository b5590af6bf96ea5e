/*
 * many_octets.c - 10^7 random strings are read: a half of any octets, a half
 * of printable ones. None may crash the reader (run it under sanitizers too)
 * and none may be filed. Prints TAP.
 */
#include "tests/reader_rig.h"

#include <stdio.h>

#define STRINGS     10000000
#define OCTETS_MOST 200

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

int main(void)
{
    struct fault_list faults = {0};
    struct reader *r = NULL;
    struct reader_scratch *s;
    uint64_t state = 88172645463325252u;
    char text[OCTETS_MOST];
    long filed = 0;

    if (reader_open(rig_folder(), &rig_layout, &rig_limits, &faults, &r) < 0) {
        fault_print(&faults, stderr);
        return 1;
    }
    s = reader_scratch_new(r);
    for (long i = 0; i < STRINGS; i++) {
        struct reader_meaning m;
        size_t n = make(&state, i % 2 == 1, text);

        reader_read(r, s, text, n, NULL, &m);
        if (m.outcome == READER_FILED) {
            filed++;
            printf("# filed: %.*s\n", (int)n, text);
        }
    }
    printf("1..1\n%sok 1 - none of %d random strings is filed\n",
           filed == 0 ? "" : "not ", STRINGS);
    reader_scratch_free(s);
    reader_close(r);
    return filed != 0;
}
