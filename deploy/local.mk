# what a new machine needs, and the demonstration
