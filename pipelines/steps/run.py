"""One step on ordinary files: read what it takes, call it, write what it gives."""

import io
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio
from geopandas import GeoDataFrame
from pandas import DataFrame
from pydantic import BaseModel, ValidationError

from pipelines.deliverables.files.layer_table import layers
from pipelines.deliverables.files.place import check_file_place
from pipelines.deliverables.files.single_file import write_result
from pipelines.deliverables.unit_systems import unit_system
from pipelines.deliverables.words.say import say_all
from pipelines.inputs.errors import InputFileError, LayerError, TableError
from pipelines.inputs.shapes.layer_table import LAYER_KINDS, LayerKind
from pipelines.inputs.shapes.layers import locate_layer, locate_parcel
from pipelines.inputs.shapes.readable_file import readable_file
from pipelines.inputs.shapes.vector_file import find_layer, read_shapes
from pipelines.inputs.site_faults import fault_lines
from pipelines.inputs.site_sections import VectorFile
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from pipelines.steps.registry import Layers, Page, Step, StepError
from terrain.errors import GroundError
from terrain.grid import Frame
from terrain.metric_frame import horizontal_part, lonlat_of, metric_frame, utm_zone
from terrain.raster import Raster
from terrain.reading.gdal_guard import vector_options
from terrain.reading.named_file import read_named_file
from terrain.reading.raster_source import open_raster
from terrain.reading.surface import Surface, read_window
from terrain.reason import Reason

# what may be said of a file beside its path
COMPANIONS: dict[type, dict[str, str]] = {
    Surface: {"unit": "Vertical unit m, ft or ftUS, where the file's CRS does not say."},
    GeoDataFrame: {
        "layer": "Layer within the file, where it holds several.",
        "where": "Expression that selects its features, as GDAL takes it.",
        "crs": "CRS of a file that names none, such as EPSG:32617.",
    },
    DataFrame: {},
    Layers: {},
    LotStages: {},
}
ENDINGS: dict[type, str] = {
    Raster: ".tif", Surface: ".tif", GeoDataFrame: ".gpkg", Layers: ".gpkg", DataFrame: ".csv", Page: ".html",
}  # fmt: skip

MOST_CELLS = 100_000_000


@dataclass(frozen=True, slots=True)
class StepFile:
    """A file that a step is to take, and what is said of it: keys of `COMPANIONS`."""

    path: Path
    said: Mapping[str, str] = field(default_factory=dict)


def run_step(
    step: Step, files: Mapping[str, StepFile], parameters: Mapping[str, str], out: Path, *, overwrite: bool
) -> tuple[str, ...]:
    """Run one step and write its result."""
    check_file_place(out, ending=ENDINGS[step.gives], overwrite=overwrite)
    keywords = {} if step.parameters is None else {"parameters": _parameters(step, step.parameters, parameters)}
    site = _open_site(step, files)
    near = None
    if site is not None:
        near = locate_parcel(site.lot.opened.site)
    elif "parcel" in files:
        near = locate_layer(_source("parcel", files["parcel"]))
    surfaces, said = _read_surfaces(step, files, near)
    if site is not None:
        frame: Frame | None = site.frame
        if surfaces and surfaces[0].grid.frame != frame:
            raise GroundError("the raster is in another CRS than the site's; give what the step ground wrote for it")
    else:
        frame = surfaces[0].grid.frame if surfaces else _frame_of_first_layer(step, files)
    values: list[Any] = []
    waiting = list(surfaces)
    for taken in step.inputs:
        file = files.get(taken.name)
        if file is None:
            values.append(None)
        elif taken.kind is Surface:
            values.append(waiting.pop(0))
        elif taken.kind is LotStages:
            values.append(site)
        elif taken.kind is Layers:
            assert frame is not None
            values.append(_read_all_layers(taken.name, file, frame))
        elif taken.kind is GeoDataFrame:
            assert frame is not None
            shapes, found = _read_layer(taken.name, file, frame)
            said += found
            values.append(shapes)
        else:
            values.append(_read_table(file))
    given = step.function(*values, **keywords)
    asked = getattr(keywords.get("parameters"), "units", None)
    units = unit_system(asked or ("si" if site is None else site.lot.opened.site.units))
    write_result(out, step.name.replace("-", "_"), given, frame=frame, units=units, description=step.does)
    return say_all(said, units)


def _open_site(step: Step, files: Mapping[str, StepFile]) -> LotStages | None:
    named = [taken.name for taken in step.inputs if taken.kind is LotStages and taken.name in files]
    return LotStages(open_lot(files[named[0]].path)) if named else None


def _parameters(step: Step, model: type[BaseModel], texts: Mapping[str, str]) -> BaseModel:
    try:
        return model.model_validate(dict(texts))
    except ValidationError as error:
        faults = "; ".join(fault_lines(error, model))
        raise StepError(f"step {step.name}: {faults}. `lotshed step {step.name} --help` says what it takes.") from None


