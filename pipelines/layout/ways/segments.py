"""A run of pipe segment by segment: what lies between two breaks of its slope, or its ends, is one."""

from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString

from pipelines.hydraulics.pipe_catalogue import Pipe
from pipelines.layout.plan import PipeSegment
from terrain.arrays import FloatArray

SAME_PLACE = 1e-6
"""Vertices nearer than this are one. [m]"""


def segments_of(
    line: LineString, ground: tuple[float, ...] | FloatArray, pipe: Pipe, *, tolerance: float, taper: float = 0.0
) -> tuple[PipeSegment, ...]:
    """Segments of a laid line, downstream; cover in the last stretch before an outlet, its taper, is not told."""
    along, inverts = stations(line)
    cover = np.asarray(ground) - inverts - pipe.outside + pipe.wall
    covered = along <= along[-1] - taper
    covered[0] = True
    ends = [0, *break_vertices(line, tolerance), len(along) - 1]
    found = []
    for first, last in pairwise(ends):
        inside = np.arange(first, last + 1)
        told = inside[covered[inside]]
        found.append(PipeSegment(
            float(along[first]), float(along[last]),
            float((inverts[first] - inverts[last]) / (along[last] - along[first])),
            float(cover[told].min()) if told.size else None,
        ))
    return tuple(found)


def stations(line: LineString) -> tuple[FloatArray, FloatArray]:
    """How far along a line each of its vertices lies, and their inverts. [m]"""
    points = shapely.get_coordinates(line, include_z=True)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points[:, :2], axis=0).T))])
    return along, points[:, 2]


def break_vertices(line: LineString, tolerance: float) -> list[int]:
    """Positions of the vertices at which a line's slope changes by more than a tolerance [-]."""
    along, inverts = stations(line)
    steps = np.diff(along)
    found: list[int] = []
    # a straight grade is held from where it began, so that many small changes do not add up unseen
    first = 0
    for k in range(1, len(along) - 1):
        if steps[k] < SAME_PLACE or along[k] - along[first] < SAME_PLACE:
            continue
        before = (inverts[first] - inverts[k]) / (along[k] - along[first])
        if abs((inverts[k] - inverts[k + 1]) / steps[k] - before) > tolerance:
            found.append(k)
            first = k
    return found
