# what a new machine needs, and the demonstration
EXTRA_DIST += %D%/install %D%/build %D%/packages.build %D%/packages.test
