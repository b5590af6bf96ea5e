/*
 * replyfile.c - reads and proves grammar/LANG.replies.
 *
 *   # a comment
 *   tag es                           header lines, before the first reply
 *   name Español
 *   alphabet gsm                     or ucs2
 *   draft by a non-native hand       where it is so
 *   health-signed-by WHO, DATE       once the health authority has
 *
 *   unsafe: A text with {slots},
 *     which may go on in lines that begin with a space.
 */
#include "desk/keys.h"

#include "base/file.h"
#include "base/septet.h"

#include <string.h>
#include <utf8proc.h>

#define FILE_MOST (256 * 1024)
#define TEXT_MOST 2000

struct parse {
    const char *path;
    const char *tag; /* that the file's name says */
    struct fault_list *faults;
    struct reply_lang *lang;
    int line;
    bool in_replies; /* past the header */
    int key;         /* being read, or -1 */
    struct kw_buf text;
    bool have_alphabet, have_tag;
};

size_t reply_room(const struct reply_lang *lang, enum key_room room)
{
    size_t one = lang->ucs2 ? (size_t)2 * SEPTET_UCS2_PART : SEPTET_SEGMENT;
    size_t ask = one * 7 / 10; /* a stop and a space stand between the two */

    switch (room) {
    case ROOM_DIGEST:
        return lang->ucs2 ? 2 * one : (size_t)2 * SEPTET_PART;
    case ROOM_TAIL:
        return (one - 2) / 2;
    case ROOM_ASK:
        return ask;
    case ROOM_SHORT:
        return one - 2 - ask;
    default:
        return one;
    }
}

/* In both alphabets, and one unit of each: most of most texts. */
static inline bool is_plain(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= ' ' && c <= 'Z');
}

/* Units in the language's alphabet; what it cannot write counts as UCS-2. */
size_t reply_units(const struct reply_lang *lang, const char *text, size_t len)
{
    size_t units = 0;
    const char *p = text, *end = text + len;

    while (p < end) {
        utf8proc_int32_t cp;
        utf8proc_ssize_t n;
        int cost;

        if (is_plain(*p)) {
            units++;
            p++;
            continue;
        }
        n = utf8proc_iterate((const utf8proc_uint8_t *)p, end - p, &cp);
        if (n <= 0)
            n = 1, cp = 0xfffd;
        p += n;
        if (lang->ucs2)
            cost = cp > 0xffff ? 2 : 1;
        else if ((cost = septet_cost((uint32_t)cp)) == 0)
            cost = 1;
        units += (size_t)cost;
    }
    return units;
}

/* Number of single-letter changes between two words, at most 9 told. */
static int distance(const char *a, size_t na, const char *b, size_t nb)
{
    int row[40];

    if (na >= KW_COUNT(row) || nb >= KW_COUNT(row))
        return 9;
    for (size_t j = 0; j <= nb; j++)
        row[j] = (int)j;
    for (size_t i = 1; i <= na; i++) {
        int corner = row[0];

        row[0] = (int)i;
        for (size_t j = 1; j <= nb; j++) {
            int best = corner + (a[i - 1] != b[j - 1]);

            corner = row[j];
            if (row[j] + 1 < best)
                best = row[j] + 1;
            if (row[j - 1] + 1 < best)
                best = row[j - 1] + 1;
            row[j] = best;
        }
    }
    return row[nb];
}

static void fault_unknown_key(struct parse *p, const char *name, size_t len)
{
    int best = 4;
    const char *near = NULL;

    for (size_t i = 0; i < n_key_defs; i++) {
        int d = distance(name, len, key_defs[i].name, strlen(key_defs[i].name));

        if (d < best)
            best = d, near = key_defs[i].name;
    }
    if (near != NULL)
        fault_add(p->faults, p->path, p->line,
                  "there is no reply '%.*s'; did you mean '%s'?", (int)len,
                  name, near);
    else
        fault_add(p->faults, p->path, p->line,
                  "there is no reply '%.*s'; the keys are those of en.replies",
                  (int)len, name);
}

