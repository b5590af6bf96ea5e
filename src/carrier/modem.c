/*
 * modem.c - the carrier of kind modem: one modem on a serial line or USB.
 * The line is opened again and again while the modem is off or unplugged.
 */
#include "carrier/modem_parts.h"

#include "base/clock.h"
#include "base/log.h"

#include <errno.h>
#include <event2/buffer.h>
#include <event2/bufferevent.h>
#include <event2/event.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#define REOPEN_MS      1000
#define REOPEN_MOST_MS 30000

struct modem {
    struct carrier carrier; /* first: cast from it */
    const struct config_carrier *conf;
    struct event_base *base;
    struct modem_dialog dialog;
    struct modem_dialog_conf dialog_conf;
    struct modem_handler handler;
    struct modem_in *in;
    struct modem_out *out;
    struct modem_credit *credit;
    struct bufferevent *bev;
    struct event *timer;
    int64_t pause_ms;
    bool complained, quiet;
    const char *noted; /* the last note, not to say it again and again */
    bool grave;        /* it keeps the modem from working */
    char why[80];      /* it cannot be reached */
};

static int64_t now_ms(void)
{
    return clock_monotonic_us() / 1000;
}

static void set_timer(struct modem *m, int64_t ms)
{
    struct timeval after = {.tv_sec = ms / 1000, .tv_usec = ms % 1000 * 1000};

    evtimer_add(m->timer, &after);
}

static void tick(struct modem *m)
{
    int64_t due, asks;

    modem_credit_turn(m->credit, now_ms());
    due = modem_dialog_tick(&m->dialog, now_ms());
    asks = modem_credit_due(m->credit);
    if (asks < due)
        due = asks;
    if (m->bev != NULL && due != INT64_MAX)
        set_timer(m, due > now_ms() ? due - now_ms() : 1);
}

/* ---- the serial line ---- */

static speed_t speed_of(int bits)
{
    static const struct {
        int bits;
        speed_t speed;
    } rows[] = {{1200, B1200},     {2400, B2400},     {4800, B4800},
                {9600, B9600},     {19200, B19200},   {38400, B38400},
                {57600, B57600},   {115200, B115200}, {230400, B230400},
                {460800, B460800}, {921600, B921600}};

    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        if (rows[i].bits == bits)
            return rows[i].speed;
    }
    return B115200;
}

/* Raw, no hang-up when it is closed, nobody else on it. */
static int set_line(int fd, int bits)
{
    struct termios t;

    if (tcgetattr(fd, &t) < 0)
        return -1;
    cfmakeraw(&t);
    t.c_cflag |= CLOCAL | CREAD;
    t.c_cflag &= ~(tcflag_t)(HUPCL | CRTSCTS);
    cfsetispeed(&t, speed_of(bits));
    cfsetospeed(&t, speed_of(bits));
    if (tcsetattr(fd, TCSANOW, &t) < 0)
        return -1;
    ioctl(fd, TIOCEXCL);
    tcflush(fd, TCIOFLUSH);
    return 0;
}

static void close_line(struct modem *m)
{
    if (m->bev != NULL) {
        bufferevent_free(m->bev);
        modem_dialog_closed(&m->dialog);
    }
    m->bev = NULL;
    evtimer_del(m->timer);
}

static void open_later(struct modem *m, const char *why)
{
    close_line(m);
    snprintf(m->why, sizeof(m->why), "%s", why);
    if (!m->complained && !m->quiet)
        log_warn("the modem '%s' on '%s' cannot be reached: %s; it is tried "
                 "again and again",
                 m->conf->name, m->conf->modem.device, why);
    m->complained = true;
    m->pause_ms = m->pause_ms == 0 ? REOPEN_MS : m->pause_ms * 2;
    if (m->pause_ms > REOPEN_MOST_MS)
        m->pause_ms = REOPEN_MOST_MS;
    if (!m->quiet)
        set_timer(m, m->pause_ms);
}

static void after_input(struct modem *m)
{
    modem_in_turn(m->in);
    modem_out_pump(m->out);
    tick(m);
}

static void on_read(struct bufferevent *bev, void *arg)
{
    struct modem *m = arg;
    char octets[4096];
    int n;

    while (m->bev == bev && (n = evbuffer_remove(bufferevent_get_input(bev),
                                                 octets, sizeof(octets))) > 0)
        modem_dialog_input(&m->dialog, octets, (size_t)n, now_ms());
    if (m->bev == bev)
        after_input(m);
}

static void on_event(struct bufferevent *bev, short what, void *arg)
{
    struct modem *m = arg;

    (void)bev;
    open_later(m, (what & BEV_EVENT_EOF) != 0 ? "it was unplugged"
                                              : strerror(errno));
}

static void open_line(struct modem *m)
{
    int fd =
        open(m->conf->modem.device, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);

    if (fd < 0) {
        open_later(m, strerror(errno));
        return;
    }
    if (set_line(fd, m->conf->modem.speed) < 0) {
        open_later(m, "it is no serial line");
        close(fd);
        return;
    }
    m->bev = bufferevent_socket_new(m->base, fd, BEV_OPT_CLOSE_ON_FREE);
    bufferevent_setcb(m->bev, on_read, NULL, on_event, m);
    bufferevent_enable(m->bev, EV_READ | EV_WRITE);
    modem_dialog_opened(&m->dialog, now_ms());
    tick(m);
}

static void on_timer(evutil_socket_t fd, short what, void *arg)
{
    struct modem *m = arg;

    (void)fd, (void)what;
    if (m->bev == NULL) {
        open_line(m);
        return;
    }
    tick(m);
    if (m->bev != NULL)
        modem_out_pump(m->out);
}

/* ---- the dialogue's own events ---- */

