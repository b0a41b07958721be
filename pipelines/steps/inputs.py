"""What the steps of the main job share: their inputs in words, their parameters, and files put in a stage's place."""

from dataclasses import replace
from typing import Annotated, Any, Literal

from geopandas import GeoDataFrame
from pandas import DataFrame
from pydantic import BaseModel, ConfigDict, Field

from pipelines.deliverables.unit_systems import unit_system
from pipelines.inputs.rules import RuleOverride, load_rules
from pipelines.layout.edits import Edits
from pipelines.lot_stages import LotStages
from pipelines.steps.registry import Layers, StepError
from terrain.reading.surface import Surface
from terrain.unit_table import Units

Lot = Annotated[LotStages, "The site file."]
Ground = Annotated[Surface | None, "What the step ground gave, in place of the site's raster and level shots."]
LowSpots = Annotated[GeoDataFrame | None, "What the step low-spots gave; low spots struck out of it do not count."]
Collectors = Annotated[
    Layers | None,
    "What the step siting gave; what is struck out of it is not proposed, and basins stand where they were moved to.",
]
Lines = Annotated[Layers | None, "What the step routing gave; what is struck out of it is not built."]
Sized = Annotated[Layers | None, "What the step sizing gave; what is struck out of it is not built."]

STRUCK = ("catch_basins", "french_drains", "channel_drains", "pipe_runs", "sumps")


def of_rule(key: str, about: str) -> Any:
    """A parameter that overrides a rule of the trade, or else leaves it as it is."""
    words = f"{about} By default the site file's, else {load_rules()[key].words}: the rule {key}."
    return Field(None, description=words, json_schema_extra={"rule": key})


class StepParameters(BaseModel):
    """What every step can be told."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    units: Literal["si", "us"] | None = Field(
        None, description="Units of the columns, which carry them in their names; by default the site file's, else si."
    )

    def written_in(self, site: LotStages | None) -> Units:
        """Units of the columns."""
        return unit_system(self.units or ("si" if site is None else site.lot.opened.site.units))

    @property
    def overrides(self) -> tuple[RuleOverride, ...]:
        """Rules that are given."""
        told = {
            str(field.json_schema_extra["rule"]): getattr(self, name)
            for name, field in type(self).model_fields.items()
            if isinstance(field.json_schema_extra, dict)
        }
        return tuple(RuleOverride(key, None, value, None) for key, value in told.items() if value is not None)


def given(
    site: LotStages,
    elevation: Surface | None,
    *,
    low_spots: GeoDataFrame | None = None,
    collectors: Layers | None = None,
    works: tuple[Layers | None, ...] = (),
    overrides: tuple[RuleOverride, ...] = (),
) -> LotStages:
    """The stages of a site with what files hold in place of what a stage would find."""
    opened = site.lot.opened
    if overrides:
        told = {each.key: each.likely for each in overrides}
        heights = opened.site.elevation
        if "lidar_rmse" in told:
            heights = heights.model_copy(update={"rmse": told["lidar_rmse"]})
        changed = opened.site.model_copy(
            update={"overrides": (*opened.site.overrides, *overrides), "elevation": heights}
        )
        site = replace(site, lot=replace(site.lot, opened=replace(opened, site=changed)))
    held = [{name: table for name, table in each.items() if name in STRUCK} for each in works if each is not None]
    if not all(held):
        raise StepError(f"the lines hold none of the layers {', '.join(STRUCK)}; give what routing or sizing wrote")
    layers = {name: table for each in held for name, table in each.items()}
    edits = Edits(
        low_spots=None if low_spots is None else _areas(low_spots),
        collectors=None if collectors is None else _places(collectors),
        works={name: _ids(name, table) for name, table in layers.items()} or None,
    )
    return replace(site, surface=elevation, edits=edits)


def _ids(name: str, table: DataFrame) -> frozenset[str]:
    if "id" not in table:
        raise StepError(f"{name} has no column id; give the layer as the earlier step wrote it")
    return frozenset(table["id"].astype(str))


def _areas(low_spots: GeoDataFrame) -> dict[str, float]:
    _ids("low_spots", low_spots)
    return dict(zip(low_spots["id"].astype(str), low_spots.area.astype(float), strict=True))


def _places(collectors: Layers) -> dict[str, Any]:
    held = [name for name in STRUCK[:3] if name in collectors]
    if not held:
        raise StepError(f"the collectors hold none of the layers {', '.join(STRUCK[:3])}; give what siting wrote")
    found: dict[str, Any] = {}
    for name in held:
        _ids(name, collectors[name])
        found.update(zip(collectors[name]["id"].astype(str), collectors[name]["geometry"], strict=True))
    return found
