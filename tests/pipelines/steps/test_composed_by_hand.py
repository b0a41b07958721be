"""Steps on files, each from what the one before wrote: the same layers as `screen`, and edits by hand that act."""

import importlib
import shutil
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
from shapely.affinity import translate

from pipelines.deliverables.files.context_layers import CONTEXT
from pipelines.deliverables.files.layer_table import rounded
from pipelines.deliverables.lot.handover import write_lot
from pipelines.deliverables.lot.written import report_page
from pipelines.layout.catching.sites import LayoutError
from pipelines.lot import screen_lot
from pipelines.steps.registry import StepError, read_step
from pipelines.steps.run import StepFile, run_step
from tests.pipelines.lot.conftest import SAMPLES, SMALL_MORE, write_small_lot

ROOT = Path(__file__).parents[3]
OFFERED = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["entry-points"]["lotshed.steps"]
# a small lot on five grounds; pumped with downspouts tied in; on level shots; by gravity from several collectors
LOTS = ("small", *(pytest.param(lot, marks=pytest.mark.thorough) for lot in ("lot_11", "lot_08_levels", "lot_05")))

Do = Callable[..., Path]
pytestmark = pytest.mark.usefixtures("kept_in_file")


def runner(site: Path, folder: Path) -> Do:
    """What runs a step, the same on the same files once: what it wrote then is the file again."""
    made: dict[tuple[Any, ...], bytes] = {}

    def do(name: str, out: str, *, parameters: dict[str, str] | None = None, **files: Path) -> Path:
        asked = (name, *sorted((parameters or {}).items()), *((key, files[key].read_bytes()) for key in sorted(files)))
        if asked in made:
            (folder / out).write_bytes(made[asked])
            return folder / out
        module, _, function = OFFERED[name].partition(":")
        step = read_step(name, getattr(importlib.import_module(module), function), offered_by="lotshed")
        given = {key: StepFile(path) for key, path in {"site": site, **files}.items()}
        run_step(step, given, parameters or {}, folder / out, overwrite=True)
        made[asked] = (folder / out).read_bytes()
        return folder / out

    return do


@pytest.fixture(scope="module", params=LOTS)
def composed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, Do]:
    """Folder of `screen`, folder of the steps composed by hand, and what runs one more."""
    folder = tmp_path_factory.mktemp(request.param)
    site = SAMPLES / f"{request.param}.toml"
    if request.param == "small":
        site = write_small_lot(folder / "lot")
        site.write_text(site.read_text().replace("grounds = 1\n", "grounds = 5\n"))
    findings = screen_lot(site)
    write_lot(findings, folder / "screened")
    (folder / "screened.html").write_text(report_page(findings, made_on=pd.Timestamp.today().date()))
    do = runner(site, folder)
    ground = {"elevation": do("ground", "ground.tif")}
    do("flow-paths", "flow_paths.gpkg", **ground)
    lot = ground | {"low_spots": do("low-spots", "low.gpkg", **ground)}
    do("sub-catchments", "division.gpkg", **lot)
    do("troubles", "troubles.gpkg", **lot)
    do("fall-to-spare", "spare.gpkg", **lot)
    do("surface-works", "surface.gpkg", **lot)
    sited = lot | {"collectors": do("siting", "sited.gpkg", **lot)}
    lines = sited | {"lines": do("routing", "lines.gpkg", **sited)}
    do("runoff", "runoff.gpkg", **lines)
    do("standing-water", "standing.gpkg", **lines)
    do("outfall-check", "outfalls.gpkg", **lines)
    do("take-off", "take_off.csv", **lines, sized=do("sizing", "sized.gpkg", **lines))
    do("report", "report.html", low_spots=lot["low_spots"], collectors=sited["collectors"])
    return folder / "screened" / "lot.gpkg", folder, do


HELD = {
    "flow_paths": "flow_paths", "standing": "low_spots", "runoff": "sub_catchments runoff", "spare": "fall_to_spare",
    "lines": "pipe_runs sumps fittings", "sized": "catch_basins french_drains channel_drains",
    "outfalls": "outfalls outfall_moves level_shots hidden_culverts leaving", "surface": "surface_works",
}  # fmt: skip


def test_steps_by_hand_give_the_layers_of_screen(composed: tuple[Path, Path, Do]) -> None:
    screened, folder, _ = composed
    # the rest is as the site file gave it
    compared = {"parcel", "cautions", "run_info", "layer_styles", "take_off", *CONTEXT}
    for file, names in HELD.items():
        for name in names.split():
            same(read(screened, name), rounded(name, read(folder / f"{file}.gpkg", name), "us"))
            compared.add(name)
    assert compared == {name for name, _ in pyogrio.list_layers(screened)}, "every layer of screen comes from a step"
    priced = read(screened, "take_off")
    by_hand = rounded("take_off", pd.read_csv(folder / "take_off.csv"), "us")
    pd.testing.assert_frame_equal(by_hand, priced, check_dtype=False, rtol=1e-8)


