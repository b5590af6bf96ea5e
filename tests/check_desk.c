/*
 * check_desk.c - texts into a real ledger in a folder of its own: what is
 * filed, asked, answered, alerted, and what never is. The homes, pots and
 * numbers are made up; +999 is a country code that nobody has.
 */
#include "tests/ledger_fixture.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/config.h"
#include "base/file.h"
#include "base/septet.h"
#include "desk/desk.h"
#include "desk/digest.h"
#include "ledger/notebook.h"

#define ANA    "+99970012345" /* one pot */
#define BINTA  "+99970012346" /* two pots */
#define CHIEF  "+99970000001" /* coordinator */
#define FIELD  "+99970000002" /* field worker */
#define NOBODY "+99970099999"
#define START  1772524800 /* 2026-03-03 08:00 UTC */

#define SET(dst, src) kw_copy(dst, sizeof(dst), src, strlen(src))

static struct config *conf;
static struct desk *desk;
static struct ledger *lg;
static struct desk_answer got;
static int64_t now_s;
static char serials[8][SERIAL_CAP]; /* 0 Ana's, 1 and 2 Binta's, 3 stock,
                                       4 scrapped, 5 not in the notebook */

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

static int64_t put_pot(int i, const char *batch, int64_t batch_id, int number)
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

static int64_t put_home(const char *code, const char *phone, int64_t place)
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

static void give(int64_t pot, int64_t home, int64_t at_s)
{
    int64_t id;

    ck_assert_int_eq(ledger_handover_put(lg, pot, home, at_s, &id), 0);
}

static void notebook(void)
{
    struct ledger_place place = {.name = "Lunde"};
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

static void open_all(void)
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

static void close_all(void)
{
    fixture_check(lg);
    ledger_close(lg);
    desk_close(desk);
    config_free(conf);
    fixture_remove();
}

/* ---- texting ---- */

static void send(const struct desk_text *in)
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

static const char *text(const char *from, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));

static const char *text(const char *from, const char *fmt, ...)
{
    char body[400];
    va_list ap;

    va_start(ap, fmt);
    vsnprintf(body, sizeof(body), fmt, ap);
    va_end(ap);
    now_s += 60;
    send(&(struct desk_text){.carrier = "test",
                             .from = from,
                             .text = body,
                             .len = strlen(body),
                             .at_s = now_s});
    return got.body;
}

static int64_t rows(const char *table)
{
    char sql[100];

    snprintf(sql, sizeof(sql), "SELECT count(*) FROM %s", table);
    return fixture_number(lg, sql);
}

static int64_t told(const char *like)
{
    char sql[300];

    snprintf(sql, sizeof(sql),
             "SELECT count(*) FROM outbox o JOIN phones p ON p.id = "
             "o.phone_id WHERE p.number = '" CHIEF "' AND o.kind = 1 "
             "AND o.body LIKE '%s'",
             like);
    return fixture_number(lg, sql);
}

#define SAYS(reply, part)                                                      \
    do {                                                                       \
        const char *reply_ = (reply);                                          \
        ck_assert_msg(strstr(reply_, part) != NULL, "no '%s' in: %s", part,    \
                      reply_);                                                 \
    } while (0)

/* ---- filed ---- */

START_TEST(crack_is_filed)
{
    SAYS(text(ANA, "%s crack", serials[0]), "do NOT drink from it");
    ck_assert_int_eq(got.outcome, READER_FILED);
    ck_assert(got.scan);
    ck_assert_int_ne(got.outbox_id, 0);
    ck_assert_int_eq(rows("reports"), 1);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM pots WHERE failed_s > 0"), 1);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM texts_in t JOIN outbox o ON "
                           "o.id = t.answer_id WHERE t.outcome = 'filed'"),
        1);
}
END_TEST

START_TEST(own_pot_is_meant)
{
    SAYS(text(ANA, "leak"), "Pot ");
    ck_assert_int_eq(got.outcome, READER_FILED);
    ck_assert_int_eq(rows("reports"), 1);
    SAYS(text(BINTA, "leak"), "which of your pots");
    ck_assert_int_eq(rows("reports"), 1);
    SAYS(text(NOBODY, "leak"), "which pot?");
    ck_assert_int_eq(rows("reports"), 1);
}
END_TEST

