"""Ground upslope of the lot's surroundings: what its low spots hold back, and the flows that are left of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from pipelines.hydrology.hydrographs import add_hydrographs
from pipelines.hydrology.low_spot_ponds import storage_of_low_spot
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.hydrology.runoff_table import STEP, sub_catchment_runoff
from pipelines.hydrology.standing_water import route_storage
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.hydrology.surface_map import SurfaceMap, group_at, shares_of
from pipelines.hydrology.surfaces import infiltration_rate
from pipelines.layout.diagnosis.division import CollectingPlace, Upslope, divide_ground
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.diagnosis.water_settings import WaterSettings, travel_of
from terrain.arrays import BoolArray
from terrain.flow.drainage import Drainage
from terrain.flow.low_spots import LowSpot
from terrain.kernels.routing import accumulate

NOWHERE = Polygon()


@dataclass(frozen=True, slots=True)
class HeldWater:
    """What runs off onto one low spot's own ground, and what of all that comes there stands at the end and soaks in.
    [m3]"""

    ran_off: float
    stands: float
    soaked: float


@dataclass(frozen=True, slots=True, eq=False)
class UpslopeWater:
    """One storm on the ground upslope.

    Attributes
    ----------
    flows : tuple of Hydrograph
        Over each of its entries.
    stands : float
        Water that its low spots still hold at the end. [m3]
    held : dict of str to HeldWater
        By low spot.
    """

    flows: tuple[Hydrograph, ...]
    stands: float
    held: Mapping[str, HeldWater] = field(default_factory=dict)


def bearing_ground(parcel: BaseGeometry, drainage: Drainage, reach: float) -> BoolArray:
    """Cells within reach of the lot, and all that their water runs over on its way down."""
    near = mask_of(parcel.buffer(reach), drainage.ground.grid).ravel().astype(np.float64)
    found: BoolArray = accumulate(drainage.target, drainage.order, near).reshape(drainage.filled.shape) > 0.0
    return found


def ground_upslope(
    drainage: Drainage, on_parcel: BoolArray, studied: BoolArray, spots: Sequence[LowSpot]
) -> Upslope | None:
    """The studied ground that drains to low spots upslope of all that bears on the lot; None where there are none."""
    if not spots:
        return None
    places = [CollectingPlace(spot.id, "spot", spot.cells) for spot in spots]
    whole = divide_ground(drainage, on_parcel, places, skip=studied)
    held = {place.id for place in whole.places}
    far = (whole.label >= 0) & (whole.label < len(places))
    out: dict[str, int] = {}
    entries: list[int] = []
    for place in reversed(whole.places):
        onward = whole.next_place[place.id]
        if onward in held:
            out[place.id] = out[onward]
            continue
        cell = int(place.cells[0])
        while cell >= 0 and far[cell]:
            cell = int(drainage.target[cell])
        if cell >= 0:
            out[place.id] = len(entries)
            entries.append(cell)
    numbers = np.array([out.get(name, -1) for name in whole.names], dtype=np.int64)
    entry_of = np.where(far, numbers[np.where(far, whole.label, 0)], -1)
    regions = tuple(region for region in whole.regions if region.place in held)
    return Upslope(
        regions, whole.places, whole.next_place, {spot.id: spot for spot in spots if spot.id in held}, out,
        np.array(entries, dtype=np.int64), entry_of,
    )


def still_upslope(upslope: Upslope, before: Drainage, after: Drainage, studied: BoolArray) -> bool:
    """Whether earth moved on the lot left the ground upslope as it was."""
    far = upslope.entry_of >= 0
    return bool(
        np.array_equal(before.target[far], after.target[far])
        and studied.ravel()[far].all()
        and studied.ravel()[upslope.entries].all()
    )


def upslope_water(
    upslope: Upslope, drainage: Drainage, surfaces: SurfaceMap, rain: DesignRain, settings: WaterSettings
) -> UpslopeWater:
    """One storm on the ground upslope, worked out once: nothing that is built on the lot changes it."""
    return upslope.storms.of(
        (rain, settings.compacted), lambda: _water(upslope, drainage, surfaces, rain, settings)
    )


def _water(
    upslope: Upslope, drainage: Drainage, surfaces: SurfaceMap, rain: DesignRain, settings: WaterSettings
) -> UpslopeWater:
    coming: dict[str, list[Hydrograph]] = {}
    held: dict[str, HeldWater] = {}
    for region in upslope.regions:
        travel = travel_of(region, drainage, surfaces, rain, settings)
        shares = shares_of(
            surfaces, region.cells, slope=travel.slope, return_period=rain.return_period, roofs_connected=False,
            compacted=settings.compacted,
        )
        row = sub_catchment_runoff(region.id, region.drains_to, shares, travel, rain, shape=NOWHERE, run_on=True)
        coming.setdefault(region.place, []).append(row.hydrograph)
    own = {name: sum(part.volume for part in parts) for name, parts in coming.items()}
    flows = [[Hydrograph(STEP, np.zeros(2))] for _ in upslope.entries]
    stands = 0.0
    for place in upslope.places:
        spot = upslope.spots[place.id]
        soil = infiltration_rate(group_at(surfaces, spot.cells), compacted=settings.compacted)
        water = route_storage(
            add_hydrographs(coming[place.id]), storage_of_low_spot(spot), infiltration_rate=soil.likely,
            watched=settings.watched,
        )
        left = water.final_volume
        onward = upslope.next_place[place.id]
        if onward in upslope.spots:
            coming.setdefault(onward, []).append(water.spill)
        elif place.id in upslope.out:
            flows[upslope.out[place.id]].append(water.spill)
        else:
            # shut in: what comes to it stays
            left += water.spill.volume
        held[place.id] = HeldWater(own.get(place.id, 0.0), left, water.infiltrated)
        stands += left
    return UpslopeWater(tuple(add_hydrographs(parts) for parts in flows), stands, held)
