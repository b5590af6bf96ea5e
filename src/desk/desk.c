/* desk.c - builds a desk from the configuration, and who works for it. */
#include "desk/inner.h"

#include "base/file.h"
#include "base/log.h"
#include "base/septet.h"
#include "desk/menu.h"
#include "ledger/due.h"
#include "watch/mould.h"

#include <string.h>
#include <unistd.h>

/* A longer time was not watched; more people do not live in one home. */
#define WATCHED_MOST_MIN (2 * 24 * 60)
#define PEOPLE_MOST      30

static int take_mould(const struct config *conf, size_t i,
                      struct fault_list *faults, struct seep_pot *pot)
{
    const struct config_mould *m = &conf->moulds[i];

    if (mould_pot(m, pot) == 0)
        return 0;
    fault_add(faults, conf->file ? conf->file : "configuration", m->line,
              "the mould '%s' cannot be a pot; its radii, depth and wall are "
              "millimetres, the rim at least as wide as the base",
              m->name);
    return KW_ESYNTAX;
}

/* The reader's limits. */
static void take_rules(struct desk *d)
{
    const struct config *conf = d->conf;

    d->limits = (struct reader_limits){.depth_cm = d->moulds[0].depth_m * 100,
                                       .volume_l = seep_full_l(&d->moulds[0]),
                                       .finger_cm = conf->finger_cm,
                                       .cup_l = conf->cup_l,
                                       .bottle_l = conf->bottle_l,
                                       .minutes_max = WATCHED_MOST_MIN,
                                       .people_max = PEOPLE_MOST};
    /* The deepest and largest mould: each pot is judged by its own later. */
    for (size_t i = 1; i < conf->n_moulds; i++) {
        double full = seep_full_l(&d->moulds[i]);

        if (d->moulds[i].depth_m * 100 > d->limits.depth_cm)
            d->limits.depth_cm = d->moulds[i].depth_m * 100;
        if (full > d->limits.volume_l)
            d->limits.volume_l = full;
    }
}

static int check_clinic(const struct config *conf, struct fault_list *faults)
{
    struct septet_size size =
        septet_measure(conf->clinic, strlen(conf->clinic));

    if (size.gsm7)
        return 0;
    fault_add(faults, conf->file ? conf->file : "configuration", 0,
              "programme: clinic '%s' has letters that the GSM alphabet "
              "cannot write; write it without their marks",
              conf->clinic);
    return KW_ESYNTAX;
}

/* A folder without a menu is a line without one. */
static int open_menu(struct desk *d, struct fault_list *faults)
{
    char path[4096];

    if (file_join(path, sizeof(path), d->conf->grammar_folder, "menu") < 0 ||
        access(path, F_OK) != 0)
        return 0;
    return menu_open(d->conf->grammar_folder, faults, &d->menu);
}

static int open_reader(struct desk *d, bool files, struct fault_list *faults)
{
    const struct config *conf = d->conf;

    if (files)
        return reader_open(conf->grammar_folder, &d->layout, &d->limits, faults,
                           &d->reader);
    return reader_open_quick(conf->grammar_folder, conf->grammar_image,
                             &d->layout, &d->limits, faults, &d->image_wrong,
                             &d->reader);
}

static int open_parts(struct desk *d, bool files, struct fault_list *faults)
{
    const struct config *conf = d->conf;
    int err = 0, e;

    if (serial_check_from_name(conf->serial_check, &d->layout.check) < 0)
        return KW_EINVAL; /* the configuration has told */
    d->layout.batch_chars = conf->serial_batch;
    d->layout.pot_chars = conf->serial_pot;
    for (size_t i = 0; i < conf->n_moulds; i++) {
        if ((e = take_mould(conf, i, faults, &d->moulds[i])) < 0)
            err = e;
    }
    if (err == 0)
        take_rules(d);
    if ((e = check_clinic(conf, faults)) < 0)
        err = e;
    if ((e = replies_open(conf->grammar_folder, faults, &d->replies)) < 0)
        err = e;
    if (err == 0 || d->limits.depth_cm > 0) {
        if ((e = open_reader(d, files, faults)) < 0)
            err = e;
    }
    if ((e = open_menu(d, faults)) < 0)
        err = e;
    return err;
}

static int open_desk(const struct config *conf, bool files,
                     struct fault_list *faults, struct desk **out)
{
    struct desk *d = kw_calloc(1, sizeof(*d));
    int err;

