/* check_page_show.c - the pages of pot, batch, place, home, alert, line. */
#include "base/file.h"
#include "desk/desk.h"
#include "page/alert.h"
#include "page/home.h"
#include "page/line.h"
#include "page/place.h"
#include "page/pot.h"
#include "tests/ledger_fixture.h"
#include "tests/page_valley.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct serial_layout layout = {SERIAL_MOD_97_10, 4, 3};
static struct ledger *lg;
static struct config *conf;
static struct kw_buf out;
static struct page page;

static void open_valley(void)
{
    struct fault_list faults = {0};

    ck_assert_int_eq(clock_set_zone("UTC"), 0);
    ck_assert_int_eq(config_load(NULL, &faults, &conf), 0);
    lg = valley_open();
    kw_buf_init(&out, 1 << 20);
    page = (struct page){.screen = {.out = &out, .width = SCREEN_WIDTH},
                         .conf = conf,
                         .layout = &layout,
                         .now_s = VALLEY_NOW_S};
}

static void close_valley(void)
{
    ledger_close(lg);
    config_free(conf);
    kw_buf_release(&out);
    fixture_remove();
}

/* ---- each page by name, as text into out and as JSON ---- */

static json_t *pot(void)
{
    struct pot_page t;
    json_t *j;

    ck_assert_int_eq(pot_page_gather(&page, lg, valley_key("0220", 5), &t), 0);
    pot_page_text(&page, &t);
    j = pot_page_json(&page, &t);
    pot_page_release(&t);
    return j;
}

static json_t *failed_pot(void)
{
    struct pot_page t;
    json_t *j;

    ck_assert_int_eq(pot_page_gather(&page, lg, valley_key("0214", 2), &t), 0);
    pot_page_text(&page, &t);
    j = pot_page_json(&page, &t);
    pot_page_release(&t);
    return j;
}

static json_t *batch(void)
{
    struct ledger_batch found;
    struct batch_page b;
    json_t *j;

    ck_assert_int_eq(ledger_batch_find(lg, "0214", &found), 0);
    ck_assert_int_eq(batch_page_gather(&page, lg, found.id, true, &b), 0);
    batch_page_text(&page, &b);
    j = batch_page_json(&page, &b, true);
    batch_page_release(&b);
    return j;
}

static json_t *place_named(const char *name)
{
    struct ledger_place found;
    struct place_page l;
    json_t *j;

    ck_assert_int_eq(ledger_place_find(lg, name, &found), 0);
    ck_assert_int_eq(place_page_gather(&page, lg, found.id, &l), 0);
    place_page_text(&page, &l);
    j = place_page_json(&page, &l);
    place_page_release(&l);
    return j;
}

static json_t *place(void)
{
    return place_named(VALLEY_LONG);
}

static json_t *hindi_place(void)
{
    return place_named(VALLEY_HINDI);
}

static json_t *home(void)
{
    struct ledger_home found;
    struct home_page h;
    json_t *j;

    ck_assert_int_eq(ledger_home_find(lg, "SV-045", &found), 0);
    ck_assert_int_eq(home_page_gather(&page, lg, found.id, &h), 0);
    home_page_text(&page, &h);
    j = home_page_json(&page, &h);
    home_page_release(&h);
    return j;
}

static json_t *alert_numbered(int64_t id)
{
    struct alert_page a;
    json_t *j;

    ck_assert_int_eq(alert_page_gather(&page, lg, id, &a), 0);
    alert_page_text(&page, &a);
    j = alert_page_json(&page, &a);
    alert_page_release(&a);
    return j;
}

static json_t *breakage_alert(void)
{
    return alert_numbered(1);
}

static json_t *flow_alert(void)
{
    return alert_numbered(2);
}

static json_t *danger_alert(void)
{
    return alert_numbered(3);
}

