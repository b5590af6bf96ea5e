if HAVE_CHECK
check_PROGRAMS += tests/check_http_form tests/check_http_auth \
	tests/check_retry tests/check_template
TESTS += tests/check_http_form tests/check_http_auth tests/check_retry \
	tests/check_template
tests_check_http_form_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_http_form_LDADD = $(KW_CHECK_LIBS)
tests_check_http_auth_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_http_auth_LDADD = $(KW_CHECK_LIBS)
tests_check_retry_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_retry_LDADD = $(KW_CHECK_LIBS)
tests_check_template_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_template_LDADD = $(KW_CHECK_LIBS)
endif
check_PROGRAMS += tests/fuzz/fuzz_httpform
tests_fuzz_fuzz_httpform_SOURCES = tests/fuzz/fuzz_httpform.c $(KW_FUZZ_MAIN)
tests_fuzz_fuzz_httpform_CFLAGS = $(KW_FUZZ_CFLAGS)
tests_fuzz_fuzz_httpform_LDADD = $(KW_FUZZ_LIBS)
if !FUZZERS
TESTS += tests/fuzz/fuzz_httpform
endif
EXTRA_PROGRAMS += tests/bench/bench_intake
tests_bench_bench_intake_SOURCES = tests/bench/bench_intake.c \
	tests/bench/figures.c tests/bench/figures.h \
	tests/bench/callers.c tests/bench/callers.h \
	tests/bench/world.c tests/bench/world.h \
	tests/bench/served.c tests/bench/served.h \
	tests/bench/yt.c tests/bench/yt.h
tests_bench_bench_intake_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
tests_bench_bench_intake_CFLAGS = $(AM_CFLAGS)
tests_bench_bench_intake_LDADD = src/libkilnword.a $(KW_LIBS)
CLEANFILES += tests/bench/bench_intake
EXTRA_PROGRAMS += tests/bench/bench_out
tests_bench_bench_out_SOURCES = tests/bench/bench_out.c \
	tests/bench/figures.c tests/bench/figures.h \
	tests/bench/served.c tests/bench/served.h tests/bench/world.h
tests_bench_bench_out_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
tests_bench_bench_out_CFLAGS = $(AM_CFLAGS)
tests_bench_bench_out_LDADD = src/libkilnword.a $(KW_LIBS) $(CURL_LIBS)
CLEANFILES += tests/bench/bench_out
# The carriers from outside, on the real service; tests/run runs them.
EXTRA_DIST += tests/e2e/rig.py tests/e2e/http_in tests/e2e/http_out \
	tests/e2e/outbox tests/e2e/not_installed tests/e2e/image tests/e2e/spool tests/e2e/crash \
	tests/e2e/phone tests/e2e/bad_input tests/e2e/cards tests/e2e/guide
