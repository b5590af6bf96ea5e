#ifndef KW_LEDGER_H
#define KW_LEDGER_H
/*
 * ledger.h - what is remembered: one SQLite file, WAL, synchronous FULL,
 * STRICT tables, foreign keys on. A handle belongs to one thread. All times
 * are UTC seconds. Unless said otherwise a function returns 0 or a KW_E code,
 * and logs when the code is KW_ELEDGER.
 */
#include "base/buf.h"

#define LEDGER_NAME_CAP   64
#define LEDGER_PHONE_CAP  24
#define LEDGER_LANG_CAP   12
#define LEDGER_SERIAL_CAP 16
#define LEDGER_BODY_CAP   1601 /* a text out with NUL */

struct ledger;

struct ledger_settings {
    const char *file;
    bool read_only; /* pages, scans, show */
    bool watch;     /* with read_only: for ledger_data_version() alone */
    bool create;    /* make it when it is not there */
    bool older_too; /* with read_only: one of an older version, to copy it */
    int cache_mib, checkpoint_pages; /* 0: the defaults 8, 1000 */
};

/*
 * Opens and migrates (unless read_only). KW_EVERSION: made by a newer
 * program, nothing was touched. KW_ENOENT: no such file and !create. *why
 * (may be NULL) is a sentence for the user, the caller's to kw_free.
 */
int ledger_open(const struct ledger_settings *set, struct ledger **out,
                char **why);
void ledger_close(struct ledger *lg);

/* ---- transactions: begin, then savepoints inside ---- */
int ledger_begin(struct ledger *lg); /* BEGIN IMMEDIATE */
int ledger_commit(struct ledger *lg);
void ledger_rollback(struct ledger *lg);
int ledger_savepoint(struct ledger *lg);
int ledger_release(struct ledger *lg);
void ledger_undo(struct ledger *lg);            /* back to the savepoint */
bool ledger_disk_full(const struct ledger *lg); /* of the last failure */

/* ---- phones: anyone who texts or is texted ---- */
enum ledger_role {
    LEDGER_HOUSEHOLD,
    LEDGER_FIELD,
    LEDGER_WORKSHOP,
    LEDGER_COORDINATOR,
    LEDGER_ROLES
};
const char *ledger_role_name(enum ledger_role r); /* "household" … */
int ledger_role_from_name(const char *name);

struct ledger_phone {
    int64_t id; /* E.164 digits as an integer; negative for other senders */
    char number[LEDGER_PHONE_CAP];   /* "+226…", a short code or a name */
    char lang[LEDGER_LANG_CAP];      /* chosen language, "" none */
    char lang_seen[LEDGER_LANG_CAP]; /* that of its last clear text */
    enum ledger_role role;
    bool stopped;
    char carrier[LEDGER_NAME_CAP]; /* that its last text came by */
    char name[LEDGER_NAME_CAP];
    int64_t last_chat_reply_s; /* not-a-report answered at most once a day */
    bool asked;                /* read only: asking_get() finds something */
};
/* Finds or makes; a number that is not E.164 is kept as it is. */
int ledger_phone_take(struct ledger *lg, const char *number,
                      struct ledger_phone *out);
int ledger_phone_get(struct ledger *lg, int64_t id, struct ledger_phone *out);
int ledger_phone_find(struct ledger *lg, const char *number,
                      struct ledger_phone *out); /* KW_ENOENT; makes none */
int ledger_phone_put(struct ledger *lg, const struct ledger_phone *p);

/* ---- places, homes, pots, batches ---- */
struct ledger_place {
    int64_t id;
    char name[LEDGER_NAME_CAP];
    char lang[LEDGER_LANG_CAP];
    double water_degc[12];   /* monthly mean, NaN where not known */
    double lat_deg, lon_deg; /* WGS 84, NaN not known */
    double
        reported_share; /* of all failures there, by a survey; NaN or 0 none */
};
int ledger_place_get(struct ledger *lg, int64_t id, struct ledger_place *out);
/* Of that month (1 to 12) alone. KW_ENOENT: not known. */
int ledger_place_water(struct ledger *lg, int64_t id, int month, double *degc);
int ledger_place_find(struct ledger *lg, const char *name,
                      struct ledger_place *out);

struct ledger_home {
    int64_t id;
    char code[LEDGER_NAME_CAP]; /* the programme's own name for it */
    int64_t place_id, phone_id; /* 0 none */
    char lang[LEDGER_LANG_CAP];
    int people;
    int consent; /* to be texted: 1 yes, 0 no, -1 not asked */
};
int ledger_home_get(struct ledger *lg, int64_t id, struct ledger_home *out);
int ledger_home_find(struct ledger *lg, const char *code,
                     struct ledger_home *out);
int ledger_home_of_phone(struct ledger *lg, int64_t phone_id,
                         struct ledger_home *out);

