"""Every reason that the code gives has one sentence, which tells what the reason holds and nothing else."""

import ast
from pathlib import Path

import pytest
from jinja2 import meta

from pipelines.deliverables.words.say import environment, say, sentences
from terrain.reason import reason

ROOT = Path(__file__).parents[3]


def calls():
    for folder in ("terrain", "pipelines", "cli"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "reason":
                    where = f"{path.relative_to(ROOT)}:{node.lineno}"
                    assert isinstance(node.args[0], ast.Constant), f"{where}: a code is written out, to be found"
                    yield where, node.args[0].value, {word.arg for word in node.keywords}


def told(code):
    """What a sentence tells."""
    return meta.find_undeclared_variables(environment("us").parse(sentences()[code])) - {"units"}


def test_each_reason_has_its_sentence():
    for where, code, given in calls():
        assert code in sentences(), f"{where}: no sentence for {code}"
        assert given == told(code), f"{where}: {code} gives {sorted(given)}, its sentence tells {sorted(told(code))}"


def test_each_sentence_is_used():
    assert {code for _, code, _ in calls()} == set(sentences())


def test_numbers_need_a_kind():
    with pytest.raises(TypeError, match="without its unit"):
        environment("us").from_string("{{ depth }}").render(depth=0.5)


def test_what_a_person_wrote_stays():
    assert say("patio floods {{ 1 }}", "us") == "patio floods {{ 1 }}"


def test_an_unknown_code_is_a_defect():
    with pytest.raises(KeyError):
        say(reason("no_such_thing"), "us")
