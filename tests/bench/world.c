/* world.c - see world.h. */
#include "tests/bench/world.h"

#include "base/clock.h"
#include "ledger/notebook.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define POTS_A_BATCH 999

static const struct serial_layout layout = {
    .check = SERIAL_MOD_97_10, .batch_chars = 4, .pot_chars = 3};

static void must(int err, const char *what)
{
    if (err < 0) {
        fprintf(stderr, "bench: %s: %s\n", what, kw_err_text(err));
        exit(1);
    }
}

static void serial_of(int pot, char serial[SERIAL_CAP])
{
    char batch[16], number[16];

    snprintf(batch, sizeof(batch), "%04d", pot / POTS_A_BATCH + 1);
    snprintf(number, sizeof(number), "%03d", pot % POTS_A_BATCH + 1);
    must(serial_make(&layout, batch, number, serial), "serial");
}

static int64_t put_batch(struct ledger *lg, int number, int64_t now_s)
{
    struct ledger_batch b = {.pressed_s = now_s - 60 * CLOCK_DAY_S,
                             .fired_s = now_s - 50 * CLOCK_DAY_S,
                             .sawdust_pct = NAN,
                             .sawdust_mesh = NAN,
                             .drying_days = NAN,
                             .peak_degc = NAN,
                             .soak_min = NAN,
                             .cooling_h = NAN,
                             .silver_mg = NAN};
    enum ledger_change what;

    snprintf(b.code, sizeof(b.code), "%04d", number);
    must(ledger_batch_put(lg, &b, &what), "batch");
    return b.id;
}

struct where {
    int64_t place_id, batch_id, now_s;
};

static void put_home(struct ledger *lg, int i, const struct where *w)
{
    struct ledger_phone phone;
    struct ledger_home home = {
        .place_id = w->place_id, .people = 5, .lang = "en"};
    struct ledger_pot pot = {.batch_id = w->batch_id, .test_l = NAN};
    enum ledger_change what;
    char number[24];
    int64_t id;

    snprintf(number, sizeof(number), "+%lld", WORLD_FIRST_PHONE + i);
    snprintf(home.code, sizeof(home.code), "H%d", i);
    serial_of(i, pot.serial);
    must(serial_key(pot.serial, &pot.key), "key");
    must(ledger_phone_take(lg, number, &phone), "phone");
    memcpy(phone.carrier, "gate", sizeof("gate")); /* it has texted before */
    memcpy(phone.lang_seen, "en", sizeof("en"));
    must(ledger_phone_put(lg, &phone), "phone");
    home.phone_id = phone.id;
    must(ledger_home_put(lg, &home, &what), "home");
    must(ledger_pot_put(lg, &pot, false, &what), "pot");
    must(ledger_handover_put(lg, pot.key, home.id, w->now_s - 30 * CLOCK_DAY_S,
                             &id),
         "hand-over");
}

void world_fill(struct ledger *lg, int pots, int64_t now_s)
{
    struct ledger_place place = {
        .name = "Harlo Ford", .lang = "en", .lat_deg = NAN, .lon_deg = NAN};
    enum ledger_change what;
    struct where w = {.now_s = now_s};

    for (int m = 0; m < 12; m++)
        place.water_degc[m] = 22;
    must(ledger_begin(lg), "begin");
    must(ledger_place_put(lg, &place, &what), "place");
    w.place_id = place.id;
    for (int i = 0; i < pots; i++) {
        if (i % POTS_A_BATCH == 0)
            w.batch_id = put_batch(lg, i / POTS_A_BATCH + 1, now_s);
        put_home(lg, i, &w);
    }
    must(ledger_commit(lg), "commit");
}

void world_text(struct world_text *t, int pot, int64_t ref, const char *words)
{
    char serial[SERIAL_CAP];

    serial_of(pot, serial);
    must(serial_key(serial, &t->key), "key");
    snprintf(t->from, sizeof(t->from), "+%lld", WORLD_FIRST_PHONE + pot);
    snprintf(t->ref, sizeof(t->ref), "r%lld", (long long)ref);
    if (words[0] == '-')
        snprintf(t->text, sizeof(t->text), "%s", words + 1);
    else
        snprintf(t->text, sizeof(t->text), "%s %s", serial, words);
}
