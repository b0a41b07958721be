"""Where lines end: the level of an outfall that nobody gave, and what bars the way to one."""
