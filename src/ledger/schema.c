/*
 * schema.c - the tables, as numbered migrations.
 *
 * What decides their shape: a text should dirty few pages. So pots, phones
 * and texts have integer keys; what comes in is only ever appended; the one
 * key that finds repeats follows the week of arrival; and the reports of a pot
 * hang on a chain from its own row, which is written anyway, instead of an
 * index. All times are UTC seconds, 0 does not occur: not known is NULL.
 */
#include "ledger/schema.h"

#include "base/clock.h"
#include "base/log.h"

static const char first[] =
    /* Names of the carriers, so that rows hold a small number. */
    "CREATE TABLE carriers ("
    " id INTEGER PRIMARY KEY,"
    " name TEXT NOT NULL UNIQUE"
    ") STRICT;"

    /* Anyone who texts or is texted. */
    "CREATE TABLE phones ("
    " id INTEGER PRIMARY KEY," /* E.164 digits; negative: other senders */
    " number TEXT NOT NULL,"   /* '+226...', a short code or a name */
    " lang TEXT NOT NULL DEFAULT '',"      /* chosen */
    " lang_seen TEXT NOT NULL DEFAULT ''," /* of the last clear text */
    " role INTEGER NOT NULL DEFAULT 0"     /* enum ledger_role */
    "  CHECK (role BETWEEN 0 AND 3),"
    " stopped INTEGER NOT NULL DEFAULT 0 CHECK (stopped IN (0, 1)),"
    " carrier_id INTEGER REFERENCES carriers," /* of its last text */
    " name TEXT NOT NULL DEFAULT '',"
    " last_chat_reply_s INTEGER"
    ") STRICT;"
    "CREATE UNIQUE INDEX phones_other ON phones (number) WHERE id < 0;"

    "CREATE TABLE places ("
    " id INTEGER PRIMARY KEY,"
    " name TEXT NOT NULL UNIQUE,"
    " lang TEXT NOT NULL DEFAULT ''"
    ") STRICT;"
    /* Monthly mean temperature of the water there. */
    "CREATE TABLE place_water ("
    " place_id INTEGER NOT NULL REFERENCES places,"
    " month INTEGER NOT NULL CHECK (month BETWEEN 1 AND 12),"
    " degc REAL NOT NULL,"
    " PRIMARY KEY (place_id, month)"
    ") STRICT, WITHOUT ROWID;"

    "CREATE TABLE homes ("
    " id INTEGER PRIMARY KEY,"
    " code TEXT NOT NULL UNIQUE," /* the programme's own name for it */
    " place_id INTEGER REFERENCES places,"
    " phone_id INTEGER REFERENCES phones,"
    " lang TEXT NOT NULL DEFAULT '',"
    " people INTEGER NOT NULL DEFAULT 0,"
    " consent INTEGER NOT NULL DEFAULT -1" /* 1 yes, 0 no, -1 not asked */
    "  CHECK (consent IN (-1, 0, 1))"
    ") STRICT;"
    "CREATE INDEX homes_phone ON homes (phone_id) WHERE phone_id IS NOT NULL;"
    "CREATE INDEX homes_place ON homes (place_id) WHERE place_id IS NOT NULL;"

    /*
     * A batch, and sums kept beside it so that an answer to a text needs one
     * row: batch_sum() in batches.c counts them afresh after a load.
     */
    "CREATE TABLE batches ("
    " id INTEGER PRIMARY KEY,"
    " code TEXT NOT NULL UNIQUE," /* as it stands in the serials */
    " workshop TEXT NOT NULL DEFAULT '',"
    " mould TEXT NOT NULL DEFAULT '',"
    " pressed_s INTEGER,"
    " tested INTEGER NOT NULL DEFAULT 0,"
    " accepted INTEGER NOT NULL DEFAULT 0,"
    " test_mean_l REAL, test_min_l REAL, test_max_l REAL," /* accepted ones */
    " pots INTEGER NOT NULL DEFAULT 0,"
    " pots_out INTEGER NOT NULL DEFAULT 0," /* ever handed out */
    " failed INTEGER NOT NULL DEFAULT 0"    /* reported failed, once each */
    ") STRICT;"
    "CREATE TABLE mixes ("
    " batch_id INTEGER PRIMARY KEY REFERENCES batches,"
    " clay_pit TEXT NOT NULL DEFAULT '',"
    " presser TEXT NOT NULL DEFAULT '',"
    " sawdust_pct REAL, sawdust_mesh REAL, drying_days REAL"
    ") STRICT;"
    "CREATE TABLE firings ("
    " batch_id INTEGER PRIMARY KEY REFERENCES batches,"
    " fired_s INTEGER,"
    " kiln TEXT NOT NULL DEFAULT '',"
    " cone TEXT NOT NULL DEFAULT '',"
    " peak_degc REAL, soak_min REAL, cooling_h REAL"
    ") STRICT;"
    "CREATE TABLE silver ("
    " batch_id INTEGER PRIMARY KEY REFERENCES batches,"
    " silvered_s INTEGER,"
    " silver_mg REAL" /* a pot */
    ") STRICT;"

    "CREATE TABLE pots ("
    " key INTEGER PRIMARY KEY," /* serial_key() of the serial */
    " serial TEXT NOT NULL,"    /* canonical, check characters included */
    " batch_id INTEGER NOT NULL REFERENCES batches,"
    " mould TEXT NOT NULL DEFAULT '',"
    " scrapped INTEGER NOT NULL DEFAULT 0 CHECK (scrapped IN (0, 1)),"
    " test_l REAL," /* first hour at 25 degC, its own test */
    " outings INTEGER NOT NULL DEFAULT 0," /* hand-overs so far */
    " home_id INTEGER REFERENCES homes,"   /* where it is now */
    " handover_id INTEGER," /* the latest; its times beside it: */
    " given_s INTEGER, ended_s INTEGER,"
    " failed_s INTEGER, failed_report_id INTEGER," /* the first one */
    /* The newest report; each names the one before it (reports.before_id). */
    " last_report_id INTEGER,"
    " last_flow_l REAL, last_flow_log_se REAL, last_flow_s INTEGER,"
    " low_before INTEGER NOT NULL DEFAULT 0,"
    " last_low_s INTEGER, last_scrub_s INTEGER"
    ") STRICT;"
    "CREATE INDEX pots_batch ON pots (batch_id);"
    "CREATE INDEX pots_home ON pots (home_id) WHERE home_id IS NOT NULL;"
    /* Few pots go out twice; the scan of exposure finds them here. */
    "CREATE INDEX pots_again ON pots (key) WHERE outings > 1;"

    /* The workshop's flow tests, with or without a pot's own serial. */
    "CREATE TABLE flow_tests ("
    " id INTEGER PRIMARY KEY,"
    " batch_id INTEGER NOT NULL REFERENCES batches,"
    " pot_key INTEGER REFERENCES pots,"
    " tested_s INTEGER,"
    " litres REAL NOT NULL, minutes REAL NOT NULL," /* as read */
    " water_degc REAL,"
    " first_hour_l REAL NOT NULL," /* at 25 degC */
    " accepted INTEGER NOT NULL DEFAULT 1 CHECK (accepted IN (0, 1)),"
    " nth INTEGER NOT NULL DEFAULT 1" /* among like readings of a batch */
    ") STRICT;"
    "CREATE INDEX flow_tests_batch ON flow_tests (batch_id, pot_key);"

    /* A pot's time in a home. */
    "CREATE TABLE handovers ("
    " id INTEGER PRIMARY KEY,"
    " pot_key INTEGER NOT NULL REFERENCES pots,"
    " home_id INTEGER NOT NULL REFERENCES homes,"
    " given_s INTEGER NOT NULL,"
    " ended_s INTEGER," /* NULL: it is there */
    " reason TEXT NOT NULL DEFAULT '',"
    " CHECK (ended_s >= given_s),"
    " UNIQUE (pot_key, given_s)"
    ") STRICT;"
    "CREATE INDEX handovers_home ON handovers (home_id);"

    "CREATE TABLE texts_in ("
    " id INTEGER PRIMARY KEY,"
    " carrier_id INTEGER NOT NULL REFERENCES carriers,"
    " phone_id INTEGER NOT NULL REFERENCES phones,"
    " at_s INTEGER NOT NULL, sent_s INTEGER,"
    " body BLOB," /* octets as they came; NULL: dropped */
    /* What was made of it, names of the reader; NULL: not read yet. */
    " outcome TEXT, why TEXT, command TEXT, lang TEXT,"
    /* No REFERENCES: a good serial may not stand in the notebook yet. */
    " pot_key INTEGER,"
    " danger INTEGER NOT NULL DEFAULT 0,"
    " answer_id INTEGER" /* the outbox row that answered it */
    ") STRICT;"
    /* Texts whose words are still kept, by time: to list and to drop them. */
    "CREATE INDEX texts_in_at ON texts_in (at_s) WHERE body IS NOT NULL;"
    /*
     * The key that finds repeats follows arrival, so that old pages rest. By
     * the week, not the day: seven days back are then two looks, not eight.
     */
    "CREATE TABLE arrivals ("
    " week INTEGER NOT NULL," /* at_s / 604800 */
    " carrier_id INTEGER NOT NULL,"
    " ref TEXT NOT NULL," /* the carrier's own id */
    " text_id INTEGER NOT NULL,"
    " PRIMARY KEY (week, carrier_id, ref)"
    ") STRICT, WITHOUT ROWID;"

    "CREATE TABLE reports ("
    " id INTEGER PRIMARY KEY,"
    " text_id INTEGER REFERENCES texts_in,"
    " phone_id INTEGER REFERENCES phones,"
    " pot_key INTEGER," /* as in texts_in */
    " home_id INTEGER REFERENCES homes,"
    " place_id INTEGER REFERENCES places,"
    " at_s INTEGER NOT NULL,"
    " test INTEGER NOT NULL DEFAULT 0 CHECK (test IN (0, 1)),"
    /*
     * The pot's report before this one. All of a pot, newest first:
     *   WITH RECURSIVE chain (id) AS (
     *     SELECT last_report_id FROM pots WHERE key = $1
     *     UNION ALL
     *     SELECT r.before_id FROM chain JOIN reports r ON r.id = chain.id
     *      WHERE r.before_id IS NOT NULL)
     *   SELECT r.* FROM chain JOIN reports r ON r.id = chain.id;
     */
    " before_id INTEGER,"
    " orphan INTEGER NOT NULL DEFAULT 0" /* 1: its pot is not known yet */
    ") STRICT;"
    "CREATE INDEX reports_orphan ON reports (pot_key) WHERE orphan = 1;"
    "CREATE TABLE observations ("
    " report_id INTEGER NOT NULL REFERENCES reports,"
    " n INTEGER NOT NULL,"
    " kind TEXT NOT NULL,"
    " measure TEXT, unit TEXT, value REAL, minutes REAL,"
    " people INTEGER NOT NULL DEFAULT 0,"
    " under5 INTEGER NOT NULL DEFAULT 0,"
    " signs INTEGER NOT NULL DEFAULT 0,"
    " part TEXT,"
    " PRIMARY KEY (report_id, n)"
    ") STRICT, WITHOUT ROWID;"
    /* What a measure comes to: first hour from brim-full at 25 degC. */
    "CREATE TABLE flows ("
    " report_id INTEGER PRIMARY KEY REFERENCES reports,"
    " first_hour_l REAL NOT NULL, log_se REAL NOT NULL, k_m_s REAL,"
    " water_degc REAL, p_below REAL,"
    " verdict TEXT NOT NULL"
    ") STRICT;"

    /* One alert is open (0) or seen (1) for each kind and subject. */
    "CREATE TABLE alerts ("
    " id INTEGER PRIMARY KEY,"
    " kind INTEGER NOT NULL,"    /* enum ledger_alert_kind */
    " subject INTEGER NOT NULL," /* enum ledger_subject */
    " subject_id INTEGER NOT NULL,"
    " state INTEGER NOT NULL DEFAULT 0 CHECK (state BETWEEN 0 AND 2),"
    " opened_s INTEGER NOT NULL, changed_s INTEGER NOT NULL,"
    " seen_s INTEGER, closed_s INTEGER,"
    " seen_by INTEGER REFERENCES phones, closed_by INTEGER REFERENCES phones,"
    " reports INTEGER NOT NULL DEFAULT 0,"
    " signs INTEGER NOT NULL DEFAULT 0,"
    " observed REAL, expected REAL, p REAL,"
    " words TEXT NOT NULL DEFAULT ''"
    ") STRICT;"
    "CREATE UNIQUE INDEX alerts_standing ON alerts (kind, subject, subject_id)"
    " WHERE state < 2;"
    "CREATE TABLE gathered (" /* what belongs to an alert */
    " alert_id INTEGER NOT NULL REFERENCES alerts,"
    " n INTEGER NOT NULL,"
    " report_id INTEGER REFERENCES reports,"
    " text_id INTEGER REFERENCES texts_in,"
    " PRIMARY KEY (alert_id, n)"
    ") STRICT, WITHOUT ROWID;"

    "CREATE TABLE outbox ("
    " id INTEGER PRIMARY KEY,"
    " phone_id INTEGER NOT NULL REFERENCES phones,"
    " carrier_id INTEGER NOT NULL REFERENCES carriers,"
    " kind INTEGER NOT NULL,"           /* enum ledger_out_kind */
    " priority INTEGER NOT NULL,"       /* smaller goes first */
    " state INTEGER NOT NULL DEFAULT 0" /* enum ledger_send */
    "  CHECK (state BETWEEN 0 AND 5),"
    " at_s INTEGER NOT NULL, due_s INTEGER NOT NULL, expires_s INTEGER,"
    " settled_s INTEGER,"
    " text_id INTEGER REFERENCES texts_in,"
    " alert_id INTEGER REFERENCES alerts,"
    " tries INTEGER NOT NULL DEFAULT 0,"
    " note TEXT,"
    " body TEXT" /* NULL: dropped */
    ") STRICT;"
    /* Only what still has to go (0 waiting, 1 flying), so it stays small. */
    "CREATE INDEX outbox_queue ON outbox"
    " (carrier_id, state, priority, due_s, id) WHERE state < 2;"

    /* Key to number: when the last digest went, where a scan stands. */
    "CREATE TABLE marks ("
    " key TEXT PRIMARY KEY,"
    " value INTEGER NOT NULL"
    ") STRICT, WITHOUT ROWID;";

