#ifndef KW_CONFIG_H
#define KW_CONFIG_H
/*
 * config.h - one file says everything a programme sets. Every key stands in
 * deploy/kilnword.conf with its default and what it is for. Unknown keys and
 * bad values are faults with their line.
 */
#include "base/fault.h"

#define CONFIG_CARRIERS_MOST 8
#define CONFIG_PEOPLE_MOST   64
#define CONFIG_MOULDS_MOST   16
#define CONFIG_HEADERS_MOST  8

enum config_carrier_kind {
    CONFIG_HTTP,
    CONFIG_SPOOL,
    CONFIG_SMPP,
    CONFIG_MODEM
};
enum config_form { CONFIG_FORM_URLENCODED, CONFIG_FORM_JSON, CONFIG_FORM_ANY };

struct config_http_in {
    char *path; /* "/in" */
    enum config_form form;
    char *field_from, *field_to, *field_text, *field_id, *field_at;
    char *field_secret;     /* NULL: not in a field */
    char *header_secret;    /* header that carries the shared secret, or NULL */
    char *secret;           /* shared secret, NULL when none */
    char *header_signature; /* header with HMAC-SHA256 of the body, or NULL */
    char *hmac_key;         /* its key, NULL when none */
    char *hmac_key_old;     /* a second key accepted during a change, or NULL */
    int body_most;          /* octets; a larger body is answered 413 */
    int per_minute;         /* texts a minute from one address; 0 unlimited */
    bool reply_in_body;     /* the answer stands in the response itself */
};

struct config_http_out {
    char *url;    /* template; NULL: nothing goes out this way */
    char *method; /* "POST" */
    char *headers[CONFIG_HEADERS_MOST]; /* "Name: value" templates */
    size_t n_headers;
    char *body;                /* template */
    char *username, *password; /* basic authentication, or NULL */
    int timeout_s;             /* whole request: 20 */
    int in_flight;             /* requests at once: 4 */
    char *id_field; /* JSON field of the answer with its id, or NULL */
};

struct config_receipts { /* the far side calls about what it delivered */
    char *path;          /* NULL: it does not */
    char *field_id, *field_state; /* its id of the text; what became of it */
    char *delivered, *failed;     /* words of that field, "a b c" */
};

struct config_menu { /* screens for phones without words, by HTTP */
    char *path;      /* NULL: none */
    char *field_session, *field_from, *field_input;
    char *field_step; /* the far side's id of one step, or NULL */
    char *field_gone; /* the field that is there when the caller hung up */
    bool whole;       /* the input is all presses so far, "1*24*3" */
    char *answer, *answer_type; /* template: {mark} {text} */
    char *mark_on, *mark_end;   /* for {mark}: more is asked; over */
};

struct config_spool {
    char *in, *out; /* folders */
    int poll_s;     /* look at least this often: 2 */
};

struct config_smpp { /* an ESME's session with a message centre */
    char *host;      /* name or address */
    int port;        /* 2775 */
    bool tls;
    char *tls_ca; /* file of certificates, NULL: the system's */
    char *bind;   /* "transceiver", or "separate": a transmitter and a
                     receiver */
    char *system_id, *password, *system_type, *address_range;
    char *source; /* what texts come from: short code, number, name */
    char *service_type;
    char *alphabet;     /* of data_coding 0: "gsm7" … */
    char *shift_tables; /* language whose tables may be used, "" none */
    char *long_text;    /* "udh", "udh16", "sar", "payload" */
    int window;         /* submit_sm that await an answer: 10 */
    double per_second;  /* submit_sm; 0 no limit of ours */
    int enquire_link_s, response_s; /* 30, 10 */
    bool receipts;                  /* ask for them */
    char *receipt_id;               /* "same", "hex", "decimal" */
    char *parts;    /* file for parts of long texts, NULL: by the ledger */
    char *statuses; /* "0x410 again …": what a command_status means here */
    char *ussd_service_type; /* of the screens of menus: "USSD" */
    int ussd_session_tag;    /* TLV that names a session: 0x1383 */
};

struct config_modem { /* a modem on a serial line */
    char *device;     /* "/dev/serial/by-id/…" */
    int speed;        /* bits a second: 115200 */
    char *pin;        /* of the card, NULL none */
    char *centre;     /* service centre, "" the card's own */
    char *memory;     /* "SM", "ME", "MT", "auto" as the modem has it */
    char *shift_tables;
    bool receipts;
    int send_s;          /* a text may take: 120 */
    int poll_s;          /* look at signal and store: 60 */
    char *credit_code;   /* asks the network what is left, "*123#"; NULL none */
    int credit_every_h;  /* 24 */
    char *credit_after;  /* the amount stands after these words; "" anywhere */
    double credit_below; /* coordinators are told below that; 0 never */
};

struct config_carrier {
    char *name; /* unique; stands in the ledger */
    enum config_carrier_kind kind;
    struct config_http_in in;
    struct config_http_out out;
    struct config_receipts receipts;
    struct config_spool spool;
    struct config_smpp smpp;
    struct config_modem modem;
    struct config_menu menu;
    int per_minute; /* texts out; 0 as many as it takes */
    char *stand_in; /* carrier that takes over when it is down, or "" */
    char *group;    /* carriers of one name share the load; "" alone */
    int line;
};

