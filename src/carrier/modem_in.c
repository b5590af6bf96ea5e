#include "carrier/modem_parts.h"

#include "base/clock.h"
#include "base/log.h"
#include "carrier/concat.h"

#include <event2/event.h>
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define HELD_MOST  512 /* places of a store */
#define AGAIN_S    5   /* after the ledger refused a text */
#define REF_CAP    48
#define HASH_SHORT 16

struct held { /* a place whose text is not yet in the ledger */
    int place;
    uint8_t hash[HASH_SHORT];
};

struct taking { /* one text on its way through the writer */
    struct carrier_taking t;
    struct modem_in *in;
    int places[255];
    int n_places;
    char ref[REF_CAP];
    char from[TPDU_ADDRESS_CAP + 1];
    char *text;
    bool waits; /* the ledger refused */
    struct taking *next;
};

struct modem_in {
    struct carrier_host *host;
    const struct config_carrier *conf;
    struct modem_dialog *dialog;
    struct modem_out *out;
    struct concat *concat;
    struct held held[HELD_MOST];
    int n_held;
    struct taking *takings;
    struct event *timer;
};

static int64_t now_ms(void)
{
    return clock_monotonic_us() / 1000;
}

static void hash_of(const void *data, size_t len, uint8_t hash[HASH_SHORT])
{
    unsigned char digest[EVP_MAX_MD_SIZE] = {0};

    if (EVP_Digest(data, len, digest, NULL, EVP_sha256(), NULL) != 1)
        abort(); /* without memory; a restart loses nothing */
    memcpy(hash, digest, HASH_SHORT);
}

static void ref_of(const uint8_t hash[HASH_SHORT], char ref[REF_CAP])
{
    memcpy(ref, "pdu-", 5);
    for (int i = 0; i < HASH_SHORT; i++)
        snprintf(ref + 4 + 2 * i, 3, "%02x", hash[i]);
}

/* ---- what is held in the store ---- */

static struct held *find_held(struct modem_in *in, int place)
{
    for (int i = 0; i < in->n_held; i++) {
        if (in->held[i].place == place)
            return &in->held[i];
    }
    return NULL;
}

static void let_go(struct modem_in *in, int place)
{
    struct held *h = find_held(in, place);

    if (h != NULL)
        *h = in->held[--in->n_held];
}

/* False: it is in hand already. */
static bool hold(struct modem_in *in, int place, const uint8_t hash[HASH_SHORT])
{
    struct held *h = place >= 0 ? find_held(in, place) : NULL;

    if (place < 0)
        return true;
    if (h != NULL && memcmp(h->hash, hash, HASH_SHORT) == 0)
        return false;
    if (h == NULL && in->n_held == HELD_MOST)
        return false; /* it stays in the store, for later */
    if (h == NULL)
        h = &in->held[in->n_held++];
    h->place = place;
    memcpy(h->hash, hash, HASH_SHORT);
    return true;
}

static void drop_place(struct modem_in *in, int place)
{
    if (place < 0)
        return;
    let_go(in, place);
    modem_dialog_delete(in->dialog, place, now_ms());
}

/* ---- through the writer ---- */

static void free_taking(struct taking *k)
{
    struct taking **p = &k->in->takings;

    while (*p != k)
        p = &(*p)->next;
    *p = k->next;
    kw_free(k->text);
    kw_free(k);
}

static struct taking *new_taking(struct modem_in *in)
{
    struct taking *k = kw_calloc(1, sizeof(*k));

    k->in = in;
    k->next = in->takings;
    in->takings = k;
    return k;
}

static void on_taken(struct carrier_taking *t, int err)
{
    struct taking *k = t->carrier;
    struct timeval after = {.tv_sec = AGAIN_S};

    if (err < 0) {
        k->waits = true;
        evtimer_add(k->in->timer, &after);
        return;
    }
    for (int i = 0; i < k->n_places; i++)
        drop_place(k->in, k->places[i]);
    free_taking(k);
}

