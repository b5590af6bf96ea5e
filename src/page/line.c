/* line.c - how the line does, today and in the last seven days. */
#include "page/line.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

/* Octets of a file, 0 when it is not there. */
static int64_t size_of(const char *path)
{
    struct stat st;

    return stat(path, &st) == 0 ? (int64_t)st.st_size : 0;
}

int line_page_gather(const struct page *p, struct ledger *lg,
                     struct line_page *out)
{
    int64_t today_s = clock_midnight(p->now_s), week_s;
    char log[4096];
    int err;

    *out = (struct line_page){0};
    out->file_bytes = size_of(p->conf->ledger_file);
    if (snprintf(log, sizeof(log), "%s-wal", p->conf->ledger_file) <
        (int)sizeof(log))
        out->file_bytes += size_of(log);
    /* Six days before today: noon keeps clear of changes of the clocks. */
    week_s = clock_midnight(today_s + CLOCK_DAY_S / 2 - 6 * CLOCK_DAY_S);
    if ((err = look_line(lg, today_s, week_s, &out->line)) < 0 ||
        (err = traffic_of_day(lg, today_s, &out->day)) < 0 ||
        (err = traffic_receipts(lg, week_s, out->receipts)) < 0 ||
        (err = traffic_twice(lg, week_s, &out->twice)) < 0 ||
        (err = traffic_unmatched(lg, week_s, &out->unmatched)) < 0)
        return err;
    if ((err = page_carriers_gather(lg, &out->carriers)) < 0)
        return err;
    return ledger_alerts_each(lg, true, 0, page_add_alert, &out->alerts);
}

void line_page_release(struct line_page *l)
{
    kw_free(l->alerts.items);
    kw_free(l->carriers.items);
    *l = (struct line_page){0};
}

static const struct {
    const char *key, *head;
} in_names[LOOK_OUTCOMES] = {{"filed", "filed"},
                             {"asked", "asked back"},
                             {"commands", "commands"},
                             {"not_a_report", "not a report"},
                             {"not_read", "not read yet"}};
static const struct {
    const char *key, *head;
} out_names[LEDGER_PERHAPS + 1] = {
    [LEDGER_WAITING] = {"waiting", "waiting"},
    [LEDGER_FLYING] = {"flying", "on their way"},
    [LEDGER_SENT] = {"sent", "sent"},
    [LEDGER_FAILED] = {"failed", "failed"},
    [LEDGER_EXPIRED] = {"expired", "expired"},
    [LEDGER_PERHAPS] = {"perhaps", "perhaps sent"},
};

static void put_texts(const struct page *p, const struct look_line *l)
{
    static const struct table_column columns[] = {
        {"texts", false, 12}, {"today", true, 0}, {"7 days", true, 0}};
    struct table t;

    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (int i = 0; i < LOOK_OUTCOMES; i++) {
        table_cell(&t, "in: %s", in_names[i].head);
        table_cell(&t, "%lld", (long long)l->in_today[i]);
        table_cell(&t, "%lld", (long long)l->in_week[i]);
    }
    for (int i = 0; i <= LEDGER_PERHAPS; i++) {
        table_cell(&t, "out: %s", out_names[i].head);
        table_cell(&t, "%lld", (long long)l->out_today[i]);
        table_cell(&t, "%lld", (long long)l->out_week[i]);
    }
    table_put(&t, &p->screen, 2);
    table_release(&t);
}

static void put_outbox(const struct page *p, const struct look_line *l)
{
    const struct screen *s = &p->screen;

    screen_field(s, "waiting", "%lld, on their way %lld", (long long)l->waiting,
                 (long long)l->flying);
    if (l->waiting_since_s != 0)
        screen_field(s, "oldest", "since %s", page_time(l->waiting_since_s).s);
    if (l->out_week[LEDGER_PERHAPS] > 0)
        screen_text(s, 2,
                    "Perhaps sent: the service stopped while these were on "
                    "their way, and the carrier cannot tell repeats. They are "
                    "not sent again; reach those people another way if it "
                    "matters.");
    if (l->last_error[0] != '\0')
        screen_field(s, "last failure", "%s", l->last_error);
}

static void put_costs(const struct page *p, const struct line_page *l)
{
    static const struct table_column columns[] = {
        {"segments today", false, 12}, {"in", true, 0}, {"out", true, 0}};
    struct table t;

    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (int r = 0; r < LEDGER_ROLES; r++) {
        table_cell(&t, "%s", ledger_role_name((enum ledger_role)r));
        table_cell(&t, "%lld", (long long)l->day.received[r]);
        table_cell(&t, "%lld", (long long)l->day.sent[r]);
    }
    table_put(&t, &p->screen, 2);
    table_release(&t);
    if (p->conf->segments_a_day > 0)
        screen_field(&p->screen, "ceiling", "%lld of %d out; then only danger",
                     (long long)traffic_sum(l->day.sent),
                     p->conf->segments_a_day);
}

static void put_receipts(const struct page *p, const struct line_page *l)
{
    const int64_t *n = l->receipts;

    if (l->twice > 0)
        screen_field(&p->screen, "twice",
                     "%s perhaps sent twice: danger, and "
                     "the service stopped while it was on its way",
                     page_count(l->twice, "text", "texts").s);
    if (n[0] + n[1] + n[2] + n[3] > 0)
        screen_field(&p->screen, "receipts",
                     "delivered %lld, not delivered %lld, on their way %lld, "
                     "none yet %lld (parts, 7 days)",
                     (long long)n[TRAFFIC_DELIVERED],
                     (long long)n[TRAFFIC_NOT_DELIVERED],
                     (long long)n[TRAFFIC_UNDER_WAY],
                     (long long)n[TRAFFIC_NO_RECEIPT]);
    if (l->unmatched > 0)
        screen_field(&p->screen, "", "%s of texts that the line does not know",
                     page_count(l->unmatched, "receipt", "receipts").s);
}

