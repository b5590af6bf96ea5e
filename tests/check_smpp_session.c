/*
 * check_smpp_session.c - the session's states, window, timers and what it
 * answers, with the octets of a made-up centre and a made-up clock.
 * Source: SMPP v3.4, 2.2, 4, 7.2.
 */
#include "carrier/smpp_session.h"
#include "carrier/smpp_status.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static struct smpp_session_conf conf;
static struct smpp_session s;
static int bounds, messages, ends, results;
static enum smpp_end why;
static uint32_t end_status;
static struct {
    int64_t cookie;
    bool known;
    uint32_t status;
    char id[SMPP_ID_CAP];
} last, all[200];
static uint32_t message_sequence;

static void on_bound(void *arg)
{
    (void)arg;
    bounds++;
}

static void on_message(void *arg, const struct smpp_pdu *p)
{
    (void)arg;
    messages++;
    message_sequence = p->sequence_number;
}

static void on_result(void *arg, const struct smpp_result *r)
{
    (void)arg;
    last.cookie = r->cookie;
    last.known = r->known;
    last.status = r->command_status;
    kw_copy(last.id, sizeof(last.id), r->message_id, strlen(r->message_id));
    if (results < 200)
        all[results] = last;
    results++;
}

static void on_ended(void *arg, enum smpp_end e, uint32_t status)
{
    (void)arg;
    ends++;
    why = e;
    end_status = status;
}

static const struct smpp_handler handler = {.bound = on_bound,
                                            .message = on_message,
                                            .result = on_result,
                                            .ended = on_ended};

static void setup(void)
{
    conf = (struct smpp_session_conf){.bind_command = SMPP_BIND_TRANSCEIVER,
                                      .system_id = "kiln",
                                      .password = "secret08",
                                      .interface_version = 0x34,
                                      .window = 4,
                                      .enquire_link_s = 30,
                                      .response_s = 10};
    bounds = messages = ends = results = 0;
    smpp_session_init(&s, &conf, &handler);
}

static void teardown(void)
{
    smpp_session_release(&s);
}

/* The next PDU the session has written, taken off its output. */
static bool next_out(struct smpp_pdu *p)
{
    static uint8_t kept[SMPP_PDU_OCTETS_MOST];
    int n = smpp_pdu_length((uint8_t *)s.out.data, s.out.len);

    if (n <= 0)
        return false;
    memcpy(kept, s.out.data, (size_t)n);
    ck_assert_int_eq(smpp_pdu_decode(p, kept, (size_t)n), 0);
    memmove(s.out.data, s.out.data + n, s.out.len - (size_t)n);
    s.out.len -= (size_t)n;
    return true;
}

static void expect_out(uint32_t command_id, uint32_t status, struct smpp_pdu *p)
{
    ck_assert_msg(next_out(p), "nothing was sent");
    ck_assert_str_eq(smpp_pdu_name(p->command_id), smpp_pdu_name(command_id));
    ck_assert_uint_eq(p->command_status, status);
}

static void expect_silence(void)
{
    ck_assert_uint_eq(s.out.len, 0);
}

static void feed(const struct smpp_pdu *p, int64_t now)
{
    struct kw_buf b;

    kw_buf_init(&b, SMPP_PDU_OCTETS_MOST);
    ck_assert_int_eq(smpp_pdu_encode(p, &b), 0);
    smpp_session_input(&s, b.data, b.len, now);
    kw_buf_release(&b);
}

static void answer(uint32_t command_id, uint32_t sequence, uint32_t status,
                   const char *id, int64_t now)
{
    struct smpp_pdu p = {.command_id = command_id | SMPP_RESP,
                         .sequence_number = sequence,
                         .command_status = status,
                         .has_body = status == 0};

    kw_copy(p.message_id, sizeof(p.message_id), id, strlen(id));
    feed(&p, now);
}

