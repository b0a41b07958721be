"""Compiled searches of the layout: plain arrays in, plain arrays out."""
