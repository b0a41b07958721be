"""A swale as it lies: bottom, sections, drives across it, and the reaches between them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from shapely import LineString, Point

from pipelines.hydraulics.barrel import circular_barrel
from pipelines.hydraulics.culvert import Culvert, CulvertInlet, culvert_inlet
from pipelines.hydraulics.drive_crossing import DriveCrossing
from pipelines.hydraulics.open_channel import cross_section
from pipelines.hydraulics.standard_step import Channel, make_channel
from pipelines.inputs.errors import LayerError
from terrain.arrays import FloatArray
from terrain.drive_ridge import DriveRidge, find_ridge
from terrain.errors import GeometryError
from terrain.ground import Ground
from terrain.long_profile import Adverse, Dam, LongProfile, read_profile
from terrain.sections import SwaleSection, cut_sections
from terrain.surface import Surface
from terrain.thalweg import Thalweg, lowest_beside, snap_thalweg

ASSUMED_BORE = 0.3048
"""Bore taken where a culvert's is not given, 12 in; common practice, no source. [m]"""
CORRUGATED_N = 0.024
SMOOTH_N = 0.012
LONGEST_REACH = 60.0
"""Longer reaches are divided. Common practice, no source. [m]"""
ON_SWALE = 5.0
"""A culvert belongs to a swale that lies this near. Common practice, no source. [m]"""
_SMOOTH = ("concrete", "plastic", "pvc", "hdpe", "smooth", "clay", "polyethylene", "sdr", "abs", "polypropylene")


@dataclass(frozen=True, slots=True)
class SwaleRules:
    """How a swale is measured.

    Attributes
    ----------
    spacing : float
        Between sections. [m]
    reach : float
        How far from the drawn line the bottom, and from the bottom a bank, is looked for. [m]
    roughness : float
        Manning's n. [-]
    rmse : float
        Vertical accuracy of one height. [m]
    """

    spacing: float = 5.0
    snap_reach: float = 3.0
    reach: float = 8.0
    roughness: float = 0.05
    rmse: float = 0.10


@dataclass(frozen=True, slots=True, eq=False)
class SwaleCrossing:
    """A drive across a swale.

    Attributes
    ----------
    id : str
        Unique.
    start, end : float
        Stations of the sections above and below it. [m]
    above : int
        Position of the section just above.
    ridge : DriveRidge
        Its highest line.
    drive : DriveCrossing
        As the water meets it; without a culvert where none was given.
    given : bool
        A culvert was given; else it is suspected.
    dam : Dam or None
        The hump in the raster, where it shows one.
    bore : float or None
        Inside diameter. [m]
    material : str
        As given.
    line : shapely LineString or None
        Of the culvert.
    assumed : str
        What had to be assumed of it, in words; empty for nothing.
    """

    id: str
    start: float
    end: float
    above: int
    ridge: DriveRidge
    drive: DriveCrossing
    given: bool
    dam: Dam | None
    bore: float | None
    material: str
    line: LineString | None
    assumed: str


@dataclass(frozen=True, slots=True)
class SwaleReach:
    """A stretch between drives, or against the grade.

    Attributes
    ----------
    id : str
        Unique.
    start, end : float
        Stations. [m]
    first, last : int
        Positions of its first and last section.
    grade : float
        Of the straight line fitted to its bottom, positive downstream. [-]
    adverse : Adverse or None
        The rise, where it runs against the grade.
    """

    id: str
    start: float
    end: float
    first: int
    last: int
    grade: float
    adverse: Adverse | None


@dataclass(frozen=True, slots=True, eq=False)
class SwaleSite:
    """One swale measured.

    Attributes
    ----------
    id, name : str
        Unique id, and the name it was given.
    drawn : shapely LineString
        As drawn.
    thalweg : Thalweg
        On the ground opened along the culverts.
    profile : LongProfile
        Of it.
    sections : tuple of SwaleSection
        Downstream, none within a drive.
    channel : Channel
        The same, for the hydraulics.
    crossings : tuple of SwaleCrossing
        Drives, downstream.
    reaches : tuple of SwaleReach
        Downstream, without gap but for the drives.
    slope : (n,) float ndarray
        Grade of the reach that each section lies in. [-]
    warnings : tuple of str
        What a reader must know.
    """

    id: str
    name: str
    drawn: LineString
    thalweg: Thalweg
    profile: LongProfile
    sections: tuple[SwaleSection, ...]
    channel: Channel
    crossings: tuple[SwaleCrossing, ...]
    reaches: tuple[SwaleReach, ...]
    slope: FloatArray
    warnings: tuple[str, ...]

    @property
    def station(self) -> FloatArray:
        """Of the sections. [m]"""
        return self.channel.station

    @property
    def bank(self) -> FloatArray:
        """Lower bank at the sections. [m]"""
        return np.array([section.bank_full for section in self.sections])

    @property
    def bottom(self) -> FloatArray:
        """Lowest ground at the sections. [m]"""
        return np.array([section.bottom for section in self.sections])

    def station_of(self, point: Point) -> float:
        """Distance along the thalweg of the place nearest to a point. [m]"""
        return float(shapely.line_locate_point(shapely.force_2d(self.thalweg.line), point))

    def section_below(self, station: float) -> int:
        """Position of the first section at or below a station."""
        return min(int(np.searchsorted(self.station, station - 1e-9)), len(self.station) - 1)


