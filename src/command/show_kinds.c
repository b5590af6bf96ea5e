/* show_kinds.c - kilnword show: one function for each kind of thing. */
#include "command/command.h"
#include "command/show.h"
#include "base/file.h"
#include "base/number.h"
#include "desk/batch_watch.h"
#include "page/alert.h"
#include "page/batches.h"
#include "page/causes.h"
#include "page/flowsvg.h"
#include "page/home.h"
#include "page/lasting.h"
#include "page/life.h"
#include "page/line.h"
#include "page/need.h"
#include "page/place.h"
#include "page/pot.h"
#include "page/recall.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>

/* ---- what is not there ---- */

static int not_there(struct show *s, enum look_by by, const char *kind,
                     const char *name)
{
    struct look_near near;

    fprintf(stderr, "kilnword: there is no %s '%s'", kind, name);
    if (look_near(s->lg, by, name, &near) == 0 && near.n > 0) {
        fprintf(stderr, "; near it: ");
        for (int i = 0; i < near.n; i++)
            fprintf(stderr, "%s%s", i > 0 ? ", " : "", near.names[i]);
    }
    fputc('\n', stderr);
    return COMMAND_NONE;
}

/* Says the serial as stamped when there is a pot of it. */
static void offer_pot(struct show *s, const char *serial, int *offered)
{
    struct ledger_pot pot;
    int64_t key;

    if (*offered >= LOOK_NEAR_MOST || serial_key(serial, &key) < 0 ||
        serial_verify(s->page.layout, serial, strlen(serial)) < 0 ||
        ledger_pot_get(s->lg, key, &pot) < 0)
        return;
    fprintf(stderr, "%s%s", *offered > 0 ? ", " : "; near it: ",
            page_serial(&s->page, serial).s);
    ++*offered;
}

/* Serials one wrong digit or one swap away, and one without check digits. */
static void offer_pots(struct show *s, const char *serial)
{
    size_t len = strlen(serial), batch = (size_t)s->page.layout->batch_chars;
    char other[SERIAL_CAP], left[SERIAL_CAP];
    int offered = 0;

    if (len == batch + (size_t)s->page.layout->pot_chars) {
        memcpy(left, serial, batch);
        left[batch] = '\0';
        if (serial_make(s->page.layout, left, serial + batch, other) == 0)
            offer_pot(s, other, &offered);
    }
    for (size_t i = 0; i < len; i++) {
        memcpy(other, serial, len + 1);
        for (char c = '0'; c <= '9'; c++) {
            other[i] = c;
            if (c != serial[i])
                offer_pot(s, other, &offered);
        }
        memcpy(other, serial, len + 1);
        if (i + 1 < len && serial[i] != serial[i + 1]) {
            other[i] = serial[i + 1];
            other[i + 1] = serial[i];
            offer_pot(s, other, &offered);
        }
    }
}

static int no_pot(struct show *s, const char *name, const char *serial)
{
    bool good = serial_verify(s->page.layout, serial, strlen(serial)) == 0;

    fprintf(stderr,
            good ? "kilnword: no pot '%s' is written down"
                 : "kilnword: '%s' is not a serial: its length or its check "
                   "does not fit",
            name);
    offer_pots(s, serial);
    fputc('\n', stderr);
    return COMMAND_NONE;
}

/* ---- one function a kind: 0, an exit code, or a KW_E code ---- */

/* The picture into its file. */
static int put_file(const char *file, struct kw_buf *svg)
{
    int err = svg->err;

    if (err == 0 && file_write_whole(file, kw_buf_text(svg), svg->len) < 0) {
        fprintf(stderr, "kilnword: writing '%s' failed: %s\n", file,
                strerror(errno));
        err = COMMAND_FAILED;
    }
    return err;
}

static int put_svg(struct show *s, const struct pot_page *t)
{
    struct kw_buf svg;
    int err;

    kw_buf_init(&svg, FLOWSVG_OCTETS_MOST);
    pot_page_svg(&s->page, t, &svg);
    err = put_file(s->svg, &svg);
    kw_buf_release(&svg);
    return err;
}

static int show_pot(struct show *s, const char *name)
{
    struct pot_page t;
    char serial[SERIAL_CAP];
    int64_t key;
    int err;

    if (serial_bare(name, serial) < 0 ||
        serial_verify(s->page.layout, serial, strlen(serial)) < 0 ||
        serial_key(serial, &key) < 0)
        return no_pot(s, name, serial);
    err = pot_page_gather(&s->page, s->lg, key, &t);
    if (err == KW_ENOENT)
        err = no_pot(s, name, serial);
    else if (err == 0 && s->json)
        s->tree = pot_page_json(&s->page, &t);
    else if (err == 0)
        pot_page_text(&s->page, &t);
    if (err == 0 && s->svg != NULL)
        err = put_svg(s, &t);
    pot_page_release(&t);
    return err;
}

