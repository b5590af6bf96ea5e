/*
 * read.c - `kilnword read`: texts in, what is understood out. No ledger: a
 * serial that passes its check counts as known.
 */
#include "command/command.h"
#include "base/buf.h"
#include "base/config.h"
#include "base/file.h"
#include "desk/desk.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LINE_MOST (4u << 20) /* octets of one line of input */

static int run(int argc, char **argv);

static const char *config_path, *grammar, *lang, *pot;
static bool as_json, why;

static const struct command_option options[] = {
    {"--config", "FILE",
     "the configuration (else $KILNWORD_CONF, else\n"
     "./kilnword.conf)",
     &config_path, NULL},
    {"--grammar", "FOLDER", "read the language of the texts from here",
     &grammar, NULL},
    {"--json", NULL, "JSON lines in, JSON lines out", NULL, &as_json},
    {"--lang", "TAG", "the sender's language, for texts that name none", &lang,
     NULL},
    {"--pot", "SERIAL", "the one pot that the sender holds", &pot, NULL},
    {"--why", NULL, "show how each text was folded, cut, repaired and matched",
     NULL, &why},
};

const struct command command_read = {
    .name = "read",
    .usage = "read [options] < TEXTS",
    .summary = "show what is understood of texts, and what would be answered",
    .help =
        "Reads texts on standard input, one a line, and writes for each what\n"
        "is understood and the answer. No ledger is asked or changed: a "
        "serial\n"
        "that passes its check counts as known.\n\n"
        "With --json each line is an object\n"
        "  {\"id\", \"text\" or \"hex\", \"lang\", \"pot\"}\n"
        "where hex holds the octets of a text that is no UTF-8, lang is the\n"
        "sender's language and pot the one pot the sender holds (both may be\n"
        "left out). Each answer is an object\n"
        "  {\"id\", \"outcome\", \"serial\", \"obs\", \"danger\", \"reply\"}\n"
        "with \"why\" when it is asked about and \"command\" when it is an\n"
        "order; \"test\" holds the workshop's own reading. A line that cannot "
        "be read is told on standard error with its\n"
        "number, the others are read, and the exit code is 3.",
    .run = run,
};

struct reading {
    struct desk *desk;
    const struct reader *reader;
    struct reader_scratch *scratch;
    const char *clinic, *lang; /* both of the programme */
    struct kw_buf reply;
};

static json_t *measure_json(const struct reader_measure *m)
{
    static const char *const units[] = {"finger", "cm", "litres", "cups",
                                        "bottles"};
    json_t *o = json_object();

    if (m->type == READER_DROP) {
        json_object_set_new(o, "value", json_real(m->value));
        json_object_set_new(o, "unit", json_string(units[m->unit]));
    } else {
        json_object_set_new(o, units[m->unit], json_real(m->value));
    }
    json_object_set_new(o, "minutes", json_real(m->minutes));
    if (m->start_cm > 0)
        json_object_set_new(o, "from_cm", json_real(m->start_cm));
    if (m->warm)
        json_object_set_new(o, "water_c", json_real(m->degc));
    return o;
}

static json_t *signs_json(unsigned signs)
{
    json_t *a = json_array();

    for (int i = 0; i < READER_SIGNS; i++) {
        if (signs & 1u << i)
            json_array_append_new(a, json_string(reader_sign_name(1u << i)));
    }
    return a;
}

/* What was said of one thing; numbers that cannot be are left out. */
static json_t *obs_json(const struct reader_obs *obs, enum reader_why asked)
{
    json_t *o = json_object();
    const struct reader_measure *m = &obs->measure;

    json_object_set_new(o, "kind", json_string(reader_kind_name(obs->kind)));
    if (m->type != READER_NO_MEASURE && m->minutes > 0 &&
        asked != READER_WHY_IMPOSSIBLE)
        json_object_set_new(o, m->type == READER_DROP ? "drop" : "yield",
                            measure_json(m));
    if (obs->people > 0 && asked != READER_WHY_COUNTS)
        json_object_set_new(o, "people", json_integer(obs->people));
    if (obs->under5 > 0 && asked != READER_WHY_COUNTS)
        json_object_set_new(o, "under5", json_integer(obs->under5));
    if (obs->signs != 0)
        json_object_set_new(o, "signs", signs_json(obs->signs));
    if (obs->part != READER_NO_PART)
        json_object_set_new(o, "part",
                            json_string(reader_part_name(obs->part)));
    return o;
}

static json_t *meaning_json(const struct reader_meaning *m)
{
    json_t *o = json_object(), *all = json_array();
    bool usable = m->serial[0] != '\0' && m->why != READER_WHY_TWO_POTS;

    json_object_set_new(o, "outcome",
                        json_string(reader_outcome_name(m->outcome)));
    json_object_set_new(o, "serial",
                        usable ? json_string(m->serial) : json_null());
    for (size_t i = 0; i < m->n_obs; i++) {
        /* half a measure is kept, but nobody has said what of */
        if (m->outcome != READER_ASKED || !m->obs[i].inferred)
            json_array_append_new(all, obs_json(&m->obs[i], m->why));
    }
    json_object_set_new(o, "obs", all);
    json_object_set_new(o, "danger", signs_json(m->danger));
    if (m->test.type != READER_NO_MEASURE)
        json_object_set_new(o, "test", measure_json(&m->test));
    if (m->why != READER_CLEAR)
        json_object_set_new(o, "why", json_string(reader_why_name(m->why)));
    if (m->command != READER_NO_COMMAND)
        json_object_set_new(o, "command",
                            json_string(reader_command_name(m->command)));
    return o;
}

