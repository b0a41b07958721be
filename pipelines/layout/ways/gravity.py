"""Carrying water off by gravity, to an outfall or to daylight on the lot's own lawn."""

from collections.abc import Mapping, Sequence

import numpy as np

from pipelines.hydraulics.manning import pipe_flow
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.catching.sites import BasinSite, DownspoutSite, DrainSite
from pipelines.layout.plan import Discharge, Fitting, Mode, Outfall, PipeRun, Verdict
from pipelines.layout.quantities.quantities import Works
from pipelines.layout.ways.laying import (
    GravityAnswer,
    LaySettings,
    drowned_from_below,
    lay_gravity,
    out_of_reach,
    settings_to_try,
    spare_to,
    verdict_as_laid,
)
from pipelines.layout.ways.outfall_sites import OutfallSite
from pipelines.layout.ways.way_values import LaidOut, WayInputs

FOOT = 0.3048
INCH = 0.0254
SHORT_OF_COVER = 0.003
"""Cover that may lack before it is told: less than a level reads on a trench's floor; a value of this project. [m]"""
FOUND_ONLY = " The outfall was found in the lidar, not given: confirm that it is one."
NOWHERE = {
    "gravity": "no outfall was given and none was found beyond the frontage",
    "daylight": "no place on the lot lies low enough, clear of line, walk and house, and drains to the street",
}


def by_gravity(
    inputs: WayInputs, targets: Sequence[OutfallSite], mode: Mode
) -> tuple[LaidOut, GravityAnswer | None]:
    """Lay every collector by gravity to some places."""
    if not targets:
        return LaidOut(mode, False, depends_on=NOWHERE[mode]), None
    floor = settings_to_try(inputs.situation.rules, inputs.site.layout)[-1]
    flows = inputs.flows.flows
    short = out_of_reach(inputs.ground, inputs.catching, flows, inputs.wanted, targets, floor)
    if mode != "gravity" and short:
        return LaidOut(mode, False, depends_on=_listed(short)), None
    best = best_gravity(inputs, (*inputs.wanted, *inputs.spouts), targets, inputs.wanted)
    missing = [name for name in inputs.wanted if name not in best.lines.served]
    if missing:
        words = _listed(short) if set(missing) <= set(short) else _not_laid(inputs, best, missing, targets)
        return LaidOut(mode, False, depends_on=words, fall_to_spare=_least(best)), best
    return _laid_by_gravity(inputs, best, mode), best


def best_gravity(
    inputs: WayInputs,
    names: Sequence[str],
    targets: Sequence[OutfallSite],
    wanted: Sequence[str],
    *,
    like: LaySettings | None = None,
) -> GravityAnswer:
    """Gravity lines by the first settings that serve all that is wanted, else by those that serve most of it."""
    tried = list(settings_to_try(inputs.situation.rules, inputs.site.layout))
    if like is not None and like in tried:
        tried.insert(0, tried.pop(tried.index(like)))
    first = _laid(inputs, names, targets, wanted, tried[0])
    if first is not None and _unserved(first, wanted) == 0:
        return first
    # what the loosest settings cannot serve none can, so they come before those between
    loosest = lay_gravity(inputs.ground, inputs.catching, inputs.flows.flows, names, targets, tried[-1])
    if _unserved(loosest, wanted):
        return loosest
    for settings in tried[1:-1]:
        answer = _laid(inputs, names, targets, wanted, settings)
        if answer is not None and _unserved(answer, wanted) == 0:
            return answer
    return loosest


def _laid(
    inputs: WayInputs,
    names: Sequence[str],
    targets: Sequence[OutfallSite],
    wanted: Sequence[str],
    settings: LaySettings,
) -> GravityAnswer | None:
    """Lines by some settings; None without a search where even the shortest way is too long for the fall."""
    flows = inputs.flows.flows
    if out_of_reach(inputs.ground, inputs.catching, flows, wanted, targets, settings):
        return None
    return lay_gravity(inputs.ground, inputs.catching, flows, names, targets, settings)