/* Four that are configured, and one that texts wait for and is not. */
static void put_carriers(void)
{
    static const struct carriers_row rows[] = {
        {.name = "modem-a",
         .state = CARRIERS_UP,
         .words = "home network",
         .since_s = VALLEY_NOW_S - 7200,
         .at_s = VALLEY_NOW_S - 30,
         .signal = 17,
         .used = 2,
         .total = 20,
         .credit = "Your credit is 2.10 Sel until 1/4",
         .credit_s = VALLEY_NOW_S - 3600,
         .credit_low = true},
        {.name = "modem-b",
         .state = CARRIERS_DOWN,
         .words = "the card asks for its PIN; set 'pin_file'",
         .since_s = VALLEY_NOW_S - 600,
         .at_s = VALLEY_NOW_S - 30,
         .signal = -1},
        {.name = "gate",
         .state = CARRIERS_UP,
         .words = "what was true yesterday",
         .since_s = VALLEY_NOW_S - 90000,
         .at_s = VALLEY_NOW_S - 86400,
         .signal = -1},
        {.name = "folder",
         .state = CARRIERS_STOPPED,
         .since_s = VALLEY_NOW_S - 300,
         .at_s = VALLEY_NOW_S - 300,
         .signal = -1},
    };
    static const enum config_carrier_kind kinds[] = {CONFIG_MODEM, CONFIG_MODEM,
                                                     CONFIG_HTTP, CONFIG_SPOOL};

    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        ck_assert_int_eq(carriers_put(lg, &rows[i]), 0);
        if (conf->n_carriers > i)
            continue;
        conf->carriers[i].name = kw_strdup(rows[i].name);
        conf->carriers[i].kind = kinds[i];
        conf->n_carriers++;
    }
}

static json_t *line(void)
{
    struct line_page l;
    json_t *j;

    put_carriers();
    ck_assert_int_eq(line_page_gather(&page, lg, &l), 0);
    line_page_text(&page, &l);
    j = line_page_json(&page, &l);
    line_page_release(&l);
    return j;
}

static const struct {
    const char *name;
    json_t *(*make)(void);
} pages[] = {
    {"pot", pot},
    {"failed_pot", failed_pot},
    {"batch", batch},
    {"place", place},
    {"hindi_place", hindi_place},
    {"home", home},
    {"breakage_alert", breakage_alert},
    {"flow_alert", flow_alert},
    {"danger_alert", danger_alert},
    {"line", line},
};

/* The words agreed on stand in tests/page; KW_PAGE_WRITE=1 writes them anew. */
START_TEST(page_reads_as_agreed)
{
    char path[1024];
    char *agreed = NULL;
    size_t len;

    snprintf(path, sizeof(path), "%s/tests/page/%s.txt", getenv("KW_SOURCE"),
             pages[_i].name);
    json_decref(pages[_i].make());
    if (getenv("KW_PAGE_WRITE") != NULL)
        ck_assert_int_eq(file_write_whole(path, kw_buf_text(&out), out.len), 0);
    ck_assert_msg(file_read(path, 1 << 20, &agreed, &len) == 0, "%s", path);
    ck_assert_str_eq(kw_buf_text(&out), agreed);
    kw_free(agreed);
}
END_TEST

static void check_lines(const char *text, int width, bool plain)
{
    while (*text != '\0') {
        size_t len = strcspn(text, "\n");

        ck_assert_msg(screen_columns(text, len) <= width, "%d: %.*s", width,
                      (int)len, text);
        ck_assert_msg(len == 0 || text[len - 1] != ' ', "%.*s|", (int)len,
                      text);
        for (size_t i = 0; i < len; i++)
            ck_assert_msg((unsigned char)text[i] >= ' ' &&
                              (!plain || (unsigned char)text[i] < 0x7f),
                          "octet %02x in %.*s", (unsigned char)text[i],
                          (int)len, text);
        text += len + 1;
    }
}

/* Every page on every width from the least; control octets never come out. */
START_TEST(page_fits_its_screen)
{
    for (int width = 80; width >= SCREEN_LEAST; width -= 5) {
        for (int plain = 0; plain < 2; plain++) {
            page.screen.width = width;
            page.screen.plain = plain != 0;
            kw_buf_clear(&out);
            json_decref(pages[_i].make());
            ck_assert_uint_gt(out.len, 100);
            check_lines(kw_buf_text(&out), width, plain != 0);
        }
    }
}
END_TEST

/* No whole number of a phone, unless asked for; JSON neither. */
START_TEST(page_shortens_phones)
{
    json_t *j = pages[_i].make();
    char *text = json_dumps(j, 0);

    ck_assert_ptr_null(strstr(kw_buf_text(&out), "+9997001"));
    ck_assert_ptr_null(strstr(text, "+9997001"));
    free(text);
    json_decref(j);
}
END_TEST

