/*
 * check_work.c - `kilnword work` as it is used: the real program, a table on
 * its standard input, what comes out and with which exit code.
 */
#include "close.h"

#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#define OUT_MOST 65536

struct outcome {
    int code;
    char out[OUT_MOST], err[OUT_MOST];
};

static FILE *scratch(const char *text)
{
    FILE *f = tmpfile();

    ck_assert_ptr_nonnull(f);
    fputs(text, f);
    rewind(f);
    return f;
}

static void take(FILE *f, char *dst)
{
    size_t n;

    rewind(f);
    n = fread(dst, 1, OUT_MOST - 1, f);
    dst[n] = '\0';
    fclose(f);
}

/* Words apart by spaces after "kilnword work"; input to its standard input. */
static void work(const char *words, const char *input, struct outcome *o)
{
    FILE *in = scratch(input), *out = scratch(""), *err = scratch("");
    char path[4096], line[256], name[] = "work", *argv[16] = {path, name},
                                *save = NULL;
    int n = 2, status;
    pid_t pid;

    snprintf(path, sizeof(path), "%s/src/kilnword", getenv("KW_BUILD"));
    snprintf(line, sizeof(line), "%s", words);
    for (char *w = strtok_r(line, " ", &save); w != NULL && n < 15;
         w = strtok_r(NULL, " ", &save))
        argv[n++] = w;
    pid = fork();
    ck_assert_int_ge(pid, 0);
    if (pid == 0) {
        dup2(fileno(in), 0);
        dup2(fileno(out), 1);
        dup2(fileno(err), 2);
        execv(path, argv);
        _exit(127);
    }
    ck_assert_int_eq(waitpid(pid, &status, 0), pid);
    ck_assert_msg(WIFEXITED(status), "it was killed by %d", WTERMSIG(status));
    o->code = WEXITSTATUS(status);
    fclose(in);
    take(out, o->out);
    take(err, o->err);
}

