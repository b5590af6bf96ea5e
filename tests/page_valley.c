#include "tests/page_valley.h"

#include "ledger/notebook.h"
#include "reader/serial.h"
#include "tests/ledger_fixture.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define POTS 20

static const struct serial_layout layout = {SERIAL_MOD_97_10, 4, 3};

static void good(int err)
{
    ck_assert_msg(err == 0, "error %d: %s", err, kw_err_text(err));
}

static int64_t days_ago(double days)
{
    return VALLEY_NOW_S - (int64_t)(days * (double)VALLEY_DAY_S);
}

void valley_serial(const char *batch, int n, char dst[LEDGER_SERIAL_CAP])
{
    char pot[8];

    snprintf(pot, sizeof(pot), "%03d", n);
    good(serial_make(&layout, batch, pot, dst));
}

int64_t valley_key(const char *batch, int n)
{
    char serial[LEDGER_SERIAL_CAP];
    int64_t key;

    valley_serial(batch, n, serial);
    good(serial_key(serial, &key));
    return key;
}

static void put_batch(struct ledger *lg, const char *code, double peak,
                      double fired_days_ago)
{
    struct ledger_batch b = {.pressed_s = days_ago(fired_days_ago + 12),
                             .fired_s = days_ago(fired_days_ago),
                             .silvered_s = days_ago(fired_days_ago - 3),
                             .sawdust_pct = 50,
                             .sawdust_mesh = 30,
                             .drying_days = 12,
                             .peak_degc = peak,
                             .soak_min = 30,
                             .cooling_h = NAN,
                             .silver_mg = 64};
    enum ledger_change what;

    snprintf(b.code, sizeof(b.code), "%s", code);
    snprintf(b.workshop, sizeof(b.workshop), "Sele pottery");
    snprintf(b.clay_pit, sizeof(b.clay_pit), "%s",
             peak < 850 ? "Hondo pit" : "Alto pit");
    snprintf(b.presser, sizeof(b.presser), "Ama");
    snprintf(b.kiln, sizeof(b.kiln), "north");
    snprintf(b.cone, sizeof(b.cone), "012");
    good(ledger_batch_put(lg, &b, &what));
}

static void put_pots(struct ledger *lg, const char *code)
{
    struct ledger_batch b;

    good(ledger_batch_find(lg, code, &b));
    for (int n = 1; n <= POTS; n++) {
        struct ledger_pot p = {.batch_id = b.id};
        struct ledger_test t = {.batch_id = b.id,
                                .tested_s = b.fired_s + 4 * VALLEY_DAY_S,
                                .litres = 1.5 + n * 0.05,
                                .minutes = 60,
                                .water_degc = 25,
                                .first_hour_l = 1.5 + n * 0.05,
                                .accepted = true,
                                .nth = 1};
        enum ledger_change what;

        p.key = t.pot_key = valley_key(code, n);
        if (strcmp(code, "0214") == 0)
            snprintf(p.shelf, sizeof(p.shelf), n <= 8 ? "low" : "high");
        valley_serial(code, n, p.serial);
        good(ledger_pot_put(lg, &p, false, &what));
        good(ledger_test_put(lg, &t, &what));
    }
    good(ledger_batch_sum(lg, b.id));
}

/* Home i holds pot n of a batch; phone +9997001xxxx. */
static void put_home(struct ledger *lg, int i, const char *place,
                     const char *batch, int n)
{
    struct ledger_home h = {.people = 4 + i % 3, .consent = 1};
    struct ledger_place l;
    struct ledger_phone f;
    enum ledger_change what;
    char number[LEDGER_PHONE_CAP];
    int64_t id;

    snprintf(number, sizeof(number), "+9997001%04d", i);
    good(ledger_place_find(lg, place, &l));
    good(ledger_phone_take(lg, number, &f));
    snprintf(h.code, sizeof(h.code), "SV-%03d", i);
    h.place_id = l.id;
    h.phone_id = f.id;
    good(ledger_home_put(lg, &h, &what));
    good(ledger_home_find(lg, h.code, &h));
    good(ledger_handover_put(lg, valley_key(batch, n), h.id, days_ago(200 - i),
                             &id));
}

