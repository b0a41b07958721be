"""Whether the compiled loops were ever compiled on this machine, which takes a minute and happens once."""

import sys
from pathlib import Path

COMPILING = "compiling, first run only: about a minute"


def compiling_words() -> str:
    """What is told where loops are compiled, and where they are kept if that is no usual place."""
    from terrain.compiled import private_cache

    kept = private_cache()
    return COMPILING if kept is None else f"{COMPILING}; it may be kept nowhere but in {kept}"


def compiles_first() -> bool:
    """Whether the first kernel has no compiled copy in numba's cache yet, or only those of another Python or text."""
    from terrain.kernels.flood import flood

    stats = getattr(flood, "stats", None)
    if stats is None or flood.signatures:  # run uncompiled, or compiled or loaded already
        return False
    if stats.cache_path is None:
        return True
    written = Path(flood.py_func.__code__.co_filename).stat().st_mtime
    version = f"py{sys.version_info.major}{sys.version_info.minor}"
    kept = Path(stats.cache_path).glob(f"flood.flood-*.{version}*.nbi")
    return all(copy.stat().st_mtime < written for copy in kept)