static int slot_find(const char *name, size_t len)
{
    for (int i = 0; i < SLOTS; i++) {
        if (strlen(slot_defs[i].name) == len &&
            memcmp(slot_defs[i].name, name, len) == 0)
            return i;
    }
    return -1;
}

/* "{serial} {litres}", for faults. */
static void list_slots(unsigned mask, struct kw_buf *out)
{
    kw_buf_init(out, 512);
    for (int i = 0; i < SLOTS; i++) {
        if (mask & (1u << i))
            kw_buf_printf(out, "%s{%s}", out->len ? " " : "",
                          slot_defs[i].name);
    }
    if (out->len == 0)
        kw_buf_puts(out, "no slots");
}

static void fault_slot(struct parse *p, int line, const struct key_def *k,
                       const char *name, size_t len)
{
    struct kw_buf may;

    list_slots(k->may, &may);
    fault_add(p->faults, p->path, line,
              "'%s' has no slot {%.*s}; it may have %s", k->name, (int)len,
              name, kw_buf_text(&may));
    kw_buf_release(&may);
}

/* Which slots stand in the text; faults for those that may not. */
static unsigned check_slots(struct parse *p, int line, const struct key_def *k,
                            const char *text)
{
    unsigned seen = 0;

    for (const char *at = text; (at = strpbrk(at, "{}")) != NULL; at++) {
        size_t len = strcspn(at + 1, "{}");
        int slot;

        if (*at == '}' || at[1 + len] != '}') {
            fault_add(p->faults, p->path, line,
                      "'%s' has a brace without its other half; a slot is "
                      "written {serial}",
                      k->name);
            return seen;
        }
        slot = slot_find(at + 1, len);
        if (slot < 0 || !(k->may & (1u << slot)))
            fault_slot(p, line, k, at + 1, len);
        else
            seen |= 1u << slot;
        at += 1 + len;
    }
    return seen;
}

static void check_must(struct parse *p, int line, const struct key_def *k,
                       unsigned seen)
{
    for (int i = 0; i < SLOTS; i++) {
        if (k->must & ~seen & (1u << i))
            fault_add(p->faults, p->path, line,
                      "'%s' must say {%s}; put it where it belongs in the "
                      "sentence",
                      k->name, slot_defs[i].name);
    }
}

/* Characters that would turn the whole text into UCS-2. */
static void check_alphabet(struct parse *p, int line, const struct key_def *k,
                           const char *text)
{
    const utf8proc_uint8_t *at = (const utf8proc_uint8_t *)text;
    utf8proc_int32_t cp;

    if (p->lang->ucs2)
        return;
    while (*at != '\0') {
        utf8proc_ssize_t n;

        if (is_plain((char)*at)) {
            at++;
            continue;
        }
        n = utf8proc_iterate(at, -1, &cp);
        if (n <= 0)
            return; /* told when the file was read */
        if (septet_cost((uint32_t)cp) == 0) {
            fault_add(p->faults, p->path, line,
                      "'%s' has '%.*s', which the GSM alphabet cannot write; "
                      "write it without its mark, or say 'alphabet ucs2' in "
                      "the header",
                      k->name, (int)n, (const char *)at);
            return;
        }
        at += n;
    }
}

static size_t room_of(const struct reply_lang *lang, const struct key_def *k)
{
    return k->room == ROOM_WORD ? k->longest : reply_room(lang, k->room);
}

static void check_room(struct parse *p, int line, const struct key_def *k,
                       const char *text)
{
    struct kw_buf full;
    size_t units, room = room_of(p->lang, k);

    kw_buf_init(&full, TEXT_MOST * 8);
    reply_render(p->lang, text, NULL, &full);
    units = reply_units(p->lang, kw_buf_text(&full), full.len);
    if (units > room || full.err != 0)
        fault_add(p->faults, p->path, line,
                  "'%s' with the longest value of every slot has %zu %s; %zu "
                  "is the most, leave out %zu",
                  k->name, units, p->lang->ucs2 ? "UCS-2 units" : "septets",
                  room, units - room);
    kw_buf_release(&full);
}

