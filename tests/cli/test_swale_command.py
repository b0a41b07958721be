"""lotshed swale, as someone runs it."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipelines import swale
from tests.screened_samples import checked

SAMPLE = Path(__file__).parents[2] / "sample_data" / "swale.toml"


def run(*arguments):
    from cli.main import app

    return CliRunner().invoke(app, ["swale", *map(str, arguments)])


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    out = tmp_path_factory.mktemp("swale") / "out"
    return run(SAMPLE, "--out", out, "--full"), out


def test_it_answers_in_words_with_units(done):
    result, out = done
    assert result.exit_code == 0, result.stderr
    for part in ("north swale", "south swale", "Reaches", "against the slope", "suspected", "Cautions"):
        assert part in result.stdout
    assert "Written to" in result.stderr
    assert (out / "swale.gpkg").exists()


def test_by_default_it_answers_at_a_glance(tmp_path, monkeypatch):
    # what the check finds is known; how it is told is asked here
    monkeypatch.setattr(swale, "check_swale", lambda *_, **__: checked("swale"))
    result = run(SAMPLE, "--out", tmp_path / "out")
    assert result.exit_code == 0, result.stderr
    lines = result.stdout.splitlines()
    assert len(lines) <= 25
    assert max(map(len, lines)) <= 80
    text = " ".join(result.stdout.split())
    for told in ("south swale holds water in the 1-year storm", "cut-2.5: dig", "1. reach-2.5", "swale.gpkg",
                 "nobody re-cuts it without that", "Call for marks before you dig"):  # fmt: skip
        assert told in text


def test_json_with_a_what_if_and_strict(done, tmp_path):
    _, out = done
    result = run(
        SAMPLE, "--out", tmp_path / "out", "--json", "-q", "--strict", "--add-discharge", "60 gpm",
        "--at", "711930,3319997",
    )  # fmt: skip
    # a verdict fails on the sample street
    assert result.exit_code == 3
    assert result.stderr == ""
    summary = json.loads(result.stdout)
    assert summary == json.loads((tmp_path / "out" / "summary.json").read_text())
    (added,) = summary["discharges"]
    assert added["flow_m3s"] == pytest.approx(60 * 231 * 0.0254**3 / 60)
    assert added["swale"] == "swale-2"
    before = json.loads((out / "summary.json").read_text())
    assert before["discharges"] == []
    assert summary["swales"][1]["peak_flow_m3s"] == pytest.approx(
        before["swales"][1]["peak_flow_m3s"] + added["flow_m3s"], rel=1e-6
    )


def test_dry_run_writes_nothing(tmp_path):
    result = run(SAMPLE, "--dry-run", "--out", tmp_path / "out")
    assert result.exit_code == 0
    assert "check 2 swales on ground.tif" in result.stdout
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([SAMPLE], "Missing option '--out DIR'"),
        ([SAMPLE, "--out", "x", "--add-discharge", "60 gpm"], "give one place for each discharge"),
        ([SAMPLE, "--out", "x", "--add-discharge", "60 gpm", "--at", "here"], "easting and northing with a comma"),
        ([SAMPLE, "--out", "x", "--add-discharge", "60", "--at", "1,2"], "add-discharge"),
        (["no_such.toml", "--out", "x"], "does not exist"),
        ([SAMPLE, "--out", "x", "--lots", "no_such_folder"], r"holds lot.gpkg"),
    ],
)
def test_bad_input_is_one_message_and_exit_2(tmp_path, monkeypatch, arguments, says):
    monkeypatch.chdir(tmp_path)
    result = run(*arguments)
    assert result.exit_code == 2
    assert says in result.stderr
    assert "Traceback" not in result.output
    assert not (tmp_path / "x").exists()


def test_help_says_which_units_and_ends_with_an_example():
    result = run("--help")
    assert result.exit_code == 0
    assert "raster's CRS" in result.stdout
    assert "lotshed swale sample_data/swale.toml" in result.stdout
