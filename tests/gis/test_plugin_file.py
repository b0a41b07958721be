"""The plugin without the GIS: what is in its file, what it is told of lotshed, and how it runs it as a process.

What metadata.txt must hold is what the QGIS documentation's PyQGIS cookbook, "Structuring Python Plugins", lists as
required; for the address of a repository and of a person there is none to give yet.
"""

import configparser
import importlib
import io
import json
import os
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import click
import pytest
from click.testing import CliRunner

from cli.gis.description import JOBS, NOT_OFFERED, description
from cli.gis.package import plugin_bytes
from cli.main import COMMANDS, app
from pipelines.steps.registry import load_step, step_names

HOST = Path(__file__).parents[2] / "cli" / "gis" / "host"


@pytest.fixture(scope="module")
def told() -> dict[str, Any]:
    document, faults = description()
    assert faults == []
    return json.loads(json.dumps(document))  # type: ignore[no-any-return]


@pytest.fixture
def part(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], ModuleType]:
    """A module of the plugin that needs nothing of the GIS."""
    monkeypatch.syspath_prepend(str(HOST))
    return lambda name: importlib.import_module(f"lotshed_plugin.{name}")


def test_the_file_holds_the_plugin_and_nothing_of_lotshed(tmp_path: Path) -> None:
    out = tmp_path / "plugin.zip"
    done = CliRunner().invoke(app, ["gis-plugin", "--out", str(out)])
    assert done.exit_code == 0, done.stderr
    assert done.stdout == ""
    with zipfile.ZipFile(out) as packed:
        assert packed.testzip() is None
        names = set(packed.namelist())
        source = {f"lotshed_plugin/{path.name}" for path in (HOST / "lotshed_plugin").glob("*.py")}
        rest = {"description.json", "metadata.txt", "icon.svg", "LICENSE"}
        assert names == source | {f"lotshed_plugin/{name}" for name in rest}
        texts = {name: packed.read(name).decode() for name in source}
    for name, text in texts.items():
        for line in text.splitlines():
            words = line.split()
            if words and words[0] in ("import", "from"):
                ours = words[1].partition(".")[0] in ("terrain", "pipelines", "cli", "numpy", "geopandas", "numba")
                assert not ours, f"{name} imports {words[1]}, which is not in the GIS"
    again = CliRunner().invoke(app, ["gis-plugin", "--out", str(out)])
    assert again.exit_code == 2
    assert "--overwrite" in again.stderr


def test_neither_place_nor_question_is_refused() -> None:
    assert CliRunner().invoke(app, ["gis-plugin"]).exit_code == 2
    assert CliRunner().invoke(app, ["gis-plugin", "--describe", "--out", "x.zip"]).exit_code == 2


def test_metadata_is_what_the_host_asks_for(told: dict[str, Any]) -> None:
    packed = zipfile.ZipFile(io.BytesIO(plugin_bytes(told)))
    parser = configparser.ConfigParser(interpolation=None)
    parser.optionxform = str  # type: ignore[assignment, method-assign]
    parser.read_string(packed.read("lotshed_plugin/metadata.txt").decode())
    rows = parser["general"]
    for key in ("name", "qgisMinimumVersion", "description", "about", "version", "author"):
        assert rows[key].strip(), key
    assert rows["hasProcessingProvider"] == "yes"
    assert rows["version"] == told["version"]
    assert rows["qgisMinimumVersion"] == "3.22"
    assert f"lotshed_plugin/{rows['icon']}" in packed.namelist()
    assert packed.read("lotshed_plugin/icon.svg").startswith(b"<svg")


def test_the_same_description_gives_the_same_bytes(told: dict[str, Any]) -> None:
    assert plugin_bytes(told) == plugin_bytes(told)


def test_every_step_and_job_is_offered_with_all_that_it_takes(told: dict[str, Any]) -> None:
    offers = {offer["name"]: offer for offer in told["algorithms"]}
    assert set(offers) == set(step_names()) | {name for name in JOBS if name in COMMANDS}
    for name in step_names():
        step, offer = load_step(name), offers[name]
        declared = [taken.name for taken in step.inputs] + [each.name for each in step.told]
        assert [taken["name"] for taken in offer["takes"]] == [*declared, "overwrite", "allow_linked"]
        assert offer["does"] == step.does
    for name in JOBS:
        command = app.get_command(click.Context(app), name)
        if command is not None:
            names = [each.name for each in command.params if each.name not in NOT_OFFERED | {"out"}]
            assert [taken["name"] for taken in offers[name]["takes"]] == names
            assert "--" not in offers[name]["does"]


def test_every_flag_is_one_that_the_command_line_knows(told: dict[str, Any]) -> None:
    for offer in told["algorithms"]:
        group = app.get_command(click.Context(app), offer["command"][0])
        assert group is not None
        steps = isinstance(group, click.Group)
        command = group.get_command(click.Context(group), offer["command"][1]) if steps else group  # type: ignore[union-attr]
        assert command is not None
        known = {flag for each in command.params if isinstance(each, click.Option) for flag in each.opts}
        assert "--progress" in known
        asked = [offer["gives"]["flag"]]
        for taken in offer["takes"]:
            asked += [taken["flag"], *(each["flag"] for each in taken.get("said", {}).values())]
        assert {flag for flag in asked if flag} <= known


