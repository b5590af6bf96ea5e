/* load_rows.c - one line of a notebook into the ledger: places, batches,
 * homes, hand-overs; and the columns of every kind of file. */
#include "command/load.h"

#include "base/number.h"
#include "desk/desk.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

/* ---- cells into fields: empty says nothing, "-" takes back ---- */

static void take_name(const struct load_cell *cell, char *dst, size_t cap)
{
    if (cell->given)
        kw_copy(dst, cap, cell->text, cell->len);
    else if (cell->erase)
        dst[0] = '\0';
}

static void take_number(const struct load_cell *cell, double *dst)
{
    if (cell->given)
        *dst = cell->num;
    else if (cell->erase)
        *dst = (double)NAN;
}

static void take_time(const struct load_cell *cell, int64_t *dst)
{
    if (cell->given)
        *dst = cell->at_s;
    else if (cell->erase)
        *dst = 0;
}

/* ---- places ---- */

enum { PLACE_NAME, PLACE_LANG, PLACE_LAT, PLACE_LON, PLACE_SHARE, PLACE_JAN };

#define MONTH(m)                                                               \
    {                                                                          \
        "water_c_" m, LOAD_NUMBER, false, 0, 45,                               \
            "degC, mean of the water in that month", 0                         \
    }

static const struct load_column place_columns[] = {
    {"place", LOAD_NAME, true, 0, 0, "its name", 0},
    {"language", LOAD_LANG, false, 0, 0, "tag of what is spoken, as sw", 0},
    {"latitude", LOAD_NUMBER, false, -90, 90, "degrees, for the map", 0},
    {"longitude", LOAD_NUMBER, false, -180, 180, "degrees east", 0},
    {"reported_share", LOAD_NUMBER, false, 0.05, 1,
     "of all failures there, by a survey", 0},
    MONTH("jan"),
    MONTH("feb"),
    MONTH("mar"),
    MONTH("apr"),
    MONTH("may"),
    MONTH("jun"),
    MONTH("jul"),
    MONTH("aug"),
    MONTH("sep"),
    MONTH("oct"),
    MONTH("nov"),
    MONTH("dec"),
};

static int row_place(struct load *l, struct load_sheet *s,
                     enum ledger_change *what)
{
    struct ledger_place p;
    const char *name = s->cells[PLACE_NAME].text;
    int err = load_once(l, s, name);

    if (err < 0)
        return err;
    err = ledger_place_find(l->lg, name, &p);
    if (err == KW_ENOENT) {
        p = (struct ledger_place){.id = 0};
        kw_copy(p.name, sizeof(p.name), name, s->cells[PLACE_NAME].len);
        for (int m = 0; m < 12; m++)
            p.water_degc[m] = (double)NAN;
        p.lat_deg = p.lon_deg = p.reported_share = (double)NAN;
    } else if (err < 0) {
        return err;
    }
    take_name(&s->cells[PLACE_LANG], p.lang, sizeof(p.lang));
    take_number(&s->cells[PLACE_LAT], &p.lat_deg);
    take_number(&s->cells[PLACE_LON], &p.lon_deg);
    take_number(&s->cells[PLACE_SHARE], &p.reported_share);
    if (isnan(p.lat_deg) != isnan(p.lon_deg))
        return load_fault(l, s,
                          "latitude and longitude belong together; give "
                          "both or neither");
    for (int m = 0; m < 12; m++)
        take_number(&s->cells[PLACE_JAN + m], &p.water_degc[m]);
    return ledger_place_put(l->lg, &p, what);
}

/* ---- batches ---- */

