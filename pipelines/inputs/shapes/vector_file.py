"""One layer of a vector file as shapes in the metric frame, or one message that says why not."""

import warnings
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError

from pipelines.inputs.errors import InputFileError, LayerError
from pipelines.inputs.file_hash import sha256_of
from pipelines.inputs.shapes.crs_given import crs_given
from pipelines.inputs.shapes.drawing import SHAPES, fit_for, refuse_other_unit
from pipelines.inputs.shapes.layer_columns import read_columns
from pipelines.inputs.shapes.layer_state import LayerState, layer_state
from pipelines.inputs.shapes.layer_table import LayerKind
from pipelines.inputs.shapes.plain_files import FORMATS
from pipelines.inputs.shapes.readable_file import readable_file
from pipelines.inputs.shapes.shape_repair import flat_shapes, shapes_of_wkb, some
from pipelines.inputs.shapes.shared_reads import (
    AROUND_LOT,
    AROUND_PARCELS,
    BLOCK,
    MOST_IN_BLOCK,
    SharedReads,
    UIntArray,
    shared_once,
    shared_reads,
)
from pipelines.inputs.shapes.single_parts import MANY, in_single_parts, refuse_too_many, slimmed
from pipelines.inputs.shapes.where_filter import refuse_odd_where
from pipelines.inputs.site_sections import VectorFile
from terrain.grid import Frame
from terrain.kept import keeps, kept
from terrain.metric_frame import moved_shapes
from terrain.reading.gdal_guard import VECTOR_DRIVERS, vector_options
from terrain.reading.read_log import note_read, notes_reads
from terrain.reason import Reason, reason

Bounds = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class VectorLayer:
    """Where a layer was found.

    Attributes
    ----------
    key : str
        Its table in the site file.
    layer : str
        Name of the layer read.
    features : int
        How many it holds, before any `where`. [-]
    opened : Path
        What GDAL opens: the file itself, or what was unpacked or made from it.
    is_drawing : bool
        Whether shapes of any type stand in it side by side, as in a DXF.
    """

    key: str
    source: VectorFile
    layer: str
    crs: CRS
    features: int
    attributes: tuple[str, ...]
    opened: Path
    is_drawing: bool = False

    @property
    def words(self) -> str:
        """File and layer as a message names them."""
        return f"[{self.key}] {self.source.file.name}, layer {self.layer}"


class ListedLayers:
    """Layers that files hold, each file asked once by those who look for several of its layers."""

    def __init__(self) -> None:
        self._listed: dict[Path, Any] = {}

    def of(self, path: Path) -> Any:
        """Name and kind of shapes of each layer of a file."""
        import pyogrio

        if path not in self._listed:
            self._listed[path] = pyogrio.list_layers(path)
        return self._listed[path]


def find_layer(source: VectorFile, key: str, listed: ListedLayers | None = None) -> VectorLayer:
    """Find the one layer that a table of the site file means."""
    listed = listed or ListedLayers()
    shared = shared_reads()
    if shared is None:
        state = layer_state(source.file, source.where) if keeps() else None
        return _find(source, key, listed) if state is None else _found(source, key, state)
    # one parcel after another is selected by its number, which needs no check of its own
    wanted = (source.file, source.layer, key, None if key == "parcel" else source.where)
    found: VectorLayer = shared.once(wanted, lambda: _find(source, key, listed))
    return replace(found, source=source)


@kept
def _found(source: VectorFile, key: str, _: LayerState) -> VectorLayer:
    """The layer while its file is in this state."""
    return _find(source, key, ListedLayers())


