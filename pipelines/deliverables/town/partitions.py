"""Finished lots and swales on disk: one GeoParquet a lot, written whole, named after the lot and the hashes of what was
asked and what was read; one Parquet a group of swales, named after the hash of both."""

import hashlib
import json
import os
import re
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.findings.town import LotRecord
from pipelines.deliverables.findings.town_swales import SwalesRecord
from pipelines.deliverables.town.record_text import made, plain
from terrain.reading.read_log import PlaceRead

KEY_LETTERS = 16
_NAME = re.compile(r"[\w-]+\.[0-9a-f]{16}\.[0-9a-f]{16}\.parquet")
SEEN = ("lot", "name", "street", "status", "message", "seconds", "need", "need_why")
"""Fields of a row that stand as columns of their own, for whoever opens a partition."""


@dataclass(frozen=True, slots=True)
class Partitions:
    """The folder of a town's finished lots.

    Attributes
    ----------
    folder : Path
        Beside the result's own.
    """

    folder: Path

    @property
    def attempts(self) -> Path:
        """One line an attempt at a lot that did not end well."""
        return self.folder / "attempts.jsonl"

    def prepare(self) -> None:
        """Make the folder and clear away what was being written when an earlier run was cut short."""
        try:
            for kind in ("lots", "swales"):
                (self.folder / kind).mkdir(parents=True, exist_ok=True)
                for left in (self.folder / kind).glob(".*.part"):
                    left.unlink(missing_ok=True)
        except OSError as error:
            raise _cannot_write(self.folder, error) from error

    def place(self, lot: str, asked: str, read: str) -> Path:
        """Where a lot's partition lies, by the hashes of what was asked of it and of what was read."""
        return self.folder / "lots" / f"{file_name(lot)}.{asked[:KEY_LETTERS]}.{read[:KEY_LETTERS]}.parquet"

    def finished(self) -> set[str]:
        """Names of the partitions that are there."""
        folder = self.folder / "lots"
        return {each.name for each in os.scandir(folder) if _NAME.fullmatch(each.name)} if folder.is_dir() else set()

    def earlier(self, asked: str) -> dict[str, Path]:
        """Partitions of what was asked, by the lot's name in them, whatever was read for it; the newest of several."""
        found = (self.folder / "lots").glob(f"*.{asked[:KEY_LETTERS]}.*.parquet")
        return {each.name.partition(".")[0]: each for each in sorted(found, key=lambda each: each.stat().st_mtime)}

    def reads_of(self, place: Path) -> tuple[PlaceRead, ...]:
        """What a partition was made from; none where it cannot be read."""
        import pyarrow.parquet

        try:
            text = pyarrow.parquet.read_table(place, columns=["reads"]).column("reads")[0].as_py()
            reads: tuple[PlaceRead, ...] = made(tuple[PlaceRead, ...], json.loads(text))
        except (OSError, ValueError, KeyError, TypeError):
            return ()
        return reads

    def hold(self, place: Path, lot: str, asked: str, read: str) -> None:
        """Let a partition stand for what is read now, which is the same for its lot."""
        target = self.place(lot, asked, read)
        try:
            os.replace(place, target)
        except OSError as error:
            raise _cannot_write(target, error) from error

    def write(self, record: LotRecord, asked: str, read: str, crs: CRS) -> None:
        """Write a lot's record, whole or not at all."""
        import pyarrow

        row = record.row
        columns: dict[str, Any] = {name: [getattr(row, name)] for name in SEEN}
        columns["reads"] = [json.dumps(plain(record.reads))]
        columns["record"] = [json.dumps(plain(record), allow_nan=True)]
        columns["geometry"] = [shapely.to_wkb(row.parcel)]
        table = pyarrow.table(columns).replace_schema_metadata({"geo": json.dumps(_geo(row.parcel, crs))})
        _write_whole(self.place(row.lot, asked, read), table)

    def read(self, lot: str, asked: str, read: str) -> LotRecord:
        """A lot's record as it was written."""
        record: LotRecord = _read_record(self.place(lot, asked, read), LotRecord)
        return record

    def swales_place(self, group: str, key: str) -> Path:
        """Where a group of swales lies, by the hash of what was asked and of all that it was made from."""
        return self.folder / "swales" / f"{file_name(group)}.{key[:KEY_LETTERS]}.parquet"

    def write_swales(self, record: SwalesRecord, key: str) -> None:
        """Write a group's record, whole or not at all."""
        import pyarrow

        columns: dict[str, Any] = {name: [getattr(record, name)] for name in ("id", "status", "message", "seconds")}
        columns["record"] = [json.dumps(plain(record), allow_nan=True)]
        _write_whole(self.swales_place(record.id, key), pyarrow.table(columns))

    def read_swales(self, group: str, key: str) -> SwalesRecord:
        """A group's record as it was written."""
        record: SwalesRecord = _read_record(self.swales_place(group, key), SwalesRecord)
        return record

    def note(self, attempt: dict[str, Any]) -> None:
        """Add a line on an attempt."""
        try:
            with self.attempts.open("a", encoding="utf-8") as file:
                file.write(json.dumps(attempt) + "\n")
        except OSError as error:
            raise _cannot_write(self.attempts, error) from error

    def noted(self) -> Iterator[dict[str, Any]]:
        """Attempts of this run and of those before it; a line cut short is passed over."""
        if not self.attempts.is_file():
            return
        for line in self.attempts.read_text(encoding="utf-8", errors="replace").splitlines():
            try:
                found = json.loads(line)
            except ValueError:
                continue
            if isinstance(found, dict):
                yield found


