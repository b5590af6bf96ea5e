if HAVE_CHECK
check_PROGRAMS += tests/check_base tests/check_config
TESTS += tests/check_base tests/check_config
tests_check_base_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_base_LDADD = $(KW_CHECK_LIBS)
tests_check_config_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_config_LDADD = $(KW_CHECK_LIBS)
endif