def check_swale_lines(lines: Sequence[LineString], names: Sequence[str], roofs: Any) -> None:
    """Refuse lines that cross each other or a roof; what a line is by itself is checked as it is measured.

    Parameters
    ----------
    lines : sequence of shapely LineString
        In the metric frame.
    names : sequence of str
        Of each, for messages.
    roofs : GeoDataFrame
        Layer of roofs.

    Raises
    ------
    LayerError
        If two cross, or one crosses a roof.
    """
    for index, line in enumerate(lines):
        if line.length == 0.0:
            raise LayerError(f"{names[index]}: it has no length; draw at least two different points along the bottom")
        for other in range(index + 1, len(lines)):
            if line.crosses(lines[other]):
                at = shapely.get_point(shapely.extract_unique_points(line.intersection(lines[other])), 0)
                at = at if at is not None else shapely.centroid(line.intersection(lines[other]))
                raise LayerError(
                    f"{names[index]} and {names[other]} cross at easting {at.x:.1f} m, northing {at.y:.1f} m (metres of"
                    " the map's plane); end the one at the other, or draw each along its own bottom"
                )
        for roof, open_below, feature in zip(roofs.geometry, roofs["open_below"], roofs["id"], strict=True):
            if not open_below and line.intersects(roof):
                raise LayerError(
                    f"{names[index]}: it crosses the roof {feature}; draw it along the swale's bottom, or mark the roof"
                    " open_below where water passes under it"
                )


