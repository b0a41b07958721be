"""The rooms of the house: no file or folder too full to take in, no class name twice, rules that are read."""

import ast
import re
from collections import Counter
from pathlib import Path

from pipelines.inputs.rules import load_rules

ROOT = Path(__file__).parents[1]
FILES = sorted(path for room in ("terrain", "pipelines", "cli") for path in (ROOT / room).rglob("*.py"))
MOST_LINES = 450
MOST_FILES = 20


def test_no_file_is_too_long():
    long = {str(path.relative_to(ROOT)): n for path in FILES if (n := len(path.read_text().splitlines())) > MOST_LINES}
    assert not long


def test_no_folder_is_too_full():
    held = Counter(path.parent for path in FILES if path.name != "__init__.py")
    assert not {str(folder.relative_to(ROOT)): n for folder, n in held.items() if n > MOST_FILES}


def test_no_class_name_stands_twice():
    names = Counter(
        node.name for path in FILES for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.ClassDef)
    )
    assert not {name: n for name, n in names.items() if n > 1}


def test_every_rule_of_the_trade_is_read():
    source = "\n".join(path.read_text() for path in FILES)
    rules = load_rules()
    assert not [key for key in rules if not re.search(rf'"{key}"', source)]
    assert not [key for key, rule in rules.items() if not rule.moves], "a row says what it moves"


def test_no_rule_stands_twice():
    rows = [
        line.partition(",")[0]
        for table in (ROOT / "pipelines/inputs/trade").glob("*.csv")
        for line in table.read_text().splitlines()[1:]
    ]
    assert not {key: n for key, n in Counter(rows).items() if n > 1}


def test_pysheds_is_imported_in_one_module():
    found = [path for path in FILES if re.search(r"^\s*(import|from) pysheds", path.read_text(), re.MULTILINE)]
    assert [str(path.relative_to(ROOT)) for path in found] == ["terrain/flow/pysheds_adapter.py"]
