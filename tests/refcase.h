#ifndef KW_TESTS_REFCASE_H
#define KW_TESTS_REFCASE_H
/*
 * refcase.h - a statistical reference case of tests/reference/stats: lines of
 * kind,name,i,value; "in" data, "par" settings, "out" what must come out.
 * Sources, versions and tolerance stand in the head of each file.
 */
#include <stddef.h>

struct refcase;

/* Fails the test when the file is not there. Freed with refcase_free. */
struct refcase *refcase_open(const char *name);
void refcase_free(struct refcase *c);
/* The values of a vector, NaN for NA; owned by the case. NULL, n 0: none. */
const double *refcase_vector(const struct refcase *c, const char *kind,
                             const char *name, size_t *n);
/* A vector that must be there. */
const double *refcase_need(const struct refcase *c, const char *kind,
                           const char *name, size_t *n);
/* One value that must be there. */
double refcase_one(const struct refcase *c, const char *kind, const char *name);
#endif
