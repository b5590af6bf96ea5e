/*
 * check_writer.c - the invariants of writer.h, a disk that fills up, and a
 * process that is killed at any instant.
 */
#include "ledger/writer.h"

#include "ledger/engine.h"
#include "tests/ledger_fixture.h"

#include <errno.h>
#include <inttypes.h>
#include <poll.h>
#include <semaphore.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#define JOBS 3000

struct job {                /* puts the mark "n"; answers with will */
    struct ledger *looking; /* to look from done(), or NULL */
    sem_t *gate;            /* waits in run() first, or NULL */
    int n, will;
    size_t extra; /* octets to write beside the mark */
    int told, err, order;
};

static int told_so_far;

static void mark_name(const struct job *j, char name[16])
{
    snprintf(name, 16, "%d", j->n);
}

static bool is_there(struct ledger *lg, const struct job *j)
{
    char name[16];
    int64_t value;

    mark_name(j, name);
    return ledger_mark_get(lg, name, &value) == 0;
}

static int run(struct ledger *lg, void *arg)
{
    struct job *j = arg;
    char name[16];
    int err = 0;

    if (j->gate != NULL)
        sem_wait(j->gate);
    j->gate = NULL; /* it may be run again */
    mark_name(j, name);
    err = ledger_mark_put(lg, name, 1);
    if (err == 0 && j->extra > 0) {
        struct ledger_phone p;
        struct ledger_text_in t = {.carrier = "x", .at_s = 1, .len = j->extra};
        char *body = kw_calloc(1, j->extra);

        t.body = body;
        err = ledger_phone_take(lg, "+99970012345", &p);
        t.phone_id = p.id;
        if (err == 0)
            err = ledger_text_in_put(lg, &t);
        kw_free(body);
    }
    return err < 0 ? err : j->will;
}

static void done(void *arg, int err)
{
    struct job *j = arg;

    j->told++;
    j->err = err;
    j->order = told_so_far++;
    if (j->looking != NULL)
        ck_assert_int_eq(is_there(j->looking, j), err == 0);
}

/*
 * For what also runs in the process that is killed: Check writes a record at
 * each of its asserts, into a file shared with its parent, and one that is
 * cut in the middle ends the whole program.
 */
static bool to_be_killed;

static void must(bool holds, const char *what)
{
    if (holds)
        return;
    if (to_be_killed)
        _exit(9);
    ck_abort_msg("%s", what);
}

static void wait_for(struct writer *w, int n)
{
    while (told_so_far < n) {
        struct pollfd p = {.fd = writer_fd(w), .events = POLLIN};

        must(poll(&p, 1, 20000) == 1, "the writer says nothing for 20 s");
        writer_deliver(w);
    }
}

static struct writer *open_writer(int group_most)
{
    struct writer *w;

    told_so_far = 0;
    ck_assert_int_eq(writer_open(fixture_open(), group_most, &w), 0);
    return w;
}

static struct ledger *open_looking(void)
{
    struct ledger_settings set = {.file = fixture_file(), .read_only = true};
    struct ledger *lg;

    ck_assert_int_eq(ledger_open(&set, &lg, NULL), 0);
    return lg;
}

static void submit(struct writer *w, struct job *j)
{
    struct writer_job job = {.run = run, .done = done, .arg = j};

    ck_assert_int_eq(writer_submit(w, &job), 0);
}

