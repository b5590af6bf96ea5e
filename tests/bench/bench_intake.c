/*
 * bench_intake.c - durable intake by HTTP: texts that are read, filed and
 * answered, acknowledged after the commit. Round by round in one run beside
 *
 *   Yt             the least transaction that files a text, in bare SQLite
 *                  (yt.h): what the goals are against
 *   ledger alone   the ledger's calls for such a text, 64 in a commit, in
 *                  this process: the limit of SQLite with these statements
 *   desk alone     the whole desk, 64 in a commit, in this process
 *   answers alone  the same server answering GET /alive at once
 *
 * Each has a ledger of its own of the same size on the same disk. Medians of
 * the rounds. The load comes from this process: one thread, epoll. Then texts
 * that come as they come, 1,000 a second and now and then, beside Ys.
 */
#include "tests/bench/callers.h"
#include "tests/bench/figures.h"
#include "tests/bench/served.h"
#include "tests/bench/world.h"
#include "tests/bench/yt.h"

#include "base/clock.h"
#include "base/file.h"
#include "desk/desk.h"
#include "ledger/due.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

#define ROUNDS_MOST 9
#define GROUP       64
#define NOW_S       1772352000 /* 2026-03-01T08:00:00Z */

static char folder[] = "/tmp/kw-intake-XXXXXX";
static int pots = 20000, rounds = 5;
static double seconds = 3;
static struct callers_latencies latencies;
static int64_t next_ref; /* each text of this run has its own */

/* ---- the ledgers ---- */

static struct ledger *open_ledger(const char *name)
{
    char path[200], *why = NULL;
    struct ledger_settings set = {.file = path, .create = true};
    struct ledger *lg = NULL;

    snprintf(path, sizeof(path), "%s/%s", folder, name);
    if (ledger_open(&set, &lg, &why) < 0) {
        fprintf(stderr, "bench_intake: %s\n", why);
        exit(1);
    }
    return lg;
}

static void fill(const char *name)
{
    struct ledger *lg = open_ledger(name);

    world_fill(lg, pots, NOW_S);
    ledger_close(lg);
}

static void make_sample(struct world_text *s)
{
    int64_t ref = ++next_ref;

    world_text(s, (int)((uint64_t)ref * 7919 % (uint64_t)pots), ref,
               "s 4f 10h");
}

/* ---- in this process: the ledger's calls, or the desk ---- */

static int put_report(struct ledger *lg, const struct world_text *s,
                      const struct ledger_text_in *t,
                      const struct ledger_pot *pot)
{
    struct ledger_obs obs = {.kind = "slow",
                             .measure = "drop",
                             .unit = "finger",
                             .value = 4,
                             .minutes = 600};
    struct ledger_flow f = {.first_hour_l = 1.2,
                            .log_se = 0.2,
                            .k_m_s = 1e-6,
                            .water_degc = 22,
                            .p_below = 0.3,
                            .verdict = "fine"};
    struct ledger_report r = {.text_id = t->id,
                              .phone_id = t->phone_id,
                              .pot_key = s->key,
                              .home_id = pot->home_id,
                              .place_id = pot->place_id,
                              .at_s = t->at_s,
                              .flow = &f};

    return ledger_report_put(lg, &r, &obs, 1);
}

static int put_answer(struct ledger *lg, const struct ledger_text_in *t,
                      int64_t *id)
{
    struct ledger_out o = {.phone_id = t->phone_id,
                           .carrier = "gate",
                           .kind = LEDGER_REPLY,
                           .priority = LEDGER_PRIORITY_REPLY,
                           .at_s = t->at_s,
                           .due_s = t->at_s,
                           .expires_s = t->at_s + CLOCK_DAY_S,
                           .text_id = t->id,
                           .gone = "in the response",
                           .phrase = true};
    int err;

    snprintf(o.body, sizeof(o.body),
             "Noted: pot 0214-073-19 gives 1.2 l in the first hour. That is "
             "good. Scrub it when it slows down. Thank you.");
    err = ledger_out_put(lg, &o);
    *id = o.id;
    return err;
}