static void put_ledger(const struct page *p, const struct line_page *page)
{
    const struct look_line *l = &page->line;
    const struct screen *s = &p->screen;

    screen_field(s, "file", "%s, %.1f MiB", p->conf->ledger_file,
                 (double)page->file_bytes / (1024 * 1024));
    screen_field(s, "batches", "%lld", (long long)l->batches);
    screen_field(s, "pots", "%lld, %lld of them handed out", (long long)l->pots,
                 (long long)l->pots_out);
    screen_field(s, "homes", "%lld in %s", (long long)l->homes,
                 page_count(l->places, "place", "places").s);
    screen_field(s, "texts", "%lld in, %s from them", (long long)l->texts,
                 page_count(l->reports, "report", "reports").s);
}

void line_page_text(const struct page *p, const struct line_page *l)
{
    const struct screen *s = &p->screen;

    screen_title(s, "The line %s", p->conf->name);
    screen_field(s, "now", "%s", page_time(p->now_s).s);
    screen_field(s, "last text", "%s", page_time(l->line.last_text_s).s);
    screen_section(s, "Texts in and out",
                   "By what was made of them; the seven days end today.");
    put_texts(p, &l->line);
    screen_section(s, "Waiting to go out", NULL);
    put_outbox(p, &l->line);
    put_receipts(p, l);
    screen_section(s, "Carriers",
                   "As the service last wrote it; what waits, as of now.");
    page_put_carriers(p, &l->carriers);
    screen_section(s, "What it costs",
                   "Segments over the air; what was perhaps sent counts.");
    put_costs(p, l);
    screen_section(s, "Alerts that stand", "Open or seen, not yet closed.");
    page_put_alerts(p, &l->alerts);
    if (l->alerts.n == 0)
        screen_text(s, 2, "None.");
    screen_section(s, "Ledger", NULL);
    put_ledger(p, l);
}

static json_t *costs_json(const struct page *p, const struct line_page *l)
{
    json_t *in = json_object(), *out = json_object();

    for (int r = 0; r < LEDGER_ROLES; r++) {
        const char *role = ledger_role_name((enum ledger_role)r);

        json_object_set_new(in, role, json_integer(l->day.received[r]));
        json_object_set_new(out, role, json_integer(l->day.sent[r]));
    }
    return json_pack(
        "{s:o, s:o, s:i, s:I, s:I, s:I, s:I, s:I, s:I}", "segments_in_today",
        in, "segments_out_today", out, "ceiling", p->conf->segments_a_day,
        "perhaps_twice", (json_int_t)l->twice, "delivered",
        (json_int_t)l->receipts[TRAFFIC_DELIVERED], "not_delivered",
        (json_int_t)l->receipts[TRAFFIC_NOT_DELIVERED], "under_way",
        (json_int_t)l->receipts[TRAFFIC_UNDER_WAY], "no_receipt",
        (json_int_t)l->receipts[TRAFFIC_NO_RECEIPT], "unmatched",
        (json_int_t)l->unmatched);
}

json_t *line_page_json(const struct page *p, const struct line_page *page)
{
    const struct look_line *l = &page->line;
    json_t *in_today = json_object(), *in_week = json_object();
    json_t *out_today = json_object(), *out_week = json_object(), *all;

    for (int i = 0; i < LOOK_OUTCOMES; i++) {
        json_object_set_new(in_today, in_names[i].key,
                            json_integer(l->in_today[i]));
        json_object_set_new(in_week, in_names[i].key,
                            json_integer(l->in_week[i]));
    }
    for (int i = 0; i <= LEDGER_PERHAPS; i++) {
        json_object_set_new(out_today, out_names[i].key,
                            json_integer(l->out_today[i]));
        json_object_set_new(out_week, out_names[i].key,
                            json_integer(l->out_week[i]));
    }
    all = json_pack(
        "{s:o, s:o, s:o, s:o, s:o, s:o, s:I, s:I, s:o, s:o, s:I, s:I, s:I,"
        " s:I, s:I, s:I, s:I, s:I, s:o}",
        "now", page_json_time(p->now_s), "last_text",
        page_json_time(l->last_text_s), "in_today", in_today, "in_week",
        in_week, "out_today", out_today, "out_week", out_week, "waiting",
        (json_int_t)l->waiting, "flying", (json_int_t)l->flying,
        "waiting_since", page_json_time(l->waiting_since_s), "last_error",
        page_json_word(l->last_error), "ledger_bytes",
        (json_int_t)page->file_bytes, "batches", (json_int_t)l->batches, "pots",
        (json_int_t)l->pots, "pots_out", (json_int_t)l->pots_out, "homes",
        (json_int_t)l->homes, "places", (json_int_t)l->places, "texts",
        (json_int_t)l->texts, "reports", (json_int_t)l->reports, "alerts",
        page_json_alerts(&page->alerts));
    json_object_set_new(all, "costs", costs_json(p, page));
    json_object_set_new(all, "carriers",
                        page_json_carriers(p, &page->carriers));
    return all;
}
