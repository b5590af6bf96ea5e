#include "carrier/smpp_parts.h"

#include "base/clock.h"
#include "base/log.h"
#include "carrier/concat.h"
#include "carrier/keep.h"
#include "carrier/repeats.h"
#include "carrier/smpp_status.h"
#include "carrier/tpdu.h"

#include <event2/event.h>
#include <stdio.h>
#include <string.h>

#define TAKINGS_MOST 256
#define TEXT_CAP     (4 * 65536) /* message_payload, in UTF-8 */
#define AGAIN_S      5           /* after the ledger refused a long text */
#define DAY_S        86400

struct ask {                /* who waits for an answer */
    struct smpp_link *link; /* NULL: the connection is gone */
    uint32_t command_id, sequence_number;
};

struct taking { /* one text on its way through the writer */
    struct carrier_taking t;
    struct smpp_in *in;
    struct ask ask;
    unsigned number; /* of repeats */
    bool joined;     /* a long text: its parts are answered already */
    char ref[REPEATS_REF_CAP];
    char from[SMPP_ADDR_CAP + 1], to[SMPP_ADDR_CAP + 1];
    char *text;
    bool waits; /* the ledger refused; for joined ones only */
    struct taking *next;
};

struct smpp_in {
    struct carrier_host *host;
    const struct config_carrier *conf;
    enum smpp_coding coding;
    struct repeats *repeats;
    struct concat *concat;
    struct keep *keep;
    struct taking *takings;
    int n_takings;
    bool quiet;
    /* parts that came in this turn, to be answered after the sync */
    struct ask parts[TAKINGS_MOST];
    int n_parts;
    struct event *timer; /* long texts that wait too long, or again */
};

static int64_t now_ms(void)
{
    return clock_now_ms();
}

static void answer(const struct ask *a, uint32_t status)
{
    if (a->link == NULL)
        return;
    smpp_session_answer(smpp_link_session(a->link), a->command_id,
                        a->sequence_number, status);
    smpp_link_flush(a->link);
}

static void free_taking(struct taking *k)
{
    struct taking **p = &k->in->takings;

    while (*p != k)
        p = &(*p)->next;
    *p = k->next;
    k->in->n_takings--;
    kw_free(k->text);
    kw_free(k);
}

static struct taking *new_taking(struct smpp_in *in)
{
    struct taking *k = kw_calloc(1, sizeof(*k));

    k->in = in;
    k->next = in->takings;
    in->takings = k;
    in->n_takings++;
    return k;
}

/* ---- through the writer ---- */

static void hand_over(struct taking *k);

static void set_again(struct smpp_in *in)
{
    struct timeval after = {.tv_sec = AGAIN_S};

    evtimer_add(in->timer, &after);
}

/* Is another long text on its way to the ledger? Its parts are to stay. */
static bool others_joined(const struct taking *k)
{
    for (const struct taking *o = k->in->takings; o != NULL; o = o->next) {
        if (o != k && o->joined)
            return true;
    }
    return false;
}

static void on_taken(struct carrier_taking *t, int err)
{
    struct taking *k = t->carrier;
    struct smpp_in *in = k->in;

    if (k->joined) {
        if (err < 0) {
            k->waits = true;
            set_again(in);
            return;
        }
        keep_done(in->keep, k->ref, in->concat, !others_joined(k));
    } else {
        /* Not taken: the same delivery, come again, is no repeat of it. */
        repeats_answered(in->repeats, k->number, now_ms(),
                         err == 0 && k->ask.link != NULL);
        answer(&k->ask, err == 0 ? SMPP_ROK : SMPP_RX_T_APPN);
    }
    free_taking(k);
}

static void hand_over(struct taking *k)
{
    struct smpp_in *in = k->in;

    k->waits = false;
    k->t.taken = on_taken;
    k->t.carrier = k;
    k->t.text.carrier = in->conf->name;
    k->t.text.ref = k->ref;
    k->t.text.from = k->from;
    k->t.text.to = k->to;
    k->t.text.text = k->text;
    if (in->host->take(in->host, &k->t) < 0)
        on_taken(&k->t, KW_EFULL);
}

/* ---- one delivery ---- */

