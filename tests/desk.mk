# Texts to a desk, over a ledger in a folder of its own.
DESK_FIXTURE = %D%/desk_fixture.c %D%/desk_fixture.h \
	%D%/ledger_fixture.c %D%/ledger_fixture.h
EXTRA_DIST += %D%/desk_fixture.c %D%/desk_fixture.h
if HAVE_CHECK
check_PROGRAMS += %D%/check_desk %D%/check_desk_work %D%/check_dialogue \
	%D%/check_reply %D%/check_menu
TESTS += %D%/check_desk %D%/check_desk_work %D%/check_dialogue \
	%D%/check_reply %D%/check_menu
%C%_check_desk_SOURCES = %D%/check_desk.c $(DESK_FIXTURE)
%C%_check_desk_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_desk_LDADD = $(KW_CHECK_LIBS)
%C%_check_desk_work_SOURCES = %D%/check_desk_work.c $(DESK_FIXTURE)
%C%_check_desk_work_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_desk_work_LDADD = $(KW_CHECK_LIBS)
%C%_check_dialogue_SOURCES = %D%/check_dialogue.c $(DESK_FIXTURE)
%C%_check_dialogue_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_dialogue_LDADD = $(KW_CHECK_LIBS)
%C%_check_reply_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_reply_LDADD = $(KW_CHECK_LIBS)
%C%_check_menu_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_menu_LDADD = $(KW_CHECK_LIBS)
endif
EXTRA_PROGRAMS += %D%/bench/bench_cost
%C%_bench_bench_cost_SOURCES = %D%/bench/bench_cost.c \
	%D%/bench/world.c %D%/bench/world.h
%C%_bench_bench_cost_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_bench_bench_cost_CFLAGS = $(AM_CFLAGS)
%C%_bench_bench_cost_LDADD = src/libkilnword.a $(KW_LIBS)
CLEANFILES += %D%/bench/bench_cost
EXTRA_PROGRAMS += %D%/bench/bench_country
%C%_bench_bench_country_SOURCES = %D%/bench/bench_country.c \
	%D%/bench/country.c %D%/bench/country.h
%C%_bench_bench_country_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_bench_bench_country_CFLAGS = $(AM_CFLAGS)
%C%_bench_bench_country_LDADD = src/libkilnword.a $(KW_LIBS)
CLEANFILES += %D%/bench/bench_country

# The watch over batches and deliveries.
if HAVE_CHECK
check_PROGRAMS += %D%/check_batch_watch
TESTS += %D%/check_batch_watch
%C%_check_batch_watch_SOURCES = %D%/check_batch_watch.c %D%/close.h \
	$(DESK_FIXTURE)
%C%_check_batch_watch_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_batch_watch_LDADD = $(KW_CHECK_LIBS)
check_PROGRAMS += %D%/check_session %D%/check_traffic
TESTS += %D%/check_session %D%/check_traffic
%C%_check_session_SOURCES = %D%/check_session.c $(DESK_FIXTURE)
%C%_check_session_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_session_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_session_LDADD = $(KW_CHECK_LIBS)
%C%_check_traffic_SOURCES = %D%/check_traffic.c %D%/ledger_fixture.c \
	%D%/ledger_fixture.h
%C%_check_traffic_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_traffic_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_traffic_LDADD = $(KW_CHECK_LIBS)
endif
