/*
 * http_take.c - one request that brings a text: who sends it, its fields,
 * the text's way through the writer, the answer.
 *
 * 2xx is said only in http_take_answer(), after the commit. A caller that
 * gets anything else has to bring the text again (or mend its request).
 */
#include "carrier/http_in_parts.h"

#include "base/clock.h"
#include "base/log.h"
#include "base/number.h"
#include "carrier/http_auth.h"
#include "carrier/http_form.h"
#include "carrier/template.h"

#include <ctype.h>
#include <netinet/in.h>
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RETRY_LATER "5" /* seconds, in Retry-After of a 503 */
#define FROM_MOST   64
#define REF_MOST    200
#define WRONG_CAP   HTTP_WRONG_CAP

enum MHD_Result http_say(struct http_request *r, const struct http_answer *a)
{
    r->state = HTTP_ANSWERED;
    return http_answer_queue(r->in, r->connection, a);
}

enum MHD_Result http_refuse(struct http_request *r, unsigned status,
                            const char *what)
{
    http_in_note_refusal(r->in, r->route, what);
    return http_say(r, &(struct http_answer){.status = status, .body = what});
}

static const char *header(struct http_request *r, const char *name)
{
    return MHD_lookup_connection_value(r->connection, MHD_HEADER_KIND, name);
}

/* ---- before the body ---- */

/* The address; of IPv6 the /64, since a host can have a whole one. */
static void address_key(struct MHD_Connection *c, uint8_t key[RATE_KEY_OCTETS])
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(c, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
    const struct sockaddr *sa = info != NULL ? info->client_addr : NULL;

    memset(key, 0, RATE_KEY_OCTETS);
    if (sa != NULL && sa->sa_family == AF_INET)
        memcpy(key + 8, &((const struct sockaddr_in *)sa)->sin_addr, 4);
    else if (sa != NULL && sa->sa_family == AF_INET6)
        memcpy(key, &((const struct sockaddr_in6 *)sa)->sin6_addr, 8);
}

static void refuse_early(struct http_request *r, unsigned status,
                         const char *what)
{
    http_in_note_refusal(r->in, r->route, what);
    r->refusal = (struct http_answer){.status = status, .body = what};
}

static void refuse_too_many(struct http_request *r, int wait_s)
{
    refuse_early(r, MHD_HTTP_TOO_MANY_REQUESTS,
                 "too many a minute from this address; come again after the "
                 "seconds in Retry-After\n");
    snprintf(r->words, sizeof(r->words), "%d", wait_s);
    r->refusal.header = MHD_HTTP_HEADER_RETRY_AFTER;
    r->refusal.value = r->words;
}

static void refuse_too_large(struct http_request *r)
{
    snprintf(r->words, sizeof(r->words),
             "the body may have %d octets at most\n",
             r->route->conf->in.body_most);
    refuse_early(r, MHD_HTTP_CONTENT_TOO_LARGE, r->words);
}

int64_t http_announced(struct MHD_Connection *c)
{
    const char *length = MHD_lookup_connection_value(
        c, MHD_HEADER_KIND, MHD_HTTP_HEADER_CONTENT_LENGTH);
    int64_t n;

    if (length == NULL)
        return 0;
    return kw_parse_i64(length, strlen(length), 0, INT64_MAX, &n) == 0
               ? n
               : INT64_MAX;
}

static bool secret_in_header(struct http_request *r)
{
    const struct config_http_in *in = &r->route->conf->in;
    const char *given =
        in->header_secret != NULL ? header(r, in->header_secret) : NULL;

    return given != NULL && http_auth_same(given, strlen(given), in->secret);
}

void http_take_begin(struct http_request *r)
{
    const struct config_http_in *in = &r->route->conf->in;
    uint8_t key[RATE_KEY_OCTETS];
    int wait_s = 0;

    if (r->route->rate != NULL) {
        address_key(r->connection, key);
        wait_s = rate_take(r->route->rate, key, clock_monotonic_us());
    }
    if (wait_s > 0)
        refuse_too_many(r, wait_s);
    else if (http_announced(r->connection) > in->body_most)
        refuse_too_large(r);
    else if (in->secret != NULL && in->field_secret == NULL &&
             !secret_in_header(r))
        refuse_early(r, MHD_HTTP_FORBIDDEN, "not allowed\n");
    else
        kw_buf_init(&r->body, (size_t)in->body_most);
}