def _read_surfaces(
    step: Step, files: Mapping[str, StepFile], near: tuple[float, float] | None
) -> tuple[list[Surface], tuple[Reason, ...]]:
    surfaces: list[Surface] = []
    for taken in step.inputs:
        file = files.get(taken.name)
        if file is None or taken.kind is not Surface:
            continue
        source = open_raster(file.path, unit=file.said.get("unit"), near=near)
        rows, columns = source.grid.shape
        if rows * columns > MOST_CELLS:
            raise GroundError(
                f"{file.path} has {rows:,} x {columns:,} cells, and a step takes at most {MOST_CELLS:,}. "
                "Cut it to the ground that matters."
            )
        surfaces.append(read_window(source, source.grid.bounds, most_cells=MOST_CELLS))
        if surfaces[-1].grid.frame.crs != surfaces[0].grid.frame.crs:
            raise GroundError(f"{file.path} is in another CRS than the first raster; bring both to one.")
    return surfaces, tuple(line for surface in surfaces for line in surface.warnings)


def _frame_of_first_layer(step: Step, files: Mapping[str, StepFile]) -> Frame | None:
    for taken in step.inputs:
        if taken.kind is GeoDataFrame and taken.name in files:
            layer = find_layer(_source(taken.name, files[taken.name]), taken.name)
            crs = horizontal_part(layer.crs, layer.words)
            shapes, _ = read_shapes(layer, _any_shapes(taken.name), Frame(layer.crs, 1.0, 1.0, 1.0))
            if shapes.empty:
                raise LayerError(f"{layer.words} is empty or `where` selects nothing; give at least one feature")
            west, south, east, north = shapes.total_bounds
            near = lonlat_of(layer.crs, (west + east) / 2, (south + north) / 2, layer.words)
            return metric_frame(crs if crs.is_projected else utm_zone(near), near)
    return None


def _source(name: str, file: StepFile) -> VectorFile:
    """Where a layer is; of a file with several, the one that carries the input's name."""
    crs = file.said.get("crs")
    layer = file.said.get("layer") or (name if name in _layers_in(file.path, crs) else None)
    return VectorFile.model_construct(file=file.path, layer=layer, where=file.said.get("where"), crs=crs)


def _layers_in(path: Path, crs: str | None = None) -> list[str]:
    if not path.exists():
        return []
    opened = readable_file(path, path.name, crs)
    try:
        with vector_options(), warnings.catch_warnings():
            # what GDAL minds of single shapes is checked by us
            warnings.simplefilter("ignore")
            return [str(name) for name, _ in pyogrio.list_layers(opened)]
    except pyogrio.errors.DataSourceError:
        return []


def _read_all_layers(name: str, file: StepFile, frame: Frame) -> Layers:
    held = [each for each in _layers_in(file.path) if each in layers()]
    if not held:
        raise LayerError(f"{name}: {file.path} holds no layer that an earlier step writes; give its GeoPackage")
    shaped = [each for each in held if layers()[each].geometry is not None]
    return Layers({each: _read_layer(each, StepFile(file.path, {"layer": each}), frame)[0] for each in shaped})


def _read_layer(name: str, file: StepFile, frame: Frame) -> tuple[GeoDataFrame, tuple[Reason, ...]]:
    layer = find_layer(_source(name, file), name)
    if name in LAYER_KINDS:
        return read_shapes(layer, LAYER_KINDS[name], frame)
    # a layer that we know nothing of keeps all its attributes
    shapes, found = read_shapes(layer, _any_shapes(name), frame)
    with vector_options():
        attributes = pyogrio.read_dataframe(
            layer.opened, layer=layer.layer, where=layer.source.where, read_geometry=False, fid_as_index=True
        )
    attributes.index = attributes.index.astype(str)
    kept = attributes if "id" in attributes and name in layers() else attributes.assign(id=attributes.index)
    joined = shapes[["id", "geometry"]].rename(columns={"id": "fid"}).join(kept, on="fid").drop(columns="fid")
    return gpd.GeoDataFrame(joined, geometry="geometry"), found


def _any_shapes(name: str) -> LayerKind:
    return LayerKind(name, ("polygon", "line", "point"), single=False)


def _read_table(file: StepFile) -> DataFrame:
    held = read_named_file(
        file.path, str(file.path), InputFileError, missing="does not exist. Give a CSV table with a header."
    )
    try:
        return pd.read_csv(io.BytesIO(held), comment="#")
    except (OSError, ValueError, UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        reason = str(error).strip().splitlines()[0]
        raise TableError(f"{file.path} is no CSV table: {reason}. Give one with a header, in UTF-8.") from None
