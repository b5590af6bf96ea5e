/*
 * config.c - reads the configuration by tables: one row a key. libconfig
 * gives the syntax and the line of each setting.
 */
#include "base/config.h"
#include "base/config_carrier.h"
#include "base/config_find.h"
#include "base/file.h"
#include "base/setting.h"

#include <errno.h>
#include <libgen.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define AT(f) offsetof(struct config, f)

static const struct setting programme_rows[] = {
    {"name", TEXT, AT(name), "Kilnword", 1, 60, NULL},
    {"zone", ZONE, AT(zone), "UTC", 1, 60, NULL},
    {"language", TEXT, AT(lang), "en", 2, 11, NULL},
    {"country_code", TEXT, AT(country_code), "", 0, 4, NULL},
    {"national_prefix", TEXT, AT(national_prefix), "", 0, 4, NULL},
    {"national_least", INTEGER, AT(national_least), "7", 3, 14, NULL},
    {"national_most", INTEGER, AT(national_most), "14", 3, 14, NULL},
    {"clinic", TEXT, AT(clinic), "", 0, 24, NULL},
    {"line_number", TEXT, AT(line_number), "", 0, 20, NULL},
    {"default_carrier", TEXT, AT(default_carrier), "", 0, 60, NULL},
};
static const struct setting listen_rows[] = {
    {"address", TEXT, AT(listen_address), "127.0.0.1", 2, 60, NULL},
    {"port", INTEGER, AT(listen_port), "8040", 0, 65535, NULL},
    {"connections", INTEGER, AT(connections_most), "512", 1, 20000, NULL},
};
static const struct setting ledger_rows[] = {
    {"file", PATH, AT(ledger_file), "kilnword.ledger", 1, 4000, NULL},
    {"group", INTEGER, AT(group_most), "256", 1, 4096, NULL},
    {"checkpoint_pages", INTEGER, AT(checkpoint_pages), "1000", 50, 100000,
     NULL},
    {"cache_mib", INTEGER, AT(cache_mib), "8", 1, 4096, NULL},
};
static const struct setting grammar_rows[] = {
    {"folder", PATH, AT(grammar_folder), KW_GRAMMAR_DIR, 1, 4000, NULL},
    {"image", PATH, AT(grammar_image), NULL, 1, 4000, NULL},
};
static const struct setting serial_rows[] = {
    {"check", TEXT, AT(serial_check), "97-10", 1, 10, " 97-10 37,36 none "},
    {"batch", INTEGER, AT(serial_batch), "4", 1, 8, NULL},
    {"pot", INTEGER, AT(serial_pot), "3", 1, 8, NULL},
};
static const struct setting measure_rows[] = {
    {"finger_cm", REAL, AT(finger_cm), "1.8", 0.8, 3, NULL},
    {"finger_error_cm", REAL, AT(finger_se_cm), "0.3", 0, 2, NULL},
    {"cup_l", REAL, AT(cup_l), "0.25", 0.05, 1, NULL},
    {"cup_error_l", REAL, AT(cup_se_l), "0.025", 0, 1, NULL},
    {"bottle_l", REAL, AT(bottle_l), "1.5", 0.2, 6, NULL},
    {"bottle_error_l", REAL, AT(bottle_se_l), "0.15", 0, 2, NULL},
    {"level_error_cm", REAL, AT(level_se_cm), "0.5", 0.05, 5, NULL},
    {"full_error_cm", REAL, AT(full_se_cm), "1", 0.05, 10, NULL},
    {"water_c", REAL, AT(water_degc), "25", 1, 45, NULL},
};
static const struct setting flow_rows[] = {
    {"accept_min_l", REAL, AT(accept_min_l), "1", 0.1, 20, NULL},
    {"accept_max_l", REAL, AT(accept_max_l), "3", 0.2, 20, NULL},
    {"replace_below_l", REAL, AT(replace_below_l), "1", 0.05, 20, NULL},
    {"fast_factor", REAL, AT(fast_factor), "1.25", 1, 10, NULL},
    {"rise_factor", REAL, AT(rise_factor), "1.5", 1, 10, NULL},
    {"measure_again_days", INTEGER, AT(remeasure_days), "7", 1, 90, NULL},
    {"early_rise_factor", REAL, AT(rise_early_factor), "1.8", 1, 10, NULL},
    {"early_days", REAL, AT(settle_days), "28", 0, 365, NULL},
    {"crack_factor", REAL, AT(crack_factor), "2.72", 1, 20, NULL},
    {"ask_scrub_p", REAL, AT(ask_scrub_p), "0.5", 0.05, 0.99, NULL},
    {"replace_p", REAL, AT(replace_p), "0.75", 0.05, 0.999, NULL},
    {"outlier_sd", REAL, AT(outlier_sd), "2.5", 1, 10, NULL},
    {"first_l", REAL, AT(first_l), "2.2", 0.1, 20, NULL},
    {"first_sd", REAL, AT(first_sd), "0.25", 0.01, 2, NULL},
    {"slope_day", REAL, AT(slope_day), "-0.0022", -0.1, 0.1, NULL},
    {"slope_sd", REAL, AT(slope_sd), "0.001", 0, 0.1, NULL},
    {"reading_sd", REAL, AT(reading_sd), "0.2", 0.01, 1, NULL},
    {"level_wander", REAL, AT(level_wander), "1e-4", 0, 0.01, NULL},
    {"slope_wander", REAL, AT(slope_wander), "1e-9", 0, 1e-4, NULL},
    {"scrub_gain", REAL, AT(scrub_gain), "0.25", 0, 2, NULL},
    {"scrub_sd", REAL, AT(scrub_sd), "0.2", 0, 2, NULL},
    {"scrub_days", REAL, AT(scrub_days), "30", 1, 365, NULL},
    {"least_l", REAL, AT(least_l), "0.05", 0.001, 1, NULL},
    {"most_l", REAL, AT(most_l), "20", 1, 100, NULL},
};
static const struct setting breakage_rows[] = {
    {"alert_below_p", REAL, AT(breakage_p), "0.001", 1e-12, 0.2, NULL},
    {"least_failures", INTEGER, AT(breakage_least), "3", 1, 1000, NULL},
};
static const struct setting need_rows[] = {
    {"reported_share", REAL, AT(need_share), "0.6", 0.05, 1, NULL},
    {"slow_replaced", REAL, AT(need_slow_replaced), "1", 0, 1, NULL},
    {"passed_share", REAL, AT(need_passed), "0.8", 0.05, 1, NULL},
    {"lead_days", REAL, AT(need_lead_days), "30", 0, 365, NULL},
    {"kiln_pots", REAL, AT(need_kiln_pots), "50", 1, 10000, NULL},
    {"press_minutes", REAL, AT(need_press_minutes), "10", 0.1, 600, NULL},
    {"press_hours", REAL, AT(need_press_hours), "8", 0.5, 240, NULL},
};
static const struct setting outbox_rows[] = {
    {"reply_expires_s", INTEGER, AT(reply_expires_s), "86400", 60, 2592000,
     NULL},
    {"alert_expires_s", INTEGER, AT(alert_expires_s), "259200", 60, 2592000,
     NULL},
    {"tries", INTEGER, AT(tries_most), "8", 1, 100, NULL},
    {"retry_first_s", INTEGER, AT(retry_first_s), "5", 1, 3600, NULL},
    {"retry_longest_s", INTEGER, AT(retry_longest_s), "900", 1, 86400, NULL},
    {"quiet_from", DAYTIME, AT(quiet_from_minute), "21:00", 0, 0, NULL},
    {"quiet_to", DAYTIME, AT(quiet_to_minute), "06:30", 0, 0, NULL},
    {"take_over_s", INTEGER, AT(take_over_s), "300", 10, 86400, NULL},
    {"segments_a_day", INTEGER, AT(segments_a_day), "0", 0, 10000000, NULL},
    {"segments_alarm_percent", INTEGER, AT(segments_alarm_percent), "80", 1,
     100, NULL},
};
static const struct setting menu_rows[] = {
    {"keep_s", INTEGER, AT(menu_keep_s), "600", 10, 86400, NULL},
};
static const struct setting digest_rows[] = {
    {"at", DAYTIME, AT(digest_minute), "07:00", 0, 0, NULL},
};
static const struct setting privacy_rows[] = {
    {"pseudonym_key", SECRET, AT(pseudonym_key), NULL, 16, 512, NULL},
    {"keep_words_days", INTEGER, AT(text_keep_days), "365", 0, 36500, NULL},
};
#undef AT

