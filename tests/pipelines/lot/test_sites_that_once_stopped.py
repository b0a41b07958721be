"""Sites on which the job once stopped with a defect: each is answered, and its water and lines add up."""

import json
from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from pipelines import Site
from pipelines.lot import screen_lot

FOLDER = Path(__file__).parents[2] / "data" / "once_stopped"


def _site(name: str) -> Site:
    told = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    frames = {
        layer: gpd.GeoDataFrame(
            {key: [row[key] for row in rows] for key in rows[0] if key != "geometry"},
            geometry=shapely.from_wkt([row["geometry"] for row in rows]), crs="EPSG:32617",
        )
        for layer, rows in told["layers"].items()
    }
    sections = {key: value for key, value in told["site"].items() if key not in ("elevation", "units")}
    elevation = {"file": FOLDER / f"{name}.tif", **told["site"]["elevation"]}
    return Site(elevation, frames.pop("parcel"), units="si", **sections, **frames)


@pytest.mark.parametrize("name", sorted(path.stem for path in FOLDER.glob("*.json")))
def test_a_site_that_once_stopped_is_answered(name):
    with _site(name).on_disk() as path:
        findings = screen_lot(path)
    balance, plan = findings.balance, findings.plan
    gone = balance.infiltrated + balance.leaves + balance.stands + balance.collected
    assert gone == pytest.approx(balance.rain, rel=1e-9)
    assert plan.discharges
    assert all(run.line.length > 0.0 for run in plan.pipe_runs)
    ends = {outfall.id for outfall in plan.outfalls}
    assert all(line.outfall in ends for line in plan.discharges if line.mode != "none")
