/* alert.c - one alert and what stands behind it. */
#include "page/alert.h"

#include <math.h>
#include <string.h>

static int add_text(const struct look_gathered *g, void *arg)
{
    struct alert_page *a = arg;
    struct alert_text *t;

    kw_grow(&a->texts, &a->texts_cap, a->n_texts + 1, sizeof(*a->texts));
    t = &a->texts[a->n_texts++];
    *t = (struct alert_text){
        .at_s = g->at_s, .text_id = g->text_id, .report_id = g->report_id};
    memcpy(t->serial, g->serial, sizeof(t->serial));
    memcpy(t->home, g->home, sizeof(t->home));
    memcpy(t->place, g->place, sizeof(t->place));
    memcpy(t->phone, g->phone, sizeof(t->phone));
    memcpy(t->outcome, g->outcome, sizeof(t->outcome));
    if (g->words != NULL) {
        struct kw_buf clean;

        kw_buf_init(&clean, 8 * g->len + 8);
        screen_clean(g->words, g->len, false, &clean);
        t->words = kw_strdup(kw_buf_text(&clean));
        kw_buf_release(&clean);
    }
    return 0;
}

/* The number of who marked it, "" when nobody did. */
static int who(struct ledger *lg, int64_t phone_id, char *dst, size_t cap)
{
    struct ledger_phone phone;
    int err;

    if (phone_id == 0)
        return 0;
    if ((err = ledger_phone_get(lg, phone_id, &phone)) < 0)
        return err;
    return kw_copy(dst, cap, phone.number, strlen(phone.number));
}

static int batch_behind(struct ledger *lg, const struct ledger_alert *a,
                        int64_t *batch_id)
{
    struct ledger_pot pot;
    int err = 0;

    *batch_id = a->on == LEDGER_ON_BATCH ? a->subject_id : 0;
    if (a->on == LEDGER_ON_POT &&
        (err = ledger_pot_get(lg, a->subject_id, &pot)) == 0)
        *batch_id = pot.batch_id;
    return err == KW_ENOENT ? 0 : err;
}

int alert_page_gather(const struct page *p, struct ledger *lg, int64_t id,
                      struct alert_page *out)
{
    int64_t batch_id;
    int err;

    *out = (struct alert_page){0};
    if ((err = ledger_alert_get(lg, id, &out->alert)) < 0)
        return err;
    err = look_subject(lg, &out->alert, out->subject, sizeof(out->subject));
    if (err < 0 && err != KW_ENOENT)
        return err;
    if ((err = who(lg, out->alert.seen_by, out->seen_by,
                   sizeof(out->seen_by))) < 0 ||
        (err = who(lg, out->alert.closed_by, out->closed_by,
                   sizeof(out->closed_by))) < 0 ||
        (err = look_gathered(lg, id, add_text, out)) < 0 ||
        (err = batch_behind(lg, &out->alert, &batch_id)) < 0)
        return err;
    out->has_batch = batch_id != 0;
    return out->has_batch
               ? batch_page_gather(p, lg, batch_id, false, &out->batch)
               : 0;
}

void alert_page_release(struct alert_page *a)
{
    for (size_t i = 0; i < a->n_texts; i++)
        kw_free(a->texts[i].words);
    kw_free(a->texts);
    batch_page_release(&a->batch);
    *a = (struct alert_page){0};
}

static const char *const subject_heads[] = {
    [LEDGER_ON_POT] = "pot",     [LEDGER_ON_BATCH] = "batch",
    [LEDGER_ON_HOME] = "home",   [LEDGER_ON_PHONE] = "phone",
    [LEDGER_ON_PLACE] = "place",
};

/* What it is about, as people may see it. */
static struct page_word subject_of(const struct page *p,
                                   const struct alert_page *a)
{
    struct page_word w = {"-"};

    if (a->subject[0] == '\0')
        return w;
    if (a->alert.on == LEDGER_ON_POT)
        return page_serial(p, a->subject);
    if (a->alert.on == LEDGER_ON_PHONE)
        return page_phone(p, a->subject);
    kw_copy(w.s, sizeof(w.s), a->subject, strlen(a->subject));
    return w;
}

/* What it means and who has to act, by its kind. */
static const char *const meanings[LEDGER_ALERT_KINDS] = {
    [LEDGER_ALERT_DANGER] =
        ("Someone reported a danger sign. Reach the home or its health worker "
         "now; the line does not diagnose, health workers and local rules "
         "decide."),
    [LEDGER_ALERT_FAST] =
        ("Water runs too fast: there may be a crack that cannot be seen. The "
         "home was told not to drink from it; the pot has to be looked at or "
         "exchanged."),
    [LEDGER_ALERT_BREAKAGE] =
        ("More pots of this batch break than chance explains. A place that "
         "reports more eagerly than others can look the same: see who "
         "reported before calling pots back."),
    [LEDGER_ALERT_LOW_FLOW] =
        ("Too little water comes from this pot, and scrubbing does not help: "
         "the home needs another one soon."),
};

static const char *name_of(const char *const *names, size_t n, int i)
{
    return i >= 0 && (size_t)i < n ? names[i] : "?";
}

static const char *head_of(const struct ledger_alert *a)
{
    return name_of(subject_heads, KW_COUNT(subject_heads), (int)a->on);
}