/* The reply that was being read is whole. */
static void end_reply(struct parse *p)
{
    const struct key_def *k;
    int line;

    if (p->key < 0)
        return;
    k = &key_defs[p->key];
    line = p->lang->lines[p->key];
    if (p->text.len == 0 || p->text.err != 0) {
        fault_add(p->faults, p->path, line, "'%s' %s", k->name,
                  p->text.err ? "is far too long"
                              : "says nothing; write its text behind the "
                                "colon");
    }
    p->lang->texts[p->key] = kw_buf_take(&p->text);
    kw_buf_clear(&p->text);
    p->key = -1;
}

static bool starts(const char *s, const char *word, const char **rest)
{
    size_t n = strlen(word);

    if (strncmp(s, word, n) != 0 || (s[n] != ' ' && s[n] != '\0'))
        return false;
    *rest = s + n + strspn(s + n, " ");
    return true;
}

static void header_tag(struct parse *p, const char *rest)
{
    p->have_tag = true;
    if (strcmp(rest, p->tag) != 0)
        fault_add(p->faults, p->path, p->line,
                  "the tag '%s' is not that of the file's name; write "
                  "'tag %s', or rename the file",
                  rest, p->tag);
}

static bool read_header(struct parse *p, const char *s)
{
    struct reply_lang *lang = p->lang;
    const char *rest;

    if (starts(s, "tag", &rest)) {
        header_tag(p, rest);
    } else if (starts(s, "name", &rest) && *rest != '\0') {
        kw_free(lang->name);
        lang->name = kw_strdup(rest);
    } else if (starts(s, "draft by a non-native hand", &rest)) {
        lang->draft = true;
    } else if (starts(s, "health-signed-by", &rest) && *rest != '\0') {
        kw_free(lang->signed_by);
        lang->signed_by = kw_strdup(rest);
    } else if (strcmp(s, "alphabet gsm") == 0 ||
               strcmp(s, "alphabet ucs2") == 0) {
        p->have_alphabet = true;
        lang->ucs2 = strcmp(s, "alphabet ucs2") == 0;
    } else {
        return false;
    }
    return true;
}

static void begin_reply(struct parse *p, const char *s)
{
    size_t n = strspn(s, "abcdefghijklmnopqrstuvwxyz0123456789-");

    if (n == 0 || s[n] != ':') {
        fault_add(p->faults, p->path, p->line,
                  "'%.40s' is neither a reply ('key: text') nor a comment nor "
                  "a header line (tag, name, alphabet, draft by a non-native "
                  "hand, health-signed-by)",
                  s);
        return;
    }
    p->in_replies = true;
    p->key = key_find(s, n);
    if (p->key < 0) {
        fault_unknown_key(p, s, n);
        return;
    }
    if (p->lang->lines[p->key] != 0) {
        fault_add(p->faults, p->path, p->line,
                  "'%.*s' stands in line %d already; keep one", (int)n, s,
                  p->lang->lines[p->key]);
        p->key = -1;
        return;
    }
    p->lang->lines[p->key] = p->line;
    s += n + 1;
    kw_buf_puts(&p->text, s + strspn(s, " "));
}

static void read_line(struct parse *p, char *s)
{
    size_t len = strlen(s);

    while (len > 0 && strchr(" \t\r", s[len - 1]) != NULL)
        s[--len] = '\0';
    if (s[0] == '#')
        return;
    if (len == 0) {
        end_reply(p);
        return;
    }
    if (s[0] == ' ' || s[0] == '\t') {
        if (p->key >= 0) {
            if (p->text.len > 0)
                kw_buf_putc(&p->text, ' ');
            kw_buf_puts(&p->text, s + strspn(s, " \t"));
        }
        return;
    }
    end_reply(p);
    if (!p->in_replies && read_header(p, s))
        return;
    begin_reply(p, s);
}

