"""The page to trace on: what a person draws of a lot that no file says."""
