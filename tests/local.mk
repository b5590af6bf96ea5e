# A check_x.c for each x.c; a fragment for each room.
KW_CHECK_CFLAGS = $(AM_CFLAGS) $(CHECK_CFLAGS)
KW_CHECK_LIBS = src/libkilnword.a $(KW_LIBS) $(CHECK_LIBS)
include tests/base.mk
include tests/reader.mk
include tests/watch.mk
include tests/ledger.mk
include tests/desk.mk
include tests/carrier.mk
include tests/page.mk
include tests/command.mk
EXTRA_DIST += tests/reference
