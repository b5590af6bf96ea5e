KW_READER_SOURCES = %D%/reader.h %D%/reader.c %D%/serial.h \
	%D%/serial.c %D%/names.c %D%/concept.h %D%/concept.c %D%/fold.h \
	%D%/fold.c %D%/lexicon.h %D%/lexicon.c %D%/lexicon_load.c %D%/lexicon_sets.c \
	%D%/words.h %D%/words.c \
	%D%/spelling.h %D%/spelling.c %D%/vowels.h %D%/vowels.c \
	%D%/slip.h %D%/slip.c %D%/slip_cost.h \
	%D%/slip_cost.c %D%/abnf.h %D%/abnf.c %D%/abnf_parse.c \
	%D%/pattern.h %D%/pattern.c %D%/grammar.h \
	%D%/grammar_parts.h %D%/grammar.c %D%/grammar_load.c %D%/grammar_way.c \
	%D%/cut.h %D%/cut_parts.h %D%/cut.c %D%/cut_digits.c \
	%D%/cut_words.c %D%/cut_settle.c %D%/cut_clause.c %D%/cut_numbers.c %D%/cut_split.c %D%/cut_chain.c %D%/cut_joined.c \
	%D%/cut_expect.c %D%/cut_card.c %D%/meaning.h %D%/meaning_parts.h %D%/meaning.c %D%/meaning_people.c \
	%D%/meaning_clause.c %D%/meaning_denial.c %D%/meaning_clock.c \
	%D%/meaning_measure.c %D%/meaning_then.c %D%/decide.c %D%/decide_bare.c \
	%D%/decide_parts.h %D%/decide_settle.c %D%/decide_aside.c %D%/decide_second.c %D%/decide_left_over.c %D%/decide_turn.c %D%/decide_measure.c %D%/decide_signs.c %D%/decide_doubt.c %D%/order.c \
	%D%/image.h %D%/image.c %D%/lexicon_image.c %D%/lexicon_shrink.c %D%/grammar_image.c \
	%D%/reader_image.h %D%/reader_image.c \
	%D%/cut_heard.c %D%/grammar_memo.h %D%/grammar_memo.c \
	%D%/wording.h %D%/wording.c
src_libkilnword_a_SOURCES += $(KW_READER_SOURCES)

# An image of the tables serves only the program of the very sources that made
# it: their check sum is compiled in.
nodist_src_libkilnword_a_SOURCES = %D%/stamp.h
CLEANFILES += %D%/stamp.h
%D%/reader_image.$(OBJEXT): %D%/stamp.h
%D%/stamp.h: $(KW_READER_SOURCES)
	$(AM_V_GEN)$(MKDIR_P) %D% && sum=`cd $(top_srcdir) && \
		cat $(KW_READER_SOURCES) | cksum` && \
		echo "#define READER_STAMP \"$(VERSION) $$sum\"" >$@