static const char second[] =
    /* What a phone was asked and has not answered: asking.h. */
    "CREATE TABLE asking ("
    " phone_id INTEGER PRIMARY KEY REFERENCES phones,"
    " text_id INTEGER NOT NULL REFERENCES texts_in,"
    " at_s INTEGER NOT NULL,"
    " why TEXT NOT NULL,"
    " about TEXT NOT NULL DEFAULT ''" /* serial or batch */
    ") STRICT;"
    /* Whom to remind to measure again. */
    "CREATE INDEX pots_low ON pots (last_low_s) WHERE last_low_s IS NOT NULL;"
    /* Failures of a day. */
    "CREATE INDEX pots_failed ON pots (failed_s) WHERE failed_s IS NOT NULL;"
    "CREATE INDEX reports_at ON reports (at_s);";

static const char flow[] =
    /* The filter of each pot that was ever read: ledger/drift.h. */
    "CREATE TABLE drifts ("
    " pot_key INTEGER PRIMARY KEY REFERENCES pots,"
    " level REAL NOT NULL, slope REAL NOT NULL," /* ln litres, a day */
    " p11 REAL NOT NULL, p12 REAL NOT NULL, p22 REAL NOT NULL,"
    " at_days REAL NOT NULL, scrubbed_days REAL,"
    " flagged INTEGER NOT NULL DEFAULT 0,"
    " fresh_scrub INTEGER NOT NULL DEFAULT 0,"
    " readings INTEGER NOT NULL DEFAULT 0,"
    " scrubs_seen INTEGER NOT NULL DEFAULT 0,"
    " gain_sum REAL NOT NULL DEFAULT 0"
    ") STRICT;"
    /* What each decision on a flow rested on; the reading is in flows. */
    "CREATE TABLE decisions ("
    " report_id INTEGER PRIMARY KEY REFERENCES reports,"
    " pot_key INTEGER NOT NULL,"
    " level REAL NOT NULL, slope REAL NOT NULL,"
    " p11 REAL NOT NULL, p12 REAL NOT NULL, p22 REAL NOT NULL,"
    " innovation REAL NOT NULL, variance REAL NOT NULL,"
    " p_below REAL NOT NULL,"
    " limit_l REAL NOT NULL, too_fast_l REAL NOT NULL,"
    " ask_scrub REAL NOT NULL, sure REAL NOT NULL, rise_log REAL NOT NULL,"
    " why INTEGER NOT NULL, prior INTEGER NOT NULL"
    ") STRICT;"
    /* What the pots of a batch have taught, once a week. */
    "CREATE TABLE batch_drifts ("
    " batch_id INTEGER PRIMARY KEY REFERENCES batches,"
    " slope REAL NOT NULL, gain REAL NOT NULL,"
    " slope_pots INTEGER NOT NULL, gain_pots INTEGER NOT NULL,"
    " learnt_s INTEGER NOT NULL"
    ") STRICT;";