static const struct {
    const char *words, *input;
    int code;
    const char *out; /* the whole of it, or NULL */
    const char *err; /* a part of it */
} table[] = {
    /* sums of exact fractions and erfc, worked out in another language */
    {"exact",
     "law,k,mean,n,p,pots,failed,drawn\npoisson,4,0.5,,,,,\n"
     "binomial,5,,50,0.02,,,\nhypergeometric,5,,,,500,12,50\n",
     0,
     "id,p_upper,mean_low,mean_high\n2,0.00175162255629,1.36631839675,"
     "9.15351902664\n3,0.00320974202608,,\n4,0.00379223409279,,\n",
     ""},
    {"flow",
     "id,first_hour_l,log_se,low_before,scrubbed\na,0.8,0.2,2,1\n"
     "b,1.8,0,0,0\nc,4,0.2,0,0\n",
     0,
     "id,verdict,p_below\na,replace,0.86772851628\nb,fine,0\n"
     "c,stop,2.0824223487e-12\n",
     ""},
    {"flow --replace-below 2", "first_hour_l,log_se\n1.8,0\n", 0,
     "id,verdict,p_below\n2,scrub,1\n", ""},
    {"breakage --prior-events=0",
     "batch,pots_out,days_0,days_30,failed_0,failed_30\n"
     "a,50,1000,500,4,1\nb,450,9000,4000,3,4\n",
     0, NULL, ""},
    /* line ends, marks and quotes of spreadsheets */
    {"flow", "\xef\xbb\xbfid,first_hour_l,log_se\r\n\"a,b\",1.8,0\r\n", 0,
     "id,verdict,p_below\n\"a,b\",fine,0\n", ""},
    {"flow", "id,first_hour_l\n", 0, "id,verdict,p_below\n", ""},
    /* what is not right, and where */
    {"flow", "", 3, "", "the first line names the columns"},
    {"flow", "id,fist\na,1\n", 3, "", ":1: 'fist' is not a column"},
    {"flow", "id,first_hour_l,id\n", 3, "",
     ":1: the column id stands here "
     "twice"},
    {"flow", "id\na\n", 3, "", ":1: there is no column first_hour_l"},
    {"flow", "id,first_hour_l\na,x\nb,1,2\nc,\nd,1e9\n", 3, "",
     ":2: first_hour_l is 'x'"},
    {"flow", "id,first_hour_l\na,x\nb,1,2\nc,\nd,1e9\n", 3, "",
     ":3: 3 fields where the first line has 2"},
    {"flow", "id,first_hour_l\na,x\nb,1,2\nc,\nd,1e9\n", 3, "",
     ":4: first_hour_l is not given"},
    {"flow", "id,first_hour_l\na,x\nb,1,2\nc,\nd,1e9\n", 3, "",
     ":5: first_hour_l is 1e9; it goes from"},
    {"flow", "id,first_hour_l\n\"a,1\n", 3, "", ":2: "},
    {"flow", "first_hour_l,low_before\n1,1.5\n", 3, "",
     "low_before is '1.5'; write a whole number"},
    {"seep", "drop_cm,hours\n5,2\n30,2\n", 3, "", ":3: this cannot be"},
    {"seep", "drop_cm,litres,hours\n5,1,2\n", 3, "", "either drop_cm or"},
    {"seep", "shape,drop_cm,hours\nbucket,5,2\n", 3, "", ":2: shape is"},
    {"seep", "shape,profile,drop_cm,hours\nprofile,0:95,5,2\n", 3, "",
     ":2: the profile is not right"},
    {"seep", "drop_cm,hours,wall_mm\n5,2,0\n", 3, "", ":2: there is no such"},
    {"exact", "law,k\npoisson,3\n", 3, "", ":2: poisson needs mean"},
    {"exact", "law,k\nnormal,3\n", 3, "", ":2: law is 'normal'"},
    {"exact", "law,k,pots,failed,drawn\nhypergeometric,1,5,9,2\n", 3, "",
     ":2: failed and drawn"},
    {"breakage", "batch,pots_out,failed_0\na,3,4\n", 3, "",
     ":2: 4 failed of 3"},
    {"drift", "pot,day,first_hour_l\na,10,2\na,9,2\n", 3, "",
     ":3: day 9 of pot a comes after a later one"},
    {"drift", "pot,day,first_hour_l\na,10,\n", 3, "",
     ":2: neither a reading nor a scrub"},
    {"drift", "pot,day,first_hour_l,log_flow\na,10,2,0.7\n", 3, "",
     ":2: give first_hour_l or log_flow"},
    /* three pots: 1 - 1/3, then 0; 1/3, 1/3 + 1 */
    {"wear", "group,exit,failed\nb,5,1\na,2,1\na,3,0\na,4,1\n", 0,
     "group,time,at_risk,failed,survival,low,high,log_se,hazard,hazard_se\n"
     "a,2,3,1,0.666666666667,0.0540734267865,0.945206387272,0.408248290464,"
     "0.333333333333,0.333333333333\n"
     "a,3,2,0,0.666666666667,0.0540734267865,0.945206387272,0.408248290464,"
     "0.333333333333,0.333333333333\n"
     "a,4,1,1,0,0,0,inf,1.33333333333,1.05409255339\n"
     "b,5,1,1,0,0,0,inf,1,1\n",
     ""},
    {"wear", "entry,exit,failed\n3,3,1\n", 3, "", ":2: entry 3 is not"},
    {"wear", "exit,failed\n3,2\n", 3, "", ":2: failed is 2"},
    {"logrank", "group,exit,failed\na,1,1\nb,2,1\n", 0,
     "group,observed,expected,chisq,df,p\n"
     "a,1,0.5,1,1,0.317310507863\nb,1,1.5,1,1,0.317310507863\n",
     ""},
    /* by hand: 30 + 10 days and one failure, then 60; a prior of 3 at 0.001 */
    {"rates --prior-monthly 0.0304375", "exit,failed\n90,0\n10,1\n", 0,
     "group,from,to,exposure,failed,raw,rate,upper,hazard\n"
     ",0,30,40,1,0.025,0.00131578947368,0.00197368421053,0.0394736842105\n"
     ",30,90,60,0,0,0.000980392156863,0.00154642183254,0.0982972136223\n"
     ",90,180,0,0,,0.001,0.00157735026919,0.188297213622\n"
     ",180,365,0,0,,0.001,0.00157735026919,0.373297213622\n"
     ",365,,0,0,,0.001,0.00157735026919,\n",
     ""},
    {"cluster", "day,event,batch\n1,exploded,a\n", 3, "",
     ":2: event is 'exploded'"},
    {"cluster", "day,event,batch\n1,failed,a\n", 3, "",
     ":2: batch a has no 1 pots left"},
    {"cluster", "day,event,batch\n2,delivered,a\n1,report,\n", 3, "",
     ":3: day 1 comes after day 2"},
    {"cluster", "day,event,batch\n2,delivered,\n", 3, "",
     ":2: batch is not given"},
    /* the tiny case: two and three of six in two of five equal cells */
    {"scan --longest 2 --replicas 9", "cell,failed\na,0\nb,3\nc,2\nd,0\ne,1\n",
     0, NULL, ""},
    {"scan", "cell,failed\na,1\nb,1\n", 0, "from,to,failed,expected,llr,p\n",
     ""},
    {"need", "batch,age,state\na,5,lost\n", 3, "", ":2: state is 'lost'"},
    {"need", "batch,entry,age,state\na,6,5,gone\n", 3, "",
     ":2: entry 6 comes after age 5"},
    /* the command line */
    {"", "", 2, "", "usage:"},
    {"swim", "", 2, "", "'swim' is not a method"},
    {"flow --no", "", 2, "", "'--no' is not an option"},
    {"flow --sure 2", "", 2, "", "--sure takes a number from 0.5 to 1"},
    {"flow a b", "", 2, "", "one file at a time"},
    {"flow /no/such/file", "", 1, "", "there is no such file"},
};