static void bind_at(int64_t now)
{
    struct smpp_pdu p;

    smpp_session_connected(&s, now);
    expect_out(SMPP_BIND_TRANSCEIVER, 0, &p);
    ck_assert_str_eq(p.system_id, "kiln");
    answer(SMPP_BIND_TRANSCEIVER, p.sequence_number, 0, "", now);
    ck_assert_int_eq(s.state, SMPP_BOUND);
}

static int submit(int64_t cookie, int64_t now)
{
    struct smpp_pdu p = {.dest = {1, 1, "99970012345"},
                         .short_message = (const uint8_t *)"x",
                         .sm_length = 1};

    return smpp_session_submit(&s, &p, cookie, now);
}

/* Opens the window to its whole width by answered submits. */
static void warm_up(int64_t now)
{
    struct smpp_pdu p;

    for (int i = 0; i < conf.window; i++) {
        ck_assert_int_eq(submit(-1, now), 0);
        expect_out(SMPP_SUBMIT_SM, 0, &p);
        answer(SMPP_SUBMIT_SM, p.sequence_number, 0, "w", now);
    }
    ck_assert_int_eq(s.window_now, conf.window);
    results = 0;
}

START_TEST(binds_and_unbinds)
{
    struct smpp_pdu p;

    bind_at(1000);
    ck_assert_int_eq(bounds, 1);
    smpp_session_unbind(&s, 2000);
    expect_out(SMPP_UNBIND, 0, &p);
    ck_assert_int_eq(submit(1, 2000), KW_EAGAIN);
    answer(SMPP_UNBIND, p.sequence_number, 0, "", 2100);
    ck_assert_int_eq(ends, 1);
    ck_assert_int_eq(why, SMPP_END_UNBOUND);
}
END_TEST

START_TEST(unbind_without_answer)
{
    bind_at(1000);
    smpp_session_unbind(&s, 2000);
    smpp_session_tick(&s, 2000 + SMPP_UNBIND_MS - 1);
    ck_assert_int_eq(ends, 0);
    smpp_session_tick(&s, 2000 + SMPP_UNBIND_MS);
    ck_assert_int_eq(ends, 1);
    ck_assert_int_eq(why, SMPP_END_UNBOUND);
}
END_TEST

START_TEST(bind_refused)
{
    struct smpp_pdu p;

    smpp_session_connected(&s, 0);
    expect_out(SMPP_BIND_TRANSCEIVER, 0, &p);
    answer(SMPP_BIND_TRANSCEIVER, p.sequence_number, SMPP_RINVPASWD, "", 5);
    ck_assert_int_eq(why, SMPP_END_REFUSED);
    ck_assert_uint_eq(end_status, SMPP_RINVPASWD);
    ck_assert_int_eq(bounds, 0);
}
END_TEST

START_TEST(bind_unanswered)
{
    smpp_session_connected(&s, 0);
    ck_assert_int_eq(smpp_session_tick(&s, 1), 10000);
    smpp_session_tick(&s, 9999);
    ck_assert_int_eq(ends, 0);
    smpp_session_tick(&s, 10000);
    ck_assert_int_eq(why, SMPP_END_SILENT);
}
END_TEST

/* Answers in any order find their request by its number. */
START_TEST(answers_in_any_order)
{
    struct smpp_pdu p[4];

    bind_at(0);
    warm_up(0);
    for (int i = 0; i < 4; i++) {
        ck_assert_int_eq(submit(100 + i, 10), 0);
        expect_out(SMPP_SUBMIT_SM, 0, &p[i]);
    }
    ck_assert_int_eq(submit(104, 10), KW_EAGAIN); /* window full */
    answer(SMPP_SUBMIT_SM, p[2].sequence_number, 0, "id2", 20);
    ck_assert_int_eq(last.cookie, 102);
    ck_assert_str_eq(last.id, "id2");
    answer(SMPP_SUBMIT_SM, p[0].sequence_number, 0x0b, "", 20);
    ck_assert_int_eq(last.cookie, 100);
    ck_assert_uint_eq(last.status, 0x0b);
    /* A second answer, and one for a number never sent, change nothing. */
    answer(SMPP_SUBMIT_SM, p[2].sequence_number, 0, "again", 21);
    answer(SMPP_SUBMIT_SM, 999999, 0, "never", 21);
    ck_assert_int_eq(results, 2);
    ck_assert_uint_eq(s.unmatched, 2);
    /* A generic_nack with its number is an answer too. */
    feed(&(struct smpp_pdu){.command_id = SMPP_GENERIC_NACK,
                            .sequence_number = p[3].sequence_number,
                            .command_status = 3},
         22);
    ck_assert_int_eq(last.cookie, 103);
    ck_assert_uint_eq(last.status, 3);
}
END_TEST