static const struct {
    const char *name;
    const struct setting *rows;
    size_t n;
} groups[] = {
    {"programme", programme_rows, KW_COUNT(programme_rows)},
    {"listen", listen_rows, KW_COUNT(listen_rows)},
    {"ledger", ledger_rows, KW_COUNT(ledger_rows)},
    {"grammar", grammar_rows, KW_COUNT(grammar_rows)},
    {"serial", serial_rows, KW_COUNT(serial_rows)},
    {"measures", measure_rows, KW_COUNT(measure_rows)},
    {"flow", flow_rows, KW_COUNT(flow_rows)},
    {"breakage", breakage_rows, KW_COUNT(breakage_rows)},
    {"need", need_rows, KW_COUNT(need_rows)},
    {"outbox", outbox_rows, KW_COUNT(outbox_rows)},
    {"menu", menu_rows, KW_COUNT(menu_rows)},
    {"digest", digest_rows, KW_COUNT(digest_rows)},
    {"privacy", privacy_rows, KW_COUNT(privacy_rows)},
};

#define AT(f) offsetof(struct config_mould, f)
static const struct setting mould_rows[] = {
    {"name", TEXT, AT(name), NULL, 1, 60, NULL},
    {"shape", TEXT, AT(shape), "frustum", 1, 20,
     " frustum cylinder paraboloid hemisphere profile "},
    {"base_radius_mm", REAL, AT(base_radius_mm), "95", 5, 1000, NULL},
    {"rim_radius_mm", REAL, AT(rim_radius_mm), "120", 5, 1000, NULL},
    {"depth_mm", REAL, AT(depth_mm), "220", 20, 2000, NULL},
    {"wall_mm", REAL, AT(wall_mm), "12", 1, 100, NULL},
    {"base_mm", REAL, AT(base_mm), "15", 1, 100, NULL},
};
#undef AT
#define AT(f) offsetof(struct config_person, f)
static const struct setting person_rows[] = {
    {"phone", TEXT, AT(phone), NULL, 3, 23, NULL},
    {"role", TEXT, AT(role), NULL, 1, 20,
     " household field workshop coordinator "},
    {"language", TEXT, AT(lang), "", 0, 11, NULL},
    {"name", TEXT, AT(name), "", 0, 60, NULL},
    {"carrier", TEXT, AT(carrier), "", 0, 60, NULL},
};
#undef AT

