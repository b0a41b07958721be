"""What lotshed can do, as a document for a program that offers it elsewhere: each step, and the whole jobs."""

import inspect
import math
import re
import sys
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from pipelines.deliverables.files.symbols import Symbol

FORM = 1
"""Of the document: a host refuses one that it doesn't know."""
JOBS = ("screen", "swale", "trace", "town")
NOT_OFFERED = {
    # a host shows messages and results its own way, and never ends by exit code
    "as_json", "full", "strict", "dry_run", "debug", "verbose", "quiet", "progress", "help",
    # of a page that is served until somebody ends it
    "live", "port",
}  # fmt: skip
RASTERS = ("fall_to_spare",)
"""Of those that are handed over, which are drawn as the layer of that name is."""
RARE = {"self_check", "grounds", "allow_linked", "also"}


def description() -> tuple[dict[str, Any], list[str]]:
    """The document, and what is said of steps that cannot be loaded."""
    from cli.main import COMMANDS, app
    from pipelines.deliverables.files.symbols import symbols
    from pipelines.steps.offered import offered_steps

    steps, faults = offered_steps()
    context = click.Context(app)
    jobs = [_job(app.get_command(context, name), name) for name in JOBS if name in COMMANDS]
    return {
        "form": FORM, "version": version("lotshed"), "program": _program(), "watched": _watched(),
        "rasters": {name: [_class_of(each) for each in symbols()[name]] for name in RASTERS},
        "algorithms": [*jobs, *steps],
    }, faults  # fmt: skip


def _program() -> str:
    """Where this lotshed is started from; empty where it is no installed program."""
    for name in ("lotshed", "lotshed.exe"):
        program = Path(sys.executable).with_name(name)
        if program.is_file():
            return str(program)
    return ""


def _watched() -> dict[str, int]:
    """Folders whose time of change says that a package came or went. [ns]"""
    return {folder: Path(folder).stat().st_mtime_ns for folder in sys.path if folder and Path(folder).is_dir()}


def _class_of(symbol: "Symbol") -> dict[str, Any]:
    """One colour of a raster: up to which value, where there is an end."""
    high = symbol.conditions[0].high
    return {
        "below": high if math.isfinite(high) else None, "colour": symbol.colour, "words": symbol.label("si"),
    }  # fmt: skip


def _job(command: click.Command | None, name: str) -> dict[str, Any]:
    assert command is not None
    does, _, rest = inspect.cleandoc(command.help or "").partition("\n\n")
    text = " ".join(part for part in rest.split("\n\n") if "Example:" not in part).replace("\n", " ")
    unknown = [flag for each in command.params if each.name in NOT_OFFERED for flag in each.opts]
    sentences = re.split(r"(?<=\.) ", text)
    text = " ".join(each for each in sentences if not any(flag in each for flag in unknown))
    out = next(each for each in command.params if each.name == "out")
    takes = [each for each in command.params if each.name not in {*NOT_OFFERED, "out"}]
    return {
        "name": name, "does": does.replace("\n", " "), "text": text, "offered_by": "lotshed", "command": [name],
        "takes": [_taken(each) for each in takes],
        "gives": _taken(out) | {"about": "Where the result is written.", "required": True},
    }  # fmt: skip


def _taken(parameter: click.Parameter) -> dict[str, Any]:
    option = isinstance(parameter, click.Option)
    kind = parameter.type
    taken: dict[str, Any] = {
        "name": parameter.name, "flag": max(parameter.opts, key=len) if option else "", "kind": "text",
        "required": parameter.required, "several": parameter.multiple or parameter.nargs != 1,
        "about": getattr(parameter, "help", None) or "", "rare": parameter.name in RARE, "default": "",
    }  # fmt: skip
    shown = parameter.metavar or ""
    if isinstance(parameter, click.Option) and parameter.is_flag:
        taken["kind"] = "flag"
    elif isinstance(kind, click.Choice):
        taken |= {"kind": "choice", "choices": [str(each) for each in kind.choices]}
    elif isinstance(kind, click.types.IntParamType):
        taken |= {"kind": "integer", "least": getattr(kind, "min", None), "most": getattr(kind, "max", None)}
    elif isinstance(kind, click.types.FloatParamType):
        taken["kind"] = "number"
    elif isinstance(kind, click.Path):
        folder = shown in ("DIR", "FOLDER")
        taken |= {"kind": "folder" if folder else "file", "ending": shown.partition(".")[2]}
        if not option:
            taken["about"] = f"{shown.partition('.')[0].capitalize()} file."
    default = parameter.default
    if isinstance(default, str | int | float) and not isinstance(default, bool):
        taken["default"] = str(default)
    return taken
