# manual pages and guides
dist_man_MANS += %D%/kilnword.1
EXTRA_DIST += %D%/operator.md
EXTRA_DIST += %D%/science.md
EXTRA_DIST += %D%/carriers.md
EXTRA_DIST += %D%/texts.md %D%/cards.txt
EXTRA_DIST += %D%/answers.md
EXTRA_DIST += %D%/measurements.md %D%/words.md
