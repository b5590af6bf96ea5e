#ifndef KW_LOOK_H
#define KW_LOOK_H
/*
 * look.h - what pages, exports and `show` read. Nothing here writes. Lists
 * come row by row through a callback, oldest first unless said otherwise; a
 * row is borrowed for the call and a negative return of the callback stops
 * the list and is returned. Functions return 0 or a KW_E code.
 */
#include "ledger/ledger.h"

#define LOOK_WORD_CAP 16
#define LOOK_OBS_MOST 8

/* By what a list is chosen. */
enum look_by { LOOK_POT, LOOK_BATCH, LOOK_HOME, LOOK_PLACE, LOOK_ALL };
struct look_of {
    enum look_by by;
    int64_t id;      /* of the pot (its key), batch, home or place */
    bool now_only;   /* hand-overs: leave out those that ended */
    int most;        /* reports: so many at most, 0 all */
    int64_t since_s; /* unfiled texts: from then on */
};

/* A pot's time in a home. */
struct look_handover {
    int64_t id, pot_key, home_id, place_id;
    char serial[LEDGER_SERIAL_CAP]; /* canonical */
    char batch[LEDGER_NAME_CAP];
    char home[LEDGER_NAME_CAP], place[LEDGER_NAME_CAP];
    char phone[LEDGER_PHONE_CAP];
    int64_t given_s, ended_s;     /* ended 0: it is there now */
    char reason[LEDGER_NAME_CAP]; /* why it ended, "" not known */
    int64_t failed_s;             /* of the pot, 0 none */
    double flow_l; /* the pot's last first-hour litres, NaN none */
    int64_t flow_s;
};
int look_handovers(struct ledger *lg, const struct look_of *of,
                   int (*f)(const struct look_handover *, void *), void *arg);

struct look_obs {
    char kind[LOOK_WORD_CAP];
    char measure[LOOK_WORD_CAP], unit[LOOK_WORD_CAP]; /* "" none */
    double value, minutes;
    double start_cm, water_degc; /* as told, NaN not */
    int people, under5;
    unsigned signs;
    char part[LOOK_WORD_CAP];
};

/* One report with what was made of it; or a text that was only asked about. */
struct look_report {
    int64_t id;      /* 0: a text that led to no report */
    int64_t text_id; /* 0: filed without a text */
    int64_t at_s;
    int64_t pot_key;
    char serial[LEDGER_SERIAL_CAP];
    char home[LEDGER_NAME_CAP], place[LEDGER_NAME_CAP];
    char phone[LEDGER_PHONE_CAP];
    bool test;                                       /* of the workshop */
    char outcome[LOOK_WORD_CAP], why[LOOK_WORD_CAP]; /* of the text */
    struct look_obs obs[LOOK_OBS_MOST];
    size_t n_obs;
    /* flow, NaN and "" when it had no measure */
    double first_hour_l, log_se, p_below;
    char verdict[LOOK_WORD_CAP];
};
/*
 * Newest first for LOOK_HOME and LOOK_PLACE. There is no list by batch
 * (KW_EINVAL).
 */
int look_reports(struct ledger *lg, const struct look_of *of,
                 int (*f)(const struct look_report *, void *), void *arg);

/* Texts about the pot that led to no report, as rows with id 0. */
int look_unfiled(struct ledger *lg, const struct look_of *of,
                 int (*f)(const struct look_report *, void *), void *arg);

struct look_flow {
    int64_t report_id, pot_key, at_s;
    char serial[LEDGER_SERIAL_CAP];
    char batch[LEDGER_NAME_CAP];
    double first_hour_l, log_se, k_m_s, water_degc, p_below;
    char verdict[LOOK_WORD_CAP];
};
int look_flows(struct ledger *lg, int (*f)(const struct look_flow *, void *),
               void *arg); /* all */

/* Alerts on the thing itself, and on its pots, batch, homes or phones. */
int look_alerts(struct ledger *lg, const struct look_of *of,
                int (*f)(const struct ledger_alert *, void *), void *arg);

/* What an alert has gathered. */
struct look_gathered {
    int64_t text_id, report_id, at_s; /* ids 0 none */
    int64_t pot_key;
    char serial[LEDGER_SERIAL_CAP];
    char home[LEDGER_NAME_CAP], place[LEDGER_NAME_CAP];
    char phone[LEDGER_PHONE_CAP];
    const char *words; /* as they came, len octets; NULL once dropped */
    size_t len;
    char outcome[LOOK_WORD_CAP];
};
int look_gathered(struct ledger *lg, int64_t alert_id,
                  int (*f)(const struct look_gathered *, void *), void *arg);
/* Code, serial, number or name of what an alert is about. */
int look_subject(struct ledger *lg, const struct ledger_alert *a, char *dst,
                 size_t cap);