/* ---- the fields ---- */

static bool signed_well(struct http_request *r)
{
    const struct config_http_in *in = &r->route->conf->in;
    struct http_auth_keys keys = {.key = in->hmac_key,
                                  .key_old = in->hmac_key_old};
    const char *name = in->header_signature;

    return name != NULL && http_auth_signed(&keys, header(r, name),
                                            kw_buf_text(&r->body), r->body.len);
}

/* 0 and *kind, or KW_EINVAL when the body is neither. */
static int body_kind(struct http_request *r, enum http_form_kind *kind)
{
    enum config_form form = r->route->conf->in.form;
    enum http_form_type type =
        http_form_type_of(header(r, MHD_HTTP_HEADER_CONTENT_TYPE));
    const char *body = kw_buf_text(&r->body);

    if (type == HTTP_TYPE_NONE && form == CONFIG_FORM_ANY)
        type = body[strspn(body, " \t\r\n")] == '{' ? HTTP_TYPE_JSON
                                                    : HTTP_TYPE_FORM;
    else if (type == HTTP_TYPE_NONE)
        type = form == CONFIG_FORM_JSON ? HTTP_TYPE_JSON : HTTP_TYPE_FORM;
    if (type == HTTP_TYPE_OTHER ||
        (type == HTTP_TYPE_JSON && form == CONFIG_FORM_URLENCODED) ||
        (type == HTTP_TYPE_FORM && form == CONFIG_FORM_JSON))
        return KW_EINVAL;
    *kind = type == HTTP_TYPE_JSON ? HTTP_FORM_JSON : HTTP_FORM_URLENCODED;
    return 0;
}

static const char *kind_wanted(enum config_form form)
{
    if (form == CONFIG_FORM_JSON)
        return "send Content-Type application/json\n";
    if (form == CONFIG_FORM_URLENCODED)
        return "send Content-Type application/x-www-form-urlencoded\n";
    return "send Content-Type application/x-www-form-urlencoded or "
           "application/json\n";
}

/* The sentence for a field that is not as it must be. */
int http_field_wrong(char *wrong, const char *name, int err, const char *wanted)
{
    const char *what = "is missing";

    if (err == KW_EDUP)
        what = "stands twice with different values";
    else if (err == KW_EINVAL)
        what = "is not what it should be";
    snprintf(wrong, WRONG_CAP, "the field \"%.100s\" %s: send %s\n", name, what,
             wanted);
    return KW_EINVAL;
}

/* A name or number without NUL and control characters, blanks trimmed. */
int http_copy_number(const struct http_form_value *v, bool form, char **out)
{
    const char *s = v->data;
    size_t len = v->len;
    /* "+999…" in a form whose sender did not escape the plus. */
    bool plus = form && len > 7 && s[0] == ' ' && isdigit((unsigned char)s[1]);

    while (len > 0 && (s[0] == ' ' || s[0] == '\t'))
        s++, len--;
    while (len > 0 && (s[len - 1] == ' ' || s[len - 1] == '\t'))
        len--;
    if (len == 0)
        return KW_ENOENT;
    if (len > FROM_MOST)
        return KW_EINVAL;
    for (size_t i = 0; i < len; i++) {
        if ((unsigned char)s[i] < 0x20 || s[i] == 0x7f)
            return KW_EINVAL;
    }
    *out = kw_malloc(len + 2);
    (*out)[0] = '+';
    memcpy(*out + plus, s, len);
    (*out)[plus + len] = '\0';
    return 0;
}

static void hash_ref(const char *const parts[], const size_t lens[], size_t n,
                     char **out)
{
    EVP_MD_CTX *ctx = EVP_MD_CTX_new();
    unsigned char mac[32] = {0};

    *out = kw_malloc(40);
    if (ctx == NULL || EVP_DigestInit_ex(ctx, EVP_sha256(), NULL) != 1)
        abort(); /* without memory; a restart loses nothing */
    for (size_t i = 0; i < n; i++) {
        EVP_DigestUpdate(ctx, &lens[i], sizeof(lens[i]));
        EVP_DigestUpdate(ctx, parts[i], lens[i]);
    }
    EVP_DigestFinal_ex(ctx, mac, NULL);
    EVP_MD_CTX_free(ctx);
    memcpy(*out, "sha-", 4);
    for (size_t i = 0; i < 16; i++)
        snprintf(*out + 4 + 2 * i, 3, "%02x", mac[i]);
}

