"""The verdict in parts: cause, fall, outfall and cure, and the headline that the weakest of them makes."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from pipelines.layout.catching.proposal import Catching
from pipelines.layout.cured import TroubleLeft, told_balances, told_left, told_running
from pipelines.layout.diagnosis.diagnose import Diagnosis
from pipelines.layout.diagnosis.hidden_culverts import HiddenCulvert
from pipelines.layout.diagnosis.lot_water import LotWater
from pipelines.layout.diagnosis.possible_troubles import PlaceOnGrounds
from pipelines.layout.diagnosis.troubles import Trouble
from pipelines.layout.parts import WEAKEST_FIRST, Part, Parts, Said, State, Verdict
from pipelines.layout.plan import Discharge, Outfall
from pipelines.layout.quantities.take_off import Cost
from pipelines.layout.ways.fall import SURE_SHARE, verdict_by_count
from pipelines.layout.ways.way_values import Way
from terrain.arrays import BoolArray
from terrain.reason import Reason, reason

NOT_NEEDED = Part("not_needed", reason("part_not_needed"))
NOTHING_NEEDED = Parts(NOT_NEEDED, NOT_NEEDED, NOT_NEEDED, NOT_NEEDED)
STANDING = {"outfall_pond_unsure": "pond", "outfall_inlet_unsure": "inlet"}
"""Outfalls that water stands in, by what is told of them: no bottom and no culvert settles how high."""


def weakest_of(parts: Sequence[Part]) -> Part:
    """The least sure, the first of equals."""
    return min(parts, key=lambda part: WEAKEST_FIRST.index(part.state), default=NOT_NEEDED)


def stopped(why: Said) -> Parts:
    """Of a lot that is referred out: nothing is proposed, so only the cause is judged."""
    return replace(NOTHING_NEEDED, cause=Part("no", why))


def nothing_built(found: Diagnosis, catching: Catching, cause: Part, why: Said) -> Parts:
    """Of a lot where no works are proposed."""
    if not found.troubles:
        return replace(NOTHING_NEEDED, cause=cause, cure=Part("not_needed", why))
    if catching.enough:
        return Parts(cause, NOT_NEEDED, NOT_NEEDED, Part("sure", why))
    if catching.refused:
        return Parts(cause, NOT_NEEDED, NOT_NEEDED, Part("no", why))
    return Parts(cause, NOT_NEEDED, NOT_NEEDED, Part("cannot_tell", why))


def on_the_surface(cause: Part, state: State, why: Said, through: Sequence[TroubleLeft]) -> Parts:
    """Of a lot where works on the surface alone are proposed, which end it as surely as `state` says."""
    cure = cure_part(through) if through else Part(state, why if state == "sure" else reason("surface_may_end_it"))
    return Parts(cause, NOT_NEEDED, NOT_NEEDED, cure)


def provisional(cause: Part, why: Said) -> Parts:
    """Of a lot whose roofs are not known: no line is laid."""
    open_part = Part("cannot_tell", why)
    return Parts(cause, open_part, open_part, open_part)


def no_way(cause: Part, why: Said, *, known: bool) -> Parts:
    """Of a lot that no line leaves; nobody can tell where a table that might open a way was not given."""
    state: Verdict = "no" if known else "cannot_tell"
    return Parts(cause, Part(state, why), NOT_NEEDED, Part(state, reason("cure_without_works")))


def as_today(water: LotWater, least: float) -> Reason:
    """What the water of the storm goes on doing where nothing is built, flows below the least left out. [m3/s]"""
    leaving = {side: flow.peak for side, flow in water.leaving.items() if flow.peak > least}
    stands = any(pool.depth > 0.0 for pool in water.standing.values())
    over = tuple(reason("leaves_over_edge", side=side, flow=flow) for side, flow in leaving.items())
    return reason("water_as_today", over=over, stands=stands)


def headline_no_way(found: Diagnosis, parts: Parts, today: Reason, missing: tuple[str, ...]) -> Reason:
    """What is wrong, that no line leads off the lot, and which table might open a way."""
    return reason(
        "headline_no_way", wrong=wrong_of(found), state=parts.verdict, missing=missing, today=today,
        cause=parts.cause.why if parts.cause.state == "no" else None,
    )  # fmt: skip


def with_works(
    cause: Part, chosen: Way, looks: Mapping[str, Part], left: Sequence[TroubleLeft], under: Reason | None = None,
    ended: BoolArray | None = None,
) -> Parts:
    """Of a lot with works, before the outfall's word is put on its discharges.

    `under` is how high an outfall whose level in the storm nobody knows may rise until the fall is gone, `ended`
    whether the works end what is wrong on each ground that lidar allows, None where that is not counted.
    """
    fall, outfall = fall_part(chosen.discharges), outfall_part(chosen.outfalls, looks)
    if under is not None and fall.state == "sure":
        only = reason("while_under", outfall=under["outfall"], fails=under["fails"])
        why = fall.why
        told = why["parts"] if isinstance(why, Reason) and why.code == "sentences" else (why,)
        fall = Part(fall.state, reason("sentences", parts=(*told, under)), only)
    cure = cure_on_grounds(cure_part(left), ended)
    # water that the outfall does not take stays where it is
    doubts = tuple(key for key, part in (("fall", fall), ("outfall", outfall)) if part.state in ("cannot_tell", "no"))
    # where soil is moved it was run on the likeliest ground alone
    of_many = ended is None and any(line.on_grounds for line in chosen.discharges)
    if cure.state == "sure" and (doubts or of_many):
        cure = replace(cure, only=reason("if_others_hold", others=(*doubts, *(("ground",) if of_many else ()))))
    return Parts(cause, fall, outfall, cure)


def as_far_as_culverts(parts: Parts, unseen: Sequence[HiddenCulvert]) -> Parts:
    """The same where what is wrong hangs on a culvert that nobody has seen: no more than cannot_tell."""
    deciding = next((each for each in unseen if each.decides), None)
    if deciding is None:
        return parts
    why = reason("hangs_on_culvert", bank=deciding.name, ends=deciding.ends, begins=deciding.begins)
    cause, cure = (Part("cannot_tell", why) if part.state != "no" else part for part in (parts.cause, parts.cure))
    return replace(parts, cause=cause, cure=cure)


def as_far_as_found(parts: Parts, troubles: Sequence[Trouble]) -> Parts:
    """The same where all that is wrong, unseen by anybody, is there on too few of the grounds that lidar allows."""
    shares = [each.found for each in troubles]
    if parts.cause.state != "sure" or not shares or any(each is None or each >= SURE_SHARE for each in shares):
        return parts
    most = max(troubles, key=lambda each: each.found or 0.0)
    why = reason("wrong_on_grounds", share=most.found, place=most.name)
    return replace(parts, cause=Part("cannot_tell", why))


def looked_no_farther(warnings: Sequence[Said]) -> Reason | None:
    """That the window stopped before all was seen that water may come from; `warnings` are those of reading it."""
    codes = {each.code for each in warnings if isinstance(each, Reason)}
    run_on, banks = bool(codes & {"window_stopped", "window_unsettled"}), "window_look_stopped" in codes
    return reason("looked_no_farther", run_on=run_on, banks=banks) if run_on or banks else None


def as_far_as_looked(parts: Parts, beyond: Reason | None) -> Parts:
    """The same where water may come from beyond what was looked at: no cure is sure, nor that none is needed."""
    if beyond is None or parts.cure.state not in ("sure", "not_needed"):
        return parts
    return replace(parts, cure=Part("cannot_tell", beyond))


def though_dry(
    places: Sequence[PlaceOnGrounds], within: Reason | None, beyond: Reason | None
) -> tuple[Reason | None, Reason]:
    """Why a lot where nothing is wrong may not be dry all the same, `within` lidar error or by water from `beyond`, and
    what is told of it then."""
    wet = wet_on_grounds(places)
    if wet is not None:
        return wet, reason("nothing_shown")
    return (within, reason("nothing_called")) if within is not None else (beyond, reason("nothing_seen"))


def wet_on_grounds(places: Sequence[PlaceOnGrounds]) -> Reason | None:
    """That too many of the grounds that lidar allows show a trouble for "nothing to build" to be sure."""
    wet = np.any([each.wet for each in places], axis=0) if places else np.empty(0, dtype=bool)
    if not wet.size or verdict_by_count(~wet) == "sure":
        return None
    worst = max(places, key=lambda each: each.found)
    return reason(
        "wet_on_grounds", wet=int(np.count_nonzero(wet)), grounds=int(wet.size), place=worst.name,
        most=int(np.count_nonzero(worst.wet)),
    )


def fall_part(discharges: Sequence[Discharge]) -> Part:
    """Whether every line has its fall or its lift."""
    return weakest_of([Part(each.verdict, each.why) for each in discharges])


def outfall_part(outfalls: Sequence[Outfall], looks: Mapping[str, Part]) -> Part:
    """Whether the outfalls that are used take this storm's water."""
    used = [outfall for outfall in outfalls if outfall.verdict is not None]
    return weakest_of([look_of(outfall.id, looks) for outfall in used])