def test_a_step_of_another_package_is_offered_typed(
    made_package: Path, make_program: Callable[..., Path], part: Callable[[str], ModuleType], tmp_path: Path
) -> None:
    environment = part("environment")
    program = environment.find_program(str(make_program(made_package)))
    packed = {"form": 1, "version": "0", "algorithms": []}
    cache = tmp_path / "kept" / "description.json"
    found, said = environment.describe(program, packed, str(cache))
    assert said == ""
    offer = next(each for each in found["algorithms"] if each["name"] == "grow-shapes")
    assert (offer["offered_by"], offer["does"], offer["text"]) == ("made-shapes", "Grow shapes.", "By a length.")
    takes = {taken["name"]: taken for taken in offer["takes"]}
    assert (takes["roofs"]["kind"], takes["roofs"]["shapes"], takes["roofs"]["required"]) == (
        "vector", ["polygon"], True,
    )  # fmt: skip
    assert (takes["by"]["kind"], takes["by"]["unit"], takes["by"]["about"]) == (
        "quantity", "m", "How far. By default 0.5 m.",
    )  # fmt: skip
    assert takes["inflow"]["unit"] == "l/s"
    assert (takes["times"]["kind"], takes["times"]["default"]) == ("integer", "2")
    assert (takes["kind"]["choices"], takes["round_ends"]["kind"]) == (["low", "high"], "yes_no")
    # kept until a package comes or goes
    before = cache.stat().st_mtime_ns
    assert environment.describe(program, packed, str(cache))[0]["algorithms"] == found["algorithms"]
    assert cache.stat().st_mtime_ns == before
    (made_package / "one_more-1.0.dist-info").mkdir()
    environment.describe(program, packed, str(cache))
    assert cache.stat().st_mtime_ns > before


def test_a_program_that_does_not_answer_is_told_once(part: Callable[[str], ModuleType], tmp_path: Path) -> None:
    environment = part("environment")
    program = tmp_path / "lotshed"
    program.write_text("#!/bin/sh\necho no such command >&2\nexit 2\n")
    program.chmod(0o755)
    packed = {"form": 1, "algorithms": []}
    found, said = environment.describe(str(program), packed, str(tmp_path / "cache.json"))
    assert found is packed
    assert said == f"{program} did not say what it can do: no such command"


def test_the_program_is_found_by_its_folder_itself_or_the_path(
    part: Callable[[str], ModuleType], make_program: Callable[..., Path], monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    find = part("environment").find_program
    folder = make_program()
    program = str(folder / "bin" / "lotshed")
    assert find(str(folder)) == find(program) == find(str(folder / "bin")) == find("", program) == program
    assert find(sys.executable) == "", "another program is not run"
    monkeypatch.setenv("PATH", str(tmp_path))
    assert find("") == find(str(tmp_path), program) == ""
    monkeypatch.setenv("PATH", str(folder / "bin"))
    assert find("") == program
    assert find("", elsewhere=False) == ""


def test_the_child_gets_nothing_of_the_host(
    part: Callable[[str], ModuleType], monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("PYTHONHOME", "PYTHONPATH", "GDAL_DATA", "PROJ_LIB", "PROJ_DATA", "QGIS_PREFIX_PATH"):
        monkeypatch.setenv(name, "/nowhere")
    monkeypatch.setenv("LOTSHED_KEPT", "1")
    given = part("environment").own_environment()
    assert "/nowhere" not in given.values()
    assert given["LOTSHED_KEPT"] == "1"
    assert given["PATH"] == os.environ["PATH"]


TALKER = """
import json, sys, time
assert sys.argv[1:] == ["--progress", "json"], sys.argv
print("answer", flush=True)
print(json.dumps({"done": 0.5, "text": "half"}), file=sys.stderr, flush=True)
print("plain", file=sys.stderr, flush=True)
"""


def test_messages_come_as_they_are_said(part: Callable[[str], ModuleType], tmp_path: Path) -> None:
    child = part("child")
    (tmp_path / "talker.py").write_text(TALKER)
    heard: list[tuple[float | None, str]] = []
    child.run_child([sys.executable, str(tmp_path / "talker.py")], lambda *said: heard.append(said), lambda: False)
    assert sorted(heard, key=str) == [(0.5, "half"), (None, "answer"), (None, "plain")]
    (tmp_path / "talker.py").write_text(TALKER + "sys.exit(2)\n")
    with pytest.raises(child.ChildError, match=r"^plain$"):
        child.run_child([sys.executable, str(tmp_path / "talker.py")], lambda *said: None, lambda: False)


STUBBORN = """
import os, signal, subprocess, sys, time
signal.signal(signal.SIGTERM, signal.SIG_IGN)
helper = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"])
print(os.getpid(), helper.pid, flush=True)
time.sleep(600)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="process groups are ended another way there")
def test_what_does_not_end_when_asked_is_ended_with_all_it_started(
    part: Callable[[str], ModuleType], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    child = part("child")
    monkeypatch.setattr(child, "PATIENCE", 0.5)
    (tmp_path / "stubborn.py").write_text(STUBBORN)
    heard: list[str] = []
    with pytest.raises(child.Cancelled):
        child.run_child(
            [sys.executable, str(tmp_path / "stubborn.py")], lambda done, text: heard.append(text), lambda: bool(heard)
        )
    time.sleep(0.2)
    for number in map(int, heard[0].split()):
        state = subprocess.run(["ps", "-o", "stat=", "-p", str(number)], capture_output=True, text=True).stdout.strip()
        # what has ended may wait to be counted by whoever takes in orphans here
        assert state == "" or state.startswith("Z")