START_TEST(repeat_changes_nothing)
{
    static const char *const tables[] = {
        "phones", "texts_in", "arrivals", "reports", "observations", "flows",
        "alerts", "gathered", "outbox",   "marks",   "asking"};
    int64_t before[KW_COUNT(tables)];
    struct desk_text in = {.carrier = "test",
                           .ref = "id-1",
                           .from = ANA,
                           .text = "ill 2 blood slow 4f 10h crack",
                           .len = 29,
                           .at_s = START + 5};
    char first[LEDGER_BODY_CAP];
    int64_t id, out;

    send(&in);
    ck_assert(!got.repeat);
    SET(first, got.body);
    id = got.text_id, out = got.outbox_id;
    for (size_t i = 0; i < KW_COUNT(tables); i++)
        before[i] = rows(tables[i]);
    in.at_s += 3600;
    send(&in);
    ck_assert(got.repeat);
    ck_assert_str_eq(got.body, first);
    ck_assert_int_eq(got.text_id, id);
    ck_assert_int_eq(got.outbox_id, out);
    for (size_t i = 0; i < KW_COUNT(tables); i++)
        ck_assert_msg(rows(tables[i]) == before[i], "%s", tables[i]);
}
END_TEST

/* ---- never filed ---- */

static uint64_t seed = 88172645463325252u;

static uint64_t next_random(void)
{
    seed ^= seed << 13;
    seed ^= seed >> 7;
    seed ^= seed << 17;
    return seed;
}

START_TEST(wrong_serial_is_never_filed)
{
    ck_assert_int_eq(ledger_begin(lg), 0);
    for (int i = 0; i < 1000; i++) {
        const char *right = serials[next_random() % 6];
        char body[64], from[LEDGER_PHONE_CAP];
        size_t at = next_random() % 9;
        struct desk_text in = {.carrier = "test",
                               .from = from,
                               .text = body,
                               .at_s = START + 60 * i};

        snprintf(from, sizeof(from), "%s", next_random() % 2 ? ANA : NOBODY);
        snprintf(body, sizeof(body), "%s leak", right);
        body[at] =
            (char)('0' + (body[at] - '0' + 1 + (int)(next_random() % 9)) % 10);
        in.len = strlen(body);
        ck_assert_int_eq(desk_take(desk, lg, &in, &got), 0);
        ck_assert_int_eq(got.outcome, READER_ASKED);
        ck_assert_msg(strstr(got.body, "Not filed yet") != NULL, "%s",
                      got.body);
    }
    ck_assert_int_eq(ledger_commit(lg), 0);
    ck_assert_int_eq(rows("reports"), 0);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM pots WHERE failed_s > 0"), 0);
}
END_TEST

START_TEST(pots_that_are_not_the_senders)
{
    SAYS(text(ANA, "%s crack", serials[5]), "we do not know pot");
    SAYS(text(ANA, "%s crack", serials[4]), "Until then do not drink");
    SAYS(text(ANA, "%s crack", serials[3]), "Not filed yet");
    SAYS(text(ANA, "%s crack", serials[1]), "noted for another home");
    SAYS(text(NOBODY, "%s crack", serials[1]), "noted for another home");
    ck_assert_int_eq(got.outcome, READER_ASKED);
    ck_assert_int_eq(rows("reports"), 0);
    SAYS(text(FIELD, "%s crack", serials[1]), "do NOT drink");
    ck_assert_int_eq(rows("reports"), 1);
}
END_TEST

START_TEST(impossible_measure_is_asked)
{
    SAYS(text(ANA, "%s slow 60f 10h", serials[0]), "cannot be");
    ck_assert_int_eq(got.outcome, READER_ASKED);
    ck_assert_int_eq(rows("reports"), 0);
    ck_assert_int_eq(rows("flows"), 0);
}
END_TEST