def _find(source: VectorFile, key: str, files: ListedLayers) -> VectorLayer:
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError

    where = f"[{key}] {source.file.name}"
    if not source.file.exists():
        raise InputFileError(f"{where}: the file does not exist (looked for {source.file})")
    path = readable_file(source.file, where, source.crs)
    try:
        with vector_options(), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            listed = files.of(path)
            if path.suffix.lower() == ".dxf":
                listed = [each for each in listed if each[0] == SHAPES]
            names = [str(name) for name, _ in listed]
            spatial = [str(name) for name, geometry in listed if geometry is not None]
            layer = _choose(source.layer, names, spatial, where)
            info = pyogrio.read_info(path, layer=layer, force_feature_count=True)
    except (DataSourceError, DataLayerError) as error:
        raise InputFileError(
            f"{where}: it is no vector file that can be read, or is torn: {first_line(error)}; give {FORMATS}"
        ) from None
    if info["driver"] not in VECTOR_DRIVERS:
        raise InputFileError(f"{where}: files of {info['driver']} are not read; give {FORMATS}")
    crs, attributes = info["crs"], tuple(str(name) for name in info["fields"])
    if source.where is not None:
        named = tuple(str(info[key]) for key in ("fid_column", "geometry_name") if info.get(key))
        refuse_odd_where(source.where, attributes, f"{where}, layer {layer}", also=named)
    told = f"{where}, layer {layer}"
    found = _crs_of(crs, source.crs, told)
    is_drawing = info["driver"] == "DXF"
    if is_drawing:
        refuse_other_unit(path, found, told)
    return VectorLayer(key, source, layer, found, int(info["features"]), attributes, path, is_drawing)


def read_shapes(
    layer: VectorLayer, kind: LayerKind, frame: Frame, *, within: Bounds | None = None
) -> tuple[gpd.GeoDataFrame, tuple[Reason, ...]]:
    """Read a layer into the metric frame."""
    box = None if within is None else _box_in_file(layer, frame, within)
    shared = shared_reads()
    if shared is not None and box is None:
        own = _own_parcel(layer, kind, frame, shared)
        if own is not None:
            return own, ()
    if shared is not None and box is not None and within is not None:
        named = (layer.source.file, layer.layer, layer.source.where, kind.key)
        reach = AROUND_PARCELS if kind.key == "parcel" else BLOCK
        found = shared.shapes(named, frame, box, lambda wide: _block(layer, kind, frame, wide), reach=reach)
        if found is not None:
            shapes, hashes = found
            note_read(kind.key, within, (hashes[np.lexsort(hashes.T)].tobytes(),))
            return shapes, ()
    if notes_reads():
        # what is not known feature by feature is known by the file
        whole = shared_once(("bytes", layer.source.file), lambda: sha256_of(layer.source.file))
        note_read(kind.key, within or (), (whole.encode(),))
    state = layer_state(layer.opened, layer.source.where) if keeps() else None
    if state is not None:
        return _of_state(layer, kind, frame, box, within, state)
    return _made(layer, kind, frame, _read(layer, box), within)


@kept
def _of_state(
    layer: VectorLayer, kind: LayerKind, frame: Frame, box: Bounds | None, within: Bounds | None, _: LayerState
) -> tuple[gpd.GeoDataFrame, tuple[Reason, ...]]:
    """What a layer holds while its file is in this state."""
    return _made(layer, kind, frame, _read(layer, box), within)


def _own_parcel(
    layer: VectorLayer, kind: LayerKind, frame: Frame, shared: SharedReads
) -> gpd.GeoDataFrame | None:
    """The lot in work out of the block of parcels around it, where it is its filter that is read."""
    lot = shared.lot
    if lot is None or kind.key != "parcel" or layer.source.where != lot.where:
        return None
    whole = replace(layer, source=layer.source.model_copy(update={"where": None}))
    found = shared.shapes(
        (layer.source.file, layer.layer, None, kind.key), frame, _box_in_file(layer, lot.frame, lot.bounds),
        lambda wide: _block(whole, kind, frame, wide), reach=AROUND_LOT, only=lot.id,
    )  # fmt: skip
    if found is None:
        return None
    shapes, hashes = found
    if len(shapes) != 1:
        return None
    note_read(kind.key, (), (hashes.tobytes(),))
    return shapes


