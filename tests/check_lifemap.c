/*
 * check_lifemap.c - the map of a batch's failures: XML that holds together
 * (W3C XML 1.0, checked by a reader of its own here), the values in it, badges
 * that never lie on each other nor outside, however the places lie; small
 * enough for the first flight of a connection. Places are made up.
 */
#include "page/life.h"
#include "page/svg.h"

#include "close.h"

#include <stdio.h>
#include <string.h>
#include <sys/wait.h>

static struct kw_buf out;
static struct page page = {.now_s = 1772352000}; /* 2026-03-01 */

static void open_out(void)
{
    ck_assert_int_eq(clock_set_zone("UTC"), 0);
    kw_buf_init(&out, 1 << 20);
}

static void close_out(void)
{
    kw_buf_release(&out);
}

/* ---- is it XML? ---- */

enum { DEEP = 16, NAME = 16 };

static const char *skip_reference(const char *s)
{
    static const char *const known[] = {"&amp;", "&lt;", "&gt;"};

    for (size_t i = 0; i < 3; i++)
        if (strncmp(s, known[i], strlen(known[i])) == 0)
            return s + strlen(known[i]);
    ck_abort_msg("a bare & at: %.30s", s);
    return s;
}

/* name="value" …, each name once. Up to > or />. */
static const char *skip_attributes(const char *s)
{
    char seen[512] = " ";

    for (;;) {
        char name[40];
        size_t n = 0;

        s += strspn(s, " \n");
        if (*s == '>' || *s == '/')
            return s;
        n = strcspn(s, "= \n>");
        ck_assert_uint_lt(n, sizeof(name) - 2);
        snprintf(name, sizeof(name), " %.*s ", (int)n, s);
        ck_assert_msg(strstr(seen, name) == NULL, "twice: %s", name);
        strncat(seen, name + 1, sizeof(seen) - strlen(seen) - 1);
        s += n;
        ck_assert_msg(s[0] == '=' && s[1] == '"', "at: %.30s", s);
        s += 2;
        n = strcspn(s, "\"<&");
        ck_assert_msg(s[n] == '"', "at: %.30s", s);
        s += n + 1;
    }
}

static void check_xml(const char *s)
{
    char open[DEEP][NAME];
    int deep = 0, roots = 0;

    while (*s != '\0') {
        char name[NAME];
        size_t n;
        bool end;

        if (*s == '&') {
            s = skip_reference(s);
            continue;
        }
        if (*s != '<') {
            ck_assert_msg((unsigned char)*s >= 0x20 || *s == '\n',
                          "a control character");
            ck_assert_msg(deep > 0 || *s == '\n', "words outside the root");
            s++;
            continue;
        }
        end = s[1] == '/';
        s += end ? 2 : 1;
        n = strspn(s, "abcdefghijklmnopqrstuvwxyz");
        ck_assert(n > 0 && n < NAME);
        snprintf(name, sizeof(name), "%.*s", (int)n, s);
        s += n;
        if (end) {
            ck_assert(deep > 0 && *s == '>');
            ck_assert_str_eq(open[--deep], name);
            s++;
            continue;
        }
        roots += deep == 0;
        s = skip_attributes(s);
        if (*s == '/') {
            ck_assert(s[1] == '>');
            s += 2;
            continue;
        }
        ck_assert_int_lt(deep, DEEP);
        memcpy(open[deep++], name, NAME);
        s++;
    }
    ck_assert_int_eq(deep, 0);
    ck_assert_int_eq(roots, 1);
}

/* A reader that is not ours, where it is installed. */
static void check_by_xmllint(const char *svg)
{
    FILE *f = popen("command -v xmllint > /dev/null || { cat > /dev/null; "
                    "exit 127; }; xmllint --noout -",
                    "w");
    int status;

    ck_assert_ptr_nonnull(f);
    fputs(svg, f);
    status = pclose(f);
    ck_assert(WIFEXITED(status));
    ck_assert(WEXITSTATUS(status) == 0 || WEXITSTATUS(status) == 127);
}

/* ---- are the badges apart? ---- */

/* Those of the map: all circles of radius 15 but those of the list, which
 * stand at the left edge below. Gives how many. */
static int check_badges(const char *svg)
{
    double x[64], y[64], wide, high, left, top;
    int n = 0;
    const char *frame = strstr(svg, "fill=\"#f4f1ea\"");

    if (frame == NULL)
        return 0;
    while (strncmp(frame, "<rect", 5) != 0)
        frame--;
    ck_assert_int_eq(sscanf(frame,
                            "<rect x=\"%lf\" y=\"%lf\" width=\"%lf\" "
                            "height=\"%lf\"",
                            &left, &top, &wide, &high),
                     4);
    for (const char *s = svg; (s = strstr(s, "<circle ")) != NULL; s++) {
        double cx, cy, r;

        ck_assert_int_eq(
            sscanf(s, "<circle cx=\"%lf\" cy=\"%lf\" r=\"%lf\"", &cx, &cy, &r),
            3);
        if (r < 15 || cy > top + high)
            continue;
        ck_assert(cx - r >= left && cx + r <= left + wide);
        ck_assert(cy - r >= top && cy + r <= top + high);
        for (int i = 0; i < n; i++)
            ck_assert_msg(hypot(x[i] - cx, y[i] - cy) >= 2 * r,
                          "two badges on each other");
        ck_assert_int_lt(n, 64);
        x[n] = cx;
        y[n++] = cy;
    }
    return n;
}

static bool says(const char *part)
{
    return strstr(kw_buf_text(&out), part) != NULL;
}

