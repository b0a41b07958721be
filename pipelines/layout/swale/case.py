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
from pipelines.inputs.rules import RuleOverride, Rules
from pipelines.inputs.site_ground import SiteInputs, open_site, shots_in_words
from pipelines.inputs.swale_ground import read_swale_ground
from pipelines.inputs.tables.rain_table_file import read_rain_table
from pipelines.layout.plan import Said
from pipelines.layout.swale.levels import SwaleCapacity, swale_capacity
from pipelines.layout.swale.site import SwaleSite, check_swale_lines, culverts_by_swale, measure_swale
from terrain.first_run import COMPILING, compiles_first
from terrain.flow.drainage import Drainage, drain_ground
from terrain.flow.low_spots import LowSpot, find_low_spots
from terrain.ground import ROOF, Ground
from terrain.reading.surface import Surface
from terrain.reason import reason

Progress = Callable[[str, float | None], None]

SOIL_GROUP = "C"
COVER = "lawn, fair"
GRASS = "grass_mixture"


@dataclass(frozen=True, slots=True, eq=False)
class OpenedSwales:
    """The swales of a site file, before any height is read.

    Attributes
    ----------
    lines : list of shapely LineString
        As drawn, in the metric frame.
    culverts : list of GeoDataFrame
        Rows of the layer of culverts that belong to each.
    rules : Rules
        Of the trade, with what [rules] and [swales] say.
    """

    inputs: SiteInputs
    rules: Rules
    lines: list[LineString]
    names: list[str]
    culverts: list[Any]


@dataclass(frozen=True, slots=True, eq=False)
class SwaleCase:
    """The swales of a site, measured.

    Attributes
    ----------
    surface, ground, drainage, spots
        The window as read, as water meets it, its directions and low spots.
    surfaces : SurfaceMap
        What lies on it.
    cover : str
        Key of the grass.
    downstream_level : float or None
        Of the water at their lower ends. [m]
    velocities : tuple of float
        At which water travels down each, that of the full swale. [m/s]
    soaking_rates : tuple of float
        Of the ground under each. [m/s]
    """

    inputs: SiteInputs
    rules: Rules
    surface: Surface
    ground: Ground
    drainage: Drainage
    spots: tuple[LowSpot, ...]
    surfaces: SurfaceMap
    sites: tuple[SwaleSite, ...]
    capacities: tuple[SwaleCapacity, ...]
    cover: str
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
    rules = _rules_of(inputs)
    return OpenedSwales(inputs, rules, lines, names, culverts_by_swale(lines, inputs.layers.culverts, rules))


def _rules_of(inputs: SiteInputs) -> Rules:
    """Rules of the trade with what [elevation] and [swales] say in place."""
    given = inputs.site.swales
    assert given is not None
    said = {
        "lidar_rmse": inputs.site.elevation.rmse,
        "n_swale": given.roughness,
        "swale_spacing": given.spacing,
        "swale_freeboard": given.freeboard,
        "swale_side_slope": given.side_slope,
        "swale_bottom_width": given.bottom_width,
        "swale_max_depth": given.max_depth,
        "swale_max_top_width": given.max_top_width,
        "swale_return_period": inputs.site.rain.return_period,
    }
    overrides = tuple(RuleOverride(key, None, value, None) for key, value in said.items() if value is not None)
    return inputs.site.rules.with_overrides(overrides)


def measure_case(opened: OpenedSwales, tell: Progress) -> SwaleCase:
    """Read the ground of opened swales, follow its water and measure each swale."""
    inputs, lines, names = opened.inputs, opened.lines, opened.names
    given, rules = inputs.site.swales, opened.rules
    assert given is not None
    if compiles_first():
        tell(COMPILING, None)
    tell("reading the ground", 0.1)
    surface, ground, fit = read_swale_ground(inputs, lines, names)
    drainage = drain_ground(ground)
    tell("measuring the swales", 0.3)
    sites = tuple(
        measure_swale(ground, surface, line, opened.culverts[k], id=f"S{k + 1}", name=names[k], rules=rules)
        for k, line in enumerate(lines)
    )
    cell = max(ground.grid.cell_width, ground.grid.cell_height)
    freeboard = rules["swale_freeboard"].likely
    capacities = tuple(swale_capacity(site, freeboard=freeboard, cell=cell) for site in sites)
    surfaces = _surfaces(inputs, ground)
    notes = _assumed(inputs, rules)
    if fit is not None and inputs.shots is not None:
        notes += shots_in_words(fit, inputs.shots)
    slowest, fastest = rules["swale_slowest"].likely, rules["swale_fastest"].likely
    return SwaleCase(
        inputs, rules, surface, ground, drainage, find_low_spots(drainage, rmse=inputs.rmse), surfaces, sites,
        capacities, given.cover or GRASS, given.downstream_level,
        tuple(float(np.clip(np.median(each.velocity), slowest, fastest)) for each in capacities),
        tuple(_soaking_rate(inputs, surfaces, site) for site in sites),
        (*inputs.layers.warnings, *surface.warnings, *notes, *(said for site in sites for said in site.warnings)),
    )  # fmt: skip


def rain_of(inputs: SiteInputs, rules: Rules) -> tuple[DesignRain, dict[float, DesignRain]]:
    """Design rain of a site, and that of every return period of its table. [yr]"""
    given = inputs.site.rain
    if given.table is not None:
        table = read_rain_table(given.table)
        distribution = given.distribution or "nested"
        years = rules["swale_return_period"].likely
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


def _assumed(inputs: SiteInputs, rules: Rules) -> list[Said]:
    """What is missing in the site file and what is taken for it."""
    site, layers = inputs.site, inputs.layers
    found: list[Said] = []
    if site.elevation.rmse is None:
        found.append(reason("swale_rmse_assumed", rmse=inputs.rmse))
    if site.rain.table is not None and site.rain.return_period is None:
        found.append(reason("swale_return_period_assumed", years=rules["swale_return_period"].likely))
    if site.soil.group is None and layers.soils.empty:
        found.append(reason("swale_soil_assumed", group=SOIL_GROUP))
    if site.soil.cover is None:
        found.append(reason("swale_cover_assumed", cover=COVER))
    if site.soil.compacted:
        found.append(reason("swale_soil_compacted"))
    if layers.roofs.empty:
        found.append(reason("swale_roofs_missing"))
    if layers.hardscape.empty:
        found.append(reason("swale_hardscape_missing"))
    if layers.culverts.empty:
        found.append(reason("swale_culverts_missing"))
    return found


def _soaking_rate(inputs: SiteInputs, surfaces: SurfaceMap, site: SwaleSite) -> float:
    if inputs.site.soil.tested_rate is not None:
        return inputs.site.soil.tested_rate
    grid = surfaces.grid
    rows, columns = grid.cells(site.thalweg.x, site.thalweg.y)
    cells = np.clip(rows, 0, grid.shape[0] - 1) * grid.shape[1] + np.clip(columns, 0, grid.shape[1] - 1)
    return infiltration_rate(group_at(surfaces, cells), compacted=inputs.site.soil.compacted).likely