def _block(
    layer: VectorLayer, kind: LayerKind, frame: Frame, box: Bounds
) -> tuple[Any, gpd.GeoDataFrame | None, UIntArray]:
    """Shapes of a wide box as the file holds them and as they are used; no latter where one needs a look of its own."""
    rows, held = _read(layer, box)
    in_file = shapely.from_wkb(held, on_invalid="ignore")
    odd = shapely.is_missing(in_file).any() or (shapely.get_num_coordinates(in_file) > MANY).any()
    if odd or len(rows) > MOST_IN_BLOCK:
        return in_file, None, np.zeros((len(rows), 2), dtype=np.uint64)
    hashes = np.column_stack([pd.util.hash_pandas_object(rows.astype(str)), pd.util.hash_array(held)])
    made, found = _made(layer, kind, frame, (rows, held), None)
    return in_file, None if found or len(made) != len(rows) else made, hashes


def _made(
    layer: VectorLayer, kind: LayerKind, frame: Frame, read: tuple[Any, Any], within: Bounds | None
) -> tuple[gpd.GeoDataFrame, tuple[Reason, ...]]:
    """Rows and bytes of a layer as checked shapes in the metric frame."""
    raw, held = read
    refuse_too_many(len(raw), layer.words)
    found: list[Reason] = []
    if layer.is_drawing:
        held, fits = fit_for(held, kind.shapes)
        if not fits.all():
            found.append(reason("drawing_left_out", layer=layer.words, shapes=int((~fits).sum()), needed=kind.shapes))
        raw, held = raw[fits].copy(), held[fits]
    raw["id"] = raw.index.astype(str).to_numpy(dtype=object)
    ids = raw["id"].to_numpy()
    shapes, closed = shapes_of_wkb(held, ids, layer.words)
    shapes, kept, repaired = flat_shapes(shapes, ids, kind.shapes, layer.words)
    repaired = closed | repaired
    if not kept.all():
        found.append(reason("shapes_empty", layer=layer.words, features=some(ids[~kept])))
    placed = _in_frame(layer, shapes[kept], frame)
    if repaired:
        area = dict(zip(np.flatnonzero(kept), shapely.area(placed), strict=True))
        repairs = tuple(
            reason("shape_repaired", feature=str(ids[at]), fault=fault, area=float(area[at]))
            for at, fault in repaired.items()
            if at in area
        )
        found.append(reason("shapes_repaired", layer=layer.words, repairs=repairs))
    placed = slimmed(placed, ids[kept], within, layer.words)
    made = gpd.GeoDataFrame(raw[kept], geometry=gpd.GeoSeries(placed, index=raw.index[kept], crs=None))
    table = read_columns(made, kind.columns, layer.words)
    if kind.single:
        table = in_single_parts(table)
        refuse_too_many(len(table), layer.words)
    else:
        whole = table.geometry.to_numpy()
        one = (shapely.get_type_id(whole) > 3) & (shapely.get_num_geometries(whole) == 1)
        table = table.set_geometry(np.where(one, shapely.get_geometry(whole, 0), whole))
    return table, tuple(found)


def _crs_of(own: Any, given: str | None, where: str) -> CRS:
    """The CRS of a layer: its own, or the one that its table gives it where it has none."""
    if own is None:
        if given is None:
            raise LayerError(
                f"{where}: it has no CRS; say the one that its coordinates are in, in the same table of the site file, "
                'as in crs = "EPSG:32617"; for `lotshed start` by --parcel-crs'
            )
        return crs_given(given, where)
    try:
        found = CRS.from_user_input(own)
    except CRSError as error:
        raise LayerError(f"{where}: its CRS means nothing here: {first_line(error)}") from None
    if given is not None and not found.equals(crs_given(given, where), ignore_axis_order=True):
        raise LayerError(
            f'{where}: its own CRS is "{found.name}", and crs = "{given}" is another; leave crs out, or assign the '
            "right one in the file"
        )
    return found