static int ledger_text(struct ledger *lg, const struct world_text *s)
{
    struct ledger_phone phone;
    struct due_home then;
    struct ledger_pot pot;
    double degc;
    struct ledger_text_in t = {.carrier = "gate",
                               .ref = s->ref,
                               .at_s = clock_now_s(),
                               .body = s->text,
                               .len = strlen(s->text)};
    struct ledger_reading reading = {
        .outcome = "filed", .lang = "en", .pot_key = s->key};
    int err;

    if ((err = ledger_phone_take(lg, s->from, &phone)) < 0)
        return err;
    t.phone_id = phone.id;
    if ((err = due_home_then(lg, phone.id, t.at_s, &then)) < 0 ||
        (err = ledger_text_in_put(lg, &t)) < 0 ||
        (err = ledger_place_water(lg, then.home.place_id, 3, &degc)) < 0 ||
        (err = ledger_pot_get(lg, s->key, &pot)) < 0 ||
        (err = put_report(lg, s, &t, &pot)) < 0 ||
        (err = put_answer(lg, &t, &reading.answer_id)) < 0 ||
        (err = ledger_text_in_read(lg, t.id, &reading)) < 0)
        return err;
    return ledger_phone_put(lg, &phone);
}

static int desk_text(struct desk *d, struct ledger *lg,
                     const struct world_text *s)
{
    struct desk_text in = {.carrier = "gate",
                           .ref = s->ref,
                           .from = s->from,
                           .text = s->text,
                           .len = strlen(s->text),
                           .in_hand = "in the response",
                           .at_s = clock_now_s()};
    struct desk_answer out;
    int err = desk_take(d, lg, &in, &out);

    if (err == 0 && (out.outcome != READER_FILED || out.outbox_id == 0)) {
        fprintf(stderr, "bench_intake: '%s' was not filed: %s\n", s->text,
                out.body);
        exit(1);
    }
    return err;
}

/* Texts a second; d NULL: the ledger alone. */
static double run_inside(struct desk *d, struct ledger *lg)
{
    int64_t began_us = clock_monotonic_us(), took_us;
    int64_t n = 0;

    do {
        figures_must(ledger_begin(lg), "begin");
        for (int i = 0; i < GROUP; i++, n++) {
            struct world_text s;

            make_sample(&s);
            figures_must(d != NULL ? desk_text(d, lg, &s) : ledger_text(lg, &s),
                         "text");
        }
        figures_must(ledger_commit(lg), "commit");
        took_us = clock_monotonic_us() - began_us;
    } while ((double)took_us < seconds * 1e6);
    return (double)n * 1e6 / (double)took_us;
}

static double run_bare(struct yt *y)
{
    int64_t began_us = clock_monotonic_us(), took_us;
    int64_t n = 0;

    do {
        yt_group(y, GROUP);
        n += GROUP;
        took_us = clock_monotonic_us() - began_us;
    } while ((double)took_us < seconds * 1e6);
    return (double)n * 1e6 / (double)took_us;
}

/* ---- the load ---- */

static void make_request(char *dst, size_t cap)
{
    struct world_text s;
    char body[240];

    make_sample(&s);
    for (char *p = s.text; *p != '\0'; p++)
        *p = *p == ' ' ? '+' : *p;
    snprintf(body, sizeof(body), "from=%%2B%s&to=7070&text=%s&id=%s",
             s.from + 1, s.text, s.ref);
    snprintf(dst, cap,
             "POST /in HTTP/1.1\r\nHost: x\r\nContent-Type: "
             "application/x-www-form-urlencoded\r\nContent-Length: "
             "%zu\r\n\r\n%s",
             strlen(body), body);
}

static void make_alive(char *dst, size_t cap)
{
    snprintf(dst, cap, "GET /alive HTTP/1.1\r\nHost: x\r\n\r\n");
}

/* Answers a second over so many connections. */
static double run_load(const struct served *s, int n, bool post)
{
    struct callers_order order = {.port = s->port,
                                  .connections = n,
                                  .seconds = seconds,
                                  .make = post ? make_request : make_alive};

    return callers_run(&order, &latencies);
}

/* ---- the bench ---- */

static void write_conf(char *path, size_t cap)
{
    char text[2000];

    snprintf(path, cap, "%s/kilnword.conf", folder);
    snprintf(text, sizeof(text),
             "programme = { zone = \"UTC\"; country_code = \"999\"; };\n"
             "listen = { port = 0; connections = 1200; };\n"
             "ledger = { file = \"served.ledger\"; };\n"
             "grammar = { folder = \"%s/grammar\";\n"
             "  image = \"%s/grammar/words.image\"; };\n"
             "digest = { at = \"off\"; };\n"
             "carriers = ( { name = \"gate\"; kind = \"http\";\n"
             "  in = { path = \"/in\"; reply_in_body = true; }; } );\n",
             getenv("KW_SOURCE") ? getenv("KW_SOURCE") : ".",
             getenv("KW_BUILD") ? getenv("KW_BUILD") : ".");
    figures_must(file_write_whole(path, text, strlen(text)), "configuration");
}

