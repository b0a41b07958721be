"""Whether the compiled loops were ever compiled on this machine, which takes half a minute and happens once."""

from pathlib import Path

COMPILING = "compiling, first run only: about half a minute"


def compiles_first() -> bool:
    """Whether the first kernel has no compiled copy in numba's cache yet."""
    from terrain.kernels.flood import flood

    stats = getattr(flood, "stats", None)
    if stats is None:  # run uncompiled
        return False
    folder = Path(stats.cache_path or "")
    return stats.cache_path is None or not any(folder.glob("flood.flood-*.nbi"))
