"""A site's swales, opened and measured, ready for any storm."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon

from pipelines.hydraulics.channel.culvert_sizes import culverts_named
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydrology.flow_path import travel_rules
from pipelines.hydrology.rain.design_rain import DesignRain, design_rain
from pipelines.hydrology.surface_map import PAVED, SurfaceMap, group_at, map_surfaces
from pipelines.hydrology.surfaces import infiltration_rate
from pipelines.inputs.errors import LayerError, SiteFileError
from pipelines.inputs.ground_rules import site_low_spots
from pipelines.inputs.rules import RuleOverride, Rules
from pipelines.inputs.site_ground import SiteInputs, open_site
from pipelines.inputs.swale_ground import read_swale_ground, refuse_swale_outside
from pipelines.inputs.tables.prices import Prices, default_prices, read_prices
from pipelines.inputs.tables.rain_table_file import read_rain_table
from pipelines.layout.plan import Said
from pipelines.layout.swale.filling import Filling, depression_at, fill_depression
from pipelines.layout.swale.levels import SwaleCapacity, swale_capacity
from pipelines.layout.swale.site import SwaleSite, check_swale_lines, culverts_by_swale, measure_swale
from pipelines.layout.swale.water import SwaleWater, divide_to_swales
from terrain.arrays import IntArray
from terrain.errors import LotshedError
from terrain.first_run import compiles_first, compiling_words
from terrain.flow.drainage import Drainage
from terrain.flow.low_spots import LowSpot
from terrain.ground import ROOF, Ground
from terrain.reading.surface import Surface
from terrain.reason import reason

Progress = Callable[[str, float | None], None]
Found = TypeVar("Found")

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
    prices: Prices


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
    prices : Prices
        Of what a culvert and a re-cut take.
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
    prices: Prices


def open_swales(site_path: Path) -> OpenedSwales:
    """Open a site file and the swales that it names; no height is read."""
    inputs = open_site(site_path, several_parcels=True)
    if inputs.site.swales is None or inputs.layers.swales.empty:
        raise LayerError(
            f"site file {site_path}: it names no swale; add a table [swales] with the file and layer of lines drawn "
            "along the swales"
        )
    return swales_of(inputs, culverts_by_swale)


def swales_of(
    inputs: SiteInputs, culverts_of: Callable[[list[LineString], Any, Rules], list[Any]]
) -> OpenedSwales:
    """The swales that an opened site names, each with its culverts."""
    layer = inputs.layers.swales
    lines = [shapely.force_2d(line) for line in layer.geometry]
    given = [str(name) or f"swale {feature}" for name, feature in zip(layer["name"], layer["id"], strict=True)]
    names = [name if "swale" in name.lower() else f"swale {name}" for name in given]
    check_swale_lines(lines, names, inputs.layers.roofs)
    rules = rules_of(inputs)
    try:
        culverts_named(rules["swale_culvert_sizes"].names)
    except HydraulicsError as error:
        raise SiteFileError(f"site file {inputs.site.path}: [rules] swale_culvert_sizes: {error}") from None
    priced = inputs.site.prices
    prices = default_prices() if priced is None else read_prices(priced.file)
    return OpenedSwales(inputs, rules, lines, names, culverts_of(lines, inputs.layers.culverts, rules), prices)


def culverts_beside(lines: list[LineString], culverts: Any, rules: Rules) -> list[Any]:
    """Culverts of each swale, without those that lie on none."""
    near = rules["swale_culvert_near"].likely
    tree, shapes = shapely.STRtree(lines), culverts.geometry.to_numpy()
    _, away = tree.query_nearest(shapes, all_matches=False, return_distance=True)
    return culverts_by_swale(lines, culverts[away <= near], rules)


def rules_of(inputs: SiteInputs) -> Rules:
    """Rules of the trade with what [elevation] and [swales] say in place."""
    given = inputs.site.swales
    if given is None:
        return inputs.site.rules
    said = {
        "lidar_rmse": inputs.site.elevation.rmse,
        "n_swale": given.roughness,
        "swale_spacing": given.spacing,
        "swale_freeboard": given.freeboard,
        "swale_side_slope": given.side_slope,
        "swale_bottom_width": given.bottom_width,
        "swale_max_depth": given.max_depth,
        "swale_max_top_width": given.max_top_width,
        "default_return_period": inputs.site.rain.return_period,
    }
    overrides = tuple(RuleOverride(key, None, value, None) for key, value in said.items() if value is not None)
    return inputs.site.rules.with_overrides(overrides)


Refused = Callable[[int, LotshedError], None]
"""Told of a swale that cannot be used, by its position, and why."""


def measure_case(opened: OpenedSwales, tell: Progress, *, refused: Refused | None = None) -> SwaleCase:
    """Read the ground of opened swales, follow its water and measure each swale; one that cannot be used is left out
    where `refused` is told of it, and else ends all."""
    inputs, lines, names = opened.inputs, opened.lines, opened.names
    given, rules = inputs.site.swales, opened.rules
    if compiles_first():
        tell(compiling_words(), None)
    tell("reading the ground", 0.1)
    inside = _usable(range(len(lines)), lambda k: refuse_swale_outside(inputs, lines[k], names[k]), refused)
    surface, drainage = read_swale_ground(inputs, [lines[k] for k in inside])
    ground = drainage.ground
    tell("measuring the swales", 0.3)
    measured = _usable(
        inside,
        lambda k: measure_swale(
            ground, surface, lines[k], opened.culverts[k], id=f"swale-{k + 1}", name=names[k], rules=rules
        ),
        refused,
    )
    sites = tuple(measured.values())
    cell = max(ground.grid.cell_width, ground.grid.cell_height)
    freeboard = rules["swale_freeboard"].likely
    capacities = tuple(swale_capacity(site, freeboard=freeboard, cell=cell) for site in sites)
    surfaces = surfaces_on(inputs, ground)
    notes = _assumed(inputs, rules)
    slowest, fastest = rules["swale_slowest"].likely, rules["swale_fastest"].likely
    return SwaleCase(
        inputs, rules, surface, ground, drainage, site_low_spots(drainage, rules), surfaces, sites,
        capacities, (given and given.cover) or GRASS, given.downstream_level if given is not None else None,
        tuple(float(np.clip(np.median(each.velocity), slowest, fastest)) for each in capacities),
        tuple(_soaking_rate(inputs, surfaces, site) for site in sites),
        (*inputs.layers.warnings, *surface.warnings, *opened.prices.warnings, *notes,
         *(said for site in sites for said in site.warnings)),
        opened.prices,
    )  # fmt: skip


def _usable(
    numbers: Iterable[int], work_out: Callable[[int], Found], refused: Refused | None
) -> dict[int, Found]:
    """What comes of each swale, without those that are refused; all of them are not."""
    found, left = {}, list(numbers)
    for number in left:
        try:
            found[number] = work_out(number)
        except LotshedError as fault:
            if refused is None or (not found and number == left[-1]):
                raise
            refused(number, fault)
    return found


def divide_case(
    case: SwaleCase,
    rain: DesignRain,
    piped: Sequence[Polygon | MultiPolygon] = (),
    without: IntArray | None = None,
    *,
    marked: tuple[IntArray, tuple[int, ...]] | None = None,
) -> SwaleWater:
    """The ground of a case divided by where its water enters a swale, without what is piped and some cells besides;
    `marked` gives the swales' labels where they are known already."""
    return divide_to_swales(
        case.sites, case.drainage, case.surfaces, two_year_24h_depth=rain.two_year_24h_depth,
        return_period=rain.return_period, travel=travel_rules(case.inputs.site.rules),
        compacted=case.inputs.site.soil.compacted, piped=piped, without=without,
        marked=marked,
    )  # fmt: skip


