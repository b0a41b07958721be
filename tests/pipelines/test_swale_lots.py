"""Lots' discharges on a swale: read back from their results, added one by one."""

import json

import numpy as np
import pytest
from pyproj import CRS
from shapely import LineString, Point, box

from pipelines.deliverables.files.geopackage import write_geopackage
from pipelines.deliverables.files.layer_table import empty_layer, make_layer
from pipelines.deliverables.files.layer_table import layers as layer_table
from pipelines.deliverables.words.say import say
from pipelines.inputs.errors import InputFileError
from pipelines.inputs.lot_results import read_lot_results
from pipelines.swale import check_swale
from terrain.grid import Frame
from terrain.reason import reason

UTM = CRS.from_epsg(32617)
FRAME = Frame(UTM, 1.0, 1.0, 1.0)
X0, Y0 = 500_000.0, 3_300_000.0


def trapezoid(t):
    return np.clip((np.abs(t) - 0.5) / 2.5, 0.0, 0.5) + 0.02 * np.maximum(np.abs(t) - 1.75, 0.0)


def write_lot(folder, x, flow, *, pumped=False, units="us", piped=None):
    """A lot's result with one outlet into the swale: a 4 in gravity run, or a pump's pressure run."""
    folder.mkdir(parents=True)
    tables = {
        name: empty_layer(name, units, crs=UTM)
        for name in ("outfalls", "pipe_runs", "sumps", "sub_catchments", "catch_basins", "french_drains", "parcel")
    }

    def fill(name, shape, **given):
        values = {column.name: [given.get(column.name)] for column in layer_table()[name].columns}
        tables[name] = make_layer(name, units, crs=UTM, geometry=[shape], **values)

    fill("outfalls", Point(x, Y0 + 0.6), id="O1", kind="swale", verified=True)
    fill("catch_basins", Point(x, Y0 + 15.0), id="B1", drains_to="P1")
    line = LineString([(x, Y0 + 15.0, 100.9), (x, Y0 + 0.6, 100.25)])
    kind = "pressure" if pumped else "gravity"
    source = "M1" if pumped else "B1"
    fill("pipe_runs", line, id="P1", kind=kind, from_id=source, to_id="O1", size="4 in SDR-35", peak_flow=flow)
    if pumped:
        fill("sumps", Point(x, Y0 + 15.0), id="M1", drains_to="P1", operating_flow=flow)
    if piped is not None:
        fill("sub_catchments", piped, id="C1", drains_to="B1", run_on=False)
    write_geopackage(folder / "lot.gpkg", tables, crs=UTM, units=units)


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("pumped", [False, True])
def test_an_outlet_is_read_back_in_si(tmp_path, units, pumped):
    write_lot(tmp_path / "lot", X0, 0.005, pumped=pumped, units=units)
    (lot,) = read_lot_results(tmp_path / "lot", FRAME)
    (outlet,) = lot.outlets
    assert (outlet.id, outlet.kind, outlet.pumped) == ("lot/O1", "swale", pumped)
    assert outlet.flow == pytest.approx(0.005, rel=1e-6)
    assert (outlet.point.x, outlet.point.y) == pytest.approx((X0, Y0 + 0.6))
    if not pumped:
        assert outlet.line.coords[-1] == pytest.approx((X0, Y0 + 0.6, 100.25), abs=1e-6)
        assert outlet.size.startswith("4 in")


def test_lots_are_read_in_the_order_of_their_numbers(tmp_path):
    for number in (10, 2, 1):
        write_lot(tmp_path / f"lot_{number}", X0, 0.001)
    assert [lot.name for lot in read_lot_results(tmp_path, FRAME)] == ["lot_1", "lot_2", "lot_10"]


def test_folders_without_results_and_torn_ones_are_told(tmp_path):
    with pytest.raises(InputFileError, match=r"holds lot\.gpkg; give the --out folder"):
        read_lot_results(tmp_path, FRAME)
    (tmp_path / "lot").mkdir()
    (tmp_path / "lot" / "lot.gpkg").write_text("nothing")
    with pytest.raises(InputFileError, match="it is no result of a lot"):
        read_lot_results(tmp_path, FRAME)