/* Invariants 1, 2 and 4, with groups of several sizes. */
START_TEST(each_is_told_once_in_order_after_its_commit)
{
    static const int groups[] = {1, 7, 256};
    struct writer *w = open_writer(groups[_i]);
    struct ledger *looking = open_looking();
    struct job *jobs = kw_calloc(JOBS, sizeof(*jobs));
    unsigned seed = 4711u + (unsigned)_i;
    int64_t good = 0, n_jobs, n_commits;

    for (int i = 0; i < JOBS; i++) {
        jobs[i] = (struct job){.n = i, .looking = looking};
        if (rand_r(&seed) % 5 == 0)
            jobs[i].will = rand_r(&seed) % 2 ? KW_EINVAL : KW_EDUP;
        good += jobs[i].will == 0;
        submit(w, &jobs[i]);
        if (rand_r(&seed) % 100 == 0)
            writer_deliver(w);
    }
    wait_for(w, JOBS);
    for (int i = 0; i < JOBS; i++) {
        ck_assert_int_eq(jobs[i].told, 1);
        ck_assert_int_eq(jobs[i].order, i);
        ck_assert_int_eq(jobs[i].err, jobs[i].will);
        ck_assert_int_eq(is_there(looking, &jobs[i]), jobs[i].will == 0);
    }
    writer_counts(w, &n_jobs, &n_commits);
    ck_assert_int_eq(n_jobs, good);
    ck_assert_int_ge(n_commits * groups[_i], good);
    fixture_check(looking);
    ledger_close(looking);
    writer_close(w);
    kw_free(jobs);
    fixture_remove();
}
END_TEST

/* What queues during one commit is the next group; a full queue says so. */
START_TEST(what_waits_is_one_group)
{
    struct writer *w = open_writer(WRITER_QUEUE_MOST);
    struct job *jobs = kw_calloc(WRITER_QUEUE_MOST + 1, sizeof(*jobs));
    struct writer_job more = {.run = run, .done = done};
    int64_t n_jobs, n_commits;
    sem_t gate;

    sem_init(&gate, 0, 0);
    jobs[0].gate = &gate;
    for (int i = 0; i <= WRITER_QUEUE_MOST; i++)
        jobs[i].n = i;
    submit(w, &jobs[0]);
    nanosleep(&(struct timespec){.tv_nsec = 50000000}, NULL);
    for (int i = 1; i < WRITER_QUEUE_MOST; i++)
        submit(w, &jobs[i]);
    more.arg = &jobs[WRITER_QUEUE_MOST];
    ck_assert_int_eq(writer_submit(w, &more), KW_EFULL);
    sem_post(&gate);
    wait_for(w, WRITER_QUEUE_MOST);
    writer_counts(w, &n_jobs, &n_commits);
    ck_assert_int_eq(n_jobs, WRITER_QUEUE_MOST);
    ck_assert_int_eq(n_commits, 2);
    ck_assert_int_eq(writer_submit(w, &more), 0);
    writer_close(w); /* delivers it */
    ck_assert_int_eq(jobs[WRITER_QUEUE_MOST].told, 1);
    ck_assert_int_eq(jobs[WRITER_QUEUE_MOST].err, 0);
    sem_destroy(&gate);
    kw_free(jobs);
    fixture_remove();
}
END_TEST

/* ---- no room ---- */

static int64_t octets_of(const char *suffix)
{
    char path[512];
    struct stat st;

    snprintf(path, sizeof(path), "%s%s", fixture_file(), suffix);
    return stat(path, &st) == 0 ? (int64_t)st.st_size : 0;
}

static void limit_files(rlim_t octets)
{
    struct rlimit r;

    ck_assert_int_eq(getrlimit(RLIMIT_FSIZE, &r), 0);
    r.rlim_cur = octets;
    ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &r), 0);
}

/* A gate holds the first job, so that all of them are one group. */
static void one_group(struct writer *w, struct job *jobs, int n, size_t extra)
{
    static sem_t gate;
    int before = told_so_far;

    sem_init(&gate, 0, 0);
    for (int i = 0; i < n; i++) {
        jobs[i] = (struct job){.n = before + i, .extra = extra};
        jobs[i].gate = i == 0 ? &gate : NULL;
        submit(w, &jobs[i]);
        if (i == 0)
            nanosleep(&(struct timespec){.tv_nsec = 50000000}, NULL);
    }
    /* The first is alone in its group; the others wait behind it. */
    sem_post(&gate);
    wait_for(w, before + n);
    sem_destroy(&gate);
}

static void check_kept(struct ledger *looking, const struct job *jobs, int n,
                       int *good)
{
    for (int i = 0; i < n; i++) {
        ck_assert_int_eq(jobs[i].told, 1);
        ck_assert_int_eq(is_there(looking, &jobs[i]), jobs[i].err == 0);
        *good += jobs[i].err == 0;
    }
}

