#include "carrier/smpp_text.h"

#include "base/septet.h"
#include "carrier/dcs.h"
#include "carrier/gsm7.h"
#include "carrier/tpdu.h"
#include "carrier/ucs2.h"
#include "carrier/utf8.h"

#include <ctype.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <utf8proc.h>

enum {
    DATA_CODING_DEFAULT = 0,
    DATA_CODING_IA5 = 1,
    DATA_CODING_LATIN1 = 3,
    DATA_CODING_UCS2 = 8
};

enum smpp_coding smpp_coding_named(const char *name)
{
    static const char *const names[] = {"gsm7", "gsm7-packed", "latin1",
                                        "ascii"};

    for (size_t i = 0; i < KW_COUNT(names); i++) {
        if (strcmp(names[i], name) == 0)
            return (enum smpp_coding)i;
    }
    return SMPP_GSM7;
}

/* ---- out ---- */

/* Can the centre's one-octet alphabet write it all? */
static bool fits_octets(enum smpp_coding coding, const char *text, size_t len)
{
    uint32_t most = coding == SMPP_IA5 ? 0x7f : 0xff;

    for (size_t at = 0; at < len;) {
        if (utf8_next(text, len, &at) > most)
            return false;
    }
    return true;
}

/* The septets of a part as the centre's alphabet has them. */
static int recode(enum smpp_coding coding, const struct segment *s,
                  struct kw_buf *out)
{
    struct kw_buf text;

    if (coding == SMPP_GSM7 || coding == SMPP_GSM7_PACKED) {
        kw_buf_put(out, (const char *)s->octets, s->n);
        return out->err;
    }
    kw_buf_init(&text, 4 * SEGMENT_OCTETS);
    gsm7_decode((struct alphabet_shift){0}, s->octets, s->n, &text);
    for (size_t at = 0; at < text.len;)
        kw_buf_putc(out, (char)utf8_next(text.data, text.len, &at));
    kw_buf_release(&text);
    return out->err;
}

/* short_message with its header in front. */
static int put_udh(struct smpp_part *p, const struct smpp_text_way *way,
                   const struct udh *h, const struct kw_buf *units)
{
    struct tpdu t = {
        .tp_dcs = p->data_coding == DATA_CODING_UCS2 ? DCS_UTF16 : DCS_DEFAULT};
    uint8_t head[UDH_OCTETS_MOST];
    size_t n = udh_encode(h, head);

    p->esm_class = n > 0 ? SMPP_ESM_UDHI : 0;
    if (way->coding == SMPP_GSM7_PACKED && p->data_coding != DATA_CODING_UCS2) {
        if (tpdu_put_ud(&t, h, (const uint8_t *)kw_buf_text(units),
                        units->len) < 0)
            return KW_EFULL;
        memcpy(p->short_message, t.tp_ud, t.ud_octets);
        p->sm_length = (uint8_t)t.ud_octets;
        return 0;
    }
    if (n + units->len > sizeof(p->short_message))
        return KW_EFULL;
    memcpy(p->short_message, head, n);
    if (units->len > 0)
        memcpy(p->short_message + n, units->data, units->len);
    p->sm_length = (uint8_t)(n + units->len);
    return 0;
}

static int put_part(const struct smpp_text_way *way,
                    const struct segment_text *cut, size_t i, uint16_t ref,
                    struct smpp_part *p)
{
    struct udh h = cut->udh;
    struct kw_buf units;
    bool sar = way->long_text == SMPP_SAR && cut->n > 1 && h.locking == 0 &&
               h.single == 0;
    int err;

    h.ref = h.wide ? ref : ref & 0xff;
    h.seq = (uint8_t)(i + 1);
    if (sar) {
        smpp_tlv_put_number(&p->tlvs, SMPP_TAG_SAR_MSG_REF_NUM, ref, 2);
        smpp_tlv_put_number(&p->tlvs, SMPP_TAG_SAR_TOTAL_SEGMENTS, h.total, 1);
        smpp_tlv_put_number(&p->tlvs, SMPP_TAG_SAR_SEGMENT_SEQNUM, h.seq, 1);
        h.total = 0;
    }
    kw_buf_init(&units, 2 * SEGMENT_OCTETS);
    err = p->data_coding == DATA_CODING_UCS2
              ? (kw_buf_put(&units, (const char *)cut->parts[i].octets,
                            cut->parts[i].n),
                 units.err)
              : recode(way->coding, &cut->parts[i], &units);
    if (err == 0)
        err = put_udh(p, way, &h, &units);
    kw_buf_release(&units);
    return err;
}

