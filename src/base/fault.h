#ifndef KW_FAULT_H
#define KW_FAULT_H
/*
 * fault.h - what is wrong in the files people write (grammar, words,
 * replies, menu, configuration, notebooks), gathered so that all of it can
 * be shown at once: file, line, what is wrong, what would be right.
 */
#include "base/kw.h"
#include <stdio.h>

struct fault {
    char *file; /* as it was opened */
    int line;   /* from 1; 0 when it concerns the file as a whole */
    char *text; /* "what is wrong; what would be right" */
};

#define FAULT_MOST 200 /* later ones are counted only */

struct fault_list {
    struct fault *items;
    size_t n, cap;
    size_t dropped;
};

void fault_add(struct fault_list *list, const char *file, int line,
               const char *fmt, ...) __attribute__((format(printf, 4, 5)));
/* "file:line: text" a line; the number of faults in all. */
size_t fault_print(const struct fault_list *list, FILE *out);
void fault_release(struct fault_list *list); /* safe on a zeroed struct */
#endif
