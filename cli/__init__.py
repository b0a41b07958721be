"""The command line: thin, no engineering in it."""