#define GROUP 40

/* Invariant 3: a write that fails at the commit. */
START_TEST(disk_is_full_at_the_commit)
{
    struct writer *w = open_writer(256);
    struct ledger *looking = open_looking();
    struct job jobs[GROUP];
    int good = 0;

    signal(SIGXFSZ, SIG_IGN);
    one_group(w, jobs, GROUP, 20000);
    check_kept(looking, jobs, GROUP, &good);
    ck_assert_int_eq(good, GROUP);

    limit_files((rlim_t)octets_of("-wal") + 100000);
    one_group(w, jobs, GROUP, 20000);
    good = 0;
    check_kept(looking, jobs, GROUP, &good);
    ck_assert_int_le(good, 1); /* the one that was alone */
    for (int i = 1; i < GROUP; i++)
        ck_assert_int_eq(jobs[i].err, KW_ELEDGER);

    limit_files(RLIM_INFINITY); /* someone made room */
    one_group(w, jobs, GROUP, 20000);
    good = 0;
    check_kept(looking, jobs, GROUP, &good);
    ck_assert_int_eq(good, GROUP);
    fixture_check(looking);
    ledger_close(looking);
    writer_close(w);
    fixture_remove();
}
END_TEST

/* A statement that finds no page ends the group in its middle. */
START_TEST(disk_is_full_in_the_middle)
{
    struct ledger *lg = fixture_open(), *looking;
    struct writer *w;
    struct job jobs[GROUP];
    char sql[64];
    int good = 0;

    snprintf(sql, sizeof(sql), "PRAGMA max_page_count = %" PRId64,
             fixture_number(lg, "PRAGMA page_count") + 100);
    ck_assert_int_eq(sqlite3_exec(lg->db, sql, NULL, NULL, NULL), 0);
    told_so_far = 0;
    ck_assert_int_eq(writer_open(lg, 256, &w), 0);
    looking = open_looking();
    one_group(w, jobs, GROUP, 20000);
    check_kept(looking, jobs, GROUP, &good);
    ck_assert_int_lt(good, GROUP);
    for (int i = 0; i < GROUP; i++)
        ck_assert(jobs[i].err == 0 || jobs[i].err == KW_ELEDGER);
    one_group(w, jobs, 3, 0); /* small ones still find room */
    good = 0;
    check_kept(looking, jobs, 3, &good);
    ck_assert_int_eq(good, 3);
    fixture_check(looking);
    ledger_close(looking);
    writer_close(w);
    fixture_remove();
}
END_TEST

/* ---- killed ---- */

#define ROUNDS      25
#define ROUND_TEXTS 4000

static int acknowledged_fd;

struct text {
    int64_t ref;
};

static int file_text(struct ledger *lg, void *arg)
{
    struct text *x = arg;
    struct ledger_phone p;
    char ref[24];
    struct ledger_text_in t = {.carrier = "http",
                               .ref = ref,
                               .at_s = 1000,
                               .body = "c 021407319",
                               .len = 11};
    struct ledger_out o = {.carrier = "http",
                           .kind = LEDGER_REPLY,
                           .priority = LEDGER_PRIORITY_REPLY};
    struct ledger_reading reading = {.outcome = "filed"};
    int err;

    snprintf(ref, sizeof(ref), "%" PRId64, x->ref);
    if ((err = ledger_phone_take(lg, "+99970012345", &p)) < 0)
        return err;
    t.phone_id = p.id;
    if ((err = ledger_text_in_put(lg, &t)) < 0)
        return err;
    o.phone_id = p.id;
    o.text_id = t.id;
    snprintf(o.body, sizeof(o.body), "answer to %s", ref);
    if ((err = ledger_out_put(lg, &o)) < 0)
        return err;
    reading.answer_id = o.id;
    return ledger_text_in_read(lg, t.id, &reading);
}

static void acknowledge(void *arg, int err)
{
    struct text *x = arg;

    told_so_far++;
    if (err == 0 || err == KW_EDUP)
        (void)!write(acknowledged_fd, &x->ref, sizeof(x->ref));
}

