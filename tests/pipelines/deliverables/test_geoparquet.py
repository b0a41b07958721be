"""Layers as GeoParquet hold what lot.gpkg holds: rows, columns, z and CRS."""

import json
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from pyproj import CRS

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.handover import write_lot
from pipelines.deliverables.lot.written import lot_files


@pytest.fixture
def parquet() -> Any:
    return pytest.importorskip("pyarrow.parquet", reason="pyarrow, of the extra parquet, is not installed")


def test_every_layer_is_there_as_in_the_geopackage(findings: Findings, tmp_path: Path, parquet: Any) -> None:
    further = lot_files(findings, made_on=date(2025, 3, 4), parquet=True)
    only = {name: write for name, write in further.items() if name.startswith("parquet/")}
    write_lot(findings, tmp_path / "lot", extra_files=only)
    held = {Path(name).stem for name in only}
    assert held == {str(name) for name, kind in pyogrio.list_layers(tmp_path / "lot" / "lot.gpkg") if kind is not None}
    assert {"pipe_runs", "parcel", "french_drains"} <= held
    for name in held:
        found = gpd.read_parquet(tmp_path / "lot" / "parquet" / f"{name}.parquet")
        same = pyogrio.read_dataframe(tmp_path / "lot" / "lot.gpkg", layer=name)
        assert found.crs == findings.frame.crs
        assert [each for each in found.columns if each != found.geometry.name] == list(same.columns[:-1]), name
        assert len(found) == len(same)
        assert shapely.to_wkb(found.geometry).tolist() == shapely.to_wkb(same.geometry).tolist()
        for column in same.columns[:-1]:
            one, other = (each[column].astype(object).where(each[column].notna(), None) for each in (found, same))
            assert [None if a is None else str(a) for a in one] == [None if b is None else str(b) for b in other], (
                column
            )
    runs = gpd.read_parquet(tmp_path / "lot" / "parquet" / "pipe_runs.parquet")
    assert runs.has_z.all()
    assert np.isfinite(shapely.get_coordinates(runs.geometry, include_z=True)).all()


def test_what_the_open_standard_asks_for(findings: Findings, tmp_path: Path, parquet: Any) -> None:
    # source: GeoParquet 1.1.0, "File metadata" and "Column metadata"
    further = lot_files(findings, made_on=date(2025, 3, 4), parquet=True)
    path = tmp_path / "runs.parquet"
    further["parquet/pipe_runs.parquet"](path)
    geo = json.loads(parquet.read_metadata(path).metadata[b"geo"])
    assert geo["version"] == "1.1.0"
    column = geo["columns"][geo["primary_column"]]
    assert (column["encoding"], column["geometry_types"]) == ("WKB", ["LineString Z"])
    assert CRS.from_json_dict(column["crs"]) == findings.frame.crs


def test_the_library_that_is_missing_is_named_before_the_work(
    findings: Findings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(HandoverError, match=r'pip install "lotshed\[parquet\]", or leave out --also parquet'):
        lot_files(findings, made_on=date(2025, 3, 4), parquet=True)


def test_a_result_with_such_layers_is_known_again(
    findings_with: Callable[..., Findings], tmp_path: Path, parquet: Any
) -> None:
    findings = findings_with()
    further = lot_files(findings, made_on=date(2025, 3, 4), parquet=True)
    only = {name: write for name, write in further.items() if name.startswith("parquet/")}
    write_lot(findings, tmp_path / "lot", extra_files=only)
    write_lot(findings, tmp_path / "lot", overwrite=True)
    assert not (tmp_path / "lot" / "parquet").exists()
