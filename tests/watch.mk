# The numbers: each x of src/watch has its check_x.
if HAVE_CHECK
check_PROGRAMS += %D%/check_water %D%/check_seep %D%/check_exact \
	%D%/check_flowrule %D%/check_breakage
TESTS += %D%/check_water %D%/check_seep %D%/check_exact \
	%D%/check_flowrule %D%/check_breakage
%C%_check_water_SOURCES = %D%/check_water.c %D%/close.h
%C%_check_water_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_water_LDADD = $(KW_CHECK_LIBS)
%C%_check_seep_SOURCES = %D%/check_seep.c %D%/close.h
%C%_check_seep_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_seep_LDADD = $(KW_CHECK_LIBS)
%C%_check_exact_SOURCES = %D%/check_exact.c %D%/close.h
%C%_check_exact_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_exact_LDADD = $(KW_CHECK_LIBS)
%C%_check_flowrule_SOURCES = %D%/check_flowrule.c %D%/close.h
%C%_check_flowrule_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_flowrule_LDADD = $(KW_CHECK_LIBS)
%C%_check_breakage_SOURCES = %D%/check_breakage.c %D%/close.h
%C%_check_breakage_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_breakage_LDADD = $(KW_CHECK_LIBS)
endif
