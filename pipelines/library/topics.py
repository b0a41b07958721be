"""What `lotshed help` tells of a topic, made from the tables that the code itself reads."""

import inspect
import textwrap
import types
import typing
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

# each topic imports what it tells of, so that none waits for the libraries of another
if TYPE_CHECKING:
    from pydantic import BaseModel

    from pipelines.inputs.shapes.layer_columns import Attribute

WIDTH = 100
_PLAIN = {str: "text", Path: "file", bool: "true or false", int: "whole number", float: "number"}


def topic_text(name: str) -> str:
    """A topic as lines of text; its name is one of `TOPICS`."""
    return "\n".join(TOPICS[name][1]())


def _site() -> Iterator[str]:
    from pipelines.inputs.rules import load_rules
    from pipelines.inputs.site_file import SiteFile

    yield "A site file is TOML: tables in square brackets, a key a line. Only [elevation] and [parcel] must be there."
    yield "Paths are relative to the site file, or absolute. Of quantities see: lotshed help units."
    for name, field in SiteFile.model_fields.items():
        if name == "path":
            continue
        model = _section(field.annotation)
        key = field.alias or name
        if model is None:
            yield ""
            if key == "rules":
                yield f"[{key}]"
                yield from _wrapped(f"any of {len(load_rules())} defaults of the trade by its name, as a quantity")
            else:
                yield f"{key} = {_form(field.annotation)}"
            continue
        yield ""
        yield f"[{key}]" + (", needed" if field.is_required() else "")
        yield from _section_lines(key, model)


def _section_lines(key: str, model: "type[BaseModel]") -> Iterator[str]:
    from pipelines.inputs.shapes.layer_table import LAYER_KINDS
    from pipelines.inputs.site_ranges import SITE_RANGES
    from pipelines.inputs.site_sections import VectorFile
    from terrain.unit_table import DIMENSIONS

    told = (inspect.getdoc(model) or "").replace("\n\n", "\n").removeprefix(f"[{key}]: ")
    if model is not VectorFile:
        yield from _wrapped(told)
    # said once, of the parcel
    shared = VectorFile.model_fields if issubclass(model, VectorFile) and key != "parcel" else {}
    if shared:
        yield f"  {', '.join(shared)}: as in [parcel]"
    for name, field in model.model_fields.items():
        if name in shared:
            continue
        held = SITE_RANGES.get(f"{key}.{name}")
        form = f"{DIMENSIONS[held[0]][0]}, {held[1]} to {held[2]}" if held else _form(field.annotation)
        yield from _wrapped(f"{name} = {form}", hang=True)
    kind = LAYER_KINDS.get(key)
    if kind is not None:
        yield from _wrapped(f"shapes: {' or '.join(kind.shapes)}", hang=True)
        if kind.columns:
            yield from _wrapped(f"attributes: {'; '.join(_attribute(each) for each in kind.columns)}", hang=True)


def _attribute(told: "Attribute") -> str:
    form = {"yes_no": "yes or no", "length": f"{told.name}_m, {told.name}_ft and so on"}.get(told.form, "")
    what = " | ".join(told.allowed) or form
    return f"{told.name}{f' ({what})' if what else ''}{', needed' if told.required else ''}"


def _section(annotation: Any) -> "type[BaseModel] | None":
    from pipelines.inputs.site_sections import Section

    return next((each for each in _members(annotation) if inspect.isclass(each) and issubclass(each, Section)), None)


def _members(annotation: Any) -> tuple[Any, ...]:
    if typing.get_origin(annotation) in (typing.Union, types.UnionType):
        return tuple(each for each in typing.get_args(annotation) if each is not type(None))
    return (annotation,)


def _form(annotation: Any) -> str:
    """What may stand behind a key."""
    told = []
    for each in _members(annotation):
        base = typing.get_args(each)[0] if typing.get_origin(each) is typing.Annotated else each
        if typing.get_origin(base) is Literal:
            told.append(" | ".join(f'"{value}"' for value in typing.get_args(base)))
        elif typing.get_origin(base) is tuple:
            inner = _form(typing.get_args(base)[0])
            told.append(f"a list: {inner}")
        elif (section := _section(base)) is not None:
            told.append(f"a table with {', '.join(section.model_fields)}")
        else:
            told.append(_PLAIN.get(base, "value"))
    return " or ".join(told)


def _units() -> Iterator[str]:
    from terrain.unit_table import DIMENSIONS, RULE_UNITS, UNITS, allowed_text

    yield "A quantity is a number and a unit in quotes; a bare number where a unit matters is refused. No arithmetic."
    yield 'Fractions as "1-1/2 in", feet and inches as "2 ft 6 in". Inside all is SI; what leaves carries its unit.'
    yield ""
    for dimension, (what, _) in DIMENSIONS.items():
        if any(unit.dimension == dimension for unit in UNITS.values()):
            yield f"{what}: {allowed_text(dimension)}"
    more = ", ".join(text for text in RULE_UNITS if text not in UNITS)
    yield ""
    yield from _wrapped(f"Rules of the trade in [rules] also take: {more}")


def _verdicts() -> Iterator[str]:
    from pipelines.deliverables.words.names import PARTS, STATES
    from pipelines.layout.parts import WEAKEST_FIRST
    from pipelines.layout.ways.fall import SURE_SHARE

    yield "A verdict has parts, each with its reason; the weakest that is needed makes the headline."
    yield ""
    for name, asked in PARTS.items():
        yield f"{name}: {asked}"
    yield ""
    counted = round(100 * SURE_SHARE)
    means = {
        "sure": f"it holds on at least {counted} of 100 grounds that this lidar allows",
        "no": f"it holds on at most {100 - counted} of 100 grounds that this lidar allows",
        "cannot_tell": "between the two, or something that decides it was not given; what to read on site is named",
        "not_needed": "nothing hangs on it here",
    }
    for state in WEAKEST_FIRST:
        called = "" if STATES[state] == state.replace("_", " ") else f"{STATES[state]}; "
        yield from _wrapped(f"{state}: {called}{means[state]}", hang=True)
    yield ""
    yield "With --strict the exit code is 3 where the whole is no or cannot_tell. A pre-screen: local code and licensed"
    yield "practice come first."


def _layers() -> Iterator[str]:
    from pipelines.deliverables.files.layer_table import layers

    yield "Layers of lot.gpkg and swale.gpkg with their columns. A column's name ends with its unit, in the system that"
    yield "`units` of the site file names: US / SI."
    for layer in layers().values():
        yield ""
        yield f"{layer.name} ({layer.geometry or 'table'}): {layer.title}"
        yield from _wrapped(layer.description)
        for column in layer.columns:
            names = list(dict.fromkeys(name for units in ("us", "si") for name, each in layer.written(units)
                                       if each is column))  # fmt: skip
            yield from _wrapped(f"{' / '.join(names)}{f': {column.meaning}' if column.meaning else ''}", hang=True)


def _wrapped(text: str, *, hang: bool = False) -> list[str]:
    return textwrap.wrap(
        " ".join(text.split()), WIDTH, initial_indent="  ", subsequent_indent="      " if hang else "  ",
        break_on_hyphens=False, break_long_words=False,
    )  # fmt: skip


TOPICS: dict[str, tuple[str, Callable[[], Iterator[str]]]] = {
    "site": ("tables and keys of a site file, with their ranges", _site),
    "units": ("how quantities are written", _units),
    "verdicts": ("what a verdict's words mean", _verdicts),
    "layers": ("layers and columns that are handed over", _layers),
}
"""What each topic is about, and what tells it."""
