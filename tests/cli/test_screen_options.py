"""What the options of `lotshed screen` do on sample lots, as someone runs them."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

Run = Callable[..., Result]

SAMPLES = Path(__file__).parents[2] / "sample_data"
FILES = {"lot.gpkg", "runoff.csv", "summary.json", "report.html", "report.pdf", "appendix.pdf"}
ONE_GROUND = ("--grounds", "1")
"""What is tried here hangs on no odds."""


def test_json_is_summary_json_to_the_letter(run: Run, tmp_path: Path) -> None:
    result = run("screen", SAMPLES / "lot_06.toml", *ONE_GROUND, "--out", tmp_path / "lot", "--json", "--self-check")
    assert result.exit_code == 0, result.stderr
    assert result.stdout == (tmp_path / "lot" / "summary.json").read_text(encoding="utf-8")
    told = json.loads(result.stdout)
    assert told["name"] == "Claywick Hills, lot 6"
    assert {path.name for path in (tmp_path / "lot").iterdir()} >= FILES


def test_strict_lets_pass_what_is_sure(run: Run, tmp_path: Path) -> None:
    result = run("screen", SAMPLES / "lot_10.toml", *ONE_GROUND, "--out", tmp_path / "lot", "--strict", "--self-check")
    assert result.exit_code == 0, result.stderr
    assert result.stdout.startswith("Claywick Hills, lot 10: 10 yr, 24 h nested storm\n")
    assert "Caution " in result.stdout


def test_strict_is_3_where_a_verdict_is_not_sure_and_the_result_is_there(run: Run, tmp_path: Path) -> None:
    asked = ("--strict", "--self-check", "--json")
    result = run("screen", SAMPLES / "lot_08.toml", *ONE_GROUND, "--out", tmp_path / "lot", *asked)
    assert result.exit_code == 3, result.stderr
    verdicts = {line["verdict"] for line in json.loads(result.stdout)["discharges"]}
    assert "cannot_tell" in verdicts
    assert {path.name for path in (tmp_path / "lot").iterdir()} >= FILES


def test_a_self_check_that_fails_is_a_defect_and_leaves_nothing(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pipelines import lot

    monkeypatch.setattr(lot, "self_check", lambda drainage: ("3 cells are filled to another level",))
    result = run("screen", SAMPLES / "lot_only.toml", "--out", tmp_path / "lot", "--self-check")
    assert result.exit_code == 1
    assert "A defect of lotshed, not of your input" in result.stderr
    assert "3 cells are filled to another level" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_dry_run_says_what_it_would_do_and_writes_nothing(run: Run, tmp_path: Path) -> None:
    before = sorted(SAMPLES.iterdir())
    result = run("screen", SAMPLES / "lot_01.toml", "--out", tmp_path / "lot", "--dry-run")
    assert result.exit_code == 0, result.stderr
    for part in (
        "Claywick Hills, lot 1: all inputs can be read.",
        "cells 1.6 ft x 1.6 ft, heights in m (given), lidar error 3.9 in",
        "Roofs: [roofs] neighbourhood.gpkg, layer roofs", "Design storm:", "4.52 in",
        "Pump curve: as given", "Warning: ",
    ):  # fmt: skip
        assert part in result.stdout
    assert list(tmp_path.iterdir()) == []
    assert sorted(SAMPLES.iterdir()) == before
