"""The answer of `lotshed pump` as a person reads it on a terminal."""

import textwrap
from collections.abc import Callable

from pipelines.hydraulics.pumping.lift import LiftResult
from terrain.unit_table import FOOT, GALLON_PER_MINUTE, INCH, US_GALLON

CAUTION = (
    "A licensed electrician and ground-fault protection for the pump's circuit; unplugged before anyone reaches in. "
    "A pump fails with the power: know where the water goes then. Confirm the curve with the pump's own sheet."
)

WIDTH = 100

Cell = Callable[[LiftResult], str]


def pump_answer(lift: LiftResult) -> str:
    """The run's answer as plain text: one column a pipe size, every number with its unit."""
    results = (lift, *lift.alternatives)
    rows = [[label, *(cell(result) for result in results)] for label, cell in _ROWS]
    if lift.worst is not None:
        rows += [[label, *(cell(result) for result in results)] for label, cell in _BASIN_ROWS]
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = [
        "  ".join(cell.ljust(width) if not column else cell.rjust(width)
                  for column, (cell, width) in enumerate(zip(row, widths, strict=True)))
        for row in rows
    ]  # fmt: skip
    lines.insert(1, "-" * len(lines[0]))
    for result in results:
        lines += [_wrapped(f"Warning, {result.pipe_key}: {warning}.") for warning in result.warnings]
    lines += ["", _wrapped(CAUTION)]
    return "\n".join(lines)


def _wrapped(text: str) -> str:
    return textwrap.fill(text, WIDTH, subsequent_indent="  ")


def _feet(value: float) -> str:
    return f"{value / FOOT:.2f} ft ({value:.2f} m)"


def _flow(value: float | None) -> str:
    return "unknown" if value is None else f"{value / GALLON_PER_MINUTE:.1f} gpm ({value * 1000:.2f} l/s)"


def _litres(value: float | None) -> str:
    return "unknown" if value is None else f"{value / US_GALLON:.1f} gal ({value * 1000:.0f} l)"


def _operating(result: LiftResult) -> str:
    # past its last point a curve says nothing, so this is the least that comes out
    return f"{'at least ' if result.past_curve_end else ''}{_flow(result.operating_flow)}"


_ROWS: tuple[tuple[str, Cell], ...] = (
    ("", lambda result: result.pipe_key),
    ("inside diameter", lambda result: f"{result.inside / INCH:.3f} in ({result.inside * 1000:.1f} mm)"),
    ("Hazen-Williams C", lambda result: f"{result.hazen_williams:.0f}"),
    ("comes out", _operating),
    ("  of it back by relief hole", lambda result: _flow(result.relief_flow)),
    ("pump's head there", lambda result: _feet(result.operating_head)),
    ("  static lift", lambda result: _feet(result.static_lift)),
    ("  friction", lambda result: _feet(result.friction_head)),
    ("  fittings and exit", lambda result: _feet(result.minor_head)),
    ("velocity", lambda result: f"{result.velocity / FOOT:.1f} ft/s ({result.velocity:.2f} m/s)"),
    ("jet over an open end", lambda result: f"{result.jet_height / INCH:.0f} in ({result.jet_height * 100:.0f} cm)"),
    ("drains back", lambda result: _litres(result.drain_back)),
)

_BASIN_ROWS: tuple[tuple[str, Cell], ...] = (
    (
        "starts an hour at most",
        lambda result: "unknown" if result.starts_per_hour is None else f"{result.starts_per_hour:.1f}",
    ),
    ("between on and off", lambda result: _litres(result.cycle_volume)),
    ("needed for 15 starts", lambda result: _litres(result.cycle_volume_needed)),
)
