"""From what is wrong to where it would be caught, after what costs little."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely

from pipelines.layout.catching.basins import fixed_basins
from pipelines.layout.catching.collection import site_collectors
from pipelines.layout.catching.cures import cheap_cures
from pipelines.layout.catching.downspouts import extension_place, spouts_beside_complaints, spouts_to_troubles
from pipelines.layout.catching.sites import BasinSite, CatchGround, DownspoutSite, DrainSite, free_ground
from pipelines.layout.catching.trench_sizes import stone_offset
from pipelines.layout.diagnosis.diagnose import Diagnosis, Reckoning, settings_for, standing_times, unit_peak
from pipelines.layout.diagnosis.division import CollectingPlace, divide_ground
from pipelines.layout.diagnosis.lot_water import Taking, run_storm
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.troubles import find_troubles
from pipelines.layout.plan import Cure
from terrain.reason import Reason


@dataclass(frozen=True, slots=True, eq=False)
class Catching:
    """What would catch it.

    Attributes
    ----------
    cures : tuple of Cure
        What costs little and comes first.
    enough : bool
        Whether the cures alone end every trouble in the storm.
    refused : tuple of Reason
        What could not be sited, and why.
    """

    basins: tuple[BasinSite, ...]
    drains: tuple[DrainSite, ...]
    downspouts: tuple[DownspoutSite, ...]
    cures: tuple[Cure, ...]
    enough: bool
    refused: tuple[Reason, ...]

    @property
    def sites(self) -> tuple[BasinSite | DrainSite | DownspoutSite, ...]:
        """All that collects: basins, drains, downspouts."""
        return (*self.basins, *self.drains, *self.downspouts)

    @property
    def empty(self) -> bool:
        """Whether there is nothing to build."""
        return not (self.basins or self.drains)


def catch(situation: Situation, reckoning: Reckoning, found: Diagnosis) -> Catching:
    """Site what would catch the water, after what costs little."""
    spouts = spouts_to_troubles(situation, found)
    seen = spouts_beside_complaints(situation, found, spouts)
    extensions = {
        spout.id: place for spout in (*spouts, *seen) if (place := extension_place(spout, situation, found.wet))
    }
    cures = cheap_cures(
        found.troubles,
        (*spouts, *seen),
        extensions,
        situation.drainage,
        situation.rules,
        gutters=not situation.houses.is_empty and bool(found.troubles or situation.complaints),
    )
    spouts = tuple(replace(spout, extends=spout.id in extensions) for spout in spouts)
    moved = [spout for spout in spouts if spout.extends]
    fixed = situation.fixed_basins
    if found.troubles and moved and not fixed and _enough(situation, reckoning, found, moved):
        return Catching((), (), (), cures, True, ())
    ground = catch_ground(situation)
    given = fixed_basins(fixed, list(found.places.values()), ground) if fixed else ()
    basins, drains, refused = site_collectors(found.troubles, ground.clear_of(given, ()))
    basins = given or basins
    return Catching(basins, drains, spouts if basins or drains else (), cures, False, refused)


def catch_ground(situation: Situation) -> CatchGround:
    """What places are looked for on."""
    return situation.known.of("catch_ground", lambda: _catch_ground(situation))


def _catch_ground(situation: Situation) -> CatchGround:
    rules = situation.rules
    wall_offset = stone_offset(rules, situation.foundation, situation.footing_depth)
    line_offset = rules["line_offset"].likely + rules["parcel_line_error"].likely
    walls = shapely.buffer(situation.roofs, rules["works_wall_clearance"].likely)
    # of the middle of a trench, so that its nearest stone keeps the offset
    stone = shapely.buffer(situation.houses, wall_offset + rules["trench_width_stone"].likely / 2.0)
    taken = [walls, situation.keep_out]
    return CatchGround(
        drainage=situation.drainage,
        free=free_ground(situation.parcel, taken, line_offset=line_offset),
        free_for_stone=free_ground(situation.parcel, [*taken, stone], line_offset=line_offset),
        paving=situation.paving,
        trees=situation.trees,
        rules=rules,
        wall_offset=wall_offset,
        shots=situation.shots,
    )


def _enough(
    situation: Situation, reckoning: Reckoning, found: Diagnosis, moved: Sequence[DownspoutSite]
) -> bool:
    """Whether leading downspouts away ends every trouble: the storm again without their roofs."""
    spots = situation.counted_spots
    places = [CollectingPlace(spout.id, "taker", spout.cells) for spout in moved]
    places += [CollectingPlace(spot.id, "spot", spot.cells) for spot in spots]
    division = divide_ground(situation.drainage, situation.on_parcel, places, skip=situation.studied,
                        upslope=situation.upslope)
    water = run_storm(
        division, situation.drainage, {spot.id: spot for spot in spots}, reckoning.surfaces, reckoning.rain,
        {spout.id: Taking(spout.id, piped=True) for spout in moved},
        settings_for(found.places, found.rules, reckoning),
    )
    left = find_troubles(
        list(found.places.values()), standing_times(water, found.places, found.rules), situation.edges, (),
        unit_peak=unit_peak(found.water), rules=found.rules,
    )
    seen = {trouble.name for trouble in found.troubles if trouble.spot is not None and trouble.spot.complaint}
    before = sum(w.depth for w in found.water.standing.values())
    after = sum(w.depth for w in water.standing.values())
    # a place that someone complained of must be clearly better, not merely within what is tolerated
    return not left and (not seen or after < situation.rules["cure_enough_share"].likely * before)