#define STATE_NUMBERS                                                          \
    " state INTEGER NOT NULL CHECK (state BETWEEN 0 AND 2),"                   \
    " since_s INTEGER NOT NULL, at_s INTEGER NOT NULL,"                        \
    " reported INTEGER NOT NULL, counted INTEGER NOT NULL,"                    \
    " expected REAL NOT NULL, upper REAL NOT NULL,"                            \
    " log_bf REAL, cusum REAL NOT NULL,"                                       \
    " risk REAL, risk_low REAL, risk_high REAL,"                               \
    " places INTEGER NOT NULL, bound INTEGER NOT NULL,"

static const char batch_watch[] =
    /* How each batch and delivery stands: batchstate.h. */
    "CREATE TABLE batch_states ("
    " batch_id INTEGER PRIMARY KEY REFERENCES batches," STATE_NUMBERS
    " run_from INTEGER, run_to INTEGER," /* keys of pots */
    " run_failed INTEGER, run_expected REAL, run_p REAL"
    ") STRICT;"
    "CREATE TABLE delivery_states ("
    " place_id INTEGER NOT NULL," /* 0 not known */
    " day INTEGER NOT NULL,"      /* since 1970, UTC */
    STATE_NUMBERS " PRIMARY KEY (place_id, day)"
    ") STRICT, WITHOUT ROWID;"
    /* What ended since a look. */
    "CREATE INDEX handovers_ended ON handovers (ended_s)"
    " WHERE ended_s IS NOT NULL;"
    "CREATE INDEX alerts_closed ON alerts (closed_s)"
    " WHERE closed_s IS NOT NULL;";

