kwgrammardir = $(pkgdatadir)/grammar
dist_kwgrammar_DATA =
dist_kwgrammar_DATA += %D%/en.replies %D%/es.replies %D%/fr.replies \
	%D%/pt.replies %D%/sw.replies %D%/hi.replies %D%/menu
