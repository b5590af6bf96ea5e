# What is read at the start; changing it needs no compiler.
kwgrammardir = $(pkgdatadir)/grammar
dist_kwgrammar_DATA = %D%/report.abnf %D%/menu \
	%D%/mul.words %D%/en.words %D%/es.words %D%/fr.words %D%/pt.words %D%/sw.words %D%/hi.words \
	%D%/en.replies %D%/es.replies %D%/fr.replies \
	%D%/pt.replies %D%/sw.replies %D%/hi.replies

# The tables of the words as the program has them, so that a start need not
# make them; who cross-compiles writes them on the machine itself, with
# kilnword check --write-image.
if !CROSS_COMPILING
kwgrammar_DATA = %D%/words.image
CLEANFILES += %D%/words.image
%D%/words.image: src/kilnword$(EXEEXT) $(dist_kwgrammar_DATA)
	$(AM_V_GEN)$(MKDIR_P) %D% && src/kilnword$(EXEEXT) check \
		--config $(top_srcdir)/deploy/kilnword.conf \
		--grammar $(top_srcdir)/grammar --image $@ --write-image >$@.log \
		|| { cat $@.log; rm -f $@; exit 1; }; rm -f $@.log
endif
