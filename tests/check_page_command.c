/* check_page_command.c - `kilnword show` and `export` as they are run. */
#include "base/file.h"
#include "command/command.h"
#include "tests/ledger_fixture.h"
#include "tests/page_valley.h"

#include <fcntl.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#define WORDS_MOST 16
#define AS_OF      "--at", "2026-03-01T08:00:00Z"

static char *out, *err; /* of the last run, owned */

static void write_file(const char *name, const char *text)
{
    char path[512];

    snprintf(path, sizeof(path), "%s/%s", fixture_folder(), name);
    ck_assert_int_eq(file_write_whole(path, text, strlen(text)), 0);
}

static char *read_back(const char *name)
{
    char path[512], *data = NULL;
    size_t len;

    snprintf(path, sizeof(path), "%s/%s", fixture_folder(), name);
    if (file_read(path, 1 << 24, &data, &len) != 0)
        return kw_strdup("");
    return data;
}

static void to_file(int fd, const char *name, int flags)
{
    int file = open(name, flags, 0600);

    if (file < 0 || dup2(file, fd) < 0)
        _exit(126);
    close(file);
}

/* Runs this build's program in the fixture's folder; its exit code. */
static int run(const char *to, const char *const words[])
{
    char program[1024];
    char *argv[WORDS_MOST + 2] = {program};
    int status;
    pid_t child;

    snprintf(program, sizeof(program), "%s/src/kilnword", getenv("KW_BUILD"));
    for (size_t i = 0; words[i] != NULL && i < WORDS_MOST; i++)
        argv[i + 1] = (char *)(uintptr_t)words[i];
    child = fork();
    ck_assert_int_ge(child, 0);
    if (child == 0) {
        if (chdir(fixture_folder()) != 0 || unsetenv("KILNWORD_CONF") != 0)
            _exit(126);
        to_file(STDIN_FILENO, "/dev/null", O_RDONLY);
        to_file(STDOUT_FILENO, to, O_WRONLY | O_CREAT | O_TRUNC);
        to_file(STDERR_FILENO, "err", O_WRONLY | O_CREAT | O_TRUNC);
        execv(program, argv);
        _exit(127);
    }
    ck_assert_int_eq(waitpid(child, &status, 0), child);
    ck_assert_msg(WIFEXITED(status), "it ended by signal %d", WTERMSIG(status));
    kw_free(out);
    kw_free(err);
    out = read_back("out");
    err = read_back("err");
    return WEXITSTATUS(status);
}

#define RUN(...) run("out", (const char *const[]){__VA_ARGS__, NULL})

static void check_has(const char *text, const char *words)
{
    ck_assert_msg(strstr(text, words) != NULL, "no '%s' in:\n%s", words, text);
}

static void open_valley(void)
{
    ledger_close(valley_open());
    write_file("kilnword.conf",
               "ledger = { file = \"ledger.db\"; };\n"
               "privacy = { pseudonym_key_file = \"key\"; };\n");
    write_file("key", "0123456789abcdef0123456789abcdef\n");
}

static void close_valley(void)
{
    kw_free(out);
    kw_free(err);
    out = err = NULL;
    fixture_remove();
}

START_TEST(show_leads_from_pot_to_batch)
{
    ck_assert_int_eq(RUN("show", AS_OF, "pot", "0214-002-38"), COMMAND_OK);
    check_has(out, "Pot 0214-002-38: failed");
    check_has(out, "7 of 19 pots handed out have failed");
    check_has(out, "OUTSIDE: below all");
    ck_assert_str_eq(err, "");
    /* as typed, spaces instead of dashes; options behind the words */
    ck_assert_int_eq(RUN("show", "pot", "0214", "002", "38", AS_OF, "--plain"),
                     COMMAND_OK);
    check_has(out, "Pot 0214-002-38: failed\n=======================\n");
    for (const char *p = out; *p != '\0'; p++)
        ck_assert_int_lt((unsigned char)*p, 0x7f);
}
END_TEST

