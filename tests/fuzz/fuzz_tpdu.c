/*
 * fuzz_tpdu.c - any octets as a TPDU: it is read or refused; what was read
 * is written and reads the same again; its text goes through reassembly.
 * The first octet chooses the way.
 */
#include "carrier/concat.h"
#include "carrier/gsm7.h"
#include "carrier/tpdu.h"

#include <assert.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void join(const struct tpdu *t, const struct udh *h,
                 const struct kw_buf *text)
{
    struct concat_part p = {.from = t->address.text,
                            .to = "",
                            .ref = h->ref,
                            .wide = h->wide,
                            .total = h->total,
                            .seq = h->seq,
                            .text = kw_buf_text(text),
                            .len = text->len};
    struct concat *c = concat_new();
    struct concat_text out;

    if (concat_put(c, &p) >= 0) {
        assert(concat_put(c, &p) == CONCAT_REPEAT);
        assert(concat_next(c, CONCAT_WAIT_S, &out));
        assert(out.parts == 1 && out.len >= text->len);
        concat_text_release(&out);
    }
    concat_free(c);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    enum tpdu_way way;
    struct tpdu t, again;
    uint8_t octets[TPDU_OCTETS_MOST + 20];
    struct udh h;
    struct kw_buf text;
    int n;

    if (size == 0)
        return 0;
    way = data[0] & 1 ? TPDU_TO_CENTRE : TPDU_FROM_CENTRE;
    tpdu_skip_sca(data + 1, size - 1);
    if (tpdu_decode(&t, way, data + 1, size - 1) < 0)
        return 0;
    kw_buf_init(&text, 10000);
    if (tpdu_text(&t, &h, &text) == 0 && h.total > 0)
        join(&t, &h, &text);
    kw_buf_release(&text);
    n = tpdu_encode(&t, octets, sizeof(octets));
    /* A name may hold what the default alphabet shows in two ways. */
    assert(n > 0 || (n == KW_EINVAL && t.address.ton == 5));
    if (n > 0) {
        assert(tpdu_decode(&again, way, octets, (size_t)n) == 0);
        assert(again.tp_udl == t.tp_udl && again.ud_octets == t.ud_octets &&
               memcmp(again.tp_ud, t.tp_ud, t.ud_octets) == 0);
        assert(t.address.ton == 5 ||
               strcmp(again.address.text, t.address.text) == 0);
    }
    return 0;
}