#define AT(f) offsetof(struct ledger_batch, f)
static const struct load_column batch_columns[] = {
    {"batch", LOAD_NAME, true, 0, 0, "as it stands in the serials", AT(code)},
    {"pressed", LOAD_TIME, false, 0, 0, "day", AT(pressed_s)},
    {"workshop", LOAD_NAME, false, 0, 0, "name", AT(workshop)},
    {"mould", LOAD_NAME, false, 0, 0, "name in the configuration", AT(mould)},
    {"clay_pit", LOAD_NAME, false, 0, 0, "where the clay was dug",
     AT(clay_pit)},
    {"presser", LOAD_NAME, false, 0, 0, "who pressed", AT(presser)},
    {"sawdust_pct", LOAD_NUMBER, false, 0, 90, "% of the mix by volume",
     AT(sawdust_pct)},
    {"sawdust_mesh", LOAD_NUMBER, false, 1, 400, "mesh number of the sieve",
     AT(sawdust_mesh)},
    {"drying_days", LOAD_NUMBER, false, 0, 365, "days from press to kiln",
     AT(drying_days)},
    {"fired", LOAD_TIME, false, 0, 0, "day", AT(fired_s)},
    {"kiln", LOAD_NAME, false, 0, 0, "name", AT(kiln)},
    {"cone", LOAD_NAME, false, 0, 0, "pyrometric cone that bent", AT(cone)},
    {"peak_c", LOAD_NUMBER, false, 400, 1400, "degC, highest", AT(peak_degc)},
    {"soak_min", LOAD_NUMBER, false, 0, 2880, "minutes held there",
     AT(soak_min)},
    {"cooling_h", LOAD_NUMBER, false, 0, 336, "hours until it was opened",
     AT(cooling_h)},
    {"silvered", LOAD_TIME, false, 0, 0, "day", AT(silvered_s)},
    {"silver_mg", LOAD_NUMBER, false, 0, 5000, "mg of silver a pot",
     AT(silver_mg)},
    {"recalled", LOAD_TIME, false, 0, 0,
     "day it was recalled, \"-\" takes that back; nobody is told",
     AT(recalled_s)},
};
enum { BATCH_CODE, BATCH_MOULD = 3 };

static void take_batch_cell(struct ledger_batch *b, const struct load_column *c,
                            const struct load_cell *cell)
{
    char *at = (char *)b + c->field;

    switch (c->type) {
    case LOAD_TIME:
        take_time(cell, (int64_t *)(void *)at);
        break;
    case LOAD_NUMBER:
        take_number(cell, (double *)(void *)at);
        break;
    default:
        take_name(cell, at, LEDGER_NAME_CAP);
    }
}

static void new_batch(struct ledger_batch *b, const char *code)
{
    *b = (struct ledger_batch){.id = 0};
    kw_copy(b->code, sizeof(b->code), code, strlen(code));
    b->sawdust_pct = b->sawdust_mesh = b->drying_days = (double)NAN;
    b->peak_degc = b->soak_min = b->cooling_h = (double)NAN;
    b->silver_mg = (double)NAN;
}

int load_check_mould(struct load *l, struct load_sheet *s,
                     const struct load_cell *cell)
{
    struct kw_buf known;

    if (!cell->given)
        return 0;
    kw_buf_init(&known, 2048);
    for (size_t i = 0; i < l->conf->n_moulds; i++) {
        if (strcmp(l->conf->moulds[i].name, cell->text) == 0) {
            kw_buf_release(&known);
            return 0;
        }
        kw_buf_printf(&known, "%s'%s'", i > 0 ? ", " : "",
                      l->conf->moulds[i].name);
    }
    load_fault(l, s,
               "mould '%s' is not in the configuration; it has %s: write one "
               "of these, or add the mould with its measures there",
               cell->text, kw_buf_text(&known));
    kw_buf_release(&known);
    return KW_ESYNTAX;
}

static int row_batch(struct load *l, struct load_sheet *s,
                     enum ledger_change *what)
{
    struct ledger_batch b;
    char code[SERIAL_CAP];
    int err = load_batch_code(l, s, s->cells[BATCH_CODE].text, code);

    if (load_check_mould(l, s, &s->cells[BATCH_MOULD]) < 0)
        err = KW_ESYNTAX;
    if (err == 0)
        err = load_once(l, s, code);
    if (err < 0)
        return err;
    err = ledger_batch_find(l->lg, code, &b);
    if (err == KW_ENOENT)
        new_batch(&b, code);
    else if (err < 0)
        return err;
    for (size_t i = BATCH_CODE + 1; i < KW_COUNT(batch_columns); i++)
        take_batch_cell(&b, &batch_columns[i], &s->cells[i]);
    return ledger_batch_put(l->lg, &b, what);
}

/* ---- homes ---- */

enum {
    HOME_CODE,
    HOME_PLACE,
    HOME_PHONE,
    HOME_LANG,
    HOME_PEOPLE,
    HOME_CONSENT
};
static const struct load_column home_columns[] = {
    {"home", LOAD_NAME, true, 0, 0, "the programme's own name for it", 0},
    {"place", LOAD_NAME, false, 0, 0, "one of places", 0},
    {"phone", LOAD_NAME, false, 0, 0, "number, best as +99970012345", 0},
    {"language", LOAD_LANG, false, 0, 0, "tag, as es", 0},
    {"people", LOAD_WHOLE, false, 0, 200, "who live there", 0},
    {"consent", LOAD_YES, false, 0, 1, "may be texted", 0},
};

static int take_place(struct load *l, struct load_sheet *s,
                      struct ledger_home *h)
{
    const struct load_cell *cell = &s->cells[HOME_PLACE];
    struct ledger_place p;
    int err;

