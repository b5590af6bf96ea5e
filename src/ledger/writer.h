#ifndef KW_WRITER_H
#define KW_WRITER_H
/*
 * writer.h - the one thread that owns the writing connection. It takes all
 * jobs that wait, up to a bound, runs them in one transaction, commits, and
 * only then tells each job's owner. When one of them fails, all is undone and
 * each is run again inside a savepoint of its own.
 *
 *   owner's loop --submit--> queue --thread: run--> commit --> done queue
 *   owner's loop <--fd readable-- writer_deliver() calls each done()
 *
 * Invariants: (1) done() is called once for each job, on the owner's thread,
 * after the commit that holds it or after it is known to have failed;
 * (2) a job whose run() fails is undone alone; (3) when the commit fails,
 * every job of the group gets that error and nothing of it is kept;
 * (4) jobs run in the order of submission.
 */
#include "ledger/ledger.h"

struct writer;

struct writer_job {
    /*
     * On the writer's thread. 0 or a KW_E code. It may be called twice, the
     * ledger being by then as it was before the first time: so what it leaves
     * elsewhere is only what it writes afresh each time.
     */
    int (*run)(struct ledger *lg, void *arg);
    /* On the owner's thread, after the commit. err: 0 or why it failed. */
    void (*done)(void *arg, int err);
    void *arg; /* owned by the job's owner throughout */
};

#define WRITER_QUEUE_MOST 4096

/* Takes over the ledger handle. group_most: jobs in one commit. */
int writer_open(struct ledger *lg, int group_most, struct writer **out);
/*
 * KW_EFULL when WRITER_QUEUE_MOST are not delivered yet, or while closing:
 * acknowledge nothing, try later.
 */
int writer_submit(struct writer *w, const struct writer_job *job);
int writer_fd(const struct writer *w); /* eventfd, readable: deliver */
void writer_deliver(struct writer *w);
/* Finishes what was submitted, delivers it, closes the ledger. */
void writer_close(struct writer *w);
/* Texts in commits so far, for the bench and `show line`. */
void writer_counts(const struct writer *w, int64_t *jobs, int64_t *commits);
#endif
