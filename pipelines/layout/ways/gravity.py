"""Carrying water off by gravity, to an outfall or to daylight on the lot's own lawn."""

from collections.abc import Mapping, Sequence

import numpy as np

from pipelines.hydraulics.manning import pipe_flow
from pipelines.hydraulics.pipe_catalogue import Pipe, find_pipe
from pipelines.inputs.rules import Rules
from pipelines.inputs.site_sections import Layout
from pipelines.layout.catching.sites import BasinSite, DownspoutSite, DrainSite
from pipelines.layout.plan import Discharge, Fitting, Mode, Outfall, PipeRun, Said
from pipelines.layout.quantities.quantities import Works
from pipelines.layout.ways.fall import odds_of, out_of_reach, spare_to
from pipelines.layout.ways.gravity_lines import (
    GravityAnswer,
    lay_gravity,
    submerged_from_below,
    verdict_of_lines,
)
from pipelines.layout.ways.outfall_sites import OutfallSite
from pipelines.layout.ways.outlets.outlet_levels import CARRIES_ON
from pipelines.layout.ways.settings import LaySettings, settings_to_try
from pipelines.layout.ways.way_values import Way, WayInputs
from terrain.reason import Reason, reason

UNDER_WHEELS = ("SDR-35", "sch 40")
"""Standards that may lie under a drive, as the rule cover_drive says: common practice, no source."""


def by_gravity(
    inputs: WayInputs, targets: Sequence[OutfallSite], mode: Mode
) -> tuple[Way, GravityAnswer | None]:
    """Lay every collector by gravity to some places: to the highest level that each may have, if that has fall."""
    if any(site.over > 0.0 for site in targets):
        way, answer = _by_gravity(inputs, [site.at_highest for site in targets], mode)
        if way.possible and all(outfall.verdict == "sure" for outfall in way.outfalls):
            return way, answer
    return _by_gravity(inputs, targets, mode)


def _by_gravity(
    inputs: WayInputs, targets: Sequence[OutfallSite], mode: Mode
) -> tuple[Way, GravityAnswer | None]:
    if not targets:
        return Way(mode, False, depends_on=nowhere(inputs, mode)), None
    floor = settings_to_try(inputs.situation.rules, inputs.site.layout)[-1]
    flows = inputs.flows.flows
    short = out_of_reach(inputs.ground, inputs.catching, flows, inputs.wanted, targets, floor)
    if mode != "gravity" and short:
        return Way(mode, False, depends_on=_listed(short)), None
    best = best_gravity(inputs, (*inputs.wanted, *inputs.spouts), targets, inputs.wanted)
    missing = [name for name in inputs.wanted if name not in best.lines.served]
    if missing:
        words = _listed(short) if set(missing) <= set(short) else _not_laid(inputs, best, missing, targets)
        return Way(mode, False, depends_on=words, fall_to_spare=_least(best)), best
    return _laid_by_gravity(inputs, best, mode), best


def best_gravity(
    inputs: WayInputs,
    names: Sequence[str],
    targets: Sequence[OutfallSite],
    wanted: Sequence[str],
    *,
    like: LaySettings | None = None,
) -> GravityAnswer:
    """Gravity lines by the first settings that serve all that is wanted, else by the loosest."""
    tried = list(settings_to_try(inputs.situation.rules, inputs.site.layout))
    if like is not None and like in tried:
        tried.insert(0, tried.pop(tried.index(like)))
    for settings in tried[:-1]:
        answer = _laid(inputs, names, targets, wanted, settings)
        if answer is not None and _unserved(answer, wanted) == 0:
            return answer
    return lay_gravity(inputs.ground, inputs.catching, inputs.flows.flows, names, targets, tried[-1])


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


def nowhere(inputs: WayInputs, mode: Mode) -> Reason:
    """Why there is no place to lead to."""
    if inputs.closed:
        return reason("outfall_in_own_depression")
    if mode == "daylight":
        street = inputs.situation.right_of_way
        return reason("daylight_without_street") if street is None else reason("no_daylight_place")
    return reason("no_outfall_known")


def _not_laid(
    inputs: WayInputs, answer: GravityAnswer, missing: Sequence[str], targets: Sequence[OutfallSite]
) -> Reason:
    """Why a line that has fall enough cannot be laid: what is buried on its way, or what the router said."""
    said: dict[str, Reason] = {}
    buried = tuple(sorted({crossing.kind for crossing in inputs.ground.field.crossings}))
    for name in missing:
        spares = [spare_to(inputs.ground, inputs.catching, inputs.flows.flows, name, site) for site in targets]
        most = max((told[0] for told in spares if told is not None), default=-1.0)
        if most > 0.0 and buried:
            said[name] = reason("buried_on_the_way", spare=most, buried=buried)
        else:
            said[name] = answer.unserved.get(name, reason("no_line_from_it"))
    return _listed(said)