    *out = NULL;
    d->conf = conf;
    err = open_parts(d, files, faults);
    if (err == 0 && !replies_has_lang(d->replies, conf->lang)) {
        fault_add(faults, conf->file ? conf->file : "configuration", 0,
                  "programme: there are no replies in '%s'; set language to "
                  "one that has a file in '%s'",
                  conf->lang, conf->grammar_folder);
        err = KW_ESYNTAX;
    }
    if (err < 0) {
        desk_close(d);
        return err;
    }
    d->scratch = reader_scratch_new(d->reader);
    *out = d;
    return 0;
}

int desk_open(const struct config *conf, struct fault_list *faults,
              struct desk **out)
{
    return open_desk(conf, false, faults, out);
}

int desk_open_files(const struct config *conf, struct fault_list *faults,
                    struct desk **out)
{
    return open_desk(conf, true, faults, out);
}

const char *desk_image_wrong(const struct desk *d)
{
    return d->image_wrong;
}

void desk_close(struct desk *d)
{
    if (d == NULL)
        return;
    if (d->scratch != NULL)
        reader_scratch_free(d->scratch);
    if (d->reader != NULL)
        reader_close(d->reader);
    replies_close(d->replies);
    menu_close(d->menu);
    kw_free(d);
}

const struct reader *desk_reader(const struct desk *d)
{
    return d->reader;
}

const struct replies *desk_replies(const struct desk *d)
{
    return d->replies;
}

const struct serial_layout *desk_layout(const struct desk *d)
{
    return &d->layout;
}

const struct seep_pot *desk_mould(const struct desk *d, const char *name)
{
    for (size_t i = 0; i < d->conf->n_moulds; i++) {
        if (strcmp(d->conf->moulds[i].name, name) == 0)
            return &d->moulds[i];
    }
    return &d->moulds[0];
}

const char *desk_lang(const struct desk *d, const char *const *tags, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (tags[i] != NULL && replies_has_lang(d->replies, tags[i]))
            return tags[i];
    }
    return d->conf->lang;
}

const struct config_person *desk_person(const struct desk *d,
                                        const char *number)
{
    for (size_t i = 0; i < d->conf->n_people; i++) {
        const struct config_person *p = &d->conf->people[i];
        char kept[LEDGER_PHONE_CAP];

        desk_number(d->conf, p->phone, kept, sizeof(kept));
        if (strcmp(kept, number) == 0)
            return p;
    }
    return NULL;
}

const char *desk_carrier(const struct desk *d, const struct ledger_phone *p,
                         const struct config_person *person)
{
    if (person != NULL && person->carrier[0] != '\0')
        return person->carrier;
    if (config_can_send(d->conf, p->carrier))
        return p->carrier; /* the way that its last text came */
    return d->conf->default_carrier[0] != '\0' ? d->conf->default_carrier
                                               : "console";
}

/* ---- people of the configuration ---- */

#define COORDINATORS_MOST 256

/* Those who have left the configuration may no longer command. */
static int demote_others(const struct desk *d, struct ledger *lg)
{
    int64_t ids[COORDINATORS_MOST];
    int n = due_phones_of_role(lg, LEDGER_COORDINATOR, ids, COORDINATORS_MOST);

    for (int i = 0; i < n; i++) {
        struct ledger_phone p;
        const struct config_person *person;
        int err = ledger_phone_get(lg, ids[i], &p);

        if (err < 0)
            return err;
        person = desk_person(d, p.number);
        if (person != NULL &&
            ledger_role_from_name(person->role) == LEDGER_COORDINATOR)
            continue;
        p.role = LEDGER_HOUSEHOLD;
        log_info("'%s' is no coordinator any more: not in the configuration",
                 p.name);
        if ((err = ledger_phone_put(lg, &p)) < 0)
            return err;
    }
    return n < 0 ? n : 0;
}

static int put_person(const struct desk *d, struct ledger *lg,
                      const struct config_person *person)
{
    struct ledger_phone p;
    char number[LEDGER_PHONE_CAP];
    int role = ledger_role_from_name(person->role);
    int err;

    desk_number(d->conf, person->phone, number, sizeof(number));
    if ((err = ledger_phone_take(lg, number, &p)) < 0)
        return err;
    if (role >= 0)
        p.role = (enum ledger_role)role;
    if (p.lang[0] == '\0')
        kw_copy(p.lang, sizeof(p.lang), person->lang, strlen(person->lang));
    if (kw_copy(p.name, sizeof(p.name), person->name, strlen(person->name)) < 0)
        memcpy(p.name, person->name, sizeof(p.name) - 1);
    return ledger_phone_put(lg, &p);
}

int desk_people(const struct desk *d, struct ledger *lg)
{
    int err = demote_others(d, lg);

    for (size_t i = 0; err == 0 && i < d->conf->n_people; i++)
        err = put_person(d, lg, &d->conf->people[i]);
    return err;
}