/* One point: ( height, radius, thickness ). */
static bool take_point(const config_setting_t *s, double out[3])
{
    if (!config_setting_is_list(s) && !config_setting_is_array(s))
        return false;
    if (config_setting_length(s) != 3)
        return false;
    for (unsigned i = 0; i < 3; i++) {
        const config_setting_t *v = config_setting_get_elem(s, i);

        if (!config_setting_is_number(v))
            return false;
        out[i] = config_setting_type(v) == CONFIG_TYPE_FLOAT
                     ? config_setting_get_float(v)
                     : (double)config_setting_get_int64(v);
    }
    return true;
}

static void take_profile(struct setting_load *l, const config_setting_t *mould,
                         struct config_mould *m)
{
    const config_setting_t *list = config_setting_get_member(mould, "profile");
    bool turned = m->shape != NULL && strcmp(m->shape, "profile") == 0;
    int n;

    if (turned != (list != NULL))
        SETTING_SAY(l, m->line,
                    "a mould of shape \"profile\", and no other, has "
                    "profile = ( (height, radius, thickness), … )");
    if (!turned || list == NULL)
        return;
    n = setting_list_length(l, list, CONFIG_PROFILE_MOST);
    if (n >= 0 && n < 2)
        SETTING_SAY(l, m->line, "a profile has at least two points");
    for (int i = 0; i < n; i++) {
        const config_setting_t *s = config_setting_get_elem(list, (unsigned)i);

        if (!take_point(s, m->profile_mm[i])) {
            SETTING_SAY(l, config_setting_source_line(s),
                        "a point is to be three numbers of millimetres: "
                        "(height, radius, thickness)");
            return;
        }
        m->n_profile = (size_t)i + 1;
    }
}

