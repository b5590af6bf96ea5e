/*
 * config_carrier.c - one carrier of the configuration: its kind, and the
 * group of that kind read by a table.
 */
#include "base/config_carrier.h"

#include <stdio.h>
#include <string.h>

#define AT(f) offsetof(struct config_carrier, f)
static const struct setting http_in_rows[] = {
    {"path", TEXT, AT(in.path), "/in", 2, 100, NULL},
    {"form", FORM, AT(in.form), "any", 0, 0, NULL},
    {"field_from", TEXT, AT(in.field_from), "from", 1, 60, NULL},
    {"field_to", TEXT, AT(in.field_to), "to", 1, 60, NULL},
    {"field_text", TEXT, AT(in.field_text), "text", 1, 60, NULL},
    {"field_id", TEXT, AT(in.field_id), "id", 1, 60, NULL},
    {"field_at", TEXT, AT(in.field_at), "at", 1, 60, NULL},
    {"field_secret", TEXT, AT(in.field_secret), NULL, 1, 60, NULL},
    {"header_secret", TEXT, AT(in.header_secret), NULL, 1, 60, NULL},
    {"secret", SECRET, AT(in.secret), NULL, 8, 512, NULL},
    {"header_signature", TEXT, AT(in.header_signature), NULL, 1, 60, NULL},
    {"hmac_key", SECRET, AT(in.hmac_key), NULL, 16, 512, NULL},
    {"hmac_key_old", SECRET, AT(in.hmac_key_old), NULL, 16, 512, NULL},
    {"body_most", INTEGER, AT(in.body_most), "16384", 256, 1048576, NULL},
    {"per_minute", INTEGER, AT(in.per_minute), "0", 0, 10000000, NULL},
    {"reply_in_body", SWITCH, AT(in.reply_in_body), "false", 0, 0, NULL},
};
static const struct setting http_out_rows[] = {
    {"url", TEXT, AT(out.url), NULL, 8, 2000, NULL},
    {"method", TEXT, AT(out.method), "POST", 3, 4, " POST PUT GET "},
    {"body", TEXT, AT(out.body), "", 0, 8000, NULL},
    {"username", TEXT, AT(out.username), NULL, 1, 200, NULL},
    {"password", SECRET, AT(out.password), NULL, 1, 512, NULL},
    {"timeout_s", INTEGER, AT(out.timeout_s), "20", 1, 600, NULL},
    {"in_flight", INTEGER, AT(out.in_flight), "4", 1, 256, NULL},
    {"id_field", TEXT, AT(out.id_field), NULL, 1, 60, NULL},
};
static const struct setting common_rows[] = {
    {"per_minute", INTEGER, AT(per_minute), "0", 0, 100000, NULL},
    {"stand_in", TEXT, AT(stand_in), "", 0, 60, NULL},
    {"group", TEXT, AT(group), "", 0, 60, NULL},
};
static const struct setting receipts_rows[] = {
    {"path", TEXT, AT(receipts.path), "/receipt", 2, 100, NULL},
    {"field_id", TEXT, AT(receipts.field_id), "id", 1, 60, NULL},
    {"field_state", TEXT, AT(receipts.field_state), "state", 1, 60, NULL},
    {"delivered", TEXT, AT(receipts.delivered), "delivered", 1, 200, NULL},
    {"failed", TEXT, AT(receipts.failed), "failed expired rejected", 1, 200,
     NULL},
};
static const struct setting menu_rows[] = {
    {"path", TEXT, AT(menu.path), "/menu", 2, 100, NULL},
    {"field_session", TEXT, AT(menu.field_session), "session", 1, 60, NULL},
    {"field_from", TEXT, AT(menu.field_from), "from", 1, 60, NULL},
    {"field_input", TEXT, AT(menu.field_input), "input", 1, 60, NULL},
    {"field_step", TEXT, AT(menu.field_step), NULL, 1, 60, NULL},
    {"field_gone", TEXT, AT(menu.field_gone), NULL, 1, 60, NULL},
    {"whole", SWITCH, AT(menu.whole), "false", 0, 0, NULL},
    {"answer", TEXT, AT(menu.answer), "{mark} {text}", 6, 2000, NULL},
    {"answer_type", TEXT, AT(menu.answer_type), "text/plain", 3, 100, NULL},
    {"mark_on", TEXT, AT(menu.mark_on), "more", 0, 40, NULL},
    {"mark_end", TEXT, AT(menu.mark_end), "done", 0, 40, NULL},
};
static const struct setting spool_rows[] = {
    {"in", PATH, AT(spool.in), NULL, 1, 4000, NULL},
    {"out", PATH, AT(spool.out), NULL, 1, 4000, NULL},
    {"poll_s", INTEGER, AT(spool.poll_s), "2", 1, 3600, NULL},
};
static const struct setting smpp_rows[] = {
    {"host", TEXT, AT(smpp.host), NULL, 1, 255, NULL},
    {"port", INTEGER, AT(smpp.port), "2775", 1, 65535, NULL},
    {"tls", SWITCH, AT(smpp.tls), "false", 0, 0, NULL},
    {"tls_ca", PATH, AT(smpp.tls_ca), NULL, 1, 4000, NULL},
    {"bind", TEXT, AT(smpp.bind), "transceiver", 1, 20,
     " transceiver separate "},
    {"system_id", TEXT, AT(smpp.system_id), NULL, 1, 15, NULL},
    {"password", SECRET, AT(smpp.password), NULL, 1, 8, NULL},
    {"system_type", TEXT, AT(smpp.system_type), "", 0, 12, NULL},
    {"address_range", TEXT, AT(smpp.address_range), "", 0, 40, NULL},
    {"source", TEXT, AT(smpp.source), "", 0, 20, NULL},
    {"service_type", TEXT, AT(smpp.service_type), "", 0, 5, NULL},
    {"alphabet", TEXT, AT(smpp.alphabet), "gsm7", 1, 20,
     " gsm7 gsm7-packed latin1 ascii "},
    {"shift_tables", TEXT, AT(smpp.shift_tables), "", 0, 11, NULL},
    {"long_text", TEXT, AT(smpp.long_text), "udh", 1, 20,
     " udh udh16 sar payload "},
    {"window", INTEGER, AT(smpp.window), "10", 1, 64, NULL},
    {"per_second", REAL, AT(smpp.per_second), "0", 0, 10000, NULL},
    {"enquire_link_s", INTEGER, AT(smpp.enquire_link_s), "30", 1, 3600, NULL},
    {"response_s", INTEGER, AT(smpp.response_s), "10", 1, 600, NULL},
    {"receipts", SWITCH, AT(smpp.receipts), "true", 0, 0, NULL},
    {"receipt_id", TEXT, AT(smpp.receipt_id), "same", 1, 20,
     " same hex decimal "},
    {"parts", PATH, AT(smpp.parts), NULL, 1, 4000, NULL},
    {"statuses", TEXT, AT(smpp.statuses), "", 0, 1000, NULL},
    {"ussd_service_type", TEXT, AT(smpp.ussd_service_type), "USSD", 0, 5, NULL},
    {"ussd_session_tag", INTEGER, AT(smpp.ussd_session_tag), "4995", 1, 65535,
     NULL},
};
static const struct setting modem_rows[] = {
    {"device", TEXT, AT(modem.device), NULL, 1, 4000, NULL},
    {"speed", INTEGER, AT(modem.speed), "115200", 1200, 4000000, NULL},
    {"pin", SECRET, AT(modem.pin), NULL, 4, 8, NULL},
    {"centre", TEXT, AT(modem.centre), "", 0, 20, NULL},
    {"memory", TEXT, AT(modem.memory), "auto", 2, 4, " auto SM ME MT "},
    {"shift_tables", TEXT, AT(modem.shift_tables), "", 0, 11, NULL},
    {"receipts", SWITCH, AT(modem.receipts), "true", 0, 0, NULL},
    {"send_s", INTEGER, AT(modem.send_s), "120", 10, 600, NULL},
    {"poll_s", INTEGER, AT(modem.poll_s), "60", 5, 3600, NULL},
    {"credit_code", TEXT, AT(modem.credit_code), NULL, 1, 40, NULL},
    {"credit_every_h", INTEGER, AT(modem.credit_every_h), "24", 1, 720, NULL},
    {"credit_after", TEXT, AT(modem.credit_after), "", 0, 60, NULL},
    {"credit_below", REAL, AT(modem.credit_below), "0", 0, 1e9, NULL},
};
#undef AT