static int put_payload(const struct smpp_text_way *way,
                       const struct segment_text *cut, struct smpp_part *p)
{
    struct kw_buf units;
    uint8_t packed[SEGMENT_MOST * SEGMENT_OCTETS];
    int err = 0;

    kw_buf_init(&units, SEGMENT_MOST * SEGMENT_OCTETS);
    for (size_t i = 0; i < cut->n && err == 0; i++) {
        if (p->data_coding == DATA_CODING_UCS2)
            kw_buf_put(&units, (const char *)cut->parts[i].octets,
                       cut->parts[i].n);
        else
            err = recode(way->coding, &cut->parts[i], &units);
    }
    if (way->coding == SMPP_GSM7_PACKED && p->data_coding != DATA_CODING_UCS2) {
        gsm7_pack((const uint8_t *)kw_buf_text(&units), units.len, 0, packed,
                  sizeof(packed));
        smpp_tlv_put(&p->tlvs, SMPP_TAG_MESSAGE_PAYLOAD, packed,
                     gsm7_octets(units.len, 0));
    } else {
        smpp_tlv_put(&p->tlvs, SMPP_TAG_MESSAGE_PAYLOAD, kw_buf_text(&units),
                     units.len);
    }
    kw_buf_release(&units);
    return err;
}

int smpp_text_encode(const struct smpp_text_way *way, const char *text,
                     size_t len, uint16_t ref, struct smpp_parts *out)
{
    bool septets = way->coding == SMPP_GSM7 || way->coding == SMPP_GSM7_PACKED;
    struct segment_way cut_way = {
        .wide = way->long_text == SMPP_UDH_WIDE,
        .language =
            septets && way->long_text != SMPP_PAYLOAD ? way->language : 0,
        .ucs2 = !septets && !fits_octets(way->coding, text, len)};
    struct segment_text cut;
    int err = segment_cut(&cut_way, text, len, &cut);
    uint8_t coding =
        cut.tp_dcs == DCS_UTF16 ? DATA_CODING_UCS2 : DATA_CODING_DEFAULT;

    out->n = 0;
    if (err < 0)
        return err;
    if (way->long_text == SMPP_PAYLOAD && cut.n > 1) {
        struct smpp_part *p = &out->parts[out->n++];

        *p = (struct smpp_part){.data_coding = coding};
        kw_buf_init(&p->tlvs, 65536);
        return put_payload(way, &cut, p);
    }
    for (size_t i = 0; i < cut.n && err == 0; i++) {
        struct smpp_part *p = &out->parts[out->n++];

        *p = (struct smpp_part){.data_coding = coding};
        kw_buf_init(&p->tlvs, 64);
        err = put_part(way, &cut, i, ref, p);
    }
    return err;
}

void smpp_parts_release(struct smpp_parts *p)
{
    for (size_t i = 0; i < p->n; i++)
        kw_buf_release(&p->parts[i].tlvs);
    p->n = 0;
}

static int screen_septets(enum smpp_coding coding, const uint8_t *septets,
                          size_t n, struct smpp_part *p)
{
    size_t octets = n;

    if (coding == SMPP_GSM7_PACKED) {
        if (gsm7_ussd_pack(septets, n, p->short_message,
                           sizeof(p->short_message), &octets) < 0)
            return KW_EFULL;
    } else {
        memcpy(p->short_message, septets, n);
    }
    p->sm_length = (uint8_t)octets;
    return 0;
}

/* The letter without its marks, when the alphabet lacks it; else "?". */
static uint32_t plain_letter(uint32_t c, uint32_t most)
{
    utf8proc_int32_t parts[8];
    int boundary = 0;

    if (c <= most)
        return c;
    if (utf8proc_decompose_char((utf8proc_int32_t)c, parts, 8,
                                UTF8PROC_DECOMPOSE, &boundary) > 0 &&
        (uint32_t)parts[0] <= most)
        return (uint32_t)parts[0];
    return '?';
}

static int screen_octets(enum smpp_coding coding, const char *text, size_t len,
                         struct smpp_part *p)
{
    uint32_t most = coding == SMPP_IA5 ? 0x7f : 0xff;

    for (size_t at = 0; at < len;) {
        if (p->sm_length == GSM7_USSD_SEPTETS)
            return KW_EFULL;
        p->short_message[p->sm_length++] =
            (uint8_t)plain_letter(utf8_next(text, len, &at), most);
    }
    return 0;
}

int smpp_text_screen(enum smpp_coding coding, const char *text, size_t len,
                     struct smpp_part *p)
{
    bool septets = coding == SMPP_GSM7 || coding == SMPP_GSM7_PACKED;
    uint8_t units[GSM7_USSD_SEPTETS];
    size_t n = 0;
    int err;

