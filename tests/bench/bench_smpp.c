/*
 * bench_smpp.c - durable intake by SMPP: a centre that keeps so many
 * deliver_sm waiting, each answered after the commit that holds the text,
 * what was made of it and its answer. In turns in one run with Yt (yt.h).
 *
 *   answers wait   the centre takes no transmitter: intake alone
 *   answers go     it takes each submit_sm at once, too
 *
 * The centre is this process: one thread, one connection each way.
 * Usage: bench_smpp [--short]
 */
#include "tests/bench/figures.h"
#include "tests/bench/served.h"
#include "tests/bench/world.h"
#include "tests/bench/yt.h"

#include "base/clock.h"
#include "base/file.h"
#include "carrier/smpp_pdu.h"
#include "ledger/due.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define NOW_S       1772352000 /* 2026-03-01T08:00:00Z */
#define ROUNDS_MOST 9
#define LINKS_MOST  8
#define SYSTEM_ERR  0x0d /* ESME_RBINDFAIL, 5.1.3 */

static char folder[] = "/tmp/kw-smpp-XXXXXX";
static int pots = 20000, rounds = 5;
static double seconds = 3;
static int64_t next_ref;

/* ---- the centre ---- */

struct link {
    int fd;
    bool receiver; /* it may be brought texts */
    uint8_t in[1 << 18];
    size_t got;
    struct kw_buf out;
};

struct centre {
    int fd, port;
    bool answers_go;
    struct link *links[LINKS_MOST];
    int n_links, waiting;
    uint32_t sequence;
    int64_t answered, submitted;
};

