# manual pages and guides