/* The same text from the same number with the same time of sending. */
static void hash_text(const struct http_request *r,
                      const struct http_form_value *at, char **out)
{
    const struct desk_text *t = &r->taking.text;
    const char *parts[] = {r->from, r->to != NULL ? r->to : "", t->text,
                           at->data};
    size_t lens[] = {strlen(r->from), strlen(parts[1]), t->len, at->len};

    if (at->len > 0)
        hash_ref(parts, lens, KW_COUNT(parts), out);
}

/*
 * What repeats are known by: the caller's id, and the text with its time of
 * sending, for some give it another id when they bring it again.
 */
static void make_ref(struct http_request *r, const struct http_form_value *id,
                     const struct http_form_value *at)
{
    struct desk_text *t = &r->taking.text;

    if (id->len > 0 && id->len <= REF_MOST &&
        memchr(id->data, '\0', id->len) == NULL) {
        r->ref = kw_strndup(id->data, id->len);
    } else if (id->len > 0) {
        hash_ref(&id->data, &id->len, 1, &r->ref);
    }
    hash_text(r, at, r->ref == NULL ? &r->ref : &r->twin);
    t->ref = r->ref;
    t->twin = r->twin;
}

/* A field that may be missing; empty when it is or is not fit. */
static void get_optional(const struct http_form *f, const char *name,
                         struct http_form_value *out)
{
    if (name == NULL || name[0] == '\0' || http_form_get(f, name, out) < 0)
        *out = (struct http_form_value){.data = ""};
}

static int read_fields(struct http_request *r, const struct http_form *f,
                       char *wrong)
{
    const struct config_http_in *in = &r->route->conf->in;
    struct desk_text *t = &r->taking.text;
    struct http_form_value v, id, at;
    bool form = f->json == NULL;
    int err;

    if ((err = http_form_get(f, in->field_from, &v)) < 0 ||
        (err = http_copy_number(&v, form, &r->from)) < 0)
        return http_field_wrong(
            wrong, in->field_from, err,
            "the number that the text came from, for example "
            "+99970012345");
    if ((err = http_form_get(f, in->field_text, &v)) < 0)
        return http_field_wrong(wrong, in->field_text, err,
                                "the words of the text, as they came");
    r->text = kw_malloc(v.len + 1);
    memcpy(r->text, v.data, v.len);
    r->text[v.len] = '\0';
    t->text = r->text;
    t->len = v.len;
    get_optional(f, in->field_to, &v);
    if (http_copy_number(&v, form, &r->to) < 0)
        r->to = NULL;
    get_optional(f, in->field_id, &id);
    get_optional(f, in->field_at, &at);
    make_ref(r, &id, &at);
    t->sent_s = http_form_time(at.data, at.len);
    return 0;
}

/* In its header, or in its field. */
static bool secret_given(struct http_request *r, const struct http_form *f)
{
    const struct config_http_in *in = &r->route->conf->in;
    struct http_form_value v;

    if (in->secret == NULL || secret_in_header(r))
        return true;
    return in->field_secret != NULL &&
           http_form_get(f, in->field_secret, &v) == 0 &&
           http_auth_same(v.data, v.len, in->secret);
}

/* ---- the whole body ---- */

static void on_taken(struct carrier_taking *t, int err)
{
    struct http_request *r = t->carrier;

    r->err = err;
    http_in_resume(r);
}

enum MHD_Result http_come_later(struct http_request *r)
{
    return http_say(r, &(struct http_answer){
                           .status = MHD_HTTP_SERVICE_UNAVAILABLE,
                           .body = "the text could not be kept just now; bring "
                                   "it again\n",
                           .header = MHD_HTTP_HEADER_RETRY_AFTER,
                           .value = RETRY_LATER});
}

static enum MHD_Result hand_over(struct http_request *r)
{
    struct carrier_host *host = http_in_host(r->in);
    struct desk_text *t = &r->taking.text;

    t->carrier = r->route->conf->name;
    t->from = r->from;
    t->to = r->to;
    t->at_s = clock_now_s();
    r->taking.answer_in_hand =
        r->route->kind == HTTP_TEXTS && r->route->conf->in.reply_in_body;
    r->taking.taken = on_taken;
    r->taking.carrier = r;
    kw_buf_release(&r->body);
    if (host->take(host, &r->taking) < 0)
        return http_come_later(r);
    http_in_suspend(r);
    return MHD_YES;
}