static void centre_open(struct centre *c)
{
    struct sockaddr_in at = {.sin_family = AF_INET,
                             .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t len = sizeof(at);

    c->fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (c->fd < 0 || bind(c->fd, (struct sockaddr *)&at, len) < 0 ||
        listen(c->fd, 16) < 0 ||
        getsockname(c->fd, (struct sockaddr *)&at, &len) < 0)
        figures_die("listening");
    c->port = ntohs(at.sin_port);
}

static void centre_accept(struct centre *c)
{
    struct link *l = kw_calloc(1, sizeof(*l));
    int one = 1;

    l->fd = accept4(c->fd, NULL, NULL, SOCK_CLOEXEC);
    if (l->fd < 0 || c->n_links == LINKS_MOST)
        figures_die("accept");
    setsockopt(l->fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof(one));
    kw_buf_init(&l->out, 1 << 20);
    c->links[c->n_links++] = l;
}

static void link_free(struct link *l)
{
    close(l->fd);
    kw_buf_release(&l->out);
    kw_free(l);
}

static void centre_drop(struct centre *c, int i)
{
    link_free(c->links[i]);
    c->links[i] = c->links[--c->n_links];
}

static void say(struct link *l, const struct smpp_pdu *p)
{
    figures_must(smpp_pdu_encode(p, &l->out), "a PDU");
}

static void flush(struct link *l)
{
    if (l->out.len > 0 &&
        write(l->fd, l->out.data, l->out.len) != (ssize_t)l->out.len)
        figures_die("writing");
    kw_buf_clear(&l->out);
}

static void hear(struct centre *c, struct link *l, const struct smpp_pdu *p)
{
    struct smpp_pdu r = {.command_id = p->command_id | SMPP_RESP,
                         .has_body = true,
                         .sequence_number = p->sequence_number};

    switch (p->command_id) {
    case SMPP_BIND_TRANSMITTER:
        if (!c->answers_go)
            r.command_status = SYSTEM_ERR;
        break;
    case SMPP_BIND_RECEIVER:
        l->receiver = true;
        break;
    case SMPP_SUBMIT_SM:
        snprintf(r.message_id, sizeof(r.message_id), "m%lld",
                 (long long)++c->submitted);
        break;
    case SMPP_DELIVER_SM | SMPP_RESP:
        if (p->command_status != 0) {
            fprintf(stderr, "bench_smpp: a text was answered with 0x%x\n",
                    (unsigned)p->command_status);
            exit(1);
        }
        c->answered++;
        c->waiting--;
        return;
    default:
        if (p->command_id & SMPP_RESP)
            return;
        r.has_body = false;
    }
    say(l, &r);
}

/* False when it was closed. */
static bool centre_read(struct centre *c, struct link *l)
{
    ssize_t n = read(l->fd, l->in + l->got, sizeof(l->in) - l->got);
    size_t at = 0;

    if (n <= 0)
        return false;
    l->got += (size_t)n;
    for (;;) {
        int whole = smpp_pdu_length(l->in + at, l->got - at);
        struct smpp_pdu p;

        figures_must(whole, "framing");
        if (whole == 0 || (size_t)whole > l->got - at)
            break;
        figures_must(smpp_pdu_decode(&p, l->in + at, (size_t)whole),
                     "decoding");
        hear(c, l, &p);
        at += (size_t)whole;
    }
    memmove(l->in, l->in + at, l->got - at);
    l->got -= at;
    flush(l);
    return true;
}

static void centre_turn(struct centre *c, int timeout_ms)
{
    struct pollfd p[LINKS_MOST + 1] = {{.fd = c->fd, .events = POLLIN}};
    int n = c->n_links;

    for (int i = 0; i < n; i++)
        p[i + 1] = (struct pollfd){.fd = c->links[i]->fd, .events = POLLIN};
    if (poll(p, (nfds_t)n + 1, timeout_ms) < 0)
        figures_die("poll");
    for (int i = n - 1; i >= 0; i--) {
        if (p[i + 1].revents != 0 && !centre_read(c, c->links[i]))
            centre_drop(c, i);
    }
    if (p[0].revents != 0)
        centre_accept(c);
}

static struct link *receiver(struct centre *c)
{
    for (int i = 0; i < c->n_links; i++) {
        if (c->links[i]->receiver)
            return c->links[i];
    }
    return NULL;
}

static void bring(struct centre *c, struct link *l)
{
    struct world_text t;
    struct smpp_pdu p = {.command_id = SMPP_DELIVER_SM,
                         .has_body = true,
                         .sequence_number = ++c->sequence,
                         .source = {.ton = 1, .npi = 1},
                         .dest = {.addr = "7070"}};
    int64_t ref = next_ref++, round = ref / pots;
    char words[40];

    /* By SMPP the same words soon after are a repeat: each says another. */
    snprintf(words, sizeof(words), "s %d.%df %dh", 3 + (int)(round % 3),
             (int)(round / 30 % 10), 5 + (int)(round / 3 % 10));
    world_text(&t, (int)(ref % pots), ref, words);
    figures_must(kw_copy(p.source.addr, sizeof(p.source.addr), t.from + 1,
                         strlen(t.from + 1)),
                 "number");
    p.short_message = (const uint8_t *)t.text;
    p.sm_length = (uint8_t)strlen(t.text);
    say(l, &p);
    c->waiting++;
}

/* Texts a second with so many waiting. */
static double run_window(struct centre *c, int window)
{
    int64_t began_us = clock_monotonic_us(), now_us = began_us;
    int64_t before = c->answered, again_us = began_us + 30000000;
    struct link *l;

    while ((l = receiver(c)) == NULL) {
        centre_turn(c, 100);
        if (clock_monotonic_us() > again_us)
            figures_die("the service does not bind");
    }
    began_us = clock_monotonic_us();
    do {
        while (c->waiting < window)
            bring(c, l);
        flush(l);
        centre_turn(c, 1000);
        now_us = clock_monotonic_us();
    } while ((double)(now_us - began_us) < seconds * 1e6);
    before = c->answered - before;
    while (c->waiting > 0)
        centre_turn(c, 1000);
    return (double)before * 1e6 / (double)(now_us - began_us);
}

/* ---- the service and Yt ---- */

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
             "carriers = ( { name = \"gate\"; kind = \"smpp\";\n"
             "  smpp = { host = \"127.0.0.1\"; port = %d; bind = \"separate\";"
             " system_id = \"kiln\"; source = \"7070\"; window = 50; }; } );\n",
             getenv("KW_SOURCE") ? getenv("KW_SOURCE") : ".", port);
    figures_must(file_write_whole(path("kilnword.conf"), text, strlen(text)),
                 "configuration");
}

static void fill(void)
{
    struct ledger_settings set = {.create = true};
    struct ledger *lg;

    set.file = path("served.ledger");
    figures_must(ledger_open(&set, &lg, NULL), "the ledger");
    world_fill(lg, pots, NOW_S);
    ledger_close(lg);
}

