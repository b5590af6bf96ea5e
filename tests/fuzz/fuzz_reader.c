/*
 * fuzz_reader.c - any octets as a text, with and without a pot. Nothing may
 * crash, and what was read must keep to its own bounds.
 */
#include "base/kw.h"
#include "tests/reader_rig.h"

#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check(const struct reader_meaning *m)
{
    if (m->n_obs > READER_OBS_MOST || m->n_numbers > READER_NUMBERS_MOST)
        abort();
    if (m->serial[0] != '\0' && !m->serial_from_hint &&
        serial_verify(&rig_layout, m->serial, strlen(m->serial)) < 0)
        abort();
    if (m->outcome == READER_FILED && m->serial[0] == '\0')
        abort();
    if ((m->outcome == READER_ASKED) != (m->why != READER_CLEAR))
        abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct reader *r;
    static struct reader_scratch *s;
    struct reader_hint hint = {"en", "021407319"};
    struct reader_meaning m;

    if (r == NULL) {
        struct fault_list faults = {0};

        if (reader_open(rig_folder(), &rig_layout, &rig_limits, &faults, &r) <
            0) {
            fault_print(&faults, stderr);
            abort();
        }
        s = reader_scratch_new(r);
    }
    reader_read(r, s, (const char *)data, size, NULL, &m);
    check(&m);
    reader_read(r, s, (const char *)data, size, &hint, &m);
    check(&m);
    return 0;
}
