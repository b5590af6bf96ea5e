# The encodings of the air interface, SMPP and the modem.
EXTRA_DIST += tests/vectors.h tests/peers tests/e2e/centre.py tests/e2e/smpp \
	tests/e2e/smpp_menu tests/e2e/carriers tests/e2e/pitfalls \
	tests/e2e/model.py tests/e2e/modem
if HAVE_CHECK
check_PROGRAMS += tests/check_gsm7 tests/check_tpdu tests/check_segment \
	tests/check_concat tests/check_smpp_pdu tests/check_smpp_session \
	tests/check_modem tests/check_keep tests/check_e164
TESTS += tests/check_gsm7 tests/check_tpdu tests/check_segment \
	tests/check_concat tests/check_smpp_pdu tests/check_smpp_session \
	tests/check_modem tests/check_keep tests/check_e164
tests_check_modem_SOURCES = tests/check_modem.c tests/vectors.c
tests_check_modem_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_modem_LDADD = $(KW_CHECK_LIBS)
tests_check_e164_SOURCES = tests/check_e164.c tests/vectors.c
tests_check_e164_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_e164_LDADD = $(KW_CHECK_LIBS)
tests_check_keep_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_keep_LDADD = $(KW_CHECK_LIBS)
tests_check_smpp_pdu_SOURCES = tests/check_smpp_pdu.c tests/vectors.c
tests_check_smpp_pdu_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_smpp_pdu_LDADD = $(KW_CHECK_LIBS)
tests_check_smpp_session_CFLAGS = $(KW_CHECK_CFLAGS)
tests_check_smpp_session_LDADD = $(KW_CHECK_LIBS)
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

check_PROGRAMS += tests/fuzz/fuzz_tpdu tests/fuzz/fuzz_smpp \
	tests/fuzz/fuzz_modem
tests_fuzz_fuzz_modem_SOURCES = tests/fuzz/fuzz_modem.c $(KW_FUZZ_MAIN)
tests_fuzz_fuzz_modem_CFLAGS = $(KW_FUZZ_CFLAGS)
tests_fuzz_fuzz_modem_LDADD = $(KW_FUZZ_LIBS)
tests_fuzz_fuzz_smpp_SOURCES = tests/fuzz/fuzz_smpp.c $(KW_FUZZ_MAIN)
tests_fuzz_fuzz_smpp_CFLAGS = $(KW_FUZZ_CFLAGS)
tests_fuzz_fuzz_smpp_LDADD = $(KW_FUZZ_LIBS)
tests_fuzz_fuzz_tpdu_SOURCES = tests/fuzz/fuzz_tpdu.c $(KW_FUZZ_MAIN)
tests_fuzz_fuzz_tpdu_CFLAGS = $(KW_FUZZ_CFLAGS)
tests_fuzz_fuzz_tpdu_LDADD = $(KW_FUZZ_LIBS)
if !FUZZERS
TESTS += tests/fuzz/fuzz_tpdu tests/fuzz/fuzz_smpp tests/fuzz/fuzz_modem
endif

# Slower: other programs read what ours writes, and the other way round.
EXTRA_PROGRAMS += tests/peers/make_tpdu tests/peers/make_smpp \
	tests/peers/make_number
tests_peers_make_tpdu_LDADD = src/libkilnword.a $(KW_LIBS)
tests_peers_make_smpp_LDADD = src/libkilnword.a $(KW_LIBS)
tests_peers_make_number_LDADD = src/libkilnword.a $(KW_LIBS)
KW_PEERS = tests/peers/tshark_tpdu tests/peers/osmo tests/peers/smpp34 \
	tests/peers/numbers tests/peers/smpp tests/peers/ofono \
	tests/peers/modemmanager
KW_PEER_TOOLS = tests/peers/make_tpdu$(EXEEXT) tests/peers/make_smpp$(EXEEXT) \
	tests/peers/make_number$(EXEEXT)
.PHONY: check-peers
check-peers: src/kilnword$(EXEEXT) $(KW_PEER_TOOLS)
	@failed=0; for p in $(KW_PEERS); do \
		$(AM_TESTS_ENVIRONMENT) $(top_srcdir)/$$p || failed=1; \
	done; exit $$failed

EXTRA_PROGRAMS += tests/bench/bench_air
tests_bench_bench_air_CFLAGS = $(AM_CFLAGS)
tests_bench_bench_air_LDADD = src/libkilnword.a $(KW_LIBS)
CLEANFILES += tests/bench/bench_air tests/peers/make_tpdu \
	tests/peers/make_smpp tests/peers/make_number
clean-local: clean-fetched
.PHONY: clean-fetched
clean-fetched:
	rm -rf fetched
EXTRA_PROGRAMS += tests/bench/bench_smpp
tests_bench_bench_smpp_SOURCES = tests/bench/bench_smpp.c \
	tests/bench/figures.c tests/bench/figures.h \
	tests/bench/served.c tests/bench/served.h \
	tests/bench/world.c tests/bench/world.h \
	tests/bench/yt.c tests/bench/yt.h
tests_bench_bench_smpp_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
tests_bench_bench_smpp_CFLAGS = $(AM_CFLAGS)
tests_bench_bench_smpp_LDADD = src/libkilnword.a $(KW_LIBS)
CLEANFILES += tests/bench/bench_smpp