static const char traffic[] =
    /* What a text out costs, and whether a crash made two of it. */
    "ALTER TABLE outbox ADD COLUMN segments INTEGER NOT NULL DEFAULT 0;"
    "ALTER TABLE outbox ADD COLUMN twice INTEGER NOT NULL DEFAULT 0;"
    "CREATE INDEX outbox_twice ON outbox (at_s) WHERE twice > 0;"
    "CREATE TABLE segments ("
    " day_s INTEGER NOT NULL," /* local midnight */
    " role INTEGER NOT NULL,"  /* enum ledger_role */
    " received INTEGER NOT NULL, sent INTEGER NOT NULL,"
    " PRIMARY KEY (day_s, role)"
    ") STRICT, WITHOUT ROWID;"
    /* The far side's ids of what it took, and what it told of them. */
    "CREATE TABLE far_ids ("
    " carrier_id INTEGER NOT NULL REFERENCES carriers,"
    " far_id TEXT NOT NULL,"
    " out_id INTEGER REFERENCES outbox," /* NULL: the receipt was faster */
    " state INTEGER NOT NULL,"           /* enum traffic_receipt */
    " at_s INTEGER NOT NULL,"
    " PRIMARY KEY (carrier_id, far_id)"
    ") STRICT, WITHOUT ROWID;"
    "CREATE INDEX far_ids_out ON far_ids (out_id);"
    "CREATE INDEX far_ids_at ON far_ids (at_s);"
    /* Menus under way: session.h. */
    "CREATE TABLE menu_sessions ("
    " carrier_id INTEGER NOT NULL REFERENCES carriers,"
    " session TEXT NOT NULL,"
    " phone_id INTEGER NOT NULL REFERENCES phones,"
    " at_s INTEGER NOT NULL,"
    " lang TEXT NOT NULL,"
    " presses TEXT NOT NULL,"
    " base TEXT NOT NULL," /* presses of the session it goes on with */
    " step TEXT NOT NULL," /* the far side's name of the last one */
    " shown TEXT NOT NULL,"
    " state INTEGER NOT NULL," /* enum session_state */
    " PRIMARY KEY (carrier_id, session)"
    ") STRICT, WITHOUT ROWID;"
    "CREATE INDEX menu_sessions_open ON menu_sessions (phone_id, at_s)"
    " WHERE state = 0;"
    "CREATE INDEX menu_sessions_at ON menu_sessions (at_s);";

