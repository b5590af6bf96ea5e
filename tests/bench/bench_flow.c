/*
 * bench_flow.c - what the flow of pots costs: a decision of the service a
 * report, and the weekly re-estimation over a ledger of a million pots, tick
 * by tick.
 */
#include "base/clock.h"
#include "base/config.h"
#include "desk/flow.h"
#include "ledger/engine.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define BATCH_POTS 100

static double seconds(void)
{
    struct timespec t;

    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static int decisions(int n)
{
    struct drift_state s;
    struct potflow_decision d;
    double from = seconds(), us;

    drift_start(&s, &drift_prior_default, 0);
    for (int i = 0; i < n; i++)
        potflow_read(
            &s, &potflow_defaults,
            &(struct potflow_seen){.reading = {.at_days = 40.0 * i,
                                               .log_flow = 0.3,
                                               .log_se = 0.1 + 1e-4 * (i & 63)},
                                   .age_days = 40.0 * i},
            &d);
    us = (seconds() - from) / n * 1e6;
    printf("decision of the service\t%.3f\tus\ta report\n", us);
    return us < 5 ? 0 : 1;
}

/* Pots with a state of five readings, in batches of a hundred. */
static int fill(struct ledger *lg, int pots)
{
    char sql[800];
    int err = ledger_begin(lg);

    snprintf(sql, sizeof(sql),
             "INSERT INTO batches (id, code) WITH RECURSIVE n (i) AS (SELECT 1 "
             "UNION ALL SELECT i + 1 FROM n WHERE i < %d) "
             "SELECT i, 'b' || i FROM n;"
             "INSERT INTO pots (key, serial, batch_id) WITH RECURSIVE n (i) AS "
             "(SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < %d) "
             "SELECT i + 1, 's' || i, i / %d + 1 FROM n;"
             "INSERT INTO drifts (pot_key, level, slope, p11, p12, p22, "
             "at_days, readings, scrubs_seen, gain_sum) SELECT key, 0.5, "
             "-0.002 - key %% 7 * 1e-4, 0.02, 0, 1e-6, 20000, 5, 1, 0.3 "
             "FROM pots",
             pots / BATCH_POTS, pots - 1, BATCH_POTS);
    if (err == 0)
        err = engine_run(lg, sql);
    return err == 0 ? ledger_commit(lg) : err;
}

static int learn(struct ledger *lg, const struct config *conf, int pots)
{
    int64_t now_s = 1772524800, next_s;
    double from = seconds(), longest = 0;
    int ticks = 0, err = 0;

    do {
        double begin = seconds();

        next_s = now_s + CLOCK_DAY_S;
        if ((err = ledger_begin(lg)) < 0 ||
            (err = flow_learn(conf, lg, now_s, &next_s)) < 0 ||
            (err = ledger_commit(lg)) < 0)
            return err;
        longest = fmax(longest, seconds() - begin);
        ticks++;
        now_s++;
    } while (next_s == now_s);
    printf("re-estimation in a ledger of %d pots\t%.2f\ts\t%d ticks, a week\n",
           pots, seconds() - from, ticks);
    printf("its longest tick\t%.1f\tms\tthat texts may wait\n", longest * 1e3);
    return 0;
}

int main(int argc, char **argv)
{
    bool brief = argc > 1 && strcmp(argv[1], "--short") == 0;
    int pots = brief ? 20000 : 1000000, worst = decisions(100000);
    char folder[] = "/tmp/kw-bench-flow-XXXXXX", file[80], other[90];
    struct fault_list faults = {0};
    struct ledger_settings set = {.file = file, .create = true};
    struct config *conf = NULL;
    struct ledger *lg = NULL;

    if (mkdtemp(folder) == NULL || config_load(NULL, &faults, &conf) < 0)
        return 1;
    snprintf(file, sizeof(file), "%s/l", folder);
    if (ledger_open(&set, &lg, NULL) < 0 || fill(lg, pots) < 0 ||
        learn(lg, conf, pots) < 0)
        worst = 1;
    ledger_close(lg);
    config_free(conf);
    for (const char *const *end =
             (const char *const[]){"", "-wal", "-shm", ".lock", NULL};
         *end != NULL; end++) {
        snprintf(other, sizeof(other), "%s%s", file, *end);
        unlink(other);
    }
    rmdir(folder);
    return worst;
}
