# What is read at the start; changing it needs no compiler.
kwgrammardir = $(pkgdatadir)/grammar
dist_kwgrammar_DATA = %D%/report.abnf %D%/menu \
	%D%/mul.words %D%/en.words %D%/es.words %D%/fr.words %D%/pt.words %D%/sw.words %D%/hi.words \
	%D%/en.replies %D%/es.replies %D%/fr.replies \
	%D%/pt.replies %D%/sw.replies %D%/hi.replies
