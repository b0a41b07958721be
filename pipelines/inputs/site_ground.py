"""From a site file to the ground that its lot drains over: raster, shapes and level shots brought together."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, TypedDict

import numpy as np
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.ground_rules import ground_limits
from pipelines.inputs.rules import Rules
from pipelines.inputs.shapes.layers import SiteLayers, locate_parcel, read_layers
from pipelines.inputs.shapes.parcel_names import first_of, lot_name
from pipelines.inputs.shapes.spout_ends import places_of_spouts
from pipelines.inputs.site_file import SiteFile, read_site_file
from pipelines.inputs.tables.shots import LevelShots, read_level_shots
from pipelines.inputs.traced.site_tables import refuse_outside
from pipelines.inputs.under_picture import UnderPicture, read_picture
from terrain.arrays import BoolArray
from terrain.errors import GroundError
from terrain.flow.burnt_cells import cells_inside
from terrain.flow.conditioning import CulvertLine, make_ground, pond_depths
from terrain.flow.embankments import deep_ponds
from terrain.flow.lot_ground import THE_PARCEL
from terrain.flow.window import Look, grow_window
from terrain.ground import Ground
from terrain.level_shots import rebase_on_shots
from terrain.reading.raster_source import RasterSource, open_raster
from terrain.reading.surface import Surface, read_window
from terrain.reason import Reason, reason


@dataclass(frozen=True, slots=True, eq=False)
class SiteInputs:
    """A site file with all that it names opened: the raster's header, and shapes in the metric frame."""

    site: SiteFile
    source: RasterSource
    layers: SiteLayers
    shots: LevelShots | None
    picture: UnderPicture | None = None

    @property
    def rmse(self) -> float:
        """Vertical accuracy of the lidar. [m]"""
        return self.site.rules["lidar_rmse"].likely


def open_site(path: Path, *, several_parcels: bool = False, traced: Path | None = None) -> SiteInputs:
    """Read a site file, the header of its raster and all its layers; `traced` in the place of the one it names."""
    return open_named(read_site_file(path, traced=traced), several_parcels=several_parcels)


def open_named(site: SiteFile, *, several_parcels: bool = False) -> SiteInputs:
    """What a site file that was read names: the header of its raster and all its layers."""
    path = site.path
    source = open_raster(site.elevation.file, unit=site.elevation.unit, near=locate_parcel(site))
    if site.traced is not None:
        refuse_outside(site.traced.file, source.grid)
    layers = read_layers(site, source.grid.frame, several_parcels=several_parcels)
    if not site.name:
        named = path.stem if several_parcels else lot_name(first_of(layers.parcels), (path.stem, site.parcel.file.stem))
        site = site.model_copy(update={"name": named})
    shots = _shots(site, source)
    return SiteInputs(site, source, layers, shots, _picture(site, source, layers))


def _shots(site: SiteFile, source: RasterSource) -> LevelShots | None:
    if site.levels is None:
        return None
    shots = read_level_shots(
        site.levels.file, source.grid.frame, closure=site.rules["level_closure"].likely, crs=site.levels.crs
    )
    if not shots.own_datum:
        return shots
    # without a height that is known they keep the raster's datum, so that levels that the site gives still count
    rows, columns = source.grid.cells(shots.x, shots.y)
    inside = (rows >= 0) & (rows < source.grid.shape[0]) & (columns >= 0) & (columns < source.grid.shape[1])
    if not inside.any():
        return shots
    x, y = shots.x[inside], shots.y[inside]
    wide, high = source.grid.cell_width, source.grid.cell_height
    # a shot on the line between two cells lies in the one beyond it
    window = read_window(source, (x.min() - wide, y.min() - high, x.max() + wide, y.max() + high))
    over = shots.heights[inside] - window.elevation[window.grid.cells(x, y)]
    known = over[np.isfinite(over)]
    return replace(shots, heights=shots.heights - np.median(known)) if known.size else shots


def _picture(site: SiteFile, source: RasterSource, layers: SiteLayers) -> UnderPicture | None:
    if site.picture is None:
        return None
    shown = layers.swales if len(layers.swales) else layers.parcels
    west, south, east, north = (float(each) for each in shown.total_bounds)
    reach = site.rules["surroundings"].likely
    bounds = (west - reach, south - reach, east + reach, north + reach)
    return read_picture(site.picture.file, source.grid.frame, bounds)


def ground_of(surface: Surface, layers: SiteLayers, rules: Rules) -> Ground:
    """Stand a site's roofs and barriers on a surface and open it along its culverts."""
    return ground_maker(layers, rules)(surface)


