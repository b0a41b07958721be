"""Compiled loops over plain arrays: float64 and int64 in and out, smaller whole numbers inside.

What is compiled is kept in __pycache__ and made anew when its own file changes, not when a kernel in another file that
it calls does: after an edit here remove the .nbi and .nbc files of this folder.
"""

from terrain.compiled import ensure_cache

ensure_cache()