static double run_bare(struct yt *y)
{
    int64_t began_us = clock_monotonic_us(), took_us, n = 0;

    do {
        yt_group(y, YT_GROUP);
        n += YT_GROUP;
        took_us = clock_monotonic_us() - began_us;
    } while ((double)took_us < seconds * 1e6);
    return (double)n * 1e6 / (double)took_us;
}

static double bench(struct centre *c, struct yt *y, bool answers_go)
{
    double wide[ROUNDS_MOST], yt[ROUNDS_MOST], ratio[ROUNDS_MOST];
    const char *how = answers_go ? "answers go" : "answers wait";
    struct served s;
    char what[80];

    c->answers_go = answers_go;
    served_start(&s, path("kilnword.conf"));
    for (int i = 0; i < rounds; i++) {
        yt[i] = run_bare(y);
        wide[i] = run_window(c, 50);
        ratio[i] = wide[i] / yt[i];
    }
    snprintf(what, sizeof(what), "by SMPP, window 50, %s", how);
    figures_row(what, figures_quantile(wide, (size_t)rounds, 0.5), "texts/s",
                "");
    figures_row("Yt, 64 in a commit", figures_quantile(yt, (size_t)rounds, 0.5),
                "texts/s", "bare SQLite");
    snprintf(what, sizeof(what), "SMPP / Yt, %s", how);
    figures_row(what, figures_quantile(ratio, (size_t)rounds, 0.5), "ratio",
                answers_go ? "" : "goal 0.6");
    if (!answers_go) {
        figures_row("by SMPP, window 10", run_window(c, 10), "texts/s", "");
        figures_row("by SMPP, window 1", run_window(c, 1), "texts/s", "");
    }
    figures_row("resident", served_mib(&s), "MiB", "");
    /* Links are read while it takes its leave. */
    kill(s.pid, SIGTERM);
    while (c->n_links > 0)
        centre_turn(c, 1000);
    served_wait(&s);
    return figures_quantile(ratio, (size_t)rounds, 0.5);
}

/* Each was filed and answered, none taken for a repeat. */
static void check_texts(int64_t brought, double *answers)
{
    struct ledger_settings set = {.read_only = true};
    struct due_period all = {.to_s = INT64_MAX};
    struct due_counts c;
    struct ledger *lg;

    set.file = path("served.ledger");
    figures_must(ledger_open(&set, &lg, NULL), "the ledger again");
    figures_must(due_count(lg, &all, &c), "counting");
    ledger_close(lg);
    if (c.reports != brought || c.measured != brought) {
        fprintf(stderr, "bench_smpp: %lld measures filed of %lld texts\n",
                (long long)c.measured, (long long)brought);
        exit(1);
    }
    *answers = (double)c.waiting;
}

static void tidy_up(void)
{
    static const char *const names[] = {"served.ledger", "bare",
                                        "kilnword.conf"};
    static const char *const ends[] = {"", "-wal", "-shm"};
    char name[64];

    for (size_t i = 0; i < KW_COUNT(names) * KW_COUNT(ends); i++) {
        snprintf(name, sizeof(name), "%s%s", names[i / KW_COUNT(ends)],
                 ends[i % KW_COUNT(ends)]);
        unlink(path(name));
    }
    rmdir(folder);
}

int main(int argc, char **argv)
{
    struct centre c = {.fd = -1};
    struct yt *y;
    double waits, goes, waiting;

    if (argc > 1 && strcmp(argv[1], "--short") == 0) {
        pots = 2000;
        rounds = 3;
        seconds = 0.7;
    }
    if (mkdtemp(folder) == NULL)
        figures_die(folder);
    centre_open(&c);
    write_conf(c.port);
    fill();
    y = yt_open(path("bare"), pots);
    waits = bench(&c, y, false);
    goes = bench(&c, y, true);
    check_texts(c.answered, &waiting);
    figures_row("texts brought, filed and answered", (double)c.answered, "",
                "");
    figures_row("answers that went out", (double)c.submitted, "", "");
    figures_row("answers that wait", waiting, "", "");
    yt_close(y);
    tidy_up();
    return waits < 0.1 || goes < 0.05; /* as on a busy machine */
}
