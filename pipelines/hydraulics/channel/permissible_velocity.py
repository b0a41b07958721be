"""Velocity that a grassed channel stands, by cover, slope and soil."""

import csv
from functools import lru_cache
from importlib.resources import files

from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_not_negative
from terrain.shown_text import quoted
from terrain.unit_table import FOOT


@lru_cache(maxsize=1)
def grass_covers() -> dict[str, str]:
    """Covers of the table and what grows there."""
    return {row["cover"]: row["words"] for row in _rows()}


def permissible_velocity(cover: str, slope: float, *, erodible: bool) -> float | None:
    """Velocity that a grassed channel stands.

    Parameters
    ----------
    cover : str
        Key of `grass_covers`.
    slope : float
        Of the bed. [-]
    erodible : bool
        Easily eroded soil.

    Returns
    -------
    float or None
        None where this cover is not used on such a slope. [m/s]

    Raises
    ------
    HydraulicsError
        If the cover is not in the table or the slope negative.

    References
    ----------
    .. [1] US Soil Conservation Service, "Handbook of Channel Design for Soil and Water Conservation", SCS-TP-61, 1954,
       as reprinted in municipal storm drainage codes.
    """
    require_not_negative(slope=slope)
    if cover not in grass_covers():
        raise HydraulicsError(f"cover {quoted(cover)} is not in the table: it has {', '.join(grass_covers())}")
    for row in _rows():
        end = float(row["slope_to"]) if row["slope_to"] else float("inf")
        # a slope on the limit between two classes belongs to the lower one, as the table's "0 to 5" says
        starts = float(row["slope_from"])
        if row["cover"] == cover and (slope > starts or slope == starts == 0) and slope <= end:
            return float(row["erodible_ft_s" if erodible else "resistant_ft_s"]) * FOOT
    return None


@lru_cache(maxsize=1)
def _rows() -> tuple[dict[str, str], ...]:
    text = files("pipelines.hydraulics.channel").joinpath("permissible_velocity.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))
