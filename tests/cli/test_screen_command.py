import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from click.testing import Result

from pipelines.deliverables.findings.lot import Findings
from pipelines.layout.plan import Plan
from pipelines.layout.verdict_parts import NOTHING_NEEDED
from terrain.errors import LotshedError

Run = Callable[..., Result]
Put = Callable[[Any], None]

FILES = ["appendix.pdf", "lot.gpkg", "profiles.csv", "report.html", "report.pdf", "runoff.csv", "stakeout.csv",
         "summary.json"]  # fmt: skip


def _names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_the_answer_is_on_stdout_and_the_files_are_there(
    run: Run, lot_that_finds: Put, findings: Findings, tmp_path: Path
) -> None:
    lot_that_finds(findings)
    result = run("screen", "site.toml", "--out", tmp_path / "lot", "--full")
    assert result.exit_code == 0
    for told in (
        "Lot 7: Roof water leaves by gravity; the patio is pumped.",
        "and 1,076 ft² of run-on from outside (14 % of it)",
        "low-1: 3.9 in deep over up to 323 ft², for 26 h; with the improvements it drains. It lies on a patio.",
        "basin-1, a catch basin with a 12 in grate for 48 gpm.",
        "basin-1: pumped to out-1: sure (lift 3.9 ft)",
        "cannot be judged from this lidar (fall to spare 2.0 in",
        "Pumped, chosen: 900 to 2,100, likely 1,400",
        "Over the north edge: peak before 32 gpm",
        "Clean the gutters.",
        "No soil was given",
        "Call before you dig.",
    ):
        assert told in " ".join(result.stdout.split())
    assert "compiling, first run only" in result.stderr
    assert f"Written to {tmp_path / 'lot'}" in result.stderr
    assert "reading" not in result.stderr
    assert _names(tmp_path / "lot") == FILES


def test_by_default_a_glance_is_on_stdout_and_where_the_files_are(
    run: Run, lot_that_finds: Put, findings: Findings, tmp_path: Path
) -> None:
    lot_that_finds(findings)
    result = run("screen", "site.toml", "--out", tmp_path / "lot")
    lines = result.stdout.splitlines()
    assert len(lines) <= 25
    assert lines[0] == "Lot 7"
    text = " ".join(result.stdout.split())
    for told in (
        "It is surface water: sure; enough fall, and the pump copes: sure; outfall takes it: cannot be judged; "
        "ends the trouble: no.",
        "basin-1, a catch basin with a 12 in grate for 48 gpm.", "900 to 2,100, likely 1,400",
        "Call before you dig.",
    ):  # fmt: skip
        assert told in text
    assert f"in{tmp_path / 'lot'}" in "".join(result.stdout.split())
    assert "Over the north edge" not in text


def test_quiet_says_only_the_result_and_verbose_says_each_stage(
    run: Run, lot_that_finds: Put, findings: Findings, tmp_path: Path
) -> None:
    lot_that_finds(findings)
    assert run("screen", "-q", "site.toml", "--out", tmp_path / "quiet").stderr == ""
    assert "reading" in run("screen", "-v", "site.toml", "--out", tmp_path / "verbose").stderr


def test_json_is_the_summary_and_nothing_else(
    run: Run, lot_that_finds: Put, findings: Findings, tmp_path: Path
) -> None:
    lot_that_finds(findings)
    result = run("screen", "--json", "site.toml", "--out", tmp_path / "lot")
    assert json.loads(result.stdout) == json.loads((tmp_path / "lot" / "summary.json").read_text())


def test_sections_without_content_are_not_there(
    run: Run, lot_that_finds: Put, findings: Findings, tmp_path: Path
) -> None:
    lot_that_finds(replace(findings, plan=Plan("Nothing to build.", NOTHING_NEEDED), warnings=(), low_spots=()))
    text = run("screen", "site.toml", "--out", tmp_path / "lot", "--full").stdout
    assert "No water worth a line stands on the lot" in text
    for title in ("Which ways were compared", "Assumed, missing", "What costs little", "Refer"):
        assert title not in text


def test_metric_units_are_told_in_metres(run: Run, lot_that_finds: Put, findings: Findings, tmp_path: Path) -> None:
    lot_that_finds(replace(findings, units="si"))
    text = " ".join(run("screen", "site.toml", "--out", tmp_path / "lot", "--full").stdout.split())
    assert "the lot 600 m²" in text
    assert "10 cm deep over up to 30 m², for 26 h" in text
    assert " ft" not in text.replace("out-1 ft", "")


