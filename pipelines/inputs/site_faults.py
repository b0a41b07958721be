"""What pydantic finds wrong with a site file, in words that name the key and the remedy."""

import difflib
import types
import typing
from typing import Any

from pydantic import BaseModel, ValidationError

from terrain.shown_text import MOST_QUOTED, quoted

MOST_TOLD = 50


def fault_lines(error: ValidationError, model: type[BaseModel]) -> list[str]:
    """One line for each fault."""
    faults = error.errors(include_url=False)
    # what is beyond the first few is only counted: a hint for each of thousands takes minutes
    return [_line(each, model) if at < MOST_TOLD else "" for at, each in enumerate(faults)]


def _line(fault: Any, model: type[BaseModel]) -> str:
    location = [str(part) for part in fault["loc"]]
    kind, context, value = fault["type"], fault.get("ctx", {}), fault.get("input")
    if kind == "extra_forbidden":
        section = f"[{'.'.join(location[:-1])}] " if len(location) > 1 else ""
        return f"{section}{_unknown(location, model)}"
    where = _where(location)
    if kind == "missing":
        return f"{where}is missing; it is needed"
    if kind == "value_error":
        return f"{where}{context['error']}"
    if kind == "literal_error":
        return f'{where}{quoted(value)} is not known; it may be {context["expected"].replace(chr(39), chr(34))}'
    if "basins" in location and kind not in ("extra_forbidden", "value_error"):
        return f"{where}{quoted(value)} is no [easting, northing]; give two numbers in the map's coordinates"
    if kind in ("model_type", "model_attributes_type"):
        return f"{where}must be a table, as in [{'.'.join(location)}] with keys under it"
    return f"{where}{quoted(value)}: {_lower(fault['msg'])}"


def _where(location: list[str]) -> str:
    if not location:
        return ""
    if len(location) == 1:
        return f"{location[0]}: "
    return f"[{location[0]}] {'.'.join(location[1:])}: "


def _unknown(location: list[str], model: type[BaseModel]) -> str:
    known = _keys(model, location[:-1])
    near = difflib.get_close_matches(location[-1][:MOST_QUOTED], known, n=1, cutoff=0.5)
    hint = f'did you mean "{near[0]}"?' if near else f"known are {', '.join(known)}"
    return f'unknown key {quoted(location[-1])}; {hint}'


def _keys(model: type[BaseModel], location: list[str]) -> list[str]:
    for part in location:
        for name, field in model.model_fields.items():
            if part in (name, field.alias):
                model = _model_in(field.annotation) or model
    return [field.alias or name for name, field in model.model_fields.items() if name != "path"]


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if typing.get_origin(annotation) in (typing.Union, types.UnionType):
        for each in typing.get_args(annotation):
            found = _model_in(each)
            if found is not None:
                return found
    return None


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
