"""`--progress json`: everything on stderr is an object a line, which a program that runs lotshed can read."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

from cli.voice import Voice
from terrain.errors import LotshedError

Run = Callable[..., Result]


def objects(text: str) -> list[dict[str, Any]]:
    # click ends the line that an interrupt's ^C stands on
    return [json.loads(line) for line in text.splitlines() if line]


def test_progress_and_notes_are_objects_and_stdout_is_as_ever(capsys: pytest.CaptureFixture[str]) -> None:
    voice = Voice(objects=True, quiet=True)
    with voice.progress() as progress:
        progress('reading "ground"\x1b[0m', 0.25)
        progress("compiling, für das erste Mal", None)
    voice.say("two\nlines")
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.isascii()
    first, second, third = objects(said.err)
    assert first == {"done": 0.25, "text": 'reading "ground"[U+001B][0m'}
    assert second == {"done": None, "text": "compiling, für das erste Mal"}
    assert third == {"done": None, "text": "two\nlines"}


@pytest.mark.parametrize(
    ("outcome", "told"),
    [
        (LotshedError("ground.tif is torn."), "Error: ground.tif is torn."),
        (KeyboardInterrupt(), "Interrupted; what was there before is untouched."),
        (ZeroDivisionError("oh"), "A defect of lotshed, not of your input: ZeroDivisionError: oh"),
    ],
)
def test_however_a_run_ends_it_says_so_as_an_object(
    run: Run, lot_that_finds: Callable[[Any], None], tmp_path: Path, outcome: BaseException, told: str
) -> None:
    lot_that_finds(outcome)
    result = run("screen", "--progress", "json", "site.toml", "--out", tmp_path / "lot")
    said = objects(result.stderr)
    assert [each["done"] for each in said] == [0.1, None, None]
    assert said[-1]["text"].startswith(told)


def test_a_step_tells_what_it_does(run: Run, tmp_path: Path) -> None:
    missing = run("step", "rain", "--progress", "json", "--site", tmp_path / "no.toml", "--out", tmp_path / "rain.csv")
    said = objects(missing.stderr)
    assert said[0]["done"] == 0.1
    assert "design storm" in said[0]["text"]
    assert "no.toml" in said[-1]["text"]
    assert missing.exit_code == 2