/* No answer in time: unknown, and the link is asked; then silence ends it. */
START_TEST(lost_answer)
{
    struct smpp_pdu p;

    bind_at(0);
    ck_assert_int_eq(submit(7, 0), 0);
    expect_out(SMPP_SUBMIT_SM, 0, &p);
    ck_assert_int_eq(smpp_session_tick(&s, 100), 10000);
    ck_assert_int_eq(results, 0);
    smpp_session_tick(&s, 10000);
    ck_assert_int_eq(results, 1);
    ck_assert_int_eq(last.cookie, 7);
    ck_assert(!last.known);
    answer(SMPP_SUBMIT_SM, p.sequence_number, 0, "late", 10001);
    ck_assert_int_eq(results, 1);
    expect_out(SMPP_ENQUIRE_LINK, 0, &p);
    ck_assert_int_eq(ends, 0);
    smpp_session_tick(&s, 20000);
    ck_assert_int_eq(why, SMPP_END_SILENT);
}
END_TEST

START_TEST(lost_connection)
{
    struct smpp_pdu p;

    bind_at(0);
    warm_up(0);
    for (int i = 0; i < 3; i++)
        ck_assert_int_eq(submit(i, 0), 0);
    smpp_session_lost(&s);
    ck_assert_int_eq(results, 3);
    ck_assert(!all[0].known && !all[1].known && !all[2].known);
    /* Bound again: the window opens one by one. */
    bind_at(1000);
    ck_assert_int_eq(submit(10, 1000), 0);
    ck_assert_int_eq(submit(11, 1000), KW_EAGAIN);
    expect_out(SMPP_SUBMIT_SM, 0, &p);
    answer(SMPP_SUBMIT_SM, p.sequence_number, 0, "", 1001);
    ck_assert_int_eq(submit(11, 1001), 0);
    ck_assert_int_eq(submit(12, 1001), 0);
    ck_assert_int_eq(submit(13, 1001), KW_EAGAIN);
}
END_TEST

/* Throttled: a pause, then slower, then slowly faster again. */
START_TEST(throttled)
{
    struct smpp_pdu p;
    int64_t now = 1000, due;
    int sent = 0;

    conf.rate = 10;
    smpp_session_release(&s);
    smpp_session_init(&s, &conf, &handler);
    bind_at(now);
    ck_assert_int_eq(submit(1, now), 0);
    expect_out(SMPP_SUBMIT_SM, 0, &p);
    answer(SMPP_SUBMIT_SM, p.sequence_number, SMPP_RTHROTTLED, "", now);
    ck_assert_uint_eq(last.status, SMPP_RTHROTTLED);
    ck_assert_int_eq(submit(2, now), KW_EAGAIN);
    due = smpp_session_tick(&s, now);
    ck_assert_int_eq(due, now + SMPP_PAUSE_MS);
    now = due;
    ck_assert_double_eq(s.rate_now, 5);
    for (; now < due + 10000; now += 10) {
        while (submit(3, now) == 0) {
            sent++;
            expect_out(SMPP_SUBMIT_SM, 0, &p);
            answer(SMPP_SUBMIT_SM, p.sequence_number, 0, "", now);
        }
    }
    ck_assert_int_ge(sent, 50);
    ck_assert_int_le(sent, 85);
    ck_assert_double_gt(s.rate_now, 5);
    ck_assert_double_le(s.rate_now, 10);
}
END_TEST

