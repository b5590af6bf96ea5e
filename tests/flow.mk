# A pot's flow over its life: the rules around the filter, and the desk's use.
if HAVE_CHECK
check_PROGRAMS += %D%/check_potflow
TESTS += %D%/check_potflow
%C%_check_potflow_SOURCES = %D%/check_potflow.c %D%/close.h
%C%_check_potflow_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_potflow_LDADD = $(KW_CHECK_LIBS)
endif