def read(path: Path, layer: str) -> Any:
    return pyogrio.read_dataframe(path, layer=layer)


def same(expected: Any, found: Any) -> None:
    pd.testing.assert_frame_equal(plain(found), plain(expected), rtol=1e-6, atol=1e-9)
    if isinstance(expected, gpd.GeoDataFrame):
        assert found.crs == expected.crs
        assert len(expected) == 0 or found.geometry.geom_equals_exact(expected.geometry, 1e-6).all()


def plain(table: Any) -> pd.DataFrame:
    return pd.DataFrame(table.drop(columns="geometry", errors="ignore"))


def test_the_page_is_the_report_of_screen(composed: tuple[Path, Path, Do]) -> None:
    _, folder, _ = composed
    assert (folder / "report.html").read_text() == (folder / "screened.html").read_text()


def test_early_layers_agree_with_the_late_ones(composed: tuple[Path, Path, Do]) -> None:
    screened, folder, _ = composed
    found = read(folder / "low.gpkg", "low_spots").set_index("id").sort_index()
    expected = read(screened, "low_spots").set_index("id").sort_index()
    told = ["contained_in", "on_parcel", "enclosed", "within_lidar_error"]
    pd.testing.assert_frame_equal(pd.DataFrame(found[told]), pd.DataFrame(expected[told]))
    assert found.geometry.geom_equals_exact(expected.geometry, 1e-6).all()
    # the ground is divided without gap or overlap, before improvements as with them
    parts, later = (read(folder / f"{name}.gpkg", "sub_catchments") for name in ("division", "runoff"))
    assert parts.geometry.union_all().symmetric_difference(later.geometry.union_all()).area < 1e-6
    assert parts.area.sum() == pytest.approx(later.area.sum())
    assert len(read(folder / "troubles.gpkg", "troubles")) > 0


@pytest.fixture(scope="module", params=("small", pytest.param("lot_11", marks=pytest.mark.thorough)))
def edited(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Do]:
    """A pumped lot on one ground, whose files a person edits between the steps: its folder, and what runs a step."""
    held = tmp_path_factory.mktemp("samples") / "copy"
    if request.param == "small":
        site = write_small_lot(held, more=f'{SMALL_MORE}\n[layout]\nlift = "pump"\n')
    else:
        site = shutil.copytree(SAMPLES, held) / "one_ground.toml"
        text = (SAMPLES / f"{request.param}.toml").read_text()
        site.write_text(text.replace("[elevation]\n", "[elevation]\ngrounds = 1\n"))
    folder = tmp_path_factory.mktemp("edited")
    return folder, runner(site, folder)


def rewritten(path: Path, out: Path, **changed: Callable[[Any], Any]) -> Path:
    """The layers of a file, some of them changed, as another file: what a person does in a GIS."""
    for name, _ in pyogrio.list_layers(path):
        if name != "layer_styles":
            table = pyogrio.read_dataframe(path, layer=name)
            pyogrio.write_dataframe(changed.get(name, lambda each: each)(table), out, layer=name)
    return out


def test_a_ground_that_was_edited_is_what_later_steps_see(edited: tuple[Path, Do]) -> None:
    folder, do = edited
    with rasterio.open(do("ground", "ground.tif")) as file:
        heights, profile = file.read(1), file.profile
    with rasterio.open(folder / "raised.tif", "w", **profile) as file:
        file.write(np.where(heights == profile["nodata"], heights, heights + 1.0), 1)
        file.set_band_unit(1, "m")
    si = {"units": "si"}
    low, raised = (
        read(do("low-spots", f"{name}_low.gpkg", parameters=si, elevation=folder / f"{name}.tif"), "low_spots")
        for name in ("ground", "raised")
    )
    rise = raised["spill_elevation_m"] - low["spill_elevation_m"]
    assert rise.dropna().to_numpy() == pytest.approx(1.0, abs=1e-6)


def test_a_low_spot_struck_out_is_no_place(edited: tuple[Path, Do]) -> None:
    folder, do = edited
    low = do("low-spots", "low.gpkg")
    first = set(read(do("sub-catchments", "all.gpkg", low_spots=low), "sub_catchments")["drains_to"])
    gone = next(name for name in sorted(first) if name.startswith("low-"))
    left = rewritten(low, folder / "left.gpkg", low_spots=lambda table: table[table["id"] != gone])
    fewer = read(do("sub-catchments", "fewer.gpkg", low_spots=left), "sub_catchments")
    assert gone not in set(fewer["drains_to"])