static void take_moulds(struct setting_load *l, const config_setting_t *list,
                        struct config *c)
{
    int n = setting_list_length(l, list, CONFIG_MOULDS_MOST);

    for (int i = 0; i < n; i++) {
        const config_setting_t *s = config_setting_get_elem(list, (unsigned)i);
        struct config_mould *m = &c->moulds[i];

        m->line = config_setting_source_line(s);
        setting_preset(mould_rows, KW_COUNT(mould_rows), m);
        c->n_moulds = (size_t)i + 1;
        setting_take(l, s, mould_rows, KW_COUNT(mould_rows), m, " profile ");
        setting_need_text(l, m->line, "name", m->name);
        if (config_setting_is_group(s))
            take_profile(l, s, m);
    }
}

static void take_people(struct setting_load *l, const config_setting_t *list,
                        struct config *c)
{
    int n = setting_list_length(l, list, CONFIG_PEOPLE_MOST);

    for (int i = 0; i < n; i++) {
        const config_setting_t *s = config_setting_get_elem(list, (unsigned)i);
        struct config_person *p = &c->people[i];

        p->line = config_setting_source_line(s);
        setting_preset(person_rows, KW_COUNT(person_rows), p);
        c->n_people = (size_t)i + 1;
        setting_take(l, s, person_rows, KW_COUNT(person_rows), p, NULL);
        setting_need_text(l, p->line, "phone", p->phone);
        setting_need_text(l, p->line, "role", p->role);
    }
}

/* The first of a's paths that is one of b's too, or NULL. */
static const char *same_path(const struct config_carrier *a,
                             const struct config_carrier *b)
{
    const char *as[] = {a->in.path, a->menu.path, a->receipts.path};
    const char *bs[] = {b->in.path, b->menu.path, b->receipts.path};

    for (size_t i = 0; i < KW_COUNT(as); i++) {
        for (size_t j = 0; j < KW_COUNT(bs); j++) {
            if (as[i] != NULL && bs[j] != NULL && strcmp(as[i], bs[j]) == 0 &&
                (a != b || i < j))
                return as[i];
        }
    }
    return NULL;
}

static void take_carriers(struct setting_load *l, const config_setting_t *list,
                          struct config *c)
{
    int n = setting_list_length(l, list, CONFIG_CARRIERS_MOST);

    for (int i = 0; i < n; i++) {
        const config_setting_t *s = config_setting_get_elem(list, (unsigned)i);

        if (!config_setting_is_group(s)) {
            SETTING_SAY(
                l, config_setting_source_line(s),
                "a carrier is to be a group; write { name = \"…\"; … }");
            return;
        }
        c->n_carriers = (size_t)i + 1;
        config_carrier_take(l, s, &c->carriers[i]);
        for (int j = 0; j <= i; j++) {
            if (j < i && strcmp(c->carriers[i].name, c->carriers[j].name) == 0)
                SETTING_SAY(
                    l, c->carriers[i].line,
                    "the carrier '%s' stands twice; give each its own name",
                    c->carriers[i].name);
            if (same_path(&c->carriers[i], &c->carriers[j]) != NULL)
                SETTING_SAY(
                    l, c->carriers[i].line,
                    "the path '%s' is that of carrier '%s' too; give each "
                    "its own",
                    same_path(&c->carriers[i], &c->carriers[j]),
                    c->carriers[j].name);
        }
    }
}

static bool carrier_named(const struct config *c, const char *name)
{
    for (size_t i = 0; i < c->n_carriers; i++) {
        if (strcmp(c->carriers[i].name, name) == 0)
            return true;
    }
    return false;
}

bool config_can_send(const struct config *c, const char *carrier)
{
    for (size_t i = 0; i < c->n_carriers; i++) {
        const struct config_carrier *k = &c->carriers[i];

        if (strcmp(k->name, carrier) == 0)
            return k->kind != CONFIG_HTTP || k->out.url != NULL;
    }
    return false;
}

/* The first that can send, else the first. */
static const char *first_sender(const struct config *c)
{
    for (size_t i = 0; i < c->n_carriers; i++) {
        if (config_can_send(c, c->carriers[i].name))
            return c->carriers[i].name;
    }
    return c->carriers[0].name;
}

