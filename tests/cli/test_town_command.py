"""lotshed town on workers of Dask: lots finished, kept, and taken up again."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest

pytest.importorskip("distributed", reason="Dask is an extra: pip install 'lotshed[town]'")

TOWN = Path(__file__).parents[2] / "sample_data" / "town.toml"
ASKED = (TOWN, "--where", "lot IN (2, 6)", "--workers", "2", "--json")


def test_lots_are_done_by_workers_and_taken_up_again(run, tmp_path) -> None:
    out = tmp_path / "town"
    result = run("town", *ASKED, "--out", out)
    assert result.exit_code == 0, result.stderr
    events = [json.loads(line) for line in result.stdout.splitlines()]
    assert events[-1]["event"] == "done"
    # the one that needs most is done once more, on the grounds that lidar allows
    assert sorted(each["lot"] for each in events if each["event"] == "lot") in (["2", "2", "6"], ["2", "6", "6"])
    lots = pd.read_csv(out / "lots.csv")
    assert list(lots["status"]) == ["done", "done"]
    assert set(gpd.read_file(out / "town.gpkg", layer="lots")["id"]) == {"2", "6"}
    assert {each.name for each in out.iterdir()} >= {"town.html", "runoff.csv", "summary.json", "parquet"}
    assert "Ranked on the raster as it is" in (out / "town.html").read_text(encoding="utf-8")
    kept = {each: each.stat().st_mtime_ns for each in Path(f"{out}.lots").rglob("*.parquet")}
    assert {each.parent.name for each in kept} == {"lots", "swales"}
    # other programs read them as the GeoParquet that they are
    parcel = gpd.read_parquet(next(each for each in kept if each.parent.name == "lots"))
    ground = gpd.read_file(out / "town.gpkg", layer="lots")
    assert parcel.crs == ground.crs
    assert ground.union_all().covers(parcel.geometry.iloc[0])

    again = run("town", *ASKED, "--out", out, "--resume")
    assert again.exit_code == 0, again.stderr
    assert not [line for line in again.stdout.splitlines() if json.loads(line)["event"] in ("lot", "swales")]
    assert {each: each.stat().st_mtime_ns for each in kept} == kept
    assert pd.read_csv(out / "lots.csv").equals(lots)


def test_an_earlier_result_is_not_written_over(run, tmp_path) -> None:
    (tmp_path / "town").mkdir()
    (tmp_path / "town" / "notes.txt").write_text("mine")
    result = run("town", *ASKED, "--out", tmp_path / "town")
    assert result.exit_code == 2
    assert "notes.txt" in result.stderr
    assert not Path(f"{tmp_path / 'town'}.lots").exists()


@pytest.mark.thorough
@pytest.mark.skipif(os.name == "nt", reason="no group of processes to interrupt there")
def test_a_terminals_interrupt_is_one_message_and_leaves_finished_lots(run, tmp_path) -> None:
    out = tmp_path / "town"
    asked = ("town", str(TOWN), "--where", "lot <= 6", "--out", str(out), "--workers", "2", "--grounds", "1")
    # a terminal interrupts the workers too
    process = subprocess.Popen(
        [sys.executable, "-m", "cli", *asked], cwd=TOWN.parents[1], start_new_session=True,
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    while process.poll() is None and not list(Path(f"{out}.lots").rglob("*.parquet")):
        time.sleep(0.1)
    os.killpg(process.pid, signal.SIGINT)
    said = process.communicate(timeout=60)[1]
    assert process.returncode == 130
    assert "Traceback" not in said
    assert said.count("Interrupted") == 1
    assert "--resume" in said
    kept = set(Path(f"{out}.lots").rglob("*.parquet"))
    assert kept
    assert not out.exists()
    again = run(*asked, "--resume")
    assert again.exit_code == 0, again.stderr
    assert kept <= set(Path(f"{out}.lots").rglob("*.parquet"))
