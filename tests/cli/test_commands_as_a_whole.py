import importlib
import io
import json
import os
import re
import shlex
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import Result
from pandas import DataFrame

from cli.main import COMMANDS, app
from cli.voice import Voice
from pipelines.steps.registry import load_step
from terrain.errors import LotshedError

README = Path(__file__).parents[2] / "README.md"
HEAVY = ("numpy", "numba", "pandas", "rasterio", "scipy", "geopandas", "matplotlib", "pysheds", "pydantic", "rich")

Run = Callable[..., Result]


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_has_help_that_ends_with_an_example(name: str, run: Run) -> None:
    result = run(name, "--help")
    assert result.exit_code == 0
    body = result.stdout.split("Options:")[0].split("Commands:")[0].rstrip()
    assert re.search(rf"Example:\n\s+lotshed {name}.*\Z", body, flags=re.S)
    assert run("--help").stdout.count(f"  {name} ") >= 1


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_is_in_the_readme(name: str) -> None:
    assert f"lotshed {name}" in README.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_the_same_option_means_the_same_everywhere(name: str) -> None:
    command = app.get_command(click.Context(app), name)
    assert command is not None
    options = {option for parameter in command.params for option in parameter.opts}
    if not isinstance(command, click.Group):
        assert {"-q", "-v", "--debug"} <= options
    if "--out" in options:
        assert "--overwrite" in options