static struct desk *open_desk(const char *conf_path, struct config **conf)
{
    struct fault_list faults = {0};
    struct desk *d = NULL;

    if (config_load(conf_path, &faults, conf) < 0 ||
        desk_open(*conf, &faults, &d) < 0) {
        fault_print(&faults, stderr);
        exit(1);
    }
    return d;
}

static void bench_starts(const char *conf)
{
    double ms[ROUNDS_MOST], mib[ROUNDS_MOST];
    struct served s;

    for (int i = 0; i < rounds; i++) {
        served_start(&s, conf);
        ms[i] = s.start_ms;
        mib[i] = served_mib(&s);
        served_stop(&s);
    }
    figures_row("start to listening", figures_quantile(ms, (size_t)rounds, 0.5),
                "ms", "");
    figures_row("resident, idle", figures_quantile(mib, (size_t)rounds, 0.5),
                "MiB", "");
}

struct figures {
    double http, ledger, desk, alive, p50, p99, yt;
    double yt_cpu_us, http_cpu_us; /* processor time a text */
};

struct beside { /* what each round of the service is held against */
    struct desk *desk;
    struct ledger *alone, *desked;
    struct yt *yt;
};

/* Of this process. */
static double own_cpu_s(void)
{
    struct rusage u;

    getrusage(RUSAGE_SELF, &u);
    return (double)(u.ru_utime.tv_sec + u.ru_stime.tv_sec) +
           1e-6 * (double)(u.ru_utime.tv_usec + u.ru_stime.tv_usec);
}

static void one_round(const struct served *s, const struct beside *b,
                      struct figures *f)
{
    double before = own_cpu_s();

    f->yt = run_bare(b->yt);
    f->yt_cpu_us = 1e6 * (own_cpu_s() - before) / (f->yt * seconds);
    f->ledger = run_inside(NULL, b->alone);
    before = served_cpu_s(s);
    f->http = run_load(s, 64, true);
    f->http_cpu_us = 1e6 * (served_cpu_s(s) - before) / (f->http * seconds);
    f->p50 = figures_quantile(latencies.us, latencies.n, 0.5) / 1000;
    f->p99 = figures_quantile(latencies.us, latencies.n, 0.99) / 1000;
    f->desk = run_inside(b->desk, b->desked);
    f->alive = run_load(s, 64, false);
}

static double middle(const struct figures *f, size_t offset)
{
    double v[ROUNDS_MOST];

    for (int i = 0; i < rounds; i++)
        memcpy(&v[i], (const char *)&f[i] + offset, sizeof(v[i]));
    return figures_quantile(v, (size_t)rounds, 0.5);
}

struct ratios {
    double to_yt, to_ledger;
};

static void bench_rounds(const struct served *s, const char *conf_path,
                         struct ratios *out)
{
    struct figures f[ROUNDS_MOST];
    struct config *conf;
    struct beside b = {.desk = open_desk(conf_path, &conf),
                       .alone = open_ledger("alone.ledger"),
                       .desked = open_ledger("beside.ledger")};
    char path[200];
    double http, ledger;

    snprintf(path, sizeof(path), "%s/bare", folder);
    b.yt = yt_open(path, pots);
    for (int i = 0; i < rounds; i++)
        one_round(s, &b, &f[i]);
    yt_close(b.yt);
    ledger_close(b.alone);
    ledger_close(b.desked);
    desk_close(b.desk);
    config_free(conf);
    http = middle(f, offsetof(struct figures, http));
    ledger = middle(f, offsetof(struct figures, ledger));
    figures_row("intake by HTTP, 64 connections", http, "texts/s",
                "acknowledged after the commit");
    figures_row("  p50", middle(f, offsetof(struct figures, p50)), "ms", "");
    figures_row("  p99", middle(f, offsetof(struct figures, p99)), "ms", "");
    figures_row("Yt, 64 in a commit", middle(f, offsetof(struct figures, yt)),
                "texts/s", "bare SQLite");
    figures_row("ledger alone, 64 in a commit", ledger, "texts/s",
                "the same statements");
    figures_row("desk alone, 64 in a commit",
                middle(f, offsetof(struct figures, desk)), "texts/s", "");
    figures_row("answers alone, 64 connections",
                middle(f, offsetof(struct figures, alive)), "answers/s", "");
    figures_row("processor time of Yt",
                middle(f, offsetof(struct figures, yt_cpu_us)), "us/text", "");
    figures_row("processor time of the service",
                middle(f, offsetof(struct figures, http_cpu_us)), "us/text",
                "both threads, whatever else the machine does");
    out->to_yt = http / middle(f, offsetof(struct figures, yt));
    out->to_ledger = http / ledger;
}

