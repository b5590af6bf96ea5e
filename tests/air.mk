# The encodings of the air interface, SMPP and the modem.
EXTRA_DIST += tests/vectors.h
if HAVE_CHECK
check_PROGRAMS += tests/check_gsm7 tests/check_tpdu tests/check_segment \
	tests/check_concat
TESTS += tests/check_gsm7 tests/check_tpdu tests/check_segment \
	tests/check_concat
tests_check_gsm7_SOURCES = tests/check_gsm7.c tests/vectors.c
tests_check_gsm7_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_gsm7_LDADD = $(KW_CHECK_LIBS)
tests_check_tpdu_SOURCES = tests/check_tpdu.c tests/vectors.c
tests_check_tpdu_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_tpdu_LDADD = $(KW_CHECK_LIBS)
tests_check_segment_SOURCES = tests/check_segment.c tests/vectors.c
tests_check_segment_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_segment_LDADD = $(KW_CHECK_LIBS)
tests_check_concat_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_concat_LDADD = $(KW_CHECK_LIBS)
endif