def _choose(wanted: str | None, names: list[str], spatial: list[str], where: str) -> str:
    if wanted is not None:
        if wanted not in names:
            raise LayerError(f'{where} has no layer "{wanted}"; it has {", ".join(names) or "none"}')
        if wanted not in spatial:
            raise LayerError(f'{where}: layer "{wanted}" is a table without shapes; it has {", ".join(spatial)}')
        return wanted
    if not spatial:
        raise LayerError(f"{where} has no layer of shapes")
    if len(spatial) > 1:
        raise LayerError(f'{where} has several layers ({", ".join(spatial)}); name one, as in layer = "{spatial[0]}"')
    return spatial[0]


def _read(layer: VectorLayer, bbox: Bounds | None) -> tuple[Any, Any]:
    import pyogrio
    from pyogrio import raw
    from pyogrio.errors import DataLayerError, DataSourceError

    where = layer.source.where
    try:
        with vector_options(), warnings.catch_warnings():
            # what GDAL minds (ring order, odd dates) is checked by us or does not matter here
            warnings.simplefilter("ignore")
            path = layer.opened
            chosen: dict[str, Any] = {"layer": layer.layer, "where": where, "bbox": bbox}
            # as bytes, so that a shape that cannot be is known by its feature
            meta, numbers, held, columns = raw.read(path, **chosen, return_fids=True, datetime_as_string=True)
            if _plain(meta):
                names = meta["fields"].tolist()
                named = dict(zip(names, columns, strict=True))
                return pd.DataFrame(named, columns=names, index=pd.Index(numbers, name="fid")), held
            rows = pyogrio.read_dataframe(path, **chosen, read_geometry=False, fid_as_index=True, use_arrow=False)
            return rows, held[pd.Index(numbers).get_indexer(rows.index)]
    except (DataSourceError, DataLayerError, ValueError) as error:
        if where is not None:
            raise LayerError(
                f'{layer.words}: where = "{where}" is no expression for this layer: {first_line(error)}; '
                f"its attributes are {', '.join(layer.attributes) or 'none'}"
            ) from None
        raise InputFileError(f"{layer.words}: it is torn: {first_line(error)}; fetch it again") from None


def _plain(meta: dict[str, Any]) -> bool:
    """Whether all columns stay as they are read: no dates, no JSON."""
    dates = any(kind.startswith("datetime") for kind in meta["dtypes"])
    return not dates and "OFSTJSON" not in meta["ogr_subtypes"]


def _in_frame(layer: VectorLayer, shapes: Any, frame: Frame) -> Any:
    """Shapes of the file in the metric frame, easting first whatever the CRS says of its axes."""
    placed = moved_shapes(layer.crs, frame.crs, shapes)
    lost = [position for position, shape in enumerate(placed) if not np.isfinite(shapely.bounds(shape)).all()]
    if lost:
        raise LayerError(
            f'{layer.words}: {len(lost)} shapes lie where its CRS "{layer.crs.name}" has no meaning; '
            "its CRS is probably tagged wrongly"
        )
    return frame.from_map(placed)


def _box_in_file(layer: VectorLayer, frame: Frame, within: Bounds) -> Bounds:
    west, south, east, north = within
    west, south, east, north = (
        west / frame.x_scale,
        south / frame.y_scale,
        east / frame.x_scale,
        north / frame.y_scale,
    )
    if _same_crs(layer.crs, frame.crs):
        return west, south, east, north
    transformer = Transformer.from_crs(frame.crs, layer.crs, always_xy=True)
    found = transformer.transform_bounds(west, south, east, north, densify_pts=21)
    return float(found[0]), float(found[1]), float(found[2]), float(found[3])


def _same_crs(one: CRS, other: CRS) -> bool:
    """Whether two CRSs are one; each look at two of them takes as long as to find a lot's shapes."""
    # kept with both, so that no other comes to bear their number
    known = shared_once(("crs", id(one), id(other)), lambda: (one == other, one, other))
    return bool(known[0])


def first_line(error: BaseException) -> str:
    """What GDAL says first of what went wrong."""
    lines = str(error).strip().splitlines() or [type(error).__name__]
    return lines[0].split("; It might help")[0]