static void put_numbers(const struct page *p, const struct ledger_alert *a)
{
    const struct screen *s = &p->screen;

    if (a->kind == LEDGER_ALERT_BREAKAGE)
        screen_field(s, "when raised", "%s failed, %s expected, probability %s",
                     page_number(a->observed, 0).s,
                     page_number(a->expected, 2).s, page_probability(a->p).s);
    else if ((a->kind == LEDGER_ALERT_LOW_FLOW ||
              a->kind == LEDGER_ALERT_FAST) &&
             a->observed > 0)
        screen_field(s, "reading", "%s L in the first hour",
                     page_number(a->observed, 2).s);
    if (a->signs != 0) {
        struct kw_buf signs;

        kw_buf_init(&signs, 256);
        page_signs(a->signs, &signs);
        screen_field(s, "signs", "%s", kw_buf_text(&signs));
        kw_buf_release(&signs);
    }
}

static void put_texts(const struct page *p, const struct alert_page *a)
{
    static const struct table_column columns[] = {{"when", false, 10},
                                                  {"from", false, 0},
                                                  {"pot", false, 0},
                                                  {"home", false, 10},
                                                  {"words", false, 12}};
    struct table t;

    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    for (size_t i = 0; i < a->n_texts; i++) {
        const struct alert_text *x = &a->texts[i];
        struct kw_buf words;

        table_cell(&t, "%s", page_time(x->at_s).s);
        table_cell(&t, "%s", page_phone(p, x->phone).s);
        table_cell(&t, "%s", page_serial(p, x->serial).s);
        table_cell(&t, "%s%s%s", page_or_dash(x->home),
                   x->place[0] != '\0' ? ", " : "", x->place);
        kw_buf_init(&words, 4096);
        page_put_words(p, x->words != NULL ? x->words : "(dropped)", &words);
        table_cell(&t, "%s", kw_buf_text(&words));
        kw_buf_release(&words);
    }
    table_put(&t, &p->screen, 2);
    table_release(&t);
}

void alert_page_text(const struct page *p, const struct alert_page *page)
{
    const struct ledger_alert *a = &page->alert;
    const struct screen *s = &p->screen;

    screen_title(s, "Alert %lld: %s, %s", (long long)a->id,
                 page_alert_kind(a->kind), page_alert_state(a->state));
    screen_text(s, 0, "%s",
                name_of(meanings, KW_COUNT(meanings), (int)a->kind));
    screen_section(s, "What it is about", NULL);
    screen_field(s, head_of(a), "%s", subject_of(p, page).s);
    screen_field(s, "words", "%s", page_or_dash(a->words));
    put_numbers(p, a);
    screen_field(s, "opened", "%s", page_time(a->opened_s).s);
    if (a->seen_s != 0)
        screen_field(s, "seen", "%s by %s", page_time(a->seen_s).s,
                     page_phone(p, page->seen_by).s);
    if (a->closed_s != 0)
        screen_field(s, "closed", "%s by %s", page_time(a->closed_s).s,
                     page_phone(p, page->closed_by).s);
    screen_section(s, "What it has gathered", "Texts as they came.");
    put_texts(p, page);
    if (page->n_texts == 0)
        screen_text(s, 2, "Nothing: it came from a count, not from one text.");
    if (page->has_batch) {
        screen_section(s, "The batch behind it", NULL);
        batch_page_short(p, &page->batch);
    }
}

static json_t *json_texts(const struct page *p, const struct alert_page *a)
{
    json_t *all = json_array();

    for (size_t i = 0; i < a->n_texts; i++) {
        const struct alert_text *t = &a->texts[i];
        struct kw_buf words;

        kw_buf_init(&words, 4096);
        if (t->words != NULL)
            page_put_words(p, t->words, &words);
        json_array_append_new(
            all, json_pack("{s:I, s:I, s:o, s:o, s:o, s:o, s:o, s:o, s:o}",
                           "text", (json_int_t)t->text_id, "report",
                           (json_int_t)t->report_id, "at",
                           page_json_time(t->at_s), "pot",
                           t->serial[0] != '\0'
                               ? page_json_word(page_serial(p, t->serial).s)
                               : json_null(),
                           "home", page_json_word(t->home), "place",
                           page_json_word(t->place), "phone",
                           page_json_phone(p, t->phone), "outcome",
                           page_json_word(t->outcome), "words",
                           page_json_word(kw_buf_text(&words))));
        kw_buf_release(&words);
    }
    return all;
}

json_t *alert_page_json(const struct page *p, const struct alert_page *page)
{
    const struct ledger_alert *a = &page->alert;
    json_t *j;

    j = json_pack(
        "{s:I, s:s, s:s, s:s, s:o, s:o, s:o, s:o, s:o, s:o, s:o,"
        " s:o, s:o, s:o, s:o, s:o}",
        "alert", (json_int_t)a->id, "kind", ledger_alert_kind_name(a->kind),
        "state", page_alert_state(a->state), "on", head_of(a), "subject",
        page_json_word(subject_of(p, page).s), "words",
        page_json_word(a->words), "opened", page_json_time(a->opened_s), "seen",
        page_json_time(a->seen_s), "seen_by", page_json_phone(p, page->seen_by),
        "closed", page_json_time(a->closed_s), "closed_by",
        page_json_phone(p, page->closed_by), "observed",
        page_json_real(a->observed), "expected", page_json_real(a->expected),
        "p", page_json_real(a->p), "signs", page_json_signs(a->signs),
        "gathered", json_texts(p, page));
    json_object_set_new(j, "batch",
                        page->has_batch
                            ? batch_page_json(p, &page->batch, false)
                            : json_null());
    return j;
}
