"""What unit a raster's heights are in, and what said so."""

from dataclasses import dataclass

from pyproj import CRS

from terrain.errors import GroundError
from terrain.reason import Reason, reason
from terrain.shown_text import quoted
from terrain.unit_table import FOOT, US_SURVEY_FOOT

METRES_IN = {"m": 1.0, "ft": FOOT, "ftUS": US_SURVEY_FOOT}
_NAMES = {"m": reason("unit_m"), "ft": reason("unit_ft"), "ftUS": reason("unit_us_survey_ft")}
_GIVEN, _BY_CRS, _BY_TAG = reason("unit_given"), reason("unit_by_vertical_crs"), reason("unit_by_band_tag")
_TAGS = {
    "m": ("m", "metre", "meter", "metres", "meters"),
    "ft": ("ft", "foot", "feet", "international foot", "international feet", "intl foot", "foot_intl"),
    "ftUS": (
        "ftus", "us-ft", "usft", "us ft", "sft", "us survey foot", "us survey feet", "foot_us", "survey foot",
        "u.s. survey foot", "us_survey_foot",
    ),
}


@dataclass(frozen=True, slots=True)
class VerticalUnit:
    """A raster's vertical unit.

    Attributes
    ----------
    unit : str
        m, ft or ftUS.
    metres : float
        Metres in one of it. [m]
    warnings : tuple of Reason
        Where sources differ, or none says.
    """

    unit: str
    metres: float
    told_by: Reason
    warnings: tuple[Reason, ...] = ()


def decide_vertical_unit(
    given: str | None, crs: CRS, band_tag: str | None, horizontal: CRS, where: str
) -> VerticalUnit:
    """Decide the unit of heights: the one given, else the vertical CRS, else the band's tag, else the horizontal
    unit.
    """
    if given is not None and given not in METRES_IN:
        raise GroundError(f'{where}: unknown vertical unit {quoted(given)}; it may be "m", "ft" or "ftUS"')
    by_crs = _unit_of_vertical_crs(crs, where, must_know=given is None)
    by_tag, unread = _unit_of_tag(band_tag)
    told = {_BY_CRS: by_crs, _BY_TAG: by_tag}
    warnings = [reason("unit_tag_ignored", file=where, tag=unread)] if unread else []
    if given is not None:
        differs = next((by for by, unit in told.items() if unit not in (None, given)), None)
        if differs is not None:
            other = _NAMES[told[differs] or given]
            warnings.append(reason("unit_given_differs", file=where, unit=_NAMES[given], by=differs, other=other))
        return _decided(given, _GIVEN, warnings)
    if by_crs is not None:
        if by_tag not in (None, by_crs):
            warnings.append(
                reason(
                    "unit_tag_differs", file=where, unit=_NAMES[by_crs], other=_NAMES[by_tag or by_crs],
                    metric=by_crs == "m",
                )
            )  # fmt: skip
        return _decided(by_crs, _BY_CRS, warnings)
    if by_tag is not None:
        return _decided(by_tag, _BY_TAG, warnings)
    unit = _unit_of_plane(horizontal)
    warnings.append(
        reason(
            "unit_not_stated", file=where, unit=_NAMES[unit], of_map=bool(horizontal.is_projected), metric=unit == "m"
        )
    )
    return _decided(unit, reason("unit_assumed"), warnings)


def _decided(unit: str, told_by: Reason, warnings: list[Reason]) -> VerticalUnit:
    return VerticalUnit(unit, METRES_IN[unit], told_by, tuple(warnings))


def _unit_of_vertical_crs(crs: CRS, where: str, *, must_know: bool) -> str | None:
    part = crs.source_crs if crs.is_bound and crs.source_crs is not None else crs
    axes = []
    if part.is_compound:
        for each in part.sub_crs_list[1:]:
            vertical = each.source_crs if each.is_bound and each.source_crs is not None else each
            axes += vertical.axis_info
    elif len(part.axis_info) == 3 and not part.is_geocentric:
        axes = part.axis_info[2:]
    if not axes:
        return None
    axis = axes[0]
    if axis.direction.lower() == "down":
        raise GroundError(f"{where}: its vertical CRS counts depths downwards; give a raster of heights")
    unit = _nearest_unit(axis.unit_conversion_factor)
    if unit is None and must_know:
        raise GroundError(
            f'{where}: its vertical CRS is in "{axis.unit_name}", which is none of m, ft and ftUS; '
            "give elevation.unit, or convert the raster's heights"
        )
    return unit


def _unit_of_tag(tag: str | None) -> tuple[str | None, str | None]:
    """Unit and None, or None and the tag that could not be read."""
    cleaned = (tag or "").strip().lower()
    if not cleaned:
        return None, None
    for unit, names in _TAGS.items():
        if cleaned in names:
            return unit, None
    return None, tag


def _unit_of_plane(horizontal: CRS) -> str:
    if not horizontal.is_projected:
        return "m"
    return _nearest_unit(horizontal.axis_info[0].unit_conversion_factor) or "m"


def _nearest_unit(factor: float) -> str | None:
    for unit, metres in METRES_IN.items():
        if abs(factor / metres - 1.0) < 1e-9:
            return unit
    return None