/* The kinds, in the order of enum config_carrier_kind. */
static const struct {
    const char *name;
    const char *groups; /* the keys that it takes, " a b " */
} kinds[] = {[CONFIG_HTTP] = {"http", " in out receipts menu "},
             [CONFIG_SPOOL] = {"spool", " spool "},
             [CONFIG_SMPP] = {"smpp", " smpp "},
             [CONFIG_MODEM] = {"modem", " modem "}};

static void take_headers(struct setting_load *l, const config_setting_t *list,
                         struct config_http_out *out)
{
    int n = setting_list_length(l, list, CONFIG_HEADERS_MOST);

    for (int i = 0; i < n; i++) {
        const config_setting_t *s = config_setting_get_elem(list, (unsigned)i);
        const char *v = config_setting_get_string(s);

        if (v == NULL || strchr(v, ':') == NULL || strpbrk(v, "\r\n") != NULL)
            SETTING_SAY(l, config_setting_source_line(list),
                        "entry %d of 'headers' is to be \"Name: value\"",
                        i + 1);
        else
            out->headers[out->n_headers++] = kw_strdup(v);
    }
}

static void check_path(struct setting_load *l, const struct config_carrier *c,
                       const char *path)
{
    if (path != NULL && path[0] != '/')
        SETTING_SAY(l, c->line, "'path' is to begin with /, such as \"/in\"");
}

