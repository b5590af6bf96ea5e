#ifndef KW_TESTS_CLOSE_H
#define KW_TESTS_CLOSE_H
/*
 * close.h - for tests of numbers: closeness with its tolerance in sight,
 * a small generator of cases that is the same everywhere, one-case suites.
 */
#include <check.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

/* |got - want| <= rel |want|, or 1e-300 where both are nought. */
#define CLOSE(got, want, rel) CLOSE_OR(got, want, rel, 1e-300)

/* The same, or within an absolute tolerance, whichever is larger. */
#define CLOSE_OR(got, want, rel, abs)                                          \
    do {                                                                       \
        double got_ = (got), want_ = (want);                                   \
        ck_assert_msg(fabs(got_ - want_) <= fmax((rel)*fabs(want_), (abs)) ||  \
                          (isnan(got_) && isnan(want_)) || got_ == want_,      \
                      "%s is %.17g, wanted %.17g (%s:%d)", #got, got_, want_,  \
                      __FILE__, __LINE__);                                     \
    } while (0)

/* splitmix64 (Steele, Lea & Flood 2014): any seed, no state but a word. */
static inline uint64_t close_next(uint64_t *seed)
{
    uint64_t z = (*seed += 0x9e3779b97f4a7c15u);

    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

static inline double close_unit(uint64_t *seed)
{
    return ((double)(close_next(seed) >> 11) + 0.5) * 0x1p-53;
}

static inline double close_between(uint64_t *seed, double low, double high)
{
    return low + (high - low) * close_unit(seed);
}

/* Box-Muller, one of the pair. */
static inline double close_normal(uint64_t *seed)
{
    double r = sqrt(-2 * log(close_unit(seed)));

    return r * cos(6.283185307179586 * close_unit(seed));
}

static inline int close_run(const char *name, TCase *tc)
{
    Suite *s = suite_create(name);
    SRunner *runner;
    int failed;

    suite_add_tcase(s, tc);
    runner = srunner_create(s);
    srunner_run_all(runner, CK_ENV);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
#endif
