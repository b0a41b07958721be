"""Facts to words and units, once, for terminal, page, paper, layers and JSON."""