static void hand_over(struct taking *k)
{
    struct modem_in *in = k->in;

    k->waits = false;
    k->t.taken = on_taken;
    k->t.carrier = k;
    k->t.text.carrier = in->conf->name;
    k->t.text.ref = k->ref;
    k->t.text.from = k->from[0] != '\0' ? k->from : "unknown";
    k->t.text.text = k->text;
    if (in->host->take(in->host, &k->t) < 0)
        on_taken(&k->t, KW_EFULL);
}

/* ---- one PDU ---- */

/* What cannot be read is kept for people to look at, as its digits. */
static void take_unreadable(struct modem_in *in, int place, const uint8_t *pdu,
                            size_t len, const uint8_t hash[HASH_SHORT])
{
    struct taking *k = new_taking(in);

    log_warn("a text of %zu octets by '%s' cannot be read; kept as digits", len,
             in->conf->name);
    k->text = kw_malloc(2 * len + 1);
    for (size_t i = 0; i < len; i++)
        snprintf(k->text + 2 * i, 3, "%02X", pdu[i]);
    k->places[0] = place;
    k->n_places = 1;
    ref_of(hash, k->ref);
    k->t.text.len = 2 * len;
    k->t.text.at_s = clock_now_s();
    hand_over(k);
}

struct deliver { /* a text as it was read */
    int place;
    const uint8_t *hash;
    const struct tpdu *tpdu;
    struct udh header;
    struct kw_buf text;
    char from[TPDU_ADDRESS_CAP + 1];
};

static void take_part(struct modem_in *in, struct deliver *m)
{
    struct concat_part p = {.from = m->from,
                            .to = "",
                            .ref = m->header.ref,
                            .wide = m->header.wide,
                            .total = m->header.total,
                            .seq = m->header.seq,
                            .text = kw_buf_text(&m->text),
                            .len = m->text.len,
                            .at_s = clock_now_s(),
                            .mark = m->place};
    int got = concat_put(in->concat, &p);

    if (got == CONCAT_REPEAT)
        drop_place(in, m->place); /* the first copy is held, or was taken */
    else if (got < 0)
        let_go(in, m->place); /* it is found again in the store */
}

static void take_whole(struct modem_in *in, struct deliver *m)
{
    struct taking *k = new_taking(in);

    memcpy(k->from, m->from, sizeof(k->from));
    ref_of(m->hash, k->ref);
    k->places[0] = m->place;
    k->n_places = 1;
    k->t.text.len = m->text.len;
    k->t.text.at_s = clock_now_s();
    k->t.text.sent_s = tpdu_time_utc(&m->tpdu->tp_scts);
    k->text = kw_buf_take(&m->text);
    hand_over(k);
}

static void take_deliver(struct modem_in *in, struct deliver *m)
{
    bool for_people;

    kw_buf_init(&m->text, 4096);
    tpdu_text(m->tpdu, &m->header, &m->text);
    tpdu_address_text(&m->tpdu->address, m->from, sizeof(m->from));
    for_people = !m->header.sim_toolkit && !m->header.ports;
    if (!for_people) {
        log_info("passed over data for a card or an application by '%s'",
                 in->conf->name);
        drop_place(in, m->place);
    } else if (m->header.total > 1) {
        take_part(in, m);
    } else {
        take_whole(in, m);
    }
    kw_buf_release(&m->text);
}

/* A stored report is deleted after the commit, as a text is. */
struct reporting {
    struct modem_in *in;
    int place;
};

static void on_report(void *arg, int err)
{
    struct reporting *r = arg;

    if (err == 0)
        drop_place(r->in, r->place);
    else
        let_go(r->in, r->place); /* it is found again in the store */
    kw_free(r);
}

static void take_report(struct modem_in *in, int place, const struct tpdu *t)
{
    struct reporting *r = kw_malloc(sizeof(*r));
    int err;

    *r = (struct reporting){.in = in, .place = place};
    err = modem_out_report(in->out, t, on_report, r);
    if (err < 0)
        on_report(r, err);
}