static const char recalls[] =
    /* A batch whose pots nobody shall drink from any more. */
    "ALTER TABLE batches ADD COLUMN recalled_s INTEGER;"
    "CREATE INDEX batches_recalled ON batches (id)"
    " WHERE recalled_s IS NOT NULL;"
    /* Of a measure: where the water stood first, and how warm it was. */
    "ALTER TABLE observations ADD COLUMN start_cm REAL;"
    "ALTER TABLE observations ADD COLUMN water_degc REAL;";

static const char receipts[] =
    /* Why a part was not delivered, a word of the far side's: "expired". */
    "ALTER TABLE far_ids ADD COLUMN why TEXT NOT NULL DEFAULT '';";

static const char shelves[] =
    /* Where in the kiln the pot stood, as the notebook calls it. */
    "ALTER TABLE pots ADD COLUMN shelf TEXT NOT NULL DEFAULT '';"
    /* Degrees, WGS 84. */
    "ALTER TABLE places ADD COLUMN lat_deg REAL;"
    "ALTER TABLE places ADD COLUMN lon_deg REAL;";

static const char runs[] =
    /* What the nightly scans found, and the seed of their chances. */
    "ALTER TABLE batch_states ADD COLUMN run_seed INTEGER;"
    "CREATE TABLE firing_runs (" /* the last one */
    " id INTEGER PRIMARY KEY CHECK (id = 1),"
    " at_s INTEGER NOT NULL,"
    " from_batch INTEGER NOT NULL REFERENCES batches,"
    " to_batch INTEGER NOT NULL REFERENCES batches,"
    " failed INTEGER NOT NULL, expected REAL NOT NULL,"
    " p REAL NOT NULL, seed INTEGER NOT NULL"
    ") STRICT;";

