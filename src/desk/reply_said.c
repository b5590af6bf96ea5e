/*
 * reply_said.c - what was understood, written as on the card in the language of
 * the one who is asked whether it is so: "slow 4f 10h, ill 2 u1 blood".
 */
#include "desk/keys.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* The letters of the units are the same on every card. */
static const char *unit_of(const struct reply_lang *l, enum reader_unit u)
{
    switch (u) {
    case READER_FINGER:
        return "f";
    case READER_CM:
        return "cm";
    case READER_LITRE:
        return "l";
    default:
        break;
    }
    return l->texts[u == READER_CUP ? key_find("unit-cup", 8)
                                    : key_find("unit-bottle", 11)];
}

static void put_measure(const struct reply_lang *l,
                        const struct reader_measure *m, struct kw_buf *out)
{
    bool word = m->unit == READER_CUP || m->unit == READER_BOTTLE;

    if (m->type == READER_NO_MEASURE || m->value <= 0)
        return;
    kw_buf_printf(out, " %.3g%s%s", m->value, word ? " " : "",
                  unit_of(l, m->unit));
    if (m->minutes > 0 && fmod(m->minutes, 60) == 0)
        kw_buf_printf(out, " %.0fh", m->minutes / 60);
    else if (m->minutes > 0)
        kw_buf_printf(out, " %.0fm", m->minutes);
}

static void put_illness(const struct reply_lang *l, const struct reader_obs *o,
                        struct kw_buf *out)
{
    if (o->people > 0)
        kw_buf_printf(out, " %d", o->people);
    if (o->under5 > 0)
        kw_buf_printf(out, " u%d", o->under5);
    for (unsigned i = 0; i < READER_SIGNS; i++) {
        char key[32];

        if (!(o->signs >> i & 1))
            continue;
        snprintf(key, sizeof(key), "sign-%s", reader_sign_name(1u << i));
        kw_buf_printf(out, " %s", l->texts[key_find(key, strlen(key))]);
    }
}

static void put_obs(const struct reply_lang *l, const struct reader_obs *o,
                    struct kw_buf *out)
{
    char key[32];

    snprintf(key, sizeof(key), "kind-%s", reader_kind_name(o->kind));
    kw_buf_puts(out, l->texts[key_find(key, strlen(key))]);
    if (o->kind == READER_PART && o->part != READER_NO_PART) {
        snprintf(key, sizeof(key), "part-%s", reader_part_name(o->part));
        kw_buf_printf(out, " %s", l->texts[key_find(key, strlen(key))]);
    }
    put_measure(l, &o->measure, out);
    put_illness(l, o, out);
}

bool reply_said(const struct replies *r, const char *lang,
                const struct reader_obs *obs, size_t n, struct kw_buf *out)
{
    const struct reply_lang *l = reply_lang_find(r, lang);

    for (size_t i = 0; i < n; i++) {
        kw_buf_puts(out, i > 0 ? ", " : "");
        put_obs(l, &obs[i], out);
    }
    return n > 0 && out->err == 0 &&
           reply_units(l, kw_buf_text(out), out->len) <=
               slot_defs[SLOT_SAID].longest;
}