def test_basins_moved_and_struck_out_change_the_lines(edited: tuple[Path, Do]) -> None:
    folder, do = edited
    sited = do("siting", "sited.gpkg")
    basins = read(sited, "catch_basins")
    moved = rewritten(
        sited, folder / "moved.gpkg",
        catch_basins=lambda table: table.set_geometry([translate(point, 0.0, 1.0) for point in table.geometry]),
    )
    lines = read(do("routing", "lines.gpkg", collectors=moved), "pipe_runs")
    starts = {row.from_id: row.geometry.coords[0][1] for row in lines.itertuples()}
    laid = [basin for basin in basins.itertuples() if basin.id in starts]
    assert laid
    for basin in laid:
        assert starts[basin.id] == pytest.approx(basin.geometry.y + 1.0, abs=1e-3)
    none = rewritten(
        sited, folder / "none.gpkg",
        **{name: lambda table: table.iloc[:0] for name in ("catch_basins", "french_drains", "channel_drains")},
    )
    assert len(read(do("routing", "no_lines.gpkg", collectors=none), "pipe_runs")) == 0


def test_a_run_struck_out_is_neither_built_nor_paid(edited: tuple[Path, Do]) -> None:
    folder, do = edited
    lines = do("routing", "lines.gpkg")
    kept = rewritten(lines, folder / "kept.gpkg", pipe_runs=lambda table: table.iloc[:0], sumps=lambda t: t.iloc[:0])
    assert len(pd.read_csv(do("take-off", "all.csv", lines=lines))) > 0
    assert len(pd.read_csv(do("take-off", "none.csv", lines=kept))) == 0
    assert len(read(do("sizing", "sized.gpkg", lines=kept), "catch_basins")) == 0
    after = read(do("standing-water", "after.gpkg", lines=kept), "low_spots")
    # nothing is built, so the water stands as it does on the lot as it is
    columns = [name for name in after if "_after" in name]
    assert columns
    for name in columns:
        pd.testing.assert_series_equal(after[name], after[name.replace("_after", "")], check_names=False)


def renumbered(table: Any) -> Any:
    return table.assign(id=[*list(table["id"])[1:], "low-999"])


def test_files_of_something_else_are_refused(edited: tuple[Path, Do]) -> None:
    folder, do = edited
    low, sited = do("low-spots", "low.gpkg"), do("siting", "sited.gpkg")
    with pytest.raises(StepError, match="lines hold none of the layers"):
        do("take-off", "x.csv", lines=low)
    deeper = do("low-spots", "deeper.gpkg", parameters={"min_depth": "2 in"})
    with pytest.raises(LayoutError, match="are not those of this ground and these rules"):
        do("troubles", "x.gpkg", low_spots=rewritten(deeper, folder / "other.gpkg", low_spots=renumbered))
    own = rewritten(sited, folder / "own.gpkg", catch_basins=lambda table: table.assign(id="mine"))
    with pytest.raises(LayoutError, match="mine of the file are not among what is sited here"):
        do("routing", "x.gpkg", collectors=own)
    lines = rewritten(do("routing", "lines.gpkg"), folder / "own_lines.gpkg", pipe_runs=lambda t: t.assign(id="run-99"))
    with pytest.raises(LayoutError, match="run-99 of the file are not among what is laid here"):
        do("take-off", "x.csv", lines=lines)
    with pytest.raises(StepError, match="hold none of the layers catch_basins"):
        do("routing", "x.gpkg", collectors=low)
    with pytest.raises(StepError, match="names its layers itself"):
        do("flow-paths", "x.gpkg", parcel=low)


def test_surfaces_and_rain_are_those_of_the_report(edited: tuple[Path, Do]) -> None:
    _, do = edited
    with rasterio.open(do("surfaces", "surfaces.tif")) as file:
        numbers = file.read(1)
        assert file.descriptions == ("curve number",)
    # TR-55 table 2-2a: roofs and paving 98, lawns less
    assert numbers.max() == 98
    assert numbers.min() >= 30
    rain = pd.read_csv(do("rain", "rain.csv", parameters={"units": "si"}))
    runoff = read(do("runoff", "runoff.gpkg", parameters={"units": "si"}), "runoff")
    assert rain["depth_mm"].sum() == pytest.approx(runoff["storm_depth_mm"].iloc[0])
    assert rain["time_min"].diff().dropna().nunique() == 1
