"""The steps as another host offers them, such as a desktop GIS: what each takes and gives, as plain values.

A value is a dict of JSON, since it travels to a program that has nothing of lotshed installed. `flag` is what the
command line calls a thing; of a layer, `said` has a flag for each of its companions.
"""

from typing import Any

from geopandas import GeoDataFrame
from pandas import DataFrame

from pipelines.inputs.shapes.layer_table import LAYER_KINDS
from pipelines.lot_stages import LotStages
from pipelines.steps.registry import Layers, Page, Step, StepError, StepInput, StepParameter, load_step, step_names
from pipelines.steps.run import COMPANIONS, ENDINGS
from terrain.raster import Raster
from terrain.reading.surface import Surface
from terrain.unit_table import units_of

INPUTS: dict[type, str] = {
    LotStages: "file", Surface: "raster", GeoDataFrame: "vector", Layers: "file", DataFrame: "file",
}  # fmt: skip
INPUT_ENDINGS: dict[type, str] = {LotStages: "toml", Layers: "gpkg", DataFrame: "csv"}
OUTPUTS: dict[type, str] = {
    Raster: "raster", Surface: "raster", GeoDataFrame: "vector", Layers: "file", DataFrame: "file", Page: "file",
}  # fmt: skip
OVERWRITE: dict[str, Any] = {
    "name": "overwrite", "flag": "--overwrite", "kind": "flag", "about": "Replace an earlier result.", "rare": False,
}  # fmt: skip
LINKED: dict[str, Any] = {
    "name": "allow_linked", "flag": "--allow-linked", "kind": "flag", "rare": True,
    "about": "Read what a virtual file (VRT) names outside its own folder too; never an address.",
}  # fmt: skip
WRITTEN_IN = {"rate": "mm/h", "slope": "%", "flow": "l/s", "time": "min"}
"""The unit that a dimension is asked in, where the SI unit is none that people write."""


def offered_steps() -> tuple[list[dict[str, Any]], list[str]]:
    """All steps that can be loaded, and what is said of those that cannot."""
    offers, faults = [], []
    for name in step_names():
        try:
            offers.append(_offer(load_step(name)))
        except StepError as fault:
            # one broken package must not hide the steps of the others
            faults.append(str(fault))
    return offers, faults


def _offer(step: Step) -> dict[str, Any]:
    text = step.text.partition("\nRaises\n")[0].partition("\nParameters\n")[0]
    return {
        "name": step.name,
        "does": step.does,
        "text": " ".join(text.partition("\n")[2].split()),
        "offered_by": step.offered_by,
        "command": ["step", step.name],
        "takes": [*map(_input, step.inputs), *map(_parameter, step.told), OVERWRITE, LINKED],
        "gives": {"flag": "--out", "kind": OUTPUTS[step.gives], "ending": ENDINGS[step.gives].removeprefix("."),
                  "about": "Where the result is written.", "required": True},
    }  # fmt: skip


def _input(taken: StepInput) -> dict[str, Any]:
    flag = _flag(taken.name)
    shapes = LAYER_KINDS[taken.name].shapes if taken.kind is GeoDataFrame and taken.name in LAYER_KINDS else ()
    return {
        "name": taken.name, "flag": flag, "kind": INPUTS[taken.kind], "required": taken.required, "about": taken.about,
        "ending": INPUT_ENDINGS.get(taken.kind, ""), "shapes": list(shapes),
        "said": {word: {"flag": f"{flag}-{word}", "about": words} for word, words in COMPANIONS[taken.kind].items()},
    }  # fmt: skip


def _parameter(told: StepParameter) -> dict[str, Any]:
    offer: dict[str, Any] = {
        "name": told.name, "flag": _flag(told.name), "kind": told.kind, "required": told.required, "about": told.about,
        "choices": list(told.choices), "default": told.default,
    }  # fmt: skip
    if told.dimension is not None:
        name = told.dimension.name
        offer |= {"measures": name, "unit": WRITTEN_IN.get(name, told.dimension.unit), "units": list(units_of(name))}
        if told.default:
            # a default is SI; left unsaid it is what the step takes
            offer |= {"about": f"{told.about} By default {told.default}.", "default": ""}
    return offer


def _flag(name: str) -> str:
    return "--" + name.replace("_", "-")