@pytest.mark.parametrize(
    ("command", "kind"),
    [
        ("screen site.toml --out taken", "holds an earlier result"),
        ("screen site.toml --out taken --dry-run", "holds an earlier result"),
        ("swale site.toml --out taken", "holds an earlier result"),
        ("town town.toml --out taken", "holds an earlier result"),
        ("start ground.tif parcel.gpkg --out taken.toml", "exists"),
        ("trace site.toml --out taken.html", "exists"),
        ("gis-plugin --out taken.zip", "exists"),
        ("pump --curve c.csv --static-lift 8ft --pipe 2in --length 9ft --plot taken.png", "exists"),
        ("step low-spots --elevation ground.tif -q --out taken.gpkg", "exists"),
        ("step sizing --site site.toml --out=taken.csv", "exists"),
    ],
)
def test_a_place_that_is_taken_is_refused_before_anything_heavy_is_imported(
    command: str, kind: str, tmp_path: Path
) -> None:
    (tmp_path / "taken").mkdir()
    with sqlite3.connect(tmp_path / "taken" / "lot.gpkg") as connection:
        connection.execute("CREATE TABLE run_info (key TEXT, value TEXT)")
        connection.execute("INSERT INTO run_info VALUES ('program', 'lotshed'), ('outputs', 'lot.gpkg')")
    connection.close()
    for ending in ("toml", "html", "zip", "png", "gpkg", "csv"):
        (tmp_path / f"taken.{ending}").touch()
    code = (
        f"import sys; sys.path.insert(0, {str(README.parent)!r})\n"
        "from cli.main import app\n"
        f"try: app({shlex.split(command)!r}, prog_name='lotshed')\n"
        "except SystemExit as end: assert end.code == 2, end.code\n"
        f"print(sorted(set(sys.modules) & set({HEAVY!r})))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.stdout.strip() == "[]", done.stderr
    assert kind in done.stderr


def test_help_and_version_answer_at_once_and_import_nothing_heavy() -> None:
    code = (
        "import sys, time; start = time.perf_counter()\n"
        "from cli.main import app\n"
        "for option in ('--version', '--help'):\n"
        "    try: app([option], prog_name='lotshed')\n"
        "    except SystemExit as end: assert end.code == 0\n"
        "took = time.perf_counter() - start\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules], took)\n"
    )
    best = 9.0
    for _ in range(2):
        start = time.perf_counter()
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        best = min(best, time.perf_counter() - start)
    loaded, _ = done.stdout.splitlines()[-1].rsplit(" ", 1)
    assert loaded == "[]"
    assert done.stdout.startswith("lotshed ")
    # both answers and the interpreter's own start together; one answer may take 0.3 s
    assert best < 0.6


def test_an_unknown_command_or_option_is_a_usage_error(run: Run) -> None:
    for arguments in (["scren"], ["screen", "--wrong"], ["screen"], ["screen", "a.toml", "b.toml"]):
        result = run(*arguments)
        assert result.exit_code == 2
        assert "Error:" in result.stderr
        assert result.stdout == ""


@pytest.mark.parametrize(
    ("outcome", "code", "told"),
    [
        (LotshedError("ground.tif is torn. Copy it again."), 2, "Error: ground.tif is torn. Copy it again.\n"),
        (KeyboardInterrupt(), 130, "Interrupted"),
        (ZeroDivisionError("oh"), 1, "A defect of lotshed, not of your input: ZeroDivisionError: oh\nPlease report it"),
    ],
)
def test_exit_codes_and_one_message_without_traceback(
    run: Run, lot_that_finds: Callable[[Any], None], tmp_path: Path, outcome: BaseException, code: int, told: str
) -> None:
    lot_that_finds(outcome)
    result = run("screen", "-q", "site.toml", "--out", tmp_path / "lot")
    assert result.exit_code == code
    assert told in result.stderr
    assert "Traceback" not in result.stderr
    assert result.stdout == ""
    assert list(tmp_path.iterdir()) == []


def test_debug_shows_the_traceback_of_a_defect_only(
    run: Run, lot_that_finds: Callable[[Any], None], tmp_path: Path
) -> None:
    lot_that_finds(ZeroDivisionError("oh"))
    assert "Traceback" in run("screen", "--debug", "site.toml", "--out", tmp_path / "lot").stderr
    lot_that_finds(LotshedError("torn"))
    assert "Traceback" not in run("screen", "--debug", "site.toml", "--out", tmp_path / "lot").stderr


def test_steps_lists_what_each_takes_and_gives(run: Run) -> None:
    listed = json.loads(run("steps", "--json").stdout)
    ours = {step["name"]: step for step in listed if step["offered_by"] == "lotshed"}
    assert {"low-spots", "flow-paths", "sub-catchments", "flow-accumulation"} <= set(ours)
    taken = ours["routing"]["takes"][0]
    assert taken == {"name": "site", "kind": "site file (.toml)", "required": True, "about": "The site file."}
    kinds = {told["name"]: told["kind"] for told in ours["low-spots"]["parameters"]}
    assert kinds == {"units": "choice", "rmse": "length", "min_depth": "length", "min_area": "area"}
    assert ours["low-spots"]["gives"] == "vector layer (.gpkg)"
    text = run("steps").stdout
    for step in listed:
        assert f"{step['name']}: {step['does']}" in text


MADE_STEP = """
from typing import Annotated, Literal

from pandas import DataFrame
from pydantic import BaseModel, Field

from pipelines.steps.quantities import Length


class Choice(BaseModel):
    factor: float = Field(2.0, description="Times this.")
    above: Length = Field(0.3, description="Then so much higher.")
    steady: bool = False
    times: int = 1
    kind: Literal["low", "high"] = "low"


def scale_levels(levels: Annotated[DataFrame, "Heights by point."], *, parameters: Choice) -> DataFrame:
    'Scale levels.'
    return levels.assign(height_m=levels["height_m"] * parameters.factor + parameters.above)
"""


def test_a_step_of_another_package_runs_from_the_command_line(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A metadata folder on the path is all that an installed package has."""
    (tmp_path / "made_step.py").write_text(MADE_STEP)
    assert len(MADE_STEP.splitlines()) < 30
    for package, line in (("made-step", "scale-levels = made_step:scale_levels"), ("torn", "torn = no_module:step")):
        folder = tmp_path / f"{package.replace('-', '_')}-1.0.dist-info"
        folder.mkdir()
        (folder / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {package}\nVersion: 1.0\n")
        (folder / "entry_points.txt").write_text(f"[lotshed.steps]\n{line}\n")
    (tmp_path / "levels.csv").write_text("point,height_m\nA,1.5\n")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setitem(sys.modules, "made_step", importlib.import_module("made_step"))

    listed = run("steps")
    assert listed.exit_code == 0
    assert "scale-levels: Scale levels.\n  takes levels (CSV table)\n  with factor, above, steady, times, kind\n" in (
        listed.stdout
    )
    assert "from made-step" in listed.stdout
    assert "step torn of torn cannot be loaded from no_module:step" in listed.stderr
    torn = run("step", "torn", "--help")
    assert torn.exit_code == 2
    assert "Reinstall or remove that package" in torn.stderr
    helped = " ".join(run("step", "scale-levels", "--help").stdout.split())
    for told in ("--levels FILE CSV table. Heights by point. [required]", "--factor FLOAT Times this. [default: 2.0]",
                 "--above LENGTH Then so much higher. A quantity in m, cm, mm, ft or in. [default: 0.3 m]",
                 "--steady BOOLEAN", "--times INTEGER", "--kind [low|high]"):  # fmt: skip
        assert told in helped
    files = ("--levels", str(tmp_path / "levels.csv"), "--out", str(tmp_path / "scaled.csv"))
    wrong = run("step", "scale-levels", *files, "--above", "2", "--factor", "4")
    assert wrong.exit_code == 2
    assert "one number and one unit" in wrong.stderr
    # as a program, which finds the step for itself
    root = Path(__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-m", "cli", "step", "scale-levels", *files, "--factor", "4", "--above", "2 in"],
        capture_output=True, text=True, cwd=root, env={**os.environ, "PYTHONPATH": str(tmp_path)},
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (0, ""), done.stderr
    assert (tmp_path / "scaled.csv").read_text() == "point,height_m\nA,6.0508\n"
    step = load_step("scale-levels")
    given = step.function(DataFrame({"height_m": [1.0]}), parameters=step.parameters(above="1 m"))
    assert given["height_m"].tolist() == [3.0]


def test_a_step_runs_on_ordinary_files(run: Run, tmp_path: Path) -> None:
    ground = Path(__file__).parents[2] / "sample_data" / "ground.tif"
    out = tmp_path / "low.gpkg"
    result = run("step", "low-spots", "--elevation", ground, "--elevation-unit", "m", "--out", out)
    assert result.exit_code == 0, result.stderr
    assert f"Written to {out}" in result.stderr
    connection = sqlite3.connect(out)
    ((count,),) = connection.execute("SELECT count(*) FROM low_spots WHERE depth_m > 0.02")
    connection.close()
    assert count > 10
    again = run("step", "low-spots", "--elevation", ground, "--out", out)
    assert again.exit_code == 2
    assert "--overwrite" in again.stderr
    helped = run("step", "low-spots", "--help")
    assert "--min-depth" in helped.stdout
    assert run("step", "low-spots", "--elevation", ground).exit_code == 2
    unknown = run("step", "low-spot")
    assert unknown.exit_code == 2
    assert "Did you mean low-spots?" in unknown.stderr


@pytest.mark.parametrize("name", ["pump", "start", "step", "steps", "storm"])
def test_the_example_of_the_help_runs(name: str, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # on a copy of the sample whose lots take the raster as it is
    unread = shutil.ignore_patterns("notebooks", "pictures")
    sample = shutil.copytree(README.with_name("sample_data"), tmp_path / "sample_data", ignore=unread)
    for site in sample.glob("lot_*.toml"):
        site.write_text(site.read_text().replace("[elevation]\n", "[elevation]\ngrounds = 1\n"))
    monkeypatch.chdir(tmp_path)
    body = run(name, "--help").stdout.split("Options:")[0].split("Example:")[1].replace("\\\n", " ")
    results = []
    for line in (text.strip() for text in body.splitlines() if text.strip()):
        program, *arguments = shlex.split(line.replace("/tmp/", f"{tmp_path}/"))
        assert program == "lotshed"
        results.append(run(*arguments))
    assert results
    result = max(results, key=lambda each: each.exit_code)
    assert result.exit_code == 0, result.stderr


def test_progress_is_a_bar_on_a_terminal_and_never_on_stdout(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with Voice().progress() as progress:
        progress("reading [the] ground", 0.5)
        progress("compiling, first run only", None)
    assert "compiling, first run only" in terminal.getvalue()
    assert "reading [the] ground" in terminal.getvalue()
    assert capsys.readouterr().out == ""
    with Voice(quiet=True).progress() as progress:
        progress("silence", None)
    assert "silence" not in terminal.getvalue()


def test_the_console_script_prints_one_message() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "import sys; sys.argv = ['lotshed', 'storm', '--table', 'no.csv', '--depth', '1 in', "
         "'--duration', '1 h']; from cli.main import main; main()"],
        capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert "no.csv" in done.stderr
