"""What people read keeps to one name for one thing, and no room but two converts units."""

import ast
import csv
import io
import re
import tokenize
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipelines.deliverables.words.say import sentences

ROOT = Path(__file__).parents[3]
ROOM = ROOT / "pipelines" / "deliverables"
# said otherwise: within lidar error, cannot be judged, submerged, maintaining authority, permission, drainage area,
# improvements, dry well, pressure line, sump basin, culvert diameter, slope, currency, tolerated, first overtops
NOT_SAID = re.compile(
    r"put up with|shallower than the lidar|cannot tell it|cannot be told|drowned|\bkeepers?\b|who keeps|leave to\b|"
    r"studied ground|(?:with|before|after|of) the works\b|\bthe works\b|(?<!\.)\bsoakaway\b|discharge line|pumped line|"
    r"pumped basin|\bits bore\b|of grade\b|against the grade|price list's money|first stands over|told from|"
    r"must be lifted|\ba (?:8|11|18) in\b|no water at the floor by that|nobody has complained",
    re.IGNORECASE,
)
TABLES = ("report/swale_columns", "files/symbols", "files/layer_titles", "files/layers", "files/methods")
READ = ("head", "label", "title", "description", "meaning", "method", "source")
KINDS = "swale ditch curb inlet pond daylight soakaway"
FACTORS = {0.3048, 0.0254, 15850.0, 15850.3, 448.8, 448.83, 448.831, 10.7639, 10.764, 35.31, 35.3147, 35.315, 0.7645,
           0.764555, 3.6e6, 3600.0, 86400.0, 6.309e-5, 0.0929, 0.09290304}  # fmt: skip


def lines_of(text: str) -> list[str]:
    return [line.strip() for line in dict.fromkeys(text.splitlines()) if NOT_SAID.search(line)]


@pytest.mark.parametrize("name", ["lot_02", "lot_11", "swale"])
@pytest.mark.parametrize("where", ["terminal", "page", "layers"])
def test_outputs_keep_to_the_glossary(where: str, name: str, handed_over: Callable[[str, str], Any]) -> None:
    text = getattr(handed_over(name, "us"), where)
    if where == "terminal":
        text = re.sub(r"\n {4}", " ", text)
    found = lines_of(text)
    assert not found, "\n".join(found)


def test_sentences_keep_to_the_glossary() -> None:
    assert {code: text for code, text in sentences().items() if NOT_SAID.search(text)} == {}


@pytest.mark.parametrize("table", TABLES)
def test_tables_keep_to_the_glossary(table: str) -> None:
    rows = csv.DictReader((ROOM / f"{table}.csv").read_text(encoding="utf-8").splitlines())
    found = [text for row in rows for name in READ if NOT_SAID.search(text := row.get(name, "").replace(KINDS, ""))]
    assert not found, "\n".join(found)


def test_the_page_keeps_to_the_glossary() -> None:
    for path in sorted((ROOM / "report" / "assets").iterdir()):
        found = lines_of(re.sub(r"//.*", "", path.read_text(encoding="utf-8")))
        assert not found, "\n".join(found)


def test_units_are_converted_in_two_rooms_only() -> None:
    allowed = (ROOT / "terrain" / "unit_table.py", ROOM / "words")
    found = [
        f"{path.relative_to(ROOT)}:{token.start[0]}: {token.line.strip()}"
        for folder in ("terrain", "pipelines", "cli")
        for path in sorted((ROOT / folder).rglob("*.py"))
        if not any(path == each or each in path.parents for each in allowed)
        for token in tokenize.generate_tokens(io.StringIO(path.read_text(encoding="utf-8")).readline)
        if token.type == tokenize.NUMBER and float(ast.literal_eval(token.string)) in FACTORS
    ]
    assert not found, "\n".join(found)
