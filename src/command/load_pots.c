/* load_pots.c - serials, pots and flow tests of a notebook. */
#include "command/load.h"

#include "watch/mould.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- serials ---- */

/*
 * Spreadsheets drop the noughts in front of a number; where check characters
 * prove the rest, they are put back.
 */
static void put_noughts_back(const struct serial_layout *layout,
                             char serial[SERIAL_CAP])
{
    size_t want = (size_t)serial_chars(layout), len = strlen(serial);

    if (layout->check != SERIAL_MOD_97_10 || len >= want ||
        len + (size_t)layout->batch_chars <= want)
        return;
    memmove(serial + (want - len), serial, len + 1);
    memset(serial, '0', want - len);
}

int load_serial(struct load *l, struct load_sheet *s, const char *text,
                char serial[SERIAL_CAP])
{
    char example[SERIAL_CAP], stamped[SERIAL_CAP + 4];

    if (serial_bare(text, serial) == 0) {
        put_noughts_back(&l->layout, serial);
        if (serial_verify(&l->layout, serial, strlen(serial)) == 0)
            return 0;
    }
    if (serial_make(&l->layout, "214", "73", example) < 0)
        example[0] = '\0';
    serial_format(&l->layout, example, stamped, sizeof(stamped));
    return load_fault(l, s,
                      "serial '%s' is not right: a character is wrong or "
                      "missing, it would look like %s; read the mark on the "
                      "pot again",
                      text, stamped);
}

int load_batch_code(struct load *l, struct load_sheet *s, const char *text,
                    char code[SERIAL_CAP])
{
    char whole[SERIAL_CAP], b[SERIAL_CAP];

    /* The batch as it comes out of a serial that is made with it. */
    if (serial_bare(text, b) == 0 &&
        serial_make(&l->layout, b, "0", whole) == 0) {
        serial_batch(&l->layout, whole, code);
        return 0;
    }
    return load_fault(
        l, s,
        "batch '%s' cannot stand in a serial; it has up to %d "
        "%s",
        text, l->layout.batch_chars,
        l->layout.check == SERIAL_MOD_97_10 ? "digits" : "digits or letters");
}

void load_touch_batch(struct load *l, int64_t batch_id)
{
    char key[24];
    int *seen;

    snprintf(key, sizeof(key), "%lld", (long long)batch_id);
    seen = load_map_at(&l->batches, key, strlen(key));
    if (*seen != 0)
        return;
    *seen = 1;
    kw_grow(&l->batch_ids, &l->batches_cap, l->n_batches + 1,
            sizeof(*l->batch_ids));
    l->batch_ids[l->n_batches++] = batch_id;
}

static int known_batch(struct load *l, struct load_sheet *s, const char *code,
                       struct ledger_batch *b)
{
    int err = ledger_batch_find(l->lg, code, b);

    if (err == KW_ENOENT)
        return load_fault(
            l, s, "batch '%s' is not known; add it to batches.csv", code);
    return err;
}

/* ---- pots ---- */

enum { POT_SERIAL, POT_BATCH, POT_POT, POT_MOULD, POT_SCRAPPED, POT_SHELF };

bool load_pot_enough(const bool *there)
{
    return there[POT_SERIAL] || (there[POT_BATCH] && there[POT_POT]);
}

/* The serial of the line, made when only batch and pot are given. */
static int pot_serial(struct load *l, struct load_sheet *s,
                      char serial[SERIAL_CAP], bool *made)
{
    const struct load_cell *cells = s->cells;
    char pot[SERIAL_CAP], code[SERIAL_CAP];

    *made = !cells[POT_SERIAL].given;
    if (!*made)
        return load_serial(l, s, cells[POT_SERIAL].text, serial);
    if (!cells[POT_BATCH].given || !cells[POT_POT].given)
        return load_fault(l, s, "no serial; write it, or batch and pot");
    if (load_batch_code(l, s, cells[POT_BATCH].text, code) < 0)
        return KW_ESYNTAX;
    if (serial_bare(cells[POT_POT].text, pot) < 0 ||
        serial_make(&l->layout, code, pot, serial) < 0)
        return load_fault(l, s,
                          "pot '%s' cannot stand in a serial; it has up to "
                          "%d characters",
                          cells[POT_POT].text, l->layout.pot_chars);
    return 0;
}