struct ledger_pot {
    int64_t key; /* serial_key() */
    char serial[LEDGER_SERIAL_CAP];
    int64_t batch_id;
    char mould[LEDGER_NAME_CAP]; /* "" that of its batch: */
    /* of its batch, read only: */
    char batch_mould[LEDGER_NAME_CAP]; /* "" the default */
    double batch_mean_l, batch_max_l;  /* of its tests; NaN none */
    double batch_slope, batch_gain;    /* learnt, drift.h; NaN not yet */
    char shelf[LEDGER_NAME_CAP]; /* of the kiln it was fired on, "" not noted */
    double test_l;    /* first hour at 25 degC of its own test, NaN none */
    int64_t failed_s; /* first report of crack, leak or broken; 0 none */
    bool scrapped;
    int64_t recalled_s;    /* its batch was recalled; 0 not */
    int64_t fast_alert_id; /* of too fast, while it stands; 0 none */
    /* where it is now; home_id 0 when it was not handed out or came back */
    int64_t home_id, phone_id, place_id, given_s, handover_id;
    /* flow so far */
    double last_flow_l, last_flow_log_se; /* NaN none */
    int64_t last_flow_s;
    int low_before; /* low readings in a row */
    int64_t last_low_s, last_scrub_s;
};
int ledger_pot_get(struct ledger *lg, int64_t key, struct ledger_pot *out);
/* Pots now in the homes of that phone; returns how many, writes up to most. */
int ledger_pots_of_phone(struct ledger *lg, int64_t phone_id, int64_t *keys,
                         int most);
/* Only the first one counts; 0 as well for a later one and an unknown pot. */
int ledger_pot_fail(struct ledger *lg, int64_t key, int64_t at_s,
                    int64_t report_id);
int ledger_pot_scrubbed(struct ledger *lg, int64_t key, int64_t at_s);
/* The newest reports of a pot, in any home; returns how many, up to most. */
int ledger_pot_reports(struct ledger *lg, int64_t key, int64_t *ids, int most);
/*
 * A pot is handed to a home; an earlier hand-over of it ends then. When it is
 * there already, *id is that hand-over and nothing changes. KW_EINVAL when
 * the pot was handed on or came back later than at_s.
 */
int ledger_handover_put(struct ledger *lg, int64_t pot_key, int64_t home_id,
                        int64_t at_s, int64_t *id);
/* KW_ENOENT when it is in no home, KW_EINVAL before it was given. */
int ledger_handover_end(struct ledger *lg, int64_t pot_key, int64_t at_s,
                        const char *reason);

struct ledger_batch {
    int64_t id;
    char code[LEDGER_NAME_CAP];
    int64_t pressed_s, fired_s, silvered_s; /* 0 not known */
    int64_t recalled_s;                     /* 0 not recalled */
    char workshop[LEDGER_NAME_CAP], mould[LEDGER_NAME_CAP];
    /* mix */
    char clay_pit[LEDGER_NAME_CAP], presser[LEDGER_NAME_CAP];
    double sawdust_pct, sawdust_mesh, drying_days; /* NaN not known */
    /* firing */
    char kiln[LEDGER_NAME_CAP], cone[LEDGER_NAME_CAP];
    double peak_degc, soak_min, cooling_h;
    /* silver */
    double silver_mg; /* a pot */
    /* flow tests, first hour at 25 degC, of the pots accepted */
    int tested, accepted;
    double test_mean_l, test_min_l, test_max_l;
    int pots, pots_out, failed;
};
int ledger_batch_get(struct ledger *lg, int64_t id, struct ledger_batch *out);
int ledger_batch_find(struct ledger *lg, const char *code,
                      struct ledger_batch *out);
/* From then on no pot of it is to be drunk from; the first time counts. */
int ledger_batch_recall(struct ledger *lg, int64_t id, int64_t at_s);

/* ---- texts ---- */
struct ledger_text_in {
    int64_t id; /* written by ledger_text_in_put */
    const char *carrier;
    const char *ref;  /* the carrier's own id, or NULL: none, never a repeat */
    const char *twin; /* a second one by which it may be known, or NULL */
    int64_t phone_id;
    int64_t at_s;     /* received, own clock */
    int64_t sent_s;   /* as the carrier claims, 0 none */
    const char *body; /* octets as they came; len of them */
    size_t len;
};
/*
 * KW_EDUP when carrier and ref or twin came before within seven days: then
 * t->id is the earlier text and nothing was changed.
 */
int ledger_text_in_put(struct ledger *lg, struct ledger_text_in *t);
/*
 * The carriers' ids (refs) of its texts since that time, oldest first; a
 * negative return of f stops and is returned.
 */