/* ---- whole tables, in the order they were written, for exports ---- */
struct look_text {
    int64_t id, at_s, sent_s; /* sent 0: not claimed */
    char carrier[LEDGER_NAME_CAP], phone[LEDGER_PHONE_CAP];
    char outcome[LOOK_WORD_CAP], why[LOOK_WORD_CAP], command[LOOK_WORD_CAP];
    char lang[LEDGER_LANG_CAP];
    char serial[LEDGER_SERIAL_CAP];
    unsigned danger;
    const char *words; /* as they came, len octets; NULL once dropped */
    size_t len;
};
int look_texts(struct ledger *lg, int (*f)(const struct look_text *, void *),
               void *arg);

struct look_pot {
    char serial[LEDGER_SERIAL_CAP];
    char batch[LEDGER_NAME_CAP], mould[LEDGER_NAME_CAP];
    bool scrapped;
    char shelf[LEDGER_NAME_CAP]; /* of the kiln, "" not noted */
    double test_l;               /* NaN none */
    int outings;                 /* hand-overs so far */
    int64_t given_s;             /* of the latest, 0 none */
    int64_t ended_s, failed_s;
    char home[LEDGER_NAME_CAP]; /* where it is now, "" nowhere */
    double flow_l;              /* last reading, NaN none */
    int64_t flow_s;
};
/* Pots of which a shelf is noted, by key. */
struct look_shelf {
    int64_t pot_key;
    const char *shelf; /* borrowed for the call */
};
int look_shelves(struct ledger *lg, int (*f)(const struct look_shelf *, void *),
                 void *arg);
int look_pots(struct ledger *lg, int (*f)(const struct look_pot *, void *),
              void *arg);

struct look_home {
    char code[LEDGER_NAME_CAP], place[LEDGER_NAME_CAP];
    char phone[LEDGER_PHONE_CAP], lang[LEDGER_LANG_CAP];
    int people, consent; /* consent 1 yes, 0 no, -1 not asked */
    bool stopped;
};
int look_homes(struct ledger *lg, int (*f)(const struct look_home *, void *),
               void *arg);

struct look_out {
    int64_t id, at_s, due_s, expires_s, settled_s, text_id, alert_id;
    char phone[LEDGER_PHONE_CAP], carrier[LEDGER_NAME_CAP];
    enum ledger_out_kind kind;
    enum ledger_send state;
    int priority, tries;
    const char *note, *words; /* "" none */
};
int look_outbox(struct ledger *lg, int (*f)(const struct look_out *, void *),
                void *arg);

int look_batches(struct ledger *lg,
                 int (*f)(const struct ledger_batch *, void *), void *arg);

/* ---- places ---- */
/* Those of which it is known where they are, by name. */
struct look_spot {
    int64_t place_id;
    const char *name; /* borrowed for the call */
    double lat_deg, lon_deg;
};
int look_spots(struct ledger *lg, int (*f)(const struct look_spot *, void *),
               void *arg);

#define LOOK_PLACE_S (30 * 86400) /* reports are counted so far back */
struct look_place_counts {
    int homes, pots_now, pots_ever, failed, stopped_phones;
    int reports, ill, under5; /* of the last LOOK_PLACE_S; people ill */
};
int look_place_counts(struct ledger *lg, int64_t place_id, int64_t now_s,
                      struct look_place_counts *out);

/* ---- the line ---- */
#define LOOK_OUTCOMES 5     /* filed, asked, command, not a report, unread */
#define LOOK_SLACK_S  86400 /* texts out may stand so much out of order */
struct look_line {
    int64_t in_today[LOOK_OUTCOMES], in_week[LOOK_OUTCOMES];
    int64_t out_today[LEDGER_PERHAPS + 1], out_week[LEDGER_PERHAPS + 1];
    int64_t waiting, flying; /* all that stand so now */
    int64_t waiting_since_s; /* of the oldest waiting, 0 none */
    int64_t last_text_s;     /* 0 none */
    int64_t open_alerts, seen_alerts;
    int64_t pots, pots_out, homes, batches, places, texts, reports;
    char last_error[128]; /* note of the week's last failed text out */
};
int look_line(struct ledger *lg, int64_t today_s, int64_t week_s,
              struct look_line *out);

/* ---- names near to one that is not there ---- */
#define LOOK_NEAR_MOST 5
struct look_near {
    char names[LOOK_NEAR_MOST][LEDGER_NAME_CAP];
    int n;
};
/* by: LOOK_BATCH, LOOK_HOME or LOOK_PLACE; the nearest first. */
int look_near(struct ledger *lg, enum look_by by, const char *name,
              struct look_near *out);
#endif