static void check_http(struct setting_load *l, const struct config_carrier *c)
{
    check_path(l, c, c->in.path);
    if (c->in.secret != NULL && c->in.field_secret == NULL &&
        c->in.header_secret == NULL)
        SETTING_SAY(l, c->line,
                    "a secret is set but not where it stands; set "
                    "'field_secret' or 'header_secret'");
    if (c->in.secret == NULL &&
        (c->in.field_secret != NULL || c->in.header_secret != NULL))
        SETTING_SAY(l, c->line,
                    "the place of a secret is set but no secret; set "
                    "'secret' or 'secret_file'");
    if ((c->in.header_signature == NULL) != (c->in.hmac_key == NULL))
        SETTING_SAY(l, c->line,
                    "'header_signature' and 'hmac_key' (or "
                    "'hmac_key_file') go together");
    if (c->out.url != NULL && strncmp(c->out.url, "http://", 7) != 0 &&
        strncmp(c->out.url, "https://", 8) != 0)
        SETTING_SAY(l, c->line, "'url' is to begin with http:// or https://");
}

/* Presets, and takes the group `name`; whether it is there. */
static bool take_group(struct setting_load *l, const config_setting_t *s,
                       const char *name, const struct setting *rows, size_t n,
                       struct config_carrier *c)
{
    const config_setting_t *group = config_setting_get_member(s, name);

    setting_preset(rows, n, c);
    if (group != NULL)
        setting_take(l, group, rows, n, c, NULL);
    return group != NULL;
}

static void take_http(struct setting_load *l, const config_setting_t *s,
                      struct config_carrier *c)
{
    const config_setting_t *in = config_setting_get_member(s, "in");
    const config_setting_t *out = config_setting_get_member(s, "out");

    setting_preset(http_in_rows, KW_COUNT(http_in_rows), c);
    setting_preset(http_out_rows, KW_COUNT(http_out_rows), c);
    if (in != NULL)
        setting_take(l, in, http_in_rows, KW_COUNT(http_in_rows), c, NULL);
    else /* what only sends takes nothing in */
        setting_put_text(c, offsetof(struct config_carrier, in.path), NULL);
    if (out != NULL) {
        const config_setting_t *h = config_setting_get_member(out, "headers");

        setting_take(l, out, http_out_rows, KW_COUNT(http_out_rows), c,
                     " headers ");
        if (h != NULL)
            take_headers(l, h, &c->out);
        setting_need_text(l, config_setting_source_line(out), "url",
                          c->out.url);
    }
    if (take_group(l, s, "receipts", receipts_rows, KW_COUNT(receipts_rows), c))
        check_path(l, c, c->receipts.path);
    else
        setting_put_text(c, offsetof(struct config_carrier, receipts.path),
                         NULL);
    if (take_group(l, s, "menu", menu_rows, KW_COUNT(menu_rows), c))
        check_path(l, c, c->menu.path);
    else
        setting_put_text(c, offsetof(struct config_carrier, menu.path), NULL);
    check_http(l, c);
}