def _write_whole(place: Path, table: Any) -> None:
    import pyarrow.parquet

    try:
        handle, held = tempfile.mkstemp(prefix=".", suffix=".part", dir=place.parent)
        os.close(handle)
        try:
            pyarrow.parquet.write_table(table, held, compression="zstd")
            os.replace(held, place)
        finally:
            Path(held).unlink(missing_ok=True)
    except OSError as error:
        raise _cannot_write(place, error) from error


def _read_record(place: Path, kind: Any) -> Any:
    import pyarrow.parquet

    try:
        text = pyarrow.parquet.read_table(place, columns=["record"]).column("record")[0].as_py()
        return made(kind, json.loads(text))
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise HandoverError(f"{place} holds no record that can be read ({error}); delete it and run again") from None


def _geo(parcel: BaseGeometry, crs: CRS) -> dict[str, Any]:
    """What the GeoParquet standard, 1.0, says of a file's one column of shapes; to make a table of one row first takes
    three times as long."""
    column = {
        "encoding": "WKB", "geometry_types": [parcel.geom_type], "crs": _crs_json(crs), "bbox": list(parcel.bounds)
    }  # fmt: skip
    return {"version": "1.0.0", "primary_column": "geometry", "columns": {"geometry": column}}


@cache
def _crs_json(crs: CRS) -> dict[str, Any]:
    found: dict[str, Any] = crs.to_json_dict()
    return found


def file_name(lot: str) -> str:
    """A lot's id as a file may be called."""
    return lot if re.fullmatch(r"[\w-]{1,60}", lot) else hashlib.sha256(lot.encode()).hexdigest()[:24]


def write_mosaic(place: Path, text: str) -> None:
    """Write the virtual raster over a town's tiles."""
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        part = place.with_name(f".{place.name}.part")
        part.write_text(text, encoding="utf-8")
        os.replace(part, place)
    except OSError as error:
        raise _cannot_write(place, error) from error


def _cannot_write(place: Path, error: OSError) -> HandoverError:
    return HandoverError(
        f"{place} cannot be written: {error.strerror or error}. Finished lots are kept; make room or give another "
        "--out, and run again with --resume."
    )
