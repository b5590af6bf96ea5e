if HAVE_CHECK
PAGE_CHECKS = %D%/check_page_table %D%/check_page_show
check_PROGRAMS += $(PAGE_CHECKS)
TESTS += $(PAGE_CHECKS)

%C%_check_page_table_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_page_table_LDADD = $(KW_CHECK_LIBS)

PAGE_VALLEY = %D%/page_valley.c %D%/page_valley.h \
	%D%/ledger_fixture.c %D%/ledger_fixture.h

%C%_check_page_show_SOURCES = %D%/check_page_show.c $(PAGE_VALLEY)
%C%_check_page_show_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_page_show_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_page_show_LDADD = $(KW_CHECK_LIBS)
endif
EXTRA_DIST += tests/page