int ledger_refs_each(struct ledger *lg, const char *carrier, int64_t since_s,
                     int (*f)(const char *ref, void *arg), void *arg);
/* What was made of it. Names as in reader.h, NULL none; ids 0 none. */
struct ledger_reading {
    const char *outcome, *why, *command, *lang;
    int64_t pot_key;
    unsigned danger;
    int64_t answer_id; /* the outbox row that answers it; a repeat finds it */
};
int ledger_text_in_read(struct ledger *lg, int64_t id,
                        const struct ledger_reading *r);
/* The answer that a text got, "" none. KW_ENOENT when there is no text. */
int ledger_answer_of(struct ledger *lg, int64_t text_id, struct kw_buf *out,
                     int64_t *outbox_id);
/*
 * Drops the words of texts in and out from before that time, at most so many
 * of each; what was made of them stays. Returns how many, 0 when all is done.
 */
int ledger_words_drop(struct ledger *lg, int64_t before_s, int most);

/* ---- reports ---- */
struct ledger_obs {
    const char *kind;    /* reader_kind_name */
    const char *measure; /* "drop", "yield" or NULL */
    const char *unit;    /* "finger" …, or NULL */
    double value, minutes;
    double start_cm; /* told height of the water before; 0 not told */
    bool warm;       /* the water's temperature was told: */
    double water_degc;
    int people, under5;
    unsigned signs;
    const char *part; /* or NULL */
};
struct ledger_decision; /* drift.h */
struct ledger_flow {
    double first_hour_l, log_se, k_m_s, water_degc, p_below;
    const char *verdict;                    /* flow_verdict_name */
    const struct ledger_decision *decision; /* kept with it; NULL none */
};
struct ledger_report {
    int64_t id;                                            /* written */
    int64_t text_id, phone_id, pot_key, home_id, place_id; /* 0 none */
    int64_t at_s;
    bool test;                      /* of the workshop, not of a home */
    const struct ledger_flow *flow; /* what its measure comes to, NULL none */
};
/*
 * The pot follows the flow: low_before counts the verdicts "scrub" and
 * "replace" in a row and "fine" ends them. "stop" leaves the pot's last flow
 * as it was, so that a crack never becomes its new normal; so does a reading
 * that is older than it.
 */
int ledger_report_put(struct ledger *lg, struct ledger_report *r,
                      const struct ledger_obs *obs, size_t n_obs);

/* ---- outbox ---- */
enum ledger_send {
    LEDGER_WAITING,
    LEDGER_FLYING,
    LEDGER_SENT,
    LEDGER_FAILED,
    LEDGER_EXPIRED,
    LEDGER_PERHAPS
};
enum ledger_out_kind {
    LEDGER_REPLY,
    LEDGER_ALERT,
    LEDGER_DIGEST,
    LEDGER_REMINDER
};
/* Smaller goes first. */
enum {
    LEDGER_PRIORITY_DANGER = 0,
    LEDGER_PRIORITY_ALERT = 1,
    LEDGER_PRIORITY_REPLY = 2,
    LEDGER_PRIORITY_DIGEST = 3
};

struct ledger_out {
    int64_t id; /* written */
    int64_t phone_id;
    char to[LEDGER_PHONE_CAP]; /* read only: the phone's number */
    char carrier[LEDGER_NAME_CAP];
    enum ledger_out_kind kind;
    int priority;
    int64_t at_s, due_s, expires_s;
    int64_t text_id, alert_id; /* 0 none */
    int tries;
    const char *gone; /* put only: it leaves with the commit, SENT with this
                         note; NULL: it waits */
    bool phrase;      /* put only: its words, but for figures, are those of
                         the grammar, and are kept once: phrases.h */
    char body[LEDGER_BODY_CAP];
};
int ledger_out_put(struct ledger *lg, struct ledger_out *o);
#define LEDGER_CONSOLE "console" /* carrier of the terminal: costs nothing */
/*
 * Up to most that are due for the carrier, marked FLYING with one more try,
 * highest priority first; expired ones are marked EXPIRED on the way.
 * Returns how many.
 */
int ledger_out_claim(struct ledger *lg, const char *carrier, int64_t now_s,
                     struct ledger_out *out, int most);
/* The same with what holds texts back; those are due again later. */
#define LEDGER_GROUP_MOST 8
struct ledger_claim {
    const char *carrier;
    int64_t now_s;
    /* Others that share the load: their texts that were due by then are
     * claimed too, after its own of the same priority, and become its own. */
    const char *others[LEDGER_GROUP_MOST];
    int n_others;
    int64_t others_due_s;
    int64_t quiet_until_s; /* reminders and digests wait till then; 0 none */
    int64_t spent_until_s; /* what is no danger waits when the segments are
                              used up; 0: no ceiling */
    int64_t segments_left;
};
int ledger_out_claim_within(struct ledger *lg, const struct ledger_claim *c,
                            struct ledger_out *out, int most);