def measure_swale(
    ground: Ground,
    surface: Surface,
    drawn: LineString,
    culverts: Any,
    *,
    id: str,
    name: str,
    rules: SwaleRules | None = None,
) -> SwaleSite:
    """Measure a swale: bottom, drives, sections, reaches.

    Parameters
    ----------
    ground : Ground
        As water meets it, opened along the culverts.
    surface : Surface
        The same window as the raster shows it.
    drawn : shapely LineString
        Along the swale, in the metric frame.
    culverts : GeoDataFrame
        Layer of culverts that belong to it.
    id, name : str
        Of the swale.
    rules : SwaleRules, optional
        How it is measured.

    Returns
    -------
    SwaleSite
        Downstream.

    Raises
    ------
    GeometryError
        If the line cannot be used; the message names the swale.
    """
    rules = rules or SwaleRules()
    try:
        thalweg = snap_thalweg(ground, drawn, reach=rules.snap_reach)
        if thalweg.length < rules.spacing:
            raise GeometryError(
                f"swale line: it is {thalweg.length:.1f} m long, shorter than the {rules.spacing:g} m between "
                "sections; draw it longer or set a smaller spacing"
            )
    except GeometryError as error:
        raise GeometryError(str(error).replace("swale line", name, 1)) from None
    shown = replace(ground, elevation=surface.elevation)
    profile = read_profile(thalweg, rmse=rules.rmse)
    raw = read_profile(replace(thalweg, bottom=_bottom_as_shown(shown, thalweg)), rmse=rules.rmse)
    spans = _spans(thalweg, profile, raw, culverts)
    sections = cut_sections(
        shown, thalweg, spacing=rules.spacing, gaps=[(span.start, span.end) for span in spans], reach=rules.reach
    )
    stations = np.array([section.station for section in sections])
    crossings = tuple(
        _crossing(f"{id}-C{number}", span, shown, thalweg, sections, stations)
        for number, span in enumerate(spans, start=1)
        if (stations <= span.start + 1e-6).any() and (stations >= span.end - 1e-6).any()
    )
    channel = make_channel(
        stations, [cross_section(section.offsets, section.elevations, rules.roughness) for section in sections]
    )
    reaches = _reaches(id, thalweg, profile, stations, crossings)
    slope = np.empty(len(stations))
    for reach in reaches:
        slope[reach.first : reach.last + 1] = reach.grade
    return SwaleSite(
        id, name, drawn, thalweg, profile, sections, channel, crossings, reaches, slope,
        _warnings(name, thalweg, sections, rules),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Span:
    start: float
    end: float
    dam: Dam | None
    row: Any


def culverts_by_swale(lines: Sequence[LineString], culverts: Any) -> list[Any]:
    """Culverts of each swale.

    Parameters
    ----------
    lines : sequence of shapely LineString
        Swales as drawn.
    culverts : GeoDataFrame
        Layer of culverts.

    Returns
    -------
    list of GeoDataFrame
        Rows of each swale.

    Raises
    ------
    LayerError
        If one lies on no swale.
    """
    owner = []
    for line, feature in zip(culverts.geometry, culverts["id"], strict=True):
        away = [shapely.distance(line, swale) for swale in lines]
        nearest = int(np.argmin(away))
        if away[nearest] > ON_SWALE:
            raise LayerError(
                f"culvert {feature}: it lies on no swale, the nearest is {away[nearest]:.1f} m away and at most "
                f"{ON_SWALE:g} m may be; draw its swale, or leave it out with `where`"
            )
        owner.append(nearest)
    return [culverts[[each == index for each in owner]] for index in range(len(lines))]


def _bottom_as_shown(shown: Ground, thalweg: Thalweg) -> FloatArray:
    return lowest_beside(shown, np.column_stack([thalweg.x, thalweg.y]))


def _spans(thalweg: Thalweg, profile: LongProfile, raw: LongProfile, culverts: Any) -> list[_Span]:
    """Stations of each drive: those with a culvert given, and the humps that are left when those are open."""
    flat = shapely.force_2d(thalweg.line)
    spans = []
    for row in culverts.itertuples():
        ends = sorted(
            float(shapely.line_locate_point(flat, Point(row.geometry.coords[end][:2]))) for end in (0, -1)
        )
        dam = next((hump for hump in raw.dams if hump.start <= ends[1] and hump.end >= ends[0]), None)
        start, end = ends if dam is None else (min(ends[0], dam.start), max(ends[1], dam.end))
        spans.append(_Span(max(start - 0.5, 0.0), min(end + 0.5, thalweg.length), dam, row))
    for dam in profile.dams:
        if not any(span.start <= dam.end and span.end >= dam.start for span in spans) and dam.sure:
            spans.append(_Span(max(dam.start - 0.5, 0.0), min(dam.end + 0.5, thalweg.length), dam, None))
    spans.sort(key=lambda span: span.start)
    apart: list[_Span] = []
    for span in spans:
        if apart and span.start <= apart[-1].end:
            # two culverts under one drive, or drives that touch: one obstacle, the first culvert's
            kept = apart[-1] if apart[-1].row is not None else span
            apart[-1] = replace(kept, start=apart[-1].start, end=max(apart[-1].end, span.end))
        else:
            apart.append(span)
    return apart


def _crossing(
    id: str,
    span: _Span,
    shown: Ground,
    thalweg: Thalweg,
    sections: tuple[SwaleSection, ...],
    stations: FloatArray,
) -> SwaleCrossing:
    above = int(np.flatnonzero(stations <= span.start + 1e-6)[-1])
    section, below = sections[above], sections[above + 1]
    # a step beyond the banks, where the water would go round the drive's end
    left, right = -float(section.offsets[0]) + 1.0, float(section.offsets[-1]) + 1.0
    ridge = find_ridge(shown, thalweg, span.start, span.end, left=left, right=right)
    if span.row is None:
        drive = DriveCrossing(None, ridge.offsets, ridge.heights)
        return SwaleCrossing(id, span.start, span.end, above, ridge, drive, False, span.dam, None, "", None, "")
    row = span.row
    line = shapely.force_2d(row.geometry)
    flat = shapely.force_2d(thalweg.line)
    downstream = shapely.line_locate_point(flat, Point(line.coords[0])) <= shapely.line_locate_point(
        flat, Point(line.coords[-1])
    )
    given = (float(row.invert_up_m), float(row.invert_down_m))
    bore = float(row.diameter_m)
    assumed = []
    if not np.isfinite(bore):
        bore = ASSUMED_BORE
        assumed.append("its bore is not given and taken as 12 in (0.30 m)")
    up = given[0] if np.isfinite(given[0]) else section.bottom
    down = given[1] if np.isfinite(given[1]) else below.bottom
    if not all(np.isfinite(given)):
        assumed.append("its inverts are read off the raster")
    inlet, roughness = _inlet_of(str(row.material))
    if not str(row.material).strip():
        assumed.append("its material is not given and taken as corrugated")
    culvert = Culvert(circular_barrel(bore), inlet, max(line.length, 0.5), roughness, up, down)
    drive = DriveCrossing(culvert, ridge.offsets, ridge.heights)
    return SwaleCrossing(
        id, span.start, span.end, above, ridge, drive, True, span.dam, bore, str(row.material),
        line if downstream else line.reverse(), "; ".join(assumed),
    )  # fmt: skip


def _inlet_of(material: str) -> tuple[CulvertInlet, float]:
    """How a culvert of a material begins, and its roughness: projecting from the fill, as driveway culverts do."""
    words = material.lower()
    if "concrete" in words:
        return culvert_inlet("concrete_groove_projecting"), SMOOTH_N
    smooth = any(word in words for word in _SMOOTH) and "corrugated" not in words
    return culvert_inlet("metal_projecting"), SMOOTH_N if smooth else CORRUGATED_N


def _reaches(
    id: str,
    thalweg: Thalweg,
    profile: LongProfile,
    stations: FloatArray,
    crossings: tuple[SwaleCrossing, ...],
) -> tuple[SwaleReach, ...]:
    edges = [0.0, *(end for crossing in crossings for end in (crossing.start, crossing.end)), thalweg.length]
    free = [(edges[k], edges[k + 1]) for k in range(0, len(edges), 2)]
    found: list[SwaleReach] = []
    for start, end in free:
        inner = np.flatnonzero((stations >= start - 1e-6) & (stations <= end + 1e-6))
        if len(inner) == 0:
            continue
        cuts = _cuts(start, end, [each for each in profile.adverse if each.start < end and each.end > start])
        first = int(inner[0])
        for upper, lower in pairwise(cuts):
            last = int(inner[stations[inner] <= lower + 1e-6][-1]) if lower < end else int(inner[-1])
            if last < first:
                continue
            rising = [each for each in profile.adverse if each.start < lower - 0.5 and each.end > upper + 0.5]
            adverse = max(rising, key=lambda each: each.rise, default=None)
            grade = _grade(profile, upper, lower)
            number = f"{id}-R{len(found) + 1}"
            found.append(SwaleReach(number, upper, lower, first, last, grade, adverse if grade <= 0.0 else None))
            first = last + 1
    return tuple(found)


def _cuts(start: float, end: float, adverse: Sequence[Adverse]) -> list[float]:
    """Where a stretch is divided: at the ends of what rises, and into lengths that are not too long."""
    inner = {at for each in adverse for at in (each.start, each.end) if start + 3.0 < at < end - 3.0}
    cuts = [start, *sorted(inner), end]
    divided = [start]
    for upper, lower in pairwise(cuts):
        parts = int(np.ceil((lower - upper) / LONGEST_REACH)) or 1
        divided += [upper + (lower - upper) * part / parts for part in range(1, parts + 1)]
    return divided


def _grade(profile: LongProfile, start: float, end: float) -> float:
    inside = (profile.station >= start) & (profile.station <= end)
    if inside.sum() < 3:
        inside = np.abs(profile.station - (start + end) / 2.0) <= max((end - start) / 2.0, 3.0)
    return -float(np.polyfit(profile.station[inside], profile.without_dams[inside], 1)[0])


def _warnings(
    name: str, thalweg: Thalweg, sections: tuple[SwaleSection, ...], rules: SwaleRules
) -> tuple[str, ...]:
    said = []
    if thalweg.at_reach > 0.1:
        said.append(
            f"{name}: along {thalweg.at_reach:.0%} of it the lowest ground lies at the edge of the "
            f"{rules.snap_reach:g} m searched on either side of the drawn line; draw it nearer to the bottom"
        )
    none = sum(1 for section in sections if "none" in (section.left_kind, section.right_kind))
    if none:
        said.append(
            f"{name}: at {none} of {len(sections)} stations no bank was found within {rules.reach:g} m on one side; "
            "there the ground is taken to end at an upright wall"
        )
    if thalweg.fall < rules.rmse:
        said.append(
            f"{name}: it falls {thalweg.fall:.2f} m from end to end, less than the lidar's error; which end is the "
            "lower one is not sure"
        )
    return tuple(said)