    if (cell->erase)
        h->place_id = 0;
    if (!cell->given)
        return 0;
    err = ledger_place_find(l->lg, cell->text, &p);
    if (err == KW_ENOENT)
        return load_fault(l, s,
                          "place '%s' is not known; add it to places.csv, or "
                          "write it as it stands there",
                          cell->text);
    h->place_id = p.id;
    return err;
}

static int take_phone(struct load *l, struct load_sheet *s,
                      struct ledger_home *h)
{
    const struct load_cell *cell = &s->cells[HOME_PHONE];
    struct ledger_phone p;
    char number[LEDGER_PHONE_CAP];
    int64_t msisdn;
    int err;

    if (cell->erase)
        h->phone_id = 0;
    if (!cell->given)
        return 0;
    desk_number(l->conf, cell->text, number, sizeof(number));
    if (kw_parse_msisdn(number, strlen(number), &msisdn) < 0)
        return load_fault(l, s,
                          "phone '%s' is not a number that can be called; "
                          "write it with + and the country code",
                          cell->text);
    err = ledger_phone_take(l->lg, number, &p);
    h->phone_id = p.id;
    return err;
}

static int row_home(struct load *l, struct load_sheet *s,
                    enum ledger_change *what)
{
    const struct load_cell *cells = s->cells;
    struct ledger_home h;
    int err = load_once(l, s, cells[HOME_CODE].text);

    if (err < 0)
        return err;
    err = ledger_home_find(l->lg, cells[HOME_CODE].text, &h);
    if (err == KW_ENOENT) {
        h = (struct ledger_home){.consent = -1};
        kw_copy(h.code, sizeof(h.code), cells[HOME_CODE].text,
                cells[HOME_CODE].len);
    } else if (err < 0) {
        return err;
    }
    take_name(&cells[HOME_LANG], h.lang, sizeof(h.lang));
    if (cells[HOME_PEOPLE].given || cells[HOME_PEOPLE].erase)
        h.people = (int)cells[HOME_PEOPLE].num;
    if (cells[HOME_CONSENT].given || cells[HOME_CONSENT].erase)
        h.consent =
            cells[HOME_CONSENT].erase ? -1 : (int)cells[HOME_CONSENT].num;
    err = take_place(l, s, &h);
    if (err == 0 || err == KW_ESYNTAX) {
        int more = take_phone(l, s, &h);

        err = more < 0 ? more : err;
    }
    return err < 0 ? err : ledger_home_put(l->lg, &h, what);
}

/* ---- hand-overs ---- */

enum { HAND_SERIAL, HAND_HOME, HAND_GIVEN, HAND_ENDED, HAND_REASON };
static const struct load_column hand_columns[] = {
    {"serial", LOAD_NAME, true, 0, 0, "of the pot, one of pots", 0},
    {"home", LOAD_NAME, true, 0, 0, "one of homes", 0},
    {"given", LOAD_TIME, true, 0, 0, "day or moment", 0},
    {"ended", LOAD_TIME, false, 0, 0, "came back; empty: it is there", 0},
    {"reason", LOAD_NAME, false, 0, 0, "why it came back", 0},
};

static int known_pot(struct load *l, struct load_sheet *s, const char *serial,
                     struct ledger_pot *pot)
{
    int64_t key;
    int err = serial_key(serial, &key);

    if (err == 0)
        err = ledger_pot_get(l->lg, key, pot);
    if (err == KW_ENOENT)
        return load_fault(l, s, "pot '%s' is not known; add it to pots.csv",
                          serial);
    return err;
}

static int known_home(struct load *l, struct load_sheet *s, int64_t *id)
{
    struct ledger_home h;
    int err = ledger_home_find(l->lg, s->cells[HAND_HOME].text, &h);

    if (err == KW_ENOENT)
        return load_fault(l, s, "home '%s' is not known; add it to homes.csv",
                          s->cells[HAND_HOME].text);
    *id = h.id;
    return err;
}

static void touch_pot(struct load *l, struct load_sheet *s,
                      const struct ledger_pot *pot)
{
    kw_grow(&l->touched, &l->touched_cap, l->n_touched + 1,
            sizeof(*l->touched));
    l->touched[l->n_touched++] = (struct load_touched){
        .pot_key = pot->key, .sheet = s, .line = s->csv.line};
    load_touch_batch(l, pot->batch_id);
}

static int put_handover(struct load *l, struct load_sheet *s,
                        struct ledger_handover *h, enum ledger_change *what)
{
    struct ledger_handover was;
    int err = ledger_handover_find(l->lg, h->pot_key, h->given_s, &was);