/* What is filed afterwards belongs to the home and pot of that day. */
START_TEST(texts_of_the_past)
{
    struct desk_text in = {.carrier = "test",
                           .from = ANA,
                           .text = "leak",
                           .len = 4,
                           .at_s = START - 30 * CLOCK_DAY_S,
                           .quiet = true};
    int64_t old, fresh, home, id;

    ck_assert_int_eq(serial_key(serials[0], &old), 0);
    ck_assert_int_eq(serial_key(serials[3], &fresh), 0);
    ck_assert_int_eq(ledger_begin(lg), 0);
    home = fixture_number(lg, "SELECT id FROM homes WHERE code = 'H1'");
    ck_assert_int_eq(
        ledger_handover_end(lg, old, START - 10 * CLOCK_DAY_S, "swapped"), 0);
    ck_assert_int_eq(
        ledger_handover_put(lg, fresh, home, START - 10 * CLOCK_DAY_S, &id), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    send(&in);
    ck_assert_int_eq(got.outcome, READER_FILED);
    ck_assert_int_eq(fixture_number(lg, "SELECT pot_key FROM reports"), old);
    ck_assert_int_eq(fixture_number(lg, "SELECT home_id FROM reports"), home);
    ck_assert_int_eq(fixture_number(lg, "SELECT key FROM pots WHERE "
                                        "failed_s IS NOT NULL"),
                     old);
    in.at_s = START - 400 * CLOCK_DAY_S; /* before it was handed out */
    send(&in);
    ck_assert_int_eq(got.outcome, READER_ASKED);
    SAYS(text(ANA, "%s leak", serials[0]), "noted in no home");
    SAYS(text(ANA, "leak"), "do NOT drink");
    ck_assert_int_eq(rows("reports"), 2);
}
END_TEST

/* ---- dialogue ---- */

START_TEST(yes_files_what_was_asked)
{
    text(ANA, "%s crack", serials[1]);
    ck_assert_int_eq(rows("reports"), 0);
    SAYS(text(ANA, "yes"), "do NOT drink");
    ck_assert_int_eq(got.outcome, READER_FILED);
    ck_assert_int_eq(rows("reports"), 1);
    ck_assert_int_eq(rows("asking"), 0);
    text(NOBODY, "%s crack", serials[2]);
    SAYS(text(NOBODY, "no"), "nothing is filed");
    ck_assert_int_eq(rows("reports"), 1);
}
END_TEST

START_TEST(question_is_forgotten_after_three_days)
{
    text(ANA, "%s crack", serials[1]);
    now_s += 73 * 3600;
    text(ANA, "yes");
    ck_assert_int_eq(rows("reports"), 0);
}
END_TEST

START_TEST(next_text_completes)
{
    SAYS(text(ANA, "%s slow 6f", serials[0]), "in how many hours");
    ck_assert_int_eq(rows("reports"), 0);
    text(ANA, "10h");
    ck_assert_int_eq(got.outcome, READER_FILED);
    ck_assert_int_eq(rows("flows"), 1);
    /* a serial read again */
    text(NOBODY, "%s leak", "021407318");
    ck_assert_int_eq(got.outcome, READER_ASKED);
    SAYS(text(NOBODY, "%s", serials[0]), "another home");
    text(BINTA, "021407418 leak");
    SAYS(text(BINTA, "%s", serials[1]), "do NOT drink");
    ck_assert_int_eq(rows("reports"), 2);
    /* talk in between leaves the question standing */
    SAYS(text(BINTA, "leak"), "which of your pots");
    text(BINTA, "hello there my friend");
    SAYS(text(BINTA, "%s", serials[2]), "do NOT drink");
    ck_assert_int_eq(rows("reports"), 3);
}
END_TEST

/* ---- danger ---- */

START_TEST(danger_always_alerts)
{
    static const char *const texts[] = {
        "ill 2 blood", "021407318 ill blood", "ill blood crack good",
        "111111111 ill blood", "ill blood slow 4f"};

    for (size_t i = 0; i < KW_COUNT(texts); i++) {
        char from[LEDGER_PHONE_CAP];
        int64_t before = rows("alerts");

        snprintf(from, sizeof(from), "+9997005%04zu", i);
        SAYS(text(from, "%s", texts[i]), "DANGER SIGN");
        ck_assert_int_eq(rows("alerts"), before + 1);
        ck_assert_int_eq(
            fixture_number(lg, "SELECT priority FROM outbox ORDER BY id DESC "
                               "LIMIT 1"),
            LEDGER_PRIORITY_DANGER);
    }
    ck_assert_int_eq(told("%blood%"), (int64_t)KW_COUNT(texts));
}
END_TEST

START_TEST(one_alert_stands_and_gathers)
{
    text(ANA, "ill 1 blood");
    text(ANA, "ill 2 blood");
    text(ANA, "ill 2 blood");
    ck_assert_int_eq(rows("alerts"), 1);
    ck_assert_int_eq(fixture_number(lg, "SELECT reports FROM alerts"), 3);
    ck_assert_int_eq(told("%"), 1);
    now_s += 7 * 3600; /* it stirs after hours of quiet */
    text(ANA, "ill 3 blood");
    ck_assert_int_eq(told("%"), 2);
    SAYS(text(CHIEF, "seen 1"), "Alert 1");
    SAYS(text(CHIEF, "seen 1"), "already");
    SAYS(text(CHIEF, "closed 1"), "closed");
    SAYS(text(CHIEF, "closed 9"), "no alert 9");
    text(ANA, "ill 1 blood");
    ck_assert_int_eq(rows("alerts"), 2);
    ck_assert_int_eq(told("%"), 3);
}
END_TEST

START_TEST(field_worker_reports_danger_of_a_home)
{
    text(FIELD, "%s ill 2 blood", serials[0]);
    ck_assert_int_eq(fixture_number(lg, "SELECT subject FROM alerts"),
                     LEDGER_ON_HOME);
    ck_assert_int_eq(told("%" ANA "%Lunde%"), 1);
}
END_TEST

/* ---- flow ---- */

static const char *flow(const char *measure)
{
    now_s += 8 * CLOCK_DAY_S;
    return text(ANA, "%s %s", serials[0], measure);
}

START_TEST(slow_scrub_replace)
{
    SAYS(flow("slow 1f 10h"), "Scrub it inside");
    ck_assert_int_eq(rows("alerts"), 0);
    SAYS(flow("washed"), "Thank you for washing");
    SAYS(flow("slow 1f 10h"), "due for replacement");
    ck_assert_int_eq(told("%slow after washing%"), 1);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM alerts WHERE kind = 3"), 1);
}
END_TEST

/*
 * Derived for the frustum 95/120/220/12/15 mm, by closed form and by
 * quadrature: 22 -> 18 cm in 2 h is K = 1.66739292e-7 m/s and 0.949158 L in
 * the first hour.
 */
START_TEST(flow_of_a_known_pot)
{
    SAYS(flow("slow 4cm 2h"), "gives 0.95 L in the first hour: slow");
    ck_assert_int_eq(rows("alerts"), 0);
    ck_assert_int_eq(fixture_number(lg, "SELECT verdict = 'scrub' FROM flows"),
                     1);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT round(1e6 * first_hour_l) FROM flows"),
        949158);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT round(1e14 * k_m_s) FROM flows"), 16673929);
}
END_TEST

