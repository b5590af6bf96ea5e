#ifndef KW_CAUSES_H
#define KW_CAUSES_H
/*
 * causes.h - which of what was written down of a batch goes with its pots
 * failing: each variable alone, with false-discovery control (Benjamini &
 * Hochberg 1995), then together as far as failures allow. The batch is the
 * unit that was made differently, so that batches count, not pots: fewer than
 * CAUSES_BATCHES_LEAST are refused. An association, not a cause.
 */
#include "watch/cause.h"

#define CAUSES_VARIABLES_MOST 16
#define CAUSES_BATCHES_LEAST  8
#define CAUSES_LEVEL_BATCHES  3  /* a level of fewer goes with the others */
#define CAUSES_LEVELS_MOST    6  /* beside the reference */
#define CAUSES_EVENTS_EACH    10 /* failures for each coefficient */

struct causes_variable {
    const char *name;
    bool factor; /* values are levels 0, 1 …; else numbers */
    bool of_pot; /* a factor in which the pots of a batch may differ */
    double per;  /* the ratio is for so much more of a number */
};

struct causes_study {
    const struct cause_unit *units; /* clusters are batches 0 … n_batches - 1 */
    size_t n;
    const struct causes_variable *variables;
    int n_variables;
    const double *values; /* n_batches x n_variables, NaN not known */
    const double *own; /* of each unit, for the one that is of_pot; or NULL */
    size_t n_batches;
    double level; /* of intervals: 0.9 */
    double fdr;   /* joint from q at most so much: 0.1 */
};

enum causes_why {
    CAUSES_TOLD,
    CAUSES_FEW_BATCHES,  /* in which it is known */
    CAUSES_ALL_ALIKE,    /* nothing to compare */
    CAUSES_FEW_FAILURES, /* under 5 */
    CAUSES_RAN_OFF       /* no estimate */
};

#define CAUSES_OTHERS (-1) /* the levels of few batches together */
struct causes_level {
    int level; /* of a factor */
    int batches;
    double ratio, low, high; /* of the hazard, to the reference or per */
};

struct causes_finding {
    enum causes_why why;
    int batches;
    int64_t pots, failures;
    bool firth; /* failures are few: penalised, profile intervals */
    int reference;
    int n_levels; /* 1 for a number */
    struct causes_level levels[CAUSES_LEVELS_MOST];
    double p, q; /* q: adjusted over the variables that were told */
};

struct causes_report {
    size_t n_batches; /* with pots at risk */
    int64_t pots, failures;
    struct causes_finding alone[CAUSES_VARIABLES_MOST];
    /* those of small q together; joint[v].why CAUSES_TOLD when it is in */
    int n_joint;
    int joint_batches;
    bool joint_firth;
    struct causes_finding joint[CAUSES_VARIABLES_MOST];
};

/* KW_ERANGE for a study that cannot be. */
int causes_study(const struct causes_study *study, struct causes_report *out);
#endif
