# what a new machine needs, and the demonstration
EXTRA_DIST += %D%/try %D%/install %D%/build %D%/packages.build \
	%D%/packages.test %D%/kilnword.conf %D%/sele