static const char carrier_states[] =
    /* How each carrier does: carriers.h. */
    "CREATE TABLE carrier_states ("
    " carrier_id INTEGER PRIMARY KEY REFERENCES carriers,"
    " state INTEGER NOT NULL," /* enum carriers_state */
    " words TEXT NOT NULL,"
    " since_s INTEGER NOT NULL, at_s INTEGER NOT NULL,"
    " signal INTEGER NOT NULL," /* 0..31; -1 not known */
    " used INTEGER NOT NULL, total INTEGER NOT NULL,"
    " credit TEXT NOT NULL, credit_s INTEGER,"
    " credit_low INTEGER NOT NULL"
    ") STRICT;";

static const char smaller[] =
    /* What is said, figures apart, is said often: phrases.h. */
    "CREATE TABLE phrases ("
    " id INTEGER PRIMARY KEY,"
    " words TEXT NOT NULL UNIQUE" /* '#' where a figure stands */
    ") STRICT;"
    /* With a phrase the body holds its figures, parted by blanks. */
    "ALTER TABLE outbox ADD COLUMN phrase_id INTEGER REFERENCES phrases;"
    /* An index ends with the id by itself. */
    "DROP INDEX outbox_queue;"
    "CREATE INDEX outbox_queue ON outbox"
    " (carrier_id, state, priority, due_s) WHERE state < 2;"
    /* Limits that decisions on flows were held against; few and often. */
    "CREATE TABLE flow_rules ("
    " id INTEGER PRIMARY KEY,"
    " limit_l REAL NOT NULL, too_fast_l REAL NOT NULL,"
    " ask_scrub REAL NOT NULL, sure REAL NOT NULL, rise_log REAL NOT NULL,"
    " UNIQUE (limit_l, too_fast_l, ask_scrub, sure, rise_log)"
    ") STRICT;"
    "INSERT INTO flow_rules (limit_l, too_fast_l, ask_scrub, sure, rise_log)"
    " SELECT DISTINCT limit_l, too_fast_l, ask_scrub, sure, rise_log"
    " FROM decisions;"
    /* The decision stands with its flow; NULL: none was kept. */
    "ALTER TABLE flows ADD COLUMN rule_id INTEGER REFERENCES flow_rules;"
    "ALTER TABLE flows ADD COLUMN why INTEGER;"
    "ALTER TABLE flows ADD COLUMN prior INTEGER;"
    "ALTER TABLE flows ADD COLUMN level REAL;"
    "ALTER TABLE flows ADD COLUMN slope REAL;"
    "ALTER TABLE flows ADD COLUMN p11 REAL;"
    "ALTER TABLE flows ADD COLUMN p12 REAL;"
    "ALTER TABLE flows ADD COLUMN p22 REAL;"
    "ALTER TABLE flows ADD COLUMN innovation REAL;"
    "ALTER TABLE flows ADD COLUMN variance REAL;"
    "UPDATE flows SET (rule_id, why, prior, level, slope, p11, p12, p22,"
    " innovation, variance) = (SELECT u.id, d.why, d.prior, d.level, d.slope,"
    " d.p11, d.p12, d.p22, d.innovation, d.variance FROM decisions d"
    " JOIN flow_rules u ON u.limit_l = d.limit_l"
    " AND u.too_fast_l = d.too_fast_l AND u.ask_scrub = d.ask_scrub"
    " AND u.sure = d.sure AND u.rise_log = d.rise_log"
    " WHERE d.report_id = flows.report_id);"
    "DROP TABLE decisions;";
