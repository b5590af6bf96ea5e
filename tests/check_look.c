/* check_look.c - reads for pages, against counts made another way. */
#include "ledger/look.h"
#include "tests/ledger_fixture.h"
#include "tests/page_valley.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct ledger *lg;

static void open_valley(void)
{
    lg = valley_open();
}

static void close_valley(void)
{
    ledger_close(lg);
    fixture_remove();
}

struct seen {
    int n, stop_at;
    int64_t last_s;
    bool in_order, newest_first;
    char last[LEDGER_NAME_CAP];
    size_t obs;
};

static int see_handover(const struct look_handover *h, void *arg)
{
    struct seen *s = arg;

    snprintf(s->last, sizeof(s->last), "%s", h->home);
    return ++s->n == s->stop_at ? KW_EAGAIN : 0;
}

static int see_report(const struct look_report *r, void *arg)
{
    struct seen *s = arg;

    if (s->n > 0 &&
        (s->newest_first ? r->at_s > s->last_s : r->at_s < s->last_s))
        s->in_order = false;
    s->last_s = r->at_s;
    s->obs += r->n_obs;
    snprintf(s->last, sizeof(s->last), "%s", r->home);
    return ++s->n == s->stop_at ? KW_EAGAIN : 0;
}

static int see_alert(const struct ledger_alert *a, void *arg)
{
    struct seen *s = arg;

    s->last_s = a->id;
    return ++s->n == s->stop_at ? KW_EAGAIN : 0;
}

static int64_t id_of(const char *table, const char *column, const char *name)
{
    char sql[256];

    snprintf(sql, sizeof(sql), "SELECT id FROM %s WHERE %s = '%s'", table,
             column, name);
    return fixture_number(lg, sql);
}

START_TEST(handovers_by_each_way)
{
    const int64_t batch = id_of("batches", "code", "0214");
    const int64_t place = id_of("places", "name", "Alto Sele");
    const int64_t home = id_of("homes", "code", "SV-022");
    struct {
        enum look_by by;
        int64_t id;
        int n;
    } ways[] = {{LOOK_BATCH, batch, 19},
                {LOOK_PLACE, place, 19},
                {LOOK_HOME, home, 1},
                {LOOK_POT, valley_key("0214", 2), 1},
                {LOOK_POT, valley_key("0214", 20), 0},
                {LOOK_ALL, 0, 57}};

    for (size_t i = 0; i < KW_COUNT(ways); i++) {
        struct seen s = {.n = 0};

        ck_assert_int_eq(look_handovers(lg,
                                        &(struct look_of){.by = ways[i].by,
                                                          .id = ways[i].id},
                                        see_handover, &s),
                         0);
        ck_assert_int_eq(s.n, ways[i].n);
    }
}
END_TEST

/* A pot that went to another home: both times, then only the one that lasts. */
START_TEST(handovers_that_last)
{
    const int64_t key = valley_key("0210", 1);
    struct seen s = {.n = 0};
    int64_t id;

    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_handover_put(lg, key,
                                         id_of("homes", "code", "SV-002"),
                                         VALLEY_NOW_S - VALLEY_DAY_S, &id),
                     0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    ck_assert_int_eq(
        look_handovers(lg, &(struct look_of){.by = LOOK_POT, .id = key},
                       see_handover, &s),
        0);
    ck_assert_int_eq(s.n, 2);
    ck_assert_str_eq(s.last, "SV-002");
    s.n = 0;
    ck_assert_int_eq(
        look_handovers(
            lg, &(struct look_of){.by = LOOK_POT, .id = key, .now_only = true},
            see_handover, &s),
        0);
    ck_assert_int_eq(s.n, 1);
    s.n = 0;
    ck_assert_int_eq(
        look_handovers(lg,
                       &(struct look_of){.by = LOOK_HOME,
                                         .id = id_of("homes", "code", "SV-001"),
                                         .now_only = true},
                       see_handover, &s),
        0);
    ck_assert_int_eq(s.n, 0);
}
END_TEST

START_TEST(callback_stops_a_list)
{
    struct seen s = {.stop_at = 3};

    ck_assert_int_eq(
        look_handovers(lg, &(struct look_of){.by = LOOK_ALL}, see_handover, &s),
        KW_EAGAIN);
    ck_assert_int_eq(s.n, 3);
    s.n = 0;
    ck_assert_int_eq(
        look_reports(lg, &(struct look_of){.by = LOOK_ALL}, see_report, &s),
        KW_EAGAIN);
    ck_assert_int_eq(s.n, 3);
}
END_TEST