/* A storm of it: each pause is longer, up to a minute; never none. */
START_TEST(throttle_storm)
{
    struct smpp_pdu p;
    int64_t now = 0, pause = 0;
    int tries = 0;

    bind_at(now);
    while (now < 3600000) {
        if (submit(1, now) == 0) {
            tries++;
            expect_out(SMPP_SUBMIT_SM, 0, &p);
            answer(SMPP_SUBMIT_SM, p.sequence_number, SMPP_RMSGQFUL, "", now);
            ck_assert_int_ge(s.pause_until_ms - now, pause);
            pause = s.pause_until_ms - now;
            smpp_session_input(&s, "", 0, now);
        } else {
            now = s.pause_until_ms > now ? s.pause_until_ms : now + 100;
        }
    }
    ck_assert_int_eq(pause, SMPP_PAUSE_MOST);
    ck_assert_int_ge(tries, 50);
    ck_assert_int_le(tries, 70);
}
END_TEST

START_TEST(rate_is_kept)
{
    struct smpp_pdu p;
    int sent = 0;

    conf.rate = 5;
    conf.window = 50;
    smpp_session_release(&s);
    smpp_session_init(&s, &conf, &handler);
    bind_at(0);
    for (int64_t now = 0; now < 20000; now += 7) {
        while (submit(1, now) == 0) {
            sent++;
            expect_out(SMPP_SUBMIT_SM, 0, &p);
            answer(SMPP_SUBMIT_SM, p.sequence_number, 0, "", now);
        }
    }
    ck_assert_int_ge(sent, 98);
    ck_assert_int_le(sent, 106);
}
END_TEST

START_TEST(link_is_asked)
{
    struct smpp_pdu p;
    int64_t due;

    bind_at(0);
    due = smpp_session_tick(&s, 0);
    ck_assert_int_eq(due, 30000);
    expect_silence();
    due = smpp_session_tick(&s, due);
    expect_out(SMPP_ENQUIRE_LINK, 0, &p);
    ck_assert_int_eq(due, 40000);
    answer(SMPP_ENQUIRE_LINK, p.sequence_number, 0, "", 31000);
    ck_assert_int_eq(smpp_session_tick(&s, 31000), 61000);
    smpp_session_tick(&s, 40000);
    ck_assert_int_eq(ends, 0);
    smpp_session_tick(&s, 61000);
    smpp_session_tick(&s, 71000);
    ck_assert_int_eq(why, SMPP_END_SILENT);
}
END_TEST

START_TEST(peer_asks)
{
    struct smpp_pdu p;

    bind_at(0);
    feed(&(struct smpp_pdu){.command_id = SMPP_ENQUIRE_LINK,
                            .sequence_number = 77},
         1);
    expect_out(SMPP_ENQUIRE_LINK | SMPP_RESP, 0, &p);
    ck_assert_uint_eq(p.sequence_number, 77);
    /* A request that is not for us, and one that nobody knows. */
    feed(
        &(struct smpp_pdu){.command_id = SMPP_SUBMIT_SM, .sequence_number = 78},
        2);
    expect_out(SMPP_GENERIC_NACK, SMPP_RINVCMDID, &p);
    ck_assert_uint_eq(p.sequence_number, 78);
    smpp_session_input(&s, "\0\0\0\x10\0\0\x09\x99\0\0\0\0\0\0\0\x05", 16, 3);
    expect_out(SMPP_GENERIC_NACK, SMPP_RINVCMDID, &p);
    ck_assert_uint_eq(p.sequence_number, 5);
    /* Answers to nothing are passed over. */
    smpp_session_input(&s, "\0\0\0\x10\x80\0\x09\x99\0\0\0\0\0\0\0\x05", 16, 3);
    feed(&(struct smpp_pdu){.command_id = SMPP_OUTBIND, .sequence_number = 1},
         4);
    expect_silence();
    feed(&(struct smpp_pdu){.command_id = SMPP_UNBIND, .sequence_number = 79},
         5);
    expect_out(SMPP_UNBIND | SMPP_RESP, 0, &p);
    ck_assert_int_eq(why, SMPP_END_PEER_UNBIND);
}
END_TEST

