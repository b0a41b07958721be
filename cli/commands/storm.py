"""lotshed storm: which storm was that."""

from pathlib import Path

import click

from cli.options import json_option, talk_options
from cli.streams import tell, tell_json


@click.command("storm")
@click.option("--table", type=click.Path(path_type=Path), required=True, metavar="FILE", help="Rain table, a CSV.")
@click.option("--depth", required=True, help='Rain that fell, with its unit, such as "3 in" or "75 mm".')
@click.option("--duration", required=True, help='In what time, such as "20 min" or "6 h".')
@json_option
@talk_options
def command(table: Path, depth: str, duration: str, as_json: bool) -> None:
    """Say which storm a rain was: its intensity and return period by a rain table.

    The table holds depth by duration and return period: columns duration_min, depth_in_2yr (or depth_mm_2yr) and so
    on, or an agency's point-precipitation CSV as published. Nothing is read beyond it. The answer is in the units of
    --depth, JSON in mm, mm/h and years.

    \b
    Example:
      lotshed storm --table sample_data/rain.csv --depth "3 in" --duration "20 min"
    """
    from pipelines.hydrology.storm_question import which_storm
    from pipelines.inputs.quantity import parse_quantity
    from pipelines.inputs.tables.rain_table_file import read_rain_table

    fallen = parse_quantity(depth, "length", "--depth")
    time = parse_quantity(duration, "time", "--duration")
    answer = which_storm(read_rain_table(table), fallen, time)
    if as_json:
        from pipelines.deliverables.files.text_file import summary_text
        from pipelines.deliverables.storm_summary import storm_summary

        tell_json(summary_text(storm_summary(answer)))
    else:
        from cli.storm_answer import storm_answer

        inches = depth.rstrip().endswith(("in", "ft"))
        tell(storm_answer(answer, "us" if inches else "si"))
