"""Cross-sections of a swale: square to its bottom, bank to bank."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString

from terrain.arrays import BoolArray, FloatArray
from terrain.errors import GeometryError
from terrain.ground import BARRIER, ROOF, Ground
from terrain.reading.surface import Surface
from terrain.sampling import sample_bilinear
from terrain.swale.banks import BankRules, find_bank
from terrain.swale.thalweg import Thalweg


@dataclass(frozen=True, slots=True, eq=False)
class SwaleSection:
    """Ground across a swale, seen looking downstream.

    Attributes
    ----------
    station : float
        Distance along the thalweg from its upper end. [m]
    x, y : float
        Where it crosses the thalweg. [m]
    right : tuple of float
        Unit vector to the right.
    offsets : (n,) float ndarray
        From the left bank (negative) to the right bank, increasing. [m]
    elevations : (n,) float ndarray
        Ground. [m]
    left_level, right_level : float
        Tops of the banks. [m]
    left_kind, right_kind : str
        shelf, crest, wall or none, as of Bank.
    left_cut, right_cut : bool
        Ends short of its bank since a neighbouring section crosses it in a bend; there it ends in an upright side.
    """

    station: float
    x: float
    y: float
    right: tuple[float, float]
    offsets: FloatArray
    elevations: FloatArray
    left_level: float
    right_level: float
    left_kind: str
    right_kind: str
    left_cut: bool = False
    right_cut: bool = False

    @property
    def bottom(self) -> float:
        """Lowest ground between the banks. [m]"""
        return float(self.elevations.min())

    @property
    def bank_full(self) -> float:
        """Highest level that stays between the banks. [m]"""
        return min(self.left_level, self.right_level)

    @property
    def depth(self) -> float:
        """From the lowest ground to bank-full. [m]"""
        return max(self.bank_full - self.bottom, 0.0)

    @property
    def width(self) -> float:
        """From bank to bank. [m]"""
        return float(self.offsets[-1] - self.offsets[0])

    @property
    def line(self) -> LineString:
        """From the left bank to the right; z is the ground. [m]"""
        x = self.x + self.offsets * self.right[0]
        y = self.y + self.offsets * self.right[1]
        return LineString(np.column_stack([x, y, self.elevations]))


def cut_sections(
    surface: Surface | Ground,
    thalweg: Thalweg,
    *,
    spacing: float = 5.0,
    gaps: Sequence[tuple[float, float]] = (),
    reach: float = 8.0,
    along: float = 2.0,
    banks_along: float = 10.0,
    rules: BankRules | None = None,
) -> tuple[SwaleSection, ...]:
    """Cross-sections square to a thalweg, from bank to bank, none crossing another.

    A section's heights are the mean of lines a cell apart over a short way along the swale, its grade taken
    out. Its banks are found, and their tops read, on the median over a longer way, so that neither noise nor a
    drive across the swale moves them.
    """
    if thalweg.length < spacing:
        raise GeometryError(
            f"swale line: it is {thalweg.length:.1f} m long, shorter than the {spacing:g} m between sections;"
            " draw it longer or set a smaller spacing"
        )
    fine = _Transects.across(surface, thalweg, reach)
    stations = _stations(thalweg.length, spacing, gaps)
    windows = (along, max(banks_along, along))
    sections = [_section(surface, thalweg, fine, float(station), windows, rules or BankRules()) for station in stations]
    return _without_overlaps(sections)


def _stations(length: float, spacing: float, gaps: Sequence[tuple[float, float]]) -> FloatArray:
    stations = np.linspace(0.0, length, max(round(length / spacing), 1) + 1)
    ends = [end for gap in gaps for end in gap if 0.0 <= end <= length]
    for start, end in gaps:
        stations = stations[(stations < start) | (stations > end)]
    if ends and len(stations):
        # a regular station almost on a gap's end gives way to it; the swale's own ends stay
        near = np.abs(stations[:, None] - np.array(ends)).min(axis=1) < spacing / 4.0
        near[[0, -1]] = False
        stations = stations[~near]
    return np.unique(np.concatenate([stations, ends]))


@dataclass(frozen=True, slots=True, eq=False)
class _Transects:
    """Ground across every point of a thalweg, its grade taken out, and where walls stand."""

    offsets: FloatArray
    tx: FloatArray
    ty: FloatArray
    level: FloatArray
    wall: BoolArray

    @classmethod
    def across(cls, surface: Surface | Ground, thalweg: Thalweg, reach: float) -> "_Transects":
        step = min(surface.grid.cell_width, surface.grid.cell_height) / 4.0
        count = max(int(np.ceil(reach / step - 1e-6)), 1)
        offsets = np.asarray(np.arange(-count, count + 1) * step, dtype=np.float64)
        tx, ty = thalweg.tangents()
        x = thalweg.x[:, None] + offsets * ty[:, None]
        y = thalweg.y[:, None] - offsets * tx[:, None]
        heights = sample_bilinear(surface.elevation, surface.grid, x, y)
        wall = np.zeros(heights.shape, dtype=np.bool_)
        if isinstance(surface, Ground):
            rows, columns = surface.grid.cells(x, y)
            inside = (rows >= 0) & (rows < surface.grid.shape[0]) & (columns >= 0) & (columns < surface.grid.shape[1])
            kind = surface.kind[np.where(inside, rows, 0), np.where(inside, columns, 0)]
            wall = inside & ((kind == ROOF) | (kind == BARRIER))
        return cls(offsets, tx, ty, heights + thalweg.grade * thalweg.station[:, None], wall)


def _section(
    surface: Surface | Ground,
    thalweg: Thalweg,
    fine: _Transects,
    station: float,
    windows: tuple[float, float],
    rules: BankRules,
) -> SwaleSection:
    x, y = (float(np.interp(station, thalweg.station, values)) for values in (thalweg.x, thalweg.y))
    tx, ty = (float(np.interp(station, thalweg.station, values)) for values in (fine.tx, fine.ty))
    length = float(np.hypot(tx, ty))
    right = (ty / length, -tx / length)
    away = np.abs(thalweg.station - station)
    drop = thalweg.grade * station
    own = sample_bilinear(surface.elevation, surface.grid, x + fine.offsets * right[0], y + fine.offsets * right[1])
    near = away <= windows[0] / 2.0 + 1e-9
    if windows[0] > 0.0 and near.any():
        heights = np.where(np.isnan(own), np.nan, _mean(fine.level[near]) - drop)
    else:
        heights = own
    usual = _median(fine.level[(away <= windows[1] / 2.0 + 1e-9) | (away == away.min())]) - drop
    nearest = int(np.argmin(away))
    middle = len(fine.offsets) // 2
    ends = []
    for outward in (-1, 1):
        side = slice(middle, None) if outward == 1 else slice(middle, None, -1)
        walls = np.flatnonzero(fine.wall[nearest, side])
        known = np.where(np.isnan(heights[side]), np.nan, usual[side])
        bank = find_bank(
            np.abs(fine.offsets[side]), known - known[0], wall=int(walls[0]) if len(walls) else None, rules=rules
        )
        at = middle + outward * bank.index
        level, own_top = float(usual[at]), float(np.nanmax(heights[side][: bank.index + 1]))
        # a gap in the bank counts where it is deeper than noise makes it, but for the swale's mouth at either end
        gap = own_top < level - rules.gap and min(station, thalweg.length - station) > windows[1] / 2.0
        ends.append((at, bank.kind, own_top if gap else level))
    (left, left_kind, left_level), (right_end, right_kind, right_level) = ends
    if left == right_end:
        raise GeometryError(
            f"swale line: at {station:.1f} m along it walls or unknown ground stand on both sides, so that no"
            " section can be cut; draw it along open low ground"
        )
    span = slice(left, right_end + 1)
    return SwaleSection(
        station, x, y, right, fine.offsets[span].copy(), heights[span].copy(),
        left_level, right_level, left_kind, right_kind,
    )  # fmt: skip


def _mean(levels: FloatArray) -> FloatArray:
    """Mean of the known heights at each offset, NaN where none is."""
    known = ~np.isnan(levels)
    counted = known.sum(axis=0)
    total = np.where(known, levels, 0.0).sum(axis=0)
    return np.where(counted > 0, total / np.maximum(counted, 1), np.nan)


def _median(levels: FloatArray) -> FloatArray:
    """Median of the known heights at each offset, NaN where under half are known."""
    unknown = np.isnan(levels)
    # unknown ground counts as high: as if the swale went on rising there
    median: FloatArray = np.median(np.where(unknown, np.inf, levels), axis=0)
    return np.where(np.isfinite(median), median, np.nan)


def _without_overlaps(sections: list[SwaleSection]) -> tuple[SwaleSection, ...]:
    """Sections that cross within a bend, each ended where it meets the other."""
    ends = [[float(section.offsets[0]), float(section.offsets[-1])] for section in sections]
    lines = [shapely.force_2d(section.line) for section in sections]
    first, second = shapely.STRtree(lines).query(lines, predicate="intersects")
    # nearest neighbours first, since what they cut may no longer reach the next
    pairs = sorted(((b - a, a, b) for a, b in zip(first.tolist(), second.tolist(), strict=True) if a < b))
    for _, a, b in pairs:
        crossing = _crossing(sections[a], sections[b])
        if crossing is None:
            continue
        at_a, at_b = crossing
        if not (ends[a][0] < at_a < ends[a][1] and ends[b][0] < at_b < ends[b][1]):
            continue
        for index, at in ((a, at_a), (b, at_b)):
            side = 0 if at < 0.0 else 1
            ends[index][side] = at
    return tuple(_ended(section, *end) for section, end in zip(sections, ends, strict=True))


def _crossing(one: SwaleSection, other: SwaleSection) -> tuple[float, float] | None:
    """Offsets along both at which their lines cross."""
    matrix = np.array([[one.right[0], -other.right[0]], [one.right[1], -other.right[1]]])
    if abs(np.linalg.det(matrix)) < 1e-12:
        return None
    at_one, at_other = np.linalg.solve(matrix, np.array([other.x - one.x, other.y - one.y]))
    return float(at_one), float(at_other)


def _ended(section: SwaleSection, left: float, right: float) -> SwaleSection:
    left_cut, right_cut = left > section.offsets[0], right < section.offsets[-1]
    if not (left_cut or right_cut):
        return section
    inner = (section.offsets > left) & (section.offsets < right)
    offsets = np.concatenate([[left], section.offsets[inner], [right]])
    elevations = np.interp(offsets, section.offsets, section.elevations)
    return replace(section, offsets=offsets, elevations=elevations, left_cut=left_cut, right_cut=right_cut)
