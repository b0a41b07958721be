"""Compiled searches of the layout: plain arrays in, plain arrays out."""

from terrain.compiled import ensure_cache

ensure_cache()