def test_a_name_is_shown_and_not_read_as_markup(
    run: Run, lot_that_finds: Put, findings: Findings, tmp_path: Path
) -> None:
    lot_that_finds(replace(findings, name="[red]<b>=1+1"))
    assert run("screen", "site.toml", "--out", tmp_path / "lot").stdout.startswith("[red]<b>=1+1\n")


def test_strict_exits_with_3_where_a_verdict_is_not_sure(
    run: Run, lot_that_finds: Put, findings: Findings, tmp_path: Path
) -> None:
    lot_that_finds(findings)
    assert run("screen", "--strict", "site.toml", "--out", tmp_path / "open").exit_code == 3
    assert _names(tmp_path / "open") == FILES
    sure = replace(findings.plan, parts=NOTHING_NEEDED)
    lot_that_finds(replace(findings, plan=sure))
    assert run("screen", "--strict", "site.toml", "--out", tmp_path / "sure").exit_code == 0


def test_a_dry_run_prints_the_plan_and_writes_nothing(
    run: Run, lot_that_finds: Put, findings: Findings, tmp_path: Path
) -> None:
    lot_that_finds(findings)
    result = run("screen", "--dry-run", "site.toml", "--out", tmp_path / "lot")
    assert result.stdout == "plan for site.toml\n"
    assert run("screen", "--dry-run", "site.toml").exit_code == 0
    assert _names(tmp_path) == []
    (tmp_path / "lot").write_text("a file")
    assert run("screen", "--dry-run", "site.toml", "--out", tmp_path / "lot").exit_code == 2


def test_an_earlier_result_needs_overwrite_and_survives_a_failure(
    run: Run, lot_that_finds: Put, findings: Findings, tmp_path: Path
) -> None:
    lot_that_finds(findings)
    run("screen", "site.toml", "--out", tmp_path / "lot")
    before = (tmp_path / "lot" / "lot.gpkg").read_bytes()
    refused = run("screen", "site.toml", "--out", tmp_path / "lot")
    assert refused.exit_code == 2
    assert "--overwrite" in refused.stderr
    lot_that_finds(LotshedError("torn"))
    assert run("screen", "--overwrite", "site.toml", "--out", tmp_path / "lot").exit_code == 2
    assert (tmp_path / "lot" / "lot.gpkg").read_bytes() == before
    lot_that_finds(replace(findings, name="Lot 8"))
    assert run("screen", "--overwrite", "site.toml", "--out", tmp_path / "lot").exit_code == 0
    assert json.loads((tmp_path / "lot" / "summary.json").read_text())["name"] == "Lot 8"


def test_the_place_is_checked_before_the_work(run: Run, lot_that_finds: Put, tmp_path: Path) -> None:
    lot_that_finds(AssertionError("the work was begun"))
    (tmp_path / "file").write_text("mine")
    for place in (tmp_path / "file", tmp_path / "file" / "lot"):
        result = run("screen", "site.toml", "--out", place)
        assert result.exit_code == 2
        assert "is a file" in result.stderr


def test_a_missing_out_is_a_usage_error(run: Run, lot_that_finds: Put, findings: Findings) -> None:
    lot_that_finds(findings)
    result = run("screen", "--json", "site.toml")
    assert result.exit_code == 2
    assert "Missing option '--out DIR'" in result.stderr


def test_also_geojson_is_written_and_listed(
    run: Callable[..., Result], lot_that_finds: Callable[[Any], None], findings: Findings, tmp_path: Path
) -> None:
    lot_that_finds(findings)
    result = run("screen", "site.toml", "--out", tmp_path / "lot", "--also", "geojson", "--full")
    assert result.exit_code == 0
    assert "lot.geojson" in result.stderr
    collection = json.loads((tmp_path / "lot" / "lot.geojson").read_text(encoding="utf-8"))
    assert collection["type"] == "FeatureCollection"
    # a later run may replace it, since run_info lists it
    assert run("screen", "site.toml", "--out", tmp_path / "lot", "--overwrite").exit_code == 0
    assert not (tmp_path / "lot" / "lot.geojson").exists()
