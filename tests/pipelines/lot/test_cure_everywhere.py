"""A cure that is sure holds at every place under the same water, recomputed from the raster and the water's depths."""

import numpy as np
import pytest
import shapely

from pipelines.inputs.rules import load_rules
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from tests.pipelines.lot.conftest import SAMPLES
from tests.quick_share import one_in

RULES = load_rules()


def value(key: str) -> float:
    return RULES[key].likely


@pytest.mark.parametrize("name", one_in(3, ["lot_01", "lot_02", "lot_15"]))
def test_where_a_pond_covers_patio_and_wall_both_are_within_their_limits(name: str) -> None:
    stages = LotStages(open_lot(SAMPLES / f"{name}.toml", grounds=1))
    lot, planned = stages.situation, stages.planned
    # more may pass through the pond than may run there: how long it stands is judged all the same
    assert planned.plan.parts.cure.state in ("sure", "cannot_tell")
    columns = lot.grid.shape[1]
    drained = {basin.spot for basin in planned.built.basins}
    held = 0
    for trouble in planned.diagnosis.troubles:
        if trouble.spot is None or trouble.spot.spot.id not in drained:
            continue
        spot = trouble.spot.spot
        cells = spot.cells[lot.on_parcel.ravel()[spot.cells]]
        ground = lot.drainage.ground.elevation.ravel()[cells]
        points = shapely.points(*lot.grid.centres(cells // columns, cells % columns))
        beside = shapely.distance(lot.houses, points) <= value("wall_reach")
        paved = np.any([shapely.contains(edge.shape, points) for edge in lot.edges if edge.kind == "paving"], axis=0)
        water = planned.water.standing[spot.id]
        levels = spot.bottom_elevation + water.depths[1:]
        for where, deep, long in (
            (paved, value("tolerable_patio_depth"), value("tolerable_patio_time")),
            (beside & ~paved, value("grate_wall_depth"), value("grate_wall_time")),
        ):
            if not where.any():
                continue
            held += 1
            # what drains by a grate is followed until it is dry, so that counting steps is enough
            assert levels[-1] < ground[where].min() + deep
            assert np.count_nonzero(levels > ground[where].min() + deep) * water.step <= long
    assert held >= 2