/* Each kind, with and without JSON; JSON parses, its head agrees. */
static const struct {
    const char *kind, *name, *title, *key, *value;
} shown[] = {
    {"batch", "0214", "Batch 0214", "batch", "0214"},
    {"pot", "021400238", "Pot 0214-002-38: failed", "pot", "0214-002-38"},
    {"place", VALLEY_HINDI, "Place " VALLEY_HINDI, "place", VALLEY_HINDI},
    {"home", "SV-009", "Home SV-009", "home", "SV-009"},
    {"alert", "3", "Alert 3: danger sign, open", "subject", "SV-009"},
    {"home", "+99970010009", "Home SV-009", "home", "SV-009"},
    {"line", NULL, "The line ", "now", "2026-03-01T08:00:00Z"},
};
START_TEST(show_each_kind)
{
    const char *kind = shown[_i].kind, *name = shown[_i].name;
    json_error_t wrong;
    json_t *j;

    ck_assert_int_eq(RUN("show", AS_OF, kind, name), COMMAND_OK);
    ck_assert_msg(strncmp(out, shown[_i].title, strlen(shown[_i].title)) == 0,
                  "%s", out);
    ck_assert_int_eq(RUN("show", AS_OF, "--json", kind, name), COMMAND_OK);
    j = json_loads(out, JSON_REJECT_DUPLICATES, &wrong);
    ck_assert_msg(j != NULL, "%s in %s", wrong.text, out);
    ck_assert_str_eq(json_string_value(json_object_get(j, shown[_i].key)),
                     shown[_i].value);
    json_decref(j);
}
END_TEST

/* What is not there ends with 4 and near names. */
static const struct {
    const char *kind, *name, *near;
} missing[] = {
    {"batch", "0241", "no batch '0241'; near it: 0214"},
    {"place", "Alto Sel", "no place 'Alto Sel'; near it: Alto Sele"},
    {"home", "+99970019999", "no home '+99970019999'"},
    {"home", "SV-90", "no home 'SV-90'; near it: SV-0"},
    {"alert", "77", "no alert '77'; those that stand: "},
    {"alert", "cat", "no alert 'cat'"},
    {"pot", "0214-002-39", "not a serial"},         /* check digits */
    {"pot", "0214-020-38", "near it: 0214-002-38"}, /* two swapped */
    {"pot", "0214-002", "near it: 0214-002-38"},    /* no check digits */
    {"pot", "0299-001-77", "0299-001-77"},          /* good, not there */
    {"pot", "", NULL},
};
START_TEST(show_suggests_near_names)
{
    int code = RUN("show", missing[_i].kind, missing[_i].name);

    ck_assert_str_eq(out, "");
    if (missing[_i].near == NULL) {
        ck_assert_int_eq(code, COMMAND_USAGE);
        return;
    }
    ck_assert_int_eq(code, COMMAND_NONE);
    check_has(err, missing[_i].near);
}
END_TEST

START_TEST(show_refuses_what_is_not_right)
{
    ck_assert_int_eq(RUN("show"), COMMAND_USAGE);
    check_has(err, "say which of batch, pot, place, home, alert, line");
    ck_assert_int_eq(RUN("show", "cat", "3"), COMMAND_USAGE);
    ck_assert_int_eq(RUN("show", "line", "3"), COMMAND_USAGE);
    ck_assert_int_eq(RUN("show", "batch"), COMMAND_USAGE);
    ck_assert_int_eq(RUN("show", "line", "--width", "20"), COMMAND_USAGE);
    ck_assert_int_eq(RUN("show", "line", "--at", "soon"), COMMAND_USAGE);
    ck_assert_int_eq(RUN("show", "line", "--cat"), COMMAND_USAGE);
    ck_assert_int_eq(RUN("show", "--help"), COMMAND_OK);
    check_has(out, "--plain");
}
END_TEST

START_TEST(show_says_when_it_cannot)
{
    ck_assert_int_eq(
        run("/dev/full", (const char *const[]){"show", "line", NULL}),
        COMMAND_FAILED);
    check_has(err, "No space left");
    write_file("kilnword.conf", "ledger = { file = \"other.db\"; };\n");
    ck_assert_int_eq(RUN("show", "line"), COMMAND_FAILED);
    check_has(err, "other.db");
}
END_TEST