START_TEST(reports_of_a_pot_hang_together)
{
    struct seen s = {.in_order = true};

    ck_assert_int_eq(
        look_reports(
            lg, &(struct look_of){.by = LOOK_POT, .id = valley_key("0220", 5)},
            see_report, &s),
        0);
    ck_assert_int_eq(s.n, 4);
    ck_assert_uint_eq(s.obs, 4);
    ck_assert(s.in_order);
    ck_assert_int_eq(look_reports(lg,
                                  &(struct look_of){.by = LOOK_BATCH, .id = 1},
                                  see_report, &s),
                     KW_EINVAL);
}
END_TEST

START_TEST(reports_of_homes_newest_first)
{
    struct seen s = {.in_order = true, .newest_first = true};
    int64_t home = id_of("homes", "code", "SV-045");

    ck_assert_int_eq(
        look_reports(lg,
                     &(struct look_of){.by = LOOK_HOME, .id = home, .most = 3},
                     see_report, &s),
        0);
    ck_assert_int_eq(s.n, 3);
    ck_assert(s.in_order);
    ck_assert_str_eq(s.last, "SV-045");
}
END_TEST

START_TEST(unfiled_texts_of_a_pot)
{
    const int64_t key = valley_key("0220", 5);
    struct seen s = {.in_order = true};

    ck_assert_int_eq(
        look_unfiled(
            lg,
            &(struct look_of){.by = LOOK_POT,
                              .id = key,
                              .since_s = VALLEY_NOW_S - 14 * VALLEY_DAY_S},
            see_report, &s),
        0);
    ck_assert_int_eq(s.n, 1);
    ck_assert_uint_eq(s.obs, 0);
    s.n = 0;
    ck_assert_int_eq(
        look_unfiled(lg,
                     &(struct look_of){.by = LOOK_POT,
                                       .id = key,
                                       .since_s = VALLEY_NOW_S - VALLEY_DAY_S},
                     see_report, &s),
        0);
    ck_assert_int_eq(s.n, 0);
}
END_TEST

START_TEST(alerts_by_each_way)
{
    struct {
        enum look_by by;
        int64_t id;
        int n;
    } ways[] = {{LOOK_ALL, 0, 3},
                {LOOK_BATCH, id_of("batches", "code", "0214"), 1},
                {LOOK_BATCH, id_of("batches", "code", "0220"), 1}, /* its pot */
                {LOOK_BATCH, id_of("batches", "code", "0210"), 0},
                {LOOK_POT, valley_key("0214", 2), 1}, /* its batch */
                {LOOK_POT, valley_key("0210", 9), 1}, /* its home */
                {LOOK_POT, valley_key("0220", 5), 1},
                {LOOK_POT, valley_key("0220", 6), 0},
                {LOOK_HOME, id_of("homes", "code", "SV-009"), 1},
                {LOOK_HOME, id_of("homes", "code", "SV-045"), 1}, /* pot */
                {LOOK_PLACE, id_of("places", "name", "Alto Sele"), 1}};

    for (size_t i = 0; i < KW_COUNT(ways); i++) {
        struct seen s = {.n = 0};

        ck_assert_int_eq(
            look_alerts(lg,
                        &(struct look_of){.by = ways[i].by, .id = ways[i].id},
                        see_alert, &s),
            0);
        ck_assert_msg(s.n == ways[i].n, "way %zu: %d", i, s.n);
    }
}
END_TEST

/* Names near to one, the nearest first; not what is far. */
static const struct {
    enum look_by by;
    const char *name, *first; /* NULL: nothing is near */
} nears[] = {
    {LOOK_PLACE, "alto sele", "Alto Sele"},
    {LOOK_PLACE, "Ato Sele", "Alto Sele"},
    {LOOK_PLACE, "Alot Sele", "Alto Sele"},
    {LOOK_PLACE, "Alto", "Alto Sele"}, /* begins so */
    {LOOK_PLACE, "Somewhere else", NULL},
    {LOOK_PLACE, "", NULL},
    {LOOK_BATCH, "0212", "0210"},
    {LOOK_BATCH, "0241", "0214"},
    {LOOK_BATCH, "9999", NULL},
    {LOOK_HOME, "SV-O09", "SV-009"},
};
START_TEST(near_names)
{
    struct look_near near;

    ck_assert_int_eq(look_near(lg, nears[_i].by, nears[_i].name, &near), 0);
    if (nears[_i].first == NULL) {
        ck_assert_int_eq(near.n, 0);
    } else {
        ck_assert_int_gt(near.n, 0);
        ck_assert_int_le(near.n, LOOK_NEAR_MOST);
        ck_assert_str_eq(near.names[0], nears[_i].first);
    }
}
END_TEST

