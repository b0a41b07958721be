"""What a worker is sent to route and judge one swale, or several of which one takes from another."""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely
from pydantic import BaseModel
from pyproj import CRS

from pipelines.deliverables.findings.swale import SideGround, SwaleFindings
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.inputs.site_ground import SiteInputs
from pipelines.layout.swale.case import SwaleCase
from pipelines.layout.swale.outlets import SwaleOutlet
from terrain.arrays import IntArray
from terrain.flow.low_spots import LowSpot
from terrain.grid import Frame


@dataclass(frozen=True, slots=True, eq=False)
class StormSent:
    """What enters the swales of a group in one storm.

    Attributes
    ----------
    years : float or None
        Return period. [yr]
    inflows : tuple of dict of int to list of Hydrograph
        By swale: what enters by station, but what a swale of the group lets on.
    totals : tuple of (float, float, float)
        By swale: sent by lots over the surface, by their works, by other ground. [m3]
    kept : tuple of (float, float)
        By swale: what stands and what soaks in before it enters. [m3]
    """

    years: float | None
    inflows: tuple[Mapping[int, list[Hydrograph]], ...]
    totals: tuple[tuple[float, float, float], ...]
    kept: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, eq=False)
class CaseSent:
    """A group's water as the lots are, or if every lot built its improvements.

    Attributes
    ----------
    sides : tuple of SideGround
        By swale.
    storms : tuple of StormSent
        The design storm first.
    """

    built: bool
    sides: tuple[SideGround, ...]
    storms: tuple[StormSent, ...]


@dataclass(frozen=True, slots=True, eq=False)
class SwalesTask:
    """A group of swales on the ground that drains to them, with all the water that comes to them.

    Attributes
    ----------
    id : str
        Of its first swale.
    case : SwaleCase
        Of its swales alone, without low spots.
    spots : tuple of tuple of LowSpot
        By swale: those that the swale or one of its outlets lies in.
    below : dict of int to (int, int)
        Swale and station that each swale ends in.
    outlets : tuple of tuple of SwaleOutlet
        By swale.
    owners : (rows * cols,) int ndarray
        Position of the lot that holds each cell, -1 for none.
    lots : dict of int to (str, str)
        Id and name of those lots.
    cases : tuple of CaseSent
        As the lots are first.
    findings : SwaleFindings
        What the tables tell of all swales, without any.
    """

    id: str
    case: SwaleCase
    rain: DesignRain
    spots: tuple[tuple[LowSpot, ...], ...]
    below: Mapping[int, tuple[int, int]]
    outlets: tuple[tuple[SwaleOutlet, ...], ...]
    owners: IntArray
    lots: Mapping[int, tuple[str, str]]
    cases: tuple[CaseSent, ...]
    findings: SwaleFindings

    @property
    def frame(self) -> Frame:
        """Of the map."""
        return self.case.ground.grid.frame

    def key(self, asked: str) -> str:
        """Hash of what is asked and of all that the answer is made from."""
        digest = hashlib.sha256(asked.encode())
        for part in _parts((self.case.inputs.layers.utilities, [getattr(self, each.name) for each in fields(self)])):
            digest.update(part)
        return digest.hexdigest()


def _parts(value: Any) -> Iterable[bytes]:
    """The bytes of a value, by its fields; what the site file says is asked for, not read."""
    if isinstance(value, SiteInputs | BaseModel):
        return
    yield type(value).__name__.encode()
    if isinstance(value, np.ndarray) and value.dtype != object:
        yield f"{value.dtype}{value.shape}".encode()
        yield np.ascontiguousarray(value).tobytes()
    elif isinstance(value, shapely.Geometry):
        yield shapely.to_wkb(value)
    elif isinstance(value, CRS):
        yield value.to_wkt().encode()
    elif isinstance(value, pd.DataFrame):
        for name, column in pd.DataFrame(value).items():
            yield from _parts((str(name), column.tolist()))
    elif is_dataclass(value):
        for each in fields(value):
            yield each.name.encode()
            yield from _parts(getattr(value, each.name))
    elif isinstance(value, Mapping):
        for item in value.items():
            yield from _parts(item)
    elif isinstance(value, tuple | list):
        yield str(len(value)).encode()
        for each in value:
            yield from _parts(each)
    else:
        yield repr(value).encode()