def test_at_which_lot_the_swale_is_full(swale_files, tmp_path):
    lots = tmp_path / "lots"
    for number in range(1, 6):
        write_lot(lots / f"lot_{number}", X0 - 40.0 + 10.0 * number, 0.3)
    found = check_swale(swale_files(trapezoid), lots=lots).swales[0]
    sums = found.lot_sums
    assert [each.lot for each in sums] == ["", "lot_1", "lot_2", "lot_3", "lot_4", "lot_5"]
    assert sums[3].total == pytest.approx(0.9)
    assert (np.diff([each.peak for each in sums]) > 0.1).all()
    assert (np.diff([each.room for each in sums]) < 0.0).all()
    full = next(each.lot for each in sums if each.full)
    assert found.full_at == full
    assert full not in ("", "lot_1")
    # the last sum is the check itself
    assert sums[-1].peak == pytest.approx(float(found.flow.peak[-1]))


def test_piped_ground_is_not_counted_twice(swale_files, tmp_path):
    ground = box(X0 - 30.0, Y0 + 5.0, X0 + 30.0, Y0 + 20.0)
    write_lot(tmp_path / "plain" / "lot_1", X0, 0.005)
    write_lot(tmp_path / "piped" / "lot_1", X0, 0.005, piped=ground)
    path = swale_files(trapezoid)
    plain = check_swale(path, lots=tmp_path / "plain").swales[0]
    piped = check_swale(path, lots=tmp_path / "piped").swales[0]
    assert plain.ground.total.sum() - piped.ground.total.sum() == pytest.approx(ground.area, rel=0.05)
    assert piped.flow.volume[-1] < plain.flow.volume[-1]


def test_a_site_file_names_folders_of_lots(swale_files, tmp_path):
    write_lot(tmp_path / "lots" / "lot_1", X0, 0.005)
    findings = check_swale(swale_files(trapezoid, settings='discharges = "../lots"'))
    assert [each.id for each in findings.discharges] == ["lot_1/O1"]
    assert reason("swale_lots_at_peak") in findings.warnings


def test_an_outlet_counts_within_the_reach_that_the_rules_give(swale_files, tmp_path):
    write_lot(tmp_path / "lots" / "lot_1", X0, 0.005)
    settings = 'discharges = "../lots"\n[rules]\nswale_lot_outlet_near = "1 ft"'
    assert check_swale(swale_files(trapezoid, settings=settings)).discharges == ()


def test_what_the_swale_does_to_the_line_behind(swale_files, tmp_path):
    write_lot(tmp_path / "lots" / "lot_1", X0, 0.008)
    (outlet,) = check_swale(swale_files(trapezoid), lots=tmp_path / "lots").swales[0].outlets
    assert outlet.tailwater.state == "free"
    assert outlet.behind.lost == 0.0
    # a downstream level above its crown drowns it always
    path = swale_files(trapezoid, settings='downstream_level = "100.6 m"', name="drowned")
    (outlet,) = check_swale(path, lots=tmp_path / "lots").swales[0].outlets
    assert outlet.tailwater.state == "always"
    assert outlet.behind.lost > 0.05
    assert outlet.behind.level_up > 100.6
    assert "the line behind it loses" in say(outlet.verdict.why, "us")


def test_a_result_can_be_read_by_scripts(swale_files, tmp_path):
    from pipelines.deliverables.files.text_file import summary_text
    from pipelines.deliverables.swale.summary import swale_summary

    write_lot(tmp_path / "lots" / "lot_1", X0, 0.005)
    summary = json.loads(summary_text(swale_summary(check_swale(swale_files(trapezoid), lots=tmp_path / "lots"))))
    (swale,) = summary["swales"]
    assert summary["discharges"][0]["flow_m3s"] == pytest.approx(0.005, rel=1e-6)
    assert swale["lot_sums"][1]["lot"] == "lot_1"
    assert swale["outlets"][0]["tailwater"] == "free"


def test_an_outlet_that_a_lot_laid_stands_for_the_outfall_given_there(swale_files, tmp_path):
    write_lot(tmp_path / "lots" / "lot_1", X0, 0.005)
    path = swale_files(trapezoid, outfalls=[((0.0, 0.5), "100.2 m"), ((30.0, 0.5), "100 m")])
    outlets = check_swale(path, lots=tmp_path / "lots").swales[0].outlets
    assert [each.outlet.id for each in outlets] == ["lot_1/O1", "outfall 2"]
