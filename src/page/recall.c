/* recall.c - see recall.h. */
#include "page/recall.h"

#include "base/csv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define REPORTS_SHOWN 3

static const char IN_USE[] = "in use", FAILED[] = "failed",
                  STOCK[] = "in stock", BACK[] = "came back",
                  SCRAPPED[] = "scrapped";

static int add_handover(const struct look_handover *h, void *arg)
{
    struct recall_page *r = arg;

    if (h->ended_s != 0)
        return 0;
    kw_grow(&r->rows, &r->cap, r->n + 1, sizeof(*r->rows));
    r->rows[r->n++] = (struct recall_row){
        .h = *h, .state = h->failed_s != 0 ? FAILED : IN_USE};
    r->failed += h->failed_s != 0;
    r->in_use += h->failed_s == 0;
    return 0;
}

/* Those that are in no home. */
static int add_pot(const struct look_pot *p, void *arg)
{
    struct recall_page *r = arg;
    struct recall_row *row;

    if (strcmp(p->batch, r->batch) != 0 || p->home[0] != '\0')
        return 0;
    kw_grow(&r->rows, &r->cap, r->n + 1, sizeof(*r->rows));
    row = &r->rows[r->n++];
    *row = (struct recall_row){.state = p->scrapped       ? SCRAPPED
                                        : p->outings == 0 ? STOCK
                                                          : BACK};
    memcpy(row->h.serial, p->serial, sizeof(row->h.serial));
    row->h.given_s = p->given_s;
    row->h.failed_s = p->failed_s;
    row->h.flow_l = p->flow_l;
    row->h.flow_s = p->flow_s;
    r->stock += row->state == STOCK;
    r->back += row->state == BACK;
    return 0;
}

struct told {
    struct recall_row *row;
    struct page_word last[REPORTS_SHOWN];
};

static int add_report(const struct look_report *rep, void *arg)
{
    struct told *t = arg;
    struct kw_buf words;

    if (rep->test || rep->id == 0)
        return 0;
    t->row->reports++;
    t->row->reported_s = rep->at_s;
    kw_buf_init(&words, 4096);
    kw_buf_printf(&words, "%s ", page_day(rep->at_s).s);
    page_obs(rep, &words);
    memmove(t->last, t->last + 1, sizeof(t->last) - sizeof(t->last[0]));
    kw_copy(t->last[REPORTS_SHOWN - 1].s, sizeof(t->last[0].s), words.data,
            words.len < sizeof(t->last[0].s) ? words.len
                                             : sizeof(t->last[0].s) - 1);
    kw_buf_release(&words);
    return 0;
}

/* The newest reports of a pot in words, the oldest of them first. */
static int add_reports(struct ledger *lg, struct recall_row *row)
{
    struct told t = {.row = row};
    struct kw_buf all;
    int err;

    if (row->h.pot_key == 0)
        return 0;
    err = look_reports(lg,
                       &(struct look_of){.by = LOOK_POT, .id = row->h.pot_key},
                       add_report, &t);
    kw_buf_init(&all, 4096);
    for (int i = 0; i < REPORTS_SHOWN; i++)
        if (t.last[i].s[0] != '\0')
            kw_buf_printf(&all, "%s%s", all.len > 0 ? "; " : "", t.last[i].s);
    row->words = kw_strdup(kw_buf_text(&all));
    kw_buf_release(&all);
    return err;
}

static int by_place(const void *a, const void *b)
{
    const struct recall_row *x = a, *y = b;
    int c = (x->h.home[0] == '\0') - (y->h.home[0] == '\0');

    if (c == 0)
        c = strcmp(x->h.place, y->h.place);
    if (c == 0)
        c = strcmp(x->h.home, y->h.home);
    return c != 0 ? c : strcmp(x->h.serial, y->h.serial);
}

int recall_page_gather(const struct page *p, struct ledger *lg,
                       const struct ledger_batch *batch,
                       struct recall_page *out)
{
    int err;

    (void)p;
    *out = (struct recall_page){.n = 0};
    memcpy(out->batch, batch->code, sizeof(out->batch));
    out->recalled_s = batch->recalled_s;
    err =
        look_handovers(lg, &(struct look_of){.by = LOOK_BATCH, .id = batch->id},
                       add_handover, out);
    if (err == 0)
        err = look_pots(lg, add_pot, out);
    for (size_t i = 0; err == 0 && i < out->n; i++)
        err = add_reports(lg, &out->rows[i]);
    if (err == 0 && out->n > 0)
        qsort(out->rows, out->n, sizeof(*out->rows), by_place);
    return err;
}