struct config_person { /* who gets alerts and may command */
    char *phone, *role, *lang, *name, *carrier;
    int line;
};

#define CONFIG_PROFILE_MOST 32
struct config_mould {
    char *name, *shape;
    double base_radius_mm, rim_radius_mm, depth_mm, wall_mm, base_mm;
    /* shape "profile": points of a turned pot from the base up, each height,
     * inner radius and thickness */
    double profile_mm[CONFIG_PROFILE_MOST][3];
    size_t n_profile;
    int line;
};

struct config {
    char *file;
    /* programme */
    char *name, *zone, *lang, *country_code, *national_prefix;
    int national_least,
        national_most; /* digits of a national number; 0: 7, 14 */
    char *clinic;      /* what to call help, or "" ; goes into replies */
    char *line_number; /* the number that people text, for the page */
    /* listen */
    char *listen_address; /* "127.0.0.1" */
    int listen_port;      /* 8040 */
    int connections_most; /* 512 */
    /* ledger */
    char *ledger_file;
    int group_most;       /* texts in one commit: 256 */
    int checkpoint_pages; /* 1000 */
    int cache_mib;        /* 8 */
    /* grammar */
    char *grammar_folder;
    char *grammar_image; /* or NULL: beside the words */
    /* serial */
    char *serial_check; /* "97-10" */
    int serial_batch, serial_pot;
    /* pot and measures */
    struct config_mould moulds[CONFIG_MOULDS_MOST]; /* [0] is the default */
    size_t n_moulds;
    double finger_cm, finger_se_cm, cup_l, cup_se_l, bottle_l, bottle_se_l;
    double level_se_cm; /* of a fall told in centimetres, each reading */
    double full_se_cm;  /* how far "full" is from the rim */
    double water_degc;  /* when the place has none */
    /* flow rule */
    double accept_min_l, accept_max_l, replace_below_l, fast_factor,
        rise_factor;
    int remeasure_days;
    /* the filter and what it says: watch/potflow.h */
    double rise_early_factor, settle_days, crack_factor;
    double ask_scrub_p, replace_p, outlier_sd;
    double first_l, first_sd, slope_day, slope_sd; /* sd of ln; a day */
    double reading_sd, level_wander, slope_wander; /* wander: variance a day */
    double scrub_gain, scrub_sd, scrub_days;
    double least_l, most_l; /* a flow outside is a mistake, and asked about */
    /* watch */
    double breakage_p;  /* alert below: 0.001 */
    int breakage_least; /* failures at least: 3 */
    /* what to press */
    double need_share;         /* of failures that are reported: 0.6 */
    double need_slow_replaced; /* of pots too slow, those exchanged: 1 */
    double need_passed;        /* of pressed pots that pass the tests: 0.8 */
    double need_lead_days;     /* from pressing to a pot ready to go: 30 */
    double need_kiln_pots;     /* of one firing: 50 */
    double need_press_minutes; /* a pot: 10 */
    double need_press_hours;   /* of a press-day: 8 */
    /* outbox */
    int reply_expires_s;                    /* 86400 */
    int alert_expires_s;                    /* 259200 */
    int tries_most;                         /* 8 */
    int retry_first_s, retry_longest_s;     /* 5, 900 */
    int quiet_from_minute, quiet_to_minute; /* of the local day; -1 off */
    int take_over_s;    /* a carrier down so long is stood in for: 300 */
    int segments_a_day; /* no more, but for danger; 0 no ceiling */
    int segments_alarm_percent; /* of that: coordinators are told; 80 */
    /* menu */
    int menu_keep_s; /* a caller who was cut off may go on: 600 */
    /* digest */
    int digest_minute; /* minute of the local day: 7:00 -> 420; -1 off */
    /* privacy */
    char *pseudonym_key;
    int text_keep_days; /* raw words are dropped after: 365; 0 never */
    /* people and carriers */
    struct config_person people[CONFIG_PEOPLE_MOST];
    size_t n_people;
    struct config_carrier carriers[CONFIG_CARRIERS_MOST];
    size_t n_carriers;
    char *default_carrier; /* texts that answer nothing go this way */
};

/*
 * Reads the file; relative paths in it are taken from the file's folder.
 * Returns 0, or KW_ESYNTAX / KW_EIO with the faults added; *out is then NULL.
 * path NULL: the defaults alone.
 */
int config_load(const char *path, struct fault_list *faults,
                struct config **out);
/*
 * The same for whoever goes on after the faults: with KW_ESYNTAX *out is what
 * could be read, with the defaults for the rest.
 */
int config_load_part(const char *path, struct fault_list *faults,
                     struct config **out);
void config_free(struct config *c);
/* Whether the carrier of that name can send, not only take: false for one of
 * kind http without `out`, and for a name that is none. */
bool config_can_send(const struct config *c, const char *carrier);
#endif
