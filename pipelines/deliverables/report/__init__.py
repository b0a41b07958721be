"""The report that a person reads: one list of blocks, written as a page for a browser and as sheets for paper."""
