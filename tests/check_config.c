/* check_config.c - the commented example, and every way to write it wrong. */
#include "base/config.h"
#include "base/file.h"

#include <check.h>
#include <ctype.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char folder[] = "/tmp/kw-config-XXXXXX";

static const char *write_conf(const char *text)
{
    static char path[200];

    snprintf(path, sizeof(path), "%s/a.conf", folder);
    ck_assert_int_eq(file_write_whole(path, text, strlen(text)), 0);
    return path;
}

static const char *example_path(void)
{
    static char path[4096];
    const char *source = getenv("KW_SOURCE");

    ck_assert_ptr_nonnull(source);
    snprintf(path, sizeof(path), "%s/deploy/kilnword.conf", source);
    return path;
}

START_TEST(example_loads)
{
    struct fault_list faults = {0};
    struct config *c = NULL;

    ck_assert_int_eq(config_load(example_path(), &faults, &c), 0);
    ck_assert_uint_eq(faults.n, 0);
    ck_assert_str_eq(c->name, "Sele valley pots");
    ck_assert_uint_eq(c->n_carriers, 2);
    ck_assert(c->carriers[0].in.reply_in_body);
    /* the gate of the example only takes */
    ck_assert(!config_can_send(c, "gate"));
    ck_assert(config_can_send(c, "folder"));
    ck_assert(!config_can_send(c, "nobody"));
    ck_assert_str_eq(c->default_carrier, "folder");
    ck_assert_int_eq(c->digest_minute, 420);
    ck_assert_double_eq(c->moulds[0].depth_mm, 220);
    config_free(c);
}
END_TEST

/*
 * Each default written in the example's comments is the program's: the file
 * with those lines opened gives what the defaults alone give.
 */
START_TEST(example_tells_the_defaults)
{
    struct fault_list faults = {0};
    struct config *plain = NULL, *open = NULL;
    char *text, *p;
    size_t len;

    ck_assert_int_eq(file_read(example_path(), 1 << 20, &text, &len), 0);
    for (p = text; p != NULL; p = strchr(p, '\n')) {
        const char *end;

        p += *p == '\n';
        end = strchr(p, '\n');
        /* "#   key = …": a key of a plain group; secrets' files are not there.
         */
        if (end != NULL && strncmp(p, "#   ", 4) == 0 && islower(p[4]) &&
            memmem(p, (size_t)(end - p), "_file =", 7) == NULL)
            *p = ' ';
    }
    ck_assert_int_eq(config_load(NULL, &faults, &plain), 0);
    if (config_load(write_conf(text), &faults, &open) != 0) {
        fault_print(&faults, stderr);
        ck_abort_msg("the opened example does not load");
    }
    ck_assert_int_eq(open->connections_most, plain->connections_most);
    ck_assert_int_eq(open->group_most, plain->group_most);
    ck_assert_int_eq(open->checkpoint_pages, plain->checkpoint_pages);
    ck_assert_str_eq(open->serial_check, plain->serial_check);
    ck_assert_double_eq(open->finger_cm, plain->finger_cm);
    ck_assert_double_eq(open->bottle_l, plain->bottle_l);
    ck_assert_double_eq(open->rise_factor, plain->rise_factor);
    ck_assert_double_eq(open->cup_se_l, plain->cup_se_l);
    ck_assert_double_eq(open->bottle_se_l, plain->bottle_se_l);
    ck_assert_double_eq(open->level_se_cm, plain->level_se_cm);
    ck_assert_double_eq(open->full_se_cm, plain->full_se_cm);
    ck_assert_mem_eq(&open->rise_early_factor, &plain->rise_early_factor,
                     offsetof(struct config, most_l) + sizeof(double) -
                         offsetof(struct config, rise_early_factor));
    ck_assert_double_eq(open->breakage_p, plain->breakage_p);
    ck_assert_int_eq(open->breakage_least, plain->breakage_least);
    ck_assert_int_eq(open->retry_longest_s, plain->retry_longest_s);
    ck_assert_int_eq(open->national_least, plain->national_least);
    ck_assert_int_eq(open->national_most, plain->national_most);
    ck_assert_int_eq(open->quiet_from_minute, plain->quiet_from_minute);
    ck_assert_int_eq(open->quiet_to_minute, plain->quiet_to_minute);
    ck_assert_int_eq(open->take_over_s, plain->take_over_s);
    ck_assert_int_eq(open->segments_a_day, plain->segments_a_day);
    ck_assert_int_eq(open->segments_alarm_percent,
                     plain->segments_alarm_percent);
    ck_assert_int_eq(open->menu_keep_s, plain->menu_keep_s);
    ck_assert_int_eq(open->text_keep_days, plain->text_keep_days);
    config_free(open);
    config_free(plain);
    kw_free(text);
}
END_TEST