static const char *reply_text(struct reading *r, const struct reader_meaning *m,
                              const char *tag)
{
    kw_buf_clear(&r->reply);
    if (tag == NULL || tag[0] == '\0')
        tag = m->lang;
    reply_for_meaning(desk_replies(r->desk), desk_layout(r->desk), m, tag,
                      strcmp(tag, r->lang) == 0 ? r->clinic : NULL, -1,
                      &r->reply);
    return kw_buf_text(&r->reply);
}

static void show_why(struct reading *r, FILE *out)
{
    struct kw_buf b;

    kw_buf_init(&b, 1u << 20);
    reader_explain(r->reader, r->scratch, &b);
    fputs(kw_buf_text(&b), out);
    kw_buf_release(&b);
}

static int hex_digit(char c)
{
    return c >= '0' && c <= '9'   ? c - '0'
           : c >= 'a' && c <= 'f' ? c - 'a' + 10
           : c >= 'A' && c <= 'F' ? c - 'A' + 10
                                  : -1;
}

/* The octets of hex in place of it; false when it is no hex. */
static bool unhex(char *s, size_t *len)
{
    if (*len % 2 != 0)
        return false;
    for (size_t i = 0; i < *len; i += 2) {
        int a = hex_digit(s[i]), b = hex_digit(s[i + 1]);

        if (a < 0 || b < 0)
            return false;
        s[i / 2] = (char)(a << 4 | b);
    }
    *len /= 2;
    return true;
}

/* The text of a JSON line, the caller's to free; or NULL, *wrong telling. */
static char *text_of(const json_t *in, size_t *len, const char **wrong)
{
    const json_t *text = json_object_get(in, "text"),
                 *hex = json_object_get(in, "hex");
    const json_t *v = text != NULL ? text : hex;
    char *s;

    if (!json_is_string(v) || (text != NULL && hex != NULL)) {
        *wrong = "needs either \"text\" or \"hex\", a string";
        return NULL;
    }
    *len = json_string_length(v);
    s = kw_malloc(*len + 1);
    memcpy(s, json_string_value(v), *len);
    s[*len] = '\0';
    if (v == hex && !unhex(s, len)) {
        kw_free(s);
        *wrong = "\"hex\" is not pairs of hexadecimal digits";
        return NULL;
    }
    return s;
}

/* A member that may be left out or null; *wrong tells when it is no string. */
static const char *member(const json_t *in, const char *key, const char **wrong)
{
    const json_t *v = json_object_get(in, key);

    if (v == NULL || json_is_null(v))
        return NULL;
    if (!json_is_string(v))
        *wrong = "\"lang\" and \"pot\" must be strings";
    return json_string_value(v);
}

/* dst, or NULL when the check fails. */
static const char *bare_serial(const struct serial_layout *layout,
                               const char *text, char dst[SERIAL_CAP])
{
    if (serial_bare(text, dst) < 0 ||
        serial_verify(layout, dst, strlen(dst)) < 0)
        return NULL;
    return dst;
}

static bool read_object(struct reading *r, json_t *in, const char **wrong)
{
    struct reader_hint hint = {member(in, "lang", wrong),
                               member(in, "pot", wrong)};
    const struct serial_layout *layout = desk_layout(r->desk);
    struct reader_meaning m;
    char own[SERIAL_CAP];
    json_t *out;
    size_t len;
    char *text;

    if (!json_is_object(in)) {
        *wrong = "is not a JSON object";
        return false;
    }
    if (hint.pot != NULL && bare_serial(layout, hint.pot, own) == NULL)
        *wrong = "\"pot\" is no serial that passes its check";
    if (*wrong != NULL || (text = text_of(in, &len, wrong)) == NULL)
        return false;
    if (hint.pot != NULL)
        hint.pot = own;
    reader_read(r->reader, r->scratch, text, len, &hint, &m);
    kw_free(text);
    out = meaning_json(&m);
    if (json_object_get(in, "id") != NULL)
        json_object_set(out, "id", json_object_get(in, "id"));
    json_object_set_new(out, "reply",
                        json_string(reply_text(r, &m, hint.lang)));
    if (why)
        show_why(r, stderr);
    json_dumpf(out, stdout, JSON_ENSURE_ASCII | JSON_COMPACT);
    putchar('\n');
    json_decref(out);
    return true;
}

static bool read_json_line(struct reading *r, const char *line, size_t len,
                           const char **wrong)
{
    json_error_t error;
    json_t *in = json_loadb(line, len, JSON_ALLOW_NUL, &error);
    bool good;

    if (in == NULL) {
        *wrong = "is not JSON";
        return false;
    }
    good = read_object(r, in, wrong);
    json_decref(in);
    return good;
}

