"""A vector file as GDAL reads it: itself, or what was unpacked or made from it in a private folder.

`readable_file(path, where, crs)` looks at a file before anything opens it; `clear_away()` deletes what was made, as the
end of the run does.
"""

import atexit
import os
import shutil
import tempfile
import warnings
import zipfile
from pathlib import Path

import geopandas as gpd

from pipelines.inputs.errors import InputFileError
from pipelines.inputs.shapes.parquet_file import is_parquet, read_parquet_shapes
from pipelines.inputs.shapes.plain_files import FORMATS, MOST_UNPACKED, held_in_zip, refuse_no_plain_file
from pipelines.inputs.shapes.point_table import is_point_table, read_point_table
from terrain.reading.linked_files import first_bytes

_made: dict[tuple[object, ...], Path] = {}
_folders: dict[Path, int] = {}
"""Private folders, and the process that made each: one that it forked leaves them alone."""


def readable_file(path: Path, where: str, crs: str | None = None) -> Path:
    """The file that GDAL may open in the place of one that a person named; `crs` is what its table says."""
    if not is_parquet(path) and not is_point_table(path):
        refuse_no_plain_file(path, where)
        member = held_in_zip(path, where)
        if member is None:
            return path.absolute()
    told = path.stat()
    key = (path.resolve(), told.st_mtime_ns, told.st_size, crs)
    if key not in _made:
        folder = Path(tempfile.mkdtemp(dir=_folder()))
        if is_parquet(path):
            made = _written(folder / f"{path.stem}.gpkg", read_parquet_shapes(path, where, crs))
        elif is_point_table(path):
            made = _written(folder / f"{path.stem}.gpkg", read_point_table(path, where, crs))
        else:
            made = readable_file(_unpacked(path, folder, where), where, crs)
        _made[key] = made
    return _made[key]


def clear_away() -> None:
    """Delete what was made for this run."""
    _made.clear()
    for folder in [folder for folder, process in _folders.items() if process == os.getpid()]:
        shutil.rmtree(folder, ignore_errors=True)
        del _folders[folder]


def _folder() -> Path:
    if not _folders:
        atexit.register(clear_away)
        _folders[Path(tempfile.mkdtemp(prefix="lotshed-"))] = os.getpid()
    return next(iter(_folders))


def _written(path: Path, shapes: gpd.GeoDataFrame) -> Path:
    import pyogrio

    with warnings.catch_warnings():
        # shapes of several types in one layer are told by us, where they matter
        warnings.simplefilter("ignore")
        pyogrio.write_dataframe(shapes, path, driver="GPKG", layer=path.stem)
    return path


def _unpacked(path: Path, folder: Path, where: str) -> Path:
    """The one file, or geodatabase, that a zip holds, written out by its own name."""
    member = held_in_zip(path, where)
    assert member is not None
    place = folder / Path(member).name
    left = MOST_UNPACKED
    try:
        with zipfile.ZipFile(path) as archive:
            whole = place.suffix.lower() == ".gdb"
            names = [each.filename for each in archive.infolist() if not each.is_dir()]
            taken = [each for each in names if Path(each).parent == Path(member)] if whole else [member]
            if whole:
                place.mkdir()
            for name in taken:
                with archive.open(name) as packed, (place / Path(name).name if whole else place).open("wb") as file:
                    # what a zip says of sizes need not be so
                    while block := packed.read(1 << 20):
                        left -= len(block)
                        if left < 0:
                            raise InputFileError(
                                f"{where}: it unpacks to more than {MOST_UNPACKED / 1e9:g} GB; unpack it and cut "
                                "it down"
                            )
                        file.write(block)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, RuntimeError, EOFError) as fault:
        raise InputFileError(f"{where}: it is torn, or locked by a password ({fault}); give {FORMATS}") from None
    if place.is_file() and first_bytes(place, 4) == b"PK\3\4":
        raise InputFileError(f"{where}: {place.name[:80]} in it is a zip again; unpack it first")
    return place
