if HAVE_CHECK
LEDGER_CHECKS = %D%/check_ledger %D%/check_ledger_model \
	%D%/check_ledger_open %D%/check_writer %D%/check_load \
	%D%/check_kept
check_PROGRAMS += $(LEDGER_CHECKS)
TESTS += $(LEDGER_CHECKS)
LEDGER_FIXTURE = %D%/ledger_fixture.c %D%/ledger_fixture.h

%C%_check_ledger_SOURCES = %D%/check_ledger.c $(LEDGER_FIXTURE)
%C%_check_ledger_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_ledger_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_ledger_LDADD = $(KW_CHECK_LIBS)

%C%_check_ledger_model_SOURCES = %D%/check_ledger_model.c $(LEDGER_FIXTURE)
%C%_check_ledger_model_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_ledger_model_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_ledger_model_LDADD = $(KW_CHECK_LIBS)

%C%_check_ledger_open_SOURCES = %D%/check_ledger_open.c $(LEDGER_FIXTURE)
%C%_check_ledger_open_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_ledger_open_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_ledger_open_LDADD = $(KW_CHECK_LIBS)

%C%_check_writer_SOURCES = %D%/check_writer.c $(LEDGER_FIXTURE)
%C%_check_writer_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_writer_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_writer_LDADD = $(KW_CHECK_LIBS)

%C%_check_load_SOURCES = %D%/check_load.c $(LEDGER_FIXTURE)
%C%_check_load_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_load_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_load_LDADD = $(KW_CHECK_LIBS)

%C%_check_kept_SOURCES = %D%/check_kept.c $(LEDGER_FIXTURE)
%C%_check_kept_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_kept_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_kept_LDADD = $(KW_CHECK_LIBS)
endif

EXTRA_PROGRAMS += %D%/bench/bench_ledger
%C%_bench_bench_ledger_SOURCES = %D%/bench/bench_ledger.c \
	%D%/bench/yt.c %D%/bench/yt.h
%C%_bench_bench_ledger_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_bench_bench_ledger_CFLAGS = $(AM_CFLAGS)
%C%_bench_bench_ledger_LDADD = src/libkilnword.a $(KW_LIBS)
CLEANFILES += %D%/bench/bench_ledger
