"""Which size of a lift copes with the design storm at the least price: pumps, pipe, storage in stone."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from pipelines.hydraulics.pumping.sump_storage import storage_needed
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.plan import FrenchDrain
from pipelines.layout.quantities.quantities import Access, Works, quantities_of
from pipelines.layout.quantities.take_off import price_take_off, total_cost
from pipelines.layout.ways.lift_design import LiftOption, LiftPlace, lift_options, with_inflow
from pipelines.layout.ways.lift_storm import LiftStorm
from pipelines.layout.ways.stone_storage import stone_beside
from pipelines.layout.ways.way_values import WayInputs
from terrain.reason import Reason, reason


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """One size of a lift beside the others.

    Attributes
    ----------
    option : LiftOption
        Its pumps, pipe and basin.
    share : float
        Of their flow that the low spots are drained with. [-]
    needed, storage : float
        Storage that it needs so that nothing backs up, and that it has in basin and stone. [m3]
    stone : tuple of FrenchDrain
        Where the basin's own does not do.
    copes : bool
        Whether it has what it needs.
    """

    option: LiftOption
    share: float
    needed: float
    storage: float
    stone: tuple[FrenchDrain, ...]
    copes: bool

    @property
    def delivered(self) -> float:
        """[m3/s]"""
        return self.option.result.delivered_flow


@dataclass(frozen=True, slots=True, eq=False)
class CopingLift:
    """The size that is chosen, what reaches it, and why; none where the way is refused.

    Attributes
    ----------
    chosen : Candidate or None
        None where far more arrives than any size delivers or stores.
    why : Reason
        By what it copes or falls short, or why it is refused.
    compared : tuple of Reason
        The sizes that were not taken.
    """

    chosen: Candidate | None
    why: Reason
    compared: tuple[Reason, ...] = ()


def coping_lift(
    inputs: WayInputs, place: LiftPlace, storm: LiftStorm, *, top: Callable[[float], float],
    works_of: Callable[[Candidate], Works],
) -> CopingLift:
    """The cheapest size of a lift that copes.

    The smallest is taken where it delivers all that its collectors pass on. Else each size is held against the least
    share of their flow with which the troubles end: what it delivers less of waits in the basin and in stone beside
    it, up to the level `top` at which water would come out of a grate. Where none copes, the size that delivers most.
    """
    options, unsound = lift_options(place, storm.total)
    first = options[0]
    if first.result.delivered_flow >= storm.total or storm.total <= 0.0:
        chosen = Candidate(first, 1.0, 0.0, first.basin.area * (place.inlet - place.on_level), (), True)
        return _told(place, storm, chosen, (), {})
    least = storm.least_share()
    level = max(top(least), place.inlet)
    candidates = [_candidate(place, storm, option, least, level, inputs.catching) for option in options]
    able = [each for each in candidates if each.copes]
    if not able:
        most = max(candidates, key=lambda each: each.delivered)
        refused = _far_over(inputs, storm, most)
        if refused is not None:
            return CopingLift(None, refused)
        return _told(place, storm, most, [each for each in candidates if each is not most], {}, unsound)
    costs = {id(each): _cost(inputs, works_of(each)) for each in able}
    chosen = min(able, key=lambda each: costs[id(each)])
    more = {key: cost - costs[id(chosen)] for key, cost in costs.items()}
    return _told(place, storm, chosen, [each for each in candidates if each is not chosen], more, unsound)


def _candidate(
    place: LiftPlace, storm: LiftStorm, option: LiftOption, least: float, top: float, catching: Catching
) -> Candidate:
    delivered = option.result.delivered_flow
    share = storm.share_of(delivered)
    basin = option.basin.area * (top - place.on_level)
    if share >= least:
        return Candidate(option, share, 0.0, basin, (), True)
    inflow = storm.inflow(least)
    needed = storage_needed(inflow.flow, inflow.step, delivered=delivered)
    if needed <= basin:
        return Candidate(option, least, needed, basin, (), True)
    stone = stone_beside(
        place.situation, place.point, catching, sump_id="sump-1", volume=needed - basin, bottom=place.on_level, top=top
    )
    if stone is None:
        return Candidate(option, share, needed, basin, (), False)
    return Candidate(option, least, needed, needed, stone, True)


def _far_over(inputs: WayInputs, storm: LiftStorm, most: Candidate) -> Reason | None:
    """Why the way is refused, where what arrives is far over all that can be delivered; None where it is not."""
    inflow, times = storm.inflow(1.0).peak, inputs.situation.rules["lift_far_over"].likely
    if inflow <= times * most.delivered:
        return None
    return reason(
        "lift_far_over", inflow=inflow, delivered=most.delivered, pumps=most.option.result.pumps,
        pipe=most.option.pipe.key, times=times, storage=most.needed,
    )


def _told(
    place: LiftPlace, storm: LiftStorm, chosen: Candidate, others: Sequence[Candidate], more: dict[int, float],
    unsound: tuple[Reason, ...] = (),
) -> CopingLift:
    # what a lift that falls short is told against is what would reach it if nothing backed up
    inflow = storm.inflow(chosen.share if chosen.copes else 1.0).peak
    chosen = replace(chosen, option=with_inflow(place, chosen.option, inflow))
    why = reason(
        "lift_copes", copes=chosen.copes, size=_size(chosen), inflow=inflow,
        delivered=chosen.delivered, storage=chosen.needed,
    )
    return CopingLift(chosen, why, (*(_other(each, more.get(id(each))) for each in others), *unsound))


def _size(each: Candidate) -> Reason:
    result = each.option.result
    return reason("lift_size", pumps=result.pumps, pipe=each.option.pipe.key, stone=bool(each.stone))


def _other(each: Candidate, more: float | None) -> Reason:
    return reason(
        "lift_other", size=_size(each), delivered=each.delivered, storage=each.needed, more=more, fits=each.copes
    )


def _cost(inputs: WayInputs, works: Works) -> float:
    """Likely price of works, of which only the difference to others counts. [money]"""
    rules, layout = inputs.situation.rules, inputs.site.layout
    narrow = layout.gate is not None and layout.gate < rules["narrow_gate"].likely
    access = Access(hard=narrow, soil=layout.soil or "earth")
    lines, _ = price_take_off(quantities_of(works, rules, access), inputs.ground.prices, rules)
    return total_cost(lines).likely
