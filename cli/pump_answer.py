"""The answer of `lotshed pump` as a person reads it on a terminal."""

import textwrap
from collections.abc import Callable

from pipelines.deliverables.words.quantities import format_quantity
from pipelines.deliverables.words.say import say, start_upper
from pipelines.hydraulics.pumping.lift import LiftResult
from terrain.unit_table import Units

CAUTION = (
    "A licensed electrician and ground-fault protection for the pump's circuit; unplug it before anyone reaches in. "
    "A pump fails with the power: know where the water goes then. Confirm the curve with the pump's own sheet."
)

WIDTH = 100

# label, kind of quantity, and what is told of each size of pipe
_ROWS: tuple[tuple[str, str, Callable[[LiftResult], float | None]], ...] = (
    ("inside diameter", "diameter", lambda result: result.inside),
    ("Hazen-Williams C", "count", lambda result: result.hazen_williams),
    ("pump moves", "flow", lambda result: result.operating_flow),
    ("  back by relief hole", "flow", lambda result: result.relief_flow),
    ("delivered", "flow", lambda result: result.delivered_flow),
    ("pump's head there", "level", lambda result: result.operating_head),
    ("  static lift", "level", lambda result: result.static_lift),
    ("  friction", "level", lambda result: result.friction_head),
    ("  fittings and exit", "level", lambda result: result.minor_head),
    ("velocity", "velocity", lambda result: result.velocity),
    ("jet over an open end", "depth", lambda result: result.jet_height),
    ("drains back", "water", lambda result: result.drain_back),
)
_BASIN_ROWS: tuple[tuple[str, str, Callable[[LiftResult], float | None]], ...] = (
    ("starts an hour at most", "count", lambda result: result.starts_per_hour),
    ("between on and off", "water", lambda result: result.cycle_volume),
    ("needed between them", "water", lambda result: result.cycle_volume_needed),
)


def pump_answer(lift: LiftResult, units: Units) -> str:
    """The run's answer as plain text: one column a pipe size, every number with its unit."""
    results = (lift, *lift.alternatives)
    rows = [["", *(result.pipe_key for result in results)]]
    for label, kind, told in (*_ROWS, *(_BASIN_ROWS if lift.worst is not None else ())):
        rows.append([label, *(format_quantity(told(result), kind, units) for result in results)])
        if label in ("pump moves", "delivered"):
            # past its last point a curve says nothing, so this is the least it moves
            rows[-1][1:] = [
                f"at least {cell}" if result.past_curve_end else cell
                for cell, result in zip(rows[-1][1:], results, strict=True)
            ]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = [
        "  ".join(cell.rjust(width) if column else cell.ljust(width)
                  for column, (cell, width) in enumerate(zip(row, widths, strict=True)))
        for row in rows
    ]  # fmt: skip
    lines.insert(1, "-" * len(lines[0]))
    for result in results:
        lines += [_wrapped(f"Warning, {result.pipe_key}: {start_upper(say(fact, units))}.") for fact in result.warnings]
    return "\n".join([*lines, "", _wrapped(CAUTION)])


def _wrapped(text: str) -> str:
    return textwrap.fill(text, WIDTH, subsequent_indent="  ")