static int put_life_map(struct show *s, const struct batch_page *b)
{
    struct kw_buf svg;
    int err;

    kw_buf_init(&svg, 1u << 20);
    life_map_svg(&s->page, b->batch.code, &b->life, &svg);
    err = put_file(s->map, &svg);
    kw_buf_release(&svg);
    return err;
}

static int put_life_svg(struct show *s, const struct batch_page *b)
{
    struct kw_buf svg;
    int err;

    kw_buf_init(&svg, 16u << 20);
    life_svg(&s->page, b->batch.code, &b->life, &svg);
    err = put_file(s->svg, &svg);
    kw_buf_release(&svg);
    return err;
}

static int show_batch(struct show *s, const char *name)
{
    struct ledger_batch batch;
    struct batch_page b;
    int err = ledger_batch_find(s->lg, name, &batch);

    if (err == KW_ENOENT)
        return not_there(s, LOOK_BATCH, "batch", name);
    if (err < 0)
        return err;
    err = batch_page_gather(&s->page, s->lg, batch.id, true, &b);
    if (err == 0 && s->svg != NULL)
        err = put_life_svg(s, &b);
    if (err == 0 && s->map != NULL)
        err = put_life_map(s, &b);
    if (err == 0 && s->json)
        s->tree = batch_page_json(&s->page, &b, true);
    else if (err == 0)
        batch_page_text(&s->page, &b);
    batch_page_release(&b);
    return err;
}

static int show_place(struct show *s, const char *name)
{
    struct ledger_place place;
    struct place_page l;
    int err = ledger_place_find(s->lg, name, &place);

    if (err == KW_ENOENT)
        return not_there(s, LOOK_PLACE, "place", name);
    if (err < 0)
        return err;
    err = place_page_gather(&s->page, s->lg, place.id, &l);
    if (err == 0 && s->json)
        s->tree = place_page_json(&s->page, &l);
    else if (err == 0)
        place_page_text(&s->page, &l);
    place_page_release(&l);
    return err;
}

/* By its code, or by a phone number. */
static int find_home(struct show *s, const char *name, struct ledger_home *home)
{
    struct ledger_phone phone;
    int err = ledger_home_find(s->lg, name, home);

    if (err != KW_ENOENT || name[0] != '+')
        return err;
    err = ledger_phone_find(s->lg, name, &phone);
    return err < 0 ? err : ledger_home_of_phone(s->lg, phone.id, home);
}

static int show_home(struct show *s, const char *name)
{
    struct ledger_home home;
    struct home_page h;
    int err = find_home(s, name, &home);

    if (err == KW_ENOENT)
        return not_there(s, LOOK_HOME, "home", name);
    if (err < 0)
        return err;
    err = home_page_gather(&s->page, s->lg, home.id, &h);
    if (err == 0 && s->json)
        s->tree = home_page_json(&s->page, &h);
    else if (err == 0)
        home_page_text(&s->page, &h);
    home_page_release(&h);
    return err;
}

/* The alerts that stand, for one whose number was not right. */
static int say_alert(const struct ledger_alert *a, void *arg)
{
    int *n = arg;

    if (*n < 8)
        fprintf(stderr, "%s%lld",
                *n > 0 ? ", " : "; those that stand: ", (long long)a->id);
    ++*n;
    return 0;
}

static int show_alert(struct show *s, const char *name)
{
    struct alert_page a = {.n_texts = 0};
    int64_t id;
    int n = 0, err = KW_ENOENT;

    if (kw_parse_i64(name, strlen(name), 1, INT64_MAX, &id) == 0)
        err = alert_page_gather(&s->page, s->lg, id, &a);
    if (err == KW_ENOENT) {
        fprintf(stderr, "kilnword: there is no alert '%s'", name);
        ledger_alerts_each(s->lg, true, 0, say_alert, &n);
        fputc('\n', stderr);
        err = COMMAND_NONE;
    } else if (err == 0 && s->json) {
        s->tree = alert_page_json(&s->page, &a);
    } else if (err == 0) {
        alert_page_text(&s->page, &a);
    }
    alert_page_release(&a);
    return err;
}

