if HAVE_CHECK
check_PROGRAMS += %D%/check_serial %D%/check_reader %D%/check_lexicon \
	%D%/check_doubt %D%/check_chain %D%/check_people %D%/check_signs \
	%D%/check_clock %D%/check_clause %D%/check_turn
TESTS += %D%/check_serial %D%/check_reader %D%/check_lexicon %D%/check_doubt \
	%D%/check_chain %D%/check_people %D%/check_signs %D%/check_clock \
	%D%/check_clause %D%/check_turn
%C%_check_doubt_SOURCES = %D%/check_doubt.c %D%/reader_fixture.h
%C%_check_doubt_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_doubt_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_doubt_LDADD = $(KW_CHECK_LIBS)
%C%_check_chain_SOURCES = %D%/check_chain.c %D%/reader_fixture.h
%C%_check_chain_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_chain_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_chain_LDADD = $(KW_CHECK_LIBS)
%C%_check_people_SOURCES = %D%/check_people.c %D%/reader_fixture.h
%C%_check_people_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_people_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_people_LDADD = $(KW_CHECK_LIBS)
%C%_check_signs_SOURCES = %D%/check_signs.c %D%/reader_fixture.h
%C%_check_signs_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_signs_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_signs_LDADD = $(KW_CHECK_LIBS)
%C%_check_clock_SOURCES = %D%/check_clock.c %D%/reader_fixture.h
%C%_check_clock_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_clock_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_clock_LDADD = $(KW_CHECK_LIBS)
%C%_check_clause_SOURCES = %D%/check_clause.c %D%/reader_fixture.h
%C%_check_clause_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_clause_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_clause_LDADD = $(KW_CHECK_LIBS)
%C%_check_turn_SOURCES = %D%/check_turn.c %D%/reader_fixture.h
%C%_check_turn_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_turn_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_turn_LDADD = $(KW_CHECK_LIBS)
%C%_check_serial_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_serial_LDADD = $(KW_CHECK_LIBS)
%C%_check_reader_SOURCES = %D%/check_reader.c %D%/reader_rig.h
%C%_check_reader_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_reader_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_reader_LDADD = $(KW_CHECK_LIBS)
%C%_check_lexicon_SOURCES = %D%/check_lexicon.c %D%/reader_rig.h
%C%_check_lexicon_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_lexicon_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_lexicon_LDADD = $(KW_CHECK_LIBS)
check_PROGRAMS += %D%/check_wording
TESTS += %D%/check_wording
%C%_check_wording_SOURCES = %D%/check_wording.c %D%/reader_fixture.h
%C%_check_wording_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_wording_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_wording_LDADD = $(KW_CHECK_LIBS)
# Walks over grammars of our own are held against PCRE2 and the reverse.
check_PROGRAMS += %D%/check_grammar %D%/check_pattern %D%/check_match
TESTS += %D%/check_grammar %D%/check_pattern %D%/check_match
%C%_check_grammar_SOURCES = %D%/check_grammar.c %D%/reader_rig.h
%C%_check_grammar_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_grammar_CFLAGS = $(KW_CHECK_CFLAGS) $(PCRE2_8_CFLAGS)
%C%_check_grammar_LDADD = $(KW_CHECK_LIBS) $(PCRE2_8_LIBS)
%C%_check_pattern_CFLAGS = $(KW_CHECK_CFLAGS) $(PCRE2_8_CFLAGS)
%C%_check_pattern_LDADD = $(KW_CHECK_LIBS) $(PCRE2_8_LIBS)
check_PROGRAMS += %D%/check_image
TESTS += %D%/check_image
%C%_check_image_SOURCES = %D%/check_image.c %D%/reader_rig.h
%C%_check_image_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_image_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_image_LDADD = $(KW_CHECK_LIBS)
%C%_check_match_SOURCES = %D%/check_match.c %D%/reader_rig.h \
	%D%/match.h %D%/match.c
%C%_check_match_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_check_match_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_match_LDADD = $(KW_CHECK_LIBS)
endif
check_PROGRAMS += %D%/fuzz/fuzz_reader
%C%_fuzz_fuzz_reader_SOURCES = %D%/fuzz/fuzz_reader.c $(KW_FUZZ_MAIN)
%C%_fuzz_fuzz_reader_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_fuzz_fuzz_reader_CFLAGS = $(KW_FUZZ_CFLAGS)
%C%_fuzz_fuzz_reader_LDADD = $(KW_FUZZ_LIBS)
check_PROGRAMS += %D%/fuzz/fuzz_image
%C%_fuzz_fuzz_image_SOURCES = %D%/fuzz/fuzz_image.c $(KW_FUZZ_MAIN)
%C%_fuzz_fuzz_image_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_fuzz_fuzz_image_CFLAGS = $(KW_FUZZ_CFLAGS)
%C%_fuzz_fuzz_image_LDADD = $(KW_FUZZ_LIBS)
if !FUZZERS
TESTS += %D%/fuzz/fuzz_reader %D%/fuzz/fuzz_image
endif
EXTRA_PROGRAMS += %D%/bench/bench_read
%C%_bench_bench_read_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_bench_bench_read_CFLAGS = $(AM_CFLAGS)
%C%_bench_bench_read_LDADD = src/libkilnword.a $(KW_LIBS)
CLEANFILES += %D%/bench/bench_read
TESTS += %D%/texts/floors %D%/texts/sentences %D%/texts/properties
# Slow: more seeds, slips and dictionaries; 10^7 random strings of octets (about
# 10 minutes of one core, told share by share).
EXTRA_PROGRAMS += %D%/many_octets
%C%_many_octets_SOURCES = %D%/many_octets.c %D%/reader_rig.h
%C%_many_octets_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_many_octets_CFLAGS = $(AM_CFLAGS)
%C%_many_octets_LDADD = src/libkilnword.a $(KW_LIBS)
CLEANFILES += %D%/many_octets
.PHONY: check-texts
check-texts: src/kilnword$(EXEEXT) %D%/many_octets$(EXEEXT)
	@failed=0; export KW_SOURCE=$(abs_top_srcdir) KW_BUILD=$(abs_builddir); \
	$(top_srcdir)/%D%/texts/floors --all || failed=1; \
	$(top_srcdir)/%D%/texts/sentences --each 300 || failed=1; \
	$(top_srcdir)/%D%/texts/properties --each 100 || failed=1; \
	%D%/many_octets$(EXEEXT) || failed=1; exit $$failed
EXTRA_DIST += %D%/texts