def _listed(why: Mapping[str, Reason]) -> Reason:
    """Why collectors have no line, each reason once for all that share it."""
    short = {name: each["short"] for name, each in why.items() if each.code == "short_of_fall"}
    alike: dict[Reason, list[str]] = {}
    for name, each in why.items():
        if name in short and len(short) > 1:
            each = reason("short_of_fall_by", least=min(short.values()), most=max(short.values()))
        alike.setdefault(each, []).append(name)
    return reason(
        "each_of", parts=tuple(reason("not_served", names=tuple(names), why=each) for each, names in alike.items())
    )


def _unserved(answer: GravityAnswer, wanted: Sequence[str]) -> int:
    return sum(name not in answer.lines.served for name in wanted)


def _least(answer: GravityAnswer) -> float | None:
    return min(answer.spare.values(), default=None)


def _laid_by_gravity(inputs: WayInputs, answer: GravityAnswer, mode: Mode) -> Way:
    discharges, deciding = discharges_of(inputs, answer, mode)
    warnings = list(line_warnings(inputs, answer))
    depends = tuple(dict.fromkeys(outfall.to_confirm for outfall in answer.outfalls if outfall.to_confirm))
    return Way(
        mode=mode,
        possible=True,
        works=Works(pipe_runs=answer.lines.runs, fittings=(*answer.lines.fittings, *_pop_ups(answer))),
        outfalls=answer.outfalls,
        discharges=discharges,
        served=answer.lines.served,
        capacities={name: inputs.flows.flows[name] for name in answer.lines.served},
        fall_to_spare=_least(answer),
        deepest=max((run.deepest for run in answer.lines.runs), default=None),
        depends_on=reason("sentences", parts=depends) if depends else "",
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


def line_warnings(inputs: WayInputs, answer: GravityAnswer) -> list[Reason]:
    """What a reader must know of gravity lines: floors, surcharge, lot lines, a search that is not exact."""
    said: list[Reason] = []
    rules = inputs.situation.rules
    if answer.settings.notes and answer.lines.runs:
        said.append(reason("gravity_lines_are", notes=answer.settings.notes))
    waters, rims = _waters(inputs, answer), {site.id: _rim(site) for site in inputs.catching.sites}
    for name in answer.lines.surcharged:
        if submerged_from_below(name, answer.lines, rims, waters):
            end = answer.lines.served[name]
            said.append(reason("flooded_from_outfall", name=name, outfall=end, over=waters[end] - rims[name]))
        else:
            said.append(reason("line_too_small", name=name))
    for name in inputs.spouts:
        if name in answer.unserved:
            said.append(reason("spout_not_tied_in", name=name, why=answer.unserved[name]))
    said += run_warnings(answer.lines.runs, rules, inputs.site.layout)
    if any(line.near_line for line in answer.forest.lines):
        said.append(reason("near_lot_line"))
    if any(line.assumed for line in answer.forest.lines):
        said.append(reason("way_to_outfall_unknown"))
    if not answer.forest.exact:
        said.append(reason("search_not_exact", share=answer.forest.gap))
    return said


def run_warnings(runs: Sequence[PipeRun], rules: Rules, layout: Layout) -> list[Reason]:
    """What a reader must know of single gravity runs: water too slow to keep them clean, a chosen pipe that fails."""
    cleansing = rules["velocity_self_cleansing"].likely
    slow = tuple(run.id for run in runs if not _cleans_itself(run, cleansing))
    told = [reason("slow_lines", runs=slow, velocity=cleansing)] if slow else []
    return told + (_of_chosen_pipe(runs, find_pipe(layout.pipe)) if layout.pipe else [])


def _of_chosen_pipe(runs: Sequence[PipeRun], chosen: Pipe) -> list[Reason]:
    """Where the pipe that a person chose does not do: larger ones of its standard are laid there, thin ones told."""
    said = []
    for run in runs:
        carries = pipe_flow(run.peak_flow, chosen.inside, max(run.flattest or 0.0, 1e-5), chosen.roughness).capacity
        if run.pipe_key != chosen.key and carries < run.peak_flow:
            said.append(
                reason("chosen_pipe_too_small", run=run.id, pipe=chosen.key, carries=carries, flow=run.peak_flow,
                       laid=run.pipe_key)
            )  # fmt: skip
    thin = tuple(run.id for run in runs if run.under_paving > 0.0)
    if thin and chosen.standard not in UNDER_WHEELS:
        said.append(reason("chosen_pipe_thin", runs=thin, pipe=chosen.key))
    return said


def _waters(inputs: WayInputs, answer: GravityAnswer) -> dict[str, float]:
    """Level of the water in the design storm at each outfall that is used. [m]"""
    return {
        outfall.id: -np.inf if outfall.highest_level is None else outfall.highest_level for outfall in answer.outfalls
    }


def _rim(site: BasinSite | DrainSite | DownspoutSite) -> float:
    return float(site.ground[-1]) if isinstance(site, DrainSite) else site.ground


def _cleans_itself(run: PipeRun, velocity: float) -> bool:
    pipe = find_pipe(run.pipe_key)
    return run.flattest is None or pipe_flow(
        run.peak_flow, pipe.inside, run.flattest, pipe.roughness, cleansing_velocity=velocity
    ).self_cleansing


def shots_at(collector: str, outfall: str, kind: str) -> tuple[Reason, Reason]:
    """The two places whose levels decide a fall."""
    return reason("shot_ground_at", name=collector), reason("shot_bottom_of", outfall=outfall, kind=kind)


def level_not_given(outfall: Outfall | OutfallSite, spare: float) -> Reason:
    """That nobody gave an outfall's level, the range that it has by its kind, and what that makes of a fall. [m]"""
    return reason(
        "outlet_level_range", outfall=outfall.id, kind=outfall.kind, low=outfall.level - outfall.under,
        high=outfall.level + outfall.over, least=spare - outfall.over, most=spare + outfall.under,
        shot=shots_at("", outfall.id, outfall.kind)[1],
    )  # fmt: skip


def discharges_of(
    inputs: WayInputs, answer: GravityAnswer, mode: Mode
) -> tuple[tuple[Discharge, ...], tuple[Said, ...]]:
    """One discharge for each outfall that lines end at, and the shots that would settle what is not sure."""
    discharges: list[Discharge] = []
    deciding: list[Said] = []
    waters, rims = _waters(inputs, answer), {site.id: _rim(site) for site in inputs.catching.sites}
    sigmas = inputs.situation.rules["verdict_sigmas"].likely
    for outfall in answer.outfalls:
        serves = tuple(name for name, end in answer.lines.served.items() if end == outfall.id)
        tightest = min(serves, key=lambda name: (answer.spare[name], name))
        spare, margin, error = answer.spare[tightest], answer.margin[tightest], answer.error[tightest]
        verdict = verdict_of_lines(answer, serves, tightest, sigmas, over=outfall.over)
        by_level = verdict != "sure" and verdict_of_lines(answer, serves, tightest, sigmas) == "sure"
        why = [
            reason(
                "fall_told", spare=spare, margin=margin, error=error, name=tightest, outfall=outfall.id,
                sure=by_level or verdict == "sure",
            )
        ]
        if (holds := answer.holds(serves)).size:
            why.append(odds_of(holds))
        if by_level:
            # it is the outfall's level alone that leaves it open
            deciding += [shot for shot in shots_at(tightest, outfall.id, outfall.kind)[1:] if shot not in deciding]
            why.append(level_not_given(outfall, spare))
        elif verdict != "sure":
            shots = shots_at(tightest, outfall.id, outfall.kind)
            deciding += [shot for shot in shots if shot not in deciding]
            why.append(reason("two_shots_settle", shots=shots))
        if verdict == "sure" and not outfall.verified and mode == "gravity" and outfall.kind not in CARRIES_ON:
            why.append(
                reason(
                    "outlet_level_holds", outfall=outfall.id, low=outfall.level - outfall.under,
                    high=outfall.level + outfall.over,
                )
            )
        submerged = tuple(name for name in serves if submerged_from_below(name, answer.lines, rims, waters))
        if submerged:
            verdict = "cannot_tell" if verdict == "sure" else verdict
            why.append(reason("outfall_above_grates", outfall=outfall.id, names=submerged))
        elif outfall.highest_level is not None and outfall.highest_level > outfall.level:
            why.append(reason("outlet_under_water", over=outfall.highest_level - outfall.level))
        unconfirmed = any(
            reason("strip_unconfirmed") in run.crossings for run in answer.lines.runs if run.to_id == outfall.id
        )
        if not outfall.given and mode == "gravity":
            # its own part of the verdict leaves that open, whatever the fall is
            why += [reason("outfall_found_only"), *([reason("way_unconfirmed")] if unconfirmed else [])]
        elif unconfirmed:
            verdict = "cannot_tell" if verdict == "sure" else verdict
            why.insert(0, reason("way_unconfirmed"))
        told = reason("sentences", parts=tuple(why))
        discharges.append(
            Discharge(serves, outfall.id, mode, verdict, told, spare, error, None, answer.least(serves))
        )
    return tuple(discharges), tuple(deciding)