struct said {
    struct ledger_obs obs;
    const struct ledger_flow *flow;
};

/* A text of home i about a pot; the report that it led to, 0 none. */
static int64_t say(struct ledger *lg, int i, const char *words,
                   const char *outcome, int64_t pot_key, double ago,
                   const struct said *said, int64_t *text_id)
{
    struct ledger_text_in t = {.carrier = "console",
                               .at_s = days_ago(ago),
                               .body = words,
                               .len = strlen(words)};
    struct ledger_report r = {.pot_key = pot_key, .at_s = t.at_s};
    struct ledger_reading reading = {
        .outcome = outcome,
        .why = strcmp(outcome, "asked") == 0 ? "no_time" : "",
        .command = "",
        .lang = "en",
        .pot_key = pot_key,
        .danger = said != NULL ? said->obs.signs : 0};
    struct ledger_home h;
    char code[16];

    snprintf(code, sizeof(code), "SV-%03d", i);
    good(ledger_home_find(lg, code, &h));
    t.phone_id = r.phone_id = h.phone_id;
    r.home_id = h.id;
    r.place_id = h.place_id;
    good(ledger_text_in_put(lg, &t));
    good(ledger_text_in_read(lg, t.id, &reading));
    *text_id = t.id;
    if (said == NULL)
        return 0;
    r.text_id = t.id;
    r.flow = said->flow;
    good(ledger_report_put(lg, &r, &said->obs, 1));
    return r.id;
}

static void fill_notebook(struct ledger *lg)
{
    static const char *const places[] = {"Alto Sele", VALLEY_HINDI,
                                         VALLEY_LONG};
    static const char *const batches[] = {"0210", "0214", "0220"};
    enum ledger_change what;

    for (size_t i = 0; i < 3; i++) {
        struct ledger_place l = {.id = 0};

        for (int m = 0; m < 12; m++)
            l.water_degc[m] = i == 0 ? 18 + m : NAN;
        l.lat_deg = i < 2 ? 0.15 + 0.1 * (double)i : NAN; /* only sea there */
        l.lon_deg = i < 2 ? 0.2 + 0.2 * (double)i : NAN;
        snprintf(l.name, sizeof(l.name), "%s", places[i]);
        snprintf(l.lang, sizeof(l.lang), "es");
        good(ledger_place_put(lg, &l, &what));
    }
    put_batch(lg, "0210", 866, 260);
    put_batch(lg, "0214", 790, 230);
    put_batch(lg, "0220", 872, 215);
    for (int b = 0; b < 3; b++) {
        put_pots(lg, batches[b]);
        for (int n = 1; n < POTS; n++) /* the last one stays in the shop */
            put_home(lg, b * POTS + n, places[(b + n) % 3], batches[b], n);
    }
}

/* Seven of 0214 and one of 0210 crack. */
static void fill_failures(struct ledger *lg)
{
    static const struct said crack = {.obs = {.kind = "crack"}};
    struct ledger_batch bad;
    struct ledger_alert a = {.kind = LEDGER_ALERT_BREAKAGE,
                             .on = LEDGER_ON_BATCH,
                             .opened_s = days_ago(5),
                             .observed = 7,
                             .expected = 1.1,
                             .p = 0.00015,
                             .words = "batch 0214: 7 broke, 1.1 expected"};
    int64_t report = 0, text;
    bool fresh;

    good(ledger_batch_find(lg, "0214", &bad));
    a.subject_id = bad.id;
    for (int n = 1; n <= 7; n++) {
        int64_t key = valley_key("0214", n);

        report =
            say(lg, POTS + n, "crack", "filed", key, 20 - 2 * n, &crack, &text);
        good(ledger_pot_fail(lg, key, days_ago(20 - 2 * n), report));
        good(ledger_alert_raise(lg, &a, report, text, &fresh));
    }
    report =
        say(lg, 3, "crack", "filed", valley_key("0210", 3), 30, &crack, &text);
    good(ledger_pot_fail(lg, valley_key("0210", 3), days_ago(30), report));
}

