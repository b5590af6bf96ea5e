if HAVE_CHECK
PAGE_CHECKS = %D%/check_usual %D%/check_page_table %D%/check_page_show %D%/check_look \
	%D%/check_export %D%/check_page_command
check_PROGRAMS += $(PAGE_CHECKS)
TESTS += $(PAGE_CHECKS)
PAGE_VALLEY = %D%/page_valley.c %D%/page_valley.h \
	%D%/ledger_fixture.c %D%/ledger_fixture.h
PAGE_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)

%C%_check_usual_SOURCES = %D%/check_usual.c %D%/close.h \
	%D%/ledger_fixture.c %D%/ledger_fixture.h
%C%_check_usual_CPPFLAGS = $(PAGE_CPPFLAGS)
%C%_check_usual_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_usual_LDADD = $(KW_CHECK_LIBS)
%C%_check_page_table_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_page_table_LDADD = $(KW_CHECK_LIBS)
%C%_check_page_show_SOURCES = %D%/check_page_show.c $(PAGE_VALLEY)
%C%_check_page_show_CPPFLAGS = $(PAGE_CPPFLAGS)
%C%_check_page_show_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_page_show_LDADD = $(KW_CHECK_LIBS)
%C%_check_look_SOURCES = %D%/check_look.c $(PAGE_VALLEY)
%C%_check_look_CPPFLAGS = $(PAGE_CPPFLAGS)
%C%_check_look_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_look_LDADD = $(KW_CHECK_LIBS)
%C%_check_export_SOURCES = %D%/check_export.c $(PAGE_VALLEY)
%C%_check_export_CPPFLAGS = $(PAGE_CPPFLAGS)
%C%_check_export_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_export_LDADD = $(KW_CHECK_LIBS)
%C%_check_page_command_SOURCES = %D%/check_page_command.c $(PAGE_VALLEY)
%C%_check_page_command_CPPFLAGS = $(PAGE_CPPFLAGS)
%C%_check_page_command_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_page_command_LDADD = $(KW_CHECK_LIBS)
endif
EXTRA_DIST += tests/page
check_PROGRAMS += tests/fuzz/fuzz_screen
tests_fuzz_fuzz_screen_SOURCES = tests/fuzz/fuzz_screen.c $(KW_FUZZ_MAIN)
tests_fuzz_fuzz_screen_CFLAGS = $(KW_FUZZ_CFLAGS)
tests_fuzz_fuzz_screen_LDADD = $(KW_FUZZ_LIBS)
if !FUZZERS
TESTS += tests/fuzz/fuzz_screen
endif

if HAVE_CHECK
check_PROGRAMS += %D%/check_page_batches
TESTS += %D%/check_page_batches
%C%_check_page_batches_SOURCES = %D%/check_page_batches.c $(PAGE_VALLEY)
%C%_check_page_batches_CPPFLAGS = $(PAGE_CPPFLAGS)
%C%_check_page_batches_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_page_batches_LDADD = $(KW_CHECK_LIBS)
endif

# Forecasts of need, month by month.
if HAVE_CHECK
check_PROGRAMS += %D%/check_forecast
TESTS += %D%/check_forecast
%C%_check_forecast_SOURCES = %D%/check_forecast.c %D%/close.h $(DESK_FIXTURE)
%C%_check_forecast_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_forecast_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_forecast_LDADD = $(KW_CHECK_LIBS)
endif

# The map of a batch.
if HAVE_CHECK
check_PROGRAMS += %D%/check_lifemap
TESTS += %D%/check_lifemap
%C%_check_lifemap_SOURCES = %D%/check_lifemap.c %D%/close.h
%C%_check_lifemap_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_lifemap_LDADD = $(KW_CHECK_LIBS)
endif
