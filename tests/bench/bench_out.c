/*
 * bench_out.c - texts that leave by HTTP: claimed, sent as a POST each,
 * settled, every change of state in a commit. In turns in one run with
 *
 *   Yc   bare libcurl multi, handles and connections reused, as many POSTs
 *        of the same words under way at once, to the same sink
 *
 * The sink is a process of its own that answers 200 at once.
 * Usage: bench_out [--short]
 */
#include "tests/bench/figures.h"
#include "tests/bench/served.h"
#include "tests/bench/world.h"

#include "base/clock.h"
#include "base/file.h"
#include "ledger/due.h"

#include <arpa/inet.h>
#include <curl/curl.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#define NOW_S       1772352000 /* 2026-03-01T08:00:00Z */
#define ROUNDS_MOST 9
#define FLYING      32
#define WAIT_US     60000000
#define WORDS                                                                  \
    "Pot 0214-073-19: slow, 1.2 L in the first hour. Scrub the inside with "   \
    "a clean brush and clean water, then measure again within 7 days."

static char folder[] = "/tmp/kw-out-XXXXXX";
static int rounds = 5, texts = 20000;

/* ---- the sink ---- */

struct caller {
    int fd;
    char in[4096];
    size_t got;
};

struct sink {
    int fd, port;
    pid_t pid;
    _Atomic int64_t *taken; /* shared with its process */
};

/* Takes one whole request off the front; false when there is none. */
static bool take_request(struct caller *c)
{
    char *end, *length;
    size_t whole;

    c->in[c->got] = '\0';
    end = strstr(c->in, "\r\n\r\n");
    length = strcasestr(c->in, "content-length:");
    if (end == NULL || length == NULL || length > end)
        return false;
    whole = (size_t)(end - c->in) + 4 + strtoul(length + 15, NULL, 10);
    if (c->got < whole)
        return false;
    memmove(c->in, c->in + whole, c->got - whole);
    c->got -= whole;
    return true;
}

static void sink_read(struct sink *s, struct caller *c)
{
    static const char ok[] = "HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\nOK";
    ssize_t n = read(c->fd, c->in + c->got, sizeof(c->in) - 1 - c->got);

    if (n <= 0) {
        close(c->fd);
        kw_free(c);
        return;
    }
    c->got += (size_t)n;
    while (take_request(c)) {
        atomic_fetch_add(s->taken, 1);
        if (write(c->fd, ok, sizeof(ok) - 1) < 0)
            return;
    }
}

static void sink_run(struct sink *s)
{
    int ep = epoll_create1(EPOLL_CLOEXEC), one = 1;
    struct epoll_event e[64] = {{.events = EPOLLIN, .data.ptr = NULL}};

    epoll_ctl(ep, EPOLL_CTL_ADD, s->fd, &e[0]);
    for (;;) {
        int n = epoll_wait(ep, e, 64, -1);

        for (int i = 0; i < n; i++) {
            struct caller *c = e[i].data.ptr;
            struct epoll_event fresh = {.events = EPOLLIN};

            if (c != NULL) {
                sink_read(s, c);
                continue;
            }
            c = kw_calloc(1, sizeof(*c));
            c->fd = accept4(s->fd, NULL, NULL, SOCK_CLOEXEC);
            setsockopt(c->fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof(one));
            fresh.data.ptr = c;
            epoll_ctl(ep, EPOLL_CTL_ADD, c->fd, &fresh);
        }
    }
}

