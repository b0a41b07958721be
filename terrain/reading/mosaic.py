"""Rasters side by side as one: the text of a virtual raster over tiles of the same cells."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from terrain.errors import GroundError
from terrain.reading.raster_file import opened

MOST_CELLS_OFF = 0.01
"""Of a cell that a tile may lie off the others' grid. [-]"""
_TYPES = {
    "uint8": "Byte", "int16": "Int16", "uint16": "UInt16", "int32": "Int32", "uint32": "UInt32", "float32": "Float32",
    "float64": "Float64",
}  # fmt: skip


def mosaic_text(paths: Sequence[Path]) -> str:
    """Text of a virtual raster over tiles; where two hold the same ground the later one counts.

    Parameters
    ----------
    paths : sequence of Path
        Of the tiles, absolute.

    Returns
    -------
    str
        XML of a VRT.

    Raises
    ------
    GroundError
        If tiles differ in CRS, cell size, alignment, type, nodata or vertical unit, or are not north up.
    """
    tiles = [_header(path) for path in paths]
    first = tiles[0]
    wide, high = first["transform"].a, -first["transform"].e
    for tile in tiles:
        _refuse_unlike(tile, first)
    left = min(tile["transform"].c for tile in tiles)
    top = max(tile["transform"].f for tile in tiles)
    placed = [
        (tile, round((tile["transform"].c - left) / wide), round((top - tile["transform"].f) / high)) for tile in tiles
    ]
    columns = max(column + tile["shape"][1] for tile, column, _ in placed)
    rows = max(row + tile["shape"][0] for tile, _, row in placed)
    nodata = "" if first["nodata"] is None else f"<NoDataValue>{first['nodata']!r}</NoDataValue>"
    unit = f"<UnitType>{escape(first['unit'])}</UnitType>" if first["unit"] else ""
    sources = "".join(_source(tile, column, row) for tile, column, row in placed)
    return (
        f'<VRTDataset rasterXSize="{columns}" rasterYSize="{rows}">'
        f"<SRS>{escape(first['crs'])}</SRS>"
        f"<GeoTransform>{left!r}, {wide!r}, 0.0, {top!r}, 0.0, {-high!r}</GeoTransform>"
        f'<VRTRasterBand dataType="{_TYPES[first["dtype"]]}" band="1">{nodata}{unit}'
        f"<Scale>{first['scale']!r}</Scale><Offset>{first['offset']!r}</Offset>{sources}</VRTRasterBand></VRTDataset>"
    )


def _header(path: Path) -> dict[str, Any]:
    with opened(path) as file:
        if file.crs is None:
            raise GroundError(f"{path.name}: it has no CRS; assign the one that the data was made in")
        return {
            "path": path, "crs": file.crs.to_wkt(version="WKT2_2019"), "transform": file.transform,
            "shape": (int(file.height), int(file.width)), "nodata": file.nodata, "dtype": str(file.dtypes[0]),
            "unit": file.units[0] or "", "scale": float(file.scales[0]), "offset": float(file.offsets[0]),
            "blocks": file.block_shapes[0],
        }  # fmt: skip


def _refuse_unlike(tile: dict[str, Any], first: dict[str, Any]) -> None:
    one, other = tile["transform"], first["transform"]
    off = ((one.c - other.c) / other.a, (one.f - other.f) / other.e)
    differing = [key for key in ("crs", "nodata", "dtype", "unit", "scale", "offset") if tile[key] != first[key]]
    if one.b or one.d or one.a <= 0.0 or one.e >= 0.0:
        differing.append("way up")
    elif abs(one.a / other.a - 1.0) > 1e-9 or abs(one.e / other.e - 1.0) > 1e-9:
        differing.append("cell size")
    elif any(abs(each - round(each)) > MOST_CELLS_OFF for each in off):
        differing.append("place of its cells")
    if tile["dtype"] not in _TYPES:
        differing.append("type of number")
    if differing:
        raise GroundError(
            f"{tile['path'].name} and {first['path'].name} make no one raster: they differ in {', '.join(differing)}; "
            "bring all tiles to one grid first"
        )


def _source(tile: dict[str, Any], column: int, row: int) -> str:
    rows, columns = tile["shape"]
    size = f'xSize="{columns}" ySize="{rows}"'
    high, wide = tile["blocks"]
    kind = "ComplexSource" if tile["nodata"] is not None else "SimpleSource"
    nodata = f"<NODATA>{tile['nodata']!r}</NODATA>" if tile["nodata"] is not None else ""
    return (
        f'<{kind}><SourceFilename relativeToVRT="0">{escape(str(tile["path"]))}</SourceFilename>'
        f"<SourceBand>1</SourceBand>"
        f'<SourceProperties RasterXSize="{columns}" RasterYSize="{rows}" DataType="{_TYPES[tile["dtype"]]}" '
        f'BlockXSize="{wide}" BlockYSize="{high}" />'
        f'<SrcRect xOff="0" yOff="0" {size} /><DstRect xOff="{column}" yOff="{row}" {size} />{nodata}</{kind}>'
    )
