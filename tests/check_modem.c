/*
 * check_modem.c - lines and errors of AT, and the dialogue with a made-up
 * modem and clock. TS 27.005, TS 27.007, V.250.
 */
#include "carrier/at.h"
#include "carrier/modem_dialog.h"
#include "carrier/ussd.h"
#include "vectors.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- lines ---- */

START_TEST(lines)
{
    static const char octets[] = "\r\nOK\r\n\r\n  +CSQ: 17,99\r\n\r\n> \r\n>x\r"
                                 "a\x01\x80"
                                 "b\r\n\r\n";
    static const char *const want[] = {"OK", "+CSQ: 17,99", ">",
                                       ">",  "x",           "ab"};
    struct at_reader r = {0};
    const char *p = octets;
    size_t len = sizeof(octets) - 1, used, n = 0;

    while (at_next(&r, p, len, &used)) {
        ck_assert_uint_lt(n, KW_COUNT(want));
        ck_assert_str_eq(r.line, want[n++]);
        p += used;
        len -= used;
    }
    ck_assert_uint_eq(n, KW_COUNT(want));
}
END_TEST

/* A line that is too long is dropped, and the next one is read. */
START_TEST(long_line)
{
    struct at_reader r = {0};
    size_t used;

    for (int i = 0; i < 3 * AT_LINE_CAP; i++)
        ck_assert(!at_next(&r, "y", 1, &used));
    ck_assert(!at_next(&r, "\r\n", 2, &used));
    ck_assert(at_next(&r, "OK\r", 3, &used));
    ck_assert_str_eq(r.line, "OK");
}
END_TEST

START_TEST(kinds)
{
    static const struct {
        const char *line;
        enum at_kind kind;
        int code;
    } rows[] = {{"OK", AT_OK, -1},
                {"ERROR", AT_ERROR, -1},
                {"+CME ERROR: 11", AT_CME, 11},
                {"+CMS ERROR:500", AT_CMS, 500},
                {"+cms error: 21", AT_CMS, 21},
                {"+CME ERROR: SIM busy", AT_CME, -1},
                {"NO CARRIER", AT_CARRIER_LOST, -1},
                {">", AT_PROMPT, -1},
                {"OKAY", AT_TEXT, -1},
                {"+CMS ERROR", AT_TEXT, -1}};

    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        int code = 0;

        ck_assert_int_eq(at_kind(rows[i].line, &code), rows[i].kind);
        ck_assert_int_eq(code, rows[i].code);
    }
}
END_TEST

START_TEST(fields)
{
    struct at_fields f;

    at_fields("1,\"SM\",,\"a,b\", 7,+CR", &f);
    ck_assert_uint_eq(f.n, 6);
    ck_assert(f.number[0] && f.value[0] == 1);
    ck_assert_str_eq(f.text[1], "SM");
    ck_assert(!f.number[2]);
    ck_assert_str_eq(f.text[3], "a,b");
    ck_assert(f.number[4] && f.value[4] == 7);
    at_fields("", &f);
    ck_assert_uint_eq(f.n, 1);
    at_fields(",,,,,,,,,,,,,,,,,,,,,,,", &f);
    ck_assert_uint_eq(f.n, AT_FIELDS_MOST);
    at_fields("\"never closed, with a long long long long long long tail", &f);
    ck_assert_uint_eq(f.n, 1);
}
END_TEST

START_TEST(hex)
{
    uint8_t octets[3];

    ck_assert_int_eq(at_hex("00fF7a", octets, 3), 3);
    ck_assert_uint_eq(octets[1], 0xff);
    ck_assert_int_eq(at_hex("00f", octets, 3), -1);
    ck_assert_int_eq(at_hex("00fg", octets, 3), -1);
    ck_assert_int_eq(at_hex("", octets, 3), -1);
    ck_assert_int_eq(at_hex("00112233", octets, 3), -1);
}
END_TEST