/* The two carriers that stand in comments: every key of them loads. */
START_TEST(example_carriers_open)
{
    struct fault_list faults = {0};
    struct config *c = NULL;
    char *text, *p;
    const char *end;
    size_t len;

    ck_assert_int_eq(file_read(example_path(), 1 << 20, &text, &len), 0);
    for (p = strstr(text, "#   , { name = \"centre\""); p != NULL;
         p = strchr(p, '\n')) {
        p += *p == '\n';
        end = strchr(p, '\n');
        /* The files of secrets are not there. */
        if (*p == '#' && end != NULL &&
            memmem(p, (size_t)(end - p), "_file =", 7) == NULL)
            *p = ' ';
    }
    if (config_load(write_conf(text), &faults, &c) != 0) {
        fault_print(&faults, stderr);
        ck_abort_msg("the opened example does not load");
    }
    ck_assert_uint_eq(c->n_carriers, 4);
    ck_assert_int_eq(c->carriers[2].kind, CONFIG_SMPP);
    ck_assert_int_eq(c->carriers[2].smpp.window, 10);
    ck_assert_str_eq(c->carriers[2].smpp.receipt_id, "same");
    ck_assert_int_eq(c->carriers[3].kind, CONFIG_MODEM);
    ck_assert_int_eq(c->carriers[3].modem.send_s, 120);
    config_free(c);
    kw_free(text);
}
END_TEST

/* A mould of points; the defaults of the filter are those of drift. */
START_TEST(profile_of_a_mould)
{
    struct fault_list faults = {0};
    struct config *c = NULL;

    ck_assert_int_eq(
        config_load(write_conf("moulds = ( { name = \"r\"; shape = "
                               "\"profile\"; profile = ( (0, 60, 14),\n"
                               "(20.5, 95, 13), [220, 120, 12] ); } );"),
                    &faults, &c),
        0);
    ck_assert_uint_eq(c->moulds[0].n_profile, 3);
    ck_assert_double_eq(c->moulds[0].profile_mm[1][0], 20.5);
    ck_assert_double_eq(c->moulds[0].profile_mm[2][1], 120);
    ck_assert_double_eq(c->slope_day, -0.0022);
    ck_assert_double_eq(c->level_wander, 1e-4);
    ck_assert_double_eq(c->slope_wander, 1e-9);
    config_free(c);
}
END_TEST

