"""A site's swales, opened and measured, ready for any storm."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely import LineString

from pipelines.hydrology.design_rain import DesignRain, rain_assumed, rain_from_table, rain_given
from pipelines.hydrology.surface_map import PAVED, SurfaceMap, group_at, map_surfaces
from pipelines.hydrology.surfaces import infiltration_rate
from pipelines.inputs.errors import LayerError
from pipelines.inputs.ground_rules import site_low_spots
from pipelines.inputs.site_ground import SiteInputs, open_site
from pipelines.inputs.swale_ground import read_swale_ground
from pipelines.inputs.tables.rain_table_file import read_rain_table
from pipelines.layout.plan import Said
from pipelines.layout.swale.judgement import JudgeRules
from pipelines.layout.swale.levels import SwaleCapacity, swale_capacity
from pipelines.layout.swale.site import SwaleRules, SwaleSite, check_swale_lines, culverts_by_swale, measure_swale
from terrain.first_run import COMPILING, compiles_first
from terrain.flow.drainage import Drainage, drain_ground
from terrain.flow.low_spots import LowSpot
from terrain.ground import ROOF, Ground
from terrain.reading.surface import Surface

Progress = Callable[[str, float | None], None]

RETURN_PERIOD = 10.0
"""Design storm where a rain table is given without a return period. [yr]"""
SOIL_GROUP = "C"
COVER = "lawn, fair"
GRASS = "grass_mixture"
# A swale that runs bank-full is not thought to run slower or faster than this. [m/s]
_SLOWEST, _FASTEST = 0.2, 3.0


@dataclass(frozen=True, slots=True, eq=False)
class OpenedSwales:
    """The swales of a site file, before any height is read.

    Attributes
    ----------
    inputs : SiteInputs
        The opened site.
    lines : list of shapely LineString
        As drawn, in the metric frame.
    names : list of str
        Of each.
    culverts : list of GeoDataFrame
        Rows of the layer of culverts that belong to each.
    """

    inputs: SiteInputs
    lines: list[LineString]
    names: list[str]
    culverts: list[Any]


@dataclass(frozen=True, slots=True, eq=False)
class SwaleCase:
    """The swales of a site, measured.

    Attributes
    ----------
    inputs : SiteInputs
        The opened site.
    surface, ground, drainage, spots
        The window as read, as water meets it, its directions and low spots.
    surfaces : SurfaceMap
        What lies on it.
    sites : tuple of SwaleSite
        The swales.
    capacities : tuple of SwaleCapacity
        Of each.
    rules : JudgeRules
        What they are held against.
    freeboard, roughness : float
        [m], [-]
    downstream_level : float or None
        Of the water at their lower ends. [m]
    velocities : tuple of float
        At which water travels down each, that of the full swale. [m/s]
    soaking_rates : tuple of float
        Of the ground under each. [m/s]
    warnings : tuple of str
        What a reader must know.
    """

    inputs: SiteInputs
    surface: Surface
    ground: Ground
    drainage: Drainage
    spots: tuple[LowSpot, ...]
    surfaces: SurfaceMap
    sites: tuple[SwaleSite, ...]
    capacities: tuple[SwaleCapacity, ...]
    rules: JudgeRules
    freeboard: float
    roughness: float
    downstream_level: float | None
    velocities: tuple[float, ...]
    soaking_rates: tuple[float, ...]
    warnings: tuple[Said, ...]


def open_swales(site_path: Path) -> OpenedSwales:
    """Open a site file and the swales that it names; no height is read."""
    inputs = open_site(site_path, several_parcels=True)
    if inputs.site.swales is None or inputs.layers.swales.empty:
        raise LayerError(
            f"site file {site_path}: it names no swale; add a table [swales] with the file and layer of lines drawn "
            "along the swales"
        )
    layer = inputs.layers.swales
    lines = [shapely.force_2d(line) for line in layer.geometry]
    given = [str(name) or f"swale {feature}" for name, feature in zip(layer["name"], layer["id"], strict=True)]
    names = [name if "swale" in name.lower() else f"swale {name}" for name in given]
    check_swale_lines(lines, names, inputs.layers.roofs)
    return OpenedSwales(inputs, lines, names, culverts_by_swale(lines, inputs.layers.culverts))


def measure_case(opened: OpenedSwales, tell: Progress) -> SwaleCase:
    """Read the ground of opened swales, follow its water and measure each swale."""
    inputs, lines, names = opened.inputs, opened.lines, opened.names
    given, rules = inputs.site.swales, inputs.site.rules
    assert given is not None
    if compiles_first():
        tell(COMPILING, None)
    tell("reading the ground", 0.1)
    surface, ground = read_swale_ground(inputs, lines, names)
    drainage = drain_ground(ground)
    tell("measuring the swales", 0.3)
    roughness = given.roughness if given.roughness is not None else rules["n_swale"].likely
    measured = SwaleRules(
        spacing=given.spacing if given.spacing is not None else 5.0, roughness=roughness, rmse=inputs.rmse
    )
    sites = tuple(
        measure_swale(ground, surface, line, opened.culverts[k], id=f"S{k + 1}", name=names[k], rules=measured)
        for k, line in enumerate(lines)
    )
    freeboard = given.freeboard if given.freeboard is not None else rules["swale_freeboard"].likely
    cell = max(ground.grid.cell_width, ground.grid.cell_height)
    capacities = tuple(swale_capacity(site, freeboard=freeboard, cell=cell) for site in sites)
    surfaces = _surfaces(inputs, ground)
    notes = _assumed(inputs)
    judge = JudgeRules(
        freeboard=freeboard,
        rmse=inputs.rmse,
        cover=given.cover or GRASS,
        tolerable_depth=rules["tolerable_lawn_depth"].likely,
        tolerable_hours=rules["tolerable_lawn_time"].likely / 3600.0,
        units=inputs.site.units,
    )
    return SwaleCase(
        inputs, surface, ground, drainage, site_low_spots(drainage, rules), surfaces, sites, capacities,
        judge, freeboard, roughness, given.downstream_level,
        tuple(float(np.clip(np.median(each.velocity), _SLOWEST, _FASTEST)) for each in capacities),
        tuple(_soaking_rate(inputs, surfaces, site) for site in sites),
        (*inputs.layers.warnings, *surface.warnings, *notes, *(said for site in sites for said in site.warnings)),
    )  # fmt: skip


def rain_of(inputs: SiteInputs) -> tuple[DesignRain, dict[float, DesignRain]]:
    """Design rain of a site, and that of every return period of its table. [yr]"""
    given = inputs.site.rain
    if given.table is not None:
        table = read_rain_table(given.table)
        distribution = given.distribution or "nested"
        years = given.return_period if given.return_period is not None else RETURN_PERIOD
        others = {
            float(each): rain_from_table(table, float(each), distribution=distribution)
            for each in table.return_periods
        }
        return rain_from_table(table, years, distribution=distribution), others
    if given.depth is not None and given.duration is not None:
        return rain_given(given.depth, given.duration), {}
    return rain_assumed(), {}


def _surfaces(inputs: SiteInputs, ground: Ground) -> SurfaceMap:
    site, layers = inputs.site, inputs.layers
    known = ("gravel", "dirt", "water")
    paving = [
        (shape, next((word for word in known if word in str(kind).lower()), PAVED))
        for shape, kind in zip(layers.hardscape.geometry, layers.hardscape["kind"], strict=True)
    ]
    return map_surfaces(
        ground.grid,
        cover=site.soil.cover or COVER,
        roofs=ground.kind == ROOF,
        paving=paving,
        soils=list(zip(layers.soils.geometry, layers.soils["group"], strict=True)),
        default_group=site.soil.group or SOIL_GROUP,
    )


def _assumed(inputs: SiteInputs) -> list[str]:
    """What is missing in the site file and what is taken for it."""
    site, layers = inputs.site, inputs.layers
    said = []
    if site.elevation.rmse is None:
        said.append(f"no accuracy of the lidar is given: {inputs.rmse * 100.0:.0f} cm are taken")
    if site.rain.table is not None and site.rain.return_period is None:
        said.append(f"no return period is given: {RETURN_PERIOD:g} years are taken")
    if site.soil.group is None and layers.soils.empty:
        said.append(f"no soil is given: hydrologic group {SOIL_GROUP} is taken")
    if site.soil.cover is None:
        said.append(f"no cover is given: {COVER} is taken")
    if site.soil.compacted:
        said.append("the soil of built lots is taken one hydrologic group worse than mapped (soil.compacted)")
    if layers.roofs.empty:
        said.append("no roofs are given: their water is taken to run off as from lawn, which is on the low side")
    if layers.hardscape.empty:
        said.append("no hardscape is given: drives and streets are taken as lawn, which is on the low side")
    if layers.culverts.empty:
        said.append("no culverts are given: a drive that dams a swale in the raster is told as a suspected culvert")
    return said


def _soaking_rate(inputs: SiteInputs, surfaces: SurfaceMap, site: SwaleSite) -> float:
    if inputs.site.soil.tested_rate is not None:
        return inputs.site.soil.tested_rate
    grid = surfaces.grid
    rows, columns = grid.cells(site.thalweg.x, site.thalweg.y)
    cells = np.clip(rows, 0, grid.shape[0] - 1) * grid.shape[1] + np.clip(columns, 0, grid.shape[1] - 1)
    return infiltration_rate(group_at(surfaces, cells), compacted=inputs.site.soil.compacted).likely
