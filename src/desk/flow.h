#ifndef KW_DESK_FLOW_H
#define KW_DESK_FLOW_H
/*
 * flow.h - the flow of one pot over its life: from the ledger's state of it
 * and a reading to a decision, with the numbers that it rests on.
 */
#include "base/config.h"
#include "ledger/drift.h"
#include "watch/potflow.h"

enum flow_prior { FLOW_PRIOR_DEFAULT, FLOW_PRIOR_BATCH, FLOW_PRIOR_POT };

struct flow_case {
    struct potflow_rule rule; /* of this pot */
    struct ledger_drift kept; /* sums for the batch; pot_key 0: no case */
    struct drift_state state;
    struct drift_prior begun; /* where it began */
    enum flow_prior prior;
    struct potflow_decision decision; /* when decided */
    bool decided;
};

/* The prior of a pot before its first reading. */
enum flow_prior flow_prior_of(const struct config *conf,
                              const struct ledger_pot *pot,
                              struct drift_prior *out);
void flow_state_of(const struct ledger_drift *d, struct drift_state *s);

/* Loads the pot's state, or begins it. */
int flow_begin(struct flow_case *c, const struct config *conf,
               struct ledger *lg, const struct ledger_pot *pot, int64_t at_s);
void flow_scrubbed(struct flow_case *c, int64_t at_s);
/* From the prior again, as of that time. */
void flow_restart(struct flow_case *c, int64_t from_s);
/* The reading: ln litres and its standard error. Decides. */
int flow_read(struct flow_case *c, struct ledger *lg,
              const struct ledger_pot *pot, const struct drift_event *reading);

/* A day or more before what is known of the pot. */
bool flow_is_late(const struct flow_case *c, int64_t at_s);
struct flow_late {
    int64_t at_s;
    bool scrubbed;
    const struct drift_event *reading; /* NULL: a scrub alone */
};
/* Goes through the pot's life again with the late text in its place; the
 * decision is that of the reading, by what came before it. */
int flow_read_late(struct flow_case *c, struct ledger *lg,
                   const struct ledger_pot *pot, const struct flow_late *late);

/* The decision as it is kept with the flow; false when there is none. */
bool flow_decision(const struct flow_case *c, struct ledger_decision *out);
/* Keeps the state. */
int flow_put(const struct flow_case *c, struct ledger *lg);

/*
 * Learns the rates of the next batches, once a week: a few at a time, so that
 * no text waits. *next_s comes down to when to go on.
 */
int flow_learn(const struct config *conf, struct ledger *lg, int64_t now_s,
               int64_t *next_s);
#endif