/* tests/reference/protocol/cms_errors.csv: the class is a judgement. */
START_TEST(cms_rows)
{
    static const char *const words[] = {
        [AT_CMS_TRANSIENT] = "transient", [AT_CMS_PERMANENT] = "permanent",
        [AT_CMS_OPERATOR] = "operator",   [AT_CMS_STORE] = "housekeeping",
        [AT_CMS_RESET] = "reset modem",   [AT_CMS_BUG] = "bug",
        [AT_CMS_SENT] = "already sent",   [AT_CMS_UNKNOWN] = "unknown"};
    struct vectors v;

    vectors_open(&v, "protocol/cms_errors.csv");
    while (vectors_next(&v)) {
        int code = (int)vectors_int(&v, "code");

        ck_assert_str_eq(words[at_cms_class(code)], vectors_get(&v, "class"));
        ck_assert_str_eq(at_cms_name(code), vectors_get(&v, "name"));
    }
    ck_assert_uint_eq(v.rows, 73);
    vectors_close(&v);
    ck_assert_int_eq(at_cms_class(-1), AT_CMS_UNKNOWN);
    ck_assert_int_eq(at_cms_class(9999), AT_CMS_UNKNOWN);
}
END_TEST

/* ---- the dialogue ---- */

static struct modem_dialog d;
static struct modem_dialog_conf conf;
static char wrote[8192];
static int stored, directs, sents, reopens, notes, last_place;
static enum modem_fate fate;
static int fate_code, fate_mr;
static bool is_ready;
static int64_t now;

static void on_write(void *arg, const char *octets, size_t len)
{
    size_t n = strlen(wrote);

    (void)arg;
    ck_assert_uint_lt(n + len, sizeof(wrote));
    memcpy(wrote + n, octets, len);
    wrote[n + len] = '\0';
}

static void on_stored(void *arg, int place, const uint8_t *pdu, size_t len)
{
    (void)arg, (void)pdu, (void)len;
    stored++;
    last_place = place;
}

static void on_direct(void *arg, const uint8_t *pdu, size_t len)
{
    (void)arg, (void)pdu, (void)len;
    directs++;
}

static void on_sent(void *arg, enum modem_fate f, int code, int tp_mr)
{
    (void)arg;
    sents++;
    fate = f;
    fate_code = code;
    fate_mr = tp_mr;
}

static void on_ready(void *arg, bool ready)
{
    (void)arg;
    is_ready = ready;
}

static const char *noted = "";
static char ussd_words[200];
static int ussds;
static enum modem_ussd ussd_how;

static void on_ussd(void *arg, enum modem_ussd how, const char *words)
{
    (void)arg;
    ussds++;
    ussd_how = how;
    snprintf(ussd_words, sizeof(ussd_words), "%s", words);
}

static void on_reopen(void *arg)
{
    (void)arg;
    reopens++;
}

static void on_note(void *arg, bool grave, const char *words)
{
    (void)arg, (void)grave;
    noted = words;
    notes++;
}

static const struct modem_handler handler = {on_write,  on_stored, on_direct,
                                             on_sent,   on_ready,  on_ussd,
                                             on_reopen, on_note,   NULL};

static void say(const char *octets)
{
    modem_dialog_input(&d, octets, strlen(octets), now);
}

/* What was written since the last look is just that. */
static void expect(const char *octets)
{
    ck_assert_str_eq(wrote, octets);
    wrote[0] = '\0';
}

static bool asked(const char *command)
{
    return strstr(wrote, command) != NULL;
}

/* Answers whatever is asked, as a good modem does, until nothing is. */
static void answer_all(void)
{
    for (int i = 0; i < 40 && wrote[0] != '\0'; i++) {
        bool pin = asked("CPIN?"), creg = asked("CREG?");
        bool csq = asked("CSQ"), cpms = asked("CPMS?");

        wrote[0] = '\0';
        if (pin)
            say("\r\n+CPIN: READY\r\n");
        if (creg)
            say("\r\n+CREG: 1,1\r\n");
        if (csq)
            say("\r\n+CSQ: 17,99\r\n");
        if (cpms)
            say("\r\n+CPMS: \"SM\",1,10,\"SM\",1,10,\"SM\",1,10\r\n");
        say("\r\nOK\r\n");
    }
    ck_assert_str_eq(wrote, "");
}

static void setup(void)
{
    conf = (struct modem_dialog_conf){
        .centre = "", .memory = "auto", .send_s = 120, .poll_s = 60};
    stored = directs = sents = reopens = notes = 0;
    is_ready = false;
    wrote[0] = '\0';
    now = 1000;
    modem_dialog_init(&d, &conf, &handler);
}