/* Pot 0220-005 slows down; what it texted last was asked about. */
static void fill_flow(struct ledger *lg)
{
    static const struct {
        double ago, litres;
        const char *verdict;
    } seen[] = {{150, 1.8, "fine"},
                {100, 1.3, "fine"},
                {50, 0.9, "scrub"},
                {20, 0.55, "replace"}};
    const int64_t key = valley_key("0220", 5);
    struct ledger_alert a = {.kind = LEDGER_ALERT_LOW_FLOW,
                             .on = LEDGER_ON_POT,
                             .subject_id = key,
                             .opened_s = days_ago(20),
                             .observed = 0.55,
                             .expected = NAN,
                             .p = 0.98,
                             .words = "pot 0220-005: 0.6 L, low"};
    int64_t report, text;
    bool fresh;

    for (size_t i = 0; i < KW_COUNT(seen); i++) {
        struct ledger_flow f = {.first_hour_l = seen[i].litres,
                                .log_se = 0.2,
                                .k_m_s = 2e-7,
                                .water_degc = 20,
                                .p_below = seen[i].litres < 1 ? 0.9 : 0.05,
                                .verdict = seen[i].verdict};
        struct said slow = {.obs = {.kind = "slow",
                                    .measure = "drop",
                                    .unit = "finger",
                                    .value = 4,
                                    .minutes = 600},
                            .flow = &f};

        report = say(lg, 2 * POTS + 5, "slow 4f 10h \x1b[2J\xff", "filed", key,
                     seen[i].ago, &slow, &text);
    }
    good(ledger_alert_raise(lg, &a, report, text, &fresh));
    say(lg, 2 * POTS + 5, "slow 4f", "asked", key, 2, NULL, &text);
}

static void fill_danger(struct ledger *lg)
{
    static const struct said ill = {
        .obs = {.kind = "ill", .people = 2, .under5 = 1, .signs = 3}};
    struct ledger_alert a = {.kind = LEDGER_ALERT_DANGER,
                             .on = LEDGER_ON_HOME,
                             .opened_s = days_ago(0.1),
                             .signs = 3,
                             .words = "home SV-009: blood, rice water"};
    struct ledger_home h;
    int64_t report, text;
    bool fresh;

    good(ledger_home_find(lg, "SV-009", &h));
    a.subject_id = h.id;
    report = say(lg, 9, "ill 2 u1 blood rice water", "filed",
                 valley_key("0210", 9), 0.1, &ill, &text);
    good(ledger_alert_raise(lg, &a, report, text, &fresh));
}

static void fill_outbox(struct ledger *lg)
{
    static const enum ledger_send ends[] = {LEDGER_SENT, LEDGER_FAILED,
                                            LEDGER_PERHAPS};

    for (size_t i = 0; i < KW_COUNT(ends) + 1; i++) {
        struct ledger_out o = {.kind = LEDGER_REPLY,
                               .priority = LEDGER_PRIORITY_REPLY,
                               .at_s = days_ago(0.2),
                               .due_s = days_ago(0.2),
                               .expires_s = VALLEY_NOW_S + VALLEY_DAY_S,
                               .carrier = "console",
                               .body = "Do not drink from this pot."};
        struct ledger_phone f;

        good(ledger_phone_take(lg, "+99970010009", &f));
        o.phone_id = f.id;
        good(ledger_out_put(lg, &o));
        if (i < KW_COUNT(ends))
            good(ledger_out_settle(lg, o.id, ends[i], VALLEY_NOW_S,
                                   ends[i] == LEDGER_FAILED ? "404 not here"
                                                            : ""));
    }
}

struct ledger *valley_open(void)
{
    struct ledger *lg = fixture_open();

    good(ledger_begin(lg));
    fill_notebook(lg);
    fill_failures(lg);
    fill_flow(lg);
    fill_danger(lg);
    fill_outbox(lg);
    good(ledger_commit(lg));
    return lg;
}
