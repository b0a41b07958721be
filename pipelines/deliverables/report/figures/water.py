"""Hydrographs of collectors, and a pump's curve against its line's."""

import numpy as np

from pipelines.deliverables.findings.lot import CollectorFlow, PumpPicture
from pipelines.deliverables.report.blocks import Figure
from pipelines.deliverables.report.figures.svg import INK, PALE, Plot
from pipelines.deliverables.report.numbers import number
from pipelines.layout.plan import Sump
from terrain.unit_table import HOUR, Units, si_factor

ARRIVES, TAKEN, LINE = "#0072b2", "#d55e00", "#009e73"
WIDTH, HEIGHT = 760.0, 260.0
LEAST_SHARE = 0.02
"""Share of the peak from which a hydrograph is drawn. [-]"""


def hydrograph_figure(flow: CollectorFlow, units: Units) -> Figure | None:
    """What comes to a collector in the design storm, and what it takes."""
    if flow.arrives.peak <= 0.0:
        return None
    unit = "gpm" if units == "us" else "l/s"
    one = si_factor(unit)
    first, last = _span(flow)
    plot = Plot(WIDTH, HEIGHT, (first, last), (0.0, 1.15 * flow.arrives.peak / one), top=26.0)
    plot.axes("Hours after the rain begins, h", f"Flow, {unit}")
    for name, hydrograph, colour, dash in (
        ("arrives", flow.arrives, ARRIVES, None), ("taken", flow.taken, TAKEN, "7 3"),
    ):
        times = np.arange(hydrograph.flow.size) * hydrograph.step / HOUR
        inside = (times >= first) & (times <= last)
        points = plot.at(zip(times[inside], hydrograph.flow[inside] / one, strict=True))
        if name == "arrives":
            plot.area([(plot.x(times[inside][0]), plot.bottom), *points, (plot.x(times[inside][-1]), plot.bottom)],
                      colour=colour, opacity=0.12)  # fmt: skip
        plot.line(points, colour=colour, width=2.2, dash=dash)
    arrives, taken = number(flow.arrives.peak, "flow", units), number(flow.taken.peak, "flow", units)
    _legend(plot, [(f"arrives, peak {arrives.text}", ARRIVES, None), (f"taken, peak {taken.text}", TAKEN, "7 3")])
    return Figure(
        f"hydrograph-{flow.id}", f"{flow.id}, flow in the design storm", plot.markup(),
        f"Flow that comes to {flow.id} in the design storm peaks at {arrives.text}; it takes up to {taken.text}.",
    )


def pump_figure(picture: PumpPicture, sump: Sump, units: Units) -> Figure:
    """A pump's curve against its line's, and where they meet."""
    flow_unit, head_unit = ("gpm", "ft") if units == "us" else ("l/s", "m")
    flow_one, head_one = si_factor(flow_unit), si_factor(head_unit)
    flow = picture.flow / flow_one
    tallest = max(float(picture.pump_head.max()), sump.operating_head) / head_one
    plot = Plot(WIDTH, HEIGHT + 20.0, (0.0, float(flow[-1])), (0.0, 1.12 * tallest), top=26.0)
    plot.axes(f"Flow, {flow_unit}", f"Head, {head_unit}")
    shown = picture.line_head / head_one <= 1.12 * tallest
    plot.line(plot.at(zip(flow, picture.pump_head / head_one, strict=True)), colour=ARRIVES, width=2.2)
    plot.line(plot.at(zip(flow[shown], picture.line_head[shown] / head_one, strict=True)), colour=TAKEN, width=2.2,
              dash="7 3")  # fmt: skip
    x, y = plot.x(sump.operating_flow / flow_one), plot.y(sump.operating_head / head_one)
    plot.line([(x, y), (x, plot.bottom)], colour=PALE, width=1.0, dash="2 3")
    plot.add("rect", x=x - 5.0, y=y - 5.0, width=10.0, height=10.0, fill="#f0e442", stroke=INK, stroke_width=1.5,
             transform=f"rotate(45 {x:.2f} {y:.2f})")  # fmt: skip
    moves, head = number(sump.operating_flow, "flow", units), number(sump.operating_head, "length", units)
    delivered = number(sump.delivered_flow, "flow", units).text
    told = f"{delivered} delivered" if sump.pumps == 1 else f"{delivered} delivered by {sump.pumps} of these"
    anchor = "end" if x > WIDTH / 2 else "start"
    plot.text(x + (-10.0 if anchor == "end" else 10.0), y + 22.0, f"{moves.text} at {head.text}; {told}",
              anchor=anchor, weight="bold", halo=True)  # fmt: skip
    inflow = sump.inflow / flow_one
    if inflow <= flow[-1]:
        plot.line([(plot.x(inflow), plot.top), (plot.x(inflow), plot.bottom)], colour=LINE, width=1.5, dash="2 2")
    whose = "pump, as given" if picture.given else "pump, assumed"
    arrives = number(sump.inflow, "flow", units).text
    rows: list[tuple[str, str, str | None]] = [(whose, ARRIVES, None), ("the line", TAKEN, "7 3")]
    if inflow <= flow[-1]:
        rows.append((f"peak that reaches it, {arrives}", LINE, "2 2"))
    _legend(plot, rows)
    return Figure(
        f"pump-{sump.id}", f"{sump.id}, pump and line", plot.markup(),
        f"The pump of {sump.id} meets its line at {moves.text} and {head.text} of head, {told}; {arrives} reaches "
        "the sump basin at the peak.",
    )


def _span(flow: CollectorFlow) -> tuple[float, float]:
    """Hours between which the flow is worth seeing."""
    wet = np.flatnonzero(flow.arrives.flow >= LEAST_SHARE * flow.arrives.peak)
    step = flow.arrives.step / HOUR
    first, last = float(wet[0]) * step, float(wet[-1]) * step
    margin = max(0.1 * (last - first), 2.0 * step)
    return max(first - margin, 0.0), min(last + margin, (flow.arrives.flow.size - 1) * step)


def _legend(plot: Plot, rows: list[tuple[str, str, str | None]]) -> None:
    x = plot.left + 6.0
    for name, colour, dash in rows:
        plot.line([(x, plot.top - 13.0), (x + 24.0, plot.top - 13.0)], colour=colour, width=2.2, dash=dash)
        plot.text(x + 29.0, plot.top - 9.0, name, size=11.5)
        x += 48.0 + 7.0 * len(name)
