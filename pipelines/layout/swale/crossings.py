"""Drives across a swale: with the culverts that are given, and humps that may hide one."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from shapely import LineString, Point

from pipelines.hydraulics.channel.barrel import circular_barrel
from pipelines.hydraulics.channel.culvert import Culvert, CulvertInlet, culvert_inlet
from pipelines.hydraulics.channel.drive_crossing import DriveCrossing
from pipelines.inputs.errors import LayerError
from pipelines.inputs.rules import Rules
from terrain.arrays import FloatArray
from terrain.ground import Ground
from terrain.reason import Reason, reason
from terrain.swale.drive_ridge import DriveRidge, find_ridge
from terrain.swale.long_profile import Dam, LongProfile
from terrain.swale.sections import SwaleSection
from terrain.swale.thalweg import Thalweg

_SMOOTH = ("concrete", "plastic", "pvc", "hdpe", "smooth", "clay", "polyethylene", "sdr", "abs", "polypropylene")


@dataclass(frozen=True, slots=True, eq=False)
class SwaleCrossing:
    """A drive across a swale.

    Attributes
    ----------
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
    diameter : float or None
        Inside. [m]
    line : shapely LineString or None
        Of the culvert.
    assumed : tuple of Reason
        What had to be assumed of it.
    """

    id: str
    start: float
    end: float
    above: int
    ridge: DriveRidge
    drive: DriveCrossing
    given: bool
    dam: Dam | None
    diameter: float | None
    material: str
    line: LineString | None
    assumed: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class DriveSpan:
    """Where a drive crosses a swale.

    Attributes
    ----------
    start, end : float
        Stations just above and below it. [m]
    dam : Dam or None
        The hump in the raster, where it shows one.
    culvert : row or None
        Of the layer of culverts; None where none is given.
    """

    start: float
    end: float
    dam: Dam | None
    culvert: Any


def drives_over_culverts(thalweg: Thalweg, shown: LongProfile, culverts: Any, rules: Rules) -> list[DriveSpan]:
    """Where the drives lie whose culverts are given."""
    flat = shapely.force_2d(thalweg.line)
    foot = rules["swale_drive_foot"].likely
    spans = []
    for row in culverts.itertuples():
        first, last = sorted(
            float(shapely.line_locate_point(flat, Point(row.geometry.coords[end][:2]))) for end in (0, -1)
        )
        dam = next((hump for hump in shown.dams if hump.start <= last and hump.end >= first), None)
        start, end = first, last
        if dam is not None:
            # a fill's foot lies near the culvert's end; what rises farther off is the swale's own
            start = min(first, max(dam.start, first - foot))
            end = max(last, min(dam.end, last + foot))
        spans.append(DriveSpan(max(start - 0.5, 0.0), min(end + 0.5, thalweg.length), dam, row))
    return _apart(spans)


def without_drives(thalweg: Thalweg, shown: FloatArray, spans: Sequence[DriveSpan]) -> FloatArray:
    """Bottom of a swale as if its known drives were not there, straight from the bottom above each to that below.
    [m]
    """
    under = np.zeros(len(shown), dtype=np.bool_)
    for span in spans:
        under |= (thalweg.station > span.start) & (thalweg.station < span.end)
    if under.all() or not under.any():
        return shown
    bridged: FloatArray = np.interp(thalweg.station, thalweg.station[~under], shown[~under])
    return bridged


def suspected_drives(thalweg: Thalweg, profile: LongProfile, known: Sequence[DriveSpan]) -> list[DriveSpan]:
    """Humps that are left when the known drives are taken out: each may be a drive over a culvert that nobody gave."""
    found = [
        DriveSpan(max(dam.start - 0.5, 0.0), min(dam.end + 0.5, thalweg.length), dam, None)
        for dam in profile.dams
        if dam.sure and not any(span.start <= dam.end and span.end >= dam.start for span in known)
    ]
    return _apart([*known, *found])


def _apart(spans: Sequence[DriveSpan]) -> list[DriveSpan]:
    """Drives that touch made one obstacle: two culverts under one drive count as the first."""
    apart: list[DriveSpan] = []
    for span in sorted(spans, key=lambda each: each.start):
        if apart and span.start <= apart[-1].end:
            kept = apart[-1] if apart[-1].culvert is not None else span
            apart[-1] = replace(kept, start=apart[-1].start, end=max(apart[-1].end, span.end))
        else:
            apart.append(span)
    return apart


def measure_drive(
    id: str,
    span: DriveSpan,
    shown: Ground,
    thalweg: Thalweg,
    sections: Sequence[SwaleSection],
    stations: FloatArray,
    rules: Rules,
) -> SwaleCrossing:
    """Measure a drive: its ridge, and its culvert where one is given."""
    above = int(np.flatnonzero(stations <= span.start + 1e-6)[-1])
    section, below = sections[above], sections[above + 1]
    # a step beyond the banks, where the water would go round the drive's end
    left, right = -float(section.offsets[0]) + 1.0, float(section.offsets[-1]) + 1.0
    ridge = find_ridge(shown, thalweg, span.start, span.end, left=left, right=right)
    if span.culvert is None:
        drive = DriveCrossing(None, ridge.offsets, ridge.heights)
        return SwaleCrossing(id, span.start, span.end, above, ridge, drive, False, span.dam, None, "", None, ())
    row = span.culvert
    line = shapely.force_2d(row.geometry)
    flat = shapely.force_2d(thalweg.line)
    downstream = shapely.line_locate_point(flat, Point(line.coords[0])) <= shapely.line_locate_point(
        flat, Point(line.coords[-1])
    )
    given = (float(row.invert_up_m), float(row.invert_down_m))
    diameter, silt = float(row.diameter_m), float(np.nan_to_num(row.silt_m))
    assumed = []
    if not np.isfinite(diameter):
        diameter = rules["swale_culvert_diameter"].likely
        assumed.append(reason("swale_culvert_diameter_assumed", diameter=diameter))
    if silt >= diameter:
        raise LayerError(
            f"culvert {row.id}: silt of {silt:g} m fills its {diameter:g} m; give the depth of the silt, less than its "
            "diameter, or leave the culvert out"
        )
    # a given invert is the pipe's own; the raster shows what lies in it
    up = given[0] + silt if np.isfinite(given[0]) else section.bottom
    down = given[1] + silt if np.isfinite(given[1]) else below.bottom
    if not all(np.isfinite(given)):
        assumed.append(reason("swale_culvert_inverts_read"))
    inlet, roughness = _inlet_of(str(row.material), rules)
    if not str(row.material).strip():
        assumed.append(reason("swale_culvert_material_assumed"))
    culvert = Culvert(circular_barrel(diameter, silt), inlet, max(line.length, 0.5), roughness, up, down)
    drive = DriveCrossing(culvert, ridge.offsets, ridge.heights)
    return SwaleCrossing(
        id, span.start, span.end, above, ridge, drive, True, span.dam, diameter, str(row.material),
        line if downstream else line.reverse(), tuple(assumed),
    )  # fmt: skip


def _inlet_of(material: str, rules: Rules) -> tuple[CulvertInlet, float]:
    """How a culvert of a material begins, and its roughness: projecting from the fill, as driveway culverts do."""
    words, smooth_n = material.lower(), rules["swale_culvert_n_smooth"].likely
    if "concrete" in words:
        return culvert_inlet("concrete_groove_projecting"), smooth_n
    smooth = any(word in words for word in _SMOOTH) and "corrugated" not in words
    return culvert_inlet("metal_projecting"), smooth_n if smooth else rules["swale_culvert_n_corrugated"].likely