def closed_by_ground(case: SwaleCase, site: SwaleSite, point: Point) -> LowSpot | None:
    """The depression that a place on a swale lies in, where the ground itself closes it and not a drive over it."""
    spot = depression_at(point, case.drainage, case.spots)
    if spot is None or spot.spill_cell is None:
        return spot
    grid = case.ground.grid
    x, y = grid.centres(*divmod(spot.spill_cell, grid.shape[1]))
    over = site.station_of(Point(float(x), float(y)))
    dammed = any(each.start - 1.0 <= over <= each.end + 1.0 for each in site.crossings)
    return None if dammed else spot


def filling_of(case: SwaleCase, rain: DesignRain, spot: LowSpot) -> Filling | None:
    """What the storm makes of a depression of a case; None where water runs on from it."""
    return fill_depression(spot, case.drainage, case.surfaces, rain, case.inputs.site)


def rain_of(inputs: SiteInputs, rules: Rules) -> DesignRain:
    """Design rain of a site."""
    given = inputs.site.rain
    return design_rain(given, None if given.table is None else read_rain_table(given.table), rules)


def surfaces_on(inputs: SiteInputs, ground: Ground) -> SurfaceMap:
    """What lies on the ground of a site."""
    site, layers = inputs.site, inputs.layers
    known = ("gravel", "dirt", "water")
    paving = [
        (shape, next((word for word in known if word in str(kind).lower()), PAVED))
        for shape, kind in zip(layers.hardscape.geometry, layers.hardscape["kind"], strict=True)
    ]
    return map_surfaces(
        ground.grid,
        cover=site.soil.cover or site.rules["default_cover"].name,
        roofs=ground.kind == ROOF,
        paving=paving,
        soils=list(zip(layers.soils.geometry, layers.soils["group"], strict=True)),
        default_group=site.soil.group or site.rules["default_soil_group"].name,
    )


def _assumed(inputs: SiteInputs, rules: Rules) -> list[Said]:
    """What is missing in the site file and what is taken for it."""
    site, layers = inputs.site, inputs.layers
    found: list[Said] = []
    if site.elevation.rmse is None:
        found.append(reason("swale_rmse_assumed", rmse=inputs.rmse))
    if site.soil.group is None and layers.soils.empty:
        found.append(reason("swale_soil_assumed", group=rules["default_soil_group"].name))
    if site.soil.cover is None:
        found.append(reason("swale_cover_assumed", cover=rules["default_cover"].name))
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
