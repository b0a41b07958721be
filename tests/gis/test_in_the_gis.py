"""The plugin in QGIS: its Python, without a window, does what a person would, and what it saw is held against lotshed.

Tried with 3.22, as Debian 12 has it. Another Python that has it can be named by LOTSHED_GIS_PYTHON, and
the folder of its own plugins by LOTSHED_GIS_PLUGINS.
"""

import json
import os
import shlex
import shutil
import subprocess
import zipfile
from collections.abc import Callable
from importlib.util import find_spec
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
from affine import Affine
from click.testing import CliRunner
from PIL import Image

from cli.gis.description import description
from cli.gis.package import plugin_bytes
from cli.main import app

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_data"
PYTHON = os.environ.get("LOTSHED_GIS_PYTHON", "/usr/bin/python3")
TOOLBOX = os.environ.get("LOTSHED_GIS_PLUGINS", "/usr/share/qgis/python/plugins")


def has_the_gis() -> bool:
    try:
        asked = subprocess.run([PYTHON, "-c", "import qgis.core"], capture_output=True, env=bare({}), timeout=60)
    except (OSError, subprocess.SubprocessError):
        return False
    return asked.returncode == 0


def bare(more: dict[str, str]) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "GDAL", "PROJ"))}
    return {**kept, "QT_QPA_PLATFORM": "offscreen", **more}


pytestmark = pytest.mark.skipif(not has_the_gis(), reason=f"{PYTHON} has no QGIS; LOTSHED_GIS_PYTHON names another")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("in_the_gis")


@pytest.fixture(scope="module")
def seen(folder: Path, made_package: Path, make_program: Callable[..., Path]) -> dict[str, Any]:
    """What was seen in one sitting."""
    document, _ = description()
    # as on another machine, where the program that wrote the plugin isn't
    with zipfile.ZipFile(BytesIO(plugin_bytes({**document, "program": "/nowhere/lotshed"}))) as packed:
        packed.extractall(folder / "plugins")
    # the host writes into a GeoPackage that it opens, if only that it did
    shutil.copytree(SAMPLE, folder / "sample", ignore=shutil.ignore_patterns("notebooks", "pictures"))
    around_lot_1(folder / "sample" / "ground.tif")
    for name in ("cancelled", "home", "run"):
        (folder / name).mkdir(mode=0o700)
    told = {
        "folder": str(folder), "sample": str(folder / "sample"), "plugins": str(folder / "plugins"),
        "parcels": "parcels", "environment": str(make_program(made_package)), "toolbox": TOOLBOX, "filter": '"lot" = 1',
    }  # fmt: skip
    home, path = str(folder / "home"), "/usr/bin:/bin"
    done = subprocess.run(
        [PYTHON, str(Path(__file__).with_name("in_the_host.py")), json.dumps(told)], capture_output=True, text=True,
        env=bare({"HOME": home, "XDG_CONFIG_HOME": home, "XDG_DATA_HOME": home, "PATH": path,
                  "XDG_RUNTIME_DIR": str(folder / "run"), "NUMBA_CACHE_DIR": os.environ.get("NUMBA_CACHE_DIR", "")}),
        timeout=900,
    )  # fmt: skip
    written = folder / "seen.json"
    assert written.exists(), done.stdout + done.stderr
    return json.loads(written.read_text())  # type: ignore[no-any-return]


def around_lot_1(ground: Path) -> None:
    """Cut the neighbourhood's raster to the first lot and what drains to it: its steps read the whole raster."""
    lot = pyogrio.read_dataframe(SAMPLE / "neighbourhood.gpkg", layer="parcels", where="lot = 1").buffer(25.0)
    west, south, east, north = lot.total_bounds
    with rasterio.open(ground) as file:
        cell, left, top = file.res[0], file.bounds.left, file.bounds.top
        column, row = max(int((west - left) / cell), 0), max(int((top - north) / cell), 0)
        heights = file.read()[:, row : int((top - south) / cell), column : int((east - left) / cell)]
        profile = file.profile | {"height": heights.shape[1], "width": heights.shape[2]}
    profile["transform"] = Affine(cell, 0.0, left + column * cell, 0.0, -cell, top - row * cell)
    with rasterio.open(ground, "w", **profile) as file:
        file.write(heights)