static void bring_up(void)
{
    modem_dialog_opened(&d, now);
    expect("AT\r");
    say("\r\nOK\r\n");
    answer_all();
    ck_assert(is_ready);
    ck_assert_int_eq(d.state, MODEM_IDLE);
}

static void begin_send(void)
{
    static const uint8_t pdu[] = {0, 1, 2, 0xab};

    ck_assert_int_eq(modem_dialog_send(&d, pdu, 4, 3, now), 0);
    expect("AT+CMGS=3\r");
}

START_TEST(start_of_the_talk)
{
    static const char *const rows[] = {
        "ATE0",      "ATV1",      "AT+CMEE=1",         "AT+CPIN?",
        "AT+CMGF=0", "AT+CSMS=0", "AT+CNMI=2,1,0,1,0", "AT+CREG=1"};

    modem_dialog_opened(&d, now);
    expect("AT\r");
    now += MODEM_WAKE_MS;
    modem_dialog_tick(&d, now);
    expect("AT\r"); /* again, until it is awake */
    say("\r\nOK\r\n");
    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        char line[64];

        snprintf(line, sizeof(line), "%s\r", rows[i]);
        expect(line);
        if (i == 3)
            say("\r\n+CPIN: READY\r\n");
        say("\r\nOK\r\n");
    }
    ck_assert(!is_ready); /* not before the network is known */
    expect("AT+CREG?\r");
    say("\r\n+CREG: 1,5\r\n\r\nOK\r\n");
    expect("AT+CSQ\r");
    say("\r\n+CSQ: 20,99\r\n\r\nOK\r\n");
    expect("AT+CPMS?\r");
    say("\r\n+CPMS: \"SM\",9,10,\"SM\",9,10,\"SM\",9,10\r\n\r\nOK\r\n");
    expect("AT+CMGL=4\r"); /* what waited there */
    say("\r\n+CMGL: 3,1,,2\r\n000102\r\n+CMGL: 4,3,,2\r\n000102\r\n"
        "\r\nOK\r\n");
    ck_assert_int_eq(stored, 1);
    ck_assert_int_eq(last_place, 3);
    expect("AT+CPMS=\"ME\"\r"); /* and in the modem's own memory */
    if (_i == 0) {
        say("\r\n+CPMS: 1,100,9,10,9,10\r\n\r\nOK\r\n");
        expect("AT+CMGL=4\r");
        say("\r\n+CMGL: 3,0,,2\r\n000102\r\n\r\nOK\r\n");
        ck_assert_int_eq(last_place, 3 + MODEM_OTHER);
        expect("AT+CPMS=\"SM\"\r"); /* where texts come to */
        say("\r\nOK\r\n");
        modem_dialog_delete(&d, 3 + MODEM_OTHER, now);
        expect("AT+CPMS=\"ME\"\r");
        say("\r\nOK\r\n");
        expect("AT+CMGD=3\r");
        say("\r\nOK\r\n");
        expect("AT+CPMS=\"SM\"\r");
        say("\r\nOK\r\n");
        say("\r\n+CMTI: \"ME\",8\r\n");
        expect("AT+CPMS=\"ME\"\r");
    } else {
        say("\r\n+CMS ERROR: 302\r\n"); /* it has none */
        say("\r\n+CMTI: \"ME\",8\r\n");
        ck_assert_int_eq(notes, 2);
    }
    expect("");
    ck_assert(is_ready);
    ck_assert(modem_dialog_crowded(&d));
}
END_TEST