static void check_sender(struct setting_load *l, const struct config *c,
                         int line, const char *name)
{
    if (!carrier_named(c, name))
        SETTING_SAY(l, line, "the carrier '%s' is not among the carriers",
                    name);
    else if (!config_can_send(c, name))
        SETTING_SAY(l, line,
                    "the carrier '%s' cannot send; give it 'out', or name "
                    "another",
                    name);
}

static void check_stand_ins(struct setting_load *l, const struct config *c)
{
    for (size_t i = 0; i < c->n_carriers; i++) {
        const struct config_carrier *k = &c->carriers[i];

        if (k->stand_in == NULL || k->stand_in[0] == '\0')
            continue;
        check_sender(l, c, k->line, k->stand_in);
        if (strcmp(k->stand_in, k->name) == 0)
            SETTING_SAY(l, k->line, "a carrier cannot stand in for itself");
    }
}

static void check_groups(struct setting_load *l, const struct config *c)
{
    for (size_t i = 0; i < c->n_carriers; i++) {
        const struct config_carrier *k = &c->carriers[i];
        size_t n = 0;

        if (k->group == NULL || k->group[0] == '\0')
            continue;
        check_sender(l, c, k->line, k->name);
        for (size_t j = 0; j < c->n_carriers; j++)
            n += c->carriers[j].group != NULL &&
                 strcmp(c->carriers[j].group, k->group) == 0;
        if (n == 1)
            SETTING_SAY(l, k->line,
                        "no other carrier is of the group '%s', so nothing "
                        "shares its load",
                        k->group);
    }
}

/* Beyond this machine anyone could text in anyone's name. */
static void check_open_door(struct setting_load *l, const struct config *c)
{
    bool near = strncmp(c->listen_address, "127.", 4) == 0 ||
                strcmp(c->listen_address, "::1") == 0 ||
                strcmp(c->listen_address, "localhost") == 0;

    for (size_t i = 0; i < c->n_carriers && !near; i++) {
        const struct config_carrier *k = &c->carriers[i];

        if (k->kind == CONFIG_HTTP &&
            (k->in.path != NULL || k->menu.path != NULL ||
             k->receipts.path != NULL) &&
            k->in.secret == NULL && k->in.hmac_key == NULL)
            SETTING_SAY(l, k->line,
                        "carrier '%s' takes texts on %s from anyone; set "
                        "'secret_file' or 'hmac_key_file', or listen on "
                        "127.0.0.1",
                        k->name, c->listen_address);
    }
}

/* What concerns several keys at once. */
static void check_whole(struct setting_load *l, struct config *c)
{
    int chars = c->serial_batch + c->serial_pot;

    if (c->n_moulds == 0) {
        setting_preset(mould_rows, KW_COUNT(mould_rows), &c->moulds[0]);
        c->moulds[0].name = kw_strdup("frustum");
        c->n_moulds = 1;
    }
    if (strcmp(c->serial_check, "97-10") == 0)
        chars += 2;
    else if (strcmp(c->serial_check, "37,36") == 0)
        chars += 1;
    if (chars > 11)
        SETTING_SAY(l, 0,
                    "serial: batch, pot and check have %d characters; at most "
                    "11 are allowed",
                    chars);
    if (c->national_least > c->national_most)
        SETTING_SAY(l, 0,
                    "programme: national_least is to be at most "
                    "national_most");
    check_open_door(l, c);
    check_stand_ins(l, c);
    check_groups(l, c);
    if (c->accept_min_l >= c->accept_max_l)
        SETTING_SAY(l, 0, "flow: accept_min_l is to be below accept_max_l");
    if (c->ask_scrub_p > c->replace_p)
        SETTING_SAY(l, 0, "flow: ask_scrub_p is to be at most replace_p");
    if (c->retry_first_s > c->retry_longest_s)
        SETTING_SAY(l, 0,
                    "outbox: retry_first_s is to be at most retry_longest_s");
    if (c->default_carrier[0] != '\0')
        check_sender(l, c, 0, c->default_carrier);
    else if (c->n_carriers > 0)
        setting_put_text(c, offsetof(struct config, default_carrier),
                         kw_strdup(first_sender(c)));
    for (size_t i = 0; i < c->n_people; i++) {
        if (c->people[i].carrier[0] != '\0')
            check_sender(l, c, c->people[i].line, c->people[i].carrier);
    }
}