static void take_spool(struct setting_load *l, const config_setting_t *s,
                       struct config_carrier *c)
{
    take_group(l, s, "spool", spool_rows, KW_COUNT(spool_rows), c);
    setting_need_text(l, c->line, "in", c->spool.in);
    setting_need_text(l, c->line, "out", c->spool.out);
}

static void take_smpp(struct setting_load *l, const config_setting_t *s,
                      struct config_carrier *c)
{
    take_group(l, s, "smpp", smpp_rows, KW_COUNT(smpp_rows), c);
    setting_need_text(l, c->line, "host", c->smpp.host);
    setting_need_text(l, c->line, "system_id", c->smpp.system_id);
}

static void take_modem(struct setting_load *l, const config_setting_t *s,
                       struct config_carrier *c)
{
    take_group(l, s, "modem", modem_rows, KW_COUNT(modem_rows), c);
    setting_need_text(l, c->line, "device", c->modem.device);
    if (c->modem.pin != NULL &&
        strspn(c->modem.pin, "0123456789") != strlen(c->modem.pin))
        SETTING_SAY(l, c->line, "'pin' is to be 4 to 8 digits");
    if (c->modem.credit_code != NULL &&
        strspn(c->modem.credit_code, "0123456789*#") !=
            strlen(c->modem.credit_code))
        SETTING_SAY(l, c->line,
                    "'credit_code' is to be digits, * and #, such as "
                    "\"*123#\"");
    if (c->modem.credit_code == NULL && c->modem.credit_below > 0)
        SETTING_SAY(l, c->line,
                    "'credit_below' is set but not how to ask; set "
                    "'credit_code'");
}

/* The kind of that name, or -1. */
static int kind_named(const char *name)
{
    for (size_t i = 0; name != NULL && i < KW_COUNT(kinds); i++) {
        if (strcmp(kinds[i].name, name) == 0)
            return (int)i;
    }
    return -1;
}

/* Keys of every kind stand beside its group. */
static void take_common(struct setting_load *l, const config_setting_t *s,
                        struct config_carrier *c)
{
    char also[80];

    snprintf(also, sizeof(also), " name kind%s", kinds[c->kind].groups);
    setting_preset(common_rows, KW_COUNT(common_rows), c);
    setting_take(l, s, common_rows, KW_COUNT(common_rows), c, also);
}

void config_carrier_take(struct setting_load *l, const config_setting_t *s,
                         struct config_carrier *c)
{
    static void (*const takes[])(
        struct setting_load *, const config_setting_t *,
        struct config_carrier *) = {[CONFIG_HTTP] = take_http,
                                    [CONFIG_SPOOL] = take_spool,
                                    [CONFIG_SMPP] = take_smpp,
                                    [CONFIG_MODEM] = take_modem};
    const char *kind = NULL, *name = NULL;
    int k;

    c->line = config_setting_source_line(s);
    config_setting_lookup_string(s, "name", &name);
    config_setting_lookup_string(s, "kind", &kind);
    setting_need_text(l, c->line, "name", name);
    c->name = kw_strdup(name ? name : "");
    if (strlen(c->name) > 60 || strcmp(c->name, "console") == 0)
        SETTING_SAY(l, c->line,
                    "a carrier's name has at most 60 characters and is "
                    "not \"console\"");
    k = kind_named(kind);
    if (k < 0) {
        SETTING_SAY(l, c->line,
                    "'kind' is to be \"http\", \"spool\", \"smpp\" or "
                    "\"modem\"");
        return;
    }
    c->kind = (enum config_carrier_kind)k;
    take_common(l, s, c);
    takes[k](l, s, c);
}

void config_carrier_free(struct config_carrier *c)
{
    setting_free(http_in_rows, KW_COUNT(http_in_rows), c);
    setting_free(http_out_rows, KW_COUNT(http_out_rows), c);
    setting_free(common_rows, KW_COUNT(common_rows), c);
    setting_free(receipts_rows, KW_COUNT(receipts_rows), c);
    setting_free(menu_rows, KW_COUNT(menu_rows), c);
    setting_free(spool_rows, KW_COUNT(spool_rows), c);
    setting_free(smpp_rows, KW_COUNT(smpp_rows), c);
    setting_free(modem_rows, KW_COUNT(modem_rows), c);
    for (size_t j = 0; j < c->out.n_headers; j++)
        kw_free(c->out.headers[j]);
    kw_free(c->name);
}