    *p = (struct smpp_part){.data_coding = DATA_CODING_DEFAULT};
    if (septets) {
        err = gsm7_encode((struct alphabet_shift){0}, text, len, units,
                          sizeof(units), &n);
        if (err != KW_EINVAL)
            return err < 0 ? err : screen_septets(coding, units, n, p);
    } else if (fits_octets(coding, text, len)) {
        return screen_octets(coding, text, len, p);
    }
    p->data_coding = DATA_CODING_UCS2;
    err = ucs2_encode(text, len, p->short_message, GSM7_USSD_OCTETS, &n);
    p->sm_length = (uint8_t)n;
    /* It was written for 182 letters: marks give way. */
    if (err == KW_EFULL && septet_measure(text, len).gsm7) {
        *p = (struct smpp_part){.data_coding = DATA_CODING_DEFAULT};
        err = screen_octets(coding, text, len, p);
    }
    return err;
}

/* ---- in ---- */

/*
 * data_coding 1 is IA5, but some mark a septet an octet with it: then there
 * are octets that no text of IA5 has.
 */
static enum smpp_coding ia5_or_gsm7(const uint8_t *octets, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        if (octets[i] < 0x20 && octets[i] != '\n' && octets[i] != '\r' &&
            octets[i] != '\t')
            return SMPP_GSM7;
    }
    return SMPP_IA5;
}

static void decode_octets(enum smpp_coding coding, const struct udh *h,
                          const uint8_t *octets, size_t len, struct kw_buf *out)
{
    struct alphabet_shift shift = {h->locking, h->single};

    if (coding == SMPP_GSM7) {
        gsm7_decode(shift, octets, len, out);
    } else if (coding == SMPP_GSM7_PACKED) {
        unsigned fill = gsm7_fill_bits(h->octets);
        size_t n = len * 8 > fill ? (len * 8 - fill) / 7 : 0;
        uint8_t *septets = kw_malloc(n + 1);

        n = gsm7_unpack(octets, len, fill, n, septets);
        /*
         * Seven spare bits read as one more "@", and no count tells: taken
         * for spare but in a part that others follow, for that is full.
         */
        if (n > 0 && septets[n - 1] == 0 && gsm7_octets(n - 1, fill) == len &&
            h->seq == h->total)
            n--;
        gsm7_decode(shift, septets, n, out);
        kw_free(septets);
    } else {
        for (size_t i = 0; i < len; i++)
            utf8_put(out, octets[i]);
    }
}

/* sar_*: another way to tell the place in a longer text. */
static void read_sar(const struct smpp_pdu *p, struct udh *h)
{
    struct smpp_tlv ref, total, seq;

    if (!smpp_tlv_find(p, SMPP_TAG_SAR_MSG_REF_NUM, 2, &ref) ||
        !smpp_tlv_find(p, SMPP_TAG_SAR_TOTAL_SEGMENTS, 1, &total) ||
        !smpp_tlv_find(p, SMPP_TAG_SAR_SEGMENT_SEQNUM, 1, &seq))
        return;
    if (total.value[0] == 0 || seq.value[0] == 0 ||
        seq.value[0] > total.value[0])
        return;
    h->wide = true;
    h->ref = (uint16_t)smpp_tlv_number(&ref);
    h->total = total.value[0];
    h->seq = seq.value[0];
}

int smpp_text_decode(enum smpp_coding coding, const struct smpp_pdu *p,
                     struct udh *h, struct kw_buf *out)
{
    size_t len;
    const uint8_t *octets = smpp_pdu_message(p, &len);

    *h = (struct udh){0};
    if ((p->esm_class & SMPP_ESM_UDHI) != 0 && len > 0)
        udh_decode(octets, len, h);
    else
        read_sar(p, h);
    if (len > 0)
        octets += h->octets;
    len -= h->octets;
    if (p->data_coding == DATA_CODING_UCS2 ||
        (p->data_coding >= 0x10 &&
         dcs_decode(p->data_coding).alphabet == DCS_UCS2))
        ucs2_decode(octets, len, out);
    else if (p->data_coding == DATA_CODING_DEFAULT)
        decode_octets(coding, h, octets, len, out);
    else if (p->data_coding == DATA_CODING_IA5)
        decode_octets(ia5_or_gsm7(octets, len), h, octets, len, out);
    else if (p->data_coding < 0x0f)
        decode_octets(SMPP_LATIN1, h, octets, len, out);
    else if (dcs_decode(p->data_coding).alphabet == DCS_OCTETS)
        decode_octets(SMPP_LATIN1, h, octets, len, out);
    else /* 0F: as in USSD; Fx: as in TS 23.038 */
        decode_octets(coding == SMPP_GSM7_PACKED ? coding : SMPP_GSM7, h,
                      octets, len, out);
    return out->err;
}

/* ---- receipts ---- */

bool smpp_is_receipt(const struct smpp_pdu *p)
{
    return (p->esm_class & SMPP_ESM_TYPE_MASK) == SMPP_ESM_RECEIPT;
}

