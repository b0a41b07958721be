"""Whether a plan can be built as drawn: each respect in a module of its own."""