START_TEST(too_fast_is_told)
{
    SAYS(flow("fast 19cm 2h"), "NOT drink");
    ck_assert_int_eq(told("%too fast%"), 1);
    SAYS(flow("fast"), "NOT drink");
    ck_assert_int_eq(rows("alerts"), 1);
    SAYS(text(BINTA, "%s fast", serials[1]), "NOT drink");
    ck_assert_int_eq(told("%said to run too fast%"), 1);
}
END_TEST

/* ---- language, stop, talk ---- */

START_TEST(language_of_the_answer)
{
    SAYS(text(ANA, "fuga"), "NO beba");
    SAYS(text(ANA, "%s leak", serials[0]), "do NOT drink");
    SAYS(text(ANA, "language es"), "Espa\xc3\xb1ol");
    SAYS(text(ANA, "%s leak", serials[0]), "NO beba");
    SAYS(text(ANA, "language"), "en es");
    SAYS(text(ANA, "help"), "Mande el numero");
}
END_TEST

START_TEST(stop_is_honoured)
{
    static const char *const words[] = {"stop", "parar"};

    for (size_t i = 0; i < KW_COUNT(words); i++) {
        char from[LEDGER_PHONE_CAP];

        snprintf(from, sizeof(from), "+9997006%04zu", i);
        ck_assert_int_gt((int)strlen(text(from, "%s", words[i])), 20);
        ck_assert_str_eq(text(from, "%s", words[i]), "");
        ck_assert_str_eq(text(from, "hello how are you"), "");
        SAYS(text(from, "%s leak", serials[0]), "another home");
        SAYS(text(from, "ill blood"), "NOW");
        SAYS(text(from, "start"), "ack");
    }
}
END_TEST

