"""Options of `lotshed start` for what a person has beside ground and parcel, and what is told of them."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from pipelines.inputs.gathering import Gathered
    from terrain.unit_table import Units

Decorated = TypeVar("Decorated", bound=Callable[..., Any])

SIDES = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
TABLES = {
    "roofs": "Building outlines: a file, or FILE:LAYER.",
    "rain": "A table of rain depths by duration, or one storm, as in \"3 in, 60 min\".",
    "soil": "Hydrologic soil group A, B, C or D, or polygons with an attribute `group`.",
    "outfalls": "Points or lines where water may leave, with an attribute `kind`.",
    "swales": "Lines of swales, drawn downstream.",
    "utilities": "Lines of utilities.",
    "picture": "Any raster with a CRS, drawn under the maps.",
}
"""Tables of the site file that have an option of their own, and its help."""


def gather_options(function: Decorated) -> Decorated:
    """--roofs, --rain and so on, --layers, --site-name and --street-side; they reach the command under `given`."""
    function = click.option(
        "--street-side", "street", type=click.Choice(SIDES), multiple=True,
        help="Side of the lot that the street is on, where the parcels don't show it; twice for a corner lot.",
    )(function)
    function = click.option("--site-name", help="What the lot is called in all that is handed over.")(function)
    function = click.option(
        "--layers", type=click.Path(path_type=Path), metavar="FILE",
        help="A GeoPackage: each layer that is called after a table of the site file is taken.",
    )(function)
    for table, words in reversed(TABLES.items()):
        function = click.option(f"--{table}", table, metavar="FILE", help=words)(function)
    return function


def gathered_of(given: dict[str, Any], parcel: Any, frame: Any) -> "Gathered":
    """What was given, looked at; paths and layers checked."""
    from pipelines.inputs.gathering import gather

    return gather({table: given[table] for table in TABLES if given[table]}, given["layers"], parcel, frame)


def suggestion_lines(site: Path, units: "Units") -> list[str]:
    """Where the street and the outfalls may be, and what the answer would gain from, most first."""
    from pipelines.deliverables.words.say import say, say_all
    from pipelines.lot_suggestions import suggest_for_lot

    found = suggest_for_lot(site)
    lines = ["", *say_all(found.street, units)]
    if found.outfalls:
        lines.append("Water may leave here; nobody has confirmed it:")
        lines += [f"  - {say(each, units)}" for each in found.outfalls]
    lines += ["The answer would gain from these, most first:", *(f"  - {say(each, units)}" for each in found.gains)]
    return lines