void modem_in_pdu(struct modem_in *in, int place, const uint8_t *pdu,
                  size_t len)
{
    uint8_t hash[HASH_SHORT];
    struct deliver m = {.place = place, .hash = hash};
    struct tpdu t;
    int sca = tpdu_skip_sca(pdu, len);

    hash_of(pdu + (sca > 0 ? sca : 0), len - (size_t)(sca > 0 ? sca : 0), hash);
    if (!hold(in, place, hash))
        return;
    if (sca < 0 ||
        tpdu_decode(&t, TPDU_FROM_CENTRE, pdu + sca, len - (size_t)sca) < 0) {
        take_unreadable(in, place, pdu, len, hash);
    } else if (t.type == TPDU_STATUS_REPORT) {
        take_report(in, place, &t);
    } else {
        m.tpdu = &t;
        take_deliver(in, &m);
    }
}

/* ---- long texts ---- */

/* What a joined text is known by: all its PDUs, in their order. */
static void joined_ref(struct modem_in *in, const struct concat_text *t,
                       char ref[REF_CAP])
{
    uint8_t all[255 * HASH_SHORT] = {0}, hash[HASH_SHORT];

    for (int i = 0; i < t->parts; i++) {
        struct held *h = find_held(in, (int)t->marks[i]);

        if (h != NULL)
            memcpy(all + i * HASH_SHORT, h->hash, HASH_SHORT);
    }
    hash_of(all, (size_t)t->parts * HASH_SHORT, hash);
    ref_of(hash, ref);
}

static void take_joined(struct modem_in *in, struct concat_text *t)
{
    struct taking *k = new_taking(in);

    if (t->parts < t->total)
        log_warn("a long text by '%s' came with %u of %u parts", in->conf->name,
                 t->parts, t->total);
    snprintf(k->from, sizeof(k->from), "%s", t->from);
    joined_ref(in, t, k->ref);
    k->text = t->text;
    k->t.text.len = t->len;
    k->t.text.at_s = t->at_s;
    for (int i = 0; i < t->parts; i++)
        k->places[k->n_places++] = (int)t->marks[i];
    hand_over(k);
}

void modem_in_turn(struct modem_in *in)
{
    struct concat_text t;
    int64_t now = clock_now_s(), due;
    struct timeval after = {0};

    /* A full store takes in nothing: parts that wait there make room. */
    if (modem_dialog_crowded(in->dialog))
        now += CONCAT_WAIT_S;
    while (concat_next(in->concat, now, &t))
        take_joined(in, &t);
    due = concat_due(in->concat);
    if (due != 0 && !evtimer_pending(in->timer, NULL)) {
        after.tv_sec = due > clock_now_s() ? due - clock_now_s() : 1;
        evtimer_add(in->timer, &after);
    }
}

static void on_timer(evutil_socket_t fd, short what, void *arg)
{
    struct modem_in *in = arg;
    struct taking *k, *next;

    (void)fd, (void)what;
    for (k = in->takings; k != NULL; k = next) {
        next = k->next;
        if (k->waits)
            hand_over(k);
    }
    modem_in_turn(in);
}

bool modem_in_idle(const struct modem_in *in)
{
    for (const struct taking *k = in->takings; k != NULL; k = k->next) {
        if (!k->waits)
            return false;
    }
    return true;
}

struct modem_in *modem_in_new(struct carrier_host *h,
                              const struct config_carrier *conf,
                              struct modem_dialog *d, struct modem_out *out)
{
    struct modem_in *in = kw_calloc(1, sizeof(*in));

    in->host = h;
    in->conf = conf;
    in->dialog = d;
    in->out = out;
    in->concat = concat_new();
    in->timer = evtimer_new(h->base, on_timer, in);
    return in;
}

void modem_in_free(struct modem_in *in)
{
    while (in->takings != NULL)
        free_taking(in->takings);
    event_free(in->timer);
    concat_free(in->concat);
    kw_free(in);
}