/* A text is handed over and not answered before we say so. */
START_TEST(text_waits_for_commit)
{
    struct smpp_pdu p = {.command_id = SMPP_DELIVER_SM, .sequence_number = 3};

    bind_at(0);
    feed(&p, 1);
    ck_assert_int_eq(messages, 1);
    ck_assert_uint_eq(message_sequence, 3);
    expect_silence();
    smpp_session_tick(&s, 5000);
    expect_silence();
    smpp_session_answer(&s, SMPP_DELIVER_SM, 3, SMPP_ROK);
    expect_out(SMPP_DELIVER_SM | SMPP_RESP, 0, &p);
    ck_assert_uint_eq(p.sequence_number, 3);
    ck_assert(p.has_body);
    ck_assert_str_eq(p.message_id, "");
}
END_TEST

START_TEST(text_out_of_turn)
{
    struct smpp_pdu p = {.command_id = SMPP_DELIVER_SM, .sequence_number = 3},
                    out;

    smpp_session_connected(&s, 0);
    expect_out(SMPP_BIND_TRANSCEIVER, 0, &out);
    feed(&p, 1);
    expect_out(SMPP_DELIVER_SM | SMPP_RESP, SMPP_RINVBNDSTS, &out);
    smpp_session_release(&s);
    setup();
    bind_at(0);
    smpp_session_unbind(&s, 1);
    expect_out(SMPP_UNBIND, 0, &out);
    feed(&p, 2); /* it is to come again later */
    expect_out(SMPP_DELIVER_SM | SMPP_RESP, SMPP_RX_T_APPN, &out);
    ck_assert_int_eq(messages, 0);
}
END_TEST

START_TEST(bad_lengths)
{
    static const char deliver[] = "\0\0\0\x14\0\0\0\x05\0\0\0\0\0\0\0\x09"
                                  "\0\0\0"
                                  "1";
    struct smpp_pdu p;

    bind_at(0);
    smpp_session_input(&s, deliver, 20, 1); /* a body cut short */
    expect_out(SMPP_DELIVER_SM | SMPP_RESP, SMPP_RINVMSGLEN, &p);
    ck_assert_uint_eq(p.sequence_number, 9);
    ck_assert_int_eq(ends, 0);
    smpp_session_input(&s, "\0\0\0\x0f????????????", 16, 2);
    expect_out(SMPP_GENERIC_NACK, SMPP_RINVCMDLEN, &p);
    ck_assert_uint_eq(p.sequence_number, 0);
    ck_assert_int_eq(why, SMPP_END_FRAMING);
    ck_assert_int_eq(ends, 1);
    smpp_session_input(&s, "more", 4, 3);
    ck_assert_int_eq(ends, 1);
}
END_TEST

/* PDUs come in pieces of any size, or many at once. */
START_TEST(in_pieces)
{
    struct kw_buf b;
    struct smpp_pdu p = {.command_id = SMPP_DELIVER_SM,
                         .short_message = (const uint8_t *)"4f 10h",
                         .sm_length = 6};

    kw_buf_init(&b, 100000);
    for (uint32_t i = 1; i <= 20; i++) {
        p.sequence_number = i;
        ck_assert_int_eq(smpp_pdu_encode(&p, &b), 0);
    }
    bind_at(0);
    for (size_t at = 0; at < b.len; at += (size_t)_i) {
        size_t n = b.len - at < (size_t)_i ? b.len - at : (size_t)_i;

        smpp_session_input(&s, b.data + at, n, 1);
    }
    ck_assert_int_eq(messages, 20);
    ck_assert_uint_eq(message_sequence, 20);
    kw_buf_release(&b);
}
END_TEST

