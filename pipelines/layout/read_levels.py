"""Which of the levels that are worth reading on site somebody has read already."""

from collections.abc import Sequence

import shapely

from pipelines.layout.diagnosis.diagnose import Diagnosis
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.plan import Outfall, PipeRun


def levels_read(
    situation: Situation, found: Diagnosis, runs: Sequence[PipeRun] = (), outfalls: Sequence[Outfall] = ()
) -> tuple[str, ...]:
    """Of sill, low, route and bottom those that the level shots hold; none where no level was shot."""
    if not situation.shots:
        return ()
    reach = situation.rules["outfall_bottom_reach"].likely
    shots = shapely.force_2d(shapely.multipoints(situation.shots))
    wet = [spot.shape for each in found.troubles if (spot := each.spot) is not None]
    wet += [edge.shape for each in found.troubles if (edge := each.edge) is not None]
    own = [shapely.force_2d(run.line) for run in runs if not run.beside]
    held = {
        "sill": situation.floor is not None,
        "low": any(shapely.intersects(shape, shots) for shape in wet),
        "route": bool(own) and all(shapely.distance(line, shots) <= reach for line in own),
        "bottom": bool(outfalls) and all(shapely.distance(each.point, shots) <= reach for each in outfalls),
    }
    return tuple(name for name, read in held.items() if read)
