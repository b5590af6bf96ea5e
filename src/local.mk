# The rooms in the order of who may call whom; one library for the tests.
noinst_LIBRARIES += src/libkilnword.a
src_libkilnword_a_SOURCES =
include src/base/local.mk
include src/reader/local.mk
include src/watch/local.mk
include src/ledger/local.mk
include src/desk/local.mk
include src/carrier/local.mk
include src/page/local.mk
include src/command/local.mk

bin_PROGRAMS += src/kilnword
src_kilnword_SOURCES = %D%/main.c
src_kilnword_LDADD = src/libkilnword.a $(KW_LIBS)