START_TEST(tables)
{
    static struct outcome o;

    work(table[_i].words, table[_i].input, &o);
    ck_assert_msg(o.code == table[_i].code, "exit %d: %s", o.code, o.err);
    if (table[_i].out != NULL)
        ck_assert_str_eq(o.out, table[_i].out);
    ck_assert_msg(strstr(o.err, table[_i].err) != NULL, "it said: %s", o.err);
    if (o.code == 0)
        ck_assert_str_eq(o.err, "");
}
END_TEST

/* The overnight drop as a household tells it, in centimetres and hours. */
START_TEST(seep_row)
{
    static struct outcome o;
    double k, k25, litres, se, log_se;

    work("seep", "id,start_cm,drop_cm,hours\nn,15,10,12\n", &o);
    ck_assert_int_eq(o.code, 0);
    ck_assert_int_eq(sscanf(strchr(o.out, '\n'), " n,%lf,%lf,%lf,%lf,%lf", &k,
                            &k25, &litres, &se, &log_se),
                     5);
    ck_assert_double_eq_tol(k, 2.12766121e-7, 5e-16);
    ck_assert_double_eq_tol(litres, 1.182074, 5e-7);
    ck_assert_double_eq_tol(log_se * litres, se, 1e-9);
}
END_TEST

/*
 * Two readings of one pot among others, by hand: no slope, no wander, prior
 * 0 with variance 1, readings of variance 1: means 1/2 of 1, then 2/3 of 1.5.
 */
START_TEST(drift_rows)
{
    static struct outcome o;
    double level, p11;
    const char *line;

    work("drift --prior-level=0 --prior-sd=1 --prior-slope=0 "
         "--prior-slope-sd=0 --level-var=0 --slope-var=0 --reading-var=1 "
         "--cap=0 --service=0",
         "pot,day,log_flow,scrub\nb,0,9,\na,1,1,\nb,3,,1\na,5,2,\n", &o);
    ck_assert_int_eq(o.code, 0);
    line = strstr(o.out, "\na,1,");
    ck_assert_ptr_nonnull(line);
    ck_assert_int_eq(sscanf(line, " a,1,%lf,0,%lf,", &level, &p11), 2);
    CLOSE(level, 0.5, 1e-12);
    CLOSE(p11, 0.5, 1e-12);
    line = strstr(o.out, "\na,5,");
    ck_assert_ptr_nonnull(line);
    ck_assert_int_eq(sscanf(line, " a,5,%lf,0,%lf,", &level, &p11), 2);
    CLOSE(level, 1.0, 1e-11);
    CLOSE(p11, 1.0 / 3, 1e-11);
    ck_assert_ptr_nonnull(strstr(o.out, "\nb,0,4.5,"));
    ck_assert_ptr_null(strstr(o.out, "\nb,3,")); /* a scrub writes nothing */
}
END_TEST

