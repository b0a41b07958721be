"""Where runs cross what lies in the ground."""

from collections.abc import Iterator, Sequence

import geopandas as gpd
import numpy as np
import shapely
from shapely import Point

from pipelines.deliverables.findings.lot import CrossingPoint
from pipelines.layout.plan import PipeRun


def crossing_points(runs: Sequence[PipeRun], utilities: gpd.GeoDataFrame) -> tuple[CrossingPoint, ...]:
    """Every place where a run crosses a utility line, downstream."""
    return tuple(
        sorted(_found(runs, utilities), key=lambda each: ([run.id for run in runs].index(each.run), each.station))
    )


def _found(runs: Sequence[PipeRun], utilities: gpd.GeoDataFrame) -> Iterator[CrossingPoint]:
    for run in runs:
        line = shapely.force_2d(run.line)
        for row in utilities.itertuples():
            met = shapely.intersection(line, row.geometry)
            depth = float(row.depth_m)
            for xy in shapely.get_coordinates(met):
                at = Point(xy)
                yield CrossingPoint(run.id, row.kind or "buried line", at, float(shapely.line_locate_point(line, at)),
                                    depth if np.isfinite(depth) else None)  # fmt: skip
