# A check_x.c for each x.c; a fragment for each room.
KW_CHECK_CFLAGS = $(AM_CFLAGS) $(CHECK_CFLAGS)
KW_CHECK_LIBS = src/libkilnword.a $(KW_LIBS) $(CHECK_LIBS)
# Fuzz targets. In a room's fragment, for tests/fuzz/fuzz_x.c:
#   check_PROGRAMS += tests/fuzz/fuzz_x
#   TESTS += tests/fuzz/fuzz_x
#   tests_fuzz_fuzz_x_SOURCES = tests/fuzz/fuzz_x.c $(KW_FUZZ_MAIN)
#   tests_fuzz_fuzz_x_CFLAGS = $(KW_FUZZ_CFLAGS)
#   tests_fuzz_fuzz_x_LDADD = $(KW_FUZZ_LIBS)
# Plain builds replay tests/fuzz/seeds/x; with --enable-fuzzers (clang) the
# same program fuzzes: tests/fuzz/fuzz_x -max_total_time=30 SEEDS. No TESTS then.
if FUZZERS
KW_FUZZ_MAIN =
KW_FUZZ_CFLAGS = $(AM_CFLAGS) -fsanitize=fuzzer
else
KW_FUZZ_MAIN = tests/fuzz/replay.c
KW_FUZZ_CFLAGS = $(AM_CFLAGS)
endif
KW_FUZZ_LIBS = src/libkilnword.a $(KW_LIBS)

include tests/base.mk
include tests/reader.mk
include tests/flow.mk
include tests/watch.mk
include tests/ledger.mk
include tests/desk.mk
include tests/carrier.mk
include tests/air.mk
include tests/page.mk
include tests/command.mk
EXTRA_DIST += tests/reference tests/run tests/bench/run tests/lint tests/play tests/fuzz/replay.c \
	tests/fuzz/seeds

# Banned calls, layers and warnings fail; long functions and files are shown.
.PHONY: lint
lint: src/reader/stamp.h
	@CC='$(CC)' CPPFLAGS='$(AM_CPPFLAGS) $(DEFS)' CFLAGS='$(KW_CFLAGS)' \
		$(top_srcdir)/tests/lint
