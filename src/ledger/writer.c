/*
 * writer.c - the thread that writes. Jobs stand in one ring, in the order of
 * submission; four counters that only grow cut it into its parts:
 *
 *   delivered <= done <= taken <= submitted <= delivered + WRITER_QUEUE_MOST
 *     [delivered, done)   committed or failed, the owner has to be told
 *     [done, taken)       the group that the thread works on
 *     [taken, submitted)  waiting
 *
 * The lock covers the counters. A slot belongs to the owner's side outside
 * [done, taken) and to the thread inside it.
 */
#include "ledger/writer.h"

#include "base/log.h"
#include "ledger/engine.h"

#include <assert.h>
#include <errno.h>
#include <pthread.h>
#include <signal.h>
#include <string.h>
#include <sys/eventfd.h>
#include <unistd.h>

struct slot {
    struct writer_job job;
    int err;
};

struct writer {
    struct ledger *lg;
    size_t group_most;
    int fd;
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t wake;
    bool closing;
    uint64_t delivered, done, taken, submitted;
    int64_t jobs, commits;
    struct slot ring[WRITER_QUEUE_MOST];
};

static struct slot *slot_at(struct writer *w, uint64_t i)
{
    return &w->ring[i % WRITER_QUEUE_MOST];
}

/* ---- on the writer's thread ---- */

static int run_one(struct writer *w, struct slot *s)
{
    int err = ledger_savepoint(w->lg);

    if (err < 0)
        return err;
    err = s->job.run(w->lg, s->job.arg);
    if (err < 0) {
        ledger_undo(w->lg);
        return err;
    }
    return ledger_release(w->lg);
}

static void fail_all(struct writer *w, uint64_t from, uint64_t to, int err)
{
    for (uint64_t i = from; i < to; i++)
        slot_at(w, i)->err = err;
}

/*
 * Most groups have no failure, so no job needs a savepoint, which costs an
 * eighth of a text. False: one failed, all is undone; run them one by one.
 */
static bool run_at_once(struct writer *w, uint64_t from, uint64_t to)
{
    for (uint64_t i = from; i < to; i++) {
        struct slot *s = slot_at(w, i);

        s->err = s->job.run(w->lg, s->job.arg);
        if (s->err < 0 || !engine_in_transaction(w->lg)) {
            ledger_rollback(w->lg);
            return false;
        }
    }
    return true;
}

/*
 * Each in a savepoint. Returns how far it came: to, or less when the disk
 * ended the transaction in the middle.
 */
static uint64_t run_one_by_one(struct writer *w, uint64_t from, uint64_t to)
{
    for (uint64_t i = from; i < to; i++) {
        struct slot *s = slot_at(w, i);

        s->err = run_one(w, s);
        if (!engine_in_transaction(w->lg)) {
            fail_all(w, from, i + 1, s->err < 0 ? s->err : KW_ELEDGER);
            return i + 1;
        }
    }
    return to;
}

/* Runs and commits [from, to) or a part of it. Returns how far it came. */
static uint64_t run_group(struct writer *w, uint64_t from, uint64_t to)
{
    uint64_t upto = to;
    int err = ledger_begin(w->lg);

    if (err == 0 && !run_at_once(w, from, to)) {
        err = ledger_begin(w->lg);
        if (err == 0)
            upto = run_one_by_one(w, from, to);
    }
    if (err == 0 && engine_in_transaction(w->lg))
        err = ledger_commit(w->lg);
    if (err < 0) {
        ledger_rollback(w->lg);
        fail_all(w, from, upto, err);
    }
    return upto;
}

static void count_good(struct writer *w, uint64_t from, uint64_t to)
{
    int64_t good = 0;

    for (uint64_t i = from; i < to; i++)
        good += slot_at(w, i)->err == 0;
    w->jobs += good;
    w->commits += good > 0;
}

static void tell_owner(struct writer *w)
{
    uint64_t one = 1;

    /* Full only when the owner has 2^64 - 2 wakings unread: it is awake. */
    if (write(w->fd, &one, sizeof(one)) < 0 && errno != EAGAIN)
        log_error("cannot wake the loop: %s", strerror(errno));
}

