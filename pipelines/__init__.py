"""From a site to a plan: whole jobs and the rooms they use.

    from pipelines import Site, screen
    result = screen(elevation=(heights, transform, crs), parcel=lot)
    result.layers["low_spots"], result.verdict, result.plot(), result.save("out")

What cannot be used raises a `LotshedError`; `load_step("low-spots")` is one stage alone. REFERENCE.md tells all calls.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipelines.library.jobs import check_swale, screen
    from pipelines.library.results import CheckedSwales, ScreenedLot
    from pipelines.library.site import Site
    from pipelines.steps.registry import load_step
    from terrain.errors import LotshedError

__all__ = ["CheckedSwales", "LotshedError", "ScreenedLot", "Site", "check_swale", "load_step", "screen"]


def __getattr__(name: str) -> Any:
    # a job imports half of the scientific stack, which the command line's --help does without
    if name not in __all__:
        raise AttributeError(f"module 'pipelines' has no attribute {name!r}")
    from pipelines.library import jobs, results, site
    from pipelines.steps import registry

    return next(getattr(room, name) for room in (jobs, results, site, registry) if hasattr(room, name))