START_TEST(page_shows_phones_when_asked)
{
    json_t *j;
    char *text;

    page.phones = true;
    j = batch();
    text = json_dumps(j, 0);
    ck_assert_ptr_nonnull(strstr(kw_buf_text(&out), "+99970010028"));
    ck_assert_ptr_nonnull(strstr(text, "+99970010028"));
    free(text);
    json_decref(j);
}
END_TEST

/* JSON is read back by its own reader and says nothing twice. */
START_TEST(page_json_parses)
{
    json_t *j = pages[_i].make(), *again;
    char *text = json_dumps(j, JSON_INDENT(2));
    json_error_t error;

    ck_assert_ptr_nonnull(text);
    again = json_loads(text, JSON_REJECT_DUPLICATES, &error);
    ck_assert_msg(again != NULL, "%s", error.text);
    ck_assert_int_eq(json_equal(j, again), 1);
    json_decref(again);
    json_decref(j);
    free(text);
}
END_TEST

/* How often words stand in the page. */
static int times(const char *words)
{
    int n = 0;

    for (const char *at = kw_buf_text(&out); (at = strstr(at, words)) != NULL;
         at += strlen(words))
        n++;
    return n;
}

static double number_at(json_t *j, const char *object, const char *key)
{
    return json_number_value(
        json_object_get(object != NULL ? json_object_get(j, object) : j, key));
}

START_TEST(batch_json_agrees_with_text)
{
    json_t *j = batch(), *failed = json_object_get(j, "failed_pots");
    char words[128];
    size_t i;
    json_t *h;

    ck_assert_uint_eq(json_array_size(failed), 7);
    ck_assert_uint_eq(json_array_size(json_object_get(j, "holders")), 19);
    json_array_foreach(failed, i, h) ck_assert_int_eq(
        times(json_string_value(json_object_get(h, "pot"))), 2);
    snprintf(words, sizeof(words), "the other batches say %.2f",
             number_at(j, "breakage", "expected"));
    ck_assert_int_eq(times(words), 1);
    snprintf(words, sizeof(words), "chance: %.2g ",
             number_at(j, "breakage", "p_poisson"));
    ck_assert_int_eq(times(words), 1);
    snprintf(words, sizeof(words), "chance: %.2g ",
             number_at(j, "breakage", "p_hypergeometric"));
    ck_assert_int_eq(times(words), 1);
    snprintf(words, sizeof(words), "(90 %% interval %.2f to %.2f)",
             number_at(j, "breakage", "ratio_low"),
             number_at(j, "breakage", "ratio_high"));
    ck_assert_int_eq(times(words), 1);
    json_decref(j);
}
END_TEST

/*
 * The number of the page against the same hypergeometric tail worked by
 * hand: 57 pots out, 8 failed, 19 of them of the batch, 7 or more of those.
 * C(19,7) C(38,1) / C(57,8) + C(19,8) / C(57,8)
 *   = (50388 * 38 + 75582) / 1652411475
 */
START_TEST(batch_probability_by_hand)
{
    json_t *j = batch();
    double by_hand = (50388.0 * 38 + 75582) / 1652411475.0;

    ck_assert_double_eq_tol(number_at(j, "breakage", "p_hypergeometric"),
                            by_hand, 1e-12);
    ck_assert_double_eq(number_at(j, "breakage", "observed"), 7);
    ck_assert_double_eq(number_at(j, "breakage", "others_failed"), 1);
    ck_assert_double_eq(number_at(j, "breakage", "others_out"), 38);
    ck_assert_int_eq(times("leans on a published rate"), 1);
    json_decref(j);
}
END_TEST

/* Pot-days in homes, against one sum in SQL over the hand-overs. */
START_TEST(batch_exposure_by_sum)
{
    json_t *j = batch();
    char sql[400];

    snprintf(sql, sizeof(sql),
             "SELECT sum(min(coalesce(h.ended_s, %lld), coalesce(p.failed_s,"
             " %lld)) - h.given_s) / 86400 FROM handovers h JOIN pots p ON"
             " p.key = h.pot_key JOIN batches b ON b.id = p.batch_id"
             " WHERE b.code = '0214'",
             (long long)VALLEY_NOW_S, (long long)VALLEY_NOW_S);
    ck_assert_double_eq_tol(number_at(j, "breakage", "exposure_days"),
                            (double)fixture_number(lg, sql), 1e-6);
    json_decref(j);
}
END_TEST