/* Takes what waits, up to the bound. false: closing and nothing is left. */
static bool take_group(struct writer *w, uint64_t *from, uint64_t *to)
{
    uint64_t n;

    pthread_mutex_lock(&w->lock);
    while (w->taken == w->submitted && !w->closing)
        pthread_cond_wait(&w->wake, &w->lock);
    n = w->submitted - w->taken;
    if (n > w->group_most)
        n = w->group_most;
    *from = w->taken;
    w->taken += n;
    *to = w->taken;
    pthread_mutex_unlock(&w->lock);
    return n > 0;
}

static void *work(void *arg)
{
    struct writer *w = arg;
    uint64_t from, to;

    while (take_group(w, &from, &to)) {
        while (from < to) {
            uint64_t upto = run_group(w, from, to);

            pthread_mutex_lock(&w->lock);
            count_good(w, from, upto);
            w->done = upto;
            pthread_mutex_unlock(&w->lock);
            tell_owner(w);
            from = upto;
        }
    }
    return NULL;
}

/* ---- on the owner's thread ---- */

/* Signals are for the loop: the thread takes none. */
static int start_thread(struct writer *w)
{
    sigset_t all, before;
    int rc;

    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before);
    rc = pthread_create(&w->thread, NULL, work, w);
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    return rc == 0 ? 0 : KW_EIO;
}

int writer_open(struct ledger *lg, int group_most, struct writer **out)
{
    struct writer *w = kw_calloc(1, sizeof(*w));

    assert(group_most > 0);
    *out = NULL;
    w->lg = lg;
    w->group_most = (size_t)group_most;
    pthread_mutex_init(&w->lock, NULL);
    pthread_cond_init(&w->wake, NULL);
    w->fd = eventfd(0, EFD_NONBLOCK | EFD_CLOEXEC);
    if (w->fd < 0 || start_thread(w) < 0) {
        log_error("cannot start the writer: %s", strerror(errno));
        if (w->fd >= 0)
            close(w->fd);
        kw_free(w);
        return KW_EIO;
    }
    *out = w;
    return 0;
}

int writer_submit(struct writer *w, const struct writer_job *job)
{
    int err = KW_EFULL;

    pthread_mutex_lock(&w->lock);
    if (!w->closing && w->submitted - w->delivered < WRITER_QUEUE_MOST) {
        slot_at(w, w->submitted)->job = *job;
        w->submitted++;
        pthread_cond_signal(&w->wake);
        err = 0;
    }
    pthread_mutex_unlock(&w->lock);
    return err;
}

int writer_fd(const struct writer *w)
{
    return w->fd;
}

/* The next one to tell about leaves the ring before its owner hears. */
static bool next_done(struct writer *w, struct slot *s)
{
    bool any;

    pthread_mutex_lock(&w->lock);
    any = w->delivered < w->done;
    if (any) {
        *s = *slot_at(w, w->delivered);
        w->delivered++;
    }
    pthread_mutex_unlock(&w->lock);
    return any;
}

void writer_deliver(struct writer *w)
{
    uint64_t wakings;
    struct slot s;

    /* Before looking: what is done later wakes the loop again. */
    if (read(w->fd, &wakings, sizeof(wakings)) < 0 && errno != EAGAIN)
        log_error("cannot hear the writer: %s", strerror(errno));
    while (next_done(w, &s))
        s.job.done(s.job.arg, s.err);
}

void writer_close(struct writer *w)
{
    if (w == NULL)
        return;
    pthread_mutex_lock(&w->lock);
    w->closing = true;
    pthread_cond_signal(&w->wake);
    pthread_mutex_unlock(&w->lock);
    pthread_join(w->thread, NULL);
    writer_deliver(w);
    assert(w->delivered == w->submitted);
    ledger_close(w->lg);
    close(w->fd);
    pthread_mutex_destroy(&w->lock);
    pthread_cond_destroy(&w->wake);
    kw_free(w);
}

void writer_counts(const struct writer *w, int64_t *jobs, int64_t *commits)
{
    struct writer *mine = (struct writer *)w;

    pthread_mutex_lock(&mine->lock);
    *jobs = w->jobs;
    *commits = w->commits;
    pthread_mutex_unlock(&mine->lock);
}
