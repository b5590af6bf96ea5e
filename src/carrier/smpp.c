/*
 * smpp.c - the carrier of kind smpp: one transceiver, or a transmitter and a
 * receiver, between the outbox and the desk.
 */
#include "carrier/smpp_parts.h"

#include "base/log.h"

#include <stdio.h>
#include <string.h>

struct smpp {
    struct carrier carrier; /* first: cast from it */
    const struct config_smpp *conf;
    struct smpp_statuses statuses;
    struct smpp_out *out;
    struct smpp_in *in;
    struct smpp_menu *menu;
    struct smpp_link *links[2]; /* [0] carries what leaves */
    int n_links;
    bool quiet;
};

static void leave_when_done(struct smpp *c)
{
    if (!c->quiet || !smpp_out_idle(c->out) || !smpp_in_idle(c->in) ||
        !smpp_menu_idle(c->menu))
        return;
    for (int i = 0; i < c->n_links; i++)
        smpp_link_leave(c->links[i]);
}

static void on_bound(void *arg)
{
    struct smpp *c = arg;

    const struct smpp_session *s = smpp_link_session(c->links[0]);

    if (s->state == SMPP_BOUND && !c->quiet)
        smpp_out_ready(c->out, true, s->peer_tlvs);
}

static void take_receipt(struct smpp *c, struct smpp_link *l,
                         const struct smpp_pdu *p)
{
    void *held = smpp_in_hold(c->in, l, p);
    int err;

    if (held == NULL)
        return;
    err = smpp_out_receipt(c->out, p, smpp_in_kept, held);
    if (err < 0) /* one that names no text would name none the next time */
        smpp_in_kept(held, err == KW_EINVAL ? 0 : err);
}

static void on_message(void *arg, struct smpp_link *l, const struct smpp_pdu *p)
{
    struct smpp *c = arg;

    if (smpp_is_receipt(p)) {
        take_receipt(c, l, p);
    } else if ((p->esm_class & SMPP_ESM_TYPE_MASK) != 0) {
        /* Acknowledgements and notifications on the way tell us nothing. */
        smpp_session_answer(smpp_link_session(l), p->command_id,
                            p->sequence_number, 0);
    } else if (smpp_is_menu(c->conf, p)) {
        smpp_menu_message(c->menu, l, p);
    } else {
        smpp_in_message(c->in, l, p);
    }
}

static void on_result(void *arg, const struct smpp_result *r)
{
    struct smpp *c = arg;

    if (r->cookie < 0)
        smpp_menu_result(c->menu, r);
    else
        smpp_out_result(c->out, r);
}

static void on_turn(void *arg, struct smpp_link *l)
{
    struct smpp *c = arg;

    smpp_in_turn(c->in);
    if (l == c->links[0]) {
        smpp_menu_pump(c->menu, smpp_link_session(l));
        smpp_out_pump(c->out, smpp_link_session(l));
    }
    leave_when_done(c);
}

static void on_lost(void *arg, struct smpp_link *l)
{
    struct smpp *c = arg;

    smpp_in_lost(c->in, l);
    if (l == c->links[0]) {
        smpp_menu_pump(c->menu, smpp_link_session(l));
        smpp_out_lost(c->out);
    }
}

/* ---- the carrier ---- */

static void send_text(struct carrier *carrier, const struct ledger_out *o)
{
    struct smpp *c = (struct smpp *)carrier;

    smpp_out_send(c->out, o);
    smpp_out_pump(c->out, smpp_link_session(c->links[0]));
    smpp_link_flush(c->links[0]);
}

static bool is_busy(const struct carrier *carrier)
{
    const struct smpp *c = (const struct smpp *)carrier;

    return !smpp_in_idle(c->in) || !smpp_menu_idle(c->menu);
}

static void quiesce(struct carrier *carrier)
{
    struct smpp *c = (struct smpp *)carrier;

    c->quiet = true;
    smpp_in_quiesce(c->in);
    smpp_out_ready(c->out, false, false);
    leave_when_done(c);
}

static bool is_leaving(struct carrier *carrier)
{
    struct smpp *c = (struct smpp *)carrier;

    leave_when_done(c);
    for (int i = 0; i < c->n_links; i++) {
        if (!smpp_link_left(c->links[i]))
            return true;
    }
    return false;
}

static void close_carrier(struct carrier *carrier)
{
    struct smpp *c = (struct smpp *)carrier;

    for (int i = 0; i < c->n_links; i++)
        smpp_link_close(c->links[i]);
    if (c->menu != NULL)
        smpp_menu_free(c->menu);
    if (c->out != NULL)
        smpp_out_free(c->out);
    if (c->in != NULL)
        smpp_in_close(c->in);
    kw_free(c);
}

/* A screen waits that no input brought: the commit did. */
static void pump_screens(void *arg)
{
    struct smpp *c = arg;

    smpp_menu_pump(c->menu, smpp_link_session(c->links[0]));
    smpp_link_flush(c->links[0]);
}

static int open_links(struct smpp *c, struct carrier_host *h,
                      const struct config_carrier *conf, char **why)
{
    struct smpp_link_owner owner = {.bound = on_bound,
                                    .message = on_message,
                                    .result = on_result,
                                    .turn = on_turn,
                                    .lost = on_lost,
                                    .arg = c};
    bool separate = strcmp(conf->smpp.bind, "separate") == 0;
    const uint32_t binds[] = {separate ? SMPP_BIND_TRANSMITTER
                                       : SMPP_BIND_TRANSCEIVER,
                              SMPP_BIND_RECEIVER};
    int n = separate ? 2 : 1;

    while (c->n_links < n) {
        int err = smpp_link_open(h->base, conf, binds[c->n_links], &c->statuses,
                                 &owner, &c->links[c->n_links], why);

        if (err < 0)
            return err;
        c->n_links++;
    }
    return 0;
}

static int read_statuses(struct smpp *c, const struct config_carrier *conf,
                         char **why)
{
    const char *wrong;
    char text[400];

    if (smpp_statuses_read(conf->smpp.statuses, &c->statuses, &wrong) == 0)
        return 0;
    snprintf(text, sizeof(text),
             "carrier '%.64s': 'statuses' is to be values (up to %d) with what "
             "they mean, such as \"0x410 again, 0x401 fail\" (again, wait, "
             "fail, person); it is not at '%.60s'",
             conf->name, SMPP_STATUSES_MOST, wrong);
    *why = kw_strdup(text);
    return KW_EIO;
}

int smpp_open(struct carrier_host *h, const struct config_carrier *conf,
              struct carrier **out, char **why)
{
    struct smpp *c = kw_calloc(1, sizeof(*c));
    int err;

    c->carrier = (struct carrier){.name = conf->name,
                                  .repeat_safe = false, /* no id goes along */
                                  .send = send_text,
                                  .busy = is_busy,
                                  .quiesce = quiesce,
                                  .leaving = is_leaving,
                                  .close = close_carrier};
    c->conf = &conf->smpp;
    c->out = smpp_out_new(h, conf, &c->statuses, &c->carrier.room);
    err = read_statuses(c, conf, why);
    if (err == 0)
        err = smpp_in_open(h, conf, &c->in, why);
    if (err == 0) {
        struct smpp_menu_owner owner = {
            .statuses = &c->statuses, .pump = pump_screens, .arg = c};

        c->menu = smpp_menu_new(h, conf, c->in, &owner);
        err = open_links(c, h, conf, why);
    }
    if (err < 0) {
        close_carrier(&c->carrier);
        return err;
    }
    *out = &c->carrier;
    return 0;
}
