# manual pages and guides
EXTRA_DIST += %D%/science.md
EXTRA_DIST += %D%/carriers.md
