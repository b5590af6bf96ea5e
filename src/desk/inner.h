#ifndef KW_DESK_INNER_H
#define KW_DESK_INNER_H
/* inner.h - what the files of the desk share; no other room includes it. */
#include "desk/desk.h"
#include "desk/flow.h"
#include "watch/seep.h"

/* What was asked is remembered so long. */
#define DESK_ASK_KEEPS_S (72 * 3600)

#define FLOOD_PHONES   1024 /* remembered, one for each hash */
#define FLOOD_ANSWERS  240  /* that a phone gets in FLOOD_WINDOW_S */
#define FLOOD_WINDOW_S 3600

/* Answers of late, so that two machines do not answer each other for ever. */
struct flood {
    struct {
        int64_t phone_id, since_s;
        int n;
    } phones[FLOOD_PHONES];
};
enum flood_says { FLOOD_ANSWER, FLOOD_BUSY, FLOOD_SILENT };
enum flood_says flood_count(struct flood *f, int64_t phone_id, int64_t now_s);

struct desk {
    const struct config *conf; /* borrowed */
    struct flood flood;        /* scratch, as that of the reader */
    struct reader *reader;
    const char *image_wrong; /* static words, or NULL */
    struct reader_scratch *scratch;
    struct replies *replies;
    struct menu *menu; /* NULL: the folder has none */
    struct serial_layout layout;
    struct reader_limits limits;
    struct seep_pot moulds[CONFIG_MOULDS_MOST];
};

/* One text under way. */
struct taking {
    struct desk *d;
    struct ledger *lg;
    const struct desk_text *in;
    int64_t text_id;
    int64_t at_s;
    struct ledger_phone phone;
    struct ledger_home home; /* of the phone; id 0 none */
    int n_pots;              /* in that home, as many as there are */
    char own[SERIAL_CAP], own_too[SERIAL_CAP];
    struct reader_meaning m;
    struct ledger_pot pot; /* key 0: none known */
    bool asked_before;     /* a question of the desk stands */
    bool told;             /* it belongs to an illness told of before */
    bool confirmed;        /* the sender has said: it is this pot */
    int64_t asked_text_id; /* the text that a yes is to; 0 none */
    const char *ask;       /* key of the desk's own question, or NULL */
    const char *why;       /* what stands in the ledger for it, or NULL */
    struct seep_flow flow; /* of the measure, when has_flow */
    struct reader_measure measured;
    bool has_flow;
    double water_degc, p_below; /* of that reading */
    struct flow_case life;      /* of the pot's flow; pot_key 0: not begun */
    int verdict;                /* enum flow_verdict, -1 none */
    bool said;                  /* a command has written the answer */
    bool phrased;               /* all of its words come from the grammar */
    bool silent;                /* nothing is answered */
    bool scan;
    char lang[READER_LANG_CAP];
    struct kw_buf reply;
};

/* 1 for those who may report on, and ask about, any pot. */
bool taking_works(const struct taking *t);
/* Something is asked back. */
bool taking_asks(const struct taking *t);
/* Sets t->lang. */
int taking_choose_lang(struct taking *t);

/* desk.c: the mould of that name, else the first one. */
const struct seep_pot *desk_mould(const struct desk *d, const char *name);
/* The carrier by which a phone is reached unasked. */
const char *desk_carrier(const struct desk *d, const struct ledger_phone *p,
                         const struct config_person *person);
/* The configuration's line of that number, or NULL. */
const struct config_person *desk_person(const struct desk *d,
                                        const char *number);
/* The first of the tags that there are replies for; else the programme's. */
const char *desk_lang(const struct desk *d, const char *const *tags, size_t n);

/* filing.c: which pot, and whether it may be filed; sets t->ask. */
int filing_resolve(struct taking *t);
/* Report, observations, flow, the pot's state and what alerts of it. */
int filing_put(struct taking *t);
/* The measure as seep wants it; r->water_degc stays when none was told. */
void filing_measure(const struct config *conf, const struct reader_measure *m,
                    struct seep_reading *r);
/* workshop.c: a flow test of the workshop; from others it is a report. */
void workshop_or_report(struct taking *t);
int workshop_run(struct taking *t);
double desk_water_degc(struct desk *d, struct ledger *lg, int64_t place_id,
                       int64_t at_s);

/* raise.c: alerts and who is told. quiet: nobody. */
struct raise {
    struct desk *d;
    struct ledger *lg;
    int64_t now_s;
    bool quiet;
    const char *key;          /* the text's */
    struct reply_slots slots; /* alert and signs are filled in */
    unsigned signs;           /* put into each one's language */
    int64_t report_id, text_id;
};
int raise_alert(struct raise *r, struct ledger_alert *a, bool *fresh);
int raise_danger(struct taking *t);
int raise_flow(struct taking *t, int64_t report_id);
/* One who works found the pot good: its alert of too fast is closed. */
int raise_settle(struct taking *t);
/* Puts a text out to each coordinator; body by key and slots. */
int raise_tell(struct raise *r, enum ledger_out_kind kind, int priority,
               int64_t alert_id);

/* commands.c: help, language, stop … and the coordinators'. */
int commands_run(struct taking *t);
/* After the yes: the homes of the batch are told. */
int commands_recall(struct taking *t, const char *batch);
int field_run(struct taking *t);
/* The place of that name, whatever its case and marks. Or KW_ENOENT. */
int field_place(struct taking *t, const char *name, struct ledger_place *out);
/* Writes a reply of that key; the text is then answered. */
int commands_say(struct taking *t, const char *key,
                 const struct reply_slots *slots);

/* dialogue.c: what was asked before and is completed now. */
int dialogue_before(struct taking *t, const struct reader_hint *hint);
int dialogue_after(struct taking *t);
/* "Which language?" stands open unless a question on a report does. */
int dialogue_ask_language(struct taking *t);
#endif
