"""Whether the compiled loops were ever compiled on this machine, which takes half a minute and happens once."""

from pathlib import Path

COMPILING = "compiling, first run only: about half a minute"


def compiling_words() -> str:
    """What is told where loops are compiled, and where they are kept if that is no usual place."""
    from terrain.compiled import private_cache

    kept = private_cache()
    return COMPILING if kept is None else f"{COMPILING}; it may be kept nowhere but in {kept}"


def compiles_first() -> bool:
    """Whether the first kernel has no compiled copy in numba's cache yet."""
    from terrain.kernels.flood import flood

    stats = getattr(flood, "stats", None)
    if stats is None:  # run uncompiled
        return False
    folder = Path(stats.cache_path or "")
    return stats.cache_path is None or not any(folder.glob("flood.flood-*.nbi"))