static int (*const readers[])(struct http_request *r, const struct http_form *f,
                              char *wrong) = {
    [HTTP_TEXTS] = read_fields,
    [HTTP_MENU] = http_menu_read,
    [HTTP_RECEIPTS] = http_receipt_read};

enum MHD_Result http_take_body(struct http_request *r)
{
    const struct config_http_in *in = &r->route->conf->in;
    struct http_form f;
    enum http_form_kind kind;
    char wrong[WRONG_CAP];
    bool allowed;
    int err;

    if (r->passed_by > 0) {
        refuse_too_large(r);
        return http_say(r, &r->refusal);
    }
    if (in->hmac_key != NULL && !signed_well(r))
        return http_refuse(r, MHD_HTTP_FORBIDDEN, "not allowed\n");
    if (body_kind(r, &kind) < 0)
        return http_refuse(r, MHD_HTTP_UNSUPPORTED_MEDIA_TYPE,
                           kind_wanted(in->form));
    err = http_form_parse(&f, kind, kw_buf_text(&r->body), r->body.len);
    if (err < 0)
        snprintf(wrong, sizeof(wrong), "%s\n", f.wrong);
    allowed = err < 0 || secret_given(r, &f);
    if (err == 0 && allowed)
        err = readers[r->route->kind](r, &f, wrong);
    http_form_release(&f);
    if (!allowed)
        return http_refuse(r, MHD_HTTP_FORBIDDEN, "not allowed\n");
    if (err < 0)
        return http_refuse(r, MHD_HTTP_BAD_REQUEST, wrong);
    if (r->route->kind == HTTP_RECEIPTS)
        return http_receipt_take(r);
    return hand_over(r);
}

/* ---- after the commit ---- */

static enum MHD_Result answer_with_reply(struct http_request *r)
{
    const struct desk_answer *a = &r->taking.answer;
    struct http_answer reply = {.status = MHD_HTTP_OK, .body = a->body};
    struct kw_buf json;
    enum MHD_Result done;

    if (http_accept_plain(header(r, MHD_HTTP_HEADER_ACCEPT)))
        return http_say(r, &reply);
    kw_buf_init(&json, 6 * LEDGER_BODY_CAP + 100);
    kw_buf_puts(&json, "{\"answer\": \"");
    template_escape(TEMPLATE_JSON, a->body, strlen(a->body), &json);
    if (a->repeat) /* what was made of it then is not told again */
        kw_buf_puts(&json, "\", \"repeat\": true}\n");
    else
        kw_buf_printf(&json, "\", \"outcome\": \"%s\"}\n",
                      reader_outcome_name(a->outcome));
    reply.type = "application/json";
    reply.body = kw_buf_text(&json);
    done = http_say(r, &reply);
    kw_buf_release(&json);
    return done;
}

enum MHD_Result http_take_answer(struct http_request *r)
{
    if (r->err == KW_EINVAL || r->err == KW_ERANGE)
        return http_refuse(
            r, MHD_HTTP_BAD_REQUEST,
            "the text cannot be taken as it is; look at the number "
            "it came from\n");
    if (r->err < 0)
        return http_come_later(r);
    if (r->route->kind == HTTP_MENU)
        return http_menu_say(r);
    if (r->route->kind == HTTP_TEXTS && r->route->conf->in.reply_in_body)
        return answer_with_reply(r);
    /* No body: some callers send what stands there to the phone. */
    return http_say(r, &(struct http_answer){.status = MHD_HTTP_OK});
}

void http_take_over(struct http_request *r, bool whole)
{
    const struct carrier_taking *t = &r->taking;

    if (!whole && t->answer_in_hand && t->taken != NULL && r->err == 0 &&
        t->answer.outbox_id != 0 && !t->answer.repeat) {
        struct carrier_host *host = http_in_host(r->in);
        bool other_way = r->route->conf->out.url != NULL;

        host->settle(host, t->answer.outbox_id,
                     other_way ? LEDGER_WAITING : LEDGER_PERHAPS, 0,
                     "connection lost before the answer was out");
    }
    kw_buf_release(&r->body);
    kw_free(r->from);
    kw_free(r->to);
    kw_free(r->ref);
    kw_free(r->twin);
    kw_free(r->text);
    kw_free(r);
}
