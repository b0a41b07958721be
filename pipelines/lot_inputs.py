"""A lot's site file opened: everything that it names read and checked, before any height is."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pipelines.hydraulics.channel.culvert_sizes import culverts_named
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.hydraulics.pumping.pump_curve import pump_curve
from pipelines.hydrology.rain.design_rain import DesignRain, design_rain
from pipelines.hydrology.surfaces import soil_group, surface_of
from pipelines.inputs.errors import SiteFileError
from pipelines.inputs.ground_rules import ground_limits
from pipelines.inputs.shapes.frontage import Frontage
from pipelines.inputs.shapes.shared_reads import shared_once
from pipelines.inputs.site_file import SiteFile
from pipelines.inputs.site_ground import SiteInputs, open_site
from pipelines.inputs.tables.prices import Prices, default_prices, read_prices
from pipelines.inputs.tables.pump_points import read_pump_points
from pipelines.inputs.tables.rain_table_file import read_rain_table
from pipelines.layout.plan import Said
from pipelines.layout.ways.lift_design import pressure_pipes
from terrain.errors import LotshedError
from terrain.flow.lot_ground import refuse_unfit
from terrain.reason import reason
from terrain.unit_table import Units


@dataclass(frozen=True, slots=True, eq=False)
class LotInputs:
    """A site opened with its tables read, before any height is.

    Attributes
    ----------
    opened : SiteInputs
        Site file, raster header, shapes, level shots.
    rain : DesignRain
        The run's one rain.
    prices : Prices
        By item.
    pump : tuple of ndarray or None
        Flow [m3/s] and head [m] of the pump's curve.
    warnings : tuple of Said
        What was assumed.
    """

    opened: SiteInputs
    rain: DesignRain
    prices: Prices
    pump: "tuple[np.ndarray, np.ndarray] | None"
    warnings: tuple[Said, ...]


def open_lot(path: Path, *, grounds: int | None = None, traced: Path | None = None) -> LotInputs:
    """Read and check everything that a site file names but the heights.

    Parameters
    ----------
    path : Path
        The site file.
    grounds : int, optional
        How many of the grounds that lidar allows are tried, in place of what the site file says. [-]
    traced : Path, optional
        A drawing that is read in the place of the one that the site file names.

    Returns
    -------
    LotInputs
        Ready for `screen_lot`.

    Raises
    ------
    LotshedError
        If anything cannot be used; the message says what, where and what to do.
    """
    return lot_inputs(open_site(path, traced=traced), grounds=grounds)


def lot_inputs(opened: SiteInputs, *, grounds: int | None = None) -> LotInputs:
    """The same of a site that is open: its tables read, and everything checked."""
    if grounds is not None:
        elevation = opened.site.elevation.model_copy(update={"grounds": grounds})
        opened = replace(opened, site=opened.site.model_copy(update={"elevation": elevation}))
    site = opened.site
    refuse_unfit(opened.source, opened.layers.parcel, ground_limits(site.rules))
    rain, prices, pump = shared_once(("tables", site.path), lambda: _tables(site))
    warnings: tuple[Said, ...] = (
        *opened.source.warnings, *opened.layers.warnings, *prices.warnings, *rain.notes, *_assumed(opened),
    )
    return LotInputs(opened, rain, prices, pump, warnings)


def _tables(site: SiteFile) -> tuple[DesignRain, Prices, "tuple[np.ndarray, np.ndarray] | None"]:
    """What a site reads that no lot of it changes."""
    _check_names(site)
    table = None if site.rain.table is None else read_rain_table(site.rain.table)
    rain = design_rain(site.rain, table, site.rules)
    prices = default_prices() if site.prices is None else read_prices(site.prices.file)
    if site.pump is None:
        return rain, prices, None
    points = read_pump_points(site.pump.curve)
    pump_curve(points.flow, points.head)
    return rain, prices, (points.flow, points.head)


def check_site(path: Path) -> tuple[Units, tuple[Said, ...]]:
    """Check all inputs of a site and tell what a run would do with them.

    Parameters
    ----------
    path : Path
        The site file.

    Returns
    -------
    units : str
        us or si, as the site file asks.
    told : tuple of Said
        The resolved plan, a line each.

    Raises
    ------
    LotshedError
        If anything cannot be used.
    """
    lot = open_lot(path)
    opened = lot.opened
    source, site = opened.source, opened.site
    return site.units, (
        reason("dry_run_readable", site=site.name),
        reason(
            "dry_run_ground", file=str(source.path), cell_width=source.cell_width, cell_height=source.cell_height,
            unit=source.vertical.unit, told_by=source.vertical.told_by, error=opened.rmse,
        ),
        reason("dry_run_map", crs=source.grid.frame.crs.name),
        *(reason("dry_run_layer", key=layer.key, layer=layer.words) for layer in opened.layers.sources),
        reason("dry_run_storm", storm=lot.rain.storm.name, depth=lot.rain.storm.depth),
        reason("dry_run_pump_and_prices", pump_given=lot.pump is not None, prices_given=site.prices is not None),
        *(reason("dry_run_warning", warning=warning) for warning in lot.warnings),
    )


def _check_names(site: SiteFile) -> None:
    """Names in the site file that other rooms look up: found before the work, with the file and key."""
    rules = site.rules
    looked_up: tuple[tuple[str, Callable[..., object], object], ...] = (
        ("[soil] cover", surface_of, site.soil.cover),
        ("[layout] pipe", find_pipe, site.layout.pipe),
        ("[rules] default_cover", surface_of, rules["default_cover"].name),
        ("[rules] default_soil_group", soil_group, rules["default_soil_group"].name),
        ("[rules] pressure_pipes", pressure_pipes, rules),
        ("[rules] swale_culvert_sizes", culverts_named, rules["swale_culvert_sizes"].names),
    )
    for key, look_up, name in looked_up:
        try:
            if name:
                look_up(name)
        except LotshedError as error:
            raise SiteFileError(f"site file {site.path}: {key}: {error}") from None


def street_told(frontage: Frontage) -> Iterator[Said]:
    """Where the street is taken to be where nobody gave a right of way, or that somebody must say."""
    sides, state = frontage.sides, frontage.state
    if state in ("found", "said"):
        yield reason(
            "frontage_taken", sides=sides, length=frontage.length, width=frontage.width, said=state == "said"
        )
    elif state == "open":
        yield reason("frontage_open", sides=sides)
    else:
        yield reason("missing_right_of_way", alone=state == "alone")


def _assumed(opened: SiteInputs) -> Iterator[Said]:
    """What is missing in the site file and what is assumed for it."""
    site, layers = opened.site, opened.layers
    group = site.rules["default_soil_group"].name
    if site.elevation.rmse is None:
        yield reason("assumed_lidar_error", error=opened.rmse)
    if site.soil.group is None and site.soil.source is None:
        yield reason("assumed_soil", group=group, cover=site.soil.cover or site.rules["default_cover"].name)
    elif site.soil.source is not None and site.soil.group is None:
        bare = layers.parcel.difference(layers.soils.union_all()).area / layers.parcel.area
        if bare > 0.01:
            yield reason("assumed_soil_outside", share=float(bare), group=group)
    if site.soil.compacted:
        yield reason("assumed_compacted")
    if site.roofs is None:
        yield reason("missing_roofs")
    else:
        said = layers.roofs["foundation"].to_numpy() != ""
        if site.house.foundation is None and not (said & layers.roofs.intersects(layers.parcel)).any():
            yield reason("missing_foundation", distance=site.rules["stone_wall_offset"].likely)
        if site.house.footing_depth is None:
            yield reason("assumed_footing", depth=site.rules["default_footing_depth"].likely)
        if site.downspouts is None:
            yield reason("missing_downspouts")
    if site.hardscape is None:
        yield reason("missing_hardscape")
    if site.right_of_way is None:
        yield from street_told(layers.frontage)
    if site.outfalls is None:
        yield reason("missing_outfalls")
    if site.utilities is None:
        yield reason("missing_utilities")
    if site.elevation.flown is None:
        yield reason("missing_flown")
