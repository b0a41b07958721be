"""Which steps there are: ours and those that other installed packages offer.

A step is a plain function, offered by name in the entry-point group `lotshed.steps`. Its signature is its
declaration: positional arguments are its inputs (`Surface`, `GeoDataFrame` or `DataFrame`, or one of them or None),
an optional keyword `parameters` is a pydantic model, and it returns a `Raster`, `Surface`, `GeoDataFrame` or
`DataFrame`. Shapes are in the metric frame, numbers in SI, unless a column's name says otherwise.
"""

import difflib
import inspect
import types
import typing
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points
from typing import Any

from geopandas import GeoDataFrame
from pandas import DataFrame
from pydantic import BaseModel

from terrain.errors import LotshedError
from terrain.raster import Raster
from terrain.reading.surface import Surface

GROUP = "lotshed.steps"

INPUT_KINDS: dict[type, str] = {Surface: "raster of heights", GeoDataFrame: "vector layer", DataFrame: "CSV table"}
OUTPUT_KINDS: dict[type, str] = {
    Raster: "raster (.tif)",
    Surface: "raster of heights (.tif)",
    GeoDataFrame: "vector layer (.gpkg)",
    DataFrame: "CSV table (.csv)",
}


# options that every step has on the command line
RESERVED = {"out", "overwrite", "help", "debug", "quiet", "verbose"}


class StepError(LotshedError, ValueError):
    """A step is not there, is not declared as a step must be, or cannot take what it was given."""


@dataclass(frozen=True, slots=True)
class StepInput:
    """One thing that a step takes; `kind` is Surface, GeoDataFrame or DataFrame."""

    name: str
    kind: type
    required: bool


@dataclass(frozen=True, slots=True)
class Step:
    """A step that can be run.

    Attributes
    ----------
    name, offered_by : str
        Its name, and the package that offers it.
    does, text : str
        First line of its docstring, and all of it.
    function : callable
        Values in, a new value out.
    inputs : tuple of StepInput
        In the order of its signature.
    parameters : type of BaseModel or None
        Model of its keyword `parameters`.
    gives : type
        Raster, Surface, GeoDataFrame or DataFrame.
    """

    name: str
    offered_by: str
    does: str
    text: str
    function: Callable[..., Any]
    inputs: tuple[StepInput, ...]
    parameters: type[BaseModel] | None
    gives: type


def step_names() -> list[str]:
    """Names of all steps that are offered.

    Returns
    -------
    list of str
        Sorted.
    """
    return sorted(_offered())


def load_step(name: str) -> Step:
    """Load one step.

    Parameters
    ----------
    name : str
        As `lotshed steps` lists it.

    Returns
    -------
    Step
        Ready to run.

    Raises
    ------
    StepError
        If no package offers it, two do, it cannot be imported, or its signature does not declare a step.
    """
    offers = _offered().get(name, [])
    if not offers:
        near = difflib.get_close_matches(name, step_names(), n=1)
        hint = f"Did you mean {near[0]}?" if near else "`lotshed steps` lists them."
        raise StepError(f"there is no step {name}. {hint}")
    if len(offers) > 1:
        packages = " and ".join(sorted(_package(offer) for offer in offers))
        raise StepError(f"step {name} is offered by {packages}. Remove one of them.")
    try:
        function = offers[0].load()
    except Exception as error:
        raise StepError(
            f"step {name} of {_package(offers[0])} cannot be loaded from {offers[0].value}: {error}. "
            "Reinstall or remove that package."
        ) from error
    return read_step(name, function, offered_by=_package(offers[0]))


def read_step(name: str, function: Callable[..., Any], *, offered_by: str) -> Step:
    """Read what a function declares.

    Parameters
    ----------
    name : str
        Name of the step.
    function : callable
        The step.
    offered_by : str
        Package that offers it, for messages.

    Returns
    -------
    Step
        Ready to run.

    Raises
    ------
    StepError
        If its signature does not declare a step; all faults together.
    """
    faults: list[str] = []
    try:
        hints = typing.get_type_hints(function)
        signature = inspect.signature(function)
    except (TypeError, ValueError, NameError) as error:
        raise StepError(f"step {name} of {offered_by} has no signature that can be read: {error}") from error
    inputs, model = [], None
    for argument in signature.parameters.values():
        kind = hints.get(argument.name)
        if argument.name == "parameters":
            model = kind
            if not (isinstance(kind, type) and issubclass(kind, BaseModel)):
                faults.append("parameters must be a pydantic model")
            continue
        plain = _without_none(kind)
        if plain not in INPUT_KINDS:
            faults.append(f"{argument.name} must be a Surface, GeoDataFrame or DataFrame, not {kind}")
        else:
            inputs.append(StepInput(argument.name, plain, argument.default is inspect.Parameter.empty))
    fields = set(model.model_fields) if isinstance(model, type) and issubclass(model, BaseModel) else set()
    names = [taken.name for taken in inputs] + sorted(fields)
    faults += [f"{name} stands twice, or for something else" for name in sorted(_clashes(names))]
    gives = hints.get("return")
    if gives not in OUTPUT_KINDS:
        faults.append(f"it must return a Raster, Surface, GeoDataFrame or DataFrame, not {gives}")
    if faults:
        raise StepError(f"step {name} of {offered_by} does not declare a step: {'; '.join(faults)}.")
    text = inspect.getdoc(function) or ""
    does = text.partition("\n")[0]
    return Step(name, offered_by, does, text, function, tuple(inputs), model, typing.cast(type, gives))


def _clashes(names: list[str]) -> set[str]:
    return {name for name in names if name in RESERVED or names.count(name) > 1}


def _offered() -> dict[str, list[EntryPoint]]:
    offers: dict[str, list[EntryPoint]] = {}
    for offer in entry_points(group=GROUP):
        known = offers.setdefault(offer.name, [])
        # the same package can stand on the path twice, as source and installed
        if all(offer.value != other.value for other in known):
            known.append(offer)
    return offers


def _package(offer: EntryPoint) -> str:
    return offer.dist.name if offer.dist is not None else offer.module


def _without_none(kind: Any) -> Any:
    if isinstance(kind, types.UnionType) or typing.get_origin(kind) is typing.Union:
        parts = [part for part in typing.get_args(kind) if part is not type(None)]
        return parts[0] if len(parts) == 1 else kind
    return kind
