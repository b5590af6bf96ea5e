# manual pages and guides
EXTRA_DIST += %D%/science.md
