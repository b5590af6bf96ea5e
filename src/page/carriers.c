#include "page/carriers.h"

#include <string.h>

static int add(const struct carriers_row *c, void *arg)
{
    struct page_carriers *list = arg;

    kw_grow(&list->items, &list->cap, list->n + 1, sizeof(*list->items));
    list->items[list->n++] = *c;
    return 0;
}

int page_carriers_gather(struct ledger *lg, struct page_carriers *out)
{
    *out = (struct page_carriers){0};
    return carriers_each(lg, add, out);
}

static const struct config_carrier *configured(const struct page *p,
                                               const char *name)
{
    for (size_t i = 0; i < p->conf->n_carriers; i++) {
        if (strcmp(p->conf->carriers[i].name, name) == 0)
            return &p->conf->carriers[i];
    }
    return NULL;
}

/* Those of the past that nothing waits for are passed over. */
static bool shown(const struct page *p, const struct carriers_row *c)
{
    return configured(p, c->name) != NULL ||
           (strcmp(c->name, LEDGER_CONSOLE) != 0 && c->waiting + c->flying > 0);
}

/* Written long ago: the service is not there, whatever it says. */
static bool stale(const struct page *p, const struct carriers_row *c)
{
    return c->at_s == 0 || p->now_s - c->at_s > CARRIERS_FRESH_S;
}

static const char *state_of(const struct page *p, const struct carriers_row *c)
{
    if (configured(p, c->name) == NULL)
        return "not configured";
    if (c->state == CARRIERS_STOPPED)
        return "stopped";
    return stale(p, c) ? "no service" : carriers_state_name(c->state);
}

static bool live(const struct page *p, const struct carriers_row *c)
{
    return configured(p, c->name) != NULL && c->state != CARRIERS_STOPPED &&
           !stale(p, c);
}

static struct page_word since(const struct page *p,
                              const struct carriers_row *c)
{
    struct page_word none = {"-"};

    if (configured(p, c->name) == NULL || c->at_s == 0)
        return none;
    return page_time(c->state == CARRIERS_STOPPED || live(p, c) ? c->since_s
                                                                : c->at_s);
}

static void put_row(const struct page *p, const struct carriers_row *c,
                    struct table *t)
{
    bool modem = live(p, c) && c->signal >= 0;

    table_cell(t, "%s", c->name);
    table_cell(t, "%s", state_of(p, c));
    table_cell(t, "%s", since(p, c).s);
    if (modem) /* TS 27.007, 8.5 */
        table_cell(t, "%d/31", c->signal);
    else
        table_cell(t, "-");
    if (live(p, c) && c->total > 0)
        table_cell(t, "%d/%d", c->used, c->total);
    else
        table_cell(t, "-");
    table_cell(t, "%lld", (long long)c->waiting);
    table_cell(t, "%lld", (long long)c->flying);
}

static void put_words(const struct page *p, const struct carriers_row *c)
{
    const struct screen *s = &p->screen;

    if (live(p, c) && c->words[0] != '\0')
        screen_item(s, 2, "%s: %s", c->name, c->words);
    if (c->credit_s != 0)
        screen_item(s, 2, "%s: %s \"%s\" (%s)", c->name,
                    c->credit_low ? "LITTLE CREDIT, top the card up:"
                                  : "credit, as the network says:",
                    c->credit, page_time(c->credit_s).s);
    if (configured(p, c->name) == NULL)
        screen_item(s, 2,
                    "%s: texts wait for it and it is not in the "
                    "configuration; put it back, or name another carrier "
                    "so",
                    c->name);
    else if (c->waiting > 0)
        screen_item(s, 2, "%s: the oldest waits since %s", c->name,
                    page_time(c->waiting_since_s).s);
}

void page_put_carriers(const struct page *p, const struct page_carriers *list)
{
    static const struct table_column columns[] = {
        {"carrier", false, 8},    {"state", false, 8}, {"since", false, 10},
        {"signal", true, 0},      {"store", true, 0},  {"waiting", true, 0},
        {"on their way", true, 6}};
    struct table t;

    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (size_t i = 0; i < list->n; i++) {
        if (shown(p, &list->items[i]))
            put_row(p, &list->items[i], &t);
    }
    table_put(&t, &p->screen, 2);
    if (table_rows(&t) == 0)
        screen_text(&p->screen, 2, "None has been up yet.");
    table_release(&t);
    for (size_t i = 0; i < list->n; i++) {
        if (shown(p, &list->items[i]))
            put_words(p, &list->items[i]);
    }
}

static json_t *row_json(const struct page *p, const struct carriers_row *c)
{
    static const char *const kinds[] = {[CONFIG_HTTP] = "http",
                                        [CONFIG_SPOOL] = "spool",
                                        [CONFIG_SMPP] = "smpp",
                                        [CONFIG_MODEM] = "modem"};
    const struct config_carrier *k = configured(p, c->name);
    json_t *j = json_pack(
        "{s:s, s:o, s:s, s:o, s:o, s:o, s:I, s:o, s:I}", "name", c->name,
        "kind", page_json_word(k != NULL ? kinds[k->kind] : ""), "state",
        state_of(p, c), "words", page_json_word(live(p, c) ? c->words : ""),
        "since", page_json_time(c->since_s), "as_of", page_json_time(c->at_s),
        "waiting", (json_int_t)c->waiting, "waiting_since",
        page_json_time(c->waiting_since_s), "flying", (json_int_t)c->flying);

    if (c->signal >= 0) {
        json_object_set_new(j, "signal", json_integer(c->signal));
        json_object_set_new(j, "signal_dbm", json_integer(2 * c->signal - 113));
    }
    if (c->total > 0)
        json_object_set_new(
            j, "store",
            json_pack("{s:i, s:i}", "used", c->used, "total", c->total));
    if (c->credit_s != 0)
        json_object_set_new(j, "credit",
                            json_pack("{s:s, s:o, s:b}", "says", c->credit,
                                      "at", page_json_time(c->credit_s), "low",
                                      c->credit_low));
    return j;
}

json_t *page_json_carriers(const struct page *p,
                           const struct page_carriers *list)
{
    json_t *all = json_array();

    for (size_t i = 0; i < list->n; i++) {
        if (shown(p, &list->items[i]))
            json_array_append_new(all, row_json(p, &list->items[i]));
    }
    return all;
}
