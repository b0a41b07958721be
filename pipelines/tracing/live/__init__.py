"""The page to trace on, served on this machine alone, with the answer beside the map as one draws."""