START_TEST(stopped_phone_is_not_reminded)
{
    int64_t next;

    flow("slow 2f 10h");
    text(ANA, "stop");
    now_s = clock_midnight(now_s + 9 * CLOCK_DAY_S) + 11 * 3600;
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_tick(desk, lg, now_s - CLOCK_DAY_S, &next), 0);
    ck_assert_int_eq(desk_tick(desk, lg, now_s, &next), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 3"), 0);
}
END_TEST

START_TEST(talk_is_answered_once_a_day)
{
    SAYS(text(ANA, "hello how are you"), "water filter pots");
    ck_assert_int_eq(got.outcome, READER_NOT_REPORT);
    ck_assert_str_eq(text(ANA, "are you there"), "");
    ck_assert_int_eq(got.outbox_id, 0);
    now_s += CLOCK_DAY_S;
    SAYS(text(ANA, "hello how are you"), "water filter pots");
    ck_assert_int_eq(rows("reports"), 0);
    ck_assert_int_eq(rows("texts_in"), 3);
}
END_TEST

START_TEST(flood_is_held_back)
{
    int64_t answered = 0, busy = 0;

    for (int i = 0; i < 400; i++) {
        now_s -= 60;
        text(ANA, "help");
        answered += got.body[0] != '\0';
        busy += strstr(got.body, "Many texts") != NULL;
    }
    ck_assert_int_eq(answered, 241);
    ck_assert_int_eq(busy, 1);
    ck_assert_int_eq(rows("texts_in"), 400);
    text(ANA, "leak");
    ck_assert_str_eq(got.body, "");
    ck_assert_int_eq(rows("reports"), 1);
    SAYS(text(ANA, "ill blood"), "NOW");
    now_s += 3600;
    SAYS(text(ANA, "help"), "Text the pot's number");
}
END_TEST

START_TEST(quiet_texts_nobody)
{
    struct desk_text in = {.carrier = "test",
                           .from = ANA,
                           .text = "ill 2 blood crack",
                           .len = 17,
                           .at_s = START,
                           .quiet = true};

    send(&in);
    ck_assert_int_eq(rows("outbox"), 0);
    ck_assert_int_eq(rows("alerts"), 1);
    ck_assert_int_eq(rows("reports"), 1);
    ck_assert_str_eq(got.body, "");
}
END_TEST

START_TEST(household_commands_nothing)
{
    text(ANA, "ill blood");
    SAYS(text(ANA, "closed 1"), "coordinators");
    SAYS(text(ANA, "recall 0214"), "coordinators");
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM alerts WHERE state = 0"), 1);
    /* one who has left the configuration is a household again */
    kw_free(conf->people[0].phone);
    conf->people[0].phone = kw_strdup("+99970000003");
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_people(desk, lg), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    SAYS(text(CHIEF, "closed 1"), "coordinators");
    SAYS(text("+99970000003", "closed 1"), "closed");
}
END_TEST

/* ---- coordinators ---- */

