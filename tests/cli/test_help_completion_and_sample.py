"""Topics are made from the code's own tables, shells complete, and the sample lot is written whole."""

import os
import pty
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from cli.main import COMMANDS
from pipelines.deliverables.files.layer_table import layers
from pipelines.deliverables.files.sample_lot import FILES
from pipelines.inputs.shapes.layer_table import LAYER_KINDS
from pipelines.inputs.site_file import SECTIONS, read_site_file
from pipelines.inputs.site_ranges import SITE_RANGES
from pipelines.library.topics import TOPICS, WIDTH, topic_text
from terrain.unit_table import RULE_UNITS

ROOT = Path(__file__).parents[2]
Run = Callable[..., Result]


def test_a_site_files_topic_has_every_table_key_range_and_attribute() -> None:
    text = topic_text("site")
    for section in SECTIONS:
        assert f"[{section}]" in text or f"\n{section} = " in text
    for key, (_, least, most) in SITE_RANGES.items():
        assert re.search(rf"^  {key.partition('.')[2]} = .*{re.escape(least)} to {re.escape(most)}", text, re.MULTILINE)
    flat = " ".join(text.split())
    for key, kind in LAYER_KINDS.items():
        if "." not in key:
            assert all(column.name in flat for column in kind.columns), key


def test_units_and_layers_are_all_told() -> None:
    told = re.split(r"[\s,:]+", topic_text("units"))
    assert [unit for unit in RULE_UNITS if unit not in told and unit != "%"] == []
    text = topic_text("layers")
    for layer in layers().values():
        assert f"\n{layer.name} ({layer.geometry or 'table'}): {layer.title}\n" in text
        for units in ("us", "si"):
            assert all(re.search(rf"\b{name}\b", text) for name, _ in layer.written(units))


def test_verdicts_are_told_by_the_counts_that_the_code_takes() -> None:
    text = topic_text("verdicts")
    assert "at least 90 of 100 grounds" in text
    assert "at most 10 of 100 grounds" in text
    assert {line.partition(":")[0].strip() for line in text.splitlines()} >= {
        "cause", "fall", "outfall", "cure", "sure", "no", "cannot_tell", "not_needed",
    }  # fmt: skip


@pytest.mark.parametrize("topic", TOPICS)
def test_a_topic_is_printed_plainly_where_nobody_pages(run: Run, topic: str) -> None:
    result = run("help", topic)
    assert result.exit_code == 0
    assert result.stdout.rstrip("\n") == topic_text(topic)
    assert max(len(line) for line in result.stdout.splitlines()) <= WIDTH + 20
    assert topic in run("help").stdout


def test_help_of_a_command_and_of_nothing_known(run: Run) -> None:
    assert run("help", "storm").stdout.split() == run("storm", "--help").stdout.split()
    result = run("help", "sites")
    assert result.exit_code == 2
    assert "topics are site, units, verdicts, layers" in result.stderr


def test_a_long_topic_is_paged_on_a_terminal_and_nowhere_else(tmp_path: Path) -> None:
    pager = tmp_path / "pager"
    pager.write_text(f"#!{sys.executable}\nimport sys\nprint('PAGED', len(sys.stdin.read().splitlines()))\n")
    pager.chmod(0o755)
    ours, theirs = pty.openpty()
    environment = {**os.environ, "PAGER": str(pager), "PYTHONPATH": str(ROOT), "TERM": "xterm"}
    command = [sys.executable, "-m", "cli", "help", "layers"]
    process = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment, cwd=ROOT)
    os.close(theirs)
    seen = b""
    while True:
        try:
            block = os.read(ours, 65536)
        except OSError:
            break
        if not block:
            break
        seen += block
    assert process.wait(60) == 0
    os.close(ours)
    count = len(topic_text("layers").splitlines())
    assert re.fullmatch(rb"PAGED (\d+)\s*", seen), seen[:300]
    assert abs(int(seen.split()[1]) - count) <= 1
    piped = subprocess.run(command, capture_output=True, env=environment, cwd=ROOT, check=True)
    assert piped.stdout.decode().rstrip("\n") == topic_text("layers")


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_shells_script_asks_lotshed_itself(run: Run, shell: str) -> None:
    result = run("completion", shell)
    assert result.exit_code == 0
    assert f"_LOTSHED_COMPLETE={shell}_complete" in result.stdout


def test_bash_completes_commands_and_options(tmp_path: Path) -> None:
    # source: POSIX shells' own completion of bash, COMP_WORDS and COMP_CWORD in, COMPREPLY out (bash manual, 8.6)
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("no bash here")
    program = tmp_path / "lotshed"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m cli "$@"\n')
    program.chmod(0o755)
    script = """
        eval "$(lotshed completion bash)"
        COMP_WORDS=(lotshed "") COMP_CWORD=1; _lotshed_completion lotshed; echo "${COMPREPLY[@]}"
        COMPREPLY=(); COMP_WORDS=(lotshed screen --ov) COMP_CWORD=2; _lotshed_completion lotshed; echo "${COMPREPLY[@]}"
    """
    path = f"{tmp_path}{os.pathsep}{os.environ['PATH']}"
    environment = {**os.environ, "PATH": path, "PYTHONPATH": str(ROOT)}
    done = subprocess.run([bash, "-c", script], capture_output=True, text=True, env=environment, cwd=ROOT, check=True)
    commands, options = done.stdout.splitlines()
    assert set(commands.split()) == set(COMMANDS)
    assert options.split() == ["--overwrite"]


def test_the_sample_lot_is_written_whole_into_a_new_or_empty_folder(run: Run, tmp_path: Path) -> None:
    result = run("start", "--sample", tmp_path / "try")
    assert result.exit_code == 0, result.stderr
    assert {path.name for path in (tmp_path / "try").iterdir()} == set(FILES)
    site = read_site_file(tmp_path / "try" / "site.toml")
    assert site.elevation.file == tmp_path / "try" / "ground.tif"
    assert run("screen", tmp_path / "try" / "site.toml", "--dry-run").exit_code == 0
    again = run("start", "--sample", tmp_path / "try")
    assert again.exit_code == 2
    assert f"{tmp_path / 'try'} is not empty" in again.stderr


def test_the_wheel_is_told_to_hold_the_sample_lot() -> None:
    import tomllib

    built = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert built["force-include"] == {f"sample_data/{name}": f"pipelines/sample/{name}" for name in FILES.values()}
    assert sum((ROOT / name).stat().st_size for name in built["force-include"]) < 1_500_000
