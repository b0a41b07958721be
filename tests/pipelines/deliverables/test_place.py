import json
import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.files import place
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.handover import write_lot, write_text
from tests.pipelines.deliverables.conftest import make_findings

FILES = ["lot.gpkg", "runoff.csv", "summary.json"]


def _names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def _is_whole(folder: Path) -> bool:
    if _names(folder) != FILES:
        return False
    json.loads((folder / "summary.json").read_text())
    connection = sqlite3.connect(folder / "lot.gpkg")
    (state,) = connection.execute("PRAGMA integrity_check").fetchone()
    connection.close()
    return state == "ok"


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A result of the made-up lot, to begin with a copy of it."""
    folder = tmp_path_factory.mktemp("written") / "lot"
    write_lot(make_findings(), folder)
    return folder


@pytest.fixture
def lot(written: Path, tmp_path: Path) -> Path:
    """A result that stands there before."""
    return shutil.copytree(written, tmp_path / "lot")


def test_a_new_folder_and_its_parents_are_made(tmp_path: Path, findings: Findings) -> None:
    write_lot(findings, tmp_path / "street" / "lot")
    assert _is_whole(tmp_path / "street" / "lot")
    assert _names(tmp_path / "street") == ["lot"]


def test_an_empty_folder_is_taken(tmp_path: Path, findings: Findings) -> None:
    (tmp_path / "lot").mkdir()
    write_lot(findings, tmp_path / "lot")
    assert _is_whole(tmp_path / "lot")


def test_what_a_gis_left_beside_a_raster_is_no_stranger(tmp_path: Path, findings: Findings) -> None:
    out = tmp_path / "lot"
    raster = {"spare.tif": lambda path: write_text(path, "cells")}
    write_lot(findings, out, extra_files=raster)
    (out / "spare.tif.aux.xml").write_text("<PAMDataset/>")
    write_lot(findings, out, extra_files=raster, overwrite=True)
    assert _names(out) == sorted([*FILES, "spare.tif"])
    (out / "mine.tif.aux.xml").write_text("<PAMDataset/>")
    with pytest.raises(HandoverError, match=r"holds mine.tif.aux.xml, which is no result of lotshed"):
        write_lot(findings, out, extra_files=raster, overwrite=True)


def test_an_earlier_result_is_refused_and_replaced_on_request(
    tmp_path: Path, lot: Path, findings: Findings, findings_with: Callable[..., Findings]
) -> None:
    before = (tmp_path / "lot" / "lot.gpkg").read_bytes()
    told = r"holds an earlier result \(lot.gpkg, runoff.csv, summary.json\).*--overwrite"
    with pytest.raises(HandoverError, match=told):
        write_lot(findings, tmp_path / "lot")
    assert (tmp_path / "lot" / "lot.gpkg").read_bytes() == before
    write_lot(findings_with(name="Lot 8"), tmp_path / "lot", overwrite=True)
    assert json.loads((tmp_path / "lot" / "summary.json").read_text())["name"] == "Lot 8"
    assert _names(tmp_path) == ["lot"]


@pytest.mark.parametrize("stranger", ["notes.txt", ".hidden", "photos/1.jpg"])
def test_a_folder_with_anything_else_is_refused_even_with_overwrite(
    tmp_path: Path, lot: Path, findings: Findings, stranger: str
) -> None:
    (tmp_path / "lot" / stranger).parent.mkdir(exist_ok=True)
    (tmp_path / "lot" / stranger).write_text("mine")
    with pytest.raises(HandoverError, match=f"holds {re.escape(stranger)}, which is no result"):
        write_lot(findings, tmp_path / "lot", overwrite=True)
    assert (tmp_path / "lot" / stranger).read_text() == "mine"


def test_a_geopackage_that_is_not_ours_is_a_stranger(tmp_path: Path, findings: Findings) -> None:
    (tmp_path / "lot").mkdir()
    connection = sqlite3.connect(tmp_path / "lot" / "lot.gpkg")
    connection.execute("CREATE TABLE run_info (key TEXT, value TEXT)")
    connection.execute("INSERT INTO run_info VALUES ('outputs', 'lot.gpkg')")
    connection.commit()
    connection.close()
    with pytest.raises(HandoverError, match=r"holds lot.gpkg, which is no result"):
        write_lot(findings, tmp_path / "lot", overwrite=True)


def test_a_torn_result_is_a_stranger(tmp_path: Path, lot: Path, findings: Findings) -> None:
    (tmp_path / "lot" / "lot.gpkg").write_bytes(b"not a database at all" * 100)
    with pytest.raises(HandoverError, match=r"holds lot.gpkg and 2 more"):
        write_lot(findings, tmp_path / "lot", overwrite=True)


def test_a_result_that_is_open_elsewhere_is_left_alone(tmp_path: Path, lot: Path, findings: Findings) -> None:
    (tmp_path / "lot" / "lot.gpkg-wal").write_bytes(b"")
    with pytest.raises(HandoverError, match="is open in another program"):
        write_lot(findings, tmp_path / "lot", overwrite=True)


def test_a_file_in_the_way_is_named(tmp_path: Path, findings: Findings) -> None:
    (tmp_path / "file").write_text("mine")
    with pytest.raises(HandoverError, match=r"file is a file. Give a folder"):
        write_lot(findings, tmp_path / "file", overwrite=True)
    with pytest.raises(HandoverError, match="file is a file, not a folder"):
        write_lot(findings, tmp_path / "file" / "lot", overwrite=True)
    with pytest.raises(HandoverError, match="file is a file, not a folder"):
        write_lot(findings, tmp_path / "file" / "deep" / "lot", overwrite=True)
    assert (tmp_path / "file").read_text() == "mine"


def test_a_folder_without_permission_is_named(
    tmp_path: Path, findings: Findings, monkeypatch: pytest.MonkeyPatch
) -> None:
    # root can write anywhere, so the answer of the system is made up
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    with pytest.raises(HandoverError, match="you may not write in"):
        write_lot(findings, tmp_path / "lot")


def test_the_folder_one_stands_in_is_refused(
    tmp_path: Path, findings: Findings, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "lot").mkdir()
    monkeypatch.chdir(tmp_path / "lot")
    with pytest.raises(HandoverError, match="you stand in it"):
        write_lot(findings, Path("."))


def test_a_folder_reached_by_a_link_is_replaced_where_it_lies(tmp_path: Path, findings: Findings) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    write_lot(findings, tmp_path / "link")
    assert (tmp_path / "link").is_symlink()
    assert _is_whole(tmp_path / "real")


def test_a_failed_run_leaves_the_earlier_result_and_no_litter(tmp_path: Path, lot: Path, findings: Findings) -> None:
    before = (tmp_path / "lot" / "lot.gpkg").read_bytes()

    def fail(path: Path) -> None:
        write_text(path, "half")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_lot(findings, tmp_path / "lot", overwrite=True, extra_files={"report.html": fail})
    assert (tmp_path / "lot" / "lot.gpkg").read_bytes() == before
    assert _names(tmp_path) == ["lot"]


def test_further_files_are_listed_and_so_replaced_next_time(tmp_path: Path, findings: Findings) -> None:
    further = {"plots/profile.csv": lambda path: write_text(path, "x\n")}
    write_lot(findings, tmp_path / "lot", extra_files=further)
    assert (tmp_path / "lot" / "plots" / "profile.csv").read_text() == "x\n"
    write_lot(findings, tmp_path / "lot", overwrite=True)
    assert _names(tmp_path / "lot") == FILES


def test_a_swap_cut_short_is_mended_at_the_next_start(tmp_path: Path, lot: Path) -> None:
    os.rename(tmp_path / "lot", tmp_path / ".lot.replaced")
    shutil.copytree(tmp_path / ".lot.replaced", tmp_path / ".lot.building-999999999")
    with pytest.raises(HandoverError, match="holds an earlier result"):
        place.prepare_place(tmp_path / "lot", overwrite=False)
    assert _is_whole(tmp_path / "lot")
    assert _names(tmp_path) == ["lot"]


def test_what_was_replaced_is_cleared_away_at_the_next_start(tmp_path: Path, lot: Path) -> None:
    shutil.copytree(tmp_path / "lot", tmp_path / ".lot.replaced")
    place.prepare_place(tmp_path / "lot", overwrite=True)
    assert _names(tmp_path) == ["lot"]


def test_a_result_that_another_run_is_building_is_left_alone(tmp_path: Path, findings: Findings) -> None:
    building = tmp_path / f".lot.building-{os.getppid()}-x"
    building.mkdir()
    held = place._hold(building)
    assert held is not None
    write_lot(findings, tmp_path / "lot")
    assert building.is_dir()
    # its process lives on, but nobody builds in it any more
    place._let_go(held)
    write_lot(findings, tmp_path / "lot", overwrite=True)
    assert not building.exists()


def test_the_check_alone_touches_nothing(tmp_path: Path, lot: Path) -> None:
    os.rename(tmp_path / "lot", tmp_path / ".lot.replaced")
    place.check_place(tmp_path / "lot", overwrite=False)
    assert _names(tmp_path) == [".lot.replaced"]


WRITER = textwrap.dedent("""
    import importlib.util, sys
    from pathlib import Path
    spec = importlib.util.spec_from_file_location("made_lot", sys.argv[1])
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    from pipelines.deliverables.lot.handover import write_lot
    findings = made.make_findings()
    print("ready", flush=True)
    while True:
        write_lot(findings, Path(sys.argv[2]), overwrite=True)
""")


def _kill_while_writing(folder: Path, delays: list[float]) -> None:
    for delay in delays:
        process = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(Path(__file__).with_name("conftest.py")), str(folder)],
            stdout=subprocess.PIPE,
        )
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(delay)
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        before_mending = folder.is_dir()
        place.prepare_place(folder, overwrite=True)
        assert not before_mending or folder.is_dir()
        assert not folder.exists() or _is_whole(folder)
        assert _names(folder.parent) in ([folder.name], [])


def test_a_killed_run_leaves_the_earlier_result_or_none(tmp_path: Path) -> None:
    _kill_while_writing(tmp_path / "lot", [0.05, 0.5])


@pytest.mark.thorough
def test_runs_killed_at_many_moments_leave_the_earlier_result_or_none(tmp_path: Path) -> None:
    _kill_while_writing(tmp_path / "lot", [0.02 + 0.013 * number for number in range(40)])