static int check_same_batch(struct load *l, struct load_sheet *s,
                            const char *code)
{
    char said[SERIAL_CAP];
    const struct load_cell *cell = &s->cells[POT_BATCH];

    if (!cell->given)
        return 0;
    if (load_batch_code(l, s, cell->text, said) < 0)
        return KW_ESYNTAX;
    if (strcmp(said, code) != 0)
        return load_fault(l, s, "batch '%s' is not the one in the serial, '%s'",
                          cell->text, code);
    return 0;
}

static void show_made(const struct load *l, const char *serial)
{
    char stamped[SERIAL_CAP + 4];

    serial_format(&l->layout, serial, stamped, sizeof(stamped));
    printf("made serial %s\n", stamped);
}

static int put_pot(struct load *l, struct load_sheet *s, struct ledger_pot *p,
                   enum ledger_change *what)
{
    const struct load_cell *cells = s->cells;
    struct ledger_pot was;
    int err = ledger_pot_get(l->lg, p->key, &was);
    bool known = err == 0;

    if (err < 0 && err != KW_ENOENT)
        return err;
    if (known)
        *p = was;
    if (cells[POT_MOULD].given || cells[POT_MOULD].erase)
        kw_copy(p->mould, sizeof(p->mould), cells[POT_MOULD].text,
                cells[POT_MOULD].given ? cells[POT_MOULD].len : 0);
    if (cells[POT_SCRAPPED].given)
        p->scrapped = cells[POT_SCRAPPED].num != 0;
    if (cells[POT_SHELF].given || cells[POT_SHELF].erase)
        kw_copy(p->shelf, sizeof(p->shelf), cells[POT_SHELF].text,
                cells[POT_SHELF].given ? cells[POT_SHELF].len : 0);
    return ledger_pot_put(l->lg, p, known, what);
}

int load_row_pot(struct load *l, struct load_sheet *s, enum ledger_change *what)
{
    struct ledger_pot p = {0};
    struct ledger_batch b;
    char code[SERIAL_CAP];
    bool made;
    int err = pot_serial(l, s, p.serial, &made);

    if (load_check_mould(l, s, &s->cells[POT_MOULD]) < 0)
        err = KW_ESYNTAX;
    if (err == 0)
        err = load_once(l, s, p.serial);
    if (err < 0)
        return err;
    serial_batch(&l->layout, p.serial, code);
    err = check_same_batch(l, s, code);
    if (err == 0)
        err = known_batch(l, s, code, &b);
    if (err == 0)
        err = serial_key(p.serial, &p.key);
    if (err < 0)
        return err;
    p.batch_id = b.id;
    err = put_pot(l, s, &p, what);
    if (err == 0 && *what != LEDGER_SAME)
        load_touch_batch(l, b.id);
    if (err == 0 && *what == LEDGER_NEW && made && !l->json)
        show_made(l, p.serial);
    return err;
}

/* ---- flow tests ---- */

enum {
    TEST_SERIAL,
    TEST_BATCH,
    TEST_AT,
    TEST_LITRES,
    TEST_MINUTES,
    TEST_WATER,
    TEST_ACCEPTED
};

bool load_test_enough(const bool *there)
{
    return there[TEST_SERIAL] || there[TEST_BATCH];
}

static const struct config_mould *find_mould(const struct config *conf,
                                             const char *name)
{
    for (size_t i = 0; i < conf->n_moulds; i++) {
        if (strcmp(conf->moulds[i].name, name) == 0)
            return &conf->moulds[i];
    }
    return &conf->moulds[0];
}

