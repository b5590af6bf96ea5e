if HAVE_CHECK
LEDGER_CHECKS = %D%/check_ledger
check_PROGRAMS += $(LEDGER_CHECKS)
TESTS += $(LEDGER_CHECKS)

%C%_check_ledger_SOURCES = %D%/check_ledger.c \
	%D%/ledger_fixture.c %D%/ledger_fixture.h
%C%_check_ledger_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_ledger_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_ledger_LDADD = $(KW_CHECK_LIBS)
endif