static void check_utf8(struct parse *p, const char *data, size_t len)
{
    int line = 1;

    for (size_t i = 0; i < len;) {
        utf8proc_int32_t cp;
        utf8proc_ssize_t n;

        if (data[i] >= ' ' && data[i] <= '~') {
            i++;
            continue;
        }
        n = utf8proc_iterate((const utf8proc_uint8_t *)data + i,
                             (utf8proc_ssize_t)(len - i), &cp);
        if (n <= 0 || cp == 0) {
            fault_add(p->faults, p->path, line,
                      "this line is not UTF-8; save the file as UTF-8");
            return;
        }
        line += cp == '\n';
        i += (size_t)n;
    }
}

/* All signs together fit the slot, so that none is left out of an alert. */
static void check_signs(struct parse *p)
{
    size_t units = 0, room = slot_defs[SLOT_SIGNS].longest;

    for (size_t i = 0; i < n_key_defs; i++) {
        const char *text = p->lang->texts[i];

        if (strncmp(key_defs[i].name, "sign-", 5) == 0)
            units += 2 + reply_units(p->lang, text, strlen(text));
    }
    if (units > room)
        fault_add(p->faults, p->path, 0,
                  "the four sign words with commas have %zu characters; %zu "
                  "is the most, shorten one",
                  units, room);
}

static void check_whole(struct parse *p)
{
    static const char how[] = "write it before the first reply";

    if (!p->have_tag)
        fault_add(p->faults, p->path, 0, "the header has no 'tag %s'; %s",
                  p->tag, how);
    if (!p->have_alphabet)
        fault_add(p->faults, p->path, 0,
                  "the header has no 'alphabet gsm' or 'alphabet ucs2'; %s",
                  how);
    if (p->lang->name == NULL) {
        fault_add(p->faults, p->path, 0,
                  "the header has no 'name …', the language's name for "
                  "itself; %s",
                  how);
        p->lang->name = kw_strdup(p->tag);
    }
    for (size_t i = 0; i < n_key_defs; i++) {
        const struct key_def *k = &key_defs[i];
        const char *text = p->lang->texts[i];
        int line = p->lang->lines[i];

        if (text == NULL) {
            fault_add(p->faults, p->path, 0,
                      "the reply '%s' is missing; every language has every "
                      "key",
                      k->name);
            p->lang->texts[i] = kw_strdup("");
            continue;
        }
        check_must(p, line, k, check_slots(p, line, k, text));
        check_alphabet(p, line, k, text);
        check_room(p, line, k, text);
    }
    check_signs(p);
}

void reply_file_read(const char *path, const char *tag,
                     struct fault_list *faults, struct reply_lang *lang)
{
    struct parse p = {
        .path = path, .tag = tag, .faults = faults, .lang = lang, .key = -1};
    char *data, *at, *next;
    size_t len;
    int err = file_read(path, FILE_MOST, &data, &len);

    *lang = (struct reply_lang){0};
    kw_copy(lang->tag, sizeof(lang->tag), tag, strlen(tag));
    lang->texts = kw_calloc(n_key_defs, sizeof(*lang->texts));
    lang->lines = kw_calloc(n_key_defs, sizeof(*lang->lines));
    if (err < 0) {
        fault_add(faults, path, 0, "cannot be read: %s",
                  err == KW_EFULL ? "it is larger than 256 KiB"
                                  : kw_err_text(err));
        return;
    }
    check_utf8(&p, data, len);
    kw_buf_init(&p.text, TEXT_MOST);
    for (at = data; at != NULL; at = next) {
        next = strchr(at, '\n');
        if (next != NULL)
            *next++ = '\0';
        p.line++;
        read_line(&p, at);
    }
    end_reply(&p);
    check_whole(&p);
    kw_buf_release(&p.text);
    kw_free(data);
}

void reply_lang_release(struct reply_lang *lang)
{
    for (size_t i = 0; lang->texts != NULL && i < n_key_defs; i++)
        kw_free(lang->texts[i]);
    kw_free(lang->texts);
    kw_free(lang->lines);
    kw_free(lang->name);
    kw_free(lang->signed_by);
    *lang = (struct reply_lang){0};
}