/* The reading as a first hour at 25 degC. */
static int first_hour(struct load *l, struct load_sheet *s, const char *mould,
                      struct ledger_test *t)
{
    struct seep_pot pot;
    int err = mould_pot(find_mould(l->conf, mould), &pot);

    if (err == 0)
        err = seep_test(&pot, t->litres, t->minutes, t->water_degc,
                        &t->first_hour_l);
    if (err < 0)
        return load_fault(l, s,
                          "%g litres in %g minutes cannot come from a pot "
                          "that holds %.1f litres; look at both",
                          t->litres, t->minutes, seep_full_l(&pot));
    return 0;
}

/* Which pot or batch was tested, and its mould. */
static int tested_thing(struct load *l, struct load_sheet *s,
                        struct ledger_test *t, char mould[LEDGER_NAME_CAP])
{
    char serial[SERIAL_CAP], code[SERIAL_CAP];
    struct ledger_batch b;
    struct ledger_pot pot = {0};
    int err;

    if (s->cells[TEST_SERIAL].given) {
        err = load_serial(l, s, s->cells[TEST_SERIAL].text, serial);
        if (err < 0)
            return err;
        serial_batch(&l->layout, serial, code);
        err = serial_key(serial, &t->pot_key);
        if (err == 0)
            err = ledger_pot_get(l->lg, t->pot_key, &pot);
        if (err == KW_ENOENT)
            return load_fault(l, s, "pot '%s' is not known; add it to pots.csv",
                              serial);
    } else if (s->cells[TEST_BATCH].given) {
        err = load_batch_code(l, s, s->cells[TEST_BATCH].text, code);
    } else {
        err = load_fault(l, s, "neither serial nor batch; write one");
    }
    if (err == 0)
        err = known_batch(l, s, code, &b);
    if (err < 0)
        return err;
    t->batch_id = b.id;
    return kw_copy(mould, LEDGER_NAME_CAP, pot.mould[0] ? pot.mould : b.mould,
                   strlen(pot.mould[0] ? pot.mould : b.mould));
}

/* A pot is tested once at a time; like readings of a batch are counted. */
static int number_test(struct load *l, struct load_sheet *s,
                       struct ledger_test *t)
{
    char key[160];
    int *seen;

    t->nth = 1;
    if (t->pot_key != 0) {
        snprintf(key, sizeof(key), "%lld %lld", (long long)t->pot_key,
                 (long long)t->tested_s);
        return load_once(l, s, key);
    }
    snprintf(key, sizeof(key), "b %lld %lld %.17g %.17g %.17g %d",
             (long long)t->batch_id, (long long)t->tested_s, t->litres,
             t->minutes, t->water_degc, t->accepted);
    seen = load_map_at(&l->seen[LOAD_TESTS], key, strlen(key));
    t->nth = ++*seen;
    return 0;
}

int load_row_test(struct load *l, struct load_sheet *s,
                  enum ledger_change *what)
{
    const struct load_cell *cells = s->cells;
    struct ledger_test t = {
        .tested_s = cells[TEST_AT].at_s,
        .litres = cells[TEST_LITRES].num,
        .minutes = cells[TEST_MINUTES].given ? cells[TEST_MINUTES].num : 60,
        .water_degc =
            cells[TEST_WATER].given ? cells[TEST_WATER].num : (double)NAN,
        .accepted = !cells[TEST_ACCEPTED].given || cells[TEST_ACCEPTED].num,
    };
    char mould[LEDGER_NAME_CAP];
    int err = tested_thing(l, s, &t, mould);

    if (err == 0)
        err = number_test(l, s, &t);
    if (err == 0)
        err = first_hour(l, s, mould, &t);
    if (err < 0)
        return err;
    err = ledger_test_put(l->lg, &t, what);
    if (err == 0 && *what != LEDGER_SAME)
        load_touch_batch(l, t.batch_id);
    return err;
}