START_TEST(coordinator_asks)
{
    text(ANA, "ill blood");
    SAYS(text(CHIEF, "why 1"), "blood");
    SAYS(text(CHIEF, "why 0214"), "Batch 0214");
    SAYS(text(CHIEF, "why Lunde"), "3 pots in homes");
    SAYS(text(CHIEF, "why Garo"), "Nothing is known");
    SAYS(text(CHIEF, "why %s", serials[0]), "Lunde");
    SAYS(text(CHIEF, "digest"), "Open alerts 1");
}
END_TEST

START_TEST(recall_tells_every_home_after_yes)
{
    SAYS(text(CHIEF, "recall 0214"), "2 homes");
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 1"), 0);
    text(BINTA, "stop");
    SAYS(text(CHIEF, "yes"), "told 1 homes. 1 more");
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 1"), 1);
    text(CHIEF, "yes");
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 1"), 1);
    SAYS(text(CHIEF, "recall 9999"), "no batch");
}
END_TEST

START_TEST(field_worker_hands_over)
{
    SAYS(text(FIELD, "gave %s +99970077777 Lunde", serials[3]),
         "handed out in Lunde");
    ck_assert_int_eq(rows("homes"), 3);
    SAYS(text("+99970077777", "leak"), "do NOT drink");
    SAYS(text(FIELD, "list"), "1 to see");
    SAYS(text(FIELD, "swapped %s %s", serials[0], serials[3]), "stands where");
    SAYS(text(ANA, "%s good", serials[3]), "is well");
    SAYS(text(ANA, "%s good", serials[0]), "Not filed yet");
    SAYS(text(FIELD, "gave %s +99970077777 Garo", serials[0]), "is not known");
    SAYS(text(FIELD, "gave %s +99970077777 Lunde", serials[4]),
         "Not filed yet");
}
END_TEST

/* ---- scan ---- */

static int scan(void)
{
    struct desk_findings *f;
    int raised;

    ck_assert_int_eq(desk_scan_look(conf, lg, now_s, &f), 0);
    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_scan_act(desk, lg, now_s, f, &raised), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    desk_findings_free(f);
    return raised;
}

/* A second batch of 60 sound pots and 20 more of the first. */
static void many_pots(void)
{
    struct ledger_batch b = {.code = "0300", .peak_degc = NAN};
    struct ledger_batch a;
    enum ledger_change change;
    int64_t home;

    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(ledger_batch_put(lg, &b, &change), 0);
    ck_assert_int_eq(ledger_batch_find(lg, "0214", &a), 0);
    home = put_home("H9", NULL, 1);
    for (int i = 0; i < 60; i++)
        give(put_pot(-1, "0300", b.id, 100 + i), home,
             START - 300 * CLOCK_DAY_S);
    for (int i = 0; i < 20; i++)
        give(put_pot(-1, "0214", a.id, 100 + i), home,
             START - 200 * CLOCK_DAY_S);
    ck_assert_int_eq(ledger_commit(lg), 0);
}

START_TEST(breakage_of_a_batch_alerts_once)
{
    char serial[SERIAL_CAP], pot[8];

    many_pots();
    ck_assert_int_eq(scan(), 0);
    for (int i = 0; i < 8; i++) {
        snprintf(pot, sizeof(pot), "%d", 100 + i);
        serial_make(desk_layout(desk), "0214", pot, serial);
        text(FIELD, "%s crack", serial);
        ck_assert(got.scan);
    }
    ck_assert_int_eq(scan(), 1);
    ck_assert_int_eq(scan(), 0);
    ck_assert_int_eq(told("%batch 0214: 8 of 23 broke, expected%"), 1);
    serial_make(desk_layout(desk), "0214", "109", serial);
    text(FIELD, "%s crack", serial);
    ck_assert_int_eq(scan(), 0); /* one alert stands, its numbers follow */
    ck_assert_int_eq(
        fixture_number(lg, "SELECT observed FROM alerts WHERE kind = 2"), 9);
    ck_assert_int_eq(told("%batch%"), 1);
}
END_TEST

START_TEST(few_breakages_do_not_alert)
{
    many_pots();
    text(FIELD, "%s crack", serials[0]);
    text(FIELD, "%s crack", serials[1]);
    ck_assert_int_eq(scan(), 0);
}
END_TEST