START_TEST(settings_that_fail)
{
    conf.memory = "ME";
    conf.centre = "+9997000";
    modem_dialog_opened(&d, now);
    say("\r\nOK\r\n");
    for (int i = 0; i < 40 && !asked("CNMI=2,1,0,1"); i++) {
        if (asked("CPMS="))
            ck_assert_str_eq(strstr(wrote, "AT+CPMS"),
                             "AT+CPMS=\"ME\",\"ME\",\"ME\"\r");
        if (asked("CSCA="))
            ck_assert_str_eq(strstr(wrote, "AT+CSCA"),
                             "AT+CSCA=\"+9997000\",145\r");
        if (asked("CPIN?"))
            say("\r\n+CPIN: READY\r\n");
        wrote[0] = '\0';
        say("\r\nOK\r\n");
    }
    wrote[0] = '\0';
    say("\r\n+CMS ERROR: 303\r\n");
    expect("AT+CNMI=2,1,0,0,0\r");
    say("\r\nERROR\r\n");
    expect("AT+CNMI=1,1\r");
    say("\r\nERROR\r\n");
    expect("AT+CREG=1\r");
}
END_TEST

START_TEST(sends)
{
    bring_up();
    begin_send();
    ck_assert_int_eq(modem_dialog_send(&d, (const uint8_t *)"", 1, 0, now),
                     KW_EAGAIN);
    say("\r\n> ");
    expect("000102AB\x1a");
    say("\r\n+CMTI: \"SM\",4\r\n\r\n+CMGS: 77\r\n\r\nOK\r\n");
    ck_assert_int_eq(sents, 1);
    ck_assert_int_eq(fate, MODEM_SENT);
    ck_assert_int_eq(fate_mr, 77);
    expect("AT+CMGR=4\r"); /* that came meanwhile */
}
END_TEST

START_TEST(refused)
{
    bring_up();
    begin_send();
    say("\r\n> ");
    wrote[0] = '\0';
    say("\r\n+CMS ERROR: 38\r\n");
    ck_assert_int_eq(fate, MODEM_REFUSED);
    ck_assert_int_eq(fate_code, 38);
    /* Before the prompt: the modem never had it. */
    begin_send();
    say("\r\n+CME ERROR: 14\r\n");
    ck_assert_int_eq(fate, MODEM_NOT_SENT);
    ck_assert_int_eq(sents, 2);
}
END_TEST

START_TEST(no_prompt)
{
    bring_up();
    begin_send();
    now += 10000;
    modem_dialog_tick(&d, now);
    expect("\x1b"
           "AT+CMGF?\r");
    ck_assert_int_eq(fate, MODEM_NOT_SENT);
    say("\r\n> "); /* late: given up once more */
    expect("\x1b");
    say("\r\nOK\r\n"); /* of the escape: not ours */
    ck_assert_int_eq(d.state, MODEM_RESYNC);
    say("\r\n+CMGF: 0\r\n\r\nOK\r\n");
    ck_assert_int_eq(d.state, MODEM_IDLE);
    ck_assert_int_eq(sents, 1);
}
END_TEST

/* No answer after the text: unknown, unless it comes while we ask. */
START_TEST(answer_after_the_text)
{
    bring_up();
    begin_send();
    say("\r\n> ");
    wrote[0] = '\0';
    now += 120000;
    modem_dialog_tick(&d, now);
    ck_assert_int_eq(sents, 0);
    if (_i == 0) {
        say("\r\n+CMGF: 0\r\n\r\nOK\r\n");
        ck_assert_int_eq(fate, MODEM_UNKNOWN);
    } else if (_i == 1) {
        say("\r\n+CMGS: 5\r\n\r\nOK\r\n");
        ck_assert_int_eq(fate, MODEM_SENT);
        ck_assert_int_eq(fate_mr, 5);
        say("\r\n+CMGF: 0\r\n\r\nOK\r\n");
    } else if (_i == 2) {
        say("\r\n+CMS ERROR: 42\r\n");
        ck_assert_int_eq(fate, MODEM_REFUSED);
    } else if (_i == 3) {
        modem_dialog_closed(&d);
        ck_assert_int_eq(fate, MODEM_UNKNOWN);
    } else {
        say("\r\nRDY\r\n");
        ck_assert_int_eq(fate, MODEM_UNKNOWN);
    }
    ck_assert_int_eq(sents, 1);
}
END_TEST