static void sink_open(struct sink *s)
{
    struct sockaddr_in at = {.sin_family = AF_INET,
                             .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t len = sizeof(at);

    s->taken = mmap(NULL, sizeof(*s->taken), PROT_READ | PROT_WRITE,
                    MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    s->fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (s->taken == MAP_FAILED || s->fd < 0 ||
        bind(s->fd, (struct sockaddr *)&at, len) < 0 || listen(s->fd, 64) < 0 ||
        getsockname(s->fd, (struct sockaddr *)&at, &len) < 0 ||
        (s->pid = fork()) < 0)
        figures_die("the sink");
    s->port = ntohs(at.sin_port);
    if (s->pid == 0) {
        prctl(PR_SET_PDEATHSIG, SIGKILL);
        sink_run(s);
    }
}

/* ---- Yc ---- */

struct ease { /* a handle and its words */
    CURL *easy;
    char body[400];
};

static size_t let_go(char *data, size_t size, size_t n, void *arg)
{
    (void)data, (void)arg;
    return size * n;
}

static void post(CURLM *multi, struct ease *e, int i)
{
    snprintf(e->body, sizeof(e->body), "to=%%2B%lld&id=%d&text=%s",
             WORLD_FIRST_PHONE + i, i,
             "Pot+0214-073-19%3A+slow%2C+1.2+L+in+the+first+hour.+Scrub+the+"
             "inside+with+a+clean+brush+and+clean+water%2C+then+measure+again+"
             "within+7+days.");
    curl_easy_setopt(e->easy, CURLOPT_POSTFIELDS, e->body);
    curl_multi_add_handle(multi, e->easy);
}

/* Those that are done make room for the next. */
static void reap(CURLM *multi, int *begun, int *done)
{
    CURLMsg *msg;
    int left;

    while ((msg = curl_multi_info_read(multi, &left)) != NULL) {
        struct ease *e;

        if (msg->msg != CURLMSG_DONE)
            continue;
        if (msg->data.result != CURLE_OK)
            figures_die("a POST of Yc");
        curl_easy_getinfo(msg->easy_handle, CURLINFO_PRIVATE, (char **)&e);
        curl_multi_remove_handle(multi, e->easy);
        ++*done;
        if (*begun < texts)
            post(multi, e, (*begun)++);
    }
}

static double run_bare(int port)
{
    CURLM *multi = curl_multi_init();
    static struct ease all[FLYING];
    char url[80];
    int begun = 0, done = 0, running;
    int64_t began_us = clock_monotonic_us();

    snprintf(url, sizeof(url), "http://127.0.0.1:%d/out", port);
    for (int i = 0; i < FLYING; i++) {
        all[i].easy = curl_easy_init();
        curl_easy_setopt(all[i].easy, CURLOPT_URL, url);
        curl_easy_setopt(all[i].easy, CURLOPT_WRITEFUNCTION, let_go);
        curl_easy_setopt(all[i].easy, CURLOPT_PRIVATE, &all[i]);
        post(multi, &all[i], begun++);
    }
    while (done < texts) {
        curl_multi_perform(multi, &running);
        reap(multi, &begun, &done);
        if (done < texts)
            curl_multi_poll(multi, NULL, 0, 100, NULL);
    }
    for (int i = 0; i < FLYING; i++)
        curl_easy_cleanup(all[i].easy);
    curl_multi_cleanup(multi);
    return (double)texts * 1e6 / (double)(clock_monotonic_us() - began_us);
}

/* ---- the service ---- */

static const char *path(const char *name)
{
    static char p[200];

    snprintf(p, sizeof(p), "%s/%s", folder, name);
    return p;
}

static void write_conf(int port)
{
    char text[2000];

    snprintf(text, sizeof(text),
             "programme = { zone = \"UTC\"; country_code = \"999\"; };\n"
             "listen = { port = 0; };\n"
             "ledger = { file = \"served.ledger\"; };\n"
             "grammar = { folder = \"%s/grammar\"; };\n"
             "digest = { at = \"off\"; };\n"
             "carriers = ( { name = \"gate\"; kind = \"http\";\n"
             "  in = { path = \"/in\"; };\n"
             "  out = { url = \"http://127.0.0.1:%d/out\"; in_flight = %d;\n"
             "    body = \"to={to}&id={id}&text={text}\"; }; } );\n",
             getenv("KW_SOURCE") ? getenv("KW_SOURCE") : ".", port, FLYING);
    figures_must(file_write_whole(path("kilnword.conf"), text, strlen(text)),
                 "configuration");
}

static struct ledger *open_ledger(void)
{
    struct ledger_settings set = {.create = true};
    struct ledger *lg;

    set.file = path("served.ledger");
    figures_must(ledger_open(&set, &lg, NULL), "the ledger");
    return lg;
}

/* So many answers wait, each to another phone. */
static void fill(void)
{
    struct ledger *lg = open_ledger();
    int64_t now_s = clock_now_s();

    figures_must(ledger_begin(lg), "begin");
    for (int i = 0; i < texts; i++) {
        struct ledger_out o = {.carrier = "gate",
                               .kind = LEDGER_REPLY,
                               .priority = LEDGER_PRIORITY_REPLY,
                               .at_s = now_s,
                               .due_s = now_s,
                               .phrase = true,
                               .expires_s = now_s + CLOCK_DAY_S,
                               .body = WORDS};
        struct ledger_phone p;
        char number[24];

        snprintf(number, sizeof(number), "+%lld", WORLD_FIRST_PHONE + i);
        figures_must(ledger_phone_take(lg, number, &p), "a phone");
        o.phone_id = p.id;
        figures_must(ledger_out_put(lg, &o), "an answer");
    }
    figures_must(ledger_commit(lg), "commit");
    ledger_close(lg);
}

static int64_t waiting(void)
{
    struct due_period none = {0};
    struct due_counts c;
    struct ledger *lg = open_ledger();

    figures_must(due_count(lg, &none, &c), "counting");
    ledger_close(lg);
    return c.waiting;
}

static void wait_for(const struct sink *s, int64_t taken)
{
    int64_t end_us = clock_monotonic_us() + WAIT_US;

    while (atomic_load(s->taken) < taken) {
        if (clock_monotonic_us() > end_us)
            figures_die("texts do not leave");
        usleep(1000);
    }
}

/* From the first tenth on, so that the start is not in it. */
static double run_served(const struct sink *s)
{
    struct served served;
    int64_t before = atomic_load(s->taken), began_us, tenth = texts / 10, left;
    double rate;

    fill();
    served_start(&served, path("kilnword.conf"));
    wait_for(s, before + tenth);
    tenth = atomic_load(s->taken) - before;
    began_us = clock_monotonic_us();
    wait_for(s, before + texts);
    rate = (double)(texts - tenth) * 1e6 /
           (double)(clock_monotonic_us() - began_us);
    served_stop(&served);
    left = waiting();
    if (left != 0 || atomic_load(s->taken) != before + texts) {
        fprintf(stderr,
                "bench_out: of %d texts %lld went and %lld are not settled\n",
                texts, (long long)(atomic_load(s->taken) - before),
                (long long)left);
        exit(1);
    }
    return rate;
}

static void tidy_up(const struct sink *s)
{
    static const char *const names[] = {"served.ledger", "served.ledger-wal",
                                        "served.ledger-shm", "kilnword.conf"};

    kill(s->pid, SIGKILL);
    waitpid(s->pid, NULL, 0);
    for (size_t i = 0; i < KW_COUNT(names); i++)
        unlink(path(names[i]));
    rmdir(folder);
}

int main(int argc, char **argv)
{
    double yc[ROUNDS_MOST], out[ROUNDS_MOST], ratio[ROUNDS_MOST], kept;
    struct sink s;

    if (argc > 1 && strcmp(argv[1], "--short") == 0) {
        rounds = 3;
        texts = 3000;
    }
    if (mkdtemp(folder) == NULL)
        figures_die(folder);
    sink_open(&s);
    curl_global_init(CURL_GLOBAL_ALL);
    write_conf(s.port);
    for (int i = 0; i < rounds; i++) {
        yc[i] = run_bare(s.port);
        out[i] = run_served(&s);
        ratio[i] = out[i] / yc[i];
    }
    figures_row("Yc, bare libcurl, 32 under way",
                figures_quantile(yc, (size_t)rounds, 0.5), "POSTs/s", "");
    figures_row("texts out, each change of state durable",
                figures_quantile(out, (size_t)rounds, 0.5), "POSTs/s",
                "32 under way");
    kept = figures_quantile(ratio, (size_t)rounds, 0.5);
    figures_row("texts out / Yc", kept, "ratio", "goal 0.5, bound 0.02");
    tidy_up(&s);
    return kept < 0.02;
}