/* The answers of real centres: no body, an empty id, 5.0's TLVs. */
START_TEST(answers_of_any_form)
{
    static const struct {
        const char *octets;
        size_t n;
        uint32_t status;
    } rows[] = {
        {"\0\0\0\x10\x80\0\0\x04\0\0\0\x58\0\0\0", 15, 0x58},
        {"\0\0\0\x11\x80\0\0\x04\0\0\0\x14\0\0\0", 15, 0x14},
        {"\0\0\0\x10\x80\0\0\x04\0\0\0\0\0\0\0", 15, 0},
        {"\0\0\0\x10\x80\0\0\x04\0\0\x04\x10\0\0\0", 15, 0x410},
        /* an id without its NUL: an answer all the same */
        {"\0\0\0\x12\x80\0\0\x04\0\0\0\0\0\0\0", 15, 0},
    };
    int64_t now = 0;

    bind_at(0);
    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        struct smpp_pdu p;
        uint8_t octets[20];
        size_t len = (size_t)(uint8_t)rows[i].octets[3];

        now += 100000;
        smpp_session_input(&s, "", 0, now);
        ck_assert_int_eq(submit((int64_t)i, now), 0);
        expect_out(SMPP_SUBMIT_SM, 0, &p);
        memcpy(octets, rows[i].octets, rows[i].n);
        octets[15] = (uint8_t)p.sequence_number;
        octets[16] = i == 4 ? '1' : 0;
        octets[17] = '2';
        smpp_session_input(&s, octets, len, now);
        ck_assert_int_eq(last.cookie, (int64_t)i);
        ck_assert(last.known);
        ck_assert_uint_eq(last.status, rows[i].status);
    }
}
END_TEST

START_TEST(sequence_wraps)
{
    struct smpp_pdu p;

    bind_at(0);
    s.next_sequence = 0x7fffffff;
    ck_assert_int_eq(submit(1, 0), 0);
    expect_out(SMPP_SUBMIT_SM, 0, &p);
    ck_assert_uint_eq(p.sequence_number, 0x7fffffff);
    answer(SMPP_SUBMIT_SM, p.sequence_number, 0, "", 0);
    ck_assert_int_eq(submit(2, 0), 0);
    expect_out(SMPP_SUBMIT_SM, 0, &p);
    ck_assert_uint_eq(p.sequence_number, 1);
}
END_TEST

/* A centre that sends and never reads: the output is bounded. */
START_TEST(peer_does_not_read)
{
    struct smpp_pdu ask = {.command_id = SMPP_ENQUIRE_LINK,
                           .sequence_number = 1};

    bind_at(0);
    for (int i = 0; i < 200000 && ends == 0; i++)
        feed(&ask, 1);
    ck_assert_int_eq(why, SMPP_END_FULL);
    ck_assert_uint_le(s.out.len, SMPP_OUT_MOST);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("smpp_session");
    TCase *t = tcase_create("smpp_session");
    SRunner *r;
    int failed;

    tcase_add_checked_fixture(t, setup, teardown);
    tcase_add_test(t, binds_and_unbinds);
    tcase_add_test(t, unbind_without_answer);
    tcase_add_test(t, bind_refused);
    tcase_add_test(t, bind_unanswered);
    tcase_add_test(t, answers_in_any_order);
    tcase_add_test(t, lost_answer);
    tcase_add_test(t, lost_connection);
    tcase_add_test(t, throttled);
    tcase_add_test(t, throttle_storm);
    tcase_add_test(t, rate_is_kept);
    tcase_add_test(t, link_is_asked);
    tcase_add_test(t, peer_asks);
    tcase_add_test(t, text_waits_for_commit);
    tcase_add_test(t, text_out_of_turn);
    tcase_add_test(t, bad_lengths);
    tcase_add_loop_test(t, in_pieces, 1, 70);
    tcase_add_test(t, answers_of_any_form);
    tcase_add_test(t, sequence_wraps);
    tcase_add_test(t, peer_does_not_read);
    suite_add_tcase(suite, t);
    r = srunner_create(suite);
    srunner_run_all(r, CK_ENV);
    failed = srunner_ntests_failed(r);
    srunner_free(r);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