/* What differs: peak below all others, a clay pit of its own, the rest not. */
START_TEST(batch_flags_what_differs)
{
    json_t *j = batch(), *made = json_object_get(j, "made"), *value;
    const char *key;
    int outside = 0;

    json_object_foreach(made, key, value)
    {
        const char *flag = json_string_value(json_object_get(value, "flag"));

        if (strcmp(key, "peak_degc") == 0)
            ck_assert_str_eq(flag, "lower");
        else if (strcmp(key, "clay_pit") == 0)
            ck_assert_str_eq(flag, "alone");
        else
            outside +=
                strcmp(flag, "usual") != 0 && strcmp(flag, "unknown") != 0;
    }
    ck_assert_int_eq(outside, 0);
    ck_assert_int_eq(times("OUTSIDE: below all"), 1);
    json_decref(j);
}
END_TEST

/* The way back: from a failed pot to why its batch is suspected, at once. */
START_TEST(failed_pot_leads_to_its_batch)
{
    json_t *j = failed_pot(), *b = json_object_get(j, "batch");

    ck_assert_str_eq(json_string_value(json_object_get(j, "state")), "failed");
    ck_assert_str_eq(json_string_value(json_object_get(b, "batch")), "0214");
    ck_assert_double_eq(number_at(b, "breakage", "observed"), 7);
    ck_assert_int_eq(times("not safe to drink"), 1);
    ck_assert_int_eq(times("7 of 19 pots handed out have failed"), 1);
    ck_assert_int_eq(times("162 days after it was handed over"), 1);
    ck_assert_int_eq(times("kilnword show batch 0214"), 1);
    json_decref(j);
}
END_TEST

START_TEST(pot_flow_agrees)
{
    json_t *j = pot(), *reports = json_object_get(j, "reports"), *r;
    size_t i, flows = 0;
    char words[64];

    json_array_foreach(reports, i, r)
    {
        json_t *litres = json_object_get(r, "first_hour_l");

        if (!json_is_number(litres))
            continue;
        flows++;
        snprintf(words, sizeof(words), "filed; %.2f L",
                 json_number_value(litres));
        ck_assert_int_eq(times(words), 1);
    }
    ck_assert_uint_eq(flows, 4);
    ck_assert_uint_eq(json_array_size(reports), 5);
    ck_assert_int_eq(times("asked back"), 1);
    json_decref(j);
}
END_TEST

/* exp(+-0.2) around 1.80 L, from a table of e: 1.4737 and 2.1985. */
START_TEST(pot_range_is_68_percent)
{
    json_decref(pot());
    ck_assert_int_eq(times("1.47 to 2.20"), 1);
}
END_TEST

START_TEST(line_counts)
{
    json_t *j = line();

    ck_assert_double_eq(number_at(j, "in_today", "filed"), 1);
    ck_assert_double_eq(number_at(j, "in_week", "asked"), 1);
    ck_assert_double_eq(number_at(j, "out_week", "failed"), 1);
    ck_assert_double_eq(number_at(j, "out_week", "perhaps"), 1);
    ck_assert_double_eq(number_at(j, NULL, "waiting"), 1);
    ck_assert_double_eq(number_at(j, NULL, "pots"), 60);
    ck_assert_double_eq(number_at(j, NULL, "pots_out"), 57);
    ck_assert_uint_eq(json_array_size(json_object_get(j, "alerts")), 3);
    json_decref(j);
}
END_TEST

START_TEST(place_counts)
{
    json_t *j = place_named("Alto Sele");

    ck_assert_double_eq(number_at(j, NULL, "homes"), 19);
    ck_assert_double_eq(number_at(j, NULL, "pots_now"), 19);
    ck_assert_double_eq(number_at(j, NULL, "failed"), 3);
    ck_assert_double_eq(number_at(j, NULL, "ill_30d"), 2);
    ck_assert_double_eq(number_at(j, NULL, "under5_30d"), 1);
    ck_assert_int_eq(times("no diagnosis"), 1);
    json_decref(j);
}
END_TEST