/* It was reset: by its own word, by its echo, by its lost setting. */
START_TEST(resets)
{
    bring_up();
    if (_i == 0) {
        say("\r\n^SYSSTART\r\n");
    } else if (_i == 1) {
        begin_send();
        say("AT+CMGS=3\r");
        ck_assert_int_eq(fate, MODEM_NOT_SENT);
    } else {
        begin_send();
        now += 10000;
        modem_dialog_tick(&d, now);
        wrote[0] = '\0';
        say("\r\n+CMGF: 1\r\n\r\nOK\r\n");
    }
    ck_assert(!is_ready);
    ck_assert(asked("AT\r") || asked("ATE0\r"));
    if (asked("AT\r")) {
        wrote[0] = '\0';
        say("\r\nOK\r\n");
    }
    answer_all();
    ck_assert(is_ready);
}
END_TEST

START_TEST(stuck)
{
    bring_up();
    begin_send();
    for (int i = 0; i < 40 && reopens == 0; i++) {
        now += 5000;
        modem_dialog_tick(&d, now);
        wrote[0] = '\0';
    }
    ck_assert_int_eq(reopens, 1);
    ck_assert_int_eq(sents, 1);
    ck_assert_int_eq(d.state, MODEM_CLOSED);
    modem_dialog_opened(&d, now);
    expect("AT\r");
}
END_TEST

START_TEST(deletes_and_reads)
{
    bring_up();
    modem_dialog_delete(&d, 5, now);
    expect("AT+CMGD=5\r");
    modem_dialog_delete(&d, 6, now);
    modem_dialog_delete(&d, -1, now); /* came directly: nothing to delete */
    expect("");
    say("\r\n+CMTI: \"SM\",7\r\n\r\nOK\r\n");
    expect("AT+CMGR=7\r"); /* what comes goes first */
    say("\r\n+CMGR: 0,,2\r\n+CREG: 1\r\n000102\r\n\r\nOK\r\n");
    ck_assert_int_eq(stored, 1);
    ck_assert_int_eq(last_place, 7);
    expect("AT+CMGD=6\r");
    say("\r\n+CMS ERROR: 321\r\n");
    expect("");
    say("\r\n+CMT: ,2\r\n000102\r\n+CDS: 2\r\n000102\r\n");
    ck_assert_int_eq(directs, 2);
}
END_TEST

START_TEST(network_comes_and_goes)
{
    bring_up();
    say("\r\n+CREG: 2\r\n");
    ck_assert(!is_ready);
    ck_assert_int_eq(modem_dialog_send(&d, (const uint8_t *)"", 1, 0, now),
                     KW_EAGAIN);
    say("\r\n+CREG: 1,\"00C3\",\"1A2B\"\r\n");
    ck_assert(is_ready);
    for (int stat = 0; stat < 9; stat++) {
        char line[32];

        snprintf(line, sizeof(line), "\r\n+CREG: %d\r\n", stat);
        say(line);
        ck_assert_int_eq(is_ready, stat == 1 || (stat >= 5 && stat <= 7));
    }
}
END_TEST

/* TS 27.007, 9.2.1: what keeps the card from answering. */
START_TEST(card_troubles)
{
    static const struct {
        const char *says, *words;
    } rows[] = {{"+CME ERROR: 10", "no card"},  {"+CME ERROR: 12", "PUK"},
                {"+CME ERROR: 13", "failed"},   {"+CME ERROR: 14", "busy"},
                {"+CMS ERROR: 310", "missing"}, {"ERROR", "missing"}};

    modem_dialog_opened(&d, now);
    say("\r\nOK\r\n");
    while (!asked("AT+CPIN?")) {
        wrote[0] = '\0';
        say("\r\nOK\r\n");
    }
    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        char line[40];

        wrote[0] = '\0';
        snprintf(line, sizeof(line), "\r\n%s\r\n", rows[i].says);
        say(line);
        ck_assert_ptr_nonnull(strstr(noted, rows[i].words));
        now += MODEM_SEARCH_MS;
        modem_dialog_tick(&d, now);
        for (int k = 0; k < 3; k++)
            say("\r\nOK\r\n");
        ck_assert(asked("AT+CPIN?"));
    }
    ck_assert(!is_ready);
}
END_TEST

/* ---- questions to the network: TS 27.007, 7.15 ---- */

static void ask_credit(void)
{
    ck_assert_int_eq(modem_dialog_ask(&d, "*123#", now), 0);
    expect("AT+CSCS=\"GSM\"\r");
    say("\r\nERROR\r\n"); /* some modems have no choice of characters */
    expect("AT+CUSD=1,\"*123#\",15\r");
}

