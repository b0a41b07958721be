"""Levels of a storm along a measured swale, and what it could carry."""

from dataclasses import dataclass, replace

import numpy as np

from pipelines.hydraulics.channel.open_channel import cross_section, wetted_section
from pipelines.hydraulics.channel.standard_step import (
    Downstream,
    WaterSurface,
    capacity_at,
    normal_levels,
    water_surface,
)
from pipelines.inputs.rules import Rules
from pipelines.layout.swale.reaches import SwaleReach
from pipelines.layout.swale.site import SwaleSite
from terrain.arrays import BoolArray, FloatArray
from terrain.swale.sections import SwaleSection

_RATED = (0.0, 0.05, 0.15, 0.3, 0.5, 0.75, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class SwaleCapacity:
    """What a swale carries, whatever comes.

    Attributes
    ----------
    bank_full, with_freeboard : (n,) float ndarray
        Uniform flow on the slope of its reach, up to the lower bank and to the freeboard below it; 0 where it does
        not fall. [m3/s]
    velocity : (n,) float ndarray
        Bank-full. [m/s]
    cell_loss : (n,) float ndarray
        Share of the bank-full capacity that the raster's cells are thought to hide. [-]
    """

    bank_full: FloatArray
    with_freeboard: FloatArray
    velocity: FloatArray
    cell_loss: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class SwaleLevels:
    """One storm's levels along a swale.

    Attributes
    ----------
    surface : WaterSurface
        By the standard step.
    normal : (n,) float ndarray
        Uniform flow's level; NaN where the reach does not fall. [m]
    over_bank : (n,) bool ndarray
        Where the level stands above the lower bank.
    """

    surface: WaterSurface
    normal: FloatArray
    over_bank: BoolArray

    @property
    def level(self) -> FloatArray:
        """Levels. [m]"""
        return self.surface.level


def swale_capacity(site: SwaleSite, *, freeboard: float, cell: float) -> SwaleCapacity:
    """Capacity of every section on its reach's slope.

    References
    ----------
    .. [1] As of `pipelines.hydraulics.channel.standard_step.capacity_at`.
    """
    full = capacity_at(site.channel, site.bank, site.slope)
    kept = capacity_at(site.channel, np.maximum(site.bank - freeboard, site.bottom), site.slope)
    area = np.array(
        [wetted_section(each, float(bank)).area for each, bank in zip(site.channel.sections, site.bank, strict=True)]
    )
    velocity = np.divide(full, area, out=np.zeros_like(full), where=area > 0.0)
    loss = np.array([cell_loss(section, cell) for section in site.sections])
    return SwaleCapacity(full, kept, velocity, loss)


def cell_loss(section: SwaleSection, cell: float) -> float:
    """Share of a section's bank-full capacity that a raster of this cell size hides. [-]

    The section is read once more at points a cell apart, as a raster would have read it, and what it then carries
    is held against what it carries as it is; the mean over where the points may fall. A raster cuts the corners of
    bottom and banks, so that it always reads the capacity low.

    References
    ----------
    .. [1] An estimate of our own, held in the tests against rasters of known shapes; common practice, no source.
    """
    whole = _conveyance(section.offsets, section.elevations, section.bank_full)
    if whole <= 0.0:
        return 0.0
    left, right = float(section.offsets[0]), float(section.offsets[-1])
    lost = []
    for phase in (0.125, 0.375, 0.625, 0.875):
        at = np.arange(left - cell + phase * cell, right + cell, cell)
        read = np.interp(at, section.offsets, section.elevations)
        again = np.interp(section.offsets, at, read)
        level = min(section.bank_full, float(again[0]), float(again[-1]))
        lost.append(1.0 - _conveyance(section.offsets, again, level) / whole)
    return float(np.clip(np.mean(lost), 0.0, 1.0))


def swale_levels(
    site: SwaleSite, flow: FloatArray, rules: Rules, *, downstream_level: float | None = None
) -> SwaleLevels:
    """Levels of a flow along a swale.

    References
    ----------
    .. [1] As of `pipelines.hydraulics.channel.standard_step.water_surface`.
    """
    end = Downstream(downstream_level, max(float(site.slope[-1]), rules["swale_end_slope"].likely))
    crossings = {crossing.above: crossing.drive for crossing in site.crossings}
    surface = water_surface(site.channel, flow, end, crossings=crossings)
    normal = normal_levels(site.channel, flow, site.slope)
    return SwaleLevels(surface, normal, surface.level > site.bank + 1e-3)


def with_still_water(site: SwaleSite, levels: SwaleLevels, start: float, end: float, still: float) -> SwaleLevels:
    """Levels with still water between two stations, where nothing runs on from."""
    inside = (site.station >= start) & (site.station <= end) & (site.bottom <= still)
    level = np.where(inside, still, levels.level)
    return replace(levels, surface=replace(levels.surface, level=level), over_bank=level > site.bank + 1e-3)


def overtops(site: SwaleSite, levels: SwaleLevels, reach: SwaleReach) -> bool:
    """Whether a storm stands above a bank of a reach, or runs over the drive at its lower end."""
    over_drive = any(
        crossing.above == reach.last and levels.surface.crossings[crossing.above].over > 0.0
        for crossing in site.crossings
        if crossing.given
    )
    return over_drive or bool(levels.over_bank[reach.first : reach.last + 1].any())


def level_series(
    site: SwaleSite,
    flow: FloatArray,
    rules: Rules,
    *,
    standing: FloatArray,
    downstream_level: float | None = None,
) -> FloatArray:
    """Level through a storm at every section, from levels at a few shares of its peaks. [m]"""
    peak = flow.max(axis=1)
    rated = np.stack(
        [swale_levels(site, share * peak, rules, downstream_level=downstream_level).level for share in _RATED]
    )
    share = np.divide(flow, peak[:, None], out=np.zeros_like(flow), where=peak[:, None] > 0.0)
    level = np.stack([np.interp(share[index], _RATED, rated[:, index]) for index in range(len(peak))])
    with_still_water: FloatArray = np.maximum(level, standing[:, None])
    return with_still_water


def level_beside(site: SwaleSite, series: FloatArray, station: float) -> FloatArray:
    """Level through a storm at a station between two sections; within a drive, on its own side of the crest. [m]"""
    section = site.section_below(station)
    upper = max(section - 1, 0)
    drive = next((each for each in site.crossings if each.above == upper < section), None)
    if drive is not None:
        upper = section = upper if station <= drive.ridge.crest else section
    run = site.station[section] - site.station[upper]
    share = (station - site.station[upper]) / run if run > 0.0 else 1.0
    level: FloatArray = (1.0 - share) * series[upper] + share * series[section]
    return level


def _conveyance(offsets: FloatArray, elevations: FloatArray, level: float) -> float:
    # the roughness drops out of a share
    return wetted_section(cross_section(offsets, elevations, 0.05), level).conveyance