void recall_page_release(struct recall_page *r)
{
    for (size_t i = 0; i < r->n; i++)
        kw_free(r->rows[i].words);
    kw_free(r->rows);
    *r = (struct recall_page){.n = 0};
}

void recall_page_text(const struct page *p, const struct recall_page *r)
{
    static const struct table_column columns[] = {
        {"pot", false, 0},    {"state", false, 0}, {"home", false, 8},
        {"place", false, 10}, {"phone", false, 0}, {"told", false, 14}};
    struct table t;

    screen_title(&p->screen, "Recall list of batch %s", r->batch);
    if (r->recalled_s != 0)
        screen_text(&p->screen, 0, "Recalled on %s; as of %s.",
                    page_day(r->recalled_s).s, page_day(p->now_s).s);
    else
        screen_text(&p->screen, 0,
                    "As of %s. The batch is not recalled: the text RECALL %s "
                    "of a coordinator does that.",
                    page_day(p->now_s).s, r->batch);
    screen_text(&p->screen, 0,
                "%s in use, %d reported failed and still in homes, %d in stock "
                "(hold them), %d came back. A home without its pot needs safe "
                "water first: bring another, or say to boil, before one is "
                "taken away.",
                page_count(r->in_use, "pot", "pots").s, r->failed, r->stock,
                r->back);
    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (size_t i = 0; i < r->n; i++) {
        const struct recall_row *row = &r->rows[i];

        table_cell(&t, "%s", page_serial(p, row->h.serial).s);
        table_cell(&t, "%s", row->state);
        table_cell(&t, "%s", page_or_dash(row->h.home));
        table_cell(&t, "%s", page_or_dash(row->h.place));
        table_cell(&t, "%s", page_phone(p, row->h.phone).s);
        table_cell(&t, "%s",
                   row->words != NULL ? page_or_dash(row->words) : "-");
    }
    table_put(&t, &p->screen, 0);
    table_release(&t);
}

json_t *recall_page_json(const struct page *p, const struct recall_page *r)
{
    json_t *all = json_array();

    for (size_t i = 0; i < r->n; i++) {
        const struct recall_row *row = &r->rows[i];

        json_array_append_new(
            all,
            json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:o, s:o, s:i, s:o, s:o}",
                      "pot", row->h.serial, "state", row->state, "home",
                      page_json_word(row->h.home), "place",
                      page_json_word(row->h.place), "phone",
                      page_json_phone(p, row->h.phone), "given",
                      page_json_time(row->h.given_s), "failed",
                      page_json_time(row->h.failed_s), "flow_l",
                      page_json_real(row->h.flow_l), "reports", row->reports,
                      "last_report", page_json_time(row->reported_s), "told",
                      page_json_word(row->words != NULL ? row->words : "")));
    }
    return json_pack("{s:s, s:o, s:o, s:i, s:i, s:i, s:i, s:o}", "batch",
                     r->batch, "recalled", page_json_time(r->recalled_s),
                     "as_of", page_json_time(p->now_s), "in_use", r->in_use,
                     "failed", r->failed, "in_stock", r->stock, "came_back",
                     r->back, "pots", all);
}

static void field(struct kw_buf *out, const char *text)
{
    csv_put(out, text, strlen(text), false);
}

void recall_page_csv(const struct page *p, const struct recall_page *r)
{
    struct kw_buf *out = p->screen.out;

    kw_buf_puts(out, "batch,pot,state,home,place,phone,given,failed,flow_l,"
                     "reports,last_report,told,recalled\n");
    for (size_t i = 0; i < r->n; i++) {
        const struct recall_row *row = &r->rows[i];

        csv_put(out, r->batch, strlen(r->batch), true);
        field(out, page_serial(p, row->h.serial).s);
        field(out, row->state);
        field(out, row->h.home);
        field(out, row->h.place);
        field(out, row->h.phone[0] ? page_phone(p, row->h.phone).s : "");
        field(out, row->h.given_s ? page_day(row->h.given_s).s : "");
        field(out, row->h.failed_s ? page_day(row->h.failed_s).s : "");
        field(out, isnan(row->h.flow_l) ? "" : page_number(row->h.flow_l, 2).s);
        kw_buf_printf(out, ",%d", row->reports);
        field(out, row->reported_s ? page_day(row->reported_s).s : "");
        field(out, row->words != NULL ? row->words : "");
        field(out, r->recalled_s ? page_day(r->recalled_s).s : "");
        kw_buf_putc(out, '\n');
    }
}