/* ---- as texts come ---- */

static void bench_arrivals(const struct served *s, const char *name,
                           double a_second)
{
    double p50[ROUNDS_MOST], p99[ROUNDS_MOST], ys[ROUNDS_MOST];
    struct callers_order order = {.port = s->port,
                                  .connections = 64,
                                  .seconds = seconds * 2,
                                  .make = make_request};
    char path[200], remark[80], what[80];

    snprintf(path, sizeof(path), "%s/appended", folder);
    for (int i = 0; i < rounds; i++) {
        ys[i] = ys_us(path, 300);
        callers_arrive(&order, a_second, &latencies);
        p50[i] = figures_quantile(latencies.us, latencies.n, 0.5) / ys[i];
        p99[i] = figures_quantile(latencies.us, latencies.n, 0.99) / ys[i];
    }
    snprintf(remark, sizeof(remark), "goal 4; Ys %.0f us",
             figures_quantile(ys, (size_t)rounds, 0.5));
    snprintf(what, sizeof(what), "%s: p50 to acknowledge", name);
    figures_row(what, figures_quantile(p50, (size_t)rounds, 0.5), "Ys", remark);
    snprintf(what, sizeof(what), "%s: p99 to acknowledge", name);
    figures_row(what, figures_quantile(p99, (size_t)rounds, 0.5), "Ys",
                "goal 40");
}

static double bench_connections(const struct served *s)
{
    static const int sizes[] = {1, 64, 127, 128, 129, 256, 1000};
    double rate[KW_COUNT(sizes)], best = 0, worst = 1e9;
    char name[80];

    for (size_t i = 0; i < KW_COUNT(sizes); i++) {
        rate[i] = run_load(s, sizes[i], true);
        snprintf(name, sizeof(name), "intake by HTTP, %d connections",
                 sizes[i]);
        figures_row(name, rate[i], "texts/s", "");
        if (sizes[i] >= 64 && rate[i] > best)
            best = rate[i];
        if (sizes[i] >= 64 && rate[i] < worst)
            worst = rate[i];
    }
    return worst / best;
}

static void tidy_up(void)
{
    static const char *const names[] = {"served.ledger", "alone.ledger",
                                        "beside.ledger", "bare",
                                        "kilnword.conf"};
    static const char *const ends[] = {"", "-wal", "-shm"};
    char path[200];

    for (size_t i = 0; i < KW_COUNT(names) * KW_COUNT(ends); i++) {
        snprintf(path, sizeof(path), "%s/%s%s", folder,
                 names[i / KW_COUNT(ends)], ends[i % KW_COUNT(ends)]);
        unlink(path);
    }
    rmdir(folder);
}

int main(int argc, char **argv)
{
    char conf[200];
    struct rlimit files;
    struct served s;
    struct ratios ratio;
    double cliff;

    if (argc > 1 && strcmp(argv[1], "--short") == 0) {
        pots = 2000;
        rounds = 3;
        seconds = 0.7;
    }
    if (getrlimit(RLIMIT_NOFILE, &files) == 0) {
        files.rlim_cur = files.rlim_max;
        setrlimit(RLIMIT_NOFILE, &files);
    }
    if (mkdtemp(folder) == NULL)
        figures_die(folder);
    next_ref = clock_now_ms() * 1000;
    write_conf(conf, sizeof(conf));
    fill("served.ledger");
    fill("alone.ledger");
    fill("beside.ledger");
    bench_starts(conf);
    served_start(&s, conf);
    bench_rounds(&s, conf, &ratio);
    figures_row("resident, after 64 connections", served_mib(&s), "MiB", "");
    bench_arrivals(&s, "1,000 a second", 1000);
    figures_row("resident, after 1,000 a second", served_mib(&s), "MiB", "");
    bench_arrivals(&s, "now and then (20 a second)", 20);
    cliff = bench_connections(&s);
    figures_row("resident, after 1000 connections", served_mib(&s), "MiB", "");
    served_stop(&s);
    figures_row("HTTP / Yt", ratio.to_yt, "ratio", "goal 0.7");
    figures_row("HTTP / ledger alone", ratio.to_ledger, "ratio", "bound 0.1");
    figures_row("worst / best from 64 connections up", cliff, "ratio",
                "goal 0.7, bound 0.1");
    tidy_up();
    return ratio.to_ledger < 0.1 || cliff < 0.1;
}
