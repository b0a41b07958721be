"""The lot as a planner sees it: ground, water's ways, what stands on it, what must stay dry, whose ground is whose."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from geopandas import GeoDataFrame, GeoSeries
from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.rules import Rules
from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.inputs.shapes.spout_ends import spout_ends
from pipelines.inputs.site_file import SiteFile
from pipelines.layout.diagnosis.division import Once, Upslope, lot_ground
from pipelines.layout.diagnosis.houses import HouseGround, houses_of
from pipelines.layout.diagnosis.protected import ProtectedEdge, arriving_on_grounds, arriving_water
from pipelines.layout.diagnosis.upslope import bearing_ground, ground_upslope, still_upslope
from terrain.arrays import BoolArray
from terrain.flow.drainage import Drainage
from terrain.flow.low_spots import LowSpot
from terrain.grid import Grid
from terrain.lidar.grounds import PossibleGrounds
from terrain.reason import Reason, reason

_NONE = shapely.Polygon()
_FAR = 200.0
"""Beyond the window nothing that is built counts on what stands so far off. [m]"""


@dataclass(frozen=True, eq=False)
class Situation:
    """What is known of a lot before anything is proposed.

    Attributes
    ----------
    drainage : Drainage
        Directions over the ground.
    spots : tuple of LowSpot
        Depressions that are worth listing and bear on the lot.
    upslope : Upslope or None
        Ground beyond whose water comes as flows.
    rules : Rules
        Of the trade, the site file's overrides in place.
    rmse : float
        Vertical accuracy of the lidar. [m]
    parcel : shapely Geometry
        The lot. [m]
    on_parcel, studied : (rows, cols) bool ndarray
        Cells of the lot; those and all that drain to it.
    roofs_known : bool
        Whether roofs were given at all.
    houses, keep_out, trees : shapely Geometry
        Houses of this lot; keep-outs with their setbacks; those that are trees, without. [m]
    each_roof, each_paving : GeoSeries
        Roofs that stand on the ground, and paving, in the window and a good way round it. [m]
    right_of_way : shapely Geometry or None
        None where nobody gave it. [m]
    way_off : shapely Geometry or None
        Ground before the lot's frontage that is taken for the way off where nobody gave a right of way; None where
        somebody did, or the parcels tell of no frontage. [m]
    edges : tuple of ProtectedEdge
        What must stay dry on this lot, with the water that runs at it.
    complaints : tuple of (Point, Reason)
        Where water was seen, and what of it.
    downspouts : tuple of (str, Point)
        Of this lot, whose water comes out where they stand.
    foundation : str or None
        slab, crawl or basement.
    floor, footing_depth : float or None
        Level of the main house's floor, and of footings' bottom below ground. [m]
    each_house : tuple of HouseGround
        With its own floor, and the ground along its own walls.
    shots : tuple of shapely Point
        Where a level was read; z is the height. [m]
    fixed_basins : tuple of shapely Point
        Where the site file wants basins, and nowhere else. [m]
    grounds : PossibleGrounds or None
        What lidar and level shots allow; None where the raster is taken as it is.
    neighbors : shapely Geometry
        Other parcels around the lot, where its file holds them. [m]
    """

    drainage: Drainage
    spots: tuple[LowSpot, ...]
    rules: Rules
    rmse: float
    parcel: BaseGeometry
    on_parcel: BoolArray
    studied: BoolArray
    roofs_known: bool
    houses: BaseGeometry
    each_roof: GeoSeries
    each_paving: GeoSeries
    keep_out: BaseGeometry
    trees: BaseGeometry
    right_of_way: BaseGeometry | None
    edges: tuple[ProtectedEdge, ...]
    complaints: tuple[tuple[Point, Reason], ...]
    downspouts: tuple[tuple[str, Point], ...]
    foundation: str | None
    floor: float | None
    footing_depth: float | None
    each_house: tuple[HouseGround, ...] = ()
    shots: tuple[Point, ...] = ()
    fixed_basins: tuple[Point, ...] = ()
    upslope: Upslope | None = None
    grounds: PossibleGrounds | None = None
    way_off: BaseGeometry | None = None
    neighbors: BaseGeometry = _NONE

    @property
    def grid(self) -> Grid:
        """Where the cells lie."""
        return self.drainage.ground.grid

    @cached_property
    def roofs(self) -> BaseGeometry:
        """All roofs together. [m]"""
        return _union(self.each_roof)

    @cached_property
    def paving(self) -> BaseGeometry:
        """All paving together. [m]"""
        return _union(self.each_paving)

    @cached_property
    def known(self) -> Once:
        """What was worked out of it already, and is asked for again and again."""
        return Once()

    @cached_property
    def divided(self) -> Once:
        """The last divisions of its ground: works of one siting are tried in several sizes."""
        return Once(most=2)

    @property
    def counted_spots(self) -> tuple[LowSpot, ...]:
        """Those that count in the reckoning."""
        return counted_spots(self.spots, self.studied, self.rules)


def counted_spots(spots: Iterable[LowSpot], studied: BoolArray, rules: Rules) -> tuple[LowSpot, ...]:
    """Outermost low spots on studied ground that hold enough to count in the reckoning, and shut-in ones."""
    inside, least = studied.ravel(), rules["least_pond"].likely
    return tuple(
        spot
        for spot in spots
        if spot.contained_in is None
        and bool(inside[spot.cells].any())
        and (spot.volume >= least or spot.enclosed)
    )


def describe_lot(
    site: SiteFile,
    layers: SiteLayers,
    drainage: Drainage,
    spots: tuple[LowSpot, ...],
    rmse: float,
    *,
    shots: tuple[Point, ...] = (),
    before: Situation | None = None,
    grounds: PossibleGrounds | None = None,
) -> Situation:
    """Gather what is known of a lot; `before` is the same lot before earth was moved on it."""
    on_parcel, studied = lot_ground(layers.parcel, drainage, site.rules["passing_by"].likely)
    bears = bearing_ground(layers.parcel, drainage, site.rules["surroundings"].likely).ravel()
    near = tuple(spot for spot in spots if bears[spot.cells].any())
    upslope = None if before is None else before.upslope
    if before is None or upslope is None or not still_upslope(upslope, before.drainage, drainage, studied):
        far = counted_spots((spot for spot in spots if not bears[spot.cells].any()), studied, site.rules)
        upslope = ground_upslope(drainage, on_parcel, studied, far)
    closed = ~layers.roofs["open_below"].to_numpy().astype(bool)
    standing = layers.roofs if closed.all() else layers.roofs[closed]
    own = standing[shapely.intersects(standing.geometry.to_numpy(), layers.parcel)]
    main = own.loc[own.area.idxmax()] if len(own) else None
    edges = arriving_on_grounds(
        _edges(layers, own.geometry, drainage, site.rules["wall_strip"].likely), drainage, grounds
    )
    if before is not None:
        # earth that is moved moves nothing that is built
        return replace(
            before, drainage=drainage, spots=near, rmse=rmse, on_parcel=on_parcel, studied=studied, edges=edges,
            each_house=tuple(house.on(drainage.ground) for house in before.each_house), shots=shots, upslope=upslope,
        )
    houses, beside = _union(own.geometry), site.rules["beside_reach"].likely
    spouts = layers.downspouts.geometry.to_numpy()
    near_house = shapely.distance(houses, spouts) <= beside
    own_spouts = zip(layers.downspouts["id"].to_numpy()[near_house], spouts[near_house], strict=True)
    led_away = {each.id for each in spout_ends(layers, site.rules) if each.place is not None}
    floors = [_number(roof, "floor_m") for _, roof in own.iterrows()]
    if main is not None and site.house.floor is not None:
        floors[own.index.get_loc(main.name)] = site.house.floor
    return Situation(
        drainage=drainage,
        spots=near,
        rules=site.rules,
        rmse=rmse,
        parcel=layers.parcel,
        on_parcel=on_parcel,
        studied=studied,
        roofs_known=site.roofs is not None and len(standing) > 0,
        houses=houses,
        each_roof=_near(standing, drainage.ground.grid),
        each_paving=_near(layers.hardscape, drainage.ground.grid),
        keep_out=_union(
            shape.buffer(setback) if setback > 0.0 else shape
            for shape, setback in zip(layers.keep_out.geometry, layers.keep_out["setback_m"], strict=True)
        ),
        right_of_way=_union(layers.right_of_way.geometry) if site.right_of_way is not None else None,
        edges=edges,
        complaints=tuple(
            (shapely.centroid(shape), reason("water_seen", what=str(what or "water").strip(), date=date or None))
            for shape, what, date in zip(
                layers.complaints.geometry, layers.complaints["what"], layers.complaints["date"], strict=True
            )
        ),
        downspouts=tuple((str(name), point) for name, point in own_spouts if str(name) not in led_away),
        foundation=site.house.foundation or (main["foundation"] or None if main is not None else None),
        floor=site.house.floor if site.house.floor is not None else _number(main, "floor_m"),
        footing_depth=site.house.footing_depth,
        each_house=houses_of(list(own.geometry), floors, drainage.ground),
        shots=shots,
        fixed_basins=tuple(layers.basins.geometry),
        upslope=upslope,
        grounds=grounds,
        way_off=_way_off(site, layers),
        neighbors=layers.frontage.neighbors,
        trees=_union(
            shape
            for shape, kind in zip(layers.keep_out.geometry, layers.keep_out["kind"], strict=True)
            if "tree" in kind.lower()
        ),
    )


def _way_off(site: SiteFile, layers: SiteLayers) -> BaseGeometry | None:
    if site.right_of_way is not None or not layers.frontage.edges:
        return None
    return layers.frontage.ground(layers.parcel, site.rules["outfall_reach"].likely)


def _edges(
    layers: SiteLayers, houses: Iterable[BaseGeometry], drainage: Drainage, strip_width: float
) -> tuple[ProtectedEdge, ...]:
    """Protected paving of the lot, then the strip beside each of its houses."""
    edges: list[ProtectedEdge] = []
    counts: dict[str, int] = {}
    shapes = layers.hardscape.geometry.to_numpy()
    protect = layers.hardscape["protect"].to_numpy().astype(bool) & shapely.intersects(shapes, layers.parcel)
    for shape, kind in zip(shapes[protect], layers.hardscape["kind"].to_numpy()[protect], strict=True):
        name = _numbered(kind or "paving", counts)
        for part in shapely.get_parts(shape):
            if isinstance(part, Polygon):
                edges.append(arriving_water(name, "paving", part, drainage))
    for shape in houses:
        # a roof may be drawn in parts that do not touch
        for strip in shapely.get_parts(shapely.buffer(shape, strip_width, join_style="mitre")):
            edges.append(arriving_water(_numbered("house", counts), "wall", strip, drainage, strip=strip_width))
    return tuple(edges)


def _numbered(kind: str, counts: dict[str, int]) -> str:
    counts[kind] = counts.get(kind, 0) + 1
    return kind if counts[kind] == 1 else f"{kind} {counts[kind]}"


def _near(layer: GeoDataFrame, grid: Grid) -> GeoSeries:
    """Shapes in the window and a good way round it: of a city's thousands the others touch nothing of a lot."""
    west, south, east, north = grid.bounds
    around = shapely.box(west - _FAR, south - _FAR, east + _FAR, north + _FAR)
    near = shapely.intersects(layer.geometry.to_numpy(), around)
    return layer.geometry if near.all() else layer.geometry[near]


def _union(shapes: Iterable[Any]) -> BaseGeometry:
    found: BaseGeometry = shapely.union_all(np.array(list(shapes), dtype=object))
    return found


def _number(row: Any, column: str) -> float | None:
    if row is None:
        return None
    value = float(row[column])
    return value if np.isfinite(value) else None
