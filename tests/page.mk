if HAVE_CHECK
check_PROGRAMS += tests/check_page_table
TESTS += tests/check_page_table
tests_check_page_table_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_page_table_LDADD = $(KW_CHECK_LIBS)
endif
