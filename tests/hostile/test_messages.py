"""A message is short whatever was found: a value is quoted in at most 80 characters, with its length."""

from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hostile_values import HOSTILE_TEXTS

from cli.main import app, machine_words
from cli.streams import OutputError
from pipelines.inputs.errors import QuantityError, SiteFileError
from pipelines.inputs.quantity import parse_quantity
from pipelines.inputs.site_file import read_site_file
from terrain.shown_text import MOST_QUOTED, quoted

LONGEST = 1200
LONG = "x" * 10_000
NESTED: list[Any] = []
NESTED.append(NESTED)


def test_a_short_value_is_quoted_whole() -> None:
    assert quoted("3 ft") == '"3 ft"'
    assert quoted(12) == "12"
    assert quoted(float("nan")) == "nan"


def test_a_long_value_is_quoted_in_part_with_its_length() -> None:
    assert quoted(LONG) == '"' + "x" * MOST_QUOTED + '…" (10,000 characters)'
    assert quoted(["y" * 500]) == "['" + "y" * (MOST_QUOTED - 2) + "… (504 characters)"
    assert quoted(10**5000) == "a whole number of about 5,000 digits"
    assert len(quoted([[10**5000]])) < 100
    assert quoted(NESTED) == "[[...]]"


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_nothing_in_a_quoted_value_obeys_or_turns(text: str) -> None:
    assert len(quoted(text)) < 10 * MOST_QUOTED
    assert not any(each in quoted(text) for each in "\x1b\x9b\x00\x07\n\r\u2028\u202e\u2066")


@pytest.mark.parametrize("text", [LONG, "9" * 5000 + " m", "1 " + "y" * 5000, "1/" * 3000])
def test_a_quantity_of_thousands_of_characters_is_told_in_short(text: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, "length", "key")
    assert len(str(caught.value)) < 300


@pytest.mark.parametrize(
    "more",
    [
        f'[layout]\npipe = "{LONG}"',
        f'[soil]\ncover = "{LONG}"',
        f'[rules]\ncover_lawn = "{LONG}"',
        f'[house]\nfloor = "{LONG}"',
        f'[house]\nfoundation = "{LONG}"',
        f"[layout]\n{LONG} = 1",
        f"[rules]\n{LONG} = 1",
        f'[picture]\nfile = "{LONG}"',
        "[layout]\nbasins = [[" + "1.0, " * 5000 + "]]",
        f"[rules]\ndefault_cover = ['{LONG}', '{LONG}']",
        f'[house]\nbuilt = "{LONG}"',
        f'[elevation]\nunit = "{LONG}"',
        f'units = "{LONG}"',
        f'{LONG} = "{LONG}"',
    ],
)
def test_a_long_value_of_a_site_file_is_told_in_short(tmp_path: Path, more: str) -> None:
    (tmp_path / "site.toml").write_text(more + "\n" if not more.startswith("[") else "\n" + more)
    with pytest.raises(SiteFileError) as caught:
        read_site_file(tmp_path / "site.toml")
    assert len(str(caught.value)) < LONGEST + 2 * len(str(tmp_path))


@pytest.mark.parametrize("table", ["", "[rules]\n"])
def test_thousands_of_faults_are_counted(tmp_path: Path, table: str) -> None:
    (tmp_path / "site.toml").write_text(table + "".join(f"cover_lawm{number} = 1\n" for number in range(5000)))
    done = CliRunner().invoke(app, ["screen", str(tmp_path / "site.toml"), "--dry-run"])
    assert done.exit_code == 2
    assert len(done.stderr) < 8000
    assert "more" in done.stderr


def test_what_the_machine_refuses_is_told_as_that() -> None:
    assert machine_words(PermissionError(13, "no", "/there")).startswith("/there: Permission denied. ")
    assert machine_words(OSError(28, "no", "/there")).startswith("/there: No space left on device. ")
    assert "no more memory" in machine_words(MemoryError())
    assert "cannot be printed: full" in machine_words(OutputError(28, "full"))
    # a defect of ours stays one
    assert machine_words(FileNotFoundError(2, "no", "/there")) == ""
    assert machine_words(ZeroDivisionError()) == ""