/* The scan that alerts and the page that explains say the same numbers. */
START_TEST(alert_and_page_agree)
{
    struct fault_list faults = {0};
    struct desk_findings *found;
    struct ledger_alert a;
    struct desk *desk;
    char folder[1024];
    int raised;
    json_t *j;

    snprintf(folder, sizeof(folder), "%s/grammar", getenv("KW_SOURCE"));
    kw_free(conf->grammar_folder);
    conf->grammar_folder = kw_strdup(folder);
    ck_assert_int_eq(desk_open(conf, &faults, &desk), 0);
    ck_assert_int_eq(desk_scan_look(conf, lg, VALLEY_NOW_S, &found), 0);
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_scan_act(desk, lg, VALLEY_NOW_S, found, &raised), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    desk_findings_free(found);
    desk_close(desk);
    ck_assert_int_eq(ledger_alert_get(lg, 1, &a), 0);
    j = batch();
    /* the watch finds it failing, so that the alert has the watch's numbers */
    ck_assert_str_eq(json_string_value(
                         json_object_get(json_object_get(j, "watch"), "state")),
                     "failing");
    ck_assert_double_eq(number_at(j, "watch", "counted"), a.observed);
    ck_assert_double_eq_tol(number_at(j, "watch", "expected"), a.expected,
                            1e-12);
    /* what the fixture wrote there by hand is gone */
    ck_assert_double_ne(a.expected, 1.1);
    json_decref(j);
}
END_TEST

START_TEST(nothing_there)
{
    struct pot_page t;
    struct alert_page a;

    ck_assert_int_eq(pot_page_gather(&page, lg, valley_key("0299", 1), &t),
                     KW_ENOENT);
    pot_page_release(&t);
    ck_assert_int_eq(alert_page_gather(&page, lg, 99, &a), KW_ENOENT);
    alert_page_release(&a);
}
END_TEST

/* Numbers inside of words are shortened; serials and measures are not. */
static const struct {
    const char *words, *shown;
} told[] = {
    {"gave 0214-073-19 +99970012345 Quistel",
     "gave 0214-073-19 +999…2345 Quistel"},
    {"021407319 slow 4f 10h", "021407319 slow 4f 10h"},
    {"call 0099970012345 now", "call …45 now"},
    {"+123456", "+123456"},
    {"99999999999999999999999999999999999999", "…"},
    {"", ""},
};
START_TEST(words_hide_phones)
{
    struct kw_buf shown;

    kw_buf_init(&shown, 4096);
    page_put_words(&page, told[_i].words, &shown);
    ck_assert_str_eq(kw_buf_text(&shown), told[_i].shown);
    kw_buf_clear(&shown);
    page.phones = true;
    page_put_words(&page, told[_i].words, &shown);
    ck_assert_str_eq(kw_buf_text(&shown), told[_i].words);
    kw_buf_release(&shown);
}
END_TEST

/* Two figures, and the same as one in so many. */
static const struct {
    double p;
    const char *words;
} chances[] = {
    {0.5, "0.50"},
    {0.00015, "0.00015 (1 in 6,700)"},
    {0.001, "0.001 (1 in 1,000)"},
    {1e-13, "under 1e-12"},
    {0.04, "0.04 (1 in 25)"},
    {NAN, "-"},
};
START_TEST(probability_in_words)
{
    ck_assert_str_eq(page_probability(chances[_i].p).s, chances[_i].words);
}
END_TEST

int main(void)
{
    const int n = (int)KW_COUNT(pages);
    Suite *s = suite_create("page_show");
    TCase *t = tcase_create("page");

    tcase_add_checked_fixture(t, open_valley, close_valley);
    tcase_add_loop_test(t, page_reads_as_agreed, 0, n);
    tcase_add_loop_test(t, page_fits_its_screen, 0, n);
    tcase_add_loop_test(t, page_shortens_phones, 0, n);
    tcase_add_test(t, page_shows_phones_when_asked);
    tcase_add_loop_test(t, page_json_parses, 0, n);
    tcase_add_test(t, batch_json_agrees_with_text);
    tcase_add_test(t, batch_probability_by_hand);
    tcase_add_test(t, batch_exposure_by_sum);
    tcase_add_test(t, batch_flags_what_differs);
    tcase_add_test(t, failed_pot_leads_to_its_batch);
    tcase_add_test(t, pot_flow_agrees);
    tcase_add_test(t, pot_range_is_68_percent);
    tcase_add_test(t, line_counts);
    tcase_add_test(t, place_counts);
    tcase_add_test(t, alert_and_page_agree);
    tcase_add_test(t, nothing_there);
    tcase_add_loop_test(t, words_hide_phones, 0, (int)KW_COUNT(told));
    tcase_add_loop_test(t, probability_in_words, 0, (int)KW_COUNT(chances));
    suite_add_tcase(s, t);
    return fixture_run(s);
}
