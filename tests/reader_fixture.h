#ifndef KW_READER_FIXTURE_H
#define KW_READER_FIXTURE_H
/* reader_fixture.h - a reader for all tests of a program. */
#include "base/fault.h"
#include "tests/reader_rig.h"

#include <check.h>
#include <stdio.h>
#include <string.h>

/* The one of a test program, made by its fixture. */
struct rig {
    struct reader *reader;
    struct reader_scratch *scratch;
};

static inline struct rig *rig(void)
{
    static struct rig one;

    return &one;
}

static inline void rig_setup(void)
{
    struct fault_list faults = {0};

    if (reader_open(rig_folder(), &rig_layout, &rig_limits, &faults,
                    &rig()->reader) < 0)
        fault_print(&faults, stdout);
    ck_assert_ptr_nonnull(rig()->reader);
    rig()->scratch = reader_scratch_new(rig()->reader);
}

static inline void rig_teardown(void)
{
    reader_scratch_free(rig()->scratch);
    reader_close(rig()->reader);
}

/* From a phone that writes in lang and holds the pot; NULL: nobody knows. */
static inline struct reader_meaning rig_read(const char *text, const char *lang,
                                             const char *pot)
{
    struct reader_hint hint = {lang, pot};
    struct reader_meaning m;

    reader_read(rig()->reader, rig()->scratch, text, strlen(text), &hint, &m);
    return m;
}

/* The same, of a text that is filed with one observation and no more. */
static inline struct reader_meaning rig_filed_one(const char *text,
                                                  const char *lang)
{
    struct reader_meaning m = rig_read(text, lang, NULL);

    if (m.outcome != READER_FILED || m.n_obs != 1)
        printf("%s: %s %s, %zu\n", text, reader_outcome_name(m.outcome),
               reader_why_name(m.why), m.n_obs);
    ck_assert_int_eq(m.outcome, READER_FILED);
    ck_assert_uint_eq(m.n_obs, 1);
    return m;
}

/* Runs a suite of one case; the exit code of the program. */
static inline int rig_run(const char *name, void (*add)(TCase *t))
{
    Suite *s = suite_create(name);
    TCase *t = tcase_create(name);
    SRunner *r;
    int failed;

    tcase_set_timeout(t, 60);
    tcase_add_unchecked_fixture(t, rig_setup, rig_teardown);
    add(t);
    suite_add_tcase(s, t);
    r = srunner_create(s);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed != 0;
}
#endif