static void take_top(struct setting_load *l, const config_setting_t *s,
                     struct config *c)
{
    const char *key = config_setting_name(s);

    for (size_t i = 0; i < KW_COUNT(groups); i++) {
        if (strcmp(groups[i].name, key) == 0) {
            setting_take(l, s, groups[i].rows, groups[i].n, c, NULL);
            return;
        }
    }
    if (strcmp(key, "moulds") == 0)
        take_moulds(l, s, c);
    else if (strcmp(key, "people") == 0)
        take_people(l, s, c);
    else if (strcmp(key, "carriers") == 0)
        take_carriers(l, s, c);
    else
        SETTING_SAY(
            l, config_setting_source_line(s),
            "'%s' is not known; known are: programme, listen, ledger, "
            "grammar, serial, moulds, measures, flow, breakage, need, outbox, "
            "menu, digest, privacy, people, carriers",
            key);
}

static int read_file(struct setting_load *l, const char *path, struct config *c)
{
    config_t file;
    char *data = NULL;
    size_t len;
    int err = file_read(path, 1 << 20, &data, &len);
    const config_setting_t *root;

    if (err < 0) {
        SETTING_SAY(l, 0, "the configuration cannot be read: %s",
                    err == KW_EFULL ? "it is larger than 1 MiB"
                                    : strerror(errno));
        return KW_EIO;
    }
    config_init(&file);
    config_set_include_dir(&file, l->folder);
    if (strlen(data) != len ||
        config_read_string(&file, data) == CONFIG_FALSE) {
        SETTING_SAY(l, config_error_line(&file),
                    "%s; the line, or the one before "
                    "it, is not well written",
                    config_error_text(&file) ? config_error_text(&file)
                                             : "a NUL octet");
    } else {
        root = config_root_setting(&file);
        for (int i = 0; i < config_setting_length(root); i++)
            take_top(l, config_setting_get_elem(root, (unsigned)i), c);
        check_whole(l, c);
    }
    config_destroy(&file);
    kw_free(data);
    return 0;
}

int config_load_part(const char *path, struct fault_list *faults,
                     struct config **out)
{
    struct setting_load l = {.faults = faults,
                             .file = path ? path : "defaults"};
    struct config *c = kw_calloc(1, sizeof(*c));
    size_t before = faults->n;
    char copy[4096];
    int err = 0;

    *out = NULL;
    for (size_t i = 0; i < KW_COUNT(groups); i++)
        setting_preset(groups[i].rows, groups[i].n, c);
    config_find_grammar(c);
    if (path == NULL) {
        check_whole(&l, c);
    } else if (kw_copy(copy, sizeof(copy), path, strlen(path)) < 0) {
        SETTING_SAY(&l, 0, "the path is too long");
        err = KW_EIO;
    } else {
        c->file = kw_strdup(path);
        snprintf(l.folder, sizeof(l.folder), "%s", dirname(copy));
        err = read_file(&l, path, c);
    }
    config_find_image(c);
    if (err == 0 && faults->n > before)
        err = KW_ESYNTAX;
    if (err == 0 || err == KW_ESYNTAX)
        *out = c;
    else
        config_free(c);
    return err;
}

int config_load(const char *path, struct fault_list *faults,
                struct config **out)
{
    int err = config_load_part(path, faults, out);

    if (err != 0) {
        config_free(*out);
        *out = NULL;
    }
    return err;
}

void config_free(struct config *c)
{
    if (c == NULL)
        return;
    for (size_t i = 0; i < KW_COUNT(groups); i++)
        setting_free(groups[i].rows, groups[i].n, c);
    for (size_t i = 0; i < KW_COUNT(c->moulds); i++)
        setting_free(mould_rows, KW_COUNT(mould_rows), &c->moulds[i]);
    for (size_t i = 0; i < KW_COUNT(c->people); i++)
        setting_free(person_rows, KW_COUNT(person_rows), &c->people[i]);
    for (size_t i = 0; i < KW_COUNT(c->carriers); i++)
        config_carrier_free(&c->carriers[i]);
    kw_free(c->file);
    kw_free(c);
}