/* Showing and exporting leave the ledger as it was. */
START_TEST(reading_changes_nothing)
{
    char path[512], *before, *after;
    size_t n, m;

    snprintf(path, sizeof(path), "%s", fixture_file());
    ck_assert_int_eq(file_read(path, 1 << 26, &before, &n), 0);
    ck_assert_int_eq(RUN("show", "batch", "0214"), COMMAND_OK);
    ck_assert_int_eq(RUN("export", "texts"), COMMAND_OK);
    ck_assert_int_eq(file_read(path, 1 << 26, &after, &m), 0);
    ck_assert_uint_eq(n, m);
    ck_assert_mem_eq(before, after, n);
    kw_free(before);
    kw_free(after);
}
END_TEST

START_TEST(export_needs_a_key)
{
    write_file("kilnword.conf", "ledger = { file = \"ledger.db\"; };\n");
    ck_assert_int_eq(RUN("export", "homes"), COMMAND_INPUT);
    check_has(err, "openssl rand -hex 32");
    ck_assert_int_eq(RUN("export", "homes", "--phones"), COMMAND_OK);
    check_has(out, "+99970010009");
}
END_TEST

START_TEST(export_writes_whole_or_not)
{
    char *text;

    ck_assert_int_eq(RUN("export", "homes", "--to", "h.csv"), COMMAND_OK);
    ck_assert_str_eq(out, "");
    text = read_back("h.csv");
    check_has(text, "SV-009,Alto Sele,");
    kw_free(text);
    text = read_back("h.csv.part");
    ck_assert_str_eq(text, "");
    kw_free(text);
    ck_assert_int_eq(RUN("export", "homes", "--to", "no/such/h.csv"),
                     COMMAND_FAILED);
    check_has(err, "No such file");
    ck_assert_int_eq(
        run("/dev/full", (const char *const[]){"export", "homes", NULL}),
        COMMAND_FAILED);
    check_has(err, "No space left");
}
END_TEST

START_TEST(export_refuses_what_is_not_right)
{
    ck_assert_int_eq(RUN("export"), COMMAND_USAGE);
    ck_assert_int_eq(RUN("export", "cats"), COMMAND_USAGE);
    check_has(err, "'cats' is none of texts, reports,");
    ck_assert_int_eq(RUN("export", "pots", "homes"), COMMAND_USAGE);
}
END_TEST

/* The manual page knows every command of the program, and every exit code. */
START_TEST(manual_names_all_commands)
{
    char path[1024], *page;
    size_t len;
    int n = 0;

    snprintf(path, sizeof(path), "%s/docs/kilnword.1", getenv("KW_SOURCE"));
    ck_assert_int_eq(file_read(path, 1 << 20, &page, &len), 0);
    ck_assert_int_eq(RUN("--help"), COMMAND_OK);
    /* a command stands alone behind two spaces: "  serve    …" */
    for (const char *line = out; line != NULL; line = strchr(line, '\n')) {
        size_t word;
        char item[64];

        line += *line == '\n';
        word = strncmp(line, "  ", 2) == 0 ? strcspn(line + 2, " \n") : 0;
        if (word == 0 || line[2] == '-')
            continue;
        snprintf(item, sizeof(item), "\n.It Cm %.*s", (int)word, line + 2);
        check_has(page, item);
        n++;
    }
    ck_assert_int_ge(n, 11);
    for (char code = '0'; code <= '4'; code++) {
        const char item[] = {'\n', '.', 'I', 't', ' ', code, '\n', '\0'};

        check_has(page, item);
    }
    kw_free(page);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("page_command");
    TCase *t = tcase_create("command");

    tcase_add_checked_fixture(t, open_valley, close_valley);
    tcase_add_test(t, show_leads_from_pot_to_batch);
    tcase_add_loop_test(t, show_each_kind, 0, (int)KW_COUNT(shown));
    tcase_add_loop_test(t, show_suggests_near_names, 0, (int)KW_COUNT(missing));
    tcase_add_test(t, show_refuses_what_is_not_right);
    tcase_add_test(t, show_says_when_it_cannot);
    tcase_add_test(t, reading_changes_nothing);
    tcase_add_test(t, export_needs_a_key);
    tcase_add_test(t, export_writes_whole_or_not);
    tcase_add_test(t, export_refuses_what_is_not_right);
    tcase_add_test(t, manual_names_all_commands);
    suite_add_tcase(s, t);
    return fixture_run(s);
}
