"""What unit a raster's heights are in, and what said so."""

from dataclasses import dataclass

from pyproj import CRS

from terrain.errors import GroundError

METRES_IN = {"m": 1.0, "ft": 0.3048, "ftUS": 1200.0 / 3937.0}
_IN_WORDS = {"m": "metres", "ft": "feet", "ftUS": "US survey feet"}
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
    told_by : str
        What said so, in words.
    warnings : tuple of str
        Where sources differ, or none says.
    """

    unit: str
    metres: float
    told_by: str
    warnings: tuple[str, ...] = ()


def decide_vertical_unit(
    given: str | None, crs: CRS, band_tag: str | None, horizontal: CRS, where: str
) -> VerticalUnit:
    """Decide the unit of heights: the one given, else the vertical CRS, else the band's tag, else the horizontal
    unit.
    """
    if given is not None and given not in METRES_IN:
        raise GroundError(f'{where}: unknown vertical unit "{given}"; it may be "m", "ft" or "ftUS"')
    by_crs = _unit_of_vertical_crs(crs, where, must_know=given is None)
    by_tag, unread = _unit_of_tag(band_tag)
    told = [(by_crs, "the vertical CRS"), (by_tag, "the band's unit tag")]
    warnings = [f'{where}: the band\'s unit tag "{unread}" is not known and was passed over'] if unread else []
    if given is not None:
        for unit, source in told:
            if unit not in (None, given):
                warnings.append(
                    f"{where}: heights are read in {_IN_WORDS[given]} as given, though {source} says {_IN_WORDS[unit]}"
                )
                break
        return _decided(given, "given", warnings)
    if by_crs is not None:
        if by_tag not in (None, by_crs):
            warnings.append(
                f"{where}: the vertical CRS says {_IN_WORDS[by_crs]} and the band's unit tag {_IN_WORDS[by_tag]}; "
                f"heights are read in {_IN_WORDS[by_crs]}. {_if_wrong(by_crs)}"
            )
        return _decided(by_crs, "the vertical CRS", warnings)
    if by_tag is not None:
        return _decided(by_tag, "the band's unit tag", warnings)
    unit = _unit_of_plane(horizontal)
    warnings.append(
        f"{where}: nothing says in what unit heights are; {_IN_WORDS[unit]} is assumed, "
        f"{'as the map is in it' if horizontal.is_projected else 'as degrees measure no heights'}. {_if_wrong(unit)} "
        'Give elevation.unit = "m", "ft" or "ftUS" to settle it'
    )
    return _decided(unit, "assumed from the horizontal unit", warnings)


def _decided(unit: str, told_by: str, warnings: list[str]) -> VerticalUnit:
    return VerticalUnit(unit, METRES_IN[unit], told_by, tuple(warnings))


def _if_wrong(unit: str) -> str:
    if unit == "m":
        return "If they are in feet, every height, depth, slope and lift here is 3.28 times too large."
    return "If they are in metres, every height, depth, slope and lift here is 3.28 times too small."


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