void smpp_in_address(const struct smpp_address *a, char dst[SMPP_ADDR_CAP + 1],
                     const char *none)
{
    bool plus = a->ton == TPDU_TON_INTERNATIONAL && a->addr[0] != '+' &&
                a->addr[0] != '\0';

    if (a->addr[0] == '\0')
        snprintf(dst, SMPP_ADDR_CAP + 1, "%s", none);
    else
        snprintf(dst, SMPP_ADDR_CAP + 1, "%s%.60s", plus ? "+" : "", a->addr);
    /* ASCII by 3.1; other octets are no text that could be kept. */
    for (char *c = dst; *c != '\0'; c++) {
        if ((unsigned char)*c < 0x20 || (unsigned char)*c > 0x7e)
            *c = '?';
    }
}

static void take_part(struct smpp_in *in, struct taking *k, const struct udh *h,
                      size_t len)
{
    struct concat_part p = {.from = k->from,
                            .to = k->to,
                            .ref = h->ref,
                            .wide = h->wide,
                            .total = h->total,
                            .seq = h->seq,
                            .text = k->text,
                            .len = len,
                            .at_s = clock_now_s(),
                            .mark = 1};
    int got =
        in->n_parts < TAKINGS_MOST ? concat_put(in->concat, &p) : KW_EFULL;

    /* A repeat too: the first may not have come to the disk. */
    if (got >= 0 && keep_part(in->keep, &p) < 0)
        log_error("failed to write a part of a long text to the parts' file "
                  "of '%s'; look at the disk",
                  in->conf->name); /* the sync fails as well */
    if (got < 0)
        answer(&k->ask, SMPP_RX_T_APPN);
    else
        in->parts[in->n_parts++] = k->ask;
    free_taking(k);
}

static void take_text(struct smpp_in *in, struct taking *k,
                      const struct smpp_pdu *p, size_t len)
{
    struct repeats_text r = {.from = k->from,
                             .to = k->to,
                             .kind =
                                 (uint32_t)p->data_coding << 8 | p->esm_class};

    r.octets = smpp_pdu_message(p, &r.len);
    k->number = repeats_ref(in->repeats, &r, now_ms(), k->ref);
    k->t.text.len = len;
    k->t.text.at_s = clock_now_s();
    hand_over(k);
}

void *smpp_in_hold(struct smpp_in *in, struct smpp_link *l,
                   const struct smpp_pdu *p)
{
    struct ask ask = {l, p->command_id, p->sequence_number};
    struct taking *k;

    if (in->quiet || in->n_takings >= TAKINGS_MOST) {
        answer(&ask, SMPP_RX_T_APPN); /* it is to come again */
        return NULL;
    }
    k = new_taking(in);
    k->ask = ask;
    return k;
}

void smpp_in_kept(void *held, int err)
{
    struct taking *k = held;

    bool never = err == KW_EINVAL || err == KW_ENOENT || err == KW_ERANGE;

    answer(&k->ask, err == 0 ? SMPP_ROK
                    : never  ? SMPP_RX_P_APPN
                             : SMPP_RX_T_APPN);
    free_taking(k);
}

void smpp_in_message(struct smpp_in *in, struct smpp_link *l,
                     const struct smpp_pdu *p)
{
    struct taking *k = smpp_in_hold(in, l, p);
    struct kw_buf text;
    struct udh h;
    size_t len;

    if (k == NULL)
        return;
    smpp_in_address(&p->source, k->from, "unknown");
    smpp_in_address(&p->dest, k->to, "");
    kw_buf_init(&text, TEXT_CAP);
    smpp_text_decode(in->coding, p, &h, &text);
    len = text.len;
    k->text = kw_buf_take(&text);
    if (h.total > 1 && len <= CONCAT_PART_CAP)
        take_part(in, k, &h, len);
    else
        take_text(in, k, p, len);
}

/* ---- long texts ---- */

static void take_joined(struct smpp_in *in, struct concat_text *t)
{
    struct taking *k = new_taking(in);

    k->joined = true;
    keep_ref(t, k->ref);
    memcpy(k->from, t->from, sizeof(t->from));
    memcpy(k->to, t->to, sizeof(t->to));
    k->text = t->text;
    k->t.text.len = t->len;
    k->t.text.at_s = t->at_s;
    if (t->parts < t->total)
        log_warn("a long text by '%s' came with %u of %u parts", in->conf->name,
                 t->parts, t->total);
    hand_over(k);
}