static void on_write(void *arg, const char *octets, size_t len)
{
    struct modem *m = arg;

    if (m->bev != NULL)
        bufferevent_write(m->bev, octets, len);
}

static void on_stored(void *arg, int place, const uint8_t *pdu, size_t len)
{
    struct modem *m = arg;

    if (!m->quiet)
        modem_in_pdu(m->in, place, pdu, len);
}

static void on_direct(void *arg, const uint8_t *pdu, size_t len)
{
    struct modem *m = arg;

    modem_in_pdu(m->in, -1, pdu, len);
}

static void on_sent(void *arg, enum modem_fate fate, int code, int tp_mr)
{
    struct modem *m = arg;

    modem_out_sent(m->out, fate, code, tp_mr);
}

static void on_ready(void *arg, bool ready)
{
    struct modem *m = arg;

    if (ready) {
        log_info("the modem '%s' is ready: signal %d of 31, %d of %d places "
                 "taken in '%s'",
                 m->conf->name, m->dialog.signal, m->dialog.used,
                 m->dialog.total, m->dialog.memory[0]);
        m->pause_ms = 0;
        m->complained = false;
        m->noted = NULL;
        m->grave = false;
    } else if (!m->quiet) {
        log_warn("the modem '%s' is not ready: no network, or it begins anew",
                 m->conf->name);
    }
    modem_out_ready(m->out, ready && !m->quiet);
}

static void on_ussd(void *arg, enum modem_ussd how, const char *words)
{
    struct modem *m = arg;

    if (how == MODEM_USSD_NETWORK)
        log_info("the network says by '%s', unasked: %s", m->conf->name, words);
    else
        modem_credit_told(m->credit, how, words, now_ms());
}

static void on_reopen(void *arg)
{
    struct modem *m = arg;

    open_later(m, "it does not answer");
}

static void on_note(void *arg, bool grave, const char *words)
{
    struct modem *m = arg;

    if (m->noted == words)
        return;
    m->noted = words;
    m->grave = grave;
    if (grave)
        log_error("the modem '%s': %s", m->conf->name, words);
    else
        log_warn("the modem '%s': %s", m->conf->name, words);
}

/* ---- the carrier ---- */

static void send_text(struct carrier *carrier, const struct ledger_out *o)
{
    struct modem *m = (struct modem *)carrier;

    modem_out_send(m->out, o);
    modem_out_pump(m->out);
    if (m->bev != NULL)
        tick(m);
}

static bool is_busy(const struct carrier *carrier)
{
    return !modem_in_idle(((const struct modem *)carrier)->in);
}

static void tell(const struct carrier *carrier, struct carriers_row *row)
{
    const struct modem *m = (const struct modem *)carrier;
    const struct modem_dialog *d = &m->dialog;
    const char *network = modem_registration_words(d->registration);

    if (m->bev == NULL)
        snprintf(row->words, sizeof(row->words), "cannot be reached: %s",
                 m->why[0] != '\0' ? m->why : "not opened yet");
    else if (m->noted != NULL && m->grave)
        snprintf(row->words, sizeof(row->words), "%s", m->noted);
    else
        snprintf(row->words, sizeof(row->words), "%s%s",
                 d->set_up ? network : "not set up yet",
                 modem_dialog_crowded(d) ? "; the store is nearly full" : "");
    if (m->bev != NULL && d->set_up) {
        row->signal = d->signal >= 0 && d->signal <= 31 ? d->signal : -1;
        row->used = d->used;
        row->total = d->total;
    }
    modem_credit_tell(m->credit, row);
}

static void quiesce(struct carrier *carrier)
{
    struct modem *m = (struct modem *)carrier;

    m->quiet = true;
    modem_out_ready(m->out, false);
}

/* Until what is with the modem has its answer, and what is kept is deleted. */
static bool is_leaving(struct carrier *carrier)
{
    struct modem *m = (struct modem *)carrier;

    return m->bev != NULL && (m->dialog.sending || m->dialog.n_deletes > 0);
}

static void close_carrier(struct carrier *carrier)
{
    struct modem *m = (struct modem *)carrier;

    m->quiet = true;
    close_line(m);
    modem_out_free(m->out);
    modem_in_free(m->in);
    modem_credit_free(m->credit);
    event_free(m->timer);
    kw_free(m);
}

int modem_open(struct carrier_host *h, const struct config_carrier *conf,
               struct carrier **out, char **why)
{
    struct modem *m = kw_calloc(1, sizeof(*m));

    (void)why;
    m->carrier = (struct carrier){.name = conf->name,
                                  .repeat_safe = false, /* no id goes along */
                                  .send = send_text,
                                  .busy = is_busy,
                                  .tell = tell,
                                  .quiesce = quiesce,
                                  .leaving = is_leaving,
                                  .close = close_carrier};
    m->conf = conf;
    m->base = h->base;
    m->dialog_conf = (struct modem_dialog_conf){.pin = conf->modem.pin,
                                                .centre = conf->modem.centre,
                                                .memory = conf->modem.memory,
                                                .send_s = conf->modem.send_s,
                                                .poll_s = conf->modem.poll_s};
    m->handler = (struct modem_handler){on_write,  on_stored, on_direct,
                                        on_sent,   on_ready,  on_ussd,
                                        on_reopen, on_note,   m};
    modem_dialog_init(&m->dialog, &m->dialog_conf, &m->handler);
    m->out = modem_out_new(h, conf, &m->dialog, &m->carrier.room);
    m->in = modem_in_new(h, conf, &m->dialog, m->out);
    m->credit = modem_credit_new(h, conf, &m->dialog);
    m->timer = evtimer_new(h->base, on_timer, m);
    set_timer(m, 0);
    *out = &m->carrier;
    return 0;
}
