"""What a person has beside ground and parcel, looked at before a site file names it.

`gather(given, parcel, frame)` takes files by the table that they are for, and one file whose layers carry the names of
tables; what holds nothing near the lot is left out and told. `units_of_map(...)` says in which units people there read.
"""

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from pyproj import CRS

from pipelines.inputs.errors import InputFileError, SiteFileError
from pipelines.inputs.quantity import read_quantity
from pipelines.inputs.rules import load_rules
from pipelines.inputs.shapes.layer_table import LAYER_KINDS
from pipelines.inputs.shapes.readable_file import readable_file
from pipelines.inputs.shapes.vector_file import Bounds, VectorLayer, find_layer, read_shapes
from pipelines.inputs.site_sections import VectorFile
from pipelines.inputs.tables.rain_table_file import read_rain_table
from terrain.errors import GroundFileError, LotshedError
from terrain.grid import Frame
from terrain.reading.gdal_guard import vector_options
from terrain.reading.raster_file import opened
from terrain.unit_table import Units

SOIL_GROUPS = ("A", "B", "C", "D", "A/D", "B/D", "C/D")
BY_NAME = {key: key for key in LAYER_KINDS if key != "parcel" and "." not in key} | {"soils": "soil"}
"""Tables that a layer may be for, by the layer's name in small letters."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A table of the site file with what was found for it.

    Attributes
    ----------
    keys : tuple of (str, str or Path)
        What stands in it; paths as such.
    near, on_lot : int or None
        Features as far off as they are read, and on the lot; None where it is no layer of shapes. [-]
    """

    table: str
    keys: tuple[tuple[str, str | Path], ...]
    near: int | None = None
    on_lot: int | None = None


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A layer that is not taken, and why: name, empty or what is amiss with it."""

    layer: str
    why: str


@dataclass(frozen=True, slots=True)
class Gathered:
    """What goes into the site file, and what doesn't."""

    taken: tuple[Taken, ...]
    left_out: tuple[LeftOut, ...]


def gather(given: Mapping[str, str], layers: Path | None, parcel: VectorLayer, frame: Frame) -> Gathered:
    """Look at files given by table, and at each layer of one file that is called after a table."""
    shapes, _ = read_shapes(parcel, LAYER_KINDS["parcel"], frame)
    lot, reach = shapes.geometry.union_all(), load_rules()["layer_reach"].likely
    west, south, east, north = lot.bounds
    around = (west - reach, south - reach, east + reach, north + reach)
    taken: list[Taken] = []
    left_out: list[LeftOut] = []
    for table, text in given.items():
        if table == "rain":
            taken.append(Taken("rain", _rain(text)))
        elif table == "picture":
            taken.append(Taken("picture", (("file", _picture(text)),)))
        elif table == "soil" and text.upper() in SOIL_GROUPS:
            taken.append(Taken("soil", (("group", text.upper()),)))
        else:
            found = _look(table, _vector(table, text), lot, around, frame)
            if found.near:
                taken.append(found)
            else:
                left_out.append(LeftOut(f"{table}: {text}", "empty"))
    for name, named in _layers_of(layers):
        if named is None or any(each.table == named for each in taken):
            left_out.append(LeftOut(name, "name" if named is None else "given"))
            continue
        try:
            found = _look(named, VectorFile.model_construct(file=layers, layer=name), lot, around, frame)
        except LotshedError as error:
            left_out.append(LeftOut(name, str(error)))
            continue
        if found.near:
            taken.append(found)
        else:
            left_out.append(LeftOut(name, "empty"))
    return Gathered(tuple(taken), tuple(left_out))


def units_of_map(
    parcel: Path, layer: str | None, grounds: Sequence[str | os.PathLike[str]], *, crs: str | None = None
) -> Units:
    """Feet where the map of the parcel or of a ground raster is in feet or made for the United States, else metres."""
    maps = [find_layer(VectorFile.model_construct(file=parcel, layer=layer, crs=crs), "parcel").crs]
    for ground in grounds:
        # what is amiss in it is told where it is read
        with suppress(LotshedError), opened(Path(ground)) as file:
            if file.crs is not None:
                maps.append(CRS.from_user_input(file.crs))
    return "us" if any(_is_american(each) for each in maps) else "si"


def _is_american(crs: CRS) -> bool:
    feet = any("foot" in axis.unit_name.lower() for axis in crs.axis_info)
    area = crs.area_of_use.name if crs.area_of_use is not None else ""
    return feet or (crs.is_projected and "NAD" in crs.name and ("USA" in area or "United States" in area))


def _layers_of(path: Path | None) -> Iterator[tuple[str, str | None]]:
    """Layers of a file with the table that each is called after."""
    if path is None:
        return
    import pyogrio
    from pyogrio.errors import DataSourceError

    if not path.exists():
        raise InputFileError(f"--layers {path}: the file does not exist; give a GeoPackage or another file of layers")
    opened = readable_file(path, f"--layers {path}")
    try:
        with vector_options():
            listed = pyogrio.list_layers(opened)
    except DataSourceError as error:
        raise InputFileError(f"--layers {path}: it is no file of layers that can be read: {error}") from None
    for name, geometry in listed:
        yield str(name), BY_NAME.get(str(name).lower()) if geometry is not None else None


def _vector(table: str, text: str) -> VectorFile:
    """A file, or FILE:LAYER; of several layers the one that is called after the table."""
    path = Path(text)
    layer: str | None = None
    if not path.exists() and ":" in text:
        path, layer = Path(text.rsplit(":", 1)[0]), text.rsplit(":", 1)[1]
    if layer is None and path.exists():
        with suppress(InputFileError):
            layer = next((name for name, key in _layers_of(path) if key == table), None)
    return VectorFile.model_construct(file=path, layer=layer)


def _look(table: str, source: VectorFile, lot: object, around: Bounds, frame: Frame) -> Taken:
    layer = find_layer(source, table)
    shapes, _ = read_shapes(layer, LAYER_KINDS[table], frame, within=around)
    keys = (("file", source.file), ("layer", layer.layer))
    return Taken(table, keys, len(shapes), int(shapes.intersects(lot).sum()))


def _rain(text: str) -> tuple[tuple[str, str | Path], ...]:
    """A table of rain, or a depth and a duration."""
    if Path(text).exists():
        read_rain_table(text)
        return (("table", Path(text)),)
    depth, comma, duration = (part.strip() for part in text.partition(","))
    if not comma:
        raise SiteFileError(
            f'--rain "{text}" is neither a file nor a depth and a duration; give a table of depths by duration, or '
            'one storm, as in --rain "3 in, 60 min"'
        )
    read_quantity(depth, "length")
    read_quantity(duration, "time")
    return ("depth", depth), ("duration", duration)


def _picture(text: str) -> Path:
    try:
        with opened(Path(text)) as file:
            without_place = file.crs is None
    except GroundFileError as error:
        raise InputFileError(f"--picture: {error}") from None
    if without_place:
        raise InputFileError(f"--picture {text} doesn't say where it lies; give one with a CRS")
    return Path(text)
