"""A lift's answer for scripts, in SI, and its curves as a picture."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.words.say import say_all
from pipelines.hydraulics.pumping.lift import LiftResult
from pipelines.hydraulics.pumping.pressure_line import PressureLine, line_head
from pipelines.hydraulics.pumping.pump_curve import PumpCurve, head_at
from terrain.unit_table import Units, si_factor


def pump_summary(lift: LiftResult) -> dict[str, Any]:
    """The answer of one lift and of the same line in larger pipe. [SI]"""
    return {**_one(lift), "alternatives": [_one(other) for other in lift.alternatives]}


def draw_pump(
    path: Path, curve: PumpCurve, lift: LiftResult, *, length: float, fittings: Mapping[str, int], units: Units
) -> None:
    """Draw the pump's curve against the line's in each size, as a picture."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7, 4.5), layout="constrained")
    axes = figure.add_subplot()
    flow_unit, head_unit = ("gpm", "ft") if units == "us" else ("l/s", "m")
    one_flow, one_head = si_factor(flow_unit), si_factor(head_unit)
    flow = np.linspace(curve.flow[0], curve.last_flow, 200)
    shown, pump_head = flow / one_flow, [head_at(curve, each) / one_head for each in flow]
    axes.plot(shown, pump_head, color="#000000", linewidth=2, label="pump")
    styles = ((0, ()), (0, (6, 2)), (0, (2, 2)))
    colours = ("#0072b2", "#d55e00", "#009e73")
    for result, colour, style in zip((lift, *lift.alternatives), colours, styles, strict=False):
        line = PressureLine(result.static_lift, length, result.inside, result.hazen_williams, fittings)
        heads = [line_head(line, each).total / one_head for each in flow]
        axes.plot(shown, heads, color=colour, linestyle=style, label=f"line, {result.pipe_key}")
        meet = result.operating_flow / one_flow, result.operating_head / one_head
        axes.plot(*meet, "o", color="#000000", markersize=5)
    axes.set_xlim(left=0)
    axes.set_ylim(0, 1.15 * curve.shut_off_head / one_head)
    axes.set_xlabel(f"flow [{flow_unit}]")
    axes.set_ylabel(f"head [{head_unit}]")
    axes.grid(alpha=0.3)
    axes.legend()
    beside = path.with_name(f"{path.stem}.tmp.png")
    try:
        figure.savefig(beside, dpi=130, metadata={"Software": None})
        beside.replace(path)
    except OSError as error:
        raise HandoverError(f"{path} cannot be written: {error}. Give a folder with room to write in.") from error
    finally:
        beside.unlink(missing_ok=True)


def _one(lift: LiftResult) -> dict[str, Any]:
    return {
        "pipe": lift.pipe_key,
        "inside_diameter_m": lift.inside,
        "hazen_williams_c": lift.hazen_williams,
        "operating_flow_m3s": lift.operating_flow,
        "delivered_flow_m3s": lift.delivered_flow,
        "operating_head_m": lift.operating_head,
        "static_lift_m": lift.static_lift,
        "friction_head_m": lift.friction_head,
        "minor_head_m": lift.minor_head,
        "velocity_m_s": lift.velocity,
        "jet_height_m": lift.jet_height,
        "past_curve_end": lift.past_curve_end,
        "drain_back_m3": lift.drain_back,
        "relief_flow_m3s": lift.relief_flow,
        "inflow_m3s": lift.inflow,
        "excess_inflow_m3s": lift.excess_inflow,
        "starts_per_hour": lift.starts_per_hour,
        "cycle_volume_m3": lift.cycle_volume,
        "cycle_volume_needed_m3": lift.cycle_volume_needed,
        "minutes_without_power": lift.minutes_without_power,
        "warnings": list(say_all(lift.warnings, "si")),
    }