static const struct {
    const char *text; /* a configuration with one mistake */
    int line;
    const char *says; /* what the fault is to contain */
} wrong[] = {
    {"programme = { nam = \"x\"; };", 1, "known are: name"},
    {"programme = {\n zone = 3; };", 2, "is to be text"},
    {"programme = {\n\n zone = \"Sele/Valley\"; };", 3, "tz database"},
    {"programme = { zone = \"Pacific\"; };", 1, "tz database"},
    {"programme = { zone = \"../zoneinfo/UTC\"; };", 1, "tz database"},
    {"listen = {\n\n port = \"80\"; };", 3, "whole number"},
    {"listen = { port = 70000; };", 1, "from 0 to 65535"},
    {"listen = { port = 1.5; };", 1, "whole number"},
    {"flow = { accept_min_l = 3; accept_max_l = 2; };", 0, "below"},
    {"flow = { ask_scrub_p = 0.8; };", 0, "at most replace_p"},
    {"moulds = ( { name = \"a\"; shape = \"profile\"; } );", 1,
     "no other, has"},
    {"moulds = ( { name = \"a\"; profile = ( (0, 1, 1), (1, 1, 1) ); } );", 1,
     "no other, has"},
    {"moulds = ( { name = \"a\"; shape = \"profile\";\n profile = ( (0, 60, "
     "14),\n (9, 60) ); } );",
     3, "three numbers"},
    {"serial = { check = \"luhn\"; };", 1, "97-10"},
    {"serial = { batch = 8; pot = 8; };", 0, "at most 11"},
    {"digest = { at = \"7\"; };", 1, "07:00"},
    {"digest = { at = \"24:00\"; };", 1, "07:00"},
    {"nonsense = 1;", 1, "known are: programme"},
    {"programme = { name = \"a\" ", 1, "not well written"},
    {"privacy = { pseudonym_key = \"short\"; };", 1, "openssl rand"},
    {"privacy = { pseudonym_key_file = \"nowhere\"; };", 1, "cannot be read"},
    {"people = ( { phone = \"+99970000001\"; } );", 1, "'role' is missing"},
    {"people = ( { phone = \"+99970000001\"; role = \"boss\"; } );", 1,
     "coordinator"},
    {"carriers = ( { name = \"a\"; kind = \"fax\"; } );", 1, "spool"},
    {"carriers = ( { name = \"a\"; kind = \"spool\"; } );", 1, "'in' is"},
    {"carriers = ( { name = \"a\"; kind = \"smpp\"; } );", 1, "'host' is"},
    {"carriers = ( { name = \"a\"; kind = \"smpp\";\n smpp = { host = \"h\"; "
     "system_id = \"k\"; alphabet = \"ebcdic\"; }; } );",
     2, "gsm7-packed"},
    {"carriers = ( { name = \"a\"; kind = \"smpp\";\n smpp = { host = \"h\"; "
     "system_id = \"k\"; window = 65; }; } );",
     2, "from 1 to 64"},
    {"carriers = ( { name = \"a\"; kind = \"smpp\";\n smpp = { host = \"h\"; "
     "system_id = \"k\"; password = \"ninechars\"; }; } );",
     2, "1 to 8"},
    {"carriers = ( { name = \"a\"; kind = \"smpp\"; modem = {}; } );", 1,
     "per_minute, stand_in, group and name kind smpp"},
    {"carriers = ( { name = \"a\"; kind = \"modem\"; } );", 1, "'device' is"},
    {"carriers = ( { name = \"a\"; kind = \"modem\"; group = \"g\"; modem = { "
     "device = \"/d\"; }; } );",
     1, "no other carrier is of the group 'g'"},
    {"carriers = ( { name = \"a\"; kind = \"modem\"; modem = { device = "
     "\"/d\"; credit_code = \"*1;+CFUN\"; }; } );",
     1, "digits, * and #"},
    {"carriers = ( { name = \"a\"; kind = \"modem\"; modem = { device = "
     "\"/d\"; credit_below = 5.0; }; } );",
     1, "'credit_code'"},
    {"carriers = ( { name = \"a\"; kind = \"modem\";\n modem = { device = "
     "\"/d\"; pin = \"12a4\"; }; } );",
     1, "4 to 8 digits"},
    {"carriers = ( { name = \"a\"; kind = \"http\"; spool = {}; } );", 1,
     "known are"},
    {"carriers = ( { name = \"a\"; kind = \"http\"; in = { secret = "
     "\"12345678\"; }; } );",
     1, "field_secret"},
    {"carriers = ( { name = \"a\"; kind = \"http\"; out = { url = "
     "\"ftp://xyz\"; }; } );",
     1, "http://"},
    {"carriers = ( { name = \"a\"; kind = \"http\"; },\n { name = \"a\"; kind "
     "= \"http\"; in = { path = \"/b\"; }; } );",
     2, "twice"},
    {"carriers = ( { name = \"a\"; kind = \"http\"; in = {}; },\n { name = "
     "\"b\"; kind = \"http\"; in = {}; } );",
     2, "is that of"},
    {"listen = { address = \"0.0.0.0\"; };\ncarriers = ( { name = \"a\"; "
     "kind = \"http\"; in = {}; } );",
     2, "from anyone"},
    {"programme = { default_carrier = \"a\"; };\ncarriers = ( { name = \"a\"; "
     "kind = \"http\"; } );",
     0, "cannot send"},
    {"people = ( { phone = \"+99970000001\"; role = \"field\";\n carrier = "
     "\"b\"; } );",
     1, "not among"},
};