/* SENT and PERHAPS count as segments sent on the local day of at_s. */
int ledger_out_settle(struct ledger *lg, int64_t id, enum ledger_send state,
                      int64_t at_s, const char *note);
int ledger_out_again(struct ledger *lg, int64_t id, int64_t due_s,
                     const char *note); /* WAITING once more */
/* It goes by that carrier from now on. Not for what is in flight. */
int ledger_out_hand_on(struct ledger *lg, int64_t id, const char *carrier);
/*
 * After a crash: what was FLYING goes back to WAITING for carriers that carry
 * an id along (repeat_safe). Otherwise danger goes back too, marked as perhaps
 * sent twice (better twice than never), and the rest is PERHAPS. Returns how
 * many.
 */
int ledger_out_recover(struct ledger *lg, const char *carrier,
                       bool repeat_safe);
/* Due time of the next waiting one of the carrier; KW_ENOENT none. */
int ledger_out_next_due(struct ledger *lg, const char *carrier, int64_t *due_s);

/* ---- alerts: one is open per kind and subject ---- */
enum ledger_alert_kind {
    LEDGER_ALERT_DANGER,
    LEDGER_ALERT_FAST,
    LEDGER_ALERT_BREAKAGE,
    LEDGER_ALERT_LOW_FLOW,
    LEDGER_ALERT_KINDS
};
const char *ledger_alert_kind_name(enum ledger_alert_kind k);
enum ledger_subject {
    LEDGER_ON_POT,
    LEDGER_ON_BATCH,
    LEDGER_ON_HOME,
    LEDGER_ON_PHONE,
    LEDGER_ON_PLACE
};
enum ledger_alert_state { LEDGER_OPEN, LEDGER_SEEN, LEDGER_CLOSED };

struct ledger_alert {
    int64_t id;
    enum ledger_alert_kind kind;
    enum ledger_subject on;
    int64_t subject_id;
    enum ledger_alert_state state;
    int64_t opened_s, changed_s, seen_s, closed_s;
    int64_t seen_by, closed_by;   /* phone ids, 0 none */
    int reports;                  /* gathered so far */
    unsigned signs;               /* danger: all signs gathered */
    double observed, expected, p; /* breakage; or flow: litres, -, P */
    char words[256];              /* one line for people, no phone number */
};
/*
 * Opens the alert, or adds to the open (or seen) one of that kind and
 * subject. a->id is written; *fresh tells that it was opened now. signs are
 * or-ed, numbers replaced, report_id (0 none) and text_id (0 none) gathered.
 */
int ledger_alert_raise(struct ledger *lg, struct ledger_alert *a,
                       int64_t report_id, int64_t text_id, bool *fresh);
/* The one of that kind, on and subject_id that is not closed; KW_ENOENT. */
int ledger_alert_standing(struct ledger *lg, const struct ledger_alert *a,
                          int64_t *id);
/* Gathers the reports by which pots of the batch, or of the delivery to the
 * place on the day that begins then, failed first. */
int ledger_alert_gather_batch(struct ledger *lg, int64_t alert_id,
                              int64_t batch_id);
int ledger_alert_gather_delivery(struct ledger *lg, int64_t alert_id,
                                 int64_t place_id, int64_t day_s);
int ledger_alert_get(struct ledger *lg, int64_t id, struct ledger_alert *out);
/* seen or closed; KW_EDUP when it was already so. */
int ledger_alert_mark(struct ledger *lg, int64_t id,
                      enum ledger_alert_state state, int64_t at_s,
                      int64_t by_phone_id);
/* Calls back for each, newest last; a negative return of f stops. */
int ledger_alerts_each(struct ledger *lg, bool open_only, int64_t since_s,
                       int (*f)(const struct ledger_alert *, void *),
                       void *arg);

/* ---- small marks: key -> integer (last digest, scan marks …) ---- */
int ledger_mark_get(struct ledger *lg, const char *key, int64_t *value);
int ledger_mark_put(struct ledger *lg, const char *key, int64_t value);

/*
 * Copies the ledger as it is now into a new file while others go on writing,
 * checks the copy (integrity, references, the rows of every table) and only
 * then gives it its name. progress (may be NULL) is told pages. KW_EDUP: the
 * file is there and !replace; KW_EINVAL: it is the ledger. *why as for
 * ledger_open.
 */
struct ledger_backup {
    const char *file;
    bool replace;
    void (*progress)(int pages_left, int pages, void *arg);
    void *arg;
    int64_t rows, octets; /* written: of the copy */
};
int ledger_backup(struct ledger *lg, struct ledger_backup *b, char **why);

/* Changes whenever another connection has committed. */
int ledger_data_version(struct ledger *lg, int64_t *version);
#endif