def ground_maker(layers: SiteLayers, rules: Rules) -> Callable[[Surface], Ground]:
    """The same for one surface after another."""
    return partial(
        make_ground,
        downspouts=layers.downspouts.geometry.to_numpy(),
        downspout_ends=places_of_spouts(layers, rules),
        downspout_reach=rules["downspout_reach"].likely,
        **_standing(layers, rules),
    )


class _Standing(TypedDict):
    roofs: Any
    open_below: Any
    barriers: Any
    culverts: list[CulvertLine]
    invert_reach: float


def _standing(layers: SiteLayers, rules: Rules) -> _Standing:
    """What stands on the ground or opens it."""
    given = layers.culverts
    return _Standing(
        roofs=layers.roofs.geometry.to_numpy(),
        open_below=layers.roofs["open_below"].to_numpy().astype(bool),
        barriers=layers.barriers.geometry.to_numpy(),
        culverts=[
            CulvertLine(line, (_known(up), _known(down)))
            for line, up, down in zip(
                given.geometry.to_numpy(), given["invert_up_m"].to_numpy(), given["invert_down_m"].to_numpy(),
                strict=True,
            )
        ],
        invert_reach=rules["culvert_end_reach"].likely,
    )


Bettered = Callable[[Surface, Ground], Surface]
Brought = Callable[[Surface, SiteInputs], Surface]


def read_lot_ground(
    inputs: SiteInputs, drains_to_lot: Callable[[Ground], BoolArray], *, bettered: Bettered | None = None,
    brought: Brought | None = None,
) -> tuple[Surface, Ground]:
    """Read the window that a lot needs, better it, bring it to the level shots, and make it ground."""
    parcel, make = inputs.layers.parcel, ground_maker(inputs.layers, inputs.site.rules)
    look = look_for_banks(inputs, parcel)
    return read_ground(inputs, parcel, drains_to_lot, look=look, bettered=bettered, brought=brought, make=make)


def look_for_banks(inputs: SiteInputs, place: BaseGeometry) -> Look:
    """A look at the ponds behind banks far off that come near a place."""
    rules = inputs.site.rules
    standing = _standing(inputs.layers, rules)
    near, least = place.buffer(rules["embankment_reach"].likely), rules["embankment_height"].likely

    def ponds(surface: Surface) -> BoolArray:
        water = pond_depths(surface, least=least, **standing)
        return deep_ponds(water, cells_inside(surface.grid, near), least)

    return Look(ponds, rules["embankment_look"].likely)


def read_ground(
    inputs: SiteInputs,
    place: BaseGeometry,
    drains: Callable[[Ground], BoolArray],
    *,
    named: Reason = THE_PARCEL,
    look: Look | None = None,
    bettered: Bettered | None = None,
    brought: Brought | None = None,
    make: Callable[[Surface], Ground] | None = None,
) -> tuple[Surface, Ground]:
    """Read the window that a place needs, better it, bring it to the level shots, and make it ground."""
    rules = inputs.site.rules
    make = make or ground_maker(inputs.layers, rules)
    last: list[Ground] = []

    def drained(window: Surface) -> BoolArray:
        last[:] = [make(window)]
        return drains(last[0])

    surface = grow_window(
        inputs.source,
        place,
        drained,
        margin=rules["window_margin"].likely,
        limit=int(rules["largest_window"].likely),
        largest_hole=int(rules["largest_hole"].likely),
        limits=ground_limits(rules),
        named=named,
        look=look,
    )
    # the window that was drained last is the one that is taken
    ground = last[0] if last[0].grid == surface.grid else make(surface)
    if bettered is None and inputs.shots is None:
        return surface, ground
    if bettered is not None:
        surface = bettered(surface, ground)
    if inputs.shots is not None:
        bent = _on_shots(surface, inputs.shots, rules)
        surface = bent if brought is None else replace(brought(surface, inputs), warnings=bent.warnings)
    return surface, make(surface)


def _on_shots(surface: Surface, shots: LevelShots, rules: Rules) -> Surface:
    """The surface brought to the level shots, with what they did to it among its warnings."""
    try:
        fit = rebase_on_shots(surface, shots.x, shots.y, shots.heights, reach=rules["level_shot_reach"].likely)
    except GroundError as error:
        raise GroundError(f"{shots.where}: {error}") from None
    said = [
        *shots.warnings,
        reason("ground_on_shots", shift=abs(fit.shift), up=fit.shift >= 0.0, own_datum=shots.own_datum),
    ]
    worst = float(fit.residuals[np.argmax(np.abs(fit.residuals))])
    if abs(worst) > rules["level_shot_misfit"].likely:
        said.append(reason("shot_off_lidar", off=abs(worst), above=worst > 0.0, shots=len(shots.points)))
    return replace(fit.surface, warnings=(*fit.surface.warnings, *said))


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