static const struct {
    const char *word;
    enum smpp_message_state state;
} states[] = {
    {"ENROUTE", SMPP_STATE_ENROUTE},     {"DELIVRD", SMPP_STATE_DELIVERED},
    {"DELIVERED", SMPP_STATE_DELIVERED}, {"EXPIRED", SMPP_STATE_EXPIRED},
    {"DELETED", SMPP_STATE_DELETED},     {"UNDELIV", SMPP_STATE_UNDELIVERABLE},
    {"ACCEPTD", SMPP_STATE_ACCEPTED},    {"UNKNOWN", SMPP_STATE_UNKNOWN},
    {"REJECTD", SMPP_STATE_REJECTED},    {"SKIPPED", SMPP_STATE_SKIPPED}};

/*
 * The word after "key:" in a receipt's text; "text:" ends the search, for
 * what follows is a person's. 0 when it is not there.
 */
static size_t word_after(const char *text, size_t len, const char *key,
                         const char **word)
{
    size_t k = strlen(key), n = 0;

    for (size_t at = 0; at + k < len; at++) {
        bool begins = at == 0 || text[at - 1] == ' ';

        if (begins && strncasecmp(text + at, "text:", 5) == 0 && len - at >= 5)
            return 0;
        if (!begins || strncasecmp(text + at, key, k) != 0)
            continue;
        *word = text + at + k;
        while (at + k + n < len && (*word)[n] != ' ' && (*word)[n] != '\0')
            n++;
        return n;
    }
    return 0;
}

static enum smpp_message_state state_of(const char *word, size_t n)
{
    for (size_t i = 0; i < KW_COUNT(states); i++) {
        if (strlen(states[i].word) == n &&
            strncasecmp(states[i].word, word, n) == 0)
            return states[i].state;
    }
    return SMPP_STATE_NONE;
}

void smpp_receipt_read(const struct smpp_pdu *p, struct smpp_receipt *r)
{
    struct smpp_tlv t;
    const char *word;
    size_t len, n;
    const char *text = (const char *)smpp_pdu_message(p, &len);

    *r = (struct smpp_receipt){.state = SMPP_STATE_NONE};
    if (smpp_tlv_find(p, SMPP_TAG_MESSAGE_STATE, 1, &t) && t.value[0] <= 9)
        r->state = (enum smpp_message_state)t.value[0];
    if (smpp_tlv_find(p, SMPP_TAG_RECEIPTED_MESSAGE_ID, 1, &t))
        kw_copy(r->id, sizeof(r->id), (const char *)t.value,
                strnlen((const char *)t.value, t.length));
    if (r->id[0] == '\0' && (n = word_after(text, len, "id:", &word)) > 0)
        kw_copy(r->id, sizeof(r->id), word, n);
    if (r->state == SMPP_STATE_NONE &&
        (n = word_after(text, len, "stat:", &word)) > 0)
        r->state = state_of(word, n);
}

/* The whole number in that base, when it is one. */
static bool number_of(const char *id, int base, unsigned long long *v)
{
    char *end;

    if (!isxdigit((unsigned char)id[0]))
        return false;
    errno = 0;
    *v = strtoull(id, &end, base);
    return *end == '\0' && errno == 0;
}

void smpp_id_normal(enum smpp_id_form form, bool receipted, const char *id,
                    char dst[SMPP_ID_CAP])
{
    bool hex = receipted ? form == SMPP_ID_HEX : form == SMPP_ID_DECIMAL;
    unsigned long long v;
    size_t n = 0;

    if (form != SMPP_ID_SAME && number_of(id, hex ? 16 : 10, &v)) {
        snprintf(dst, SMPP_ID_CAP, "%llu", v);
        return;
    }
    while (id[0] == '0' && id[1] != '\0')
        id++;
    for (; id[n] != '\0' && n < SMPP_ID_CAP - 1; n++)
        dst[n] = isprint((unsigned char)id[n])
                     ? (char)tolower((unsigned char)id[n])
                     : '?';
    dst[n] = '\0';
}

const char *smpp_state_word(enum smpp_message_state state)
{
    static const char *const words[] = {
        "scheduled",     "on its way", "delivered", "expired",  "deleted",
        "undeliverable", "accepted",   "unknown",   "rejected", "skipped"};

    return state == SMPP_STATE_NONE ? "" : words[state];
}

void smpp_time_relative(int64_t seconds, char dst[17])
{
    int64_t most = (int64_t)63 * 7 * 86400;
    int64_t s = seconds < 60 ? 60 : seconds > most ? most : seconds;
    int months = (int)(s / 86400 / 30), days = (int)(s / 86400 % 30);

    snprintf(dst, 17, "%02d%02d%02d%02d%02d%02d000R", months / 12 % 100,
             months % 12, days, (int)(s / 3600 % 24), (int)(s / 60 % 60),
             (int)(s % 60));
}