def look_of(outfall: str, looks: Mapping[str, Part]) -> Part:
    """What was seen of an outfall; one given as a line has several places, named after it."""
    named = looks.get(outfall, looks.get("-".join(outfall.split("-")[:2])))
    return named if named is not None else Part("cannot_tell", reason("outfall_not_followed", id=outfall))


def cure_part(left: Sequence[TroubleLeft]) -> Part:
    """Whether every trouble is within its limit with the works."""
    over = [each for each in left if not each.ended]
    if over:
        left_over = tuple(told_left(each) for each in over)
        return Part("no", reason("cure_leaves", left=left_over, past=told_balances(over)))
    through = [each for each in left if each.through]
    if through:
        places = tuple(dict.fromkeys(each.trouble.name for each in through))
        return Part("cannot_tell", reason("cure_hangs_on_way", places=places, runs=told_balances(through)))
    runs = tuple(told_running(each) for each in left if each.trouble.edge is not None)
    return Part("sure", reason("cure_ends_all", runs=runs))


def cure_on_grounds(cure: Part, ended: BoolArray | None) -> Part:
    """A cure on the likeliest ground as far as other grounds bear it out."""
    if cure.state != "sure" or ended is None:
        return cure
    assert isinstance(cure.why, Reason)
    return Part(
        "sure" if verdict_by_count(ended) == "sure" else "cannot_tell",
        reason("cure_on_grounds", holds=int(np.count_nonzero(ended)), grounds=int(ended.size), runs=cure.why["runs"]),
    )