/* Twenty pots for six days, none failed: 20 x 6 days at 1.2 % a month. */
START_TEST(cluster_rows)
{
    static struct outcome o;
    double expected;
    const char *line;

    work("cluster",
         "day,event,batch,place,pots\n0,delivered,a,x,20\n"
         "0,delivered,b,x,20\n3,report,,,\n6,withdrawn,b,x,5\n",
         &o);
    ck_assert_int_eq(o.code, 0);
    ck_assert_ptr_nonnull(strstr(o.out, "\n3,a,sound,,0,0,"));
    line = strstr(o.out, "\n6,a,sound,,0,0,");
    ck_assert_ptr_nonnull(line);
    ck_assert_int_eq(sscanf(line, " 6,a,sound,,0,0,%lf,", &expected), 1);
    CLOSE(expected, 120 * 0.012 / 30.4375, 1e-11);
}
END_TEST

START_TEST(scan_row)
{
    static struct outcome o;

    work("scan --longest 2 --replicas 9",
         "cell,failed\na,0\nb,3\nc,2\nd,0\ne,1\n", &o);
    ck_assert_ptr_nonnull(strstr(o.out, "\nb,c,5,2.4,2.38891202994,"));
}
END_TEST

/* One batch, a hundred pots just handed out: 30 days at 1.2 % a month. */
START_TEST(need_rows)
{
    static struct outcome o;
    double mean, all, in, failed, risk;
    char rows[4096] = "batch,age,state\n";
    size_t len = strlen(rows);
    const char *line;

    for (int i = 0; i < 100; i++)
        len +=
            (size_t)snprintf(rows + len, sizeof(rows) - len, "a,0,service\n");
    work("need", rows, &o);
    ck_assert_int_eq(o.code, 0);
    line = strstr(o.out, "\na,");
    ck_assert_ptr_nonnull(line);
    ck_assert_int_eq(
        sscanf(line, " a,%lf,%lf,%lf,%lf,", &in, &failed, &risk, &mean), 4);
    CLOSE(mean, 100 * -expm1(-30 * 0.012 / 30.4375), 1e-9);
    line = strstr(o.out, "\nall,100,0,,");
    ck_assert_ptr_nonnull(line);
    ck_assert_int_eq(sscanf(line, " all,100,0,,%lf,", &all), 1);
    CLOSE(all, mean, 1e-12);
}
END_TEST

START_TEST(help_of_each)
{
    static const char *const methods[] = {"seep", "flow", "drift", "exact",
                                          "breakage"};
    static struct outcome o;

    for (size_t i = 0; i < sizeof(methods) / sizeof(methods[0]); i++) {
        char words[64];

        snprintf(words, sizeof(words), "%s --help", methods[i]);
        work(words, "", &o);
        ck_assert_int_eq(o.code, 0);
        ck_assert_ptr_nonnull(strstr(o.out, "columns read"));
        ck_assert_ptr_nonnull(strstr(o.out, "columns written"));
        work("--help", "", &o);
        ck_assert_ptr_nonnull(strstr(o.out, methods[i]));
    }
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("work");

    tcase_add_loop_test(tc, tables, 0, sizeof(table) / sizeof(table[0]));
    tcase_add_test(tc, seep_row);
    tcase_add_test(tc, drift_rows);
    tcase_add_test(tc, cluster_rows);
    tcase_add_test(tc, scan_row);
    tcase_add_test(tc, need_rows);
    tcase_add_test(tc, help_of_each);
    return close_run("work", tc);
}
