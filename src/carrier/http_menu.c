/*
 * http_menu.c - requests that bring a step of a menu, or tell what became of
 * a text. Names of the fields, and the form of the answer, stand in the
 * configuration.
 *
 * Both are answered after the commit that holds them.
 */
#include "carrier/http_in_parts.h"

#include "base/clock.h"
#include "carrier/template.h"

#include <string.h>
#include <strings.h>

#define INPUT_MOST  400
#define ANSWER_MOST 16384

/* ---- a step of a menu ---- */

/* A field that may be missing or empty: "". NUL ends it. */
static char *take_text(const struct http_form *f, const char *name)
{
    struct http_form_value v;

    if (name == NULL || http_form_get(f, name, &v) < 0)
        return kw_strdup("");
    return kw_strndup(v.data, v.len < INPUT_MOST ? v.len : INPUT_MOST);
}

int http_menu_read(struct http_request *r, const struct http_form *f,
                   char *wrong)
{
    const struct config_menu *m = &r->route->conf->menu;
    struct http_form_value v;
    bool form = f->json == NULL;
    int err;

    if ((err = http_form_get(f, m->field_from, &v)) < 0 ||
        (err = http_copy_number(&v, form, &r->from)) < 0)
        return http_field_wrong(wrong, m->field_from, err,
                                "the number that calls, for example "
                                "+99970012345");
    if ((err = http_form_get(f, m->field_session, &v)) < 0 ||
        (err = http_copy_number(&v, false, &r->ref)) < 0)
        return http_field_wrong(wrong, m->field_session, err,
                                "what names this call, the same in all steps");
    r->text = take_text(f, m->field_input);
    r->to = take_text(f, m->field_step);
    r->press =
        (struct menu_press){.carrier = r->route->conf->name,
                            .session = r->ref,
                            .step = r->to,
                            .from = r->from,
                            .input = r->text,
                            .whole = m->whole,
                            .gone = m->field_gone != NULL &&
                                    http_form_get(f, m->field_gone, &v) == 0,
                            .at_s = clock_now_s()};
    r->taking.press = &r->press;
    r->taking.text.text = r->text;
    return 0;
}

/* {mark} and {text} of the template, as the content type asks. */
static void fill_in(const struct config_menu *m, const struct menu_shown *shown,
                    struct kw_buf *out)
{
    enum template_place place = template_place_of(m->answer_type);
    const char *mark = shown->over ? m->mark_end : m->mark_on;
    const char *t = m->answer;

    while (*t != '\0') {
        if (strncmp(t, "{mark}", 6) == 0) {
            template_escape(place, mark, strlen(mark), out);
            t += 6;
        } else if (strncmp(t, "{text}", 6) == 0) {
            template_escape(place, shown->body, strlen(shown->body), out);
            t += 6;
        } else {
            kw_buf_putc(out, *t++);
        }
    }
}

enum MHD_Result http_menu_say(struct http_request *r)
{
    const struct config_menu *m = &r->route->conf->menu;
    struct http_answer a = {.status = MHD_HTTP_OK, .type = m->answer_type};
    struct kw_buf body;
    enum MHD_Result done;

    kw_buf_init(&body, ANSWER_MOST);
    fill_in(m, &r->taking.shown, &body);
    a.body = kw_buf_text(&body);
    done = http_say(r, &a);
    kw_buf_release(&body);
    return done;
}

/* ---- a receipt ---- */

/* Whether the value is one of the words "a b c", of any case. */
static bool among(const char *words, const struct http_form_value *v)
{
    while (*words != '\0') {
        size_t len = strcspn(words, " ");

        if (len > 0 && len == v->len && strncasecmp(words, v->data, len) == 0)
            return true;
        words += len + (words[len] != '\0');
    }
    return false;
}

int http_receipt_read(struct http_request *r, const struct http_form *f,
                      char *wrong)
{
    const struct config_receipts *c = &r->route->conf->receipts;
    struct http_form_value v;
    int err;

    if ((err = http_form_get(f, c->field_id, &v)) < 0 ||
        (err = http_copy_number(&v, false, &r->ref)) < 0)
        return http_field_wrong(wrong, c->field_id, err,
                                "your id of the text, as you gave it then");
    if ((err = http_form_get(f, c->field_state, &v)) < 0)
        return http_field_wrong(wrong, c->field_state, err,
                                "what became of the text");
    r->receipt = among(c->delivered, &v) ? TRAFFIC_DELIVERED
                 : among(c->failed, &v)  ? TRAFFIC_NOT_DELIVERED
                                         : TRAFFIC_UNDER_WAY;
    /* One of our own words, in the end. */
    if (r->receipt == TRAFFIC_NOT_DELIVERED)
        r->text = kw_strndup(v.data, v.len);
    return 0;
}

static void on_kept(void *arg, int err)
{
    struct http_request *r = arg;

    r->err = err;
    http_in_resume(r);
}

enum MHD_Result http_receipt_take(struct http_request *r)
{
    struct carrier_host *host = http_in_host(r->in);
    struct carrier_receipt receipt = {.carrier = r->route->conf->name,
                                      .far_id = r->ref,
                                      .state = r->receipt,
                                      .why = r->text,
                                      .kept = on_kept,
                                      .arg = r};

    if (host->receipt(host, &receipt) < 0)
        return http_come_later(r);
    http_in_suspend(r);
    return MHD_YES;
}