START_TEST(network_answers)
{
    bring_up();
    ussds = 0;
    ck_assert_int_eq(modem_dialog_ask(&d, "*123#;+CMGD=1", now), KW_EINVAL);
    ck_assert_int_eq(modem_dialog_ask(&d, "", now), KW_EINVAL);
    ask_credit();
    say("\r\nOK\r\n");
    ck_assert_int_eq(modem_dialog_ask(&d, "*123#", now), KW_EAGAIN);
    begin_send(); /* texts go meanwhile */
    say("\r\n> ");
    wrote[0] = '\0';
    say("\r\n+CUSD: 0,\"Credit 12.50\r\n\r\nOK until 1/4\",15\r\n");
    ck_assert_int_eq(ussds, 1);
    ck_assert_int_eq(ussd_how, MODEM_USSD_ANSWER);
    ck_assert_str_eq(ussd_words, "Credit 12.50\nOK until 1/4");
    say("\r\n+CMGS: 1\r\n\r\nOK\r\n");
    ck_assert_int_eq(fate, MODEM_SENT);
    expect("");
}
END_TEST

START_TEST(network_wants_more)
{
    bring_up();
    ussds = 0;
    ask_credit();
    say("\r\n+CUSD: 1,\"1 Credit\r\n2 More\",15\r\n\r\nOK\r\n");
    ck_assert_str_eq(ussd_words, "1 Credit\n2 More");
    expect("AT+CUSD=2\r"); /* nobody answers: it is ended */
    say("\r\nOK\r\n");
    /* begun by the network: told, and ended */
    say("\r\n+CUSD: 1,\"Buy rings! 1 Yes\",15\r\n");
    ck_assert_int_eq(ussd_how, MODEM_USSD_NETWORK);
    expect("AT+CUSD=2\r");
    say("\r\nOK\r\n\r\n+CUSD: 2\r\n");
    ck_assert_int_eq(ussds, 2);
}
END_TEST

START_TEST(network_does_not_answer)
{
    static const char *const ends[] = {"\r\n+CUSD: 4\r\n", "\r\n+CUSD: 5\r\n",
                                       "\r\n+CUSD: 2\r\n"};

    bring_up();
    ussds = 0;
    ask_credit();
    if (_i < 3) {
        say("\r\nOK\r\n");
        say(ends[_i]);
    } else if (_i == 3) {
        say("\r\n+CME ERROR: 258\r\n");
    } else if (_i == 4) {
        say("\r\nOK\r\n");
        now += MODEM_USSD_MS;
        modem_dialog_tick(&d, now);
        wrote[0] = '\0';
    } else {
        modem_dialog_closed(&d);
    }
    ck_assert_int_eq(ussds, 1);
    ck_assert_int_eq(ussd_how, MODEM_USSD_REFUSED);
}
END_TEST

/* A quote that is never closed swallows no answers for long. */
START_TEST(broken_answer)
{
    bring_up();
    say("\r\n+CUSD: 0,\"never closed\r\n");
    now += MODEM_COMMAND_MS;
    begin_send();
    say("\r\n> ");
    wrote[0] = '\0';
    say("\r\n+CMGS: 1\r\n\r\nOK\r\n");
    ck_assert_int_eq(fate, MODEM_SENT);
}
END_TEST

static const char *words_of(const char *rest)
{
    static char text[500];
    struct kw_buf out;
    struct ussd u;

    ck_assert_int_eq(ussd_parse(rest, &u), 0);
    kw_buf_init(&out, sizeof(text) - 1);
    ussd_text(&u, &out);
    snprintf(text, sizeof(text), "%s", kw_buf_text(&out));
    kw_buf_release(&out);
    return text;
}

/* Packed strings as some modems give them: TS 23.038, 6.1.2.3.1, by others. */
START_TEST(ussd_packed)
{
    struct vectors v;
    int n = 0;

    vectors_open(&v, "protocol/ussd7.csv");
    while (vectors_next(&v)) {
        const char *packed = vectors_get(&v, "packed_hex");
        char line[500], *text;
        size_t len;

        if (strcmp(vectors_get(&v, "fits_one_ussd_string"), "yes") != 0 ||
            strlen(packed) < 16)
            continue; /* shorter ones may be digits as well */
        text = vectors_text(&v, "text", &len);
        snprintf(line, sizeof(line), "0,\"%s\",15", packed);
        ck_assert_str_eq(words_of(line), text);
        kw_free(text);
        n++;
    }
    vectors_close(&v);
    ck_assert_int_eq(n, 5);
}
END_TEST

