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
from terrain.arrays import FloatArray
from terrain.ground import Ground
from terrain.swale.drive_ridge import DriveRidge, find_ridge
from terrain.swale.long_profile import Dam, LongProfile
from terrain.swale.sections import SwaleSection
from terrain.swale.thalweg import Thalweg

ASSUMED_BORE = 0.3048
"""Bore taken where a culvert's is not given, 12 in; common practice, no source. [m]"""
CORRUGATED_N = 0.024
SMOOTH_N = 0.012
_FOOT_OF_FILL = 3.0
_SMOOTH = ("concrete", "plastic", "pvc", "hdpe", "smooth", "clay", "polyethylene", "sdr", "abs", "polypropylene")


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


def drives_over_culverts(thalweg: Thalweg, shown: LongProfile, culverts: Any) -> list[DriveSpan]:
    """Where the drives lie whose culverts are given."""
    flat = shapely.force_2d(thalweg.line)
    spans = []
    for row in culverts.itertuples():
        first, last = sorted(
            float(shapely.line_locate_point(flat, Point(row.geometry.coords[end][:2]))) for end in (0, -1)
        )
        dam = next((hump for hump in shown.dams if hump.start <= last and hump.end >= first), None)
        start, end = first, last
        if dam is not None:
            # a fill's foot lies near the culvert's end; what rises farther off is the swale's own
            start = min(first, max(dam.start, first - _FOOT_OF_FILL))
            end = max(last, min(dam.end, last + _FOOT_OF_FILL))
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
) -> SwaleCrossing:
    """Measure a drive: its ridge, and its culvert where one is given."""
    above = int(np.flatnonzero(stations <= span.start + 1e-6)[-1])
    section, below = sections[above], sections[above + 1]
    # a step beyond the banks, where the water would go round the drive's end
    left, right = -float(section.offsets[0]) + 1.0, float(section.offsets[-1]) + 1.0
    ridge = find_ridge(shown, thalweg, span.start, span.end, left=left, right=right)
    if span.culvert is None:
        drive = DriveCrossing(None, ridge.offsets, ridge.heights)
        return SwaleCrossing(id, span.start, span.end, above, ridge, drive, False, span.dam, None, "", None, "")
    row = span.culvert
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