/* ---- tick ---- */

static int64_t tick(int64_t at_s)
{
    int64_t next;

    ck_assert_int_eq(ledger_begin(lg), 0);
    ck_assert_int_eq(desk_tick(desk, lg, at_s, &next), 0);
    ck_assert_int_eq(ledger_commit(lg), 0);
    ck_assert_int_gt(next, at_s);
    return next;
}

static int64_t digests(void)
{
    return fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 2");
}

START_TEST(digest_once_a_day)
{
    int64_t day = clock_midnight(START);

    conf->digest_minute = 420;
    ck_assert_int_le(tick(day + 6 * 3600), day + 7 * 3600);
    ck_assert_int_eq(digests(), 0);
    text(ANA, "ill 2 blood");
    tick(day + 7 * 3600);
    ck_assert_int_eq(digests(), 1);
    for (int h = 8; h < 31; h++)
        tick(day + h * 3600);
    ck_assert_int_eq(digests(), 1);
    tick(day + 31 * 3600);
    ck_assert_int_eq(digests(), 2);
    tick(day + 5 * CLOCK_DAY_S + 20 * 3600); /* after days of standing */
    tick(day + 5 * CLOCK_DAY_S + 21 * 3600);
    ck_assert_int_eq(digests(), 3);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 2 AND "
                           "body LIKE '%Open alerts 1%'"),
        3);
}
END_TEST

/* The zone's day and its summer time count, not UTC's. */
START_TEST(digest_keeps_the_local_hour)
{
    int64_t at = 0, last = 0, next;

    ck_assert_int_eq(clock_set_zone("Europe/Lisbon"), 0);
    conf->digest_minute = 420;
    ck_assert_int_eq(clock_parse("2026-03-27 00:00", 16, &at), 0);
    for (int i = 0; i < 400; i++) {
        int64_t before = digests();

        next = tick(at);
        if (digests() > before) {
            ck_assert_int_eq(clock_second_of_day(at), 7 * 3600);
            last++;
        }
        at = next;
        if (last == 4)
            break;
    }
    ck_assert_int_eq(last, 4); /* the clock went on on 29 March 2026 */
    clock_set_zone("UTC");
}
END_TEST

START_TEST(reminder_once_when_nothing_came)
{
    int64_t day;

    flow("slow 2f 10h");
    day = clock_midnight(now_s);
    tick(now_s);
    for (int h = 24; h < 14 * 24; h++)
        tick(day + h * 3600);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 3"), 1);
    ck_assert_int_ge(
        fixture_number(lg, "SELECT at_s FROM outbox WHERE kind = 3") - now_s,
        conf->remeasure_days * CLOCK_DAY_S);
}
END_TEST

START_TEST(no_reminder_when_it_was_measured)
{
    int64_t day;

    flow("slow 4cm 2h");
    tick(now_s);
    text(ANA, "%s slow 2.6cm 1h", serials[0]);
    day = clock_midnight(now_s);
    for (int h = 24; h < 14 * 24; h++)
        tick(day + h * 3600);
    ck_assert_int_eq(
        fixture_number(lg, "SELECT count(*) FROM outbox WHERE kind = 3"), 0);
}
END_TEST

START_TEST(words_are_dropped)
{
    text(ANA, "leak");
    tick(now_s + (int64_t)(conf->text_keep_days - 1) * CLOCK_DAY_S);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(body) FROM texts_in"), 1);
    tick(now_s + (int64_t)(conf->text_keep_days + 1) * CLOCK_DAY_S);
    ck_assert_int_eq(fixture_number(lg, "SELECT count(body) FROM texts_in"), 0);
    ck_assert_int_eq(rows("reports"), 1);
}
END_TEST