def _not_laid(
    inputs: WayInputs, answer: GravityAnswer, missing: Sequence[str], targets: Sequence[OutfallSite]
) -> str:
    """Why a line that has fall enough cannot be laid: what is buried on its way, or what the router said."""
    words = []
    buried = sorted({crossing.kind for crossing in inputs.ground.field.crossings})
    for name in missing:
        spares = [spare_to(inputs.ground, inputs.catching, inputs.flows.flows, name, site) for site in targets]
        most = max((told[0] for told in spares if told is not None), default=-1.0)
        if most > 0.0 and buried:
            words.append(
                f"{name} has {most / FOOT:.2f} ft ({most * 100.0:.0f} cm) of fall to spare, but no line from it clears "
                f"what is buried on the way ({', '.join(buried)}): expose it, there may be room"
            )
        else:
            words.append(f"{name}: {answer.unserved.get(name, 'no line could be laid from it')}")
    return "; ".join(words)


def _listed(why: Mapping[str, str]) -> str:
    return "; ".join(f"{name} is {reason}" for name, reason in why.items())


def _unserved(answer: GravityAnswer, wanted: Sequence[str]) -> int:
    return sum(name not in answer.lines.served for name in wanted)


def _least(answer: GravityAnswer) -> float | None:
    return min(answer.spare.values(), default=None)


def _laid_by_gravity(inputs: WayInputs, answer: GravityAnswer, mode: Mode) -> LaidOut:
    discharges, deciding = discharges_of(inputs, answer, mode)
    warnings = list(line_warnings(inputs, answer))
    depends = sorted({outfall.to_confirm for outfall in answer.outfalls if outfall.to_confirm})
    return LaidOut(
        mode=mode,
        possible=True,
        works=Works(pipe_runs=answer.lines.runs, fittings=(*answer.lines.fittings, *_pop_ups(answer))),
        outfalls=answer.outfalls,
        discharges=discharges,
        served=answer.lines.served,
        capacities={name: inputs.flows.flows[name] for name in answer.lines.served},
        lines=(answer.lines,),
        fall_to_spare=_least(answer),
        deepest=max((run.deepest for run in answer.lines.runs), default=None),
        depends_on=" ".join(depends),
        warnings=tuple(warnings),
        deciding=deciding,
    )


def _pop_ups(answer: GravityAnswer) -> list[Fitting]:
    return [
        Fitting(f"fitting-{outfall.id}", "pop-up", run.id, outfall.point)
        for outfall in answer.outfalls
        if outfall.kind == "daylight"
        for run in answer.lines.runs
        if run.to_id == outfall.id
    ]


def line_warnings(inputs: WayInputs, answer: GravityAnswer) -> list[str]:
    """What a reader must know of gravity lines: floors, surcharge, lot lines, a search that is not exact."""
    said = []
    if answer.settings.words and answer.lines.runs:
        said.append(f"gravity lines are {answer.settings.words}")
    waters, rims = _waters(inputs, answer), {site.id: _rim(site) for site in inputs.catching.sites}
    for name in answer.lines.surcharged:
        if drowned_from_below(name, answer.lines, rims, waters):
            end = answer.lines.served[name]
            over = waters[end] - rims[name]
            said.append(
                f"water comes out of {name} in the design storm: the water in {end} stands {over / INCH:.0f} in "
                f"({over * 100.0:.0f} cm) over it, whatever the pipe's size"
            )
        else:
            said.append(
                f"water comes out of {name} in the design storm: its line is too small even in the largest size"
            )
    for name in inputs.spouts:
        if name in answer.unserved:
            why = answer.unserved[name]
            said.append(f"{name} cannot be tied in by gravity ({why}): lead it over the ground instead")
    said += run_warnings(answer.lines.runs, min(answer.settings.cover, inputs.situation.rules["cover_lawn"].low))
    if any(line.near_line for line in answer.forest.lines):
        said.append("a line runs nearer to a neighbour's line than the offset asks: find the pins first")
    if any(line.assumed for line in answer.forest.lines):
        said.append("no right of way is given: whose ground lies between the lot and the outfall must be asked")
    if not answer.forest.exact:
        said.append(
            f"more collectors than are searched exactly: another layout may cost up to {answer.forest.gap:.0%} less"
        )
    return said