/* The process that will be killed: texts from next on, until it is. */
static void take_texts(int64_t next)
{
    struct ledger_settings set = {.file = fixture_file(), .create = true};
    struct text *texts = kw_calloc(ROUND_TEXTS, sizeof(*texts));
    struct ledger *lg;
    struct writer *w;

    to_be_killed = true;
    told_so_far = 0;
    must(ledger_open(&set, &lg, NULL) == 0, "the ledger does not open");
    must(writer_open(lg, 64, &w) == 0, "the writer does not start");
    for (int i = 0; i < ROUND_TEXTS; i++) {
        struct writer_job job = {
            .run = file_text, .done = acknowledge, .arg = &texts[i]};

        texts[i].ref = next + i;
        if (i - told_so_far > 100)
            wait_for(w, i - 50);
        must(writer_submit(w, &job) == 0, "the queue is full");
    }
    wait_for(w, ROUND_TEXTS);
    _exit(0);
}

/* Runs it for a while; *upto: one behind the last that was acknowledged. */
static int64_t one_round(int64_t next, long after_us)
{
    int fds[2];
    int64_t ref, upto = next;
    int status;
    pid_t pid;

    ck_assert_int_eq(pipe(fds), 0);
    pid = fork();
    ck_assert_int_ge(pid, 0);
    if (pid == 0) {
        close(fds[0]);
        acknowledged_fd = fds[1];
        take_texts(next);
    }
    close(fds[1]);
    nanosleep(&(struct timespec){.tv_nsec = after_us * 1000}, NULL);
    kill(pid, SIGKILL);
    ck_assert_int_eq(waitpid(pid, &status, 0), pid);
    ck_assert_msg(WIFSIGNALED(status) || WEXITSTATUS(status) == 0,
                  "it ended before, with %d", WEXITSTATUS(status));
    while (read(fds[0], &ref, sizeof(ref)) == (ssize_t)sizeof(ref)) {
        ck_assert_int_eq(ref, upto); /* in order, none left out */
        upto++;
    }
    close(fds[0]);
    return upto;
}

START_TEST(killed_at_any_instant)
{
    unsigned seed = 20260301;
    int64_t upto = 0;
    char sql[256];

    for (int i = 0; i < ROUNDS; i++) {
        struct ledger *lg;

        upto = one_round(upto, 2000 + rand_r(&seed) % 40000);
        lg = fixture_open();
        fixture_check(lg);
        snprintf(sql, sizeof(sql),
                 "SELECT count(*) FROM arrivals r JOIN texts_in t "
                 "ON t.id = r.text_id JOIN outbox o ON o.id = t.answer_id "
                 "WHERE CAST(r.ref AS INTEGER) < %" PRId64
                 " AND o.body = 'answer to ' || r.ref",
                 upto);
        ck_assert_int_eq(fixture_number(lg, sql), upto);
        ck_assert_int_eq(fixture_number(lg,
                                        "SELECT count(*) - count(DISTINCT ref) "
                                        "FROM arrivals"),
                         0);
        ck_assert_int_eq(fixture_number(lg, "SELECT count(*) FROM texts_in"),
                         fixture_number(lg, "SELECT count(*) FROM arrivals"));
        ledger_close(lg);
    }
    printf("# %d kills, %" PRId64 " texts acknowledged, each there once\n",
           ROUNDS, upto);
    ck_assert_int_gt(upto, ROUNDS);
    fixture_remove();
}
END_TEST

static Suite *suite(void)
{
    Suite *s = suite_create("writer");
    TCase *t = tcase_create("invariants"), *k = tcase_create("killed");

    suite_add_tcase(s, t);
    tcase_set_timeout(t, 60);
    tcase_add_loop_test(t, each_is_told_once_in_order_after_its_commit, 0, 3);
    tcase_add_test(t, what_waits_is_one_group);
    tcase_add_test(t, disk_is_full_at_the_commit);
    tcase_add_test(t, disk_is_full_in_the_middle);
    suite_add_tcase(s, k);
    tcase_set_timeout(k, 120);
    tcase_add_test(k, killed_at_any_instant);
    return s;
}

int main(void)
{
    return fixture_run(suite());
}
