#include "tests/desk_fixture.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/config.h"
#include "base/file.h"
#include "base/septet.h"
#include "ledger/notebook.h"

struct config *conf;
struct desk *desk;
struct ledger *lg;
struct desk_answer got;
int64_t now_s;
char serials[8][SERIAL_CAP];

static void settings(void)
{
    struct fault_list faults = {0};
    char folder[4096];

    ck_assert_int_eq(config_load(NULL, &faults, &conf), 0);
    file_join(folder, sizeof(folder), getenv("KW_SOURCE"), "grammar");
    kw_free(conf->grammar_folder);
    conf->grammar_folder = kw_strdup(folder);
    kw_free(conf->country_code);
    conf->country_code = kw_strdup("999");
    kw_free(conf->national_prefix);
    conf->national_prefix = kw_strdup("0");
    conf->n_people = 2;
    conf->people[0] = (struct config_person){.phone = kw_strdup("070000001"),
                                             .role = kw_strdup("coordinator"),
                                             .lang = kw_strdup("en"),
                                             .name = kw_strdup("Chief"),
                                             .carrier = kw_strdup("")};
    conf->people[1] = (struct config_person){.phone = kw_strdup(FIELD),
                                             .role = kw_strdup("field"),
                                             .lang = kw_strdup("en"),
                                             .name = kw_strdup("Field"),
                                             .carrier = kw_strdup("")};
    ck_assert_int_eq(desk_open(conf, &faults, &desk), 0);
    ck_assert_uint_eq(fault_print(&faults, stderr), 0);
}

int64_t put_pot(int i, const char *batch, int64_t batch_id, int number)
{
    struct ledger_pot p = {.batch_id = batch_id, .scrapped = i == 4};
    enum ledger_change change;
    char pot[8];

    snprintf(pot, sizeof(pot), "%03d", number);
    ck_assert_int_eq(serial_make(desk_layout(desk), batch, pot, p.serial), 0);
    ck_assert_int_eq(serial_key(p.serial, &p.key), 0);
    if (i >= 0)
        SET(serials[i], p.serial);
    if (i == 5)
        return p.key;
    ck_assert_int_eq(ledger_pot_put(lg, &p, false, &change), 0);
    ck_assert_int_eq(ledger_batch_sum(lg, batch_id), 0);
    return p.key;
}

int64_t put_home(const char *code, const char *phone, int64_t place)
{
    struct ledger_home h = {.place_id = place, .consent = -1};
    struct ledger_phone p;
    enum ledger_change change;

    SET(h.code, code);
    if (phone != NULL) {
        ck_assert_int_eq(ledger_phone_take(lg, phone, &p), 0);
        h.phone_id = p.id;
    }
    ck_assert_int_eq(ledger_home_put(lg, &h, &change), 0);
    return h.id;
}

void give(int64_t pot, int64_t home, int64_t at_s)
{
    int64_t id;

    ck_assert_int_eq(ledger_handover_put(lg, pot, home, at_s, &id), 0);
}

static void notebook(void)
{
    struct ledger_place place = {
        .name = "Lunde", .lat_deg = NAN, .lon_deg = NAN};
    struct ledger_batch batch = {.code = "0214",
                                 .sawdust_pct = NAN,
                                 .sawdust_mesh = NAN,
                                 .drying_days = NAN,
                                 .peak_degc = 842,
                                 .soak_min = NAN,
                                 .cooling_h = NAN,
                                 .silver_mg = NAN};
    enum ledger_change change;
    int64_t ana, binta;

    for (int i = 0; i < 12; i++)
        place.water_degc[i] = 25;
    ck_assert_int_eq(ledger_place_put(lg, &place, &change), 0);
    ck_assert_int_eq(ledger_batch_put(lg, &batch, &change), 0);
    ana = put_home("H1", ANA, place.id);
    binta = put_home("H2", BINTA, place.id);
    give(put_pot(0, "0214", batch.id, 73), ana, START - 200 * CLOCK_DAY_S);
    give(put_pot(1, "0214", batch.id, 74), binta, START - 200 * CLOCK_DAY_S);
    give(put_pot(2, "0214", batch.id, 75), binta, START - 200 * CLOCK_DAY_S);
    for (int i = 3; i < 6; i++)
        put_pot(i, "0214", batch.id, 80 + i);
}

void open_all(void)
{
    ck_assert_int_eq(clock_set_zone("UTC"), 0);
    settings();
    lg = fixture_open();
    now_s = START;
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_people(desk, lg), 0);
    notebook();
    ck_assert_int_eq(ledger_commit(lg), 0);
}

void close_all(void)
{
    fixture_check(lg);
    ledger_close(lg);
    desk_close(desk);
    config_free(conf);
    fixture_remove();
}

/* ---- texting ---- */

void send_text(const struct desk_text *in)
{
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_savepoint(lg), 0);
    ck_assert_int_eq(desk_take(desk, lg, in, &got), 0);
    ck_assert_int_eq(ledger_release(lg), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    if (got.body[0] != '\0') {
        struct septet_size size = septet_measure(got.body, strlen(got.body));

        ck_assert_msg(size.segments <= (size.gsm7 ? 1u : 2u) ||
                          strstr(in->text, "digest") != NULL,
                      "%s", got.body);
    }
}

const char *text(const char *from, const char *fmt, ...)
{
    char body[400];
    va_list ap;

    va_start(ap, fmt);
    vsnprintf(body, sizeof(body), fmt, ap);
    va_end(ap);
    now_s += 60;
    send_text(&(struct desk_text){.carrier = "test",
                                  .from = from,
                                  .text = body,
                                  .len = strlen(body),
                                  .at_s = now_s});
    return got.body;
}

int64_t rows(const char *table)
{
    char sql[100];

    snprintf(sql, sizeof(sql), "SELECT count(*) FROM %s", table);
    return fixture_number(lg, sql);
}

int64_t told(const char *like)
{
    char sql[300];

    snprintf(sql, sizeof(sql),
             "SELECT count(*) FROM outbox o JOIN phones p ON p.id = "
             "o.phone_id WHERE p.number = '" CHIEF "' AND o.kind = 1 "
             "AND o.body LIKE '%s'",
             like);
    return fixture_number(lg, sql);
}

int fixture_texts(const char *name, void (*add)(TCase *t))
{
    Suite *s = suite_create(name);
    TCase *t = tcase_create("texts");

    tcase_add_checked_fixture(t, open_all, close_all);
    tcase_set_timeout(t, 60);
    add(t);
    suite_add_tcase(s, t);
    return fixture_run(s);
}