START_TEST(ussd_codings)
{
    static const struct {
        const char *rest, *text;
    } rows[] = {
        {"0,\"Credit 12\",15", "Credit 12"},
        {"0,\"Credit 12\"", "Credit 12"},
        {"2", ""},
        {"0,\"0053006F006C0064006F\",72", "Soldo"}, /* TS 23.038, 5: UCS2 */
        {"0,\"09390940\",72", "\xe0\xa4\xb9\xe0\xa5\x80"},
        {"0,\"65730053006F006C\",17", "Sol"}, /* a language before it */
        {"0,\"0053006F006C\",15", "Sol"},     /* as +CSCS was left */
        {"0,\"1234\",15", "1234"},
        {"0,\"12345678901234567890\",15", "12345678901234567890"},
        {"0,\"say \"yes\" now\",15", "say \"yes\" now"},
        {"0,\"416263\",68", "Abc"}, /* octets */
    };
    struct ussd u;

    for (size_t i = 0; i < KW_COUNT(rows); i++)
        ck_assert_str_eq(words_of(rows[i].rest), rows[i].text);
    ck_assert_int_eq(ussd_parse("0,\"open", &u), KW_EAGAIN);
    ck_assert_int_eq(ussd_parse("x", &u), KW_ESYNTAX);
    ck_assert_int_eq(ussd_parse("", &u), KW_ESYNTAX);
}
END_TEST

START_TEST(ussd_amounts)
{
    static const struct {
        const char *text, *after;
        double amount;
    } rows[] = {
        {"Balance 12.50 EUR", "", 12.5},
        {"Dear 7070, your balance is 1,250.75.", "balance is", 1250.75},
        {"Solde: 1.250,5 F", "solde", 1250.5},
        {"Saldo 3.000 Kz", "saldo", 3000},
        {"You owe -4,20", "", -4.2},
        {"Credit: 0", "credit", 0},
    };
    double got;

    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        ck_assert_int_eq(ussd_amount(rows[i].text, rows[i].after, &got), 0);
        ck_assert(got == rows[i].amount);
    }
    ck_assert_int_eq(ussd_amount("no number", "", &got), KW_ENOENT);
    ck_assert_int_eq(ussd_amount("Credit 5", "balance", &got), KW_ENOENT);
    ck_assert_int_eq(ussd_amount("balance", "balance", &got), KW_ENOENT);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("modem");
    TCase *t = tcase_create("modem");
    SRunner *r;
    int failed;

    tcase_add_checked_fixture(t, setup, NULL);
    tcase_add_test(t, lines);
    tcase_add_test(t, long_line);
    tcase_add_test(t, kinds);
    tcase_add_test(t, fields);
    tcase_add_test(t, hex);
    tcase_add_test(t, cms_rows);
    tcase_add_loop_test(t, start_of_the_talk, 0, 2);
    tcase_add_test(t, settings_that_fail);
    tcase_add_test(t, sends);
    tcase_add_test(t, refused);
    tcase_add_test(t, no_prompt);
    tcase_add_loop_test(t, answer_after_the_text, 0, 5);
    tcase_add_loop_test(t, resets, 0, 3);
    tcase_add_test(t, stuck);
    tcase_add_test(t, deletes_and_reads);
    tcase_add_test(t, network_comes_and_goes);
    tcase_add_test(t, card_troubles);
    tcase_add_test(t, network_answers);
    tcase_add_test(t, network_wants_more);
    tcase_add_loop_test(t, network_does_not_answer, 0, 6);
    tcase_add_test(t, broken_answer);
    tcase_add_test(t, ussd_packed);
    tcase_add_test(t, ussd_codings);
    tcase_add_test(t, ussd_amounts);
    suite_add_tcase(suite, t);
    r = srunner_create(suite);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
