"""lotshed pump: what really comes out of a lift."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from cli.options import json_option, overwrite_option, talk_options
from cli.streams import tell, tell_json

if TYPE_CHECKING:
    from terrain.unit_table import Units


@click.command("pump")
@click.option("--curve", type=click.Path(path_type=Path), required=True, metavar="FILE", help="Pump curve, a CSV.")
@click.option("--static-lift", required=True, help='From pump off to the highest point or the outlet, as "8 ft".')
@click.option("--pipe", required=True, help='Size and standard, such as "1-1/2 in sch 40".')
@click.option("--length", required=True, help='Of the pressure line, such as "120 ft".')
@click.option("--elbows-90", type=click.IntRange(min=0), default=0, show_default=True, help="90 degree elbows.")
@click.option("--elbows-45", type=click.IntRange(min=0), default=0, show_default=True, help="45 degree elbows.")
@click.option("--check-valves", type=click.IntRange(min=0), default=1, show_default=True, help="Check valves.")
@click.option("--inflow", help='Peak that arrives, such as "35 gpm".')
@click.option("--basin", help='Width by depth of the basin, such as "24 in x 30 in".')
@click.option("--units", type=click.Choice(["us", "si"]), default="us", show_default=True, help="Of the answer.")
@click.option("--plot", type=click.Path(path_type=Path), metavar="PNG", help="Also draw pump and line as a picture.")
@json_option
@overwrite_option
@talk_options
def command(
    curve: Path,
    static_lift: str,
    pipe: str,
    length: str,
    elbows_90: int,
    elbows_45: int,
    check_valves: int,
    inflow: str | None,
    basin: str | None,
    units: "Units",
    plot: Path | None,
    as_json: bool,
    overwrite: bool,
) -> None:
    """Size a lift and its pressure line by themselves: what comes out, against what head, how often it starts.

    The curve is a CSV with the columns flow_gpm or flow_l_s and head_ft or head_m; it is not read past its end. The
    same line one and two sizes up stands beside it. Quantities carry their unit; JSON is in SI. Where floats stand and
    what is warned of is common practice.

    \b
    Example:
      lotshed pump --curve sample_data/pump.csv --static-lift "8 ft" --pipe "1-1/2 in sch 40" --length "120 ft" \\
          --elbows-90 3 --elbows-45 2 --check-valves 1 --inflow "35 gpm" --basin "24 in x 30 in"
    """
    from pipelines.deliverables.files.place import check_file_place

    if plot is not None:
        check_file_place(plot, ending=".png", overwrite=overwrite)

    from pipelines.deliverables.words.say import say
    from pipelines.hydraulics.errors import HydraulicsError, PumpTooWeakError
    from pipelines.hydraulics.pipe_catalogue import find_pipe
    from pipelines.hydraulics.pumping.lift import size_lift
    from pipelines.hydraulics.pumping.lift_limits import float_levels, lift_limits
    from pipelines.hydraulics.pumping.pump_curve import pump_curve
    from pipelines.hydraulics.pumping.sump_basin import sump_basin
    from pipelines.inputs.quantity import parse_length, parse_quantity
    from pipelines.inputs.rules import load_rules
    from pipelines.inputs.tables.pump_points import read_pump_points

    line_length = parse_length(length, "--length")
    fittings = {"elbow_90": elbows_90, "elbow_45": elbows_45, "check_valve": check_valves}
    points = read_pump_points(curve)
    made_curve = pump_curve(points.flow, points.head)
    rules = load_rules()
    levels, lid = float_levels(rules), rules["sump_lid"].likely
    try:
        lift = size_lift(
            made_curve,
            find_pipe(pipe),
            static_lift=parse_length(static_lift, "--static-lift"),
            length=line_length,
            fittings=fittings,
            basin=None if basin is None else sump_basin(*_width_and_depth(basin), levels, lid=lid),
            inflow=None if inflow is None else parse_quantity(inflow, "flow", "--inflow"),
            limits=lift_limits(rules),
        )
    except PumpTooWeakError as error:
        raise HydraulicsError(say(error.fact, units)) from error
    if plot is not None:
        from pipelines.deliverables.pump_summary import draw_pump

        draw_pump(plot, made_curve, lift, length=line_length, fittings=fittings, units=units)
    if as_json:
        from pipelines.deliverables.files.text_file import summary_text
        from pipelines.deliverables.pump_summary import pump_summary

        tell_json(summary_text(pump_summary(lift)))
    else:
        from cli.pump_answer import pump_answer

        tell(pump_answer(lift, units))


def _width_and_depth(text: str) -> tuple[float, float]:
    from pipelines.inputs.quantity import parse_length
    from terrain.shown_text import quoted

    parts = text.lower().split(" x ")
    if len(parts) != 2:
        told = f"{quoted(text)} is not width x depth; write it as in '24 in x 30 in'."
        raise click.BadParameter(told, param_hint="--basin")
    return parse_length(parts[0], "--basin, width"), parse_length(parts[1], "--basin, depth")