def test_without_lotshed_there_is_one_message_that_says_what_to_do(seen: dict[str, Any]) -> None:
    missing = seen["missing"]
    assert missing["can"][0] is False
    assert missing["error"].count("lotshed was not found on this computer") == 1
    for words in ("Settings > Options > Processing > Providers", "python3 -m venv", "environment of its own"):
        assert words in missing["error"]
        assert words in missing["can"][1]
    assert "screen" in seen["packed"], "what it could do is shown all the same"


def test_every_step_and_job_is_there_with_typed_parameters(seen: dict[str, Any]) -> None:
    document, _ = description()
    offers = {offer["name"]: offer for offer in document["algorithms"]}
    found = seen["algorithms"]
    assert set(found) == set(offers) | {"grow-shapes"}
    assert "grow-shapes" not in seen["packed"]
    types = {
        "file": {"file"}, "folder": {"file"}, "raster": {"raster"}, "vector": {"source"}, "choice": {"enum"},
        "flag": {"boolean"}, "yes_no": {"boolean"}, "integer": {"number"}, "number": {"number"},
        "quantity": {"number", "distance"}, "text": {"string"},
    }  # fmt: skip
    gives = {"folder": "folderDestination", "file": "fileDestination", "raster": "rasterDestination",
             "vector": "vectorDestination"}  # fmt: skip
    for name, offer in offers.items():
        parameters = found[name]["parameters"]
        for taken in offer["takes"]:
            kind, label, optional, told, _ = parameters.pop(taken["name"])
            assert kind in types[taken["kind"]], (name, taken["name"])
            assert optional == (not taken.get("required")), (name, taken["name"])
            assert told == taken["about"]
            assert label.endswith(f"[{taken['unit']}]") == bool(taken.get("unit")) if "unit" in taken else True
        assert parameters.pop("out")[0] == gives[offer["gives"]["kind"]]
        assert all(left.endswith("_unit") for left in parameters)
        assert offer["does"] in found[name]["help"]
        assert "Call before you dig" in found[name]["help"]


def test_a_step_of_another_package_has_a_group_of_its_own(seen: dict[str, Any]) -> None:
    grown = seen["algorithms"]["grow-shapes"]
    assert grown["group"] == "Steps of made-shapes"
    told = grown["parameters"]
    assert told["by"][:2] == ["distance", "By [m]"]
    assert told["inflow"][:2] == ["number", "Inflow [l/s]"]
    assert told["times"][4] == 2


def test_screen_gives_what_the_command_line_gives(seen: dict[str, Any], folder: Path) -> None:
    beside, site = folder / "beside", folder / "sample" / "lot_01.toml"
    done = CliRunner().invoke(app, ["screen", str(site), "--grounds", "5", "--out", str(beside)])
    assert done.exit_code == 0, done.stderr
    # the host leaves what it counted of a raster beside it
    names = {path.name for path in (folder / "lot").iterdir() if not path.name.endswith(".aux.xml")}
    assert names == {path.name for path in beside.iterdir()}
    held = [str(name) for name, _ in pyogrio.list_layers(beside / "lot.gpkg")]
    assert held == [str(name) for name, _ in pyogrio.list_layers(folder / "lot" / "lot.gpkg")]
    spatial = {}
    for name in held:
        if name in ("layer_styles", "run_info"):
            continue
        ours, theirs = (pyogrio.read_dataframe(each / "lot.gpkg", layer=name) for each in (beside, folder / "lot"))
        pd.testing.assert_frame_equal(pd.DataFrame(theirs), pd.DataFrame(ours))
        if "geometry" in ours and len(ours):
            spatial[name] = len(ours)
    # what holds something is loaded, with the style that the file holds for it
    assert {name: count for name, (count, _) in seen["screened"]["layers"].items()} == spatial
    assert seen["screened"]["layers"]["pipe_runs"][1] == "RuleRenderer"


def test_what_is_loaded_stands_in_one_group_named_after_the_lot(seen: dict[str, Any]) -> None:
    (group,) = seen["screened"]["tree"]
    assert list(group) == ["Claywick Hills, lot 1"]
    names = group["Claywick Hills, lot 1"]
    assert names.index("Catch basins") < names.index("Pipe runs") < names.index("Sub-catchments")
    assert names[-1] == "Run"
    assert seen["screened"]["rasters"] == ["singlebandpseudocolor"]


