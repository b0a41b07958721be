"""What a package index shows of the README needs no file beside it and names no host."""

import importlib.util
import re
import sys
import types
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture
def hook(monkeypatch):
    """The build's hook; hatchling itself is there only while it builds."""
    for name in ("hatchling", "hatchling.metadata", "hatchling.metadata.plugin", "hatchling.metadata.plugin.interface"):
        monkeypatch.setitem(sys.modules, name, types.ModuleType(name))
    made = sys.modules["hatchling.metadata.plugin.interface"]
    made.MetadataHookInterface = type("MetadataHookInterface", (), {})
    specification = importlib.util.spec_from_file_location("hatch_build", ROOT / "hatch_build.py")
    module = importlib.util.module_from_spec(specification)
    specification.loader.exec_module(module)
    return module


def test_pictures_and_links_into_the_repository_become_words(hook):
    text = "![A map](a/b.jpg) and [this](c.md), [that](https://standard.example/x), `[rules]` (kept)"
    shown = "*In the repository's README: A map.* and this, [that](https://standard.example/x), `[rules]` (kept)"
    assert hook.for_an_index(text) == shown


def test_pictures_and_links_lead_to_the_repository_where_its_address_is_given(hook):
    text = "![A map](a/b.jpg) and [this](c.md), [that](https://standard.example/x)"
    at = "https://files.example/tree"
    assert hook.for_an_index(text, at + "/") == (
        f"![A map]({at}/a/b.jpg) and [this]({at}/c.md), [that](https://standard.example/x)"
    )


def test_every_picture_of_the_readme_is_shown_by_an_index_where_its_address_is_given(hook, monkeypatch):
    monkeypatch.setenv("README_FILES", "https://files.example")
    made = hook.LongDescription()
    made.root = str(ROOT)
    metadata = {}
    made.update(metadata)
    pictures = re.findall(r"!\[[^\]]*\]\(https://files\.example/([^)]*)\)", metadata["readme"]["text"])
    assert len(pictures) == (ROOT / "README.md").read_text(encoding="utf-8").count("![")
    assert pictures
    assert all((ROOT / each).is_file() for each in pictures)


def test_the_whole_readme_on_an_index(hook):
    made = hook.LongDescription()
    made.root = str(ROOT)
    metadata = {}
    made.update(metadata)
    text = metadata["readme"]["text"]
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert re.findall(r"!?\[[^\]]*\]\((?!https?:)", readme), "the README has such pictures and links"
    assert not re.findall(r"!?\[[^\]]*\]\((?!https?:)", text)
    assert [line for line in readme.splitlines() if line.startswith("#")] == [
        line for line in text.splitlines() if line.startswith("#")
    ]
