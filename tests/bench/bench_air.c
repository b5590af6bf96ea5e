/*
 * bench_air.c - encodings of the air interface and SMPP: millions an hour are
 * not needed, but none may cost more than the ledger's commit beside it; and
 * the memory of reassembly under a flood of first parts, which is bounded.
 */
#include "base/clock.h"
#include "carrier/concat.h"
#include "carrier/gsm7.h"
#include "carrier/segment.h"
#include "carrier/smpp_pdu.h"
#include "carrier/smpp_text.h"
#include "carrier/tpdu.h"

#include <malloc.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RUNS      7
#define COST_MOST 20.0 /* us, of any one row */
#define FLOOD_MIB 16   /* the bound in concat.h and the tables beside it */

static const char text[] = "Do not drink from pot 0214-073-19. Boil water or "
                           "use another source until we come. Reply help.";
static const char hindi[] = "\xe0\xa4\xaa\xe0\xa4\xbe\xe0\xa4\xa8\xe0\xa5\x80 "
                            "\xe0\xa4\xae\xe0\xa4\xa4 "
                            "\xe0\xa4\xaa\xe0\xa4\xbf\xe0\xa4\x8f";
static volatile size_t sink;

static void segment_plain(void)
{
    static struct segment_text cut;

    segment_cut(&(struct segment_way){0}, text, sizeof(text) - 1, &cut);
    sink += cut.n;
}

static void segment_hindi(void)
{
    static struct segment_text cut;

    segment_cut(&(struct segment_way){0}, hindi, sizeof(hindi) - 1, &cut);
    sink += cut.n;
}

static const uint8_t deliver[] = {
    0x04, 0x0b, 0x91, 0x22, 0x76, 0x00, 0x00, 0x00, 0xf1, 0x00,
    0x00, 0x62, 0x11, 0x52, 0x41, 0x00, 0x00, 0x00, 0x0c, 0xc6,
    0xa4, 0xb4, 0x08, 0x92, 0xd1, 0x40, 0x33, 0xd0, 0x7b, 0x0d};

static void tpdu_in(void)
{
    struct tpdu t;
    struct udh h;
    struct kw_buf out;

    kw_buf_init(&out, 1000);
    tpdu_decode(&t, TPDU_FROM_CENTRE, deliver, sizeof(deliver));
    tpdu_text(&t, &h, &out);
    sink += out.len;
    kw_buf_release(&out);
}

static void tpdu_out(void)
{
    static struct segment_text cut;
    struct tpdu t = {.type = TPDU_SUBMIT};
    uint8_t octets[TPDU_OCTETS_MOST];

    segment_cut(&(struct segment_way){0}, text, sizeof(text) - 1, &cut);
    tpdu_address_from(&t.address, "+99970012345");
    tpdu_put_ud(&t, &cut.udh, cut.parts[0].octets, cut.parts[0].n);
    sink += (size_t)tpdu_encode(&t, octets, sizeof(octets));
}

static struct kw_buf smpp_octets;

static void smpp_in(void)
{
    struct smpp_pdu p;
    struct udh h;
    struct kw_buf out;

    kw_buf_init(&out, 1000);
    smpp_pdu_decode(&p, (uint8_t *)smpp_octets.data, smpp_octets.len);
    smpp_text_decode(SMPP_GSM7, &p, &h, &out);
    sink += out.len;
    kw_buf_release(&out);
}

static void smpp_out(void)
{
    static struct smpp_parts parts;
    struct smpp_pdu p = {.command_id = SMPP_DELIVER_SM,
                         .sequence_number = 1,
                         .source = {1, 1, "99970012345"}};
    struct smpp_text_way way = {0};

    smpp_text_encode(&way, text, sizeof(text) - 1, 1, &parts);
    p.short_message = parts.parts[0].short_message;
    p.sm_length = parts.parts[0].sm_length;
    kw_buf_clear(&smpp_octets);
    smpp_pdu_encode(&p, &smpp_octets);
    sink += smpp_octets.len;
    smpp_parts_release(&parts);
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

/* Microseconds of one call, median of the runs. */
static double cost(void (*f)(void), int calls)
{
    double runs[RUNS];

    for (int r = 0; r < RUNS; r++) {
        int64_t begun = clock_monotonic_us();

        for (int i = 0; i < calls; i++)
            f();
        runs[r] = (double)(clock_monotonic_us() - begun) / calls;
    }
    qsort(runs, RUNS, sizeof(runs[0]), by_size);
    return runs[RUNS / 2];
}

static size_t in_use(void)
{
    struct mallinfo2 m = mallinfo2();

    return m.uordblks + m.hblkhd;
}

/* The most that is in use while first parts come and never a second. */
static double flood(int parts)
{
    struct concat *c = concat_new();
    size_t before = in_use(), most = 0, now;
    char big[CONCAT_PART_CAP], from[24];
    struct concat_text t;

    memset(big, 'x', sizeof(big));
    for (int i = 0; i < parts; i++) {
        struct concat_part p = {.from = from,
                                .to = "",
                                .total = 255,
                                .seq = 1,
                                .text = big,
                                .len = sizeof(big),
                                .at_s = i};

        snprintf(from, sizeof(from), "+9997%07d", i);
        concat_put(c, &p);
        while (concat_next(c, i, &t))
            concat_text_release(&t);
        now = in_use();
        most = now > most ? now : most;
    }
    concat_free(c);
    return (double)(most - before) / (1 << 20);
}

int main(int argc, char **argv)
{
    static const struct {
        const char *name;
        void (*f)(void);
    } rows[] = {{"cut a text of 95 characters", segment_plain},
                {"cut a text of Hindi", segment_hindi},
                {"read an SMS-DELIVER", tpdu_in},
                {"write an SMS-SUBMIT", tpdu_out},
                {"write a submit_sm", smpp_out},
                {"read a deliver_sm", smpp_in}};
    int calls = argc > 1 && strcmp(argv[1], "--short") == 0 ? 2000 : 50000;
    int bad = 0;
    double us, mib;

    kw_buf_init(&smpp_octets, 4096);
    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        us = cost(rows[i].f, calls);
        printf("%s\t%.2f\tus\tat most %.0f\n", rows[i].name, us, COST_MOST);
        bad |= us > COST_MOST;
    }
    mib = flood(calls);
    printf("reassembly, flood of %d first parts\t%.1f\tMiB\tat most %d\n",
           calls, mib, FLOOD_MIB);
    bad |= mib > FLOOD_MIB;
    kw_buf_release(&smpp_octets);
    return bad;
}
