kwgrammardir = $(pkgdatadir)/grammar
dist_kwgrammar_DATA =