/* Names of any octets and length only ever give what is there. */
START_TEST(near_any_name)
{
    char name[200];
    struct look_near near;

    srand(3);
    for (int round = 0; round < 300; round++) {
        size_t len = (size_t)rand() % (sizeof(name) - 1);

        for (size_t i = 0; i < len; i++)
            name[i] = (char)(1 + rand() % 255);
        name[len] = '\0';
        ck_assert_int_eq(look_near(lg, LOOK_HOME, name, &near), 0);
        ck_assert_int_le(near.n, LOOK_NEAR_MOST);
        for (int i = 0; i < near.n; i++)
            ck_assert_int_eq(strncmp(near.names[i], "SV-", 3), 0);
    }
}
END_TEST

START_TEST(line_agrees_with_counts)
{
    struct look_line l;
    int64_t week = 0;

    ck_assert_int_eq(look_line(lg, VALLEY_NOW_S - 8 * 3600,
                               VALLEY_NOW_S - 30 * VALLEY_DAY_S, &l),
                     0);
    for (int i = 0; i < LOOK_OUTCOMES; i++)
        week += l.in_week[i];
    {
        char sql[128];

        snprintf(sql, sizeof(sql),
                 "SELECT count(*) FROM texts_in WHERE at_s >= %lld",
                 (long long)(VALLEY_NOW_S - 30 * VALLEY_DAY_S));
        ck_assert_int_eq(week, fixture_number(lg, sql));
    }
    ck_assert_int_eq(l.texts,
                     fixture_number(lg, "SELECT count(*) FROM texts_in"));
    ck_assert_int_eq(l.reports,
                     fixture_number(lg, "SELECT count(*) FROM reports"));
    ck_assert_int_eq(l.pots, fixture_number(lg, "SELECT count(*) FROM pots"));
    ck_assert_int_eq(l.waiting, 1);
    ck_assert_str_eq(l.last_error, "404 not here");
}
END_TEST

START_TEST(subject_of_each_kind)
{
    struct ledger_alert a = {.on = LEDGER_ON_PLACE};
    char name[LEDGER_NAME_CAP];

    a.subject_id = id_of("places", "name", "Alto Sele");
    ck_assert_int_eq(look_subject(lg, &a, name, sizeof(name)), 0);
    ck_assert_str_eq(name, "Alto Sele");
    a.on = LEDGER_ON_POT;
    a.subject_id = valley_key("0214", 2);
    ck_assert_int_eq(look_subject(lg, &a, name, sizeof(name)), 0);
    ck_assert_str_eq(name, "021400238");
    a.on = LEDGER_ON_HOME;
    a.subject_id = 12345;
    ck_assert_int_eq(look_subject(lg, &a, name, sizeof(name)), KW_ENOENT);
    ck_assert_str_eq(name, "");
}
END_TEST

int main(void)
{
    Suite *s = suite_create("look");
    TCase *t = tcase_create("look");

    tcase_add_checked_fixture(t, open_valley, close_valley);
    tcase_add_test(t, handovers_by_each_way);
    tcase_add_test(t, handovers_that_last);
    tcase_add_test(t, callback_stops_a_list);
    tcase_add_test(t, reports_of_a_pot_hang_together);
    tcase_add_test(t, reports_of_homes_newest_first);
    tcase_add_test(t, unfiled_texts_of_a_pot);
    tcase_add_test(t, alerts_by_each_way);
    tcase_add_loop_test(t, near_names, 0, (int)KW_COUNT(nears));
    tcase_add_test(t, near_any_name);
    tcase_add_test(t, line_agrees_with_counts);
    tcase_add_test(t, subject_of_each_kind);
    suite_add_tcase(s, t);
    return fixture_run(s);
}
