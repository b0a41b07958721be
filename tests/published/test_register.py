"""The register itself: how many values are held against how many sources, and that README.md names each."""

from pathlib import Path


def test_enough_values_from_enough_sources(published_values):
    assert len(published_values) >= 80
    assert sum(value.worked for value in published_values) >= 40
    assert len({value.source for value in published_values}) >= 12


def test_every_source_stands_in_the_register(published_values):
    register = " ".join((Path(__file__).parent / "README.md").read_text(encoding="utf-8").split())
    missing = sorted({value.source for value in published_values if value.source not in register})
    assert not missing, f"not in README.md: {missing}"


def test_every_value_says_where_it_stands(published_values):
    assert all(value.where.strip() for value in published_values)
