"""A swale as it lies: bottom, sections, drives across it, and the reaches between them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from shapely import LineString, Point

from pipelines.hydraulics.channel.open_channel import cross_section
from pipelines.hydraulics.channel.standard_step import Channel, make_channel
from pipelines.inputs.errors import LayerError
from pipelines.inputs.ground_rules import bank_rules, lidar_noise
from pipelines.inputs.rules import Rules
from pipelines.layout.swale.crossings import (
    SwaleCrossing,
    drives_over_culverts,
    measure_drive,
    suspected_drives,
    without_drives,
)
from pipelines.layout.swale.reaches import SwaleReach, divide_reaches, part_id
from terrain.arrays import FloatArray
from terrain.errors import GeometryError
from terrain.ground import Ground
from terrain.kept import kept
from terrain.reading.surface import Surface
from terrain.reason import Reason, reason
from terrain.swale.long_profile import LongProfile, read_profile
from terrain.swale.sections import SwaleSection, cut_sections
from terrain.swale.thalweg import Thalweg, lowest_beside, snap_thalweg


@dataclass(frozen=True, slots=True, eq=False)
class SwaleSite:
    """One swale measured.

    Attributes
    ----------
    thalweg : Thalweg
        On the ground opened along the culverts.
    profile : LongProfile
        Of the ground as the raster shows it, known drives taken out.
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
    """

    id: str
    name: str
    thalweg: Thalweg
    profile: LongProfile
    sections: tuple[SwaleSection, ...]
    channel: Channel
    crossings: tuple[SwaleCrossing, ...]
    reaches: tuple[SwaleReach, ...]
    slope: FloatArray
    warnings: tuple[Reason, ...]

    @property
    def station_ids(self) -> list[str]:
        """Ids of the stations; they sort as they follow each other downstream."""
        digits = len(str(len(self.sections)))
        numbers = range(1, len(self.sections) + 1)
        return [part_id("station", self.id, f"{number:0{digits}d}") for number in numbers]

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
    """Refuse lines that cross each other or a roof; what a line is by itself is checked as it is measured."""
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


@kept
def measure_swale(
    ground: Ground,
    surface: Surface,
    drawn: LineString,
    culverts: Any,
    *,
    id: str,
    name: str,
    rules: Rules,
) -> SwaleSite:
    """Measure a swale: bottom, drives, sections, reaches."""
    spacing, bank_reach, n = (rules[key].likely for key in ("swale_spacing", "swale_bank_reach", "n_swale"))
    try:
        thalweg = snap_thalweg(ground, drawn, reach=rules["swale_snap_reach"].likely)
        if thalweg.length < spacing:
            raise GeometryError(
                f"swale line: it is {thalweg.length:.1f} m long, shorter than the {spacing:g} m between "
                "sections; draw it longer or set a smaller spacing"
            )
    except GeometryError as error:
        raise GeometryError(str(error).replace("swale line", name, 1)) from None
    shown = replace(ground, elevation=surface.elevation)
    bottom = lowest_beside(shown, np.column_stack([thalweg.x, thalweg.y]))
    known = drives_over_culverts(thalweg, _profile(thalweg, bottom, rules), culverts, rules)
    profile = _profile(thalweg, without_drives(thalweg, bottom, known), rules)
    spans = suspected_drives(thalweg, profile, known)
    sections = cut_sections(
        shown, thalweg, spacing=spacing, gaps=[(span.start, span.end) for span in spans], reach=bank_reach,
        along=rules["swale_section_along"].likely, banks_along=rules["swale_banks_along"].likely,
        rules=bank_rules(rules),
    )  # fmt: skip
    stations = np.array([section.station for section in sections])
    crossings = tuple(
        measure_drive(part_id("drive", id, number), span, shown, thalweg, sections, stations, rules)
        for number, span in enumerate(spans, start=1)
        if (stations <= span.start + 1e-6).any() and (stations >= span.end - 1e-6).any()
    )
    channel = make_channel(
        stations, [cross_section(section.offsets, section.elevations, n) for section in sections]
    )
    reaches = divide_reaches(id, thalweg, profile, stations, crossings, rules)
    slope = np.full(len(stations), thalweg.grade)
    for reach in reaches:
        slope[reach.first : reach.last + 1] = reach.grade
    return SwaleSite(
        id, name, thalweg, profile, sections, channel, crossings, reaches, slope,
        _warnings(name, thalweg, sections, rules, len(spans) - len(crossings)),
    )  # fmt: skip


def _profile(thalweg: Thalweg, bottom: FloatArray, rules: Rules) -> LongProfile:
    return read_profile(
        replace(thalweg, bottom=bottom),
        rmse=rules["lidar_rmse"].likely,
        averaged_over=rules["swale_averaged_over"].likely,
        longest_dam=rules["swale_drive_longest"].likely,
        least_rise=rules["swale_drive_least_height"].likely,
        steepness=rules["swale_drive_steepness"].likely,
        sigmas=rules["verdict_sigmas"].likely,
        **lidar_noise(rules),
    )


def culverts_by_swale(lines: Sequence[LineString], culverts: Any, rules: Rules) -> list[Any]:
    """Culverts of each swale."""
    near = rules["swale_culvert_near"].likely
    (culvert, swale), away = shapely.STRtree(lines).query_nearest(culverts.geometry.to_numpy(), return_distance=True)
    # of swales that are as near the first
    first = np.unique(culvert, return_index=True)[1] if culvert.size else culvert
    owner = np.array([int(swale[culvert == each].min()) for each in culvert[first]], dtype=np.int64)
    for feature, distance in zip(culverts["id"], away[first], strict=True):
        if distance > near:
            raise LayerError(
                f"culvert {feature}: it lies on no swale, the nearest is {distance:.1f} m away and at most "
                f"{near:g} m may be; draw its swale, or leave it out with `where`"
            )
    return [culverts[owner == index] for index in range(len(lines))]


def _warnings(
    name: str, thalweg: Thalweg, sections: tuple[SwaleSection, ...], rules: Rules, at_an_end: int
) -> tuple[Reason, ...]:
    found = []
    if at_an_end:
        found.append(reason("swale_drives_at_end", name=name, count=at_an_end))
    if thalweg.at_reach > 0.1:
        reach = rules["swale_snap_reach"].likely
        found.append(reason("swale_line_beside_bottom", name=name, share=thalweg.at_reach, reach=reach))
    none = sum(1 for section in sections if "none" in (section.left_kind, section.right_kind))
    if none:
        reach = rules["swale_bank_reach"].likely
        found.append(reason("swale_without_bank", name=name, without=none, stations=len(sections), reach=reach))
    if thalweg.fall < rules["lidar_rmse"].likely:
        found.append(reason("swale_hardly_falls", name=name, fall=thalweg.fall))
    return tuple(found)
