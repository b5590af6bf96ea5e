/*
 * make_tpdu.c - for tests/peers/tshark_tpdu: writes a line for each TPDU this
 * program's encoder makes of texts of many kinds: type, hex, address, text
 * (hex of its UTF-8), part numbers.
 */
#include "carrier/dcs.h"
#include "carrier/gsm7.h"
#include "carrier/segment.h"
#include "carrier/tpdu.h"
#include "carrier/ucs2.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const pieces[] = {"a",
                                     "4f ",
                                     "10h ",
                                     "\xc3\xa9",
                                     "@",
                                     "[",
                                     "\xe2\x82\xac",
                                     "kil",
                                     "\n",
                                     "\xe0\xa4\x95",
                                     "\xf0\x9f\x98\x80",
                                     "\xe1\x8a\xa0"};
static const char *const addresses[] = {"+99970012345", "7070", "*123#",
                                        "Workshop", "+9997001234"};

static void print_hex(const void *data, size_t n)
{
    for (size_t i = 0; i < n; i++)
        printf("%02X", ((const uint8_t *)data)[i]);
}

static void print_one(const struct tpdu *t, const struct segment_text *cut,
                      size_t i)
{
    uint8_t octets[TPDU_OCTETS_MOST];
    int n = tpdu_encode(t, octets, sizeof(octets));
    struct kw_buf text;

    if (n < 0)
        abort();
    kw_buf_init(&text, 1000);
    if (cut->tp_dcs == DCS_UTF16)
        ucs2_decode(cut->parts[i].octets, cut->parts[i].n, &text);
    else
        gsm7_decode((struct alphabet_shift){0}, cut->parts[i].octets,
                    cut->parts[i].n, &text);
    printf("%s ", t->type == TPDU_SUBMIT ? "I" : "O");
    print_hex(octets, (size_t)n);
    printf(" %s ", t->address.text);
    print_hex(kw_buf_text(&text), text.len);
    printf(" %zu/%zu\n", i + 1, cut->n);
    kw_buf_release(&text);
}

static void make_text(struct kw_buf *text, int turn)
{
    size_t kinds = turn % 4 == 1   ? 4 /* plain */
                   : turn % 3 == 0 ? KW_COUNT(pieces)
                                   : 9;

    for (int n = rand() % 120; n >= 0; n--)
        kw_buf_puts(text, pieces[(size_t)rand() % kinds]);
}

int main(void)
{
    struct segment_way way = {0};
    static struct segment_text cut;

    srand(1);
    for (int turn = 0; turn < 200; turn++) {
        struct kw_buf text;

        kw_buf_init(&text, 4000);
        make_text(&text, turn);
        way.wide = turn % 5 == 4;
        if (segment_cut(&way, kw_buf_text(&text), text.len, &cut) < 0)
            abort();
        for (size_t i = 0; i < cut.n; i++) {
            struct tpdu t = {.type = turn % 2 ? TPDU_SUBMIT : TPDU_DELIVER,
                             .tp_mr = (uint8_t)turn,
                             .tp_dcs = cut.tp_dcs,
                             .tp_srr = true,
                             .tp_vpf = TPDU_VPF_RELATIVE,
                             .tp_vp = 167,
                             .tp_mms = true,
                             .tp_scts = {2026, 11, 25, 14, 0, 0, -16, true}};
            struct udh h = cut.udh;

            h.ref = (uint16_t)(turn + (way.wide ? 1000 : 0));
            h.seq = (uint8_t)(i + 1);
            if (tpdu_address_from(&t.address,
                                  addresses[turn % KW_COUNT(addresses)]) < 0 ||
                tpdu_put_ud(&t, &h, cut.parts[i].octets, cut.parts[i].n) < 0)
                abort();
            print_one(&t, &cut, i);
        }
        kw_buf_release(&text);
    }
    return 0;
}