static void print_measure(const struct reader_measure *m)
{
    static const char *const units[] = {"fingers", "cm", "litres", "cups",
                                        "bottles"};

    if (m->type != READER_NO_MEASURE)
        printf(" %g %s", m->value, units[m->unit]);
    if (m->minutes > 0)
        printf(" in %g min", m->minutes);
    if (m->start_cm > 0)
        printf(" from %g cm", m->start_cm);
    if (m->warm)
        printf(" at %g C", m->degc);
}

static void print_obs(const struct reader_obs *o)
{
    printf(" %s", reader_kind_name(o->kind));
    print_measure(&o->measure);
    if (o->people > 0)
        printf(" %d", o->people);
    if (o->under5 > 0)
        printf(", %d under five", o->under5);
    for (int i = 0; i < READER_SIGNS; i++) {
        if (o->signs & 1u << i)
            printf(" %s", reader_sign_name(1u << i));
    }
    if (o->part != READER_NO_PART)
        printf(" %s", reader_part_name(o->part));
}

static void read_plain_line(struct reading *r, const char *line, size_t len)
{
    struct reader_hint hint = {lang, pot};
    struct reader_meaning m;
    char shown[SERIAL_CAP + 4] = "";
    const char *reply;

    reader_read(r->reader, r->scratch, line, len, &hint, &m);
    if (why)
        show_why(r, stdout);
    serial_format(desk_layout(r->desk), m.serial, shown, sizeof(shown));
    printf("%s", reader_outcome_name(m.outcome));
    if (m.why != READER_CLEAR)
        printf(" (%s)", reader_why_name(m.why));
    if (m.command != READER_NO_COMMAND)
        printf(" %s", reader_command_name(m.command));
    if (shown[0] != '\0')
        printf(" %s", shown);
    if (m.test.type != READER_NO_MEASURE) {
        putchar(':');
        print_measure(&m.test);
    }
    for (size_t i = 0; i < m.n_obs; i++) {
        putchar(i == 0 ? ':' : ',');
        print_obs(&m.obs[i]);
    }
    putchar('\n');
    reply = reply_text(r, &m, lang);
    if (reply[0] != '\0')
        printf("    %s\n", reply);
}

static int read_lines(struct reading *r)
{
    char *line = NULL;
    size_t cap = 0, number = 0;
    ssize_t n;
    int code = COMMAND_OK;

    while ((n = getline(&line, &cap, stdin)) >= 0) {
        const char *wrong = NULL;
        size_t len = (size_t)n;

        number++;
        while (len > 0 && (line[len - 1] == '\n' || line[len - 1] == '\r'))
            len--;
        if (!as_json) {
            read_plain_line(r, line, len);
        } else if (len > LINE_MOST || !read_json_line(r, line, len, &wrong)) {
            fprintf(stderr,
                    "kilnword: line %zu %s; `kilnword read --help` "
                    "shows the form\n",
                    number, wrong != NULL ? wrong : "is longer than 4 MiB");
            code = COMMAND_INPUT;
        }
        if (why)
            fflush(stdout);
    }
    free(line);
    if (fflush(stdout) != 0 || ferror(stdout)) {
        fprintf(stderr, "kilnword: the output cannot be written\n");
        return COMMAND_FAILED;
    }
    return code;
}

static int check_arguments(const struct reading *r)
{
    const struct serial_layout *layout = desk_layout(r->desk);

    static char own[SERIAL_CAP];
    const char *said = pot;

    if (said == NULL || (pot = bare_serial(layout, said, own)) != NULL)
        return COMMAND_OK;
    fprintf(stderr, "kilnword: --pot %s is no serial that passes its check\n",
            said);
    return COMMAND_USAGE;
}

static int run(int argc, char **argv)
{
    struct reading r = {0};
    struct fault_list faults = {0};
    struct config *conf = NULL;
    int code, left;
    char **words;

    if ((code = command_options(&command_read, options, KW_COUNT(options), argc,
                                argv, &left, &words)) != 0)
        return code;
    if (left > 0) {
        fprintf(stderr, "kilnword: read takes its texts on standard input, not "
                        "as words\n");
        return COMMAND_USAGE;
    }
    if ((code = command_config(config_path, &conf)) != 0)
        return code;
    if (grammar != NULL) {
        kw_free(conf->grammar_folder);
        conf->grammar_folder = kw_strdup(grammar);
    }
    if (desk_open(conf, &faults, &r.desk) < 0) {
        fault_print(&faults, stderr);
        code = COMMAND_INPUT;
        goto done;
    }
    r.reader = desk_reader(r.desk);
    r.scratch = reader_scratch_new(r.reader);
    r.clinic = conf->clinic;
    r.lang = conf->lang;
    kw_buf_init(&r.reply, 4096);
    if ((code = check_arguments(&r)) == COMMAND_OK)
        code = read_lines(&r);
    kw_buf_release(&r.reply);
    reader_scratch_free(r.scratch);
    desk_close(r.desk);
done:
    fault_release(&faults);
    config_free(conf);
    return code;
}