static int show_line(struct show *s, const char *name)
{
    struct line_page l;
    int err = line_page_gather(&s->page, s->lg, &l);

    (void)name;
    if (err == 0 && s->json)
        s->tree = line_page_json(&s->page, &l);
    else if (err == 0)
        line_page_text(&s->page, &l);
    line_page_release(&l);
    return err;
}

static int show_causes(struct show *s, const char *name)
{
    struct causes_page c;
    int err = causes_page_gather(&s->page, s->lg, &c);

    (void)name;
    if (err == 0 && s->json)
        s->tree = causes_page_json(&s->page, &c);
    else if (err == 0)
        causes_page_text(&s->page, &c);
    causes_page_release(&c);
    return err;
}

/*
 * What the watch says now: the states in the ledger and, unless the service
 * has kept them up to this moment, what a look over the history finds changed.
 */
static int look_at_batches(struct show *s, struct batch_found *found)
{
    struct batch_watch *w;
    bool current;
    int err = batch_watch_current(s->lg, s->page.now_s, &current);

    *found = (struct batch_found){.seen = {0}};
    if (err < 0 || current)
        return err;
    w = batch_watch_new();
    err = batch_watch_states(w, s->lg, s->page.now_s, found);
    batch_watch_free(w);
    return err;
}

static int show_batches(struct show *s, const char *name)
{
    struct batch_found found;
    struct batches_page b = {.n = 0};
    int err = look_at_batches(s, &found);

    (void)name;
    if (err == 0)
        err = batches_page_gather(&s->page, s->lg,
                                  &(struct batches_newer){found.batches.items,
                                                          found.batches.n,
                                                          found.weight},
                                  &b);
    if (err == 0 && s->csv)
        batches_page_csv(&s->page, &b);
    else if (err == 0 && s->json)
        s->tree = batches_page_json(&s->page, &b);
    else if (err == 0)
        batches_page_text(&s->page, &b);
    batches_page_release(&b);
    batch_found_release(&found);
    return err;
}

static int show_recall(struct show *s, const char *name)
{
    struct ledger_batch batch;
    struct recall_page r;
    int err = ledger_batch_find(s->lg, name, &batch);

    if (err == KW_ENOENT)
        return not_there(s, LOOK_BATCH, "batch", name);
    if (err < 0)
        return err;
    err = recall_page_gather(&s->page, s->lg, &batch, &r);
    if (err == 0 && s->csv)
        recall_page_csv(&s->page, &r);
    else if (err == 0 && s->json)
        s->tree = recall_page_json(&s->page, &r);
    else if (err == 0)
        recall_page_text(&s->page, &r);
    recall_page_release(&r);
    return err;
}

static int show_need(struct show *s, const char *name)
{
    struct need_page n;
    int err = need_page_gather(&s->page, s->lg, &s->need, &n);

    (void)name;
    if (err == 0 && s->csv)
        need_page_csv(&s->page, &n);
    else if (err == 0 && s->json)
        s->tree = need_page_json(&s->page, &n);
    else if (err == 0)
        need_page_text(&s->page, &n);
    need_page_release(&n);
    return err;
}

static int show_life(struct show *s, const char *name)
{
    struct lasting_page l;
    int by = lasting_by_from_name(name), err;

    if (by < 0) {
        fprintf(stderr, "kilnword show: life by '%s' is none of", name);
        for (int i = 0; lasting_by_name(i) != NULL; i++)
            fprintf(stderr, "%s %s", i > 0 ? "," : "", lasting_by_name(i));
        fputc('\n', stderr);
        return COMMAND_USAGE;
    }
    err = lasting_page_gather(&s->page, s->lg, (enum lasting_by)by, &l);
    if (err == 0 && s->csv)
        lasting_page_csv(&s->page, &l);
    else if (err == 0 && s->json)
        s->tree = lasting_page_json(&s->page, &l);
    else if (err == 0)
        lasting_page_text(&s->page, &l);
    lasting_page_release(&l);
    return err;
}

const struct show_kind show_kinds[SHOW_KINDS] = {
    {"batch", "CODE", show_batch, true, true, false},
    {"pot", "SERIAL", show_pot, true, false, false},
    {"place", "NAME", show_place, false, false, false},
    {"home", "CODE", show_home, false, false, false},
    {"alert", "NUMBER", show_alert, false, false, false},
    {"line", NULL, show_line, false, false, false},
    {"causes", NULL, show_causes, false, false, true},
    {"batches", NULL, show_batches, false, false, true},
    {"recall", "CODE", show_recall, false, false, false},
    {"need", NULL, show_need, false, false, true},
    {"life", "BY", show_life, false, false, true},
};