def run_warnings(runs: Sequence[PipeRun], floor: float) -> list[str]:
    """What a reader must know of single gravity runs: thin cover, water too slow to keep them clean."""
    said = []
    for run in runs:
        if run.least_cover < floor - SHORT_OF_COVER:
            said.append(
                f"{run.id} has {run.least_cover / INCH:.1f} in ({run.least_cover * 100.0:.0f} cm) of cover at its "
                f"least, under the {floor / INCH:.0f} in that it should have: shift it or cover it where its profile "
                "shows that"
            )
    slow = [run.id for run in runs if not _cleans_itself(run)]
    if slow:
        said.append(
            f"{', '.join(slow)}: even full, water runs too slowly to keep the pipe clean (2 ft/s, 0.6 m/s): flush it "
            "from its cleanouts"
        )
    return said


def _waters(inputs: WayInputs, answer: GravityAnswer) -> dict[str, float]:
    """Level of the water in the design storm at each outfall that is used. [m]"""
    return {
        outfall.id: -np.inf if outfall.highest_level is None else outfall.highest_level for outfall in answer.outfalls
    }


def _rim(site: BasinSite | DrainSite | DownspoutSite) -> float:
    return float(site.ground[-1]) if isinstance(site, DrainSite) else site.ground


def _cleans_itself(run: PipeRun) -> bool:
    pipe = find_pipe(run.pipe_key)
    return run.slope is None or pipe_flow(run.peak_flow, pipe.inside, run.slope, pipe.roughness).self_cleansing


def discharges_of(
    inputs: WayInputs, answer: GravityAnswer, mode: Mode
) -> tuple[tuple[Discharge, ...], tuple[str, ...]]:
    """One discharge for each outfall that lines end at, and the shots that would settle what is not sure."""
    discharges: list[Discharge] = []
    deciding: list[str] = []
    waters, rims = _waters(inputs, answer), {site.id: _rim(site) for site in inputs.catching.sites}
    for outfall in answer.outfalls:
        serves = tuple(name for name, end in answer.lines.served.items() if end == outfall.id)
        tightest = min(serves, key=lambda name: (answer.spare[name], name))
        spare, margin, error = answer.spare[tightest], answer.margin[tightest], answer.error[tightest]
        verdict = verdict_as_laid(spare, margin, error)
        why = _why(spare, margin, error, tightest, outfall, verdict)
        if verdict != "sure":
            shots = (f"the ground at {tightest}", f"the bottom of {outfall.id} ({outfall.kind})")
            deciding += [shot for shot in shots if shot not in deciding]
            why += f" Two shots of a level would settle it: {shots[0]} and {shots[1]}."
        drowned = [name for name in serves if drowned_from_below(name, answer.lines, rims, waters)]
        if drowned:
            verdict = "cannot_tell" if verdict == "sure" else verdict
            why += (
                f" In the design storm the water in {outfall.id} stands higher than {', '.join(drowned)}: until it has "
                "fallen nothing leaves there, and it may come back through the grate. Fit a flap, or lift it."
            )
        elif outfall.highest_level is not None and outfall.highest_level > outfall.level:
            over = outfall.highest_level - outfall.level
            why += (
                f" Water stands {over / INCH:.0f} in ({over * 100.0:.0f} cm) over the outlet in the design storm: the "
                "line is reckoned with that."
            )
        if not outfall.verified and mode == "gravity":
            verdict = "cannot_tell"
            why += FOUND_ONLY
        discharges.append(Discharge(serves, outfall.id, mode, verdict, why, spare, error, None))
    return tuple(discharges), tuple(deciding)


def _why(spare: float, margin: float, error: float, name: str, outfall: Outfall, verdict: Verdict) -> str:
    doubt = f"the lidar's error of that fall is {error / FOOT:.2f} ft ({error * 100:.0f} cm)"
    words = f"{spare / FOOT:.2f} ft ({spare * 100:.0f} cm) of fall to spare from {name} to {outfall.id}"
    if spare < 0.0:
        words = (
            f"{-spare / FOOT:.2f} ft ({-spare * 100:.0f} cm) short of the slope and cover that the trade aims at, from "
            f"{name} to {outfall.id}; by those that it is laid by, {margin / FOOT:.2f} ft ({margin * 100:.0f} cm) to "
            "spare"
        )
    return f"{words}, and {doubt}." if verdict == "sure" else f"{words}, but {doubt}: it may be short."
