"""Quantities as parameters of a step: typed by what they measure, written with a unit, SI once read."""

from dataclasses import dataclass
from typing import Annotated

from pydantic import BeforeValidator

from pipelines.inputs.quantity import read_quantity
from terrain.unit_table import allowed_text


@dataclass(frozen=True, slots=True)
class Dimension:
    """What a parameter measures: a key of `terrain.unit_table.DIMENSIONS`; `unit` is its SI unit."""

    name: str
    unit: str

    @property
    def units(self) -> str:
        """Which units it may be written in."""
        return allowed_text(self.name)


def _reads(dimension: str) -> BeforeValidator:
    # a number that is a float already, such as a default, is SI
    return BeforeValidator(lambda given: given if isinstance(given, float) else read_quantity(given, dimension))


Length = Annotated[float, Dimension("length", "m"), _reads("length")]
Area = Annotated[float, Dimension("area", "m2"), _reads("area")]
Volume = Annotated[float, Dimension("volume", "m3"), _reads("volume")]
Flow = Annotated[float, Dimension("flow", "m3/s"), _reads("flow")]
Rate = Annotated[float, Dimension("rate", "m/s"), _reads("rate")]
Time = Annotated[float, Dimension("time", "s"), _reads("time")]
Slope = Annotated[float, Dimension("slope", "m/m"), _reads("slope")]