/* Whoever goes on after the faults has what is right, and defaults. */
START_TEST(what_is_right_is_kept)
{
    struct fault_list faults = {0};
    struct config *c = NULL;

    ck_assert_int_eq(
        config_load_part(write_conf("listen = { port = 70000; };\n"
                                    "programme = { name = \"Sele\"; };"),
                         &faults, &c),
        KW_ESYNTAX);
    ck_assert_uint_eq(faults.n, 1);
    ck_assert_ptr_nonnull(c);
    ck_assert_str_eq(c->name, "Sele");
    ck_assert_int_eq(c->listen_port, 8040);
    config_free(c);
    fault_release(&faults);
}
END_TEST

START_TEST(one_mistake)
{
    struct fault_list faults = {0};
    struct config *c = NULL;
    bool found = false;

    ck_assert_int_eq(config_load(write_conf(wrong[_i].text), &faults, &c),
                     KW_ESYNTAX);
    ck_assert_ptr_null(c);
    for (size_t i = 0; i < faults.n; i++)
        found |= faults.items[i].line == wrong[_i].line &&
                 strstr(faults.items[i].text, wrong[_i].says) != NULL;
    if (!found)
        fault_print(&faults, stderr);
    ck_assert_msg(found, "no fault at line %d says '%s'", wrong[_i].line,
                  wrong[_i].says);
    fault_release(&faults);
}
END_TEST

START_TEST(all_mistakes_at_once)
{
    struct fault_list faults = {0};
    struct config *c = NULL;

    ck_assert_int_eq(config_load(write_conf("listen = { port = -1; };\n"
                                            "flow = { what = 1; };\n"
                                            "digest = { at = 7; };\n"),
                                 &faults, &c),
                     KW_ESYNTAX);
    ck_assert_uint_eq(faults.n, 3);
    for (int i = 0; i < 3; i++)
        ck_assert_int_eq(faults.items[i].line, i + 1);
    fault_release(&faults);
}
END_TEST

START_TEST(secret_from_file)
{
    struct fault_list faults = {0};
    struct config *c = NULL;
    char path[200];

    snprintf(path, sizeof(path), "%s/key", folder);
    file_write_whole(path, "0123456789abcdef\n", 17);
    ck_assert_int_eq(
        config_load(write_conf("privacy = { pseudonym_key_file = \"key\"; };"),
                    &faults, &c),
        0);
    ck_assert_str_eq(c->pseudonym_key, "0123456789abcdef");
    config_free(c);
}
END_TEST

START_TEST(no_file)
{
    struct fault_list faults = {0};
    struct config *c = NULL;

    ck_assert_int_eq(config_load("/nonexistent/a.conf", &faults, &c), KW_EIO);
    ck_assert_uint_eq(faults.n, 1);
    fault_release(&faults);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("config");
    TCase *t = tcase_create("config");
    SRunner *sr;
    int failed;

    if (mkdtemp(folder) == NULL)
        return 1;
    tcase_add_test(t, example_loads);
    tcase_add_test(t, example_tells_the_defaults);
    tcase_add_test(t, example_carriers_open);
    tcase_add_test(t, profile_of_a_mould);
    tcase_add_test(t, what_is_right_is_kept);
    tcase_add_loop_test(t, one_mistake, 0, (int)KW_COUNT(wrong));
    tcase_add_test(t, all_mistakes_at_once);
    tcase_add_test(t, secret_from_file);
    tcase_add_test(t, no_file);
    suite_add_tcase(s, t);
    sr = srunner_create(s);
    srunner_run_all(sr, CK_ENV);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed ? 1 : 0;
}
