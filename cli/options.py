"""Options that several commands share, so that the same thing has the same name everywhere."""

import logging
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from cli.voice import Voice

Decorated = TypeVar("Decorated", bound=Callable[..., Any])


def talk_options(function: Decorated) -> Decorated:
    """-q, -v, --debug and --progress, which reach the command as the context's `Voice`."""
    for flag, name, words in (
        ("--debug", "debug", "Show tracebacks of defects and what the libraries say."),
        ("-v", "verbose", "Say each stage."),
        ("-q", "quiet", "Say nothing but errors and the result."),
    ):
        names = (flag, "--" + name) if flag.startswith("-") and len(flag) == 2 else (flag,)
        function = click.option(
            *names, name, is_flag=True, expose_value=False, is_eager=True, callback=_set_voice, help=words
        )(function)
    return click.option(
        "--progress", type=click.Choice(["terminal", "json"]), default="terminal", expose_value=False, is_eager=True,
        callback=_set_progress, help="How to tell on stderr what is under way; json: one object a line, for programs.",
    )(function)


def json_option(function: Decorated) -> Decorated:
    """--json: one JSON document on stdout and nothing else."""
    return click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON in SI, and nothing else.")(
        function
    )


def full_option(function: Decorated) -> Decorated:
    """--full: the whole answer on the terminal."""
    return click.option("--full", is_flag=True, help="Print the whole answer, not only what a glance needs.")(function)


def overwrite_option(function: Decorated) -> Decorated:
    """--overwrite, on every command that writes."""
    return click.option("--overwrite", is_flag=True, help="Replace an earlier result.")(function)


def also_option(function: Decorated) -> Decorated:
    """--also geojson, --also parquet: further formats of the same layers."""
    words = (
        "Also write the layers as one GeoJSON in longitude and latitude, for a phone's map, or as GeoParquet, a file a "
        "layer; repeat for both."
    )
    return click.option("--also", type=click.Choice(["geojson", "parquet"]), multiple=True, help=words)(function)


def allow_linked_option(function: Decorated) -> Decorated:
    """--allow-linked, on every command that reads rasters or shapes."""
    words = "Read what a virtual file (VRT) names outside its own folder too; never an address."
    return click.option(
        "--allow-linked", is_flag=True, is_eager=True, expose_value=False, callback=_allow_linked, help=words
    )(function)


def strict_option(function: Decorated) -> Decorated:
    """--strict: exit 3 where a verdict is not sure."""
    words = "Exit with 3 where a verdict is `no` or `cannot_tell`."
    return click.option("--strict", is_flag=True, help=words)(function)


def dry_run_option(function: Decorated) -> Decorated:
    """--dry-run: check all inputs and print what would be done."""
    return click.option("--dry-run", is_flag=True, help="Check all inputs, print what would be done, write nothing.")(
        function
    )


def out_folder_option(*, required: bool) -> Callable[[Decorated], Decorated]:
    """--out DIR, swapped in whole."""
    return click.option(
        "--out",
        "out",
        metavar="DIR",
        required=required,
        type=click.Path(path_type=Path),
        help="Folder for the result: new, empty, or holding an earlier result and --overwrite.",
    )


def _allow_linked(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        from terrain.reading.linked_files import links_anywhere

        ctx.with_resource(links_anywhere())


def _set_voice(ctx: click.Context, parameter: click.Parameter, wanted: bool) -> None:
    voice = ctx.find_object(Voice)
    if not wanted or voice is None or parameter.name is None:
        return
    setattr(voice, parameter.name, True)
    if parameter.name == "debug":
        logging.basicConfig(level=logging.DEBUG)
        if os.environ.get("CPL_LOG") == os.devnull:
            del os.environ["CPL_LOG"]


def _set_progress(ctx: click.Context, _: click.Parameter, form: str) -> None:
    voice = ctx.find_object(Voice)
    if voice is not None:
        voice.objects = form == "json"
