"""Compiled loops over plain arrays: float64 and int64 throughout."""