    if (err < 0 && err != KW_ENOENT)
        return err;
    if (err == 0) {
        was.home_id = h->home_id;
        *h = was;
    }
    take_time(&s->cells[HAND_ENDED], &h->ended_s);
    take_name(&s->cells[HAND_REASON], h->reason, sizeof(h->reason));
    if (h->ended_s != 0 && h->ended_s < h->given_s)
        return load_fault(l, s, "ended '%s' is before given '%s'",
                          s->cells[HAND_ENDED].text, s->cells[HAND_GIVEN].text);
    return ledger_handover_note(l->lg, h, what);
}

static int row_handover(struct load *l, struct load_sheet *s,
                        enum ledger_change *what)
{
    struct ledger_handover h = {.given_s = s->cells[HAND_GIVEN].at_s};
    struct ledger_pot pot = {0};
    char serial[SERIAL_CAP], once[64];
    int home, err = load_serial(l, s, s->cells[HAND_SERIAL].text, serial);

    if (err == 0)
        err = known_pot(l, s, serial, &pot);
    home = known_home(l, s, &h.home_id);
    err = err < 0 ? err : home;
    if (err < 0)
        return err;
    snprintf(once, sizeof(once), "%s %lld", serial, (long long)h.given_s);
    err = load_once(l, s, once);
    if (err < 0)
        return err;
    h.pot_key = pot.key;
    err = put_handover(l, s, &h, what);
    if (err == 0 && *what != LEDGER_SAME)
        touch_pot(l, s, &pot);
    return err;
}

/* ---- pots, tests, texts: their lines are put in load_pots.c, _texts.c ---- */

static const struct load_column pot_columns[] = {
    {"serial", LOAD_NAME, false, 0, 0, "with its check digits; or instead:", 0},
    {"batch", LOAD_NAME, false, 0, 0, "and", 0},
    {"pot", LOAD_NAME, false, 0, 0,
     "number in the batch: the check digits "
     "are made and shown",
     0},
    {"mould", LOAD_NAME, false, 0, 0, "when not that of the batch", 0},
    {"scrapped", LOAD_YES, false, 0, 1, "never handed out", 0},
    {"shelf", LOAD_NAME, false, 0, 0, "of the kiln, or place in it: name", 0},
};

static const struct load_column test_columns[] = {
    {"serial", LOAD_NAME, false, 0, 0, "of the pot; or instead:", 0},
    {"batch", LOAD_NAME, false, 0, 0, "when the pot was not noted", 0},
    {"tested", LOAD_TIME, false, 0, 0, "day or moment", 0},
    {"litres", LOAD_NUMBER, true, 0.001, 50, "litres that came, from the rim",
     0},
    {"minutes", LOAD_NUMBER, false, 1, 2880, "minutes it took, else 60", 0},
    {"water_c", LOAD_NUMBER, false, 0.1, 45, "degC of the water, else 25", 0},
    {"accepted", LOAD_YES, false, 0, 1, "else yes", 0},
};

static const struct load_column text_columns[] = {
    {"at", LOAD_TIME, true, 0, 0, "when it came", 0},
    {"from", LOAD_NAME, true, 0, 0, "number or name of the sender", 0},
    {"text", LOAD_WORDS, false, 0, 0, "as it was written", 0},
    {"id", LOAD_NAME, false, 0, 0, "of its own, if it has one", 0},
};

static bool text_enough(const bool *there)
{
    return there[2];
}

const struct load_form load_forms[LOAD_KINDS] = {
    {LOAD_PLACES, "places", "one place a line", place_columns,
     KW_COUNT(place_columns), NULL, row_place},
    {LOAD_BATCHES, "batches", "mix, firing and silver of a batch",
     batch_columns, KW_COUNT(batch_columns), NULL, row_batch},
    {LOAD_POTS, "pots", "one pot a line: serial, or batch and pot", pot_columns,
     KW_COUNT(pot_columns), load_pot_enough, load_row_pot},
    {LOAD_TESTS, "tests", "one flow test a line: serial or batch, and litres",
     test_columns, KW_COUNT(test_columns), load_test_enough, load_row_test},
    {LOAD_HOMES, "homes", "one home a line", home_columns,
     KW_COUNT(home_columns), NULL, row_home},
    {LOAD_HANDOVERS, "handovers", "a pot's time in a home", hand_columns,
     KW_COUNT(hand_columns), NULL, row_handover},
    {LOAD_TEXTS, "texts",
     "texts that came while the line was away: filed, "
     "nobody is answered",
     text_columns, KW_COUNT(text_columns), text_enough, load_row_text},
};
