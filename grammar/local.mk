kwgrammardir = $(pkgdatadir)/grammar
dist_kwgrammar_DATA =
dist_kwgrammar_DATA += %D%/en.replies %D%/es.replies
