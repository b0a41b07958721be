"""Where the water of downspouts comes out that run into a pipe: what is relied on, and what must be looked at first.

A pipe is relied on where a person says that it runs, and its end is known: drawn as an existing drain, or the street
before the lot. Any other pipe may carry nothing, so that its water is counted where the downspout stands.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.rules import Rules
from pipelines.inputs.shapes.layers import SiteLayers

INTO_PIPE = ("drain", "pipe_to_lawn", "pipe_to_street", "pipe_end_unknown")
"""Of `goes_to`, what says that the water is in a pipe."""
NEVER_INTO = ("sanitary", "septic", "footing", "sump")
"""Words of a drain's end where no roof water may go: common practice, no source."""


@dataclass(frozen=True, slots=True)
class ExistingDrain:
    """A drain that is there.

    Attributes
    ----------
    id, condition : str
        Of its feature, and how a person says that it runs; empty where nobody did.
    line : shapely Geometry
        From its upper end down. [m]
    large : bool
        Not smaller than what is relied on.
    forbidden : bool
        Its end is said to be where no roof water may go.
    """

    id: str
    condition: str
    line: BaseGeometry
    large: bool
    forbidden: bool

    @property
    def relied_on(self) -> bool:
        """Whether water that runs into it is taken to come out at its end."""
        return self.condition == "runs" and self.large and not self.forbidden

    @property
    def end(self) -> Point:
        """Its lower end. [m]"""
        return Point(shapely.get_coordinates(self.line)[-1])


@dataclass(frozen=True, slots=True)
class SpoutEnd:
    """A downspout that runs into a pipe.

    Attributes
    ----------
    id : str
        Of the downspout's feature.
    place : shapely Point or None
        Where its water comes out; None where that is not relied on. [m]
    drain : ExistingDrain or None
        The drain that it runs into, where one is drawn there.
    """

    id: str
    place: Point | None
    drain: ExistingDrain | None


def existing_drains(layers: SiteLayers, rules: Rules) -> tuple[ExistingDrain, ...]:
    """Drains that are there, of the table of utilities."""
    least, found = rules["drain_least_size"].likely, []
    kinds, said = layers.utilities["kind"].str.lower(), layers.utilities["condition"] != ""
    # a city's storm drain, of which nobody says how it runs, is a line to be crossed and no more
    rows = layers.utilities[kinds.str.contains("existing drain") | (kinds.str.contains("drain") & said)]
    for name, line, condition, size, end in zip(
        rows["id"], rows.geometry, rows["condition"], rows["diameter_m"], rows["end"], strict=True
    ):
        words = str(end).lower()
        sewer = "sewer" in words and "storm" not in words
        forbidden = sewer or any(word in words for word in NEVER_INTO)
        found.append(ExistingDrain(str(name), condition, line, not float(size) < least, forbidden))
    return tuple(found)


def spout_ends(layers: SiteLayers, rules: Rules) -> tuple[SpoutEnd, ...]:
    """Every downspout that runs into a pipe, with where its water comes out."""
    into = layers.downspouts["goes_to"].isin(INTO_PIPE)
    if not into.any():
        return ()
    spouts = layers.downspouts[into]
    drains, reach = existing_drains(layers, rules), rules["drain_reach"].likely
    found = []
    for name, point, goes, condition in zip(
        spouts["id"], spouts.geometry, spouts["goes_to"], spouts["condition"], strict=True
    ):
        near = [each for each in drains if shapely.distance(each.line, point) <= reach]
        drain = min(near, key=lambda each: float(shapely.distance(each.line, point)), default=None)
        place = None
        if drain is not None:
            place = drain.end if drain.relied_on else None
        elif goes == "pipe_to_street" and condition == "runs":
            place = _street_before(point, layers)
        found.append(SpoutEnd(str(name), place, drain))
    return tuple(found)


def places_of_spouts(layers: SiteLayers, rules: Rules) -> list[Point]:
    """Where the water of each downspout comes out, in the order of the layer. [m]"""
    ends = {each.id: each.place for each in spout_ends(layers, rules) if each.place is not None}
    if not ends:
        return list(layers.downspouts.geometry.to_numpy())
    return [
        ends.get(str(name), point)
        for name, point in zip(layers.downspouts["id"], layers.downspouts.geometry, strict=True)
    ]  # fmt: skip


def _street_before(point: Point, layers: SiteLayers) -> Point | None:
    """The nearest place of the street's land, else of the frontage. [m]"""
    street = shapely.union_all(layers.right_of_way.geometry.to_numpy())
    if street.is_empty:
        street = shapely.union_all(np.array([edge.line for edge in layers.frontage.edges], dtype=object))
    if street.is_empty:
        return None
    off = shapely.difference(street, layers.parcel) if street.area else street
    return Point(shapely.get_coordinates(shapely.shortest_line(point, street if off.is_empty else off))[-1])