START_TEST(long_digest_keeps_its_width)
{
    struct digest_of of = {conf, desk_layout(desk), now_s, now_s + 7200,
                           now_s + 7200};
    struct kw_buf out;
    const char *at;

    text(ANA, "ill 3 blood crack");
    text(BINTA, "%s fast", serials[1]);
    kw_buf_init(&out, 1 << 16);
    ck_assert_int_eq(digest_page(&of, lg, &out), 0);
    SAYS(out.data, "texts 2: filed 2");
    SAYS(out.data, "Alerts that stand: 2");
    SAYS(out.data, "Pots to replace: 2");
    ck_assert_ptr_null(strstr(out.data, "+999"));
    for (at = out.data; *at != '\0'; at += strcspn(at, "\n") + 1)
        ck_assert_uint_le(strcspn(at, "\n"), 80);
    kw_buf_clear(&out);
    ck_assert_int_eq(digest_json(&of, lg, &out), 0);
    SAYS(out.data, "\"filed\":2");
    kw_buf_release(&out);
}
END_TEST

/* ---- numbers ---- */

static const struct {
    const char *raw, *kept;
} numbers[] = {
    {"+999 70 01 23 45", "+99970012345"},
    {"0099970012345", "+99970012345"},
    {"070012345", "+99970012345"},
    {"70012345", "+99970012345"},
    {"99970012345", "+99970012345"},
    {"(070) 012-345", "+99970012345"},
    {"7070", "7070"}, /* a short code stays one */
    {"KILNWORD", "KILNWORD"},
    {"+\xd9\xa9\xd9\xa9\xd9\xa9\xd9\xa7\xd9\xa0\xd9\xa0\xd9\xa1\xd9\xa2\xd9"
     "\xa3\xd9\xa4\xd9\xa5",
     "+99970012345"}, /* Arabic-Indic digits */
    {"\xef\xbc\x8b\xef\xbc\x99\xef\xbc\x99\xef\xbc\x99\xef\xbc\x97\xef\xbc\x90"
     "\xef\xbc\x90\xef\xbc\x91\xef\xbc\x92\xef\xbc\x93\xef\xbc\x94\xef\xbc\x95",
     "+99970012345"}, /* full width */
    {"\xff\xfe 7001", "\xff\xfe 7001"},
};

START_TEST(number_is_kept)
{
    char kept[LEDGER_PHONE_CAP];

    desk_number(conf, numbers[_i].raw, kept, sizeof(kept));
    ck_assert_str_eq(kept, numbers[_i].kept);
}
END_TEST

static void add_tests(TCase *t)
{
    const TTest *const tests[] = {crack_is_filed,
                                  own_pot_is_meant,
                                  repeat_changes_nothing,
                                  wrong_serial_is_never_filed,
                                  pots_that_are_not_the_senders,
                                  impossible_measure_is_asked,
                                  yes_files_what_was_asked,
                                  texts_of_the_past,
                                  question_is_forgotten_after_three_days,
                                  next_text_completes,
                                  danger_always_alerts,
                                  one_alert_stands_and_gathers,
                                  field_worker_reports_danger_of_a_home,
                                  slow_scrub_replace,
                                  flow_of_a_known_pot,
                                  too_fast_is_told,
                                  language_of_the_answer,
                                  stop_is_honoured,
                                  stopped_phone_is_not_reminded,
                                  talk_is_answered_once_a_day,
                                  quiet_texts_nobody,
                                  flood_is_held_back,
                                  household_commands_nothing,
                                  coordinator_asks,
                                  recall_tells_every_home_after_yes,
                                  field_worker_hands_over,
                                  breakage_of_a_batch_alerts_once,
                                  few_breakages_do_not_alert,
                                  digest_once_a_day,
                                  digest_keeps_the_local_hour,
                                  reminder_once_when_nothing_came,
                                  no_reminder_when_it_was_measured,
                                  words_are_dropped,
                                  long_digest_keeps_its_width};

    for (size_t i = 0; i < KW_COUNT(tests); i++)
        tcase_add_test(t, tests[i]);
    tcase_add_loop_test(t, number_is_kept, 0, (int)KW_COUNT(numbers));
}

int main(void)
{
    Suite *s = suite_create("desk");
    TCase *t = tcase_create("texts");

    tcase_add_checked_fixture(t, open_all, close_all);
    tcase_set_timeout(t, 60);
    add_tests(t);
    suite_add_tcase(s, t);
    return fixture_run(s);
}