def as_far_as_outfall(discharges: Sequence[Discharge], looks: Mapping[str, Part]) -> tuple[Discharge, ...]:
    """Discharges whose verdict is the weakest of their fall and their outfall."""
    found = []
    for each in discharges:
        look = look_of(each.outfall, looks) if each.outfall else NOT_NEEDED
        if WEAKEST_FIRST.index(look.state) < WEAKEST_FIRST.index(each.verdict):
            assert look.state != "not_needed"
            each = replace(each, verdict=look.state, why=reason("fall_and_outfall", fall=each.why, outfall=look.why))
        found.append(each)
    return tuple(found)


def headline(
    found: Diagnosis, parts: Parts, way: Said, cost: Cost | None, left: Sequence[TroubleLeft] = ()
) -> Reason:
    """What is wrong, what to do, how sure that is and what would overturn it; `left` is what the works leave."""
    name, weakest = parts.weakest
    worst = wrong_of(found)
    stays = dict.fromkeys(_today(each, found) for each in left)
    return reason(
        "headline",
        wrong=worst,
        besides=tuple(each for each in stays if each != worst),
        way=way,
        state=parts.verdict,
        part=name,
        culvert=_on_culvert(weakest.why),
        why=weakest.why,
        also=tuple(key for key, part in parts.named if key != name and part.state == "cannot_tell"),
        overturned=reason("overturned_by", part=name, state=parts.verdict, built=cost is not None,
                          lines=parts.fall.state != "not_needed", water=_standing(weakest.why),
                          asked=_unmeasured(weakest.why), told=_tells_shots(weakest.why),
                          culvert=_on_culvert(weakest.why),
                          counted=isinstance(weakest.why, Reason) and weakest.why.code == "cure_on_grounds",
                          beyond=isinstance(weakest.why, Reason) and weakest.why.code == "looked_no_farther"),
        low=None if cost is None else cost.low,
        likely=None if cost is None else cost.likely,
        high=None if cost is None else cost.high,
    )


def _standing(why: Said) -> str | None:
    return STANDING.get(why.code) if isinstance(why, Reason) else None


def _unmeasured(why: Said) -> str | None:
    """What of an outfall has not been measured, where that is told."""
    if not isinstance(why, Reason):
        return None
    if why.code == "outfall_unconfirmed":
        return _unmeasured(why["why"])
    if why.code != "outfall_unsure" or why["dam"] is not None:
        return None
    bottom, culverts = why["bottom"], why["culverts"] or why["silted"]
    return "both" if bottom and culverts else "bottom" if bottom else "culverts" if culverts else None


def _tells_shots(why: Said) -> bool:
    """Whether a reason says itself which level shots settle it, or that it hangs on heights alone."""
    if not isinstance(why, Reason):
        return False
    settled = why.code in ("two_shots_settle", "wrong_on_grounds", "wet_on_grounds", "within_error_alone")
    return settled or (why.code == "sentences" and any(map(_tells_shots, why["parts"])))


def _on_culvert(why: Said) -> bool:
    return isinstance(why, Reason) and why.code == "hangs_on_culvert"


def wrong_of(found: Diagnosis) -> Reason | None:
    """The worst trouble in a few words."""
    if not found.troubles:
        return None
    return _wrong(found.troubles[0])


def _wrong(trouble: Trouble) -> Reason:
    if trouble.edge is not None:
        return reason("wrong_runs", flow=trouble.why["flow"], place=trouble.name)
    return reason("wrong_stands", depth=trouble.why["depth"], place=trouble.name)


def _today(left: TroubleLeft, found: Diagnosis) -> Reason:
    """What a trouble that stays does on the lot as it is, at the place where it stays."""
    spot = left.trouble.spot
    pool = None if spot is None else found.water.standing.get(spot.spot.id)
    at = None if spot is None else next((each for each in spot.every if each.name == left.trouble.name), None)
    if pool is None or at is None:
        # on reshaped ground as much may run there as soil alone leaves: what runs there today is told
        alike = (each for each in found.troubles if each.edge is not None and each.name == left.trouble.name)
        return _wrong(left.trouble if spot is not None else next(alike, left.trouble))
    return reason("wrong_stands", depth=max(pool.depth - at.dry, 0.0), place=at.name)
