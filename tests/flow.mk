# A pot's flow over its life: the rules around the filter, and the desk's use.
if HAVE_CHECK
check_PROGRAMS += %D%/check_potflow %D%/check_desk_flow
TESTS += %D%/check_potflow %D%/check_desk_flow
%C%_check_potflow_SOURCES = %D%/check_potflow.c %D%/close.h
%C%_check_potflow_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_potflow_LDADD = $(KW_CHECK_LIBS)
%C%_check_desk_flow_SOURCES = %D%/check_desk_flow.c \
	%D%/desk_fixture.c %D%/desk_fixture.h \
	%D%/ledger_fixture.c %D%/ledger_fixture.h
%C%_check_desk_flow_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_desk_flow_LDADD = $(KW_CHECK_LIBS)
endif

EXTRA_PROGRAMS += %D%/bench/bench_flow
%C%_bench_bench_flow_SOURCES = %D%/bench/bench_flow.c
%C%_bench_bench_flow_CFLAGS = $(AM_CFLAGS)
%C%_bench_bench_flow_LDADD = src/libkilnword.a $(KW_LIBS)
CLEANFILES += %D%/bench/bench_flow