def test_progress_and_messages_come_as_lotshed_says_them(seen: dict[str, Any]) -> None:
    steps, said = seen["screened"]["steps"], seen["screened"]["said"]
    # the host counts the layers that it loads from the start again
    steps = steps[: steps.index(100.0) + 1]
    assert steps == sorted(steps)
    assert len(set(steps)) > 5
    assert "reading the site file and what it names" in said
    assert any("not a survey" in line.lower() or "pre-screen" in line.lower() for line in said)


def test_the_group_is_drawn_with_symbols_and_labels(seen: dict[str, Any], folder: Path) -> None:
    assert seen["screened"]["errors"] == []
    written = set(seen["screened"]["written"])
    assert {"Catch basins", "Pipe runs", "French drains", "Outfalls", "Sub-catchments"} <= written
    with Image.open(folder / "lot.png") as picture:
        colours = np.asarray(picture.convert("RGB")).reshape(-1, 3)
    found = {tuple(int(part) for part in each) for each in np.unique(colours, axis=0)}
    # black of improvements, blue of water, magenta of limits, as symbols.csv has them
    assert {(0, 0, 0), (0x00, 0x72, 0xB2), (0xB3, 0x00, 0x5E)} <= found


def test_the_other_jobs_are_run_loaded_and_opened_by_their_page(seen: dict[str, Any], folder: Path) -> None:
    jobs = seen["jobs"]
    if find_spec("dask") is None:
        # what it needs is told there as on the command line
        assert "pip install 'lotshed[town]'" in jobs.pop("town")["error"]
    assert [job for job in jobs if "error" in jobs[job]] == [], jobs
    pages = {"trace": "trace.html", "swale": "swale/report.html", "town": "town/town.html"}
    for job, page in ((job, pages[job]) for job in jobs):
        assert jobs[job]["given"]["report"] == str(folder / page)
        assert (folder / page).stat().st_size > 10_000
    assert jobs["trace"]["tree"] == []
    for job, above, below in (("swale", "Outlets", "Swales"), ("town", "Low spots", "Lots")):
        if job not in jobs:
            continue
        (group,) = jobs[job]["tree"]
        assert list(group) == ["Ember Lane, its swale"], job
        names = group["Ember Lane, its swale"]
        assert names.index(above) < names.index(below)
        held = {
            str(name): len(pyogrio.read_dataframe(folder / job / f"{job}.gpkg", layer=name, read_geometry=False))
            for name, kind in pyogrio.list_layers(folder / job / f"{job}.gpkg") if kind
        }  # fmt: skip
        assert set(jobs[job]["drawn"]) == {name for name, count in held.items() if count}
    assert jobs["swale"]["drawn"]["culverts"] == "RuleRenderer"


def test_a_fault_of_the_input_is_told_as_the_command_line_tells_it(seen: dict[str, Any]) -> None:
    assert "nothing.toml" in seen["wrong"]["error"]
    assert "Traceback" not in seen["wrong"]["error"]


def test_a_cancelled_run_leaves_nothing(seen: dict[str, Any]) -> None:
    assert seen["cancelled"]["error"].startswith("Cancelled")
    assert max(seen["cancelled"]["steps"]) < 95
    assert seen["left"] == []


def test_layers_that_are_open_are_handed_over(seen: dict[str, Any], folder: Path) -> None:
    stepped = seen["stepped"]
    assert "error" not in stepped, stepped
    words = shlex.split(next(line for line in stepped["said"] if " step low-spots " in line))
    given = dict(word.removeprefix("--").partition("=")[::2] for word in words if word.startswith("--"))
    assert given["elevation"] == str(folder / "sample" / "ground.tif")
    assert (given["parcel"], given["parcel-layer"], given["parcel-where"]) == (
        str(folder / "sample" / "neighbourhood.gpkg"), "parcels", '"lot" = 1',
    )  # fmt: skip
    assert Path(given["roofs"]).name == "roofs.gpkg"
    assert given["min-depth"] == "0.05 m"
    low = pyogrio.read_dataframe(folder / "low.gpkg", layer="low_spots")
    assert len(low) > 3
    # features that are selected are a filter too
    assert "error" not in stepped["again"], stepped["again"]
    pd.testing.assert_frame_equal(low, pyogrio.read_dataframe(folder / "low_again.gpkg", layer="low_spots"))
    assert "error" not in stepped["next"], stepped["next"]