static void on_found(void *arg, struct concat_text *t)
{
    struct smpp_in *in = arg;
    struct taking *k = new_taking(in);

    /* Found at start, before the writer: taken at the first turn. */
    k->joined = k->waits = true;
    keep_ref(t, k->ref);
    memcpy(k->from, t->from, sizeof(t->from));
    memcpy(k->to, t->to, sizeof(t->to));
    k->text = t->text;
    k->t.text.len = t->len;
    k->t.text.at_s = t->at_s;
}

void smpp_in_turn(struct smpp_in *in)
{
    struct concat_text t;
    struct timeval after = {0};
    uint32_t status;
    int64_t due;
    int n = in->n_parts;

    if (n > 0) {
        status = keep_sync(in->keep) == 0 ? SMPP_ROK : SMPP_RX_T_APPN;
        in->n_parts = 0;
        for (int i = 0; i < n; i++)
            answer(&in->parts[i], status);
    }
    while (concat_next(in->concat, clock_now_s(), &t))
        take_joined(in, &t);
    due = concat_due(in->concat);
    if (due != 0 && !evtimer_pending(in->timer, NULL)) {
        after.tv_sec = due > clock_now_s() ? due - clock_now_s() : 1;
        evtimer_add(in->timer, &after);
    }
}

static void on_timer(evutil_socket_t fd, short what, void *arg)
{
    struct smpp_in *in = arg;
    struct taking *k, *next;

    (void)fd, (void)what;
    for (k = in->takings; k != NULL; k = next) {
        next = k->next;
        if (k->waits)
            hand_over(k);
    }
    smpp_in_turn(in);
}

void smpp_in_lost(struct smpp_in *in, struct smpp_link *l)
{
    int kept = 0;

    for (struct taking *k = in->takings; k != NULL; k = k->next) {
        if (k->ask.link == l)
            k->ask.link = NULL;
    }
    for (int i = 0; i < in->n_parts; i++) {
        if (in->parts[i].link != l)
            in->parts[kept++] = in->parts[i];
    }
    in->n_parts = kept;
    repeats_lost(in->repeats, now_ms());
}

void smpp_in_quiesce(struct smpp_in *in)
{
    in->quiet = true;
}

bool smpp_in_idle(const struct smpp_in *in)
{
    for (const struct taking *k = in->takings; k != NULL; k = k->next) {
        if (!k->waits)
            return false;
    }
    return true;
}

/* ---- opening and closing ---- */

static int remember(const char *ref, void *arg)
{
    repeats_remember(arg, ref);
    return 0;
}

/* What came last before this start may come again. */
static void remember_refs(struct smpp_in *in)
{
    struct ledger_settings set = {.file = in->host->conf->ledger_file,
                                  .read_only = true};
    struct ledger *lg;

    if (ledger_open(&set, &lg, NULL) < 0)
        return; /* a new one */
    ledger_refs_each(lg, in->conf->name, clock_now_s() - 2 * DAY_S, remember,
                     in->repeats);
    ledger_close(lg);
    repeats_remembered(in->repeats);
}

static int open_keep(struct smpp_in *in, char **why)
{
    const char *path = in->conf->smpp.parts;
    struct keep_found found = {.found = on_found, .arg = in};
    char own[4200];

    if (path == NULL) {
        snprintf(own, sizeof(own), "%s.%s.parts", in->host->conf->ledger_file,
                 in->conf->name);
        path = own;
    }
    return keep_open(path, in->concat, &found, &in->keep, why);
}

int smpp_in_open(struct carrier_host *h, const struct config_carrier *conf,
                 struct smpp_in **out, char **why)
{
    struct smpp_in *in = kw_calloc(1, sizeof(*in));
    struct timeval soon = {0};

    in->host = h;
    in->conf = conf;
    in->coding = smpp_coding_named(conf->smpp.alphabet);
    in->repeats = repeats_new();
    in->concat = concat_new();
    in->timer = evtimer_new(h->base, on_timer, in);
    if (open_keep(in, why) < 0) {
        smpp_in_close(in);
        return KW_EIO;
    }
    remember_refs(in);
    evtimer_add(in->timer, &soon);
    *out = in;
    return 0;
}

void smpp_in_close(struct smpp_in *in)
{
    while (in->takings != NULL)
        free_taking(in->takings);
    event_free(in->timer);
    keep_close(in->keep);
    concat_free(in->concat);
    repeats_free(in->repeats);
    kw_free(in);
}
