"""Which steps there are: ours and those that other installed packages offer.

A step is a plain function, offered by name in the entry-point group `lotshed.steps`. Its signature is its
declaration. Positional arguments are its inputs: `Surface`, `GeoDataFrame`, `DataFrame`, `Layers` or `LotStages`, or
one of them or None, with a sentence on it by `Annotated`. An optional keyword `parameters` is a pydantic model whose
quantities are those of `pipelines.steps.quantities`. It returns a `Raster`, `Surface`, `GeoDataFrame`, `DataFrame`,
`Layers` or `Page`. Shapes are in the metric frame, numbers in SI, unless a column's name says otherwise.
"""

import difflib
import inspect
import types
import typing
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points
from typing import Any, Literal

from geopandas import GeoDataFrame
from pandas import DataFrame
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from pipelines.lot_stages import LotStages
from pipelines.steps.quantities import Dimension
from terrain.errors import LotshedError
from terrain.raster import Raster
from terrain.reading.surface import Surface

GROUP = "lotshed.steps"



class Layers(dict[str, DataFrame]):
    """Layers and tables by name, as of one GeoPackage."""


class Page(str):
    """A page that stands by itself, as HTML."""


INPUT_KINDS: dict[type, str] = {
    LotStages: "site file (.toml)",
    Surface: "raster of heights",
    GeoDataFrame: "vector layer",
    Layers: "GeoPackage of layers",
    DataFrame: "CSV table",
}
OUTPUT_KINDS: dict[type, str] = {
    Raster: "raster (.tif)",
    Surface: "raster of heights (.tif)",
    GeoDataFrame: "vector layer (.gpkg)",
    Layers: "GeoPackage of layers (.gpkg)",
    DataFrame: "CSV table (.csv)",
    Page: "page (.html)",
}


ParameterKind = Literal["quantity", "choice", "yes_no", "integer", "number", "text"]
PLAIN_KINDS: dict[type, ParameterKind] = {bool: "yes_no", int: "integer", float: "number"}


# options that every step has on the command line
RESERVED = {"out", "overwrite", "allow_linked", "help", "debug", "quiet", "verbose", "progress"}


class StepError(LotshedError, ValueError):
    """A step is not there, is not declared as a step must be, or cannot take what it was given."""


@dataclass(frozen=True, slots=True)
class StepInput:
    """One thing that a step takes; `kind` is one of `INPUT_KINDS`, `about` what is said of it."""

    name: str
    kind: type
    required: bool
    about: str = ""


@dataclass(frozen=True, slots=True)
class StepParameter:
    """One field of a step's parameters.

    Attributes
    ----------
    kind : str
        Which sort of value it takes.
    dimension : Dimension or None
        What a quantity measures.
    choices : tuple of str
        Of a choice.
    default : str
        In words; empty for none.
    """

    name: str
    kind: ParameterKind
    dimension: Dimension | None
    choices: tuple[str, ...]
    required: bool
    default: str
    about: str


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
        One of `OUTPUT_KINDS`.
    """

    name: str
    offered_by: str
    does: str
    text: str
    function: Callable[..., Any]
    inputs: tuple[StepInput, ...]
    parameters: type[BaseModel] | None
    gives: type

    @property
    def told(self) -> tuple[StepParameter, ...]:
        """Its parameters one by one."""
        fields = self.parameters.model_fields if self.parameters else {}
        return tuple(_parameter(name, field) for name, field in fields.items())


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
        hints = typing.get_type_hints(function, include_extras=True)
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
        kind, about = _with_words(kind)
        plain = _without_none(kind)
        if plain not in INPUT_KINDS:
            faults.append(f"{argument.name} must be a {_one_of(INPUT_KINDS)}, not {kind}")
        else:
            inputs.append(StepInput(argument.name, plain, argument.default is inspect.Parameter.empty, about))
    fields = set(model.model_fields) if isinstance(model, type) and issubclass(model, BaseModel) else set()
    names = [taken.name for taken in inputs] + sorted(fields)
    faults += [f"{name} stands twice, or for something else" for name in sorted(_clashes(names))]
    gives = hints.get("return")
    if gives not in OUTPUT_KINDS:
        faults.append(f"it must return a {_one_of(OUTPUT_KINDS)}, not {gives}")
    if faults:
        raise StepError(f"step {name} of {offered_by} does not declare a step: {'; '.join(faults)}.")
    text = inspect.getdoc(function) or ""
    does = text.partition("\n")[0]
    return Step(name, offered_by, does, text, function, tuple(inputs), model, typing.cast(type, gives))


def _parameter(name: str, field: FieldInfo) -> StepParameter:
    parts = list(_type_parts(field.annotation))
    dimension = next((each for each in (*field.metadata, *parts) if isinstance(each, Dimension)), None)
    choices = tuple(str(value) for part in parts if typing.get_origin(part) is Literal for value in part.__args__)
    kind: ParameterKind = "text"
    if dimension is not None or choices:
        kind = "quantity" if dimension is not None else "choice"
    else:
        kind = next((PLAIN_KINDS[part] for part in parts if part in PLAIN_KINDS), kind)
    default = "" if field.is_required() or field.default is None else str(field.default)
    if dimension and isinstance(field.default, float):
        default = f"{field.default:g} {dimension.unit}"
    return StepParameter(name, kind, dimension, choices, field.is_required(), default, field.description or "")


def _type_parts(kind: Any) -> Iterator[Any]:
    """A type and all that it is put together from, what `Annotated` adds included."""
    yield kind
    if typing.get_origin(kind) is not Literal:
        for part in typing.get_args(kind):
            yield from _type_parts(part)


def _one_of(kinds: dict[type, str]) -> str:
    *names, last = (kind.__name__ for kind in kinds)
    return f"{', '.join(names)} or {last}"


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


def _with_words(kind: Any) -> tuple[Any, str]:
    """A type and what its annotation says of it, as in `Annotated[Surface, "Bare ground."]`."""
    if typing.get_origin(kind) is not typing.Annotated:
        return kind, ""
    plain, *words = typing.get_args(kind)
    return plain, " ".join(word for word in words if isinstance(word, str))


def _without_none(kind: Any) -> Any:
    if isinstance(kind, types.UnionType) or typing.get_origin(kind) is typing.Union:
        parts = [part for part in typing.get_args(kind) if part is not type(None)]
        return parts[0] if len(parts) == 1 else kind
    return kind