static void draw(struct life_count *places, size_t n)
{
    struct life l = {.places = places, .n_places = n};
    struct map_spot spots[] = {{0.3, 0.3, '.', 0}, {0.31, 0.29, '.', 0}};

    l.spots = spots;
    l.n_spots = 2;
    kw_buf_clear(&out);
    life_map_svg(&page, "0214", &l, &out);
    ck_assert_int_eq(out.err, 0);
    ck_assert_uint_lt(out.len, 14 * 1024);
    check_xml(kw_buf_text(&out));
    check_by_xmllint(kw_buf_text(&out));
    ck_assert(!says("nan") && !says("inf") && !says("<script"));
}

static struct life_count place(const char *name, int pots, int failed,
                               double lat, double lon)
{
    struct life_count c = {.pots = pots,
                           .failed = failed,
                           .expected = 0.1 * pots,
                           .lat_deg = lat,
                           .lon_deg = lon};

    kw_copy(c.name, sizeof(c.name), name, strlen(name));
    return c;
}

START_TEST(values_are_in_it)
{
    struct life_count c[] = {place("Lunde", 12, 0, 0.40, 0.20),
                             place("Quistel", 20, 5, 0.41, 0.18),
                             place("Nowhere", 7, 1, NAN, NAN)};

    open_out();
    draw(c, 3);
    ck_assert_int_eq(check_badges(kw_buf_text(&out)), 2);
    ck_assert(says(">Batch 0214<") && says(">2026-03-01<"));
    ck_assert(says(">A</text>") && says(">Quistel<"));
    ck_assert(says(">5 of 20 failed, 2.0 expected<"));
    ck_assert(says(">1 of 7 failed, 0.7 expected; not on the map<"));
    ck_assert(says(">c</text>") && says(">0 of 12 failed, 1.2 expected<"));
    ck_assert(says("north") && says(" km</text>"));
    /* Quistel lies north-west of Lunde: further left, and higher. */
    {
        const char *s = strstr(kw_buf_text(&out), "r=\"15\"");
        double ax, ay, bx, by;

        while (strncmp(s, "<circle", 7) != 0)
            s--;
        ck_assert_int_eq(sscanf(s, "<circle cx=\"%lf\" cy=\"%lf\"", &ax, &ay),
                         2);
        s = strstr(s + 1, "<circle");
        ck_assert_int_eq(sscanf(s, "<circle cx=\"%lf\" cy=\"%lf\"", &bx, &by),
                         2);
        ck_assert(ax < bx && ay < by);
    }
    close_out();
}
END_TEST

START_TEST(words_from_outside)
{
    struct life_count c[] = {
        place("R&D <b>\"x\"</b> ]]>", 3, 1, 0.4, 0.2),
        place("\xff\xfe broken \x01\x1b[31m", 3, 1, 0.4, 0.3),
        place("सेले घाटी का ऊपरी गाँव", 3, 1, 0.5, 0.2),
        place("Río Seco de las Piedras Blancas y del Molino Viejo", 3, 1, 0.5,
              0.4)};

    open_out();
    draw(c, 4);
    ck_assert(says("R&amp;D &lt;b&gt;\"x\"&lt;/b&gt; ]]&gt;"));
    ck_assert(says("Río Seco de las Piedras…"));
    ck_assert_int_eq(check_badges(kw_buf_text(&out)), 4);
    close_out();
}
END_TEST

/* However they lie: on one spot, in a line, in a knot, at the date line. */
START_TEST(badges_never_lie_on_each_other)
{
    struct life_count c[40];
    uint64_t seed = 77 + (uint64_t)_i;
    int kind = _i % 5;

    open_out();
    for (int i = 0; i < 40; i++) {
        char name[24];
        double lat = 0.4, lon = 0.2;

        if (kind == 1)
            lon += i * 0.01;
        else if (kind == 2)
            lat += i * 0.02;
        else if (kind == 3) {
            lat = close_between(&seed, -60, 80);
            lon = close_between(&seed, 170, 190);
            lon = lon > 180 ? lon - 360 : lon;
        } else if (kind == 4) {
            lat += i < 35 ? close_between(&seed, 0, 0.001) : 1;
            lon += i < 35 ? close_between(&seed, 0, 0.001) : 0.3 * i;
        }
        snprintf(name, sizeof(name), "Place %d", i);
        c[i] = place(name, 40 - i, i < 9 ? 9 - i : 0, lat, lon);
    }
    draw(c, 40);
    ck_assert_int_eq(check_badges(kw_buf_text(&out)), 16);
    ck_assert(says(">A</text>") && says(">p</text>") && !says(">q</text>"));
    ck_assert(says(">24 more: 0 of 468 failed, 46.8 expected<"));
    for (size_t n = 0; n <= 3; n++) /* few of them, and none */
        draw(c, n);
    close_out();
}
END_TEST

START_TEST(none_on_the_map)
{
    struct life_count c[] = {place("Lunde", 12, 3, NAN, NAN)};

    open_out();
    draw(c, 1);
    ck_assert(says("No place of it is on the map."));
    ck_assert(says(">3 of 12 failed, 1.2 expected"));
    ck_assert(!says("north"));
    draw(c, 0);
    ck_assert(says("No pot of it was handed out."));
    close_out();
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("lifemap");

    tcase_add_test(tc, values_are_in_it);
    tcase_add_test(tc, words_from_outside);
    tcase_add_loop_test(tc, badges_never_lie_on_each_other, 0, 10);
    tcase_add_test(tc, none_on_the_map);
    return close_run("lifemap", tc);
}