static const char place_weights[] =
    /* How many failures a place's own telling must outweigh: nu. */
    "CREATE TABLE place_weights ("
    " day INTEGER PRIMARY KEY," /* since 1970, UTC: of the estimate */
    " nu REAL NOT NULL,"
    " places INTEGER NOT NULL, counted INTEGER NOT NULL,"
    " at_s INTEGER NOT NULL" /* when it was written down */
    ") STRICT;";

static const char forecasts[] =
    /* What was forecast each month, and what came: forecast.h. */
    "CREATE TABLE forecasts ("
    " made_s INTEGER NOT NULL, days INTEGER NOT NULL,"
    " pots INTEGER NOT NULL, last_handover INTEGER NOT NULL,"
    " mean REAL NOT NULL, var REAL NOT NULL, broken REAL NOT NULL,"
    " low REAL NOT NULL, high REAL NOT NULL, widened REAL NOT NULL,"
    " checked_s INTEGER," /* NULL: its days have not passed */
    " failed INTEGER, slow INTEGER, came REAL,"
    " PRIMARY KEY (made_s, days)"
    ") STRICT, WITHOUT ROWID;"
    /* Of all failures there, those that are reported, by a survey. */
    "ALTER TABLE places ADD COLUMN reported_share REAL;";

static const struct {
    const char *name, *sql;
} migrations[] = {
    {"the whole ledger", first},
    {"what was asked, and what is due", second},
    {"the flow of each pot", flow},
    {"how batches and deliveries stand", batch_watch},
    {"what goes out and what it costs", traffic},
    {"recalls, told levels and temperatures", recalls},
    {"why a text was not delivered", receipts},
    {"where pots stood in the kiln, and places on the map", shelves},
    {"what the nightly scans found", runs},
    {"how each carrier does", carrier_states},
    {"smaller rows of answers and flows", smaller},
    {"how much places differ in what they tell", place_weights},
    {"forecasts and what came, and shares reported", forecasts},
};

int schema_latest(void)
{
    return (int)KW_COUNT(migrations);
}

static int note(struct ledger *lg, int number)
{
    struct query q;

    query_open(&q, lg,
               "INSERT INTO migrations (number, name, applied_s) "
               "VALUES ($1, $2, $3)");
    query_i64(&q, number);
    query_text(&q, migrations[number - 1].name);
    query_i64(&q, clock_now_s());
    return query_run(&q);
}

static int apply(struct ledger *lg, int number)
{
    int err = 0;

    log_debug("ledger: migration %d, %s", number, migrations[number - 1].name);
    if (number == 1)
        err = engine_run(lg, "CREATE TABLE migrations ("
                             " number INTEGER PRIMARY KEY,"
                             " name TEXT NOT NULL,"
                             " applied_s INTEGER NOT NULL"
                             ") STRICT");
    if (err == 0)
        err = engine_run(lg, migrations[number - 1].sql);
    if (err == 0)
        err = note(lg, number);
    if (err == 0)
        err = engine_set_version(lg, number);
    return err;
}

int schema_migrate(struct ledger *lg, int upto)
{
    for (;;) {
        int64_t version;
        int err = ledger_begin(lg);

        if (err == 0)
            err = engine_version(lg, &version);
        if (err == 0 && version >= upto) {
            ledger_rollback(lg);
            return 0;
        }
        if (err == 0) {
            int last = version == 0 ? upto : (int)version + 1;

            for (int n = (int)version + 1; err == 0 && n <= last; n++)
                err = apply(lg, n);
        }
        if (err == 0)
            err = ledger_commit(lg);
        if (err < 0) {
            ledger_rollback(lg);
            return err;
        }
    }
}
